//! Labels of what lasts: departures that follow from a device's parameters for a whole phase or session.

use super::Ledger;
use crate::device::DeviceModel;
use crate::truth::{Cause, Family, Label};

/// Clocks of a sound full-speed USB link agree to this (USB 2.0 section 7.1.11: data rate within 0.25 %).
const CLOCKS_AGREE: f64 = 2.5e-3;
/// Jitter below this share of the interval is what any host makes.
const LEAST_JITTER: f64 = 0.01;
/// Gain that differs by less than this between paces is rounding.
const LEAST_CONTRAST: f64 = 2e-5;

impl Ledger {
    pub(super) fn lasting(&mut self, end: i64, model: &DeviceModel) {
        let mut labels = Vec::new();
        resolution(end, model, &mut labels);
        interval(end, model, &mut labels);
        self.gain(model, &mut labels);
        self.drift(model, &mut labels);
        labels.iter_mut().for_each(|label| label.device = self.device);
        self.labels.append(&mut labels);
    }

    /// Contrast between the fastest and the slowest phase of swipes at each step.
    fn gain(&self, model: &DeviceModel, labels: &mut Vec<Label>) {
        let truncates = model.firmware.scaling.is_some_and(|scaling| scaling.truncates);
        let (kind, cause) = match (model.sensor.gain.kind(), truncates) {
            (Some(kind), _) => (kind, Cause::Sensor),
            (None, true) => ("truncation", Cause::Firmware),
            (None, false) => return,
        };
        let mut steps: Vec<u32> = self.phases.iter().map(|phase| phase.step).collect();
        steps.sort_unstable();
        steps.dedup();
        for step in steps {
            let of_step = self.phases.iter().filter(|phase| phase.step == step);
            let paces: Vec<_> = of_step.filter_map(|phase| Some((phase, self.pace(phase.number)?))).collect();
            let slow = paces.iter().min_by(|a, b| a.1.0.total_cmp(&b.1.0));
            let fast = paces.iter().max_by(|a, b| a.1.0.total_cmp(&b.1.0));
            let (Some((_, slow)), Some((phase, fast))) = (slow, fast) else { continue };
            let contrast = fast.1 / slow.1 - 1.0;
            if contrast.abs() > LEAST_CONTRAST {
                let span = (phase.begin_ns, phase.end_ns);
                let label = Label::new(Family::GainChange, kind, cause, span, (contrast, "share"));
                let label = label.with("slow_peak_m_s", slow.0).with("fast_peak_m_s", fast.0);
                labels.push(Label { step: Some(step), phase: Some(phase.number), ..label });
            }
        }
    }

    /// Mean peak speed and mean gain of the swipes of a phase.
    fn pace(&self, phase: u32) -> Option<(f64, f64)> {
        let swipes = || self.swipes.iter().filter(move |swipe| swipe.phase == phase);
        let n = swipes().count() as f64;
        let gains = || self.gains.iter().filter(move |gain| gain.0 == phase);
        let known = gains().count() as f64;
        (n > 0.0 && known > 0.0).then(|| {
            let peak = swipes().map(|swipe| swipe.peak_m_s).sum::<f64>() / n;
            (peak, gains().map(|gain| gain.2).sum::<f64>() / known)
        })
    }

    /// Drift that goes on all the time, once for each still phase.
    fn drift(&self, model: &DeviceModel, labels: &mut Vec<Label>) {
        let drift = model.sensor.drift;
        let creep = super::difference(drift.creep_m_s, [0.0; 2]);
        for phase in self.phases.iter().filter(|phase| phase.still) {
            let span = (phase.begin_ns, phase.end_ns);
            let seconds = (span.1 - span.0) as f64 * 1e-9;
            let mut add = |kind, cause, size| {
                let label = Label::new(Family::Drift, kind, cause, span, size);
                labels.push(Label { step: Some(phase.step), phase: Some(phase.number), ..label });
            };
            if creep > 0.0 {
                add("creep", Cause::Sensor, (1e3 * creep * seconds, "mm"));
            }
            if drift.tremble.rate_hz > 0.0 {
                add("tremble", Cause::Sensor, (drift.tremble.rate_hz, "1/s"));
            }
            if drift.flicker.amplitude_m > 0.0 {
                add("flicker", Cause::Sensor, (1e3 * drift.flicker.amplitude_m, "mm"));
            }
        }
    }
}

fn resolution(end: i64, model: &DeviceModel, labels: &mut Vec<Label>) {
    // What all steps share is the sensor's; a step that is off in its own way has a setting of its own.
    let first = model.steps.first().map_or(0.0, |step| step.error);
    let shared = model.steps.iter().all(|step| step.error == first);
    let own = if shared { Cause::Sensor } else { Cause::Firmware };
    for (step, id) in model.steps.iter().zip(1..).filter(|(step, _)| step.error != 0.0) {
        let label = Label::new(Family::Resolution, "step", own, (0, end), (step.error, "share"));
        labels.push(Label { step: Some(id), ..label });
    }
    let mut add = |kind, step, size| {
        let label = Label::new(Family::Resolution, kind, Cause::Sensor, (0, end), (size, "share"));
        labels.push(Label { step, ..label });
    };
    if model.sensor.y_over_x != 1.0 {
        add("axes", None, model.sensor.y_over_x - 1.0);
    }
    if model.sensor.skew_rad != 0.0 {
        add("skew", None, model.sensor.skew_rad);
    }
    if model.sensor.out_over_back != 0.0 {
        add("direction", None, model.sensor.out_over_back);
    }
}

fn interval(end: i64, model: &DeviceModel, labels: &mut Vec<Label>) {
    let link = &model.link;
    let mut add = |kind, size, unit| {
        labels.push(Label::new(Family::ReportInterval, kind, Cause::Link, (0, end), (size, unit)));
    };
    if link.clock_error.abs() > CLOCKS_AGREE {
        add("off-nominal", link.clock_error, "share");
    }
    if link.wander.share > 0.0 {
        add("wander", link.wander.share, "share");
    }
    if link.jitter_ns > LEAST_JITTER * link.interval_ns as f64 {
        add("jitter", link.jitter_ns * 1e-6, "ms");
    }
    if let Some(stretch) = link.stretch {
        add("structure", stretch.by_ns as f64 * 1e-6, "ms");
    }
}
