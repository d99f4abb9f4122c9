//! A hand, a device and a host other than the simulator's: what `scripts/outside-hands` showed, each by the smallest model
//! that shows it.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, Finding, Outcome, Verdict};
use slipgauge_trace::Recording;
use std::fmt::Write as _;

/// Skewed swipes of 300 mm between two stops, counted by a sensor that takes so many frames in a report.
struct Outside {
    slot_ns: i64,
    frames_a_report: f64,
    counts_per_mm: f64,
    /// How late the host is with report number i, of the seed's sequence in [0, 1).
    late_ns: fn(i64, f64) -> f64,
    /// In the middle of each rest the hand taps the device against the stop, from so many mm away; or counts run so far into it.
    tap_mm: f64,
    /// In so many seconds.
    tap_s: f64,
    /// From a time on, seconds, the device counts so many times as much.
    button: Option<(f64, f64)>,
    /// Share of the stroke after which the stop comes: 1 if the hand brakes to it.
    stroke: f64,
    /// So many mm that the device counts on, or the hand has left until then and makes now, a tenth of a second after each stop.
    later: Option<(Later, BySwipe)>,
    /// Counts over counts of a sound device, by swipe (all paces counted through, from 0).
    gain: fn(usize) -> f64,
    /// Counts that one report in the middle of this swipe holds besides.
    leap: Option<(usize, i32)>,
    /// What the sensor does above a speed, m/s.
    limit: Option<(f64, Beyond)>,
    /// That speed over the one in this swipe.
    limit_in: BySwipe,
    /// Whether a report at this time, in seconds, gets lost with its counts.
    lost: fn(f64) -> bool,
    /// Whether report number i comes again four tenths of an interval later.
    twice: fn(i64) -> bool,
    /// Speed with which the sensor drifts on while the device rests between swipes, mm/s.
    drifts_mm_s: f64,
    /// And while it is left still at first.
    creeps_mm_s: f64,
    /// Whether one at this time is not sent, and the next that is carries its counts.
    held: fn(f64) -> bool,
    /// Counts that report number i carries at most.
    most: fn(i64) -> i32,
    /// Reports over which, by equal parts, what one held back is handed on; 1 and less: with the next.
    handed_on_in: usize,
    /// Every so many seconds it counts one, and takes it back the next time: a sensor at an edge under a hand; 0 if it does not.
    flickers_s: f64,
    /// Whether what is more than that gets lost, and does not come with the next.
    more_is_lost: bool,
    /// Counts at which what a report holds turns into as many the other way; 0 if it does not.
    wraps_at: i32,
    /// Time constant with which what is counted follows the motion, seconds: firmware that smooths; 0 if it does not.
    smooths_s: f64,
    /// Angle of the swipe to the sensor's X, radians.
    askew: f64,
    /// By so much more from the first fast swipe on: the device was lifted before, and put down again.
    turned: f64,
    /// Counts below this are thrown away.
    least: i32,
    /// Slow swipes.
    slow: usize,
    /// What they take, seconds.
    slow_s: f64,
}

/// A number for each swipe, all paces counted through, from 0.
type BySwipe = fn(usize) -> f64;

#[derive(Clone, Copy, PartialEq)]
enum Beyond {
    /// Counts no faster.
    Saturates,
    /// Goes on with its last motion for 60 to 120 ms, once a swipe.
    Freezes,
    /// Takes one axis for the other.
    Turns,
    /// Sees nothing along X.
    Blind,
    /// Goes to one corner at one speed, whatever the hand does.
    Corner,
    /// Counts the other way.
    Backwards,
    /// Tells a part of the motion beyond it as motion aside: a quarter of what is far beyond.
    Aslant,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Later {
    /// The device lies at the stop and counts all the same.
    Counted,
    /// Likewise, no faster than a hand that goes on to the stop.
    Crept,
    /// Likewise, in one report.
    Leapt,
    /// The hand had stopped short of it.
    Made,
    /// The device counts on as soon as it has stopped.
    AtOnce,
}

const SOUND: Outside = Outside {
    slot_ns: 1_000_000,
    frames_a_report: 6.4,
    counts_per_mm: 1600.0 / 25.4,
    late_ns: |_, _| 0.0,
    tap_mm: 0.0,
    tap_s: 0.2,
    button: None,
    stroke: 1.0,
    later: None,
    gain: |_| 1.0,
    leap: None,
    limit: None,
    limit_in: |_| 1.0,
    lost: |_| false,
    twice: |_| false,
    drifts_mm_s: 0.0,
    creeps_mm_s: 0.0,
    held: |_| false,
    most: |_| i32::MAX,
    handed_on_in: 1,
    flickers_s: 0.0,
    more_is_lost: false,
    wraps_at: 0,
    smooths_s: 0.0,
    askew: 0.0,
    turned: 0.0,
    least: i32::MIN,
    slow: SLOW,
    slow_s: 1.1,
};

const SLOW: usize = 10;
const FAST: usize = 30;

/// One swipe: begin, duration, from, to (seconds, mm).
type Leg = (f64, f64, f64, f64);

impl Outside {
    fn legs(&self) -> Vec<Leg> {
        let mut legs = Vec::new();
        let (mut t, mut place) = (11.0, 0.0);
        for i in 0..self.slow + FAST {
            // Beginning fast phase and its rest; stops are met within a tenth of a millimetre or two.
            t += if i == self.slow { 2.0 } else { 0.0 };
            let stop = if i % 2 == 0 { 300.0 } else { 0.0 } + 0.1 * ((i * 7) % 5) as f64 - 0.2;
            let duration = if i < self.slow {
                self.slow_s + 0.03 * (i % 4) as f64
            } else {
                0.24 + 0.01 * (i % 5) as f64
            };
            legs.push((t, duration, place, stop));
            (place, t) = (stop, t + duration + 0.5);
        }
        legs
    }

    /// Where the device is, with the swipe that it is in or was in last.
    fn place(&self, legs: &[Leg], t: f64) -> (f64, usize) {
        let i = legs.partition_point(|leg| leg.0 <= t).saturating_sub(1);
        let (begin, duration, from, to) = legs[i];
        let u = ((t - begin) / duration).clamp(0.0, 1.0);
        // Speed as u² (1 − u)³: fastest at two fifths of the time.
        let way = |u: f64| u.powi(3) * (20.0 - 45.0 * u + 36.0 * u * u - 10.0 * u.powi(3));
        let done = way(u * self.stroke) / way(self.stroke);
        let tap = (t - begin - duration - 0.15) / self.tap_s;
        let away = if (0.0..1.0).contains(&tap) && i >= self.slow {
            let way = self.tap_mm * (std::f64::consts::PI * tap).sin().powi(2);
            if to > from { -way } else { way }
        } else {
            0.0
        };
        let later = self.later.map_or(0.0, |(what, mm)| {
            let takes = match what {
                Later::Counted => 0.03,
                Later::Crept => 0.15,
                Later::Leapt => 1e-4,
                Later::Made => 0.1,
                Later::AtOnce => 0.05,
            };
            let rest = if what == Later::AtOnce { 0.0 } else { 0.1 };
            let made = ((t - begin - duration - rest) / takes).clamp(0.0, 1.0);
            let counted = |swipe: usize, made: f64| {
                if swipe.is_multiple_of(2) { mm(swipe) * made } else { -mm(swipe) * made }
            };
            match what {
                Later::Counted | Later::Crept | Later::Leapt | Later::AtOnce => {
                    (0..i).map(|before| counted(before, 1.0)).sum::<f64>() + counted(i, made)
                }
                Later::Made => counted(i, made - done),
            }
        });
        (from + (to - from) * done + away + later, i)
    }

