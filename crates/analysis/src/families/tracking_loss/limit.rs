//! Whether silences are a limit of the sensor: do they begin where the device moves as it otherwise never does?
//!
//! Link faults strike at any time of a swipe; a sensor that reaches its limit falls silent at one speed (or one
//! acceleration), and nothing beyond that is ever reported. So of the n lost silences of a step:
//!
//! - what speaks against a limit is at most [`MOST_BEYOND`] times as many: swipes of the same phases that go on clean
//!   beyond the median onset ([`BEYOND`]), and silences that begin when their own swipe has been seen as far beyond their
//!   own onset; and no more swipes than those silences go on clean beyond the median onset itself, where a limit that
//!   scatters takes half and more. Of an acceleration also: most times at which the hand is beyond it are lost, so that in
//!   all swipes together no more than n stretches go on [counted](acceleration) beyond it;
//! - and they lie so by no accident: with L the lower end of the [densest half](shortest_half) of the onsets (their lower
//!   quartile, of accelerations and of few), k onsets lie at L or beyond, and a share q of the counted moving time of the
//!   phases that they lie in; or k of them hold the fastest moment of their swipe, which a silence at a random time does
//!   with q, its share of the swipe. Were silences independent of the motion, k of n would be binomial with q, and the
//!   chance of as many
//!
//! ```text
//! P = Σ_{i ≥ k} C(n, i) qⁱ (1 − q)ⁿ⁻ⁱ  <  1e-4
//! ```
//!
//! - and there are at most [`OFTEN`] of them in a swipe, since a hand passes a limit once or twice. (Added after a radio that
//!   lost bursts over a part of the travel, six or seven in every swipe of every pace, had been put down to the sensor.)
//! - and they keep to no clock of their own: silences that recur with a [period](crate::periodicity), half of them in step
//!   with it and by chance less often than [`CHANCE`], do so at whatever speed the hand has then. (Added after silences every
//!   125 ms in all swipes had been put down to a limit of acceleration: what they hide bends the expected speed beside
//!   them, and no swipe was clean to speak against it.)
//!
//! Of accelerations q is the share of silences as long that are [cut into the same swipes](acceleration) at random times. (First
//! it was that of the counted time, as the expected motion has it. Seen then: losses of a radio at random times, 2.5 to 8 a
//! second, put down to a limit of acceleration in a fifth to four fifths of another hand's sessions, with P of 4e-12: what a
//! silence hides bends the expected motion beside it.)
//!
//! Speed and acceleration are tried, the less likely one holds. Where swipes go on clean beyond, silences that
//! [cluster] at one speed or at one place hold. Assumes that a fault of the link does not know the speed.
//! Cost: O(silences × slots).

use super::by_chance::{self, At, Cluster};
use super::{acceleration, cluster};
use crate::grid::Grid;
use crate::periodicity;
use crate::silence::{FLANK, LEAST_MM, MakeUp, Silence, due_mm_s, due_within};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::tracking_limit::onset as speed;
use statrs::distribution::{Binomial, DiscreteCDF};

/// Chance at which silences are no longer taken for accidents.
const CHANCE: f64 = 1e-4;
/// Fewer silences tell nothing of a limit.
pub const LEAST: usize = 3;
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
/// However they scatter: a limit of the sensor is not met at nothing. (A quarter: the expected acceleration beside a hole is
/// known to no better than a factor of two or so either way.)
const LEAST_OF_IT: f64 = 0.25;

/// What a limit is one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Speed, mm/s.
    Speed,
    /// Acceleration, mm/s².
    Acceleration,
    /// Place, mm: a patch of the surface.
    Place,
}

/// A limit that silences show.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Of what.
    pub of: Of,
    /// True if swipes go on clean beyond it.
    pub in_some: bool,
    /// Where a silence has what it is known by, and from where to where that is one of the limit's.
    at: At,
    least: f64,
    most: f64,
    /// From where on what a silence hides was beyond the limit, whatever it began at. What is known of an acceleration beside
    /// a hole is uncertain by a factor, so that of those the median onset is asked.
    hides: f64,
    /// Chance that silences at random times show it.
    pub chance: f64,
}

impl Limit {
    /// The limit of a cluster.
    pub fn cluster(of: Of, at: At, cluster: Cluster) -> Limit {
        // A cluster's own width on either side: what it was read to.
        let width = cluster.high - cluster.low;
        let (least, most) = (cluster.low - width, cluster.high + width);
        Limit { of, in_some: of == Of::Speed, at, least, most, hides: f64::INFINITY, chance: cluster.chance }
    }

    /// With what a silence hides from where on it was beyond the limit.
    pub fn hiding(self, hides: f64) -> Limit {
        Limit { hides, ..self }
    }

