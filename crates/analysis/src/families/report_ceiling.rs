//! Report ceiling: deltas clip at what the report's field, or the firmware, can hold.
//!
//! Detects swipes that hold the session's top value of an axis (or that of all but reports in which a link merged two); how, and how many it takes, stands in [`crate::clip`].
//!
//! Cause: the report format where the top value reaches the descriptor's or the field's limit, else the firmware.
//! Kind, one for the step: *thrown away* where the clipped swipes fall short of the clean slow ones (of all slow ones where
//! fewer than [`LEAST`] are clean: a slow swipe loses less), beyond three standard errors and by at least half of what their
//! shoulders say is hidden (or [`PLAIN`] of the travel), or where swipes of a pace are the
//! shorter the more reports they hold at the top ([`shorter_with_tops`]), and no shoulder says anything or they lack three standard
//! errors; *handed on* where as much would have been seen and was not, else *unknown*. Ceiling speed = top value × report rate / resolution.
//!
//! Decides on the share of fast swipes that clip, exact limits. Smallest found: three reports at the top and 1.5 mm that
//! they could not hold, in three swipes. (First written as three reports that hide a peak of 3 counts and 2 %. Seen then: at
//! 0.98 of the peak 20 to 43 % missed of what lost 1.5 mm and more, since frames that beat against reports leave no run.
//! With piles ([`crate::clip`]) none was missed of 22,330 at 0.98 to 0.5 of the peak. Then as
//! 20 counts a report and more; ceilings of 7 and 14 counts at 0.25 ms had been seen to be told as gain, repeats or short swipes: where
//! 5 % of the travel are missing, 5 counts are enough. And the trend counted only where no shoulder said anything: ceilings that were
//! just reached, whose shoulders foretold twice what was missing, were told to hand on what had been thrown away.) The kind is told
//! where the shoulders hide more than placing scatters, or six swipes show a trend; else it is unknown. Cost: O(reports).

use super::{Detector, Event, in_swipe, key, no_scale, round, share, swipes_with};
use crate::clip::{Clip, ceiling_m_s};
use crate::stats::regression::polynomial;
use crate::stats::{mad, median};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;
use slipgauge_trace::session::Pace;

pub(super) struct ReportCeiling;

/// Kind of a ceiling beyond which counts are lost.
pub(super) const THROWN_AWAY: &str = "thrown away";

/// A shortfall that needs no comparison with what is hidden, relative.
const PLAIN: f64 = 0.05;
/// Swipes from which a clean length, or what shoulders hide, is taken.
const LEAST: usize = 3;
/// Swipes of a pace that show a trend, and its standard errors.
const TREND: (usize, f64) = (6, 4.0);

type Clipped<'a> = (&'a PhaseView, &'a SwipeView, &'a Clip);

fn clipped<'a>(step: &'a StepView) -> impl Iterator<Item = Clipped<'a>> {
    step.swipes().filter_map(|(phase, swipe)| Some((phase, swipe, swipe.clip.as_ref()?)))
}

/// True if half of the slow swipes and more clip: then the scale that is read from them is short. (Added after a
/// ceiling of 0.127 m/s had been told as one of 0.22.)
fn slow_ones_clip(step: &StepView, findings: &[Finding]) -> bool {
    let clipped = swipes_with(Family::ReportCeiling, findings);
    let slow = || step.swipes().filter(|(p, _)| p.span.phase.pace == Some(Pace::Slow));
    let clip = slow().filter(|(p, s)| clipped.contains(&key(p, s))).count();
    clip > 0 && 2 * clip >= slow().count()
}

