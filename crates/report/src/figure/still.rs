//! Rest map: the path while the device lies still, in millimetres, with rings, start and end.

use super::{Area, Scale, co, label, line, number, ticks};
use maud::{Markup, html};
use slipgauge_analysis::step::PhaseView;

/// Draws one phase at rest. `counts_per_mm` turns counts into millimetres.
pub fn draw(phase: &PhaseView, counts_per_mm: f64, note: &str, area: Area) -> Markup {
    let mut place = (0.0, 0.0);
    let mut points = vec![place];
    for s in &phase.series.samples {
        place = (place.0 + f64::from(s.x) / counts_per_mm, place.1 + f64::from(s.y) / counts_per_mm);
        points.push(place);
    }
    let reach = points.iter().map(|p| p.0.hypot(p.1)).fold(3.0 / counts_per_mm, f64::max) * 1.15;
    let side = (area.h - 44.0).min(area.w - 20.0);
    let (cx, cy) = (area.x + area.w / 2.0, area.y + 26.0 + side / 2.0);
    let x = Scale::new((-reach, reach), (cx - side / 2.0, cx + side / 2.0));
    let y = Scale::new((-reach, reach), (cy - side / 2.0, cy + side / 2.0));
    let every = points.len().div_ceil(4000).max(1);
    let last = points.last().copied().unwrap_or_default();
    let thinned = points.iter().step_by(every).copied().chain([last]);
    let track = line(thinned.map(|p| (x.at(p.0), y.at(p.1))));
    let rings = ticks(reach, 3);
    let seconds = (phase.span.end - phase.span.begin).seconds();
    let moved = points.len() > 1;
    html! {
        g {
            title { (format!("phase {}, still for {seconds:.1} s: {note}", phase.span.number)) }
            rect class="panel" x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="3" {}
            (label(area.x + 10.0, area.y + 16.0, "start", "", &format!("still, {seconds:.1} s")))
            @for r in rings.iter().filter(|r| **r > 0.0) {
                @let radius = x.at(*r) - cx;
                circle class="ring" cx=(co(cx)) cy=(co(cy)) r=(co(radius)) {}
                (label(cx, cy - radius - 2.0, "middle", "faint small", &format!("{} mm", number(*r))))
            }
            path class="track" d=(track) {}
            circle class="track" cx=(co(x.at(0.0))) cy=(co(y.at(0.0))) r="5" {}
            @if moved {
                @let (ex, ey) = (x.at(last.0), y.at(last.1));
                path class="lack" d=(line([(ex - 4.0, ey - 4.0), (ex + 4.0, ey + 4.0)]) + &line([(ex - 4.0, ey + 4.0), (ex + 4.0, ey - 4.0)])) {}
                (label(area.x + area.w - 10.0, area.y + 16.0, "end", "faint small", "○ start   × end"))
            }
            (label(area.x + 10.0, area.y + area.h - 7.0, "start", "small", note))
        }
    }
}
