//! Decoding of descriptors and reports, against values worked out by hand and against an independent parser.
//!
//! Source of `expected.txt`: the PyPI package hid-tools, run by `scripts/decode-oracle`, which also says how to install
//! it. Where it is installed, the committed values are compared with fresh ones.
//!
//! Where we differ, and must: hid-tools decodes a report that is longer than the descriptor says and forgets the rest;
//! for us it is an error, because a device that sends what it does not describe is to be noticed. It also decodes
//! reports that we may not keep.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use crate::fixtures::{self, Fixture, each, unhex};
use slipgauge_trace::layout::{BOOT_DESCRIPTOR, Decoded, Layout, LayoutError, ReportError};
use std::process::Command;

/// What becomes of a report, in the words of `reports.txt`.
fn outcome(layout: &Layout, report: &[u8]) -> String {
    if !layout.admits(report) {
        return "not kept".to_owned();
    }
    match layout.decode(report) {
        Ok(decoded) => values(&decoded),
        Err(error) => format!("error: {error}"),
    }
}

fn values(Decoded { x, y, wheel, buttons, .. }: &Decoded) -> String {
    format!("{x} {y} {wheel} {}", numbers(*buttons))
}

/// `1,3` of mask 5.
fn numbers(buttons: u32) -> String {
    let pressed: Vec<String> =
        (0..32).filter(|bit| buttons >> bit & 1 == 1).map(|bit| (bit + 1).to_string()).collect();
    if pressed.is_empty() { "-".to_owned() } else { pressed.join(",") }
}

fn report(shown: &str) -> Vec<u8> {
    if shown == "(empty)" { Vec::new() } else { unhex(shown) }
}

/// `(report, outcome)` of each line of `reports.txt`.
fn by_hand(fixture: &Fixture) -> Vec<(String, String)> {
    let text = fixture.text("reports.txt");
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    let pair = |line: &str| line.split_once("->").map(|(l, r)| (l.trim().to_owned(), r.trim().to_owned()));
    lines.map(|line| pair(line).unwrap_or_else(|| panic!("{}: no `->` in {line}", fixture.name))).collect()
}

#[test]
fn every_descriptor_decodes_as_worked_out_by_hand() {
    for fixture in each("descriptors") {
        let parsed = Layout::from_descriptor(&fixture.hex("descriptor.hex"));
        let name = &fixture.name;
        match (fixture.about("expect"), parsed) {
            (Some("pointer"), Ok(layout)) => {
                for (shown, expected) in by_hand(&fixture) {
                    assert_eq!(outcome(&layout, &report(&shown)), expected, "{name}: {shown}");
                }
            }
            (Some("no pointer"), Err(error @ LayoutError::NoPointer { .. }))
            | (Some("malformed"), Err(error @ LayoutError::Malformed { .. })) => {
                let says = fixture.about("says").unwrap_or("(about.toml has no `says`)");
                assert!(error.to_string().contains(says), "{name}: {error:?} does not say {says:?}");
            }
            (expect, parsed) => panic!("{name}: expected {expect:?}, got {parsed:?}"),
        }
    }
}

