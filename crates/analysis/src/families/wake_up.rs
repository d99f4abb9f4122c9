//! Wake-up: the first motion after rest comes late or short.
//!
//! A *start* is a report after [`REST`] without one, into a swipe that then goes on in every slot. A hand starts slowly, so
//! a sound device says so while it is still slow. Speed v and acceleration a at the first report are read from the reports
//! that follow (a line through [`FLANK`], not from the first report, which may hold more than its slot). To reach v at an
//! acceleration that was no higher before (of a smooth start it rises) the hand needed v/a and went v²/2a: reports that
//! the device did not make.
//!
//! - *late*: the first report brings at least [`LEAST_MM`] and as much again as one slot's counts on top of that slot's;
//! - *short*: it does not, v/a is at least [`LEAST_SLOTS`] slots, and the swipe is not longer than the missing counts
//!   allow ([`SCATTER_MM`] for the placement at two stops).
//!
//! Not looked at: starts that the computer explains (a stall, reports read in batches), and events that an earlier family
//! has found. Decides on the share of starts from rest that show it, exact limits. Too few clean starts are not examined:
//! a session need not rest between swipes. Power saving that costs no motion is sound, whatever it does at rest.
//!
//! Cause: power saving if it recurs ([`RECURS`] starts and more), else unknown: a single one may be a lost report.
//! Assumes the report interval and the scale. Smallest found (written before the first accuracy run): 2 mm, at three
//! counts a slot and six slots of silence for a smooth start. Cost: O(reports).

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::erratic::ARM_ACCELERATION;
use crate::series::{DUE, Frame, Sample};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use serde_json::json;
use std::collections::BTreeSet;

pub(super) struct WakeUp;

/// No report for so long is rest: no device that moves at all is silent for a tenth of a second.
const REST: i64 = 100_000_000;
/// Reports and time after the first one from which speed and acceleration are read.
const FLANK: (usize, f64) = (4, 6e6);
/// Smallest motion that is missing or late.
const LEAST_MM: f64 = 1.0;
/// Slots that a hand would have needed to reach the speed of the first report. One is the poll's own phase, one the
/// sensor's frame and the first count.
const LEAST_SLOTS: f64 = 2.5;
/// Two stops, each placed to about 1 mm by hand, differ by less than this.
const SCATTER_MM: f64 = 4.0;
/// Starts that show it before it is put down to power saving.
const RECURS: usize = 2;

/// A start from rest.
struct Start {
    /// Time of the first report, and of the last one before.
    t: i64,
    before: i64,
    /// Counts along of the first report.
    first: f64,
    /// Speed then, counts per slot.
    per_slot: f64,
    /// Counts that a hand must have made before, and the slots it needed.
    unsaid: f64,
    slots: f64,
}

/// Starts from rest in a swipe or just before it.
fn starts(step: &StepView, phase: &PhaseView, swipe: &SwipeView, after: i64) -> Vec<Start> {
    let (Some(frame), slot) = (step.frame, step.slot()) else { return Vec::new() };
    let samples = &phase.series.samples;
    let (mut first, end) =
        (swipe.swipe.rows.start.min(samples.len()), swipe.swipe.rows.end.min(samples.len()));
    // The swipe is taken to begin where it has left a creep; its first counts may lie before.
    while first > 0
        && samples[first].t.saturating_sub(samples[first - 1].t) < REST
        && samples[first - 1].t > after
    {
        first -= 1;
    }
    let begins = |row: &usize| {
        let before = row.checked_sub(1).map_or(phase.span.begin.0, |b| samples[b].t);
        samples[*row].t.saturating_sub(before) >= REST
    };
    let rows = (first..end).filter(begins);
    // On the way, what ended at speed is a silence and no rest.
    let rested = |row: &usize| {
        let last = samples[..*row].last().map_or(0, |s| s.t);
        let recent = samples[first..*row].iter().rev().take_while(|s| last - s.t < REST / 4);
        let moved: f64 = recent.map(|s| frame.of(s).0.abs()).sum();
        *row <= swipe.swipe.rows.start || moved <= DUE as f64 * REST as f64 / 4.0 / slot
    };
    rows.filter(rested).filter_map(|row| start(step, phase, frame, row, swipe.swipe.sign(), slot)).collect()
}