    /// True if a silence began at the limit, or hides speeds beyond it.
    pub fn explains(&self, swipe: &SwipeView, silence: &Silence, counts_per_mm: f64) -> bool {
        if silence.kind != MakeUp::Lost {
            return false;
        }
        let hides = hidden(&swipe.grid, silence, self.of) >= self.hides;
        if follows_false_motion(swipe, silence) {
            return hides;
        }
        let clusters = self.in_some || self.of == Of::Place || matches!(self.at, At::Part | At::Swipe);
        let value = if clusters {
            by_chance::value(swipe, silence, self.at, counts_per_mm)
        } else {
            onset(swipe, silence, self.of, counts_per_mm)
        };
        (self.least..=self.most).contains(&value) || hides
    }
}

/// True if no hand made the motion just before a silence: at what speed the counts ended is not known. (Added after silences at
/// 1.95 m/s in eight of 15 swipes had been put down to the link, since before some of them false motion was faster, or slower.)
pub fn follows_false_motion(swipe: &SwipeView, silence: &Silence) -> bool {
    let near = (FLANK as f64 * swipe.grid.slot) as i64;
    let mut false_motion = swipe.stretches.iter().filter(|s| !s.wrong.is_loss());
    false_motion.any(|s| s.begin < silence.begin && silence.begin.saturating_sub(s.end) <= near)
}

/// Largest expected speed within a silence, mm/s.
pub fn hidden_peak(grid: &Grid, silence: &Silence) -> f64 {
    grid.expected_mm_s[grid.slots(silence)].iter().copied().fold(0.0, f64::max)
}

/// Largest expected value within a silence.
pub fn hidden(grid: &Grid, silence: &Silence, of: Of) -> f64 {
    match of {
        Of::Speed => hidden_peak(grid, silence),
        Of::Acceleration => {
            let slots = grid.slots(silence);
            slots.map(|i| acceleration::of(&grid.expected_mm_s, i, grid.slot)).fold(0.0, f64::max)
        }
        Of::Place => f64::NEG_INFINITY,
    }
}

/// Value at which a silence began: for speed of the reports before it, else of the expected motion.
pub fn onset(swipe: &SwipeView, silence: &Silence, of: Of, counts_per_mm: f64) -> f64 {
    let at = swipe.grid.slots(silence).start;
    match of {
        Of::Speed => silence.onset / counts_per_mm,
        Of::Acceleration => acceleration::of(&swipe.grid.expected_mm_s, at, swipe.grid.slot),
        Of::Place => by_chance::value(swipe, silence, At::Edge, counts_per_mm),
    }
}

/// The limit that the lost silences of a step show, if any.
pub fn find(step: &StepView) -> Option<Limit> {
    let per_mm = step.scale?.counts_per_mm;
    let told = |limit: &Limit| limit.chance < CHANCE;
    let place = cluster::at_a_place(step, per_mm).filter(told);
    let tried = [Of::Speed, Of::Acceleration].map(|of| limit_of(step, of));
    let always = tried.into_iter().flatten().min_by(|a, b| a.chance.total_cmp(&b.chance)).filter(told);
    let some = cluster::in_some_swipes(step).filter(told);
    let all: Vec<_> = by_chance::lost(step).filter(|(_, s)| !s.to_the_end).collect();
    let own = |limit: &Limit| all.iter().filter(|(swipe, s)| limit.explains(swipe, s, per_mm)).count();
    // At one speed begin most silences of a limit of speed; those of acceleration come twice a swipe, at two speeds.
    let some = some.filter(|some| {
        always.is_none_or(|a| {
            a.of == Of::Acceleration && some.chance < a.chance && 4 * own(some) >= 3 * all.len()
        })
    });
    let part = cluster::in_one_part(step, per_mm).filter(told);
    let part = part.filter(|part| always.is_none() && some.is_none_or(|some| own(part) > own(&some)));
    let every = cluster::in_every_swipe(step).filter(told);
    let found = place.or(part).or(some).or(always).or(every)?;
    // A patch of the surface is crossed once.
    (!too_often(step) && !recur(step)).then_some(found)
}

/// Lost silences for each swipe that has any, from which on they are no limit's.
const OFTEN: usize = 3;

/// True if the lost silences come too often in their swipes for a limit: the hand passes it once on the way up.
fn too_often(step: &StepView) -> bool {
    let of = |swipe: &SwipeView| swipe.silences.iter().filter(|s| s.may_lose()).count();
    let counts = step.swipes().map(|(_, swipe)| of(swipe)).filter(|n| *n > 0);
    let (swipes, all) = counts.fold((0, 0), |(swipes, all), n| (swipes + 1, all + n));
    all > OFTEN * swipes
}