    fn text(&self) -> String {
        let descriptor = "05010902a1010901a10005091901290315002501950375018102950175058101\
                          05010930093116018026ff7f751095028106c0c0";
        let mut text = format!(
            "{{\"slipgauge\":1,\"tool\":\"t\",\"started\":\"2026-01-01T00:00:00Z\",\
             \"clock\":{{\"id\":\"monotonic\",\"resolution_ns\":1}},\"devices\":[{{\"role\":\"test\",\"link\":\"cable\",\
             \"nodes\":[{{\"interface\":0,\"interval_ns\":{},\"descriptor\":\"{descriptor}\"}}]}}],\
             \"plan\":{{\"travel_um\":300000,\"travel_u_um\":500,\"axis\":\"x\",\"straight_edge\":true,\
             \"steps\":[{{\"id\":1,\"nominal_counts_per_inch\":{}}}]}}}}\n",
            self.slot_ns,
            self.counts_per_mm * 25.4
        );
        let legs = self.legs();
        let begins = [0.0, 10.5, legs[self.slow].0 - 0.5];
        let mut phases = [
            "{\"step\":1,\"task\":\"still\"}".to_owned(),
            format!("{{\"step\":1,\"task\":\"swipes\",\"pace\":\"slow\",\"swipes\":{}}}", self.slow),
            format!("{{\"step\":1,\"task\":\"swipes\",\"pace\":\"fast\",\"swipes\":{FAST}}}"),
        ]
        .into_iter()
        .zip(begins.map(|b| (b * 1e9) as i64))
        .peekable();
        let last = legs[legs.len() - 1];
        let frame = self.slot_ns as f64 / self.frames_a_report * 1e-9;
        let (mut told, mut at, mut stamp, mut place) = (0.0f64, 0.0f64, i64::MIN, 0);
        let (mut true_counts, mut smooth, mut state) = (0.0f64, 0.0f64, 1u64);
        let (mut true_across, mut told_across) = (0.0, 0.0f64);
        let mut leapt = false;
        // What is still held back, and how much of it comes with each report.
        let (mut behind, mut part, mut holds) = (0.0f64, 0.0f64, false);
        // Until when it is frozen at which speed, and the swipe in which it was.
        let (mut frozen, mut last_seen) = ((0.0, 0.0, usize::MAX), 0.0);
        for i in 0.. {
            let t = i * self.slot_ns;
            if t as f64 * 1e-9 > last.0 + last.1 + 1.0 {
                break;
            }
            let seen = (t as f64 * 1e-9 / frame).floor() * frame;
            let (here, swipe) = self.place(&legs, seen);
            let (mut moved, seconds) = (here - at, seen - last_seen);
            if let Some((m_s, beyond)) = self.limit {
                let most = 1e3 * m_s * (self.limit_in)(swipe) * seconds;
                if seen < frozen.0 {
                    moved = frozen.1 * seconds;
                } else if beyond == Beyond::Saturates {
                    moved = moved.clamp(-most, most);
                } else if beyond == Beyond::Turns && moved.abs() > most {
                    true_across += moved * self.counts_per_mm;
                    moved = 0.0;
                } else if beyond == Beyond::Aslant && moved.abs() > most {
                    true_across += 0.25 * (moved - most * moved.signum()) * self.counts_per_mm;
                } else if beyond == Beyond::Backwards && moved.abs() > most {
                    moved = -moved;
                } else if beyond == Beyond::Corner && moved.abs() > most {
                    moved = -1.2 * most;
                    true_across += moved * self.counts_per_mm;
                } else if beyond == Beyond::Freezes && moved.abs() > most && frozen.2 != swipe {
                    frozen = (seen + 0.06 + 0.01 * (swipe % 7) as f64, moved / seconds, swipe);
                }
            }
            let pressed = self.button.filter(|(from, _)| seen >= *from).map_or(1.0, |(_, factor)| factor);
            let counted = moved * self.counts_per_mm * (self.gain)(swipe) * pressed;
            let rests = here == at && counted == 0.0;
            let drifts = if seen > legs[0].0 { self.drifts_mm_s } else { self.creeps_mm_s };
            let counted = if rests { drifts * seconds * self.counts_per_mm } else { counted };
            let blind = self.limit.is_some_and(|(m_s, beyond)| {
                beyond == Beyond::Blind && moved.abs() > 1e3 * m_s * (self.limit_in)(swipe) * seconds
            });
            let angle = self.askew + if swipe >= self.slow { self.turned } else { 0.0 };
            true_counts += if blind { 0.0 } else { counted * angle.cos() };
            true_across += counted * angle.sin();
            (at, last_seen) = (here, seen);
            if (self.held)(t as f64 * 1e-9) {
                holds = true;
                continue;
            }
            let most = (self.most)(i);
            // While a hand is on it.
            let flickers = self.flickers_s > 0.0 && t as f64 * 1e-9 > begins[1];
            let edge = (flickers && (t as f64 * 1e-9 / self.flickers_s) as i64 % 2 == 1) as i32;
            let follows = 1.0 - (-(self.slot_ns as f64) * 1e-9 / self.smooths_s.max(1e-9)).exp();
            smooth += follows * (true_counts - smooth);
            if std::mem::take(&mut holds) && self.handed_on_in > 1 {
                behind = smooth.round() - told;
                part = behind / self.handed_on_in as f64;
            }
            behind -= if behind.abs() > part.abs() { part } else { behind };
            let mut counts = ((smooth.round() - behind.round() - told) as i32 + edge).clamp(-most, most);
            told = if self.more_is_lost { smooth.round() } else { told + f64::from(counts) };
            counts = counts.max(self.least);
            if self.wraps_at > 0 {
                counts = (counts + self.wraps_at).rem_euclid(2 * self.wraps_at) - self.wraps_at;
            }
            if let Some((which, extra)) = self.leap
                && which == swipe
                && !leapt
                && seen > legs[swipe].0 + 0.4 * legs[swipe].1
            {
                (counts, leapt) = (extra, true);
            }
            let across = (true_across.round() - told_across) as i16;
            told_across = true_across.round();
            if (counts == 0 && across == 0) || (self.lost)(t as f64 * 1e-9) {
                continue;
            }
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let chance = (state >> 11) as f64 / (1u64 << 53) as f64;
            let received = t + (self.late_ns)(i, chance) as i64;
            // First in, first out; what waited for another is read with it.
            place = if received <= stamp.saturating_add(10_000) { place + 1 } else { 0 };
            stamp = received.max(stamp.saturating_add(2_000));
            while let Some((phase, begin)) = phases.next_if(|(_, begin)| *begin <= stamp) {
                writeln!(text, "{{\"t\":{begin},\"phase\":{phase}}}").unwrap();
            }
            let [x, y] = (counts as i16).to_le_bytes();
            let [a, b] = across.to_le_bytes();
            let report = format!("\"r\":\"00{x:02x}{y:02x}{a:02x}{b:02x}\",\"q\":{place}");
            writeln!(text, "{{\"t\":{stamp},{report}}}").unwrap();
            if (self.twice)(i) {
                stamp += self.slot_ns * 4 / 10;
                writeln!(text, "{{\"t\":{stamp},{report}}}").unwrap();
            }
        }
        writeln!(text, "{{\"t\":{},\"end\":true}}", stamp + 1_000_000_000).unwrap();
        text
    }

    fn verdict(&self) -> Verdict {
        let recording = Recording::read(self.text().as_bytes()).unwrap();
        let verdict = judge(&recording, "outside").verdict;
        let lost = verdict.findings.iter().filter(|f| f.family == Family::TrackingLoss);
        lost.for_each(|f| assert!(f.size <= 305.0, "more than the travel: {f:?}"));
        verdict
    }
}

fn kinds(verdict: &Verdict) -> Vec<(Family, &str, Cause)> {
    verdict.findings.iter().map(|f| (f.family, f.kind, f.cause)).collect()
}

fn outcome(verdict: &Verdict, family: Family) -> Outcome {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap().verdict
}

#[test]
fn a_skewed_hand_with_a_plain_device_is_sound() {
    let verdict = SOUND.verdict();
    assert_eq!(kinds(&verdict), []);
    assert_eq!(verdict.steps[0].swipes.clean as usize, SLOW + FAST);
}

/// One report in five holds a frame more, and one in seven is late, so that what came before it tells no speed of its own.
#[test]
fn frames_that_beat_against_reports_lose_nothing() {
    for frames_a_report in [1.15, 1.2, 1.5, 1.8] {
        let late_ns = |i: i64, chance: f64| if i % 7 == 0 { 500e3 + 600e3 * chance } else { 0.0 };
        let verdict = Outside { frames_a_report, late_ns, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [], "{frames_a_report}");
    }
}

/// 990 and 985 frames a second at 500 reports: one report in fifty, or in thirty-three, holds one frame and all others two.
#[test]
fn frames_nearly_whole_in_number_to_a_report_lose_nothing() {
    for frames_a_report in [1.97, 1.98, 2.98] {
        let verdict = Outside { slot_ns: 2_000_000, frames_a_report, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [], "{frames_a_report}");
    }
}

/// Or a gain that changed by a hundredth: from the ninth fast swipe on.
#[test]
fn a_stop_that_gives_way_by_three_millimetres_is_no_motion_after_it() {
    let verdict = Outside { gain: |i| if i < SLOW + 8 { 1.0 } else { 1.01 }, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), []);
}

#[test]
fn reports_that_are_left_out_and_come_with_the_next_are_told_and_leave_it_open() {
    let verdict = Outside { held: |t| (t * 1e3).round() as i64 % 7 == 0, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::ReportInterval, "merged", Cause::Unknown)]);
    assert_eq!(outcome(&verdict, Family::ReportInterval), Outcome::Inconclusive);
}

/// 40 ms, twice in each slow swipe, and in no fast one.
#[test]
fn dropouts_in_all_slow_swipes_fail_though_none_of_the_fast_ones_has_any() {
    let verdict = Outside { lost: |t| t < 28.0 && (t * 1e3) as i64 % 400 < 40, ..SOUND }.verdict();
    assert_eq!(outcome(&verdict, Family::Dropout), Outcome::Fail, "{:?}", kinds(&verdict));
}

/// From the sixteenth fast swipe on.
#[test]
fn a_sensor_that_comes_to_count_no_faster_has_a_limit_and_repeats_nothing() {
    let limit_in = |i| if i < SLOW + FAST / 2 { 10.0 } else { 1.0 };
    let verdict = Outside { limit: Some((1.5, Beyond::Saturates)), limit_in, ..SOUND }.verdict();
    let kinds = kinds(&verdict);
    assert_eq!(kinds, [(Family::TrackingLoss, "level", Cause::Sensor); FAST / 2], "{kinds:?}");
}

/// Blind from 1.4 m/s on in one direction, and twice from 1.05; the other is clean up to 2.5.
#[test]
fn losses_in_one_direction_are_held_against_what_that_direction_reports() {
    let limit_in = |i| match i {
        17 | 31 => 0.75,
        _ if i % 2 == 0 => 10.0,
        _ => 1.0,
    };
    let verdict = Outside { limit: Some((1.4, Beyond::Blind)), limit_in, ..SOUND }.verdict();
    let kinds = kinds(&verdict);
    assert_eq!(kinds, [(Family::TrackingLoss, "silent", Cause::Sensor); FAST / 2], "{kinds:?}");
}

#[test]
fn no_limit_is_passed_that_a_ceiling_hides() {
    let verdict = Outside { most: |_| 88, more_is_lost: true, ..SOUND }.verdict();
    assert_eq!(outcome(&verdict, Family::ReportCeiling), Outcome::Fail);
    assert_eq!(outcome(&verdict, Family::TrackingLoss), Outcome::NotExamined);
}

/// At 8 kHz, so that polls stay empty, at random places and at regular ones. Runs that happen to hold none are few.
#[test]
fn a_sensor_with_fewer_frames_than_polls_keeps_the_interval_of_its_polls() {
    for frames_a_report in [0.72, 0.81, 0.85] {
        let late_ns = |_, chance: f64| 2e4 * chance;
        let verdict = Outside { slot_ns: 125_000, frames_a_report, late_ns, ..SOUND }.verdict();
        let families = &verdict.steps[0].families;
        let interval = families.iter().find(|f| f.family == Family::ReportInterval).unwrap();
        assert_ne!(interval.verdict, Outcome::Fail, "{frames_a_report}: {}", interval.because);
        assert_eq!(kinds(&verdict), [], "{frames_a_report}");
    }
}

/// Reports every 0.25 ms, read half a millisecond late on average: exponential, so now and then by three.
#[test]
fn a_host_that_is_later_than_an_interval_makes_no_silence_and_no_wander() {
    for slot_ns in [250_000, 1_000_000] {
        let verdict = Outside { slot_ns, late_ns: |_, chance| -5e5 * (1.0 - chance).ln(), ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [], "{slot_ns}");
    }
}

/// Reports every 0.125 ms of 400 counts an inch, so that many slots hold no count; a reader that is late by 4 ms every 0.2 s, and then
/// takes what came at once.
#[test]
fn a_late_reader_of_few_counts_makes_no_silence() {
    fn late_ns(i: i64, _: f64) -> f64 {
        let at = i % 1600;
        if at < 32 { (32 - at) as f64 * 125e3 + at as f64 * 2e3 } else { 0.0 }
    }
    let outside = Outside { slot_ns: 125_000, counts_per_mm: 15.75, late_ns, ..SOUND };
    assert_eq!(kinds(&outside.verdict()), []);
}

/// A device of 1 ms whose reader wakes every so many milliseconds, and then once for each report, 15 µs apart.
fn read_every(every: i64, i: i64) -> f64 {
    let waits = (every - 1 - i % every) as f64;
    1e6 * waits + 15e3 * (i % every) as f64
}

