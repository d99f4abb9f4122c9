//! One row a step: outcome, name, nominal and effective resolution, fastest clean swipe.

use super::fit::{Weight, fit};
use super::{Text, name, sign, text};
use crate::figure::{Area, co};
use maud::{Markup, html};
use slipgauge_analysis::verdict::{Outcome, Quantity, StepVerdict};

/// Most rows; the rest is counted.
pub const MOST: usize = 8;

/// Columns of a table: where the name begins, and right edges of the numbers, as shares of the width.
struct Columns {
    word: f64,
    name: f64,
    nominal: f64,
    effective: f64,
    clean: f64,
}

const NARROW: Columns = Columns { word: 52.0, name: 250.0, nominal: 528.0, effective: 754.0, clean: 904.0 };
const WIDE: Columns = Columns { word: 66.0, name: 360.0, nominal: 900.0, effective: 1270.0, clean: 1752.0 };

/// Draws the rows into an area; `wide` for one or two steps over the whole width.
pub fn draw(steps: &[StepVerdict], area: Area, wide: bool) -> Markup {
    let columns = if wide { WIDE } else { NARROW };
    let head = if wide { 44.0 } else { 80.0 };
    let shown = if steps.len() > MOST { MOST - 1 } else { steps.len() };
    let rows = steps.len().clamp(1, MOST);
    let pitch = ((area.h - head) / rows as f64).min(96.0);
    let size = if wide { 38.0 } else { (pitch * 0.45).clamp(28.0, 32.0) };
    html! {
        (heads(&columns, area, wide))
        @for (i, step) in steps.iter().take(shown).enumerate() {
            @let y = area.y + head + pitch * (i as f64 + 0.5);
            (row(step, &columns, area, (y, pitch), size, wide))
        }
        @if steps.len() > shown {
            @let y = area.y + head + pitch * (shown as f64 + 0.5) + 0.36 * size;
            (text(&format!("and {} more steps", steps.len() - shown), Text { x: area.x + columns.word, y, size, ..Text::default() }))
        }
    }
}

fn heads(c: &Columns, area: Area, wide: bool) -> Markup {
    let head = |x: f64, line: f64, anchor: &'static str, words: &str| {
        let at =
            Text { x: area.x + x, y: area.y + 28.0 + 34.0 * line, ink: "#5d594f", anchor, ..Text::default() };
        text(words, at)
    };
    html! {
        @if wide {
            (head(c.name, 0.0, "start", "step"))
            (head(c.nominal, 0.0, "end", "nominal, counts/inch"))
            (head(c.effective, 0.0, "end", "effective (95 %)"))
            (head(c.clean, 0.0, "end", "fastest clean swipe"))
        } @else {
            (head(c.name, 1.0, "start", "step"))
            (head(c.nominal, 0.0, "end", "nominal,"))
            (head(c.nominal, 1.0, "end", "counts/inch"))
            (head(c.effective, 0.0, "end", "effective"))
            (head(c.effective, 1.0, "end", "(95 %)"))
            (head(c.clean, 0.0, "end", "clean to,"))
            (head(c.clean, 1.0, "end", "m/s"))
        }
    }
}

fn row(step: &StepVerdict, c: &Columns, area: Area, (y, pitch): (f64, f64), size: f64, wide: bool) -> Markup {
    let base = y + 0.36 * size;
    let cell = |x: f64, anchor: &'static str, bold: bool, words: &str| {
        text(words, Text { x: area.x + x, y: base, size, bold, anchor, ..Text::default() })
    };
    let word = match step.verdict {
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
        Outcome::Inconclusive if wide => "inconclusive",
        Outcome::Inconclusive => "open",
        Outcome::NotExamined if wide => "not examined",
        Outcome::NotExamined => "not seen",
    };
    let room = if wide { 220.0 } else { 130.0 };
    let called = fit(&name(step), size, Weight::Book, room);
    let nominal = step.nominal_counts_per_inch.map_or_else(|| "unknown".to_owned(), whole);
    let effective = step.resolution_counts_per_inch.map_or_else(|| "–".to_owned(), |q| around(q, wide));
    let clean = step.swept.fastest_clean_m_s.map(|v| match wide {
        true => format!("{v:.2} m/s ({:.0} in/s)", v / 0.0254),
        false => format!("{v:.2}"),
    });
    let line = y - 0.5 * pitch;
    html! {
        line x1=(co(area.x)) y1=(co(line)) x2=(co(area.x + area.w)) y2=(co(line)) stroke="#cfc9bb" stroke-width="2" {}
        (sign::draw(step.verdict, area.x + 24.0, y, (0.3 * pitch).clamp(13.0, 20.0)))
        (text(word, Text { x: area.x + c.word, y: base, size, bold: true, ink: sign::ink(step.verdict), ..Text::default() }))
        (cell(c.name, "start", false, &called))
        (cell(c.nominal, "end", false, &fit(&nominal, size, Weight::Book, room)))
        (cell(c.effective, "end", true, &effective))
        (cell(c.clean, "end", true, &clean.unwrap_or_else(|| "–".to_owned())))
    }
}

/// A number of counts; powers of ten where it is larger than any device has.
fn whole(value: f64) -> String {
    if (0.5..1e6).contains(&value) { format!("{value:.0}") } else { format!("{value:.0e}") }
}

fn around(q: Quantity, wide: bool) -> String {
    let value = whole(q.value);
    match (q.low, q.high) {
        (Some(low), Some(high)) if value.len() <= 6 => {
            let half = (0.5 * (high - low)).max(0.0);
            let half = if half < 9.95 && wide { format!("{half:.1}") } else { whole(half.max(1.0)) };
            format!("{value} ± {half}")
        }
        _ => value,
    }
}
