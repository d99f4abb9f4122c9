//! Where a fault lies, by the same test of a device known to be good: on the same port and pad, by the same hand, on the
//! same day.
//!
//! What both show lies in what both share: computer, port, pad, hand, or this program. What only the one under test shows
//! lies in it, or in its receiver. The control tells nothing of speeds that it was not swiped at, nor of what it left
//! open; and one unit tells nothing of its product. Decides nothing: outcomes are those of the two verdicts.

use crate::verdict::{Family, Outcome, Verdict};
use serde::Serialize;
use slipgauge_trace::session::Header;

/// The control was swiped fast enough for a fault at some speed if it reached this share of the other's fastest swipe.
const AS_FAST: f64 = 0.9;

/// Where a fault lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Both show it.
    Shared,
    /// Only the device under test shows it.
    ThisUnit,
    /// The control does not tell.
    Unknown,
}

/// One family that fails.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lies {
    /// The family.
    pub family: Family,
    /// Where its fault lies.
    pub place: Place,
    /// Why, in one sentence.
    pub because: String,
}

/// A control session, and what it says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Control {
    /// Name of its file.
    pub session: String,
    /// Its hash.
    pub sha256: String,
    /// Its outcome.
    pub verdict: Outcome,
    /// What differs between the two that should not: then no fault is placed.
    pub differs: Vec<String>,
    /// Families that fail.
    pub families: Vec<Lies>,
}

/// Holds a verdict against that of a control; each with its session's header.
pub fn against(test: (&Verdict, &Header), control: (&Verdict, &Header)) -> Control {
    let differs = differences(test.1, control.1);
    let fastest = |v: &Verdict| v.steps.iter().filter_map(|s| s.swept.fastest_m_s).reduce(f64::max);
    let as_fast = match (fastest(test.0), fastest(control.0)) {
        (Some(test), Some(control)) => control >= AS_FAST * test,
        _ => true,
    };
    let outcomes = |v: &Verdict, family: Family| -> Vec<Outcome> {
        let all = v.steps.iter().flat_map(|s| &s.families);
        all.filter(|f| f.family == family).map(|f| f.verdict).collect()
    };
    let failing = |family: &Family| outcomes(test.0, *family).contains(&Outcome::Fail);
    let place = |family: Family| {
        let of_control = outcomes(control.0, family);
        let (place, because) = if !differs.is_empty() {
            (Place::Unknown, format!("the two tests are not alike: {}", differs.join("; ")))
        } else if of_control.contains(&Outcome::Fail) {
            (
                Place::Shared,
                "the control fails likewise: it lies in what both share, computer, port, pad or hand"
                    .to_owned(),
            )
        } else if of_control.is_empty() || of_control.iter().any(|o| *o != Outcome::Pass) {
            (Place::Unknown, "the control leaves it open".to_owned())
        } else if !as_fast {
            (Place::Unknown, "the control was not swiped as fast".to_owned())
        } else {
            (
                Place::ThisUnit,
                "the control passes on the same bench: it lies in this unit or its receiver".to_owned(),
            )
        };
        Lies { family, place, because }
    };
    Control {
        session: control.0.session.clone(),
        sha256: control.0.sha256.clone(),
        verdict: control.0.verdict,
        families: Family::ALL.into_iter().filter(failing).map(place).collect(),
        differs,
    }
}

/// What should be alike and is not, in words.
pub fn differences(test: &Header, control: &Header) -> Vec<String> {
    let mut out = Vec::new();
    let travel = |h: &Header| h.plan.as_ref().and_then(|p| p.travel_um);
    let u = test.plan.as_ref().map_or(0.0, |p| p.travel_uncertainty().0 * 1e6);
    match (travel(test), travel(control)) {
        // Each with its own uncertainty.
        (Some(a), Some(b)) if (a as f64 - b as f64).abs() <= 3.0 * u.max(1.0) => {}
        (None, None) => {}
        _ => out.push("another travel".to_owned()),
    }
    if test.surface != control.surface {
        out.push("another pad".to_owned());
    }
    if test.host.get("os") != control.host.get("os") {
        out.push("another computer or system".to_owned());
    }
    let day = |h: &Header| h.started.as_ref().map(|t| t.chars().take(10).collect::<String>());
    if day(test) != day(control) {
        out.push("another day".to_owned());
    }
    let hubs = |h: &Header| h.devices.first().and_then(|d| d.hub_depth);
    if hubs(test) != hubs(control) {
        out.push("not the same port".to_owned());
    }
    out
}
