//! Resolution: the step is not what it says, or counts out and back differently.
//!
//! Two criteria. *Effective over nominal*: the effective resolution ([`crate::scale`]) against the plan's nominal; not
//! examined without a nominal or without travel. *Out over back*: mean counts out over mean counts back, less one,
//! which needs neither; its limits are [`OUT_OVER_BACK`].
//!
//! Findings: *off nominal* and *out over back* where a criterion fails, cause unknown (with one step, a sensor's scale and a
//! scaling in the firmware give the same counts; with several see [`crate::setting`]; a tilted sensor, woven cloth and firmware that truncates one way likewise);
//! *other step* where the counts are nearer to another step's nominal than to the told one's, and *step change*
//! ([`crate::step_change`]) where some swipes are, cause step-change. A step that changed keeps the family from passing.
//! A step whose slow swipes are not to be trusted, and whose gain changes with speed, is left open: no pace says what it
//! counts. So it is not failed by other paces where the gain could not be examined. (Added after devices whose link took
//! counts from all slow swipes had failed for the resolution that their fast ones had, which the sensor had cut off.)
//! One that is another step of the plan all through may have been left open for its button: see [`crate::setting`], which knows all
//! steps.
//!
//! A third where a step was swiped along both axes of the device: *y over x* ([`crate::axes`]); its limits are [`Y_OVER_X`].
//! Outside is the finding *axes differ*, cause unknown (a sensor's two axes, firmware that scales one, and a travel measured
//! wrongly for one of them give the same counts). Smallest found: what lies beyond the tolerance by eight standard
//! uncertainties (a stop's scatter times √(2/n slow), the travel's own, and 1 %/√3 without a straight edge): with ten swipes
//! 1.6 % beyond it between stops of 0.7 mm, 4.9 % without an edge. (First scored from 1.5 % beyond it on every bench: a
//! third did not fail, most of them without an edge.)
//! Cost: O(swipes log swipes).

use super::{
    Detector, GainContrast, Lasting, gain_change, limits, map, not_examined, over_phases, report_interval,
    round, verdict,
};
use crate::axes::{self, Axes};
use crate::decision::{self, inside, swipes_for};
use crate::lengths::Lengths;
use crate::scale::{Resolution as Effective, effective, straight_edge, words};
use crate::step::{PhaseView, StepView};
use crate::step_change;
use crate::tolerances::{OUT_OVER_BACK, Y_OVER_X};
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Identified, Outcome, count};
use serde_json::{Value, json};
use slipgauge_trace::session::{Pace, Step};

pub(super) struct Resolution;

/// The first criterion.
pub(crate) const OF_THE_NOMINAL: &str = "effective over nominal";

/// Evidence of *other step*: the step that it counts like.
pub(crate) const LIKE_STEP: &str = "like_step";

/// What both criteria rest on.
struct Measured {
    effective: Option<(Effective, f64)>,
    criteria: Vec<Criterion>,
    out_over_back: Option<f64>,
    /// Why the paces that it could rest on say nothing of it.
    by_pace: Option<&'static str>,
    /// True if reports that are missing with their counts explain what it is off by. (Added after a device that lost a quarter of them had
    /// failed for a sensor of three quarters of its resolution as well.)
    lost: bool,
    /// The other step of the plan that this one counts like.
    other: Option<u32>,
    axes: Result<Axes, &'static str>,
}

/// Lengths that scatter by more than this share are not those of one travel: a stop of a millimetre makes 1 % of 0.1 m.
const ONE_TRAVEL: f64 = 0.1;

