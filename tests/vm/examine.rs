//! The guided test on a real HID stack: the program leads, and a device that we play keeps to its score.

use super::machine::Files;
use super::recorded::simulated;
use crate::harness::hand::Hand;
use crate::harness::session::Session;
use std::fs;
use std::sync::LazyLock;

const OPTIONS: &str = "--travel 300mm --straight-edge --steps 1600 --swipes slow=6,medium=0,fast=6 --still 3s --fast-speed 2m/s --silent";
/// Bytes of one `struct input_event` on a 64-bit machine.
const EVENT: usize = 24;

fn swipes(hand: &mut Hand, count: usize, ms: u64, then_ms: u64) {
    for _ in 0..count {
        hand.swipe(ms);
        hand.rest(400);
    }
    hand.rest(then_ms);
}

/// What the operator would do at the prompts; each phase begins after some seconds of rest.
fn performance() -> Hand {
    let mut hand = Hand::new(300.0, 1600.0, 1000);
    hand.rest(3000);
    swipes(&mut hand, 2, 1200, 7000);
    swipes(&mut hand, 6, 1200, 8000);
    swipes(&mut hand, 6, 180, 1000);
    hand
}

/// The same, but that the device is chosen by moving it, and that it goes away in the middle of the fifth slow swipe: what
/// it sends until then, and what after it is back, where two swipes tell the step again and two slow ones are left. With how
/// many reports it was chosen: they are nobody's.
fn broken_off() -> ([Hand; 2], usize) {
    let mut first = Hand::new(300.0, 1600.0, 1000);
    let mut second = Hand::new(300.0, 1600.0, 1000);
    first.rest(3000);
    swipes(&mut first, 2, 300, 0);
    let choosing = first.reports.len();
    first.rest(7000);
    swipes(&mut first, 2, 1200, 7000);
    swipes(&mut first, 4, 1200, 0);
    let whole = first.reports.len();
    first.swipe(1200);
    let sent = first.reports.len();
    first.reports.truncate(whole + (sent - whole) / 2);
    second.rest(5000);
    swipes(&mut second, 2, 1200, 3000);
    swipes(&mut second, 2, 1200, 8000);
    swipes(&mut second, 6, 180, 1000);
    ([first, second], choosing)
}

static GUIDED: LazyLock<Files> = LazyLock::new(|| {
    let files = vec![("score", performance().session()), ("options", OPTIONS.to_owned())];
    simulated("examine", include_str!("guest/examine.sh"), files)
});

fn tasks(session: &Session) -> Vec<&str> {
    session.with("phase").filter_map(|line| line["phase"]["task"].as_str()).collect()
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn examine_leads_a_virtual_device_through_its_plan() {
    let (status, said) = GUIDED.ended("examine");
    assert!(status == 0 || status == 3, "status {status}\n{said}");
    for told in
        ["2 of 2", "Hands off now.", "6 of 6", "All done.", "This computer wakes a program", "not held"]
    {
        assert_eq!(said.contains(told), told != "not held", "“{told}”:\n{said}");
    }
    let session = Session::parse(&GUIDED.text("guided.swipes.ndjson"));
    assert_eq!(tasks(&session), ["identify", "still", "swipes", "swipes"], "{said}");
    assert_eq!(session.reports().len(), performance().reports.len(), "every report is in the file");
    assert!(session.with("r").all(|line| line["k"].is_u64()), "each with the kernel's stamp");
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn the_desktop_sees_nothing_of_the_guided_swipes() {
    let bytes = fs::read(GUIDED.path("seen.bin")).unwrap();
    let moves = bytes.chunks_exact(EVENT).filter(|event| event[16] == 2).count();
    assert_eq!(moves, 0, "events of motion that somebody else was given:\n{}", GUIDED.ended("examine").1);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn a_device_that_was_moved_is_chosen_and_identified_again_after_it_was_away() {
    let ([first, second], choosing) = broken_off();
    let count = first.reports.len();
    let files = vec![
        ("score", first.session()),
        ("rest", second.session()),
        ("count", count.to_string()),
        ("options", OPTIONS.to_owned()),
    ];
    let files = simulated("replug", include_str!("guest/replug.sh"), files);
    let (status, said) = files.ended("examine");
    assert!(status == 0 || status == 3, "status {status}\n{said}");
    for told in
        ["It is Bench Pointer", "The device went away.", "It is back.", "2 of 2", "6 of 6", "All done."]
    {
        assert!(said.contains(told), "“{told}”:\n{said}");
    }
    let session = Session::parse(&files.text("guided.swipes.ndjson"));
    let expected = ["identify", "still", "swipes", "identify", "swipes", "swipes"];
    assert_eq!(tasks(&session), expected, "{said}");
    assert_eq!((session.with("gone").count(), session.with("resumed").count()), (1, 1), "{said}");
    let sent = count - choosing + second.reports.len();
    assert_eq!(session.reports().len(), sent, "every report is in the file but those that chose the device");
}
