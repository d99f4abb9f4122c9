//! The account that one device's path keeps of what happened, turned into labels.
//!
//! Owns the bookkeeping only: sizes are sums of what the parts say they took, added or held back.

use crate::device::DeviceModel;
use crate::fault::Missing;
use crate::firmware::{Truncated, Wake};
use crate::sensor::{Burst, Episode, Loss};
use crate::truth::{Cause, Family, Label, PhaseTruth, SwipeTruth};

mod lasting;

/// Straightening that takes less than this from a swipe is rounding; metres.
const LEAST_STRAIGHTENED_M: f64 = 20e-6;
/// A spell of lost track that misses less than this leaves nothing to find; metres.
const LEAST_MISSING_M: f64 = 50e-6;

/// An account.
#[derive(Debug, Clone)]
pub(crate) struct Ledger {
    device: usize,
    pub(crate) phases: Vec<PhaseTruth>,
    pub(crate) swipes: Vec<SwipeTruth>,
    pub(crate) labels: Vec<Label>,
    /// Where the body is now: step, phase, swipe (0 for none).
    here: (u32, u32, u32),
    /// The last swipe that it was in.
    last_swipe: Option<(u32, u32, u32)>,
    missing: Option<Label>,
    overrun: Option<Label>,
    ceiling: Option<Label>,
    /// For each swipe of this device: gain, by phase and swipe.
    gains: Vec<(u32, u32, f64)>,
}

impl Ledger {
    pub(crate) fn new(device: usize) -> Ledger {
        Ledger {
            device,
            phases: Vec::new(),
            swipes: Vec::new(),
            labels: Vec::new(),
            here: (1, 0, 0),
            last_swipe: None,
            missing: None,
            overrun: None,
            ceiling: None,
            gains: Vec::new(),
        }
    }

    pub(crate) fn phase_begins(&mut self, phase: PhaseTruth) {
        self.phases.push(phase);
    }

    pub(crate) fn phase_ends(&mut self, t: i64) {
        if let Some(phase) = self.phases.last_mut() {
            phase.end_ns = t;
        }
    }

    pub(crate) fn swipe(&mut self, swipe: SwipeTruth) {
        self.swipes.push(swipe);
    }

    pub(crate) fn label(&mut self, label: Label) {
        // The operator's doings are every device's; the first one's account holds them.
        if self.device == 0 {
            self.labels.push(label);
        }
    }

    /// Notes where the body is. True if it has just left a swipe.
    pub(crate) fn enters(&mut self, step: u32, phase: u32, swipe: u32) -> bool {
        let before = std::mem::replace(&mut self.here, (step, phase, swipe));
        if swipe > 0 {
            self.last_swipe = Some(self.here);
        }
        before.2 > 0 && before != self.here
    }

    /// Step of the last swipe.
    pub(crate) fn step(&self) -> u32 {
        self.last_swipe.map_or(self.here.0, |swipe| swipe.0)
    }

    /// Puts a label where the body is.
    fn placed(&self, label: Label, (step, phase, swipe): (u32, u32, u32)) -> Label {
        Label {
            step: Some(step),
            phase: (phase > 0).then_some(phase),
            swipe: (swipe > 0).then_some(swipe),
            ..label.of_device(self.device)
        }
    }

    /// The last swipe was left at `t`: its gain, the motion straightened away and the counts truncated.
    pub(crate) fn close_swipe(&mut self, t: i64, taken: (f64, f64, Truncated), scale: [f64; 2]) {
        let Some(place) = self.last_swipe else { return };
        let (gain, straightened_m, truncated) = taken;
        let known = self.swipes.iter_mut().rev().find(|s| (s.phase, s.swipe) == (place.1, place.2));
        let Some(swipe) = known else { return };
        swipe.gain = gain - lost_along(truncated, scale) / swipe.travel_m;
        self.gains.push((place.1, place.2, swipe.gain));
        if straightened_m > LEAST_STRAIGHTENED_M {
            let span = (swipe.begin_ns, t);
            let size = (1e3 * straightened_m, "mm");
            let label = Label::new(Family::Straightening, "bent", Cause::Firmware, span, size);
            self.labels.push(self.placed(label, place));
        }
    }

