//! Arrival strip: when reports came, as ticks. One tick a pixel at most; what is empty stays empty.

use super::{Area, Scale, upright};
use maud::{Markup, html};
use slipgauge_analysis::grid::Grid;

/// Draws the strip of one swipe.
pub fn draw(grid: &Grid, area: Area, time: Scale) -> Markup {
    let mut last = f64::NEG_INFINITY;
    let mut ticks = String::new();
    for (slot, _) in grid.reports.iter().enumerate().filter(|(_, n)| **n > 0) {
        let x = time.at((slot as f64 + 0.5) * grid.slot * 1e-6);
        if x - last >= 1.0 {
            ticks += &upright(x, area.y, area.y + area.h);
            last = x;
        }
    }
    html! { path class="arrival" d=(ticks) {} }
}
