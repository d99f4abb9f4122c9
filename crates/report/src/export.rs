//! Tables for other programs: one row a swipe, one a finding, one a step; the decoded motion; a table for an article.
//!
//! Tidy: units in the names of columns, one thing a row, an empty cell for what is not known. Text from outside passes
//! [`crate::outside`]. RFC 4180 quoting is the `csv` crate's.

mod motion;
mod rows;

pub use motion::motion;
pub use rows::{FindingRow, StepRow, SwipeRow, findings, steps, swipes};

use crate::outside::{markdown as plain, short};
use crate::text;
use serde::Serialize;
use slipgauge_analysis::verdict::Verdict;
use std::fmt::Write as _;
use std::io::Write;

/// Version of the tables.
pub const VERSION: u32 = 1;

/// The tables of some sessions.
#[derive(Debug, Default, Serialize)]
pub struct Tables {
    /// Format version.
    pub slipgauge_tables: u32,
    /// One row a swipe.
    pub swipes: Vec<SwipeRow>,
    /// One row a finding.
    pub findings: Vec<FindingRow>,
    /// One row a step.
    pub steps: Vec<StepRow>,
}

/// Rows as CSV with a line of names, also where there is no row: `names` are those of [`SwipeRow`] and the like.
///
/// # Errors
/// What writing gives.
pub fn csv<R: Serialize>(out: impl Write, rows: &[R], names: &[&str]) -> Result<(), csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    if rows.is_empty() {
        writer.write_record(names)?;
    }
    rows.iter().try_for_each(|row| writer.serialize(row))?;
    writer.flush()?;
    Ok(())
}

/// One row a session and step, for an article.
pub fn markdown(verdicts: &[Verdict]) -> String {
    let mut out = String::from(
        "| device | step | verdict | clean swipes | clean up to | resolution, counts/inch | tracking limit, m/s | outside tolerance |\n\
         |---|---|---|---|---|---|---|---|\n",
    );
    for v in verdicts {
        for s in &v.steps {
            let (name, step) = (plain(&short(&text::device(v))), plain(&short(&text::step(s))));
            let failing =
                s.families.iter().filter(|f| f.verdict == slipgauge_analysis::verdict::Outcome::Fail);
            let failing = failing.map(|f| f.family.words().to_owned());
            let failing: Vec<String> = failing.chain(s.together.as_ref().map(|t| t.words())).collect();
            let failing = if failing.is_empty() { "-".to_owned() } else { failing.join(", ") };
            let fastest = s.swept.fastest_clean_m_s.map_or("-".to_owned(), text::speed);
            let resolution = s.resolution_counts_per_inch.map_or("-".to_owned(), |q| text::interval(q, 0));
            let limit = s.tracking_limit_m_s.map_or("-".to_owned(), |q| match (q.low, q.high) {
                (Some(low), None) => format!("above {low:.2}"),
                (None, Some(high)) => format!("below {high:.2}"),
                _ => text::interval(q, 2),
            });
            let (clean, found) = (s.swipes.clean, s.swipes.found);
            let verdict = text::outcome(s.verdict);
            let _ = writeln!(
                out,
                "| {name} | {step} | {verdict} | {clean} of {found} | {fastest} | {resolution} | {limit} | {failing} |"
            );
        }
        if v.steps.is_empty() {
            let (name, verdict) = (plain(&short(&text::device(v))), text::outcome(v.verdict));
            let _ = writeln!(out, "| {name} | - | {verdict} | - | - | - | - | - |");
        }
    }
    out += "\nIntervals are of 95 %, two-sided.\n";
    out
}