#[test]
fn what_is_read_in_batches_has_no_interval_of_microseconds_and_the_scale_of_its_counts() {
    for late_ns in [|i, _| read_every(3, i), |i, _| read_every(4, i), |i, _| read_every(8, i)] {
        let verdict = Outside { late_ns, creeps_mm_s: 0.07, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [(Family::Drift, "creep", Cause::Sensor)]);
        assert_eq!(outcome(&verdict, Family::Drift), Outcome::Pass);
        assert!((verdict.findings[0].size / 8.5 - 0.07).abs() < 0.01, "{:?}", verdict.findings);
        let step = &verdict.steps[0];
        assert!(step.report_interval_ns.is_none_or(|q| (q.value - 1e6).abs() < 1e4));
        assert!(step.swept.fastest_clean_m_s.is_some_and(|v| v > 1.5), "{:?}", step.swept);
    }
}

/// How late report `i` is read, in slots, by a reader that wakes so and begins anew every 34 slots.
fn next_of(wakes: &[f64], i: i64) -> f64 {
    let within = (i % 34) as f64;
    wakes.iter().find(|wake| **wake >= within).map_or(0.0, |wake| wake - within)
}

/// Readers that wake at any time, once in two reports and in four, and one that looks every 0.8 ms.
#[test]
fn a_reader_that_wakes_irregularly_or_by_a_timer_makes_no_silence_and_no_interval() {
    fn in_two(i: i64, chance: f64) -> f64 {
        1e6 * next_of(
            &[0.4, 1.1, 4.7, 5.2, 6.9, 7.3, 13.2, 14.0, 15.8, 16.1, 18.9, 21.0, 22.3, 27.6, 28.1, 31.2, 33.5],
            i,
        ) + 3e3 * chance
    }
    fn in_four(i: i64, chance: f64) -> f64 {
        1e6 * next_of(&[0.4, 5.9, 8.2, 16.7, 17.3, 24.4, 29.5, 33.5], i) + 3e3 * chance
    }
    fn timer(i: i64, _: f64) -> f64 {
        let waits = 800_000;
        (-1_000_000 * i).rem_euclid(waits) as f64
    }
    for (name, late_ns) in [("two", in_two as fn(i64, f64) -> f64), ("four", in_four), ("timer", timer)] {
        let verdict = Outside { late_ns, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [], "{name}");
        assert!(verdict.steps[0].families.iter().all(|f| f.verdict != Outcome::Fail));
        let swept = verdict.steps[0].swept;
        assert!(
            swept.fastest_clean_m_s.is_some_and(|v| v > 1.5),
            "{swept:?} {:?}",
            verdict.steps[0].families
        );
    }
}

/// Reports every 1.08 ms where 1 ms is asked for, and every 8.64 for 8: stamps tell no more than whole milliseconds.
#[test]
fn stamps_of_whole_milliseconds_tell_one_interval_and_pass_none_that_is_off() {
    let rounded = |slot_ns: i64, late_ns, asked: i64| {
        let text = Outside { slot_ns, late_ns, ..SOUND }.text();
        let asked = text.replace(&format!("\"interval_ns\":{slot_ns}"), &format!("\"interval_ns\":{asked}"));
        judge(&Recording::read(asked.as_bytes()).unwrap(), "outside").verdict
    };
    let fast = rounded(1_080_000, |i, _| (-1_080_000 * i).rem_euclid(1_000_000) as f64, 1_000_000);
    assert_eq!(outcome(&fast, Family::ReportInterval), Outcome::Inconclusive);
    let slow = rounded(8_640_000, |i, _| (-8_640_000 * i).rem_euclid(1_000_000) as f64, 8_000_000);
    assert_eq!(outcome(&slow, Family::ReportInterval), Outcome::Fail);
    for (verdict, truth) in [(fast, 1.08e6), (slow, 8.64e6)] {
        let q = verdict.steps[0].report_interval_ns.unwrap();
        assert!((q.value / truth - 1.0).abs() < 1e-3, "{q:?}");
        assert!(q.low.unwrap() <= truth && truth <= q.high.unwrap(), "{q:?}");
    }
}

/// A reader that is late by a third of an interval on the mean, and by more now and then.
#[test]
fn the_interval_that_is_told_is_the_clocks_however_late_the_reader() {
    let late_ns = |_, chance: f64| -40e3 * (1.0 - chance).ln();
    let verdict = Outside { slot_ns: 125_000, late_ns, ..SOUND }.verdict();
    let q = verdict.steps[0].report_interval_ns.unwrap();
    assert!(q.low.unwrap() <= 125e3 && 125e3 <= q.high.unwrap(), "{q:?}");
}

#[test]
fn a_device_that_is_tapped_against_the_stop_has_made_whole_swipes() {
    let verdict = Outside { tap_mm: 4.0, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), []);
}

/// As long each time, or by chance from 2.5 to 5 mm.
#[test]
fn motion_that_sets_in_after_a_rest_at_the_stop_is_carry_on() {
    let by_chance = |i: usize| 2.5 + 0.5 * ((i * 5) % 6) as f64;
    let cases: [(Later, BySwipe); 4] = [
        (Later::Counted, |_| 3.0),
        (Later::Counted, |_| 12.0),
        (Later::Counted, by_chance),
        (Later::Leapt, |_| 4.0),
    ];
    for (what, mm) in cases {
        let verdict = Outside { later: Some((what, mm)), ..SOUND }.verdict();
        let found = kinds(&verdict);
        let kind = if what == Later::Leapt { "leap" } else { "later" };
        let all = found.iter().all(|k| *k == (Family::CarryOn, kind, Cause::Unknown));
        assert!(all && found.len() == SLOW + FAST, "{what:?}: {found:?}");
        let swipe = |f: &Finding| f.swipe.unwrap() as usize - 1 + (f.phase as usize - 2) * SLOW;
        let off = |f: &Finding| (f.size - mm(swipe(f))).abs();
        assert!(verdict.findings.iter().all(|f| off(f) < 0.1), "{what:?}: {:?}", verdict.findings);
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
}

/// It leaves 2.5 to 10 mm for the last tenth of a second, or 8 mm in one swipe of four.
#[test]
fn a_hand_that_stops_short_and_then_goes_on_to_the_stop_is_no_carry_on() {
    let cases: [fn(usize) -> f64; 2] =
        [|i| 2.5 + 1.5 * ((i * 5) % 6) as f64, |i| if i % 4 == 0 { 8.0 } else { 0.0 }];
    for mm in cases {
        let verdict = Outside { later: Some((Later::Made, mm)), ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), []);
        assert_eq!(verdict.verdict, Outcome::Pass);
    }
}

/// Swipes 21 to 25 count 1.6 times, and no step of the plan does.
#[test]
fn swipes_at_another_scale_are_a_step_change_and_no_motion_after_the_stop() {
    let verdict = Outside { gain: |i| if (20..25).contains(&i) { 1.6 } else { 1.0 }, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Resolution, "step change", Cause::StepChange)]);
    let found = &verdict.findings[0];
    assert_eq!((found.swipe, found.evidence["swipes"].as_u64()), (Some(11), Some(5)));
    assert!((found.size - 1.6).abs() < 0.01, "{}", found.size);
    assert_ne!(verdict.verdict, Outcome::Pass);
}

/// From the third or the twentieth fast swipe on, up or down, by whatever factor.
#[test]
fn counts_that_change_by_one_factor_from_some_swipe_on_are_a_step_change_and_nothing_else() {
    let late: [fn(usize) -> f64; 3] = [
        |i| if i >= 30 { 0.5 } else { 1.0 },
        |i| if i >= 30 { 0.9 } else { 1.0 },
        |i| if i >= 30 { 1.05 } else { 1.0 },
    ];
    let early: [fn(usize) -> f64; 2] =
        [|i| if i >= 12 { 0.5 } else { 1.0 }, |i| if i >= 12 { 2.0 } else { 1.0 }];
    for (gains, swipe, swipes) in [(&late[..], 21, 10), (&early[..], 3, 28)] {
        for gain in gains {
            let verdict = Outside { gain: *gain, ..SOUND }.verdict();
            assert_eq!(kinds(&verdict), [(Family::Resolution, "step change", Cause::StepChange)]);
            let found = &verdict.findings[0];
            assert_eq!((found.swipe, found.evidence["swipes"].as_u64()), (Some(swipe), Some(swipes)));
            assert!((found.size - gain(39)).abs() < 0.005, "{}", found.size);
            assert_eq!(verdict.verdict, Outcome::Inconclusive);
        }
    }
}

/// From the twentieth swipe on every one is shorter, but each by something else.
#[test]
fn counts_that_go_missing_by_differing_amounts_from_some_swipe_on_are_no_step_change() {
    let gain = |i: usize| if i >= 30 { 0.95 - 0.01 * (i * 7 % 10) as f64 } else { 1.0 };
    let verdict = Outside { gain, ..SOUND }.verdict();
    let found: Vec<_> = kinds(&verdict).into_iter().map(|k| k.1).collect();
    assert!(!found.is_empty() && !found.contains(&"step change"), "{found:?}");
}

/// Out and back by the same, so that an operator may have stopped short; but each time by the same.
#[test]
fn pairs_of_fast_swipes_that_all_lack_as_much_are_not_passed_as_an_operators() {
    let gain = |i: usize| if i >= 14 && i % 12 < 2 { 0.93 } else { 1.0 };
    let verdict = Outside { gain, ..SOUND }.verdict();
    let own = verdict.steps[0].families.iter().find(|f| f.family == Family::TrackingLoss).unwrap();
    assert_eq!(own.verdict, Outcome::Inconclusive, "{} {:?}", own.because, kinds(&verdict));
    assert!(own.because.contains("all by the same"), "{}", own.because);
}

