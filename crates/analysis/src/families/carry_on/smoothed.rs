//! Swipes that all end in the same time, whatever their speed: counts that a device smooths.
//!
//! Firmware that lets the last motion fade goes on counting after the stop; and where a hand strikes
//! it, each swipe ends as the filter does. A hand's own endings take longer in a slow swipe than in a fast one, and none is
//! like another: movement times of one person and task scatter by 5 to 10 % (common practice, no source). So where the times
//! from half of a swipe's peak speed to a tenth of it agree to [`ALIKE`] (robust standard deviation), four of five to twice
//! that, over swipes whose peaks differ by [`APART`] and more, it is not the hand that ends them. What of the counts came
//! after the stop cannot be told, nor whether the stop itself gives way so: it leaves the verdict open and fails nobody.
//!
//! Not seen: endings shorter than [`LEAST_NS`] or than three times what a speed is taken over; hands that brake softly,
//! whose own ending hides the filter's; means over the last motion, which end as the hand's peak did before. (Added after devices
//! that told 70 to 160 mm of each swipe after the stop had passed; in three of those the times agreed to 0.6 % and better, and
//! in nine sound sessions of the same tester, by a script of our own, to 39 % at best.) Cost: O(slots).

use crate::stats::{mad, median};
use crate::step::{StepView, SwipeView};
use crate::verdict::{Criterion, FamilyVerdict, Outcome, Quantity};

/// See above.
const ALIKE: f64 = 0.05;
/// See above.
const APART: f64 = 2.0;
/// See above, nanoseconds.
const LEAST_NS: f64 = 30e6;
/// A speed is taken over this time, nanoseconds, and three slots at least.
const OVER: f64 = 12e6;
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
        "; but {} swipes, slow and fast, go from half of their peak speed to a tenth in {:.0} ms each, alike to {:.1} %: so do \
         counts that a device smooths, and what of them came after the stop cannot be told",
        endings.swipes,
        1e-6 * endings.time,
        1e2 * endings.spread,
    );
    if out.verdict != Outcome::Pass {
        return;
    }
    out.verdict = Outcome::Inconclusive;
    out.to_settle = Some("a reference device on the same carriage, and stops with a hard face".to_owned());
    out.criteria.push(Criterion {
        what: "scatter of the times in which swipes end",
        verdict: Outcome::Inconclusive,
        unit: "1",
        estimate: Some(Quantity { value: endings.spread, low: None, high: None }),
        tolerance: [Some(ALIKE), None],
    });
}

/// Endings that are alike over speeds that are not.
fn endings(step: &StepView) -> Option<Endings> {
    let slot = step.slot();
    let over = (OVER / slot).ceil().clamp(3.0, 1e4) as usize;
    let all = step.swipes().count();
    let seen: Vec<(f64, f64)> = step.swipes().filter_map(|(_, s)| ending(s, over)).collect();
    if seen.len() < LEAST.0 || (seen.len() as f64) < LEAST.1 * all as f64 {
        return None;
    }
    let times: Vec<f64> = seen.iter().map(|(_, slots)| slots * slot).collect();
    let time = median(&times).filter(|time| *time >= LEAST_NS.max(3.0 * over as f64 * slot))?;
    let spread = mad(&times, time)? / time;
    let near = times.iter().filter(|t| (*t - time).abs() <= 2.0 * ALIKE * time).count();
    let mut peaks: Vec<f64> = seen.iter().map(|(peak, _)| *peak).collect();
    peaks.sort_by(f64::total_cmp);
    // The tenth from either end: one odd swipe says nothing.
    let tenth = peaks.len() / 10;
    let apart = peaks[peaks.len() - 1 - tenth] >= APART * peaks[tenth];
    let alike = spread <= ALIKE && near as f64 >= LEAST.1 * times.len() as f64;
    (alike && apart).then_some(Endings { time, spread, swipes: seen.len() })
}

/// Peak speed of a swipe, mm a slot, and the slots from half of it to a tenth; speeds are means over `over` slots.
fn ending(view: &SwipeView, over: usize) -> Option<(f64, f64)> {
    let along = &view.grid.along_mm;
    if along.len() <= over {
        return None;
    }
    // Nothing comes after the swipe's last slot.
    let after = std::iter::repeat_n(&0.0, over);
    let mut sum: f64 = along[..over].iter().sum();
    let mut speeds = vec![sum / over as f64];
    for (new, old) in along[over..].iter().chain(after).zip(along) {
        sum += new - old;
        speeds.push(sum / over as f64);
    }
    let top = (0..speeds.len()).max_by(|a, b| speeds[*a].total_cmp(&speeds[*b]))?;
    let peak = speeds[top];
    let falls_to = |from: usize, share: f64| {
        let to = (from..speeds.len()).find(|i| speeds[*i] < share * peak)?;
        let (above, below) = (speeds[to.checked_sub(1)?], speeds[to]);
        Some((to, to as f64 - (share * peak - below) / (above - below)))
    };
    let (half_at, half) = falls_to(top, 0.5)?;
    let (_, tenth) = falls_to(half_at, 0.1)?;
    (peak > 0.0 && half.is_finite() && tenth.is_finite()).then_some((peak, tenth - half))
}
