//! The plate: one picture of a verdict, 1920 × 1080, to be put into a video.
//!
//! What must be read when it is a thumb's breadth wide is large: what was tested, the verdict, the sentence. Nothing is
//! smaller than [`LEAST`]. Every colour is literal and nothing depends on a style sheet, so that whatever draws it draws the
//! same; widths are those of the one font that it is set in ([`fit`]).

pub mod fit;
mod motion;
mod rest;
mod rows;
mod say;
mod sign;

use crate::figure::{Area, co};
use crate::text as told;
use fit::{Weight, width};
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::verdict::{Outcome, StepVerdict, Verdict, count};
use slipgauge_trace::outside::harmless;
use slipgauge_trace::session::{ClockId, Header};

/// Width of the plate.
pub const WIDTH: f64 = 1920.0;
/// Height of the plate.
pub const HEIGHT: f64 = 1080.0;
/// Smallest text: 2.6 % of the height, which a telephone still shows.
pub const LEAST: f64 = 28.0;

const MARGIN: f64 = 72.0;
const INNER: f64 = WIDTH - 2.0 * MARGIN;
/// Size of the sentence: ten pixels high where the plate is 320 wide.
const SENTENCE: f64 = 60.0;

/// One line of text.
#[derive(Clone, Copy, Debug)]
struct Text {
    x: f64,
    y: f64,
    size: f64,
    bold: bool,
    ink: &'static str,
    anchor: &'static str,
}

impl Default for Text {
    fn default() -> Text {
        Text { x: 0.0, y: 0.0, size: LEAST, bold: false, ink: "#23262b", anchor: "start" }
    }
}

fn text(words: &str, at: Text) -> Markup {
    let weight = if at.bold { "bold" } else { "normal" };
    html! {
        text x=(co(at.x)) y=(co(at.y)) font-size=(at.size) font-weight=(weight) fill=(at.ink) text-anchor=(at.anchor) {
            (words)
        }
    }
}

/// What a step is called.
fn name(step: &StepVerdict) -> String {
    step.label.as_deref().map_or_else(|| format!("step {}", step.step), harmless)
}

