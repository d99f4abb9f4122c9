//! `slipgauge examine`: the guided test at the bench, from a device in the hand to a verdict.
//!
//! The guide (`slipgauge-guide`) says what comes next; this is its skin: a terminal in lines of up to 80 columns, three
//! keys, a bar. The recording runs in threads of its own and never waits for it.

mod after;
mod bench;
mod keys;
mod opening;
mod screen;
mod sitting;

use super::{Status, now, shown};
use crate::plan_args::PlanArgs;
use anyhow::{Context as _, bail};
use clap::Args;
use screen::Screen;
use sitting::Sitting;
use slipgauge_guide::{Guide, TestPlan};
use slipgauge_trace::Recording;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Options of `examine`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ExamineArgs {
    /// The recording to make; without it a name is made of the time. An existing file is never overwritten.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Go on with a test that was interrupted, in its own file and by its own plan.
    #[arg(long, value_name = "FILE", conflicts_with = "output")]
    pub resume: Option<PathBuf>,
    /// The same test of a device known to be good, on the same port, pad and day: the verdict then says whether a fault
    /// lies in this computer or in the device.
    #[arg(long, value_name = "FILE")]
    pub control: Option<PathBuf>,
    /// Which device: its number in `slipgauge devices`, or a node such as /dev/hidraw3. Without it: the one that you move.
    #[arg(long, value_name = "NUMBER|PATH")]
    pub device: Option<String>,
    /// A simulated device in place of a real one: sound, or with a fault as in `simulate --faults`.
    #[arg(long, value_name = "sound|FAULT[=SIZE]")]
    pub simulate: Option<String>,
    /// Seed of the simulated device and hand.
    #[arg(long, default_value_t = 1, requires = "simulate")]
    pub seed: u64,
    /// Time between the simulated device's reports.
    #[arg(long, value_name = "TIME", default_value = "1ms", requires = "simulate")]
    pub interval: crate::units::Span,
    /// Simulated seconds a second.
    #[arg(long, value_name = "NUMBER", default_value_t = 1.0, requires = "simulate")]
    pub times: f64,
    /// No bell at the turns of paced swipes.
    #[arg(long)]
    pub silent: bool,
    /// Let the desktop have the device's motion and clicks while it is swiped.
    #[arg(long)]
    pub no_hold: bool,
    /// Ask for nothing that can be left out.
    #[arg(long)]
    pub no_questions: bool,
    /// What you call the device.
    #[arg(long, value_name = "TEXT")]
    pub label: Option<String>,
    /// Which one of several alike.
    #[arg(long, value_name = "TEXT")]
    pub unit: Option<String>,
    /// What it moves on.
    #[arg(long, value_name = "TEXT")]
    pub surface: Option<String>,
    /// Version of its firmware.
    #[arg(long, value_name = "TEXT")]
    pub firmware: Option<String>,
    /// How full its battery is.
    #[arg(long, value_name = "TEXT")]
    pub battery: Option<String>,
    /// How far its receiver is away, with its unit.
    #[arg(long, value_name = "LENGTH")]
    pub receiver_distance: Option<crate::units::Length>,
    /// Anything else that a reader should know.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// What is done; the last, for its heading holds for all that comes after it.
    #[command(flatten)]
    pub plan: PlanArgs,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge examine --travel 300mm --straight-edge --steps red=400,blue=800,1600
  slipgauge examine --gap 365mm --body 64.2mm --steps 1600 --size confirm
  slipgauge examine --travel 300mm --steps 800 --simulate tracking-silent=1.5

Keys: Space goes on, Enter is the other answer, Escape stops and asks. Nothing
else is needed, and never the device's own buttons.

Exit status: 0 pass; 1 fail; 3 inconclusive, or ended before the plan was done;
2 wrong usage; 4 the device went away (what it sent until then is kept).";

/// Runs it.
pub fn run(args: &ExamineArgs) -> anyhow::Result<Status> {
    let (plan, before) = planned(args)?;
    let control = args.control.as_deref().map(super::judge::named).transpose()?;
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    ctrlc::set_handler(move || told.store(true, Ordering::Relaxed))
        .context("Ctrl-C cannot be caught, so a recording could not be ended cleanly")?;
    let mut screen = Screen::new(args.silent);
    opening::plan(&mut screen, &plan)?;
    let bench = bench::Bench::choose(args, &plan, &mut screen, &stop)?;
    let path = match (&args.resume, &args.output) {
        (Some(path), _) | (None, Some(path)) => path.clone(),
        (None, None) => PathBuf::from(format!("slipgauge-{}.swipes.ndjson", stamp())),
    };
    let mut header = bench.header(args, &plan)?;
    let guide = match &before {
        Some(recording) => {
            header = recording.header.clone();
            Guide::resume(plan, recording)?
        }
        None => {
            opening::ask(args, &mut screen, &mut header)?;
            opening::floor(&mut screen, &mut header, args.simulate.is_some())?;
            Guide::new(plan, header.clone())?
        }
    };
    screen.line(&format!("Recording to {}.", shown(&path)))?;
    let mut sitting =
        Sitting { bench, guide, header, path, stop, resume: before.is_some(), hold: !args.no_hold };
    // Not before: what is asked in the opening is answered in lines, from the same terminal.
    let mut keys = keys::Keys::new();
    let ended = sitting.hold_it(&mut screen, &mut keys)?;
    keys.give_back();
    after::tell(&sitting.path, ended, control.as_ref(), &mut screen)
}

/// The plan, and what was done of it already.
fn planned(args: &ExamineArgs) -> anyhow::Result<(TestPlan, Option<Recording>)> {
    let Some(path) = &args.resume else { return Ok((args.plan.test_plan()?, None)) };
    if args.plan != PlanArgs::default() {
        bail!(
            "a test that is taken up again keeps its own plan: leave the plan's options out beside --resume"
        );
    }
    let recording = super::judge::read(path)?;
    let plan = recording.header.plan.as_ref().and_then(TestPlan::from_session);
    let plan = plan.with_context(|| format!("{}: not the recording of a guided test", shown(path)))?;
    Ok((plan, Some(recording)))
}

/// The time as part of a file's name.
fn stamp() -> String {
    jiff::Zoned::now().strftime("%Y-%m-%d-%H%M%S").to_string()
}
