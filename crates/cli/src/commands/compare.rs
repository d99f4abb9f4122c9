//! `slipgauge compare`: sessions side by side.

use super::Status;
use super::judge::named;
use anyhow::bail;
use clap::{Args, ValueEnum};
use slipgauge_analysis::compare::session::Session;
use slipgauge_analysis::compare::{before_and_after, compare};
use slipgauge_report::compare as words;
use std::io::Write as _;
use std::path::PathBuf;

/// Options of `compare`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CompareArgs {
    /// The recordings; those of one device (the same --label and --unit when they were made) are taken together.
    #[arg(value_name = "FILE", required_unless_present = "before", conflicts_with_all = ["before", "after"])]
    pub files: Vec<PathBuf>,
    /// A device known to be good, by the same test: one for each set-up (bench, pad, computer, day). Only with one and the
    /// same control on both may devices of different set-ups be called better or worse; and it tells where a fault lies.
    #[arg(long = "control", value_name = "FILE", conflicts_with_all = ["before", "after"])]
    pub controls: Vec<PathBuf>,
    /// Recordings before something was changed (firmware, surface, radio), two and more of each device.
    #[arg(long, value_name = "FILE", num_args = 1.., requires = "after")]
    pub before: Vec<PathBuf>,
    /// Recordings of the same devices after it.
    #[arg(long, value_name = "FILE", num_args = 1.., requires = "before")]
    pub after: Vec<PathBuf>,
    /// What is printed: text for a person, Markdown for an article, or JSON for a program.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge compare one.swipes.ndjson two.swipes.ndjson
  slipgauge compare a1.swipes.ndjson a2.swipes.ndjson b.swipes.ndjson \\
      --control good.swipes.ndjson --format markdown > table.md
  slipgauge compare --before old1.swipes.ndjson old2.swipes.ndjson \\
      --after new1.swipes.ndjson new2.swipes.ndjson

Exit status: 0 compared, whatever came out; 2 wrong usage, or a file that cannot
be read.";

/// What is printed.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Format {
    /// For a person.
    Text,
    /// For an article.
    Markdown,
    /// For a program.
    Json,
}

/// Compares.
pub fn run(args: &CompareArgs) -> anyhow::Result<Status> {
    let all = [&args.files, &args.controls, &args.before, &args.after];
    let [files, controls, before, after] = all.map(|paths| measured(paths));
    let (files, controls, before, after) = (files?, controls?, before?, after?);
    let sides = files.iter().chain(&before).chain(&after);
    let hashes: Vec<&str> = sides.map(|s| s.verdict.sha256.as_str()).collect();
    for (i, hash) in hashes.iter().enumerate() {
        if hashes.iter().take(i).any(|other| other == hash) {
            bail!("the same recording was given twice: a session cannot be compared with itself");
        }
    }
    let found =
        if before.is_empty() { compare(&files, &controls) } else { before_and_after(&before, &after) };
    let said = match args.format {
        Format::Text => words::text(&found),
        Format::Markdown => words::markdown(&found),
        Format::Json => words::json(&found),
    };
    std::io::stdout().write_all(said.as_bytes())?;
    Ok(Status::Ok)
}

/// One recording after the other, in the memory of one.
fn measured(paths: &[PathBuf]) -> anyhow::Result<Vec<Session>> {
    let one = |path: &PathBuf| named(path).map(|(recording, name)| Session::of(&recording, &name));
    paths.iter().map(one).collect()
}
