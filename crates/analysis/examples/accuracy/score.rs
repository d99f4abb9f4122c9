//! Holds what was said against what happened.
//!
//! An event is *found* if a finding of its own family overlaps it, give or take [`MARGIN`]; *elsewhere* if only one of
//! another family does; *with another* if the findings of its family in its swipe hold what all such events of the swipe took
//! together (an operator pauses on the way, and one finding tells what was lost before and after); *unplaced* if its whole
//! swipe was not found and the verdict reports as many as could not be placed; *disturbed* if its swipe is one of those that
//! are not judged for what this computer may have lost of them, and reported so; else *missed*. A finding that overlaps no
//! label of a fault is *invented*. What operator and host did are labels too, and no faults.

use crate::cases::{Case, Score};
use crate::run::{Found, Ran};
use serde::Serialize;
use slipgauge_analysis::verdict::{Cause, Family, Finding, Outcome};
use slipgauge_sim::{Family as TrueFamily, Label, SwipeTruth, Truth};

/// Findings lie between reports, labels between polls: one slow report and the reader's delay.
const MARGIN: i64 = 25_000_000;
/// Of what was lost, what a finding that tells of several events holds: its flanks are known to some per cent.
const HOLDS: f64 = 0.9;
/// A label longer than this holds for a phase or a session and explains only findings of its own family.
const LASTING: i64 = 5_000_000_000;

/// What came of one session.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Events that were large enough to be found.
    pub events: usize,
    /// Not found at all.
    pub missed: usize,
    /// Found only under another family.
    pub elsewhere: usize,
    /// Told with another event of its swipe.
    pub with_another: usize,
    /// In swipes that are reported as unplaced.
    pub in_unplaced: usize,
    /// In swipes that this computer disturbed, as is reported.
    pub disturbed: usize,
    /// Found with the right cause, with cause unknown, with a wrong one.
    pub cause: [usize; 3],
    /// Found with the right kind, of those whose kind can be told.
    pub kind: (usize, usize),
    /// More than one finding of the family for one event.
    pub doubled: usize,
    /// Families of findings for which nothing happened.
    pub invented: Vec<Family>,
    /// Whether the family fails, passes, or was not examined.
    pub fails: bool,
    /// See `fails`.
    pub not_examined: bool,
    /// Families that fail.
    pub failing: Vec<Family>,
    /// Whether the whole session passes.
    pub passes: bool,
    /// Swipes that could not be placed.
    pub unplaced: u32,
}

/// A name as both sides spell it.
pub fn spelled(value: impl Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

/// True if a finding lies at a label's place.
pub fn overlap(label: &Label, finding: &Finding) -> bool {
    finding.begin_ns <= label.end_ns + MARGIN && label.begin_ns <= finding.end_ns + MARGIN
}

/// True if the host was held up at the label's place: then it is rightly put down to the host.
fn hidden(label: &Label, truth: &Truth) -> bool {
    if label.end_ns - label.begin_ns >= LASTING {
        return false;
    }
    let host = truth.labels.iter().filter(|l| l.family == TrueFamily::Host || l.kind == "overrun");
    host.into_iter().any(|h| h.begin_ns <= label.end_ns + MARGIN && label.begin_ns <= h.end_ns + MARGIN)
}

/// The swipe that a label is in, as it was made.
fn made_in<'a>(label: &Label, ran: &'a Ran) -> Option<&'a SwipeTruth> {
    ran.truth.swipes.iter().find(|s| s.begin_ns <= label.end_ns && label.begin_ns <= s.end_ns)
}

/// True if the findings of a family in a label's swipe hold as much as all such events of the swipe.
fn is_with_another(family: Family, label: &Label, ran: &Ran) -> bool {
    let Some(made) = made_in(label, ran) else { return false };
    let within = |begin: i64, end: i64| begin <= made.end_ns && made.begin_ns <= end;
    let name = spelled(family);
    let events = ran.truth.labels.iter().filter(|l| spelled(l.family) == name && l.unit == label.unit);
    let took: f64 = events.filter(|l| within(l.begin_ns, l.end_ns)).map(|l| l.size).sum();
    let own = ran.verdict.findings.iter().filter(|f| f.family == family && f.unit.starts_with("mm"));
    let told: f64 = own.filter(|f| within(f.begin_ns, f.end_ns)).map(|f| f.size).sum();
    label.unit == "mm" && told >= HOLDS * took
}

/// True if a label's swipe is one of those that are said to be disturbed.
fn is_disturbed(label: &Label, ran: &Ran) -> bool {
    let Some(made) = made_in(label, ran) else { return false };
    let here = |found: &Found| found.span.0 <= made.end_ns && made.begin_ns <= found.span.1;
    ran.swipes.iter().any(|found| found.disturbed && here(found))
}

