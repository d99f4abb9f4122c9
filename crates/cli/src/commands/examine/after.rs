//! After the swipes: the verdict, from the file.

use super::screen::Screen;
use super::sitting::End;
use super::{Status, shown};
use crate::commands::judge;
use anyhow::Context as _;
use slipgauge_report::{sheet, text};
use slipgauge_trace::Recording;
use std::path::Path;

/// Judges the recording and says it.
pub fn tell(
    path: &Path,
    end: End,
    control: Option<&(Recording, String)>,
    screen: &mut Screen,
) -> anyhow::Result<Status> {
    let recording = judge::read(path)?;
    let name = path.file_name().map_or_else(|| path.to_string_lossy(), |n| n.to_string_lossy());
    let mut judgement = slipgauge_analysis::judge(&recording, &name);
    if let Some((control, name)) = control {
        judge::hold_against(&mut judgement.verdict, &recording, control, name);
    }
    let picture = path.with_extension("").with_extension("svg");
    std::fs::write(&picture, sheet::svg(&judgement)).with_context(|| shown(&picture))?;
    screen.lines("")?;
    screen.lines(text::verdict(&judgement.verdict).trim_end())?;
    screen.line(&format!("Recording: {}", shown(path)))?;
    screen.line(&format!("Picture:   {}", shown(&picture)))?;
    if end != End::Whole {
        screen.line(&format!("To go on with it: slipgauge examine --resume {}", shown(path)))?;
    }
    Ok(match (end, judgement.verdict.exit_status()) {
        (End::Gone, _) => Status::Gone,
        (_, 1) => Status::Fail,
        (End::Whole, 0) => Status::Ok,
        _ => Status::Open,
    })
}
