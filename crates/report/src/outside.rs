//! Text from outside, made harmless for the formats that programs read: spreadsheets, Markdown.
//!
//! All of it passes `trace::outside::harmless` first: no control characters, nothing that turns the reading direction.

use slipgauge_trace::outside::harmless;

/// Characters shown of a name where it stands in a line of text or in a table.
const SHOWN: usize = 60;

/// A cell that no spreadsheet takes for a formula: text that begins with one of `= + - @`, their wide forms, a tab or a
/// line end gets an apostrophe in front, which spreadsheets take for "this is text" (OWASP, CSV injection). Numbers are
/// never passed through here.
pub fn cell(text: &str) -> String {
    let formula =
        |c: char| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠');
    let shown = harmless(text);
    // Some programs look past spaces.
    if text.trim_start_matches(' ').starts_with(formula) { format!("'{shown}") } else { shown }
}

/// Text of Markdown that is nothing but text: no mark-up, no HTML, no link, no end of a cell.
pub fn markdown(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let shown = harmless(text);
    let mut rest = shown.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            // Bare addresses and names that a site would make links of.
            ':' if rest.peek() == Some(&'/') => out.push_str("&#58;"),
            '@' => out.push_str("&#64;"),
            '.' if out.to_lowercase().ends_with("www") => out.push_str("&#46;"),
            '\\' | '`' | '*' | '_' | '{' | '}' | '[' | ']' | '#' | '|' | '~' | '!' | '$' | '^' => {
                out.push('\\');
                out.push(c);
            }
            c => out.push(c),
        }
    }
    out
}

/// The beginning of a text that may be of any length.
pub fn short(text: &str) -> String {
    if text.chars().count() <= SHOWN {
        return text.to_owned();
    }
    text.chars().take(SHOWN - 1).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_begins_as_a_formula_does() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "＝1"] {
            let got = cell(text);
            assert!(got.starts_with('\''), "{text:?} became {got:?}");
            assert!(!got.contains(['\t', '\r', '\n']));
        }
        assert_eq!((cell("plain = x").as_str(), cell("").as_str()), ("plain = x", ""));
        assert_eq!(cell("a\u{202e}b"), r"a\u{202e}b");
    }

    #[test]
    fn markdown_text_stays_text() {
        assert_eq!(markdown("<script>a|b</script>"), r"&lt;script&gt;a\|b&lt;/script&gt;");
        assert_eq!(markdown("a\n| b"), r"a\\u\{a\}\| b");
        assert_eq!(markdown("![x](http://e.org)"), r"\!\[x\](http&#58;//e.org)");
        assert_eq!(markdown("*a* _b_ `c` \\"), r"\*a\* \_b\_ \`c\` \\");
        assert_eq!(markdown("www.e.org @me"), "www&#46;e.org &#64;me");
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(short(&"x".repeat(10_000)).chars().count(), SHOWN);
        assert_eq!(short("short"), "short");
    }
}
