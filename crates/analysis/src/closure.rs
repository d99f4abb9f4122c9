//! Closure: an even number of swipes ends where it began, so their counts sum to nothing.
//!
//! ```text
//! closure = Σ along (out positive)        left = closure − n/2 · (g_out − g_back) D
//! u²(left) = s² + (n/2 · u(g_out − g_back) D)²
//! ```
//!
//! Out and back may count differently; what that makes of n swipes is taken from the step's *other* phases and subtracted.
//! s: scatter of one length; the first and the last place scatter by s²/2 each. Blind to resolution, gain change and any
//! loss that is equal both ways. What is left is a loss on one way or a swipe that stopped short: silence at speed and
//! the shape of the stop tell which, closure does not. It decides nothing. Cost: O(swipes log swipes) a phase.

use crate::families::key;
use crate::lengths::Lengths;
use crate::stats::t_quantile;
use crate::step::{PhaseView, StepView};
use crate::verdict::{Closure, Quantity};

/// Closure of each phase with an even number of swipes, all placed and whole; `lengths` are those of the step.
pub fn of(view: &StepView, lengths: Option<&Lengths>) -> Vec<Closure> {
    let Some(scale) = view.scale else { return Vec::new() };
    let whole = |p: &PhaseView| p.unplaced == 0 && p.swipes.iter().all(|s| s.cut.is_none());
    let even = view.phases.iter().filter(|p| !p.swipes.is_empty() && p.swipes.len() % 2 == 0 && whole(p));
    even.map(|phase| {
        let along: f64 = phase.swipes.iter().map(|s| s.swipe.sign() * s.swipe.along).sum();
        let across: f64 = phase.swipes.iter().map(|s| s.swipe.sign() * s.swipe.across).sum();
        let left = lengths.and_then(|l| left(phase, l, along));
        Closure {
            step: view.id,
            phase: phase.span.number,
            along_mm: along / scale.counts_per_mm,
            across_mm: across / scale.counts_per_mm,
            left_mm: left.map(|q| q.scaled(1.0 / scale.counts_per_mm)),
        }
    })
    .collect()
}

/// What is left, in counts.
fn left(phase: &PhaseView, lengths: &Lengths, along: f64) -> Option<Quantity> {
    let others = lengths.without(phase.span.number);
    let ratio = others.out_over_back(|_| true).filter(|r| r.n.0 >= 3 && r.n.1 >= 3)?;
    let keys = lengths.keys();
    let clean: Vec<f64> =
        phase.swipes.iter().filter(|s| keys.contains(&key(phase, s))).map(|s| s.swipe.along).collect();
    let length = crate::stats::mean(&clean)?;
    let pairs = phase.swipes.len() as f64 / 2.0;
    let uncertainty = others.scatter.hypot(pairs * ratio.uncertainty * length);
    Some(Quantity::around(along - pairs * ratio.value * length, t_quantile(0.975, others.df) * uncertainty))
}
