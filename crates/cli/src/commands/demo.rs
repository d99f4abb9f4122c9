//! `slipgauge demo`: a sound device and a failing one on a simulated bench, through the whole path.
//!
//! The scenario is our own: a market stall sells two pointers, and somebody wants to know before recommending either.
//! Both are recorded by the recorder that records real devices, then judged and drawn from the file.

use super::Status;
use anyhow::{Context as _, bail};
use clap::Args;
use slipgauge_analysis::judge;
use slipgauge_capture::{Progress, Recorder, Timetable, Track};
use slipgauge_report::{sheet, text};
use slipgauge_sim::{Bench, DeviceModel, Drift, Hand, Pacing, Script, Sensor, SimulatedSource, Tracking};
use slipgauge_trace::layout::Layout;
use slipgauge_trace::session::{Event, hex};
use slipgauge_trace::{Nanos, Recording};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Options of `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Folder for the recordings and pictures; a new one is made here if it is not given.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
    /// Seed of the simulated bench: the same seed gives the same files.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// Resolution steps of both devices, counts per inch.
const STEPS: [f64; 2] = [800.0, 1600.0];

/// Runs it.
pub fn run(args: &DemoArgs) -> anyhow::Result<Status> {
    let folder = folder(args.output.as_deref())?;
    let mut out = std::io::stdout();
    writeln!(
        out,
        "Two pointers from a market stall, simulated (seed {}): recorded, judged and drawn as real\n\
         devices are. Travel 300 mm between two stops, resolution steps 800 and 1600 counts/inch.\n",
        args.seed
    )?;
    let sound = DeviceModel { name: "Plain Pointer".to_owned(), ..DeviceModel::default() };
    // Loses sight of the surface above 1.4 m/s, and creeps with the hand off it.
    let sensor = Sensor {
        tracking: Tracking { max_speed_m_s: 1.4, scatter: 0.03, ..Tracking::default() },
        drift: Drift { creep_m_s: [0.4e-3, 0.1e-3], ..Drift::default() },
        ..Sensor::default()
    };
    let failing = DeviceModel { name: "Bargain Pointer".to_owned(), sensor, ..DeviceModel::default() };
    for (file, device) in [("plain", sound), ("bargain", failing)] {
        let bench = Bench {
            seed: args.seed,
            device: device.with_steps(&STEPS),
            script: Script::screen(STEPS.len() as u32),
            hand: Hand::default(),
            ..Bench::default()
        };
        let recorded = folder.join(format!("{file}.swipes.ndjson"));
        record(bench, &recorded)?;
        let recording = Recording::open(&recorded).with_context(|| format!("{}", recorded.display()))?;
        let judgement = judge(&recording, &format!("{file}.swipes.ndjson"));
        let picture = folder.join(format!("{file}.svg"));
        std::fs::write(&picture, sheet::svg(&judgement)).with_context(|| format!("{}", picture.display()))?;
        writeln!(out, "{}", text::verdict(&judgement.verdict))?;
        writeln!(out, "  recording  {}\n  picture    {}\n", recorded.display(), picture.display())?;
    }
    writeln!(out, "Judge one again:  slipgauge judge {}", folder.join("bargain.swipes.ndjson").display())?;
    writeln!(out, "Your own device:  slipgauge devices, then slipgauge record --help")?;
    Ok(Status::Ok)
}

/// The folder asked for, or a new one beside where the program was started.
fn folder(asked: Option<&Path>) -> anyhow::Result<PathBuf> {
    if let Some(folder) = asked {
        std::fs::create_dir_all(folder).with_context(|| format!("{}", folder.display()))?;
        return Ok(folder.to_owned());
    }
    for n in 1..1000 {
        let folder =
            PathBuf::from(if n == 1 { "slipgauge-demo".to_owned() } else { format!("slipgauge-demo-{n}") });
        match std::fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(e).with_context(|| format!("{}: give a folder with -o", folder.display())),
        }
    }
    bail!("there are a thousand folders named slipgauge-demo here; give one with -o")
}

/// Records a simulated device, as fast as it goes, as a real one is recorded.
fn record(bench: Bench, path: &Path) -> anyhow::Result<()> {
    let session = bench.session()?;
    let header = session.header();
    let source = SimulatedSource::new(&session, 0, Pacing::Flat).context("the bench has no device")?;
    let descriptor = session.bench().device.report.descriptor();
    let layout = Layout::from_descriptor(&descriptor).with_context(|| hex(&descriptor))?;
    let mut phases = Vec::new();
    let mut length = Nanos(0);
    for entry in session.entries() {
        length = entry.t;
        if let Event::Phase(phase) = entry.event {
            phases.push((entry.t, phase));
        }
    }
    let recorder = Recorder {
        header,
        tracks: vec![Track { device: 0, node: 0, layout, source: Box::new(source) }],
        timetable: Timetable { phases, length: Some(length) },
        path: path.to_owned(),
        stop: Arc::new(AtomicBool::new(false)),
        progress: Arc::new(Progress::default()),
    };
    recorder.run()?;
    Ok(())
}
