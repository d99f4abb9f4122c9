//! Motion in the swipe's direction that no hand made: counts that leap ahead on the way and fall back again.
//!
//! Asked only of swipes longer than one travel beyond placing ([`crate::shortfall`]): that they counted too much is sure, and
//! only where is asked. With the bound b of [`crate::erratic`], the counts of 1 to 4 cells exceed what the speed before them
//! leads to by more than b, and later fall by more than b below what they led to by then: a hand's speed may do neither. What
//! lies between, above the mean of the speeds before and after, must make up [`SHARE`] of the surplus; likewise what goes on up
//! to the stop from well before it, above the speed before. (Added after sensors that ran away at 5 m/s for
//! 15 ms in mid-swipe, and counts that were doubled for 150 ms, had been seen to be told as motion after the stop.)
//! Cost: O(reports of long swipes).

use super::{BEFORE_STOP, Look, START_MM, WINDOWS, turned};
use crate::clip::Clip;
use crate::erratic::{Bench, Stretch, Wrong};
use crate::host::HostSpans;
use crate::step::{PhaseView, SwipeView};
use std::ops::Range;

/// Of the surplus: the speed in between is known by its ends alone, a half of what a hand may do meanwhile.
const SHARE: (f64, f64) = (0.5, 1.5);

/// Adds them to long swipes in which nothing else is false, and takes back a ceiling that such motion came up to.
pub fn find(phases: &mut [PhaseView], bench: &Bench, host: &HostSpans) {
    for PhaseView { series, swipes, frame, .. } in phases {
        let Some(frame) = *frame else { continue };
        for view in swipes.iter_mut().filter(|s| s.swipe.surplus > 0.0) {
            let SwipeView { swipe, stretches, clip, .. } = view;
            if stretches.iter().any(|s| !s.wrong.is_loss()) {
                continue;
            }
            let Some(look) = Look::new(series, frame, swipe, bench) else { continue };
            let found = look.ahead();
            if found.is_empty() || found.iter().any(|s| host.explain(s.begin, s.end)) {
                continue;
            }
            let within = |clip: &Clip| found.iter().any(|s| covers(&s.rows, &clip.rows));
            if clip.as_ref().is_some_and(within) {
                *clip = None;
            }
            stretches.retain(|s| !found.iter().any(|f| s.begin <= f.end && f.begin <= s.end));
            stretches.extend(found);
            stretches.sort_by_key(|s| s.begin);
        }
    }
}

fn covers(rows: &Range<usize>, others: &Range<usize>) -> bool {
    rows.start <= others.start && others.end <= rows.end
}