/// One report of the largest count that its field holds: half a metre, either way.
#[test]
fn a_report_of_full_scale_is_one_event_of_its_swipe() {
    for extra in [32_767, -32_767] {
        let verdict = Outside { leap: Some((24, extra)), ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert!(matches!(found[..], [(Family::SpinOut, ..)]), "{extra}: {found:?}");
        assert_eq!(verdict.findings[0].swipe, Some(15));
        assert_eq!(verdict.steps[0].swipes.found as usize, SLOW + FAST);
    }
}

/// Above 1.5 m/s, in every fast swipe, by a hand that brakes or strikes the stop soon after it has slowed to that.
#[test]
fn a_sensor_that_counts_up_to_one_speed_loses_track_there_and_does_not_spin_out() {
    for (frames_a_report, stroke) in [(6.4, 1.0), (12.3, 1.0), (6.4, 0.62)] {
        let limit = Some((1.5, Beyond::Saturates));
        let verdict = Outside { limit, frames_a_report, stroke, ..SOUND }.verdict();
        let found = kinds(&verdict);
        let level = |k: &&(Family, &str, Cause)| **k == (Family::TrackingLoss, "level", Cause::Sensor);
        assert!(found.iter().filter(level).count() >= FAST * 4 / 5, "{frames_a_report}: {found:?}");
        assert!(found.iter().all(|k| k.0 == Family::TrackingLoss), "one event, one finding: {found:?}");
        let onset = verdict.findings.iter().find(|f| f.kind == "level").unwrap();
        assert!((onset.evidence["onset_m_s"].as_f64().unwrap() - 1.5).abs() < 0.03, "{onset:?}");
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
}

/// At 4 ms a few reports of a swipe reach it, whose shoulders foretell twice the counts that are missing.
#[test]
fn what_a_ceiling_that_is_just_reached_takes_is_thrown_away_or_handed_on_as_it_is() {
    for (more_is_lost, kind) in [(true, "thrown away"), (false, "handed on")] {
        for most in [(|_| 550) as fn(i64) -> i32, |_| 570, |_| 590] {
            let own = Outside { slot_ns: 4_000_000, frames_a_report: 24.7, most, more_is_lost, ..SOUND };
            let verdict = own.verdict();
            let found = kinds(&verdict);
            assert!(found.iter().all(|k| k.0 == Family::ReportCeiling), "{}: {found:?}", most(0));
            let as_it_is = found.iter().filter(|k| k.1 == kind).count();
            assert!(as_it_is >= 8 && as_it_is == found.len(), "{}: {found:?}", most(0));
        }
    }
}

/// Swipes out at 1.5 m/s and no faster, and as fast as they are back.
#[test]
fn a_top_speed_in_one_direction_is_one() {
    let limit_in = |swipe: usize| if swipe.is_multiple_of(2) { 1.0 } else { 9.0 };
    for slot_ns in [1_000_000, 4_000_000] {
        let limit = Some((1.5, Beyond::Saturates));
        let verdict = Outside { limit, limit_in, slot_ns, frames_a_report: 24.7, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert!(found.iter().filter(|k| k.1 == "level").count() >= FAST * 2 / 5, "{slot_ns}: {found:?}");
        assert!(found.iter().all(|k| k.0 == Family::TrackingLoss), "{slot_ns}: {found:?}");
    }
}

/// What it cuts the swipes to is what another step would make of them.
#[test]
fn swipes_that_are_seen_to_lose_counts_were_made_at_no_other_step() {
    let limit = Some((1.5, Beyond::Saturates));
    let own = Outside { limit, ..SOUND };
    let judged = |other: &str| {
        let text = own.text().replacen("}]}}\n", &format!("}}{other}]}}}}\n"), 1);
        judge(&Recording::read(text.as_bytes()).unwrap(), "two steps").verdict
    };
    // A fifth and a quarter of the travel, about, is missing.
    for share in [0.72, 0.76, 0.8, 0.84] {
        let other = format!(",{{\"id\":2,\"nominal_counts_per_inch\":{}}}", 1600.0 * share);
        let verdict = judged(&other);
        assert_eq!(kinds(&verdict), kinds(&judged("")), "{share}");
        let resolution = verdict.steps[0].families.iter().find(|f| f.family == Family::Resolution).unwrap();
        assert_eq!(resolution.verdict, Outcome::Pass, "{share}: {}", resolution.because);
    }
}

/// The longest of the slow swipes are 0.8 % longer than they are on the mean, and are no scale.
#[test]
fn the_limit_of_a_sensor_that_counts_up_to_it_is_told_by_the_mean_slow_swipe() {
    let limit = Some((1.5, Beyond::Saturates));
    let gain = |swipe: usize| if swipe < SLOW { 1.0 + 0.004 * ((swipe * 7 % 5) as f64 - 2.0) } else { 1.0 };
    for slot_ns in [1_000_000, 4_000_000] {
        let verdict = Outside { limit, gain, slot_ns, ..SOUND }.verdict();
        let told = verdict.steps[0].tracking_limit_m_s.unwrap();
        let (low, high) = (told.low.unwrap(), told.high.unwrap());
        assert!((low..=high).contains(&1.5) && high - low < 0.02, "{slot_ns}: {told:?}");
        assert!((told.value - 1.5).abs() < 0.005, "{slot_ns}: {told:?}");
    }
}

/// Its limit is 3 % of itself higher or lower in each swipe.
#[test]
fn a_top_speed_that_differs_from_swipe_to_swipe_is_one_and_makes_no_false_motion() {
    let limit_in = |swipe: usize| 1.0 + 0.01 * ((swipe * 7 % 11) as f64 - 5.0);
    for (slot_ns, frames_a_report) in [(1_000_000, 6.4), (2_000_000, 14.3)] {
        let limit = Some((1.5, Beyond::Saturates));
        let verdict = Outside { limit, limit_in, slot_ns, frames_a_report, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert!(found.iter().filter(|k| k.1 == "level").count() >= FAST * 4 / 5, "{found:?}");
        assert!(found.iter().all(|k| k.0 == Family::TrackingLoss), "{found:?}");
    }
}

/// The levels are those of the limit as well; but the hand is not where the counts go on.
#[test]
fn a_sensor_that_freezes_at_a_speed_has_no_top_speed() {
    let scatters = |swipe: usize| 1.0 + 0.01 * ((swipe * 7 % 11) as f64 - 5.0);
    for limit_in in [SOUND.limit_in, scatters] {
        let verdict = Outside { limit: Some((1.5, Beyond::Freezes)), limit_in, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert!(found.iter().filter(|k| k.1 == "repeated").count() >= 8, "{found:?}");
        assert!(found.iter().all(|k| k.1 != "level"), "{found:?}");
    }
}

/// Every 125 ms 15 ms of reports are lost, slow swipes and fast ones alike.
#[test]
fn silences_that_keep_to_a_clock_are_no_limit_and_on_a_cable_not_the_links() {
    let verdict = Outside { lost: |t| (t % 0.125) < 0.015, ..SOUND }.verdict();
    let found = kinds(&verdict);
    assert!(found.iter().all(|k| *k != (Family::TrackingLoss, "silent", Cause::Sensor)), "{found:?}");
    let families = &verdict.steps[0].families;
    let dropout = families.iter().find(|f| f.family == Family::Dropout).unwrap();
    assert_eq!(
        (dropout.verdict, dropout.cause),
        (Outcome::Fail, Some(Cause::Unknown)),
        "{}",
        dropout.because
    );
    assert!(dropout.because.contains("recurring every 125.0"), "{}", dropout.because);
    assert!(dropout.because.contains("a cable sends again"), "{}", dropout.because);
}

/// Peak speed over mean speed of this hand, at two fifths of the time, and its fastest swipe in m/s.
const PEAK: f64 = 60.0 * 0.16 * 0.216;
const FASTEST: f64 = PEAK * 0.3 / 0.24;

/// In every third fast swipe nothing comes from a little after the peak on; a report at the stop brings all of it.
#[test]
fn what_one_report_brings_after_a_silence_is_no_speed_of_the_hand_and_no_clean_swipe() {
    let held = |t: f64| {
        let late = |leg: &Leg| (0.45 * leg.1..0.45 * leg.1 + 0.16).contains(&(t - leg.0));
        SOUND.legs().iter().skip(SLOW).step_by(3).any(late)
    };
    let verdict = Outside { held, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Dropout, "late", Cause::Link); FAST / 3]);
    let step = &verdict.steps[0];
    assert_eq!(step.swipes.clean as usize, SLOW + FAST - FAST / 3);
    for speed in [step.swept.fastest_clean_m_s, step.swept.fastest_m_s] {
        assert!((0.98..1.01).contains(&(speed.unwrap() / FASTEST)), "{:?}", step.swept);
    }
    // Its acceleration at the begin, 60 u of D/T², where half of the counts of a report are not yet seen.
    assert!(step.swept.acceleration_m_s2.unwrap() < 150.0, "{:?}", step.swept);
}

/// In every third fast swipe nothing comes from a little before the peak until the hand is at rest; a dozen reports and more then bring
/// it, at some 5 m/s.
#[test]
fn what_comes_after_a_freeze_that_runs_into_the_stop_came_late() {
    let held = |t: f64| {
        let late = |leg: &Leg| (0.3 * leg.1..leg.1 + 0.15).contains(&(t - leg.0));
        SOUND.legs().iter().skip(SLOW).step_by(3).any(late)
    };
    let verdict = Outside { held, most: |i| 250 + (i * i * 37 % 163) as i32, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Dropout, "late", Cause::Link); FAST / 3]);
    assert_ne!(verdict.verdict, Outcome::Pass);
    // The peak itself was not seen.
    let fastest = verdict.steps[0].swept.fastest_m_s.unwrap();
    assert!((0.95..1.05).contains(&(fastest / FASTEST)), "{fastest}");
}

/// One report at the peak of the fastest swipe holds twice what it should: 2.6 mm, and no finding.
#[test]
fn a_single_report_of_false_motion_is_no_speed_of_the_hand() {
    let verdict = Outside { leap: Some((20, 330)), ..SOUND }.verdict();
    let swept = &verdict.steps[0].swept;
    assert!((0.98..1.01).contains(&(swept.fastest_clean_m_s.unwrap() / FASTEST)), "{swept:?}");
}

/// A firmware that counts fast swipes 1.15 times, by a gain that rises with speed or not.
#[test]
fn counts_that_are_longer_than_the_travel_claim_no_speed_that_was_not_swiped() {
    let verdict = Outside { gain: |i| if i < SLOW { 1.0 } else { 1.15 }, ..SOUND }.verdict();
    let swept = &verdict.steps[0].swept;
    let speeds = [swept.fastest_clean_m_s, swept.fastest_m_s];
    assert!(speeds.iter().flatten().all(|v| (0.9..1.01).contains(&(v / FASTEST))), "{swept:?}");
}

/// Reports come after one and two milliseconds in turn, so that no ten milliseconds of them are dense.
#[test]
fn reports_that_are_too_uneven_for_a_peak_do_not_bound_the_limit_by_nothing() {
    let verdict = Outside { held: |t| (t * 1e3).round() as i64 % 3 == 0, ..SOUND }.verdict();
    let step = &verdict.steps[0];
    let low = step.tracking_limit_m_s.and_then(|q| q.low).unwrap();
    assert!(low > 0.8 * FASTEST && low <= step.swept.fastest_clean_m_s.unwrap(), "{low}");
}

/// Above 1.5 m/s, in every fast swipe: what it counts beyond is as fast as the hand, and is not what the hand did.
#[test]
fn a_limit_is_bounded_from_below_by_what_was_swiped_clean_and_by_where_it_is_lost() {
    let verdict = Outside { limit: Some((1.5, Beyond::Turns)), ..SOUND }.verdict();
    let step = &verdict.steps[0];
    assert!(verdict.findings.len() >= FAST, "{:?}", kinds(&verdict));
    match (step.tracking_limit_m_s.and_then(|q| q.low), step.swept.fastest_clean_m_s) {
        (Some(low), Some(clean)) => assert!(low <= clean && low < 1.53, "{low} {clean}"),
        (low, _) => assert!(low.is_none() && step.tracking_limit_because.is_some(), "{low:?}"),
    }
}

/// What firmware adds up in one direction it may hold where it does not in the other.
#[test]
fn a_ceiling_in_one_direction_is_a_ceiling() {
    let verdict = Outside { least: -110, ..SOUND }.verdict();
    let kinds = kinds(&verdict);
    assert_eq!(kinds, [(Family::ReportCeiling, "thrown away", Cause::Firmware); FAST / 2], "{kinds:?}");
}

/// One in 97 slots is empty, and the next report holds what both were to hold: of firmware that holds 88 counts.
const MERGING: Outside = Outside {
    held: |t| merged((t * 1e3).round() as i64),
    most: |i| if merged(i - 1) { 176 } else { 88 },
    ..SOUND
};

fn merged(slot: i64) -> bool {
    slot % 97 == 0
}

/// A radio that sends again hands on two reports in one now and then, of a device that clips, or of one that does not.
#[test]
fn a_ceiling_is_seen_beside_reports_that_hold_two() {
    for (more_is_lost, kind) in [(false, "handed on"), (true, "thrown away")] {
        let verdict = Outside { more_is_lost, ..MERGING }.verdict();
        assert_eq!(kinds(&verdict), [(Family::ReportCeiling, kind, Cause::Firmware); FAST]);
        // The cliff at the end of what is handed on is no shoulder.
        let sizes = verdict.findings.iter().map(|f| f.size);
        assert!(sizes.clone().all(|mm| mm > 1.0 && mm < 150.0), "{kind}: {:?}", sizes.collect::<Vec<_>>());
    }
    let sound = Outside { most: |_| i32::MAX, ..MERGING }.verdict();
    assert!(kinds(&sound).iter().all(|k| k.0 != Family::ReportCeiling), "{:?}", kinds(&sound));
}

/// A device whose own clock is a little faster than the polls hands on two in one now and then, and leaves no slot empty.
#[test]
fn a_ceiling_is_seen_beside_a_few_reports_that_hold_two_in_one_slot() {
    for (more_is_lost, kind) in [(false, "handed on"), (true, "thrown away")] {
        let verdict =
            Outside { most: |i| if i % 700 == 0 { 176 } else { 88 }, more_is_lost, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [(Family::ReportCeiling, kind, Cause::Firmware); FAST]);
    }
}

/// Reports of 0.25 ms hold 7 counts, and one or two frames of a sensor.
#[test]
fn a_ceiling_that_frames_reach_in_most_reports_is_a_ceiling_however_small() {
    let fine = Outside { slot_ns: 250_000, counts_per_mm: 400.0 / 25.4, frames_a_report: 1.7, ..SOUND };
    let verdict = Outside { most: |_| 7, more_is_lost: true, ..fine }.verdict();
    assert_eq!(kinds(&verdict), [(Family::ReportCeiling, "thrown away", Cause::Firmware); FAST]);
}

/// Firmware that holds 5 to 16 counts and hands on the rest: no swipe is short. And sound devices of as few counts a report, at 8 kHz.
#[test]
fn a_ceiling_that_hands_on_what_few_counts_do_not_hold_is_a_ceiling_and_few_counts_are_none() {
    type Most = fn(i64) -> i32;
    let ceilings: [(i64, f64, Most); 3] =
        [(125_000, 1600.0, |_| 8), (250_000, 800.0, |_| 9), (500_000, 800.0, |_| 16)];
    for (slot_ns, counts_per_inch, most) in ceilings {
        let fine = Outside { slot_ns, counts_per_mm: counts_per_inch / 25.4, frames_a_report: 1.7, ..SOUND };
        let verdict = Outside { most, ..fine }.verdict();
        let found = kinds(&verdict);
        assert_eq!(
            found,
            [(Family::ReportCeiling, "handed on", Cause::Firmware); FAST],
            "{slot_ns}: {found:?}"
        );
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
    // From 3 counts a report to 11.
    for counts_per_inch in [600.0, 1000.0, 1400.0, 1800.0, 2200.0] {
        for stroke in [1.0, 0.65] {
            let fine = Outside { slot_ns: 125_000, frames_a_report: 1.0, stroke, ..SOUND };
            let verdict = Outside { counts_per_mm: counts_per_inch / 25.4, ..fine }.verdict();
            assert_eq!(kinds(&verdict), [], "{counts_per_inch} {stroke}");
        }
    }
}

#[test]
fn an_axis_that_goes_blind_at_speed_is_a_loss_of_tracking_and_no_motion_aside() {
    for askew in [0.6f64, -0.6, 0.9] {
        let verdict = Outside { askew, limit: Some((1.6, Beyond::Blind)), ..SOUND }.verdict();
        let found = kinds(&verdict);
        let one_axis = |k: &&(Family, &str, Cause)| **k == (Family::TrackingLoss, "one axis", Cause::Sensor);
        assert!(found.iter().filter(one_axis).count() >= FAST * 4 / 5, "{askew}: {found:?}");
        assert!(found.iter().all(|k| k.0 == Family::TrackingLoss), "{askew}: {found:?}");
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
}

/// The same report again and again, most often with the largest counts of all.
#[test]
fn a_sensor_that_runs_to_a_corner_is_no_report_ceiling() {
    let verdict = Outside { limit: Some((1.5, Beyond::Corner)), ..SOUND }.verdict();
    let found = kinds(&verdict);
    assert!(found.iter().all(|k| k.0 != Family::ReportCeiling), "{found:?}");
    assert!(found.iter().filter(|k| k.0 == Family::SpinOut && k.2 == Cause::Sensor).count() >= FAST / 2);
    assert_eq!(verdict.verdict, Outcome::Fail, "{}", verdict.because);
}

/// The sound session up to a time in seconds, with what is written after it, and from another time on what came then.
fn broken(until: f64, then: &str, from: f64, later: f64) -> Verdict {
    judge(&Recording::read(broken_text(until, then, from, later).as_bytes()).unwrap(), "broken").verdict
}

fn broken_text(until: f64, then: &str, from: f64, later: f64) -> String {
    let text = SOUND.text();
    let stamp = |line: &str| -> Option<i64> { line.strip_prefix("{\"t\":")?.split(',').next()?.parse().ok() };
    let lines: Vec<(i64, &str)> = text.lines().map(|line| (stamp(line).unwrap_or(-1), line)).collect();
    let ns = |seconds: f64| (seconds * 1e9) as i64;
    let mut out = String::new();
    lines.iter().filter(|(t, _)| *t <= ns(until)).for_each(|(_, line)| writeln!(out, "{line}").unwrap());
    out += then;
    for (t, line) in lines.iter().filter(|(t, _)| *t >= ns(from)) {
        writeln!(out, "{}", line.replacen(&t.to_string(), &(t + ns(later)).to_string(), 1)).unwrap();
    }
    out
}

#[test]
fn the_swipe_in_which_a_recording_stops_is_not_judged() {
    let legs = SOUND.legs();
    // In the middle of it, and while the hand brakes.
    for share in [0.35, 0.6] {
        let (begin, lasts, ..) = legs[SLOW + 13];
        let (at, next) = (begin + share * lasts, legs[SLOW + 14].0 - 0.1);
        let cut = broken(at, "", f64::INFINITY, 0.0);
        assert!(cut.findings.is_empty(), "{share}: {:?}", cut.findings);
        assert_eq!((cut.steps[0].swipes.found, cut.steps[0].swipes.disturbed), (24, 1), "{share}");
        // Taken up again at once by its stamps, or a minute later, in the same phase.
        for later in [0.0, 60.0] {
            let resumed = format!("{{\"t\":{},\"resumed\":{{}}}}\n", ((at + later) * 1e9) as i64 + 1_000_000);
            let verdict = broken(at, &resumed, next, later);
            assert!(verdict.findings.is_empty(), "{share} {later}: {:?}", verdict.findings);
            assert_eq!(verdict.steps[0].swipes.disturbed, 1, "{share} {later}");
            assert_eq!(verdict.verdict, Outcome::Pass, "{share} {later}: {}", verdict.because);
        }
    }
    // After a swipe it takes nothing.
    let (begin, lasts, ..) = legs[SLOW + 13];
    let whole = broken(begin + lasts + 0.2, "", f64::INFINITY, 0.0);
    assert_eq!((whole.steps[0].swipes.found, whole.steps[0].swipes.disturbed), (24, 0));
}

#[test]
fn a_phase_that_was_interrupted_and_done_again_lacks_nothing() {
    let legs = SOUND.legs();
    let (begin, lasts, ..) = legs[SLOW + 7];
    let at = begin + 0.4 * lasts;
    let later = at - legs[SLOW].0 + 61.0;
    let t = ((at + 60.0) * 1e9) as i64;
    let phase = |other: &str| {
        format!(
            "{{\"t\":{t},\"phase\":{{\"step\":1,\"task\":\"swipes\",\"pace\":\"fast\",\"swipes\":{FAST}{other}}}}}\n"
        )
    };
    let resumed = format!("{{\"t\":{t},\"resumed\":{{}}}}\n");
    let again = broken(at, &(resumed.clone() + &phase(",\"repeats\":3")), legs[SLOW].0 - 0.2, later);
    assert_eq!((again.steps[0].swipes.found, again.steps[0].swipes.unplaced), (48, 0));
    assert_eq!((again.steps[0].swipes.asked, again.steps[0].swipes.disturbed), (48, 1));
    assert!(again.findings.is_empty(), "{:?}", again.findings);
    assert_eq!(again.verdict, Outcome::Pass, "{}", again.because);
    // Nor does one whose other swipes fall into time that was not recorded, though nobody says that they are done again.
    let other = broken(at, &(resumed + &phase("")), legs[SLOW].0 - 0.2, later);
    assert_eq!((other.steps[0].swipes.asked, other.steps[0].swipes.unplaced), (48 + FAST as u32 - 8, 0));
    assert_eq!(other.verdict, Outcome::Pass, "{}", other.because);
}

/// A line so many seconds after the session's start.
fn line(t: f64, what: &str) -> String {
    format!("{{\"t\":{},{what}}}\n", (t * 1e9) as i64)
}

#[test]
fn a_swipe_is_unplaced_where_there_was_time_for_it_and_nowhere_else() {
    let legs = SOUND.legs();
    let end = |i: usize| legs[SLOW + i].0 + legs[SLOW + i].1;
    // Asked 30, made 29: the phase ends at once, or after another second.
    for (tail, unplaced) in [(0.1, 0), (1.0, 1)] {
        let (until, t) = (end(FAST - 2) + 0.05, end(FAST - 2) + tail);
        let verdict =
            broken(until, &(line(t, "\"phase\":null") + &line(t + 1.0, "\"end\":true")), f64::INFINITY, 0.0);
        let step = &verdict.steps[0];
        assert_eq!((step.swipes.found, step.swipes.unplaced), (39, unplaced), "{tail}");
        let settle = step.unplaced_to_settle.as_deref();
        assert_eq!(settle.is_some_and(|s| s.starts_with("1 more fast swipe, ")), unplaced > 0, "{settle:?}");
        let outcome = if unplaced > 0 { Outcome::Inconclusive } else { Outcome::Pass };
        assert_eq!(verdict.verdict, outcome, "{tail}: {}", verdict.because);
    }
    // A device that shows nothing of one swipe, or of two running: at their ends it may be the operator, in between it is not.
    for (from, missing) in [(14, 1), (14, 2), (FAST - 2, 2)] {
        let until = legs[SLOW + from].0 - 0.1;
        let next = legs.get(SLOW + from + missing).map_or(end(FAST - 1) + 0.4, |leg| leg.0 - 0.1);
        let unseen = broken(until, "", next, 0.0);
        assert_eq!(unseen.steps[0].swipes.unplaced as usize, missing, "{from}");
        assert_eq!(unseen.verdict, Outcome::Inconclusive, "{from}: {}", unseen.because);
    }
    // One that the recorder was killed in: the others were not made, and how it ended nobody knows, at whatever stamps.
    let at = legs[SLOW + 13].0 + 0.6 * legs[SLOW + 13].1;
    let text = broken_text(at, "", f64::INFINITY, 0.0);
    let coarse = |line: &str| {
        let (t, rest) = line.strip_prefix("{\"t\":")?.split_once(',')?;
        Some(format!("{{\"t\":{},{rest}", t.parse::<i64>().ok()? / 15_625_000 * 15_625_000))
    };
    let lines: Vec<String> = text.lines().map(|l| coarse(l).unwrap_or_else(|| l.to_owned())).collect();
    for text in [text, lines.join("\n") + "\n"] {
        let killed = judge(&Recording::read(text.as_bytes()).unwrap(), "killed").verdict;
        assert_eq!(killed.steps[0].swipes.unplaced, 0);
        assert_eq!(
            (killed.steps[0].swipes.disturbed, killed.findings.len()),
            (1, 0),
            "{:?}",
            killed.findings
        );
    }
}

#[test]
fn swipes_that_a_later_phase_makes_up_for_are_made() {
    let legs = SOUND.legs();
    let at = legs[SLOW + 22].0 - 0.2;
    let fast =
        |n: usize| format!("\"phase\":{{\"step\":1,\"task\":\"swipes\",\"pace\":\"fast\",\"swipes\":{n}}}");
    // After five seconds, in which a device that shows nothing may have had them all.
    let with = |n| broken(at, &line(at + 5.0, &fast(n)), at + 0.01, 5.0);
    let made = with(8);
    assert_eq!((made.steps[0].swipes.asked, made.steps[0].swipes.unplaced), (40, 0));
    assert_eq!(made.verdict, Outcome::Pass, "{}", made.because);
    // A block of a plan, as long as the first, makes up for nothing.
    let block = with(FAST);
    assert!(block.steps[0].swipes.unplaced > 0, "{:?}", block.steps[0].swipes);
}

#[test]
fn a_swipe_askew_to_both_axes_is_sound() {
    assert_eq!(kinds(&Outside { askew: 0.6, ..SOUND }.verdict()), []);
}

/// Pressed in a slow and in a fast swipe, at the beginning, the middle and the end of each, or at rest before it.
#[test]
fn a_device_that_was_turned_between_phases_is_sound_and_counts_as_before() {
    for (askew, degrees) in [(0.0, 5.0), (0.3, -5.0), (0.0, 10.0), (-0.6, 20.0)] {
        let verdict = Outside { askew, turned: f64::to_radians(degrees), ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), [], "{askew}, {degrees}");
        assert_eq!(outcome(&verdict, Family::GainChange), Outcome::Pass, "{askew}, {degrees}");
    }
}

#[test]
fn a_sensor_that_goes_aslant_at_speed_was_not_turned_though_all_its_fast_swipes_do_alike() {
    for m_s in [0.4, 0.8] {
        let verdict = Outside { limit: Some((m_s, Beyond::Aslant)), ..SOUND }.verdict();
        let aside = kinds(&verdict).iter().filter(|k| k.1 == "sideways").count();
        assert!(aside >= FAST * 4 / 5, "{m_s}: {aside}, {:?}", kinds(&verdict).first());
        assert_eq!(outcome(&verdict, Family::SpinOut), Outcome::Fail, "{m_s}");
    }
}

#[test]
fn counts_that_flicker_at_the_stops_of_a_device_askew_drop_none_across() {
    for (askew, slow_s) in [(0.2, 1.8), (0.35, 2.2), (0.5, 2.2)] {
        let counts_per_mm = 2400.0 / 25.4;
        let slow =
            Outside { slot_ns: 8_000_000, counts_per_mm, askew, flickers_s: 0.02, slow: 16, slow_s, ..SOUND };
        let verdict = slow.verdict();
        let found = kinds(&verdict);
        assert!(found.iter().all(|k| k.0 != Family::Straightening), "{askew}: {found:?}");
    }
}

#[test]
fn a_step_s_button_pressed_on_the_way_is_a_step_change_and_nothing_else() {
    for swipe in [4, SLOW + 3, SLOW + 20] {
        let (begin, duration, ..) = SOUND.legs()[swipe];
        for (share, factor) in [(0.2, 0.5), (0.5, 0.5), (0.5, 2.0), (0.8, 2.0), (-0.5, 0.5)] {
            let verdict = Outside { button: Some((begin + share * duration, factor)), ..SOUND }.verdict();
            let found = kinds(&verdict);
            let change = [(Family::Resolution, "step change", Cause::StepChange)];
            assert_eq!(found, change, "swipe {swipe}, at {share} of it, times {factor}");
            assert_eq!(verdict.verdict, Outcome::Inconclusive);
        }
    }
}

/// The reports of 50 ms, from 12 ms after each swipe has begun, come as one; what the hand has moved until then is told.
#[test]
fn what_a_start_held_back_is_told_however_short_the_rest_before_it() {
    let held = |t: f64| {
        let legs = SOUND.legs();
        let i = legs.partition_point(|leg| leg.0 <= t).saturating_sub(1);
        i >= SLOW && (0.012..0.06).contains(&(t - legs[i].0))
    };
    let verdict = Outside { held, ..SOUND }.verdict();
    let late = |f: &&Finding| f.kind == "late" && matches!(f.family, Family::WakeUp | Family::Dropout);
    assert_eq!(verdict.findings.iter().filter(late).count(), FAST, "{:?}", kinds(&verdict));
    assert_eq!(verdict.verdict, Outcome::Fail);
}

/// How long ago the swipe of a time in the fast phase began, and which it is of them.
fn since_the_start(t: f64) -> Option<(f64, usize)> {
    let legs = SOUND.legs();
    let i = legs.partition_point(|leg| leg.0 <= t).checked_sub(1)?;
    Some((t - legs[i].0, i.checked_sub(SLOW)?))
}

/// The first 40 to 80 ms of every fast swipe are lost, and a count comes and goes while the device lies at the stop.
#[test]
fn what_every_start_loses_is_wake_up_alone_however_the_counts_flicker_before() {
    let lost = |t: f64| since_the_start(t).is_some_and(|(s, i)| s < 0.04 + 0.01 * (i % 5) as f64);
    for flickers_s in [0.0, 0.045] {
        let verdict = Outside { lost, flickers_s, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert_eq!(found, [(Family::WakeUp, "short", Cause::PowerSaving); FAST], "{flickers_s}: {found:?}");
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
}

/// A sensor that cannot follow where a flick sets out, from 12 to 27 ms after its begin until past its peak; in some swipes from the
/// first count on.
#[test]
fn a_sensor_that_goes_blind_as_the_hand_sets_out_loses_track_once_and_did_not_sleep() {
    let lost = |t: f64| {
        since_the_start(t).is_some_and(|(since, swipe)| {
            let from = if swipe.is_multiple_of(6) { 0.0 } else { 0.012 + 0.005 * (swipe % 4) as f64 };
            (from..0.125).contains(&since)
        })
    };
    let verdict = Outside { lost, ..SOUND }.verdict();
    let told = kinds(&verdict);
    assert_eq!(outcome(&verdict, Family::TrackingLoss), Outcome::Fail, "{told:?}");
    let silent = told.iter().filter(|k| **k == (Family::TrackingLoss, "silent", Cause::Sensor)).count();
    let others = told.len() - silent;
    assert!(silent >= 20 && others <= 5 && told.len() <= FAST, "{silent} of {told:?}");
}

/// A sensor that cannot follow where a hand brakes, behind the peak, for 30 ms in each fast swipe. No link does so, and no speed is its
/// limit: the hand had been as fast before.
#[test]
fn what_goes_missing_once_in_every_swipe_is_the_sensors_and_behind_the_peak_no_speed_is_its_limit() {
    let lost = |t: f64| {
        since_the_start(t).is_some_and(|(since, swipe)| {
            let from = 0.12 + 0.004 * ((swipe * 5) % 7) as f64;
            (from..from + 0.03).contains(&since)
        })
    };
    let verdict = Outside { lost, ..SOUND }.verdict();
    let told = kinds(&verdict);
    assert_eq!(told, [(Family::TrackingLoss, "silent", Cause::Sensor); FAST], "{told:?}");
    let limit = verdict.steps[0].tracking_limit_m_s;
    assert!(limit.is_none_or(|q| q.high.is_none()), "{limit:?}");
}

/// A sensor that sees nothing more of any fast swipe from some 25 ms after its begin on.
#[test]
fn swipes_of_which_nothing_but_the_begin_was_counted_are_found_and_fail() {
    let lost = |t: f64| {
        since_the_start(t).is_some_and(|(since, swipe)| since > 0.023 + 0.001 * ((swipe * 5) % 7) as f64)
    };
    let verdict = Outside { lost, ..SOUND }.verdict();
    let told = kinds(&verdict);
    assert_eq!(verdict.steps[0].swipes.unplaced, 0);
    assert_eq!(told, [(Family::TrackingLoss, "silent", Cause::Sensor); FAST], "{told:?}");
    assert_eq!(outcome(&verdict, Family::TrackingLoss), Outcome::Fail);
}

/// A sound device of which a count comes and goes, and a hand that brakes to the stop, or strikes it.
#[test]
fn counts_that_flicker_at_rest_are_no_wake_up() {
    for stroke in [1.0, 0.65] {
        for flickers_s in [0.015, 0.045] {
            assert_eq!(
                kinds(&Outside { flickers_s, stroke, ..SOUND }.verdict()),
                [],
                "{flickers_s} {stroke}"
            );
        }
    }
}

#[test]
fn counts_that_run_into_the_stop_and_snap_back_are_told_and_fail_nobody() {
    let verdict = Outside { tap_mm: -5.0, tap_s: 0.03, ..SOUND }.verdict();
    let found = kinds(&verdict);
    assert_eq!(found, [(Family::CarryOn, "overshoot", Cause::Unknown); FAST], "{found:?}");
    assert_eq!(verdict.verdict, Outcome::Inconclusive);
}

/// Every seventh swipe, slow and fast ones.
#[test]
fn swipes_here_and_there_at_another_scale_are_a_step_change_and_no_motion_after_the_stop() {
    let verdict = Outside { gain: |i| if i % 7 == 3 { 2.0 } else { 1.0 }, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Resolution, "step change", Cause::StepChange)]);
    assert_eq!(verdict.verdict, Outcome::Inconclusive);
    let resolution = verdict.steps[0].families.iter().find(|f| f.family == Family::Resolution).unwrap();
    assert!(resolution.because.contains("6 swipes here and there count +99.7 %"), "{}", resolution.because);
}

/// Blind above 1.5 m/s in swipes back alone: half of all swipes, and all of one direction.
#[test]
fn a_sensor_that_goes_blind_one_way_alone_fails_by_the_swipes_of_that_way() {
    let limit_in = |swipe: usize| if swipe % 2 == 1 { 1.0 } else { 10.0 };
    let verdict = Outside { limit: Some((1.5, Beyond::Blind)), limit_in, ..SOUND }.verdict();
    let families = &verdict.steps[0].families;
    let own = families.iter().find(|f| f.family == Family::TrackingLoss).unwrap();
    assert_eq!((own.verdict, own.cause), (Outcome::Fail, Some(Cause::Sensor)), "{}", own.because);
    let said = format!(
        "it is one direction: {} of the {} swipes back, 0 of the {} out",
        FAST / 2,
        FAST / 2,
        FAST / 2
    );
    assert!(own.because.contains(&said), "{}", own.because);
}

/// With a time constant of 60 ms, of a hand that strikes the stop: a third of every fast swipe comes with the device lying there.
#[test]
fn counts_that_a_device_smooths_leave_open_what_came_after_the_stop() {
    let strikes = Outside { stroke: 0.62, ..SOUND };
    let own = |outside: Outside| {
        let families = outside.verdict().steps.remove(0).families;
        families.into_iter().find(|f| f.family == Family::CarryOn).unwrap()
    };
    let smoothed = own(Outside { smooths_s: 0.06, ..strikes });
    assert_eq!(smoothed.verdict, Outcome::Inconclusive, "{}", smoothed.because);
    // By hand: to a quarter of what is left takes 0.06 s ln 4 = 83 ms.
    let said = "40 swipes, slow and fast, go from 4 mm before their end to 1 mm in 8";
    assert!(smoothed.because.contains(said), "{}", smoothed.because);
    for sound in [own(strikes), own(SOUND)] {
        assert_eq!(sound.verdict, Outcome::Pass, "{}", sound.because);
    }
}

/// With one of 30 ms, of hands that brake before they strike: what is left then is less, and the slow ones' own braking takes longer.
#[test]
fn counts_that_a_device_smooths_are_seen_under_hands_that_brake() {
    let brakes = Outside { stroke: 0.8, ..SOUND };
    for (slot_ns, smooths_s, open) in
        [(1_000_000, 0.03, true), (8_000_000, 0.06, true), (1_000_000, 0.0, false), (8_000_000, 0.0, false)]
    {
        let mut verdict = Outside { slot_ns, smooths_s, ..brakes }.verdict();
        let families = verdict.steps.remove(0).families;
        let own = families.into_iter().find(|f| f.family == Family::CarryOn).unwrap();
        let expected = if open { Outcome::Inconclusive } else { Outcome::Pass };
        assert_eq!(own.verdict, expected, "{slot_ns} {smooths_s}: {}", own.because);
    }
}

/// 3 mm after each stop at 20 mm/s, or 3 mm/s at both stops in one direction.
#[test]
fn what_is_counted_slowly_at_the_stops_leaves_open_what_moved() {
    let creeps = Outside { later: Some((Later::Crept, |_| 3.0)), ..SOUND };
    let drifts = Outside { drifts_mm_s: 3.0, ..SOUND };
    for (outside, said) in
        [(creeps, "go on by 3.0 mm each"), (drifts, "into one stop and off the other at 2.9")]
    {
        let mut verdict = outside.verdict();
        let families = verdict.steps.remove(0).families;
        let own = families.into_iter().find(|f| f.family == Family::CarryOn).unwrap();
        assert_eq!(own.verdict, Outcome::Inconclusive, "{}", own.because);
        assert!(own.because.contains(said), "{}", own.because);
    }
}

/// One report in ten, in every swipe alike, so that no lengths tell.
#[test]
fn reports_that_come_twice_a_part_of_an_interval_apart_are_false_motion_of_the_link() {
    for slot_ns in [1_000_000, 4_000_000] {
        let verdict = Outside { slot_ns, twice: |i| i * 7919 % 10 == 3, ..SOUND }.verdict();
        let own = verdict.steps[0].families.iter().find(|f| f.family == Family::SpinOut).unwrap();
        assert_eq!(own.verdict, Outcome::Fail, "{slot_ns}: {}", own.because);
        assert!(kinds(&verdict).iter().all(|k| k.1 == "doubled"), "{:?}", kinds(&verdict));
    }
}

/// One in 25 at 8 ms, or 20 ms in 200: fast swipes lack some of them, and slow ones their share.
#[test]
fn a_swipe_that_lost_less_than_the_slow_ones_did_not_go_on_after_the_stop() {
    for (slot_ns, lost) in [
        (8_000_000, (|t| (t / 0.008).round() as i64 % 25 == 7) as fn(f64) -> bool),
        (1_000_000, |t| t % 0.2 < 0.02),
    ] {
        let verdict = Outside { slot_ns, lost, ..SOUND }.verdict();
        let told = kinds(&verdict);
        assert!(told.iter().all(|k| k.0 != Family::CarryOn), "{slot_ns}: {told:?}");
        assert!(!told.is_empty(), "{slot_ns}: they are told");
    }
}

/// By just under 15 %, in one fast swipe of two: by as much whatever the speed at which one travel was full.
#[test]
fn fast_swipes_here_and_there_that_count_a_little_more_did_not_go_on_after_the_stop() {
    let gain = |i: usize| if i >= SLOW && (i * 7 % 11) < 5 { 1.149 } else { 1.0 };
    let verdict = Outside { gain, stroke: 0.8, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Resolution, "step change", Cause::StepChange)]);
}

