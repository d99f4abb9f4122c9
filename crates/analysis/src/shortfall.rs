//! Swipes that are shorter or longer than one travel, and which of them the operator explains.
//!
//! Not a family: whatever loses or invents counts shows here, however it does so. Every swipe covers the same distance
//! from stop to stop. Its length in counts scatters by placing (s: robust deviation of the n slow and medium swipes about
//! their phases' medians, and its own uncertainty on top); what lies further off than [`LEAST_MM`] and 5 s · (1 + 1.5/√n)
//! is not placing. A phase that scatters by more than [`LEAST_MM`], and by [`NO_PLACING`] times what the slow one does, is
//! left out: its swipes lose counts themselves. (First s was the median absolute deviation alone: with 20 swipes and stops of 1 mm it came out so small now and
//! then that 3.7 true deviations were a finding on a sound device.)
//!
//! The operator explains a pair: one swipe short of the stop, and the next one short by as much since it began there;
//! and the last swipe of a phase if it braked, after which nothing tells. A device that loses counts makes no such pairs but
//! by chance, where it makes many short; so where more than [`MOST_EXCUSED`] of the swipes would be excused, or of the pairs
//! more than [`BY_CHANCE`] come of chance, none is, nor in a phase of which [`MOST_SHORT`] come up short without excuse.
//! Swipes that a report ceiling cut ([`crate::clip`]) need no excuse, and are none of these; beside the point that a swipe
//! stopped short of, or began at, they lack what was cut off. (Added after they had been seen to take the excuse from
//! swipes that an operator had stopped short, in one session of two.) Nor do those in which a silence or a stretch that no
//! hand made was found: lengths are marked again once these are known. (Added after dropouts and spin-outs had been seen
//! to do the same.)
//! Cost: O(swipes log swipes).

use crate::stats::{median, within};
use crate::swipes::{AT_SPEED, Swipe};

/// Smallest deviation worth naming, mm.
pub const LEAST_MM: f64 = 2.0;
/// In standard deviations of placing: a normal scatter exceeds it once in three million swipes. The second is by how much
/// more for a scatter that is itself estimated: two standard errors of Qₙ, 0.78/√n each.
const DEVIATIONS: (f64, f64) = (5.0, 1.5);
/// Least standard deviation that is believed, mm: a body comes to rest at a stop no better.
const LEAST_SCATTER_MM: f64 = 0.1;
/// A stop holds no body this much worse when it arrives faster. (Added after devices that lost counts in medium swipes,
/// too, had been seen to hide a shortfall of half the travel; without [`LEAST_MM`] beside it, after ten slow swipes that lay
/// close by chance had been seen to make the medium ones of a sound device scatter too much.)
const NO_PLACING: f64 = 4.0;
/// Two shortfalls of a pair differ by no more than placing does.
const ALIKE: f64 = 1.0;
/// Share of the swipes that may be excused.
const MOST_EXCUSED: f64 = 0.15;
/// Share of a phase's swipes.
const MOST_SHORT: f64 = 0.5;
/// Share of the pairs that chance may make.
const BY_CHANCE: f64 = 0.25;
/// Nobody takes a point this share of the travel short of a stop for the stop.
const NO_ACCIDENT: f64 = 0.2;

/// What lengths are held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// Counts of one travel.
    pub one_travel: f64,
    /// Counts beyond which a length is not placing.
    pub most: f64,
}

impl Measure {
    /// From the lengths of swipes in counts, one group a phase, the slow ones first; `None` with fewer than three slow
    /// ones.
    pub fn new(groups: &[Vec<f64>], counts_per_mm: f64) -> Option<Measure> {
        let slow = groups.first().filter(|slow| slow.len() >= 3)?;
        let one_travel = median(slow)?;
        let own = |group: &Vec<f64>| within(std::slice::from_ref(group), 3).map(|(scatter, _)| scatter);
        let usual = (NO_PLACING * own(slow)?).max(LEAST_MM * counts_per_mm);
        let places = |group: &&Vec<f64>| own(group).is_some_and(|scatter| scatter <= usual);
        let placing: Vec<Vec<f64>> = groups.iter().filter(places).cloned().collect();
        let (scatter, n) = within(&placing, 3)?;
        let scatter = scatter.max(LEAST_SCATTER_MM * counts_per_mm);
        let deviations = DEVIATIONS.0 * (1.0 + DEVIATIONS.1 / (n as f64).sqrt());
        let most = (LEAST_MM * counts_per_mm).max(deviations * scatter);
        (one_travel > 0.0).then_some(Measure { one_travel, most })
    }
}

