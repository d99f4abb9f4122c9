//! The swipe that the plate shows, as a motion ribbon for a wide picture: the worst one with what is missing hatched, or
//! the fastest if no swipe has a finding.

use super::fit::{Weight, fit, width};
use super::{Text, text};
use crate::figure::ribbon::{ridge, span_ms, stairs};
use crate::figure::{Area, Scale, co, line, number, ticks};
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::step::SwipeView;
use slipgauge_analysis::verdict::{Family, Finding, Outcome, StepVerdict};

/// About 1.5 times as many steps of the counted line: finer ones show the counts' quantisation, which reads as a fault from
/// afar.
const STAIRS: f64 = 80.0;

const INK: &str = "#23262b";
const FAINT: &str = "#5d594f";
const ALARM: &str = "#8c2f18";

/// A swipe with what was found in it.
pub struct Shown<'a> {
    swipe: &'a SwipeView,
    findings: Vec<&'a Finding>,
    step: &'a StepVerdict,
}

impl Shown<'_> {
    /// Millimetres that are missing.
    fn missing(&self) -> f64 {
        self.findings.iter().filter(|f| f.unit == "mm of travel").map(|f| f.size.abs()).sum()
    }

    /// True if one of its findings is of a family that fails, by itself or together with others.
    pub fn fails(&self) -> bool {
        let failed = |f: &&Finding| {
            let together = self.step.together.as_ref().is_some_and(|t| t.families.contains(&f.family));
            together || self.step.families.iter().any(|v| v.family == f.family && v.verdict == Outcome::Fail)
        };
        self.findings.iter().any(failed)
    }
}

/// The swipe to show: of those with findings the one of a failing family with most missing; else the fastest.
pub fn choose<'a>(judgement: &'a Judgement) -> Option<Shown<'a>> {
    let steps = judgement.steps.iter().zip(&judgement.verdict.steps);
    let all = steps.flat_map(|(view, step)| view.swipes().map(move |(phase, swipe)| (phase, swipe, step)));
    let shown = all.filter(|(_, swipe, _)| swipe.grid.along_mm.len() > 1).map(|(phase, swipe, step)| {
        let own = judgement.verdict.findings.iter().filter(|f| {
            (f.step, f.phase, f.swipe) == (step.step, phase.span.number, Some(swipe.swipe.number))
        });
        Shown { swipe, findings: own.collect(), step }
    });
    let rank = |s: &Shown| (s.fails(), !s.findings.is_empty(), s.missing(), s.swipe.grid.peak());
    shown.max_by(|a, b| {
        let (a, b) = (rank(a), rank(b));
        (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)).then(a.3.total_cmp(&b.3))
    })
}

