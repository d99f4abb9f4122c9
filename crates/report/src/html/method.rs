//! What stands behind the verdict: method, plan, computer, uncertainty, notes, control, and the file itself.

use super::summary::sentence;
use super::{outcome, outside};
use crate::text;
use maud::{Markup, html};
use serde_json::Value;
use slipgauge_analysis::Judgement;
use slipgauge_analysis::control::Place;
use slipgauge_analysis::lengths::Lengths;
use slipgauge_analysis::scale::{self, Resolution};
use slipgauge_analysis::verdict::{Finding, Verdict};
use slipgauge_trace::Recording;
use slipgauge_trace::session::Plan;

/// Withdrawn notes and operator's notes that are listed.
const LISTED: usize = 60;

pub(super) fn sections(judgement: &Judgement, recording: &Recording) -> Markup {
    let v = &judgement.verdict;
    html! {
        section aria-labelledby="method" {
            h2 id="method" { "How it was measured" }
            p {
                "The device was swiped by hand between two stops a known travel apart, and every report that it sent was recorded \
                 with the time at which this computer received it. From the counts that may be trusted, and from the travel, comes the \
                 speed that the hand must have had; what was counted is held against it. Each outcome is decided by its whole 95 % \
                 interval: inside the tolerance is a pass, outside is a fail, and all else is left open. Of every swipe only the line \
                 between the stops is looked at."
            }
            h3 { "Plan and tolerances" }
            (plan(v, recording.header.plan.as_ref()))
            h3 { "What limits the resolution figure" }
            (budget(judgement))
            h3 { "This computer" }
            (host(v, recording))
            h3 { "Closure" }
            (closure(v))
        }
        section aria-labelledby="notes" {
            h2 id="notes" { "Notes and checks" }
            h3 { "Shown while recording" }
            (live(v))
            h3 { "The operator’s notes" }
            (notes(recording))
            h3 { "Control" }
            (control(v))
        }
        section aria-labelledby="scope" {
            h2 id="scope" { "What this page does not say" }
            ul {
                li { "It is about one unit. Whether other units of the same product behave alike it cannot tell." }
                li { "Tolerances are the user’s or this program’s own, each with its source above; none is a standard’s." }
                li { "What was not examined is in the table as such; straightening and speeds faster than the fastest swipe are among it." }
                li { "Times are those at which this computer woke up to read; what its own stalls explain is not blamed on the device." }
            }
        }
    }
}

/// The recording itself.
pub(super) fn footer(v: &Verdict) -> Markup {
    html! {
        footer {
            h2 { "The recording" }
            dl class="facts" {
                div { dt { "file" } dd { (outside(&v.session)) } }
                div { dt { "length" } dd { (v.bytes) " bytes" } }
                div { dt { "SHA-256 of its whole lines" } dd class="hash" { (v.sha256) } }
                div { dt { "program" } dd { (v.tool) ", rules " (v.rules) } }
            }
            p { "The hash shows that two people hold the same file. It does not show how the file was made. Whoever has it can judge it again: slipgauge judge." }
        }
    }
}

