//! Levels of slow swipes that faster ones pass clean: the scaling's, and no motion told again.
//!
//! Firmware that cuts off fractions of a count makes steps of the hand's speed: over a part of each slow swipe the reports then hold
//! the same few counts, as those of a sensor do that tells one motion again. But what a sensor does at a speed it does to every swipe
//! that runs through it. So straight runs are dropped where
//!
//! - swipes that are faster than they by [`FASTER`] and more, of later phases that show none, are [`LEAST`] and more in each direction that
//!   has them (a sensor may come to lose track, and may lose it one way alone);
//! - and they are [`RUNS`] and more that [agree](SCATTER), or hold fewer counts a report than [three](DUE), the least of which false
//!   motion is told at all. (A firmware that tells its last report again now and then, whatever the speed, makes levels that differ.)
//!
//! (Added after one in three of such devices had been told to repeat motion in up to seven of ten slow swipes, which then measured
//! nothing: their gain was of unknown cause, or not examined.) Cost: O(swipes).

use super::{PhaseView, SwipeView};
use crate::erratic::{Stretch, Wrong};
use crate::series::DUE;
use crate::stats::{mad, median};
use crate::verdict::Direction;

const FASTER: f64 = 1.5;
const LEAST: usize = 5;
const RUNS: usize = 3;
/// Robust standard deviation of levels that are one: hands differ by more.
const SCATTER: f64 = 0.015;

/// Takes them back; `slot` in nanoseconds.
pub(super) fn drop_levels(phases: &mut [PhaseView], slot: f64) {
    let shows = |p: &PhaseView| p.swipes.iter().any(|s| runs(s).next().is_some());
    let of = |direction: Direction| {
        let own = phases.iter().flat_map(|p| &p.swipes).filter(move |s| s.swipe.direction == direction);
        own.flat_map(runs).map(level).collect::<Vec<f64>>()
    };
    let ways = [Direction::Out, Direction::Back].map(|direction| (direction, of(direction)));
    let levels: Vec<f64> = ways.iter().flat_map(|(_, levels)| levels).copied().collect();
    let Some((top, last)) = levels.iter().copied().reduce(f64::max).zip(phases.iter().rposition(shows))
    else {
        return;
    };
    let later =
        || phases.iter().skip(last + 1).flat_map(|p| &p.swipes).filter(|s| s.swipe.peak > FASTER * top);
    let passed = ways.iter().filter(|(_, levels)| !levels.is_empty());
    let passed = passed.map(|(way, _)| later().filter(|s| s.swipe.direction == *way).count()).min();
    let agree = |centre: f64| mad(&levels, centre).is_some_and(|scatter| scatter <= SCATTER * centre);
    let agree = levels.len() >= RUNS && median(&levels).is_some_and(agree);
    let few = top * slot * 1e-9 < DUE as f64;
    if passed.is_some_and(|n| n >= LEAST) && (agree || few) {
        for view in phases.iter_mut().flat_map(|p| &mut p.swipes) {
            view.stretches.retain(|s| !is_run(s));
        }
    }
}

fn is_run(stretch: &Stretch) -> bool {
    matches!(stretch.wrong, Wrong::Repeated | Wrong::Level)
}

fn runs(view: &SwipeView) -> impl Iterator<Item = &Stretch> {
    view.stretches.iter().filter(|s| is_run(s))
}

/// Counts per second of a run.
fn level(run: &Stretch) -> f64 {
    let seconds = run.end.saturating_sub(run.begin) as f64 * 1e-9;
    run.counts.0.hypot(run.counts.1) / seconds.max(1e-9)
}
