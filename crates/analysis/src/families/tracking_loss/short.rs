//! Swipes that are short for no reason that shows in their reports.
//!
//! Each is held against what its phase has usually ([`usual`]). Its cause is unknown, but where [`LIKE`] swipes of its pace show
//! how the sensor loses counts within its reports from some speed on: one that came as near to that speed ([`NEAR`]) and lacks
//! none of its reports has lost them likewise. A link takes whole reports, and so does this computer; an operator has been asked
//! before. Where no other shows it, sensor and firmware are not told apart. (Added after a quarter to a half of such swipes had
//! been of unknown cause, at 8 ms mostly beside swipes that showed it.)
//!
//! An operator is not asked where [nearly all](NEARLY_ALL) others of its phase have lost track and it lacks as much as they do. (Added
//! after one to three of twenty such swipes had gone as his, since two neighbours lacked the same by chance, or as the gain of all.)
//! Cost: O(reports).

use super::super::{Event, common_cause, in_swipe, key, round};
use super::LEAST_ALIKE;
use crate::baseline::Basis;
use crate::series::{CONTIGUOUS, DUE, Sample};
use crate::shortfall::{MOST_GAIN, Measure};
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::swipes::Swipe;
use crate::verdict::{Cause, Direction, Family, Finding};
use serde_json::{Value, json};
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// Share of a phase's swipes that lie within placing of their median, where they are alike: most of them. (First 0.8:
/// some clipped or lost swipes then made all others short where a pace's gain or yaw differs from the slow swipes'.)
pub(super) const EVEN: f64 = 0.5;
/// Lengths that one factor makes are alike to this: stops of a millimetre make 1.4 mm of 300, and three times that is 1.4 %.
const ONE_FACTOR: f64 = 0.015;

/// Of all swipes of a phase so many have lost track, and of those that no operator seems to have stopped short.
const NEARLY_ALL: (f64, f64) = (0.75, 0.9);
/// Swipes that must have.
const LEAST_OTHERS: usize = 8;
/// By this factor the ones and the others may lack more or less.
const LIKEWISE: f64 = 1.5;

/// Swipes from which on what others of a pace lost has one onset.
const LIKE: usize = 3;
/// Fastest expected speed over that onset: counts that thin out bend what is expected down, and onsets that are read so scatter by
/// a tenth at 8 ms.
const NEAR: f64 = 0.9;

/// Those of a phase, beside the swipes that something else is told of.
pub(super) fn find(
    step: &StepView,
    phase: &PhaseView,
    told: &BTreeSet<(u32, u32)>,
    findings: &[Finding],
) -> Vec<Finding> {
    let usual = [Direction::Out, Direction::Back].map(|to| (to, usual(step, phase, to)));
    let usual = |s: &SwipeView| usual.iter().find(|u| u.0 == s.swipe.direction).and_then(|u| u.1);
    let (onset, others) = (onset(phase, findings), Others::of(phase, told, findings));
    // What nearly all have lost is nobody's gain.
    let usual = |s: &SwipeView| {
        if others.is_some() { step.measure.map(|m| m.one_way(s.swipe.direction)) } else { usual(s) }
    };
    let untold = phase.swipes.iter().filter(|s| !told.contains(&key(phase, s)));
    untold.filter_map(|s| short(step, phase, s, usual(s), onset, others)).collect()
}

/// Nearly all other swipes of a phase have lost track, which makes pairs that look like an operator's by chance.
#[derive(Clone, Copy)]
struct Others {
    n: usize,
    cause: Cause,
    /// The least and the most that they lack, counts.
    lack: (f64, f64),
}

impl Others {
    fn of(phase: &PhaseView, told: &BTreeSet<(u32, u32)>, findings: &[Finding]) -> Option<Others> {
        let lost = |s: &&SwipeView| {
            let own = |f: &&Finding| (f.phase, f.swipe) == (phase.span.number, Some(s.swipe.number));
            findings.iter().filter(own).any(|f| f.family == Family::TrackingLoss)
        };
        let lost: Vec<&SwipeView> = phase.swipes.iter().filter(lost).collect();
        let all = phase.swipes.iter().filter(|s| !s.disturbed).count();
        let excused = |s: &&SwipeView| {
            !s.disturbed && !told.contains(&key(phase, s)) && (s.swipe.began_short || s.swipe.stopped_short)
        };
        let excused = phase.swipes.iter().filter(excused).count();
        let (n, all) = (lost.len(), all as f64);
        let nearly_all = n as f64 >= NEARLY_ALL.0 * all && n as f64 >= NEARLY_ALL.1 * (all - excused as f64);
        let here = |f: &&Finding| f.family == Family::TrackingLoss && f.phase == phase.span.number;
        let cause = common_cause(&findings.iter().filter(here).collect::<Vec<_>>())?;
        let lacks = lost.iter().map(|s| s.swipe.one_travel - s.swipe.along);
        let lack = lacks.fold((f64::INFINITY, 0.0f64), |(least, most), l| (least.min(l), most.max(l)));
        (n >= LEAST_OTHERS && nearly_all).then_some(Others { n, cause, lack })
    }

    /// True if a swipe lacks as much as they do.
    fn hold(self, swipe: &Swipe) -> bool {
        let lack = swipe.one_travel - swipe.along;
        (self.lack.0 / LIKEWISE..=self.lack.1 * LIKEWISE).contains(&lack)
    }
}

