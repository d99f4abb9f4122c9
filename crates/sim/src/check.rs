//! Parameters that make no sense are refused before a session is made of them.

use crate::device::DeviceModel;
use crate::script::Doing;
use crate::{Bench, SimError};

/// Fastest peak that a hand is let to make, in metres per second: twice what hard flicks reach.
const PEAK_LIMIT_M_S: f64 = 10.0;

pub(crate) fn check(bench: &Bench) -> Result<(), SimError> {
    let travel = bench.travel.true_m.unwrap_or(bench.travel.told_um as f64 * 1e-6);
    within("travel (m)", travel, 0.01, 5.0)?;
    within("hand.peak_scatter", bench.hand.peak_scatter, 0.0, 0.3)?;
    within("hand.placement_scatter_m", bench.hand.placement_scatter_m, 0.0, 0.1 * travel)?;
    within("hand.dwell_s", bench.hand.dwell_s, 0.05, 60.0)?;
    for phase in &bench.script.phases {
        match phase.doing {
            Doing::Still { seconds } | Doing::Floor { seconds } => within("seconds", seconds, 0.0, 1e6)?,
            Doing::Swipes { peak_m_s, .. } | Doing::Identify { peak_m_s, .. } => {
                within("peak_m_s", peak_m_s, 0.005, PEAK_LIMIT_M_S)?;
            }
            Doing::Strikes { .. } => {}
        }
    }
    bench.devices().try_for_each(device)
}

fn device(model: &DeviceModel) -> Result<(), SimError> {
    within("link.interval_ns", model.link.interval_ns as f64, 10_000.0, 1e9)?;
    within("link.clock_error", model.link.clock_error, -0.1, 0.1)?;
    within("sensor.frame_ns", model.sensor.frame_ns as f64, 5_000.0, 1e8)?;
    within("sensor.noise", model.sensor.noise, 0.0, 1.0)?;
    within("report.bits", f64::from(model.report.bits), 4.0, 32.0)?;
    within("report.buttons", f64::from(model.report.buttons), 1.0, 16.0)?;
    within("lag_ns", model.lag_ns as f64, 0.0, 1e9)?;
    within("number of steps", model.steps.len() as f64, 1.0, 64.0)?;
    for step in &model.steps {
        within("nominal_counts_per_inch", step.nominal_counts_per_inch, 1.0, 1e6)?;
        within("step error", step.error, -0.9, 10.0)?;
    }
    Ok(())
}

fn within(name: &'static str, value: f64, low: f64, high: f64) -> Result<(), SimError> {
    // NaN is within nothing.
    if (low..=high).contains(&value) { Ok(()) } else { Err(SimError::Parameter { name, value, low, high }) }
}
