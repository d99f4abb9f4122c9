//! From a recording to findings and a verdict.
//!
//! Reads no file, prints nothing, draws nothing. The path, one module each:
//!
//! 1. [`series`]: a phase's motion in order of time, and the direction of travel.
//! 2. [`swipes`]: the travels from stop to stop, on devices that fail as well.
//! 3. [`silence`], [`erratic`], [`false_motion`], [`clip`], [`shortfall`]: where counts are missing, false or cut off, and swipes that are
//!    short for it; [`mod@expected`]: how fast the hand must have been.
//! 4. [`step`]: all of that for one resolution step.
//! 5. [`families`]: one file per fault family; [`baseline`], [`lengths`], [`scale`], [`step_change`], [`after_stop`],
//!    [`gain_curve`], [`closure`]: counts for a known travel; [`tracking_limit`]; [`ripple`].
//! 6. [`decision`], [`tolerances`], [`together`]: pass, fail or inconclusive.
//! 7. [`verdict`]: what is said, as it is written; [`compare`]: sessions side by side.
//!
//! [`judge`] walks it. "Not examined" and "inconclusive" are results.

mod after_rest;
pub mod after_stop;
pub mod axes;
pub mod baseline;
pub mod clip;
pub mod closure;
pub mod compare;
pub mod control;
pub mod decision;
pub mod erratic;
pub mod expected;
pub mod false_motion;
pub mod families;
pub mod gain_curve;
pub mod grid;
mod host;
pub mod intervals;
pub mod lengths;
pub mod live;
pub mod pair;
pub mod periodicity;
pub mod quantum;
pub mod ripple;
pub mod scale;
pub mod series;
pub mod setting;
pub mod shortfall;
pub mod silence;
pub mod spectrum;
pub mod starts;
pub mod stats;
pub mod step;
pub mod step_change;
pub mod swipes;
pub mod together;
pub mod tolerances;
pub mod tracking_limit;
pub mod verdict;
mod whole;

use families::{NOT_LOOKED_AT, REGISTRY, clean_swipes, drop_explained, not_examined};
use host::HostSpans;
use lengths::Lengths;
use serde_json::{Value, json};
use slipgauge_trace::Recording;
use slipgauge_trace::recording::PhaseSpan;
use slipgauge_trace::session::{ClockId, Pace, Role, Step, Task};
use std::collections::BTreeMap;
use std::sync::Arc;
use step::StepView;
use verdict::{
    DeviceWords, Family, FamilyVerdict, Finding, HostVerdict, Identified, Outcome, OverSteps, Quantity,
    Received, StepVerdict, Swept, SwipeCounts, Verdict,
};

/// A verdict together with what it was read from, for pictures.
#[derive(Debug)]
pub struct Judgement<'a> {
    /// What is said.
    pub verdict: Verdict,
    /// What it was read from, one a judged step.
    pub steps: Vec<StepView<'a>>,
}

