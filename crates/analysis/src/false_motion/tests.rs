//! Known answers.

use super::*;
use crate::erratic::{
    self,
    tests::{PER_MM, SLOTS},
};
use std::f64::consts::PI;

const TRAVEL: f64 = 300.0 * PER_MM;

/// A swipe that is short or long where more than 2 mm are missing or too many.
pub(super) fn swipe(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> (Series, Swipe) {
    let (series, swipe) = erratic::tests::swipe(slot_ns, tell);
    let off = swipe.along - TRAVEL;
    (series, Swipe { surplus: if off.abs() > 2.0 * PER_MM { off } else { 0.0 }, ..swipe })
}

pub(super) const FRAME: Frame = Frame { cos: 1.0, sin: 0.0 };

/// What is found where nothing was before.
fn found(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> Vec<Stretch> {
    let (series, swipe) = swipe(slot_ns, tell);
    let mut out = Vec::new();
    complete(&series, FRAME, &swipe, &bench(slot_ns), swipe.is_short(), &mut out);
    out
}

pub(super) fn bench(slot_ns: i64) -> Bench {
    Bench { counts_per_mm: PER_MM, slot: slot_ns as f64, beat: 0.0, uneven: false, bend: 0.0 }
}

#[test]
fn a_sound_swipe_is_left_alone_and_so_is_one_that_lost_counts_evenly() {
    for slot in SLOTS {
        assert!(found(slot, |_, c| c).is_empty(), "{slot}");
        assert!(found(slot, |_, c| (0.8 * c.0, c.1)).is_empty(), "{slot}");
    }
}

#[test]
fn false_motion_that_lasts_until_the_stop_is_found_where_it_begins() {
    for slot in SLOTS {
        let all = found(slot, |s, c| if s >= 0.4 { (-0.6 * c.0, 0.4 * c.0) } else { c });
        assert!(all.len() == 1 && all[0].wrong == Wrong::Reversal, "{slot}: {all:?}");
        let at = (all[0].begin - 1_000_000_000) as f64 / 200e6;
        assert!((at - 0.4).abs() <= 0.01 + 1.5 * slot as f64 / 200e6, "{slot}: {at}");
    }
}

#[test]
fn a_bounce_after_lost_counts_is_no_false_motion() {
    // 100 mm are lost, so that the stop comes early; there the device is thrown back 6 mm and comes again.
    let bounce = |s: f64, c: (f64, f64)| match s {
        s if (0.45..0.62).contains(&s) => (0.0, 0.0),
        s if (0.9..0.92).contains(&s) => (-95.0, 0.0),
        s if s >= 0.92 => (0.3 * c.0, 0.0),
        _ => c,
    };
    let all = found(1_000_000, bounce);
    assert!(all.is_empty(), "{all:?}");
}

/// Half of the counts are lost from before the peak up to the stop, which throws the device back 3 mm.
#[test]
fn a_bounce_in_reports_that_are_thin_up_to_the_stop_is_no_false_motion() {
    for slot in SLOTS.into_iter().filter(|slot| *slot <= 4_000_000) {
        let bounce = |s: f64, c: (f64, f64)| match s {
            s if s >= 0.97 => (-3.0 * PER_MM * slot as f64 / 6e6, 0.0),
            s if s >= 0.3 => (0.4 * c.0, 0.0),
            _ => c,
        };
        let (series, swipe) = swipe(slot, bounce);
        let mut all = erratic::find(&series, FRAME, &swipe, &bench(slot));
        all.iter_mut().for_each(|s| s.rows.end = swipe.rows.end);
        complete(&series, FRAME, &swipe, &bench(slot), swipe.is_short(), &mut all);
        assert!(!all.is_empty() && all.iter().all(|s| s.wrong == Wrong::Thin), "{slot}: {all:?}");
    }
}

/// A hand that goes back 40 mm on its way and then on to the stop lacks nothing.
#[test]
fn a_hand_that_turns_back_on_its_way_and_gets_there_is_left_alone() {
    let turns = |s: f64, c: (f64, f64)| {
        let wave = |s: f64| {
            if (0.3..0.7).contains(&s) { (((s - 0.3) / 0.4) * std::f64::consts::TAU).sin() } else { 0.0 }
        };
        (c.0 - 60.0 * PER_MM * (wave(s + 0.04) - wave(s)).min(0.3), c.1)
    };
    let (_, swipe) = swipe(8_000_000, turns);
    assert!((swipe.along / TRAVEL - 1.0).abs() < 0.2);
    let all = found(8_000_000, turns);
    assert!(all.iter().all(|s| s.within_s > 0.0), "nothing is told of it without abruptness: {all:?}");
}

#[test]
fn thin_reports_that_run_backwards_are_false_motion_and_empty_ones_are_not() {
    let thin = |share: f64| {
        let (series, swipe) =
            swipe(250_000, |s, c| if (0.4..0.4045).contains(&s) { (share * c.0, 0.0) } else { c });
        let mut all = erratic::find(&series, FRAME, &swipe, &bench(250_000));
        assert_eq!(all.len(), 1, "{all:?}");
        all[0].wrong = Wrong::Thin;
        complete(&series, FRAME, &swipe, &bench(250_000), swipe.is_short(), &mut all);
        all[0].wrong
    };
    assert_eq!((thin(-0.8), thin(0.1)), (Wrong::Reversal, Wrong::Thin));
}

/// Half of the counts, and then a body that comes back from its stop by a quarter of a millimetre.
#[test]
fn what_the_stop_throws_back_of_a_loss_is_no_motion_back() {
    let thin = |back: f64| {
        let change = |s: f64, c: (f64, f64)| match s {
            s if s >= 0.9 => (if s < 0.905 { -back } else { 0.0 }, 0.0),
            s if s >= 0.4 => (0.5 * c.0, 0.0),
            _ => c,
        };
        let (series, swipe) = swipe(1_000_000, change);
        let mut all = erratic::find(&series, FRAME, &swipe, &bench(1_000_000));
        assert!(!all.is_empty());
        all.truncate(1);
        all[0].wrong = Wrong::Thin;
        all[0].rows.end = swipe.rows.end;
        complete(&series, FRAME, &swipe, &bench(1_000_000), swipe.is_short(), &mut all);
        all[0].wrong
    };
    assert_eq!((thin(16.0), thin(1600.0)), (Wrong::Thin, Wrong::Reversal));
}

/// From 0.3 to 0.7 of the time the place runs straight at the speed of its edges, as frames that beat by 4 % show it.
#[test]
fn a_place_that_runs_straight_over_a_hidden_peak_is_a_repeat_at_any_interval() {
    for slot in SLOTS {
        let share = |s: f64| 30.0 * s * s * (1.0 - s) * (1.0 - s);
        let level = TRAVEL * share(0.3) * slot as f64 / 200e6;
        let beat = |s: f64| [1.0, 0.96, 1.04][(s * 200e6 / slot as f64).round() as usize % 3];
        let held = |s: f64, c: (f64, f64)| if (0.3..0.7).contains(&s) { (level * beat(s), 0.0) } else { c };
        let (_, swipe) = swipe(slot, held);
        let all = found(slot, held);
        let short = swipe.along < (1.0 - HIDDEN) * TRAVEL;
        assert!(short && all.len() == 1 && all[0].wrong == Wrong::Repeated, "{slot}: {all:?}");
    }
}

/// Likewise at 8 kHz, where a radio tries one report in 64 again and gets its counts through half a millisecond later.
#[test]
fn a_report_that_is_tried_again_cuts_no_straight_run() {
    let slot = 125_000;
    let share = |s: f64| 30.0 * s * s * (1.0 - s) * (1.0 - s);
    let level = TRAVEL * share(0.3) * slot as f64 / 200e6;
    let held = |s: f64, c: (f64, f64)| if (0.3..0.7).contains(&s) { (level, 0.0) } else { c };
    let (mut series, mut swipe) = swipe(slot, held);
    let (mut kept, mut waiting) = (Vec::new(), 0);
    for (i, sample) in series.samples.iter().enumerate() {
        waiting += sample.x;
        if !(60..64).contains(&(i % 64)) {
            kept.push(Sample { x: std::mem::take(&mut waiting), ..*sample });
        }
    }
    swipe.rows = 0..kept.len();
    series.samples = kept;
    let mut all = Vec::new();
    complete(&series, FRAME, &swipe, &bench(slot), true, &mut all);
    assert!(all.len() == 1 && all[0].wrong == Wrong::Repeated, "{all:?}");
}

/// Nothing for a while around the peak, in which one report tells a count back.
#[test]
fn a_count_back_in_a_silence_is_no_reversal() {
    for slot in SLOTS.into_iter().filter(|slot| *slot <= 4_000_000) {
        let at = 200_000_000 / slot / 2;
        let tell = |s: f64, c: (f64, f64)| match ((s * 200e6 / slot as f64).round() as i64, s) {
            (i, _) if i == at => (-1.0, 0.0),
            (_, s) if (0.35..0.65).contains(&s) => (0.0, 0.0),
            _ => c,
        };
        let (series, swipe) = swipe(slot, tell);
        let mut all = erratic::find(&series, FRAME, &swipe, &bench(slot));
        complete(&series, FRAME, &swipe, &bench(slot), swipe.is_short(), &mut all);
        assert!(all.iter().all(|s| s.wrong != Wrong::Reversal), "{slot}: {all:?}");
    }
}

/// Struck at half of the way that was counted, since the rest was lost before: thrown back by 24 mm, it comes again by half of that.
#[test]
fn a_bounce_after_a_start_that_was_lost_is_no_reversal() {
    let back = |s: f64, c: (f64, f64)| match s {
        s if s < 0.5 => c,
        s if s < 0.7 => (-24.0 * PER_MM / 40.0, 0.0),
        s if s < 0.9 => (12.0 * PER_MM / 40.0, 0.0),
        _ => (0.0, 0.0),
    };
    let (series, swipe) = swipe(1_000_000, back);
    let all = erratic::find(&series, FRAME, &swipe, &bench(1_000_000));
    assert!(all.iter().any(|s| s.wrong == Wrong::Reversal), "{all:?}");
    let left = |lost: f64| {
        let mut all = all.clone();
        drop_bounces(&series, FRAME, &swipe, &bench(1_000_000), lost, &mut all);
        all.iter().filter(|s| s.wrong == Wrong::Reversal).count()
    };
    assert_eq!((left(0.5 * TRAVEL), left(0.1 * TRAVEL), left(0.0)), (0, 1, 1));
}

/// At its whole speed from the first report on: what is missing came before that.
#[test]
fn an_even_speed_that_a_swipe_begins_at_hides_no_peak() {
    for slot in SLOTS.into_iter().filter(|slot| *slot <= 4_000_000) {
        let top = TRAVEL * slot as f64 / 200e6 / (1.0 - 0.5 / 3.0);
        let tell = |s: f64, _: (f64, f64)| (0.85 * top * (3.0 * (1.0 - s)).min(1.0), 0.0);
        let all = found(slot, tell);
        assert!(all.is_empty(), "{slot}: {all:?}");
    }
}

#[test]
fn nothing_panics_on_what_no_device_sends() {
    let odd = [i32::MIN, i32::MAX, 0, 1, -1];
    let samples: Vec<Sample> = (0..200)
        .map(|i| Sample {
            t: if i % 7 == 0 { [i64::MIN, i64::MAX, 5][i as usize % 3] } else { i * 1_000_000 },
            x: odd[i as usize % 5],
            y: odd[(i as usize / 5) % 5],
            timed: i % 3 == 0,
            idle_before: u32::MAX,
        })
        .collect();
    let (_, mut swipe) = swipe(1_000_000, |_, c| c);
    swipe.surplus = -1e5;
    let series = Series { reports: 200, samples, ..Series::default() };
    for (slot, per_mm) in
        [(1e6, 31.0), (0.0, 31.0), (f64::NAN, 1.0), (1e6, 0.0), (1e-9, 1e300), (1e18, 1e-300)]
    {
        for (rows, travel) in [(0..200, 1e4), (0..0, 1e4), (10..500, 1e4), (3..190, f64::NAN), (3..190, 1e12)]
        {
            (swipe.rows, swipe.one_travel) = (rows, travel);
            complete(
                &series,
                FRAME,
                &swipe,
                &Bench { counts_per_mm: per_mm, slot, beat: 0.0, uneven: false, bend: 0.0 },
                true,
                &mut Vec::new(),
            );
        }
    }
}

/// A report sent early holds little, and of its direction little is known; the next one holds what is due, and lies across it by
/// twice what the little one held.
#[test]
fn a_whole_report_after_a_short_one_in_much_the_same_direction_is_no_turn() {
    let (mut series, swipe) = swipe(4_000_000, |_, c| c);
    let whole = series.samples[22].x + series.samples[23].x;
    (series.samples[22].x, series.samples[22].y) = (whole / 20, whole / 200);
    series.samples[23].x = whole - whole / 20;
    let mut out = Vec::new();
    complete(&series, FRAME, &swipe, &bench(4_000_000), swipe.is_short(), &mut out);
    assert!(out.is_empty(), "{out:?}");
}

/// Blind by acceleration from the first millimetre to the seventeenth, and backwards meanwhile; or a hand that draws back and then sets out.
#[test]
fn motion_back_as_the_hand_sets_out_is_false_where_a_leap_ends_it() {
    for slot in SLOTS.into_iter().filter(|slot| *slot <= 2_000_000) {
        let back = -4.0 * PER_MM * slot as f64 / 34e6;
        let all = found(slot, |s, c| if (0.07..0.22).contains(&s) { (back, -back) } else { c });
        assert!(all.len() == 1 && all[0].wrong == Wrong::Reversal, "{slot}: {all:?}");
        let (begin, end) = (all[0].begin - 1_000_000_000, all[0].end - 1_000_000_000);
        assert!(
            (8_000_000..20_000_000).contains(&begin) && (38_000_000..50_000_000).contains(&end),
            "{slot}: {all:?}"
        );
        let draws_back = |s: f64, c: (f64, f64)| match s {
            s if s < 0.2 => (2.0 * back * (PI * s / 0.2).sin(), 0.0),
            s => (c.0 * ((s - 0.2) / 0.4).min(1.0), 0.0),
        };
        let all = found(slot, draws_back);
        assert!(all.iter().all(|s| s.wrong != Wrong::Reversal), "{slot}: {all:?}");
    }
}