    /// A report did not arrive.
    pub(crate) fn missed(&mut self, poll: i64, fate: Missing, counts: [i32; 2], scale: [f64; 2]) {
        let moved_mm = 1e3 * length(counts.map(f64::from), scale);
        let label = self.missing.take().unwrap_or_else(|| {
            let label = Label::new(Family::Dropout, fate.kind(), Cause::Link, (poll, poll), (0.0, "mm"));
            self.placed(label, self.here)
        });
        let reports = label.detail.get("reports").copied().unwrap_or(0.0) + 1.0;
        // Kept counts are offered again with each report that misses, so the last one holds them all.
        let size = if fate == Missing::Kept { moved_mm } else { label.size + moved_mm };
        self.missing = Some(Label { end_ns: poll, size, ..label }.with("reports", reports));
    }

    /// A report arrived: a dropout that was going on is over.
    pub(crate) fn arrived(&mut self) {
        if self.missing.is_some() {
            self.labels.extend(self.missing.take());
        }
    }

    /// A report could not hold all counts. `limit`: whether the field set it, whether the rest is carried, its value.
    pub(crate) fn excess(&mut self, poll: i64, excess: [i64; 2], scale: [f64; 2], limit: (bool, bool, i64)) {
        let (by_field, carried, ceiling) = limit;
        let place = self.last_swipe.unwrap_or(self.here);
        let excess_mm = 1e3 * length(excess.map(|e| e as f64), scale);
        let same = |label: &Label| (label.phase, label.swipe) == (Some(place.1), Some(place.2));
        if !self.ceiling.as_ref().is_some_and(same) {
            self.labels.extend(self.ceiling.take());
            let cause = if by_field { Cause::ReportFormat } else { Cause::Firmware };
            let kind = if carried { "carried" } else { "discarded" };
            let label = Label::new(Family::ReportCeiling, kind, cause, (poll, poll), (0.0, "mm"));
            self.ceiling = Some(self.placed(label, place).with("ceiling_counts", ceiling as f64));
        }
        if let Some(label) = &mut self.ceiling {
            label.end_ns = poll;
            // What is carried is offered again each time: the largest backlog is the size.
            label.size = if carried { label.size.max(excess_mm) } else { label.size + excess_mm };
        }
    }

    /// A spell without track is over.
    pub(crate) fn lost_track(&mut self, episode: &Episode) {
        let place = self.last_swipe.unwrap_or(self.here);
        let missing = difference(episode.moved, episode.told);
        let family = match episode.loss {
            Loss::Silent | Loss::Partial { .. } | Loss::Saturated => Family::TrackingLoss,
            Loss::Guess { .. } | Loss::Repeat { .. } => Family::SpinOut,
        };
        let in_swipe_end = episode.outlasted.unwrap_or(episode.end);
        if missing > LEAST_MISSING_M {
            let span = (episode.begin, in_swipe_end);
            let label = Label::new(family, episode.loss.kind(), Cause::Sensor, span, (1e3 * missing, "mm"));
            self.labels.push(self.placed(label, place).with("onset_m_s", episode.onset_m_s));
        }
        let after = difference(episode.told_after, [0.0; 2]);
        if let Some(stopped) = episode.outlasted
            && after > LEAST_MISSING_M
        {
            let kind = match episode.loss {
                Loss::Repeat { fade_s } if fade_s > 0.0 => "fading",
                _ => "steady",
            };
            let span = (stopped.max(episode.begin), episode.end);
            let label = Label::new(Family::CarryOn, kind, Cause::Sensor, span, (1e3 * after, "mm"));
            self.labels.push(self.placed(label, place));
        }
    }

