//! Parameters that make no sense are refused before a session is made of them.

use crate::device::DeviceModel;
use crate::fault::{Fault, Place, What};
use crate::firmware::{Debounce, Firmware};
use crate::hand::{Course, Hand};
use crate::host::Host;
use crate::link::Link;
use crate::script::Doing;
use crate::sensor::{Gain, Loss, Sensor};
use crate::{Bench, SimError};

/// Fastest peak that a hand is let to make, in metres per second: twice what hard flicks reach.
const PEAK_LIMIT_M_S: f64 = 10.0;
/// Longest time that a parameter may name, in seconds: more than a week.
const LONG_S: f64 = 1e6;

type Checked = Result<(), SimError>;

pub(crate) fn check(bench: &Bench) -> Checked {
    within("travel.told_um", bench.travel.told_um as f64, 1e4, 5e6)?;
    within("travel.uncertainty_um", bench.travel.uncertainty_um as f64, 0.0, 1e5)?;
    let travel_m = bench.travel.true_m.unwrap_or(bench.travel.told_um as f64 * 1e-6);
    within("travel.true_m", travel_m, 0.01, 5.0)?;
    hand(&bench.hand, travel_m)?;
    for phase in &bench.script.phases {
        match phase.doing {
            Doing::Still { seconds } | Doing::Floor { seconds } => within("seconds", seconds, 0.0, LONG_S)?,
            Doing::Swipes { peak_m_s, .. } | Doing::Identify { peak_m_s, .. } => {
                within("peak_m_s", peak_m_s, 0.005, PEAK_LIMIT_M_S)?;
            }
            Doing::Strikes { .. } => {}
        }
        within("step", f64::from(phase.step), 1.0, bench.device.steps.len() as f64)?;
    }
    host(&bench.host)?;
    bench.faults.iter().try_for_each(|placed| fault(placed, travel_m))?;
    bench.devices().try_for_each(device)
}

fn hand(hand: &Hand, travel_m: f64) -> Checked {
    within("hand.peak_scatter", hand.peak_scatter, 0.0, 0.3)?;
    within("hand.placement_scatter_m", hand.placement_scatter_m, 0.0, 0.1 * travel_m)?;
    within("hand.dwell_s", hand.dwell_s, 0.05, 60.0)?;
    within("hand.dwell_scatter", hand.dwell_scatter, 0.0, 0.33)?;
    within("hand.arrival", hand.arrival, 0.0, 0.9)?;
    within("hand.bounce.restitution", hand.bounce.restitution, 0.0, 0.9)?;
    within("hand.bounce.push_m_s2", hand.bounce.push_m_s2, 0.1, 1e4)?;
    within("hand.path.arm_m", hand.path.arm_m.unwrap_or(travel_m), 0.5 * travel_m, 1e3)?;
    within("hand.path.arm_turn", hand.path.arm_turn, -1.0, 1.0)?;
    within("hand.path.yaw_rad", hand.path.yaw_rad, -1.6, 1.6)?;
    within("hand.path.wobble_rad", hand.path.wobble_rad, 0.0, 0.5)?;
    within("hand.tremor.amplitude_m", hand.tremor.amplitude_m, 0.0, 0.01)?;
    within("hand.tremor.low_hz", hand.tremor.low_hz, 0.1, hand.tremor.high_hz)?;
    within("hand.tremor.high_hz", hand.tremor.high_hz, 0.1, 1e3)?;
    within("hand.settling.distance_m", hand.settling.distance_m, -0.01, 0.01)?;
    within("hand.settling.time_s", hand.settling.time_s, 1e-3, LONG_S)?;
    match hand.course {
        Course::Skewed { time_to_peak } => within("hand.course.time_to_peak", time_to_peak, 0.2, 0.8),
        Course::Natural | Course::Aimed | Course::MinimumJerk => Ok(()),
    }
}

fn host(host: &Host) -> Checked {
    within("host.delay_ns", host.delay_ns as f64, 0.0, 1e9)?;
    within("host.delay_spread_ns", host.delay_spread_ns, 0.0, 1e9)?;
    within("host.resolution_ns", host.resolution_ns as f64, 1.0, 1e9)?;
    within("host.ring", f64::from(host.ring), 1.0, 1e6)?;
    within("host.stalls.rate_hz", host.stalls.rate_hz, 0.0, 100.0)?;
    within("host.stalls.mean_s", host.stalls.mean_s, 0.0, 100.0)
}

