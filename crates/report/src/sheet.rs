//! The trace picture of a session: verdict, then step by step the phases at rest, every swipe with a finding, and the
//! clean ones as small multiples.

use crate::figure::{self, Area, label, ribbon, still};
use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::step::{PhaseView, StepView, SwipeView};
use slipgauge_analysis::verdict::{Family, Finding, Outcome, StepVerdict, Verdict, count};
use slipgauge_trace::outside::harmless;

const WIDTH: f64 = 1240.0;
const MARGIN: f64 = 30.0;
const GAP: f64 = 12.0;
/// Height of a swipe with a finding, and of a clean one.
const LARGE: (usize, f64) = (2, 250.0);
const SMALL: (usize, f64) = (6, 104.0);
/// Characters of a line that fit the sheet's width.
const LINE: usize = 150;

/// Draws the whole sheet as one SVG document.
pub fn svg(judgement: &Judgement) -> String {
    let verdict = &judgement.verdict;
    let mut pen = Pen { y: MARGIN, parts: Vec::new() };
    head(&mut pen, verdict);
    for (step, said) in judgement.steps.iter().zip(&verdict.steps) {
        draw_step(&mut pen, step, said, &verdict.findings);
    }
    let foot = format!(
        "{}  sha256 {}…  {} bytes  {}  rules {}",
        harmless(&verdict.session),
        verdict.sha256.get(..16).unwrap_or_default(),
        verdict.bytes,
        verdict.tool,
        verdict.rules
    );
    pen.text("faint small", &foot, 16.0);
    let title = format!("{}: {}", text::outcome(verdict.verdict), text::device(verdict));
    let (height, body) = (pen.y + MARGIN / 2.0, html! { @for part in &pen.parts { (part) } });
    figure::sheet(WIDTH, height, &title, &body)
}

/// Places things down the sheet.
struct Pen {
    y: f64,
    parts: Vec<Markup>,
}

impl Pen {
    fn text(&mut self, class: &str, text: &str, advance: f64) {
        self.y += advance;
        let short: String = if text.chars().count() > LINE {
            text.chars().take(LINE - 1).chain(['…']).collect()
        } else {
            text.to_owned()
        };
        self.parts.push(label(MARGIN, self.y, "start", class, &short));
    }

    /// Areas of a grid of `count` pictures, columns first; moves on below them.
    fn grid(&mut self, count: usize, (columns, height): (usize, f64)) -> Vec<Area> {
        let w = (WIDTH - 2.0 * MARGIN - GAP * (columns - 1) as f64) / columns as f64;
        self.y += GAP;
        let top = self.y;
        self.y += count.div_ceil(columns) as f64 * (height + GAP);
        let place = |i: usize| Area {
            x: MARGIN + (i % columns) as f64 * (w + GAP),
            y: top + (i / columns) as f64 * (height + GAP),
            w,
            h: height,
        };
        (0..count).map(place).collect()
    }
}

/// A sign beside the word, so that it is told without colour.
fn sign(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "✓",
        Outcome::Fail => "✗",
        Outcome::Inconclusive => "?",
        Outcome::NotExamined => "–",
    }
}

fn head(pen: &mut Pen, v: &Verdict) {
    let class = if v.verdict == Outcome::Fail { "big alarm" } else { "big" };
    pen.text(class, &format!("{} {}", sign(v.verdict), text::outcome(v.verdict)), 24.0);
    pen.text("head", &text::device(v), 28.0);
    pen.text("", &v.because, 22.0);
    for remark in &v.remarks {
        pen.text("faint", &format!("note: {}", harmless(remark)), 18.0);
    }
    pen.text(
        "faint",
        "ridge: expected speed · line: counted speed · hatched: missing · ticks below: reports as they came",
        22.0,
    );
}

fn draw_step(pen: &mut Pen, step: &StepView, said: &StepVerdict, findings: &[Finding]) {
    let own: Vec<&Finding> = findings.iter().filter(|f| f.step == step.id).collect();
    pen.text(
        "head",
        &format!("{} {}: {}", sign(said.verdict), text::step(said), text::outcome(said.verdict)),
        36.0,
    );
    let resolution =
        said.resolution_counts_per_inch.map(|q| format!("effective {} counts/inch", text::interval(q, 0)));
    let clean = said.swept.fastest_clean_m_s.map(|v| format!("clean up to {}", text::speed(v)));
    let counts = format!("{} found, {} clean", count(said.swipes.found, "swipe"), said.swipes.clean);
    let line: Vec<String> = [Some(counts), clean, resolution].into_iter().flatten().collect();
    pen.text("faint", &line.join(" · "), 18.0);
    draw_still(pen, step, said);
    let of = |phase: &PhaseView, swipe: &SwipeView| -> Vec<&Finding> {
        let here = |f: &&&Finding| f.phase == phase.span.number && f.swipe == Some(swipe.swipe.number);
        own.iter().filter(here).copied().collect()
    };
    for phase in step.phases.iter().filter(|p| !p.swipes.is_empty()) {
        let pace = phase.span.phase.pace.map(|p| text::spelled(p) + " ").unwrap_or_default();
        pen.text(
            "",
            &format!("phase {}: {pace}swipes, {} found", phase.span.number, phase.swipes.len()),
            22.0,
        );
        let top = phase.swipes.iter().map(top_speed).fold(0.1, f64::max) * 1.08;
        let (faulty, clean): (Vec<_>, Vec<_>) = phase.swipes.iter().partition(|s| !of(phase, s).is_empty());
        let groups = [(faulty, LARGE, ribbon::Detail::Full), (clean, SMALL, ribbon::Detail::Small)];
        for (swipes, size, detail) in groups.into_iter().filter(|(swipes, _, _)| !swipes.is_empty()) {
            for (swipe, area) in swipes.iter().zip(pen.grid(swipes.len(), size)) {
                pen.parts.push(ribbon::draw(swipe, &of(phase, swipe), area, top, detail));
            }
        }
    }
}

/// Top of the plots of a phase: the highest expected speed, not a spike's.
fn top_speed(swipe: &SwipeView) -> f64 {
    swipe.grid.peak() * 1e-3
}

fn draw_still(pen: &mut Pen, step: &StepView, said: &StepVerdict) {
    let Some(counts_per_mm) = step.counts_per_mm() else { return };
    let phases: Vec<&PhaseView> = step.still().collect();
    let because = said
        .families
        .iter()
        .find(|f| f.family == Family::Drift)
        .map_or("", |f| f.because.split(';').next().unwrap_or_default());
    for (phase, area) in phases.iter().zip(pen.grid(phases.len(), (4, 200.0))) {
        pen.parts.push(still::draw(phase, counts_per_mm, because, None, area));
    }
}