fn measure(step: &StepView, findings: &[Finding]) -> Option<Measured> {
    let lengths = Lengths::of(step, findings)?;
    if lengths.scatter > ONE_TRAVEL * lengths.median()? {
        return None;
    }
    let nominal = step.planned.and_then(Step::nominal).map(|n| n.per_millimetre());
    let found = effective(step, &lengths, findings).zip(nominal);
    let tolerance = limits(step, Family::Resolution);
    let what = OF_THE_NOMINAL;
    let ratio = found.as_ref().map(|(e, nominal)| e.counts_per_mm / nominal);
    let other = ratio.and_then(|ratio| step_change::nearest(&step_change::other_steps(step), ratio));
    let other = other.map(|(id, _)| id);
    let gain = findings.iter().find(|f| f.family == Family::GainChange);
    let slow = found.as_ref().is_some_and(|(e, _)| e.pace == Some(Pace::Slow));
    // Slow swipes that were made and tell nothing: nobody knows what the others have lost or gained.
    let unknown = || {
        step.swipes().any(|(p, _)| p.span.phase.pace == Some(Pace::Slow))
            && GainContrast::of(lengths.clone(), straight_edge(step.plan)).is_none()
    };
    let by_pace = match (slow, gain.is_some()) {
        (true, _) => None,
        (_, true) => Some("count differently by pace"),
        _ => unknown().then_some("may count differently by pace"),
    };
    let lost = ratio.zip(reports_missing(findings)).map(|(ratio, share)| ratio / (1.0 - share) - 1.0);
    let lost = lost.filter(|rest| is_within(*rest, tolerance));
    let against = match &found {
        None => decision::not_examined(what, "relative", tolerance),
        Some((e, nominal)) => {
            let (value, u) = (e.counts_per_mm / nominal - 1.0, e.uncertainty / nominal);
            let whole = inside(what, "relative", value, u, e.df, tolerance, step.looks);
            let whole = if e.at_least { bound(whole) } else { whole };
            match whole.verdict {
                Outcome::Fail if by_pace.is_some() || lost.is_some() => {
                    Criterion { verdict: Outcome::Inconclusive, ..whole }
                }
                Outcome::Pass if by_pace.is_some() && gain.is_some() => {
                    Criterion { verdict: Outcome::Inconclusive, ..whole }
                }
                _ => whole,
            }
        }
    };
    let mut criteria = vec![against];
    // What speed does to one direction is told as its gain.
    let told = gain.and_then(|f| f.evidence.get(gain_change::DIRECTION)).is_some_and(|way| !way.is_null());
    let ratio = lengths.out_over_back(|pace| !told || pace == Some(Pace::Slow));
    let ratio = ratio.filter(|r| r.n.0 >= 3 && r.n.1 >= 3);
    if let Some(r) = ratio {
        let (value, u) = (r.value, r.uncertainty);
        criteria.push(inside("out over back", "relative", value, u, lengths.df, OUT_OVER_BACK, step.looks));
    }
    let axes = axes::compare(step, findings);
    if let Ok(a) = &axes {
        criteria.push(inside(
            "y over x",
            "relative",
            a.ratio - 1.0,
            a.uncertainty,
            a.df,
            Y_OVER_X,
            step.looks,
        ));
    } else if step.other_axis.is_some() {
        criteria.push(decision::not_examined("y over x", "relative", Y_OVER_X));
    }
    Some(Measured {
        axes,
        by_pace,
        lost: lost.is_some(),
        other,
        effective: found,
        criteria,
        out_over_back: ratio.map(|r| r.value),
    })
}

/// Share of reports that are missing with their counts, as the findings have it.
fn reports_missing(findings: &[Finding]) -> Option<f64> {
    let gone = |f: &&Finding| f.evidence.get(report_interval::COUNTS_TOO) == Some(&Value::Bool(true));
    findings.iter().find(gone).map(|f| 0.01 * f.size)
}

fn is_within(value: f64, [low, high]: [Option<f64>; 2]) -> bool {
    low.is_none_or(|low| value >= low) && high.is_none_or(|high| value <= high)
}

/// A value of which only the lower end is known can fail above, and else shows nothing.
fn bound(mut criterion: Criterion) -> Criterion {
    if let Some(estimate) = &mut criterion.estimate {
        let above = criterion.tolerance[1].is_some_and(|high| estimate.value > high);
        if criterion.verdict != Outcome::Fail || !above {
            criterion.verdict = Outcome::Inconclusive;
        }
        estimate.high = None;
    }
    criterion
}

