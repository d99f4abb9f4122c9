//! `slipgauge plan`: what a test will show and cost, before the first swipe.
//!
//! Owns what is asked and where it goes; the claims and the study are the guide's, the pictures the report's. The words
//! stand in `plan/said.rs`.

mod pictures;
mod said;

use super::Status;
use super::judge::Format;
use crate::plan_args::{PlanArgs, to_toml};
use crate::units::{Length, Span};
use anyhow::{Context as _, ensure};
use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;
use slipgauge_guide::study::{Asked, Options, Study, StudyError, study};
use slipgauge_guide::{TestPlan, size};
use slipgauge_report::page::Paper;
use slipgauge_trace::{Metres, Nanos};
use std::io::Write as _;
use std::path::PathBuf;
use std::str::FromStr;

/// Options of `plan`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct PlanCommand {
    #[command(flatten)]
    plan: PlanArgs,
    /// Simulate this very test and say how often it finds a fault of a size: the usual faults, or those named, with
    /// their sizes if not the usual ones: creep=0.05/0.1/0.2,gain-step.
    #[arg(long, value_name = "FAULTS", num_args = 0..=1, help_heading = "Study")]
    study: Option<Option<StudyArg>>,
    /// Simulated sessions for each size; 20 leave a chance of a half uncertain by ± 23 %, 100 by ± 10 %.
    #[arg(long, value_name = "NUMBER", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=10_000),
        help_heading = "Study")]
    sessions: u32,
    /// Seed of the study: the same seed gives the same table.
    #[arg(long, default_value_t = 1, help_heading = "Study")]
    seed: u64,
    /// Report interval of the simulated device.
    #[arg(long, value_name = "TIME", default_value = "1ms", help_heading = "Study")]
    interval: Span,
    /// How far the simulated body comes to rest from the same place at a stop, as a standard deviation.
    #[arg(long, value_name = "LENGTH", default_value = "0.15mm", help_heading = "Study")]
    stops: Length,
    /// Draw the study to this SVG file; an existing one is replaced.
    #[arg(long, value_name = "FILE.svg", requires = "study", help_heading = "Study")]
    picture: Option<PathBuf>,
    /// Draw a page to print, with lines for the stops at true size; a test that is longer than a sheet takes several
    /// files. Existing ones are replaced.
    #[arg(long, value_name = "FILE.svg", help_heading = "Output")]
    page: Option<PathBuf>,
    /// Paper of the page.
    #[arg(long, value_enum, default_value_t = PaperArg::A4, help_heading = "Output")]
    paper: PaperArg,
    /// Write the plan to a file that --plan reads. An existing file is never overwritten.
    #[arg(long, value_name = "FILE.toml", help_heading = "Output")]
    save: Option<PathBuf>,
    /// What is printed: text for a person, or JSON for a program.
    #[arg(long, value_enum, default_value_t = Format::Text, help_heading = "Output")]
    format: Format,
}

const EXAMPLES: &str = "\
Examples:
  slipgauge plan --gap 365mm --body 64.2mm --steps red=400,blue=800,1600,3200
  slipgauge plan --travel 300mm --size confirm --steps 1600 --straight-edge \\
      --turn 180deg --within 150ms --per-turn 40cm --save mine.toml
  slipgauge plan --plan mine.toml --study --picture study.svg
  slipgauge plan --plan mine.toml --page stops.svg --paper letter

Exit status: 0 said; 2 wrong usage, or a file that cannot be read or written.";

/// Paper sizes.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum PaperArg {
    /// 210 × 297 mm.
    A4,
    /// 8.5 × 11 in.
    Letter,
}

impl From<PaperArg> for Paper {
    fn from(paper: PaperArg) -> Paper {
        match paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        }
    }
}

/// `--study`'s faults.
#[derive(Debug, Clone)]
struct StudyArg(Vec<Asked>);