/// Judges a recording. `session` is the file's name, as it is to be quoted.
pub fn judge<'a>(recording: &'a Recording, session: &str) -> Judgement<'a> {
    let header = &recording.header;
    let device = header.devices.iter().position(|d| d.role == Role::Test).unwrap_or(0);
    let mut by_step: BTreeMap<u32, Vec<&PhaseSpan>> = BTreeMap::new();
    let slow = slow_stamps(recording, device);
    for span in recording.phases.iter().filter(|span| span.voided.is_none() && slow.is_none()) {
        by_step.entry(span.phase.step).or_default().push(span);
    }
    // And one look at families together, and one that slower paces share.
    let criteria: usize = 2 + REGISTRY.iter().map(|family| family.criteria()).sum::<usize>();
    let looks = by_step.len().saturating_mul(criteria).saturating_add(together::looks_over(by_step.len()));
    let looks = u32::try_from(looks).unwrap_or(u32::MAX);
    let host = Arc::new(HostSpans::new(&recording.host));
    let view = |id: u32, spans: &[&PhaseSpan]| StepView::new(recording, device, id, spans, &host, looks);
    let views = by_step.iter().filter_map(|(&id, spans)| {
        let (spans, other) = axes::apart(header.plan.as_ref(), spans);
        let other_axis = view(id, &other).filter(|_| !other.is_empty()).map(Box::new);
        Some(StepView { other_axis, ..view(id, &spans)? })
    });
    let views: Vec<StepView> = views.collect();
    let mut findings = Vec::new();
    let (mut steps, mut lengths) = (Vec::new(), Vec::new());
    for view in &views {
        let mut own = Vec::new();
        if let Some(other) = &view.other_axis {
            // What is wrong in swipes along the other axis; what lasts is judged along this one.
            REGISTRY.iter().for_each(|family| family.detect(other, &mut own));
            own.retain(|finding| finding.swipe.is_some());
        }
        REGISTRY.iter().for_each(|family| family.detect(view, &mut own));
        drop_explained(view, &mut own);
        own.sort_by_key(|f| (f.begin_ns, f.family));
        let clean = Lengths::of(view, &own);
        let mut decided = step_verdict(view, &own, clean.as_ref());
        let voided = recording.phases.iter().filter(|p| p.voided.is_some() && p.phase.step == view.id);
        decided.swipes.voided = voided.filter_map(PhaseSpan::swipes).fold(0, u32::saturating_add);
        steps.push(decided);
        lengths.push(clean);
        findings.extend(own);
    }
    let received = received(recording, device);
    let closure = views.iter().zip(&lengths).flat_map(|(view, l)| closure::of(view, l.as_ref())).collect();
    scale::ratios(&views, &lengths, &mut steps);
    setting::settle(&views, &mut findings, &mut steps);
    steps.iter_mut().for_each(|step| step.verdict = outcome(step));
    let over_steps = together::over_steps(&views, &findings, &steps);
    let over = over_steps.iter().map(|_| (Outcome::Fail, true));
    let outcome = verdict::roll_up(steps.iter().map(|s| (s.verdict, true)).chain(over));
    let pair = pair::pair(&views, &findings);
    let voided: Vec<u32> = recording.phases.iter().filter(|p| p.voided.is_some()).map(|p| p.number).collect();
    let live = live::settle(&recording.live, &findings, &voided);
    let verdict = Verdict {
        slipgauge_verdict: verdict::VERSION,
        tool: concat!("slipgauge ", env!("CARGO_PKG_VERSION")).to_owned(),
        rules: verdict::RULES,
        confidence: verdict::CONFIDENCE,
        session: session.to_owned(),
        sha256: recording.digest.sha256.iter().map(|b| format!("{b:02x}")).collect(),
        bytes: recording.digest.bytes,
        verdict: outcome,
        because: because(outcome, (&steps, &over_steps), &received, slow.is_some()),
        device: words(recording, device),
        plan: plan_as_used(recording),
        steps,
        over_steps,
        findings,
        host: HostVerdict {
            watched: header.clock.id != ClockId::Foreign,
            stalls: recording.host.stalls.len(),
            overruns: recording.host.overruns.len(),
            stamp_spread_ns: None,
        },
        closure,
        pair,
        received,
        live,
        control: None,
        remarks: slow.into_iter().chain(remarks(recording, device)).collect(),
    };
    Judgement { verdict, steps: views }
}

/// No device polls its sensor less often while it moves, nanoseconds: the slowest interval of HID at low and full speed.
const SLOWEST: f64 = 255e6;
/// Reports in motion that tell it.
const MANY: usize = 100;

/// Why no phase can be judged, where reports come further apart in motion than any device sends them: the stamps are of another unit.
/// Of swipes alone, since counts at rest and buttons come when they like. (Added after a file whose times were all a thousand times
/// too long had shown 10,935 swipes of 40, and a device that failed.)
fn slow_stamps(recording: &Recording, device: usize) -> Option<String> {
    let motion = &recording.devices.get(device)?.motion;
    let swipes = recording.phases.iter().filter(|p| p.phase.task == Task::Swipes);
    let gaps = swipes.flat_map(|p| {
        let rows = motion.rows(p.begin, p.end);
        let moving = rows.filter(|row| motion.x[*row] != 0 || motion.y[*row] != 0);
        let stamps: Vec<i64> = moving.map(|row| motion.received_ns[row]).collect();
        stamps.windows(2).map(|pair| (pair[1] - pair[0]) as f64).collect::<Vec<_>>()
    });
    let gaps: Vec<f64> = gaps.collect();
    let typical = stats::median(&gaps).filter(|ns| gaps.len() >= MANY && *ns > SLOWEST)?;
    Some(format!(
        "reports come {:.2} s apart in swipes, which no device does: `t` is in nanoseconds, and that of this file is not; nothing \
         of it is judged until it is",
        typical * 1e-9
    ))
}

