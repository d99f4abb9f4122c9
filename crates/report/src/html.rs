//! A session as one page of HTML: the verdict, what it rests on, every swipe, and how it was measured.
//!
//! Self-contained: no file, font or script from elsewhere, so it works from disk and for ever. Its policy allows only its
//! own style and script, by their hashes. Text from outside goes through `outside::harmless` and is escaped by maud.
//! The script adds jumps, read-outs and zoom; without it everything is there to be read. One file a part: `shell` the
//! document, `summary` the top, `evidence` families and findings, `step` pictures, `method` what stands behind, `data`
//! what the zoom reads. Bounded: [`MOST_PICTURES`], `evidence::LISTED`, `data::MOST`; what is left out is counted and said.

mod data;
mod evidence;
mod index;
mod method;
mod shell;
mod step;
mod summary;

pub use index::{Entry, index};

use crate::text;
use maud::{Markup, html};
use slipgauge_analysis::Judgement;
use slipgauge_analysis::verdict::Outcome;
use slipgauge_trace::Recording;
use slipgauge_trace::outside::harmless;

/// Small pictures of swipes on one page, the faulty ones first.
const MOST_PICTURES: usize = 400;
/// Text from outside is cut at so many characters.
const LONGEST: usize = 200;

/// Draws the page. The judgement is of this recording.
pub fn page(judgement: &Judgement, recording: &Recording) -> String {
    let verdict = &judgement.verdict;
    let title = format!("{}: {}", text::outcome(verdict.verdict), outside(&text::device(verdict)));
    let zoom = data::collect(judgement);
    let mut room = MOST_PICTURES;
    let body = html! {
        (summary::header(verdict, recording))
        main id="main" {
            (summary::table(verdict))
            @for (view, said) in judgement.steps.iter().zip(&verdict.steps) {
                (step::section(judgement, view, said, &zoom, &mut room))
            }
            (method::sections(judgement, recording))
        }
        (method::footer(verdict))
    };
    shell::document(&title, &body, Some(&zoom.json))
}

/// Text from outside, harmless and of bearable length. Escaping is maud's.
fn outside(text: &str) -> String {
    let harmless = harmless(text);
    if harmless.chars().count() <= LONGEST {
        return harmless;
    }
    harmless.chars().take(LONGEST).chain(['…']).collect()
}

/// A sign and a word, told apart without colour.
fn outcome(outcome: Outcome) -> Markup {
    let (class, sign, word) = match outcome {
        Outcome::Pass => ("o pass", "✓", "pass"),
        Outcome::Fail => ("o fail", "✗", "fail"),
        Outcome::Inconclusive => ("o open", "?", "inconclusive"),
        Outcome::NotExamined => ("o none", "–", "not examined"),
    };
    html! { span class=(class) { span aria-hidden="true" { (sign) } " " (word) } }
}

/// A picture with what it shows in words; scrolls sideways where the screen is narrow.
fn figure(name: &str, picture: &Markup, caption: &Markup) -> Markup {
    html! {
        figure {
            div class="wide" tabindex="0" role="group" aria-label=(name) { (picture) }
            figcaption { (caption) }
        }
    }
}

/// Where a swipe is shown.
fn swipe_id(phase: u32, swipe: u32) -> String {
    format!("p{phase}-w{swipe}")
}

/// Where a family of a step is shown.
fn family_id(step: u32, family: slipgauge_analysis::verdict::Family) -> String {
    format!("s{step}-{}", text::spelled(family).replace(' ', "-"))
}
