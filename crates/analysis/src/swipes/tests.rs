//! Strokes of a hand between two stops, as devices that fail report them.

use super::*;

/// A swipe of some rows, for tests that look at nothing else of it.
pub(crate) fn of_rows(direction: Direction, rows: Range<usize>) -> Swipe {
    Swipe {
        number: 1,
        direction,
        rows,
        begin: 0,
        end: 0,
        along: 0.0,
        across: 0.0,
        peak: 0.0,
        exit: 0.0,
        one_travel: 0.0,
        surplus: 0.0,
        began_short: false,
        stopped_short: false,
    }
}

/// Counts in a millimetre, and mm from stop to stop.
const PER_MM: f64 = 60.0;
const TRAVEL_MM: f64 = 300.0;
/// A stroke's time, and the rest at the stop after it, seconds.
const STROKE: f64 = 0.2;
const REST_S: f64 = 0.3;

/// Share of the way at a share of the time of a minimum-jerk stroke (Flash & Hogan 1985).
fn way(u: f64) -> f64 {
    let u = u.clamp(0.0, 1.0);
    u * u * u * (10.0 + u * (-15.0 + 6.0 * u))
}

/// Ten strokes out and back, reported every `slot` ns: `told` says how far a stroke (counted from 0) has been reported to
/// go, mm in its own direction, so many seconds after it began. Strokes begin 2 ms after a report.
fn found(slot: i64, told: impl Fn(usize, f64) -> f64) -> Found {
    let series = strokes(slot, told);
    find(&series, Frame { cos: 1.0, sin: 0.0 }, TRAVEL_MM * PER_MM)
}

fn strokes(slot: i64, told: impl Fn(usize, f64) -> f64) -> Series {
    let period = (((STROKE + REST_S) * 1e9) as i64 / slot + 1) * slot;
    let mut samples = Vec::new();
    let (mut place, mut last) = (0.0, 0.0);
    for stroke in 0..10usize {
        let sign = if stroke % 2 == 0 { 1.0 } else { -1.0 };
        for i in 0..period / slot {
            let now = place + sign * told(stroke, (i * slot - 2_000_000) as f64 * 1e-9);
            let x = (now * PER_MM).round() - last;
            last += x;
            let t = stroke as i64 * period + (i + 1) * slot;
            if x != 0.0 {
                samples.push(Sample { t, x: x as i32, y: 0, timed: true, idle_before: 0 });
            }
        }
        place += sign * told(stroke, STROKE + REST_S);
    }
    Series { samples, ..Series::default() }
}

/// A stroke whose counts between two times are lost.
fn lost(t: f64, from: f64, to: f64) -> f64 {
    let way = |t: f64| TRAVEL_MM * way(t / STROKE);
    way(t.min(from)) + (way(t) - way(to)).max(0.0)
}

const SLOTS: [i64; 5] = [500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000];

#[test]
fn sound_strokes_are_swipes_from_begin_to_end() {
    for slot in SLOTS {
        let found = found(slot, |_, t| TRAVEL_MM * way(t / STROKE));
        assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot}");
        assert!(found.swipes.iter().all(|s| (s.along / PER_MM - TRAVEL_MM).abs() < 0.1), "{slot}");
    }
}

/// The last 2 mm of every stroke, or its first ones, at 8 mm/s: slower than what is looked for as a swipe.
#[test]
fn a_hand_that_creeps_to_its_stop_or_off_it_makes_a_whole_swipe() {
    let creep = |t: f64| (8.0 * t).clamp(0.0, 2.0);
    let to_it = |t: f64| (TRAVEL_MM - 2.0) * way(t / STROKE) + creep(t - STROKE);
    let off_it = |t: f64| creep(t) + (TRAVEL_MM - 2.0) * way((t - 0.25) / STROKE);
    for slot in SLOTS {
        for found in [found(slot, |_, t| to_it(t)), found(slot, |_, t| off_it(t))] {
            assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot}");
            let off: Vec<f64> = found.swipes.iter().map(|s| s.along / PER_MM - TRAVEL_MM).collect();
            // Of what is slower than 1.2 mm/s, and of the first swipe's begin, nothing belongs to it.
            assert!(off[1..9].iter().all(|off| off.abs() < 0.4), "{slot}: {off:?}");
        }
    }
}

