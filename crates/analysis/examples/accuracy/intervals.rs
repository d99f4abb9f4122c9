//! Intervals held against the truth: coverage, bias and width.

use crate::cases::{pace_gain, true_contrast};
use crate::run::Ran;
use crate::table::{Table, share};
use slipgauge_analysis::stats::{mean_sd, median};
use slipgauge_analysis::verdict::{Family, Quantity};
use slipgauge_sim::Pace;

/// An interval held against the truth.
#[derive(Debug, Clone, Copy)]
pub struct Held {
    /// Whether the truth lies inside.
    pub covered: bool,
    /// Estimate less truth.
    pub error: f64,
    /// Half its width.
    pub half: f64,
}

/// Holds an interval against a true value.
pub fn held(q: Quantity, truth: f64, error: f64) -> Held {
    let covered = q.low.is_none_or(|l| l <= truth) && q.high.is_none_or(|h| truth <= h);
    let half = q.low.zip(q.high).map_or(f64::INFINITY, |(l, h)| 0.5 * (h - l));
    Held { covered, error, half }
}

/// Resolution against the truth at the slow pace; the error with the travel's own error taken out.
pub fn resolution(ran: &Ran) -> Option<Held> {
    let q = ran.step()?.resolution_counts_per_inch?;
    let truth = ran.truth.steps.first()?.counts_per_inch[0] * pace_gain(&ran.truth, Pace::Slow);
    let travel = 1e-6 * ran.truth.bench.travel.told_um as f64 / ran.truth.travel_m;
    let mut held = held(q, truth, q.value * travel / truth - 1.0);
    held.half /= truth;
    Some(held)
}

/// Gain contrast against the truth.
pub fn contrast(ran: &Ran) -> Option<Held> {
    let q = ran.family(Family::GainChange)?.estimate?;
    let truth = true_contrast(&ran.truth);
    Some(held(q, truth, q.value - truth))
}

/// Heads of a table of intervals.
pub const COVERAGE: &[&str] = &[
    "95 % interval of",
    "n",
    "covers (exact 95 % interval)",
    "bias ± standard error",
    "median half width",
    "no interval",
];

/// Adds a row about one kind of interval.
pub fn coverage_row(table: &mut Table, name: &str, all: &[Option<Held>]) {
    let known: Vec<Held> = all.iter().flatten().copied().collect();
    let errors: Vec<f64> = known.iter().map(|h| 100.0 * h.error).collect();
    let bias = mean_sd(&errors).map_or_else(
        || "–".to_owned(),
        |(mean, sd)| format!("{mean:+.4} ± {:.4} %", sd / (errors.len() as f64).sqrt()),
    );
    let halves: Vec<f64> = known.iter().map(|h| 100.0 * h.half).collect();
    table.row(&[
        name.to_owned(),
        known.len().to_string(),
        share(known.iter().filter(|h| h.covered).count(), known.len()),
        bias,
        median(&halves).map_or_else(|| "–".to_owned(), |h| format!("{h:.3} %")),
        (all.len() - known.len()).to_string(),
    ]);
}

/// Adds a row about values of a limit, and one about its bounds, if any: these hold in 95 % and more, with no upper limit.
pub fn limit_rows(table: &mut Table, name: &str, all: &[Option<Held>]) {
    let (bounds, values): (Vec<_>, Vec<_>) =
        all.iter().partition(|h| h.is_some_and(|h| h.half.is_infinite()));
    coverage_row(table, name, &values);
    if !bounds.is_empty() {
        coverage_row(table, &format!("{name}, bounds"), &bounds);
    }
}

/// Tracking limit against the sensor's.
pub fn limit(family: Family, ran: &Ran) -> Option<Held> {
    let q = ran.step()?.tracking_limit_m_s.filter(|_| family == Family::TrackingLoss)?;
    let truth = ran.truth.bench.device.sensor.tracking.max_speed_m_s;
    let mut held = held(q, truth, q.value / truth - 1.0);
    held.half /= truth;
    Some(held)
}
