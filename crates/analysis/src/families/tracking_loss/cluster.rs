//! Limits that not every swipe shows: silences at one speed, and silences at one place.
//!
//! *In some swipes*: a sensor that loses track above a speed in some of the swipes only leaves others clean beyond it, so that
//! nothing is said by those. But its silences begin at one speed, or end at one, to a few per cent, where the hand has all
//! speeds from nothing to its peak: a link does not know it. [`SHARES`] of the speed are tried as the width, at the begin and
//! at the end, each a look.
//!
//! *In one part of the swipe*: a limit of acceleration is met once while the hand speeds up and once while it brakes, at one
//! part of the swipe's time or another, both ways alike. Silences that cluster within [`PART`] of it, each wholly before the
//! fastest moment or wholly behind it, are of that kind, and so is what hides [`AS_MUCH`] of the acceleration that they hide.
//! It needs no acceleration beside a hole, which is known to a factor of two. (Added after limits of acceleration had been
//! told as dropouts in 4 of 100 sessions of our own model, and in half of those of another.)
//!
//! *In every swipe*: [once in each](in_every_swipe) of a pace, as no link does it.
//!
//! *At a place*: a patch that the sensor does not see loses the same millimetres in every swipe, both ways and at any
//! speed. Silences that cluster within [`PATCH_MM`], most of the lost ones, are the surface's if they begin at speeds
//! [`SPEEDS`] times apart; or lie in half of the swipes of a pace that shows any, and as many swipes go on clean that much
//! faster (at 8 ms a patch of a centimetre shows in slow swipes alone): no limit of the sensor does so. (First in half of
//! the swipes in either case: 38 of 38 losses at one place, in two of five crossings, had been put down to the link.)

use super::by_chance::{self, At, Cluster};
use super::limit::{LEAST, Limit, Of, hidden};
use crate::grid::Grid;
use crate::silence::Silence;
use crate::stats::{median, quantile};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::Direction;

/// Widths of a cluster of speeds: what an onset is known to at 1 ms, and at 8 ms, where the speed of a flick changes by a
/// tenth from report to report.
const SHARES: [f64; 2] = [0.04, 0.12];
/// No sensor goes blind below this speed, mm/s: the poorest data sheets give 12 in/s.
const SLOWEST: f64 = 200.0;
/// Width of a cluster of places, mm: stops and swipes scatter by a millimetre or so each.
const PATCH_MM: f64 = 4.0;
/// See the header; between the lower and the upper tenth of the onsets.
const SPEEDS: f64 = 2.0;

/// Width of a cluster of parts: swipes of one pace differ in their duration by a tenth and more.
const PART: f64 = 0.1;
/// A limit of acceleration is met at two parts of a swipe at most: so many of the silences lie at the first of them, or so
/// rarely by chance. (Added after a radio whose losses lay in the middle of swipes more often than at either end had been
/// put down to the sensor, two sessions in seven.)
const MOST_IN_IT: f64 = 0.4;
const SURELY: f64 = 1e-8;
/// Share of the median hidden acceleration: a hand brakes less hard than it speeds up, by a half at most.
const AS_MUCH: f64 = 0.5;
/// Of the silences in one part as many lie wholly on one side of the fastest moment, and a third as many go either way.
const ON_ONE_SIDE: f64 = 0.75;

/// No hand is fastest sooner than in this part of a swipe (common practice, no source): what begins before and hides the peak began at
/// no patch in the middle of the travel.
const BEFORE_ANY_PEAK: f64 = 0.25;

/// Of a limit that comes and goes a faster pace loses track as often; in so much of that share at least.
const AS_OFTEN: f64 = 0.5;

/// Chance at which silences lie at a part of their swipes, and not anywhere.
const ANYWHERE: f64 = 1e-4;

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
    let limit = Limit::cluster(Of::Speed, at, best);
    (best.silences >= LEAST && faster_ones_lose_as_often(step, &limit)?).then_some(limit)
}

/// True if swipes of the faster paces lose track at a limit as often as those of the pace that does it most: they all go beyond it. (Added
/// after lost reports of a radio had been put down to the sensor where slow swipes ran at one speed: 16 of 18 of these, and none of 60
/// fast ones.)
fn faster_ones_lose_as_often(step: &StepView, limit: &Limit) -> Option<bool> {
    let per_mm = step.scale?.counts_per_mm;
    let shows =
        |s: &&SwipeView| s.silences.iter().any(|silence| !silence.host && limit.explains(s, silence, per_mm));
    let of = |p: &PhaseView| {
        // As counted: what a silence hides may be reckoned to be as fast as one likes.
        let peaks: Vec<f64> = p.swipes.iter().map(|s| s.swipe.peak).collect();
        Some((median(&peaks)?, p.swipes.iter().filter(shows).count() as f64 / peaks.len() as f64))
    };
    let paces: Vec<(f64, f64)> = step.phases.iter().filter_map(of).collect();
    let (speed, most) = *paces.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(paces.iter().filter(|p| p.0 > speed).all(|p| p.1 >= AS_OFTEN * most))
}