/// True if no swipe was found where the one of a label was made.
fn is_left_out(label: &Label, ran: &Ran) -> bool {
    let made = made_in(label, ran);
    made.is_some_and(|s| {
        !ran.swipes.iter().any(|found| found.span.0 <= s.end_ns && s.begin_ns <= found.span.1)
    })
}

fn is_fault(label: &Label) -> bool {
    !matches!(label.family, TrueFamily::Operator | TrueFamily::Host) && label.kind != "overrun"
}

/// What a finding's kind would be called in the truth, for families whose kinds matter.
fn true_kind(finding: &Finding) -> Option<&str> {
    match (finding.family, finding.kind) {
        (Family::Dropout, "late") => Some("late"),
        (Family::Dropout, "lost") => Some("lost"),
        (Family::ReportCeiling, "thrown away") => Some("discarded"),
        (Family::ReportCeiling, "handed on") => Some("carried"),
        (Family::Dropout | Family::ReportCeiling, _) => Some("not told"),
        (Family::Drift, kind) => Some(kind),
        _ => None,
    }
}

/// Findings for which nothing happened.
pub fn invented(ran: &Ran) -> Vec<&Finding> {
    let explains = |label: &Label, finding: &Finding| {
        let same = spelled(label.family) == spelled(finding.family);
        is_fault(label) && overlap(label, finding) && (same || label.end_ns - label.begin_ns < LASTING)
    };
    let none = |f: &&Finding| !ran.truth.labels.iter().any(|label| explains(label, f));
    ran.verdict.findings.iter().filter(none).collect()
}

/// What is common to all sessions.
pub fn session(ran: &Ran) -> Tally {
    let families = ran.step().map(|s| s.families.as_slice()).unwrap_or_default();
    Tally {
        invented: invented(ran).into_iter().map(|f| f.family).collect(),
        failing: families.iter().filter(|f| f.verdict == Outcome::Fail).map(|f| f.family).collect(),
        passes: ran.verdict.verdict == Outcome::Pass,
        unplaced: ran.step().map_or(0, |s| s.swipes.unplaced),
        ..Tally::default()
    }
}

/// A session of a fault.
pub fn case(case: &Case, ran: &Ran) -> Tally {
    let mut tally = session(ran);
    let outcome = ran.family(case.family).map(|f| f.verdict);
    tally.fails = outcome == Some(Outcome::Fail);
    tally.not_examined = outcome.is_none_or(|o| o == Outcome::NotExamined);
    match case.score {
        Score::Fails(outside) if !outside(&ran.truth) => {}
        Score::Fails(_) => {
            // One event a session: being outside the tolerance.
            tally.events = 1;
            tally.missed = usize::from(!tally.fails);
            if let (true, Some(cause)) = (tally.fails, ran.family(case.family).and_then(|f| f.cause)) {
                let label = ran.truth.labels.iter().find(|l| spelled(l.family) == spelled(case.family));
                if let Some(label) = label {
                    count_cause(&mut tally, cause, label);
                }
            }
        }
        Score::Events(large_enough) => {
            let name = spelled(case.family);
            let own = ran.truth.labels.iter().filter(|l| spelled(l.family) == name);
            for label in own.filter(|l| large_enough(l, &ran.truth) && !hidden(l, &ran.truth)) {
                event(&mut tally, case.family, label, ran);
            }
            let reported = ran.step().map_or(0, |s| s.swipes.unplaced as usize);
            let more = tally.in_unplaced.saturating_sub(reported);
            tally.in_unplaced -= more;
            tally.missed += more;
        }
    }
    tally
}

fn event(tally: &mut Tally, family: Family, label: &Label, ran: &Ran) {
    tally.events += 1;
    let mut here = ran.verdict.findings.iter().filter(|f| overlap(label, f));
    let own: Vec<&Finding> = here.clone().filter(|f| f.family == family).collect();
    match own.as_slice() {
        [] if here.any(|f| !matches!(f.family, Family::Resolution | Family::GainChange)) => {
            tally.elsewhere += 1;
        }
        [] if is_with_another(family, label, ran) => tally.with_another += 1,
        [] if is_left_out(label, ran) => tally.in_unplaced += 1,
        [] if is_disturbed(label, ran) => tally.disturbed += 1,
        [] => tally.missed += 1,
        [first, rest @ ..] => {
            tally.doubled += usize::from(!rest.is_empty());
            // A lasting fault has other things in its time, a knock for one.
            let right = own.iter().find(|f| spelled(f.cause) == spelled(label.cause));
            let finding = right.unwrap_or(first);
            count_cause(tally, finding.cause, label);
            if let Some(kind) = true_kind(finding) {
                tally.kind.0 += usize::from(kind == label.kind);
                tally.kind.1 += 1;
            }
        }
    }
}

fn count_cause(tally: &mut Tally, cause: Cause, label: &Label) {
    let index = match cause {
        _ if spelled(cause) == spelled(label.cause) => 0,
        Cause::Unknown => 1,
        _ => 2,
    };
    tally.cause[index] += 1;
}
