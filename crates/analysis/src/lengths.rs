//! Lengths of clean swipes in counts: which are used, which are left out and why, how they scatter, and what the mean
//! of some of them is worth.
//!
//! ```text
//! length of swipe j in direction d:  l_j = g_d (D + u_(j-1) + u_j),   u: where the body came to rest, independent
//! s² = Σ (l_j − mean of its pace and direction)² / (N − G) = 2 g² var(u)
//! var(Σ a_j l_j) = s²/2 · Σ over stops (sum of a over the swipes that share the stop)²
//! ```
//!
//! Neighbouring swipes share a stop and run in opposite directions. So one mean for each direction (out and back may
//! differ) does two things: a difference between out and back does not inflate the scatter, and swipes of one group
//! share no stop, so that s² has no bias from the correlation of +0.5 between neighbours. Scatter is pooled over all
//! paces, since the stops are the same. The second formula counts the shared stops one by one, for any chain; for n
//! swipes in a row it gives s² (2/n − 1/n²), the √2 that a plain standard error lacks.
//!
//! Turning points (mean of the right ones less mean of the left ones) would keep a third more degrees of freedom, but
//! places are sums of counts: what each swipe loses for itself adds up to a wander that inflates their scatter, the
//! more so the longer the phase. Lengths keep it to themselves. If swipes scatter for themselves and share nothing,
//! the intervals are wider than they need be, by √2 at most; never narrower.
//!
//! Degrees of freedom by Satterthwaite: 2 E(q)²/var(q) for the quadratic form above, about two thirds of N − G.
//! Cost: O(N log N).

use crate::families::{is_late, key, spoiled, spoiled_only};
use crate::scale::LEAST;
use crate::stats::{mean_sd, median};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Direction, Finding, LeftOut};
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// A length further than this many robust standard deviations from the median of its pace and direction was not made
/// from stop to stop. Of 100 normal lengths one lies beyond 4.4 in a session of a thousand; the rest allows for the
/// robust standard deviation's own error. With 30 lengths that is some 15 %, and one sound swipe in 1,400 is left out
/// (counted in the tests below).
const STRAY: f64 = 5.0;
/// Nor is one left out that is nearer than this, in millimetres and in counts: a body that meets a hard stop comes to
/// rest within a millimetre (common practice, no source), and quantised lengths may all be equal.
const STRAY_LEAST: (f64, f64) = (1.0, 3.0);

/// One swipe's length.
#[derive(Clone, Copy, Debug)]
struct Length {
    key: (u32, u32),
    pace: Option<Pace>,
    direction: Direction,
    counts: f64,
    /// It began or ended where an operator stopped short.
    short: bool,
}

