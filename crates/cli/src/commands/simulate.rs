//! `slipgauge simulate`: a session of a simulated device whose faults are known, and the truth beside it.
//!
//! Owns what is asked and told. What can be put wrong is the simulator's catalogue; how the bench is set up of what was
//! typed stands in `simulate/setup.rs`, and the way through the recorder in `simulate/recorded.rs`.

mod listing;
pub mod recorded;
mod setup;

use super::{Status, shown};
use crate::units::{Length, Span};
use anyhow::{Context as _, bail};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use recorded::{new_file, recorder, refuse_existing};
use setup::FaultArg;
pub use setup::for_plan;
use slipgauge_capture::Ended;
use slipgauge_sim::{Pacing, Session, Truth};
use std::collections::BTreeMap;
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Options of `simulate`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct SimulateArgs {
    /// The session file to make; by custom its name ends in .swipes.ndjson. The truth goes beside it, under the same
    /// name with .truth.json. An existing file is never overwritten.
    #[arg(short, long, value_name = "FILE", required_unless_present = "faults")]
    pub output: Option<PathBuf>,
    /// Seed of the simulated bench: the same seed gives the same files.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// What is wrong with the device, by name, with its size if it is not to be the usual one; may be given several
    /// times. A sound device without it.
    #[arg(long = "fault", value_name = "NAME[=SIZE]")]
    pub fault: Vec<FaultArg>,
    /// List the faults that there are, with their usual sizes; with a NAME, say what those are whose name or family
    /// holds it.
    #[arg(long, value_name = "NAME", num_args = 0..=1)]
    pub faults: Option<Option<String>>,
    /// Resolution steps, counts per inch.
    #[arg(long, value_name = "NUMBER,…", value_delimiter = ',', default_value = "1600")]
    pub steps: Vec<f64>,
    /// Time between reports.
    #[arg(long, value_name = "TIME", default_value = "1ms")]
    pub interval: Span,
    /// Width of X and of Y in a report.
    #[arg(long, value_name = "BITS", default_value_t = 16, value_parser = clap::value_parser!(u8).range(4..=32))]
    pub bits: u8,
    /// How far the device moves from stop to stop.
    #[arg(long, value_name = "LENGTH", default_value = "300mm")]
    pub travel: Length,
    /// Length of the session: so many slow, as many medium and twice as many fast swipes at every step.
    #[arg(long, value_name = "NUMBER", default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub swipes: u32,
    /// How long it lies still at every step before that.
    #[arg(long, value_name = "TIME", default_value = "10s")]
    pub still: Span,
    /// Record in real time, one second a second, by the recorder that records real devices; as fast as it goes
    /// without it.
    #[arg(long)]
    pub paced: bool,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge simulate --faults
  slipgauge simulate -o sound.swipes.ndjson
  slipgauge simulate -o blind.swipes.ndjson --fault tracking-silent=1.5 \\
      --fault creep --seed 7
  slipgauge simulate -o live.swipes.ndjson --paced --swipes 2 --still 2s

Exit status: 0 written; 2 wrong usage, or a file that is there already or
cannot be written.";

/// Runs it.
pub fn run(args: &SimulateArgs) -> anyhow::Result<Status> {
    let mut out = std::io::stdout();
    if let Some(name) = &args.faults {
        out.write_all(listing::told(name.as_deref())?.as_bytes())?;
        return Ok(Status::Ok);
    }
    let path = args.output.as_deref().context("give the file to make with -o")?;
    if path.extension().is_some_and(|ending| ending == "gz") {
        bail!("{}: a session is written plain; compress it when it is done", shown(path));
    }
    let session = setup::session(args)?;
    let truth_path = recorded::truth_path(path);
    refuse_existing(&truth_path)?;
    let made = if args.paced { paced(&session, path)? } else { flat(&session, path)? };
    let mut truth_file = BufWriter::new(new_file(&truth_path)?);
    let written = made.truth.write_to(&mut truth_file).and_then(|()| truth_file.flush());
    written.with_context(|| shown(&truth_path))?;
    out.write_all(summary(args, &made, path, &truth_path).as_bytes())?;
    Ok(Status::Ok)
}

/// What came of it.
struct Made {
    truth: Truth,
    /// The first line of what is said.
    how: String,
}

/// As fast as it goes, straight to the file.
fn flat(session: &Session, path: &Path) -> anyhow::Result<Made> {
    let began = Instant::now();
    let mut file = BufWriter::with_capacity(1 << 16, new_file(path)?);
    let truth = session.write_to(&mut file).with_context(|| shown(path))?;
    file.flush().with_context(|| shown(path))?;
    let how = format!("Written: {:.1} s of session, made in {:.1} s.", length_s(&truth), since(began));
    Ok(Made { truth, how })
}

/// In real time, by the recorder.
fn paced(session: &Session, path: &Path) -> anyhow::Result<Made> {
    let recorder = recorder(session, Pacing::RealTime, path)?;
    let truth = session.truth();
    let (stop, progress) = (Arc::clone(&recorder.stop), Arc::clone(&recorder.progress));
    ctrlc::set_handler(move || stop.store(true, Ordering::Relaxed))
        .context("Ctrl-C cannot be caught, so a recording could not be ended cleanly")?;
    let bar = ProgressBar::new((1e3 * length_s(&truth)) as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {msg}") {
        bar.set_style(style);
    }
    let began = Instant::now();
    let recording = std::thread::Builder::new().name("record".to_owned()).spawn(move || recorder.run())?;
    while !recording.is_finished() {
        bar.set_position(began.elapsed().as_millis() as u64);
        bar.set_message(format!(
            "{:.0} of {:.0} s, {} reports",
            since(began),
            length_s(&truth),
            progress.reports()
        ));
        std::thread::sleep(Duration::from_millis(50));
    }
    let took = since(began);
    bar.finish_and_clear();
    let summary =
        recording.join().map_err(|_| anyhow::anyhow!("the recorder broke off; please report this"))??;
    let mut how = format!(
        "Recorded in real time: {} reports, {:.1} s of session in {took:.1} s.",
        summary.reports,
        summary.length.seconds()
    );
    match summary.ended {
        Ended::Stopped => {
            how.push_str("\nEnded early, when told to: the truth is that of the whole session.")
        }
        Ended::Failed(what) => bail!("{}: the recording broke off: {what}", shown(path)),
        Ended::Timetable | Ended::Gone | Ended::SourceFinished => {}
    }
    Ok(Made { truth, how })
}

fn since(began: Instant) -> f64 {
    began.elapsed().as_secs_f64()
}

fn length_s(truth: &Truth) -> f64 {
    truth.phases.last().map_or(0.0, |phase| phase.end_ns as f64 * 1e-9)
}

/// What was written, what is to be found in it, and what to type next.
fn summary(args: &SimulateArgs, made: &Made, path: &Path, truth_path: &Path) -> String {
    let mut text = format!("{}\n", made.how);
    let mut say = |line: String| {
        text.push_str(&line);
        text.push('\n');
    };
    say(format!("  recording  {}", shown(path)));
    say(format!("  truth      {}", shown(truth_path)));
    let steps =
        if args.steps.len() == 1 { "1 step".to_owned() } else { format!("{} steps", args.steps.len()) };
    say(format!("On the bench: {} swipes at {steps}, seed {}.", made.truth.swipes.len(), args.seed));
    if args.fault.is_empty() {
        say("Put wrong: nothing.".to_owned());
    }
    for fault in &args.fault {
        say(format!("Put wrong: {}", fault.told()));
    }
    let mut found: BTreeMap<String, usize> = BTreeMap::new();
    for label in &made.truth.labels {
        *found.entry(recorded::words(label.family)).or_default() += 1;
    }
    let found: Vec<String> = found.into_iter().map(|(family, n)| format!("{family} {n}")).collect();
    let found = if found.is_empty() { "nothing".to_owned() } else { found.join(", ") };
    say(format!("Labelled in the truth: {found}."));
    let picture = recorded::stem(path) + ".svg";
    say(format!("Next: slipgauge judge {} --plot {}", shown(path), shown(Path::new(&picture))));
    text
}
