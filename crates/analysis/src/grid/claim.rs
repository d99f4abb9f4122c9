//! How fast a swipe was, as a claim: never faster than the hand.
//!
//! The expected speed follows the counts, and a single report of false motion is worth 5 to 10 % of a peak in it even so. For
//! the claim it is fitted once more without slots whose counts lie off the fit by more than [`FAR`] times the swipe's own
//! scatter about it. More of them than one in [`RARE`] are the device's way of counting (frames that beat against reports),
//! and stay.
//!
//! - *Seen*: the fastest slot of those that tell speed. What fills a hole was not seen.
//! - *Made*: no less than the mean over what is missing between two slots that tell speed, at most [`HAND`] times the travel over the swipe's
//!   time. (First the fastest expected anywhere, which had been 3.7 to 4.7 m/s of 2.8 where a sensor was blind up to the stop.)
//!
//! Both are no more than a run of reports ([`by_reports`]) allows, each of which stands for a slot and more, whatever its stamp: reports
//! read late come together, and the grid takes them as they come. (Added after 4.9 m/s had been told clean of swipes of 3.3, by stamps
//! late by a quarter of an interval.)
//!
//! Counts that make a swipe longer than the travel were not travelled: a gain that rises in proportion to speed, and makes a
//! swipe longer by x, is higher by [`AT_PEAK`] x at its peak, and both speeds are divided by that. (A swipe that is shorter was
//! faster than its counts: it claims less than it might.) Cost: O(slots).

use super::Grid;
use crate::stats::median;

/// Robust standard deviations: of a normal scatter never so far in a session, and of a uniform one never at all.
const FAR: f64 = 6.0;
/// See the header: a spike in a swipe of 0.2 s is one slot of 200, of 25 at 8 ms.
const RARE: usize = 20;
/// Twice what the peak of a minimum-jerk movement is to its mean, 1.875 (Flash & Hogan 1985): skewed swipes have up to 2.2.
const HAND: f64 = 2.0 * 1.875;
/// The mean of speed over the way of a minimum-jerk swipe is 0.762 of its peak: ∫v²dt / (∫v dt · v_peak) = (10/7) / 1.875.
const AT_PEAK: f64 = 1.875 * 0.7;
/// Counts of a swipe that are longer than the travel by less than this may be placing, and its scale's: as for the fit.
const LONGER: f64 = 0.02;

/// Reports of a run: so many, and of so long, nanoseconds.
const RUN: (usize, f64) = (5, 10e6);
/// The run's mean at the peak of a minimum-jerk swipe is lower by ⅔ of the square of the run's share of the swipe (the second-order term
/// of 16 u² (1 − u)²), and of no more than this share.
const BENDS: (f64, f64) = (2.0 / 3.0, 0.4);

/// What a swipe may claim.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Claim {
    /// Fastest that the hand was seen at, mm/s.
    pub seen_mm_s: f64,
    /// Fastest that it must have been, seen or not, mm/s.
    pub made_mm_s: f64,
    /// Largest acceleration seen, m/s².
    pub acceleration_m_s2: f64,
}

/// What a claim rests on beside the grid.
pub(super) struct Swept {
    /// Slots that tell speed.
    pub(super) trusted: Vec<bool>,
    /// The travel between the stops, mm.
    pub(super) travel_mm: Option<f64>,
    /// The swipe's length, mm.
    pub(super) counted_mm: f64,
    /// One count, mm.
    pub(super) count_mm: f64,
    /// Most that its reports allow, mm/s.
    pub(super) by_reports_mm_s: f64,
}

/// The most that runs of reports, of times and distances along, allow a swipe's peak to be, per second.
pub(super) fn by_reports(reports: &[(i64, f64)], slot: f64) -> f64 {
    let run = RUN.0.max((RUN.1 / slot.max(1.0)).ceil() as usize).min(reports.len().saturating_sub(1));
    let (Some(first), Some(last), true) = (reports.first(), reports.last(), run > 0) else {
        return f64::INFINITY;
    };
    let whole = (last.0.saturating_sub(first.0) as f64).max(reports.len() as f64 * slot);
    let fastest = reports.windows(run + 1).map(|w| {
        let counts: f64 = w[1..].iter().map(|r| r.1).sum();
        let time = (w[run].0.saturating_sub(w[0].0) as f64).max(run as f64 * slot);
        let share = (time / whole).min(BENDS.1);
        counts.abs() / time * 1e9 * (1.0 + BENDS.0 * share * share)
    });
    fastest.fold(0.0, f64::max)
}

