//! The step in which the counts of an axis come.
//!
//! A device that is set finer than its sensor counts hands on each count of the sensor as 2, 4 or 8. What does not make up
//! a step yet is kept and comes later: nothing is lost, but how fine a path is told is a matter of steps and no longer of
//! counts. A step is a whole number here; interpolation by 2.5 has none. Owns no judgement. Cost: O(reports).

use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;

/// Largest step that is looked for: the finest setting on sale over the coarsest sensor in it (common practice, no source).
const LARGEST: i32 = 16;
/// Fewer reports do not tell: of so many that are counted singly all are even by chance once in a million times.
const LEAST: usize = 20;
/// This share of the reports that move an axis must be multiples: the others may be false motion, or at the edge of a field.
/// Of those that are counted singly half are even.
const SHARE: f64 = 0.95;

/// Share of the counts of both axes that are a single step, at least: a hand moves within a hundredth of its peak, and aside, for longer.
const SINGLE: f64 = 0.01;
/// Reports that move, of which the first so many tell: two swipes at 8 kHz, and more than a session's at 125 Hz.
const ENOUGH: usize = 1 << 14;

/// Largest number that nearly all counts are multiples of; 1 where there is none or too few counts tell.
pub fn of(counts: impl Iterator<Item = i32>) -> i32 {
    let (mut all, mut multiples) = (0usize, [0usize; LARGEST as usize + 1]);
    for count in counts.filter(|count| *count != 0) {
        all += 1;
        (0..).zip(&mut multiples).skip(2).for_each(|(by, n)| *n += usize::from(count % by == 0));
    }
    let nearly_all = |n: usize| all >= LEAST && n as f64 >= SHARE * all as f64;
    (2..=LARGEST).rev().find(|&by| nearly_all(multiples[by as usize])).unwrap_or(1)
}

/// The same of what a device told in some spans of time, on both axes; 1 where single steps are not among it, as they are wherever a hand
/// sets out or comes to rest: reports that are all alike show no step.
pub fn in_spans(trace: &DeviceTrace, spans: &[(Nanos, Nanos)]) -> i64 {
    let motion = &trace.motion;
    let rows = spans.iter().flat_map(|&(begin, end)| motion.rows(begin, end));
    let moves = rows.filter(|&row| trace.has_motion(row) && (motion.x[row], motion.y[row]) != (0, 0));
    let counts: Vec<i32> = moves.take(ENOUGH).flat_map(|row| [motion.x[row], motion.y[row]]).collect();
    let step = of(counts.iter().copied());
    let single = counts.iter().filter(|count| count.unsigned_abs() == step.unsigned_abs()).count();
    if single as f64 >= SINGLE * counts.len() as f64 { i64::from(step) } else { 1 }
}

#[cfg(test)]
mod tests {
    use super::of;

    #[test]
    fn the_step_is_that_of_all_counts_but_a_few() {
        let times = |by: i32| (-50..50).map(move |i| by * i);
        for by in [1, 2, 3, 4, 8, 16] {
            assert_eq!(of(times(by)), by);
        }
        assert_eq!(of(times(4).chain([127, -127, 1])), 4);
        assert_eq!(of(times(4).chain([127; 10])), 1);
        // Single steps only.
        assert_eq!(of([0, 4, -4].into_iter().cycle().take(90)), 4);
        // Too few; interpolated by 2.5.
        assert_eq!(of([4; 19].into_iter()), 1);
        assert_eq!(of([2, 3, 5, 7, 8, 10].into_iter().cycle().take(90)), 1);
        assert_eq!(of([i32::MIN; 30].into_iter()), 16);
    }
}
