//! A whole short session of a device that we play ourselves, with one dropout in it.

use std::ops::Range;
use std::sync::LazyLock;

use serde_json::Value;

use super::machine::Files;
use super::recorded::{judge, recorded, simulated};
use crate::harness::hand::{DESCRIPTOR, Hand};
use crate::harness::session::Report;

const MS: u64 = 1_000_000;
/// The timetable that [`performance`] keeps to.
const OPTIONS: &str = "--travel 300mm --step 1=1600 --phase still=3s --phase slow=8s --phase fast=4s";
/// Where the dropout lies: phases and swipes count from 1.
const FAST_PHASE: u64 = 3;
const HURT_SWIPE: u64 = 4;
/// Opening the device and stamping its first report; what a session's times may be off by.
const SLACK: u64 = 5 * MS;

/// The hand's part, and the last report before its dropout to the first one after.
fn performance(reports_per_second: u64) -> (Hand, Range<u64>) {
    let mut hand = Hand::new(300.0, 1600.0, reports_per_second);
    hand.rest(3200);
    for _ in 0..6 {
        hand.swipe(900);
        hand.rest(400);
    }
    hand.rest(200);
    let mut middle = 0;
    for swipe in 1..=6 {
        if swipe == HURT_SWIPE {
            middle = hand.at + 90 * MS;
        }
        hand.swipe(180);
        hand.rest(400);
    }
    let dropout = hand.lose(middle - 15 * MS..middle + 15 * MS);
    (hand, dropout)
}

fn play(reports_per_second: u64, take: &str) -> Files {
    let name = format!("play-{reports_per_second}{take}");
    let score = performance(reports_per_second).0.session();
    let files = vec![("score", score), ("options", OPTIONS.to_owned())];
    simulated(&name, include_str!("guest/play_and_record.sh"), files)
}

static AT_1_KHZ: LazyLock<Files> = LazyLock::new(|| play(1000, ""));
static AT_8_KHZ: LazyLock<Files> = LazyLock::new(|| play(8000, ""));

fn assert_recorded_to_the_last_report(files: &Files, reports_per_second: u64) {
    let played = performance(reports_per_second).0.reports;
    let session = recorded(files, 0);
    let device = &session.header["devices"][0];
    assert_eq!((&device["name"], &device["vendor"]), (&"Bench Pointer".into(), &4660.into()), "{device:#}");
    assert_eq!(device["nodes"][0]["descriptor"], DESCRIPTOR, "{device:#}");
    assert_eq!(session.with("overrun").count(), 0, "the kernel's ring never ran full");
    let recorded = session.reports();
    let bytes = |reports: &[Report]| reports.iter().map(|report| report.bytes.clone()).collect::<Vec<_>>();
    assert!(bytes(&recorded) == bytes(&played), "{} recorded of {} played", recorded.len(), played.len());
    // The times, too: each as long after the first as it was played, but for the time to get through.
    let (first, start) = (recorded[0].t, played[0].t);
    for (got, sent) in recorded.iter().zip(&played) {
        let off = (got.t - first).abs_diff(sent.t - start);
        assert!(off < MS / 20, "played {} after the first, recorded {} after", sent.t - start, got.t - first);
    }
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn virtual_device_is_recorded_without_loss_at_1_khz() {
    assert_recorded_to_the_last_report(&AT_1_KHZ, 1000);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn virtual_device_is_recorded_without_loss_at_8_khz() {
    assert_recorded_to_the_last_report(&AT_8_KHZ, 8000);
}

/// What `slipgauge judge` found in the recording.
fn findings(files: &Files) -> Vec<Value> {
    let judged = judge(files, "recorded.swipes.ndjson", &["--format", "json"]);
    let complaint = String::from_utf8_lossy(&judged.stderr);
    assert!(matches!(judged.status.code(), Some(1 | 3)), "slipgauge judge: {}: {complaint}", judged.status);
    let verdict: Value = serde_json::from_slice(&judged.stdout).unwrap();
    verdict["findings"].as_array().unwrap().clone()
}

fn assert_one_dropout_is_found(files: &Files, reports_per_second: u64) {
    let (hand, dropout) = performance(reports_per_second);
    let recorded_late = recorded(files, 0).reports()[0].t as i64 - hand.reports[0].t as i64;
    let dropouts: Vec<_> = findings(files).into_iter().filter(|found| found["family"] == "dropout").collect();
    let [found] = dropouts.as_slice() else { panic!("one dropout was played, not {dropouts:#?}") };
    assert_eq!(found["kind"], "lost", "{found:#}");
    assert_eq!((found["phase"].as_u64(), found["swipe"].as_u64()), (Some(FAST_PHASE), Some(HURT_SWIPE)));
    let edges = (found["begin_ns"].as_u64().unwrap(), found["end_ns"].as_u64().unwrap());
    let due = [dropout.start, dropout.end].map(|played| played.checked_add_signed(recorded_late).unwrap());
    assert!(edges.0.abs_diff(due[0]) < SLACK && edges.1.abs_diff(due[1]) < SLACK, "{edges:?}, not {due:?}");
}

fn assert_nothing_else_is_found(files: &Files) {
    let others: Vec<_> = findings(files).into_iter().filter(|found| found["family"] != "dropout").collect();
    assert!(others.is_empty(), "a smooth hand and a sound device, but for the dropout: {others:#?}");
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn judge_finds_the_one_dropout_of_a_virtual_device_at_1_khz() {
    assert_one_dropout_is_found(&AT_1_KHZ, 1000);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn judge_finds_the_one_dropout_of_a_virtual_device_at_8_khz() {
    assert_one_dropout_is_found(&AT_8_KHZ, 8000);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn judge_finds_nothing_but_the_dropout_at_1_khz() {
    assert_nothing_else_is_found(&AT_1_KHZ);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn judge_finds_nothing_but_the_dropout_at_8_khz() {
    assert_nothing_else_is_found(&AT_8_KHZ);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn two_runs_in_simulated_time_differ_by_microseconds_at_the_most() {
    let takes = [recorded(&AT_1_KHZ, 0), recorded(&play(1000, "-again"), 0)];
    assert_eq!(takes[0].header, takes[1].header);
    assert_eq!(takes[0].lines.len(), takes[1].lines.len());
    for (mut one, mut other) in takes[0].lines.iter().cloned().zip(takes[1].lines.iter().cloned()) {
        // Of receipt, and the kernel's own where a line has it.
        for stamp in ["t", "k"] {
            let [a, b] = [&mut one, &mut other].map(|line| line.get_mut(stamp).map(Value::take));
            let [a, b] = [a, b].map(|stamp| stamp.and_then(|s| s.as_u64()));
            assert_eq!(a.is_some(), b.is_some(), "{one} and {other}");
            assert!(a.is_some() || stamp == "k", "no time: {one}");
            assert!(a.unwrap_or(0).abs_diff(b.unwrap_or(0)) < 20_000, "{stamp}: {a:?} and {b:?} of {one}");
        }
        assert_eq!(one, other);
    }
}