fn step_verdict(view: &StepView, findings: &[Finding], lengths: Option<&Lengths>) -> StepVerdict {
    let decided = |family: &&dyn families::Detector| {
        let required = family.required(view);
        (family.family(), FamilyVerdict { required, ..family.decide(view, findings) })
    };
    let mut families: BTreeMap<Family, FamilyVerdict> = REGISTRY.iter().map(decided).collect();
    for family in Family::ALL {
        families.entry(family).or_insert_with(|| not_examined(view, family, NOT_LOOKED_AT));
    }
    let together = together::exceeded(view, findings, &families);
    let others = view.other_axis.iter().flat_map(|other| &other.phases);
    let unplaced = view.phases.iter().chain(others.clone()).map(|p| p.unplaced).fold(0, u32::saturating_add);
    let lacks = |pace: Option<Pace>| {
        let own = view.phases.iter().chain(others.clone()).filter(move |p| p.span.phase.pace == pace);
        own.map(|p| p.lacks).fold(0, u32::saturating_add)
    };
    let all = || view.swipes().map(|(_, s)| s);
    let clean: Vec<_> = clean_swipes(view, findings).collect();
    let speed = |mm_s: f64| (view.scale.is_some() && mm_s > 0.0).then_some(mm_s * 1e-3);
    let highest = |values: &mut dyn Iterator<Item = f64>| values.reduce(f64::max);
    let swept = Swept {
        fastest_clean_m_s: highest(&mut clean.iter().filter_map(|s| speed(s.grid.claim.seen_mm_s))),
        fastest_m_s: highest(&mut all().filter_map(|s| speed(s.grid.claim.made_mm_s))),
        acceleration_m_s2: highest(&mut clean.iter().map(|s| s.grid.claim.acceleration_m_s2)),
    };
    let (found, clean) = (all().count() as u32, clean.len() as u32);
    let resolution = lengths.and_then(|l| scale::effective(view, l, findings));
    let limit = tracking_limit::estimate(view, findings, lengths, resolution.as_ref());
    let resolution = resolution.map(|r| r.per_inch());
    let gain_curve = lengths.and_then(|l| gain_curve::fit(view, l));
    StepVerdict {
        step: view.id,
        label: view.planned.and_then(|p| p.label.clone()),
        nominal_counts_per_inch: view.planned.and_then(|p| p.nominal_counts_per_inch),
        identified: identified(view, resolution),
        // Once all steps are known.
        verdict: Outcome::NotExamined,
        swipes: SwipeCounts {
            asked: view.phases.iter().filter_map(|p| p.span.swipes()).fold(0, u32::saturating_add),
            found,
            clean,
            unplaced,
            voided: 0,
            disturbed: all().filter(|s| s.disturbed).count() as u32,
        },
        unplaced_to_settle: unplaced_to_settle(unplaced, lacks),
        swept,
        resolution_counts_per_inch: resolution,
        axes: axes::compare(view, findings).ok().map(|axes| axes.written()),
        ratios: Vec::new(),
        gain_curve,
        ripple: ripple::examine(view, findings),
        left_out: lengths.map(|l| l.left_out.clone()).unwrap_or_default(),
        report_interval_ns: families::report_interval::told(view),
        tracking_limit_m_s: limit.as_ref().and_then(|limit| limit.as_ref().ok().copied()),
        tracking_limit_because: limit.and_then(Result::err),
        families: Family::ALL.into_iter().filter_map(|family| families.remove(&family)).collect(),
        together,
    }
}

/// What would settle swipes that are unplaced, of which so many of a pace may not have been made. (Added after sessions that lacked one
/// had been left open with no word of what to do.)
fn unplaced_to_settle(unplaced: u32, lacks: impl Fn(Option<Pace>) -> u32) -> Option<String> {
    let paces = [Some(Pace::Slow), Some(Pace::Medium), Some(Pace::Fast), Some(Pace::Unknown), None];
    let paces = paces.map(|pace| (pace, lacks(pace)));
    let lacking = paces.iter().map(|(_, n)| *n).fold(0, u32::saturating_add);
    let more = paces.iter().filter(|(_, n)| *n > 0);
    let more = more.map(|(pace, n)| verdict::count(*n, &format!("more {} swipe", scale::words(*pace))));
    let more = more.collect::<Vec<_>>().join(" and ");
    match (unplaced, unplaced.saturating_sub(lacking)) {
        (0, _) => None,
        (_, 0) => {
            let (were, them) = if lacking == 1 { ("it was", "it") } else { ("they were", "them") };
            Some(format!("{more}, unless {were} made: then the device showed nothing of {them}"))
        }
        (_, unseen) => Some(format!(
            "a new session, the device never lifted: of {} nothing was seen",
            verdict::count(unseen, "return")
        )),
    }
}

