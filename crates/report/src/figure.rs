//! Pictures as SVG. One file a kind; here the few things that all share: palette, scales, paths.
//!
//! Own look: motion is drawn along the swipe, never as two sensor axes. What was expected is a filled ridge, what was
//! counted a step line, what is missing is hatched. Words stand on the picture, not in a legend. Told apart by shape
//! and hatching first, by colour second; the colours are of different lightness, so that they hold in grey as well.

pub mod arrivals;
pub mod axis;
pub mod chance;
pub mod ladder;
pub mod limit;
pub mod ribbon;
pub mod scale_curve;
pub mod shortfall;
pub mod spectrum;
pub mod still;
pub mod ways;

use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// Colours and line styles. Literal values, so that a renderer without CSS variables draws the same; dark mode by
/// media query.
pub const STYLE: &str = "\
svg{font-family:'DejaVu Sans',Verdana,sans-serif;font-size:12px;fill:#23262b}\
.paper{fill:#faf8f3}.panel{fill:#ffffff;stroke:#cfc9bb;stroke-width:1}\
.ridge{fill:#e3d3a4;stroke:#9a8240;stroke-width:1}\
.counted{fill:none;stroke:#15506b;stroke-width:1.4;stroke-linejoin:round}\
.range{stroke:#15506b;stroke-width:1;opacity:.35}\
.lack{stroke:#a33b20;stroke-width:1.2}.hatch{stroke:#a33b20;stroke-width:2}\
.false{fill:#7a4a8c;opacity:.25}.speck{fill:#5b2c6f}\
.arrival{stroke:#23262b;stroke-width:1}.base{stroke:#8a8576;stroke-width:1}\
.rule{stroke:#e6e1d4;stroke-width:1}.faint{fill:#6b675c}.alarm{fill:#8c2f18;font-weight:bold}\
.named{paint-order:stroke;stroke:#ffffff;stroke-width:3px;stroke-linejoin:round}\
.ring{fill:none;stroke:#b9b29f;stroke-dasharray:3 3}.track{fill:none;stroke:#15506b;stroke-width:1.4}\
.mark{fill:#15506b}.band{fill:#15506b;opacity:.13}.edge{stroke:#15506b;stroke-width:1;stroke-dasharray:5 3}\
.cloud{fill:#8a8576;opacity:.3}.lost{fill:none;stroke:#a33b20;stroke-width:1.5;stroke-linejoin:round}.big{font-size:26px;font-weight:bold}.head{font-size:16px;font-weight:bold}.small{font-size:10.5px}\
@media screen and (prefers-color-scheme:dark){svg{fill:#e9e4d8}.paper{fill:#1b1d20}.panel{fill:#24272b;stroke:#4a4a46}\
.ridge{fill:#57491f;stroke:#b59a52}.counted,.track,.range{stroke:#7cc0dc}.lack,.hatch,.lost{stroke:#f0886a}.mark,.band{fill:#7cc0dc}.edge{stroke:#7cc0dc}\
.alarm{fill:#f0886a}.named{stroke:#24272b}.arrival{stroke:#e9e4d8}.base{stroke:#8a8576}.rule{stroke:#33363a}.faint{fill:#a8a294}\
.false{fill:#c79bd8}.speck{fill:#d9b6e6}.ring{stroke:#6b675c}}\
@media print{.paper{fill:#ffffff}}";

/// Patterns that the classes refer to.
pub fn patterns() -> Markup {
    html! {
        defs {
            pattern id="lacking" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line class="hatch" x1="0" y1="0" x2="0" y2="6" {}
            }
            pattern id="false" width="6" height="6" patternUnits="userSpaceOnUse" {
                circle class="speck" cx="2" cy="2" r="1.2" {}
            }
        }
    }
}

/// A rectangle on the sheet.
#[derive(Clone, Copy, Debug)]
pub struct Area {
    /// Left.
    pub x: f64,
    /// Top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

/// From a quantity to the sheet.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// `from` is mapped onto `to`, end to end; an empty range maps onto its begin.
    pub fn new(from: (f64, f64), to: (f64, f64)) -> Scale {
        Scale { from, to }
    }

