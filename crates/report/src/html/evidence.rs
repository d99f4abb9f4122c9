//! What a family's outcome rests on: its criteria, and its findings, each with its excerpt and its numbers.

use super::data::Zoom;
use super::summary::sentence;
use super::{family_id, figure, outcome, outside, swipe_id};
use crate::pictures;
use crate::text;
use maud::{Markup, html};
use serde_json::Value;
use slipgauge_analysis::families::NOT_LOOKED_AT;
use slipgauge_analysis::step::{StepView, SwipeView};
use slipgauge_analysis::verdict::{Criterion, FamilyVerdict, Finding, StepVerdict};
use slipgauge_trace::outside::harmless;

/// Findings of a family at one step that are listed, and those of them that are drawn: the largest.
const LISTED: usize = 100;
/// See [`LISTED`].
const DRAWN: usize = 6;

/// All families of a step. Those that nothing looked at are named at the end.
pub(super) fn families(view: &StepView, said: &StepVerdict, findings: &[Finding], zoom: &Zoom) -> Markup {
    let looked = |f: &&FamilyVerdict| f.because != NOT_LOOKED_AT;
    let unseen: Vec<&FamilyVerdict> = said.families.iter().filter(|f| !looked(f)).collect();
    html! {
        @if let Some(together) = &said.together {
            section {
                h4 { (sentence(&together.words()).trim_end_matches('.')) ": " (outcome(together.criterion.verdict)) }
                p { (sentence(&together.because)) }
            }
        }
        @for family in said.families.iter().filter(looked) {
            section id=(family_id(said.step, family.family)) tabindex="-1" {
                h4 { (sentence(family.family.words()).trim_end_matches('.')) ": " (outcome(family.verdict)) }
                p { (sentence(&harmless(&family.because))) }
                @if let (Some(cause), true) = (family.cause, family.findings > 0) { p { "Where it comes from: " (text::spelled(cause)) "." } }
                @if let Some(settle) = &family.to_settle { p { "What would settle it: " (harmless(settle)) "." } }
                @if !family.criteria.is_empty() { (criteria(family)) }
                (of_family(view, family, findings, zoom))
                p class="back" { a href="#results" { "Back to the results" } }
            }
        }
        @if !unseen.is_empty() {
            section {
                h4 { "Not looked at" }
                ul { @for f in unseen { li id=(family_id(said.step, f.family)) tabindex="-1" { (f.family.words()) ": " (f.because) } } }
            }
        }
    }
}

fn criteria(family: &FamilyVerdict) -> Markup {
    html! {
        div class="wide" tabindex="0" role="group" aria-label=(format!("{}: what decides", family.family.words())) {
            table {
                caption { "What decides, with 95 % intervals" }
                thead { tr { th scope="col" { "Criterion" } th scope="col" { "Estimate" } th scope="col" { "Tolerated" } th scope="col" { "Outcome" } } }
                tbody {
                    @for c in &family.criteria {
                        tr {
                            th scope="row" { (c.what) }
                            td { (estimate(c)) }
                            td { (tolerated(c)) }
                            td { (outcome(c.verdict)) }
                        }
                    }
                }
            }
        }
    }
}

/// Shares and relative values are read in percent.
fn unit(c: &Criterion) -> (f64, String) {
    match c.unit {
        "relative" => (100.0, "%".to_owned()),
        unit => match unit.strip_prefix("share of ") {
            Some(of) => (100.0, format!("% of {of}")),
            None => (1.0, unit.to_owned()),
        },
    }
}

/// Three significant digits.
fn digits(value: f64) -> String {
    if !value.is_finite() {
        return "…".to_owned();
    }
    let places = if value == 0.0 { 0.0 } else { (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) };
    format!("{value:.*}", places as usize)
}

fn estimate(c: &Criterion) -> String {
    let (factor, unit) = unit(c);
    let end = |v: Option<f64>| v.map_or_else(|| "…".to_owned(), |v| digits(factor * v));
    c.estimate.map_or_else(
        || "–".to_owned(),
        |q| format!("{} ({} to {}) {unit}", digits(factor * q.value), end(q.low), end(q.high)),
    )
}

fn tolerated(c: &Criterion) -> String {
    let (factor, unit) = unit(c);
    match c.tolerance.map(|t| t.map(|t| digits(factor * t))) {
        [Some(low), Some(high)] => format!("{low} to {high} {unit}"),
        [None, Some(high)] => format!("at most {high} {unit}"),
        [Some(low), None] => format!("at least {low} {unit}"),
        [None, None] => "nothing asked".to_owned(),
    }
}

fn of_family(view: &StepView, family: &FamilyVerdict, findings: &[Finding], zoom: &Zoom) -> Markup {
    let mut own: Vec<(usize, &Finding)> =
        findings.iter().enumerate().filter(|(_, f)| f.step == view.id && f.family == family.family).collect();
    if own.is_empty() {
        return html! {};
    }
    let all = own.len();
    own.sort_by(|a, b| b.1.size.abs().total_cmp(&a.1.size.abs()));
    let (drawn, rest) = own.split_at(own.len().min(DRAWN));
    let mut rest: Vec<_> = rest.iter().take(LISTED).collect();
    rest.sort_by_key(|(_, f)| f.begin_ns);
    let kept = drawn.len() + rest.len();
    html! {
        @for (i, f) in drawn { (drawn_finding(view, *i, f, findings, zoom)) }
        @if !rest.is_empty() {
            details {
                summary { (rest.len()) " more, smaller" }
                div class="wide" tabindex="0" role="group" aria-label=(format!("{}: more findings", family.family.words())) {
                    table {
                        thead { tr { th scope="col" { "Finding" } th scope="col" { "Where" } th scope="col" { "Size" } th scope="col" { "Evidence" } } }
                        tbody {
                            @for (i, f) in rest {
                                tr id=(format!("f{}", i + 1)) {
                                    th scope="row" { (i + 1) ": " (f.kind) }
                                    td { (place(view, f)) }
                                    td { (text::size(f)) }
                                    td class="text" { (numbers(f)) }
                                }
                            }
                        }
                    }
                }
            }
        }
        @if all > kept { p { (all - kept) " more are in the verdict file only." } }
    }
}