/// The outcome of a step by its families.
fn outcome(step: &StepVerdict) -> Outcome {
    let families = step.families.iter().map(|decided| (decided.verdict, decided.required));
    let together = step.together.iter().map(|_| (Outcome::Fail, true));
    // What cannot be placed may be what failed: no pass, and no fail by it alone.
    let unplaced = (step.swipes.unplaced > 0).then_some((Outcome::Inconclusive, true));
    verdict::roll_up(families.chain(together).chain(unplaced))
}

/// Holds the effective resolution against the nominals of all steps: the nearest in ratio is the active one.
pub(crate) fn identified(view: &StepView, resolution: Option<Quantity>) -> Identified {
    let (Some(plan), Some(resolution), Some(own)) =
        (view.plan, resolution, view.planned.and_then(Step::nominal))
    else {
        return Identified::Unknown;
    };
    let distance = |nominal: f64| (resolution.value / nominal).ln().abs();
    let others = plan.steps.iter().filter(|s| s.id != view.id).filter_map(Step::nominal);
    let nearer = others.map(|n| distance(n.per_inch())).any(|d| d < distance(own.per_inch()));
    match (nearer, distance(own.per_inch()) < 1.25f64.ln()) {
        (true, _) => Identified::OtherStep,
        (false, true) => Identified::AsTold,
        (false, false) => Identified::Unknown,
    }
}

fn received(recording: &Recording, device: usize) -> Received {
    let Some(trace) = recording.devices.get(device) else { return Received::default() };
    let motion = &trace.motion;
    let (received_ns, place) = (&motion.received_ns, &motion.place);
    let pairs = received_ns.iter().zip(received_ns.iter().skip(1)).zip(place.iter().skip(1));
    let gaps: Vec<f64> = pairs.filter(|(_, place)| **place == 0).map(|((a, b), _)| (b - a) as f64).collect();
    let largest = motion.x.iter().chain(&motion.y).map(|v| i64::from(*v).abs()).max();
    let inside: usize = recording.phases.iter().map(|p| motion.rows(p.begin, p.end).len()).sum();
    Received {
        reports: motion.len(),
        moving: motion.x.iter().zip(&motion.y).filter(|(x, y)| **x != 0 || **y != 0).count(),
        largest_counts: largest.unwrap_or(0),
        typical_interval_ns: stats::median(&gaps),
        malformed: trace.malformed,
        other: trace.other,
        seconds: (recording.span.1 - recording.span.0).seconds(),
        outside_phases: motion.len().saturating_sub(inside),
    }
}

fn words(recording: &Recording, device: usize) -> DeviceWords {
    recording.header.devices.get(device).map_or_else(DeviceWords::default, |d| DeviceWords {
        label: d.label.clone(),
        unit: d.unit.clone(),
        name: d.name.clone(),
        vendor: d.vendor,
        product: d.product,
    })
}

/// The plan as given, with every tolerance that these rules used and its source.
fn plan_as_used(recording: &Recording) -> Value {
    let plan = recording.header.plan.as_ref();
    let mut out = plan.map_or_else(|| json!({}), |p| json!(p));
    let used: serde_json::Map<String, Value> = REGISTRY
        .iter()
        .filter_map(|f| {
            let family = f.family();
            let key = json!(family).as_str()?.to_owned();
            Some((key, json!(tolerances::tolerance(plan, family)?)))
        })
        .collect();
    if let Some(map) = out.as_object_mut() {
        map.insert("tolerances".to_owned(), Value::Object(used));
    }
    out
}

/// Fields set aside that are told one by one.
const SAID: usize = 8;