/// The claim of a swipe; `fit` gives the expected speeds where other slots tell speed.
pub(super) fn of(grid: &Grid, swept: Swept, fit: impl Fn(&[bool]) -> Vec<f64>) -> Claim {
    let Swept { mut trusted, travel_mm, counted_mm, count_mm, by_reports_mm_s } = swept;
    let far = far_off(grid, &trusted, count_mm);
    let speeds = match far.is_empty() {
        true => grid.expected_mm_s.clone(),
        false => {
            for slot in far {
                trusted[slot] = false;
            }
            fit(&trusted)
        }
    };
    let longer = travel_mm.filter(|d| *d > 0.0).map_or(0.0, |d| counted_mm / d - 1.0);
    let gain = if longer > LONGER { 1.0 + AT_PEAK * longer } else { 1.0 };
    let seen = speeds.iter().zip(&trusted).filter(|(_, t)| **t).map(|(v, _)| *v).fold(0.0, f64::max);
    let seconds = speeds.len() as f64 * grid.slot * 1e-9;
    let most = HAND * travel_mm.unwrap_or(counted_mm) / seconds.max(1e-9);
    let seen = seen.min(by_reports_mm_s);
    let all = seen.max(over_holes(&speeds, &trusted));
    let neighbours = speeds.windows(2).zip(trusted.windows(2)).filter(|(_, t)| t.iter().all(|t| *t));
    let steepest = neighbours.map(|(v, _)| (v[1] - v[0]).abs()).fold(0.0, f64::max);
    Claim {
        seen_mm_s: seen.min(most.max(0.0)) / gain,
        made_mm_s: all.min(most.max(0.0)) / gain,
        acceleration_m_s2: steepest * 1e-3 / (grid.slot * 1e-9) / gain,
    }
}

/// Fastest mean over slots that tell no speed and lie between two that do: what is missing there was made in that time. How it was made no
/// report tells, nor when the hand was there where none comes after.
fn over_holes(speeds: &[f64], trusted: &[bool]) -> f64 {
    let slots: Vec<(f64, bool)> = speeds.iter().copied().zip(trusted.iter().copied()).collect();
    let ends = slots.iter().position(|s| s.1).zip(slots.iter().rposition(|s| s.1));
    let between = ends.map_or(&[][..], |(first, last)| &slots[first..=last]);
    let holes = between.chunk_by(|a, b| a.1 == b.1).filter(|run| !run[0].1);
    holes.map(|run| run.iter().map(|slot| slot.0).sum::<f64>() / run.len() as f64).fold(0.0, f64::max)
}

/// Slots of the faster half whose counts lie far off the expected speed.
fn far_off(grid: &Grid, trusted: &[bool], count_mm: f64) -> Vec<usize> {
    let top = grid.expected_mm_s.iter().zip(trusted).filter(|(_, t)| **t);
    let half = 0.5 * top.map(|(v, _)| *v).fold(0.0, f64::max);
    let expected = |slot: usize| grid.expected_mm_s.get(slot).copied().unwrap_or(0.0);
    let slots: Vec<usize> =
        (0..trusted.len().min(grid.along_mm.len())).filter(|i| trusted[*i] && expected(*i) > half).collect();
    let off = |slot: usize| (grid.along_mm[slot] - expected(slot) * grid.slot * 1e-9).abs();
    let Some(scatter) = median(&slots.iter().map(|i| off(*i)).collect::<Vec<_>>()) else { return Vec::new() };
    // The median of a normal scatter's size is 0.6745 of its standard deviation. A count is known to half of it.
    let far = FAR * scatter.max(0.5 * count_mm) / 0.6745;
    let beyond: Vec<usize> = slots.iter().copied().filter(|i| off(*i) > far).collect();
    if beyond.len() * RARE > slots.len() { Vec::new() } else { beyond }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 300 mm in 0.2 s by minimum jerk, which peaks at 2.8125 m/s (Flash & Hogan 1985), a report every 8 ms, of which the host stamps
    /// some up to 3 ms late.
    #[test]
    fn late_stamps_make_no_speed_and_the_peak_is_told_to_three_per_cent() {
        let place = |t: f64| {
            let u = (t / 0.2).min(1.0);
            300.0 * u.powi(3) * (10.0 - 15.0 * u + 6.0 * u * u)
        };
        for late_ns in [0i64, 3_000_000] {
            let report = |i: i64| {
                let (from, to) = (place(8e-3 * (i - 1) as f64), place(8e-3 * i as f64));
                (8_000_000 * i + late_ns * ((i * 7) % 4) / 3, to - from)
            };
            let reports: Vec<(i64, f64)> = (1..=25).map(report).collect();
            let most = by_reports(&reports, 8e6);
            assert!((0.97..1.03).contains(&(most / 2812.5)), "{late_ns}: {most}");
        }
        assert!(by_reports(&[], 8e6).is_infinite() && by_reports(&[(0, 1.0)], f64::NAN).is_infinite());
        let far = [(i64::MIN, 1.0), (i64::MAX, 1.0), (0, f64::NAN)];
        assert_eq!(by_reports(&far, 1e6), 0.0);
    }
}