/// Silences in step with a period, as a share, from which on a clock explains them.
const IN_STEP: f64 = 0.5;

/// True if the lost silences keep to a clock. Losses at a limit come once or twice a swipe, where its speed has them; that
/// swipes follow each other with a cadence is not taken for a period: where each has one alone, that is all that is seen. (The latter
/// added after silences over the peaks of evenly made swipes had been put down to the link.)
fn recur(step: &StepView) -> bool {
    let lost = |s: &&Silence| s.may_lose();
    let two = |(_, s): &(&PhaseView, &SwipeView)| s.silences.iter().filter(lost).count() > 1;
    if step.swipes().filter(two).count() < LEAST {
        return false;
    }
    let all = step.swipes().flat_map(|(_, s)| s.silences.iter().filter(lost));
    let all: Vec<(i64, i64)> = all.map(|s| (s.begin, s.end)).collect();
    periodicity::of_spells(step, &all).is_some_and(|p| p.p_false < CHANCE && p.in_step >= IN_STEP)
}

/// A lost silence of a phase.
struct Lost {
    onset: f64,
    /// Whether it holds the fastest moment of its swipe, and its share of the swipe.
    holds_peak: bool,
    share: f64,
    /// Speed at which one as long shows, mm/s.
    due: f64,
}

fn lost_of(phase: &PhaseView, of: Of, counts_per_mm: f64) -> Vec<Lost> {
    let mut all = Vec::new();
    for swipe in &phase.swipes {
        let grid = &swipe.grid;
        for silence in swipe.silences.iter().filter(|s| s.may_lose()) {
            if follows_false_motion(swipe, silence) {
                continue;
            }
            let slots = grid.slots(silence);
            let length = slots.len() as f64 * grid.slot;
            let due = due_mm_s(counts_per_mm, due_within(length, grid.slot));
            // A short one hides enough at the fastest alone. (Added after runs of reports that a link had lost one by one at 8 kHz had been put
            // down to a limit of the sensor.)
            let due = if silence.to_the_end { due } else { due.max(LEAST_MM / (length * 1e-9)) };
            let shows = grid.expected_mm_s.iter().filter(|v| **v >= due).count();
            all.push(Lost {
                onset: onset(swipe, silence, of, counts_per_mm),
                holds_peak: hidden_peak(grid, silence) >= grid.peak(),
                share: slots.len() as f64 / shows.max(slots.len()).max(1) as f64,
                due,
            });
        }
    }
    all
}

/// From so many onsets on their densest half is told from the others.
const MANY: usize = 12;

/// The shortest interval that holds half of some sorted values and one more; the quartiles, where they scatter as one
/// normal lot. (Rousseeuw and Leroy 1988, from memory. Added after a link's losses in slow swipes had been put down to a
/// sensor blind from 1.5 m/s on, whose limit came out as 1.06 ± 0.18.)
fn shortest_half(sorted: &[f64]) -> Option<(f64, f64)> {
    let halves =
        sorted.windows(sorted.len() / 2 + 1).filter_map(|half| Some((*half.first()?, *half.last()?)));
    halves.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
}

fn limit_of(step: &StepView, of: Of) -> Option<Limit> {
    let per_mm = step.scale?.counts_per_mm;
    let by_phase: Vec<(&PhaseView, Vec<Lost>)> =
        step.phases.iter().map(|p| (p, lost_of(p, of, per_mm))).collect();
    let all = || by_phase.iter().flat_map(|(_, lost)| lost);
    let mut onsets: Vec<f64> = all().map(|l| l.onset).collect();
    let n = onsets.len();
    if n < LEAST {
        return None;
    }
    onsets.sort_by(f64::total_cmp);
    let median = *onsets.get(n / 2)?;
    // What a link loses beside a limit begins at any speed.
    let (at, upper) = match of {
        Of::Speed if n >= MANY => shortest_half(&onsets)?,
        _ => (*onsets.get(n / 4)?, *onsets.get(3 * n / 4)?),
    };
    let with_losses: Vec<&PhaseView> =
        by_phase.iter().filter(|(_, lost)| !lost.is_empty()).map(|(phase, _)| *phase).collect();
    if contradicted(step, &with_losses, of, median, n)? {
        return None;
    }
    let by_chance = (of == Of::Acceleration).then(|| acceleration::at_random_times(step, per_mm));
    // Mean over the silences of the share of their own phase.
    let share = |value: f64| {
        if let Some(others) = &by_chance {
            let beyond = others.iter().filter(|a| **a >= value).count();
            // With the silence itself as one of them: few tell of no share near nothing.
            return (beyond + 1) as f64 / (others.len() + 1) as f64;
        }
        let sum: f64 = by_phase.iter().map(|(phase, lost)| shares_beyond(phase, lost, value)).sum();
        (sum / n as f64).clamp(0.0, 1.0)
    };
    let chance = |q: f64, k: usize| {
        let tail = Binomial::new(q.clamp(0.0, 1.0), n as u64).map(|b| b.sf((k as u64).saturating_sub(1)));
        if k == 0 { 1.0 } else { tail.unwrap_or(1.0) }
    };
    let fast = chance(share(at), onsets.iter().filter(|v| **v >= at).count());
    let peaks =
        chance(all().map(|l| l.share).sum::<f64>() / n as f64, all().filter(|l| l.holds_peak).count());
    let chance = if of == Of::Speed { fast.min(peaks) } else { fast };
    // The quartiles of a normal scatter lie 1.35 standard deviations apart.
    let least = (REACHES * at).min(at - SPREAD * (upper - at)).max(LEAST_OF_IT * at);
    let hides = if of == Of::Speed { least } else { median };
    Some(Limit { of, in_some: false, at: At::Begin, least, most: f64::INFINITY, hides, chance })
}

