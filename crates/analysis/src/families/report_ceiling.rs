//! Report ceiling: deltas clip at what the report's field, or the firmware, can hold.
//!
//! Detects at least [`SWIPES`] swipes that each hold the session's top value of an axis for [`RUN`] reports running
//! (one swipe alone raises false alarms: at constant speed a sound device repeats a delta). The top value is that of
//! the axis over the whole session, and no less than [`LEAST_TOP`]. Below the field's limit the run must also hide a
//! peak: its shoulders are too steep for a level as short as it is ([`HIDDEN`]).
//!
//! Cause: the report format where the top value reaches the descriptor's or the field's limit, else the firmware.
//! Kind: *thrown away* where the swipe's counts fall short of the slow swipes' by more than [`SHORT`], *handed on*
//! where they do not, *unknown* without a clean slow swipe. Ceiling speed = top value × report rate / resolution.
//!
//! Decides on the share of fast swipes that clip, exact limits. Smallest found: three reports. Cost: O(reports).

use super::{Detector, Event, in_swipe, key, not_examined, round, share};
use crate::series::Sample;
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;
use slipgauge_trace::recording::DeviceTrace;
use slipgauge_trace::session::Pace;
use std::ops::Range;

pub(super) struct ReportCeiling;

/// Swipes that must hold the top value.
const SWIPES: usize = 3;
/// Reports for which each must hold it.
const RUN: usize = 3;
/// Counts, and share of the top value, by which a hidden peak must rise above a run below the field's limit.
const HIDDEN: (f64, f64) = (3.0, 0.02);
/// A smaller top value is held by rounding alone.
const LEAST_TOP: i32 = 20;
/// Counts missing against the slow swipes that are more than placement scatter.
const SHORT: f64 = 0.015;

/// An axis of the sensor.
#[derive(Clone, Copy)]
enum Axis {
    X,
    Y,
}

impl Axis {
    fn of(self, s: &Sample) -> i32 {
        match self {
            Axis::X => s.x,
            Axis::Y => s.y,
        }
    }
}

/// Samples of the longest run at the top value.
fn run(samples: &[Sample], axis: Axis, top: i32, slot: f64) -> Option<Range<usize>> {
    let mut best = 0..0;
    let mut begin = 0;
    for (row, s) in samples.iter().enumerate() {
        let holds = axis.of(s).saturating_abs() >= top;
        let follows = row > begin && ((s.t - samples[row - 1].t) as f64) < 1.9 * slot;
        if !holds {
            begin = row + 1;
        } else if !follows {
            begin = row;
        }
        if row + 1 - begin > best.len() {
            best = begin..row + 1;
        }
    }
    (best.len() >= RUN).then_some(best)
}

/// Counts by which a smooth peak with the shoulders of this run would rise above it: a parabola that meets a level at
/// slopes a and b over L reports rises (a + b)/2 · L/4 above it. A sound device's own peak rises by its rounding.
fn hidden_peak(samples: &[Sample], axis: Axis, run: &Range<usize>) -> f64 {
    let reach = (run.len() / 2).max(3);
    let top = f64::from(axis.of(&samples[run.start]).saturating_abs());
    // A run that begins or ends with the swipe itself has the steepest shoulder there is.
    let slope = |row: usize, edge: usize| match row.abs_diff(edge) {
        0 => top,
        apart => (top - f64::from(axis.of(&samples[row]).saturating_abs())) / apart as f64,
    };
    let (first, last) = (run.start, run.end - 1);
    let (rise, fall) =
        (slope(first.saturating_sub(reach), first), slope((last + reach).min(samples.len() - 1), last));
    0.5 * (rise + fall) * run.len() as f64 / 4.0
}

