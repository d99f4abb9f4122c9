//! Straightening: firmware bends motion near an axis of the sensor onto it.
//!
//! Detects two kinds, in the sensor's own axes:
//! - *bent*: on a part of a swipe the counts across the nearer axis vanish wholly, and right beside it, at equal speed,
//!   there are more of them than any smooth path can have ([`mod@look`]), while nowhere in the swipe a slope of less than
//!   half as much ([`HALF`]) is counted evenly;
//! - *dropped*: counts of 1 (2, 3, 4) across the axis never come, though larger ones do ([`least_value`]).
//!
//! Counts across are in steps of the device ([`quantum`]): who counts by fours keeps the rest for later and drops nothing.
//!
//! Both only if [`RECURS`] swipes show them, and more swipes of the phase than count small slopes evenly: a body that
//! meets or leaves a straight edge may bend its path as abruptly once, but not always by the same angle and never by less.
//! Cause: firmware, since no optics and no hand know the axes; what an edge does is excluded as said.
//!
//! A device that lies within the angle all along can't be told from one that lies truly on its axis, and one that never
//! comes near it shows nothing. So examined are swipes in which it would have been seen: those that show it, and those
//! that count a slope of [`SMALL`] or less evenly. Decides on their share, exact limits; never required. Too few of them:
//! not examined. Straightening within less than the smallest angle seen to be counted is not excluded, nor is one that
//! takes less than the whole of the counts across.
//!
//! Smallest found: an angle whose tangent times the counts of a travel is 480 (3 degrees at 800 counts per inch over
//! 300 mm, 6 degrees at 400), where the direction turns by 7 degrees and more over a swipe and passes the angle in the
//! middle third of the travel. (Written before the first run: 3 degrees at 400 counts per inch and more. Seen: the noise of
//! a sensor and its averaging let counts through about the angle, and at 400 counts per inch too few are left beside them
//! for the bound.)
//! Cost: O(reports).

mod look;

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::decision::swipes_to_settle;
use crate::quantum;
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome, count};
use look::{Bend, Grain, Look, VALUES, look};
use serde_json::json;
use std::collections::BTreeSet;

pub(super) struct Straightening;

/// As many swipes must show it: fewer are a coincidence of the operator's.
const RECURS: usize = 3;
/// A slope of less than this share of a bend's that is counted evenly shows that the device bends nothing there. Half,
/// because a device may let go of the axis at a larger angle than it takes hold of it.
const HALF: f64 = 0.5;
/// What counts as a small slope: the tangent of 2 degrees, 10 mm sideways in 300. Common practice, no source.
const SMALL: f64 = 0.0349;
/// Reports with the least value that comes or a little more, that are needed to miss smaller ones...
const LEAST_REPORTS: u32 = 30;
/// ...and the share of them that the smaller ones may be. The rate of counts across starts and ends at nothing in every
/// swipe and passes through all values: as speed grows with the square of time or slower, a value's time from 0 to k + ½
/// is at least half of that from there to 2k + 3⁄2. A tenth of that is allowed.
const MISSING: f64 = 0.05;

/// A look at every swipe.
fn looks<'a>(step: &'a StepView) -> impl Iterator<Item = (&'a PhaseView, &'a SwipeView, Look)> {
    let samples = || step.swipes().filter_map(|(p, s)| p.series.samples.get(s.swipe.rows.clone())).flatten();
    let grain = Grain { x: quantum::of(samples().map(|s| s.x)), y: quantum::of(samples().map(|s| s.y)) };
    step.swipes().filter_map(move |(phase, swipe)| {
        let samples = phase.series.samples.get(swipe.swipe.rows.clone())?;
        let grid = &swipe.grid;
        let middle = grid.slot as i64 / 2;
        let at = |t: i64| grid.expected_mm_s.get(grid.index(t.saturating_sub(middle))).copied();
        let speed: Vec<f64> = samples.iter().map(|s| at(s.t).unwrap_or(0.0)).collect();
        Some((phase, swipe, look(samples, &speed, grain)))
    })
}

/// A bend that nothing else in the swipe contradicts.
fn plain(look: &Look) -> Option<&Bend> {
    look.bend.as_ref().filter(|bend| look.least.is_none_or(|least| least >= HALF * bend.slope))
}

