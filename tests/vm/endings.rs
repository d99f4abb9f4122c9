//! Recordings that do not end as planned.

use super::recorded::{judge, recorded, simulated};
use crate::harness::hand::Hand;
use crate::harness::session::{Report, Session};

/// Longer than the scenarios last.
const OPTIONS: &str = "--travel 300mm --step 1=1600 --phase slow=60s";

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn unplug_keeps_the_file() {
    let mut hand = Hand::new(300.0, 1600.0, 1000);
    hand.rest(1500);
    hand.swipe(900);
    hand.rest(400);
    hand.swipe(900);
    // Gone in the middle of the second swipe, with as many reports still in the kernel as it holds, nearly.
    let count = hand.reports.len() * 3 / 4;
    let last = hand.reports[count - 1].t;
    for report in &mut hand.reports[count - 40..count] {
        report.t = last;
    }
    let files = simulated(
        "unplug",
        include_str!("guest/unplug.sh"),
        vec![("score", hand.session()), ("count", count.to_string()), ("options", OPTIONS.to_owned())],
    );

    let session = recorded(&files, 4);
    let bytes = |reports: &[Report]| reports.iter().map(|report| report.bytes.clone()).collect::<Vec<_>>();
    let got = session.reports();
    assert!(bytes(&got) == bytes(&hand.reports[..count]), "{} recorded of {count} sent", got.len());
    let place = |key: &str| session.lines.iter().rposition(|line| line.get(key).is_some());
    assert!(place("gone").is_some() && place("gone") > place("r"), "gone at {:?}", place("gone"));
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn kill_loses_at_most_the_last_second() {
    let mut hand = Hand::new(300.0, 1600.0, 1000);
    for _ in 0..10 {
        hand.swipe(1500);
    }
    let files = simulated(
        "kill",
        include_str!("guest/kill.sh"),
        vec![("score", hand.session()), ("options", OPTIONS.to_owned())],
    );

    for tenths in [23, 26, 29, 32] {
        let name = format!("{tenths}.swipes.ndjson");
        let session = Session::parse(&files.text(&name));
        let last = session.reports().last().expect("a report").t as f64 / 1e9;
        let killed: f64 = files.text(&format!("{tenths}.seconds")).trim().parse().unwrap();
        // Starting the program and the rests between swipes take a little of their own.
        assert!(last > killed - 1.2, "killed after {killed} s, but the file ends at {last} s");
        assert_eq!(session.with("end").count(), 0);

        let judged = judge(&files, &name, &[]);
        let said = [judged.stdout, judged.stderr].concat();
        let said = String::from_utf8_lossy(&said).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            matches!(judged.status.code(), Some(0 | 1 | 3)),
            "slipgauge judge: {}: {said}",
            judged.status
        );
        // A file that ends in the middle of a line was cut short, one that ends between two was not closed.
        let cut = said.contains("not closed") || said.contains("cut short");
        assert!(cut, "judge is to say that the recording was not ended: {said}");
    }
}
