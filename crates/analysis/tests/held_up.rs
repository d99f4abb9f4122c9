//! Reports that come late, at once, or at half of their rate: sound simulated sessions whose reports are held back.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, FamilyVerdict, Outcome, Verdict};
use slipgauge_sim::Bench;
use slipgauge_trace::session::{Digest, Entry, Event, Report};
use slipgauge_trace::{Nanos, Recording};

/// Entries of a sound session, told anew by `tell`.
fn verdict(tell: impl Fn(Vec<Entry>) -> Vec<Entry>) -> Verdict {
    let session = Bench { seed: 4, ..Bench::default() }.session().unwrap();
    let entries = tell(session.entries().collect());
    let recording = Recording::from_entries(session.header(), entries, Digest::default()).unwrap();
    judge(&recording, "held up").verdict
}

fn report(entry: &mut Entry) -> Option<&mut Report> {
    match &mut entry.event {
        Event::Report(report) => Some(report),
        _ => None,
    }
}

/// X and Y of a report of the default format: 16 bits each, after a byte of buttons.
fn counts(report: &Report) -> [i16; 2] {
    [1, 3].map(|at| i16::from_le_bytes([report.bytes[at], report.bytes[at + 1]]))
}

fn add(report: &mut Report, more: [i16; 2]) {
    let now = counts(report);
    for (axis, at) in [1, 3].into_iter().enumerate() {
        report.bytes[at..at + 2].copy_from_slice(&(now[axis] + more[axis]).to_le_bytes());
    }
}

/// End of the spell of 40 ms in every 700 in which reports are held up, for one that came in it.
fn held_until(t: Nanos) -> Option<Nanos> {
    let since = t.0 % 700_000_000;
    (since < 40_000_000).then(|| Nanos(t.0 - since + 40_000_000))
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

fn kinds(verdict: &Verdict) -> Vec<(Family, &str)> {
    verdict.findings.iter().map(|f| (f.family, f.kind)).collect()
}

/// Above 20 counts a millisecond every second report is left to the next one.
#[test]
fn a_device_that_halves_its_rate_when_it_moves_fast_fails_by_its_interval() {
    let verdict = verdict(|entries| {
        let (mut out, mut held): (Vec<Entry>, Option<[i16; 2]>) = (Vec::new(), None);
        for mut entry in entries {
            if let Some(own) = report(&mut entry) {
                let now = counts(own);
                match held.take() {
                    Some(before) => add(own, before),
                    None if now[0].abs() >= 20 => {
                        held = Some(now);
                        continue;
                    }
                    None => {}
                }
            }
            out.push(entry);
        }
        out
    });
    let said = family(&verdict, Family::ReportInterval);
    assert_eq!(kinds(&verdict), [(Family::ReportInterval, "slower when fast")], "{}", said.because);
    assert_eq!(said.verdict, Outcome::Fail, "{}", said.because);
    let found = &verdict.findings[0];
    assert!((found.size - 100.0).abs() < 1.0, "{found:?}");
    let from = found.evidence["from_m_s"].as_f64().unwrap();
    // 20 counts a millisecond at 1600 counts per inch.
    assert!((0.28..0.4).contains(&from), "{found:?}");
    assert!(said.because.contains("instead of 1.000 ms"), "{}", said.because);
}

#[test]
fn reports_that_come_in_a_rush_are_told_and_neither_lost_nor_speed() {
    let sound = verdict(|entries| entries);
    let queued = verdict(|mut entries| {
        for entry in &mut entries {
            let until = held_until(entry.t);
            if let (Some(until), Some(report)) = (until, report(entry)) {
                report.place = 0;
                entry.t = until;
            }
        }
        entries.sort_by_key(|entry| entry.t);
        entries
    });
    assert!(queued.findings.is_empty(), "{:?}", queued.findings);
    let [fastest, as_sound] = [&queued, &sound].map(|v| v.steps[0].swept.fastest_m_s.unwrap());
    assert!((fastest / as_sound - 1.0).abs() < 0.02, "{fastest} {as_sound}");
    let said = family(&queued, Family::ReportInterval);
    assert_eq!(said.verdict, Outcome::Inconclusive, "{}", said.because);
    assert!(said.because.contains("came in a rush after 4"), "{}", said.because);
    assert!(said.to_settle.is_some() && said.cause.is_none());
    assert!(!family(&sound, Family::ReportInterval).because.contains("rush"));
}

#[test]
fn reports_that_come_in_one_lump_after_a_silence_are_late_and_nothing_else() {
    let verdict = verdict(|entries| {
        let (mut out, mut held): (Vec<Entry>, [i16; 2]) = (Vec::new(), [0, 0]);
        for mut entry in entries {
            let spell = held_until(entry.t).is_some();
            if let Some(own) = report(&mut entry) {
                if spell {
                    let now = counts(own);
                    held = [held[0] + now[0], held[1] + now[1]];
                    continue;
                }
                add(own, std::mem::take(&mut held));
            }
            out.push(entry);
        }
        out
    });
    // One that begins with the swipe is a late start.
    let found = kinds(&verdict);
    assert!(found.iter().filter(|k| **k == (Family::Dropout, "late")).count() >= 20, "{found:?}");
    assert!(
        found.iter().all(|k| *k == (Family::Dropout, "late") || *k == (Family::WakeUp, "late")),
        "{found:?}"
    );
}
