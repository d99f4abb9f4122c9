//! Keeping a device from the desktop, and the kernel's own stamps: with somebody else reading the event node, as the
//! desktop does.

use std::fs;

use serde_json::Value;

use super::machine::Files;
use super::recorded::simulated;
use crate::harness::hand::Hand;
use crate::harness::session::{self, Report, Session, time};

const MS: u64 = 1_000_000;
/// Bytes of one `struct input_event` on a 64-bit machine.
const EVENT: usize = 24;

/// What somebody saw on an event node: type, code and value of each event.
fn seen(files: &Files, name: &str) -> Vec<(u16, u16, i32)> {
    let bytes = fs::read(files.path(name)).unwrap();
    assert_eq!(bytes.len() % EVENT, 0, "{name}");
    let event = |event: &[u8]| {
        let half = |at: usize| u16::from_ne_bytes(*event[at..].first_chunk().unwrap());
        (half(16), half(18), i32::from_ne_bytes(*event[20..].first_chunk().unwrap()))
    };
    bytes.chunks(EVENT).map(event).collect()
}

/// Values of relative X.
fn moved(events: &[(u16, u16, i32)]) -> Vec<i32> {
    events.iter().filter(|(kind, code, _)| (*kind, *code) == (2, 0)).map(|event| event.2).collect()
}

fn number(files: &Files, name: &str) -> usize {
    files.text(name).trim().parse().unwrap()
}

fn x(report: &Report) -> i32 {
    i16::from_le_bytes([report.bytes[1], report.bytes[2]]).into()
}

/// Swipes for so many seconds, after a rest.
fn swipes(seconds: u64, rest_ms: u64) -> Hand {
    let mut hand = Hand::new(300.0, 1600.0, 1000);
    hand.rest(rest_ms);
    while hand.at < seconds * 1000 * MS {
        hand.swipe(700);
        hand.rest(100);
    }
    hand
}

/// Every report has the kernel's stamp, and it is that of just this report: as long after the first as it was played.
fn assert_stamped(session: &Session, played: &[Report], slack: u64) {
    let lines: Vec<&Value> = session.with("r").collect();
    let kernel = |line: &Value| line["k"].as_u64().unwrap_or_else(|| panic!("no stamp: {line}"));
    let (first, start) = (kernel(lines[0]), played[0].t);
    for (line, sent) in lines.iter().zip(played) {
        let (k, t) = (kernel(line), time(line));
        assert!(k <= t && t - k < slack, "stamped at {k}, read at {t}");
        let off = (k - first).abs_diff(sent.t - start);
        assert!(off < slack, "played {} after the first, stamped {} after", sent.t - start, k - first);
    }
    assert!(lines.windows(2).all(|pair| kernel(pair[0]) < kernel(pair[1])), "stamps increase");
}

