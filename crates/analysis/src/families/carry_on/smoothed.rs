//! Swipes that all end by the same law, whatever their speed: counts that a device smooths.
//!
//! Firmware that lets the last motion fade goes on counting after the stop, and each swipe ends as the filter does. An exponential
//! one leaves a part exp(−t/τ) of what it still owes, so that what is left of a swipe's counts falls
//!
//! ```text
//! from FROM_MM to a half, and from there to a quarter, in τ ln 2 each, in every swipe
//! ```
//!
//! A hand's own last millimetres take longer in a slow swipe than in a fast one, by as much as it is slower, and one that strikes
//! the stop has none; one that brakes to it takes less time for the second half of the way than √2 of that for the first. So where
//! these times agree to [`ALIKE`] (robust standard deviation), four of five to twice that, over swipes whose peaks differ by
//! [`APART`] and more (to [`SHARP`], six of ten, by half as much again), and the halves take the same time, it is not the hand that ends them. What of the counts came
//! after the stop cannot be told, nor whether the stop itself gives way so: it leaves the verdict open and fails nobody.
//!
//! Not seen: endings shorter than [`LEAST_NS`] or than three report intervals, so a τ below 22 ms; and means over the last motion,
//! which end as the hand's peak did before. (Added after devices
//! that told 70 to 160 mm of each swipe after the stop had passed. First times from half of a swipe's peak to a tenth of it were
//! compared: where hands braked before they struck, slow ones above all, these are the hand's in part, and devices that told 34 to
//! 123 mm after the stop in every swipe passed.) Cost: O(reports).

use super::leave_pass_open;
use crate::stats::{mad, median};
use crate::step::{PhaseView, StepView};
use crate::verdict::FamilyVerdict;

/// See above: movement times of one person and task scatter by 5 to 10 % (common practice, no source).
const ALIKE: f64 = 0.05;
/// No hand's: of times that agree so well it takes a smaller share, and peaks that are less apart, since slow hands brake to the stop in
/// longer. (Added after counts smoothed over 30 and 35 ms, of which a slow quarter ended otherwise, had passed.)
const SHARP: f64 = 0.02;
const SHARPLY: (f64, f64) = (0.6, 1.5);
/// See above.
const APART: f64 = 2.0;
/// See above, nanoseconds.
const LEAST_NS: f64 = 30e6;
/// What is left of a swipe where its ending begins, mm: more than a bounce, a pad and the finger that presses on make at a hard stop.
const FROM_MM: f64 = 4.0;
/// The first half of the ending over the second: 1 by the law above, 1.41 of a hand that brakes evenly.
const HALVES: (f64, f64) = (0.85, 1.18);
/// A swipe has ended so long after its last report at speed, nanoseconds: a hand dwells for 0.3 s and more, as the guide asks.
const ENDED_NS: i64 = 250_000_000;
/// Swipes that it takes, and the share of the step's that show an ending.
const LEAST: (usize, f64) = (12, 0.8);

/// How the swipes of a step end.
struct Endings {
    /// Median time, nanoseconds, and its robust standard deviation over it.
    time: f64,
    spread: f64,
    swipes: usize,
}

/// Leaves a pass open where all swipes end alike.
pub(super) fn leave_open(step: &StepView, out: &mut FamilyVerdict) {
    let Some(endings) = endings(step) else { return };
    out.because += &format!(
        "; but {} swipes, slow and fast, go from {FROM_MM} mm before their end to {} mm in {:.0} ms each, alike to {:.1} %, in \
         equal times for each half of it: so do counts that a device smooths, and what of them came after the stop cannot be told",
        endings.swipes,
        0.25 * FROM_MM,
        1e-6 * endings.time,
        1e2 * endings.spread,
    );
    let what = ("scatter of the times in which swipes end", "1", endings.spread);
    leave_pass_open(
        out,
        what,
        [Some(ALIKE), None],
        "a reference device on the same carriage, and stops with a hard face",
    );
}

/// Endings that are alike over speeds that are not.
fn endings(step: &StepView) -> Option<Endings> {
    let mut seen: Vec<(f64, [f64; 2])> = Vec::new();
    for phase in &step.phases {
        let ends = (0..phase.swipes.len())
            .filter_map(|i| Some((phase.swipes[i].swipe.peak, ending(step, phase, i)?)));
        seen.extend(ends);
    }
    alike(&seen, step.swipes().count(), step.slot())
}