/// Where it is, with a link if it is in a swipe.
fn place(view: &StepView, f: &Finding) -> Markup {
    let seconds = format!("at {:.3} s", f.begin_ns as f64 * 1e-9);
    let swipe = f.swipe.filter(|n| found(view, f.phase, *n).is_some());
    html! {
        @match swipe {
            Some(n) => { a href=(format!("#{}", swipe_id(f.phase, n))) { "phase " (f.phase) ", swipe " (n) } }
            None => { "phase " (f.phase) @if let Some(n) = f.swipe { ", swipe " (n) } }
        }
        " " (seconds)
    }
}

fn found<'a>(view: &'a StepView, phase: u32, swipe: u32) -> Option<&'a SwipeView> {
    view.swipes().find(|(p, s)| p.span.number == phase && s.swipe.number == swipe).map(|(_, s)| s)
}

/// A key of the evidence as it is read: its unit, which ends it, as a unit.
fn named(key: &str) -> String {
    const UNITS: [(&str, &str); 9] = [
        ("_m_s2", ", m/s²"),
        ("_m_s", ", m/s"),
        ("_mm_s", ", mm/s"),
        ("_mm", ", mm"),
        ("_ms", ", ms"),
        ("_us", ", µs"),
        ("_ns", ", ns"),
        ("_hz", ", Hz"),
        ("_percent", ", %"),
    ];
    let ended = UNITS.iter().find_map(|(end, unit)| Some(format!("{}{unit}", key.strip_suffix(end)?)));
    outside(&ended.as_deref().unwrap_or(key).replace('_', " "))
}

/// The evidence in one line.
fn numbers(f: &Finding) -> String {
    let all = f.evidence.iter().filter(|(_, v)| !v.is_null() && !v.is_object());
    all.map(|(key, v)| format!("{} {}", named(key), value(v))).collect::<Vec<_>>().join("; ")
}

fn value(v: &Value) -> String {
    match v {
        Value::String(s) => outside(s),
        Value::Array(all) => all.iter().take(12).map(value).collect::<Vec<_>>().join(", "),
        Value::Object(all) => {
            all.iter().map(|(k, v)| format!("{} {}", named(k), value(v))).collect::<Vec<_>>().join(", ")
        }
        other => other.to_string(),
    }
}

fn drawn_finding(view: &StepView, i: usize, f: &Finding, findings: &[Finding], zoom: &Zoom) -> Markup {
    let id = format!("f{}", i + 1);
    let swipe = f.swipe.filter(|n| found(view, f.phase, *n).is_some());
    let way = f.direction.map(|d| format!(", {}", text::spelled(d))).unwrap_or_default();
    let name = match f.swipe {
        Some(n) => format!("phase {}, swipe {n}{way}", f.phase),
        None => format!("phase {}", f.phase),
    };
    let length = (f.end_ns.saturating_sub(f.begin_ns)) as f64 * 1e-6;
    html! {
        article id=(id) class="finding" {
            h5 { "Finding " (i + 1) ": " (f.kind) ", " (text::size(f)) ", " (name) }
            (excerpt(view, f, i + 1, findings, zoom))
            dl class="numbers" {
                div { dt { "begins" } dd { (format!("{:.6} s", f.begin_ns as f64 * 1e-9)) } }
                div { dt { "lasts" } dd { (format!("{length:.1} ms")) } }
                div { dt { "comes from" } dd { (text::spelled(f.cause)) } }
                @if let Some(p) = f.p_false { div { dt { "a sound device shows one in such a session" } dd { (chance(p)) } } }
                @for (key, v) in f.evidence.iter().filter(|(_, v)| !v.is_null()) {
                    div { dt { (named(key)) } dd { (value(v)) } }
                }
            }
            @if let Some(n) = swipe { p class="back" { a href=(format!("#{}", swipe_id(f.phase, n))) { "The whole swipe" } } }
        }
    }
}

fn chance(p: f64) -> String {
    if p < 1e-6 {
        "with a chance below 1 in a million".to_owned()
    } else {
        format!("with a chance of {}", digits(p))
    }
}

/// The swipe around the finding, larger, and its zoom; nothing for a finding at rest.
fn excerpt(view: &StepView, f: &Finding, number: usize, findings: &[Finding], zoom: &Zoom) -> Markup {
    let Some((picture, n)) = pictures::excerpt(view, findings, number).zip(f.swipe) else {
        return html! {};
    };
    let key = (f.phase, n);
    html! {
        (figure(&picture.title, &picture.inline(), &html! {
            "Sand: the speed that the hand must have had. Line: what was counted. Hatched: what is missing. Ticks below: reports as they came."
        }))
        @if zoom.held.contains(&key) {
            button type="button" class="zoom" hidden data-swipe=(swipe_id(key.0, key.1)) aria-expanded="false" { "Zoom to single reports" }
        } @else {
            p class="note" { "This page has no more room for single reports of this swipe; they are in the recording." }
        }
    }
}