/// Largest magnitude on an axis that the descriptor or its field allows, by sign of the travel: the smaller one.
fn limit(step: &StepView, axis: Axis) -> Option<i64> {
    let index = match axis {
        Axis::X => 0,
        Axis::Y => 1,
    };
    let formats = step.trace.formats.iter();
    let limits = formats.filter_map(|f| {
        let (low, high) = f.limits?[index];
        let (field_low, field_high) = f.field_range?[index];
        // A descriptor that states no range at all leaves the field's own.
        let high = if high > 0 { i64::from(high).min(field_high) } else { field_high };
        let low =
            if low < 0 { i64::from(low).unsigned_abs().min(field_low.unsigned_abs()) } else { u64::MAX };
        Some(high.min(i64::try_from(low).unwrap_or(i64::MAX)))
    });
    limits.max()
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
        let slot = step.slot();
        for axis in [Axis::X, Axis::Y] {
            let Some(top) = top_value(step.trace, axis).filter(|&top| top >= LEAST_TOP) else { continue };
            let at_field = limit(step, axis).is_some_and(|limit| i64::from(top) >= limit);
            let holds = |(phase, swipe): (_, _)| hold(phase, swipe, axis, top, slot, at_field);
            let held: Vec<_> = step.swipes().filter_map(holds).collect();
            if held.len() < SWIPES {
                continue;
            }
            let clipped: Vec<_> = held.iter().map(|(p, s, _)| key(p, s)).collect();
            let baseline = clean_slow(step, &clipped);
            let ceiling_m_s = f64::from(top) / (slot * 1e-9) / scale.counts_per_mm * 1e-3;
            for (phase, swipe, run) in held {
                let samples = &phase.series.samples[swipe.swipe.rows.clone()];
                let missing = baseline.map(|b| 1.0 - swipe.swipe.along / b);
                let kind = match missing {
                    None => "unknown",
                    Some(m) if m > SHORT => "thrown away",
                    Some(_) => "handed on",
                };
                let event = Event {
                    family: Family::ReportCeiling,
                    kind,
                    begin: samples[run.start].t,
                    end: samples[run.end - 1].t,
                    size: missing.unwrap_or(0.0).max(0.0) * swipe.swipe.one_travel / scale.counts_per_mm,
                    unit: "mm of travel",
                    cause: if at_field { Cause::ReportFormat } else { Cause::Firmware },
                };
                let evidence = json!({
                    "top_value": top,
                    "reports_running": run.len(),
                    "ceiling_m_s": round(ceiling_m_s, 3),
                });
                findings.push(in_swipe(step, phase, swipe, event, evidence));
            }
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.scale.is_none() {
            return not_examined(
                step,
                Family::ReportCeiling,
                "no swipes, or neither travel nor nominal resolution is known",
            );
        }
        let examined = step.fast_swipes().map(|(p, s)| key(p, s)).collect();
        let mut out = share(step, Family::ReportCeiling, findings, &examined, " at the fast pace");
        let own = findings.iter().find(|f| f.family == Family::ReportCeiling);
        if let Some(v) = own.and_then(|f| f.evidence.get("ceiling_m_s")?.as_f64()) {
            out.because += &format!(", clipped at {v:.2} m/s ({:.0} in/s)", v / 0.0254);
        }
        out
    }
}

type Held<'a> = (&'a PhaseView, &'a SwipeView, Range<usize>);

/// The run of a swipe, if it holds the top value; below the field's limit only if a peak is hidden by it.
fn hold<'a>(
    phase: &'a PhaseView,
    swipe: &'a SwipeView,
    axis: Axis,
    top: i32,
    slot: f64,
    at_field: bool,
) -> Option<Held<'a>> {
    let samples = &phase.series.samples[swipe.swipe.rows.clone()];
    let run = run(samples, axis, top, slot)?;
    let clips = at_field || hidden_peak(samples, axis, &run) > HIDDEN.0.max(HIDDEN.1 * f64::from(top));
    clips.then_some((phase, swipe, run))
}

/// Median counts of the slow swipes that do not clip.
fn clean_slow(step: &StepView, clipped: &[(u32, u32)]) -> Option<f64> {
    let slow =
        step.swipes().filter(|(p, s)| p.span.phase.pace == Some(Pace::Slow) && !clipped.contains(&key(p, s)));
    median(&slow.map(|(_, s)| s.swipe.along).collect::<Vec<_>>())
}

/// Top value of an axis over the whole session.
fn top_value(trace: &DeviceTrace, axis: Axis) -> Option<i32> {
    let column = match axis {
        Axis::X => &trace.motion.x,
        Axis::Y => &trace.motion.y,
    };
    column.iter().map(|v| v.saturating_abs()).max()
}
