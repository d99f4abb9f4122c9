//! Wake-up: the first motion after rest comes late or short.
//!
//! Two looks at a start from rest tell that motion came before it ([`crate::starts`] says what a start is, and has the
//! formulae): a *lump*, more in the first report than a slot's counts, and a *steep* start, reports after the
//! first that grow more slowly than from rest. A start at rest grows smoothly, whatever its acceleration, so that neither
//! asks for a model of the hand, for its pace, or for sound siblings.
//!
//! - *late*: a lump (five standard deviations; three where the start is steep as well), in one report or in several within 16 ms;
//! - *short*: a steep start without a lump in a swipe that is short: by itself, or all that began so are in the mean
//!   ([`SHORT`] standard deviations of placing), against swipes of the phase that began well, else the slow ones (less what
//!   [all paces](common) lack, and [`AT_REST_MM`]). So a
//!   hand that jerks, whose swipes are whole, is no device that sleeps.
//!
//! One event: false motion or thin counts that are seen only beside a lump are part of it, and so is a swipe that meets
//! its stop early for want of its first millimetres. Not looked at: what the computer explains (a stall, a queue that ran
//! over within 0.1 s after), events that an earlier family has found, a hand that rests again within a few reports
//! (unless the first holds more than a hand moves in its slot: the device woke as the hand struck the stop).
//! Decides on the share of starts from rest that show it, and of those at the fast pace by themselves (what a slow swipe loses
//! in the same time is mostly too little to be seen), exact limits. Too few clean starts are not examined: a session
//! need not rest between swipes. Power saving that costs no motion is sound, whatever it does at rest.
//!
//! `p_false`: the normal tail of the look, times all looks of the step, for the start that is hardest to tell and still
//! sound: constant acceleration, or a first report that fills its slot. That the swipe is short comes on top.
//! Cause: power saving if it recurs ([`RECURS`] starts and more), else unknown: a single one may be a lost report.
//! Assumes the report interval and the scale.
//!
//! Smallest found: 2 mm; of short starts where they lack 1 mm and 16 standard deviations of a stop over √n in the mean of
//! n, or one of them by itself, beyond what medium swipes lack in the mean. (Without that until four of 298 sessions were
//! missed, in two of which medium swipes had lost their begin as well. Without the one by itself until five in 45 sessions
//! were missed, all between stops of 0.6 mm and more. First written "2 mm, at three counts a slot and six slots of silence
//! for a smooth start": an eighth of the short ones were missed, most of them under 10 mm, because 6 ms of a fast start at
//! a few counts a slot tell no acceleration, and because the hand was taken to have gone on as steeply before. With the
//! looks above, neither counts a slot nor slots of silence matter from 0.125 to 8 ms; of those of 1 to 1.5 mm some are
//! missed, and most of those below. A late one within a slot is none. What comes in k reports, no fewer than an arm makes
//! in that time besides: 1 mm in 5 ms, 10 in 16. Where slow swipes lose some of their begin as well, the resolution is low
//! by as much, and faster ones are short by what they lose beyond that.) Cost: O(reports).

use super::{
    Detector, Event, coarse_stamps, dropout, in_swipe, key, no_scale, not_examined, one_way, round, share,
    swipes_with,
};
use crate::compare::test::fisher;
use crate::erratic::{ARM_ACCELERATION, Wrong};
use crate::shortfall::Measure;
use crate::silence::{MakeUp, Silence};
use crate::starts::{LEAST_MM, LEAST_SCATTER_MM, REST, Start, Steep};
use crate::stats::{median, within};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome, count};
use serde_json::{Value, json};
use slipgauge_trace::session::Pace;
use statrs::distribution::{ContinuousCDF, Normal};
use std::collections::{BTreeMap, BTreeSet};

pub(super) struct WakeUp;

/// Kind of a start that came short.
pub(super) const SHORT_START: &str = "short";

