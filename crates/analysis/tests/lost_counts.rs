//! Whose the lost counts are: the link's, a sensor's that reaches a limit now and then, or a patch's of the surface. By the
//! smallest model of each.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome, Verdict};
use slipgauge_trace::Recording;
use std::fmt::Write as _;

const SLOW: usize = 8;
const FAST: usize = 24;
const TRAVEL_MM: f64 = 300.0;
const COUNTS_PER_MM: f64 = 60.0;

/// What loses counts.
#[derive(Clone, Copy)]
enum Loses {
    /// Reports for 10 to 40 ms, so many times a second of motion, by this seed.
    AtRandom(f64, u64),
    /// Three reports at a time, a third of them, where the travel is farther than this, mm.
    FarOff(f64),
    /// The sensor, from a speed (m/s) on until the hand falls below two thirds of it, in one swipe of so many.
    Above(f64, usize),
    /// The sensor, beyond an acceleration (m/s²) until the hand falls below half of it.
    Pulled(f64),
    /// The surface, from here to there, mm.
    Patch(f64, f64),
    /// The surface, likewise, in two crossings of five.
    PatchInSome(f64, f64),
    /// The sensor, from a speed (m/s) on as above in each swipe, and the link at random, so many times a second, by this seed.
    AboveAndAtRandom(f64, f64, u64),
    /// The sensor, seven counts of ten between 80 mm and 220 mm, in every third slow swipe.
    WhenSlow,
    /// Nothing: the device speaks every 1.4 polls, and this computer reads late by one to three ms, so often a second, by this
    /// seed.
    Nothing(f64, u64),
    /// The connection, for 300 ms in one fast swipe of so many.
    Connection(usize),
    /// The device goes away in every other slow (or fast) swipe, at this share of its time, and is back after so many ms.
    Away(bool, f64, i64),
    /// The device, every fifth report from this swipe on.
    Fifth(usize),
    /// Nothing; the fast phase begins in the middle of its first swipe.
    Cut,
    /// This computer, for 60 ms in one fast swipe of so many: it is held up, and its queue too short.
    Overrun(usize),
    /// The link, one report in every other fast swipe.
    OneReport,
    /// The sensor, from a speed (m/s) on as above in one fast swipe of so many, while this computer is held up and loses nothing.
    Beside(f64, usize),
    /// The sensor, from a speed (m/s) on until the hand falls below a half of it; and its gain changes by so much at it, with
    /// the speed.
    WithGain(f64, f64),
}

fn next(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 53) as f64
}

