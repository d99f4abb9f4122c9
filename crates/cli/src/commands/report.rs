//! `slipgauge report`: pages for people, one a session, and an index of several.

use super::judge::{hold_against, named};
use super::{Status, picture, shown};
use anyhow::{Context as _, bail};
use clap::{Args, ValueEnum};
use slipgauge_analysis::verdict::Verdict;
use slipgauge_analysis::{Judgement, judge};
use slipgauge_report::text::outcome;
use slipgauge_report::{html, pictures, plate};
use slipgauge_trace::outside::harmless;
use std::collections::BTreeSet;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Options of `report`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ReportArgs {
    /// The recordings, each as `judge` reads it.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// The folder to write to; made if it is not there. Pages of the same name are replaced.
    #[arg(short, long, value_name = "DIR")]
    pub output: PathBuf,
    /// The same test of a device known to be good, on the same port, pad and day: the pages then say whether a fault lies
    /// in what both share or in this unit.
    #[arg(long, value_name = "FILE")]
    pub control: Option<PathBuf>,
    /// Write the plate as well: the verdict as one picture for a video, PNG, 1920 × 1080.
    #[arg(long)]
    pub plate: bool,
    /// Write the page's pictures as files as well, each by itself: those of the steps, and of each family the largest
    /// findings.
    #[arg(long, value_enum, value_name = "KIND")]
    pub pictures: Option<Kind>,
}

/// Kinds of picture files.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Kind {
    /// Lines, which keep sharp at any size.
    Svg,
    /// Pixels, three for each of the page's.
    Png,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge report first.swipes.ndjson -o pages
  slipgauge report *.swipes.ndjson --control good.swipes.ndjson -o pages
  slipgauge report first.swipes.ndjson -o article --plate --pictures svg

A page is one file that needs no other and no network. Several recordings get an
index.html besides.

Exit status: 0 pages written, whatever the verdicts; 2 wrong usage, or a file
that cannot be read.";

/// Findings of a family at a step that are drawn as files, the largest.
const LARGEST: usize = 3;

/// What the index needs of a session.
struct Written {
    file: String,
    verdict: Verdict,
    started: Option<String>,
}

/// Writes the pages.
pub fn run(args: &ReportArgs) -> anyhow::Result<Status> {
    let control = args.control.as_deref().map(named).transpose()?;
    std::fs::create_dir_all(&args.output).with_context(|| shown(&args.output))?;
    let mut taken = BTreeSet::from(["index.html".to_owned()]);
    let mut all = Vec::new();
    for path in &args.files {
        let (recording, name) = named(path)?;
        let file = free(&stem(&name), &mut taken)?;
        let mut judgement = judge(&recording, &name);
        if let Some((control, name)) = &control {
            hold_against(&mut judgement.verdict, &recording, control, name);
        }
        let to = args.output.join(&file);
        std::fs::write(&to, html::page(&judgement, &recording)).with_context(|| shown(&to))?;
        say(&format!("{}: {}", shown(&to), outcome(judgement.verdict.verdict)))?;
        if args.plate {
            let to = to.with_extension("plate.png");
            picture::write(&to, plate::svg(&judgement, &recording.header), 1.0)?;
            say(&shown(&to))?;
        }
        if let Some(kind) = args.pictures {
            let n = pictures_beside(&to, &judgement, kind)?;
            say(&format!("{n} pictures beside it"))?;
        }
        let verdict = judgement.verdict;
        all.push(Written { file, verdict, started: recording.header.started.clone() });
    }
    if all.len() > 1 {
        let entries: Vec<html::Entry> = all
            .iter()
            .map(|w| html::Entry { file: w.file.clone(), verdict: &w.verdict, started: w.started.clone() })
            .collect();
        let to = args.output.join("index.html");
        std::fs::write(&to, html::index(&entries)).with_context(|| shown(&to))?;
        say(&shown(&to))?;
    }
    Ok(Status::Ok)
}

/// Writes the pictures of a page, named after it; says how many.
fn pictures_beside(page: &Path, judgement: &Judgement, kind: Kind) -> anyhow::Result<usize> {
    let verdict = &judgement.verdict;
    let mut n = 0;
    for (view, said) in judgement.steps.iter().zip(&verdict.steps) {
        let worst = pictures::largest(&verdict.findings, said.step, LARGEST);
        let excerpts = worst.into_iter().filter_map(|i| pictures::excerpt(view, &verdict.findings, i + 1));
        for drawn in pictures::of_step(verdict, view, said).into_iter().chain(excerpts) {
            let (ending, scale) = match kind {
                Kind::Svg => ("svg", 1.0),
                Kind::Png => ("png", 3.0),
            };
            picture::write(&page.with_extension(format!("{}.{ending}", drawn.id)), drawn.svg(), scale)?;
            n += 1;
        }
    }
    Ok(n)
}

/// A recording's name without what tells its kind.
fn stem(name: &str) -> String {
    let mut stem = name;
    for end in [".gz", ".ndjson", ".swipes"] {
        stem = stem.strip_suffix(end).unwrap_or(stem);
    }
    if stem.is_empty() { "session".to_owned() } else { stem.to_owned() }
}

/// A name that no page of this run has.
fn free(stem: &str, taken: &mut BTreeSet<String>) -> anyhow::Result<String> {
    for n in 1..10_000 {
        let name = if n == 1 { format!("{stem}.html") } else { format!("{stem}-{n}.html") };
        if taken.insert(name.clone()) {
            return Ok(name);
        }
    }
    bail!("too many recordings named {}", harmless(stem))
}

fn say(line: &str) -> anyhow::Result<()> {
    match writeln!(std::io::stdout(), "{line}") {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(e.into()),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_are_named_after_their_recordings_and_never_twice() {
        assert_eq!(
            (stem("a.swipes.ndjson.gz"), stem("b.hid"), stem(".ndjson")),
            ("a".into(), "b.hid".into(), "session".into())
        );
        let mut taken = BTreeSet::from(["index.html".to_owned()]);
        let mut next = |stem: &str| free(stem, &mut taken).unwrap();
        assert_eq!([next("a"), next("a"), next("index")], ["a.html", "a-2.html", "index-2.html"]);
    }
}