impl Detector for ReportCeiling {
    fn family(&self) -> Family {
        Family::ReportCeiling
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let Some(scale) = step.scale else { return };
        let slow = slow_counts(step);
        let baseline = median(&slow);
        let kind = baseline.map_or("unknown", |b| kind(step, &slow, b));
        for (phase, swipe, clip) in clipped(step) {
            let missing = baseline.map_or(0.0, |b| b - swipe.swipe.along);
            let [begin, end] = [clip.rows.start, clip.rows.end - 1].map(|row| phase.series.samples[row].t);
            // What was handed on came with reports at the top, and leaves a cliff where it ends: no shoulder of the hand's. What
            // the operator left out of a swipe, no device lost.
            let size = match kind {
                "handed on" => {
                    let held_back = swipe.grid.held_back_mm(begin, end) * scale.counts_per_mm;
                    let by_shoulders = if clip.hidden > 0.0 { clip.hidden } else { f64::INFINITY };
                    by_shoulders.min(f64::from(clip.top) * clip.tops as f64).min(held_back)
                }
                _ if excused(swipe) => missing.max(0.0).min(clip.hidden),
                _ => missing.max(0.0),
            };
            let hidden = if kind == "handed on" { size } else { clip.hidden };
            let event = Event {
                family: Family::ReportCeiling,
                kind,
                begin,
                end,
                size: size / scale.counts_per_mm,
                unit: "mm of travel",
                cause: if clip.at_field { Cause::ReportFormat } else { Cause::Firmware },
            };
            let evidence = json!({
                "top_value": clip.top,
                "reports_at_it": clip.tops,
                "reports_running": clip.rows.len(),
                "ceiling_m_s": round(ceiling_m_s(clip.top, step.slot(), scale.counts_per_mm), 3),
                "counts_hidden": round(hidden, 0),
                "counts_missing": round(missing, 0),
            });
            findings.push(in_swipe(step, phase, swipe, event, evidence));
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.scale.is_none() {
            return no_scale(step, Family::ReportCeiling);
        }
        let examined = step.fast_swipes().map(|(p, s)| key(p, s)).collect();
        let mut out = share(step, Family::ReportCeiling, findings, &examined, " at the fast pace");
        let own = findings.iter().find(|f| f.family == Family::ReportCeiling);
        if let Some(v) = own.and_then(|f| f.evidence.get("ceiling_m_s")?.as_f64()) {
            let most = if slow_ones_clip(step, findings) {
                " or less: slow swipes clip, too, so the scale is short"
            } else {
                ""
            };
            out.because += &format!(", clipped at {v:.2} m/s ({:.0} in/s){most}", v / 0.0254);
        }
        out
    }
}

/// What became of the counts that did not fit: the same for a whole step, since it is how the device is made.
fn kind(step: &StepView, slow: &[f64], baseline: f64) -> &'static str {
    let hides = |(_, _, c): &Clipped| c.hidden > 0.0;
    // Where only reports here and there reach the ceiling no shoulder says what is hidden.
    let told = clipped(step).filter(hides).count() >= LEAST;
    let here = || clipped(step).filter(|c| !told || hides(c));
    let missing: Vec<f64> = here().map(|(_, s, _)| baseline - s.swipe.along).collect();
    let hidden: Vec<f64> = here().map(|(_, _, c)| c.hidden).collect();
    let (Some(missed), Some(hides)) = (median(&missing), median(&hidden)) else { return "unknown" };
    // Neighbouring lengths share a stop: √2. A median's standard error is 1.25 times a mean's.
    let scatter = mad(slow, baseline).unwrap_or(0.0).max(1.0);
    let error = 1.25
        * std::f64::consts::SQRT_2
        * scatter
        * (1.0 / slow.len() as f64 + 1.0 / missing.len() as f64).sqrt();
    let hidden = if told { 0.5 * hides } else { f64::INFINITY };
    let plain = hidden.min(PLAIN * baseline).max(3.0 * error);
    // Shoulders of a run that is short may foretell twice what was cut off.
    let lacks = missed > plain || (shorter_with_tops(step) && (!told || missed > 3.0 * error));
    match (lacks, hides > 6.0 * error) {
        (true, _) => THROWN_AWAY,
        (false, true) => "handed on",
        (false, false) => "unknown",
    }
}

/// True if the swipes of one pace are the shorter the more reports they hold at the top: a straight line through length and
/// number falls by more than [`TREND`]'s standard errors. What else makes fast swipes short does so to all of a pace alike.
fn shorter_with_tops(step: &StepView) -> bool {
    let paces = [Some(Pace::Slow), Some(Pace::Medium), Some(Pace::Fast), None];
    paces.into_iter().any(|pace| {
        let swipes = step.swipes().filter(|(p, s)| p.span.phase.pace == pace && !excused(s));
        let (tops, lengths): (Vec<f64>, Vec<f64>) =
            swipes.map(|(_, s)| (s.clip.as_ref().map_or(0.0, |c| c.tops as f64), s.swipe.along)).unzip();
        let line = polynomial(&tops, &lengths, 1).filter(|_| tops.len() >= TREND.0);
        line.is_some_and(|fit| fit.coefficients.get(1).is_some_and(|slope| -slope > TREND.1 * fit.error(1)))
    })
}

/// True if the operator made a swipe short.
fn excused(swipe: &SwipeView) -> bool {
    swipe.swipe.began_short || swipe.swipe.stopped_short
}

/// Counts of the slow swipes that do not clip; of all slow ones where these are too few.
fn slow_counts(step: &StepView) -> Vec<f64> {
    let slow = || step.swipes().filter(|(p, _)| p.span.phase.pace == Some(Pace::Slow));
    let clean: Vec<f64> = slow().filter(|(_, s)| s.clip.is_none()).map(|(_, s)| s.swipe.along).collect();
    if clean.len() >= LEAST { clean } else { slow().map(|(_, s)| s.swipe.along).collect() }
}
