//! What the operator was shown while recording, held against the verdict: provisional notes are confirmed or withdrawn.

use crate::verdict::Finding;
use serde::Serialize;
use serde_json::{Value, json};
use slipgauge_trace::Nanos;

/// How far a finding may have moved in time between the provisional look and the last one.
const NEAR: i64 = 50_000_000;

/// A provisional note and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LiveNote {
    /// When it was shown.
    pub shown_ns: Nanos,
    /// As it was shown.
    pub note: Value,
    /// True if the verdict has it too.
    pub confirmed: bool,
    /// Why, in one sentence.
    pub because: String,
}

/// A finding as it is recorded when shown.
pub fn shown(finding: &Finding) -> Value {
    json!({
        "noticed": {
            "family": finding.family, "kind": finding.kind, "step": finding.step, "phase": finding.phase,
            "swipe": finding.swipe, "begin_ns": finding.begin_ns, "end_ns": finding.end_ns, "size": finding.size,
            "unit": finding.unit,
        }
    })
}

/// Holds all that was shown against the findings. Lines that are no notes are passed over.
pub fn settle(live: &[(Nanos, Value)], findings: &[Finding], voided: &[u32]) -> Vec<LiveNote> {
    let notes = live.iter().filter_map(|(t, value)| Some((*t, value.get("noticed")?)));
    notes
        .map(|(shown_ns, note)| {
            let (confirmed, because) = became(note, findings, voided);
            LiveNote { shown_ns, note: note.clone(), confirmed, because }
        })
        .collect()
}

fn became(note: &Value, findings: &[Finding], voided: &[u32]) -> (bool, String) {
    let number = |key: &str| note.get(key).and_then(Value::as_i64);
    let phase = number("phase").and_then(|n| u32::try_from(n).ok());
    if phase.is_some_and(|phase| voided.contains(&phase)) {
        return (false, "its phase was left out by the operator".to_owned());
    }
    let span = number("begin_ns").unwrap_or(0)..=number("end_ns").unwrap_or(0);
    let meets = |f: &&Finding| {
        f.begin_ns <= span.end().saturating_add(NEAR) && f.end_ns >= span.start().saturating_sub(NEAR)
    };
    let there: Vec<&Finding> = findings.iter().filter(meets).collect();
    let same = |f: &&&Finding| json!(f.family) == note["family"];
    match (there.iter().find(same), there.first()) {
        (Some(f), _) => (true, format!("the verdict has it: {:.1} {}", f.size, f.unit)),
        (None, Some(other)) => (
            false,
            format!("with the whole session known it is {}, not what was shown", other.family.words()),
        ),
        (None, None) => {
            (false, "with the whole session known, nothing is out of the ordinary there".to_owned())
        }
    }
}
