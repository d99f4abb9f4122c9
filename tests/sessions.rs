//! Session files that are kept: each reads as its `about.toml` says, in this version and in every one to come.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use crate::fixtures::{as_expected, each};
use slipgauge_trace::Recording;
use slipgauge_trace::recording::DeviceTrace;
use slipgauge_trace::session::{Task, hex};

/// One figure of each device, in order.
fn of_each(recording: &Recording, figure: impl Fn(&DeviceTrace) -> String) -> Vec<String> {
    recording.devices.iter().map(figure).collect()
}

fn sums(trace: &DeviceTrace) -> String {
    let sum = |column: &[i32]| column.iter().map(|&v| i64::from(v)).sum::<i64>();
    format!("{} {}", sum(trace.motion.x.as_slice().unwrap()), sum(trace.motion.y.as_slice().unwrap()))
}

/// `still 0..4000000, …`
fn phases(recording: &Recording) -> String {
    let one = |span: &slipgauge_trace::recording::PhaseSpan| {
        let task = match &span.phase.task {
            Task::Unknown(word) => word.clone(),
            known => format!("{known:?}").to_lowercase(),
        };
        format!("{task} {}..{}", span.begin.0, span.end.0)
    };
    recording.phases.iter().map(one).collect::<Vec<_>>().join(", ")
}

#[test]
fn every_kept_session_reads_as_its_about_says() {
    for fixture in each("sessions") {
        let name = &fixture.name;
        let path = fixture.folder.join(fixture.about("file").unwrap());
        let Some(recording) = as_expected(&fixture, Recording::open(&path)) else { continue };
        let (host, digest) = (&recording.host, &recording.digest);
        for (key, got) in [
            ("devices", recording.devices.len().to_string()),
            ("rows", of_each(&recording, |d| d.motion.len().to_string()).join(" ")),
            ("sums", of_each(&recording, sums).join(" / ")),
            ("malformed", of_each(&recording, |d| d.malformed.to_string()).join(" ")),
            ("other", of_each(&recording, |d| d.other.to_string()).join(" ")),
            ("phases", phases(&recording)),
            ("breaks", host.breaks.len().to_string()),
            ("stalls", host.stalls.len().to_string()),
            ("overruns", host.overruns.len().to_string()),
            ("notes", recording.notes.len().to_string()),
            ("unknown_lines", recording.unknown_lines.to_string()),
            ("ended", recording.ended.to_string()),
            ("cut_short", digest.cut_short.to_string()),
            ("bytes", digest.bytes.to_string()),
            ("sha256", hex(&digest.sha256)),
        ] {
            assert_eq!(fixture.about(key), Some(got.as_str()), "{name}: {key}");
        }
    }
}
