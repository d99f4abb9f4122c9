//! What firmware that cuts off fractions looks like besides, swipe by swipe.
//!
//! At few counts a report it makes steady ones and twos of them, drops thin counts at the ends and across, and makes long swipes short.
//! By themselves these are motion told again, starts that come short, silences, motion bent onto an axis, and swipes that are short for no
//! reason that shows. Where one cause accounts for all of them there is one finding: those of the slower paces, where it loses most, are
//! dropped if no fast swipe shows the family as well. What no loss of fractions makes stays: reports that come late, a counter that
//! runs over, motion backwards, motion after the stop. (Added after 18 of 80 such devices had been told of 45 of these.) Cost: O(findings).

use super::GainChange;
use crate::families::{Detector, dropout, spin_out, wake_up};
use crate::step::StepView;
use crate::verdict::{Cause, Family, Finding};
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// Drops what the cut-off fractions of a step explain, if they were told.
pub(crate) fn drop_explained(step: &StepView, findings: &mut Vec<Finding>) {
    let told = |f: &Finding| f.family == Family::GainChange && f.cause == Cause::Firmware;
    if !findings.iter().any(told) {
        return;
    }
    let slower = |f: &Finding| {
        let pace = step.phases.iter().find(|p| p.span.number == f.phase).and_then(|p| p.span.phase.pace);
        matches!(pace, Some(Pace::Slow | Pace::Medium)) && f.swipe.is_some()
    };
    let explained = |f: &Finding| match f.family {
        Family::TrackingLoss | Family::Straightening => true,
        Family::SpinOut => f.kind == spin_out::REPEATED,
        Family::WakeUp => f.kind == wake_up::SHORT_START,
        Family::Dropout => f.kind == dropout::LOST,
        _ => false,
    };
    let at_speed: BTreeSet<Family> =
        findings.iter().filter(|f| f.swipe.is_some() && !slower(f)).map(|f| f.family).collect();
    let all = findings.len();
    findings.retain(|f| !slower(f) || !explained(f) || at_speed.contains(&f.family));
    if findings.len() == all {
        return;
    }
    // By the swipes that are clean now, as it is decided.
    let mut again: Vec<Finding> = findings.iter().filter(|f| !told(f)).cloned().collect();
    GainChange.detect(step, &mut again);
    if again.iter().any(told) {
        *findings = again;
    }
}
