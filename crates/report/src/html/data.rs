//! What the zoom reads: swipes with findings, slot by slot, as one JSON object.
//!
//! Counted millimetres of each slot as whole micrometres, at full resolution; reports of each slot as one digit; the
//! expected speed, which is smooth, at a point every few slots. Swipes are taken in order until [`MOST`] bytes are full.

use super::swipe_id;
use crate::pictures::of_swipe;
use serde_json::{Map, Value, json};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::step::{PhaseView, SwipeView};
use std::collections::BTreeSet;

/// Bytes of all swipes together.
const MOST: usize = 1_000_000;
/// Points of the expected speed.
const POINTS: usize = 100;

/// The JSON, and which swipes are in it.
pub(super) struct Zoom {
    pub(super) json: String,
    pub(super) held: BTreeSet<(u32, u32)>,
}

pub(super) fn collect(judgement: &Judgement) -> Zoom {
    let (mut all, mut held, mut bytes) = (Map::new(), BTreeSet::new(), 0);
    let swipes = judgement.steps.iter().flat_map(|step| step.swipes());
    for (phase, swipe) in swipes.filter(|(p, s)| !of_swipe(&judgement.verdict.findings, p, s).is_empty()) {
        let row = row(phase, swipe);
        let size = row.to_string().len();
        if bytes + size <= MOST {
            bytes += size;
            held.insert((phase.span.number, swipe.swipe.number));
            all.insert(swipe_id(phase.span.number, swipe.swipe.number), row);
        }
    }
    Zoom { json: Value::Object(all).to_string(), held }
}

fn row(phase: &PhaseView, swipe: &SwipeView) -> Value {
    let grid = &swipe.grid;
    let whole = |v: f64| if v.is_finite() { v.round() as i64 } else { 0 };
    // Microseconds, to the nanosecond.
    let us = |ns: f64| ns.round() / 1e3;
    let every = grid.expected_mm_s.len().div_ceil(POINTS).max(1);
    let reports: String =
        grid.reports.iter().map(|n| char::from_digit(u32::from(*n).min(9), 10).unwrap_or('9')).collect();
    json!({
        "name": format!("phase {}, swipe {}", phase.span.number, swipe.swipe.number),
        "slot": us(grid.slot),
        "begin": us(grid.begin as f64),
        "um": grid.along_mm.iter().map(|mm| whole(1e3 * mm)).collect::<Vec<i64>>(),
        "n": reports,
        "every": every,
        "expected": grid.expected_mm_s.iter().step_by(every).map(|v| whole(*v)).collect::<Vec<i64>>(),
    })
}
