//! One travel in counts, which all geometry is reckoned with, and whether the slow swipes may say it.
//!
//! Slow swipes are the baseline: a sensor tracks them if it tracks anything. They are not trusted where two others
//! speak against them: the counts of another pace, off by more than [`APART`], and either the nominal resolution, which
//! that pace meets within [`APART`], or the agreement of the medium and the fast pace, which both count more (counts
//! are lost, not found; so a slow pace below two that agree is the one that is wrong, as with firmware that cuts off
//! fractions); or counts that rise from slow to medium to fast by more than [`APART`] each, where the fastest has lost
//! least. A fast pace below two that agree has lost counts, whatever nominal it meets by that. (Added after fast swipes that a ceiling
//! cut had been believed, of devices of 1.14 to 1.2 times their nominal.) The nominal alone never overrules the swipes: a device may be off as a whole, and another step may be
//! active. Slow swipes that count *more* than all others are trusted: the others lose.
//!
//! Assumes that a phase has swipes of one resolution step in its majority. Smallest told: a slow pace that is
//! [`APART`] off. Cost: O(paces²).

use slipgauge_trace::session::Pace;

/// Counts of two paces differ by more than stops, yaw (1 %) and a tolerable gain change (2 %) explain, and a resolution
/// is off by more than the default tolerance: 10 %.
const APART: f64 = 0.10;
/// Two paces agree: yaw, stops and a tolerable gain change together.
const AGREE: f64 = 0.05;

/// What the provisional scale rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The slow swipes, or all where no pace was told.
    Slow,
    /// A faster pace: the slow swipes are not to be trusted.
    OtherPace,
    /// The nominal resolution, because the travel is not known.
    Nominal,
}

/// One travel in counts as a pace has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Pace; `None` where none was told.
    pub pace: Option<Pace>,
    /// Counts from stop to stop.
    pub counts: f64,
}

/// Picks one of the candidates, of which there is at most one a pace. `nominal` is one travel by the nominal
/// resolution, where travel and nominal are known.
pub fn pick(candidates: &[Candidate], nominal: Option<f64>) -> Option<(Candidate, Basis)> {
    let at = |pace| candidates.iter().copied().find(|c| c.pace == Some(pace));
    let all = || candidates.iter().copied();
    let largest = || all().max_by(|a, b| a.counts.total_cmp(&b.counts));
    let Some(slow) = at(Pace::Slow) else { return largest().map(|c| (c, Basis::Slow)) };
    let off = |a: f64, b: f64| (a / b).ln().abs();
    let speaks_against = |c: &Candidate| off(c.counts, slow.counts) > (1.0 + APART).ln();
    let paces = [at(Pace::Medium), at(Pace::Fast)];
    let others = paces.iter().flatten().filter(|c| speaks_against(c));
    // Two paces that agree and count more: the one that meets the nominal has lost counts.
    let is_alone = |c: &Candidate| {
        let agrees = |p: &Candidate| p.pace != c.pace && off(p.counts, slow.counts) <= (1.0 + AGREE).ln();
        c.counts < slow.counts && paces.iter().flatten().any(agrees)
    };
    let by_nominal = others.clone().find(|c| {
        let meets = |n: f64| off(c.counts, n) <= (1.0 + APART).ln() && off(c.counts, n) < off(slow.counts, n);
        nominal.is_some_and(meets) && !is_alone(c)
    });
    let by_agreement = || match &paces {
        [Some(medium), Some(fast)] if off(medium.counts, fast.counts) <= (1.0 + AGREE).ln() => {
            others.clone().find(|c| c.counts > slow.counts)
        }
        [Some(medium), Some(fast)] => {
            let rises = |a: &Candidate, b: &Candidate| b.counts > (1.0 + APART) * a.counts;
            (rises(&slow, medium) && rises(medium, fast)).then_some(fast)
        }
        _ => None,
    };
    // A nominal that the slow swipes meet settles it for them.
    let meets = nominal.is_some_and(|n| off(slow.counts, n) <= (1.0 + APART).ln());
    match by_nominal.or_else(|| by_agreement().filter(|_| !meets)) {
        Some(other) if !meets => Some((*other, Basis::OtherPace)),
        _ => Some((slow, Basis::Slow)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picked(slow: f64, medium: f64, fast: f64, nominal: Option<f64>) -> (f64, Basis) {
        let paces = [(Pace::Slow, slow), (Pace::Medium, medium), (Pace::Fast, fast)];
        let candidates = paces.map(|(pace, counts)| Candidate { pace: Some(pace), counts });
        pick(&candidates, nominal).map(|(c, basis)| (c.counts, basis)).unwrap()
    }

    #[test]
    fn slow_swipes_that_lose_counts_are_no_baseline() {
        assert_eq!(picked(60.0, 95.0, 99.0, Some(100.0)), (95.0, Basis::OtherPace));
        assert_eq!(picked(60.0, 95.0, 99.0, None), (95.0, Basis::OtherPace));
        assert_eq!(picked(7.0, 50.0, 80.0, Some(100.0)), (80.0, Basis::OtherPace));
        // Made at another step, with twice the counts.
        assert_eq!(picked(200.0, 101.0, 99.0, Some(100.0)), (101.0, Basis::OtherPace));
    }

    #[test]
    fn fast_swipes_that_lose_counts_are_no_reason_to_doubt_slow_ones() {
        assert_eq!(picked(100.0, 98.0, 60.0, Some(100.0)), (100.0, Basis::Slow));
        assert_eq!(picked(100.0, 60.0, 60.0, None), (100.0, Basis::Slow));
        assert_eq!(picked(103.0, 91.0, 60.0, Some(100.0)), (103.0, Basis::Slow));
    }

    #[test]
    fn fast_swipes_that_meet_the_nominal_by_what_they_lost_are_no_reason_either() {
        assert_eq!(picked(120.0, 119.0, 104.0, Some(100.0)), (120.0, Basis::Slow));
    }

    #[test]
    fn a_device_that_is_off_as_a_whole_is_believed() {
        assert_eq!(picked(50.0, 50.5, 49.8, Some(100.0)), (50.0, Basis::Slow));
        assert_eq!(picked(130.0, 129.0, 131.0, Some(100.0)), (130.0, Basis::Slow));
    }

    #[test]
    fn one_pace_or_none_is_taken_as_it_is() {
        let lone = Candidate { pace: None, counts: 70.0 };
        assert_eq!(pick(&[lone], Some(100.0)), Some((lone, Basis::Slow)));
        assert_eq!(pick(&[], Some(100.0)), None);
    }
}