/// A counter of 8 bits, in reports that hold 16: 128 counts are -128. Its top is a little less than what the hand makes in a report.
#[test]
fn counts_that_wrap_around_are_the_firmwares_and_no_guess_of_a_sensor() {
    let verdict = Outside { wraps_at: 128, counts_per_mm: 1400.0 / 25.4, ..SOUND }.verdict();
    let found = kinds(&verdict);
    let wrapped = found.iter().filter(|k| **k == (Family::SpinOut, "wrapped", Cause::Firmware)).count();
    assert!(wrapped >= FAST * 4 / 5, "{found:?}");
    assert!(found.iter().all(|k| k.0 != Family::SpinOut || k.1 == "wrapped"), "{found:?}");
    assert_eq!(verdict.verdict, Outcome::Fail);
    let own = verdict.findings.iter().find(|f| f.kind == "wrapped").unwrap();
    assert_eq!(own.evidence["counter_bits"], 8, "{own:?}");
}

/// The same of hands that make up to a span and more in a report, and strike the stop: what has come round is not backwards, and a
/// stop ends it at speed. And counts that a sensor turns round from a little below half of a span on are a sensor's.
#[test]
fn counts_that_come_round_again_are_the_firmwares_and_a_sensor_that_turns_round_is_none() {
    let fast = Outside { slot_ns: 2_000_000, ..SOUND };
    for (counts_per_inch, stroke) in [(1200.0, 1.0), (1400.0, 0.85), (1600.0, 0.75)] {
        let fast = Outside { counts_per_mm: counts_per_inch / 25.4, stroke, ..fast };
        let verdict = Outside { wraps_at: 128, ..fast }.verdict();
        let found = kinds(&verdict);
        let spun: Vec<_> = found.iter().filter(|k| k.0 == Family::SpinOut).collect();
        assert!(spun.len() >= FAST * 4 / 5, "{stroke}: {found:?}");
        let wrapped = spun.iter().filter(|k| ***k == (Family::SpinOut, "wrapped", Cause::Firmware)).count();
        assert_eq!(wrapped, spun.len(), "{stroke}: {found:?}");
        let turned = Outside { limit: Some((1.1, Beyond::Backwards)), ..fast }.verdict();
        assert!(kinds(&turned).iter().all(|k| k.1 != "wrapped"), "{stroke}: {:?}", kinds(&turned));
    }
}