/// The lengths of a step.
#[derive(Clone, Debug)]
pub struct Lengths {
    used: Vec<Length>,
    /// Clean swipes that were left out, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Standard deviation of one length, counts.
    pub scatter: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// A mean length with what it rests on.
#[derive(Clone, Copy, Debug)]
pub struct Mean {
    /// Counts: half-way between the means of out and back, where there are both.
    pub counts: f64,
    /// Standard uncertainty, counts.
    pub uncertainty: f64,
    /// Swipes.
    pub n: usize,
}

impl Mean {
    /// Of lengths whatever they are, by their own scatter; `None` of fewer than two. √2: neighbouring swipes share a stop.
    pub fn of_all(lengths: &[f64]) -> Option<Mean> {
        let (counts, sd) = mean_sd(lengths)?;
        Some(Mean { counts, uncertainty: sd * (2.0 / lengths.len() as f64).sqrt(), n: lengths.len() })
    }
}

/// Out over back.
#[derive(Clone, Copy, Debug)]
pub struct OutOverBack {
    /// Ratio less one.
    pub value: f64,
    /// Standard uncertainty.
    pub uncertainty: f64,
    /// Swipes out and back.
    pub n: (usize, usize),
}

/// Pace and direction.
type Group = (Option<Pace>, Direction);

/// Nearly all swipes of a pace and direction lack what placing does not explain, and most of them the same, to the second share: an operator
/// stops short now and then, and by something else each time.
const LACK_ALIKE: (f64, f64) = (0.9, 0.2);
/// Of fewer he may have stopped short in all of them.
const LEAST_LACKING: usize = 4;

/// True if the swipes of a pace count less, or those of one direction, and no operator stopped them short. (Added after firmware that
/// truncates, which took a tenth of every slow swipe, had been put down to an operator and its gain had not been examined, in 5 of 81
/// sessions. One direction by itself as well since one that counted 5 % less in every fast swipe back had passed by those out.)
fn lacks_alike(step: &StepView, (pace, direction): Group) -> bool {
    let Some(measure) = step.measure else { return false };
    let own = || step.swipes().filter(move |(p, s)| p.span.phase.pace == pace && s.clip.is_none());
    let lack_alike = |lacks: Vec<f64>| {
        let centre = median(&lacks).filter(|_| lacks.len() >= LEAST_LACKING);
        let share = |is: &dyn Fn(f64) -> bool| {
            lacks.iter().filter(|lack| is(**lack)).count() as f64 / lacks.len() as f64
        };
        let (lack, same) = LACK_ALIKE;
        let alike = |centre: f64| share(&|l| (l - centre).abs() <= same * centre) > 0.5;
        centre.is_some_and(|centre| share(&|l| l > measure.most) >= lack && alike(centre))
    };
    let lacks = |s: &SwipeView| measure.lacks(&s.swipe);
    let one_way = own().filter(|(_, s)| s.swipe.direction == direction);
    lack_alike(own().map(|(_, s)| lacks(s)).collect()) || lack_alike(one_way.map(|(_, s)| lacks(s)).collect())
}

/// True if a swipe of a pace is short while this computer was held up, which tells not whose that is, and the pace has no gain of its
/// own: then those that are short likewise tell of no gain. (Added after a blind tester's sound hand, that stopped four of five medium
/// swipes short, had failed for its gain, by three of them, beside one with a stall.)
fn whose_is_untold(step: &StepView, group: Group) -> bool {
    let mut of_pace = step.swipes().filter(|(p, _)| p.span.phase.pace == group.0);
    of_pace.any(|(_, s)| s.disturbed && s.swipe.surplus < 0.0) && !lacks_alike(step, group)
}

impl Lengths {
    /// Collects the swipes that are whole, have no finding, and were made at this resolution step; at a pace of fewer than
    /// three of them also those of which counts came late, and none is missing. `None` without a scale. (Those added after a
    /// device whose link held up counts in all slow swipes had failed for the resolution that its fast ones had, with a gain that
    /// was not examined.)
    pub fn of(step: &StepView, findings: &[Finding]) -> Option<Lengths> {
        let per_mm = step.scale?.counts_per_mm;
        let spoiled = spoiled(step, findings);
        let elsewhere: BTreeSet<(u32, u32)> =
            step.changes.iter().flat_map(|r| r.keys.iter().copied()).collect();
        let clean_at = |pace| {
            let own = step.swipes().filter(|(p, _)| p.span.phase.pace == pace);
            own.filter(|(p, s)| !spoiled.contains(&key(p, s))).count()
        };
        let paces: BTreeSet<Option<Pace>> = step.phases.iter().map(|p| p.span.phase.pace).collect();
        let few: BTreeSet<Option<Pace>> = paces.into_iter().filter(|pace| clean_at(*pace) < LEAST).collect();
        let late = spoiled_only(step, findings, is_late);
        let clean = step.swipes().filter(|(p, s)| {
            let key = key(p, s);
            let whole = few.contains(&p.span.phase.pace) && late.contains(&key) && s.swipe.surplus == 0.0;
            (whole || !spoiled.contains(&key)) && !elsewhere.contains(&key)
        });
        let all_groups: BTreeSet<Group> =
            step.swipes().map(|(p, s)| (p.span.phase.pace, s.swipe.direction)).collect();
        let those = |is: fn(&StepView, Group) -> bool| -> BTreeSet<Group> {
            all_groups.iter().copied().filter(|group| is(step, *group)).collect()
        };
        let (own_gain, untold) = (those(lacks_alike), those(whose_is_untold));
        let short = |p: &PhaseView, s: &SwipeView| {
            let group = (p.span.phase.pace, s.swipe.direction);
            let operators = (s.swipe.began_short || s.swipe.stopped_short) && !own_gain.contains(&group);
            operators || (s.swipe.surplus < 0.0 && untold.contains(&group))
        };
        let all = clean.map(|(p, s)| Length {
            key: key(p, s),
            pace: p.span.phase.pace,
            direction: s.swipe.direction,
            counts: s.swipe.along,
            short: short(p, s),
        });
        Some(Lengths::sift(all.filter(|l| l.counts.is_finite()).collect(), per_mm))
    }