fn plan(v: &Verdict, plan: Option<&Plan>) -> Markup {
    let travel = plan.and_then(|p| Some((p.travel()?, p.travel_uncertainty())));
    let none = Vec::new();
    let used: Vec<(&String, &Value)> =
        v.plan.get("tolerances").and_then(Value::as_object).map_or(none, |m| m.iter().collect());
    let paces = plan.map(|p| &p.paces).into_iter().flatten();
    let pace = |p: &Value| {
        let number = |keys: [&str; 2]| keys.iter().find_map(|k| p.get(*k)).map(ToString::to_string);
        let swipes = number(["swipes", "count"]).map(|n| format!("{} swipes", outside(&n)));
        swipes.unwrap_or_else(|| outside(&p.to_string()))
    };
    html! {
        dl class="facts" {
            @if let Some((travel, u)) = travel {
                div { dt { "travel" } dd { (format!("{:.1} mm, standard uncertainty {:.2} mm", travel.millimetres(), u.millimetres())) } }
            } @else { div { dt { "travel" } dd { "not told" } } }
            @if let Some(from) = plan.and_then(|p| p.travel_from.as_deref()) { div { dt { "travel known by" } dd { (outside(from)) } } }
            div { dt { "straight edge" } dd { (match plan.and_then(|p| p.straight_edge) { Some(true) => "yes", Some(false) => "no", None => "not told" }) } }
            @if let Some(need) = plan.and_then(|p| p.need.get("speed_m_s")).and_then(Value::as_f64) {
                div { dt { "speed that is needed" } dd { (text::speed(need)) } }
            }
            @for (name, p) in paces { div { dt { (outside(name)) } dd { (pace(p)) } } }
        }
        @if !used.is_empty() {
            div class="wide" tabindex="0" role="group" aria-label="Tolerances" {
                table {
                    caption { "Tolerances and where they come from" }
                    thead { tr { th scope="col" { "Family" } th scope="col" { "Limits" } th scope="col" { "Unit" } th scope="col" { "Source" } } }
                    tbody {
                        @for (name, t) in used {
                            @let limit = |i: usize| t.pointer(&format!("/limits/{i}")).filter(|v| !v.is_null()).map_or_else(|| "free".to_owned(), |v| outside(&v.to_string()));
                            @let word = |key: &str| t.get(key).and_then(Value::as_str).map(outside).unwrap_or_default();
                            tr { th scope="row" { (outside(&name.replace('-', " "))) } td { (limit(0)) " to " (limit(1)) } td { (word("unit")) } td class="text" { (word("source")) } }
                        }
                    }
                }
            }
        }
    }
}

/// Parts of the resolution's standard uncertainty, as analysis combines them: u² = placing² + (R u_D / D)² + (R arc)².
fn budget(judgement: &Judgement) -> Markup {
    let findings = &judgement.verdict.findings;
    let rows: Vec<(u32, Resolution, f64, f64)> = judgement
        .steps
        .iter()
        .filter_map(|view| {
            let own: Vec<Finding> = findings.iter().filter(|f| f.step == view.id).cloned().collect();
            let found = scale::effective(view, &Lengths::of(view, &own)?, &own)?;
            let u = view.plan.map_or(0.0, |p| p.travel_uncertainty().millimetres());
            let travel = u / view.travel?.millimetres();
            Some((view.id, found, travel, scale::arc(scale::straight_edge(view.plan))))
        })
        .collect();
    if rows.is_empty() {
        return html! { p { "No step’s resolution could be told." } };
    }
    html! {
        div class="wide" tabindex="0" role="group" aria-label="Uncertainty of the resolution" {
            table {
                caption { "Standard uncertainty of the effective resolution, in percent of it; parts combine as squares (JCGM 100:2008)" }
                thead { tr {
                    th scope="col" { "Step" } th scope="col" { "Travel as measured" } th scope="col" { "Swipes between the stops" }
                    th scope="col" { "Arc and yaw" } th scope="col" { "Together" } th scope="col" { "Swipes" }
                } }
                tbody {
                    @for (step, found, travel, arc) in &rows {
                        @let percent = |v: f64| format!("{:.3} %", 100.0 * v);
                        tr {
                            th scope="row" { "Step " (step) }
                            td { (percent(*travel)) } td { (percent(found.placing / found.counts_per_mm)) } td { (percent(*arc)) }
                            td { (percent(found.uncertainty / found.counts_per_mm)) } td { (found.swipes) " " (scale::words(found.pace)) }
                        }
                    }
                }
            }
        }
        p { "The travel’s part is the same in all swipes and steps: no number of swipes makes it smaller, and ratios between steps are free of it." }
    }
}