/// A swipe to be marked.
pub struct Marked<'a> {
    /// The swipe.
    pub swipe: &'a mut Swipe,
    /// True for the last of its phase.
    pub last: bool,
    /// True if a report ceiling cut it.
    pub clipped: bool,
    /// True if something else was found in it that costs counts: it takes no excuse, and keeps the one it has.
    pub told: bool,
}

/// Marks the swipes of a step, in order.
pub fn mark(swipes: &mut [Marked], measure: Measure) {
    let short = |s: &Swipe| measure.one_travel - s.along;
    // The second of a pair may be beyond placing where the first is just not.
    let accident = 0.5 * measure.most..NO_ACCIDENT * measure.one_travel;
    let stops_short = |s: &Swipe| accident.contains(&short(s));
    let brakes_short = |s: &Swipe| s.exit <= AT_SPEED * s.peak && stops_short(s);
    let mut excused = vec![(false, false); swipes.len()];
    for i in 0..swipes.len() {
        let (swipe, last) = (&*swipes[i].swipe, swipes[i].last);
        let Some(Marked { swipe: next, clipped: next_clipped, .. }) = swipes.get(i + 1) else {
            excused[i].1 = brakes_short(swipe) && !excused[i].0;
            continue;
        };
        // By how much the next one is shorter: what was clipped is that, too.
        let apart = short(next) - short(swipe);
        let near = ALIKE * measure.most;
        let alike = match (swipes[i].clipped, *next_clipped) {
            (false, false) => apart.abs() < near,
            (false, true) => apart > -near,
            (true, false) => apart < near && stops_short(next),
            (true, true) => false,
        };
        let alike = alike && !swipes[i].told && !swipes[i + 1].told;
        let pair = !excused[i].0 && stops_short(swipe) && short(next) > 0.0 && alike;
        excused[i + 1].0 = pair;
        excused[i].1 = pair || (last && !excused[i].0 && brakes_short(swipe));
    }
    let untold = |j: usize, excused: &[(bool, bool)]| {
        let why = swipes[j].clipped || swipes[j].told;
        excused[j] == (false, false) && short(swipes[j].swipe) > measure.most && !why
    };
    let mut first = 0;
    for i in 0..swipes.len() {
        if swipes[i].last || i + 1 == swipes.len() {
            let lacking = (first..=i).filter(|&j| untold(j, &excused)).count();
            if lacking as f64 > MOST_SHORT * (i + 1 - first) as f64 {
                excused[first..=i].fill((false, false));
            }
            first = i + 1;
        }
    }
    let count = excused
        .iter()
        .zip(&*swipes)
        .filter(|((began, stopped), s)| (*began || *stopped) && !s.clipped && !s.told)
        .count();
    let few = count as f64 <= (MOST_EXCUSED * swipes.len() as f64).max(4.0);
    let lacking: Vec<Option<f64>> =
        (0..swipes.len()).map(|j| untold(j, &excused).then(|| short(swipes[j].swipe))).collect();
    let few = few && by_chance(&lacking, ALIKE * measure.most) <= BY_CHANCE * count as f64 / 2.0;
    for (Marked { swipe, told, .. }, (began, stopped)) in swipes.iter_mut().zip(excused) {
        if !*told {
            (swipe.began_short, swipe.stopped_short) = (began && few, stopped && few);
        }
        let off = -short(swipe);
        swipe.surplus = if off.abs() > measure.most { off } else { 0.0 };
    }
}