/// Speed from which on the sensor loses counts within reports in swipes of a phase, mm/s, where it shows in [`LIKE`] of them.
fn onset(phase: &PhaseView, findings: &[Finding]) -> Option<f64> {
    let likewise = |f: &&Finding| f.cause == Cause::Sensor && matches!(f.kind, "partial" | "level");
    let here = |f: &&Finding| f.family == Family::TrackingLoss && f.phase == phase.span.number;
    let own = findings.iter().filter(here).filter(likewise);
    let own: Vec<(Option<u32>, f64)> =
        own.filter_map(|f| Some((f.swipe, f.evidence.get("onset_m_s")?.as_f64()?))).collect();
    let swipes: BTreeSet<Option<u32>> = own.iter().map(|(swipe, _)| *swipe).collect();
    let onsets: Vec<f64> = own.iter().map(|(_, onset)| 1e3 * onset).collect();
    median(&onsets).filter(|_| swipes.len() >= LIKE)
}

/// True if no report is missing between the first and the last that hold [`DUE`] counts.
fn has_all_reports(step: &StepView, phase: &PhaseView, view: &SwipeView) -> bool {
    let samples = phase.series.samples.get(view.swipe.rows.clone()).unwrap_or_default();
    let speaks = |s: &Sample| f64::from(s.x).hypot(f64::from(s.y)) >= DUE as f64;
    let (Some(first), Some(last)) = (samples.iter().position(speaks), samples.iter().rposition(speaks))
    else {
        return false;
    };
    let apart = |w: &[Sample]| {
        let [a, b] = w else { return 0.0 };
        b.t.saturating_sub(a.t) as f64 / step.slot() - f64::from(b.idle_before)
    };
    samples[first..=last].windows(2).all(|w| apart(w) < CONTIGUOUS)
}

/// Counts of one travel as a phase has it, if its swipes are alike, or those of one direction; else as the slow ones have it.
/// `None` for slow swipes that lack what faster ones have: no sensor loses track below a speed, so that is gain, however uneven.
/// (One direction by itself since a gain that fell with speed one way only had been seen to be told as a loss in every swipe.)
fn usual(step: &StepView, phase: &PhaseView, direction: Direction) -> Option<f64> {
    let measure = step.measure?;
    let lengths = |own: &dyn Fn(&SwipeView) -> bool| -> Vec<f64> {
        phase.swipes.iter().filter(|s| own(s)).map(|s| measure.evened(&s.swipe)).collect()
    };
    let all = lengths(&|_| true);
    let centre = median(&all)?;
    let faster = step.scale?.basis == Basis::OtherPace && phase.span.phase.pace == Some(Pace::Slow);
    if faster && measure.one_travel - centre > measure.most {
        return None;
    }
    let one_way = lengths(&|s| s.swipe.direction == direction);
    let one_way = even(&one_way, measure).filter(|_| one_way.len() >= LEAST_ALIKE);
    let usual = even(&all, measure).or(one_way).unwrap_or(measure.one_travel);
    Some(usual * measure.ways[direction.index()])
}

/// The median of some lengths if they are alike.
fn even(lengths: &[f64], measure: Measure) -> Option<f64> {
    let centre = median(lengths)?;
    let alike = lengths.iter().filter(|l| (**l - centre).abs() <= measure.most).count();
    let gain = centre >= (1.0 - MOST_GAIN) * measure.one_travel;
    // One factor in all of them is none that a loss takes.
    let reach = measure.most.min(ONE_FACTOR * centre);
    let all = lengths.len() >= LEAST_ALIKE && lengths.iter().all(|l| (l - centre).abs() <= reach);
    (all || gain && alike as f64 >= EVEN * lengths.len() as f64).then_some(centre)
}

/// A swipe that is short for no reason that shows.
fn short(
    step: &StepView,
    phase: &PhaseView,
    view: &SwipeView,
    usual: Option<f64>,
    onset: Option<f64>,
    others: Option<Others>,
) -> Option<Finding> {
    let (swipe, scale) = (&view.swipe, step.scale?);
    let missing = usual? - swipe.along;
    let held_up = view.held_up(&step.host, scale.counts_per_mm);
    let by_operator = !swipe.is_short() && !others.is_some_and(|others| others.hold(swipe));
    if missing <= step.measure?.most + held_up || by_operator || step.travel.is_none() {
        return None;
    }
    let near = onset.filter(|onset| view.grid.peak() >= NEAR * onset && has_all_reports(step, phase, view));
    let alike = others.filter(|_| !swipe.is_short());
    let event = Event {
        family: Family::TrackingLoss,
        kind: "short",
        begin: swipe.begin,
        end: swipe.end,
        size: missing / scale.counts_per_mm,
        unit: "mm of travel",
        cause: match alike {
            Some(others) => others.cause,
            None if near.is_some() => Cause::Sensor,
            None => Cause::Unknown,
        },
    };
    let mut evidence: Value = json!({
        "counts": round(swipe.along, 0),
        "counts_short": round(missing, 0),
        "counts_of_placing": round(step.measure?.most, 0),
        "peak_m_s": round(view.grid.peak() * 1e-3, 3),
    });
    if let (Some(onset), Some(map)) = (near, evidence.as_object_mut()) {
        map.insert("others_lose_from_m_s".to_owned(), round(1e-3 * onset, 3));
    }
    if let (Some(others), Some(map)) = (alike, evidence.as_object_mut()) {
        map.insert("others_that_lose".to_owned(), json!(others.n));
    }
    Some(in_swipe(step, phase, view, event, evidence))
}
