//! False motion as the hand sets out, which ends in a leap.
//!
//! A sensor that loses track by acceleration does so in the first millimetres, where a device may twist in the hand and a hand may draw
//! back before it goes: a turn there is none by itself. But when the sensor sees again the hand is under way, and from one cell to the next
//! the counts leap forward as no arm does (the bound of [`crate::erratic`]). So motion back within [`super::START_MM`], by a millimetre and
//! more, that runs up to such a leap is a *reversal*, in a swipe that is short by as much and that no operator explains.
//! (Added after sensors that ran backwards for 20 to 50 ms of nearly every fast swipe had been told to lose counts in a way that does
//! not show.) Smallest found, by that bound: 1 mm back and a leap of 0.15 m/s for each millisecond of a cell, and 2.5 counts. Cost:
//! O(reports).

use super::{DUE, LEAST_MM, Look, START_MM};
use crate::erratic::{Stretch, Wrong};

impl Look<'_> {
    /// The stretch up to the first leap of a swipe that still lies near to its begin.
    pub(super) fn setting_out(&self) -> Option<Stretch> {
        let n = self.counts.len();
        let lacks = self.swipe.one_travel - self.swipe.along;
        let rows = self.each + 1..n.saturating_sub(self.each);
        let leaps = |row: &usize| {
            let (before, after) = (self.sum(row - self.each..*row).0, self.sum(*row..row + self.each).0);
            let bound = self.bound(before.abs(), 1.0, 1.0);
            // A report between them may hold a part of either.
            after >= DUE as f64 && after - before > bound && self.sum(row + 1..row + 1 + self.each).0 > bound
        };
        let near = |row: &usize| self.places[*row] < START_MM * self.per_mm;
        let leap = rows.take_while(near).filter(|row| self.follows(*row)).find(leaps)?;
        let top =
            (0..leap).fold(0, |best, row| if self.places[row] > self.places[best] { row } else { best });
        let back = self.places[top] - self.places[leap];
        let whole = (top + 1..leap).all(|row| self.follows(row));
        if back < LEAST_MM * self.per_mm || lacks < back || !whole {
            return None;
        }
        let jump = self.sum(leap..leap + self.each).0 - self.sum(leap - self.each..leap).0;
        Some(Stretch {
            wrong: Wrong::Reversal,
            rows: self.swipe.rows.start + top..self.swipe.rows.start + leap,
            begin: self.samples[top.saturating_sub(1)].t,
            end: self.samples[leap - 1].t,
            jump_m_s: jump / self.per_mm / (1e3 * self.width_s()),
            within_s: self.width_s(),
            counts: self.sum(top..leap),
            recovered: true,
        })
    }
}
