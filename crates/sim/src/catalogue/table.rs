//! The faults by name.

use super::Named;
use crate::bench::Bench;
use crate::device::DeviceModel;
use crate::fault::{Missing, What};
use crate::firmware::{Debounce, Excess, Scaling};
use crate::link::{Interference, Radio, Stretch};
use crate::sensor::{Bursts, Gain, Loss, Tremble};
use crate::truth::Family;

const fn entry(
    name: &'static str,
    family: Family,
    usual: (f64, &'static str),
    what: &'static str,
    apply: fn(&mut Bench, f64),
) -> Named {
    Named { name, family, unit: usual.1, usual: usual.0, what, apply }
}

/// A limit of tracking, and what is reported beyond it.
fn limit(b: &mut Bench, max_speed_m_s: f64, loss: Loss) {
    b.device.sensor.tracking.max_speed_m_s = max_speed_m_s;
    b.device.sensor.tracking.loss = loss;
}

/// Bad spells of this mean length for a share of the time.
fn bursts(share: f64, mean_ms: f64, device: &DeviceModel, counts: Missing) -> Radio {
    let slots = (1e6 * mean_ms / device.link.interval_ns as f64).max(1.0);
    let leaves_bad = 1.0 / slots;
    let enters_bad = leaves_bad * share / (1.0 - share).max(0.01);
    Radio { enters_bad, leaves_bad, loss_in_good: 0.0, loss_in_bad: 1.0, counts }
}

/// Power saving that takes so long to wake from.
fn doze(b: &mut Bench, wake_ms: f64, counts: Missing) {
    let power = &mut b.device.firmware.power;
    (power.dozes_after_s, power.wake_s, power.counts) = (Some(0.2), 1e-3 * wake_ms, counts);
}

pub(super) const CATALOGUE: &[Named] = &[
    entry(
        "dropout-late",
        Family::Dropout,
        (12.0, "reports"),
        "so many reports in a row come late, in every fourth fast swipe",
        |b, size| b.anywhere_in_fast_swipes(4, What::Dropout { reports: size as u32, counts: Missing::Kept }),
    ),
    entry(
        "dropout-lost",
        Family::Dropout,
        (12.0, "reports"),
        "so many reports in a row are lost on a radio link, in every fourth fast swipe",
        |b, size| {
            // A cable would send them again.
            b.device.link.radio = Some(bursts(0.0, 10.0, &b.device, Missing::Lost));
            b.anywhere_in_fast_swipes(4, What::Dropout { reports: size as u32, counts: Missing::Lost });
        },
    ),
    entry(
        "radio-late",
        Family::Dropout,
        (0.005, "share of time"),
        "the radio link fails in bursts of 10 ms, for this share of the time; counts come late",
        |b, size| b.device.link.radio = Some(bursts(size, 10.0, &b.device, Missing::Kept)),
    ),
    entry(
        "radio-lost",
        Family::Dropout,
        (0.005, "share of time"),
        "the same, and counts are lost",
        |b, size| b.device.link.radio = Some(bursts(size, 10.0, &b.device, Missing::Lost)),
    ),
    entry(
        "interference",
        Family::Dropout,
        (8.0, "ms"),
        "every 100 ms nothing comes through for so long",
        |b, size| {
            b.device.link.interference =
                Some(Interference { period_s: 0.1, length_s: 1e-3 * size, counts: Missing::Kept })
        },
    ),
    entry(
        "disconnect",
        Family::Dropout,
        (300.0, "ms"),
        "the device goes away for so long in a swipe",
        |b, size| b.in_third_swipe(0.4, What::Disconnect { seconds: 1e-3 * size }),
    ),
    entry(
        "tracking-silent",
        Family::TrackingLoss,
        (1.8, "m/s"),
        "above this speed the sensor reports nothing until the hand slows",
        |b, size| limit(b, size, Loss::Silent),
    ),
    entry(
        "tracking-partial",
        Family::TrackingLoss,
        (1.8, "m/s"),
        "above this speed it reports a third of the motion",
        |b, size| limit(b, size, Loss::Partial { share: 0.33 }),
    ),
    entry(
        "tracking-saturated",
        Family::TrackingLoss,
        (1.8, "m/s"),
        "the sensor counts no faster than this",
        |b, size| limit(b, size, Loss::Saturated),
    ),
    entry(
        "tracking-scattered",
        Family::TrackingLoss,
        (1.8, "m/s"),
        "the limit differs from swipe to swipe by 8 %",
        |b, size| {
            limit(b, size, Loss::Silent);
            b.device.sensor.tracking.scatter = 0.08;
        },
    ),
    entry(
        "tracking-acceleration",
        Family::TrackingLoss,
        (30.0, "m/s2"),
        "above this acceleration the sensor reports nothing for 20 ms or longer",
        |b, size| {
            b.device.sensor.tracking.max_acceleration_m_s2 = size;
            b.device.sensor.tracking.hold_s = 0.02;
        },
    ),
    entry(
        "spin-out",
        Family::SpinOut,
        (1.8, "m/s"),
        "above this speed the sensor reports steady motion in a wrong direction",
        |b, size| limit(b, size, Loss::Guess { turn_rad: 2.4, speed_share: 0.8 }),
    ),
    entry(
        "spin-placed",
        Family::SpinOut,
        (25.0, "ms"),
        "for so long, in every fifth fast swipe, it reports motion backwards",
        |b, size| {
            b.in_fast_swipes(
                5,
                0.5,
                What::Lose {
                    loss: Loss::Guess { turn_rad: std::f64::consts::PI, speed_share: 0.7 },
                    seconds: 1e-3 * size,
                },
            )
        },
    ),
    entry(
        "repeat",
        Family::SpinOut,
        (1.8, "m/s"),
        "above this speed the sensor repeats its last motion until the hand slows",
        |b, size| limit(b, size, Loss::Repeat { fade_s: 0.0 }),
    ),
    entry(
        "carry-on",
        Family::CarryOn,
        (30.0, "ms"),
        "in every fourth fast swipe motion goes on for so long past the stop",
        |b, size| {
            b.in_fast_swipes(4, 0.97, What::Lose { loss: Loss::Repeat { fade_s: 0.0 }, seconds: 1e-3 * size })
        },
    ),
    entry("carry-on-fading", Family::CarryOn, (60.0, "ms"), "the same, fading with 15 ms", |b, size| {
        b.in_fast_swipes(4, 0.97, What::Lose { loss: Loss::Repeat { fade_s: 0.015 }, seconds: 1e-3 * size })
    }),
    entry("creep", Family::Drift, (0.05, "mm/s"), "counts add up at rest at this rate", |b, size| {
        b.device.sensor.drift.creep_m_s = [0.8e-3 * size, 0.6e-3 * size]
    }),
    entry("tremble", Family::Drift, (2.0, "1/s"), "one count there and back at rest, so often", |b, size| {
        b.device.sensor.drift.tremble = Tremble { rate_hz: size, counts: 1.0 }
    }),
    entry("bursts", Family::Drift, (0.3, "1/s"), "runs of 12 counts at rest, so often", |b, size| {
        b.device.sensor.drift.bursts = Bursts { rate_hz: size, counts: 12.0, seconds: 0.03 }
    }),
    entry(
        "flicker",
        Family::Drift,
        (20.0, "µm"),
        "a swing of this amplitude at twice the mains frequency",
        |b, size| b.device.sensor.drift.flicker.amplitude_m = 1e-6 * size,
    ),
    entry(
        "gain-slope",
        Family::GainChange,
        (-0.02, "share per m/s"),
        "gain changes with speed by this much",
        |b, size| b.device.sensor.gain = Gain::Slope { per_m_s: size },
    ),
    entry(
        "gain-step",
        Family::GainChange,
        (-0.05, "share"),
        "gain differs by this much above 1 m/s",
        |b, size| b.device.sensor.gain = Gain::Step { above_m_s: 1.0, gain: 1.0 + size },
    ),
    entry(
        "gain-curve",
        Family::GainChange,
        (0.04, "share"),
        "gain bulges by this much about 1.2 m/s",
        |b, size| b.device.sensor.gain = Gain::Curve(vec![(0.3, 1.0), (1.2, 1.0 + size), (2.1, 1.0)]),
    ),
    entry(
        "truncation",
        Family::GainChange,
        (0.37, "ratio"),
        "firmware scales the sensor's counts by this ratio and cuts off fractions",
        |b, size| b.device.firmware.scaling = Some(Scaling { ratio: size, truncates: true }),
    ),
    entry(
        "ceiling-field",
        Family::ReportCeiling,
        (8.0, "bits"),
        "the report's field is this wide; what it cannot hold is thrown away",
        |b, size| b.device.report.bits = size as u8,
    ),
    entry(
        "ceiling-firmware",
        Family::ReportCeiling,
        (100.0, "counts"),
        "firmware clips a report at this many counts, below what the field holds",
        |b, size| b.device.firmware.limit = Some(size as i32),
    ),
    entry(
        "ceiling-carried",
        Family::ReportCeiling,
        (100.0, "counts"),
        "the same, and the rest comes with the next reports",
        |b, size| {
            b.device.firmware.limit = Some(size as i32);
            b.device.firmware.excess = Excess::Carried;
        },
    ),
    entry(
        "resolution",
        Family::Resolution,
        (0.05, "share"),
        "every step has this much more resolution than it says",
        |b, size| b.device.steps.iter_mut().for_each(|step| step.error = size),
    ),
    entry(
        "axes",
        Family::Resolution,
        (0.03, "share"),
        "y has this much more resolution than x",
        |b, size| b.device.sensor.y_over_x = 1.0 + size,
    ),
    entry(
        "direction",
        Family::Resolution,
        (0.01, "share"),
        "out counts this much more than back",
        |b, size| b.device.sensor.out_over_back = size,
    ),
    entry(
        "interval",
        Family::ReportInterval,
        (0.05, "share"),
        "the interval is longer than the nominal one by this much",
        |b, size| b.device.link.clock_error = size,
    ),
    entry(
        "interval-wander",
        Family::ReportInterval,
        (0.02, "share"),
        "the interval wanders by this much",
        |b, size| b.device.link.wander.share = size,
    ),
    entry(
        "interval-jitter",
        Family::ReportInterval,
        (60.0, "µs"),
        "each poll lies off its place by this much (below 1 ms a reader's own lateness hides it: no finding)",
        |b, size| b.device.link.jitter_ns = 1e3 * size,
    ),
    entry(
        "interval-structure",
        Family::ReportInterval,
        (250.0, "µs"),
        "every eighth interval is longer by this much",
        |b, size| b.device.link.stretch = Some(Stretch { every: 8, by_ns: (1e3 * size) as i64 }),
    ),
    entry(
        "wake-late",
        Family::WakeUp,
        (60.0, "ms"),
        "after 0.2 s of rest the first reports take so long, and bring all counts",
        |b, size| doze(b, size, Missing::Kept),
    ),
    entry(
        "wake-short",
        Family::WakeUp,
        (60.0, "ms"),
        "after 0.2 s of rest the motion of so long is lost",
        |b, size| doze(b, size, Missing::Lost),
    ),
    entry(
        "straightening",
        Family::Straightening,
        (6.0, "degrees"),
        "motion this close to an axis is bent onto it",
        |b, size| b.device.sensor.straightening.within_rad = size.to_radians(),
    ),
    entry(
        "lag",
        Family::Lag,
        (4.0, "ms"),
        "motion is reported so much later than by the reference (which is put on the carriage)",
        |b, size| {
            b.reference();
            b.device.lag_ns = (1e6 * size) as i64;
        },
    ),
    entry(
        "strike-lag",
        Family::StrikeLag,
        (8.0, "ms"),
        "strikes are taken so much later than by the reference",
        |b, size| {
            b.reference();
            b.device.firmware.buttons.debounce = Debounce::Wait { lasts_s: 1e-3 * size };
        },
    ),
    entry(
        "stall",
        Family::Host,
        (20.0, "ms"),
        "the host is held up for so long in a fast swipe, and says so",
        |b, size| b.in_fast_swipes(6, 0.5, What::Stall { seconds: 1e-3 * size }),
    ),
    entry("stall-unseen", Family::Host, (20.0, "ms"), "the same, and nobody notices", |b, size| {
        b.host.stalls.seen = false;
        b.in_fast_swipes(6, 0.5, What::Stall { seconds: 1e-3 * size });
    }),
    entry(
        "overrun",
        Family::Host,
        (8.0, "reports"),
        "the kernel's ring holds so many reports, and the host is held up for 20 ms",
        |b, size| {
            b.host.ring = size as u32;
            b.in_fast_swipes(6, 0.5, What::Stall { seconds: 0.02 });
        },
    ),
    entry(
        "coarse-clock",
        Family::Host,
        (15.6, "ms"),
        "stamps come from a clock of this resolution",
        |b, size| b.host.resolution_ns = (1e6 * size) as i64,
    ),
    entry(
        "stop-short",
        Family::Operator,
        (30.0, "mm"),
        "one swipe ends this far from the stop",
        |b, size| b.in_third_swipe(1.0, What::StopShort { by_m: 1e-3 * size }),
    ),
    entry(
        "stop-halfway",
        Family::Operator,
        (300.0, "ms"),
        "one swipe rests on the way for so long",
        |b, size| b.in_third_swipe(0.5, What::StopHalfway { seconds: 1e-3 * size }),
    ),
    entry(
        "lift",
        Family::Operator,
        (40.0, "ms"),
        "the device is lifted in one swipe for so long",
        |b, size| b.in_third_swipe(0.4, What::Lift { seconds: 1e-3 * size }),
    ),
    entry("knock", Family::Operator, (0.3, "mm"), "the desk is knocked in each still phase", |b, size| {
        b.in_still_phases(4.0, What::Knock { amplitude_m: 1e-3 * size })
    }),
    entry(
        "settling",
        Family::Operator,
        (0.3, "mm"),
        "pad and cable settle by so much after the hand has let go",
        |b, size| b.hand.settling.distance_m = 1e-3 * size,
    ),
    entry(
        "step-change",
        Family::Operator,
        (2.0, "step"),
        "in the first phase of swipes the device is at this step, whatever the script says",
        |b, size| b.in_third_swipe(0.0, What::StepChange { to: size as u32 }),
    ),
    entry(
        "yaw",
        Family::Operator,
        (5.0, "degrees"),
        "the device turns by so much from stop to stop",
        |b, size| b.hand.path.yaw_rad = size.to_radians(),
    ),
    entry(
        "arc",
        Family::Operator,
        (350.0, "mm"),
        "the device moves and turns about an elbow this far away",
        |b, size| b.hand.path.arm_m = Some(1e-3 * size),
    ),
    entry(
        "placement",
        Family::Operator,
        (1.0, "mm"),
        "the body comes to rest at the stops with this scatter",
        |b, size| b.hand.placement_scatter_m = 1e-3 * size,
    ),
];
