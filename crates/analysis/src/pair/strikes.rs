//! Which strike of one device is which of the other.
//!
//! The rows of times are laid over each other as spike trains are (Victor and Purpura 1996): a strike left without a partner
//! costs [`ALONE`], a pair costs how far its lag is from one common lag; the cheapest way in order is taken, and of the common
//! lags the cheapest, of equals the smallest. So equal numbers are paired in order whatever the lag, one that is late keeps its
//! partner, and one that is missing does not shift the rest. Strikes at an even beat of B are told only to within whole beats if
//! both rows lose as many at their ends; people do not strike evenly. Cost: O(strikes × common lags × strikes in reach).

use super::FAR;

/// Without a partner: two such are as dear as one pair at the end of the reach, so that no pair within it is torn apart.
const ALONE: i64 = FAR / 2;
/// From one common lag to the next: finer than one hand's strikes are even (5 % of 300 ms).
const COMMON: i64 = 5_000_000;

/// The last pair of a row of pairs, and what these cost less than the same strikes alone.
type Best = (i64, Option<usize>);

/// Pairs of places in two rows of times, in order, both rising.
pub(super) fn aligned(test: &[i64], other: &[i64]) -> Vec<(usize, usize)> {
    let mut common: Vec<i64> = (-FAR / COMMON..=FAR / COMMON).map(|k| k * COMMON).collect();
    common.sort_by_key(|lag| lag.abs());
    let mut best = (0, Vec::new());
    for lag in common {
        let found = cheapest(test, other, lag);
        if found.0 < best.0 {
            best = found;
        }
    }
    best.1
}

/// The cheapest pairs for one common lag, and what they cost less than all strikes alone.
fn cheapest(test: &[i64], other: &[i64], common: i64) -> (i64, Vec<(usize, usize)>) {
    // By how many of the other's strikes are used.
    let mut best: Vec<Best> = vec![(0, None)];
    let mut pairs: Vec<(usize, usize, Option<usize>)> = Vec::new();
    for (i, t) in test.iter().enumerate() {
        let from = other.partition_point(|o| *o < t.saturating_sub(FAR));
        let to = other.partition_point(|o| *o <= t.saturating_add(FAR));
        let latest = best.last().copied().unwrap_or((0, None));
        best.resize((to + 1).max(best.len()), latest);
        let before: Vec<Best> = best[from..to].to_vec();
        for (j, (cost, last)) in (from..to).zip(before) {
            let off = (t - other[j] - common).abs();
            let cost = cost + off - 2 * ALONE;
            if cost < best[j + 1].0 {
                pairs.push((i, j, last));
                best[j + 1] = (cost, Some(pairs.len() - 1));
            }
            if best[j].0 < best[j + 1].0 {
                best[j + 1] = best[j];
            }
        }
    }
    let (cost, mut last) = best.last().copied().unwrap_or((0, None));
    let mut out = Vec::new();
    while let Some((i, j, before)) = last.map(|at| pairs[at]) {
        out.push((i, j));
        last = before;
    }
    out.reverse();
    (cost, out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Uneven, as a hand's.
    const HAND: [i64; 8] = [0, 410, 900, 1260, 1790, 2200, 2750, 3100];

    fn paired(test: &[i64], other: &[i64]) -> Vec<(usize, usize)> {
        let ns = |ms: &[i64]| ms.iter().map(|t| t * 1_000_000).collect::<Vec<_>>();
        aligned(&ns(test), &ns(other))
    }

    #[test]
    fn a_lag_of_any_size_in_reach_pairs_in_order() {
        let all: Vec<(usize, usize)> = (0..8).map(|i| (i, i)).collect();
        for lag in [-300, -60, 0, 49, 150, 300] {
            assert_eq!(paired(&HAND.map(|t| t + lag), &HAND), all, "{lag} ms");
        }
        // Ten a second, evenly, and late by more than half of it: numbers are equal, so order tells.
        let quick: Vec<i64> = (0..20).map(|i| 100 * i).collect();
        let late: Vec<i64> = quick.iter().map(|t| t + 70).collect();
        assert_eq!(paired(&late, &quick), (0..20).map(|i| (i, i)).collect::<Vec<_>>());
    }

    #[test]
    fn late_ones_keep_their_partner_and_missing_ones_shift_none() {
        let late: Vec<i64> = (0..8).map(|i| HAND[i] + if i.is_multiple_of(3) { 150 } else { 2 }).collect();
        assert_eq!(paired(&late, &HAND).len(), 8);
        let missing: Vec<i64> =
            HAND.iter().enumerate().filter(|(i, _)| ![2, 5].contains(i)).map(|(_, t)| *t).collect();
        assert_eq!(paired(&missing, &HAND), [(0, 0), (1, 1), (2, 3), (3, 4), (4, 6), (5, 7)]);
        assert_eq!(paired(&HAND, &missing).len(), 6);
        assert_eq!(paired(&[], &HAND), []);
        assert_eq!(paired(&HAND.map(|t| t + 5000), &HAND), []);
    }
}
