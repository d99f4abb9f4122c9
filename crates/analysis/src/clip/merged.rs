//! Reports that hold what several were to hold: a radio link that sends again now and then hands on two reports in one.
//!
//! Such a report comes after the empty slots of those it holds, and holds no more than a ceiling for each of them. So the
//! ceiling of a device behind such a link is the top value of its other reports, if those hold no more than that. (Added
//! after sessions had been seen to pass in which thousands of reports held 44 counts, and 33 the double.)
//!
//! A device whose own clock is a little faster than the polls hands on two in one as well, and leaves no slot empty; so
//! does a report that waits for less than half a slot. Then the value that is held [again and again](top_of_most), beyond
//! which a few reports lie, none of more than one ceiling beyond its slots and no two in a row that left none empty, is
//! looked at as well. (Added after a device had passed that sent 108 counts for up to 270 ms, and 216 once in 0.7 to 5 s.)

use super::Axis;
use crate::series::{Sample, Series};
use crate::swipes::Swipe;
use std::collections::BTreeMap;
use std::ops::Range;

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

/// Reports at a level that make those beyond it exceptions: so many for each of them. A hand that peaks at another speed each time
/// leaves as many beyond a level as at it.
const FOR_EACH: usize = 10;

/// Reports at a ceiling for each that lies just beyond it, up to this share and a count further. (Added after frames that
/// beat against reports, which piled up at 84 counts and one in fourteen of them at 85, had been told as a ceiling.) Nor do
/// most of those beyond lie there.
const SHARP: usize = 100;
const NEAR: f64 = 0.03;

/// The largest magnitude of an axis that is held so often that what lies beyond are exceptions, if there are some and each of them
/// can be two in one.
pub(super) fn top_of_most(swipes: &[(&Series, &Swipe)], axis: Axis, slot: f64) -> Option<i32> {
    let swipes: Vec<(&[Sample], Range<usize>)> = swipes
        .iter()
        .map(|(series, swipe)| (series.samples.as_slice(), swipe.rows.clone()))
        .filter(|(samples, rows)| rows.end <= samples.len())
        .collect();
    most_of(&swipes, axis, slot)
}

/// Of some rows each.
fn most_of(swipes: &[(&[Sample], Range<usize>)], axis: Axis, slot: f64) -> Option<i32> {
    let counts = |s: &Sample| axis.of(s).saturating_abs();
    let mut held: BTreeMap<i32, usize> = BTreeMap::new();
    let all = swipes.iter().flat_map(|(samples, rows)| &samples[rows.clone()]);
    all.for_each(|s| *held.entry(counts(s)).or_default() += 1);
    let mut beyond = 0;
    let among_exceptions = held.iter().rev().filter(|(_, often)| {
        let found = beyond > 0 && **often >= FOR_EACH * beyond;
        beyond += **often;
        found
    });
    // Doubles of a ceiling are held often as well, where some of them are three in one.
    let (&level, &often) = among_exceptions.max_by_key(|(_, often)| **often)?;
    // A ceiling ends sharply; frames that beat against reports go on by a count or two.
    let just_beyond = level.saturating_add(1)..=level.saturating_add(1 + (NEAR * f64::from(level)) as i32);
    let near: usize = held.range(just_beyond).map(|(_, often)| often).sum();
    let all_beyond: usize = held.range(level.saturating_add(1)..).map(|(_, often)| often).sum();
    if near * SHARP > often || 2 * near > all_beyond {
        return None;
    }
    let more = |s: &Sample| counts(s) > level;
    let two_in_one = |(samples, rows): &(&[Sample], Range<usize>)| {
        // Slots of those beyond; 1 of one that left none empty, and after one of these there is nothing left to hand on.
        let beyond = |row: usize| more(&samples[row]).then(|| slots(samples, row, slot).unwrap_or(1.0));
        let holds =
            |row: usize, slots: f64| f64::from(counts(&samples[row])) <= (slots + 1.0) * f64::from(level);
        let in_slot = |row: usize| beyond(row) == Some(1.0);
        rows.clone().all(|row| {
            let again = row > rows.start && in_slot(row) && in_slot(row - 1);
            beyond(row).is_none_or(|slots| holds(row, slots)) && !again
        })
    };
    swipes.iter().all(two_in_one).then_some(level)
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

    #[test]
    fn a_level_with_a_few_beyond_it_is_a_top_if_these_can_be_two_in_one() {
        let held = |beyond: &[(i32, f64)]| {
            let mut all = vec![(44, 1.0); 40];
            all.splice(20..20, beyond.iter().copied());
            most_of(&[(&reports(&all), 0..all.len())], Axis::X, 1e6)
        };
        assert_eq!(held(&[(88, 1.0)]), Some(44));
        assert_eq!(held(&[(130, 2.0)]), Some(44));
        assert_eq!(held(&[]), None);
        assert_eq!(held(&[(90, 1.0)]), None, "more than two");
        assert_eq!(held(&[(60, 1.0), (60, 1.0)]), None, "two in a row");
        let hand: Vec<(i32, f64)> = (0..60).map(|i| (60 - (i - 30i32).abs(), 1.0)).collect();
        assert_eq!(most_of(&[(&reports(&hand), 0..60)], Axis::X, 1e6), None);
    }
}