/// The same of some swipes' peaks and endings, of so many in all.
fn alike(seen: &[(f64, [f64; 2])], all: usize, slot: f64) -> Option<Endings> {
    let n = seen.len() as f64;
    if seen.len() < LEAST.0 || n < LEAST.1 * all as f64 {
        return None;
    }
    let times: Vec<f64> = seen.iter().map(|(_, [first, second])| first + second).collect();
    let time = median(&times).filter(|time| *time >= LEAST_NS.max(3.0 * slot))?;
    let spread = mad(&times, time)? / time;
    let near = |time_of: f64| (time_of - time).abs() <= 2.0 * ALIKE * time;
    let halves = median(&seen.iter().map(|(_, [first, second])| first / second).collect::<Vec<_>>())?;
    let own = seen.iter().filter(|(_, [first, second])| near(first + second));
    let mut peaks: Vec<f64> = own.map(|(peak, _)| *peak).collect();
    let share = peaks.len() as f64 / n;
    peaks.sort_by(f64::total_cmp);
    // The tenth from either end: one odd swipe says nothing.
    let tenth = peaks.len() / 10;
    let (enough, far) = if spread <= SHARP { SHARPLY } else { (LEAST.1, APART) };
    let apart = peaks.get(peaks.len().checked_sub(1 + tenth)?)? >= &(far * peaks.get(tenth)?);
    let alike = spread <= ALIKE && share >= enough && (HALVES.0..HALVES.1).contains(&halves);
    (alike && apart).then_some(Endings { time, spread, swipes: seen.len() })
}

/// Nanoseconds in which what is left of a swipe falls from [`FROM_MM`] to a half, and from there to a quarter.
fn ending(step: &StepView, phase: &PhaseView, index: usize) -> Option<[f64; 2]> {
    let swipe = &phase.swipes.get(index)?.swipe;
    let next = phase.swipes.get(index + 1).map_or(phase.series.samples.len(), |next| next.swipe.rows.start);
    let samples = phase.series.samples.get(swipe.rows.start..next)?;
    let ended = samples.partition_point(|s| s.t <= swipe.end.saturating_add(ENDED_NS));
    let mut along = swipe.along(&samples[..ended], phase.frame?);
    let mut place = 0.0;
    let places: Vec<f64> = along
        .iter()
        .map(|counts| {
            place += counts;
            place
        })
        .collect();
    // The end is the furthest place: after it the hand may set out again.
    along.truncate((0..places.len()).max_by(|a, b| places[*a].total_cmp(&places[*b]))? + 1);
    // Backwards: how much is left after each report, until it was as much.
    let mut wanted =
        [0.25, 0.5, 1.0].map(|part| part * FROM_MM * step.scale.map_or(1.0, |s| s.counts_per_mm)).into_iter();
    let (mut left, mut level, mut at) = (0.0, wanted.next()?, Vec::new());
    for row in (1..along.len()).rev() {
        let (since, t) = (samples[row - 1].t, samples[row].t);
        let before = left + along[row];
        while before > level {
            let part = (level - left) / along[row];
            at.push(t as f64 - part * t.saturating_sub(since) as f64);
            match wanted.next() {
                Some(next) => level = next,
                None => return Some([at[1] - at[2], at[0] - at[1]]),
            }
        }
        left = before;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many swipes at a peak, of which the two parts of the ending take so long, in ms; by turns a share more and less.
    fn at(n: usize, peak: f64, [first, second]: [f64; 2], scatter: f64) -> Vec<(f64, [f64; 2])> {
        let by = |i: usize| if i.is_multiple_of(2) { 1.0 + scatter } else { 1.0 - scatter };
        (0..n).map(|i| (peak, [first, second].map(|ms| 1e6 * ms * by(i)))).collect()
    }

    #[test]
    fn endings_that_agree_as_no_hands_do_need_not_be_those_of_all_swipes() {
        let told = |scatter: f64, medium: f64| {
            let slow = at(20, 0.3, [60.0, 45.0], 0.1);
            let medium = at(8, medium, [21.0, 21.0], scatter);
            let all = [slow, medium, at(60, 2.5, [21.0, 21.0], scatter)].concat();
            alike(&all, 88, 1e6).is_some()
        };
        assert!(told(0.005, 1.2) && !told(0.04, 1.2), "by how they agree");
        assert!(!told(0.005, 2.2), "at one speed");
        assert!(alike(&[], 0, f64::NAN).is_none());
    }
}
