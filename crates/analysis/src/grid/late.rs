//! Reports that carry what was counted in empty slots before them.
//!
//! A device that was held up, or whose report was lost and sent again, hands on in one report what it counted in several
//! slots. In the slot of its arrival these counts are no speed of the hand. Such a report
//! - comes after [`EMPTY`] slots and more without one, and
//! - holds [`OWN`] times what the motion on either side of it makes in a slot, and [`DUE`] counts more.
//!
//! Motion beside it is taken over [`BESIDE`] and two reports at least, of both sides the faster. Where the device moved by
//! [`DUE`] counts a slot before, it had counted since then; else the hand may have rested, and its own slot alone tells
//! nothing. What silences at speed have found ([`crate::silence`]) is among these, and what they leave to wake-up, or into
//! the stop. Judges nothing: it only says where counts tell no speed. Cost: O(reports).

use crate::series::DUE;
use crate::silence::LEAST_SLOTS;

/// Half a slot: of a report that is less late than that, its own slot's share of what it holds is the larger.
const EMPTY: f64 = 0.5;
/// Between one slot's counts and two: a report that is one slot late holds two.
const OWN: f64 = 1.5;
/// Nanoseconds. Where reports come faster than every millisecond, frames that beat against them make single ones uneven.
const BESIDE: f64 = 2e6;

/// One report of a swipe: its time in nanoseconds, and its counts along.
pub(super) type Report = (i64, f64);

/// What such a report carries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Late {
    /// When it had begun to count.
    pub(super) begin: i64,
    /// When it came.
    pub(super) end: i64,
    /// Counts beside its own slot's.
    pub(super) counts: f64,
    /// True if it ended a silence in motion: of as many slots as are no late poll.
    pub(super) ends_silence: bool,
}

/// The reports of a swipe that carry counts of slots before theirs; `slot` is the report interval, nanoseconds.
pub(super) fn find(reports: &[Report], slot: f64) -> Vec<Late> {
    let beside = ((BESIDE / slot.max(1.0)).ceil() as usize).clamp(2, 64);
    let mut found = Vec::new();
    for (row, pair) in reports.windows(2).enumerate() {
        let [(before, _), (at, counts)] = [pair[0], pair[1]];
        let empty = at.saturating_sub(before) as f64 / slot - 1.0;
        if empty < EMPTY {
            continue;
        }
        let earlier = reports.get((row + 1).saturating_sub(beside + 1)..=row).unwrap_or_default();
        let later = reports.get(row + 1..reports.len().min(row + 2 + beside)).unwrap_or_default();
        let moving = per_slot(earlier, slot);
        let own = moving.max(per_slot(later, slot));
        if counts > OWN * own && counts - own >= DUE as f64 {
            let moving = moving >= DUE as f64;
            found.push(Late {
                begin: if moving { before } else { at.saturating_sub(slot as i64) },
                end: at,
                counts: counts - own,
                ends_silence: moving && empty >= LEAST_SLOTS - 0.5,
            });
        }
    }
    found
}

/// Counts per slot over some reports, the first exclusive.
fn per_slot(reports: &[Report], slot: f64) -> f64 {
    let [(begin, _), rest @ .., (end, last)] = reports else { return 0.0 };
    let counts: f64 = rest.iter().map(|r| r.1).sum::<f64>() + last;
    let slots = end.saturating_sub(*begin) as f64 / slot;
    // Reports that share a stamp are a slot apart.
    counts.max(0.0) / slots.max(0.5 * (rest.len() + 1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    #[test]
    fn a_report_that_holds_what_came_before_it_is_told_from_one_that_came_late() {
        let steady: Vec<Report> = (0..20).map(|i| (i * MS, 50.0)).collect();
        assert_eq!(find(&steady, 1e6), []);
        // Silent for six slots, then all of it; nothing comes after.
        let mut held = steady.clone();
        held.truncate(10);
        held.push((16 * MS, 350.0));
        let late = |to: i64, counts, ends_silence| Late { begin: 9 * MS, end: to * MS, counts, ends_silence };
        assert_eq!(find(&held, 1e6), [late(16, 300.0, true)]);
        // Reports that were lost, and one that a host read late.
        let lost: Vec<Report> = steady.iter().copied().filter(|r| !(10..16).contains(&(r.0 / MS))).collect();
        assert_eq!(find(&lost, 1e6), []);
        let mut read_late = steady.clone();
        read_late[10].0 += MS * 7 / 10;
        assert_eq!(find(&read_late, 1e6), []);
        // One report missing, its counts in the next.
        let mut once = steady;
        once.remove(10);
        once[10].1 = 100.0;
        let [only] = find(&once, 1e6)[..] else { panic!("one such report") };
        assert_eq!((only.begin, only.end, only.ends_silence), (9 * MS, 11 * MS, false));
    }

    #[test]
    fn odd_rows_are_no_panic() {
        for rows in
            [vec![], vec![(0, 1.0)], vec![(5, 1.0), (5, 9.0)], vec![(i64::MIN, 1.0), (i64::MAX, 1e300)]]
        {
            let _ = (find(&rows, 0.0), find(&rows, 1e6));
        }
    }
}
