//! Tracking limit: two shelves over one axis of speed. Above, every swipe that kept track hangs at its peak; below, every
//! one that lost it stands, hatched. The limit is an upright band, as wide as its interval; a bound is open to one side.

use super::axis::Axis;
use super::{Area, co, label, line};
use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::verdict::Quantity;

/// What is drawn. Speeds in m/s.
#[derive(Clone, Debug, Default)]
pub struct Limit {
    /// Peaks of the swipes that kept track.
    pub kept: Vec<f64>,
    /// Peaks of those that lost it.
    pub lost: Vec<f64>,
    /// The limit, if it is known.
    pub limit: Option<Quantity>,
    /// The speed that is needed, if the plan tells.
    pub needed: Option<f64>,
}

/// Draws it.
pub fn draw(limit: &Limit, area: Area) -> Markup {
    let ends = limit.limit.into_iter().flat_map(|q| [Some(q.value), q.low, q.high]).flatten();
    let fastest = limit.kept.iter().chain(&limit.lost).copied().chain(ends).chain(limit.needed);
    let fastest = fastest.filter(|v| v.is_finite()).fold(0.5, f64::max) * 1.06;
    let plot = Area { x: area.x + 12.0, y: area.y + 46.0, w: area.w - 24.0, h: area.h - 88.0 };
    let speed = Axis::plain((0.0, fastest), (plot.x, plot.x + plot.w), 6, "peak of the swipe, m/s");
    let middle = plot.y + 0.5 * plot.h;
    let tall = 0.5 * plot.h - 26.0;
    // On the side with more room.
    let beside = |x: f64, words: String| {
        let (x, anchor) = if x > plot.x + 0.5 * plot.w { (x - 5.0, "end") } else { (x + 5.0, "start") };
        label(x, middle + 4.0, anchor, "small", &words)
    };
    html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        (speed.below(plot))
        (speed.above(plot, (0.0, fastest), 1.0 / 0.0254, "in/s"))
        @if let Some(q) = limit.limit {
            @let (low, high) = (q.low.map_or(plot.x, |v| speed.at(v)), q.high.map_or(plot.x + plot.w, |v| speed.at(v)));
            rect class="band" x=(co(low)) y=(co(plot.y)) width=(co((high - low).max(1.0))) height=(co(plot.h)) {}
            @match (q.low, q.high) {
                (Some(v), None) => (beside(low, format!("the limit lies above {}", text::speed(v)))),
                (None, Some(v)) => (beside(high, format!("the limit lies below {}", text::speed(v)))),
                _ => {}
            }
            @if q.low.is_some() && q.high.is_some() {
                @let x = speed.at(q.value);
                path class="edge" d=(line([(x, plot.y), (x, plot.y + plot.h)])) {}
                (beside(x, format!("loses track at {}", text::speed(q.value))))
            }
        }
        line class="base" x1=(co(plot.x)) y1=(co(plot.y + 18.0)) x2=(co(plot.x + plot.w)) y2=(co(plot.y + 18.0)) {}
        (label(plot.x + 6.0, plot.y + 13.0, "start", "small", &format!("kept track: {}", limit.kept.len())))
        @for v in &limit.kept {
            path class="counted" d=(line([(speed.at(*v), plot.y + 18.0), (speed.at(*v), plot.y + 18.0 + tall)])) {}
        }
        @let shelf = plot.y + plot.h - 4.0;
        (label(plot.x + 6.0, middle + 18.0, "start", "small", &format!("lost track: {}", limit.lost.len())))
        @for v in &limit.lost {
            rect class="lack" fill="url(#lacking)" x=(co(speed.at(*v) - 2.5)) y=(co(shelf - tall)) width="5" height=(co(tall)) {}
        }
        @if let Some(v) = limit.needed {
            @let x = speed.at(v);
            path class="lost" d=(line([(x - 5.0, plot.y - 1.0), (x + 5.0, plot.y - 1.0), (x, plot.y + 6.0), (x - 5.0, plot.y - 1.0)])) {}
            path class="lost" stroke-dasharray="1 4" d=(line([(x, plot.y), (x, plot.y + plot.h)])) {}
            (label(x - 6.0, plot.y + plot.h - 8.0, "end", "alarm small", &format!("needed: {}", text::speed(v))))
        }
    }
}
