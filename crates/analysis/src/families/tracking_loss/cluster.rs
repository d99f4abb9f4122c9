//! Limits that not every swipe shows: silences at one speed, and silences at one place.
//!
//! *In some swipes*: a sensor that loses track above a speed in some of the swipes only leaves others clean beyond it, so that
//! nothing is said by those. But its silences begin at one speed, or end at one, to a few per cent, where the hand has all
//! speeds from nothing to its peak: a link does not know it. [`SHARES`] of the speed are tried as the width, at the begin and
//! at the end, each a look.
//!
//! *At a place*: a patch that the sensor does not see loses the same millimetres in every swipe, both ways and at any speed.
//! Silences that cluster within [`PATCH_MM`], most of the lost ones and in half of the swipes, and begin at speeds
//! [`SPEEDS`] times apart are the surface's: no limit of the sensor strikes at both.

use super::by_chance::{self, At, Cluster};
use super::limit::{LEAST, Limit, Of};
use crate::stats::quantile;
use crate::step::StepView;

/// Widths of a cluster of speeds: what an onset is known to at 1 ms, and at 8 ms, where the speed of a flick changes by a
/// tenth from report to report.
const SHARES: [f64; 2] = [0.04, 0.12];
/// No sensor goes blind below this speed, mm/s: the poorest data sheets give 12 in/s.
const SLOWEST: f64 = 200.0;
/// Width of a cluster of places, mm: stops and swipes scatter by a millimetre or so each.
const PATCH_MM: f64 = 4.0;
/// See the header; between the lower and the upper tenth of the onsets.
const SPEEDS: f64 = 2.0;

/// A limit of speed in some of the swipes.
pub fn in_some_swipes(step: &StepView) -> Option<Limit> {
    let looks = 2 * SHARES.len();
    let look = |at: At| {
        let marks = by_chance::marks(step, at);
        let tried = SHARES.map(|width| by_chance::cluster(&marks, SLOWEST, |low| low * (1.0 + width)));
        let least = tried.into_iter().flatten().min_by(|a, b| a.chance.total_cmp(&b.chance))?;
        let chance = least.chance * looks as f64;
        Some((at, Cluster { chance, ..least }))
    };
    let all: Vec<_> = [At::Begin, At::End].into_iter().filter_map(look).collect();
    let (at, best) = *all.iter().min_by(|a, b| a.1.chance.total_cmp(&b.1.chance))?;
    (best.silences >= LEAST).then_some(Limit::cluster(Of::Speed, at, best))
}

/// A patch of the surface.
pub fn at_a_place(step: &StepView, per_mm: f64) -> Option<Limit> {
    let best = by_chance::cluster(&by_chance::marks(step, At::Edge), 0.0, |low| low + PATCH_MM)?;
    let limit = Limit::cluster(Of::Place, At::Edge, best);
    let all = by_chance::lost(step).filter(|(_, silence)| !silence.to_the_end);
    let (own, others): (Vec<_>, Vec<_>) = all.partition(|(swipe, s)| limit.explains(swipe, s, per_mm));
    // What lies there is passed in every swipe.
    if own.len() < others.len() || 2 * own.len() < step.swipes().count() {
        return None;
    }
    let onsets: Vec<f64> = own.iter().map(|(_, silence)| silence.onset).collect();
    let spread = quantile(&onsets, 0.9)? / quantile(&onsets, 0.1)?.max(1.0);
    (best.silences >= LEAST && spread >= SPEEDS).then_some(limit)
}
