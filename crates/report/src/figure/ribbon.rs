//! Motion ribbon: one swipe. Expected speed as a filled ridge, counted speed as a step line, what is missing hatched
//! with its millimetres, faults named in words, the arrival strip below.

use super::axis::Axis;
use super::{Area, Scale, arrivals, co, label, line, number, stair, ticks, upright};
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
/// And a single report further than this many counts: two are its own and its neighbour's rounding.
const COUNTS: f64 = 3.0;

/// One step of the counted line: mean, least and largest speed of its slots, m/s.
pub(crate) struct Stair {
    pub(crate) from_ms: f64,
    pub(crate) to_ms: f64,
    pub(crate) mean: f64,
    least: f64,
    largest: f64,
}

/// Reduces a grid to steps no narrower than a pixel and a half, with the range of what lies inside, so that a single
/// report never vanishes. The range is of pieces of [`FINEST_MS`], and of single slots where these lie further out than
/// `rounding`, in m/s.
pub(crate) fn stairs(grid: &Grid, pixels: f64, rounding: f64) -> Vec<Stair> {
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
            let mean = speed(chunk);
            let single = chunk.iter().map(|mm| mm / slot_ms).filter(|v| (v - mean).abs() > rounding);
            let pieces: Vec<f64> = chunk.chunks(fine).map(speed).chain(single).collect();
            Stair {
                from_ms: (i * width) as f64 * slot_ms,
                to_ms: (i * width + chunk.len()) as f64 * slot_ms,
                mean,
                least: pieces.iter().copied().fold(f64::INFINITY, f64::min),
                largest: pieces.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            }
        })
        .collect()
}

/// Speed by which a single report may be off through rounding alone, m/s.
fn rounding(view: &SwipeView) -> f64 {
    let counted: f64 = view.grid.along_mm.iter().sum();
    let count_mm = (counted / view.swipe.along).abs();
    let speed = COUNTS * count_mm / (view.grid.slot * 1e-6);
    if speed.is_finite() { speed } else { 0.0 }
}

/// A part of a swipe, for drawing it larger: slots `from` to `to` of its grid.
pub fn part(view: &SwipeView, from: usize, to: usize) -> SwipeView {
    let grid = &view.grid;
    let n = grid.along_mm.len();
    let (from, to) = (from.min(n), to.min(n).max(from.min(n)));
    let cut = |values: &[f64]| values.get(from..to).unwrap_or_default().to_vec();
    let grid = Grid {
        begin: grid.time(from),
        slot: grid.slot,
        along_mm: cut(&grid.along_mm),
        across_mm: cut(&grid.across_mm),
        reports: grid.reports.get(from..to).unwrap_or_default().to_vec(),
        expected_mm_s: cut(&grid.expected_mm_s),
        claim: grid.claim,
        held_up: grid.held_up,
    };
    SwipeView { grid, silences: Vec::new(), stretches: Vec::new(), clip: None, ..view.clone() }
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
    draw_from(view, findings, area, top, detail, 0.0)
}

/// Draws a part of a swipe that begins so many milliseconds after the swipe's first count.
pub fn draw_from(
    view: &SwipeView,
    findings: &[&Finding],
    area: Area,
    top: f64,
    detail: Detail,
    begin_ms: f64,
) -> Markup {
    let full = detail == Detail::Full;
    let (left, right, above, below) = if full { (54.0, 56.0, 26.0, 48.0) } else { (8.0, 8.0, 18.0, 12.0) };
    let plot =
        Area { x: area.x + left, y: area.y + above, w: area.w - left - right, h: area.h - above - below };
    let grid = &view.grid;
    let length_ms = grid.slot * 1e-6 * grid.along_mm.len() as f64;
    let time = Scale::new((0.0, length_ms), (plot.x, plot.x + plot.w));
    let speed = Scale::new((0.0, top), (plot.y + plot.h, plot.y));
    let strip = Area { x: plot.x, y: plot.y + plot.h + 3.0, w: plot.w, h: if full { 9.0 } else { 6.0 } };
    // The hand is smooth: a point every few pixels shows all of it.
    let expected = ridge(grid, plot.w / if full { 2.0 } else { 4.0 });
    let outline = line(expected.iter().map(|&(t, v)| (time.at(t), speed.at(v))));
    let steps = stairs(grid, plot.w, rounding(view));
    let counted = stair(steps.iter().map(|s| (time.at(s.from_ms), time.at(s.to_ms), speed.at(s.mean))));
    let ranges: String = steps
        .iter()
        .filter(|s| (s.largest - s.mean).max(s.mean - s.least) > SPIKE * top)
        .map(|s| {
            let x = time.at(0.5 * (s.from_ms + s.to_ms));
            upright(x, speed.at(s.least), speed.at(s.largest))
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
            @if full { (axes(plot, top, (begin_ms, begin_ms + length_ms), speed)) }
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
fn axes(plot: Area, top: f64, span_ms: (f64, f64), speed: Scale) -> Markup {
    let time = Axis::plain(span_ms, (plot.x, plot.x + plot.w), 6, "");
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
        @for (t, text) in time.marks() {
            (label(time.at(*t), plot.y + plot.h + 24.0, "middle", "faint small", text))
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

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_analysis::swipes::Swipe;

    fn swipe(slot: f64, along_mm: Vec<f64>) -> SwipeView {
        let n = along_mm.len();
        let counts = along_mm.iter().sum::<f64>() * 63.0;
        let swipe = Swipe {
            number: 1,
            direction: Direction::Out,
            rows: 0..n,
            begin: 0,
            end: 0,
            along: counts,
            across: 0.0,
            peak: 0.0,
            exit: 0.0,
            one_travel: counts,
            surplus: 0.0,
            began_short: false,
            stopped_short: false,
        };
        let expected_mm_s = vec![1000.0; n];
        let grid = Grid {
            slot,
            across_mm: vec![0.0; n],
            reports: vec![1; n],
            expected_mm_s,
            along_mm,
            ..Grid::default()
        };
        SwipeView { grid, ..SwipeView::new(swipe) }
    }

    /// 0.3 s at 8 kHz, 1 m/s, in a picture of 100 pixels: one report of 2,400 counts 1.5 m/s more, or nothing.
    #[test]
    fn a_spike_of_one_report_never_vanishes_however_small_the_picture() {
        for (at, mm) in [(1200, 0.125 + 0.1875), (77, 0.0 - 0.1)] {
            let mut along = vec![0.125; 2400];
            along[at] = mm;
            let view = swipe(125_000.0, along);
            for pixels in [40.0, 100.0, 700.0] {
                let all = stairs(&view.grid, pixels, rounding(&view));
                assert!(all.len() <= pixels as usize);
                let reach = |s: &Stair| (s.largest - s.mean).max(s.mean - s.least);
                let out = all.iter().filter(|s| reach(s) > SPIKE * 2.0).count();
                assert_eq!(out, 1, "{at} at {pixels}");
            }
        }
        let even = swipe(125_000.0, vec![0.125; 2400]);
        assert!(stairs(&even.grid, 100.0, rounding(&even)).iter().all(|s| s.largest - s.least < 1e-9));
    }

    #[test]
    fn a_part_keeps_its_place_in_time() {
        let view = swipe(1e6, (0..100).map(f64::from).collect());
        let cut = part(&view, 20, 30);
        assert_eq!((cut.grid.begin, cut.grid.along_mm.len(), cut.grid.along_mm[0]), (20_000_000, 10, 20.0));
        assert_eq!(part(&view, 200, 10).grid.along_mm.len(), 0);
    }
}