    /// The device woke up.
    pub(crate) fn woke(&mut self, wake: Wake, scale: [f64; 2]) {
        let missing_mm = 1e3 * length(wake.missing.map(|c| c as f64), scale);
        let kind = match wake.counts {
            Missing::Kept => "late",
            Missing::Lost => "short",
        };
        let span = (wake.begin, wake.end);
        let label = Label::new(Family::WakeUp, kind, Cause::PowerSaving, span, (missing_mm, "mm"));
        let late_ms = (wake.end - wake.begin) as f64 * 1e-6;
        self.labels.push(self.placed(label, self.here).with("late_ms", late_ms));
    }

    pub(crate) fn burst(&mut self, burst: Burst) {
        let span = (burst.begin, burst.end);
        let label = Label::new(Family::Drift, "burst", Cause::Surface, span, (burst.counts, "counts"));
        self.labels.push(self.placed(label, self.here));
    }

    /// The kernel's ring was full.
    pub(crate) fn overrun(&mut self, poll: i64, counts: [i32; 2], scale: [f64; 2]) {
        let moved_mm = 1e3 * length(counts.map(f64::from), scale);
        let same = |label: &Label| poll - label.end_ns < 20_000_000;
        if !self.overrun.as_ref().is_some_and(same) {
            self.labels.extend(self.overrun.take());
            let label = Label::new(Family::Dropout, "overrun", Cause::Host, (poll, poll), (0.0, "mm"));
            self.overrun = Some(self.placed(label, self.here));
        }
        if let Some(label) = &mut self.overrun {
            label.end_ns = poll;
            label.size += moved_mm;
        }
    }

    pub(crate) fn stalled(&mut self, begin: i64, end: i64) {
        let size = ((end - begin) as f64 * 1e-6, "ms");
        let label = Label::new(Family::Host, "stall", Cause::Host, (begin, end), size);
        self.labels.push(self.placed(label, self.here));
    }

    pub(crate) fn disconnected(&mut self, begin: i64, end: i64) {
        let size = ((end - begin) as f64 * 1e-6, "ms");
        let label = Label::new(Family::Dropout, "disconnected", Cause::Link, (begin, end), size);
        self.labels.push(self.placed(label, self.here));
    }

    pub(crate) fn step_changed(&mut self, t: i64, to: u32, model: &DeviceModel) {
        let ratio = model.counts_per_m(to)[0] / model.counts_per_m(self.here.0)[0];
        let label = Label::new(Family::Operator, "step-change", Cause::StepChange, (t, t), (ratio, "ratio"));
        self.labels.push(self.placed(label, self.here).with("to_step", f64::from(to)));
    }

    /// The session is over at `end`.
    pub(crate) fn finish(&mut self, end: i64, model: &DeviceModel) {
        let open = [self.missing.take(), self.overrun.take(), self.ceiling.take()];
        self.labels.extend(open.into_iter().flatten());
        self.lasting(end, model);
    }
}

/// What truncation took from the travel in metres: its part along the motion. (What it takes on the other axis of a device
/// that lies askew makes the path no shorter, but for its own part along it.)
fn lost_along(truncated: Truncated, scale: [f64; 2]) -> f64 {
    let metres = |counts: [f64; 2]| [counts[0] / scale[0], counts[1] / scale[1]];
    let (due, lost) = (metres(truncated.due), metres(truncated.lost));
    let moved = difference(due, [0.0; 2]);
    if moved > 0.0 { (due[0] * lost[0] + due[1] * lost[1]) / moved } else { 0.0 }
}

/// Length in metres of a motion in counts.
fn length(counts: [f64; 2], scale: [f64; 2]) -> f64 {
    difference([counts[0] / scale[0], counts[1] / scale[1]], [0.0; 2])
}

fn difference(a: [f64; 2], b: [f64; 2]) -> f64 {
    let [x, y] = [a[0] - b[0], a[1] - b[1]];
    (x * x + y * y).sqrt()
}
