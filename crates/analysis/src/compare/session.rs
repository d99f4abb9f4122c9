//! What one session says of each quantity, worked out anew from its raw reports.
//!
//! Keeps numbers and not the recording, so that many sessions may be compared one after the other in the memory of one.
//! Cost: that of judging.

use super::pool::{Measure, Value, What};
use crate::families::report_interval::{self, CLOCK};
use crate::families::{GainContrast, key, looked_at, spoiled};
use crate::lengths::Lengths;
use crate::scale::{effective, straight_edge};
use crate::stats::{median, t_quantile};
use crate::step::StepView;
use crate::verdict::{Family, Finding, Outcome, StepVerdict, SwipeCounts, Verdict};
use crate::{Judgement, judge};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Header, Step};
use std::collections::{BTreeMap, BTreeSet};

/// One session.
#[derive(Clone, Debug)]
pub struct Session {
    /// Name of its file.
    pub session: String,
    /// Line 1 of it.
    pub header: Header,
    /// The verdict.
    pub verdict: Verdict,
    /// The steps.
    pub steps: Vec<StepMeasured>,
}

/// One step of it.
#[derive(Clone, Debug)]
pub struct StepMeasured {
    /// What it is matched by: its nominal resolution, else its label, else its number.
    pub key: String,
    /// What the maker says.
    pub nominal_counts_per_inch: Option<f64>,
    /// The outcome.
    pub verdict: Outcome,
    /// Swipes.
    pub swipes: SwipeCounts,
    /// Peak of the fastest clean swipe.
    pub fastest_clean_m_s: Option<f64>,
    /// Median peak of the fast swipes.
    pub fast_peak_m_s: Option<f64>,
    /// The quantities.
    pub measures: BTreeMap<What, Measure>,
}

impl Session {
    /// Judges and measures a recording. `name` is its file's, as it is to be quoted.
    pub fn of(recording: &Recording, name: &str) -> Session {
        let Judgement { verdict, steps: views } = judge(recording, name);
        let mut steps: Vec<StepMeasured> = Vec::new();
        for (view, said) in views.iter().zip(&verdict.steps) {
            let mut step = measured(view, said, &verdict.findings);
            // A second step of the same nominal is told apart by its number.
            if steps.iter().any(|s| s.key == step.key) {
                step.key = format!("{} (step {})", step.key, said.step);
            }
            steps.push(step);
        }
        Session { session: name.to_owned(), header: recording.header.clone(), verdict, steps }
    }

    /// The owner's label and unit; `None` without a label.
    pub fn device(&self) -> Option<(String, Option<String>)> {
        let tidy = |text: &Option<String>| {
            text.as_deref().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned)
        };
        Some((tidy(&self.verdict.device.label)?, tidy(&self.verdict.device.unit)))
    }

    /// The same, with what the device calls itself where it has no label.
    pub fn device_or_name(&self) -> (String, Option<String>) {
        let device = &self.verdict.device;
        self.device().unwrap_or_else(|| {
            (device.name.clone().unwrap_or_else(|| "unnamed device".to_owned()), device.unit.clone())
        })
    }
}

fn measured(view: &StepView, said: &StepVerdict, findings: &[Finding]) -> StepMeasured {
    let findings: Vec<Finding> = findings.iter().filter(|f| f.step == view.id).cloned().collect();
    let nominal = view.planned.and_then(Step::nominal).map(|n| n.per_inch());
    let label = said.label.as_deref().map(str::trim).filter(|l| !l.is_empty());
    let key = match (nominal, label) {
        (Some(nominal), _) => format!("{nominal:.0} counts/inch"),
        (None, Some(label)) => format!("“{label}”"),
        (None, None) => format!("step {}", said.step),
    };
    let peaks: Vec<f64> = view.fast_swipes().map(|(_, s)| s.grid.peak() * 1e-3).collect();
    let mut measures = BTreeMap::new();
    let mut put = |what, measure: Option<Measure>| {
        if let Some(measure) = measure {
            measures.insert(what, measure);
        }
    };
    put(What::BadFastSwipes, bad_fast(view, &findings));
    put(What::TrackingLimit, tracking_limit(view, said, &findings));
    let lengths = Lengths::of(view, &findings);
    put(What::Resolution, lengths.as_ref().and_then(|l| resolution(view, l, &findings, nominal)));
    put(What::GainContrast, lengths.and_then(|l| gain_contrast(l, straight_edge(view.plan))));
    put(What::ReportInterval, report_interval(view));
    let drift = said.families.iter().find(|f| f.family == Family::Drift);
    let criterion = |name: &str| {
        drift.and_then(|f| f.criteria.iter().find(|c| c.what.ends_with(name))).and_then(|c| c.estimate)
    };
    put(
        What::Creep,
        criterion("creep").and_then(|q| {
            value(q.value, (q.high? - q.value) / t_quantile(0.975, f64::INFINITY), f64::INFINITY, 0.0)
        }),
    );
    let spans = view.still().map(|p| looked_at((p.span.end - p.span.begin).seconds()));
    let seconds: f64 = spans.sum();
    put(
        What::Bursts,
        criterion("bursts")
            .filter(|q| seconds > 0.0 && q.value.is_finite())
            .map(|q| Measure::Rate { k: (q.value * seconds).round() as u32, seconds }),
    );
    StepMeasured {
        key,
        nominal_counts_per_inch: nominal,
        verdict: said.verdict,
        swipes: said.swipes,
        fastest_clean_m_s: said.swept.fastest_clean_m_s,
        fast_peak_m_s: median(&peaks).filter(|_| view.scale.is_some()),
        measures,
    }
}

