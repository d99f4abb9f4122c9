//! The top of a page: what was found, in one sentence and in one table.

use super::{family_id, outcome, outside};
use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::verdict::{Family, Outcome, Verdict, count};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{ClockId, Role};

/// The verdict with its reason, and what this page speaks of.
pub(super) fn header(v: &Verdict, recording: &Recording) -> Markup {
    let header = &recording.header;
    let device = header.devices.iter().find(|d| d.role == Role::Test).or(header.devices.first());
    let firmware = device.and_then(|d| d.other.get("firmware")).and_then(|f| f.as_str());
    let release = device.and_then(|d| d.release).map(|r| format!("release {:x}.{:02x}", r >> 8, r & 0xff));
    let system = header.host.get("os").and_then(|os| os.as_str());
    let simulated = header.clock.id == ClockId::Simulated;
    let known = |text: Option<&str>| text.map_or_else(|| "not told".to_owned(), outside);
    let date = header.started.as_deref().map(|t| t.chars().take(10).collect::<String>());
    let facts = [
        (
            "units tested",
            format!(
                "1{}",
                v.device.unit.as_deref().map(|u| format!(" ({})", outside(u))).unwrap_or_default()
            ),
        ),
        ("pad", known(header.surface.as_deref())),
        ("computer", if simulated { "none: simulated".to_owned() } else { known(system) }),
        ("firmware", firmware.map(outside).or(release).unwrap_or_else(|| "not told".to_owned())),
        ("date", known(date.as_deref())),
    ];
    html! {
        header {
            p class="brand" { "slipgauge · tracking of one pointing device, measured" }
            h1 { (outcome(v.verdict)) ": " (outside(&text::device(v))) }
            p class="because" { (sentence(&outside(&v.because))) }
            @for over in &v.over_steps { p class="note" { (sentence(&over.words(v.steps.len())).trim_end_matches('.')) ": " (sentence(&over.because)) } }
            @if simulated { p class="note" { "This session is simulated: no device was tested." } }
            @for remark in &v.remarks { p class="note" { "Note: " (outside(remark)) "." } }
            dl class="facts" {
                @for (name, value) in &facts { div { dt { (name) } dd { (value) } } }
            }
            p class="scope" {
                "Holds for this unit, on this pad and this computer, with this firmware, on this date, at the speeds that were \
                 swiped. Tolerances are the user’s or this program’s own, not a standard’s. One unit says nothing of its product."
            }
        }
    }
}

/// Steps and families: each cell leads to what it rests on.
pub(super) fn table(v: &Verdict) -> Markup {
    if v.steps.is_empty() {
        return html! { section aria-labelledby="results" {
            h2 id="results" { "Results" }
            p { "No step was judged: the recording has no phases of a test." }
        } };
    }
    let cell = |family: Family| {
        html! {
            @for step in &v.steps {
                td {
                    @let found = step.families.iter().find(|f| f.family == family);
                    a href=(format!("#{}", family_id(step.step, family))) {
                        (outcome(found.map_or(Outcome::NotExamined, |f| f.verdict)))
                        @if let Some(n) = found.map(|f| f.findings).filter(|n| *n > 0) {
                            span class="n" { " " (count(n, "finding")) }
                        }
                    }
                }
            }
        }
    };
    html! {
        section aria-labelledby="results" {
            h2 id="results" { "Results" }
            div class="wide" tabindex="0" role="group" aria-label="Results by family and step" {
                table class="results" {
                    caption { "What was looked for, at each resolution step. Each word leads to its evidence." }
                    thead {
                        tr {
                            th scope="col" { "Family" }
                            @for step in &v.steps {
                                th scope="col" { a href=(format!("#s{}", step.step)) { (outside(&short(step))) } }
                            }
                        }
                    }
                    tbody {
                        @for family in Family::ALL { tr { th scope="row" { (family.words()) } (cell(family)) } }
                    }
                    tfoot {
                        @if v.steps.iter().any(|s| s.together.is_some()) {
                            tr {
                                th scope="row" { "several together" }
                                @for step in &v.steps {
                                    td {
                                        @match &step.together {
                                            Some(t) => { a href=(format!("#s{}", step.step)) { (outcome(t.criterion.verdict)) } },
                                            None => { "–" },
                                        }
                                    }
                                }
                            }
                        }
                        tr {
                            th scope="row" { "clean up to" }
                            @for step in &v.steps { td { (step.swept.fastest_clean_m_s.map_or_else(|| "–".to_owned(), text::speed)) } }
                        }
                        tr {
                            th scope="row" { "whole step" }
                            @for step in &v.steps { td { (outcome(step.verdict)) } }
                        }
                    }
                }
            }
        }
    }
}

/// A step in a column's head.
fn short(step: &slipgauge_analysis::verdict::StepVerdict) -> String {
    let label = step.label.as_deref().map(|l| format!(" {l}")).unwrap_or_default();
    let nominal = step.nominal_counts_per_inch.map(|n| format!(" ({n:.0}/in)")).unwrap_or_default();
    format!("Step {}{label}{nominal}", step.step)
}

/// With a capital and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let end = if text.ends_with('.') { "" } else { "." };
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect::<String>() + end)
}
