//! Arrival strip: when reports came, as ticks. One tick a pixel at most; what is empty stays empty.

use super::{Area, Scale};
use maud::{Markup, html};
use slipgauge_analysis::grid::Grid;
use std::fmt::Write as _;

/// Draws the strip of one swipe.
pub fn draw(grid: &Grid, area: Area, time: Scale) -> Markup {
    let (mut last, mut ticks) = (f64::NEG_INFINITY, String::new());
    for (slot, _) in grid.reports.iter().enumerate().filter(|(_, n)| **n > 0) {
        let x = (10.0 * time.at((slot as f64 + 0.5) * grid.slot * 1e-6)).round() / 10.0;
        if x - last >= 1.0 {
            // One after the other from where the pen is: there are thousands of them on a page.
            let _ = match ticks.is_empty() {
                true => write!(ticks, "M{x:.1} {:.1}v{:.1}", area.y, area.h),
                false => write!(ticks, "m{:.1}-{:.1}v{:.1}", x - last, area.h, area.h),
            };
            last = x;
        }
    }
    html! { path class="arrival" d=(ticks) {} }
}