    /// What lengths that are yet to be made will be worth: phases of so many swipes each, all of one length, that will
    /// scatter by this standard deviation. None is left out.
    pub fn planned(phases: &[(Pace, u32)], length: f64, scatter: f64) -> Lengths {
        let direction = |swipe: u32| if swipe % 2 == 1 { Direction::Out } else { Direction::Back };
        let of_phase = |((pace, swipes), phase): (&(Pace, u32), u32)| {
            let pace = *pace;
            (1..=*swipes).map(move |swipe| Length {
                key: (phase, swipe),
                pace: Some(pace),
                direction: direction(swipe),
                counts: length,
                short: false,
            })
        };
        let used = phases.iter().zip(1..).flat_map(of_phase).collect();
        let mut out = Lengths { used, left_out: Vec::new(), scatter, df: 1.0 };
        out.settle();
        Lengths { scatter, ..out }
    }

    /// Leaves out the strays and finds the scatter of the rest.
    fn sift(mut all: Vec<Length>, per_mm: f64) -> Lengths {
        let whole: Vec<Length> = all.iter().filter(|l| !l.short).copied().collect();
        let of_group: Vec<_> = groups(&whole).into_iter().map(|g| (g, centre(&whole, g))).collect();
        // Where all of a pace and direction were stopped short, none tells how long they should be.
        all.retain(|l| of_group.iter().any(|(g, _)| *g == (l.pace, l.direction)));
        let centre = |l: &Length| of_group.iter().find(|(g, _)| *g == (l.pace, l.direction)).map(|(_, c)| *c);
        let centres: Vec<f64> = all.iter().map(|l| centre(l).unwrap_or(l.counts)).collect();
        let off: Vec<f64> = all.iter().zip(&centres).map(|(l, c)| (l.counts - c).abs()).collect();
        // Medians of small groups lie too near to their values: N − G as for a mean.
        let (n, groups) = (whole.len() as f64, of_group.len() as f64);
        let small = (n / (n - groups).max(1.0)).sqrt();
        let of_whole: Vec<f64> =
            all.iter().zip(&off).filter(|(l, _)| !l.short).map(|(_, off)| *off).collect();
        let robust = 1.482_602_2 * median(&of_whole).unwrap_or(0.0) * small;
        let reach = (STRAY * robust).max(STRAY_LEAST.0 * per_mm).max(STRAY_LEAST.1);
        let mut out = Lengths { used: Vec::new(), left_out: Vec::new(), scatter: 0.0, df: 1.0 };
        for ((length, centre), off) in all.iter().zip(&centres).zip(&off) {
            if *off <= reach && !length.short {
                out.used.push(*length);
                continue;
            }
            let mm = (length.counts - centre) / per_mm;
            out.left_out.push(LeftOut {
                phase: length.key.0,
                swipe: length.key.1,
                off_mm: mm,
                because: if length.short {
                    format!("{:.1} mm short: it or the one before stopped short of the stop", -mm)
                } else {
                    format!(
                        "{:.1} mm {} than its pace's median, more than {:.1} mm: not made from stop to stop",
                        mm.abs(),
                        if mm < 0.0 { "shorter" } else { "longer" },
                        reach / per_mm
                    )
                },
            });
        }
        out.settle();
        out
    }

    /// Scatter and degrees of freedom of the lengths used.
    fn settle(&mut self) {
        let groups = groups(&self.used);
        let mut squares = 0.0;
        let (mut neighbours, mut shared) = (0.0, 0.0);
        for (pace, direction) in &groups {
            let own = |l: &&Length| (l.pace, l.direction) == (*pace, *direction);
            let values: Vec<f64> = self.used.iter().filter(own).map(|l| l.counts).collect();
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            squares += values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            // Of each swipe of the group, how many neighbours are used as well.
            let near = self.used.iter().enumerate().filter(|(_, l)| own(l)).map(|(i, _)| {
                f64::from(u8::from(i > 0 && self.share(i - 1, i))) + f64::from(u8::from(self.share(i, i + 1)))
            });
            let near: Vec<f64> = near.collect();
            let pairs: f64 = near.iter().sum();
            let other = self.used.iter().filter(|l| l.pace == *pace && l.direction != *direction).count();
            if other > 0 {
                // What they share is centred with the other direction's mean.
                neighbours += near.iter().map(|k| k * k).sum::<f64>() / other as f64;
                shared += pairs * pairs / (n * other as f64);
            }
        }
        let pairs = (1..self.used.len()).filter(|&i| self.share(i - 1, i)).count() as f64;
        let free = self.used.len() as f64 - groups.len() as f64;
        // E(q) ∝ 2 (N − G); var(q) ∝ tr((MV)²) of centring M and V = 2 on the diagonal, 1 between neighbours.
        let spread = 4.0 * free + 2.0 * pairs - 2.0 * neighbours + shared;
        self.scatter = (squares / free.max(1.0)).sqrt();
        self.df = if spread > 0.0 { (4.0 * free * free / spread).max(1.0) } else { 1.0 };
    }