/// Speed is read from the reports of so many nanoseconds before a place ([`crate::erratic`]): what begins within it after
/// a lump is judged by the lump.
const JUDGED_BY_LUMP: f64 = 4e6;
/// Standard deviations of placing by which one swipe is short, and by which all that began steeply are in the mean.
const SHORT: (f64, f64) = (5.0, 4.0);
/// A body that has struck its stop comes to rest within a millimetre of it (common practice, no source), at speed further off than slowly:
/// swipes of one pace may be shorter by as much than those of another. (Added after sound devices whose hand set out with a jerk, from
/// 0.3 to 1 mm off the stop, had failed.)
const AT_REST_MM: f64 = 1.0;
/// Medium swipes lack something by so many standard errors.
const SURE: f64 = 3.0;
/// What is lost in a time tells two paces apart that differ by this factor: by its square and more.
const FASTER: f64 = 1.5;
/// A swipe that began steeply is no longer than what the hand cannot but have made, less so many standard deviations.
const AGREES: f64 = 3.0;
/// Swipes of a phase that began as they should, from which its travel is taken.
const SIBLINGS: usize = 5;
/// Starts that show it before it is put down to power saving.
const RECURS: usize = 2;
/// Late bursts on the way that show a link to hold back.
const LINKS: usize = 5;
/// Normal tails are not believed beyond this.
const LEAST_CHANCE: f64 = 1e-9;

/// True if what begins then is judged by a lump that came from one time to another.
fn follows((from, until): (i64, i64), begin: i64, slot: f64) -> bool {
    begin >= from && begin.saturating_sub(until) <= (JUDGED_BY_LUMP + 2.0 * slot) as i64
}

/// True if what begins then in a swipe looks thin only beside the lump of a late start.
pub(super) fn beside_a_lump(step: &StepView, findings: &[Finding], swipe: (u32, u32), begin: i64) -> bool {
    let mut lumps = findings.iter().filter(|f| f.family == Family::WakeUp && f.kind == "late");
    lumps.any(|f| {
        (f.phase, f.swipe) == (swipe.0, Some(swipe.1)) && follows((f.begin_ns, f.end_ns), begin, step.slot())
    })
}

/// Travel that a swipe lacks because its first motion came short, mm.
pub(super) fn short_mm(findings: &[Finding], swipe: (u32, u32)) -> f64 {
    let own = findings.iter().filter(|f| f.family == Family::WakeUp && f.kind == SHORT_START);
    own.filter(|f| (f.phase, f.swipe) == (swipe.0, Some(swipe.1))).map(|f| f.size).sum()
}

/// A start with its place.
struct Placed<'a> {
    phase: &'a PhaseView,
    swipe: &'a SwipeView,
    start: &'a Start,
}

impl Placed<'_> {
    /// True if counts made before the first report did not come with it. A swipe that clips grows no more at its top, and one that
    /// reaches a sensor's top speed no more there; either is short for that.
    fn steep(&self, scale: f64) -> bool {
        let seen_to = |steep: Steep| self.start.t.saturating_add((2.0 * steep.span) as i64);
        let until = self.start.steep.map_or(self.start.t, seen_to);
        let levels = self.swipe.stretches.iter().any(|s| s.wrong == Wrong::Level && s.begin < until);
        let flat = self.swipe.clip.is_some() || levels;
        !flat && self.start.at_speed(scale) && !self.start.late(scale)
    }

    /// True if the device had counted the hand's start and then lost what came: it was awake. (Added after sensors that went blind while
    /// the hand set out had been told to lose the same 300 mm twice.)
    fn after_a_silence(&self) -> bool {
        let own = |s: &Silence| !s.host && s.kind == MakeUp::Lost && s.end == self.start.t;
        self.swipe.silences.iter().any(own)
    }
}

fn starts<'a>(step: &'a StepView) -> impl Iterator<Item = Placed<'a>> {
    step.swipes()
        .flat_map(|(phase, swipe)| swipe.starts.iter().map(move |start| Placed { phase, swipe, start }))
}

/// True if some siblings measure how long a swipe is: they differ by no more than placing. Where most swipes begin at speed, the
/// others may lack counts, too. (Added after outside hands that set out slowly had been seen to hide a wake-up of 0.2 s so.)
fn agree(lengths: &[f64], most: f64) -> bool {
    within(&[lengths.to_vec()], SIBLINGS).is_some_and(|(scatter, _)| scatter <= most)
}

