//! How far the direction of motion turns on the way, where the hand swings in an arc.
//!
//! A forearm that swings about its elbow moves the device along an arc, and a sensor that is kept at one angle sees the
//! direction turn: by a radian on a travel of 300 mm at a radius of 300 mm. Counts that go missing meanwhile come back in
//! another direction than they had before, and neither they nor what was counted in between is motion aside. How far slow
//! swipes turn, in which next to nothing fails at a speed, says how far others do: the median, per count, of what lies between
//! the directions of the first and the last [`PART`] of their way. With a straight edge that is nothing, and nothing changes.
//!
//! How much of the way lies within a stretch that lacks counts is not known: no more than a hand makes that does its utmost,
//! nor than the travel has left. Up to that turn, the direction of the counts themselves is the local one. What turns at once
//! has no way to turn on. Cost: O(reports of the slow swipes).

use super::FLICK_ACCELERATION;
use crate::series::{Frame, Series};
use crate::stats::median;
use crate::swipes::Swipe;

/// Share of the way whose direction is taken; what lies between the middles of two of them is one less this.
const PART: f64 = 0.25;
/// Fewer slow swipes do not tell how a hand swings.
const LEAST: usize = 4;
/// No forearm is shorter, mm, from its elbow to the device (an adult's is 350 mm; a child's was not looked up). A hand that turns
/// more sharply than on a radius like this turns otherwise.
const RADIUS_MM: f64 = 200.0;

/// Radians per count by which swipes out turn; those back turn the other way.
pub(crate) fn bend<'a>(
    swipes: impl Iterator<Item = (&'a Series, Frame, &'a Swipe)>,
    counts_per_mm: f64,
) -> f64 {
    let bends: Vec<f64> = swipes.filter_map(|(series, frame, swipe)| of_one(series, frame, swipe)).collect();
    if bends.len() < LEAST || counts_per_mm.is_nan() || counts_per_mm <= 0.0 {
        return 0.0;
    }
    let most = 1.0 / (RADIUS_MM * counts_per_mm);
    median(&bends).map_or(0.0, |bend| bend.clamp(-most, most))
}

fn of_one(series: &Series, frame: Frame, swipe: &Swipe) -> Option<f64> {
    let counts = swipe.counts(series.samples.get(swipe.rows.clone())?, frame);
    let all: f64 = counts.iter().map(|c| c.0).sum();
    let (mut place, mut first, mut last) = (0.0, (0.0, 0.0), (0.0, 0.0));
    for c in &counts {
        if place < PART * all {
            first = (first.0 + c.0, first.1 + c.1);
        } else if place >= (1.0 - PART) * all {
            last = (last.0 + c.0, last.1 + c.1);
        }
        place += c.0;
    }
    let bend = swipe.sign() * (last.1.atan2(last.0) - first.1.atan2(first.0)) / ((1.0 - PART) * all);
    (all > 0.0 && bend.is_finite()).then_some(bend)
}

/// A motion of so many counts a second, with so many left to the stop, on an arc.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Turning {
    /// Radians per count, in the swipe's own direction.
    pub(crate) bend: f64,
    pub(crate) counts_per_mm: f64,
    pub(crate) speed: f64,
    pub(crate) left: f64,
}

impl Turning {
    /// The furthest turn in a time, radians.
    pub(crate) fn within(&self, seconds: f64) -> f64 {
        let utmost = 0.5e3 * FLICK_ACCELERATION * self.counts_per_mm * seconds * seconds;
        self.bend * (self.speed * seconds + utmost).min(self.left.max(0.0))
    }
}

/// Counts in the direction of `v` and across it.
pub(crate) fn turned(c: (f64, f64), v: (f64, f64)) -> (f64, f64) {
    let speed = v.0.hypot(v.1);
    ((c.0 * v.0 + c.1 * v.1) / speed, (c.1 * v.0 - c.0 * v.1) / speed)
}

/// Counts along and across the direction of `v`, turned on towards theirs by up to `turn` radians.
pub(crate) fn along(c: (f64, f64), v: (f64, f64), turn: f64) -> (f64, f64) {
    let (along, across) = turned(c, v);
    let (sin, cos) = across.atan2(along).clamp(turn.min(0.0), turn.max(0.0)).sin_cos();
    (along * cos + across * sin, across * cos - along * sin)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::erratic::tests::{PER_MM, swipe};
    use crate::verdict::Direction;

    const FRAME: Frame = Frame { cos: 1.0, sin: 0.0 };

    /// A swipe that turns by so many radians, evenly with its way.
    fn turning(by: f64) -> (Series, Swipe) {
        let way = |s: f64| s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
        swipe(1_000_000, |s, c| {
            let (sin, cos) = (by * (0.5 - way(s))).sin_cos();
            (c.0 * cos, c.0 * sin)
        })
    }

    #[test]
    fn the_bend_of_slow_swipes_is_told_and_that_of_a_straight_edge_is_none() {
        let per_count = |by: f64| {
            let (out, back) = (turning(by), turning(-by));
            let back = (back.0, Swipe { direction: Direction::Back, ..back.1 });
            let turned = Frame { cos: -1.0, sin: 0.0 };
            // Back runs in the sensor's other direction; here it is the frame that is turned.
            let bends: Vec<f64> = (0..4)
                .map(|i| if i % 2 == 0 { (&out, FRAME) } else { (&back, turned) })
                .filter_map(|((series, swipe), frame)| of_one(series, frame, swipe))
                .collect();
            median(&bends).unwrap()
        };
        // 300 mm along the path.
        assert!(
            (per_count(-0.9) * 300.0 * PER_MM - 0.9).abs() < 0.06,
            "{}",
            per_count(-0.9) * 300.0 * PER_MM
        );
        assert!(per_count(0.0).abs() * 300.0 * PER_MM < 0.01);
        let (series, swipe) = turning(3.0);
        let all = [(&series, FRAME, &swipe); 4];
        assert_eq!(bend(all.into_iter(), PER_MM), -1.0 / (200.0 * PER_MM));
        assert_eq!(bend(all.into_iter().take(3), PER_MM), 0.0);
    }

    #[test]
    fn counts_turn_with_the_arc_as_far_as_it_goes_and_no_further() {
        let aside = |degrees: f64, turn: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            along((10.0 * cos, 10.0 * sin), (5.0, 0.0), turn.to_radians())
        };
        let near = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9;
        assert!(near(aside(30.0, 0.0), (10.0 * 0.75f64.sqrt(), 5.0)));
        assert!(near(aside(30.0, 40.0), (10.0, 0.0)));
        assert!(near(aside(30.0, -40.0), (10.0 * 0.75f64.sqrt(), 5.0)));
        assert!(near(aside(90.0, 60.0), (10.0 * 0.75f64.sqrt(), 5.0)));
        assert!(aside(180.0, 40.0).0 < -7.0, "backwards stays backwards");
        let turning = Turning { bend: 1e-3, counts_per_mm: 1.0, speed: 2000.0, left: 100.0 };
        assert!(turning.within(1e-3) > 2e-3 && turning.within(1e-3) < 2.1e-3);
        assert!((turning.within(1.0) - 0.1).abs() < 1e-12);
    }
}
