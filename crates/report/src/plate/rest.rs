//! The path at rest, for a plate whose verdict rests on it: how far the device went with the hand off it.

use super::fit::{Weight, fit, width};
use super::{Text, text};
use crate::figure::still::Path;
use crate::figure::{Area, Scale, co, line, number, ticks};
use crate::text as told;
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::step::PhaseView;
use slipgauge_analysis::verdict::{Family, Finding, Outcome, StepVerdict};

const FAINT: &str = "#5d594f";
const ALARM: &str = "#8c2f18";

/// A phase at rest with the largest of its findings.
pub struct Shown<'a> {
    phase: &'a PhaseView,
    path: Path,
    largest: &'a Finding,
    step: &'a StepVerdict,
}

/// The phase to show, of a step where drift fails: the one that went farthest.
pub fn choose<'a>(judgement: &'a Judgement) -> Option<Shown<'a>> {
    let steps = judgement.steps.iter().zip(&judgement.verdict.steps);
    let failing = steps.filter(|(_, step)| {
        step.families.iter().any(|f| f.family == Family::Drift && f.verdict == Outcome::Fail)
    });
    let shown = failing.flat_map(|(view, step)| {
        let per_mm = view.counts_per_mm();
        view.still().filter_map(move |phase| {
            let own = judgement.verdict.findings.iter();
            let own = own.filter(|f| f.family == Family::Drift && f.phase == phase.span.number);
            let largest = own.max_by(|a, b| a.size.abs().total_cmp(&b.size.abs()))?;
            Some(Shown { phase, path: Path::of(phase, per_mm?), largest, step })
        })
    });
    shown.max_by(|a, b| a.path.reach.total_cmp(&b.path.reach))
}

/// Draws it into a panel: the map, and beside it the finding in words.
pub fn draw(shown: &Shown, several: bool, area: Area) -> Markup {
    let step = if several { format!(", {}", super::name(shown.step)) } else { String::new() };
    let title = fit(&format!("With the hand off it{step}"), 32.0, Weight::Bold, area.w - 40.0);
    let side = (area.h - 88.0).min(0.6 * area.w);
    let (cx, cy) = (area.x + 24.0 + side / 2.0, area.y + 68.0 + side / 2.0);
    let reach = shown.path.reach * 1.2;
    let x = Scale::new((-reach, reach), (cx - side / 2.0, cx + side / 2.0));
    let y = Scale::new((-reach, reach), (cy - side / 2.0, cy + side / 2.0));
    let seconds = (shown.phase.span.end - shown.phase.span.begin).seconds();
    let words = [
        (shown.largest.kind.to_owned(), 40.0, true),
        (told::size(shown.largest), 40.0, true),
        (format!("lay still for {seconds:.0} s"), 32.0, false),
        ("ring: start".to_owned(), 28.0, false),
        ("cross: end".to_owned(), 28.0, false),
    ];
    let left = area.x + side + 64.0;
    let end = (x.at(shown.path.end.0), y.at(shown.path.end.1));
    let cross = line([(end.0 - 12.0, end.1 - 12.0), (end.0 + 12.0, end.1 + 12.0)])
        + &line([(end.0 - 12.0, end.1 + 12.0), (end.0 + 12.0, end.1 - 12.0)]);
    let rings: Vec<f64> = ticks(reach, 2).into_iter().filter(|r| *r > 0.0).collect();
    html! {
        rect x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="6" fill="#ffffff" stroke="#cfc9bb" stroke-width="2" {}
        (text(&title, Text { x: area.x + 20.0, y: area.y + 44.0, size: 32.0, bold: true, ..Text::default() }))
        @for r in &rings {
            circle cx=(co(cx)) cy=(co(cy)) r=(co(x.at(*r) - cx)) fill="none" stroke="#b9b29f" stroke-width="2" stroke-dasharray="8 8" {}
        }
        path d=(line(shown.path.points.iter().map(|p| (x.at(p.0), y.at(p.1))))) fill="none" stroke="#15506b" stroke-width="4" stroke-linejoin="round" {}
        circle cx=(co(x.at(0.0))) cy=(co(y.at(0.0))) r="12" fill="none" stroke="#15506b" stroke-width="4" {}
        path d=(cross) stroke="#a33b20" stroke-width="6" {}
        @for r in &rings {
            @let words = format!("{} mm", number(*r));
            @let (w, top) = (width(&words, 28.0, Weight::Book), cy - (x.at(*r) - cx));
            rect x=(co(cx - w / 2.0 - 8.0)) y=(co(top - 16.0)) width=(co(w + 16.0)) height="34" fill="#ffffff" {}
            (text(&words, Text { x: cx, y: top + 10.0, ink: FAINT, anchor: "middle", ..Text::default() }))
        }
        @for (i, (words, size, bold)) in words.iter().enumerate() {
            @let weight = if *bold { Weight::Bold } else { Weight::Book };
            (text(&fit(words, *size, weight, area.x + area.w - 20.0 - left),
                Text { x: left, y: area.y + 130.0 + 56.0 * i as f64, size: *size, bold: *bold, ink: if *bold { ALARM } else { FAINT }, ..Text::default() }))
        }
    }
}
