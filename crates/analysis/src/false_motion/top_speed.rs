//! Repeated motion that is one top speed: a sensor that counts no faster than its limit, and no spin-out.
//!
//! Either shows a level across a hidden peak. A sensor that repeats its last motion goes on with it until it wakes, whatever
//! the hand does meanwhile, so that the counts jump at the level's end; and it stops seeing at another speed each time. One
//! that counts up to its limit follows the hand again from where that has slowed to the limit. So the levels of a step are
//! a top speed where, of [`LEAST`] and more that can be looked at,
//!
//! - the levels agree: their robust standard deviation is [`SCATTER`] at most;
//! - the swipes of half of them and more come up short;
//! - speed runs on from level to hand. From the speeds v₁, v₂ over T and the next T after it ([`AFTER`]) follow the hand's
//!   deceleration a = (v₁ − v₂) / T and its speed where the level was seen to end, v₀ = v₁ + (v₁ − v₂) / 2. If it was L when
//!   the level ended, some time before, the place has since fallen behind the level's line by M = (L − v₀)² / 2a; if there
//!   was a jump by a share δ of L, by less. So δ² = ((L − v₀)² − 2 a M) / L², and its median is [`STEP`]² at most; that of
//!   its magnitude, since a sensor may wake while the hand is slower as well as faster, twice as much. (M is held against
//!   the line through the level's middle half.)
//!
//! Not looked at: intervals above [`COARSEST`], in two of which a hand changes its speed by more than that, and levels that
//! end as near to the stop as a device bounces ([`STOP_MM`]). Not told (and so left as repeats): fewer than eight levels, and
//! a sensor of some three frames a report and less, whose whole frames make the speeds after a level uncertain. Cost: O(reports).

use super::Look;
use crate::erratic::{Bench, Stretch, Wrong};
use crate::series::{Frame, Sample};
use crate::stats::median;
use crate::step::{PhaseView, SwipeView};

/// Levels that can be looked at: fewer agree by chance.
const LEAST: usize = 8;
/// Data sheets give 1 % typical for what a sensor counts.
const SCATTER: f64 = 0.01;
/// Three of those: what is no further from the others is one of them.
const SAME: f64 = 0.03;
/// A jump at the end, as a share of the level: the speeds beside it are known to 3 % a swipe, by whole frames.
const STEP: f64 = 0.07;
/// Time over which the speed after a level is taken, twice; nanoseconds. The shorter one, by which whole frames make it twice as
/// uncertain, only if fewer than [`LEAST`] levels end far enough from the stop for the other.
const AFTER: [f64; 2] = [8e6, 4e6];
/// See above, nanoseconds.
const COARSEST: f64 = 4.2e6;
/// See above, mm.
const STOP_MM: f64 = 8.0;

/// A level, and where it stands.
struct Level {
    /// Of the phases, of its swipes, of its stretches.
    at: (usize, usize, usize),
    short: bool,
    /// Counts per second.
    speed: f64,
    /// δ² by each of [`AFTER`], negative for a jump upwards; `None` if it cannot be told.
    jumps: [Option<f64>; 2],
}

/// Calls repeats a level where they are a top speed.
pub fn rename(phases: &mut [PhaseView], frame: Frame, bench: &Bench) {
    let levels = levels(phases, frame, bench);
    let Some(centre) = median(&levels.iter().map(|l| l.speed).collect::<Vec<_>>()) else { return };
    let off = |l: &Level| (l.speed / centre - 1.0).abs();
    // Of a normal scatter half lie within 0.674 standard deviations.
    let agree = median(&levels.iter().map(off).collect::<Vec<_>>()).is_some_and(|by| by <= 0.674 * SCATTER);
    let short = levels.iter().filter(|l| l.short).count();
    if !agree || 2 * short < levels.len() || !runs_on(&levels) {
        return;
    }
    for level in levels.iter().filter(|l| off(l) <= SAME) {
        let (phase, swipe, stretch) = level.at;
        let own = phases.get_mut(phase).and_then(|p| p.swipes.get_mut(swipe));
        if let Some(stretch) = own.and_then(|s| s.stretches.get_mut(stretch)) {
            stretch.wrong = Wrong::Level;
        }
    }
}

