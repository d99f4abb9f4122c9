//! Accelerations of the hand, as expected and as counted.
//!
//! *As expected*, over [`SLOPE_S`] before an instant. What a silence hides bends the expected motion beside it, so that
//! silences seem to begin at accelerations that the device never has elsewhere. So those at random times are read likewise:
//! a hole as long is cut into the same swipe where the device did count, and the expected motion fitted again.
//!
//! *As counted*: the least-squares slope of the counts per slot over [`OVER`], so that a report which comes in its neighbour's
//! slot is worth little. It looks back alone and never at a silence, and so needs no model.
//! Cost: O(silences × slots).

use super::by_chance::{self, Way};
use crate::expected;
use crate::grid::Grid;
use crate::silence::Silence;
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};

/// Time over which it is taken as expected, seconds: shorter than a tenth of a flick.
const SLOPE_S: f64 = 8e-3;
/// Time over which it is taken as counted, nanoseconds: shorter than a fifth of a flick.
const OVER: f64 = 16e6;
/// Slots that a slope needs.
const LEAST: usize = 3;
/// Holes that are cut for each silence: of some 30 silences they tell a share to 3 %.
const HOLES: usize = 8;

/// Acceleration of expected motion before a slot, mm/s².
pub fn of(expected_mm_s: &[f64], slot: usize, width: f64) -> f64 {
    let speed = |i: usize| expected_mm_s.get(i).copied().unwrap_or(0.0);
    let slot = slot.min(expected_mm_s.len().saturating_sub(1));
    let back = ((SLOPE_S * 1e9 / width.max(1.0)).round() as usize).max(1);
    let from = slot.saturating_sub(back);
    let seconds = (slot - from).max(1) as f64 * width * 1e-9;
    // The hole's own curve says nothing: the slope before it.
    ((speed(slot) - speed(from)) / seconds).abs()
}

/// Largest acceleration of a swipe's expected motion, mm/s².
pub fn most(grid: &Grid) -> f64 {
    (0..grid.expected_mm_s.len()).map(|i| of(&grid.expected_mm_s, i, grid.slot)).fold(0.0, f64::max)
}

/// Accelerations at which silences as long as the lost ones of a step begin at random times of the same swipes.
pub fn at_random_times(step: &StepView, per_mm: f64) -> Vec<f64> {
    let travel_mm = step.travel.map(|t| t.millimetres());
    let lost = by_chance::lost(step).filter(|(_, s)| !s.to_the_end);
    lost.flat_map(|(swipe, silence)| cut(swipe, silence, per_mm, travel_mm)).collect()
}

fn cut(swipe: &SwipeView, silence: &Silence, per_mm: f64, travel_mm: Option<f64>) -> Vec<f64> {
    let (grid, way) = (&swipe.grid, Way::new(swipe));
    let hidden = hidden(swipe);
    let hole = |from: usize, length: usize| from.saturating_sub(1)..(from + length + 1).min(hidden.len());
    let free = |length: usize| -> Vec<usize> {
        let free = |from: &usize| {
            way.would_show(*from, length, per_mm) && !hidden[hole(*from, length)].contains(&true)
        };
        (0..hidden.len().saturating_sub(length)).filter(free).collect()
    };
    // Where the counts leave no room for one as long, a shorter one.
    let lengths = std::iter::successors(Some(grid.slots(silence).len()), |n| (*n > 1).then_some(n / 2));
    let found = lengths.map(|n| (n, free(n))).find(|(_, all)| !all.is_empty());
    let Some((length, all)) = found else { return Vec::new() };
    let every = all.len().div_ceil(HOLES).max(1);
    let again = |from: &usize| {
        let mut trusted: Vec<bool> = hidden.iter().map(|h| !h).collect();
        trusted[hole(*from, length)].iter_mut().for_each(|t| *t = false);
        let seconds = grid.slot * 1e-9;
        of(&expected::speed(&grid.along_mm, &trusted, seconds, travel_mm, false), *from, grid.slot)
    };
    all.iter().skip(every / 2).step_by(every).map(again).collect()
}

/// Slots of a swipe that a silence touches.
fn hidden(swipe: &SwipeView) -> Vec<bool> {
    let grid = &swipe.grid;
    let mut hidden = vec![false; grid.along_mm.len()];
    for silence in &swipe.silences {
        let slots = grid.slots(silence);
        // The reports beside it hold parts of their intervals.
        let touched = slots.start.saturating_sub(1)..(slots.end + 1).min(hidden.len());
        hidden[touched].iter_mut().for_each(|h| *h = true);
    }
    hidden
}

/// Acceleration as counted before a slot, mm/s²; the hand was at rest before the first one. `None` where a silence lies in
/// the way.
fn counted(grid: &Grid, hidden: &[bool], end: usize) -> Option<f64> {
    let n = ((OVER / grid.slot.max(1.0)).round() as usize).max(LEAST);
    let from = end.saturating_sub(n);
    if hidden.get(from..end)?.contains(&true) {
        return None;
    }
    let middle = (n as f64 - 1.0) / 2.0;
    let spread = n as f64 * (n as f64 * n as f64 - 1.0) / 12.0;
    // Slots before the first are empty.
    let along = grid.along_mm.get(from..end)?.iter().rev().enumerate();
    let sum: f64 = along.map(|(back, mm)| (middle - back as f64) * mm).sum();
    let slot = grid.slot * 1e-9;
    Some((sum / spread / (slot * slot)).abs())
}

/// How often a step's swipes with and without losses go on counting beyond a factor of the median acceleration at which the
/// lost silences begin, as counted: stretches that lie apart by [`OVER`] at least, in phases with losses.
pub fn goes_on(step: &StepView, factor: f64) -> usize {
    // The last report before a silence may hold a part of its interval.
    let begun = |(swipe, s): (&SwipeView, &Silence)| {
        counted(&swipe.grid, &hidden(swipe), swipe.grid.slots(s).start.saturating_sub(1))
    };
    let onsets: Vec<f64> = by_chance::lost(step).filter_map(begun).collect();
    let Some(onset) = median(&onsets) else { return 0 };
    let lose = |p: &&PhaseView| p.swipes.iter().any(|s| !s.silences.is_empty());
    let swipes = step.phases.iter().filter(lose).flat_map(|p| &p.swipes);
    swipes.map(|s| times_beyond(s, factor * onset)).sum()
}

fn times_beyond(swipe: &SwipeView, value: f64) -> usize {
    let grid = &swipe.grid;
    let hidden = hidden(swipe);
    let apart = (OVER / grid.slot.max(1.0)).round() as usize;
    let (mut times, mut last) = (0, None);
    for slot in 0..hidden.len() {
        if counted(grid, &hidden, slot).is_some_and(|a| a >= value) {
            times += usize::from(last.is_none_or(|last| slot - last > apart));
            last = Some(slot);
        }
    }
    times
}
