//! Reports that come unevenly, by rules applied to those that a sound simulated device sent: one by one lost, or left to
//! the next.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Outcome, Verdict};
use slipgauge_sim::Bench;
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Digest, Entry, Event, Header, Tolerance};

/// What becomes of a report: on its way, lost, left to the next, holding what the one before held besides or so many counts
/// more, or sent again 20 µs later.
enum Way {
    Sent,
    Lost,
    Held,
    Doubled,
    More(i16),
    Again,
}

/// Judges a sound session at 1 kHz whose reports go the way that `way` says by their slot's number.
fn judged(seed: u64, link: &str, way: impl FnMut(i64) -> Way) -> Verdict {
    judged_at(Bench { seed, ..Bench::default() }, link, false, way)
}

/// Likewise of a bench; the plan may ask for the interval.
fn judged_at(bench: Bench, link: &str, asked: bool, mut way: impl FnMut(i64) -> Way) -> Verdict {
    assert_eq!(bench.device.report.bits, 16);
    let session = bench.session().unwrap();
    let mut header = session.header();
    header.devices[0].link = Some(link.to_owned());
    if asked {
        ask_for_the_interval(&mut header);
    }
    let (mut held, mut before) = ((0i16, 0i16), (0i16, 0i16));
    let mut entries: Vec<Entry> = Vec::new();
    for mut entry in session.entries() {
        let slot = (entry.t.0 + 500_000) / 1_000_000;
        let mut again = false;
        if let Event::Report(report) = &mut entry.event {
            let at = |i: usize| i16::from_le_bytes([report.bytes[i], report.bytes[i + 1]]);
            let own = (at(1), at(3));
            let (mut x, mut y) = (own.0 + held.0, own.1 + held.1);
            match way(slot) {
                Way::Sent => held = (0, 0),
                Way::Doubled => (x, y) = (x + before.0, y + before.1),
                Way::More(counts) => x += if x.abs() > 3 { counts } else { 0 },
                Way::Again => again = true,
                Way::Lost => continue,
                Way::Held => {
                    held = (x, y);
                    continue;
                }
            }
            report.bytes.splice(1..3, x.to_le_bytes());
            report.bytes.splice(3..5, y.to_le_bytes());
            before = own;
        }
        entries.push(entry.clone());
        if again {
            entry.t.0 += 20_000;
            entries.push(entry);
        }
    }
    let recording = Recording::from_entries(header, entries, Digest::default()).unwrap();
    judge(&recording, "by hand").verdict
}

fn ask_for_the_interval(header: &mut Header) {
    let limits = [Some(-0.05), Some(0.05)];
    let asked = Tolerance { limits, unit: "relative".to_owned(), source: "a test".to_owned() };
    header.plan.as_mut().unwrap().tolerances.insert("report-interval".to_owned(), asked);
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

/// One report in each 7.5 ms: 13 %.
#[test]
fn reports_that_a_radio_loses_one_by_one_are_told_with_their_period_and_fail() {
    let every = |slot: i64| if slot * 2 % 15 < 2 { Way::Lost } else { Way::Sent };
    for (link, cause) in [("radio", Cause::Link), ("cable", Cause::Unknown)] {
        let verdict = judged(3, link, every);
        let got = family(&verdict, Family::ReportInterval);
        assert_eq!((got.verdict, got.cause), (Outcome::Fail, Some(cause)), "{}", got.because);
        assert!(
            got.because.contains("every 7.50 ms") && got.because.contains("counts are lost"),
            "{}",
            got.because
        );
        let size = verdict.findings.iter().find(|f| f.kind == "missing").unwrap().size;
        assert!((size - 100.0 / 7.5).abs() < 0.5, "{size}");
        let resolution = family(&verdict, Family::Resolution);
        assert!(resolution.because.contains("% of reports are missing"), "{}", resolution.because);
        // What they explain fails no sensor.
        assert_eq!(
            (resolution.verdict, resolution.findings),
            (Outcome::Inconclusive, 0),
            "{}",
            resolution.because
        );
        assert_eq!(family(&verdict, Family::Dropout).findings, 0);
    }
    // One in fifty is told, and within the tolerance.
    let verdict = judged(3, "radio", |slot| if slot % 50 == 7 { Way::Lost } else { Way::Sent });
    let got = family(&verdict, Family::ReportInterval);
    assert_eq!(got.verdict, Outcome::Pass, "{}", got.because);
    assert!(got.because.contains("slots in fast motion are empty"), "{}", got.because);
    // Those whose counts come with the next are not lost.
    let verdict = judged(3, "radio", |slot| if slot % 8 == 3 { Way::Held } else { Way::Sent });
    let got = family(&verdict, Family::ReportInterval);
    assert!(!got.because.contains("missing"), "{}", got.because);
}

#[test]
fn intervals_that_alternate_are_told_as_such_and_no_counts_are_missed() {
    for long in [2, 3, 5] {
        for seed in 1..=3 {
            let verdict =
                judged(seed, "cable", |slot| if slot % (1 + long) < 2 { Way::Sent } else { Way::Held });
            let got = family(&verdict, Family::ReportInterval);
            assert_eq!(
                (got.verdict, got.cause),
                (Outcome::Fail, Some(Cause::Link)),
                "{long}: {}",
                got.because
            );
            let words = format!("alternates between 1.00 and {long}.00 ms");
            assert!(got.because.contains(&words), "{}", got.because);
            // At rest, where no report follows soon, what is held here waits too long.
            let own = [Family::ReportInterval, Family::Drift];
            let other = verdict.findings.iter().find(|f| !own.contains(&f.family));
            let other = other.map(|f| (f.family, f.kind));
            assert_eq!(other, None, "{long}, seed {seed}");
        }
    }
}

/// One report in four milliseconds, some of them a millisecond early or late; each holds what moved until then.
#[test]
fn reports_that_a_device_sends_unevenly_are_jitter_and_no_false_motion() {
    for seed in 1..=3 {
        // By chance, and without a period that would be told first (Steele, Lea & Flood 2014: SplitMix).
        let off = |n: i64| {
            let z = (n as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) % 3) as i64
        };
        let verdict = judged(seed, "cable", |slot| {
            if slot.rem_euclid(4) == off(slot.div_euclid(4)) { Way::Sent } else { Way::Held }
        });
        // What is told at rest, and as late reports, is not this test's.
        let own = [Family::ReportInterval, Family::SpinOut, Family::TrackingLoss];
        let others = verdict.findings.iter().filter(|f| own.contains(&f.family));
        let others: Vec<_> = others.map(|f| (f.family, f.kind, f.cause)).collect();
        assert_eq!(others, [(Family::ReportInterval, "jitter", Cause::Link)], "seed {seed}");
        let because = &family(&verdict, Family::ReportInterval).because;
        assert!(because.contains("reports unevenly"), "{because}");
    }
}

