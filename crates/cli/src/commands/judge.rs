//! `slipgauge judge`: a recording in, a verdict out, and a picture if asked.

use super::{Status, picture};
use anyhow::Context as _;
use clap::{Args, ValueEnum};
use slipgauge_analysis::control::against;
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::Verdict;
use slipgauge_capture::import;
use slipgauge_report::{json, sheet, text};
use slipgauge_trace::{Recording, session};
use std::io::{BufRead as _, Write as _};
use std::path::{Path, PathBuf};

/// Options of `judge`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct JudgeArgs {
    /// The recording: a session file, plain or gzip, or a HID recording in text (descriptor and event lines).
    pub file: PathBuf,
    /// Draw every swipe to this file, SVG or (by its ending) PNG; an existing one is replaced.
    #[arg(long, value_name = "OUT.svg|OUT.png")]
    pub plot: Option<PathBuf>,
    /// The same test of a device known to be good, on the same port, pad and day: the verdict then says whether a fault
    /// lies in what both share or in this unit.
    #[arg(long, value_name = "FILE")]
    pub control: Option<PathBuf>,
    /// What is printed: text for a person, or JSON for a program.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge judge first.swipes.ndjson --plot first.svg
  slipgauge judge first.swipes.ndjson.gz --format json > first.verdict.json

Exit status: 0 pass; 1 fail; 3 inconclusive or not examined; 2 wrong usage, or
a file that cannot be read.";

/// What is printed.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Format {
    /// For a person.
    Text,
    /// For a program.
    Json,
}

/// Judges one file.
pub fn run(args: &JudgeArgs) -> anyhow::Result<Status> {
    let (recording, name) = named(&args.file)?;
    let mut judgement = judge(&recording, &name);
    if let Some(path) = &args.control {
        let (control, name) = named(path)?;
        hold_against(&mut judgement.verdict, &recording, &control, &name);
    }
    if let Some(path) = &args.plot {
        picture::write(path, sheet::svg(&judgement), 1.5)?;
    }
    let said = match args.format {
        Format::Text => text::verdict(&judgement.verdict),
        Format::Json => json(&judgement.verdict),
    };
    // Whether anybody reads on or not, the verdict stays what it is.
    match std::io::stdout().write_all(said.as_bytes()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => return Err(e.into()),
        _ => {}
    }
    Ok(match judgement.verdict.exit_status() {
        0 => Status::Ok,
        1 => Status::Fail,
        _ => Status::Open,
    })
}

/// Says where the faults lie, by a control.
pub fn hold_against(verdict: &mut Verdict, recording: &Recording, control: &Recording, name: &str) {
    let other = judge(control, name).verdict;
    verdict.control = Some(against((verdict, &recording.header), (&other, &control.header)));
}

/// A recording with its file's name.
pub fn named(path: &Path) -> anyhow::Result<(Recording, String)> {
    let name = path.file_name().map_or_else(|| path.to_string_lossy(), |n| n.to_string_lossy());
    Ok((read(path)?, name.into_owned()))
}

/// Reads a recording of either format, told apart by its first bytes.
pub fn read(path: &Path) -> anyhow::Result<Recording> {
    let place = || format!("{}", path.display());
    let mut source = session::open(path).with_context(place)?;
    // What cannot be read here shows again in the reader, which says where.
    if source.fill_buf().is_ok_and(import::recognise) {
        import::read(source).with_context(place)
    } else {
        Recording::read(source).with_context(place)
    }
}
