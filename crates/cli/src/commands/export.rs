//! `slipgauge export`: tables for other programs, and for an article.

use super::Status;
use super::judge::named;
use anyhow::{Context as _, bail};
use clap::{Args, ValueEnum};
use slipgauge_analysis::judge;
use slipgauge_report::export::{self, FindingRow, StepRow, SwipeRow, Tables};
use slipgauge_trace::outside::harmless;
use std::fs::File;
use std::io::{BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Options of `export`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ExportArgs {
    /// The recordings.
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// csv: swipes.csv, findings.csv, steps.csv, and the decoded motion of each recording; markdown: a table for an
    /// article; json: the rows of the first three tables.
    #[arg(long = "as", value_enum, value_name = "FORMAT")]
    pub format: Format,
    /// Folder for the files; made if it is not there. Without it CSV goes to the current folder, the others to the screen.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge export *.swipes.ndjson --as csv -o tables
  slipgauge export one.swipes.ndjson --as markdown

Names of columns end in their unit (_ns, _counts, _m_s). Files that are there
already are never overwritten.

Exit status: 0 written; 2 wrong usage, a file that cannot be read, or one that
is there already.";

/// What is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Comma-separated values.
    Csv,
    /// A table for an article.
    Markdown,
    /// The rows as JSON.
    Json,
}

/// Writes the tables.
pub fn run(args: &ExportArgs) -> anyhow::Result<Status> {
    let csv = args.format == Format::Csv;
    let folder = match (&args.output, csv) {
        (Some(folder), _) => Some(folder.clone()),
        (None, true) => Some(PathBuf::from(".")),
        (None, false) => None,
    };
    if let Some(folder) = &folder {
        std::fs::create_dir_all(folder).with_context(|| format!("{}", folder.display()))?;
        refuse(folder, args)?;
    }
    let mut tables = Tables { slipgauge_tables: export::VERSION, ..Tables::default() };
    let mut verdicts = Vec::new();
    let mut written = Vec::new();
    for (path, motion) in args.files.iter().zip(motion_names(&args.files)) {
        let (recording, name) = named(path)?;
        let judgement = judge(&recording, &name);
        tables.swipes.extend(export::swipes(&judgement));
        tables.findings.extend(export::findings(&judgement.verdict));
        tables.steps.extend(export::steps(&judgement.verdict, recording.header.surface.as_deref()));
        if let (Some(folder), true) = (&folder, csv) {
            let path = folder.join(&motion);
            write(&path, &mut written, |out| Ok(export::motion(out, &recording, &judgement)?))?;
        }
        verdicts.push(judgement.verdict);
    }
    let json = || serde_json::to_string_pretty(&tables).map(|text| text + "\n");
    match (args.format, &folder) {
        (Format::Csv, Some(folder)) => {
            let at = |name: &str| folder.join(name);
            write(&at("swipes.csv"), &mut written, |out| {
                Ok(export::csv(out, &tables.swipes, SwipeRow::NAMES)?)
            })?;
            write(&at("findings.csv"), &mut written, |out| {
                Ok(export::csv(out, &tables.findings, FindingRow::NAMES)?)
            })?;
            write(&at("steps.csv"), &mut written, |out| {
                Ok(export::csv(out, &tables.steps, StepRow::NAMES)?)
            })?;
        }
        (Format::Markdown, Some(folder)) => {
            let text = export::markdown(&verdicts);
            write(&folder.join("table.md"), &mut written, |out| Ok(out.write_all(text.as_bytes())?))?;
        }
        (Format::Json, Some(folder)) => {
            let text = json()?;
            write(&folder.join("tables.json"), &mut written, |out| Ok(out.write_all(text.as_bytes())?))?;
        }
        (Format::Json, None) => std::io::stdout().write_all(json()?.as_bytes())?,
        (_, None) => std::io::stdout().write_all(export::markdown(&verdicts).as_bytes())?,
    }
    let mut out = std::io::stdout();
    for path in written {
        writeln!(out, "{}", harmless(&path.to_string_lossy()))?;
    }
    Ok(Status::Ok)
}

/// Refuses before the work, not after it.
fn refuse(folder: &Path, args: &ExportArgs) -> anyhow::Result<()> {
    let names: Vec<String> = match args.format {
        Format::Csv => {
            let tables = ["swipes.csv", "findings.csv", "steps.csv"].map(str::to_owned);
            tables.into_iter().chain(motion_names(&args.files)).collect()
        }
        Format::Markdown => vec!["table.md".to_owned()],
        Format::Json => vec!["tables.json".to_owned()],
    };
    for path in names.iter().map(|name| folder.join(name)) {
        if path.exists() {
            bail!("{}: there already; give another folder by -o", path.display());
        }
    }
    Ok(())
}

/// Names of the files of motion, each its own.
fn motion_names(files: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for path in files {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let stem = [".gz", ".ndjson", ".swipes"]
            .iter()
            .fold(name.as_str(), |n, end| n.strip_suffix(end).unwrap_or(n));
        let mut own = format!("{stem}.motion.csv");
        let mut number = 2;
        while names.contains(&own) {
            own = format!("{stem}-{number}.motion.csv");
            number += 1;
        }
        names.push(own);
    }
    names
}

/// Makes a new file.
fn write(
    path: &Path,
    written: &mut Vec<PathBuf>,
    fill: impl FnOnce(&mut BufWriter<File>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let place = || format!("{}", path.display());
    let file = File::create_new(path).map_err(|e| match e.kind() {
        ErrorKind::AlreadyExists => anyhow::anyhow!("there already; give another folder by -o"),
        _ => e.into(),
    });
    let mut out = BufWriter::new(file.with_context(place)?);
    fill(&mut out).and_then(|()| Ok(out.flush()?)).with_context(place)?;
    written.push(path.to_owned());
    Ok(())
}