/// A session of a device whose frames are so many polls apart, judged; the plan may ask for the interval.
fn of_frames(polls_apart: f64, poll_ns: i64, late_ns: f64, asked: bool) -> Verdict {
    let mut bench = Bench { seed: 5, ..Bench::default() };
    bench.device.link.interval_ns = poll_ns;
    bench.device.sensor.frame_ns = (polls_apart * poll_ns as f64) as i64;
    bench.host.delay_spread_ns = late_ns;
    let session = bench.session().unwrap();
    let mut header = session.header();
    if asked {
        ask_for_the_interval(&mut header);
    }
    let recording = Recording::from_entries(header, session.entries(), Digest::default()).unwrap();
    judge(&recording, "by hand").verdict
}

/// A sensor with fewer frames than the link has slots leaves slots empty, and the next report brings one frame as any other.
#[test]
fn a_sensor_that_sees_less_often_than_it_is_polled_has_its_own_even_interval_and_does_not_fail_for_it() {
    for (poll_ns, late_ns) in
        [(1_000_000, 5_000.0), (1_000_000, 100_000.0), (125_000, 5_000.0), (8_000_000, 5_000.0)]
    {
        for polls_apart in [1.06, 1.13, 1.2, 1.45, 1.5, 1.6, 1.85, 1.95, 2.05, 2.3, 2.5, 5.4] {
            // No sensor sees so seldom, and too few frames lie in a swipe.
            if poll_ns == 8_000_000 && polls_apart > 2.5 {
                continue;
            }
            let verdict = of_frames(polls_apart, poll_ns, late_ns, false);
            let got = family(&verdict, Family::ReportInterval);
            let context = format!("{poll_ns} x {polls_apart}, {late_ns}: {}", got.because);
            assert_eq!((got.verdict, got.findings), (Outcome::NotExamined, 0), "{context}");
            assert!(got.because.contains("an even clock of the device's own"), "{context}");
            let ms: f64 = got.because.split(' ').next().unwrap().parse().unwrap();
            assert!((1e6 * ms / poll_ns as f64 / polls_apart - 1.0).abs() < 1e-3, "{context}");
        }
    }
    // Within the tolerance it passes; beyond, it fails who asks for more.
    for (polls_apart, outcome) in [(1.03, Outcome::Pass), (1.6, Outcome::Fail)] {
        let verdict = of_frames(polls_apart, 1_000_000, 5_000.0, true);
        let got = family(&verdict, Family::ReportInterval);
        assert_eq!(got.verdict, outcome, "{}", got.because);
    }
}