/// Draws it into a panel.
pub fn draw(shown: &Shown, several: bool, area: Area) -> Markup {
    let grid = &shown.swipe.grid;
    let plot = Area { x: area.x + 96.0, y: area.y + 112.0, w: area.w - 200.0, h: area.h - 112.0 - 48.0 };
    let peak = grid.peak() * 1e-3;
    let top = (peak * 1.12).max(0.1);
    let length_ms = grid.slot * 1e-6 * grid.along_mm.len() as f64;
    let time = Scale::new((0.0, length_ms), (plot.x, plot.x + plot.w));
    let speed = Scale::new((0.0, top), (plot.y + plot.h, plot.y));
    let expected = ridge(grid, plot.w);
    // Of the means alone: at a glance single reports would be noise.
    let steps = stairs(grid, STAIRS, f64::INFINITY);
    let counted: Vec<(f64, f64)> =
        steps.iter().flat_map(|s| [(s.from_ms, s.mean), (s.to_ms, s.mean)]).collect();
    let on = |points: &[(f64, f64)]| line(points.iter().map(|&(t, v)| (time.at(t), speed.at(v))));
    // A swipe that is short with no reason that shows has no place for it.
    let placed = |f: &&&Finding| f.kind != "short" && f.unit == "mm of travel";
    let base = plot.y + plot.h;
    html! {
        rect x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="6" fill="#ffffff" stroke="#cfc9bb" stroke-width="2" {}
        (heads(shown, several, area, peak))
        (axes(plot, top, length_ms, time, speed))
        path d=(on(&expected)) fill="#e3d3a4" stroke="#9a8240" stroke-width="2" {}
        @for f in shown.findings.iter().filter(placed) {
            path d=(on(&lack(span_ms(f, grid), &expected, &counted)) + "Z") fill="#faf0ea" stroke="none" {}
            path d=(on(&lack(span_ms(f, grid), &expected, &counted)) + "Z") fill="url(#lack)" stroke="#a33b20" stroke-width="2" {}
        }
        @for f in shown.findings.iter().filter(|f| f.family == Family::SpinOut) {
            @let (from, to) = span_ms(f, grid);
            rect x=(co(time.at(from))) y=(co(plot.y)) width=(co((time.at(to) - time.at(from)).max(4.0)))
                height=(co(plot.h)) fill="url(#untrue)" {}
        }
        path d=(on(&counted)) fill="none" stroke="#15506b" stroke-width="4" stroke-linejoin="round" {}
        line x1=(co(plot.x)) y1=(co(base)) x2=(co(plot.x + plot.w)) y2=(co(base)) stroke="#8a8576" stroke-width="2" {}
        (said(shown, plot, time))
    }
}

/// Title, peak, and what is what.
fn heads(shown: &Shown, several: bool, area: Area, peak: f64) -> Markup {
    let which = if shown.findings.is_empty() { "Fastest swipe" } else { "Worst swipe" };
    let step = if several { format!(", {}", super::name(shown.step)) } else { String::new() };
    let right = format!("peak {peak:.2} m/s");
    let room = area.w - 40.0 - width(&right, 30.0, Weight::Book) - 24.0;
    let title = fit(&format!("{which}{step}"), 32.0, Weight::Bold, room);
    let key = match (shown.missing() > 0.0, shown.findings.is_empty()) {
        (true, _) => "filled: the hand · line: counted · hatched: missing",
        (false, true) => "clean · filled: the hand · line: counted",
        (false, false) => "filled: the hand · line: counted",
    };
    html! {
        (text(&title, Text { x: area.x + 20.0, y: area.y + 44.0, size: 32.0, bold: true, ..Text::default() }))
        (text(&right, Text { x: area.x + area.w - 20.0, y: area.y + 44.0, size: 30.0, ink: FAINT, anchor: "end", ..Text::default() }))
        (text(&fit(key, 28.0, Weight::Book, area.w - 40.0), Text { x: area.x + 20.0, y: area.y + 86.0, ink: FAINT, ..Text::default() }))
    }
}

fn axes(plot: Area, top: f64, length_ms: f64, time: Scale, speed: Scale) -> Markup {
    let count = (plot.h / 60.0).clamp(1.0, 4.0) as usize;
    let numbered = |most: f64, unit: &str| -> Vec<(f64, String)> {
        let values = ticks(most, count);
        let last = values.len().saturating_sub(1);
        let text = |(i, v)| (v, if i == last { format!("{} {unit}", number(v)) } else { number(v) });
        values.into_iter().enumerate().map(text).collect()
    };
    let inches = Scale::new((0.0, top / 0.0254), (plot.y + plot.h, plot.y));
    let times = ticks(length_ms, (plot.w / 120.0).max(1.0) as usize);
    let last = times.last().copied();
    html! {
        @for (v, words) in numbered(top, "m/s") {
            @let y = speed.at(v);
            line x1=(co(plot.x)) y1=(co(y)) x2=(co(plot.x + plot.w)) y2=(co(y)) stroke="#e6e1d4" stroke-width="2" {}
            (text(&words.replace(" m/s", ""), Text { x: plot.x - 12.0, y: y + 10.0, ink: FAINT, anchor: "end", ..Text::default() }))
        }
        (text("m/s", Text { x: plot.x - 12.0, y: plot.y + plot.h + 40.0, ink: FAINT, anchor: "end", ..Text::default() }))
        @for (v, words) in numbered(top / 0.0254, "in/s") {
            (text(&words.replace(" in/s", ""), Text { x: plot.x + plot.w + 12.0, y: inches.at(v) + 10.0, ink: FAINT, ..Text::default() }))
        }
        (text("in/s", Text { x: plot.x + plot.w + 12.0, y: plot.y + plot.h + 40.0, ink: FAINT, ..Text::default() }))
        @for t in times.into_iter().filter(|t| *t > 0.0) {
            @let words = if Some(t) == last { format!("{} ms", number(t)) } else { number(t) };
            (text(&words, Text { x: time.at(t).min(plot.x + plot.w - 60.0), y: plot.y + plot.h + 40.0, ink: FAINT, anchor: "middle", ..Text::default() }))
        }
    }
}

