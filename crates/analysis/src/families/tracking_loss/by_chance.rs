//! Lost silences held against silences at random times of the same swipes.
//!
//! A link does not know what the hand does. So beside each lost silence stand all the slots of its own swipe at which one as
//! long would have been found too, with what the hand had there: its speed at the begin or at the end, the part of the swipe
//! that has passed, or the place of its edge. This null holds for any hand, since it is made of the hand's own swipes.
//!
//! *Cluster*: a window begins at the value of each silence in turn. Of the n − 1 others k lie in it, where one at a random
//! time does so with q, the mean share of those slots. Their number scatters no more than a binomial one of the mean q
//! (Hoeffding 1956, from memory), and n windows are looked at:
//!
//! ```text
//! P = n Σ_{i ≥ k} C(n − 1, i) qⁱ (1 − q)ⁿ⁻¹⁻ⁱ
//! ```
//!
//! Assumes that silences of one swipe do not know of each other. Cost: O(slots + n² log).

use super::limit::follows_false_motion;
use crate::grid::Grid;
use crate::silence::{END_ZONE_MM, LEAST_MM, Silence, due_mm_s, due_within};
use crate::step::{StepView, SwipeView};
use crate::verdict::Direction;
use statrs::distribution::{Binomial, DiscreteCDF};

/// Slots of a swipe that are looked at: so many tell a share to a quarter of a per cent.
const MOST_SLOTS: usize = 400;

/// What is looked at of a silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// Speed at its begin, mm/s.
    Begin,
    /// Speed at its end, mm/s.
    End,
    /// Part of its swipe's time that has passed at its begin.
    Part,
    /// Fastest expected speed of its swipe, mm/s.
    Swipe,
    /// Place of the edge that swipes *out* come to first, mm from where they begin: counted before it in these, after it in
    /// swipes *back*.
    Edge,
}

/// A silence's value, and those of silences at random times of its swipe, sorted.
pub struct Mark {
    /// Its own.
    pub value: f64,
    others: Vec<f64>,
}

/// Window in which silences cluster.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cluster {
    /// Least value in it.
    pub low: f64,
    /// Largest.
    pub high: f64,
    /// Silences in it.
    pub silences: usize,
    /// Chance that silences at random times cluster so, after all windows.
    pub chance: f64,
}

/// All silences of a step whose counts are lost, by no doing of this computer, and before which the hand's motion was seen.
pub fn lost<'a>(step: &'a StepView) -> impl Iterator<Item = (&'a SwipeView, &'a Silence)> {
    let own = |swipe: &SwipeView, s: &Silence| s.may_lose() && !follows_false_motion(swipe, s);
    let of = move |swipe: &'a SwipeView| {
        swipe.silences.iter().filter(move |s| own(swipe, s)).map(move |s| (swipe, s))
    };
    step.swipes().flat_map(move |(_, swipe)| of(swipe))
}

/// What the lost silences of a step show. Where the counts end for good neither end nor edge is known.
pub fn marks(step: &StepView, at: At) -> Vec<Mark> {
    let Some(per_mm) = step.scale.map(|s| s.counts_per_mm) else { return Vec::new() };
    let known = lost(step).filter(|(_, s)| matches!(at, At::Begin | At::Part) || !s.to_the_end);
    known.map(|(swipe, silence)| mark(swipe, silence, at, per_mm)).collect()
}

fn mark(swipe: &SwipeView, silence: &Silence, at: At, per_mm: f64) -> Mark {
    let way = Way::new(swipe);
    let length = if silence.to_the_end { 0 } else { way.grid.slots(silence).len() };
    let all: Vec<usize> = (0..way.grid.expected_mm_s.len().saturating_sub(length))
        .filter(|&from| way.would_show(from, length, per_mm))
        .collect();
    let every = all.len().div_ceil(MOST_SLOTS).max(1);
    let mut others: Vec<f64> = all.iter().step_by(every).map(|&from| way.value(from, length, at)).collect();
    others.sort_by(f64::total_cmp);
    Mark { value: way.of(silence, at, per_mm), others }
}

