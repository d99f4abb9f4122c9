//! A simulated session through the recorder that records real devices, and the files beside it.

use crate::commands::shown;
use anyhow::{Context as _, bail};
use slipgauge_capture::{Progress, Recorder, Timetable, Track};
use slipgauge_report::text::spelled;
use slipgauge_sim::{Family, Pacing, Session, SimulatedSource};
use slipgauge_trace::layout::Layout;
use slipgauge_trace::session::{Event, hex};
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// The recording to be made: every device of the bench as a source, and the operator's tasks as its timetable.
///
/// # Errors
/// If the session holds what a recorder would have to notice in this computer, which it cannot where that is simulated.
pub fn recorder(session: &Session, pacing: Pacing, path: &Path) -> anyhow::Result<Recorder> {
    let bench = session.bench();
    let mut tracks = Vec::new();
    for (device, model) in std::iter::once(&bench.device).chain(&bench.reference).enumerate() {
        let source = SimulatedSource::new(session, device, pacing).context("the bench has no device")?;
        let descriptor = model.report.descriptor();
        let layout = Layout::from_descriptor(&descriptor).with_context(|| hex(&descriptor))?;
        tracks.push(Track { device, node: 0, layout, source: Box::new(source) });
    }
    let mut timetable = Timetable::default();
    for entry in session.entries() {
        timetable.length = Some(entry.t);
        match entry.event {
            Event::Phase(phase) => timetable.phases.push((entry.t, phase)),
            Event::Stall(_) | Event::Overrun(_) => bail!(
                "the recorder notices only what really holds up this computer, so a simulated stall or \
                 overrun cannot be recorded in real time; leave --paced out"
            ),
            Event::Gone | Event::Back(_) => bail!(
                "a device that goes away ends a recording, so one that comes back cannot be recorded in \
                 real time; leave --paced out"
            ),
            _ => {}
        }
    }
    if bench.host.resolution_ns != slipgauge_sim::Host::default().resolution_ns {
        bail!("the recorder's clock is not to be made coarse in real time; leave --paced out");
    }
    Ok(Recorder {
        header: session.header(),
        tracks,
        timetable,
        path: path.to_owned(),
        resumed: None,
        attended: None,
        stop: Arc::new(AtomicBool::new(false)),
        progress: Arc::new(Progress::default()),
    })
}

/// A file that must not be there yet.
///
/// # Errors
/// If it is, or cannot be made.
pub fn new_file(path: &Path) -> anyhow::Result<File> {
    File::create_new(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => exists(path),
        _ => anyhow::Error::new(error).context(shown(path)),
    })
}

/// Says early what [`new_file`] would say late.
///
/// # Errors
/// If the file is there.
pub fn refuse_existing(path: &Path) -> anyhow::Result<()> {
    if path.symlink_metadata().is_ok() { Err(exists(path)) } else { Ok(()) }
}

fn exists(path: &Path) -> anyhow::Error {
    anyhow::anyhow!(
        "{}: there is such a file already, and none is overwritten; choose another name",
        shown(path)
    )
}

/// A session file's path without its ending.
pub fn stem(session: &Path) -> String {
    let text = session.to_string_lossy();
    let endings = [".swipes.ndjson", ".ndjson"];
    endings.into_iter().find_map(|ending| text.strip_suffix(ending)).unwrap_or(&text).to_owned()
}

/// Where the truth of a session file goes.
pub fn truth_path(session: &Path) -> PathBuf {
    let name = session.file_name().map(Path::new).map(stem).unwrap_or_default();
    session.with_file_name(name + ".truth.json")
}

/// A fault family in the words of the verdict, which has one of each that is a fault.
pub fn words(family: Family) -> String {
    let name = spelled(family);
    let judged = slipgauge_analysis::verdict::Family::ALL.into_iter().find(|&judged| spelled(judged) == name);
    judged.map_or(name, |judged| judged.words().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_truth_stands_beside_its_session_under_the_same_name() {
        for (session, truth) in [
            ("a.swipes.ndjson", "a.truth.json"),
            ("x.ndjson/b.ndjson", "x.ndjson/b.truth.json"),
            ("c", "c.truth.json"),
            ("/tmp/d.json", "/tmp/d.json.truth.json"),
        ] {
            assert_eq!(truth_path(Path::new(session)), Path::new(truth));
        }
    }
}
