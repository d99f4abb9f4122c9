//! One resolution step: what was measured, its pictures, its families, every swipe.

use super::data::Zoom;
use super::{evidence, figure, of_swipe, outcome, outside, swipe_id};
use crate::figure::{
    self as draw, Area, ladder, limit, ribbon, scale_curve, shortfall, spectrum, still, ways,
};
use crate::text;
use maud::{Markup, html};
use serde_json::Value;
use slipgauge_analysis::intervals;
use slipgauge_analysis::lengths::Lengths;
use slipgauge_analysis::series::fast_intervals;
use slipgauge_analysis::spectrum::{Window, averaged};
use slipgauge_analysis::step::{PhaseView, StepView, SwipeView};
use slipgauge_analysis::verdict::{Family, Finding, StepVerdict, Verdict};
use slipgauge_analysis::{Judgement, tolerances};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Pace;

/// Size of a picture of the whole step, and of one swipe.
const LARGE: (f64, f64) = (560.0, 300.0);
const SMALL: (f64, f64) = (190.0, 104.0);
/// Intervals longer than this are no intervals of motion, as analysis has it.
const LONGEST: Nanos = Nanos(20_000_000);
/// Size of the rails, which are flat, and of the ladder, which has a strip below it.
const LOW: (f64, f64) = (560.0, 220.0);
const TALL: (f64, f64) = (560.0, 340.0);
/// Segment of the spectrum, in reports.
const SEGMENT: usize = 64;

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
            div class="pictures" { (pictures(verdict, view, said)) }
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
        swipes += &format!(", {} not placed", s.unplaced);
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
        @if !said.left_out.is_empty() {
            details {
                summary { (text::count(u32::try_from(said.left_out.len()).unwrap_or(u32::MAX), "swipe")) " without a finding that enter no length" }
                ul { @for l in &said.left_out { li { "phase " (l.phase) ", swipe " (l.swipe) ": " (l.because) } } }
            }
        }
    }
}

fn whole(size: (f64, f64)) -> Area {
    Area { x: 0.0, y: 0.0, w: size.0, h: size.1 }
}

/// True if a finding of this swipe says that travel is missing, or that motion is false.
fn faulty(findings: &[Finding], phase: &PhaseView, swipe: &SwipeView) -> bool {
    !of_swipe(findings, phase, swipe).is_empty()
}

fn pictures(v: &Verdict, view: &StepView, said: &StepVerdict) -> Markup {
    let id = |name: &str| format!("s{}-{name}", view.id);
    let drawn = |name: &str, title: &str, what: &str, picture: Option<Markup>| -> Option<Markup> {
        let size = match name {
            "ways" => LOW,
            "ladder" => TALL,
            _ => LARGE,
        };
        let svg = draw::inline(&id(name), size, title, what, &picture?);
        Some(figure(title, &svg, &html! { b { (title) ". " } (what) }))
    };
    let all: Vec<(&PhaseView, &SwipeView)> = view.swipes().collect();
    let fast: Vec<(&SwipeView, bool)> =
        view.fast_swipes().map(|(p, s)| (s, faulty(&v.findings, p, s))).collect();
    let travel = view.travel.map(|t| t.millimetres());
    let lacking = drawn(
        "missing",
        "Shortfall of fast swipes",
        "Millimetres missing against the place along the travel. A line that climbs is a swipe that loses counts there; between the edges of the grey cloud lie all clean swipes.",
        travel.and_then(|travel| shortfall::draw(&fast, travel, whole(LARGE))),
    );
    let curve = said.gain_curve.as_ref().and_then(|curve| {
        let limits = tolerances::limits(view.plan, Family::GainChange);
        scale_curve::draw(curve, limits, whole(LARGE))
    });
    let fit = said.gain_curve.as_ref().map_or_else(String::new, |c| {
        let p = c.lack_of_fit_p.map_or_else(String::new, |p| match p < 0.01 {
            true => " Lack of fit: chance below 0.01, so the curve is not the whole of it.".to_owned(),
            false => format!(" Lack of fit: chance {p:.2}."),
        });
        format!(
            "Millimetres per count against speed, relative to the slowest bin, over {} swipes; brackets are 95 % intervals. \
             For diagnosis: it decides nothing.{p}",
            c.swipes
        )
    });
    let curve = drawn("scale", "Scale curve", &fit, curve);
    let counts_per_mm = view.counts_per_mm();
    let lengths: Vec<ways::Way> = all
        .iter()
        .filter_map(|(p, s)| {
            let mm = s.swipe.along / counts_per_mm?;
            Some(ways::Way { direction: s.swipe.direction, mm, clean: !faulty(&v.findings, p, s) })
        })
        .collect();
    let own: Vec<Finding> = v.findings.iter().filter(|f| f.step == view.id).cloned().collect();
    let ratio = Lengths::of(view, &own).and_then(|l| l.out_over_back()).map_or_else(String::new, |r| {
        format!(
            " Out over back: {:+.2} % (standard uncertainty {:.2} %, {} and {} swipes).",
            100.0 * r.value,
            100.0 * r.uncertainty,
            r.n.0,
            r.n.1
        )
    });
    let ways = drawn(
        "ways",
        "Out against back",
        &format!(
            "Counted length of every swipe; a notch at each median, open rings for swipes with a finding.{ratio}"
        ),
        ways::draw(&lengths, whole(LOW)),
    );
    let tracked = tracked(v, view, said).map(|l| limit::draw(&l, whole(LARGE)));
    let tracked = drawn(
        "limit",
        "Tracking limit",
        "Swipes at their peak speed: above those that kept track, below, hatched, those that lost it. The band is the 95 % interval of the limit.",
        tracked,
    );
    let gaps: Vec<f64> = view
        .phases
        .iter()
        .filter(|p| !p.swipes.is_empty())
        .flat_map(|p| fast_intervals(&p.series, LONGEST))
        .map(|ns| ns * 1e-6)
        .collect();
    let fastest = all.iter().max_by(|a, b| a.1.grid.peak().total_cmp(&b.1.grid.peak())).map(|s| &s.1.grid);
    let asked = view.nominal_interval.map(|n| n.0 as f64 * 1e-6);
    let rungs = drawn(
        "ladder",
        "Interval ladder",
        "Share of report intervals in fast motion that are at most so long; time in the logarithm, both ends spread.",
        ladder::draw(gaps, asked, fastest, whole(TALL)),
    );
    html! {
        (rests(v, view))
        @for picture in [lacking, tracked, curve, ways, rungs, periods(v, view, &id("spectrum"))].into_iter().flatten() { (picture) }
    }
}