/// How long the swipes of a phase should be.
struct Usual {
    phase: u32,
    counts: f64,
    /// Swipes that it is taken from.
    n: usize,
    /// By how much it may be too long, since it is another pace's: counts.
    other_pace: f64,
}

/// How long swipes should be.
struct Travel {
    of: Vec<Usual>,
    /// Standard deviation of one length, counts.
    scatter: f64,
    measure: Measure,
}

impl Travel {
    /// From the swipes that did not begin steeply.
    fn new(step: &StepView, steep: &BTreeSet<(u32, u32)>, scale: f64) -> Option<Travel> {
        let measure = step.measure?;
        let slow = step.phases.iter().map(|p| p.swipes.len()).find(|n| *n > 0).unwrap_or(0);
        let one_travel = measure.one_travel - common(step);
        let (mut of, mut all) = (Vec::new(), Vec::new());
        for phase in &step.phases {
            let sound = |s: &&SwipeView| {
                !steep.contains(&key(phase, s)) && !s.swipe.began_short && !s.swipe.stopped_short
            };
            let lengths: Vec<f64> =
                phase.swipes.iter().filter(sound).map(|s| measure.evened(&s.swipe)).collect();
            let agree = agree(&lengths, measure.most);
            let centre = median(&lengths).filter(|_| agree);
            let slow_pace = phase.span.phase.pace == Some(Pace::Slow);
            of.push(Usual {
                phase: phase.span.number,
                counts: centre.unwrap_or(one_travel),
                n: centre.map_or(slow, |_| lengths.len()),
                other_pace: if centre.is_some() || slow_pace { 0.0 } else { AT_REST_MM * scale },
            });
            if agree {
                all.push(lengths);
            }
        }
        let scatter = within(&all, SIBLINGS).map_or(measure.deviation(), |(scatter, _)| scatter);
        let scatter = scatter.max(LEAST_SCATTER_MM * scale);
        Some(Travel { of, scatter, measure })
    }

    /// Counts by which a swipe is short, with their standard uncertainty.
    fn short(&self, one: &Placed) -> (f64, f64) {
        let (travel, n) =
            self.usual(one).map_or((self.measure.one_travel, 1), |usual| (usual.counts, usual.n));
        (
            travel - self.measure.evened(&one.swipe.swipe),
            self.scatter * (1.0 + std::f64::consts::PI / n.max(1) as f64).sqrt(),
        )
    }

    /// Counts of that which another pace may differ by.
    fn other_pace(&self, one: &Placed) -> f64 {
        self.usual(one).map_or(0.0, |usual| usual.other_pace)
    }

    fn usual(&self, one: &Placed) -> Option<&Usual> {
        self.of.iter().find(|usual| usual.phase == one.phase.span.number)
    }
}

/// Counts that medium and fast swipes lack alike of what slow ones have: a gain, or where the body comes to rest when it has struck. What
/// a device loses in the time that it takes to wake goes with the square of the pace and more, so that faster swipes lack several times as much.
/// (Added after sound devices of 0.2 to 1.5 % less gain at speed had failed where the hand set out with a jerk.)
fn common(step: &StepView) -> f64 {
    let Some(measure) = step.measure else { return 0.0 };
    let at = |pace: Pace| {
        let own = step.swipes().filter(|(p, s)| {
            p.span.phase.pace == Some(pace) && !s.swipe.began_short && !s.swipe.stopped_short
        });
        let own: Vec<(f64, f64)> = own.map(|(_, s)| (s.swipe.peak, measure.lacks(&s.swipe))).collect();
        let of = |field: fn(&(f64, f64)) -> f64| median(&own.iter().map(field).collect::<Vec<f64>>());
        Some((of(|s| s.0)?, of(|s| s.1)?, own.len() as f64))
    };
    let (Some((slower, lacks, n)), Some((faster, most, _))) = (at(Pace::Medium), at(Pace::Fast)) else {
        return 0.0;
    };
    let sure = lacks > SURE * measure.deviation() * (2.0 / n).sqrt();
    let alike = faster >= FASTER * slower && lacks >= 0.5 * most;
    if sure && alike { lacks.min(most) } else { 0.0 }
}

