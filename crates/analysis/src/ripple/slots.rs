//! Counts of a swipe in every report slot, and what they are beside the smooth speed.
//!
//! Numbered by report, not by stamp: what a report holds does not depend on when the host read it. A slot without a
//! report is one of no counts, as long as there are at most [`HOLE`] of them in a row; a longer silence, and a stamp that no
//! whole number of slots explains, breaks the row.

use crate::expected;
use crate::series::{Frame, Series};
use crate::swipes::Swipe;

/// Slots without a report that a slow swipe may have in a row.
const HOLE: f64 = 4.0;
/// A stamp further than this share of a slot from its number's time breaks the row. Waiting in a queue shifts it by one.
const BREAK: f64 = 1.5;
/// Share of a stamp's lateness by which the running clock follows it: an average over some ten stamps.
const FOLLOW: f64 = 0.1;
/// Only the part of a swipe that is faster than this share of its peak: slower, rounding is most of what there is.
const FAST_PART: f64 = 0.5;

/// The fast part of a swipe.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// Counted over smooth speed, less one, slot by slot.
    pub relative: Vec<f64>,
    /// Mean of the smooth speed, counts per slot.
    pub counts: f64,
}

/// The longest unbroken fast part of a swipe, `slot` nanoseconds each; `None` without one.
pub fn fast_part(series: &Series, frame: Frame, swipe: &Swipe, slot: f64) -> Option<Part> {
    let rows = rows(series, frame, swipe, slot);
    let parts = rows.iter().filter_map(|row| part(row, slot * 1e-9));
    parts.max_by_key(|p| p.relative.len())
}

fn rows(series: &Series, frame: Frame, swipe: &Swipe, slot: f64) -> Vec<Vec<f64>> {
    let mut rows: Vec<Vec<f64>> = Vec::new();
    let mut clock: Option<f64> = None;
    for s in series.samples.get(swipe.rows.clone()).unwrap_or_default() {
        let (t, along) = (s.t as f64, swipe.sign() * frame.of(s).0);
        let least = 1.0 + f64::from(s.idle_before);
        let ahead = clock.map(|clock| {
            let steps = if s.timed { ((t - clock) / slot).round().max(least) } else { least };
            (steps, t - clock - steps * slot)
        });
        match (ahead, rows.last_mut(), clock.as_mut()) {
            (Some((steps, off)), Some(row), Some(clock))
                if steps <= HOLE + 1.0 && off.abs() <= BREAK * slot =>
            {
                row.extend(std::iter::repeat_n(0.0, steps as usize - 1));
                row.push(along);
                *clock += steps * slot + if s.timed { FOLLOW * off } else { 0.0 };
            }
            _ => {
                rows.push(vec![along]);
                clock = Some(t);
            }
        }
    }
    rows
}

/// At the ends of a row the smoother has one side only, and a hard stop leaves a spike: three of its time constants,
/// 1/(2π 40 Hz) each, are left out, in seconds.
const EDGE: f64 = 0.012;

/// The longest stretch of a row at more than [`FAST_PART`] of its highest smooth speed.
fn part(row: &[f64], slot_s: f64) -> Option<Part> {
    let smooth = expected::speed(row, &vec![true; row.len()], slot_s, None, false);
    let smooth: Vec<f64> = smooth.into_iter().map(|v| v * slot_s).collect();
    let peak = smooth.iter().copied().fold(0.0, f64::max);
    if !peak.is_finite() || peak <= 0.0 {
        return None;
    }
    let (mut longest, mut begin) = (0..0, 0);
    let edge = (EDGE / slot_s).ceil() as usize;
    let inner = edge..smooth.len().saturating_sub(edge);
    for i in 0..=smooth.len() {
        if inner.contains(&i) && smooth.get(i).is_some_and(|v| *v >= FAST_PART * peak) {
            continue;
        }
        if i - begin > longest.len() {
            longest = begin..i;
        }
        begin = i + 1;
    }
    let relative: Vec<f64> =
        row[longest.clone()].iter().zip(&smooth[longest.clone()]).map(|(c, v)| c / v - 1.0).collect();
    let counts = crate::stats::mean(&smooth[longest])?;
    relative.iter().all(|r| r.is_finite()).then_some(Part { relative, counts })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Sample;
    use crate::swipes::tests::of_rows;
    use crate::verdict::Direction;

    fn swipe(rows: usize) -> Swipe {
        of_rows(Direction::Out, 0..rows)
    }

    fn series(points: &[(i64, i32)]) -> Series {
        let sample = |&(t, x): &(i64, i32)| Sample { t, x, y: 0, timed: true, idle_before: 0 };
        Series { samples: points.iter().map(sample).collect(), reports: points.len(), ..Series::default() }
    }

    const FRAME: Frame = Frame { cos: 1.0, sin: 0.0 };

    #[test]
    fn a_slot_without_a_report_holds_no_counts_and_a_long_silence_breaks_the_row() {
        let ms = 1_000_000;
        // Late by 0.2 ms, two slots left out, then ten.
        let points = [(0, 5), (ms + 200_000, 6), (2 * ms, 7), (5 * ms, 8), (15 * ms, 9), (16 * ms, 10)];
        let got = rows(&series(&points), FRAME, &swipe(6), 1e6);
        assert_eq!(got, [vec![5.0, 6.0, 7.0, 0.0, 0.0, 8.0], vec![9.0, 10.0]]);
    }

    /// A clock 0.1 % slow drifts by two slots in 2000 reports; the numbering follows it.
    #[test]
    fn a_clock_that_is_a_little_off_leaves_no_hole() {
        let points: Vec<(i64, i32)> = (0..2000).map(|i| (i * 1_001_000, 20)).collect();
        let got = rows(&series(&points), FRAME, &swipe(2000), 1e6);
        assert_eq!((got.len(), got[0].len()), (1, 2000));
        let part = fast_part(&series(&points), FRAME, &swipe(2000), 1e6).unwrap();
        assert!((part.counts - 20.0).abs() < 1e-6 && part.relative.iter().all(|r| r.abs() < 1e-6));
    }

    #[test]
    fn hostile_rows_have_no_part_and_no_panic() {
        let far = [(i64::MIN, i32::MAX), (i64::MAX, i32::MIN), (0, 1), (0, 1)];
        for slot in [1e-300, 1.0, 1e6, f64::INFINITY, f64::NAN] {
            let _ = fast_part(&series(&far), FRAME, &swipe(4), slot);
            assert!(fast_part(&series(&far), FRAME, &swipe(9), slot).is_none(), "rows past the end");
        }
        assert!(fast_part(&series(&[]), FRAME, &swipe(0), 1e6).is_none());
        assert!(fast_part(&series(&[(0, -5), (1, -5)]), FRAME, &swipe(2), 1e6).is_none());
    }
}
