//! Reports that a link delivers twice, a part of an interval apart.
//!
//! A report that comes *between*: the reports before and after it are one interval apart, and the one before came in time itself, so
//! that it has no grid time of its own. A host that is late makes the like where three reports are late by differing amounts, but what these hold is no more like
//! the one before than like the one after. So of those between that equal just one of the two, in both axes and to the count,
//!
//! ```text
//! P(as many equal the one before) = Binomial(n, 1/2)
//! ```
//!
//! is what chance gives, however few counts there are, and however even the hand. They are told if that is as rare as one step
//! may be failed, and if [`MOSTLY`] of all between repeat the report before; no travel is asked, so that it does not matter
//! whether every swipe has as many of them. Not seen: reports that were read together with the next, or on stamps coarser than
//! the interval.
//! (Added after a radio that delivered one report in ten twice, 0.4 intervals apart, in every swipe alike, had been seen to pass
//! with 8 % too much.) Cost: O(reports).

use super::spikes::{DOUBLED, MOSTLY, REPORTS, cause};
use crate::decision::FAIL_LEVEL;
use crate::erratic::LEAST_MM;
use crate::families::{Event, in_swipe, key, round};
use crate::series::{DUE, Sample};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Family, Finding};
use serde_json::json;
use statrs::distribution::{Binomial, DiscreteCDF};
use std::collections::BTreeSet;

/// Reports are one interval apart if no further from it than this share: half of what a report half way between is off by.
const IN_TIME: f64 = 0.25;
/// Of two neighbours the one is between beside which the others are nearer to one interval apart, by more than stamps scatter by
/// (common practice, no source), as a share of it: what comes sooner than that after the first tells nothing of which.
const NEARER: f64 = 0.05;

/// Reports between two others that are one interval apart.
#[derive(Clone, Debug, Default, PartialEq)]
struct Between {
    /// Those that repeat the report before, by row.
    again: Vec<usize>,
    /// All.
    all: usize,
    /// Those that repeat the one before alone, and the one after alone.
    alone: (u64, u64),
}

/// Reports of a step's swipes that came twice; but for swipes that are told already.
pub(super) fn of_step(step: &StepView, told: &BTreeSet<(u32, u32)>) -> Vec<Finding> {
    let (Some(scale), false) = (step.scale, step.coarse_clock()) else {
        return Vec::new();
    };
    let found: Vec<(&PhaseView, &SwipeView, Between)> = step
        .swipes()
        .filter(|(phase, view)| !told.contains(&key(phase, view)))
        .filter_map(|(phase, view)| Some((phase, view, between(samples(phase, view)?, step.slot()))))
        .collect();
    let all = || found.iter().map(|(.., b)| b);
    let repeat = all().map(|b| b.again.len()).sum::<usize>() as f64;
    if repeat < MOSTLY * all().map(|b| b.all).sum::<usize>() as f64 {
        return Vec::new();
    }
    let p = by_chance(all().map(|b| b.alone.0).sum(), all().map(|b| b.alone.1).sum());
    if p * f64::from(step.looks.max(1)) >= FAIL_LEVEL {
        return Vec::new();
    }
    let finding = |(phase, view, between): &(&PhaseView, &SwipeView, Between)| {
        let samples = samples(phase, view)?;
        let counts = view.swipe.counts(samples, phase.frame?);
        let mm = between.again.iter().map(|row| counts[*row].0.abs()).sum::<f64>() / scale.counts_per_mm;
        let (first, last) = (*between.again.first()?, *between.again.last()?);
        if mm < LEAST_MM {
            return None;
        }
        let event = Event {
            family: Family::SpinOut,
            kind: DOUBLED,
            begin: samples.get(first.checked_sub(1)?)?.t,
            end: samples.get(last)?.t,
            size: mm,
            unit: "mm of false motion",
            cause: cause(step, true),
        };
        let evidence = json!({
            REPORTS: between.again.len(),
            "of_the_swipes_reports": samples.len(),
            "reports_between_two_an_interval_apart": between.all,
            "mm_too_much": round(mm, 2),
        });
        let mut finding = in_swipe(step, phase, view, event, evidence);
        finding.p_false = Some(p.max(super::LEAST_CHANCE));
        Some(finding)
    };
    found.iter().filter_map(finding).collect()
}

/// A swipe's reports.
fn samples<'a>(phase: &'a PhaseView, view: &SwipeView) -> Option<&'a [Sample]> {
    phase.series.samples.get(view.swipe.rows.clone())
}

/// Chance that of those which equal one of their neighbours so many and more equal the one before.
fn by_chance(before: u64, after: u64) -> f64 {
    let Some(fewer) = before.checked_sub(1) else { return 1.0 };
    Binomial::new(0.5, before.saturating_add(after)).map_or(1.0, |chance| chance.sf(fewer))
}

