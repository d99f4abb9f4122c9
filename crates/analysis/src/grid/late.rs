//! Reports that carry what was counted in empty slots before them.
//!
//! A device that was held up, or whose report was lost and sent again, hands on in one report what it counted in several
//! slots. In the slot of its arrival these counts are no speed of the hand. Such a report
//! - comes after [`EMPTY`] slots and more without one, or is the first of its swipe, and
//! - holds [`OWN`] times what the motion on either side of it makes in a slot, and [`DUE`] counts more;
//!
//! or is one of the [`RUNNING`] reports from there on of which the last does, or of those of which a start or a silence is known to have
//! come in. (Added after starts that came late in two reports, the smaller part first, had been told as clean up to 14 m/s; then after
//! some in five, up to 12.)
//!
//! Motion beside it is taken over [`BESIDE`] and two reports at least, of both sides the faster. Where the device moved by
//! [`DUE`] counts a slot before, it had counted since then, as it had where a start is known to come late; else the hand may have
//! rested, and its own slot alone tells nothing. What silences at speed have found ([`crate::silence`]) is among these, and what they
//! leave to wake-up, or into the stop. Judges nothing: it only says where counts tell no speed. Cost: O(reports).

use crate::series::DUE;
use crate::silence::{LEAST_SLOTS, OWN};

/// Half a slot: of a report that is less late than that, its own slot's share of what it holds is the larger.
const EMPTY: f64 = 0.5;
/// Nanoseconds. Where reports come faster than every millisecond, frames that beat against them make single ones uneven.
const BESIDE: f64 = 2e6;

/// Reports in which what was held up comes: two, where the first is sent as the device wakes, and one more.
const RUNNING: usize = 3;

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
    /// True if the swipe begins with it, so that it carries what was moved before the swipe's first slot.
    pub(super) from_rest: bool,
}

/// The reports of a swipe that carry counts of slots before theirs; `slot` is the report interval, nanoseconds; `known`: the first and
/// the last report of starts and silences that did.
pub(super) fn find(reports: &[Report], known: &[(i64, i64)], slot: f64) -> Vec<Late> {
    let beside = ((BESIDE / slot.max(1.0)).ceil() as usize).clamp(2, 64);
    let mut found = Vec::new();
    let mut row = 0;
    while let Some((at, _)) = reports.get(row) {
        let before = row.checked_sub(1).and_then(|before| reports.get(before)).map(|r| r.0);
        let empty = before.map_or(f64::INFINITY, |before| at.saturating_sub(before) as f64 / slot - 1.0);
        if empty < EMPTY {
            row += 1;
            continue;
        }
        let earlier = before.map_or(&[][..], |_| &reports[row.saturating_sub(beside + 1)..row]);
        let moving = per_slot(earlier, slot);
        // The motion after a run of reports, and what the run holds beside its own slots'.
        let run = |last: usize| {
            let (end, counts) = *reports.get(last)?;
            let later = reports.get(last..reports.len().min(last + 1 + beside)).unwrap_or_default();
            let own = moving.max(per_slot(later, slot));
            let more = reports[row..=last].iter().map(|r| r.1 - own).sum::<f64>();
            (counts > OWN * own && counts - own >= DUE as f64 && more > 0.0).then_some((last, end, more))
        };
        let until =
            known.iter().filter(|(from, until)| (from..=until).contains(&at)).map(|(_, until)| *until).max();
        let to = until.map_or(0, |until| reports.partition_point(|r| r.0 <= until));
        let Some((last, end, counts)) = (row..to.max(row + RUNNING)).rev().find_map(run) else {
            row += 1;
            continue;
        };
        let counted_since = before.filter(|_| moving >= DUE as f64);
        found.push(Late {
            begin: counted_since
                .or(before.filter(|_| until.is_some()))
                .unwrap_or(at.saturating_sub(slot as i64)),
            end,
            counts,
            ends_silence: counted_since.is_some() && empty >= LEAST_SLOTS - 0.5,
            from_rest: before.is_none(),
        });
        row = last + 1;
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
        assert_eq!(find(&steady, &[], 1e6), []);
        // Silent for six slots, then all of it; nothing comes after.
        let mut held = steady.clone();
        held.truncate(10);
        held.push((16 * MS, 350.0));
        let late = |to: i64, counts, ends_silence| Late {
            begin: 9 * MS,
            end: to * MS,
            counts,
            ends_silence,
            from_rest: false,
        };
        assert_eq!(find(&held, &[], 1e6), [late(16, 300.0, true)]);
        // Reports that were lost, and one that a host read late.
        let lost: Vec<Report> = steady.iter().copied().filter(|r| !(10..16).contains(&(r.0 / MS))).collect();
        assert_eq!(find(&lost, &[], 1e6), []);
        let mut read_late = steady.clone();
        read_late[10].0 += MS * 7 / 10;
        assert_eq!(find(&read_late, &[], 1e6), []);
        // One report missing, its counts in the next.
        let mut once = steady;
        once.remove(10);
        once[10].1 = 100.0;
        let [only] = find(&once, &[], 1e6)[..] else { panic!("one such report") };
        assert_eq!((only.begin, only.end, only.ends_silence), (9 * MS, 11 * MS, false));
    }

    /// A start that came late in two reports, with 3 of 2 ms before the first; a sound one; and one in one report.
    #[test]
    fn a_start_that_comes_late_in_two_reports_is_late_in_both() {
        let of = |counts: &[f64]| -> Vec<Report> {
            counts.iter().enumerate().map(|(i, c)| (i as i64 * 2 * MS, *c)).collect()
        };
        let rest = [132.0, 137.0, 142.0, 148.0, 153.0];
        let [late] = find(&of(&[&[373.0, 867.0], &rest[..]].concat()), &[], 2e6)[..] else {
            panic!("one lump")
        };
        // (132 + 137)/2 counts of each are its own slot's.
        assert_eq!((late.begin, late.end, late.from_rest), (-2 * MS, 2 * MS, true));
        assert!((late.counts - (373.0 + 867.0 - 2.0 * 134.5)).abs() < 1e-9, "{}", late.counts);
        let [late] = find(&of(&[&[867.0], &rest[..]].concat()), &[], 2e6)[..] else { panic!("one lump") };
        assert_eq!((late.end, late.counts), (0, 867.0 - 134.5));
        // In five, as a start is known to have come.
        let five = of(&[&[150.0, 600.0, 600.0, 600.0, 400.0], &rest[..]].concat());
        let [late] = find(&five, &[(0, 8 * MS)], 2e6)[..] else { panic!("one lump") };
        assert_eq!((late.end, late.counts), (8 * MS, 2350.0 - 5.0 * 134.5));
        assert_eq!(find(&of(&[2.0, 9.0, 18.0, 31.0, 47.0, 65.0]), &[], 2e6), []);
        assert_eq!(find(&of(&rest), &[], 2e6), []);
    }

    #[test]
    fn odd_rows_are_no_panic() {
        for rows in
            [vec![], vec![(0, 1.0)], vec![(5, 1.0), (5, 9.0)], vec![(i64::MIN, 1.0), (i64::MAX, 1e300)]]
        {
            let _ = (find(&rows, &[], 0.0), find(&rows, &[], 1e6));
        }
    }
}