/// From two fifths of its peak on, or from near the top.
#[test]
fn a_swipe_that_is_counted_backwards_above_a_speed_is_one_swipe_and_one_spin_out() {
    for m_s in [1.0, 1.5, 2.0] {
        let limit_in = |i: usize| 1.0 + 0.02 * ((i * 5) % 7) as f64;
        let verdict = Outside { limit: Some((m_s, Beyond::Backwards)), limit_in, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert!(found.iter().all(|k| *k == (Family::SpinOut, "reversal", Cause::Sensor)), "{m_s}: {found:?}");
        assert!(found.len() >= FAST - 1, "{m_s}: {}", found.len());
        assert_eq!(verdict.steps[0].swipes.found as usize, SLOW + FAST);
        let resolution = verdict.steps[0].families.iter().find(|f| f.family == Family::Resolution).unwrap();
        assert_eq!(resolution.verdict, Outcome::Pass, "{}", resolution.because);
    }
}

/// For 60 to 120 ms, from a third of the peak on, so that it wakes while the hand is faster; and from near the peak on, slower.
#[test]
fn one_motion_told_again_until_the_hand_has_another_speed_is_a_spin_out_whichever_way_it_leaps() {
    for (slot_ns, m_s, least) in [(1_000_000, 1.2, FAST), (2_000_000, 1.2, FAST), (1_000_000, 2.0, FAST / 2)]
    {
        let limit_in = |i: usize| 1.0 + 0.02 * ((i * 5) % 7) as f64;
        let limit = Some((m_s, Beyond::Freezes));
        let verdict = Outside { slot_ns, limit, limit_in, ..SOUND }.verdict();
        let found = kinds(&verdict);
        let repeated = found.iter().filter(|k| **k == (Family::SpinOut, "repeated", Cause::Sensor)).count();
        assert!(repeated >= least, "{m_s}: {repeated} {found:?}");
        let family = verdict.steps[0].families.iter().find(|f| f.family == Family::SpinOut).unwrap();
        assert_eq!(family.verdict, Outcome::Fail, "{}", family.because);
    }
}

/// Out and back by something else, so that all fast swipes of one direction count less, or more.
#[test]
fn a_gain_of_one_direction_is_a_gain_and_nothing_else() {
    let gains: [(f64, BySwipe); 2] = [
        (0.955, |i| if i >= SLOW && i % 2 == 1 { 0.955 } else { 1.0 }),
        (1.06, |i| if i >= SLOW && i % 2 == 1 { 1.06 } else { 1.0 }),
    ];
    for (factor, gain) in gains {
        let verdict = Outside { gain, ..SOUND }.verdict();
        let found = kinds(&verdict);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, Family::GainChange);
        let finding = &verdict.findings[0];
        assert_eq!(finding.evidence["direction"], "back");
        assert!((finding.size - (factor - 1.0)).abs() < 0.003, "{}", finding.size);
        assert_eq!(verdict.verdict, Outcome::Fail);
    }
}