fn fault(fault: &Fault, travel_m: f64) -> Checked {
    match fault.place {
        Place::Swipe { at, .. } => within("fault at", at, 0.0, 1.0)?,
        Place::Phase { after_s, .. } => within("fault after_s", after_s, 0.0, LONG_S)?,
    }
    match fault.what {
        What::Dropout { .. } | What::StepChange { .. } => Ok(()),
        What::Disconnect { seconds } | What::Stall { seconds } | What::Lift { seconds } => {
            within("fault seconds", seconds, 0.0, LONG_S)
        }
        What::StopHalfway { seconds } => within("fault seconds", seconds, 0.0, LONG_S),
        What::Lose { loss: kind, seconds } => {
            within("fault seconds", seconds, 0.0, LONG_S)?;
            loss(kind)
        }
        What::StopShort { by_m } => within("fault by_m", by_m, 0.0, 0.9 * travel_m),
        What::Knock { amplitude_m } => within("fault amplitude_m", amplitude_m, 0.0, 0.01),
    }
}

fn device(model: &DeviceModel) -> Checked {
    within("number of steps", model.steps.len() as f64, 1.0, 64.0)?;
    for step in &model.steps {
        within("nominal_counts_per_inch", step.nominal_counts_per_inch, 1.0, 1e6)?;
        within("step error", step.error, -0.9, 10.0)?;
    }
    within("mount_rad", model.mount_rad, -10.0, 10.0)?;
    within("lever_m", model.lever_m[0], -1.0, 1.0)?;
    within("lever_m", model.lever_m[1], -1.0, 1.0)?;
    within("lag_ns", model.lag_ns as f64, 0.0, 1e9)?;
    within("report.bits", f64::from(model.report.bits), 4.0, 32.0)?;
    within("report.buttons", f64::from(model.report.buttons), 1.0, 16.0)?;
    sensor(&model.sensor)?;
    firmware(&model.firmware)?;
    link(&model.link)
}

fn sensor(sensor: &Sensor) -> Checked {
    within("sensor.frame_ns", sensor.frame_ns as f64, 5_000.0, 1e8)?;
    within("sensor.noise", sensor.noise, 0.0, 1.0)?;
    within("sensor.y_over_x", sensor.y_over_x, 0.1, 10.0)?;
    within("sensor.skew_rad", sensor.skew_rad, -0.5, 0.5)?;
    within("sensor.out_over_back", sensor.out_over_back, -0.9, 0.9)?;
    within("sensor.ripple.hz", sensor.ripple.hz, 0.0, 1e6)?;
    within("sensor.ripple.share", sensor.ripple.share, -1.0, 1.0)?;
    within("sensor.smoothing_frames", f64::from(sensor.smoothing_frames), 1.0, 1e5)?;
    within("sensor.straightening.within_rad", sensor.straightening.within_rad, 0.0, 0.7)?;
    within("sensor.straightening.over_s", sensor.straightening.over_s, 1e-5, 1.0)?;
    match &sensor.gain {
        Gain::Constant => {}
        Gain::Slope { per_m_s } => within("sensor.gain.per_m_s", *per_m_s, -1.0, 1.0)?,
        Gain::Step { above_m_s, gain } => {
            within("sensor.gain.above_m_s", *above_m_s, 0.0, 100.0)?;
            within("sensor.gain.gain", *gain, 0.0, 10.0)?;
        }
        Gain::Curve(points) => {
            for pair in points.windows(2) {
                within("sensor.gain.curve speeds (rising)", pair[1].0, pair[0].0 + 1e-9, 100.0)?;
            }
            points.iter().try_for_each(|p| within("sensor.gain.curve gain", p.1, 0.0, 10.0))?;
        }
    }
    let tracking = &sensor.tracking;
    within("sensor.tracking.max_speed_m_s", tracking.max_speed_m_s, 0.001, 1e3)?;
    within("sensor.tracking.max_acceleration_m_s2", tracking.max_acceleration_m_s2, 0.01, 1e6)?;
    within("sensor.tracking.scatter", tracking.scatter, 0.0, 1.0)?;
    within("sensor.tracking.recovers_at", tracking.recovers_at, 0.001, 1.0)?;
    within("sensor.tracking.hold_s", tracking.hold_s, 0.0, 100.0)?;
    loss(tracking.loss)?;
    let drift = &sensor.drift;
    for rate in [drift.creep_m_s[0], drift.creep_m_s[1]] {
        within("sensor.drift.creep_m_s", rate, -1.0, 1.0)?;
    }
    within("sensor.drift.tremble.rate_hz", drift.tremble.rate_hz, 0.0, 1e3)?;
    within("sensor.drift.tremble.counts", drift.tremble.counts, 0.0, 1e3)?;
    within("sensor.drift.bursts.rate_hz", drift.bursts.rate_hz, 0.0, 1e3)?;
    within("sensor.drift.bursts.counts", drift.bursts.counts, 0.0, 1e5)?;
    within("sensor.drift.bursts.seconds", drift.bursts.seconds, 0.0, 100.0)?;
    within("sensor.drift.flicker.hz", drift.flicker.hz, 0.1, 1e4)?;
    within("sensor.drift.flicker.amplitude_m", drift.flicker.amplitude_m, 0.0, 0.01)
}