/// HID 1.11 appendix B.2: byte 0 bits 0 to 2 are buttons 1 to 3 and the others the device's own, byte 1 is X and byte 2 Y,
/// both signed; further bytes are the device's own (from memory). One bit at a time, so that nothing else lies there.
#[test]
fn every_bit_of_the_boot_report_is_where_the_standard_puts_it() {
    let boot = each("descriptors").into_iter().find(|f| f.name == "boot-mouse").unwrap();
    assert_eq!(boot.hex("descriptor.hex"), BOOT_DESCRIPTOR);
    let layouts = [Layout::boot().unwrap(), Layout::from_descriptor(&BOOT_DESCRIPTOR).unwrap()];
    for layout in &layouts {
        let [format] = layout.formats() else { panic!("one report: {layout:?}") };
        assert!(!layout.numbered() && !format.wheel);
        assert_eq!((format.id, format.bytes, format.buttons), (None, 3, 3));
        let (x, y) = format.axes.as_ref().unwrap();
        for axis in [x, y] {
            assert_eq!((axis.bits, axis.logical_min, axis.logical_max), (8, -127, 127));
            assert_eq!(axis.field_range(), (-128, 127));
        }
        for bit in 0..24 {
            let mut report = [0u8; 3];
            report[bit / 8] = 1 << (bit % 8);
            let signed = |byte: usize| i32::from(report[byte] as i8);
            let want = Decoded {
                x: signed(1),
                y: signed(2),
                buttons: u32::from(report[0] & 0b111),
                ..Decoded::default()
            };
            assert_eq!(layout.decode(&report).unwrap(), want, "bit {bit}");
        }
    }
    // The boot protocol leaves further bytes to the device; a descriptor that does not tell of them does not.
    let longer = [0b101, 0xfe, 0x03, 0xff, 0x55];
    let decoded = layouts[0].decode(&longer).unwrap();
    assert_eq!((decoded.x, decoded.y, decoded.wheel, decoded.buttons), (-2, 3, 0, 0b101));
    assert_eq!(layouts[1].decode(&longer), Err(ReportError::Long { got: 5, want: 3 }));
}

/// One line of `expected.txt`.
struct Expected {
    shown: String,
    found: Option<Found>,
}

struct Found {
    bytes: usize,
    owners: Vec<u32>,
    x: Vec<Axis>,
    y: Vec<Axis>,
    wheel: Vec<Axis>,
    buttons: String,
}

/// A value and the width of its field.
#[derive(Clone, Copy)]
struct Axis {
    value: i32,
    bits: u32,
}

impl Found {
    /// True if it has data, all of it in mouse or pointer collections.
    fn of_a_pointer(&self) -> bool {
        !self.owners.is_empty() && self.owners.iter().all(|owner| [MOUSE, POINTER].contains(owner))
    }

    /// The motion is the widest of each axis.
    fn values(&self) -> String {
        let widest =
            |axes: &[Axis]| axes.iter().rev().max_by_key(|axis| axis.bits).map_or(0, |axis| axis.value);
        let below_33 = self.buttons.split(',').filter(|b| b.parse::<u32>().is_ok_and(|b| b <= 32));
        let buttons = below_33.collect::<Vec<_>>().join(",");
        let buttons = if buttons.is_empty() { "-" } else { &buttons };
        format!("{} {} {} {buttons}", widest(&self.x), widest(&self.y), widest(&self.wheel))
    }
}

fn expected_lines(text: &str) -> Vec<Expected> {
    text.lines().filter(|line| !line.starts_with('#')).map(expected_line).collect()
}

fn expected_line(line: &str) -> Expected {
    let parts: Vec<&str> = line.split(" | ").collect();
    let shown = parts[0].to_owned();
    let [_, place, motion, buttons] = parts[..] else {
        assert_eq!(parts[1], "no report", "{line}");
        return Expected { shown, found: None };
    };
    let place: Vec<&str> = place.split(' ').collect();
    let motion: Vec<&str> = motion.split(' ').collect();
    let axes = |name: &str| {
        let at = motion.iter().position(|word| *word == name).unwrap();
        let fields = motion[at + 1].split(',').filter_map(|field| field.split_once('/'));
        fields.map(|(v, b)| Axis { value: v.parse().unwrap(), bits: b.parse().unwrap() }).collect()
    };
    let found = Found {
        bytes: place[1].parse().unwrap(),
        owners: if place[2] == "-" {
            Vec::new()
        } else {
            place[2].split(',').map(|owner| u32::from_str_radix(owner, 16).unwrap()).collect()
        },
        x: axes("x"),
        y: axes("y"),
        wheel: axes("wheel"),
        buttons: buttons.to_owned(),
    };
    Expected { shown, found: Some(found) }
}

const MOUSE: u32 = 0x0001_0002;
const POINTER: u32 = 0x0001_0001;