/// What a silence has there.
pub fn value(swipe: &SwipeView, silence: &Silence, at: At, per_mm: f64) -> f64 {
    Way::new(swipe).of(silence, at, per_mm)
}

/// A swipe's expected motion.
pub struct Way<'a> {
    swipe: &'a SwipeView,
    grid: &'a Grid,
    /// Way expected and way counted before each slot, and in all, mm.
    places: Vec<f64>,
    counted: Vec<f64>,
}

impl<'a> Way<'a> {
    /// Adds it up.
    pub fn new(swipe: &'a SwipeView) -> Way<'a> {
        let grid = &swipe.grid;
        let expected = grid.expected_mm_s.iter().map(|speed| speed * grid.slot * 1e-9);
        Way { swipe, grid, places: sums(expected), counted: sums(grid.along_mm.iter().copied()) }
    }

    fn place(&self, slot: usize) -> f64 {
        self.places.get(slot).or(self.places.last()).copied().unwrap_or(0.0)
    }

    fn speed(&self, slot: usize) -> f64 {
        self.grid.expected_mm_s.get(slot).copied().unwrap_or(0.0)
    }

    /// True if a silence from this slot on would have been found; one to the end has no length.
    pub fn would_show(&self, from: usize, length: usize, per_mm: f64) -> bool {
        let due = due_mm_s(per_mm, due_within(length as f64 * self.grid.slot, self.grid.slot));
        let (begin, end) = (self.place(from), self.place(from + length));
        let rest = self.place(usize::MAX) - end;
        let seen = length == 0 || end - begin >= LEAST_MM;
        seen && begin > END_ZONE_MM
            && rest > END_ZONE_MM
            && self.speed(from).min(self.speed(from + length)) >= due
    }

    /// What a silence has; its begin by the reports before it.
    fn of(&self, silence: &Silence, at: At, per_mm: f64) -> f64 {
        let slots = self.grid.slots(silence);
        if at == At::Begin { silence.onset / per_mm } else { self.value(slots.start, slots.len(), at) }
    }

    fn value(&self, from: usize, length: usize, at: At) -> f64 {
        match at {
            At::Begin => self.speed(from),
            At::End => self.speed(from + length),
            At::Swipe => self.grid.peak(),
            At::Part => from as f64 / self.grid.expected_mm_s.len().max(1) as f64,
            At::Edge => {
                // By counts alone, as sharp as the stops are: what is hidden is only reckoned.
                let at = |slot: usize| self.counted.get(slot).or(self.counted.last()).copied().unwrap_or(0.0);
                let out = self.swipe.swipe.direction == Direction::Out;
                if out { at(from) } else { at(usize::MAX) - at(from + length) }
            }
        }
    }
}

fn sums(parts: impl Iterator<Item = f64>) -> Vec<f64> {
    let running = parts.scan(0.0, |sum, part| {
        *sum += part;
        Some(*sum)
    });
    std::iter::once(0.0).chain(running).collect()
}

/// The least likely cluster at `least` or beyond; `upper` is the end of the window that begins at a value.
pub fn cluster(marks: &[Mark], least: f64, upper: impl Fn(f64) -> f64) -> Option<Cluster> {
    let n = marks.len();
    let others = (n as u64).checked_sub(1)?;
    let window = |low: f64| {
        let high = upper(low);
        let within = marks.iter().map(|m| m.value).filter(|v| (low..=high).contains(v));
        let (k, top) = within.fold((0, low), |(k, top), v| (k + 1, top.max(v)));
        let share = marks.iter().map(|m| m.share(low, high)).sum::<f64>() / n as f64;
        let tail = Binomial::new(share.clamp(0.0, 1.0), others).ok();
        // Of the others more than k − 2: the one that begins the window is no evidence.
        let one = if k < 2 { 1.0 } else { tail.map_or(1.0, |b| b.sf(k as u64 - 2)) };
        Cluster { low, high: top, silences: k, chance: (one * n as f64).min(1.0) }
    };
    let begins = marks.iter().map(|m| m.value).filter(|v| *v >= least);
    begins.map(window).min_by(|a, b| a.chance.total_cmp(&b.chance))
}

/// Chance that silences at random times lie as unevenly in what is looked at: Kolmogorov's of the largest distance D of n
/// shares below their own values from even ones, 2 exp(−2 n D²) (Massey 1951, from memory).
pub fn unevenly_spread(marks: &[Mark]) -> f64 {
    let known = marks.iter().filter(|m| !m.others.is_empty());
    let mut shares: Vec<f64> = known.map(|m| m.share(f64::NEG_INFINITY, m.value)).collect();
    shares.sort_by(f64::total_cmp);
    let n = shares.len() as f64;
    let apart = |(i, share): (usize, &f64)| ((i as f64 + 1.0) / n - share).max(share - i as f64 / n);
    let most = shares.iter().enumerate().map(apart).fold(0.0, f64::max);
    (2.0 * (-2.0 * n * most * most).exp()).min(1.0)
}

impl Mark {
    /// Share of silences at random times in a window; all of them where none would have been found.
    fn share(&self, low: f64, high: f64) -> f64 {
        if self.others.is_empty() {
            return 1.0;
        }
        let below = self.others.partition_point(|v| *v < low);
        let up_to = self.others.partition_point(|v| *v <= high);
        up_to.saturating_sub(below) as f64 / self.others.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_xoshiro::Xoshiro256PlusPlus;
    use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

    fn marks(values: impl Iterator<Item = f64>) -> Vec<Mark> {
        let others: Vec<f64> = (0..400).map(|i| (f64::from(i) + 0.5) / 400.0).collect();
        values.map(|value| Mark { value, others: others.clone() }).collect()
    }

    /// The bound on the windows looked at makes it less often than stated, never more.
    #[test]
    fn random_times_cluster_no_more_often_than_stated() {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(1);
        let mut uniform = || (chance.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
        let mut seen = 0;
        for _ in 0..400 {
            let drawn: Vec<f64> = (0..30).map(|_| uniform()).collect();
            let found = cluster(&marks(drawn.into_iter()), 0.0, |low| low + 0.04);
            seen += usize::from(found.is_some_and(|c| c.chance < 0.05));
        }
        // 20 would be as stated; 34 are three standard deviations more.
        assert!(seen <= 34, "{seen}");
    }

    /// By hand: of ten in the upper half the first lies 0.5 from its even share, 2 exp(-2 · 10 · 0.25) = 0.0135.
    #[test]
    fn what_lies_in_one_half_is_spread_unevenly() {
        let half = unevenly_spread(&marks((0..10).map(|i| 0.5 + 0.05 * f64::from(i) + 1e-9)));
        assert!((half / 0.013_476 - 1.0).abs() < 0.05, "{half}");
        assert!(unevenly_spread(&marks((0..10).map(|i| 0.1 * f64::from(i) + 0.05))) > 0.99);
    }

    #[test]
    fn a_third_at_one_value_is_a_cluster() {
        let at_one = (0..10).map(|i| 0.5 + 0.001 * f64::from(i));
        let spread = (0..20).map(|i| f64::from(i) / 20.0 + 0.02);
        let found = cluster(&marks(at_one.chain(spread)), 0.0, |low| low + 0.04).unwrap_or(Cluster {
            low: 0.0,
            high: 0.0,
            silences: 0,
            chance: 1.0,
        });
        // 30 × Pr(10 or more of 29 at 0.04), summed in exact integers elsewhere.
        assert!((found.chance / 3.1236e-6 - 1.0).abs() < 1e-3 && found.silences == 11, "{found:?}");
        assert!(found.low <= 0.5 && found.high >= 0.509, "{found:?}");
    }
}