/// Skewed swipes of many speeds between two stops, and what a device on a radio tells of them every so many ms.
fn text(loses: Loses, every_ms: i64) -> String {
    let descriptor = "05010902a1010901a10005091901290315002501950375018102950175058101\
                      05010930093116018026ff7f751095028106c0c0";
    let mut text = format!(
        "{{\"slipgauge\":1,\"tool\":\"t\",\"started\":\"2026-01-01T00:00:00Z\",\
         \"clock\":{{\"id\":\"monotonic\",\"resolution_ns\":1}},\"devices\":[{{\"role\":\"test\",\"link\":\"radio\",\
         \"nodes\":[{{\"interface\":0,\"interval_ns\":{},\"descriptor\":\"{descriptor}\"}}]}}],\
         \"plan\":{{\"travel_um\":300000,\"travel_u_um\":500,\"axis\":\"x\",\"straight_edge\":true,\
         \"steps\":[{{\"id\":1,\"nominal_counts_per_inch\":{}}}]}}}}\n",
        every_ms * 1_000_000,
        COUNTS_PER_MM * 25.4
    );
    let mut say = |line: String| writeln!(text, "{line}").unwrap();
    say("{\"t\":0,\"phase\":{\"step\":1,\"task\":\"still\"}}".to_owned());
    let (mut ms, mut at, mut told) = (11_000, 0.0f64, 0.0f64);
    let mut chance = match loses {
        Loses::AtRandom(_, seed) | Loses::Nothing(_, seed) | Loses::AboveAndAtRandom(.., seed) => seed,
        _ => 1,
    };
    let mut hand = 7;
    let mut unread: Vec<String> = Vec::new();
    let mut reads_at = 0;
    let mut line = String::new();
    for i in 0..SLOW + FAST {
        if i == 0 || i == SLOW {
            let (pace, n) = if i == 0 { ("slow", SLOW) } else { ("fast", FAST) };
            line =
                format!("\"phase\":{{\"step\":1,\"task\":\"swipes\",\"pace\":\"{pace}\",\"swipes\":{n}}}}}");
            ms += 1_000;
        }
        let stop = if i % 2 == 0 { TRAVEL_MM } else { 0.0 } + 0.3 * next(&mut hand) - 0.15;
        let lasts =
            if i < SLOW { 1_300.0 + 200.0 * next(&mut hand) } else { 240.0 + 100.0 * next(&mut hand) };
        let cut = i == SLOW && matches!(loses, Loses::Cut);
        let (from, mut blind, mut silent_until, mut last, mut slower) = (at, false, 0, at, 0.0f64);
        for step in 1..=lasts as i64 + 500 {
            ms += 1;
            if !line.is_empty() && (!cut || step == 120) {
                say(format!("{{\"t\":{},{line}", ms * 1_000_000));
                line.clear();
            }
            let u = (step as f64 / lasts).min(1.0);
            // Speed as u² (1 − u)³: fastest at two fifths of the time.
            let done = u.powi(3) * (20.0 - 45.0 * u + 36.0 * u * u - 10.0 * u.powi(3));
            at = from + (stop - from) * done;
            let (moved, speed) = (at - last, (at - last).abs());
            let pull = (speed - slower).abs() * 1e3;
            (last, slower) = (at, speed);
            let mut gone = false;
            match loses {
                Loses::AtRandom(rate, _) => {
                    if ms >= silent_until && u < 1.0 && next(&mut chance) < 1e-3 * rate {
                        silent_until = ms + 10 + (30.0 * next(&mut chance)) as i64;
                    }
                    gone = ms < silent_until;
                }
                Loses::FarOff(from) => {
                    if ms >= silent_until && at > from && next(&mut chance) < 0.15 {
                        silent_until = ms + 3;
                    }
                    gone = ms < silent_until;
                }
                Loses::Above(limit, every) => {
                    blind = i % every == 0 && speed > limit * if blind { 2.0 / 3.0 } else { 1.0 };
                    told += if blind { moved } else { 0.0 };
                }
                Loses::Pulled(limit) => {
                    blind = i >= SLOW && pull > limit * if blind { 0.5 } else { 1.0 };
                    told += if blind { moved } else { 0.0 };
                }
                Loses::WithGain(limit, change) => {
                    blind = speed > limit * if blind { 0.5 } else { 1.0 };
                    told -= if blind { -moved } else { moved * change * speed / limit };
                }
                Loses::Patch(begin, end) if (begin..end).contains(&at) => told += moved,
                Loses::PatchInSome(begin, end) if i % 5 % 3 == 0 && (begin..end).contains(&at) => {
                    told += moved
                }
                Loses::AboveAndAtRandom(limit, rate, _) => {
                    blind = speed > limit * if blind { 2.0 / 3.0 } else { 1.0 };
                    told += if blind { moved } else { 0.0 };
                    if ms >= silent_until && u < 1.0 && next(&mut chance) < 1e-3 * rate {
                        silent_until = ms + 10 + (15.0 * next(&mut chance)) as i64;
                    }
                    gone = ms < silent_until;
                }
                Loses::WhenSlow if i < SLOW && i % 3 == 0 && (80.0..220.0).contains(&at) => {
                    told += 0.7 * moved
                }
                Loses::Patch(..)
                | Loses::PatchInSome(..)
                | Loses::WhenSlow
                | Loses::Nothing(..)
                | Loses::Cut => {}
                Loses::Connection(every) => {
                    let away = i >= SLOW && i % every == 0;
                    gone = away && (110..410).contains(&step);
                    if away && step == 110 {
                        say(format!("{{\"t\":{},\"d\":0,\"gone\":true}}", ms * 1_000_000));
                    }
                }
                Loses::Away(slow, at, lasting) => {
                    let from = (at * lasts) as i64;
                    let own = (i < SLOW) == slow && i % 2 == 0;
                    gone = own && (from..from + lasting).contains(&step);
                    let lines = [(from, "\"gone\":true"), (from + lasting, "\"back\":{}")];
                    for (_, line) in lines.iter().filter(|(when, _)| own && *when == step) {
                        say(format!("{{\"t\":{},\"d\":0,{line}}}", ms * 1_000_000));
                    }
                }
                Loses::Fifth(from) => gone = i >= from && (ms / every_ms) % 5 == 0,
                Loses::OneReport => {
                    let from = 80 + 8 * (i as i64 % 5);
                    gone = i >= SLOW && i % 2 == 0 && (from..from + every_ms).contains(&step);
                }
                Loses::Overrun(every) => gone = i >= SLOW && i % every == 0 && (90..150).contains(&step),
                Loses::Beside(limit, every) => {
                    blind =
                        i >= SLOW && i % every == 0 && speed > limit * if blind { 2.0 / 3.0 } else { 1.0 };
                    told += if blind { moved } else { 0.0 };
                }
            }
            let held_up = match loses {
                Loses::Overrun(every) | Loses::Beside(_, every) => i >= SLOW && i % every == 0 && step == 150,
                _ => false,
            };
            if held_up {
                say(format!("{{\"t\":{},\"stall\":60000000}}", ms * 1_000_000));
            }
            if held_up && matches!(loses, Loses::Overrun(_)) {
                say(format!("{{\"t\":{},\"overrun\":1}}", ms * 1_000_000));
            }
            let counts = ((at - told) * COUNTS_PER_MM).round();
            let speaks = match loses {
                Loses::Nothing(..) => ms * 10 / 14 != (ms - 1) * 10 / 14,
                _ => ms % every_ms == 0,
            };
            if counts != 0.0 && speaks {
                told += counts / COUNTS_PER_MM;
                let [x, y] = (counts as i16).to_le_bytes();
                if !gone {
                    unread.push(format!("\"r\":\"00{x:02x}{y:02x}0000\""));
                }
            }
            match loses {
                Loses::Nothing(rate, _) if ms >= reads_at && next(&mut chance) < 1e-3 * rate => {
                    reads_at = ms + 1 + (3.0 * next(&mut chance)) as i64;
                }
                _ => {}
            }
            if ms >= reads_at {
                for (q, report) in unread.drain(..).enumerate() {
                    say(format!("{{\"t\":{},\"q\":{q},{report}}}", ms * 1_000_000));
                }
            }
        }
    }
    say(format!("{{\"t\":{},\"end\":true}}", (ms + 500) * 1_000_000));
    text
}