/// The least number of steps across that ever comes in a report, if it is more than one.
///
/// What is dropped leaves reports with none behind though one was due, an eighth as many as those with the values above at least
/// (a quarter for single counts where the rate rises evenly: between one and two every other report, on the mean, holds one). Where none of them is there either, the motion was never so slow: reports 8 ms
/// apart pass over small values. (Seen: without this 5 in 1,000 sound sessions failed, all at 8 ms. That one was due is asked
/// since a hand that trembles at the stops, by a count along and none across, had made such reports for a device askew.)
///
/// A device set to 2.5 times what its sensor counts has no whole step and yet never counts 1. It does not along the swipe
/// either, where every start and stop passes through all values: smaller ones must be seen to come there.
fn least_value(looks: &[(&PhaseView, &SwipeView, Look)]) -> Option<usize> {
    let count = |value: usize| looks.iter().map(|(_, _, l)| u64::from(l.values[value])).sum::<u64>();
    let none = looks.iter().map(|(_, _, l)| u64::from(l.none)).sum::<u64>();
    let along = |value: usize| looks.iter().map(|(_, _, l)| u64::from(l.major_values[value])).sum::<u64>();
    (2..=VALUES / 2).find(|&least| {
        let of = |count: &dyn Fn(usize) -> u64| {
            ((1..least).map(count).sum::<u64>(), (least..2 * least).map(count).sum::<u64>())
        };
        let ((smaller, larger), (smaller_along, larger_along)) = (of(&count), of(&along));
        let others: u64 = (least + 1..2 * least).map(count).sum();
        larger >= u64::from(LEAST_REPORTS)
            && smaller as f64 <= MISSING * larger as f64
            && smaller_along >= RECURS as u64
            && smaller_along as f64 > MISSING * larger_along as f64
            && 4 * others >= larger.div_ceil(2)
            && 8 * none >= larger
            && looks.iter().filter(|(_, _, l)| drops(l, least)).count() >= RECURS
    })
}

/// True if a swipe shows by itself that smaller values are missing.
fn drops(look: &Look, least: usize) -> bool {
    let sum = |from: usize, to: usize| look.values.iter().take(to).skip(from).sum::<u32>();
    sum(least, 2 * least) >= 3 && sum(1, least) == 0
}

impl Detector for Straightening {
    fn family(&self) -> Family {
        Family::Straightening
    }