/// Those of one swipe's reports. One beside another shares its neighbours, and is none.
fn between(samples: &[Sample], slot: f64) -> Between {
    let mut found = Between::default();
    let apart = |a: usize, b: usize| samples[b].t.saturating_sub(samples[a].t) as f64;
    // How far the reports beside one are off one interval, as a share of it.
    let off = |row: usize| match row + 1 < samples.len() {
        true => (apart(row - 1, row + 1) / slot - 1.0).abs(),
        false => f64::INFINITY,
    };
    let told = |s: &Sample| s.timed && s.idle_before == 0;
    let due = |s: &Sample| i64::from(s.x.unsigned_abs().max(s.y.unsigned_abs())) >= DUE;
    let mut row = 2;
    let mut last = None;
    while row + 1 < samples.len() {
        let (before, own, after) = (&samples[row - 1], &samples[row], &samples[row + 1]);
        let known = before.timed && told(own) && told(after) && due(before) && due(after);
        // A late one leaves its grid time empty, and the next comes near to it.
        let in_time = last == Some(row - 2) || (apart(row - 2, row - 1) / slot - 1.0).abs() <= IN_TIME;
        // The first of two that came near to each other has its own grid time.
        if !known || !in_time || off(row) > IN_TIME || off(row) > off(row + 1) + NEARER {
            row += 1;
            continue;
        }
        let equals = |other: &Sample| (own.x, own.y) == (other.x, other.y);
        last = Some(row);
        found.all += 1;
        match (equals(before), equals(after)) {
            (true, false) => found.alone.0 += 1,
            (false, true) => found.alone.1 += 1,
            _ => (),
        }
        if equals(before) {
            found.again.push(row);
        }
        row += 2;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reports of 1 ms, as (ms, counts along, across).
    fn found(reports: impl IntoIterator<Item = (f64, i32, i32)>) -> Between {
        let mut reports: Vec<_> = reports.into_iter().collect();
        reports.sort_by(|a, b| a.0.total_cmp(&b.0));
        let sample = |&(ms, x, y): &(f64, i32, i32)| Sample {
            t: (1e6 * ms).round() as i64,
            x,
            y,
            timed: true,
            idle_before: 0,
        };
        between(&reports.iter().map(sample).collect::<Vec<_>>(), 1e6)
    }

    /// A number in [0, 1) for each report (a multiplicative hash).
    fn chance(i: usize, salt: u64) -> f64 {
        let mixed = (i as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(31) ^ salt;
        (mixed.wrapping_mul(0xbf58_476d_1ce4_e5b9).rotate_left(27).wrapping_mul(0x94d0_49bb_1331_11eb) >> 11)
            as f64
            / (1u64 << 53) as f64
    }

    /// A hand that changes its speed slowly, with a sensor's noise: neighbours are equal now and then.
    fn hand(i: usize) -> (f64, i32, i32) {
        (i as f64, 20 + (i / 40) as i32 + (3.0 * chance(i, 1)) as i32, (2.0 * chance(i, 2)) as i32)
    }

    #[test]
    fn reports_that_come_twice_are_those_between_that_repeat_the_one_before() {
        for after in [0.15, 0.38, 0.7] {
            let twice = (0..400).filter(|i| i % 10 == 4).map(|i| (i as f64 + after, hand(i).1, hand(i).2));
            let got = found((0..400).map(hand).chain(twice));
            assert_eq!((got.again.len(), got.all), (40, 40), "{after}: {got:?}");
            assert!(by_chance(got.alone.0, got.alone.1) < 1e-6, "{after}: {got:?}");
        }
        assert_eq!(found((0..400).map(hand)), Between::default());
    }

    #[test]
    fn a_late_host_makes_none_that_repeat() {
        // Each report late by up to nine tenths of an interval.
        let late = |i: usize| (i as f64 + 0.9 * chance(i, 3), hand(i).1, hand(i).2);
        let got = found((0..40_000).map(late));
        assert!(got.all > 50, "the check has something to check: {got:?}");
        assert!((got.again.len() as f64) < 0.5 * got.all as f64, "{got:?}");
        assert!(by_chance(got.alone.0, got.alone.1) > 1e-4, "{got:?}");
        // One that is late and comes close before the next leaves its own grid time empty.
        let one = |i: usize| (hand(i).0 + if i % 10 == 4 { 0.6 } else { 0.0 }, 20, 0);
        assert_eq!(found((0..400).map(one)).all, 0);
    }

    #[test]
    fn an_even_hand_whose_reports_are_all_alike_tells_nothing() {
        assert!((by_chance(0, 0) - 1.0).abs() < 1e-12);
        let late = |i: usize| (i as f64 + 0.9 * chance(i, 3), 20, 0);
        let got = found((0..40_000).map(late));
        assert!(got.all > 50 && got.alone == (0, 0), "{got:?}");
    }
}