/// True if the device goes on clean beyond a limit of this median onset as often as no limit allows: a quarter as many
/// swipes as there are silences (n), or, of acceleration, as many stretches of whatever swipes.
fn contradicted(step: &StepView, phases: &[&PhaseView], of: Of, median: f64, n: usize) -> Option<bool> {
    let per_mm = step.scale?.counts_per_mm;
    let swipes = || phases.iter().flat_map(|phase| phase.swipes.iter().map(move |s| (*phase, s)));
    let top = |phase: &PhaseView, s: &SwipeView| match of {
        Of::Acceleration => acceleration::most(&s.grid),
        _ => {
            let samples = phase.series.samples.get(s.swipe.rows.clone()).unwrap_or_default();
            phase.frame.map_or(0.0, |frame| speed::fastest(samples, frame, step.slot()) / per_mm)
        }
    };
    let clean = swipes().filter(|(_, s)| s.silences.is_empty() && !s.swipe.is_short());
    let tops: Vec<f64> = clean.map(|(p, s)| top(p, s)).collect();
    let over = |value: f64| tops.iter().filter(|top| **top > value).count();
    let (beyond, before) = match of {
        Of::Acceleration => (BEYOND.1, 0),
        _ => (BEYOND.0, seen_faster(step)),
    };
    let against = over(beyond * median) + before;
    let often = of == Of::Acceleration && acceleration::goes_on(step, BEYOND.1) > n;
    Some(often || against as f64 > MOST_BEYOND * n as f64 || over(median) > n)
}

/// Lost silences that begin well below a speed that the device reported earlier in the same swipe, as no limit of speed
/// allows: it would have been lost there.
fn seen_faster(step: &StepView) -> usize {
    let mut count = 0;
    for (phase, swipe) in step.swipes() {
        let Some(frame) = phase.frame else { continue };
        let samples = phase.series.samples.get(swipe.swipe.rows.clone()).unwrap_or_default();
        let lost = swipe.silences.iter().filter(|s| s.may_lose());
        for silence in lost.filter(|s| !follows_false_motion(swipe, s)) {
            let before = &samples[..samples.partition_point(|s| s.t <= silence.begin)];
            let seen = speed::fastest(before, frame, step.slot());
            count += usize::from(seen > FASTER * silence.onset_most);
        }
    }
    count
}

/// Sum over the silences of a phase of [`share_beyond`].
fn shares_beyond(phase: &PhaseView, lost: &[Lost], at: f64) -> f64 {
    // Short ones and long ones: two speeds at which they show.
    let mut dues: Vec<f64> = lost.iter().map(|l| l.due).collect();
    dues.sort_by(f64::total_cmp);
    dues.chunk_by(|a, b| a == b).map(|same| same.len() as f64 * share_beyond(phase, at, same[0])).sum()
}

/// Share of a phase's counted time, at speeds at which a silence shows, that lies at a speed or beyond.
fn share_beyond(phase: &PhaseView, at: f64, due: f64) -> f64 {
    let (mut beyond, mut all) = (0usize, 0usize);
    for swipe in &phase.swipes {
        let grid = &swipe.grid;
        let silent: Vec<_> = swipe.silences.iter().map(|s| grid.slots(s)).collect();
        for slot in (0..grid.expected_mm_s.len()).filter(|i| !silent.iter().any(|s| s.contains(i))) {
            if grid.expected_mm_s[slot] >= due {
                all += 1;
                beyond += usize::from(grid.expected_mm_s[slot] >= at);
            }
        }
    }
    if all == 0 { 1.0 } else { beyond as f64 / all as f64 }
}