/// Pairs of neighbours alike that come of short swipes by chance: as many as go with those neighbours that are not alike, by the
/// share of all pairs, neighbours or not, that are. `lacking` are the shortfalls of those that are not excused.
fn by_chance(lacking: &[Option<f64>], apart: f64) -> f64 {
    let unlike = lacking.windows(2).filter(|w| w.iter().all(Option::is_some)).count() as f64;
    let mut all: Vec<f64> = lacking.iter().flatten().copied().collect();
    all.sort_by(f64::total_cmp);
    let n = all.len() as f64;
    let within = |(i, a): (usize, &f64)| all.partition_point(|b| *b < a + apart).saturating_sub(i + 1);
    let alike = all.iter().enumerate().map(within).sum::<usize>() as f64;
    let share = (alike / (0.5 * n * (n - 1.0)).max(1.0)).min(0.9);
    unlike * share / (1.0 - share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::Direction;

    fn swipe(along: f64) -> Swipe {
        Swipe {
            number: 1,
            direction: Direction::Out,
            rows: 0..0,
            begin: 0,
            end: 0,
            along,
            across: 0.0,
            peak: 10.0,
            exit: 1.0,
            one_travel: 3000.0,
            surplus: 0.0,
            began_short: false,
            stopped_short: false,
        }
    }

    fn marked(lengths: &[f64]) -> Vec<(bool, bool, f64)> {
        let all: Vec<(f64, bool)> = lengths.iter().map(|&l| (l, false)).collect();
        marked_beside(&all)
    }

    fn marked_beside(swipes: &[(f64, bool)]) -> Vec<(bool, bool, f64)> {
        let measure = Measure::new(&[vec![3000.0, 3002.0, 2998.0, 3001.0]], 10.0).unwrap();
        let clipped: Vec<bool> = swipes.iter().map(|s| s.1).collect();
        let mut swipes: Vec<Swipe> = swipes.iter().map(|s| swipe(s.0)).collect();
        let each = swipes.iter_mut().zip(clipped);
        let mut each: Vec<Marked> =
            each.map(|(swipe, clipped)| Marked { swipe, last: false, clipped, told: false }).collect();
        mark(&mut each, measure);
        swipes.iter().map(|s| (s.began_short, s.stopped_short, s.surplus.round())).collect()
    }

    #[test]
    fn a_swipe_that_stopped_short_excuses_the_next_one_and_itself() {
        let all = marked(&[3000.0, 2800.0, 2805.0, 3001.0, 2999.0, 3000.0, 3000.0, 3000.0]);
        assert_eq!(all[1], (false, true, -201.0));
        assert_eq!(all[2], (true, false, -196.0));
        assert!(all.iter().enumerate().all(|(i, s)| i == 1 || i == 2 || *s == (false, false, 0.0)));
    }

    /// Ten clipped swipes of which each lacks another number, and one that stopped short between two of them.
    #[test]
    fn clipped_swipes_take_nobodys_excuse() {
        let mut all: Vec<(f64, bool)> = (0..10).map(|i| (2950.0 - 10.0 * f64::from(i), true)).collect();
        all.splice(4..4, [(2760.0, false), (2730.0, true)]);
        all.extend([(3000.0, false); 8]);
        let marked = marked_beside(&all);
        assert!(marked[4].1 && marked[5].0, "{marked:?}");
    }

    /// Twelve swipes that each lost another number in a silence, and one that stopped short in an earlier phase.
    #[test]
    fn swipes_that_are_told_take_nobodys_excuse_and_keep_their_own() {
        let measure = Measure::new(&[vec![3000.0, 3002.0, 2998.0, 3001.0]], 10.0).unwrap();
        let lost = (0..12).map(|i| 2980.0 - 20.0 * f64::from(i));
        let mut swipes: Vec<Swipe> =
            [3000.0, 2800.0, 2805.0, 3001.0].into_iter().chain(lost).map(swipe).collect();
        let mut look = |known: bool| {
            let each = swipes.iter_mut().enumerate();
            let each =
                each.map(|(i, swipe)| Marked { swipe, last: i == 3, clipped: false, told: known && i > 3 });
            mark(&mut each.collect::<Vec<_>>(), measure);
            swipes.iter().map(|s| (s.began_short, s.stopped_short)).collect::<Vec<_>>()
        };
        assert!(look(false).iter().all(|s| *s == (false, false)));
        let again = look(true);
        assert_eq!((again[1], again[2]), ((false, true), (true, false)));
        assert!(again[4..].iter().all(|s| *s == (false, false)));
    }

    #[test]
    fn a_single_short_swipe_is_not_excused() {
        assert_eq!(marked(&[3000.0, 2800.0, 3005.0, 3001.0])[1], (false, false, -201.0));
    }

    #[test]
    fn a_phase_of_short_swipes_is_not_excused() {
        let all = marked(&[2400.0; 12]);
        assert!(all.iter().all(|s| *s == (false, false, -601.0)), "{all:?}");
    }

    /// Eight short ones of 100 to 800 counts, of which two neighbours happen to be alike: of its own 28 pairs none is alike, so
    /// those two are believed; where most are alike, chance makes such pairs.
    #[test]
    fn pairs_that_chance_makes_of_a_device_that_loses_counts_are_not_excused() {
        let by = |lacks: &[f64]| by_chance(&lacks.iter().map(|l| Some(*l)).collect::<Vec<_>>(), 20.0);
        assert!(by(&[100.0, 200.0, 300.0, 400.0]) < 1e-9);
        // Of 3 pairs 1 is alike; two neighbours are not: 2 · (1/3) / (2/3).
        assert!((by(&[100.0, 400.0, 110.0]) - 1.0).abs() < 1e-9);
        let mut lengths = vec![3000.0; 40];
        lengths[10..20]
            .copy_from_slice(&[2800., 2600., 2790., 2610., 2795., 2605., 2800., 2805., 2600., 2790.]);
        assert!(marked(&lengths).iter().all(|s| !s.0 && !s.1));
        assert_eq!(by_chance(&[], 1.0), 0.0);
    }

    #[test]
    fn a_pair_among_short_swipes_is_none_of_the_operators() {
        let all = marked(&[2700.0, 2500.0, 2800.0, 2805.0, 2650.0, 2450.0, 2710.0, 2550.0]);
        assert!(all.iter().all(|s| !s.0 && !s.1 && s.2 < 0.0), "{all:?}");
    }

    #[test]
    fn a_longer_swipe_is_told() {
        assert_eq!(marked(&[3000.0, 3300.0, 3000.0])[1], (false, false, 300.0));
    }

    #[test]
    fn medium_swipes_that_lose_counts_do_not_widen_what_is_placing() {
        let slow = vec![3000.0, 3002.0, 2998.0, 3001.0];
        let alone = Measure::new(std::slice::from_ref(&slow), 10.0).unwrap();
        let lossy = vec![2000.0, 2400.0, 1900.0, 2600.0];
        assert_eq!(Measure::new(&[slow.clone(), lossy], 10.0), Some(alone));
        let sound = vec![2990.0, 2994.0, 2988.0, 2992.0];
        assert!(Measure::new(&[slow, sound], 10.0).unwrap().most <= alone.most);
    }

    #[test]
    fn too_few_slow_swipes_measure_nothing() {
        assert_eq!(Measure::new(&[vec![3000.0, 3000.0]], 10.0), None);
        assert_eq!(Measure::new(&[vec![0.0, 0.0, 0.0]], 10.0), None);
    }

    /// Sessions of 60 swipes, 20 of which the measure is of. By the median absolute deviation 35 had one beyond placing.
    #[test]
    fn what_placing_makes_now_and_then_is_not_beyond_it() {
        use statrs::distribution::{ContinuousCDF, Normal};
        let mut state = 1u64;
        let mut length = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let even = ((state >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
            60.0 * (300.0 + 1.4 * Normal::standard().inverse_cdf(even))
        };
        let mut some = 0;
        for _ in 0..2000 {
            let groups = [12, 8, 40].map(|n| (0..n).map(|_| length()).collect::<Vec<f64>>());
            let measure = Measure::new(&groups[..2], 60.0).unwrap();
            let beyond = |l: &f64| (l - measure.one_travel).abs() > measure.most;
            some += u32::from(groups.iter().flatten().any(beyond));
        }
        assert!(some <= 6, "{some} of 2000");
    }
}