/// What a reader can check; `short` are the counts by which the swipe is short.
fn evidence(one: &Placed, silent_ns: f64, scale: f64, short: Option<(f64, f64)>) -> Value {
    let start = one.start;
    let mut evidence = json!({
        REST_S: round(start.t.saturating_sub(start.before) as f64 * 1e-9, 3),
        "first_report_counts": round(start.first, 1),
        "counts_per_report_after": round(start.per_slot, 1),
        "silent_ms": round(silent_ns * 1e-6, 1),
    });
    let Some(map) = evidence.as_object_mut() else { return evidence };
    if start.until > start.t {
        map.insert("reports_that_brought_it".to_owned(), json!(start.lump.reports));
    }
    if let Some(steep) = start.steep {
        map.insert("span_ms".to_owned(), round(steep.span * 1e-6, 3));
        map.insert("counts_in_the_first_span_after".to_owned(), round(steep.counts.0, 1));
        map.insert("counts_in_the_second".to_owned(), round(steep.counts.1, 1));
        map.insert("counts_in_the_second_from_rest".to_owned(), round(3.0 * steep.counts.0, 1));
        map.insert("mm_before_at_this_acceleration".to_owned(), round(steep.before / scale, 2));
    }
    if let Some((short, u)) = short {
        map.insert("swipe_short_by_mm".to_owned(), round(short / scale, 2));
        map.insert("mm_of_placing".to_owned(), round(u / scale, 2));
    }
    evidence
}

/// A start tells what it hides to this factor and better.
const TELLS_TO: f64 = 4.0;

/// Beside a silence it is by far less: what a start loses is told as silent into the stop as well now and then, at 8 ms.
const BY_FAR: f64 = 20.0;

/// True if a swipe shows false or missing motion on its way, or falls silent, and what its start hides is next to nothing
/// beside what it lacks. (Added after sensors that repeated their last motion had been told to have lost the start of the same swipes, by 60 mm, where the start
/// told of 1 mm. A silence as well since the whole of a swipe that froze after its first counts had been told twice.)
fn lost_on_its_way(one: &Placed, short: f64) -> bool {
    let before = one.start.steep.map_or(0.0, |s| s.before);
    let silent = one.swipe.silences.iter().any(Silence::may_lose);
    (silent && BY_FAR * before < short) || (!one.swipe.stretches.is_empty() && TELLS_TO * before < short)
}

/// A link that holds back what it sends now and then does so at starts as well: late ones are its own where it is seen to do so
/// elsewhere, [`LINKS`] times and as often. (Added after 13 starts had been put down to power saving beside 104 bursts that the link
/// had brought late.)
fn hand_to_the_link(own: &mut [Finding], findings: &[Finding]) {
    let is_late = |f: &&mut Finding| f.kind == dropout::LATE;
    let links =
        |f: &&Finding| f.family == Family::Dropout && f.kind == dropout::LATE && f.cause == Cause::Link;
    let (late, held_back) = (own.iter_mut().filter(is_late).count(), findings.iter().filter(links).count());
    if held_back >= LINKS && late <= held_back {
        own.iter_mut().filter(is_late).for_each(|f| (f.family, f.cause) = (Family::Dropout, Cause::Link));
    }
}

/// Key of the time without counts before a start, seconds.
const REST_S: &str = "rest_s";

/// True if some starts were lost, of fewer than half of the swipes, after less than a [rest](REST).
/// Then any start may be, and the silence may be what is lost of it. (Added after a device that lost a part of 15 of 84
/// starts, under a hand that trembled at 6400 counts an inch, had failed with 15 of the 17 that were silent before.)
fn were_awake(step: &StepView, findings: &[Finding]) -> bool {
    let own = findings.iter().filter(|f| f.family == Family::WakeUp && f.kind == SHORT_START);
    let rests: Vec<f64> = own.filter_map(|f| f.evidence.get(REST_S)?.as_f64()).collect();
    let some = 2 * rests.len() < step.swipes().count();
    some && median(&rests).is_some_and(|rest| 1e9 * rest < REST as f64)
}

