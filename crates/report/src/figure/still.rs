//! Rest map: the path while the device lies still, in millimetres, with rings, start and end.

use super::{Area, Scale, co, label, line, number, ticks};
use maud::{Markup, html};
use slipgauge_analysis::step::PhaseView;

/// Where 95 % of places lie about the trend: both half axes in millimetres, and the long one's direction in degrees.
#[derive(Clone, Copy, Debug)]
pub struct Ellipse {
    /// Half of the long axis.
    pub long: f64,
    /// Half of the short one.
    pub short: f64,
    /// From the sensor's X.
    pub degrees: f64,
}

/// Most points of a path are so many pairs.
const PAIRS: usize = 800;

/// Of each stretch of the path its first point and the one farthest from it: an outing of one report never vanishes.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let stretches = points.chunks(points.len().div_ceil(PAIRS).max(1));
    let farthest = |chunk: &[(f64, f64)]| -> Option<[(f64, f64); 2]> {
        let first = *chunk.first()?;
        let off = |p: &(f64, f64)| (p.0 - first.0).hypot(p.1 - first.1);
        Some([first, chunk.iter().copied().max_by(|a, b| off(a).total_cmp(&off(b)))?])
    };
    let mut out: Vec<(f64, f64)> = stretches.filter_map(farthest).flatten().collect();
    out.dedup();
    out
}

/// A path at rest, in millimetres from where it began.
pub struct Path {
    /// Its points, as many as a picture shows.
    pub points: Vec<(f64, f64)>,
    /// Its end.
    pub end: (f64, f64),
    /// How far it goes, and three counts at least.
    pub reach: f64,
}

impl Path {
    /// Of a phase; `counts_per_mm` turns counts into millimetres.
    pub fn of(phase: &PhaseView, counts_per_mm: f64) -> Path {
        let mut end = (0.0, 0.0);
        let mut points = vec![end];
        for s in &phase.series.samples {
            end = (end.0 + f64::from(s.x) / counts_per_mm, end.1 + f64::from(s.y) / counts_per_mm);
            points.push(end);
        }
        let reach = points.iter().map(|p| p.0.hypot(p.1)).fold(3.0 / counts_per_mm, f64::max);
        let points = thinned(&points).into_iter().chain([end]).collect();
        Path { points, end, reach }
    }
}

/// Draws one phase at rest. `counts_per_mm` turns counts into millimetres; the ellipse lies about the end.
pub fn draw(
    phase: &PhaseView,
    counts_per_mm: f64,
    note: &str,
    ellipse: Option<Ellipse>,
    area: Area,
) -> Markup {
    let ellipse = ellipse.filter(|e| [e.long, e.short, e.degrees].iter().all(|v| v.is_finite()));
    let map = Path::of(phase, counts_per_mm);
    let end = map.end;
    let about = ellipse.map_or(0.0, |e| end.0.hypot(end.1) + e.long);
    let reach = map.reach.max(about) * 1.15;
    let side = (area.h - 44.0).min(area.w - 20.0);
    let (cx, cy) = (area.x + area.w / 2.0, area.y + 26.0 + side / 2.0);
    let x = Scale::new((-reach, reach), (cx - side / 2.0, cx + side / 2.0));
    let y = Scale::new((-reach, reach), (cy - side / 2.0, cy + side / 2.0));
    let track = line(map.points.iter().map(|p| (x.at(p.0), y.at(p.1))));
    let rings = ticks(reach, 3);
    let seconds = (phase.span.end - phase.span.begin).seconds();
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
            @if let Some(e) = ellipse {
                @let (ex, ey, per_mm) = (x.at(end.0), y.at(end.1), x.at(1.0_f64.min(reach)) - cx);
                @let per_mm = if reach < 1.0 { per_mm / reach } else { per_mm };
                ellipse class="band" cx=(co(ex)) cy=(co(ey)) rx=(co(e.long * per_mm)) ry=(co(e.short.max(0.0) * per_mm))
                    transform=(format!("rotate({:.1} {ex:.2} {ey:.2})", e.degrees)) {}
            }
            path class="track" d=(track) {}
            circle class="track" cx=(co(x.at(0.0))) cy=(co(y.at(0.0))) r="5" {}
            @if !phase.series.samples.is_empty() {
                @let (ex, ey) = (x.at(end.0), y.at(end.1));
                path class="lack" d=(line([(ex - 4.0, ey - 4.0), (ex + 4.0, ey + 4.0)]) + &line([(ex - 4.0, ey + 4.0), (ex + 4.0, ey - 4.0)])) {}
                (label(area.x + area.w - 10.0, area.y + 16.0, "end", "faint small", "○ start   × end"))
            }
            (label(area.x + 10.0, area.y + area.h - 7.0, "start", "small", note))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_outing_of_one_report_stays_on_the_map() {
        let mut points = vec![(0.0, 0.0); 100_000];
        points[51_234] = (0.4, -0.3);
        let thin = thinned(&points);
        assert!(thin.len() <= 2 * PAIRS && thin.contains(&(0.4, -0.3)));
        assert!(thinned(&[]).is_empty());
    }
}