    fn required(&self, _: &StepView) -> bool {
        false
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let looks: Vec<(&PhaseView, &SwipeView, Look)> = looks(step).collect();
        let mut own = Vec::new();
        let dropped = least_value(&looks);
        for phase in &step.phases {
            let here = || looks.iter().filter(|(p, _, _)| p.span.number == phase.span.number);
            let told = |swipe: &SwipeView, bend: &Bend| {
                let (begin, end) = span(phase, swipe, bend);
                let of_swipe =
                    |f: &&Finding| f.phase == phase.span.number && f.swipe == Some(swipe.swipe.number);
                findings.iter().filter(of_swipe).any(|f| f.begin_ns <= end && begin <= f.end_ns)
            };
            let bends: Vec<(&SwipeView, &Look, &Bend)> = here()
                .filter_map(|(_, swipe, look)| Some((*swipe, look, plain(look)?)))
                .filter(|(swipe, _, bend)| !told(swipe, bend))
                .collect();
            let slopes: Vec<f64> = bends.iter().map(|(_, _, bend)| bend.slope).collect();
            let usual = median(&slopes).unwrap_or(0.0);
            let smooth = here().filter(|(_, _, l)| l.least.is_some_and(|least| least < HALF * usual)).count();
            if bends.len() >= RECURS && bends.len() > smooth {
                own.extend(bends.iter().map(|(swipe, look, b)| bent(step, phase, swipe, look, b)));
            }
        }
        if let Some(least) = dropped {
            let told = swipes_with(Family::Straightening, &own);
            let rest = looks.iter().filter(|(p, s, l)| drops(l, least) && !told.contains(&key(p, s)));
            own.extend(rest.map(|(phase, swipe, look)| lone(step, phase, swipe, look, least)));
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let bad = swipes_with(Family::Straightening, findings);
        let small = |(phase, swipe, look): (&PhaseView, &SwipeView, Look)| {
            let least = look.least.filter(|least| *least <= SMALL)?;
            Some((key(phase, swipe), least))
        };
        let even: Vec<((u32, u32), f64)> = looks(step).filter_map(small).collect();
        let examined: BTreeSet<(u32, u32)> =
            even.iter().map(|(k, _)| *k).chain(bad.iter().copied()).collect();
        let mut out = share(step, Family::Straightening, findings, &examined, " that came near an axis");
        let least = even.iter().map(|(_, least)| *least).reduce(f64::min).map(degrees);
        if bad.is_empty() && matches!(out.verdict, Outcome::Inconclusive | Outcome::NotExamined) {
            let why = match examined.len() {
                0 => {
                    "no swipe shows whether motion near an axis is counted: all lie on it, or none comes near"
                        .to_owned()
                }
                n => format!("only {} came near an axis and left it: too few", count(n, "swipe")),
            };
            let settle = "swipes by free hand in a flat arc, no straight edge, in which the direction turns through an axis \
                          of the device by some 10 degrees";
            let limit = super::limits(step, Family::Straightening)[1].unwrap_or(1.0);
            let more = swipes_to_settle(0, examined.len() as u32, limit);
            out = not_examined(step, Family::Straightening, &why);
            out.to_settle = more.map(|n| format!("{n} {settle}"));
            return out;
        }
        let angles: Vec<f64> = findings
            .iter()
            .filter(|f| f.family == Family::Straightening && f.kind == "bent")
            .map(|f| f.size)
            .collect();
        if let Some(angle) = median(&angles) {
            out.because += &format!(", bent onto the axis from {angle:.1} degrees off it");
        } else if let (true, Some(least)) = (bad.is_empty(), least) {
            out.because += &format!(", down to {least:.1} degrees off it");
        }
        out
    }
}

fn degrees(slope: f64) -> f64 {
    slope.atan().to_degrees()
}

/// From begin to end of a bend's stretch.
fn span(phase: &PhaseView, swipe: &SwipeView, bend: &Bend) -> (i64, i64) {
    let at = |row: usize| {
        phase.series.samples.get(swipe.swipe.rows.start + row).map_or(swipe.swipe.begin, |s| s.t)
    };
    (at(bend.run.start), at(bend.run.end.saturating_sub(1)))
}

fn bent(step: &StepView, phase: &PhaseView, swipe: &SwipeView, look: &Look, bend: &Bend) -> Finding {
    let (begin, end) = span(phase, swipe, bend);
    let event = Event {
        family: Family::Straightening,
        kind: "bent",
        begin,
        end,
        size: degrees(bend.slope),
        unit: "degrees",
        cause: Cause::Firmware,
    };
    let evidence = json!({
        "axis": if look.along_x { "x" } else { "y" },
        "counts_along_axis": bend.run_major,
        "counts_across_axis": 0,
        "beside_along_axis": bend.flank_major,
        "beside_across_axis": bend.flank_minor * i64::from(look.grain),
        "counts_in_a_step": look.grain,
        "reports": bend.run.len(),
        "reports_beside": bend.flank.len(),
        "least_slope_counted_degrees": look.least.map(|least| round(degrees(least), 2)),
    });
    in_swipe(step, phase, swipe, event, evidence)
}

fn lone(step: &StepView, phase: &PhaseView, swipe: &SwipeView, look: &Look, least: usize) -> Finding {
    let event = Event {
        family: Family::Straightening,
        kind: "dropped",
        begin: swipe.swipe.begin,
        end: swipe.swipe.end,
        size: (least - 1) as f64 * f64::from(look.grain),
        unit: "counts per report",
        cause: Cause::Firmware,
    };
    let evidence = json!({
        "axis": if look.along_x { "x" } else { "y" },
        "least_counts_across": least * usize::try_from(look.grain).unwrap_or(1),
        "counts_in_a_step": look.grain,
        "reports_by_counts_across": look.values,
    });
    in_swipe(step, phase, swipe, event, evidence)
}