impl FromStr for StudyArg {
    type Err = String;
    fn from_str(text: &str) -> Result<StudyArg, String> {
        text.split(',').map(asked).collect::<Result<_, _>>().map(StudyArg)
    }
}

/// `name` or `name=size/size`.
fn asked(text: &str) -> Result<Asked, String> {
    let (name, sizes) = text.split_once('=').map_or((text, None), |(name, sizes)| (name, Some(sizes)));
    let number = |text: &str| {
        let number = text.trim().parse().ok().filter(|n: &f64| n.is_finite());
        number.ok_or_else(|| format!("\"{text}\" is no size; write {name}=0.1/0.2"))
    };
    let sizes: Vec<f64> = sizes.map_or(Ok(Vec::new()), |sizes| sizes.split('/').map(number).collect())?;
    Asked::named(name.trim(), &sizes).map_err(|error| error.to_string())
}

/// Runs it.
pub fn run(args: &PlanCommand) -> anyhow::Result<Status> {
    let plan = args.plan.test_plan()?;
    let claims = size::claims(&plan);
    let studied = args.study.as_ref().map(|faults| studied(args, &plan, faults.as_ref())).transpose()?;
    let mut written = Vec::new();
    if let Some(path) = &args.page {
        written.extend(pictures::page(&plan, args.paper.into(), path)?);
    }
    if let (Some(path), Some(study)) = (&args.picture, &studied) {
        pictures::study(&plan, study, path)?;
        written.push(path.clone());
    }
    if let Some(path) = &args.save {
        let mut file = super::simulate::recorded::new_file(path)?;
        file.write_all(to_toml(&plan).as_bytes()).with_context(|| format!("{}", path.display()))?;
        written.push(path.clone());
    }
    let said = match args.format {
        Format::Text => said::told(&plan, &claims, studied.as_ref(), &written),
        Format::Json => {
            let all = json!({
                "slipgauge_plan": 1,
                "plan": plan.to_session(),
                "claims": claims,
                "study": studied,
            });
            serde_json::to_string_pretty(&all)? + "\n"
        }
    };
    std::io::stdout().write_all(said.as_bytes())?;
    Ok(Status::Ok)
}

fn studied(args: &PlanCommand, plan: &TestPlan, faults: Option<&StudyArg>) -> anyhow::Result<Study> {
    let asked = faults.map_or_else(Asked::usual, |faults| faults.0.clone());
    ensure!(args.interval.0 <= Nanos(100_000_000), "--interval: no pointing device takes more than 100 ms");
    let options = Options {
        sessions: args.sessions,
        seed: args.seed,
        interval: args.interval.0,
        stops: Metres::from_micrometres(args.stops.0),
    };
    let bar = ProgressBar::new(0);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} sessions, {eta} left") {
        bar.set_style(style);
    }
    let progress = |done: usize, total: usize| {
        bar.set_length(total as u64);
        bar.set_position(done as u64);
    };
    let done = study(plan, &asked, &options, progress);
    bar.finish_and_clear();
    done.map_err(|error| match error {
        StudyError::Bench { .. } => anyhow::Error::from(error).context("--study"),
        other => other.into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_faults_with_sizes_of_their_own() {
        let asked: StudyArg = "creep=0.05/0.1,gain-step=-0.03,tracking-silent".parse().unwrap();
        let got: Vec<_> = asked.0.iter().map(|a| (a.kind.name, a.sizes.as_slice())).collect();
        assert_eq!(got[0], ("creep", [0.05, 0.1].as_slice()));
        assert_eq!(got[1], ("gain-step", [-0.03].as_slice()));
        assert_eq!(got[2], ("tracking-silent", asked.0[2].kind.sizes));
        let said = |text: &str| text.parse::<StudyArg>().unwrap_err();
        assert!(said("dust").contains("no fault \"dust\" to study; there are: tracking-silent"));
        assert!(said("creep=much").contains("\"much\" is no size; write creep=0.1/0.2"));
    }
}
