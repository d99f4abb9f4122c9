//! Motion ribbon: one swipe. Expected speed as a filled ridge, counted speed as a step line, what is missing hatched
//! with its millimetres, faults named in words, the arrival strip below.

use super::{Area, Scale, arrivals, co, label, line, number, ticks};
use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::grid::Grid;
use slipgauge_analysis::step::SwipeView;
use slipgauge_analysis::verdict::{Direction, Family, Finding};

/// How much stands around the plot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Axes with numbers on both sides, words for the marks.
    Full,
    /// Number and peak only: one of many.
    Small,
}

/// Finest step of the counted line: below it, quantisation is all that would be seen.
const FINEST_MS: f64 = 1.0;

/// What lies further from a step than this share of the plot's height is drawn as its range; less is quantisation.
const SPIKE: f64 = 0.2;

/// One step of the counted line: mean, least and largest speed of its slots, m/s.
pub(crate) struct Stair {
    pub(crate) from_ms: f64,
    pub(crate) to_ms: f64,
    pub(crate) mean: f64,
    least: f64,
    largest: f64,
}

/// Reduces a grid to steps no narrower than a pixel and a half, with the range of what lies inside, so that a single
/// report never vanishes.
pub(crate) fn stairs(grid: &Grid, pixels: f64) -> Vec<Stair> {
    let slot_ms = grid.slot * 1e-6;
    let length_ms = slot_ms * grid.along_mm.len() as f64;
    let wanted = FINEST_MS.max(1.5 * length_ms / pixels);
    let width = ((wanted / slot_ms) * 0.999).ceil().max(1.0) as usize;
    // Slots are grouped by the finest step first, for the range.
    let fine = ((FINEST_MS / slot_ms) * 0.999).ceil().max(1.0) as usize;
    let chunks = grid.along_mm.chunks(width).enumerate();
    chunks
        .map(|(i, chunk)| {
            let speed = |mm: &[f64]| mm.iter().sum::<f64>() / (mm.len() as f64 * slot_ms);
            let pieces: Vec<f64> = chunk.chunks(fine).map(speed).collect();
            Stair {
                from_ms: (i * width) as f64 * slot_ms,
                to_ms: (i * width + chunk.len()) as f64 * slot_ms,
                mean: speed(chunk),
                least: pieces.iter().copied().fold(f64::INFINITY, f64::min),
                largest: pieces.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            }
        })
        .collect()
}

/// Expected speed in m/s at the middle of every slot, thinned to a point a pixel.
pub(crate) fn ridge(grid: &Grid, pixels: f64) -> Vec<(f64, f64)> {
    let slot_ms = grid.slot * 1e-6;
    let n = grid.expected_mm_s.len();
    let every = ((n as f64 / pixels).ceil() as usize).max(1);
    let points = grid.expected_mm_s.iter().enumerate().step_by(every);
    let points = points.map(|(i, v)| ((i as f64 + 0.5) * slot_ms, (v * 1e-3).max(0.0)));
    [(0.0, 0.0)].into_iter().chain(points).chain([(n as f64 * slot_ms, 0.0)]).collect()
}

/// Draws one swipe. `top` is the speed at the top of the plot, m/s; `findings` those of this swipe.
pub fn draw(view: &SwipeView, findings: &[&Finding], area: Area, top: f64, detail: Detail) -> Markup {
    let full = detail == Detail::Full;
    let (left, right, above, below) = if full { (54.0, 56.0, 26.0, 48.0) } else { (8.0, 8.0, 18.0, 12.0) };
    let plot =
        Area { x: area.x + left, y: area.y + above, w: area.w - left - right, h: area.h - above - below };
    let grid = &view.grid;
    let length_ms = grid.slot * 1e-6 * grid.along_mm.len() as f64;
    let time = Scale::new((0.0, length_ms), (plot.x, plot.x + plot.w));
    let speed = Scale::new((0.0, top), (plot.y + plot.h, plot.y));
    let strip = Area { x: plot.x, y: plot.y + plot.h + 3.0, w: plot.w, h: if full { 9.0 } else { 6.0 } };
    let expected = ridge(grid, plot.w);
    let outline = line(expected.iter().map(|&(t, v)| (time.at(t), speed.at(v))));
    let steps = stairs(grid, plot.w);
    let counted = line(steps.iter().flat_map(|s| {
        let y = speed.at(s.mean);
        [(time.at(s.from_ms), y), (time.at(s.to_ms), y)]
    }));
    let ranges: String = steps
        .iter()
        .filter(|s| (s.largest - s.mean).max(s.mean - s.least) > SPIKE * top)
        .map(|s| {
            let x = time.at(0.5 * (s.from_ms + s.to_ms));
            line([(x, speed.at(s.least)), (x, speed.at(s.largest))])
        })
        .collect();
    let way = match view.swipe.direction {
        Direction::Out => "out",
        Direction::Back => "back",
    };
    let peak = grid.peak() * 1e-3;
    let name = format!("swipe {} {way}", view.swipe.number);
    html! {
        g {
            title { (format!("{name}, peak {}", text::speed(peak))) }
            rect class="panel" x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="3" {}
            @if full { (axes(plot, top, length_ms, time, speed)) }
            path class="ridge" d=(outline) {}
            @for f in findings { (span(f, grid, plot, time, speed, &expected)) }
            path class="range" d=(ranges) {}
            path class="counted" d=(counted) {}
            line class="base" x1=(co(plot.x)) y1=(co(plot.y + plot.h)) x2=(co(plot.x + plot.w)) y2=(co(plot.y + plot.h)) {}
            (arrivals::draw(grid, strip, time))
            @if full {
                (label(area.x + 10.0, area.y + 16.0, "start", "", &name))
                (label(area.x + area.w - 10.0, area.y + 16.0, "end", "faint", &format!("peak {}", text::speed(peak))))
                (label(plot.x - 5.0, strip.y + strip.h, "end", "faint small", "arrivals"))
            } @else {
                (label(area.x + 6.0, area.y + 13.0, "start", "small", &name))
                (label(area.x + area.w - 6.0, area.y + 13.0, "end", "faint small", &format!("{peak:.2} m/s")))
            }
            @for (i, f) in findings.iter().enumerate() { (words(f, grid, plot, time, i, full)) }
        }
    }
}

