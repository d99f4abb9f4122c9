//! Shortfall: millimetres missing against the place along the travel, from the first stop to the far one. Each faulty
//! swipe is a line that climbs where counts are missing, on the way that it went; what all clean swipes span is a grey
//! cloud. Missing is expected less counted, as analysis has both in every slot.

use super::axis::Axis;
use super::{Area, co, label, line};
use maud::{Markup, html};
use slipgauge_analysis::step::SwipeView;
use slipgauge_analysis::verdict::Direction;

/// Places at which lines are read.
const PLACES: usize = 120;
/// Lines that are named at their ends.
const NAMED: usize = 3;

/// Millimetres missing when the hand had gone so many hundred-and-twentieths of the travel.
fn missing(view: &SwipeView, travel: f64) -> Vec<f64> {
    let grid = &view.grid;
    let mut out = vec![f64::NAN; PLACES + 1];
    let (mut gone, mut counted, mut next) = (0.0, 0.0, 0);
    for (v, mm) in grid.expected_mm_s.iter().zip(&grid.along_mm) {
        gone += v.max(0.0) * grid.slot * 1e-9;
        counted += mm;
        let reached = ((gone / travel * PLACES as f64).floor().clamp(0.0, PLACES as f64)) as usize;
        out.iter_mut().take(reached + 1).skip(next).for_each(|m| *m = gone - counted);
        next = next.max(reached + 1);
    }
    out.iter_mut().skip(next).for_each(|m| *m = gone - counted);
    // By place on the bench: a swipe back goes from the far stop to the first.
    if view.swipe.direction == Direction::Back {
        out.reverse();
    }
    out
}

/// Draws one step. `swipes` are told apart by whether they have a finding that costs travel; `None` without a travel.
pub fn draw(swipes: &[(&SwipeView, bool)], travel: f64, area: Area) -> Option<Markup> {
    if swipes.is_empty() || !travel.is_finite() || travel <= 0.0 {
        return None;
    }
    let of = |faulty: bool| -> Vec<(&SwipeView, Vec<f64>)> {
        let all = swipes.iter().filter(|s| s.1 == faulty && !s.0.grid.expected_mm_s.is_empty());
        all.map(|(s, _)| (*s, missing(s, travel))).collect()
    };
    let (clean, faulty) = (of(false), of(true));
    let every = || clean.iter().chain(&faulty).flat_map(|(_, m)| m.iter().copied()).filter(|v| v.is_finite());
    let (low, high) = (every().fold(0.0, f64::min), every().fold(0.0, f64::max));
    let room = (0.06 * (high - low)).max(0.5);
    let plot = Area { x: area.x + 52.0, y: area.y + 30.0, w: area.w - 70.0, h: area.h - 84.0 };
    let mm = Axis::plain((low - room, high + room), (plot.y + plot.h, plot.y), 5, "mm missing");
    let place = Axis::plain((0.0, travel), (plot.x, plot.x + plot.w), 6, "mm from the first stop");
    let x = |i: usize| place.at(travel * i as f64 / PLACES as f64);
    let bound = |pick: fn(f64, f64) -> f64| -> Vec<(f64, f64)> {
        let at = |i: usize| {
            clean.iter().filter_map(|(_, m)| m.get(i)).copied().filter(|v| v.is_finite()).reduce(pick)
        };
        (0..=PLACES).filter_map(|i| Some((x(i), mm.at(at(i)?)))).collect()
    };
    let cloud = line(bound(f64::max).into_iter().chain(bound(f64::min).into_iter().rev()));
    let mut ends: Vec<(f64, f64, String, &str)> = faulty
        .iter()
        .map(|(s, m)| {
            let back = s.swipe.direction == Direction::Back;
            let end = if back { m.first() } else { m.last() }.copied().unwrap_or(0.0);
            let name = format!("swipe {}: {end:.1} mm", s.swipe.number);
            if back { (end, x(0) + 4.0, name, "start") } else { (end, x(PLACES) - 4.0, name, "end") }
        })
        .collect();
    ends.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut named: Vec<(f64, f64, String, &str)> = Vec::new();
    for (end, x, name, anchor) in ends {
        let y = mm.at(end) - 4.0;
        if named.len() < NAMED && named.iter().all(|n| (n.1 - y).abs() > 13.0 || n.3 != anchor) {
            named.push((x, y, name, anchor));
        }
    }
    Some(html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        (mm.left(plot))
        (place.below(plot))
        (label(plot.x, plot.y + plot.h + 46.0, "start", "faint small", "first stop; out runs right"))
        (label(plot.x + plot.w, plot.y + plot.h + 46.0, "end", "faint small", "back runs left; far stop"))
        @if !cloud.is_empty() { path class="cloud" d=(format!("{cloud}Z")) {} }
        @for (s, m) in &faulty {
            @let points = m.iter().enumerate().filter(|(_, v)| v.is_finite()).map(|(i, v)| (x(i), mm.at(*v)));
            path class="lost" d=(line(points)) { title { (format!("swipe {}", s.swipe.number)) } }
        }
        @for (x, y, name, anchor) in &named { (label(*x, *y, anchor, "alarm named small", name)) }
    })
}