fn value(value: f64, random: f64, df: f64, common: f64) -> Option<Measure> {
    let fine = value.is_finite() && random.is_finite() && common.is_finite() && df >= 1.0;
    fine.then_some(Measure::Value(Value { value, random, df, common }))
}

fn bad_fast(view: &StepView, findings: &[Finding]) -> Option<Measure> {
    let fast = view.fast_swipes().filter(|(_, s)| !s.disturbed);
    let fast: BTreeSet<(u32, u32)> = fast.map(|(p, s)| key(p, s)).collect();
    let bad = spoiled(view, findings);
    let n = u32::try_from(fast.len()).ok().filter(|n| *n > 0)?;
    Some(Measure::Share { k: u32::try_from(fast.intersection(&bad).count()).unwrap_or(n), n })
}

/// What yaw adds without a straight edge is a habit of the hand: common to all sessions.
fn gain_contrast(lengths: Lengths, straight_edge: bool) -> Option<Measure> {
    let whole = GainContrast::of(lengths.clone(), straight_edge)?;
    let placing = GainContrast::of(lengths, true)?;
    let yaw = (whole.uncertainty.powi(2) - placing.uncertainty.powi(2)).max(0.0).sqrt();
    value(whole.value, placing.uncertainty, placing.df, yaw)
}

fn resolution(
    view: &StepView,
    lengths: &Lengths,
    findings: &[Finding],
    nominal: Option<f64>,
) -> Option<Measure> {
    let found = effective(view, lengths, findings)?;
    let relative = |counts_per_mm: f64| match nominal {
        Some(nominal) => (counts_per_mm * 25.4 / nominal - 1.0, 25.4 / nominal),
        None => (counts_per_mm * 25.4, 25.4),
    };
    if found.at_least {
        let low = found.per_inch().low?;
        return Some(Measure::Bound { low: Some(relative(low / 25.4).0), high: None });
    }
    let (estimate, scale) = relative(found.counts_per_mm);
    let common = (found.uncertainty.powi(2) - found.placing.powi(2)).max(0.0).sqrt();
    value(estimate, found.placing * scale, lengths.df, common * scale)
}

/// A value where the verdict has one: from five swipes that lost track, with an interval about it. (A bound on both sides
/// has their middle as its value, which an interval of speeds never has to the last bit.)
fn tracking_limit(view: &StepView, said: &StepVerdict, findings: &[Finding]) -> Option<Measure> {
    let limit = said.tracking_limit_m_s?;
    let lost = findings.iter().filter(|f| f.family == Family::TrackingLoss && f.kind == "silent");
    let swipes: BTreeSet<(u32, Option<u32>)> = lost.map(|f| (f.phase, f.swipe)).collect();
    let fine = view.interval.is_some_and(|q| q.value <= 1.05e6);
    match (limit.low, limit.high) {
        (Some(low), Some(high)) if swipes.len() >= 5 && fine && limit.value != 0.5 * (low + high) => {
            let df = swipes.len() as f64 - 1.0;
            value(limit.value, 0.5 * (high - low) / t_quantile(0.975, df), df, 0.0)
        }
        (None, None) => None,
        (low, high) => Some(Measure::Bound { low, high }),
    }
}

fn report_interval(view: &StepView) -> Option<Measure> {
    let clock = report_interval::clock(view)?;
    value(clock.interval, clock.uncertainty, clock.df, clock.interval * CLOCK)
}
