//! The document around a page: style, script and the policy that allows these two and nothing else.

use crate::figure;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest as _, Sha256};

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// A whole document. `data` is JSON for the script.
pub(super) fn document(title: &str, body: &Markup, data: Option<&str>) -> String {
    let style = format!("{}{STYLE}", figure::STYLE);
    let policy = format!(
        "default-src 'none'; style-src '{}'; script-src '{}'; img-src data:; base-uri 'none'; form-action 'none'",
        hash(&style),
        hash(SCRIPT)
    );
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(&style)) }
            }
            body {
                a class="skip" href="#main" { "Skip to the results" }
                svg class="patterns" width="0" height="0" aria-hidden="true" focusable="false" { (figure::patterns()) }
                (body)
                @if let Some(data) = data {
                    // JSON is no script: it is not run. No "<" can end the element.
                    script type="application/json" id="reports" { (PreEscaped(data.replace('<', "\\u003c"))) }
                    script { (PreEscaped(SCRIPT)) }
                }
            }
        }
    };
    markup.into_string() + "\n"
}

/// As a policy has it.
fn hash(text: &str) -> String {
    format!("sha256-{}", base64(&Sha256::digest(text.as_bytes())))
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for three in bytes.chunks(3) {
        let all = three.iter().fold(0u32, |all, b| all << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for place in 0..4 {
            let six = (all >> (18 - 6 * place)) as usize & 63;
            out.push(if place <= three.len() { char::from(LETTERS[six]) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn neither_style_nor_script_can_end_its_own_element() {
        assert!(!STYLE.contains("</") && !figure::STYLE.contains("</") && !SCRIPT.contains("</"));
        assert!(document("t", &html! {}, Some("{\"a\":\"</script>\"}")).contains("\\u003c/script>"));
    }
}