/// Peaks of swipes that kept track or lost it; `None` where nothing was lost and no speed is needed.
fn tracked(v: &Verdict, view: &StepView, said: &StepVerdict) -> Option<limit::Limit> {
    let needed =
        view.plan.and_then(|p| p.need.get("speed_m_s")).and_then(Value::as_f64).filter(|v| v.is_finite());
    let mut out = limit::Limit { limit: said.tracking_limit_m_s, needed, ..limit::Limit::default() };
    for (phase, swipe) in view.swipes() {
        let findings = of_swipe(&v.findings, phase, swipe);
        let peak = swipe.grid.peak() * 1e-3;
        if findings.iter().any(|f| f.family == Family::TrackingLoss) {
            out.lost.push(peak);
        } else if findings.is_empty() {
            out.kept.push(peak);
        }
    }
    (!out.lost.is_empty() || (needed.is_some() && !out.kept.is_empty())).then_some(out)
}

fn rests(v: &Verdict, view: &StepView) -> Markup {
    let Some(counts_per_mm) = view.counts_per_mm().filter(|c| *c > 0.0) else { return html! {} };
    html! {
        @for phase in view.still() {
            @let map = v.findings.iter().filter(|f| f.phase == phase.span.number).find_map(|f| f.evidence.get("rest_map"));
            @let number = |key: &str| map.and_then(|m| m.get(key)).and_then(Value::as_f64);
            @let ellipse = number("ellipse_long").zip(number("ellipse_short")).zip(number("ellipse_degrees"));
            @let ellipse = ellipse.map(|((long, short), degrees)| still::Ellipse { long, short, degrees });
            @let size = (300.0, 300.0);
            @let title = format!("Rest map, phase {}", phase.span.number);
            @let what = "The path reported while the device lay still, with rings in millimetres, from the ring to the cross.";
            @let about = if ellipse.is_some() { " The filled ellipse holds 95 % of places about the trend." } else { "" };
            @let picture = still::draw(phase, counts_per_mm, "", ellipse, whole(size));
            (figure(&title, &draw::inline(&format!("s{}-rest{}", view.id, phase.span.number), size, &title, what, &picture),
                &html! { b { (title) ". " } (what) (about) }))
        }
    }
}

/// The spectrum of report intervals, where a period was found in them.
fn periods(v: &Verdict, view: &StepView, id: &str) -> Option<Markup> {
    let own = |f: &&Finding| f.step == view.id && f.family == Family::ReportInterval && f.kind == "structure";
    let period = v.findings.iter().find(own)?.evidence.get("period_reports")?.as_f64()?;
    let spans: Vec<(Nanos, Nanos)> =
        view.phases.iter().filter(|p| !p.swipes.is_empty()).map(|p| (p.span.begin, p.span.end)).collect();
    let rows: Vec<Vec<f64>> =
        intervals::runs(view.trace, &spans, view.slot()).runs.iter().flat_map(|r| r.intervals()).collect();
    let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
    let found = averaged(&rows, SEGMENT, 1.0, Window::Hann)?;
    let title = "Spectrum of report intervals";
    let what = "Amplitude of what is periodic in the intervals between reports; the broken line is the period that was found.";
    let picture = spectrum::draw(&found, period, whole(LARGE))?;
    Some(figure(title, &draw::inline(id, LARGE, title, what, &picture), &html! { b { (title) ". " } (what) }))
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
    let bad = phase.swipes.iter().filter(|s| faulty(&v.findings, phase, s)).count();
    let mut good = room.saturating_sub(bad);
    let mut bad_left = *room;
    let kept: Vec<&SwipeView> = phase
        .swipes
        .iter()
        .filter(|s| {
            let left = if faulty(&v.findings, phase, s) { &mut bad_left } else { &mut good };
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
                    (draw::inline(&format!("{id}-i"), SMALL, &title, &what, &ribbon::draw(swipe, &own, whole(SMALL), top, ribbon::Detail::Small)))
                }
            }
        }
        @if left_out > 0 { p { (left_out) " more are not drawn: the page has no more room." } }
    }
}
