//! Showing a judgement: text for a person, JSON for a program, pictures.
//!
//! Estimates nothing: it may reduce a trace for drawing and round a number for reading. One module a form of output;
//! `figure` holds one file per kind of picture and the few marks that they share. Everything that comes from outside
//! (names, notes) is made harmless here: by `trace::outside` for text, by maud for SVG.

pub mod chances;
pub mod compare;
pub mod export;
pub mod figure;
pub mod html;
pub mod outside;
pub mod page;
pub mod pictures;
pub mod plate;
#[cfg(feature = "png")]
pub mod png;
pub mod sheet;
pub mod text;

use slipgauge_analysis::verdict::Verdict;

/// The verdict file: pretty-printed JSON with a line end.
pub fn json(verdict: &Verdict) -> String {
    // The types are plain data with string keys, so that writing cannot fail; an empty file would be noticed at once.
    serde_json::to_string_pretty(verdict).map(|text| text + "\n").unwrap_or_default()
}
