//! A hostile descriptor costs bounded memory and time. Alone in its process, because it asks the system for the most
//! that the process ever held.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod common;

use common::descriptors::{MOUSE, X_Y, short};
use slipgauge_trace::layout::Layout;
use std::time::{Duration, Instant};

/// More than what the limits of the layout module allow (about 30 MB), less than any harm.
const MOST_BYTES: u64 = 64 << 20;
/// Generous for a slow machine in a debug build; the worst takes 0.1 s.
const LONGEST: Duration = Duration::from_secs(5);

/// The most memory that this process has held, in bytes; `None` where the system does not tell.
fn peak() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kib| kib * 1024)
}

/// Descriptors that each drive one cost up, as long as a kernel accepts.
fn costly() -> Vec<(&'static str, Vec<u8>)> {
    let fill = |head: Vec<u8>, part: Vec<u8>| {
        let mut bytes = head;
        while bytes.len() + part.len() <= 4096 {
            bytes.extend(&part);
        }
        bytes
    };
    let open =
        |n: usize| [0x05, 0x01].into_iter().chain([0x09, 0x02, 0xA1, 0x01].repeat(n)).collect::<Vec<u8>>();
    let one_bit =
        |count: u32| [vec![0x09, 0x01, 0x75, 0x01], short(0x94, count, 4), vec![0x81, 0x02]].concat();
    let wide_range = [short(0x18, 0, 1), short(0x28, 0xFFFF, 2)].concat();
    let buttons = |id: u8| {
        [
            vec![
                0x85, id, 0x05, 0x09, 0x19, 0x01, 0x29, 0x20, 0x15, 0x00, 0x25, 0x01, 0x75, 0x01, 0x95, 0x20,
                0x81, 0x02,
            ],
            X_Y.to_vec(),
        ]
        .concat()
    };
    vec![
        ("one report of 131072 bits", [open(1), one_bit(131_000)].concat()),
        ("fields within 32 collections", [open(32), one_bit(3_900)].concat()),
        ("the most fields that the limit lets through", [open(1), one_bit(65_000)].concat()),
        ("one-bit fields under many IDs", fill(open(1), [vec![0x85, 7], one_bit(400)].concat())),
        (
            "arrays of all usages",
            fill(open(1), [wide_range.clone(), vec![0x75, 8, 0x95, 1, 0x81, 0x00]].concat()),
        ),
        ("collections of all usages", fill(vec![0x05, 0x01], [wide_range, vec![0xA1, 0x00, 0xC0]].concat())),
        ("nothing but usages", fill(open(1), vec![0x09, 0x30])),
        (
            "buttons under many IDs",
            fill([&MOUSE[..], &[0x85, 1]].concat(), (1..=120u8).flat_map(buttons).take(4000).collect()),
        ),
        ("pushes", fill(open(1), vec![0xA4, 0xB4])),
    ]
}

#[test]
fn the_costliest_descriptors_stay_within_bounds() {
    let before = peak();
    for (name, bytes) in costly() {
        assert!(bytes.len() <= 4096, "{name}");
        let start = Instant::now();
        let result = Layout::from_descriptor(&bytes);
        let took = start.elapsed();
        assert!(took < LONGEST, "{name}: {took:?}, {:?}", result.map(|layout| layout.formats().len()));
        if let (Some(before), Some(after)) = (before, peak()) {
            assert!(after - before < MOST_BYTES, "{name}: {} MB", (after - before) >> 20);
        }
    }
}

#[test]
fn a_session_of_the_costliest_headers_stays_within_its_size_and_a_bound() {
    let before = peak();
    for (name, bytes) in costly() {
        let node = format!(r#"{{"descriptor":"{}"}}"#, slipgauge_trace::session::hex(&bytes));
        let nodes = vec![node; 64].join(",");
        let header = format!("{{\"slipgauge\":1,\"devices\":[{{\"nodes\":[{nodes}]}}]}}\n");
        let _ = slipgauge_trace::Recording::read(header.as_bytes());
        if let (Some(before), Some(after)) = (before, peak()) {
            assert!(after - before < 3 * MOST_BYTES, "{name}: {} MB", (after - before) >> 20);
        }
    }
}