/// By numbers of slots alone these look like frames: 1, 2, 2, 1, 2 apart. The counts, or the resolution, tell.
#[test]
fn reports_left_out_or_lost_as_evenly_as_frames_would_come_fail_all_the_same() {
    let comes = |slot: i64| slot * 5 % 8 < 5;
    type Rule = fn(bool) -> Way;
    let rules: [Rule; 2] = [
        |comes| if comes { Way::Sent } else { Way::Held },
        |comes| if comes { Way::Sent } else { Way::Lost },
    ];
    for rule in rules {
        let verdict = judged(4, "cable", |slot| rule(comes(slot)));
        let got = family(&verdict, Family::ReportInterval);
        assert_eq!(got.verdict, Outcome::Fail, "{}", got.because);
        assert!(!got.because.contains("an even clock of the device's own"), "{}", got.because);
    }
}

/// One slot in five at random has no report, and a resolution a quarter higher makes up for it.
#[test]
fn slots_without_a_report_fail_who_asked_for_the_interval_though_no_counts_are_missing() {
    for (asked, outcome) in [(true, Outcome::Fail), (false, Outcome::Pass)] {
        let mut bench = Bench { seed: 6, ..Bench::default() };
        bench.device.steps[0].error = 0.25;
        let one_in_five = |slot: i64| [0, 7, 14, 21].iter().any(|by| one_in_twenty(slot + 1000 * by));
        let way = |slot: i64| if one_in_five(slot) { Way::Lost } else { Way::Sent };
        let verdict = judged_at(bench, "radio", asked, way);
        let got = family(&verdict, Family::ReportInterval);
        assert_eq!(got.verdict, outcome, "{}", got.because);
        assert!(got.because.contains("for want of anything to say"), "{}", got.because);
    }
}

/// One slot in twenty, at random places: a multiple of it alone would spread them evenly, as frames that beat are.
fn one_in_twenty(slot: i64) -> bool {
    let mixed = (slot as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 32 < (1 << 32) / 20
}

/// The travel of 200 mm and more does not hold them, and every swipe has some.
#[test]
fn reports_that_tell_the_motion_of_the_one_before_again_fail_as_false_motion() {
    for (link, cause) in [("radio", Cause::Link), ("cable", Cause::Firmware)] {
        for again in [false, true] {
            let way = |slot| match (one_in_twenty(slot), again) {
                (false, _) => Way::Sent,
                (_, false) => Way::Doubled,
                (_, true) => Way::Again,
            };
            let verdict = judged(5, link, way);
            let found: Vec<_> = verdict.findings.iter().map(|f| (f.family, f.kind, f.cause)).collect();
            assert!(found.len() >= 30, "{link} {again}: {found:?}");
            let right = (Family::SpinOut, "doubled", cause);
            assert!(found.iter().all(|f| *f == right), "{link} {again}: {found:?}");
            assert_eq!(family(&verdict, Family::SpinOut).verdict, Outcome::Fail);
        }
    }
}

/// 1.3 mm more or less, so that lengths are no longer on average.
#[test]
fn counts_more_and_counts_less_in_single_reports_are_spikes_however_they_add_up() {
    let way = |slot: i64| match one_in_twenty(slot) {
        true if slot % 2 == 0 => Way::More(80),
        true => Way::More(-80),
        false => Way::Sent,
    };
    let verdict = judged(5, "cable", way);
    let spikes = verdict.findings.iter().filter(|f| f.family == Family::SpinOut);
    let swipes = verdict.steps[0].swipes.found;
    assert!(spikes.count() as u32 >= swipes / 2, "{swipes}: {:?}", verdict.findings);
    let spin_out = family(&verdict, Family::SpinOut);
    assert_eq!(
        (spin_out.verdict, spin_out.cause),
        (Outcome::Fail, Some(Cause::Sensor)),
        "{}",
        spin_out.because
    );
}

/// For 5 ms in each 102.4 ms, so that swipes lose 6 to 14 mm, and those that lose least are longest.
#[test]
fn a_radio_that_is_away_at_intervals_makes_no_motion_after_the_stop() {
    for seed in [3, 4] {
        let verdict = judged(seed, "radio", |slot| if slot * 10 % 1024 < 50 { Way::Lost } else { Way::Sent });
        assert_eq!(family(&verdict, Family::Dropout).verdict, Outcome::Fail);
        let lost = (Family::Dropout, "lost", Cause::Link);
        let found: Vec<_> = verdict.findings.iter().map(|f| (f.family, f.kind, f.cause)).collect();
        assert!(found.len() >= 60 && found.iter().all(|f| *f == lost), "{seed}: {found:?}");
    }
}
