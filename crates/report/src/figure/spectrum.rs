//! Spectrum of report intervals: what is periodic in them, as a comb over the period; the line that was found is named.

use super::axis::Axis;
use super::{Area, co, label, line, stair, upright};
use maud::{Markup, html};
use slipgauge_analysis::spectrum::Spectrum;

/// Draws amplitudes in nanoseconds, with the period that was found, in reports; `None` for an empty spectrum.
pub fn draw(spectrum: &Spectrum, period: f64, area: Area) -> Option<Markup> {
    let n = spectrum.amplitude.len();
    if n < 4 || !(spectrum.spacing.is_finite() && spectrum.spacing > 0.0) {
        return None;
    }
    let us = |i: usize| spectrum.amplitude.get(i).copied().unwrap_or(0.0) * 1e-3;
    let top = (1..n).map(us).filter(|v| v.is_finite()).fold(1e-3, f64::max) * 1.15;
    let plot = Area { x: area.x + 52.0, y: area.y + 36.0, w: area.w - 66.0, h: area.h - 80.0 };
    let high = spectrum.spacing * (n - 1) as f64;
    let frequency = Axis::plain((0.0, high), (plot.x, plot.x + plot.w), 5, "cycles per report");
    let amplitude = Axis::plain((0.0, top), (plot.y + plot.h, plot.y), 4, "µs");
    // The largest of each pixel: a line never vanishes.
    let bins = (plot.w as usize).min(n - 1).max(1);
    let cell =
        |i: usize| (1 + i * (n - 1) / bins)..(1 + (i + 1) * (n - 1) / bins).max(2 + i * (n - 1) / bins);
    let steps = (0..bins).map(|i| {
        let largest = cell(i).map(us).filter(|v| v.is_finite()).fold(0.0, f64::max);
        let at = |k: usize| frequency.at((k as f64 - 0.5) * spectrum.spacing);
        (at(cell(i).start), at(cell(i).end), amplitude.at(largest))
    });
    let found = (period.is_finite() && period > 0.0).then(|| frequency.at(1.0 / period));
    Some(html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        (amplitude.left(plot))
        (frequency.below(plot))
        path class="counted" d=(stair(steps)) {}
        @if let Some(x) = found {
            path class="edge" d=(upright(x, plot.y, plot.y + plot.h)) {}
            @let (anchor, by) = if x > plot.x + 0.6 * plot.w { ("end", -5.0) } else { ("start", 5.0) };
            (label(x + by, plot.y + 13.0, anchor, "alarm small", &format!("again every {period:.2} reports")))
        }
        path class="base" d=(line([(plot.x, plot.y + plot.h), (plot.x + plot.w, plot.y + plot.h)])) {}
    })
}
