//! Motion that is repeated across a hidden peak.

use super::cells::Search;
use super::{Stretch, Wrong};
use crate::series::{CONTIGUOUS, Sample};
use std::ops::Range;

/// Equal reports in a row, and counts in each, from which a repeat may be told; see also [`hidden_rise`].
const REPEATS: (usize, f64) = (5, 8.0);
/// Counts, and share of the level, by which the hidden peak must rise above a level that is held.
pub const HIDDEN: (f64, f64) = (3.0, 0.02);

impl Search<'_> {
    /// Runs of equal reports that hide a peak.
    pub(super) fn repeats(&self) -> Vec<Stretch> {
        let mut found = Vec::new();
        let Some(inner) = self.cells.get(self.inner.clone()).filter(|c| !c.is_empty()) else { return found };
        let inner = inner[0].rows.start..inner[inner.len() - 1].rows.end;
        let size = |s: &Sample| f64::from(s.x).hypot(f64::from(s.y));
        let counts: Vec<f64> = self.samples.iter().map(size).collect();
        let mut begin = 0;
        for row in 1..=self.samples.len() {
            let pair = self.samples.get(row).zip(self.samples.get(row - 1));
            if pair.is_some_and(|(a, b)| {
                (a.x, a.y) == (b.x, b.y) && ((a.t - b.t) as f64) < CONTIGUOUS * self.slot
            }) {
                continue;
            }
            let run = begin..row;
            begin = row;
            let level = counts[run.start];
            let long_enough = run.len() >= REPEATS.0 && level >= REPEATS.1;
            if !long_enough || run.end > inner.end || run.start < inner.start {
                continue;
            }
            if hidden_rise(&counts, &run) <= HIDDEN.0.max(HIDDEN.1 * level) {
                continue;
            }
            found.push(Stretch {
                wrong: Wrong::Repeated,
                rows: self.first + run.start..self.first + run.end,
                begin: self.samples[run.start].t,
                end: self.samples[run.end - 1].t,
                jump_m_s: 0.0,
                within_s: 0.0,
                counts: (level * run.len() as f64, 0.0),
                recovered: run.end < self.samples.len(),
            });
        }
        found
    }
}

/// Counts by which a smooth peak with the shoulders of a run of reports at one level would rise above it: a parabola
/// that meets a level at slopes a and b over L reports rises (a + b)/2 · L/4 above it. A sound device's own peak rises
/// by its rounding. `counts` are magnitudes, one a report.
pub fn hidden_rise(counts: &[f64], run: &Range<usize>) -> f64 {
    let reach = (run.len() / 2).max(3);
    let level = counts[run.start];
    // A run that begins or ends with the swipe itself has the steepest shoulder there is.
    let slope = |row: usize, edge: usize| match row.abs_diff(edge) {
        0 => level,
        apart => (level - counts[row]) / apart as f64,
    };
    let (first, last) = (run.start, run.end - 1);
    let rise = slope(first.saturating_sub(reach), first);
    let fall = slope((last + reach).min(counts.len() - 1), last);
    0.5 * (rise + fall) * run.len() as f64 / 4.0
}
