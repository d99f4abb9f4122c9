//! Known answers.

use super::*;
use crate::series::Sample;
use crate::swipes::tests::of_rows;
use crate::verdict::Direction;

/// 1600 counts per inch.
pub(crate) const PER_MM: f64 = 1600.0 / 25.4;

/// A minimum-jerk swipe of 300 mm in 0.2 s (Flash & Hogan 1985), counted in whole counts every `slot_ns`, with what
/// `tell` makes of each report's motion in counts.
pub(crate) fn swipe(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> (Series, Swipe) {
    let slots = 200_000_000 / slot_ns;
    let place = |s: f64| 300.0 * PER_MM * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
    let (mut told, mut rounded) = ((0.0, 0.0), (0.0f64, 0.0f64));
    let mut samples = Vec::new();
    for i in 0..slots {
        let (from, to) = (i as f64 / slots as f64, (i + 1) as f64 / slots as f64);
        let (along, across) = tell(from, (place(to) - place(from), 0.0));
        told = (told.0 + along, told.1 + across);
        let (x, y) = (told.0.round() - rounded.0, told.1.round() - rounded.1);
        rounded = (rounded.0 + x, rounded.1 + y);
        if x != 0.0 || y != 0.0 {
            let t = 1_000_000_000 + (i + 1) * slot_ns;
            samples.push(Sample { t, x: x as i32, y: y as i32, timed: true, idle_before: 0 });
        }
    }
    let swipe = Swipe {
        begin: samples[0].t,
        end: samples[samples.len() - 1].t,
        along: told.0,
        across: told.1,
        peak: 1.0,
        one_travel: 300.0 * PER_MM,
        ..of_rows(Direction::Out, 0..samples.len())
    };
    (Series { reports: samples.len(), samples, ..Series::default() }, swipe)
}

fn found(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> Vec<Stretch> {
    let (series, swipe) = swipe(slot_ns, tell);
    let frame = Frame { cos: 1.0, sin: 0.0 };
    find(
        &series,
        frame,
        &swipe,
        &Bench { counts_per_mm: PER_MM, slot: slot_ns as f64, beat: 0.0, uneven: false, bend: 0.0 },
    )
}

/// Report intervals in nanoseconds.
pub(crate) const SLOTS: [i64; 5] = [125_000, 500_000, 1_000_000, 4_000_000, 8_000_000];

#[test]
fn a_sound_swipe_is_left_alone_at_any_interval() {
    for slot in SLOTS {
        assert!(found(slot, |_, c| c).is_empty(), "{slot}");
        // Frames that beat against reports: every third report has a sixth less, the next as much more.
        let beat = |s: f64, c: (f64, f64)| {
            let n = (s * 200e6 / slot as f64).round() as i64 % 3;
            (c.0 * [1.0, 0.95, 1.05][n as usize], c.1)
        };
        assert!(found(slot, beat).is_empty(), "{slot}");
    }
}

#[test]
fn a_bounce_off_the_stop_is_no_false_motion() {
    // The last 5 mm are thrown back and come again.
    let bounce = |s: f64, c: (f64, f64)| if (0.94..0.97).contains(&s) { (-40.0, 10.0) } else { c };
    assert!(found(1_000_000, bounce).is_empty());
}

#[test]
fn motion_backwards_and_sideways_is_found_where_it_was_put() {
    for slot in SLOTS {
        for (turn, wrong) in [((-0.8, 0.1), Wrong::Reversal), ((0.2, 0.9), Wrong::Sideways)] {
            let tell = |s: f64, c: (f64, f64)| {
                if (0.4..0.56).contains(&s) { (c.0 * turn.0, c.0 * turn.1) } else { c }
            };
            let all = found(slot, tell);
            assert_eq!(all.len(), 1, "{slot} {wrong:?}: {all:?}");
            let at = |t: i64| (t - 1_000_000_000) as f64 / 200e6;
            let margin = 0.01 + slot as f64 / 200e6;
            assert!(all[0].wrong == wrong && all[0].recovered, "{slot}: {all:?}");
            assert!((at(all[0].begin) - 0.4).abs() <= margin, "{slot}: {}", at(all[0].begin));
            assert!((at(all[0].end) - 0.56).abs() <= 2.0 * margin, "{slot}: {}", at(all[0].end));
        }
    }
}

#[test]
fn counts_that_thin_out_at_once_are_found_and_those_of_a_braking_hand_are_not() {
    let thin = |s: f64, c: (f64, f64)| if (0.4..0.6).contains(&s) { (c.0 / 3.0, c.1) } else { c };
    let all = found(1_000_000, thin);
    assert!(all.len() == 1 && all[0].wrong == Wrong::Thin && all[0].recovered, "{all:?}");
    // Down to a third within 20 ms, as 80 m/s² does, and up again.
    let brakes = |s: f64, c: (f64, f64)| {
        let depth = (1.0 - ((s - 0.5).abs() / 0.1)).clamp(0.0, 1.0);
        (c.0 * (1.0 - 0.6 * depth), c.1)
    };
    assert!(found(1_000_000, brakes).is_empty());
}

/// Every 4 ms a report, 1.7 ms earlier or later in turn, three by three; each holds what moved until then.
#[test]
fn a_report_that_covers_more_time_and_holds_more_is_no_false_motion() {
    let place = |s: f64| 300.0 * PER_MM * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
    let by = |lost: f64| {
        let (mut series, swipe) = swipe(4_000_000, |_, c| c);
        let (mut before, mut told) = (0.0, 0.0f64);
        for (i, sample) in series.samples.iter_mut().enumerate() {
            sample.t += [-1_700_000, 0, 1_700_000, -1_500_000, 1_700_000, -200_000][i % 6];
            let at = place(((sample.t - 1_000_000_000) as f64 / 200e6).clamp(0.0, 1.0));
            let share = if (1_095_000_000..1_135_000_000).contains(&sample.t) { 1.0 - lost } else { 1.0 };
            told += share * (at - before);
            (before, sample.x) = (at, told.round() as i32);
            told -= told.round();
        }
        let bench = |uneven| Bench { counts_per_mm: PER_MM, slot: 4e6, beat: 0.0, uneven, bend: 0.0 };
        [false, true].map(|uneven| find(&series, Frame { cos: 1.0, sin: 0.0 }, &swipe, &bench(uneven)))
    };
    let [even, uneven] = by(0.0);
    assert!(!even.is_empty(), "by the report alone it would be one");
    assert!(uneven.is_empty(), "{uneven:?}");
    let [_, uneven] = by(0.9);
    assert!(uneven.iter().any(|s| s.wrong == Wrong::Thin), "{uneven:?}");
}

/// The direction turns by a radian on the way, as on an arc of 300 mm; a quarter of the counts is left for a while.
#[test]
fn counts_that_thin_out_on_an_arc_are_thin_and_come_back_where_it_has_turned_to() {
    let way = |s: f64| s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
    let turned = |s: f64, (along, across): (f64, f64)| {
        let (sin, cos) = (0.5 - way(s)).sin_cos();
        (along * cos - across * sin, along * sin + across * cos)
    };
    let found = |slot: i64, bend: f64, lost: fn((f64, f64)) -> (f64, f64)| {
        let tell = |s: f64, c: (f64, f64)| turned(s, if (0.4..0.65).contains(&s) { lost(c) } else { c });
        let (series, swipe) = swipe(slot, tell);
        let bench = Bench { counts_per_mm: PER_MM, slot: slot as f64, beat: 0.0, uneven: false, bend };
        find(&series, Frame { cos: 1.0, sin: 0.0 }, &swipe, &bench)
    };
    let bend = -1.0 / (300.0 * PER_MM);
    for slot in [250_000, 1_000_000, 2_000_000] {
        let straight = found(slot, 0.0, |c| (0.25 * c.0, c.1));
        assert!(straight.iter().any(|s| s.wrong == Wrong::Sideways || !s.recovered), "{slot}: {straight:?}");
        let all = found(slot, bend, |c| (0.25 * c.0, c.1));
        assert!(all.len() == 1 && all[0].wrong == Wrong::Thin && all[0].recovered, "{slot}: {all:?}");
        let at = |t: i64| (t - 1_000_000_000) as f64 / 200e6;
        assert!(
            (at(all[0].begin) - 0.4).abs() < 0.03 && (at(all[0].end) - 0.65).abs() < 0.03,
            "{slot}: {all:?}"
        );
        // Motion aside is told on an arc as well.
        for aside in [|c: (f64, f64)| (0.2 * c.0, 0.9 * c.0), |c: (f64, f64)| (0.2 * c.0, -0.9 * c.0)] {
            let all = found(slot, bend, aside);
            assert!(all.len() == 1 && all[0].wrong == Wrong::Sideways, "{slot}: {all:?}");
        }
    }
}

#[test]
fn a_report_that_makes_up_for_a_silence_tells_no_velocity() {
    let place = |s: f64| 300.0 * PER_MM * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
    for slot in [500_000, 1_000_000, 4_000_000] {
        let one = slot as f64 / 200e6;
        let late = |s: f64, c: (f64, f64)| match s {
            s if !(0.3..0.5 - 1e-9).contains(&s) => c,
            s if s < 0.5 - one - 1e-9 => (0.0, 0.0),
            s => (place(s + one) - place(0.3), 0.0),
        };
        let all = found(slot, late);
        assert!(all.is_empty(), "{slot}: {all:?}");
    }
}

#[test]
fn the_same_report_over_a_hidden_peak_is_a_repeat() {
    let (level, _) = swipe(1_000_000, |_, c| c);
    let held = f64::from(level.samples[70].x);
    let all = found(1_000_000, |s, c| if (0.36..0.64).contains(&s) { (held, 0.0) } else { c });
    assert!(all.len() == 1 && all[0].wrong == Wrong::Repeated, "{all:?}");
}

#[test]
fn nothing_panics_on_what_no_device_sends() {
    let odd = [i32::MIN, i32::MAX, 0, 1, -1];
    let samples: Vec<Sample> = (0..200)
        .map(|i| Sample {
            t: if i % 7 == 0 { 5 } else { i * 1_000_000 },
            x: odd[i as usize % 5],
            y: odd[(i as usize / 5) % 5],
            timed: i % 3 == 0,
            idle_before: u32::MAX,
        })
        .collect();
    let (_, mut swipe) = swipe(1_000_000, |_, c| c);
    let series = Series { reports: 200, samples, ..Series::default() };
    for (slot, per_mm) in
        [(1e6, 31.0), (0.0, 31.0), (f64::NAN, 1.0), (1e6, 0.0), (1e-9, 1e300), (1e18, 1e-300)]
    {
        for rows in [0..200, 0..0, 10..500] {
            swipe.rows = rows;
            find(
                &series,
                Frame { cos: 0.6, sin: 0.8 },
                &swipe,
                &Bench { counts_per_mm: per_mm, slot, beat: 0.0, uneven: false, bend: 0.0 },
            );
        }
    }
}
