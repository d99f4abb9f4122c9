//! `slipgauge demo`: a sound device and a failing one on a simulated bench, through the whole path.
//!
//! The scenario is our own: a market stall sells two pointers, and somebody wants to know before recommending either.
//! Both are recorded by the recorder that records real devices, then judged and drawn from the file. What was put wrong
//! goes to a truth file beside each recording, which nothing here reads.

use super::simulate::recorded::{new_file, recorder, refuse_existing, words};
use super::{Status, shown};
use anyhow::{Context as _, bail};
use clap::Args;
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Outcome, Verdict};
use slipgauge_report::{sheet, text};
use slipgauge_sim::{Bench, DeviceModel, Drift, Family, Pacing, Script, Sensor, Tracking, Truth};
use slipgauge_trace::Recording;
use std::collections::BTreeSet;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// Options of `demo`.
#[derive(Debug, Args)]
#[command(after_help = EXIT)]
pub struct DemoArgs {
    /// Folder for the recordings and pictures; a new one is made here if it is not given.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
    /// Seed of the simulated bench: the same seed gives the same files.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

const EXIT: &str = "\
Exit status: 0 recorded, judged and drawn, whatever the verdicts; 2 wrong usage,
or files that are there already or cannot be written.";

/// Resolution steps of both devices, counts per inch.
const STEPS: [f64; 2] = [800.0, 1600.0];

/// Above this speed the failing one loses sight of the pad.
const BLIND_ABOVE_M_S: f64 = 1.4;

/// And this is how it creeps at rest, along and across.
const CREEP_M_S: [f64; 2] = [0.4e-3, 0.1e-3];

const SCENE: &str = "\
A market stall sells two pointers, and somebody asks which of them to recommend.
Both are simulated, so it is known what is wrong with them; recorder, judge and
pictures are those that real devices get, and are told nothing of it.";

/// One device of the stall.
struct Stall {
    /// Its files' name.
    file: &'static str,
    /// What is wrong with it.
    wrong: String,
    device: DeviceModel,
}

fn stall() -> [Stall; 2] {
    let sensor = Sensor {
        tracking: Tracking { max_speed_m_s: BLIND_ABOVE_M_S, scatter: 0.03, ..Tracking::default() },
        drift: Drift { creep_m_s: CREEP_M_S, ..Drift::default() },
        ..Sensor::default()
    };
    let creep_mm_s = 1e3 * CREEP_M_S[0].hypot(CREEP_M_S[1]);
    let wrong = format!(
        "It stops seeing the pad above {},\nand its pointer creeps at {creep_mm_s:.1} mm/s with the hand off.",
        text::speed(BLIND_ABOVE_M_S)
    );
    let plain = DeviceModel { name: "Plain Pointer".to_owned(), ..DeviceModel::default() };
    let bargain = DeviceModel { name: "Bargain Pointer".to_owned(), sensor, ..DeviceModel::default() };
    [
        Stall { file: "plain", wrong: "Nothing is wrong with it.".to_owned(), device: plain },
        Stall { file: "bargain", wrong, device: bargain },
    ]
}

/// The files of one device.
struct Files {
    recording: PathBuf,
    truth: PathBuf,
    picture: PathBuf,
}

impl Files {
    fn new(folder: &Path, name: &str) -> Files {
        let file = |ending: &str| folder.join(format!("{name}.{ending}"));
        Files { recording: file("swipes.ndjson"), truth: file("truth.json"), picture: file("svg") }
    }
}

/// Runs it.
pub fn run(args: &DemoArgs) -> anyhow::Result<Status> {
    let folder = folder(args.output.as_deref())?;
    let stall = stall().map(|one| (Files::new(&folder, one.file), one));
    for (files, _) in &stall {
        [&files.recording, &files.truth, &files.picture]
            .into_iter()
            .try_for_each(|path| refuse_existing(path))?;
    }
    let mut out = std::io::stdout();
    writeln!(out, "{SCENE}\nBench: 300 mm of travel; 800 and 1600 counts/inch; seed {}.\n", args.seed)?;
    let mut short = Vec::new();
    for (number, (files, one)) in (1..).zip(&stall) {
        writeln!(out, "{number}. {}. {}\n", one.device.name, one.wrong)?;
        let bench = Bench {
            seed: args.seed,
            device: one.device.clone().with_steps(&STEPS),
            script: Script::screen(STEPS.len() as u32),
            ..Bench::default()
        };
        let (verdict, truth) = examine(bench, files)?;
        writeln!(out, "{}", text::verdict(&verdict))?;
        short.push(in_short(&verdict, &truth));
    }
    writeln!(out, "In short\n{}", short.concat())?;
    for (what, path) in [
        ("Pictures", |files: &Files| shown(&files.picture)),
        ("Recordings", |files: &Files| shown(&files.recording)),
        ("Truth", |files: &Files| shown(&files.truth)),
    ] as [(&str, fn(&Files) -> String); 3]
    {
        let [(plain, _), (bargain, _)] = &stall;
        writeln!(out, "{what:<18} {}\n{:<18} {}", path(plain), "", path(bargain))?;
    }
    let [_, (bargain, _)] = &stall;
    writeln!(out, "\nOpen a picture in a browser: it shows every swipe.")?;
    writeln!(out, "Judge one again:   slipgauge judge {}", shown(&bargain.recording))?;
    writeln!(out, "Other faults:      slipgauge simulate --faults")?;
    writeln!(out, "Your own device:   slipgauge devices, then slipgauge record --help")?;
    Ok(Status::Ok)
}

/// Records, judges and draws one device, as fast as it goes.
fn examine(bench: Bench, files: &Files) -> anyhow::Result<(Verdict, Truth)> {
    let session = bench.session()?;
    recorder(&session, Pacing::Flat, &files.recording)?.run()?;
    let truth = session.truth();
    write(&files.truth, |sink| truth.write_to(sink))?;
    let recording = Recording::open(&files.recording).with_context(|| shown(&files.recording))?;
    let name = files.recording.file_name().unwrap_or_default().to_string_lossy();
    let judgement = judge(&recording, &name);
    write(&files.picture, |sink| sink.write_all(sheet::svg(&judgement).as_bytes()))?;
    Ok((judgement.verdict, truth))
}

fn write(
    path: &Path,
    body: impl FnOnce(&mut BufWriter<std::fs::File>) -> std::io::Result<()>,
) -> anyhow::Result<()> {
    let mut sink = BufWriter::new(new_file(path)?);
    body(&mut sink).and_then(|()| sink.flush()).with_context(|| shown(path))
}

/// What was put wrong and below it what was found.
fn in_short(verdict: &Verdict, truth: &Truth) -> String {
    let faults = truth.labels.iter().map(|label| label.family);
    let faults = faults.filter(|family| !matches!(family, Family::Operator | Family::Host));
    let put = faults.collect::<BTreeSet<_>>().into_iter().map(words).collect();
    let failed = verdict.steps.iter().flat_map(|step| &step.families);
    let failed = failed.filter(|family| family.verdict == Outcome::Fail).map(|family| family.family);
    let failed =
        failed.collect::<BTreeSet<_>>().into_iter().map(|family| family.words().to_owned()).collect();
    let clean = verdict.steps.iter().filter_map(|step| step.swept.fastest_clean_m_s).reduce(f64::min);
    let clean = clean.filter(|_| verdict.verdict == Outcome::Pass);
    let clean = clean.map_or_else(String::new, |m_s| format!("; clean up to {}", text::speed(m_s)));
    let (outcome, name) = (text::outcome(verdict.verdict), text::device(verdict));
    format!("  {outcome}  {name:<17}put wrong: {}\n{:<25}found:     {}{clean}\n", list(put), "", list(failed))
}

fn list(words: Vec<String>) -> String {
    if words.is_empty() { "nothing".to_owned() } else { words.join(", ") }
}

/// The folder asked for, or a new one beside where the program was started.
fn folder(asked: Option<&Path>) -> anyhow::Result<PathBuf> {
    if let Some(folder) = asked {
        std::fs::create_dir_all(folder).with_context(|| shown(folder))?;
        return Ok(folder.to_owned());
    }
    for n in 1..1000 {
        let folder =
            PathBuf::from(if n == 1 { "slipgauge-demo".to_owned() } else { format!("slipgauge-demo-{n}") });
        match std::fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(e).with_context(|| format!("{}: give a folder with -o", shown(&folder))),
        }
    }
    bail!("there are a thousand folders named slipgauge-demo here; give one with -o")
}
