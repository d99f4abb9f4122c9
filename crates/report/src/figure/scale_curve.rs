//! Scale curve: millimetres per count against reported speed, relative to the slowest bin. Each bin is a bracket over its
//! interval with a bar as wide as its share of the travel; the tolerance is a band between broken edges.

use super::axis::Axis;
use super::{Area, co, label, line};
use maud::{Markup, html};
use slipgauge_analysis::verdict::GainCurve;

/// Draws it. `tolerance` is of counts, fast over slow, less one. `None` without points.
pub fn draw(curve: &GainCurve, tolerance: [Option<f64>; 2], area: Area) -> Option<Markup> {
    let slowest = curve.points.first()?.gain.value;
    // Counts per millimetre over those of the whole, turned over: more counts are fewer millimetres to each.
    let over =
        |gain: Option<f64>| gain.filter(|g| g.is_finite() && *g > 0.0).map(|g| 100.0 * (slowest / g - 1.0));
    let points: Vec<(f64, f64, f64, f64, f64)> = curve
        .points
        .iter()
        .filter_map(|p| {
            let value = over(Some(p.gain.value))?;
            let (low, high) = (over(p.gain.high).unwrap_or(value), over(p.gain.low).unwrap_or(value));
            Some((p.speed_m_s, value, low, high, p.share))
        })
        .collect();
    let band = tolerance.map(|t| t.filter(|t| *t > -1.0).map(|t| 100.0 * (1.0 / (1.0 + t) - 1.0)));
    let all = || points.iter().flat_map(|p| [p.2, p.3]).chain(band.into_iter().flatten());
    let (low, high) = (all().fold(-0.1, f64::min), all().fold(0.1, f64::max));
    let room = 0.12 * (high - low);
    let fastest = points.iter().map(|p| p.0).fold(0.1, f64::max) * 1.08;
    let plot = Area { x: area.x + 58.0, y: area.y + 46.0, w: area.w - 78.0, h: area.h - 88.0 };
    let percent = Axis::plain((low - room, high + room), (plot.y + plot.h, plot.y), 5, "% more mm per count");
    let speed = Axis::plain((0.0, fastest), (plot.x, plot.x + plot.w), 5, "reported speed, m/s");
    Some(html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        @if let [Some(upper), Some(lower)] = [band[0], band[1]] {
            @let (top, foot) = (percent.at(upper.max(lower)), percent.at(upper.min(lower)));
            rect class="band" x=(co(plot.x)) y=(co(top)) width=(co(plot.w)) height=(co(foot - top)) {}
            path class="edge" d=(line([(plot.x, top), (plot.x + plot.w, top)]) + &line([(plot.x, foot), (plot.x + plot.w, foot)])) {}
            (label(plot.x + plot.w - 4.0, top - 4.0, "end", "small", "tolerated between the broken lines"))
        }
        (percent.left(plot))
        (speed.below(plot))
        (speed.above(plot, (0.0, fastest), 1.0 / 0.0254, "in/s"))
        path class="counted" d=(line(points.iter().map(|p| (speed.at(p.0), percent.at(p.1))))) {}
        @for (v, value, low, high, share) in &points {
            @let (x, half) = (speed.at(*v), 4.0 + 30.0 * share.clamp(0.0, 1.0));
            @let (top, foot) = (percent.at(*high), percent.at(*low));
            path class="counted" d=(line([(x - 4.0, top), (x + 4.0, top)]) + &line([(x, top), (x, foot)]) + &line([(x - 4.0, foot), (x + 4.0, foot)])) {}
            rect class="mark" x=(co(x - half)) y=(co(percent.at(*value) - 2.0)) width=(co(2.0 * half)) height="4" {
                title { (format!("{v:.2} m/s: {value:+.2} % ({low:+.2} to {high:+.2})")) }
            }
        }
    })
}