fn of_the_step(
    step: &StepView,
    kind: &'static str,
    size: f64,
    cause: Cause,
    evidence: Value,
) -> Option<Finding> {
    let swiped = step.phases.iter().filter(|p| !p.swipes.is_empty());
    let lasting = Lasting { family: Family::Resolution, kind, size, unit: "relative", cause };
    over_phases(step, swiped, lasting, evidence)
}

impl Detector for Resolution {
    fn family(&self) -> Family {
        Family::Resolution
    }

    fn required(&self, step: &StepView) -> bool {
        step.planned.and_then(Step::nominal).is_some()
    }

    fn criteria(&self) -> usize {
        3
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        for run in &step.changes {
            let Some(&(phase, swipe)) = run.keys.first() else { continue };
            findings.push(Finding {
                family: Family::Resolution,
                kind: "step change",
                step: step.id,
                phase,
                swipe: Some(swipe),
                device: step.device,
                direction: None,
                begin_ns: run.span.0,
                end_ns: run.span.1,
                size: run.ratio,
                unit: "of one travel",
                p_false: None,
                cause: Cause::StepChange,
                evidence: map(json!({
                    "swipes": run.keys.len(),
                    "last_swipe": run.keys.last().map(|k| k.1),
                    "like_step": run.to,
                    "nominal_ratio": run.nominal.map(|n| round(n, 4)),
                    "here_and_there": run.apart,
                })),
            });
        }
        let Some(measured) = measure(step, findings) else { return };
        let is_off = |c: &&Criterion| {
            c.verdict == Outcome::Fail
                || (c.what == OF_THE_NOMINAL
                    && c.verdict == Outcome::Inconclusive
                    && measured.other.is_some())
        };
        for criterion in measured.criteria.iter().filter(is_off) {
            let Some(estimate) = criterion.estimate else { continue };
            let evidence = |because: &str| {
                json!({
                    "low": estimate.low.map(|v| round(v, 5)),
                    "high": estimate.high.map(|v| round(v, 5)),
                    "because": because,
                })
            };
            let value = estimate.value;
            let other = measured.effective.map(|(e, _)| crate::identified(step, Some(e.per_inch())));
            let finding = match (criterion.what, other) {
                ("out over back", _) => {
                    let why = "a tilted sensor, the weave of a cloth and firmware that truncates look alike";
                    of_the_step(step, "out over back", value, Cause::Unknown, evidence(why))
                }
                ("y over x", _) => {
                    let why = "a sensor's two axes, firmware that scales one, and a travel measured wrongly look alike";
                    of_the_step(step, "axes differ", value, Cause::Unknown, evidence(why))
                }
                (_, Some(Identified::OtherStep)) => {
                    let why = "the counts are nearer to another step's nominal than to this one's";
                    let mut evidence = evidence(why);
                    if let (Some(map), Some(other)) = (evidence.as_object_mut(), measured.other) {
                        map.insert(LIKE_STEP.to_owned(), json!(other));
                    }
                    of_the_step(step, "other step", value, Cause::StepChange, evidence)
                }
                _ => {
                    let why = "a sensor's scale and a scaling in the firmware give the same counts";
                    of_the_step(step, "off nominal", value, Cause::Unknown, evidence(why))
                }
            };
            findings.extend(finding);
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let Some(mut measured) = measure(step, findings) else {
            let why = "no swipes, no scale to sift them by, or lengths that scatter by a tenth: not made from stop to stop";
            return not_examined(step, Family::Resolution, why);
        };
        let mut because = match measured.effective {
            Some((e, nominal)) => format!(
                "{}{:.0} counts/inch from {} {} swipes, {:+.1} % from the nominal {:.0}",
                if e.at_least { "at least " } else { "" },
                e.counts_per_mm * 25.4,
                e.swipes,
                words(e.pace),
                (e.counts_per_mm / nominal - 1.0) * 100.0,
                nominal * 25.4
            ),
            None if step.planned.and_then(Step::nominal).is_none() => {
                "no nominal resolution to hold it against".to_owned()
            }
            None => "no travel, or fewer than three clean swipes of one pace".to_owned(),
        };
        if measured.effective.is_some_and(|(e, _)| e.pace != Some(Pace::Slow)) {
            because += "; the slow swipes are too few or not to be trusted";
        }
        if let Some(why) = measured.by_pace {
            because += &format!(", and the others {why}");
        }
        if let Some(ratio) = measured.out_over_back {
            because += &format!("; out counts {:+.2} % against back", ratio * 100.0);
        }
        match &measured.axes {
            Ok(a) => {
                let half = a.written().y_over_x.high.map_or(0.0, |high| high - a.ratio);
                because += &format!(
                    "; {:+.2} % fore and aft against sideways (± {:.2} %)",
                    100.0 * (a.ratio - 1.0),
                    100.0 * half
                );
            }
            Err(why) if step.other_axis.is_some() => {
                because += &format!("; the axes are not compared: {why}")
            }
            Err(_) => {}
        }
        let own: Vec<&Finding> = findings.iter().filter(|f| f.family == Family::Resolution).collect();
        let mut changes = own.iter().filter(|f| f.kind == "step change");
        let changed = changes.clone().count();
        if let Some(first) = changes.next() {
            let n = first.evidence.get("swipes").and_then(Value::as_u64).unwrap_or(0) as usize;
            let apart = first.evidence.get("here_and_there") == Some(&Value::Bool(true));
            let (swipes, by) = (count(n, "swipe"), 100.0 * (first.size - 1.0));
            because += &match (first.evidence.get("like_step"), first.swipe) {
                (Some(Value::Number(like)), _) => format!("; some swipes were made at step {like}"),
                _ if apart => format!(
                    "; {swipes} here and there count {by:+.1} %: a step's button, pressed again each time, or the device"
                ),
                (_, swipe) => format!(
                    "; from swipe {} of phase {} on {swipes} count {by:+.1} %: a step's button, a stop that moved, or the \
                     device",
                    swipe.unwrap_or(1),
                    first.phase
                ),
            };
            let kept = decision::not_examined("one step throughout", "", [None, None]);
            measured.criteria.push(Criterion { verdict: Outcome::Inconclusive, ..kept });
        }
        let first = measured.criteria.first().cloned();
        if let Some(missing) = reports_missing(findings) {
            because += &format!("; {:.1} % of reports are missing, with their counts", 100.0 * missing);
        }
        if measured.lost {
            because += ", and explain it";
        }
        let lost = measured.lost;
        let mut out = verdict(Family::Resolution, measured.criteria, own.len(), because);
        out.cause = super::common_cause(&own);
        out.smallest_found = measured.effective.map(|(e, nominal)| 2.0 * e.uncertainty / nominal);
        if out.verdict == Outcome::Inconclusive {
            out.to_settle = Some(match (changed > 0, measured.effective, first) {
                (true, _, _) => "the same swipes once more, with nobody near the step's button".to_owned(),
                _ if measured.by_pace.is_some() => "slow swipes that count".to_owned(),
                _ if lost => "the same swipes where no reports go missing".to_owned(),
                (_, Some((e, _)), _) if e.at_least => {
                    let mm = step.travel.map_or(300.0, |t| t.millimetres());
                    let is_slow = |p: &PhaseView| p.span.phase.pace == Some(Pace::Slow);
                    let slow =
                        |number: u32| step.phases.iter().any(|p| p.span.number == number && is_slow(p));
                    let clips = findings.iter().any(|f| f.family == Family::ReportCeiling && slow(f.phase));
                    let which = if clips { "slow enough not to clip" } else { "that lose no counts" };
                    format!("6 swipes {which}, {:.0} s for {mm:.0} mm", mm / 75.0)
                }
                (_, Some((e, nominal)), Some(criterion)) => {
                    let random = e.placing / nominal;
                    let fixed = (e.uncertainty.powi(2) - e.placing.powi(2)).max(0.0).sqrt() / nominal;
                    match swipes_for(&criterion, e.swipes, random, fixed, e.df, step.looks) {
                        Some(more) => format!("{more} more {} swipes", words(e.pace)),
                        None => "a better known travel, along a straight edge".to_owned(),
                    }
                }
                _ => "more swipes out and back".to_owned(),
            });
        }
        out
    }
}
