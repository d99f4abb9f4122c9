//! Reports that hold what several were to hold: a radio link that sends again now and then hands on two reports in one.
//!
//! Such a report comes after the empty slots of those it holds, and holds no more than a ceiling for each of them. So the
//! ceiling of a device behind such a link is the top value of its other reports, if those hold no more than that. (Added
//! after sessions had been seen to pass in which thousands of reports held 44 counts, and 33 the double.)

use super::Axis;
use crate::series::{Sample, Series};
use crate::swipes::Swipe;

/// Intervals beyond those due from which on a slot was empty: half-way between one and none.
const EMPTY: f64 = 0.5;

/// The largest magnitudes of single reports in the phases of some swipes, negative and positive; `None` if a report after
/// empty slots holds more than these allow.
pub(super) fn top_of_one(swipes: &[(&Series, &Swipe)], axis: Axis, slot: f64) -> Option<(i32, i32)> {
    let mut phases: Vec<&Series> = swipes.iter().map(|(series, _)| *series).collect();
    phases.dedup_by(|a, b| std::ptr::eq(*a, *b));
    let samples: Vec<&[Sample]> = phases.iter().map(|series| series.samples.as_slice()).collect();
    top_of(&samples, axis, slot)
}

fn top_of(phases: &[&[Sample]], axis: Axis, slot: f64) -> Option<(i32, i32)> {
    let (mut low, mut high) = (0, 0);
    // Slots of the reports that hold several, and their counts.
    let mut merged: Vec<(f64, i32)> = Vec::new();
    for samples in phases {
        for (row, s) in samples.iter().enumerate() {
            let counts = axis.of(s);
            match slots(samples, row, slot) {
                Some(slots) => merged.push((slots, counts)),
                None if counts < 0 => low = low.max(counts.saturating_abs()),
                None => high = high.max(counts),
            }
        }
    }
    let holds =
        |(slots, counts): (f64, i32)| f64::from(counts.saturating_abs()) <= slots * f64::from(low.max(high));
    merged.into_iter().all(holds).then_some((low, high))
}

/// Slots up to a report that follows empty ones; `None` if none was. One that was late itself hides the slot after it.
fn slots(samples: &[Sample], row: usize, slot: f64) -> Option<f64> {
    let since = |row: usize| {
        let before = samples.get(row.checked_sub(1)?)?;
        Some(samples.get(row)?.t.saturating_sub(before.t) as f64 / slot)
    };
    let empty = |slots: &f64| *slots >= 1.0 + EMPTY;
    let own = since(row)?;
    let late = || since(row - 1).filter(|late| !empty(late)).map(|late| own + late - 1.0);
    Some(own).filter(empty).or_else(|| late().filter(empty)).map(f64::round)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reports of 1 ms, each with the slots since the one before.
    fn reports(all: &[(i32, f64)]) -> Vec<Sample> {
        let mut t = 0.0;
        let one = |&(x, slots): &(i32, f64)| {
            t += slots * 1e6;
            Sample { t: t as i64, x, y: 0, timed: true, idle_before: 0 }
        };
        all.iter().map(one).collect()
    }

    fn top(all: &[(i32, f64)]) -> Option<(i32, i32)> {
        top_of(&[&reports(all)], Axis::X, 1e6)
    }

    #[test]
    fn a_report_after_an_empty_slot_may_hold_two() {
        assert_eq!(top(&[(44, 1.0), (44, 1.0), (88, 2.0), (-43, 1.0)]), Some((43, 44)));
        assert_eq!(top(&[(44, 1.0), (44, 1.4), (88, 1.4), (44, 1.0)]), Some((0, 44)));
    }

    #[test]
    fn one_that_came_in_its_slot_or_holds_more_than_two_may_not() {
        assert_eq!(top(&[(44, 1.0), (44, 1.0), (88, 1.1), (44, 1.0)]), Some((0, 88)));
        assert_eq!(top(&[(44, 1.0), (44, 1.0), (90, 2.0), (44, 1.0)]), None);
    }
}