/// A limit that each swipe of a pace meets once, whatever shows where: of n swipes m silences at random times would touch n
/// (1 − (1 − 1/n)ᵐ), and d or more with `P ≤ exp(−2 (d − that)² / m)` (McDiarmid 1989, from memory: one silence moves the
/// number by one at most). Where the same swipes are seen at the speeds at which they lose track, it is one of
/// acceleration. (Added after sensors that went blind while the hand braked, once in each of 60 fast swipes and in no
/// other, had been told as dropouts of the link.) They [lie at a part](ANYWHERE) of their swipes, too: a link may fail once
/// in a swipe, at any part. (The latter after a radio that lost 13 ms once in half of 150 swipes had been put down to the
/// sensor.)
pub fn in_every_swipe(step: &StepView) -> Option<Limit> {
    let lost = |s: &&SwipeView| s.silences.iter().filter(|s| s.may_lose()).count() as f64;
    let of = |p: &PhaseView| {
        let (n, m) = (p.swipes.len() as f64, p.swipes.iter().map(|s| lost(&s)).sum::<f64>());
        let touched: Vec<f64> = p.swipes.iter().filter(|s| lost(s) > 0.0).map(|s| s.grid.peak()).collect();
        let more = touched.len() as f64 - n * (1.0 - (1.0 - 1.0 / n).powf(m));
        let chance = if more > 0.0 { (-2.0 * more * more / m).exp() } else { 1.0 };
        let low = touched.iter().copied().fold(f64::INFINITY, f64::min);
        let high = touched.iter().copied().fold(0.0, f64::max);
        Cluster { low, high, silences: m as usize, chance }
    };
    let phases = step.phases.iter().filter(|p| p.swipes.len() >= LEAST);
    let best = phases.map(of).min_by(|a, b| a.chance.total_cmp(&b.chance))?;
    let at_a_part = || by_chance::unevenly_spread(&by_chance::marks(step, At::Part)) < ANYWHERE;
    (best.silences >= LEAST && at_a_part()).then_some(Limit::cluster(Of::Acceleration, At::Swipe, best))
}

/// A limit of acceleration, by the part of the swipe at which it is met.
pub fn in_one_part(step: &StepView, per_mm: f64) -> Option<Limit> {
    let best = by_chance::cluster(&by_chance::marks(step, At::Part), 0.0, |low| low + PART)?;
    let limit = Limit::cluster(Of::Acceleration, At::Part, best);
    let own: Vec<_> = by_chance::lost(step).filter(|(swipe, s)| limit.explains(swipe, s, per_mm)).collect();
    let n = own.len() as f64;
    let on_one_side = own.iter().filter(|(swipe, s)| beside_the_peak(&swipe.grid, s)).count() as f64;
    let out = own.iter().filter(|(swipe, _)| swipe.swipe.direction == Direction::Out).count() as f64;
    // A patch of the surface lies in another part of swipes back, or hides the fastest moment.
    let both_ways = out.min(n - out) >= (1.0 - ON_ONE_SIDE) * n;
    let one_side = on_one_side >= ON_ONE_SIDE * n || best.high < BEFORE_ANY_PEAK;
    let most =
        best.silences as f64 >= MOST_IN_IT * by_chance::lost(step).count() as f64 || best.chance < SURELY;
    if best.silences < LEAST || !one_side || !both_ways || !most {
        return None;
    }
    let all: Vec<f64> = own.iter().map(|(swipe, s)| hidden(&swipe.grid, s, Of::Acceleration)).collect();
    Some(limit.hiding(AS_MUCH * median(&all)?))
}

/// True if a silence lies wholly before the fastest moment of its swipe, or wholly behind it.
fn beside_the_peak(grid: &Grid, silence: &Silence) -> bool {
    !silence.to_the_end && super::limit::hidden_peak(grid, silence) < grid.peak()
}

/// A patch of the surface.
pub fn at_a_place(step: &StepView, per_mm: f64) -> Option<Limit> {
    let best = by_chance::cluster(&by_chance::marks(step, At::Edge), 0.0, |low| low + PATCH_MM)?;
    let limit = Limit::cluster(Of::Place, At::Edge, best);
    let all = by_chance::lost(step).filter(|(_, silence)| !silence.to_the_end);
    let (own, others): (Vec<_>, Vec<_>) = all.partition(|(swipe, s)| limit.explains(swipe, s, per_mm));
    // What lies there is passed in every swipe, and shows in most of those of a pace in which it shows at all; or at any speed.
    let shows = |p: &&PhaseView| {
        p.swipes.iter().any(|swipe| swipe.silences.iter().any(|s| limit.explains(swipe, s, per_mm)))
    };
    let passed: usize = step.phases.iter().filter(shows).map(|p| p.swipes.len()).sum();
    let onsets: Vec<f64> = own.iter().map(|(_, silence)| silence.onset).collect();
    let (slowest, fastest) = (quantile(&onsets, 0.1)?, quantile(&onsets, 0.9)?);
    let at_any_speed = fastest >= SPEEDS * slowest;
    if own.len() < others.len() || (!at_any_speed && 2 * own.len() < passed) {
        return None;
    }
    // Swipes so fast that the patch is too short for them to show it speak against a limit as well.
    let beyond = |s: &SwipeView| s.silences.is_empty() && s.grid.peak() * per_mm >= SPEEDS * fastest;
    let clean = step.swipes().filter(|(_, s)| beyond(s)).count();
    let no_limit = at_any_speed || clean >= own.len();
    (best.silences >= LEAST && no_limit).then_some(limit)
}
