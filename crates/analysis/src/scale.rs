//! Lengths of clean swipes in counts, and the effective resolution with its uncertainty.
//!
//! ```text
//! R = mean(r_j),  r_j = |Σ along| / D over the clean slow swipes of the step
//! u²(R) = 2 s²/n · 1/D²  +  (R u_D / D)²  +  (R · a/√3)²
//! ```
//!
//! 2: neighbouring swipes share a stop, so that lengths correlate by up to +0.5. u_D: standard uncertainty of the
//! travel, common to all swipes; no number of them removes it. a: arc and yaw without a straight edge, the half width
//! of a rectangular distribution. Combined by JCGM 100:2008; degrees of freedom by Welch and Satterthwaite.
//! Assumes that the slow swipes are unclipped and whole; others are left out by their findings.

use crate::families::{key, spoiled};
use crate::stats::{effective_df, mean_sd, median};
use crate::step::StepView;
use crate::verdict::Finding;
use slipgauge_trace::Metres;
use slipgauge_trace::session::{Pace, Plan};
use std::collections::BTreeSet;

/// Arc and yaw without a straight edge, relative: ±10 to 15 degrees of yaw cost 0.5 to 1.1 %.
const ARC: f64 = 0.01;
/// A swipe further than this from its pace's median was not made from stop to stop, in millimetres.
const STRAY_MM: f64 = 5.0;
/// Clean slow swipes needed.
const LEAST: usize = 3;

/// Lengths in counts of the clean swipes of one pace.
pub struct Lengths {
    counts: Vec<f64>,
    /// Their mean.
    pub mean: f64,
}

impl Lengths {
    /// Number of swipes.
    pub fn n(&self) -> usize {
        self.counts.len()
    }

    /// Scatter within the groups, pooled, with its degrees of freedom.
    pub fn pooled(groups: &[&Lengths]) -> (f64, f64) {
        let squares: f64 = groups.iter().flat_map(|g| g.counts.iter().map(|c| (c - g.mean).powi(2))).sum();
        let df = groups.iter().map(|g| g.n() as f64 - 1.0).sum::<f64>().max(1.0);
        ((squares / df).sqrt(), df)
    }
}

/// Lengths of the swipes at some pace that are whole and have no finding.
pub fn clean_lengths(
    step: &StepView,
    spoiled: &BTreeSet<(u32, u32)>,
    pace: impl Fn(Option<Pace>) -> bool,
) -> Option<Lengths> {
    let scale = step.scale?;
    let clean = step.swipes().filter(|(p, s)| pace(p.span.phase.pace) && !spoiled.contains(&key(p, s)));
    let all: Vec<f64> = clean.map(|(_, s)| s.swipe.along).collect();
    let centre = median(&all)?;
    let counts: Vec<f64> =
        all.into_iter().filter(|c| (c - centre).abs() <= STRAY_MM * scale.counts_per_mm).collect();
    let mean = crate::stats::mean(&counts)?;
    Some(Lengths { counts, mean })
}

/// Effective resolution of a step.
pub struct Resolution {
    /// Counts per millimetre of travel.
    pub counts_per_mm: f64,
    /// Combined standard uncertainty, counts per millimetre.
    pub uncertainty: f64,
    /// Effective degrees of freedom.
    pub df: f64,
    /// Swipes that it rests on.
    pub swipes: usize,
}

/// Works it out; `None` without travel or with fewer than three clean slow swipes.
pub fn effective(step: &StepView, findings: &[Finding]) -> Option<Resolution> {
    let travel_mm = step.travel.map(Metres::millimetres)?;
    let slow = clean_lengths(step, &spoiled(findings), |pace| pace == Some(Pace::Slow))?;
    if slow.n() < LEAST {
        return None;
    }
    let n = slow.n() as f64;
    let (_, scatter) = mean_sd(&slow.counts)?;
    let counts_per_mm = slow.mean / travel_mm;
    let placing = scatter * (2.0 / n).sqrt() / travel_mm;
    let travel = step.plan.map_or(0.0, |p| counts_per_mm * p.travel_uncertainty().millimetres() / travel_mm);
    let arc = if straight_edge(step.plan) { 0.0 } else { counts_per_mm * ARC / 3f64.sqrt() };
    let uncertainty = placing.hypot(travel).hypot(arc);
    let df = effective_df(&[(placing, n - 1.0), (travel, f64::INFINITY), (arc, f64::INFINITY)]);
    Some(Resolution { counts_per_mm, uncertainty, df, swipes: slow.n() })
}

/// True if the plan says that the swipes run along a straight edge.
pub fn straight_edge(plan: Option<&Plan>) -> bool {
    plan.and_then(|p| p.straight_edge).unwrap_or(false)
}
