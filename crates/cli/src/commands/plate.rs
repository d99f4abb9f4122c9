//! `slipgauge plate`: a verdict as one picture for a video.

use super::{Status, judge, picture};
use anyhow::bail;
use clap::Args;
use slipgauge_report::plate;
use std::path::PathBuf;

/// Options of `plate`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct PlateArgs {
    /// The recording.
    pub file: PathBuf,
    /// The picture to make, 1920 × 1080: .png, or .svg; an existing one is replaced.
    #[arg(short, long, value_name = "OUT.png")]
    pub output: PathBuf,
}

const EXAMPLES: &str = "\
Example:
  slipgauge plate first.swipes.ndjson -o first.png

Exit status: 0 drawn, whatever the verdict; 2 wrong usage, or a file that cannot
be read or written.";

/// Judges and draws.
pub fn run(args: &PlateArgs) -> anyhow::Result<Status> {
    let ending = args.output.extension().map(|e| e.to_ascii_lowercase());
    if !ending.is_some_and(|e| e == "png" || e == "svg") {
        bail!("{}: a plate's name ends in .png or .svg", args.output.display());
    }
    let (recording, name) = judge::named(&args.file)?;
    let judgement = slipgauge_analysis::judge(&recording, &name);
    picture::write(&args.output, plate::svg(&judgement, &recording.header), 1.0)?;
    Ok(Status::Ok)
}
