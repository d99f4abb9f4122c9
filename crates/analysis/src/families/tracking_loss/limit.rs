//! Whether silences are a limit of the sensor: do they begin where the device moves as it otherwise never does?
//!
//! Link faults strike at any time of a swipe; a sensor that reaches its limit falls silent at one speed (or one
//! acceleration), and nothing beyond that is ever reported. So of the n lost silences of a step:
//!
//! - what speaks against a limit is at most [`MOST_BEYOND`] times as many: swipes of the same phases that go on clean
//!   beyond the median onset ([`BEYOND`]), and silences that begin when their own swipe has been seen as far beyond their
//!   own onset; and no more swipes than those silences go on clean beyond the median onset itself, where a limit that
//!   scatters takes half and more;
//! - and they lie so by no accident: with L the lower quartile of the onsets, k onsets lie at L or beyond, and a share q of
//!   the counted moving time of the phases that they lie in; or k of them hold the fastest moment of their swipe, which a
//!   silence at a random time does with q, its share of the swipe. Were silences independent of the motion, k of n would
//!   be binomial with q, and the chance of as many
//!
//! ```text
//! P = Σ_{i ≥ k} C(n, i) qⁱ (1 − q)ⁿ⁻ⁱ  <  1e-4
//! ```
//!
//! - and they keep to no clock of their own: silences that recur with a [period](crate::periodicity), half of them in step
//!   with it and by chance less often than [`CHANCE`], do so at whatever speed the hand has then. (Added after silences every
//!   125 ms in all swipes had been put down to a limit of acceleration: what they hide bends the expected speed beside
//!   them, and no swipe was clean to speak against it.)
//!
//! Speed and acceleration are tried, the less likely one holds. Assumes that a fault of the link does not know the
//! speed. Cost: O(slots).

use crate::grid::Grid;
use crate::periodicity::periodicity;
use crate::series::{DUE, Frame};
use crate::silence::{MakeUp, Silence};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::tracking_limit::onset as speed;
use statrs::distribution::{Binomial, DiscreteCDF};

/// Chance at which silences are no longer taken for accidents.
const CHANCE: f64 = 1e-4;
/// Fewer silences tell nothing of a limit.
const LEAST: usize = 3;
/// Beyond this factor of the median onset a clean swipe speaks against a limit; acceleration is known less well.
const BEYOND: (f64, f64) = (1.02, 1.3);
/// Likewise of the speed that a swipe was seen at before its own silence: both are known to a per cent or two.
const FASTER: f64 = 1.05;
/// Clean swipes beyond for each silence: a limit that scatters leaves some, faults of the link as many as there are.
const MOST_BEYOND: f64 = 0.25;
/// A silence that comes this near to the lower quartile of the onsets is one of the limit's own; or as near as twice the
/// distance of the quartiles, where the onsets themselves scatter more: 3.4 standard deviations below the median.
const REACHES: f64 = 0.95;
const SPREAD: f64 = 2.0;
/// Time over which an onset's acceleration is taken, seconds: shorter than a tenth of a flick.
const SLOPE_S: f64 = 8e-3;

/// What a limit is one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Speed, mm/s.
    Speed,
    /// Acceleration, mm/s².
    Acceleration,
}

/// A limit that silences show.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Of what.
    pub of: Of,
    /// Least onset that is still one of the limit.
    least: f64,
    /// Chance that silences at random times show it.
    pub chance: f64,
}

impl Limit {
    /// True if a silence began at the limit, or hides speeds beyond it.
    pub fn explains(&self, swipe: &SwipeView, silence: &Silence, counts_per_mm: f64) -> bool {
        let hidden = || hidden_peak(&swipe.grid, silence);
        let reaches = onset(&swipe.grid, silence, self.of, counts_per_mm) >= self.least
            || (self.of == Of::Speed && hidden() >= self.least);
        silence.kind == MakeUp::Lost && reaches
    }
}

