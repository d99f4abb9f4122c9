//! The way that a hole in the counts hides, held against the speeds on both sides of it.
//!
//! A hand's speed is smooth. From the collapse to where track is found again, for a time d, it leads from v₁, rising by
//! a₁ a second, to v₂, falling by a₂ a second; the smoothest speed between them (a cubic in time) makes the way
//!
//! ```text
//! d (v₁ + v₂) / 2 + d² (a₁ + a₂) / 12
//! ```
//!
//! and what the swipe lacks of its travel is the way that it did make. Where counts sag before the loss both speeds are
//! too low, and their rise is hardly there: the way is then far longer than they foretell. So shows a sag that sets in as slowly
//! as a hand brakes, which the flank before the loss does not tell from that.
//!
//! The cubic is exact for a short hole. A minimum-jerk swipe makes 1.00, 1.04, 1.07 and 1.19 of it where the limit lies at
//! 0.9, 0.6, 0.5 and 0.3 of its peak, and track is found again at nine tenths of the limit; one whose gain falls by 15 % over
//! the last 15 % of speed makes 1.26, 1.70, 1.97 and 3.07 (by its formula). More than [`MOST`] is a sag.
//!
//! So a loss of 5 % over that range shows where the limit lies at half of the peak and less, of 8 % at three quarters, and of 15 %
//! at nine tenths.
//!
//! Looks at swipes that one hole accounts for. Assumes that they went from stop to stop: one that did not is one of many.
//! Cost: O(reports beside the hole).

use super::onset::{self, Onset};
use crate::series::{Frame, Sample};

/// Way over foretold way beyond which counts were too few: no hand of minimum jerk makes more where the limit lies at three
/// tenths of its peak and more.
pub(super) const MOST: f64 = 1.2;

/// Way over foretold way of a hole that `onset` begins, and the samples `after` it end; `missing` is what the swipe lacks,
/// counts.
pub(super) fn way(onset: &Onset, after: &[Sample], frame: Frame, slot: f64, missing: f64) -> Option<f64> {
    // Backwards in time it ends as it begins. A report holds what came before it, and so, backwards, what comes after.
    let mirrored = |s: &Sample| Sample { t: (slot as i64).saturating_sub(s.t), ..*s };
    let backwards: Vec<Sample> = after.iter().rev().map(mirrored).collect();
    let end = onset::find(&backwards, frame, slot)?;
    let ((from, rise), (to, fall)) = (onset.edge?, end.edge?);
    let seconds = 1e-9 * (-to - from);
    let foretold = 0.5 * seconds * (onset.at? + end.at?) + seconds * seconds * (rise + fall) / 12.0;
    (seconds > 0.0 && foretold > 0.0).then_some(missing / foretold).filter(|ratio| ratio.is_finite())
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Reports of a minimum-jerk swipe of 300 mm with a peak of 2.25 m/s, 63 counts a mm along x, every `slot` ns. Counts as `gain`
    /// says at a speed in m/s; nothing while the hand is faster than 1.35 m/s.
    pub(crate) fn swipe(slot: i64, gain: impl Fn(f64) -> f64) -> Vec<Sample> {
        let (peak, last) = (2.25, 0.25);
        let (mut place, mut told, mut samples) = (0.0, 0i64, Vec::new());
        for step in 1..=(last / 5e-6) as i64 {
            let x = step as f64 * 5e-6 / last;
            let speed = 16.0 * peak * x * x * (1.0 - x) * (1.0 - x);
            place += if speed > 1.35 { 0.0 } else { 5e-6 * speed * gain(speed) };
            if step * 5_000 % slot == 0 {
                let counts = (63e3 * place) as i64 - told;
                told += counts;
                let moved = Sample { t: step * 5_000, x: counts as i32, y: 0, timed: true, idle_before: 0 };
                samples.extend((counts != 0).then_some(moved));
            }
        }
        samples
    }

    /// 1.03 by its formula, track being found again at the limit; with a loss of 15 % that begins at 85 % of it, 1.66.
    #[test]
    fn a_hole_hides_what_its_edges_foretell_unless_counts_sagged_before_it() {
        for slot in [125_000, 500_000, 1_000_000] {
            let of = |gain: &dyn Fn(f64) -> f64| {
                let samples = swipe(slot, gain);
                let hole = samples.windows(2).position(|w| w[1].t - w[0].t > 50_000_000).unwrap() + 1;
                let (before, after) = samples.split_at(hole);
                let counts: i32 = samples.iter().map(|s| s.x).sum();
                let frame = Frame { cos: 1.0, sin: 0.0 };
                let onset = onset::find(before, frame, slot as f64).unwrap();
                way(&onset, after, frame, slot as f64, 63.0 * 300.0 - f64::from(counts)).unwrap()
            };
            let sound = of(&|_| 1.0);
            assert!((0.97..1.1).contains(&sound), "{slot}: {sound}");
            let sags = of(&|v| 1.0 - (v / 1.35 - 0.85).max(0.0));
            assert!(sags > MOST, "{slot}: {sags}");
        }
    }
}