fn verdict(loses: Loses) -> Verdict {
    verdict_at(loses, 1)
}

fn verdict_at(loses: Loses, every_ms: i64) -> Verdict {
    judge(&Recording::read(text(loses, every_ms).as_bytes()).unwrap(), "lost").verdict
}

fn of(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

/// In slow swipes and fast ones alike, so that they begin at any acceleration.
#[test]
fn losses_at_random_times_are_the_links_and_no_limit_of_acceleration() {
    for seed in 1..=8 {
        let verdict = verdict(Loses::AtRandom(8.0, seed));
        let dropout = of(&verdict, Family::Dropout);
        assert_eq!(
            (dropout.verdict, dropout.cause),
            (Outcome::Fail, Some(Cause::Link)),
            "{seed}: {}",
            dropout.because
        );
        assert_ne!(of(&verdict, Family::TrackingLoss).verdict, Outcome::Fail, "{seed}");
    }
}

/// As often in a swipe as no hand passes a limit.
#[test]
fn bursts_that_are_lost_over_a_part_of_the_travel_are_the_links() {
    for from in [120.0, 200.0] {
        let verdict = verdict(Loses::FarOff(from));
        let dropout = of(&verdict, Family::Dropout);
        let told = (dropout.verdict, dropout.cause);
        assert_eq!(told, (Outcome::Fail, Some(Cause::Link)), "{from}: {}", dropout.because);
        let tracking = of(&verdict, Family::TrackingLoss);
        assert_ne!(tracking.verdict, Outcome::Fail, "{from}: {}", tracking.because);
    }
}

/// Others are as fast and clean; but a link does not know the speed.
#[test]
fn a_limit_of_speed_that_comes_and_goes_is_the_sensors() {
    let verdict = verdict(Loses::Above(1.1, 3));
    let tracking = of(&verdict, Family::TrackingLoss);
    assert_ne!(tracking.verdict, Outcome::Pass);
    assert_eq!(tracking.cause, Some(Cause::Sensor), "{}", tracking.because);
    assert_eq!(of(&verdict, Family::Dropout).findings, 0);
    assert!(tracking.because.contains("8 of the 24 swipes"), "{}", tracking.because);
    // Clean swipes went beyond, so that there is no one limit.
    let why = verdict.steps[0].tracking_limit_because.as_deref().unwrap();
    assert!(
        verdict.steps[0].tracking_limit_m_s.is_none() && why.starts_with("some swipes have lost track by 1."),
        "{why}"
    );
}

/// Counts tell 2.02 to 2.27 m/s where the hand had 2.15.
#[test]
fn a_limit_is_known_by_counts_only_as_well_as_the_gain_there_is() {
    for change in [-0.08, -0.03, 0.0, 0.06] {
        let verdict = verdict(Loses::WithGain(2.15, change));
        let step = &verdict.steps[0];
        let limit = step.tracking_limit_m_s.unwrap();
        let (low, high) = (limit.low.unwrap(), limit.high.unwrap());
        assert!((low..=high).contains(&2.15) && high < 1.1 * low, "{change}: {limit:?}");
    }
}

/// The same millimetres in all swipes, at a fifth of a metre a second and at two.
#[test]
fn a_patch_that_no_swipe_counts_is_the_surfaces() {
    let verdict = verdict(Loses::Patch(110.0, 122.0));
    let tracking = of(&verdict, Family::TrackingLoss);
    assert_eq!(
        (tracking.verdict, tracking.cause),
        (Outcome::Fail, Some(Cause::Surface)),
        "{}",
        tracking.because
    );
    assert_eq!(of(&verdict, Family::Dropout).findings, 0);
    let place = verdict.findings[0].evidence["place_mm"].as_f64().unwrap();
    // Millimetres of a travel that lacks twelve.
    assert!((108.0..=118.0).contains(&place), "{place}");
    assert!(verdict.steps[0].tracking_limit_m_s.is_none(), "no limit of speed");
}

/// It comes twice a swipe, and what it hides bends all that is known of the acceleration beside it.
#[test]
fn a_limit_of_acceleration_is_the_sensors_at_any_report_interval() {
    for (every_ms, limit) in [(1, 20.0), (1, 26.0), (4, 20.0), (4, 26.0), (8, 20.0), (8, 26.0)] {
        let verdict = verdict_at(Loses::Pulled(limit), every_ms);
        let tracking = of(&verdict, Family::TrackingLoss);
        let told = (tracking.verdict, tracking.cause);
        assert_eq!(
            told,
            (Outcome::Fail, Some(Cause::Sensor)),
            "{every_ms} ms, {limit}: {}",
            tracking.because
        );
        let dropouts = of(&verdict, Family::Dropout).findings;
        assert!(dropouts <= 1, "{every_ms} ms, {limit}: {dropouts} dropouts");
        // Where it begins with the swipe, no speed is told as that of the loss.
        let none = verdict.steps[0].tracking_limit_m_s.is_none_or(|limit| limit.value >= 0.2);
        assert!(
            none && !tracking.because.contains("from 0.0"),
            "{every_ms} ms, {limit}: {}",
            tracking.because
        );
        assert!(verdict.findings.iter().all(|f| f.size > 0.0), "{every_ms} ms, {limit}");
    }
}

/// At 8 ms one report holds a centimetre and more, no reader is late by so much, and the swipe lacks it.
#[test]
fn a_report_that_is_lost_alone_is_told_where_it_is_long_and_its_swipe_short() {
    let verdict = verdict_at(Loses::OneReport, 8);
    let lost = || verdict.findings.iter().filter(|f| f.family == Family::Dropout && f.kind == "lost");
    assert_eq!((lost().count(), verdict.findings.len()), (FAST / 2, FAST / 2), "{}", verdict.because);
    // 2.1 times the mean speed of 300 mm in 240 to 340 ms, and three quarters of it.
    assert!(
        lost().all(|f| (9.0..22.0).contains(&f.size)),
        "{:?}",
        lost().map(|f| f.size).collect::<Vec<_>>()
    );
}

/// At 8 ms a fast hand crosses a centimetre within a report.
#[test]
fn a_patch_that_shows_in_slow_swipes_alone_is_the_surfaces() {
    let verdict = verdict_at(Loses::Patch(110.0, 120.0), 8);
    let tracking = of(&verdict, Family::TrackingLoss);
    assert!(tracking.findings >= SLOW - 1, "{}", tracking.because);
    assert_eq!(tracking.cause, Some(Cause::Surface), "{}", tracking.because);
}

/// Most crossings are whole: what they have is no motion after the stop, and the others lose it at one place and not on the link.
#[test]
fn a_patch_that_shows_in_some_crossings_is_the_surfaces_and_the_others_are_whole() {
    let verdict = verdict(Loses::PatchInSome(110.0, 128.0));
    let tracking = of(&verdict, Family::TrackingLoss);
    assert_eq!(tracking.cause, Some(Cause::Surface), "{}", tracking.because);
    for family in [Family::Dropout, Family::CarryOn, Family::Resolution, Family::GainChange] {
        let found = of(&verdict, family);
        assert_eq!(found.findings, 0, "{family:?}: {}", found.because);
    }
}

/// Blind from 1.3 m/s on in each fast swipe; what is lost in slow ones is the link's, and the limit is the sensor's.
#[test]
fn a_limit_is_told_beside_a_link_that_loses_in_slow_swipes() {
    for seed in 1..=4 {
        let verdict = verdict(Loses::AboveAndAtRandom(1.3, 1.5, seed));
        let (dropout, tracking) = (of(&verdict, Family::Dropout), of(&verdict, Family::TrackingLoss));
        assert!(dropout.findings >= 5, "{seed}: {}", dropout.because);
        assert_eq!(
            (tracking.verdict, tracking.cause),
            (Outcome::Fail, Some(Cause::Sensor)),
            "{seed}: {}",
            tracking.because
        );
        let limit = verdict.steps[0].tracking_limit_m_s.unwrap();
        let holds = limit.low.is_none_or(|low| low <= 1.3) && limit.high.is_none_or(|high| high >= 1.3);
        assert!(holds && (limit.value / 1.3 - 1.0).abs() < 0.1, "{seed}: {limit:?}");
        let slow = verdict.findings.iter().filter(|f| f.family == Family::TrackingLoss && f.phase == 2);
        assert_eq!(slow.count(), 0, "{seed}");
    }
}

/// What fast swipes show is no excuse for slow ones.
#[test]
fn a_loss_in_slow_swipes_alone_is_no_pass() {
    let verdict = verdict(Loses::WhenSlow);
    let tracking = of(&verdict, Family::TrackingLoss);
    assert_ne!(tracking.verdict, Outcome::Pass, "{}", tracking.because);
    assert!(tracking.because.contains("3 of the 8 slow ones"), "{}", tracking.because);
    assert!(tracking.to_settle.is_some());
}

/// Slots that are empty by right and late reports look like lost ones; but the swipes are whole.
#[test]
fn a_device_slower_than_its_polls_that_is_read_late_loses_nothing() {
    for seed in 1..=6 {
        let verdict = verdict(Loses::Nothing(60.0, seed));
        for family in [Family::Dropout, Family::TrackingLoss] {
            let found = of(&verdict, family);
            assert_ne!(found.verdict, Outcome::Fail, "{seed}: {family:?} {}", found.because);
            assert!(found.findings <= 2, "{seed}: {family:?} {}", found.because);
        }
    }
}

/// It is in the file, and no sensor does it.
#[test]
fn a_device_that_goes_away_in_a_swipe_is_the_links() {
    let verdict = verdict(Loses::Connection(5));
    let dropout = of(&verdict, Family::Dropout);
    assert_eq!(dropout.cause, Some(Cause::Link), "{}", dropout.because);
    assert!(dropout.because.contains("in 5 the device went away"), "{}", dropout.because);
    assert_eq!(of(&verdict, Family::TrackingLoss).findings, 0);
}

/// The file says that it went away and came back: no swipe is left out for it, at either pace, however long it was.
#[test]
fn a_device_that_goes_away_and_comes_back_in_swipes_is_told_at_any_pace() {
    let cases = [(true, 0.4, 300, 4), (false, 0.3, 100, 12), (false, 0.4, 300, 12)];
    for (slow, at, lasting, events) in cases {
        let verdict = verdict(Loses::Away(slow, at, lasting));
        let dropout = of(&verdict, Family::Dropout);
        assert_eq!(dropout.findings, events, "{slow} {lasting}: {}", dropout.because);
        assert!(verdict.findings.iter().all(|f| f.kind == "went away"), "{:?}", verdict.findings);
        let outcome = if slow { Outcome::Inconclusive } else { Outcome::Fail };
        assert_eq!(dropout.verdict, outcome, "{}", dropout.because);
        let words = "the device went away from the computer and came back";
        assert!(dropout.because.contains(words), "{}", dropout.because);
        assert_eq!((dropout.cause, verdict.steps[0].swipes.disturbed), (Some(Cause::Link), 0));
    }
    let at_rest = verdict(Loses::Away(false, 1.2, 100));
    assert!(at_rest.findings.is_empty() && at_rest.verdict == Outcome::Pass, "{}", at_rest.because);
}

/// A hub before both, or this computer, may have done it: by itself it fails nobody, and it is no pass.
#[test]
fn a_device_that_goes_away_together_with_the_reference_fails_not() {
    let alone = text(Loses::Away(false, 0.4, 300), 1);
    let descriptor = alone.split("\"descriptor\":\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
    let reference = format!(
        "}}]}},{{\"role\":\"reference\",\"nodes\":[{{\"interface\":0,\"descriptor\":\"{descriptor}\"}}]}}],\"plan\""
    );
    let both = alone.replace("}]}],\"plan\"", &reference);
    let both: Vec<String> = both
        .lines()
        .map(|line| match line.contains("\"gone\"") {
            true => format!("{line}\n{}\n", line.replace("\"d\":0", "\"d\":1")),
            false => format!("{line}\n"),
        })
        .collect();
    let verdict = judge(&Recording::read(both.concat().as_bytes()).unwrap(), "hub").verdict;
    let dropout = of(&verdict, Family::Dropout);
    assert_eq!((dropout.verdict, dropout.findings), (Outcome::Inconclusive, 12), "{}", dropout.because);
    assert!(dropout.because.contains("the reference with it"), "{}", dropout.because);
}

/// They look like frames with a clock of their own, and the slow swipes before them have all that was promised.
#[test]
fn reports_that_go_missing_one_by_one_from_some_time_on_have_no_clock_of_their_own() {
    let verdict = verdict_at(Loses::Fifth(5), 8);
    let interval = of(&verdict, Family::ReportInterval);
    assert_eq!(interval.verdict, Outcome::Fail, "{}", interval.because);
    assert!(!interval.because.contains("even clock"), "{}", interval.because);
    let own = |f: &&Finding| f.family == Family::ReportInterval && f.kind == "missing";
    let missing = verdict.findings.iter().find(own).unwrap();
    assert_eq!(missing.evidence["counts_missing_as_well"], true);
}

/// Its counts end in one phase and begin in the next, at speed.
#[test]
fn a_swipe_that_the_line_of_a_phase_cuts_shows_nothing() {
    let verdict = verdict(Loses::Cut);
    assert!(verdict.findings.is_empty(), "{:?}", verdict.findings);
    assert_eq!(verdict.steps[0].swipes.disturbed, 2);
    assert_eq!(of(&verdict, Family::TrackingLoss).verdict, Outcome::Pass);
}

/// Swipes of which this computer has lost reports are neither clean nor short.
#[test]
fn reports_that_this_computer_lost_are_not_the_devices() {
    for every in [2, 3, 4] {
        let verdict = verdict(Loses::Overrun(every));
        let disturbed = (SLOW..SLOW + FAST).filter(|i| i % every == 0).count() as u32;
        let swipes = &verdict.steps[0].swipes;
        assert_eq!((swipes.found, swipes.disturbed), (32, disturbed));
        assert_eq!(swipes.clean, 32 - disturbed);
        assert!(verdict.findings.is_empty(), "{every}: {:?}", verdict.findings);
        assert_ne!(verdict.verdict, Outcome::Fail, "{}", verdict.because);
        let gain = of(&verdict, Family::GainChange);
        assert_eq!(gain.verdict, Outcome::Pass, "{}", gain.because);
    }
}

/// A stall delays, and takes nothing: what is missing beside one may be the device's. So these swipes show no sound device.
#[test]
fn counts_that_are_missing_beside_a_stall_clear_no_device() {
    let verdict = verdict(Loses::Beside(1.1, 3));
    assert_eq!(verdict.verdict, Outcome::Inconclusive, "{}", verdict.because);
    assert!(verdict.steps[0].swipes.disturbed >= 8, "{:?}", verdict.steps[0].swipes);
    let gain = of(&verdict, Family::GainChange);
    assert_ne!(gain.verdict, Outcome::Fail, "{}", gain.because);
}