fn start(
    step: &StepView,
    phase: &PhaseView,
    frame: Frame,
    row: usize,
    sign: f64,
    slot: f64,
) -> Option<Start> {
    let samples = &phase.series.samples;
    let along = |s: &Sample| sign * frame.of(s).0;
    let t = samples[row].t;
    let before = row.checked_sub(1).map_or(phase.span.begin.0, |b| samples[b].t);
    let count = FLANK.0.max((FLANK.1 / slot).ceil() as usize);
    let flank = samples.get(row + 1..row + 1 + count)?;
    let whole = flank.iter().chain([&samples[row]]).all(|s| s.timed);
    let last = flank.last()?.t;
    let unbroken = ((last - t) as f64) < 1.25 * slot * count as f64;
    if !whole || !unbroken || step.host.explain(t, last) {
        return None;
    }
    // A line through counts per slot at times (in slots) after the first report; the i-th covers the slot before it.
    let n = count as f64;
    let middle = flank.iter().map(|s| (s.t - t) as f64 / slot - 0.5).sum::<f64>() / n;
    let mean = flank.iter().map(along).sum::<f64>() / n;
    let (mut xx, mut xy) = (0.0, 0.0);
    for s in flank {
        let x = (s.t - t) as f64 / slot - 0.5 - middle;
        xx += x * x;
        xy += x * (along(s) - mean);
    }
    // Rounding to whole counts makes each report uncertain by √(1/6).
    let slope = xy / xx + 2.0 * (1.0 / 6.0 / xx).sqrt();
    let scale = step.scale?.counts_per_mm;
    let hand = ARM_ACCELERATION * 1e3 * scale * (slot * 1e-9) * (slot * 1e-9);
    let per_slot = (mean - slope.max(0.0).min(hand) * middle).max(0.0);
    let acceleration = slope.min(hand).max(1e-9);
    let slots = per_slot / acceleration;
    let unsaid = 0.5 * per_slot * slots;
    Some(Start { t, before, first: along(&samples[row]), per_slot, unsaid, slots })
}

impl Detector for WakeUp {
    fn family(&self) -> Family {
        Family::WakeUp
    }

    fn required(&self, _: &StepView) -> bool {
        false
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        if step.coarse_clock() {
            return;
        }
        let Some(scale) = step.scale.map(|s| s.counts_per_mm) else { return };
        let mut own = Vec::new();
        for_each_start(step, |phase, swipe, start| {
            let lump = start.first - start.per_slot;
            let short_mm = (swipe.swipe.one_travel - swipe.swipe.along) / scale;
            let late = lump >= (LEAST_MM * scale).max(start.per_slot).max(2.0 * DUE as f64);
            let unsaid_mm = start.unsaid / scale;
            let silent = start.slots >= LEAST_SLOTS && start.per_slot >= DUE as f64;
            let short = silent
                && unsaid_mm >= LEAST_MM
                && short_mm > unsaid_mm.min(0.5 * swipe.swipe.one_travel / scale) - SCATTER_MM;
            if !late && !short {
                return;
            }
            let missing_mm = if late { lump / scale } else { unsaid_mm.min(short_mm.max(LEAST_MM)) };
            // Of a smooth start x = v t / 3.
            let silent_ns = 3.0 * missing_mm * scale / start.per_slot.max(1.0) * step.slot();
            let begin = start.t.saturating_sub(silent_ns as i64).max(start.before);
            if findings.iter().any(|f| f.swipe.is_some() && f.begin_ns <= start.t && begin <= f.end_ns) {
                return;
            }
            let event = Event {
                family: Family::WakeUp,
                kind: if late { "late" } else { "short" },
                begin,
                end: start.t,
                size: missing_mm,
                unit: "mm of travel",
                cause: Cause::PowerSaving,
            };
            let evidence = json!({
                "rest_s": round((start.t - start.before) as f64 * 1e-9, 3),
                "first_report_counts": round(start.first, 1),
                "counts_per_report_after": round(start.per_slot, 1),
                "reports_unsaid": round(start.slots.min(1e6), 1),
                "silent_ms": round(silent_ns * 1e-6, 1),
                "swipe_short_by_mm": round(short_mm, 2),
            });
            own.push(in_swipe(step, phase, swipe, event, evidence));
        });
        if own.len() < RECURS {
            own.iter_mut().for_each(|f: &mut Finding| f.cause = Cause::Unknown);
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.coarse_clock() {
            return not_examined(step, Family::WakeUp, "the stamps are coarser than the report interval");
        }
        if step.scale.is_none() {
            let why = "no swipes, or neither travel nor nominal resolution is known";
            return not_examined(step, Family::WakeUp, why);
        }
        let mut examined: BTreeSet<(u32, u32)> = swipes_with(Family::WakeUp, findings);
        let any = !examined.is_empty();
        for_each_start(step, |phase, swipe, _| {
            examined.insert(key(phase, swipe));
        });
        let out = share(step, Family::WakeUp, findings, &examined, " that began after rest");
        if !any && out.verdict == Outcome::Inconclusive {
            let why = format!("only {} swipes began after a rest without reports: too few", examined.len());
            return not_examined(step, Family::WakeUp, &why);
        }
        out
    }
}

fn for_each_start(step: &StepView, mut what: impl FnMut(&PhaseView, &SwipeView, &Start)) {
    for phase in &step.phases {
        let mut after = i64::MIN;
        for swipe in &phase.swipes {
            starts(step, phase, swipe, after).iter().for_each(|start| what(phase, swipe, start));
            after = swipe.swipe.end;
        }
    }
}
