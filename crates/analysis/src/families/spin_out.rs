//! Spin-out: motion reported that the hand did not make.
//!
//! Detects stretches ([`crate::erratic`], [`crate::false_motion`]) away from the stops whose counts run backwards, across the
//! swipe or faster than any arm, from one report to the next as no arm can, and those that repeat the same motion across a
//! hidden peak, unless these are [one top speed](crate::false_motion::top_speed) (a tracking loss); each worth at least [`LEAST_MM`] of motion that the expected speed does not account for. Left
//! out: swipes that clip, what a stall of this computer explains, and counts that leap ahead to stay so in the swipes after.
//!
//! Reversals that are a counter's overflow are [`wrapped`], the firmware's or the report format's.
//!
//! Decides on the share of swipes that show it, exact limits. Told apart from a bounce (within the end zone, after the
//! stop) and from a tilted frame (against the direction just before).
//!
//! `p_false`: of a turn, the normal tail of its change of velocity beyond what an arm of 150 m/s² does in the same time,
//! times all looks of the step: a hand that turns as hard as that all the time is the worst there is. None for a repeat, nor
//! for a turn that the travel shows and not its abruptness: no chance is known for these, and a sound device makes none.
//!
//! Smallest found: with v the speed, h the report interval and f = 4 ms / H (1 to 4), H being h or 1 ms if that is more,
//! false motion that differs from the true by twice `2.5 counts + 0.15 v H + 150 m/s² · H² (1 + f) / 2`, by 2 v h, and by 2
//! mm, at three counts a report and more before it: at 2 m/s 2 mm at 0.5 ms, 4 mm at 1 ms, 16 mm at 4 ms, 32 mm at 8 ms.
//! What comes to 2 v h undoes a whole report's motion even if two share it; with less, both may read like reports of a
//! sensor that saw too little. A repeat: five reports of eight counts over a peak that rises 3 counts and 2 % above them;
//! where frames beat against reports, 4 % of the travel and 16 standard deviations of a stop, by frames of 3 kHz and
//! faster, at three counts a report; where six and more end 5 ms, four reports and 8 mm before the stop, at 2 ms and less,
//! else it is told as a sensor's [top speed](crate::false_motion::top_speed), a tracking loss, if they agree (first three,
//! and at 4 ms as well: 33 of 224 were told so). What is smaller is reported as partial tracking loss or, if it leaves a
//! swipe short, as a short swipe of unknown cause.
//!
//! (First written as 2 mm; changed after it was seen that an arm may do as much within 8 ms. Then without 2 v h and with 12
//! standard deviations: one in ten of 2 mm was seen as partial loss, of half an interval's false motion each. Then 14 % of those
//! that lasted until just before the stop were missed as a bounce there, and repeats whose frames beat by 5 %: both are found
//! now. Two in one hand's back and forth that the finder of swipes takes for one swipe are still one event.) Cost: O(reports).

mod again;
mod aslant;
mod spikes;
mod wrapped;

use super::{Detector, Event, in_swipe, key, no_scale, round, share, swipes_with};
use crate::erratic::{ARM_ACCELERATION, LEAST_MM, Stretch, Wrong};
use crate::false_motion::per_cell;
use crate::silence::Silence;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;
use statrs::distribution::{ContinuousCDF, Normal};

pub(super) struct SpinOut;

/// Kind of motion that is told again.
pub(super) const REPEATED: &str = "repeated";

/// Time from which the speed before a turn is taken, seconds.
const BEFORE_S: f64 = 4e-3;
/// Noise of a cell's counts, relative: data sheets give 1 % typical.
const NOISE: f64 = 0.02;
/// Windows that are looked at from each report on: 7 and 4.
const LOOKS: f64 = 11.0;
/// Normal tails are not believed beyond this.
const LEAST_CHANCE: f64 = 1e-9;

