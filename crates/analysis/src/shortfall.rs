//! Swipes that are shorter or longer than one travel, and which of them the operator explains.
//!
//! Not a family: whatever loses or invents counts shows here, however it does so. Every swipe covers the same distance
//! from stop to stop. Its length in counts scatters by placing (s: median absolute deviation of the n slow and medium
//! swipes about their phases' medians, and its own uncertainty on top); what lies further off than [`LEAST_MM`] and
//! 5 s · (1 + 1.5/√n) is not placing. A phase that scatters by more than [`LEAST_MM`], and by [`NO_PLACING`] times what
//! the slow one does, is left out: its swipes lose counts themselves.
//!
//! The operator explains a pair: one swipe short of the stop, and the next one short by as much since it began there;
//! and the last swipe of a phase if it braked, after which nothing tells. A device that loses counts makes such pairs by
//! chance alone; so where more than [`MOST_EXCUSED`] of the swipes would be excused, none is, nor in a phase of which
//! [`MOST_SHORT`] come up short without excuse. Cost: O(swipes log swipes).

use crate::stats::{mad, median};
use crate::swipes::{AT_SPEED, Swipe};

/// Smallest deviation worth naming, mm.
pub const LEAST_MM: f64 = 2.0;
/// In standard deviations of placing: a normal scatter exceeds it once in three million swipes. The second is by how much
/// more for a scatter that is itself estimated: two standard errors of a median absolute deviation.
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
        let about = |group: &Vec<f64>| -> Vec<f64> {
            let centre = median(group).unwrap_or(0.0);
            group.iter().map(|length| length - centre).collect()
        };
        let least = LEAST_SCATTER_MM * counts_per_mm;
        let usual = (NO_PLACING * mad(&about(slow), 0.0)?).max(LEAST_MM * counts_per_mm);
        let places = |off: &Vec<f64>| mad(off, 0.0).is_some_and(|scatter| scatter <= usual);
        let groups = groups.iter().filter(|g| g.len() >= 3);
        let off: Vec<f64> = groups.map(about).filter(places).flatten().collect();
        let scatter = mad(&off, 0.0)?.max(least);
        let deviations = DEVIATIONS.0 * (1.0 + DEVIATIONS.1 / (off.len() as f64).sqrt());
        let most = (LEAST_MM * counts_per_mm).max(deviations * scatter);
        (one_travel > 0.0).then_some(Measure { one_travel, most })
    }
}

/// Marks the swipes of a step, in order; each with whether it is the last of its phase.
pub fn mark(swipes: &mut [(&mut Swipe, bool)], measure: Measure) {
    let short = |s: &Swipe| measure.one_travel - s.along;
    // The second of a pair may be beyond placing where the first is just not.
    let accident = 0.5 * measure.most..NO_ACCIDENT * measure.one_travel;
    let stops_short = |s: &Swipe| accident.contains(&short(s));
    let brakes_short = |s: &Swipe| s.exit <= AT_SPEED * s.peak && stops_short(s);
    let mut excused = vec![(false, false); swipes.len()];
    for i in 0..swipes.len() {
        let (swipe, last) = (&*swipes[i].0, swipes[i].1);
        let Some((next, _)) = swipes.get(i + 1) else {
            excused[i].1 = brakes_short(swipe) && !excused[i].0;
            continue;
        };
        let alike = (short(swipe) - short(next)).abs() < ALIKE * measure.most;
        let pair = !excused[i].0 && stops_short(swipe) && short(next) > 0.0 && alike;
        excused[i + 1].0 = pair;
        excused[i].1 = pair || (last && !excused[i].0 && brakes_short(swipe));
    }
    let count = excused.iter().filter(|(began, stopped)| *began || *stopped).count();
    let few = count as f64 <= (MOST_EXCUSED * swipes.len() as f64).max(4.0);
    let mut first = 0;
    for i in 0..swipes.len() {
        if swipes[i].1 || i + 1 == swipes.len() {
            let untold = |j: &usize| excused[*j] == (false, false) && short(swipes[*j].0) > measure.most;
            if (first..=i).filter(untold).count() as f64 > MOST_SHORT * (i + 1 - first) as f64 {
                excused[first..=i].fill((false, false));
            }
            first = i + 1;
        }
    }
    for ((swipe, _), (began, stopped)) in swipes.iter_mut().zip(excused) {
        (swipe.began_short, swipe.stopped_short) = (began && few, stopped && few);
        let off = -short(swipe);
        swipe.surplus = if off.abs() > measure.most { off } else { 0.0 };
    }
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
        let measure = Measure::new(&[vec![3000.0, 3002.0, 2998.0, 3001.0]], 10.0).unwrap();
        let mut swipes: Vec<Swipe> = lengths.iter().map(|&l| swipe(l)).collect();
        let mut pairs: Vec<(&mut Swipe, bool)> = swipes.iter_mut().map(|s| (s, false)).collect();
        mark(&mut pairs, measure);
        swipes.iter().map(|s| (s.began_short, s.stopped_short, s.surplus.round())).collect()
    }

    #[test]
    fn a_swipe_that_stopped_short_excuses_the_next_one_and_itself() {
        let all = marked(&[3000.0, 2800.0, 2805.0, 3001.0, 2999.0, 3000.0, 3000.0, 3000.0]);
        assert_eq!(all[1], (false, true, -201.0));
        assert_eq!(all[2], (true, false, -196.0));
        assert!(all.iter().enumerate().all(|(i, s)| i == 1 || i == 2 || *s == (false, false, 0.0)));
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
}