/// Draws the plate as one SVG document. The header is that of the recording that was judged.
pub fn svg(judgement: &Judgement, header: &Header) -> String {
    let v = &judgement.verdict;
    let need = header.plan.as_ref().and_then(|p| p.need.get("speed_m_s")?.as_f64());
    let need = need.filter(|n| n.is_finite() && (0.0..100.0).contains(n));
    let sentence = fit::lines(&say::sentence(v, need), SENTENCE, Weight::Book, INNER, 2);
    let body = html! {
        (head(v, header))
        (band(v))
        @for (i, line) in sentence.iter().enumerate() {
            (text(line, Text { x: MARGIN, y: 388.0 + 72.0 * i as f64, size: SENTENCE, ..Text::default() }))
        }
        (lower(judgement, 388.0 + 72.0 * sentence.len().saturating_sub(1) as f64 + 32.0))
        (foot(v, header))
    };
    let title = format!("{}: {}", told::outcome(v.verdict), told::device(v));
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1920 1080" width="1920" height="1080" role="img"
            font-family="DejaVu Sans, Verdana, sans-serif" {
            title { (title) }
            defs {
                pattern id="lack" width="16" height="16" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                    line x1="0" y1="0" x2="0" y2="16" stroke="#a33b20" stroke-width="6" {}
                }
                pattern id="untrue" width="16" height="16" patternUnits="userSpaceOnUse" {
                    circle cx="5" cy="5" r="3" fill="#5b2c6f" {}
                }
            }
            rect x="0" y="0" width="1920" height="1080" fill="#faf8f3" {}
            (body)
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

/// What was tested: label and unit.
fn head(v: &Verdict, header: &Header) -> Markup {
    let device = &v.device;
    let label = device.label.as_deref().or(device.name.as_deref()).unwrap_or("unnamed device");
    let unit = device.unit.as_deref().map(|unit| format!("unit {unit}"));
    let simulated = (header.clock.id == ClockId::Simulated).then(|| "simulated".to_owned());
    let right: Vec<String> = [simulated, unit].into_iter().flatten().collect();
    let right = fit::fit(&harmless(&right.join(", ")), 44.0, Weight::Book, 560.0);
    let room = INNER - width(&right, 44.0, Weight::Book) - 48.0;
    let label = fit::fit(&harmless(label), 80.0, Weight::Bold, room);
    html! {
        (text(&label, Text { x: MARGIN, y: 116.0, size: 80.0, bold: true, ..Text::default() }))
        (text(&right, Text { x: WIDTH - MARGIN, y: 116.0, size: 44.0, ink: "#5d594f", anchor: "end", ..Text::default() }))
    }
}

/// The verdict: sign, word, how many swipes, and the cause of a fail.
fn band(v: &Verdict) -> Markup {
    let ink = sign::ink(v.verdict);
    let found = v.steps.iter().map(|s| s.swipes.found).fold(0, u32::saturating_add);
    let clean = v.steps.iter().map(|s| s.swipes.clean).fold(0, u32::saturating_add);
    let counted = format!("{}, {clean} clean", count(found, "swipe"));
    let lines = match v.verdict {
        Outcome::NotExamined => vec![format!("{} reports", v.received.reports)],
        _ => [Some(counted), say::cause(v)].into_iter().flatten().collect(),
    };
    let first = if lines.len() == 1 { 250.0 } else { 224.0 };
    html! {
        rect x=(co(MARGIN)) y="152" width=(co(INNER)) height="168" rx="10" fill=(sign::ground(v.verdict)) stroke=(ink) stroke-width="4" {}
        (sign::draw(v.verdict, MARGIN + 92.0, 236.0, 60.0))
        (text(told::outcome(v.verdict), Text { x: MARGIN + 184.0, y: 278.0, size: 116.0, bold: true, ink, ..Text::default() }))
        @for (i, line) in lines.iter().enumerate() {
            (text(&fit::fit(line, 38.0, Weight::Book, 520.0),
                Text { x: WIDTH - MARGIN - 28.0, y: first + 54.0 * i as f64, size: 38.0, anchor: "end", ..Text::default() }))
        }
    }
}

/// Steps and a swipe: beside each other, or one over the other where there are few steps.
fn lower(judgement: &Judgement, top: f64) -> Markup {
    let steps = &judgement.verdict.steps;
    let bottom = HEIGHT - 100.0;
    let few = steps.len() <= 2;
    let table = match (steps.len(), few) {
        (0, _) => 0.0,
        (n, true) => 44.0 + 62.0 * n as f64,
        _ => bottom - top,
    };
    let rows = Area { x: MARGIN, y: top, w: if few { INNER } else { 920.0 }, h: table };
    let panel = if few {
        Area { x: MARGIN, y: top + table + 12.0, w: INNER, h: bottom - top - table - 12.0 }
    } else {
        Area { x: MARGIN + 952.0, y: top, w: INNER - 952.0, h: bottom - top }
    };
    html! {
        @if !steps.is_empty() { (rows::draw(steps, rows, few)) }
        (picture(judgement, panel))
    }
}

/// What the verdict rests on: a swipe, or the path at rest where drift fails and no swipe does.
fn picture(judgement: &Judgement, panel: Area) -> Markup {
    let several = judgement.steps.len() > 1;
    let swipe = motion::choose(judgement);
    match rest::choose(judgement).filter(|_| !swipe.as_ref().is_some_and(motion::Shown::fails)) {
        Some(rest) => rest::draw(&rest, several, panel),
        None => swipe.map_or_else(|| motion::none(panel), |shown| motion::draw(&shown, several, panel)),
    }
}

/// What the verdict holds for, and what it was read from.
fn foot(v: &Verdict, header: &Header) -> Markup {
    let date = match (header.clock.id, header.started.as_deref().and_then(|t| t.get(..10))) {
        (ClockId::Simulated, _) => "simulated, no real device".to_owned(),
        (_, Some(date)) => harmless(date),
        (_, None) => "date not recorded".to_owned(),
    };
    let pad = header
        .surface
        .as_deref()
        .map_or_else(|| "pad not named".to_owned(), |s| format!("pad: {}", harmless(s)));
    let hash = v.sha256.get(..12).unwrap_or_default();
    let rest = format!(" · {date} · sha256 {hash}… · rules {}", v.rules);
    let rest = match v.remarks.len() {
        0 => rest,
        n => format!("{rest} · {}", count(n, "remark")),
    };
    let pad = fit::fit(&pad, LEAST, Weight::Book, INNER - width(&rest, LEAST, Weight::Book));
    let own = header.plan.as_ref().is_some_and(|p| !p.tolerances.is_empty());
    let whose = if own { "the user's and ours" } else { "ours" };
    let holds = format!(
        "This unit, this pad, this computer, this firmware, on this date. Tolerances: {whose}, not a standard's."
    );
    html! {
        (text(&(pad + &rest), Text { x: MARGIN, y: HEIGHT - 62.0, ink: "#5d594f", ..Text::default() }))
        (text(&fit::fit(&holds, LEAST, Weight::Book, INNER), Text { x: MARGIN, y: HEIGHT - 24.0, ..Text::default() }))
    }
}
