//! Runs at one level that hide a peak, in one swipe.

use super::{TOPS, Top};
use crate::erratic::{HIDDEN, hidden_rise};
use crate::series::Sample;
use std::ops::Range;

/// Reports further apart than this many intervals do not belong to one run.
const CONTIGUOUS: f64 = 1.9;

/// Counts of the peak that the longest run at the top hides; `None` if there is no run, or it hides none and does not lie at
/// the field's own limit.
pub(super) fn at_top(samples: &[Sample], top: Top, at_field: bool, slot: f64) -> Option<f64> {
    let run = run(samples, slot, |s| top.depth(s) == 0)?;
    let (rise, level) = rise(samples, top, &run);
    // Two thirds of the rise, over its length: the area under a parabola.
    let hidden = rise.max(0.0) * run.len() as f64 * 2.0 / 3.0;
    (at_field || hides(rise, level)).then_some(hidden)
}

/// True if a swipe that does not reach the top holds a level below it, over a hidden peak, as long as a clip would.
pub(super) fn below_top(samples: &[Sample], top: Top, slot: f64) -> bool {
    let own = samples.iter().map(|s| top.depth(s)).min().unwrap_or(0);
    if own == 0 || top.value().saturating_sub(own) < top.least() {
        return false;
    }
    run(samples, slot, |s| top.depth(s) == own).is_some_and(|run| {
        let (rise, level) = rise(samples, top, &run);
        hides(rise, level)
    })
}

fn hides(rise: f64, level: f64) -> bool {
    rise > HIDDEN.0.max(HIDDEN.1 * level)
}

/// By how much a peak with the shoulders of a run would rise above it, and its level.
fn rise(samples: &[Sample], top: Top, run: &Range<usize>) -> (f64, f64) {
    let counts: Vec<f64> = samples.iter().map(|s| f64::from(top.axis.of(s).saturating_abs())).collect();
    let smooth = smooth(&counts, run);
    (hidden_rise(&smooth, run), smooth.get(run.start).copied().unwrap_or(0.0))
}

/// The longest run of reports at a level.
fn run(samples: &[Sample], slot: f64, at_level: impl Fn(&Sample) -> bool) -> Option<Range<usize>> {
    let mut best = (0..0, 0);
    let mut now: Option<(Range<usize>, usize)> = None;
    for (row, s) in samples.iter().enumerate() {
        let apart = row > 0 && (s.t - samples[row - 1].t) as f64 >= CONTIGUOUS * slot;
        if apart {
            now = None;
        }
        if !at_level(s) {
            continue;
        }
        let (range, held) = match now.take() {
            Some((range, held)) if row - range.end <= 1 => (range.start..row + 1, held + 1),
            _ => (row..row + 1, 1),
        };
        if held > best.1 {
            best = (range.clone(), held);
        }
        now = Some((range, held));
    }
    (best.1 >= TOPS).then_some(best.0)
}

/// Counts with the run at its own mean and all else averaged over three reports, so that frames that beat against
/// reports make no shoulder.
fn smooth(counts: &[f64], run: &Range<usize>) -> Vec<f64> {
    let level = counts[run.clone()].iter().sum::<f64>() / run.len().max(1) as f64;
    let mean = |row: usize| {
        let near = &counts[row.saturating_sub(1)..(row + 2).min(counts.len())];
        near.iter().sum::<f64>() / near.len() as f64
    };
    (0..counts.len()).map(|row| if run.contains(&row) { level } else { mean(row) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clip::tests::samples;

    #[test]
    fn a_run_may_miss_every_other_report_and_no_more() {
        let found = |x: &[i32]| run(&samples(x), 1e6, |s| s.x == 30);
        assert_eq!(found(&[10, 30, 30, 30, 10]), Some(1..4));
        assert_eq!(found(&[10, 30, 26, 30, 26, 30, 10]), Some(1..6));
        assert_eq!(found(&[10, 30, 26, 26, 30, 26, 26, 30]), None);
        assert_eq!(found(&[30, 30, 10]), None);
    }
}