/// Takes back a ceiling that levels contradict, since its reports hold one value and those of a level as many as its frames
/// give: half of the swipes that seem to clip and more hold the top in less than half of a level's reports. (Added after a
/// sensor whose frames beat had been seen to pile up at the larger of two values.)
pub fn overrule_clips(phases: &mut [PhaseView]) {
    let contradicts = |phase: &PhaseView, view: &SwipeView, top: i32| {
        let levels = view.stretches.iter().filter(|s| s.wrong == Wrong::Level);
        levels.filter_map(|s| phase.series.samples.get(s.rows.clone())).any(|samples| {
            let at_top = |s: &&Sample| s.x.saturating_abs().max(s.y.saturating_abs()) == top;
            2 * samples.iter().filter(at_top).count() < samples.len()
        })
    };
    let views = phases.iter().flat_map(|p| p.swipes.iter().map(move |s| (p, s)));
    let clipped: Vec<bool> =
        views.filter_map(|(p, s)| Some(contradicts(p, s, s.clip.as_ref()?.top))).collect();
    let against = clipped.iter().filter(|c| **c).count();
    if against > 0 && 2 * against >= clipped.len() {
        phases.iter_mut().flat_map(|p| &mut p.swipes).for_each(|s| s.clip = None);
    }
}

/// True if no jump lies at the levels' ends.
fn runs_on(levels: &[Level]) -> bool {
    let long = levels.iter().filter_map(|l| l.jumps[0]);
    let either = levels.iter().filter_map(|l| l.jumps[0].or(l.jumps[1]));
    let jumps: Vec<f64> = if long.clone().count() >= LEAST { long.collect() } else { either.collect() };
    let sizes: Vec<f64> = jumps.iter().map(|j| j.abs()).collect();
    let within = |values: &[f64], most: f64| median(values).is_some_and(|m| m.abs() <= most);
    jumps.len() >= LEAST && within(&jumps, STEP * STEP) && within(&sizes, 2.0 * STEP * STEP)
}

fn levels(phases: &[PhaseView], frame: Frame, bench: &Bench) -> Vec<Level> {
    let mut all = Vec::new();
    for (i, phase) in phases.iter().enumerate() {
        for (j, view) in phase.swipes.iter().enumerate() {
            let repeats = view.stretches.iter().enumerate().filter(|(_, s)| s.wrong == Wrong::Repeated);
            let repeats: Vec<(usize, &Stretch)> = repeats.collect();
            if repeats.is_empty() || bench.slot.is_nan() || bench.slot <= 0.0 {
                continue;
            }
            let Some(look) = Look::new(&phase.series, frame, &view.swipe, bench) else { continue };
            for (k, stretch) in repeats {
                let Some((speed, jumps)) = look.level(stretch) else { continue };
                all.push(Level { at: (i, j, k), short: view.swipe.is_short(), speed, jumps });
            }
        }
    }
    all
}

impl Look<'_> {
    /// Counts per second of a level, and its δ².
    fn level(&self, stretch: &Stretch) -> Option<(f64, [Option<f64>; 2])> {
        let first = stretch.rows.start.checked_sub(self.swipe.rows.start)?;
        let last = stretch.rows.end.checked_sub(self.swipe.rows.start + 1)?;
        let quarter = last.checked_sub(first)? / 4;
        let (from, to) = (first + quarter, last - quarter);
        let slot_s = self.slot * 1e-9;
        let moved = |from: usize, to: usize| Some(self.places.get(to + 1)? - self.places.get(from + 1)?);
        let speed = moved(from, to).filter(|_| to > from)? / ((to - from) as f64 * slot_s);
        if speed <= 0.0 || !speed.is_finite() {
            return None;
        }
        let jump = |over: f64| {
            let each = (over / self.slot).ceil().max(2.0) as usize;
            let end = last + 2 * each;
            let to_go = moved(end, self.counts.len() - 1).unwrap_or(0.0);
            let whole = to_go > STOP_MM * self.per_mm && (last + 1..=end).all(|row| self.follows(row));
            if self.slot > COARSEST || !whole {
                return None;
            }
            let seconds = each as f64 * slot_s;
            let v1 = moved(last, last + each)? / seconds;
            let v2 = moved(last + each, end)? / seconds;
            let v0 = v1 + 0.5 * (v1 - v2);
            let slows = ((v1 - v2) / seconds).max(0.0);
            let behind = speed * (last - to) as f64 * slot_s - moved(to, last)?;
            let jump = ((speed - v0) * (speed - v0).abs() - 2.0 * slows * behind) / (speed * speed);
            Some(jump).filter(|j| j.is_finite())
        };
        Some((speed, AFTER.map(jump)))
    }
}