/// Of eleven slow swipes six go out: the middle one of all is theirs.
#[test]
fn swipes_out_that_count_a_little_more_than_those_back_make_none_of_these_short() {
    let gain: BySwipe = |i| if i % 2 == 0 { 1.006 } else { 0.994 };
    let verdict = Outside { gain, slow: 11, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), []);
    assert_eq!(verdict.verdict, Outcome::Pass, "{}", verdict.because);
    // Beyond its tolerance it is told as what it is, and as nothing else.
    let gain: BySwipe = |i| if i % 2 == 0 { 1.03 } else { 0.97 };
    let verdict = Outside { gain, slow: 11, ..SOUND }.verdict();
    assert_eq!(kinds(&verdict), [(Family::Resolution, "out over back", Cause::Unknown)]);
}

/// Clean swipes back are faster than any speed that those out are lost at.
#[test]
fn the_limit_of_a_sensor_that_counts_up_to_it_one_way_is_that_ways() {
    let limit = Some((1.2, Beyond::Saturates));
    let limit_in: BySwipe = |i| if i % 2 == 0 { 1.0 } else { 10.0 };
    let verdict = Outside { limit, limit_in, ..SOUND }.verdict();
    assert_eq!(outcome(&verdict, Family::TrackingLoss), Outcome::Fail);
    let limit = verdict.steps[0].tracking_limit_m_s.unwrap();
    assert!(limit.low.unwrap() <= 1.2 && limit.high.unwrap() >= 1.2 && limit.value < 1.25, "{limit:?}");
}