fn host(v: &Verdict, recording: &Recording) -> Markup {
    let floor = recording.header.host.get("wake_up_ns");
    let ms = |key: &str| {
        floor.and_then(|f| f.get(key)).and_then(Value::as_f64).map(|ns| format!("{:.3} ms", ns * 1e-6))
    };
    let r = &v.received;
    html! {
        @if !v.host.watched {
            p { "The recording is another program’s: of the computer nothing is known." }
        } @else {
            p { (v.host.stalls) " stalls and " (v.host.overruns) " overruns were recorded; what they explain is not blamed on the device." }
        }
        @match (ms("median"), ms("p99"), ms("worst")) {
            (Some(median), Some(p99), Some(worst)) => {
                p { "Before the test this computer woke a program " (median) " late in the middle, " (p99) " one time in a hundred, " (worst) " at the worst: no time below is known better." }
            }
            _ => p { "How late this computer wakes a program was not measured before the test." }
        }
        p {
            (r.reports) " reports in " (format!("{:.1}", r.seconds)) " s, " (r.moving) " of them moving; " (r.malformed) " malformed, " (r.other)
            " of other kinds and not kept, " (r.outside_phases) " between phases and not judged."
        }
    }
}

fn closure(v: &Verdict) -> Markup {
    if v.closure.is_empty() {
        return html! { p { "No phase had an even number of swipes, all placed." } };
    }
    html! {
        p { "An even number of swipes ends where it began. What the counts of a phase leave over; it decides nothing." }
        div class="wide" tabindex="0" role="group" aria-label="Closure" {
            table {
                thead { tr { th scope="col" { "Phase" } th scope="col" { "Step" } th scope="col" { "Along" } th scope="col" { "Across" } th scope="col" { "Left, out and back allowed for" } } }
                tbody {
                    @for c in &v.closure {
                        tr {
                            th scope="row" { "Phase " (c.phase) } td { (c.step) }
                            td { (format!("{:.2} mm", c.along_mm)) } td { (format!("{:.2} mm", c.across_mm)) }
                            td { (c.left_mm.map_or_else(|| "–".to_owned(), |q| format!("{} mm", text::interval(q, 2)))) }
                        }
                    }
                }
            }
        }
    }
}

fn live(v: &Verdict) -> Markup {
    if v.live.is_empty() {
        return html! { p { "Nothing was noted while recording." } };
    }
    let confirmed = v.live.iter().filter(|n| n.confirmed).count();
    let word = |n: &Value, key: &str| {
        n.get(key).map(|v| v.as_str().map_or_else(|| outside(&v.to_string()), outside)).unwrap_or_default()
    };
    html! {
        p { (v.live.len()) " provisional notes were shown; the verdict confirms " (confirmed) " and withdraws " (v.live.len() - confirmed) "." }
        ul {
            @for n in v.live.iter().take(LISTED) {
                li {
                    @if n.confirmed { "confirmed: " } @else { "withdrawn: " }
                    (word(&n.note, "family")) ", phase " (word(&n.note, "phase")) ", swipe " (word(&n.note, "swipe")) ": " (outside(&n.because))
                }
            }
        }
        @if v.live.len() > LISTED { p { (v.live.len() - LISTED) " more are in the verdict file." } }
    }
}

fn notes(recording: &Recording) -> Markup {
    let written = recording.header.other.get("note").and_then(Value::as_str);
    html! {
        @if written.is_none() && recording.notes.is_empty() { p { "None." } }
        ul hidden[written.is_none() && recording.notes.is_empty()] {
            @if let Some(note) = written { li { (outside(note)) } }
            @for (t, note) in recording.notes.iter().take(LISTED) { li { (format!("{:.1} s: ", t.seconds())) (outside(note)) } }
        }
    }
}

fn control(v: &Verdict) -> Markup {
    let Some(control) = &v.control else {
        return html! { p { "No control: the same test of a device known to be good would tell whether a fault lies in this computer or in the device." } };
    };
    html! {
        p { "The same test of a device known to be good (" (outside(&control.session)) "): " (outcome(control.verdict)) "." }
        @if !control.differs.is_empty() { p { "The two are not alike: " (outside(&control.differs.join("; "))) "." } }
        @if control.families.is_empty() { p { "Nothing fails here, so there is no fault to place." } }
        ul hidden[control.families.is_empty()] {
            @for lies in &control.families {
                li {
                    (lies.family.words()) ": "
                    (match lies.place { Place::Shared => "what both share", Place::ThisUnit => "this unit", Place::Unknown => "not known" })
                    ". " (sentence(&lies.because))
                }
            }
        }
        p { "SHA-256 of the control: " span class="hash" { (control.sha256) } }
    }
}
