//! After the swipes: the verdict, from the file.

use super::screen::Screen;
use super::sitting::End;
use super::{Status, shown};
use crate::commands::judge;
use anyhow::Context as _;
use slipgauge_analysis::verdict::{Outcome, Verdict};
use slipgauge_guide::plan::PUBLISHED;
use slipgauge_report::{html, sheet, text};
use slipgauge_trace::Recording;
use std::path::Path;

/// Judges the recording and says it.
pub fn tell(
    path: &Path,
    end: End,
    control: Option<&(Recording, String)>,
    screen: &mut Screen,
) -> anyhow::Result<Status> {
    let (recording, name) = judge::named(path)?;
    let mut judgement = slipgauge_analysis::judge(&recording, &name);
    if let Some((control, name)) = control {
        judge::hold_against(&mut judgement.verdict, &recording, control, name);
    }
    let picture = path.with_extension("").with_extension("svg");
    std::fs::write(&picture, sheet::svg(&judgement)).with_context(|| shown(&picture))?;
    let page = path.with_extension("").with_extension("html");
    std::fs::write(&page, html::page(&judgement, &recording)).with_context(|| shown(&page))?;
    screen.lines("")?;
    screen.lines(text::verdict(&judgement.verdict).trim_end())?;
    screen.line(&format!("Recording: {}", shown(path)))?;
    screen.line(&format!("Picture:   {}", shown(&picture)))?;
    screen.line(&format!("Page:      {}", shown(&page)))?;
    match end {
        End::Whole => screen.line(&confirm(&judgement.verdict))?,
        End::Early | End::Gone => {
            screen.line(&format!("To go on with it: slipgauge examine --resume {}", shown(path)))?;
        }
    }
    Ok(match (end, judgement.verdict.exit_status()) {
        (End::Gone, _) => Status::Gone,
        (_, 1) => Status::Fail,
        (End::Whole, 0) => Status::Ok,
        _ => Status::Open,
    })
}

/// What to do about what was left open, or before it is published.
fn confirm(verdict: &Verdict) -> String {
    let open = verdict.steps.iter().filter(|s| s.verdict == Outcome::Inconclusive);
    let open: Vec<String> = open.map(|s| s.step.to_string()).collect();
    if !open.is_empty() {
        let steps = if open.len() == 1 { "step" } else { "steps" };
        return format!(
            "Left open: {steps} {}. The confirm plan takes one step and the swipes that settle it: the same options with --size \
             confirm and --steps for that step alone.",
            open.join(", ")
        );
    }
    if verdict.verdict == Outcome::Fail {
        return "Before this is published: do it again with another unit if there is one, and a device known to be good \
                (--control)."
            .to_owned();
    }
    let confirmed = verdict.plan.pointer("/paces/fast/swipes").and_then(serde_json::Value::as_u64);
    if confirmed.is_some_and(|n| n >= u64::from(PUBLISHED)) {
        return String::new();
    }
    "Before a claim is published: the confirm plan (--size confirm, one step) shows at 95 % that at most 5 % of fast swipes \
     are bad."
        .to_owned()
}
