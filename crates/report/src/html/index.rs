//! Several sessions: one line each, which leads to its page.

use super::{outcome, outside, shell};
use crate::text;
use maud::html;
use slipgauge_analysis::verdict::Verdict;

/// One session's page.
#[derive(Debug)]
pub struct Entry<'a> {
    /// Name of its file, beside the index.
    pub file: String,
    /// What is said of the session.
    pub verdict: &'a Verdict,
    /// When it was recorded.
    pub started: Option<String>,
}

/// The index: sessions in the order given. Ranks nothing.
pub fn index(entries: &[Entry]) -> String {
    let body = html! {
        header {
            p class="brand" { "slipgauge · sessions" }
            h1 { "Sessions" }
            p class="scope" {
                "Each is one unit, on one pad and computer, on one day. They are listed as given, not ranked: sessions made \
                 under other conditions do not compare. Tolerances are the user’s or this program’s own, not a standard’s."
            }
        }
        main id="main" {
            div class="wide" tabindex="0" role="group" aria-label="Sessions" {
                table class="results" {
                    caption { "Each name leads to the session’s page." }
                    thead { tr { th scope="col" { "Device" } th scope="col" { "Verdict" } th scope="col" { "Because" } th scope="col" { "Date" } th scope="col" { "Recording" } } }
                    tbody {
                        @for entry in entries {
                            tr {
                                th scope="row" { a href=(href(&entry.file)) { (outside(&text::device(entry.verdict))) } }
                                td { (outcome(entry.verdict.verdict)) }
                                td class="text" { (outside(&entry.verdict.because)) }
                                td { (entry.started.as_deref().map_or_else(|| "–".to_owned(), |t| outside(&t.chars().take(10).collect::<String>()))) }
                                td { (outside(&entry.verdict.session)) }
                            }
                        }
                    }
                }
            }
        }
    };
    shell::document("slipgauge: sessions", &body, None)
}

/// A file beside this one, whatever its name holds (RFC 3986).
fn href(file: &str) -> String {
    let mut out = String::from("./");
    for b in file.bytes() {
        if b.is_ascii_alphanumeric() || b"-._~".contains(&b) {
            out.push(char::from(b));
        } else {
            out += &format!("%{b:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_link_is_to_a_file_beside_the_index_whatever_its_name() {
        assert_eq!(super::href("javascript:1?#é.html"), "./javascript%3A1%3F%23%C3%A9.html");
    }
}