/// Largest expected speed within a silence, mm/s.
pub fn hidden_peak(grid: &Grid, silence: &Silence) -> f64 {
    grid.expected_mm_s[grid.slots(silence)].iter().copied().fold(0.0, f64::max)
}

/// Value at which a silence began: for speed of the reports before it, else of the expected motion.
pub fn onset(grid: &Grid, silence: &Silence, of: Of, counts_per_mm: f64) -> f64 {
    let at = grid.slots(silence).start.min(grid.expected_mm_s.len().saturating_sub(1));
    match of {
        Of::Speed => silence.onset / counts_per_mm,
        Of::Acceleration => value(grid, at, of),
    }
}

fn value(grid: &Grid, slot: usize, of: Of) -> f64 {
    let speed = |i: usize| grid.expected_mm_s.get(i).copied().unwrap_or(0.0);
    match of {
        Of::Speed => speed(slot),
        Of::Acceleration => {
            let back = ((SLOPE_S * 1e9 / grid.slot.max(1.0)).round() as usize).max(1);
            let from = slot.saturating_sub(back);
            let seconds = (slot - from).max(1) as f64 * grid.slot * 1e-9;
            // The hole's own curve says nothing: the slope before it.
            ((speed(slot) - speed(from)) / seconds).abs()
        }
    }
}

/// The limit that the lost silences of a step show, if any.
pub fn find(step: &StepView) -> Option<Limit> {
    let due = DUE as f64 / step.scale?.counts_per_mm / (step.slot() * 1e-9);
    let tried = [Of::Speed, Of::Acceleration].map(|of| limit_of(step, of, due));
    let least = tried.into_iter().flatten().min_by(|a, b| a.chance.total_cmp(&b.chance))?;
    (least.chance < CHANCE && !recur(step)).then_some(least)
}

/// Silences in step with a period, as a share, from which on a clock explains them.
const IN_STEP: f64 = 0.5;

/// True if the lost silences keep to a clock. Losses at a limit come once or twice a swipe, where its speed has them; that
/// swipes follow each other with a cadence is not taken for a period.
fn recur(step: &StepView) -> bool {
    let lost = |s: &&Silence| !s.host && s.kind != MakeUp::Late;
    let all = step.swipes().flat_map(|(_, s)| s.silences.iter().filter(lost));
    let times: Vec<i64> = all.map(|s| s.begin).collect();
    let spans: Vec<(i64, i64)> = step.swipes().map(|(_, s)| (s.swipe.begin, s.swipe.end)).collect();
    periodicity(&times, &spans).is_some_and(|p| p.p_false < CHANCE && p.in_step >= IN_STEP)
}

/// A lost silence of a phase.
struct Lost {
    onset: f64,
    /// Whether it holds the fastest moment of its swipe, and its share of the swipe.
    holds_peak: bool,
    share: f64,
}

fn lost(phase: &PhaseView, of: Of, counts_per_mm: f64) -> Vec<Lost> {
    let mut all = Vec::new();
    for swipe in &phase.swipes {
        let grid = &swipe.grid;
        for silence in swipe.silences.iter().filter(|s| !s.host && s.kind != MakeUp::Late) {
            let slots = grid.slots(silence);
            let share = slots.len() as f64 / grid.expected_mm_s.len().max(1) as f64;
            let holds_peak = hidden_peak(grid, silence) >= grid.peak();
            all.push(Lost { onset: onset(grid, silence, of, counts_per_mm), holds_peak, share });
        }
    }
    all
}