fn loss(loss: Loss) -> Checked {
    match loss {
        Loss::Silent | Loss::Saturated => Ok(()),
        Loss::Partial { share } => within("loss share", share, 0.0, 1.0),
        Loss::Guess { turn_rad, speed_share } => {
            within("loss turn_rad", turn_rad, -10.0, 10.0)?;
            within("loss speed_share", speed_share, 0.0, 100.0)
        }
        Loss::Repeat { fade_s } => within("loss fade_s", fade_s, 0.0, 100.0),
    }
}

fn firmware(firmware: &Firmware) -> Checked {
    if let Some(limit) = firmware.limit {
        within("firmware.limit", f64::from(limit), 1.0, f64::from(i32::MAX))?;
    }
    if let Some(scaling) = firmware.scaling {
        within("firmware.scaling.ratio", scaling.ratio, 1e-3, 1e3)?;
    }
    let power = &firmware.power;
    within("firmware.power.dozes_after_s", power.dozes_after_s.unwrap_or(1.0), 0.0, LONG_S)?;
    within("firmware.power.look_s", power.look_s, 0.0, 100.0)?;
    within("firmware.power.wake_s", power.wake_s, 0.0, 100.0)?;
    let buttons = &firmware.buttons;
    within("firmware.buttons.bounce_s", buttons.bounce_s, 0.0, 1.0)?;
    within("firmware.buttons.lag_s", buttons.lag_s, 0.0, 1.0)?;
    within("firmware.buttons.lag_spread_s", buttons.lag_spread_s, 0.0, 1.0)?;
    match buttons.debounce {
        Debounce::None => Ok(()),
        Debounce::Eager { masks_s: s } | Debounce::Wait { lasts_s: s } => within("debounce", s, 0.0, 1.0),
    }
}

fn link(link: &Link) -> Checked {
    within("link.interval_ns", link.interval_ns as f64, 10_000.0, 1e9)?;
    within("link.clock_error", link.clock_error, -0.5, 1.0)?;
    within("link.jitter_ns", link.jitter_ns, 0.0, 1e9)?;
    within("link.wander.share", link.wander.share, 0.0, 0.3)?;
    within("link.wander.time_s", link.wander.time_s, 1e-3, LONG_S)?;
    if let Some(stretch) = link.stretch {
        within("link.stretch.every", f64::from(stretch.every), 1.0, 1e6)?;
        within("link.stretch.by_ns", stretch.by_ns as f64, 0.0, 1e9)?;
    }
    if let Some(radio) = link.radio {
        for chance in [radio.enters_bad, radio.leaves_bad, radio.loss_in_good, radio.loss_in_bad] {
            within("link.radio", chance, 0.0, 1.0)?;
        }
    }
    if let Some(interference) = link.interference {
        within("link.interference.period_s", interference.period_s, 1e-4, LONG_S)?;
        within("link.interference.length_s", interference.length_s, 0.0, interference.period_s)?;
    }
    Ok(())
}

fn within(name: &'static str, value: f64, low: f64, high: f64) -> Checked {
    // NaN is within nothing.
    if (low..=high).contains(&value) { Ok(()) } else { Err(SimError::Parameter { name, value, low, high }) }
}