impl Look<'_> {
    /// All of a swipe, if they make up its surplus.
    fn ahead(&self) -> Vec<Stretch> {
        let (mut found, mut excess, mut row) = (Vec::new(), 0.0, 0);
        while let Some((stretch, own)) = (row..self.counts.len()).find_map(|row| self.leap(row)) {
            row = stretch.rows.end - self.swipe.rows.start;
            excess += own;
            found.push(stretch);
        }
        let share = excess / self.swipe.surplus;
        if !(SHARE.0..=SHARE.1).contains(&share) {
            found.clear();
        }
        found
    }

    /// One that begins with this report, with the counts of it that are false.
    fn leap(&self, row: usize) -> Option<(Stretch, f64)> {
        if self.places[row] < START_MM * self.per_mm || !self.follows(row) {
            return None;
        }
        let (before, w, jump) = self.change(row, 1.0)?;
        let speed = before.0.hypot(before.1);
        let seen = row + w * self.each;
        let fall = (seen..self.counts.len()).find_map(|end| {
            let (_, w, _) = self.change(end, -1.0)?;
            Some((end, end + w * self.each))
        });
        // A change shows in some cells of which the first may be right: it lies half way.
        let level = self.mean(seen..fall.map_or(seen, |(falls, _)| falls).max(seen + 1))?;
        let cell = |row: usize| self.mean(row..row + self.each).unwrap_or(0.0);
        let row = (row..seen).find(|&row| 2.0 * cell(row) > speed + level)?;
        let (end, true_share) = match fall {
            Some((falls, fall)) => {
                let after = self.mean(fall..fall + 4 * self.each)?;
                let end = (falls..fall).find(|&end| 2.0 * cell(end) < level + after)?;
                (end, 0.5 * (speed + after) / self.mean(row..end)?)
            }
            None if self.places[row] < BEFORE_STOP * self.swipe.one_travel => {
                (self.counts.len(), speed / self.mean(row..seen + self.each)?)
            }
            None => return None,
        };
        let (along, _) = turned(self.sum(row..end), before);
        let excess = (1.0 - true_share) * along;
        let cell_s = self.width_s();
        let stretch = Stretch {
            wrong: Wrong::Ahead,
            rows: self.swipe.rows.start + row..self.swipe.rows.start + end,
            begin: self.samples[row - 1].t,
            end: self.samples[end - 1].t,
            jump_m_s: jump / self.per_mm / (1e3 * cell_s),
            within_s: w as f64 * cell_s,
            counts: self.sum(row..end),
            recovered: fall.is_some(),
        };
        (excess > 0.0 && end > row).then_some((stretch, excess))
    }

    /// Whether the speed rises (`sign` 1) or falls (-1) from this report on as no arm can make it: the velocity before, in
    /// how many cells it shows, and by how much a cell.
    fn change(&self, row: usize, sign: f64) -> Option<((f64, f64), usize, f64)> {
        let (v, f) = self.before(row).filter(|_| self.follows(row))?;
        let speed = v.0.hypot(v.1);
        WINDOWS.into_iter().find_map(|w| {
            let end = row + w * self.each;
            if end > self.counts.len() || (row + 1..end).any(|r| !self.follows(r)) {
                return None;
            }
            let (along, _) = turned(self.sum(row..end), v);
            let cells = w as f64;
            let by = sign * (along - speed * cells);
            let bound = self.bound(speed, cells, f) + self.beat * speed * (1.0 + cells / f);
            (by > bound).then_some((v, w, by / cells))
        })
    }

    /// Mean counts along of those of some reports that there are, a cell.
    pub(super) fn mean(&self, rows: Range<usize>) -> Option<f64> {
        let rows = rows.start..rows.end.min(self.counts.len());
        (!rows.is_empty()).then(|| self.sum(rows.clone()).0 * self.each as f64 / rows.len() as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::erratic::tests::SLOTS;
    use crate::false_motion::tests::{FRAME, bench, swipe};

    /// What is found, in shares of the swipe's time, and the share of the surplus that it explains.
    fn ahead(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> Vec<(f64, f64)> {
        let (series, swipe) = swipe(slot_ns, tell);
        assert!(swipe.surplus > 0.0, "{slot_ns}: a long swipe");
        let bench = bench(slot_ns);
        let look = Look::new(&series, FRAME, &swipe, &bench).unwrap();
        let share = |t: i64| (t - 1_000_000_000) as f64 / 200e6;
        look.ahead().iter().map(|s| (share(s.begin), share(s.end))).collect()
    }

    #[test]
    fn counts_that_leap_ahead_and_fall_back_are_found_where_they_do() {
        for slot in SLOTS.into_iter().filter(|slot| *slot <= 4_000_000) {
            let reach = 0.01 + 1.5 * slot as f64 / 200e6;
            let all = ahead(slot, |s, c| if (0.4..0.6).contains(&s) { (2.0 * c.0, c.1) } else { c });
            assert_eq!(all.len(), 1, "{slot}: {all:?}");
            assert!((all[0].0 - 0.4).abs() <= reach && (all[0].1 - 0.6).abs() <= reach, "{slot}: {all:?}");
        }
    }

    #[test]
    fn and_so_are_those_that_go_on_to_the_stop() {
        let all = ahead(1_000_000, |s, c| if s >= 0.35 { (2.0 * c.0, c.1) } else { c });
        assert!(all.len() == 1 && (all[0].0 - 0.35).abs() <= 0.02, "{all:?}");
    }

    #[test]
    fn a_gain_that_rises_with_speed_leaps_nowhere() {
        for slot in SLOTS {
            let peak = 2.8 * slot as f64 * 1e-6 * crate::erratic::tests::PER_MM;
            let all = ahead(slot, |_, c| (c.0 * (1.0 + 0.3 * c.0 / peak), c.1));
            assert!(all.is_empty(), "{slot}: {all:?}");
            // Nor does all of a swipe at once.
            assert!(ahead(slot, |_, c| (2.0 * c.0, c.1)).is_empty(), "{slot}");
        }
    }
}