/// What a reader must know of the file itself.
fn remarks(recording: &Recording, device: usize) -> Vec<String> {
    let mut out = Vec::new();
    // A sentence each, of text from outside, and no more than a reader takes in.
    out.extend(recording.set_aside.iter().take(SAID).cloned());
    if recording.set_aside.len() > SAID {
        out.push(format!("{} more fields were set aside", recording.set_aside.len() - SAID));
    }
    if recording.digest.cut_short {
        out.push("the last line of the file was cut short and left out".to_owned());
    }
    if !recording.ended {
        out.push(
            "the recording was not closed: it ended without its last line, or is still being written"
                .to_owned(),
        );
    }
    if recording.unknown_lines > 0 {
        out.push(format!(
            "{} lines of a kind that this version does not know were skipped",
            recording.unknown_lines
        ));
    }
    if let Some(trace) = recording.devices.get(device) {
        if let Some((t, line, why)) = trace.malformed_first.first() {
            let n = trace.malformed;
            out.push(format!(
                "{n} reports did not fit their descriptor; the first, on line {line} at {:.3} s: {why}",
                t.seconds()
            ));
        }
        if !trace.gone.is_empty() {
            out.push("the device went away while recording".to_owned());
        }
    }
    if recording.phases.is_empty() {
        out.push("no phases were recorded: what arrived is counted, not judged".to_owned());
    }
    out
}

/// At which steps, of so many: nothing if there is only one.
fn at_steps(at: &[u32], of: usize) -> String {
    match at {
        _ if of == 1 => String::new(),
        _ if at.len() == of => " at every step".to_owned(),
        [] => String::new(),
        _ => format!(" at {}", verdict::listed(at)),
    }
}

/// The reason for the outcome, in one sentence.
fn because(
    outcome: Outcome,
    (steps, over): (&[StepVerdict], &[OverSteps]),
    received: &Received,
    slow: bool,
) -> String {
    let which = |wanted: Outcome| {
        // What is not required may well be left unexamined.
        let named =
            |f: &&FamilyVerdict| f.verdict == wanted && (f.required || wanted != Outcome::NotExamined);
        let own =
            |step: &StepVerdict| step.families.iter().filter(named).map(|f| f.family).collect::<Vec<_>>();
        let mut named: Vec<(Family, Vec<u32>)> = Vec::new();
        for step in steps {
            for family in own(step) {
                match named.iter_mut().find(|(known, _)| *known == family) {
                    Some((_, at)) => at.push(step.step),
                    None => named.push((family, vec![step.step])),
                }
            }
        }
        let words =
            named.iter().map(|(family, at)| format!("{}{}", family.words(), at_steps(at, steps.len())));
        words.collect::<Vec<_>>().join(", ")
    };
    let clean = steps.iter().filter_map(|s| s.swept.fastest_clean_m_s).reduce(f64::min);
    let upto =
        clean.map_or_else(String::new, |v| format!("clean up to {v:.1} m/s ({:.0} in/s), ", v / 0.0254));
    match outcome {
        Outcome::Pass => format!("{upto}every examined family within its tolerance"),
        Outcome::Fail => {
            let together = steps.iter().filter_map(|s| Some((s.together.as_ref()?, s.step)));
            let together =
                together.map(|(t, step)| format!("{}{}", t.words(), at_steps(&[step], steps.len())));
            let over = over.iter().map(|o| o.words(steps.len()));
            let all: Vec<String> =
                Some(which(Outcome::Fail)).into_iter().chain(together).chain(over).collect();
            let all: Vec<String> = all.into_iter().filter(|words| !words.is_empty()).collect();
            format!("outside tolerance: {}", all.join("; "))
        }
        Outcome::Inconclusive => {
            let unplaced = steps.iter().map(|s| s.swipes.unplaced).fold(0, u32::saturating_add);
            let open = which(Outcome::Inconclusive);
            let mut reasons = Vec::new();
            if !open.is_empty() {
                reasons.push(format!("not settled: {open}"));
            }
            if unplaced > 0 {
                reasons.push(format!("{} could not be placed", verdict::count(unplaced, "swipe")));
            }
            let unseen = which(Outcome::NotExamined);
            if !unseen.is_empty() {
                reasons.push(format!("not examined: {unseen}"));
            }
            let but = if upto.is_empty() { "" } else { "but " };
            format!("{upto}{but}{}", reasons.join("; "))
        }
        Outcome::NotExamined if slow => "the times of this file cannot be meant".to_owned(),
        Outcome::NotExamined => format!(
            "nothing was asked of the device: {} reports in {:.1} s, {} of them moving",
            received.reports, received.seconds, received.moving
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::at_steps;

    #[test]
    fn steps_are_named_as_few_as_they_are() {
        assert_eq!(at_steps(&[1], 1), "");
        assert_eq!(at_steps(&[1, 2], 2), " at every step");
        assert_eq!(at_steps(&[2], 4), " at step 2");
        assert_eq!(at_steps(&[1, 2, 4], 4), " at steps 1, 2 and 4");
    }
}