/// Somebody else saw none of the reports that were recorded while the device was held, and all that came later: it was
/// let go at the end of the recording, which the program sees within 50 ms.
fn assert_let_go_of(others: &[i32], all: &[i32], recorded: usize) {
    let missed = all.len() - others.len();
    assert!(others == &all[missed..], "what was seen is the end of what was played");
    assert!((recorded..recorded + 100).contains(&missed), "{missed} not seen, {recorded} recorded");
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn a_held_device_moves_nothing_and_is_recorded_whole_with_the_kernels_stamps() {
    let hand = swipes(7, 700);
    let options = "--travel 300mm --step 1=1600 --phase slow=4s".to_owned();
    let files = simulated(
        "hold",
        include_str!("guest/hold.sh"),
        vec![("score", hand.session()), ("options", options)],
    );
    for name in ["recorded", "plain"] {
        let (status, said) = files.ended(&format!("record-{name}"));
        assert_eq!(status, 0, "{said}");
        assert!(!said.contains("not held"), "{said}");
        let session = Session::parse(&files.text(&format!("{name}.swipes.ndjson")));
        let got = session.reports();
        let bytes =
            |reports: &[Report]| reports.iter().map(|report| report.bytes.clone()).collect::<Vec<_>>();
        let lasted = got.len();
        assert!(lasted > 2000 && bytes(&got) == bytes(&hand.reports[..lasted]), "{name}: {lasted} recorded");
        assert_stamped(&session, &hand.reports, MS / 10);

        let all: Vec<i32> = hand.reports.iter().map(x).collect();
        let others = moved(&seen(&files, &format!("seen-{name}.bin")));
        if name == "recorded" {
            assert_let_go_of(&others, &all, lasted);
        } else {
            assert!(others == all, "{} of {} seen of a device that is not held", others.len(), all.len());
        }
    }
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn a_hold_ends_with_the_program_and_is_refused_while_a_button_is_down() {
    let button = |ms: u64, down: u8| Report { t: ms * MS, bytes: vec![down, 0, 0, 0, 0, 0] };
    let mut pressed = swipes(8, 5000).reports;
    pressed.insert(0, button(200, 1));
    pressed.push(button(9000, 0));
    let files = simulated(
        "hold-ends",
        include_str!("guest/hold_ends.sh"),
        vec![
            ("score", swipes(14, 100).session()),
            ("pressed", session::written("Bench Pointer", crate::harness::hand::DESCRIPTOR, &pressed)),
        ],
    );

    let (status, said) = files.ended("pressed");
    assert_eq!(status, 0, "recorded all the same: {said}");
    assert!(said.contains("Let go of all buttons") && said.contains("not held"), "{said}");
    let events = seen(&files, "seen-pressed.bin");
    let buttons: Vec<_> = events.iter().filter(|event| event.0 == 1).map(|event| event.2).collect();
    assert_eq!(buttons, [1, 0], "the desktop saw the button go down and come up");
    assert_eq!(moved(&events).len(), pressed.len() - 2, "and all the motion");

    for signal in ["INT", "KILL", "TERM"] {
        let text = files.text(&format!("{signal}.seen"));
        let sizes: Vec<usize> = text.split_whitespace().map(|size| size.parse().unwrap()).collect();
        let [begun, told, after] = sizes[..] else { panic!("{text}") };
        assert_eq!(begun, told, "{signal}: seen while it was held");
        assert!(after > told + 100 * EVENT, "{signal}: not seen afterwards");
        let session = Session::parse(&files.text(&format!("{signal}.swipes.ndjson")));
        assert!(session.reports().len() > 500, "{signal}: recorded while it was held");
    }
}

/// A pointer, report ID 1, and a keyboard, 2, each an application of its own.
const APART: &str = concat!(
    "05010902a10185010901a100",
    "05091901290515002501950575018102950175038103",
    "05010930093116018026ff7f751095028106",
    "c0c0",
    "05010906a1018502050719e029e71500250175019508810295017508810395067508150026ff00190029ff8100c0",
);
/// The same keyboard inside the pointer's application: Linux makes one event node of both.
const TOGETHER: &str = concat!(
    "05010902a10185010901a100",
    "05091901290515002501950575018102950175038103",
    "05010930093116018026ff7f751095028106",
    "c0",
    "8502050719e029e71500250175019508810295017508810395067508150026ff00190029ff8100c0",
);

/// Swipes, with the letter A typed all the while.
fn typed() -> Vec<Report> {
    let with_id = |report: &Report| Report { bytes: [&[1], &report.bytes[..5]].concat(), t: report.t };
    let mut played: Vec<_> = swipes(7, 1000).reports.iter().map(with_id).collect();
    for t in (1000 * MS..7000 * MS).step_by(100 * MS as usize) {
        for (after, key) in [(0, 4), (30 * MS, 0)] {
            played.push(Report { t: t + after + 300_000, bytes: vec![2, 0, 0, key, 0, 0, 0, 0, 0] });
        }
    }
    played.sort_by_key(|report| report.t);
    played
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn what_types_is_neither_opened_nor_held() {
    let files = simulated(
        "hold-keys",
        include_str!("guest/hold_keys.sh"),
        vec![
            ("apart", session::written("Bench Pointer", APART, &typed())),
            ("together", session::written("Bench Pointer", TOGETHER, &typed())),
        ],
    );
    let during = |name: &str, node: u8| number(&files, &format!("{name}-event{node}.during")) / EVENT;
    for name in ["apart", "together"] {
        assert_eq!(number(&files, &format!("{name}.status")), 0, "{}", files.text(&format!("{name}.txt")));
        assert!(files.text(&format!("{name}.open")).contains("/dev/hidraw0"));
    }
    let (open, nodes) = (files.text("apart.open"), files.text("apart.nodes"));
    let opened: Vec<_> = nodes.lines().map(|node| open.lines().any(|line| line.ends_with(node))).collect();
    assert_eq!(opened, [true, false], "the pointer's node, not the keyboard's: {nodes}{open}");
    assert!(during("apart", 1) > 50, "what was typed arrives");
    let session = Session::parse(&files.text("apart.swipes.ndjson"));
    let played = typed();
    let motion = played.iter().filter(|report| report.bytes[0] == 1);
    let all: Vec<i32> = motion.map(|r| i16::from_le_bytes([r.bytes[2], r.bytes[3]]).into()).collect();
    let others = moved(&seen(&files, "apart-event0.bin"));
    assert_let_go_of(&others, &all, session.reports().len());
    assert!(session.with("k").count() == session.with("r").count() && session.with("k").count() > 1000);

    let open = files.text("together.open");
    assert!(!open.contains("/dev/input"), "{open}");
    assert!(files.text("together.txt").contains("it types as well"), "{}", files.text("together.txt"));
    assert!(during("together", 0) > 1000, "a node that types is not held");
    let session = Session::parse(&files.text("together.swipes.ndjson"));
    assert!(session.with("r").count() > 1000 && session.with("k").count() == 0);
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn permissions_are_told_and_tried() {
    let files = simulated(
        "permissions",
        include_str!("guest/permissions.sh"),
        vec![("score", session::written("Bench Pointer", APART, &typed()))],
    );
    let (status, before) = files.ended("before");
    assert_eq!(status, 1, "{before}");
    assert_eq!(before.matches("cannot be opened: no right to read it").count(), 2, "{before}");
    assert_eq!(before.matches("stays closed: it has typing keys").count(), 1, "{before}");
    assert!(before.contains("sudo tee /etc/udev/rules.d/70-slipgauge-1234-0001.rules"), "{before}");
    assert!(before.contains("ID_INPUT_MOUSE"), "{before}");
    assert!(before.lines().all(|line| line.chars().count() <= 80), "{before}");
    let (status, half) = files.ended("half");
    assert_eq!((status, half.matches("can be opened").count()), (1, 1), "{half}");
    let (status, said) = files.ended("without_stamps");
    assert!(status == 0 && said.contains("it is not held") && said.contains("udevadm"), "{said}");
    let (status, after) = files.ended("after");
    assert_eq!((status, after.matches("can be opened").count()), (0, 2), "{after}");
}
