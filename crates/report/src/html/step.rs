//! One resolution step: what was measured, its pictures, its families, every swipe.

use super::data::Zoom;
use super::summary::sentence;
use super::{evidence, figure, outcome, outside, swipe_id};
use crate::figure::{self as draw, Area, ribbon};
use crate::pictures::{of_step, of_swipe};
use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::step::{PhaseView, StepView, SwipeView};
use slipgauge_analysis::verdict::{StepVerdict, Verdict, count};
use slipgauge_trace::session::Pace;

/// Size of one swipe.
const SMALL: Area = Area { x: 0.0, y: 0.0, w: 190.0, h: 104.0 };
pub(super) fn section(
    judgement: &Judgement,
    view: &StepView,
    said: &StepVerdict,
    zoom: &Zoom,
    room: &mut usize,
) -> Markup {
    let verdict = &judgement.verdict;
    let heading = format!("s{}", said.step);
    html! {
        section id=(heading) tabindex="-1" aria-labelledby=(format!("{heading}-h")) class="step" {
            h2 id=(format!("{heading}-h")) { (outside(&text::step(said))) ": " (outcome(said.verdict)) }
            (measured(said))
            h3 { "Pictures of the step" }
            div class="pictures" {
                @for p in of_step(verdict, view, said) { (figure(&p.title, &p.inline(), &html! { b { (p.title) ". " } (p.what) })) }
            }
            h3 { "Families" }
            (evidence::families(view, said, &verdict.findings, zoom))
            h3 { "Every swipe" }
            p { "Sand: expected speed. Line: counted speed. A swipe with a finding has a double frame, its fault in words, and what is missing hatched." }
            @for phase in view.phases.iter().filter(|p| !p.swipes.is_empty()) { (swipes(verdict, phase, room)) }
        }
    }
}

fn measured(said: &StepVerdict) -> Markup {
    let s = &said.swipes;
    let mut swipes = format!("{} asked, {} found, {} clean", s.asked, s.found, s.clean);
    if s.unplaced > 0 {
        let settle = said
            .unplaced_to_settle
            .as_ref()
            .map_or_else(String::new, |what| format!(" (to settle it: {what})"));
        swipes += &format!(", {} not placed{settle}", s.unplaced);
    }
    if s.disturbed > 0 {
        swipes += &format!(", {} disturbed by this computer or cut by a phase", s.disturbed);
    }
    if s.voided > 0 {
        swipes += &format!(", {} left out by the operator", s.voided);
    }
    let limit = said.tracking_limit_m_s.and_then(|q| match (q.low, q.high) {
        (Some(_), Some(_)) => Some(format!("{} m/s", text::interval(q, 2))),
        (Some(low), None) => Some(format!("above {}", text::speed(low))),
        (None, Some(high)) => Some(format!("below {}", text::speed(high))),
        (None, None) => None,
    });
    let limit = limit.or_else(|| said.tracking_limit_because.as_ref().map(|why| format!("not known: {why}")));
    let rows = [
        ("swipes", Some(swipes)),
        ("clean up to", said.swept.fastest_clean_m_s.map(text::speed)),
        ("fastest swipe", said.swept.fastest_m_s.map(text::speed)),
        ("largest acceleration, clean", said.swept.acceleration_m_s2.map(|a| format!("{a:.0} m/s²"))),
        (
            "effective resolution",
            said.resolution_counts_per_inch.map(|q| format!("{} counts/inch", text::interval(q, 0))),
        ),
        (
            "report interval",
            said.report_interval_ns.map(|q| format!("{} ms", text::interval(q.scaled(1e-6), 4))),
        ),
        ("tracking limit", limit),
    ];
    html! {
        dl class="facts" {
            @for (name, value) in rows { @if let Some(value) = value { div { dt { (name) } dd { (value) } } } }
        }
        @for ratio in &said.ratios {
            p { "Counts over those of step " (ratio.to_step) ": " (text::interval(ratio.ratio, 4)) @if let Some(n) = ratio.nominal { ", by the maker " (format!("{n:.4}")) } "." }
        }
        @if let Some(words) = text::axes(said) { p { (sentence(&words)) } }
        @if said.ripple.paces.iter().any(|p| !p.lines.is_empty()) {
            p { "For diagnosis, it decides nothing: " (said.ripple.because) "." }
        }
        @if !said.left_out.is_empty() {
            details {
                summary { (count(said.left_out.len(), "swipe")) " without a finding that enter no length" }
                ul { @for l in &said.left_out { li { "phase " (l.phase) ", swipe " (l.swipe) ": " (l.because) } } }
            }
        }
    }
}

fn swipes(v: &Verdict, phase: &PhaseView, room: &mut usize) -> Markup {
    let pace = match phase.span.phase.pace {
        Some(Pace::Slow) => "slow ",
        Some(Pace::Medium) => "medium ",
        Some(Pace::Fast) => "fast ",
        _ => "",
    };
    let top = phase.swipes.iter().map(|s| s.grid.peak() * 1e-3).fold(0.1, f64::max) * 1.08;
    // Faulty ones have room first; all stand in their order.
    let faulty = |swipe: &SwipeView| !of_swipe(&v.findings, phase, swipe).is_empty();
    let bad = phase.swipes.iter().filter(|s| faulty(s)).count();
    let mut good = room.saturating_sub(bad);
    let mut bad_left = *room;
    let kept: Vec<&SwipeView> = phase
        .swipes
        .iter()
        .filter(|s| {
            let left = if faulty(s) { &mut bad_left } else { &mut good };
            let keep = *left > 0;
            *left = left.saturating_sub(1);
            keep
        })
        .collect();
    *room = room.saturating_sub(kept.len());
    let left_out = phase.swipes.len() - kept.len();
    html! {
        h4 { "Phase " (phase.span.number) ": " (pace) "swipes, " (phase.swipes.len()) " found, " (bad) " with findings" }
        ul class="swipes" {
            @for swipe in kept {
                @let own = of_swipe(&v.findings, phase, swipe);
                @let id = swipe_id(phase.span.number, swipe.swipe.number);
                @let words = own.iter().map(|f| format!("{} {}", f.family.words(), text::size(f))).collect::<Vec<_>>().join(", ");
                @let title = format!("Swipe {}, {}, peak {}", swipe.swipe.number, text::spelled(swipe.swipe.direction), text::speed(swipe.grid.peak() * 1e-3));
                @let what = if own.is_empty() { "Clean.".to_owned() } else { words };
                li id=(id) tabindex="-1" class=(if own.is_empty() { "clean" } else { "faulty" }) {
                    (draw::inline(&format!("{id}-i"), (SMALL.w, SMALL.h), &title, &what, &ribbon::draw(swipe, &own, SMALL, top, ribbon::Detail::Small)))
                }
            }
        }
        @if left_out > 0 { p { (left_out) " more are not drawn: the page has no more room." } }
    }
}
