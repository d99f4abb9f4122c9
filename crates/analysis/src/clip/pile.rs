//! Reports that pile up at one level: more of them than the peak of a hand's motion could leave there.
//!
//! The speed of a swipe has a smooth peak, near its top a parabola. It passes the last W + 1 counts below the peak in a time
//! that grows as √(W + 1), and spends 1/√(W + 1) of that within one count of it; less if the peak does not lie at the very
//! edge of a count, or if noise blurs it. What lies over a ceiling is on top of that. So a swipe *piles up* at its highest
//! level if of the reports within W counts below it significantly more lie at it (exact binomial limit, [`LEVEL`]), for one
//! of [`WIDTHS`]. Flatter peaks and steady hands pile up, too, but each time at another level; so do sensors that repeat
//! their last motion. By chance a sound hand meets the top of the session with at most a share q of its swipes
//! ([`SCATTER`]): the ceiling is shown if more of all that pile up do so at the top (exact limit, [`CHANCE`]).
//!
//! Smallest found: three swipes where a report holds 280 counts at the top, five at 82, eight at 47.

use super::{SWIPES, TOPS, Top};
use crate::series::Sample;
use crate::stats::proportion_low;

/// Counts below the level: one, where frames beat against reports and make a second peak further down, and a few.
const WIDTHS: [i32; 2] = [1, 4];
/// Chance that the peak of a parabola at the very edge of a count piles up by one of [`WIDTHS`].
const LEVEL: f64 = 0.01;
/// A hand repeats the peak speed of fast swipes no better than to this share (one standard deviation; our own proposal,
/// practised hands show 5 % and more). A normal scatter of s counts puts at most 0.4/s into one count.
const SCATTER: f64 = 0.03;
/// And what rounding leaves of it where a count is more than that.
const MOST_BY_CHANCE: f64 = 0.6;
/// Chance that the piles of a sound device lie at the top so often.
const CHANCE: f64 = 1e-4;

/// True if the swipes pile up at the top, and not elsewhere.
pub(super) fn is_ceiling(swipes: &[&[Sample]], top: Top) -> bool {
    let piles: Vec<i32> = swipes.iter().filter_map(|samples| piles_up_at(samples, top)).collect();
    let at_top = piles.iter().filter(|depth| **depth == 0).count();
    let by_chance = (0.4 / (SCATTER * f64::from(top.value()))).min(MOST_BY_CHANCE);
    // At a small top chance says nothing: that counts are missing does.
    let shown = if top.is_small() {
        4 * at_top >= 3 * piles.len()
    } else {
        proportion_low(at_top as u32, piles.len() as u32, CHANCE) > by_chance
    };
    at_top >= SWIPES && shown
}

/// How far below the top the highest level of a swipe lies, if its reports pile up there.
fn piles_up_at(samples: &[Sample], top: Top) -> Option<i32> {
    let highest = samples.iter().map(|s| top.depth(s)).min();
    let level = highest.filter(|depth| top.value() - depth >= top.least())?;
    let within = |width: i32| samples.iter().filter(|s| top.depth(s) <= level + width).count() as u32;
    let at_level = within(0);
    let piles_up = |width: i32| {
        let of_a_peak = 1.0 / f64::from(width + 1).sqrt();
        proportion_low(at_level, within(width), LEVEL / WIDTHS.len() as f64) > of_a_peak
    };
    (at_level as usize >= TOPS && WIDTHS.into_iter().any(piles_up)).then_some(level)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clip::Axis;

    fn swipe(counts: impl IntoIterator<Item = i32>) -> Vec<Sample> {
        let one = |(i, x)| Sample { t: i as i64 * 500_000, x, y: 0, timed: true, idle_before: 0 };
        counts.into_iter().enumerate().map(one).collect()
    }

    /// A parabola of 400 reports that peaks at `peak`, of which every fourth report holds a quarter more, cut at `ceiling`.
    fn beating(peak: f64, ceiling: i32) -> Vec<Sample> {
        swipe((0..400).map(|i| {
            let speed = peak * (1.0 - (f64::from(i - 200) / 200.0).powi(2));
            let frames = if i % 4 == 0 { 1.25 } else { 0.92 };
            ((speed * frames) as i32).min(ceiling)
        }))
    }

    fn ceiling_of(swipes: &[Vec<Sample>]) -> bool {
        let most = swipes.iter().flatten().map(|s| s.x).max().unwrap();
        let all: Vec<&[Sample]> = swipes.iter().map(Vec::as_slice).collect();
        is_ceiling(&all, Top { axis: Axis::X, ends: (Some(most), Some(most)) })
    }

    #[test]
    fn reports_that_reach_a_ceiling_one_in_four_pile_up_at_it() {
        let peaks = (0..12).map(|i| 47.0 + 0.6 * f64::from(i));
        let clipped: Vec<Vec<Sample>> = peaks.clone().map(|peak| beating(peak, 54)).collect();
        let sound: Vec<Vec<Sample>> = peaks.map(|peak| beating(peak, 127)).collect();
        assert!(ceiling_of(&clipped) && !ceiling_of(&sound));
    }

    /// Steady hands hold a level for long, each time another; at 25 counts even chance puts half of them at the highest.
    #[test]
    fn steady_speeds_are_no_ceiling() {
        let steady = |level: i32| swipe([level / 3, level * 2 / 3].into_iter().chain([level; 40]));
        let fine: Vec<Vec<Sample>> = (0..20).map(|i| steady(500 - (i % 7))).collect();
        let coarse: Vec<Vec<Sample>> = (0..20).map(|i| steady(25 - (i % 2))).collect();
        let held: Vec<Vec<Sample>> = (0..20).map(|i| steady(if i == 0 { 480 } else { 500 })).collect();
        assert!(!ceiling_of(&fine) && !ceiling_of(&coarse) && ceiling_of(&held));
    }
}