/// Holds the starts after rests as long as the shortest that shows it against the tolerance by themselves: a device sleeps
/// after so long a rest, and says nothing of that after shorter ones. The shortest one sets the time, and is not counted.
/// (Added after a device that lost 70 ms in each start after 1.5 s of rest, ten of ten, had passed by eighty starts after
/// 0.4 s.)
fn after_longer_rests(step: &StepView, findings: &[Finding], out: &mut FamilyVerdict) {
    if out.verdict == Outcome::Fail {
        return;
    }
    let bad = swipes_with(Family::WakeUp, findings);
    let mut rests: BTreeMap<(u32, u32), i64> = BTreeMap::new();
    for one in starts(step) {
        let rest = rests.entry(key(one.phase, one.swipe)).or_default();
        *rest = (*rest).max(one.start.t.saturating_sub(one.start.still));
    }
    let Some(least) = rests.iter().filter(|(k, _)| bad.contains(k)).map(|(_, rest)| *rest).min() else {
        return;
    };
    let (long, short): (Vec<_>, Vec<_>) = rests.iter().partition(|(_, rest)| **rest >= least);
    let of = long.len().saturating_sub(1) as u32;
    let shown = (long.iter().filter(|(k, _)| bad.contains(k)).count() as u32).saturating_sub(1);
    let parted =
        fisher((shown, of), (0, short.len() as u32)).is_some_and(|chance| chance <= one_way::BY_CHANCE);
    if !parted {
        return;
    }
    let seconds = 1e-9 * least as f64;
    out.because += &format!(
        "; {shown} of {of} more after rests of {seconds:.1} s and longer, and of {} after shorter ones none",
        short.len()
    );
    let which = format!("after {seconds:.1} s of rest and longer");
    one_way::hold(step, ("starts after long rests that show it", shown, of), ("more start", &which), out);
}

impl Detector for WakeUp {
    fn family(&self) -> Family {
        Family::WakeUp
    }

