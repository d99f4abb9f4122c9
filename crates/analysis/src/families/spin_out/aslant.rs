//! Swipes that come out aslant: a good part of their motion is counted across, and the hand was guided.
//!
//! Where nothing abrupt shows, a sensor that takes a part of the motion for motion aside from some speed on leaves it in the net
//! counts. Those of slow swipes tell the direction of travel and how well it is kept: a straight edge leaves [`GUIDED`] at most, a
//! free hand that reaches the same stop [`FREE`]; and [`DEVIATIONS`] of what slow swipes scatter by. Asked of medium and fast swipes of which
//! nothing else is told, each in the direction of its phase: that of a device that was turned is [its own](crate::step). (Added after a
//! sensor that told 100 mm aside in each fast swipe of 400, now to the one side and now to the other, had passed.)
//! Smallest found: 5 degrees along an edge, 19 without. Cost: O(swipes).

use super::super::{Event, in_swipe, key, round};
use crate::scale::straight_edge;
use crate::stats::{mad, median};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, Finding};
use serde_json::json;
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// Across over along that a straight edge leaves: a device of 60 mm with half a millimetre of play and more turns by a degree, and its
/// frame by another between paces; twice that.
const GUIDED: f64 = 0.08;
/// And a free hand: yaw of 15 degrees (the measurement model's largest), and as much again for a third of it.
const FREE: f64 = 0.35;
/// Robust deviations of the slow swipes.
const DEVIATIONS: f64 = 8.0;
/// Slow swipes that tell, and swipes of a phase: fewer do not show that the device was turned.
const LEAST: usize = 4;

/// Those of a step that are told of nothing else.
pub(super) fn of_step(step: &StepView, told: &BTreeSet<(u32, u32)>) -> Vec<Finding> {
    let Some(scale) = step.scale else { return Vec::new() };
    let slope = |s: &SwipeView| s.swipe.across / s.swipe.along;
    let slow: Vec<f64> =
        step.swipes().filter(|(p, _)| p.span.phase.pace == Some(Pace::Slow)).map(|(_, s)| slope(s)).collect();
    let Some(straight) = median(&slow).filter(|_| slow.len() >= LEAST) else { return Vec::new() };
    let scatter = mad(&slow, straight).unwrap_or(0.0);
    let guided = if straight_edge(step.plan) { GUIDED } else { FREE };
    let most = guided.max(DEVIATIONS * scatter);
    let of_phase = |phase: &PhaseView| -> Vec<Finding> {
        let plain = |s: &SwipeView| {
            let whole = !s.disturbed && s.clip.is_none() && s.stretches.is_empty() && s.silences.is_empty();
            whole && s.swipe.along > 0.0 && !told.contains(&key(phase, s))
        };
        let aslant = phase.swipes.iter().filter(|s| plain(s) && (slope(s) - straight).abs() > most);
        let finding = |view: &SwipeView| {
            let across = (view.swipe.across - straight * view.swipe.along) / scale.counts_per_mm;
            let event = Event {
                family: Family::SpinOut,
                kind: "sideways",
                begin: view.swipe.begin,
                end: view.swipe.end,
                size: across.abs(),
                unit: "mm of false motion",
                cause: Cause::Sensor,
            };
            let evidence = json!({
                "across_mm": round(across, 2),
                "along_mm": round(view.swipe.along / scale.counts_per_mm, 2),
                "across_over_along": round(slope(view), 4),
                "usual": round(straight, 4),
                "at_most": round(most, 4),
            });
            in_swipe(step, phase, view, event, evidence)
        };
        aslant.map(finding).collect()
    };
    let faster = step.phases.iter().filter(|p| p.span.phase.pace != Some(Pace::Slow));
    let faster = faster.filter(|p| p.swipes.len() >= LEAST);
    faster.flat_map(of_phase).collect()
}
