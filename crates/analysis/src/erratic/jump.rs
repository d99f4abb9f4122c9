//! Stretches that begin with a change that no arm makes: false motion and thin counts.

use super::cells::Search;
use super::{ARM_SPEED, Stretch, Wrong, arc};
use crate::series::DUE;

/// Both ends of a window and both of the reports before it are rounded to a count each.
const ROUNDING: f64 = 2.5;
/// Scatter of a report's counts beside rounding: data sheets give 1 % typical; five standard deviations of 2 %, and of
/// v₀ on top.
const NOISE: f64 = 0.15;
/// Time from which v₀ is taken, nanoseconds; one cell to [`MOST_BEFORE`].
const BEFORE: f64 = 4e6;
const MOST_BEFORE: usize = 4;
/// Windows that are looked at, in cells.
const WINDOWS: [usize; 7] = [1, 2, 3, 4, 6, 8, 12];
/// Motion runs in a direction again if what lies across it is less than this share (14 degrees).
const ACROSS: f64 = 0.25;
/// Thin counts: at most this share of what was due.
const THIN: f64 = 0.67;

impl Search<'_> {
    /// Mean counts per cell before one, with the number of cells.
    fn before(&self, cell: usize) -> Option<((f64, f64), usize)> {
        let most = ((BEFORE / self.width) as usize).clamp(1, MOST_BEFORE);
        // The first cell of a swipe may hold what a long silence did: it tells no velocity.
        let from = cell.saturating_sub(most).max(self.since.min(cell)).max(1);
        // The cell at `from` needs nothing before it.
        let from = (from + 1..=cell).rev().find(|&c| !self.cells[c].contiguous).unwrap_or(from);
        let n = cell.saturating_sub(from);
        if n == 0 || !self.cells[cell].contiguous || !self.cells[from].whole {
            return None;
        }
        let (along, across) = self.paced(from..cell);
        let mean = (along / n as f64, across / n as f64);
        (mean.0 >= DUE as f64).then_some((mean, n))
    }

    fn bound(&self, arm: f64, speed: f64, w: usize, f: usize) -> f64 {
        let (w, f) = (w as f64, f as f64);
        let beat = self.beat * speed * (1.0 + w / f);
        ROUNDING + NOISE * speed * w.sqrt() + arm * w * (w + f) / 2.0 + beat
    }

    /// A stretch that begins at this cell.
    pub(super) fn at(&self, cell: usize) -> Option<Stretch> {
        let (v, f) = self.before(cell)?;
        let speed = v.0.hypot(v.1);
        let to = |c: (f64, f64)| arc::turned(c, v);
        let mut onset: Option<(Wrong, usize, f64, f64)> = None;
        for w in WINDOWS {
            let end = cell + w;
            if end > self.inner.end || (cell + 1..end).any(|c| !self.cells[c].contiguous) {
                break;
            }
            let (along, across) = to(self.sum(cell..end));
            let due = speed * w as f64;
            let [bound, by_hand] = [self.arm, self.hand].map(|arm| self.bound(arm, speed, w, f));
            let per_ms = along.hypot(across) / self.counts_per_mm / (w as f64 * self.width * 1e-6);
            let wrong = if along < 0.0 && due - along > bound {
                Wrong::Reversal
            } else if across.abs() > bound && across.abs() > ACROSS * due {
                Wrong::Sideways
            } else if per_ms > ARM_SPEED && w >= 2 && along - due > bound {
                Wrong::BeyondAnArm
            } else if due - along > by_hand && along < THIN * due {
                Wrong::Thin
            } else {
                continue;
            };
            // The first cell of false motion is partly right, and looks thin by itself.
            if onset.is_none_or(|(was, ..)| was == Wrong::Thin && wrong != Wrong::Thin) {
                onset = Some((wrong, w, (due - along).hypot(across) / w as f64, along / w as f64));
            }
            if wrong != Wrong::Thin {
                break;
            }
        }
        let (wrong, w, jump, level) = onset?;
        // The first cells of a wide window may still be right.
        let right = |c: usize| {
            let (along, across) = to(self.cells[c].counts);
            (along - speed).abs() <= ROUNDING + NOISE * speed && across.abs() <= ROUNDING
        };
        let start = (cell..cell + w - 1).find(|&c| !right(c)).unwrap_or(cell + w - 1);
        let (stop, recovered) = self.stop(start, cell + w, wrong, v, level);
        let counts = self.sum(start..stop);
        // Each in the local direction: on an arc this turns on the way.
        let turning = self.turning(start, speed);
        let local = |c: usize| arc::along(self.cells[c].counts, v, turning.within(self.seconds(start, c)));
        let bulk = (start..stop).map(local).fold((0.0, 0.0), |a, c| (a.0 + c.0, a.1 + c.1));
        let wrong = match wrong {
            Wrong::BeyondAnArm => wrong,
            _ if bulk.0 < 0.0 => Wrong::Reversal,
            _ if bulk.1.abs() > ACROSS * bulk.0 && bulk.1.abs() > ROUNDING => Wrong::Sideways,
            other => other,
        };
        let (first, last) = (&self.cells[start].rows, &self.cells[stop - 1].rows);
        Some(Stretch {
            wrong,
            rows: self.first + first.start..self.first + last.end,
            begin: self.samples[first.start.saturating_sub(1)].t,
            end: self.samples[last.end - 1].t,
            jump_m_s: jump / self.counts_per_mm / (self.width * 1e-6),
            within_s: w as f64 * self.width * 1e-9,
            counts,
            recovered,
        })
    }

    /// First cell after the stretch, and whether the motion came back. The onset stood out up to `seen`.
    fn stop(&self, start: usize, seen: usize, wrong: Wrong, v: (f64, f64), level: f64) -> (usize, bool) {
        let speed = v.0.hypot(v.1);
        let n = self.cells.len();
        let turning = self.turning(start, speed);
        // False motion that stands out over a window may look right cell by cell.
        for row in (start + 1).max(if wrong == Wrong::Thin { seen } else { start + 1 })..n {
            let to = (row + 3).min(n);
            let count = (to - row) as f64;
            let turn = turning.within(self.seconds(start, row));
            let (along, across) = arc::along(self.sum(row..to), v, turn);
            let (along, across) = (along / count, across / count);
            let forward = along > 0.0 && across.abs() <= (ACROSS * along).max(ROUNDING / count);
            let back = match wrong {
                Wrong::Thin => {
                    forward
                        && along - level
                            > (self.bound(self.hand, level.max(0.0), 1, 1)).max(0.3 * (speed - level))
                }
                Wrong::BeyondAnArm => forward && along < 1.5 * speed,
                _ => forward,
            };
            // The window begins with the first report that is right itself.
            let (own, apart) = arc::along(self.cells[row].counts, v, turn);
            if back && own > 0.5 * along && apart.abs() <= (2.0 * ACROSS * own).max(ROUNDING) {
                return (row, true);
            }
        }
        (n, false)
    }
}