    /// The same lengths without those of a phase.
    pub fn without(&self, phase: u32) -> Lengths {
        let used = self.used.iter().filter(|l| l.key.0 != phase).copied().collect();
        let mut out = Lengths { used, ..self.clone() };
        out.settle();
        out
    }

    /// The median of those used, in counts.
    pub fn median(&self) -> Option<f64> {
        median(&self.used.iter().map(|l| l.counts).collect::<Vec<_>>())
    }

    /// The swipes that are used, as (phase, swipe).
    pub fn keys(&self) -> BTreeSet<(u32, u32)> {
        self.used.iter().map(|l| l.key).collect()
    }

    /// True if two lengths, by their places, share a stop.
    fn share(&self, i: usize, j: usize) -> bool {
        let (Some(a), Some(b)) = (self.used.get(i), self.used.get(j)) else { return false };
        a.key.0 == b.key.0 && a.key.1.checked_add(1) == Some(b.key.1) && a.direction != b.direction
    }

    /// The mean at some pace, with the uncertainty that the scatter leaves; `None` without a swipe.
    pub fn mean(&self, pace: impl Fn(Option<Pace>) -> bool) -> Option<Mean> {
        self.mean_of(|l| pace(l.pace))
    }

    /// The mean of one direction at some pace, likewise.
    pub fn mean_one_way(&self, direction: Direction, pace: impl Fn(Option<Pace>) -> bool) -> Option<Mean> {
        self.mean_of(|l| l.direction == direction && pace(l.pace))
    }

    /// The mean of some of the swipes, likewise; `None` where not all of them are used.
    pub fn mean_of_swipes(&self, swipes: &BTreeSet<(u32, u32)>) -> Option<Mean> {
        self.mean_of(|l| swipes.contains(&l.key)).filter(|mean| mean.n == swipes.len())
    }

    fn mean_of(&self, own: impl Fn(&Length) -> bool) -> Option<Mean> {
        let here = |d: Direction| self.used.iter().filter(move |l| l.direction == d);
        let count = |d| here(d).filter(|l| own(l)).count();
        let (out, back) = (count(Direction::Out), count(Direction::Back));
        let sides = f64::from(u8::from(out > 0)) + f64::from(u8::from(back > 0));
        if sides == 0.0 {
            return None;
        }
        let weight = |l: &Length| match (own(l), l.direction) {
            (false, _) => 0.0,
            (true, Direction::Out) => 1.0 / (sides * out as f64),
            (true, Direction::Back) => 1.0 / (sides * back as f64),
        };
        let weights: Vec<f64> = self.used.iter().map(weight).collect();
        let counts = self.used.iter().zip(&weights).map(|(l, w)| l.counts * w).sum();
        Some(Mean { counts, uncertainty: self.combined(&weights), n: out + back })
    }

    /// Standard uncertainty of a weighted sum of the lengths.
    fn combined(&self, weights: &[f64]) -> f64 {
        let mut stops = 0.0;
        for (i, w) in weights.iter().enumerate() {
            // The stop before: shared with the swipe before, else its own.
            if i == 0 || !self.share(i - 1, i) {
                stops += w * w;
            }
            let next = if self.share(i, i + 1) { weights.get(i + 1).copied().unwrap_or(0.0) } else { 0.0 };
            stops += (w + next).powi(2);
        }
        self.scatter * (stops / 2.0).sqrt()
    }

