//! The picture of a study: how often a plan finds faults, one panel a fault.

use crate::figure::chance::{self, Panel};
use crate::figure::{self, Area, label};
use maud::html;

const WIDTH: f64 = 1120.0;
const MARGIN: f64 = 30.0;
const GAP: f64 = 16.0;
/// Height of a panel, and panels beside each other.
const PANEL: f64 = 362.0;
const COLUMNS: usize = 2;

/// Draws the whole sheet as one SVG document. `said` stands below the title, a line each.
pub fn svg(title: &str, said: &[String], panels: &[Panel], foot: &str) -> String {
    let columns = COLUMNS.min(panels.len().max(1));
    let width = if columns == 1 { 0.62 * WIDTH } else { WIDTH };
    let w = (width - 2.0 * MARGIN - GAP * (columns - 1) as f64) / columns as f64;
    let top = MARGIN + 30.0 + 18.0 * said.len() as f64 + GAP;
    let place = |i: usize| Area {
        x: MARGIN + (i % columns) as f64 * (w + GAP),
        y: top + (i / columns) as f64 * (PANEL + GAP),
        w,
        h: PANEL,
    };
    let below = top + panels.len().div_ceil(columns) as f64 * (PANEL + GAP);
    let body = html! {
        (label(MARGIN, MARGIN + 18.0, "start", "big", title))
        @for (i, text) in said.iter().enumerate() {
            (label(MARGIN, MARGIN + 42.0 + 18.0 * i as f64, "start", "faint", text))
        }
        @for (i, panel) in panels.iter().enumerate() { (chance::draw(panel, place(i))) }
        (label(MARGIN, below + 8.0, "start", "faint small", foot))
    };
    figure::sheet(width, below + MARGIN, title, &body)
}