fn limit_of(step: &StepView, of: Of, due: f64) -> Option<Limit> {
    let per_mm = step.scale?.counts_per_mm;
    let by_phase: Vec<(&PhaseView, Vec<Lost>)> =
        step.phases.iter().map(|p| (p, lost(p, of, per_mm))).collect();
    let all = || by_phase.iter().flat_map(|(_, lost)| lost);
    let mut onsets: Vec<f64> = all().map(|l| l.onset).collect();
    let n = onsets.len();
    if n < LEAST {
        return None;
    }
    onsets.sort_by(f64::total_cmp);
    let (at, median) = (*onsets.get(n / 4)?, *onsets.get(n / 2)?);
    // Mean over the silences of the share of their own phase.
    let share = |value: f64| {
        let sum: f64 = by_phase
            .iter()
            .filter(|(_, lost)| !lost.is_empty())
            .map(|(phase, lost)| lost.len() as f64 * share_beyond(phase, of, value, due))
            .sum();
        (sum / n as f64).clamp(0.0, 1.0)
    };
    let beyond = if of == Of::Speed { BEYOND.0 } else { BEYOND.1 };
    let clean = by_phase.iter().filter(|(_, lost)| !lost.is_empty());
    let clean = clean.flat_map(|(phase, _)| phase.swipes.iter().map(move |s| (*phase, s)));
    let frame = step.frame?;
    let top = |phase: &PhaseView, s: &SwipeView| match of {
        Of::Speed => {
            let samples = phase.series.samples.get(s.swipe.rows.clone()).unwrap_or_default();
            speed::fastest(samples, frame, step.slot()) / per_mm
        }
        Of::Acceleration => {
            (0..s.grid.expected_mm_s.len()).map(|i| value(&s.grid, i, of)).fold(0.0, f64::max)
        }
    };
    let tops: Vec<f64> =
        clean.filter(|(_, s)| s.silences.is_empty() && !s.swipe.is_short()).map(|(p, s)| top(p, s)).collect();
    let over = |value: f64| tops.iter().filter(|top| **top > value).count();
    let against = over(beyond * median);
    let before = if of == Of::Speed { seen_faster(step, frame) } else { 0 };
    if (against + before) as f64 > MOST_BEYOND * n as f64 || over(median) > n {
        return None;
    }
    let chance = |q: f64, k: usize| {
        let tail = Binomial::new(q.clamp(0.0, 1.0), n as u64).map(|b| b.sf((k as u64).saturating_sub(1)));
        if k == 0 { 1.0 } else { tail.unwrap_or(1.0) }
    };
    let fast = chance(share(at), onsets.iter().filter(|v| **v >= at).count());
    let peaks =
        chance(all().map(|l| l.share).sum::<f64>() / n as f64, all().filter(|l| l.holds_peak).count());
    let chance = if of == Of::Speed { fast.min(peaks) } else { fast };
    // The quartiles of a normal scatter lie 1.35 standard deviations apart.
    let upper = *onsets.get(3 * n / 4)?;
    let least = (REACHES * at).min(at - SPREAD * (upper - at));
    Some(Limit { of, least, chance })
}

/// Lost silences that begin well below a speed that the device reported earlier in the same swipe, as no limit of speed
/// allows: it would have been lost there.
fn seen_faster(step: &StepView, frame: Frame) -> usize {
    let mut count = 0;
    for (phase, swipe) in step.swipes() {
        let samples = phase.series.samples.get(swipe.swipe.rows.clone()).unwrap_or_default();
        for silence in swipe.silences.iter().filter(|s| !s.host && s.kind != MakeUp::Late) {
            let before = &samples[..samples.partition_point(|s| s.t <= silence.begin)];
            let seen = speed::fastest(before, frame, step.slot());
            count += usize::from(seen > FASTER * silence.onset_most);
        }
    }
    count
}

/// Share of a phase's counted time, at speeds at which a silence shows, that lies at a value or beyond.
fn share_beyond(phase: &PhaseView, of: Of, at: f64, due: f64) -> f64 {
    let (mut beyond, mut all) = (0usize, 0usize);
    for swipe in &phase.swipes {
        let grid = &swipe.grid;
        let silent: Vec<_> = swipe.silences.iter().map(|s| grid.slots(s)).collect();
        for slot in (0..grid.expected_mm_s.len()).filter(|i| !silent.iter().any(|s| s.contains(i))) {
            if grid.expected_mm_s[slot] >= due {
                all += 1;
                beyond += usize::from(value(grid, slot, of) >= at);
            }
        }
    }
    if all == 0 { 1.0 } else { beyond as f64 / all as f64 }
}
