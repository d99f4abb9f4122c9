//! Plateaus at a small top value: so long that neither a hand nor rounding holds it.
//!
//! What a ceiling hands on later leaves no swipe short, so at a top of few counts, which every swipe may reach by rounding
//! alone, another sign is asked for: the top is held as long as there is something left to hand on. A sensor counts places:
//! n counts in each of L reports in turn hold a speed at n to within 1/L of a count, since the first and last place are off by
//! less than one. And firmware that rounded each report for itself would hold n as long as the hand is within a count of its
//! top. A minimum-jerk swipe of N counts that peaks at n takes 1.875 N/n reports, and loses 8 u² of its peak at the share u of its
//! duration from the middle; within one count of n it is for the share 2 √(1/(8n)) of it. So a swipe *runs* at the top if it
//! holds it for more than 1.875 N/n · 2 √(1/(8n)) reports with no more than one other among [`PURE`]. What is handed on runs
//! three times as long as the peak is over the ceiling before its half; so from 0.9 of the peak at 5 counts, and 0.96 at
//! 11.
//!
//! It is a ceiling if [`SWIPES`] swipes and half of those that clip there run, and fewer run at a level below the top. (Added after
//! firmware that held 8 to 17 counts and handed on the rest, of which every fast swipe had 100 ms at exactly that value, had
//! passed, or been told as a wake-up or as straightening.) Cost: O(reports).

use super::{SWIPES, Top, clipped};
use crate::series::Sample;

/// Reports at a level for one of another: frames that beat, a link that sends again.
const PURE: i64 = 20;
/// Peak over mean speed of a minimum-jerk swipe (Flash & Hogan 1985), and what it loses at a share of its duration from the
/// middle, over that share squared: 16 s² (1 − s)² about a half.
const PEAK: f64 = 1.875;
const BEND: f64 = 8.0;

/// True if swipes run at the top, given with the counts that one travel has.
pub(super) fn is_ceiling(swipes: &[(&[Sample], f64)], top: Top) -> bool {
    let runs_at = |samples: &[Sample], travel: f64, depth: i32| {
        let level = f64::from(top.value() - depth);
        run(samples, |s| top.depth(s) == depth) as f64 > longest_sound(travel, level)
    };
    let clip: Vec<bool> = swipes
        .iter()
        .filter(|(samples, _)| clipped(samples, top).is_some())
        .map(|(samples, travel)| runs_at(samples, *travel, 0))
        .collect();
    let running = clip.iter().filter(|runs| **runs).count();
    let below = || {
        swipes.iter().filter(|(samples, travel)| {
            let highest = samples.iter().map(|s| top.depth(s)).min().unwrap_or(0);
            highest > 0 && top.value() - highest >= top.least() && runs_at(samples, *travel, highest)
        })
    };
    running >= SWIPES && 2 * running >= clip.len() && below().count() < running
}

/// Reports for which rounding holds a level that a hand peaks at, in a swipe of so many counts.
fn longest_sound(travel: f64, level: f64) -> f64 {
    PEAK * travel / level * 2.0 / (BEND * level).sqrt()
}

/// Reports at a level in the longest stretch that has next to no others.
fn run(samples: &[Sample], at_level: impl Fn(&Sample) -> bool) -> usize {
    // The stretch with the largest sum, where one of another level weighs as many as PURE of this.
    let (mut sum, mut held, mut best) = (0i64, 0usize, (0i64, 0usize));
    for s in samples {
        if at_level(s) {
            (sum, held) = (sum + 1, held + 1);
        } else {
            sum -= PURE;
        }
        if sum <= 0 {
            (sum, held) = (0, 0);
        }
        best = best.max((sum, held));
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clip::Axis;
    use crate::clip::tests::samples;

    /// Counts of a minimum-jerk swipe that takes so many reports and peaks at `peak` counts, told by places; what is more than
    /// `most` comes with the next.
    fn counted(reports: i32, peak: f64, most: i32) -> Vec<Sample> {
        let travel = peak * f64::from(reports) / PEAK;
        let place = |i: i32| {
            let u = (f64::from(i) / f64::from(reports)).min(1.0);
            (travel * u.powi(3) * (10.0 - 15.0 * u + 6.0 * u * u)).floor() as i32
        };
        let mut told = 0;
        let one = |i| {
            let counts = (place(i) - told).min(most);
            told += counts;
            counts
        };
        samples(&(1..2 * reports).map(one).collect::<Vec<_>>())
    }

    fn ceiling_of(swipes: &[Vec<Sample>]) -> bool {
        let most = swipes.iter().flatten().map(|s| s.x).max().unwrap();
        let all: Vec<(&[Sample], f64)> =
            swipes.iter().map(|s| (s.as_slice(), s.iter().map(|s| f64::from(s.x)).sum())).collect();
        is_ceiling(&all, Top { axis: Axis::X, ends: (Some(most), Some(most)) })
    }

    #[test]
    fn what_is_handed_on_runs_and_a_peak_at_any_part_of_a_count_does_not() {
        for top in [6, 9, 17] {
            let peaks = |share: f64| (0..20).map(move |i| f64::from(top) * share + 0.05 * f64::from(i));
            let handed_on: Vec<_> = peaks(1.2).map(|peak| counted(800, peak, top)).collect();
            let sound: Vec<_> = peaks(1.0).map(|peak| counted(800, peak, i32::MAX)).collect();
            assert!(ceiling_of(&handed_on), "{top}");
            assert!(!ceiling_of(&sound), "{top}");
        }
    }

    /// By hand: 1.875 × 400/8 × 2/√64 = 23.4 reports.
    #[test]
    fn rounding_holds_a_level_for_as_long_as_the_hand_is_within_a_count() {
        assert!((longest_sound(400.0, 8.0) - 23.4375).abs() < 1e-9);
        assert_eq!(run(&samples(&[3, 8, 8, 8, 7, 8, 8, 3]), |s| s.x == 8), 3);
        let long: Vec<i32> = (0..60).map(|i| if i == 30 { 7 } else { 8 }).collect();
        assert_eq!(run(&samples(&long), |s| s.x == 8), 59);
    }
}