/// The sensor is blind from 27 ms, 1 to 5 ms into a report, to 110 ms. What it has counted by then is 6 mm, or 1.4 mm of
/// one that is blind from 16 ms, at 8 ms in two reports and a part.
#[test]
fn a_start_whose_last_report_holds_a_part_belongs_to_its_swipe() {
    for slot in SLOTS {
        for blind in [0.016, 0.019, 0.027] {
            if slot == 8_000_000 && blind < 0.02 {
                continue;
            }
            let found = found(slot, |_, t| lost(t, blind, 0.110));
            assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot} {blind}");
            let period = found.swipes[1].begin - found.swipes[0].begin;
            for (i, swipe) in found.swipes.iter().enumerate() {
                let since = swipe.begin - i as i64 * period;
                assert!(since < 30_000_000, "{slot} {blind}: begins {since} ns after the hand");
            }
        }
    }
}

/// Nothing for 75 ms in the middle, at 8 kHz, as a reader hands it on that gets the eight reports of every tenth
/// millisecond at once.
#[test]
fn a_silence_is_no_rest_however_fast_reports_follow_each_other_elsewhere() {
    let mut series = strokes(125_000, |_, t| lost(t, 0.06, 0.135));
    let ms = 1_000_000;
    for sample in series.samples.iter_mut().filter(|s| s.t / ms % 10 == 0) {
        sample.t = (sample.t / ms + 1) * ms - 1000 + sample.t % ms / 1000;
    }
    let found = find(&series, Frame { cos: 1.0, sin: 0.0 }, TRAVEL_MM * PER_MM);
    assert_eq!((found.swipes.len(), found.unplaced), (10, 0));
}

/// From 0.6 of the time on a sensor tells six tenths of the speed, backwards; the next stroke sets out the same way.
#[test]
fn false_motion_into_the_stop_is_not_joined_to_the_way_back() {
    for slot in SLOTS {
        for from in [0.3, 0.35, 0.4] {
            let at = |t: f64| TRAVEL_MM * way(t / STROKE);
            let told = |_, t: f64| at(t.min(from * STROKE)) - 0.6 * (at(t) - at(from * STROKE)).max(0.0);
            let found = found(slot, told);
            assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot} {from}");
            let alternate = |w: &[Swipe]| w[0].direction != w[1].direction;
            assert!(found.swipes.windows(2).all(alternate), "{slot} {from}");
        }
    }
}

/// Of the fourth stroke 12 mm are counted, until it is lost at speed for good.
#[test]
fn a_return_that_breaks_off_early_is_placed_between_its_neighbours() {
    for slot in SLOTS {
        let found = found(slot, |stroke, t| lost(t, if stroke == 3 { 0.036 } else { 1.0 }, 1.0));
        assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot}");
        assert!((found.swipes[3].along / PER_MM - 11.9).abs() < 2.0, "{slot}: {:?}", found.swipes[3].along);
    }
}

/// The fourth is not counted at all, but the third bounces off its stop by 13 mm (0.9² / 2 · 30 m).
#[test]
fn a_bounce_is_no_return() {
    for slot in SLOTS {
        let bounce = |t: f64| -> f64 {
            let since = (t - STROKE).clamp(0.0, 0.06);
            1e3 * (0.9 * since - 0.5 * 30.0 * since * since)
        };
        let told = |stroke, t: f64| match stroke {
            2 => TRAVEL_MM * way(t / STROKE) - bounce(t),
            3 => 0.0,
            _ => TRAVEL_MM * way(t / STROKE),
        };
        let found = found(slot, told);
        assert_eq!((found.swipes.len(), found.unplaced), (9, 1), "{slot}");
    }
}

/// Strikes at 1.5 m/s that leave by 0.4 of it, against a push of 20 m/s²: 9 mm, twice, the second lower.
#[test]
fn a_bounce_off_the_stop_is_no_swipe_however_short_the_travel() {
    let (short, push) = (100.0, 20_000.0);
    let (told_mm, time) = (short, short / 1500.0);
    let hop = |t: f64, v: f64| (v * t - 0.5 * push * t * t).max(0.0);
    let told = |_: usize, t: f64| match t {
        t if t < time => told_mm * (t / time).clamp(0.0, 1.0),
        t if t < time + 0.06 => told_mm - hop(t - time, 600.0),
        t => told_mm - hop(t - time - 0.06, 240.0),
    };
    for slot in SLOTS {
        let found = find(&strokes(slot, told), Frame { cos: 1.0, sin: 0.0 }, short * PER_MM);
        assert_eq!((found.swipes.len(), found.unplaced), (10, 0), "{slot}");
    }
}