    /// Out over back, less one, over all paces; each pace is held against itself. The uncertainty is that of swipes
    /// that share no stop, the largest that fits the scatter: the shared stops, which cancel between out and back,
    /// would make it √n smaller, but only if nothing else scatters. `None` without a pace that has both.
    pub fn out_over_back(&self, pace: impl Fn(Option<Pace>) -> bool) -> Option<OutOverBack> {
        let paces: BTreeSet<Option<Pace>> = self.used.iter().map(|l| l.pace).filter(|p| pace(*p)).collect();
        let (mut sum, mut weights, mut n) = (0.0, 0.0, (0, 0));
        for pace in paces {
            let side = |d| {
                let own = self.used.iter().filter(|l| l.pace == pace && l.direction == d);
                let values: Vec<f64> = own.map(|l| l.counts).collect();
                crate::stats::mean(&values).map(|mean| (mean, values.len()))
            };
            let (Some(out), Some(back)) = (side(Direction::Out), side(Direction::Back)) else { continue };
            if back.0 <= 0.0 {
                continue;
            }
            // Weight: one over the variance of the ratio, in units of the scatter.
            let variance = (1.0 / out.1 as f64 + 1.0 / back.1 as f64) / (back.0 * back.0);
            sum += (out.0 / back.0 - 1.0) / variance;
            weights += 1.0 / variance;
            n = (n.0 + out.1, n.1 + back.1);
        }
        (weights > 0.0).then(|| OutOverBack {
            value: sum / weights,
            uncertainty: self.scatter / weights.sqrt(),
            n,
        })
    }
}

/// Pairs of pace and direction that occur.
fn groups(all: &[Length]) -> Vec<Group> {
    let mut groups = Vec::new();
    for l in all {
        if !groups.contains(&(l.pace, l.direction)) {
            groups.push((l.pace, l.direction));
        }
    }
    groups
}

/// Median of a pace and direction; of the pace where that has fewer than three.
fn centre(all: &[Length], (pace, direction): (Option<Pace>, Direction)) -> f64 {
    let same = || all.iter().filter(|l| l.pace == pace);
    let own: Vec<f64> = same().filter(|l| l.direction == direction).map(|l| l.counts).collect();
    let values = if own.len() >= 3 { own } else { same().map(|l| l.counts).collect() };
    median(&values).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain(counts: &[f64]) -> Vec<Length> {
        let direction = |i: usize| if i.is_multiple_of(2) { Direction::Out } else { Direction::Back };
        let length = |(i, &counts): (usize, &f64)| Length {
            key: (1, i as u32 + 1),
            pace: Some(Pace::Slow),
            direction: direction(i),
            counts,
            short: false,
        };
        counts.iter().enumerate().map(length).collect()
    }

    /// By hand: out 100 and 102, back 98 and 96. Means 101 and 97, squares 1+1+1+1 over N − G = 2: s = √2. Weights
    /// are 1/4 each; stops 1/4, 1/2, 1/2, 1/2, 1/4 squared sum to 7/8, times s²/2 = 1.
    #[test]
    fn a_mean_of_four_swipes_in_a_row_is_that_of_five_stops() {
        let lengths = Lengths::sift(chain(&[100.0, 98.0, 102.0, 96.0]), 1.0);
        let mean = lengths.mean(|_| true).unwrap();
        assert!((lengths.scatter - 2f64.sqrt()).abs() < 1e-12);
        assert!((mean.counts - 99.0).abs() < 1e-12 && mean.n == 4);
        assert!((mean.uncertainty - 0.875f64.sqrt()).abs() < 1e-12, "{}", mean.uncertainty);
    }

    #[test]
    fn a_difference_between_out_and_back_does_not_inflate_the_scatter() {
        let lengths = Lengths::sift(chain(&[10_100.0, 9_900.0, 10_101.0, 9_899.0, 10_099.0, 9_901.0]), 40.0);
        assert!((lengths.scatter - 1.0).abs() < 1e-12 && lengths.left_out.is_empty());
        let ratio = lengths.out_over_back(|_| true).unwrap();
        assert!((ratio.value - (10_100.0 / 9_900.0 - 1.0)).abs() < 1e-9);
    }

    /// For ten swipes in a row the trace of the squared form is worked out by hand from its definition: 42.9, so that
    /// 8 free values are worth 6.
    #[test]
    fn degrees_of_freedom_know_of_shared_stops() {
        let counts: Vec<f64> = (0..10).map(|i| 1000.0 + f64::from(i % 3)).collect();
        let lengths = Lengths::sift(chain(&counts), 10.0);
        assert!((lengths.df - 256.0 / 42.88).abs() < 0.01, "{}", lengths.df);
    }

    #[test]
    fn a_swipe_that_stopped_early_is_left_out_and_named() {
        let mut counts: Vec<f64> = (0..20).map(|i| 12_000.0 + f64::from(i % 4) * 10.0).collect();
        counts[6] -= 400.0;
        let lengths = Lengths::sift(chain(&counts), 40.0);
        assert_eq!(lengths.left_out.iter().map(|l| l.swipe).collect::<Vec<_>>(), [7]);
        assert!((lengths.left_out[0].off_mm + 10.0).abs() < 0.6);
        assert_eq!(lengths.mean(|_| true).unwrap().n, 19);
    }

    /// By matrices, in `fixtures/statistics/scipy` (`scripts/statistics-oracle`): a phase of seven slow and one of twelve fast
    /// swipes; to 8 digits.
    #[test]
    fn scatter_freedom_and_means_are_those_of_the_matrices() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/statistics/scipy/values.json");
        let all: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        let want = &all["shared_stops"];
        let number = |v: &serde_json::Value| v.as_f64().unwrap();
        let mut swipes = Vec::new();
        for (i, pace) in [Pace::Slow, Pace::Fast].into_iter().enumerate() {
            let counts: Vec<f64> = want["phases"][i].as_array().unwrap().iter().map(number).collect();
            let phase = i as u32 + 1;
            let own = chain(&counts).into_iter();
            swipes.extend(own.map(|l| Length { key: (phase, l.key.1), pace: Some(pace), ..l }));
        }
        let lengths = Lengths::sift(swipes, 40.0);
        assert_eq!((lengths.used.len(), lengths.left_out.len()), (19, 0));
        let close = |what: &str, got: f64, want: &serde_json::Value| {
            assert!((got / number(want) - 1.0).abs() < 1e-8, "{what}: {got} is not {want}");
        };
        close("scatter", lengths.scatter, &want["scatter"]);
        close("degrees of freedom", lengths.df, &want["df"]);
        for (i, pace) in [Pace::Slow, Pace::Fast].into_iter().enumerate() {
            let mean = lengths.mean(|p| p == Some(pace)).unwrap();
            close("mean", mean.counts, &want["means"][i][0]);
            close("its uncertainty", mean.uncertainty, &want["means"][i][1]);
        }
    }

