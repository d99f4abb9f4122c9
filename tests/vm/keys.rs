//! Devices that type: what was typed is nobody's business.

use std::fs;

use super::recorded::{recorded, simulated};
use crate::harness::hand::Hand;
use crate::harness::session::{self, Report, hex};

/// A pointer, report ID 1, and a keyboard, 2, and media keys, 3, behind one node.
const COMBINED: &str = concat!(
    "05010902a10185010901a100",
    "05091901290515002501950575018102950175038103",
    "05010930093116018026ff7f751095028106",
    "c0c0",
    "05010906a1018502050719e029e71500250175019508810295017508810395067508150026ff00190029ff8100c0",
    "050c0901a1018503150026ff0319002aff03751095018100c0",
);
/// A keyboard and nothing else.
const KEYBOARD: &str =
    "05010906a101050719e029e71500250175019508810295017508810395067508150026ff00190029ff8100c0";
/// Keys that no motion looks like.
const KEYS: [u8; 6] = [0xa5, 0xb6, 0xc7, 0xd8, 0xe9, 0xfa];
const MEDIA: [u8; 2] = [0xd7, 0x03];
const MS: u64 = 1_000_000;

/// Two swipes, as this device reports them.
fn motion() -> Vec<Report> {
    let mut hand = Hand::new(300.0, 1600.0, 1000);
    hand.rest(1500);
    hand.swipe(900);
    hand.rest(400);
    hand.swipe(900);
    let with_id = |report: Report| Report { bytes: [&[1], &report.bytes[..5]].concat(), ..report };
    hand.reports.into_iter().map(with_id).collect()
}

/// Keys pressed and let go all the while: before, in and between the swipes.
fn typing() -> Vec<Report> {
    let mut typed = Vec::new();
    for t in (300 * MS..4000 * MS).step_by(93 * MS as usize) {
        typed.push(Report { t, bytes: [&[2, 0, 0], &KEYS[..]].concat() });
        typed.push(Report { t: t + 20 * MS, bytes: vec![2, 0, 0, 0, 0, 0, 0, 0, 0] });
        typed.push(Report { t: t + 41 * MS, bytes: [&[3], &MEDIA[..]].concat() });
        typed.push(Report { t: t + 60 * MS, bytes: vec![3, 0, 0] });
    }
    typed
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn key_reports_never_reach_the_file() {
    let mut played = [motion(), typing()].concat();
    played.sort_by_key(|report| report.t);
    let key = |n: u64| Report { t: n * 100 * MS, bytes: [&[0, 0], &KEYS[..]].concat() };
    let keyboard: Vec<_> = (0..50).map(key).collect();
    let files = simulated(
        "keys",
        include_str!("guest/keys.sh"),
        vec![
            ("score", session::written("Bench Pointer", COMBINED, &played)),
            ("keyboard", session::written("Bench Keyboard", KEYBOARD, &keyboard)),
            ("options", "--travel 300mm --step 1=1600 --phase still=1s --phase slow=4s".to_owned()),
        ],
    );

    let session = recorded(&files, 0);
    let bytes = |reports: Vec<Report>| reports.into_iter().map(|report| report.bytes).collect::<Vec<_>>();
    assert!(bytes(session.reports()) == bytes(motion()), "the motion, all of it and nothing else");
    let others: u64 = session.with("other").map(|line| line["other"].as_u64().unwrap()).sum();
    assert_eq!(others, typing().len() as u64, "the others are counted");
    assert_nothing_typed("recorded.swipes.ndjson", &fs::read(files.path("recorded.swipes.ndjson")).unwrap());

    let (status, message) = files.ended("refused");
    assert_eq!(status, 2, "a node without a pointer is refused, not: {message}");
    assert!(message.contains("/dev/hidraw1") && !message.contains("panicked"), "{message}");
    assert!(!files.path("refused.swipes.ndjson").exists(), "nothing is written of a node that is refused");

    let (status, listed) = files.ended("devices");
    assert!(status == 0 && listed.contains("Bench Pointer"), "slipgauge devices: {listed}");
    for (name, said) in [("record", files.ended("record").1), ("refused", message), ("devices", listed)] {
        assert_nothing_typed(name, said.as_bytes());
    }
}

/// Neither as bytes nor in hex, and no two of them.
fn assert_nothing_typed(place: &str, content: &[u8]) {
    for keys in KEYS.windows(2).chain([&MEDIA[..]]) {
        let text = hex(keys);
        for form in [keys, text.as_bytes(), text.to_uppercase().as_bytes()] {
            assert!(!content.windows(form.len()).any(|window| window == form), "{place} holds {text}");
        }
    }
}
