//! `slipgauge evidence`: a recording with all that somebody else needs to judge it again, in one zip.
//!
//! First it lists what in the recording tells of the person and the computer. What is not to be handed on is left out of a
//! copy ([`leave_out`]): another file with another hash, which the zip says. Pictures are always drawn anew, of the
//! recording that is packed, so that they hold nothing that it does not. The same input makes the same bytes.

mod leave_out;
mod packed;

use super::simulate::recorded::{new_file, refuse_existing};
use super::{Status, judge, picture, shown};
use anyhow::{Context as _, bail};
use clap::{Args, ValueEnum};
use leave_out::Told;
use slipgauge_analysis::Judgement;
use slipgauge_capture::import;
use slipgauge_report::{json, plate, sheet, text};
use slipgauge_trace::{Recording, session};
use std::io::{BufRead as _, Write as _};
use std::path::{Path, PathBuf};

/// Options of `evidence`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct EvidenceArgs {
    /// The recording.
    pub file: PathBuf,
    /// The zip to make; an existing file is never overwritten. Without it, what would be in it is only listed.
    #[arg(short, long, value_name = "OUT.zip")]
    pub output: Option<PathBuf>,
    /// Leave these out of a copy of the recording, which the zip then holds instead: another hash.
    #[arg(long, value_name = "PART,…", value_delimiter = ',')]
    pub without: Vec<Part>,
    /// A further file to pack as it is, such as a page or a photograph of the bench; may be given several times. Not
    /// together with --without, which cannot look into it.
    #[arg(long = "add", value_name = "FILE", conflicts_with = "without")]
    pub add: Vec<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge evidence first.swipes.ndjson
  slipgauge evidence first.swipes.ndjson -o first.zip
  slipgauge evidence first.swipes.ndjson -o shared.zip --without host,notes,time

Exit status: 0 listed or packed; 2 wrong usage, or a file that cannot be read or
written.";

/// What can be left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, ValueEnum)]
pub enum Part {
    /// What is known of the computer.
    Host,
    /// The operator's own words: notes, reasons, sources of tolerances.
    Notes,
    /// Day and time of day.
    Time,
    /// What device, unit, pad and steps are called, with vendor and product.
    Names,
}

impl Part {
    /// As it is typed.
    fn word(self) -> &'static str {
        match self {
            Part::Host => "host",
            Part::Notes => "notes",
            Part::Time => "time",
            Part::Names => "names",
        }
    }
}

/// Lists, and packs if a file was given.
pub fn run(args: &EvidenceArgs) -> anyhow::Result<Status> {
    if let Some(output) = &args.output {
        refuse_existing(output)?;
    }
    let mut parts = args.without.clone();
    parts.sort();
    parts.dedup();
    let place = || shown(&args.file);
    let foreign = session::open(&args.file).with_context(place)?.fill_buf().is_ok_and(import::recognise);
    if foreign && !parts.is_empty() {
        bail!("{}: only a session file can be copied without some of it", place());
    }
    let told = if foreign { Told::default() } else { leave_out::told(&args.file).with_context(place)? };
    let mut out = std::io::stdout();
    out.write_all(listed(&told, &parts, foreign).as_bytes())?;
    let Some(output) = &args.output else {
        writeln!(out, "\nNothing was packed: give the zip to make with -o.")?;
        return Ok(Status::Ok);
    };
    let (original, name) = judge::named(&args.file)?;
    let before = slipgauge_analysis::judge(&original, &name);
    let mut pack = packed::Pack::default();
    if parts.is_empty() {
        let bytes = std::fs::read(&args.file).with_context(place)?;
        judged(&mut pack, &before, &original, (&name, bytes))?;
    } else {
        let (copy, unknown) = leave_out::copy(&args.file, &parts).with_context(place)?;
        let name = "recording.swipes.ndjson";
        let recording = Recording::read(copy.as_slice()).context("the copy cannot be read back")?;
        let after = slipgauge_analysis::judge(&recording, name);
        same(&before, &after)?;
        pack.unknown = unknown;
        judged(&mut pack, &after, &recording, (name, copy))?;
    }
    for path in &args.add {
        let name = path.file_name().with_context(|| shown(path))?.to_string_lossy();
        pack.add(&name, std::fs::read(path).with_context(|| shown(path))?)?;
    }
    let of = packed::Of { original: &before.verdict, left_out: &parts };
    let file = new_file(output)?;
    if let Err(error) = pack.write(file, &of) {
        // Half a zip is of no use to anybody.
        let _ = std::fs::remove_file(output);
        return Err(error.context(shown(output)));
    }
    writeln!(out, "\nPacked: {}", shown(output))?;
    Ok(Status::Ok)
}

/// Recording, verdict and pictures.
fn judged(
    pack: &mut packed::Pack,
    judgement: &Judgement,
    recording: &Recording,
    (name, bytes): (&str, Vec<u8>),
) -> anyhow::Result<()> {
    name.clone_into(&mut pack.recording);
    pack.sha256.clone_from(&judgement.verdict.sha256);
    pack.add(name, bytes)?;
    pack.add("verdict.json", json(&judgement.verdict).into_bytes())?;
    pack.add("verdict.txt", text::verdict(&judgement.verdict).into_bytes())?;
    pack.add("swipes.svg", sheet::svg(judgement).into_bytes())?;
    let plate = plate::svg(judgement, &recording.header);
    if cfg!(feature = "png") {
        pack.add("plate.png", picture::bytes(Path::new("plate.png"), plate, 1.0)?)
    } else {
        pack.add("plate.svg", plate.into_bytes())
    }
}

/// What is left out must not be what the verdict rests on.
fn same(before: &Judgement, after: &Judgement) -> anyhow::Result<()> {
    let (before, after) = (&before.verdict, &after.verdict);
    let outcomes = |v: &slipgauge_analysis::verdict::Verdict| -> Vec<_> {
        v.steps.iter().flat_map(|s| s.families.iter().map(|f| f.verdict).chain([s.verdict])).collect()
    };
    if before.verdict != after.verdict
        || before.findings != after.findings
        || outcomes(before) != outcomes(after)
    {
        bail!("the copy is judged otherwise than the recording, so it is not packed; please report this");
    }
    Ok(())
}

/// What tells of person and computer, part by part, and whether it stays.
fn listed(told: &Told, parts: &[Part], foreign: bool) -> String {
    if foreign {
        return "A recording of another program: what it tells of its computer is not known here.\n"
            .to_owned();
    }
    let mut said = "What the recording tells of you and your computer:\n".to_owned();
    for (part, words) in [
        (Part::Host, &told.host),
        (Part::Notes, &told.notes),
        (Part::Time, &told.time),
        (Part::Names, &told.names),
    ] {
        let goes = if parts.contains(&part) { "left out" } else { "packed" };
        said += &format!("  {:<6} {}\n", part.word(), if words.is_empty() { "nothing" } else { goes });
        for word in words {
            let _ = text::paragraph(&mut said, "         ", word);
        }
    }
    said
}