    fn required(&self, _: &StepView) -> bool {
        false
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        if step.coarse_clock() {
            return;
        }
        let Some(scale) = step.scale.map(|s| s.counts_per_mm) else { return };
        let all: Vec<Placed> = starts(step).collect();
        let looks: usize = all.iter().map(|p| p.start.looks).sum();
        let steep: Vec<&Placed> = all.iter().filter(|p| p.steep(scale)).collect();
        let keys = steep.iter().map(|p| key(p.phase, p.swipe)).collect();
        let travel = Travel::new(step, &keys, scale);
        let recurs = travel.as_ref().is_some_and(|travel| {
            // But for the shortest: one that an operator stopped short says nothing of the others.
            let shorts: Vec<f64> = steep.iter().map(|p| travel.short(p).0).collect();
            let short = shorts.iter().sum::<f64>() - shorts.iter().copied().fold(0.0, f64::max);
            let u: f64 = steep.iter().map(|p| travel.short(p).1).fold(0.0, f64::max);
            let n = steep.len() as f64;
            // Neighbours share a stop; the travel's own uncertainty is common.
            let bias: f64 = steep.iter().map(|p| travel.other_pace(p)).sum();
            n >= RECURS as f64 && short >= bias + SHORT.1 * (2.0 * n).sqrt() * u
        });
        // These are short for another reason.
        let changed = step.at_another_step();
        let mut own = Vec::new();
        for one in &all {
            let start = one.start;
            let per_ns = start.per_slot / step.slot();
            // What the hand cannot but have made at this speed.
            let cannot_but = 0.5 * (per_ns * 1e9).powi(2) / (ARM_ACCELERATION * 1e3 * scale);
            let short = travel.as_ref().map(|t| t.short(one));
            let other_pace = travel.as_ref().map_or(0.0, |t| t.other_pace(one));
            let is_short = one.steep(scale)
                && !one.after_a_silence()
                && !changed.contains(&key(one.phase, one.swipe))
                && !lost_on_its_way(one, short.map_or(0.0, |s| s.0))
                && short.is_some_and(|(short, u)| {
                    (short >= SHORT.0 * u + other_pace || recurs) && short >= cannot_but - AGREES * u
                });
            let (kind, missing, z) = if start.late(scale) {
                // Either look by itself is as rare.
                let of_steep = start.steep.map_or(0.0, |s| s.z);
                (dropout::LATE, start.lump.counts, start.lump.z.max(of_steep))
            } else if is_short {
                let before = start.steep.map_or(0.0, |s| s.before);
                let short = short.map_or(0.0, |s| s.0);
                (
                    SHORT_START,
                    short.max(cannot_but).max(before.min(LEAST_MM * scale)),
                    start.steep.map_or(0.0, |s| s.z),
                )
            } else {
                continue;
            };
            // Of a smooth start x = v t / 3.
            let silent_ns = (3.0 * missing / per_ns.max(1e-12)).min(1e9);
            let begin = start.t.saturating_sub(silent_ns as i64).max(start.before);
            let here = (one.phase.span.number, Some(one.swipe.swipe.number));
            let beside = |f: &Finding| {
                let same = f.family == Family::SpinOut && (f.phase, f.swipe) == here;
                kind == "late" && same && follows((start.t, start.until), f.begin_ns, step.slot())
            };
            let told = |f: &Finding| f.swipe.is_some() && f.begin_ns <= start.until && begin <= f.end_ns;
            if findings.iter().any(|f| told(f) && !beside(f)) {
                continue;
            }
            findings.retain(|f| !beside(f));
            let event = Event {
                family: Family::WakeUp,
                kind,
                begin,
                end: start.until,
                size: missing / scale,
                unit: "mm of travel",
                cause: Cause::PowerSaving,
            };
            let mut finding =
                in_swipe(step, one.phase, one.swipe, event, evidence(one, silent_ns, scale, short));
            let tail = Normal::standard().sf(z) * looks as f64;
            finding.p_false = Some(tail.clamp(LEAST_CHANCE, 1.0));
            own.push(finding);
        }
        hand_to_the_link(&mut own, findings);
        let (woke, handed): (Vec<Finding>, Vec<Finding>) =
            own.into_iter().partition(|f| f.family == Family::WakeUp);
        let once = woke.len() < RECURS || were_awake(step, &woke);
        let cause = |f: Finding| Finding { cause: if once { Cause::Unknown } else { f.cause }, ..f };
        findings.extend(woke.into_iter().map(cause).chain(handed));
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.coarse_clock() {
            return coarse_stamps(step, Family::WakeUp);
        }
        if step.scale.is_none() {
            return no_scale(step, Family::WakeUp);
        }
        let mut examined: BTreeSet<(u32, u32)> = swipes_with(Family::WakeUp, findings);
        let any = !examined.is_empty();
        let (who, from) = if were_awake(step, findings) {
            examined.extend(step.swipes().map(|(p, s)| key(p, s)));
            ("", "; the silence before them is too short for a device that sleeps: it may be what they lost")
        } else {
            examined.extend(starts(step).map(|p| key(p.phase, p.swipe)));
            (" that began after rest", "")
        };
        let mut out = share(step, Family::WakeUp, findings, &examined, who);
        out.because += from;
        after_longer_rests(step, findings, &mut out);
        if !any && out.verdict == Outcome::Inconclusive {
            let fast = step.fast_swipes().filter(|(p, s)| examined.contains(&key(p, s))).count();
            let why = format!(
                "only {} began after a rest, {fast} of them at the fast pace: too few",
                count(examined.len(), "swipe")
            );
            let to_settle = out.to_settle;
            return FamilyVerdict { to_settle, ..not_examined(step, Family::WakeUp, &why) };
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In counts, 40 of which are placing: three that lost 0 to 900 as they woke, and six that are whole but for placing.
    #[test]
    fn siblings_that_lost_counts_themselves_measure_nothing() {
        assert!(!agree(&[9400.0, 8500.0, 9000.0], 40.0));
        assert!(agree(&[9400.0, 9410.0, 9395.0, 9402.0, 9388.0, 9407.0], 40.0));
        assert!(!agree(&[9400.0], 40.0) && !agree(&[], 40.0));
    }
}