/// Compares what we make of a report with what the independent parser made of it.
fn agree(layout: &Layout, expected: &Expected) -> Result<(), String> {
    let bytes = report(&expected.shown);
    let ours = layout.admits(&bytes).then(|| layout.decode(&bytes));
    let Some(found) = &expected.found else {
        return match ours {
            None | Some(Err(ReportError::Empty | ReportError::Short { .. })) => Ok(()),
            other => Err(format!("it finds no report that fits; we: {other:?}")),
        };
    };
    let pointer = found.of_a_pointer();
    match ours {
        None if pointer => Err("a mouse's report, and we do not keep it".to_owned()),
        None => Ok(()),
        Some(_) if !pointer => Err(format!("we keep a report of {:08x?}", found.owners)),
        Some(Err(ReportError::Long { got, want })) if got > found.bytes && want == found.bytes => Ok(()),
        Some(Err(error)) => Err(format!("we do not decode it: {error}")),
        Some(Ok(_)) if bytes.len() != found.bytes => Err(format!("it has {} bytes for it", found.bytes)),
        Some(Ok(decoded)) => {
            let (ours, theirs) = (values(&decoded), found.values());
            let both = format!("we {ours}, hid-tools {theirs}");
            let format = &layout.formats()[decoded.format];
            let bits = |axes: &[Axis]| axes.iter().map(|axis| axis.bits).max();
            let widths = format.axes.as_ref().map(|(x, y)| (x.bits, y.bits));
            if widths != bits(&found.x).zip(bits(&found.y)) {
                return Err(format!("widths differ: we {widths:?}"));
            }
            (ours == theirs).then_some(()).ok_or(both)
        }
    }
}

#[test]
fn every_report_decodes_as_an_independent_parser_decodes_it() {
    for fixture in each("descriptors") {
        let name = &fixture.name;
        if fixture.about("expect") == Some("malformed") {
            continue;
        }
        let expected = expected_lines(&fixture.text("expected.txt"));
        // Both ways: as many lines, the same reports, in the same order.
        let asked: Vec<String> = by_hand(&fixture).into_iter().map(|(shown, _)| shown).collect();
        let answered: Vec<&String> = expected.iter().map(|line| &line.shown).collect();
        assert_eq!(answered, asked.iter().collect::<Vec<_>>(), "{name}: run scripts/decode-oracle");
        match Layout::from_descriptor(&fixture.hex("descriptor.hex")) {
            Ok(layout) => {
                for line in &expected {
                    agree(&layout, line).unwrap_or_else(|e| panic!("{name}: {}: {e}", line.shown));
                }
            }
            Err(_) => {
                // Nothing may be kept: then no report of it may be a mouse's whole motion.
                for found in expected.iter().filter_map(|line| line.found.as_ref()) {
                    let pointer = found.of_a_pointer();
                    let readable = |axes: &[Axis]| axes.iter().any(|axis| axis.bits <= 32);
                    let motion = pointer && readable(&found.x) && readable(&found.y);
                    assert!(!motion || name == "keys-in-mouse", "{name}: a mouse, and we refuse it");
                }
            }
        }
    }
}

/// The Python that has hid-tools: the one in `target/python` or the system's.
fn python() -> Option<std::path::PathBuf> {
    let own = fixtures::root().join("target/python/bin/python3");
    let candidates = [own, "python3".into()];
    candidates.into_iter().find(|python| {
        let import = Command::new(python).args(["-c", "import hidtools.hid"]).output();
        import.is_ok_and(|output| output.status.success())
    })
}

#[test]
fn the_committed_values_are_what_the_independent_parser_says_today() {
    let Some(python) = python() else {
        fixtures::skipped("decoding against hid-tools itself", "the PyPI package hid-tools is not installed");
        return;
    };
    let decodable: Vec<_> =
        each("descriptors").into_iter().filter(|f| f.about("expect") != Some("malformed")).collect();
    let oracle = fixtures::root().join("scripts/decode-oracle");
    let mut command = Command::new(python);
    command.arg(oracle).arg("--print").args(decodable.iter().map(|fixture| &fixture.folder));
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let committed: String = decodable.iter().map(|fixture| fixture.text("expected.txt")).collect();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), committed, "run scripts/decode-oracle");
}