    /// Place of a value, kept within the range.
    pub fn at(&self, value: f64) -> f64 {
        let span = self.from.1 - self.from.0;
        let share = if span > 0.0 { ((value - self.from.0) / span).clamp(0.0, 1.0) } else { 0.0 };
        self.to.0 + share * (self.to.1 - self.to.0)
    }
}

/// Round values from 0 to `most`, about `count` of them: steps of 1, 2 or 5 times a power of ten.
pub fn ticks(most: f64, count: usize) -> Vec<f64> {
    if !(most.is_finite() && most > 0.0) || count == 0 {
        return vec![0.0];
    }
    let rough = most / count as f64;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|f| f * power)
        .find(|s| *s >= rough * 0.999)
        .unwrap_or(10.0 * power);
    (0..=(most / step * 1.000_001) as usize).map(|i| i as f64 * step).collect()
}

/// A number without trailing zeros, as an axis has it.
pub fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Path data through points, two decimals.
pub fn line(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut data = String::new();
    for (i, (x, y)) in points.into_iter().enumerate() {
        let _ = write!(data, "{}{x:.2} {y:.2}", if i == 0 { "M" } else { "L" });
    }
    data
}

/// A coordinate, two decimals.
pub fn co(value: f64) -> String {
    format!("{value:.2}")
}

/// Text at a place. `anchor` is `start`, `middle` or `end`.
pub fn label(x: f64, y: f64, anchor: &str, class: &str, text: &str) -> Markup {
    html! { text x=(co(x)) y=(co(y)) text-anchor=(anchor) class=(class) { (text) } }
}

/// Path data of a line that stays level and then jumps, as `(from, to, y)`: one decimal, since there are hundreds of them.
pub fn stair(steps: impl IntoIterator<Item = (f64, f64, f64)>) -> String {
    let mut data = String::new();
    for (i, (from, to, y)) in steps.into_iter().enumerate() {
        let _ = match i {
            0 => write!(data, "M{from:.1} {y:.1}H{to:.1}"),
            _ => write!(data, "V{y:.1}H{to:.1}"),
        };
    }
    data
}

/// Path data of an upright line.
pub fn upright(x: f64, from: f64, to: f64) -> String {
    format!("M{x:.1} {from:.1}V{to:.1}")
}

/// A picture within a page that has the styles and the patterns: `id` is unlike that of any other.
pub fn inline(id: &str, (width, height): (f64, f64), title: &str, what: &str, body: &Markup) -> Markup {
    let (title_id, what_id) = (format!("{id}-title"), format!("{id}-desc"));
    html! {
        svg viewBox=(format!("0 0 {width:.0} {height:.0}")) width=(format!("{width:.0}")) height=(format!("{height:.0}"))
            role="img" aria-labelledby=(title_id) aria-describedby=(what_id) {
            title id=(title_id) { (title) }
            desc id=(what_id) { (what) }
            (body)
        }
    }
}

/// The sheet around everything.
pub fn sheet(width: f64, height: f64, title: &str, body: &Markup) -> String {
    let view = format!("0 0 {width:.0} {height:.0}");
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(view) width=(format!("{width:.0}")) height=(format!("{height:.0}"))
            role="img" {
            title { (title) }
            style { (PreEscaped(STYLE)) }
            (patterns())
            rect class="paper" x="0" y="0" width="100%" height="100%" {}
            (body)
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_reach_the_end() {
        assert_eq!(ticks(3.0, 3), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(ticks(0.45, 4), [0.0, 0.2, 0.4]);
        assert_eq!(ticks(f64::NAN, 4), [0.0]);
        assert_eq!((number(0.25), number(3.0), number(1250.0)), ("0.25".into(), "3".into(), "1250".into()));
    }

    #[test]
    fn a_scale_keeps_what_lies_outside_on_its_edge() {
        let scale = Scale::new((0.0, 2.0), (100.0, 0.0));
        assert_eq!((scale.at(1.0), scale.at(5.0), scale.at(-1.0)), (50.0, 0.0, 100.0));
    }
}
