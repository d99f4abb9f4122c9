//! Recordings that another program made, read as sessions.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use crate::fixtures::{as_expected, each, reference};
use slipgauge_capture::import;
use slipgauge_trace::session::ClockId;
use slipgauge_trace::{Nanos, Recording};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

fn imported(path: &Path) -> Result<Recording, import::ImportError> {
    import::read(BufReader::new(File::open(path).unwrap()))
}

/// Rows that moved, and the sums of X, Y, |X| and |Y|, as `93 -113 423 381`.
fn motion(recording: &Recording) -> (usize, String) {
    let motion = &recording.devices[0].motion;
    let sum = |column: &[i32]| column.iter().map(|&v| i64::from(v)).sum::<i64>();
    let magnitude = |column: &[i32]| column.iter().map(|&v| i64::from(v).abs()).sum::<i64>();
    let (x, y) = (motion.x.as_slice().unwrap(), motion.y.as_slice().unwrap());
    let moving = x.iter().zip(y).filter(|&(&x, &y)| (x, y) != (0, 0)).count();
    (moving, format!("{} {} {} {}", sum(x), sum(y), magnitude(x), magnitude(y)))
}

#[test]
fn every_recording_imports_as_its_about_says() {
    for fixture in each("recordings") {
        let path = fixture.folder.join("recording.hid");
        let name = &fixture.name;
        assert!(import::recognise(&std::fs::read(&path).unwrap()[..64]), "{name}");
        let Some(recording) = as_expected(&fixture, imported(&path)) else { continue };
        let trace = &recording.devices[0];
        let (moving, sums) = motion(&recording);
        for (key, got) in [
            ("devices", recording.devices.len().to_string()),
            ("reports", trace.motion.len().to_string()),
            ("moving", moving.to_string()),
            ("sums", sums),
            ("malformed", trace.malformed.to_string()),
            ("other", trace.other.to_string()),
            ("last_us", (recording.span.1.0 / 1000).to_string()),
            ("cut_short", recording.digest.cut_short.to_string()),
        ] {
            let default = if key == "cut_short" { "false" } else { "0" };
            assert_eq!(got, fixture.about(key).unwrap_or(default), "{name}: {key}");
        }
        assert_eq!(recording.header.clock.id, ClockId::Foreign, "{name}");
        assert_eq!(recording.header.clock.resolution_ns, Some(Nanos(1000)), "{name}");
        assert!(recording.header.plan.is_none() && recording.phases.is_empty(), "{name}");
    }
}

#[test]
fn a_real_devices_recording_decodes_to_its_published_sums() {
    // Counted by hid-tools 0.12 on the same file: 730 of 738 reports moved.
    let Some(path) = reference("recordings", "_0458_0138_0.hid") else { return };
    let recording = imported(&path).unwrap();
    assert_eq!(recording.devices.len(), 1);
    assert_eq!(recording.devices[0].motion.len(), 738);
    assert_eq!(motion(&recording), (730, "-67 -40 1031 528".to_owned()));
    assert_eq!((recording.devices[0].malformed, recording.devices[0].other), (0, 0));
}

#[test]
fn the_other_interfaces_of_a_real_device_are_refused_by_what_they_are() {
    for (file, what) in [("_0458_0138_1.hid", "Keyboard"), ("_0458_0138_2.hid", "Vendor")] {
        let Some(path) = reference("recordings", file) else { return };
        let error = imported(&path).unwrap_err().to_string();
        assert!(error.contains("no pointing device") && error.contains(what), "{file}: {error}");
    }
}