/// Numbers on both sides and below.
fn axes(plot: Area, top: f64, length_ms: f64, time: Scale, speed: Scale) -> Markup {
    let inches = Scale::new((0.0, top / 0.0254), (plot.y + plot.h, plot.y));
    // The topmost number carries the unit.
    let numbered = |most: f64, unit: &str| -> Vec<(f64, String)> {
        let values = ticks(most, 4);
        let last = values.len().saturating_sub(1);
        let text =
            |(i, v): (usize, f64)| (v, if i == last { format!("{} {unit}", number(v)) } else { number(v) });
        values.into_iter().enumerate().map(text).collect()
    };
    html! {
        @for (v, text) in numbered(top, "m/s") {
            @let y = speed.at(v);
            line class="rule" x1=(co(plot.x)) y1=(co(y)) x2=(co(plot.x + plot.w)) y2=(co(y)) {}
            (label(plot.x - 5.0, y + 4.0, "end", "faint small", &text))
        }
        @for (v, text) in numbered(top / 0.0254, "in/s") {
            (label(plot.x + plot.w + 5.0, inches.at(v) + 4.0, "start", "faint small", &text))
        }
        @for t in ticks(length_ms, 6) {
            (label(time.at(t), plot.y + plot.h + 24.0, "middle", "faint small", &number(t)))
        }
        (label(plot.x + 0.5 * plot.w, plot.y + plot.h + 40.0, "middle", "faint small", "ms from the first count"))
    }
}

/// Milliseconds of a finding on the swipe's own axis.
pub(crate) fn span_ms(f: &Finding, grid: &Grid) -> (f64, f64) {
    ((f.begin_ns - grid.begin) as f64 * 1e-6, (f.end_ns - grid.begin) as f64 * 1e-6)
}

/// What is missing is hatched under the ridge; motion that the hand did not make is speckled over the whole height.
fn span(f: &Finding, grid: &Grid, plot: Area, time: Scale, speed: Scale, expected: &[(f64, f64)]) -> Markup {
    let (from, to) = span_ms(f, grid);
    if f.family == Family::SpinOut {
        let (x0, x1) = (time.at(from), time.at(to).max(time.at(from) + 2.0));
        return html! {
            rect class="false" x=(co(x0)) y=(co(plot.y)) width=(co(x1 - x0)) height=(co(plot.h)) {}
            rect fill="url(#false)" x=(co(x0)) y=(co(plot.y)) width=(co(x1 - x0)) height=(co(plot.h)) {}
        };
    }
    let at = |t: f64| {
        let next = expected.partition_point(|p| p.0 < t);
        match (expected.get(next.wrapping_sub(1)), expected.get(next)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0).max(1e-9),
            (_, Some(p)) | (Some(p), None) => p.1,
            (None, None) => 0.0,
        }
    };
    let inside = expected.iter().filter(|p| p.0 > from && p.0 < to).copied();
    let edge = [(from, at(from))].into_iter().chain(inside).chain([(to, at(to))]);
    let around = [(from, 0.0)].into_iter().chain(edge).chain([(to, 0.0)]);
    let outline = line(around.map(|(t, v)| (time.at(t), speed.at(v)))) + "Z";
    html! { path class="lack" fill="url(#lacking)" d=(outline) {} }
}

/// A finding in words above its span, with a line down to it.
fn words(f: &Finding, grid: &Grid, plot: Area, time: Scale, row: usize, full: bool) -> Markup {
    let (from, to) = span_ms(f, grid);
    let x = time.at(0.5 * (from + to));
    let text = match (f.family, f.unit) {
        (Family::Dropout, _) => format!("{} {:.1} mm", f.kind, f.size),
        (_, "mm of travel") => format!("{}: {:.1} mm missing", f.family.words(), f.size),
        _ => format!("{}: {}", f.family.words(), f.kind),
    };
    let share = (x - plot.x) / plot.w;
    let anchor = if share < 0.25 {
        "start"
    } else if share > 0.75 {
        "end"
    } else {
        "middle"
    };
    let y = plot.y + 12.0 + 14.0 * row as f64;
    html! {
        line class="lack" x1=(co(x)) y1=(co(y + 3.0)) x2=(co(x)) y2=(co(plot.y + plot.h)) stroke-dasharray="2 3" {}
        (label(x, y, anchor, if full { "alarm" } else { "alarm small" }, &text))
    }
}
