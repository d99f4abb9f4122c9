//! Reports that come unevenly, by rules applied to those that a sound simulated device sent: one by one lost, or left to
//! the next.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Outcome, Verdict};
use slipgauge_sim::Bench;
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Digest, Entry, Event};

/// What becomes of a report: on its way, lost, or left to the next.
enum Way {
    Sent,
    Lost,
    Held,
}

/// Judges a sound session at 1 kHz whose reports go the way that `way` says by their slot's number.
fn judged(seed: u64, link: &str, mut way: impl FnMut(i64) -> Way) -> Verdict {
    let bench = Bench { seed, ..Bench::default() };
    assert_eq!(bench.device.report.bits, 16);
    let session = bench.session().unwrap();
    let mut header = session.header();
    header.devices[0].link = Some(link.to_owned());
    let mut held = (0i16, 0i16);
    let mut entries: Vec<Entry> = Vec::new();
    for mut entry in session.entries() {
        let slot = (entry.t.0 + 500_000) / 1_000_000;
        if let Event::Report(report) = &mut entry.event {
            let at = |i: usize| i16::from_le_bytes([report.bytes[i], report.bytes[i + 1]]);
            let (x, y) = (at(1) + held.0, at(3) + held.1);
            match way(slot) {
                Way::Sent => held = (0, 0),
                Way::Lost => continue,
                Way::Held => {
                    held = (x, y);
                    continue;
                }
            }
            report.bytes.splice(1..3, x.to_le_bytes());
            report.bytes.splice(3..5, y.to_le_bytes());
        }
        entries.push(entry);
    }
    let recording = Recording::from_entries(header, entries, Digest::default()).unwrap();
    judge(&recording, "by hand").verdict
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
        assert_eq!(family(&verdict, Family::Dropout).findings, 0);
    }
    // One in fifty is told, and within the tolerance.
    let verdict = judged(3, "radio", |slot| if slot % 50 == 7 { Way::Lost } else { Way::Sent });
    let got = family(&verdict, Family::ReportInterval);
    assert_eq!(got.verdict, Outcome::Pass, "{}", got.because);
    assert!(got.because.contains("twice as long"), "{}", got.because);
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

/// A sensor with fewer frames than the link has slots leaves slots empty, and the next report brings one frame as any other.
#[test]
fn a_sensor_that_sees_less_often_than_it_may_report_loses_nothing_and_does_not_fail_for_it() {
    for frame_ns in [1_050_000, 1_130_000, 1_200_000] {
        let mut bench = Bench { seed: 5, ..Bench::default() };
        bench.device.sensor.frame_ns = frame_ns;
        let session = bench.session().unwrap();
        let recording =
            Recording::from_entries(session.header(), session.entries(), Digest::default()).unwrap();
        let verdict = judge(&recording, "by hand").verdict;
        let got = family(&verdict, Family::ReportInterval);
        assert_ne!(got.verdict, Outcome::Fail, "{frame_ns}: {}", got.because);
    }
}
