//! Whether short swipes lie beside each other, alike, as an operator's do and a device's do not.
//!
//! A device that loses counts in some swipes of a pace loses them in any of them. So the same shortfalls are dealt out anew
//! within each phase, [`DEALS`] times, and the swipes that then lie in runs that come out even are counted (a permutation test,
//! Pitman 1937): the share of deals that cover as many as there are is the chance. It needs no law of what a device loses, and
//! holds where all shortfalls happen to be alike, of which their likeness tells nothing.
//!
//! Only asked where no short swipe is left over, and whole ones lie between the runs: not where neighbours in no run together
//! are short, in two places and more, as of a device that loses counts for a while, or in all swipes of a pace. (Added after
//! twenty fast swipes in a row that a sensor's top speed had cut had been seen to come out even.) Cost: O(deals · swipes).

use super::{LONGEST_RUN, Measure, NO_CHANCE, One, Runs, accident, even_runs};

/// One in a hundred is known to a tenth. Fewer where it is clear before that it is more.
const DEALS: usize = 9999;
/// Neighbours that are short and in no run together: an operator may stop short once more where he begins anew.
const FEW: usize = 1;

/// Chance that a device deals short swipes out like this, or just above [`NO_CHANCE`] where it is more; `ends` are the last swipes of the
/// phases.
pub(super) fn chance(ones: &[One], runs: &Runs, ends: &[usize], measure: Measure) -> f64 {
    let lacks = |i: usize| ones[i].is_short(measure);
    let left_over = (0..ones.len()).any(|i| lacks(i) && runs.excused[i] == (false, false));
    // Half of what is beyond placing, too, as in runs.
    let some = |i: usize| ones[i].short >= accident(measure).start;
    let beside = (1..ones.len()).filter(|&i| some(i) && some(i - 1) && !runs.excused[i - 1].1);
    if runs.even == 0 || left_over || beside.count() > FEW {
        return 1.0;
    }
    let covered = |ones: &[One]| -> usize {
        let (runs, _) = even_runs(ones, measure, LONGEST_RUN);
        runs.into_iter().map(|run| run.filter(|&i| ones[i].is_short(measure)).count()).sum()
    };
    let seen = covered(ones);
    let mut dealt = ones.to_vec();
    let mut dice = Dice(1);
    let enough = (NO_CHANCE * DEALS as f64) as usize + 1;
    let as_many = (0..DEALS).filter(|_| {
        let mut first = 0;
        for &end in ends {
            dice.shuffle(&mut dealt[first..=end]);
            first = end + 1;
        }
        covered(&dealt) >= seen
    });
    (as_many.take(enough).count() + 1) as f64 / (DEALS + 1) as f64
}

/// Even numbers, the same each time (Knuth's constants of a linear congruence).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 / (1u64 << 53) as f64 * n as f64) as usize
    }

    fn shuffle(&mut self, ones: &mut [One]) {
        for i in (1..ones.len()).rev() {
            ones.swap(i, self.below(i + 1));
        }
    }
}