impl Detector for SpinOut {
    fn family(&self) -> Family {
        Family::SpinOut
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let Some(scale) = step.scale else { return };
        let clipped = swipes_with(Family::ReportCeiling, findings);
        for (phase, swipe) in step.swipes().filter(|(p, s)| !clipped.contains(&key(p, s))) {
            let changed = |s: &Stretch| {
                let own = key(phase, swipe);
                let leaps = s.wrong == Wrong::Repeated || (s.wrong == Wrong::Ahead && !s.recovered);
                leaps && step.changes.iter().any(|run| run.touches(own))
            };
            for stretch in swipe.stretches.iter().filter(|s| !s.wrong.is_loss() && !changed(s)) {
                let (along, across) = unexplained_mm(phase, swipe, stretch, scale.counts_per_mm);
                let size = along.hypot(across);
                // One motion again and again is less than the hand's, where this has gone on to speed up.
                let lacks = stretch.wrong == Wrong::Repeated && along < 0.0;
                if size < LEAST_MM {
                    continue;
                }
                let event = Event {
                    family: Family::SpinOut,
                    kind: match stretch.wrong {
                        Wrong::Reversal => "reversal",
                        Wrong::BeyondAnArm => "beyond an arm",
                        Wrong::Ahead => "ahead",
                        Wrong::Repeated => REPEATED,
                        _ => "sideways",
                    },
                    begin: stretch.begin,
                    end: stretch.end,
                    size,
                    unit: if lacks { "mm of travel" } else { "mm of false motion" },
                    cause: Cause::Sensor,
                };
                let seconds = stretch.within_s;
                let per_mm = scale.counts_per_mm;
                let mut evidence = json!({
                    "reports": stretch.rows.len(),
                    "along_mm": round(stretch.counts.0 / per_mm, 2),
                    "across_mm": round(stretch.counts.1 / per_mm, 2),
                });
                if let Some(map) = evidence.as_object_mut().filter(|_| stretch.wrong != Wrong::Repeated) {
                    map.insert("velocity_jump_m_s".to_owned(), round(stretch.jump_m_s, 2));
                    map.insert("jump_within_ms".to_owned(), round(1e3 * seconds, 3));
                    map.insert("an_arm_can_m_s".to_owned(), round(ARM_ACCELERATION * seconds, 2));
                }
                let mut finding = in_swipe(step, phase, swipe, event, evidence);
                finding.p_false = chance(step, swipe, stretch, scale.counts_per_mm);
                findings.push(finding);
            }
        }
        for look in [again::of_step, spikes::of_step] {
            let own = findings.iter().filter(|f| matches!(f.family, Family::SpinOut | Family::ReportCeiling));
            let told = own.filter_map(|f| Some((f.phase, f.swipe?))).collect();
            let found = look(step, &told);
            findings.extend(found);
        }
        let told = findings.iter().filter_map(|f| Some((f.phase, f.swipe?))).collect();
        findings.extend(aslant::of_step(step, &told));
        wrapped::rename(step, findings);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.scale.is_none() {
            return no_scale(step, Family::SpinOut);
        }
        let examined = step.swipes().map(|(p, s)| key(p, s)).collect();
        let mut out = share(step, Family::SpinOut, findings, &examined, "");
        out.because += &spikes::words(findings);
        out
    }
}

/// Chance that a sound device in the hardest of hands shows a turn like this one in a step; `None` if it was not its
/// abruptness that told.
fn chance(step: &StepView, view: &SwipeView, stretch: &Stretch, per_mm: f64) -> Option<f64> {
    let grid = &view.grid;
    let cell_s = grid.slot * per_cell(grid.slot) as f64 * 1e-9;
    let before = (BEFORE_S / cell_s).floor().clamp(1.0, 4.0);
    let cells = stretch.within_s / cell_s;
    let at = grid.index(stretch.begin).min(grid.expected_mm_s.len().checked_sub(1)?);
    let per_cell_mm = grid.expected_mm_s.get(at)?.max(0.0) * cell_s;
    let changed = 1e3 * stretch.jump_m_s * stretch.within_s;
    let arm = 1e3 * ARM_ACCELERATION * stretch.within_s * (stretch.within_s + before * cell_s) / 2.0;
    // Four edges in counts of 1/√12 each, two of them scaled up to the window's width; 2 % of each cell's motion.
    let ratio = cells / before;
    let edges = (2.0 + 2.0 * ratio * ratio) / 12.0 / (per_mm * per_mm);
    let noise = NOISE * NOISE * per_cell_mm * per_cell_mm * (cells + cells * ratio);
    let z = (changed - arm) / (edges + noise).sqrt();
    if stretch.wrong == Wrong::Repeated || !z.is_finite() || z <= 0.0 {
        return None;
    }
    let looks: f64 = step.swipes().map(|(_, s)| s.grid.along_mm.len() as f64).sum();
    Some((Normal::standard().sf(z) * LOOKS * looks).clamp(LEAST_CHANCE, 1.0))
}

/// What the reports of a stretch count along beyond what is expected, and across, mm: along and across added up first, so
/// that rounding cancels. With the cell on either side, which may be right in part and false in part; but not what is expected of
/// silences, which is missing and not false, and told as such.
fn unexplained_mm(phase: &PhaseView, view: &SwipeView, stretch: &Stretch, per_mm: f64) -> (f64, f64) {
    let travel_mm = (view.swipe.one_travel / per_mm).max(0.0);
    let cell = per_cell(view.grid.slot);
    let first = stretch.rows.start.saturating_sub(cell).max(view.swipe.rows.start);
    let last = (stretch.rows.end + cell).min(view.swipe.rows.end);
    let over = view.grid.over(&phase.series, &(first..last));
    let time = |row: usize| phase.series.samples.get(row).map_or(0, |s| s.t);
    let (begin, end) = (time(first), time(last.saturating_sub(1)));
    let within = |s: &&Silence| !s.to_the_end && begin <= s.begin && s.end <= end;
    let silent: f64 = view.silences.iter().filter(within).map(|s| view.grid.silent_mm(s)).sum();
    // A hand makes no more than one travel meanwhile, however long that is. (Added after 6.4 m had been told of one of 200 mm.)
    over.map_or((0.0, 0.0), |(expected, counted)| {
        (counted.0 - (expected - silent).clamp(0.0, travel_mm), counted.1)
    })
}