/// A link that holds up 50 ms of every 410, and a gain that falls with speed: all slow swipes have late counts, and lack none.
#[test]
fn a_gain_is_seen_beside_a_link_that_is_late_in_every_slow_swipe() {
    let held: fn(f64) -> bool = |t| t > 11.0 && t % 0.41 < 0.05;
    let gain: BySwipe = |i| if i >= SLOW { 0.85 } else { 1.0 };
    let verdict = Outside { held, gain, ..SOUND }.verdict();
    assert_ne!(outcome(&verdict, Family::Resolution), Outcome::Fail, "{}", verdict.because);
    assert_eq!(outcome(&verdict, Family::GainChange), Outcome::Fail, "{}", verdict.because);
}

/// At 8 ms, where the hand has braked: 25 mm at one speed, at once, and no rest before.
#[test]
fn motion_that_sets_in_again_at_the_stop_for_a_few_reports_is_carry_on_and_no_gain() {
    let later: Option<(Later, BySwipe)> = Some((Later::AtOnce, |i| if i >= SLOW { 25.0 } else { 0.0 }));
    let verdict = Outside { slot_ns: 8_000_000, later, ..SOUND }.verdict();
    assert_eq!(outcome(&verdict, Family::CarryOn), Outcome::Fail, "{:?}", kinds(&verdict));
    assert_ne!(outcome(&verdict, Family::GainChange), Outcome::Fail, "{}", verdict.because);
}

/// He stops 20 mm short of the first stop of a phase, and begins the next swipe there.
#[test]
fn a_first_swipe_that_stopped_short_makes_no_step_of_the_others() {
    let gains: [fn(usize) -> f64; 2] = [
        |i| if i < 2 { 280.0 / 300.0 } else { 1.0 },
        |i| if i == SLOW || i == SLOW + 1 { 280.0 / 300.0 } else { 1.0 },
    ];
    for gain in gains {
        let verdict = Outside { gain, ..SOUND }.verdict();
        assert_eq!(kinds(&verdict), []);
        assert_eq!(verdict.verdict, Outcome::Pass, "{}", verdict.because);
    }
}

/// For 50 ms of every 410, wherever the hand is then: at some starts as well.
#[test]
fn what_a_link_holds_back_at_a_start_as_elsewhere_is_the_links() {
    let verdict = Outside { held: |t| t > 11.0 && t % 0.41 < 0.05, ..SOUND }.verdict();
    let found = kinds(&verdict);
    assert!(found.iter().all(|k| k.0 == Family::Dropout && k.2 == Cause::Link), "{found:?}");
    assert!(found.len() >= FAST, "{}", found.len());
}

/// 100 ms of every start are silent, the slow ones' as well; or 12 ms and 20 ms at the peak of five fast swipes in six: what was
/// missing comes in 2 to 12 reports of a millisecond.
#[test]
fn what_comes_late_in_several_reports_came_late_and_is_no_speed_of_the_hand() {
    let late = |verdict: &Verdict, family: Family| {
        let found = kinds(verdict);
        assert!(found.iter().all(|k| k.0 == family && k.1 == "late"), "{found:?}");
        assert_eq!(outcome(verdict, family), Outcome::Fail);
        let step = &verdict.steps[0];
        assert_eq!(step.swipes.clean as usize, SLOW + FAST - found.len());
        let fastest = step.swept.fastest_m_s.unwrap();
        assert!(fastest < 1.1 * FASTEST, "{fastest}");
        found.len()
    };
    let starts = |t: f64| {
        let legs = SOUND.legs();
        let i = legs.partition_point(|leg| leg.0 <= t).saturating_sub(1);
        (0.0..0.1).contains(&(t - legs[i].0))
    };
    for handed_on_in in [2, 4, 8] {
        let n = late(&Outside { held: starts, handed_on_in, ..SOUND }.verdict(), Family::WakeUp);
        assert!(n >= FAST, "{n} in {handed_on_in}");
    }
    for handed_on_in in [2, 4, 8, 12] {
        let held = if handed_on_in > 8 { |t| frozen(t, 0.02) } else { |t| frozen(t, 0.012) };
        let n = late(&Outside { held, handed_on_in, ..SOUND }.verdict(), Family::Dropout);
        assert_eq!(n, FAST * 5 / 6, "in {handed_on_in}");
    }
}

/// True for so many seconds from near the peak on, in five fast swipes in six.
fn frozen(t: f64, seconds: f64) -> bool {
    let since = since_the_start(t).filter(|(_, i)| i % 6 > 0);
    since.is_some_and(|(s, i)| (0.0..seconds).contains(&(s - 0.1 - 0.004 * (i % 5) as f64)))
}

/// A reader that is held up at every start for 15 ms, or at the peak for 12, and then reads what waited every third of a millisecond or
/// at once: that is this computer's.
#[test]
fn what_a_reader_that_was_held_up_reads_late_did_not_come_late() {
    let at_starts = |i: i64, _: f64| {
        let since = since_the_start(i as f64 * 1e-3).map_or(1.0, |s| s.0);
        if since < 0.03 { 1e9 * (0.03 - since).min(0.015) } else { 0.0 }
    };
    let at_the_peak = |i: i64, _: f64| {
        let since = since_the_start(i as f64 * 1e-3).map_or(1.0, |s| s.0) - 0.1;
        let late = 0.012 - since - 2.0 / 3.0 * since.max(0.0);
        if since >= 0.0 { 1e9 * late.max(0.0) } else { 0.0 }
    };
    for late_ns in [at_starts as fn(i64, f64) -> f64, at_the_peak] {
        let verdict = Outside { late_ns, ..SOUND }.verdict();
        let told = |f: &&Finding| matches!(f.family, Family::WakeUp | Family::Dropout | Family::SpinOut);
        let told: Vec<&Finding> = verdict.findings.iter().filter(told).collect();
        assert!(told.is_empty(), "{told:?}");
        assert_ne!(verdict.verdict, Outcome::Fail);
    }
}

#[test]
fn times_that_no_device_keeps_are_not_judged() {
    let slow = |line: &str| {
        let (t, rest) = line.strip_prefix("{\"t\":")?.split_once(',')?;
        Some(format!("{{\"t\":{},{rest}", t.parse::<i64>().ok()? * 1000))
    };
    let text: Vec<String> = SOUND.text().lines().map(|l| slow(l).unwrap_or_else(|| l.to_owned())).collect();
    let verdict = judge(&Recording::read((text.join("\n") + "\n").as_bytes()).unwrap(), "slow").verdict;
    assert_eq!((verdict.verdict, verdict.findings.len()), (Outcome::NotExamined, 0), "{}", verdict.because);
    assert!(verdict.remarks[0].starts_with("reports come 1.00 s apart in swipes"), "{:?}", verdict.remarks);
}

/// The button is pressed two swipes late, or two early: those have the other step's counts, and the rest is what it is said to be.
#[test]
fn a_button_a_little_late_or_early_is_a_step_change_of_two_swipes() {
    let late: BySwipe = |i| if i < 2 { 0.5 } else { 1.0 };
    let early: BySwipe = |i| if i >= SLOW + FAST - 2 { 2.0 } else { 1.0 };
    for (gain, nominal) in [(late, 800), (early, 3200)] {
        let text = Outside { gain, ..SOUND }.text();
        let other = format!("}},{{\"id\":2,\"nominal_counts_per_inch\":{nominal}}}]}}}}\n");
        let text = text.replacen("}]}}\n", &other, 1);
        let verdict = judge(&Recording::read(text.as_bytes()).unwrap(), "two steps").verdict;
        assert_eq!(kinds(&verdict), [(Family::Resolution, "step change", Cause::StepChange)], "{nominal}");
        let change = &verdict.findings[0].evidence;
        assert_eq!(
            (change["swipes"].as_u64(), change["like_step"].as_u64()),
            (Some(2), Some(2)),
            "{nominal}"
        );
        assert_eq!(verdict.verdict, Outcome::Inconclusive);
        let known = verdict.steps[0].resolution_counts_per_inch.unwrap().value;
        assert!((known / 1600.0 - 1.0).abs() < 0.01, "{known}");
    }
}
