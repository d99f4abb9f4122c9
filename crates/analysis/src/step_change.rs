//! Swipes that were made at another resolution step than the rest of their step's.
//!
//! The operator touched a button, or the firmware changed by itself: from some swipe on the same travel gives other
//! counts, by the ratio of two steps of the plan. Looked for are runs of [`RUN`] swipes and more, one after the other in
//! a phase, whose lengths are alike within [`ALIKE`] and differ from one travel by such a ratio within [`NEAR`].
//!
//! Assumes that the plan has the nominals of both steps and that they are [`APART`] or more from each other. A failing
//! sensor shortens swipes too, but each by something else, and not by that ratio. Smallest found: three swipes.
//! Cost: O(swipes × steps).

use crate::families::key;
use crate::stats::median;
use crate::step::StepView;
use slipgauge_trace::session::Step;

/// Swipes running.
const RUN: usize = 3;
/// Their lengths are alike: stop scatter of 1 mm makes 1.4 mm of 300, and three times that is 1.4 %.
const ALIKE: f64 = 0.015;
/// Steps differ from their nominal ratio by no more: each is off by a few per cent (sensor data sheets: 1 % typical).
const NEAR: f64 = 0.05;
/// Steps nearer to each other than this are not told apart from what is wrong otherwise.
const APART: f64 = 0.15;

/// A run of swipes at another step.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The step that they were made at, by its nominal.
    pub to: u32,
    /// Nominal ratio of that step to the one told.
    pub nominal: f64,
    /// Median counts of the swipes over one travel.
    pub ratio: f64,
    /// The swipes, as (phase, swipe), in order.
    pub keys: Vec<(u32, u32)>,
    /// Begin of the first and end of the last.
    pub span: (i64, i64),
}

/// Finds them.
pub fn runs(step: &StepView) -> Vec<Run> {
    let Some(own) = step.planned.and_then(Step::nominal) else { return Vec::new() };
    let others = step.plan.into_iter().flat_map(|p| &p.steps).filter(|s| s.id != step.id);
    let ratios: Vec<(u32, f64)> = others
        .filter_map(|s| Some((s.id, s.nominal()?.per_inch() / own.per_inch())))
        .filter(|(_, ratio)| ratio.ln().abs() > (1.0 + APART).ln())
        .collect();
    let mut found: Vec<Run> = Vec::new();
    if ratios.is_empty() {
        return found;
    }
    for phase in &step.phases {
        let mut open: Option<(u32, f64, Vec<usize>)> = None;
        let at = |i: usize| phase.swipes.get(i).map(|s| s.swipe.along / s.swipe.one_travel);
        for i in 0..=phase.swipes.len() {
            let here = at(i).filter(|q| *q > 0.0).and_then(|q| nearest(&ratios, q));
            if let Some((to, _, members)) = &mut open
                && here.is_some_and(|(id, _)| id == *to)
            {
                members.push(i);
                continue;
            }
            if let Some((to, nominal, members)) = open.take() {
                let lengths: Vec<f64> = members.iter().filter_map(|&i| at(i)).collect();
                let Some(ratio) = median(&lengths) else { continue };
                let alike: Vec<_> = members
                    .iter()
                    .filter_map(|&i| phase.swipes.get(i))
                    .filter(|s| (s.swipe.along / s.swipe.one_travel / ratio - 1.0).abs() <= ALIKE)
                    .collect();
                if let (true, Some(first), Some(last)) = (alike.len() >= RUN, alike.first(), alike.last()) {
                    let span = (first.swipe.begin, last.swipe.end);
                    let keys = alike.iter().map(|s| key(phase, s)).collect();
                    found.push(Run { to, nominal, ratio, keys, span });
                }
            }
            open = here.map(|(id, nominal)| (id, nominal, vec![i]));
        }
    }
    found
}

/// The step whose ratio a length is near to, if any.
fn nearest(ratios: &[(u32, f64)], length: f64) -> Option<(u32, f64)> {
    let off = |ratio: f64| (length / ratio).ln().abs();
    let best = ratios.iter().copied().min_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
    (off(best.1) <= (1.0 + NEAR).ln()).then_some(best)
}