/// Between what was expected and what was counted, over a span: the area is the travel that is missing.
fn lack((from, to): (f64, f64), expected: &[(f64, f64)], counted: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let at = |points: &[(f64, f64)], t: f64| {
        let next = points.partition_point(|p| p.0 < t);
        match (next.checked_sub(1).and_then(|i| points.get(i)), points.get(next)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0).max(1e-9),
            (_, Some(p)) | (Some(p), None) => p.1,
            (None, None) => 0.0,
        }
    };
    let within = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        points.iter().filter(|p| p.0 > from && p.0 < to).copied().collect()
    };
    let above =
        [(from, at(expected, from))].into_iter().chain(within(expected)).chain([(to, at(expected, to))]);
    let below = [(to, at(counted, to))]
        .into_iter()
        .chain(within(counted).into_iter().rev())
        .chain([(from, at(counted, from))]);
    // Where more was counted than expected, nothing is missing.
    let below = below.map(|(t, v)| (t, v.clamp(0.0, at(expected, t).max(0.0))));
    above.chain(below).collect()
}

/// The finding in words, on the picture.
fn said(shown: &Shown, plot: Area, time: Scale) -> Markup {
    let missing = shown.missing();
    let largest = shown.findings.iter().max_by(|a, b| a.size.abs().total_cmp(&b.size.abs()));
    let Some(largest) = largest else { return html! {} };
    let words = match largest {
        f if f.kind == "short" => format!("{missing:.0} mm short"),
        _ if missing >= 0.95 => format!("{missing:.0} mm missing"),
        _ if missing > 0.0 => format!("{missing:.1} mm missing"),
        f => f.family.words().to_owned(),
    };
    let (from, to) = span_ms(largest, &shown.swipe.grid);
    // Within the hatching if it is wide enough.
    let span = time.at(to) - time.at(from);
    let size = (44.0 * (span - 32.0) / width(&words, 44.0, Weight::Bold)).clamp(30.0, 44.0);
    let half = 0.5 * width(&words, size, Weight::Bold) + 12.0;
    let x = time.at(0.5 * (from + to)).min(plot.x + plot.w - half).max(plot.x + half);
    let y = plot.y + 0.62 * plot.h;
    html! {
        rect x=(co(x - half)) y=(co(y - 42.0)) width=(co(2.0 * half)) height="58" rx="6" fill="#ffffff" stroke=(ALARM) stroke-width="2" {}
        (text(&words, Text { x, y, size, bold: true, ink: ALARM, anchor: "middle" }))
    }
}

/// What stands in the panel if no swipe was found.
pub fn none(area: Area) -> Markup {
    html! {
        rect x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="6" fill="none" stroke="#8a8576"
            stroke-width="2" stroke-dasharray="14 12" {}
        (text("no swipe to show", Text { x: area.x + 0.5 * area.w, y: area.y + 0.5 * area.h + 14.0, size: 40.0, ink: INK, anchor: "middle", ..Text::default() }))
    }
}
