//! Out against back: the length that each swipe counted, on two facing rails. Clean swipes are strokes, swipes with a
//! finding open rings; the median of the clean ones is a notch across its rail.

use super::axis::Axis;
use super::{Area, co, label, line};
use maud::{Markup, html};
use slipgauge_analysis::stats::median;
use slipgauge_analysis::verdict::Direction;

/// One swipe.
#[derive(Clone, Copy, Debug)]
pub struct Way {
    /// Its direction.
    pub direction: Direction,
    /// Its length, in millimetres by the step's own scale.
    pub mm: f64,
    /// False if it has a finding.
    pub clean: bool,
}

/// Draws them; `None` without a clean swipe.
pub fn draw(ways: &[Way], area: Area) -> Option<Markup> {
    let clean: Vec<f64> = ways.iter().filter(|w| w.clean && w.mm.is_finite()).map(|w| w.mm).collect();
    let middle = median(&clean)?;
    let reach = clean.iter().map(|mm| (mm - middle).abs()).fold(0.5, f64::max) * 1.15;
    let plot = Area { x: area.x + 12.0, y: area.y + 12.0, w: area.w - 24.0, h: area.h - 56.0 };
    let axis = Axis::plain(
        (middle - reach, middle + reach),
        (plot.x + 12.0, plot.x + plot.w - 12.0),
        5,
        "counted length, mm by this step's own scale",
    );
    let rail = |direction: Direction| -> Markup {
        let out = direction == Direction::Out;
        let (y, up) = if out { (plot.y + 0.46 * plot.h, -1.0) } else { (plot.y + 0.54 * plot.h, 1.0) };
        let own: Vec<&Way> = ways.iter().filter(|w| w.direction == direction && w.mm.is_finite()).collect();
        let values: Vec<f64> = own.iter().filter(|w| w.clean).map(|w| w.mm).collect();
        let outside = own.iter().filter(|w| (w.mm - middle).abs() > reach).count();
        let far = if outside > 0 { format!(", {outside} off this axis") } else { String::new() };
        let text = format!("{}: {} clean{far}", if out { "out" } else { "back" }, values.len());
        html! {
            line class="base" x1=(co(plot.x)) y1=(co(y)) x2=(co(plot.x + plot.w)) y2=(co(y)) {}
            (label(plot.x + 4.0, if out { plot.y + 12.0 } else { plot.y + plot.h - 5.0 }, "start", "small", &text))
            @for way in own {
                @let x = axis.at(way.mm);
                @if way.clean {
                    path class="counted" d=(line([(x, y), (x, y + up * 22.0)])) {}
                } @else {
                    circle class="lost" cx=(co(x)) cy=(co(y + up * 30.0)) r="3.5" {}
                }
            }
            @if let Some(m) = median(&values) {
                @let x = axis.at(m);
                path class="mark" d=(line([(x - 6.0, y + up * 36.0), (x + 6.0, y + up * 36.0), (x, y + up * 24.0)]) + "Z") {}
            }
        }
    };
    Some(html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        (rail(Direction::Out))
        (rail(Direction::Back))
        (axis.below(plot))
    })
}