    /// 95 % intervals of a mean and of a contrast, on lengths between stops that scatter normally: 10 slow and 20 fast
    /// swipes, out counting 1 % more than back. 4,000 draws: ±0.7 % about 95 % at two standard errors.
    #[test]
    fn intervals_cover_between_stops_that_scatter() {
        use crate::stats::t_quantile;
        use rand_xoshiro::Xoshiro256PlusPlus;
        use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};
        use statrs::distribution::{ContinuousCDF as _, Normal};
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(7);
        let mut normal = || {
            let u = ((rng.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
            Normal::standard().inverse_cdf(u)
        };
        let draws = 4000;
        let (mut mean_covers, mut contrast_covers, mut left_out) = (0, 0, 0);
        for _ in 0..draws {
            let mut all = Vec::new();
            for (phase, pace, n) in [(1, Pace::Slow, 10), (2, Pace::Fast, 20)] {
                let mut before: f64 = normal();
                let counts: Vec<f64> = (0..n)
                    .map(|i| {
                        let after = normal();
                        let gain = if i % 2 == 0 { 1.005 } else { 0.995 };
                        let length = gain * (300.0 + before + after);
                        before = after;
                        40.0 * length
                    })
                    .collect();
                let swipes = chain(&counts).into_iter();
                all.extend(swipes.map(|l| Length { key: (phase, l.key.1), pace: Some(pace), ..l }));
            }
            let lengths = Lengths::sift(all, 40.0);
            left_out += lengths.left_out.len();
            let at = |pace| lengths.mean(|p| p == Some(pace)).unwrap();
            let (slow, fast) = (at(Pace::Slow), at(Pace::Fast));
            let t = t_quantile(0.975, lengths.df);
            mean_covers += i32::from((slow.counts - 12_000.0).abs() <= t * slow.uncertainty);
            let u = slow.uncertainty.hypot(fast.uncertainty);
            contrast_covers += i32::from((slow.counts - fast.counts).abs() <= t * u);
        }
        for covers in [mean_covers, contrast_covers] {
            let share = f64::from(covers) / f64::from(draws);
            assert!((0.94..=0.96).contains(&share), "{share}");
        }
        assert!(left_out < 120, "{left_out} of {} left out", draws * 30);
    }

    #[test]
    fn no_length_is_no_mean_and_one_length_has_no_ratio() {
        assert!(Lengths::sift(Vec::new(), 1.0).mean(|_| true).is_none());
        let one = Lengths::sift(chain(&[5.0]), 1.0);
        assert!(
            one.out_over_back(|_| true).is_none() && one.mean(|_| true).is_some_and(|m| m.uncertainty == 0.0)
        );
    }
}
