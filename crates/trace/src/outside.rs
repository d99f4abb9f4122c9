//! Text that came from outside, made harmless to show.
//!
//! A device names itself, and a session file may come from anybody. What they hold is stored as it came and passed
//! through [`harmless`] wherever a person sees it on a terminal.

use std::fmt::Write as _;

/// The text with every character escaped that could drive a terminal, hide, or turn the reading direction.
///
/// Escaped as `\u{1b}` are: control characters C0, DEL and C1, format characters that reorder or hide text
/// (Unicode Standard Annex #9: embeddings, overrides, isolates, marks; zero-width and invisible ones, tags), and line
/// and paragraph separators. All else, the backslash too, stays as it is: this is for reading, not for reading back.
pub fn harmless(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if is_harmful(c) {
            let _ = write!(shown, "{}", c.escape_unicode());
        } else {
            shown.push(c);
        }
    }
    shown
}

fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shows_control_characters_harmlessly() {
        assert_eq!(harmless("Bench\u{1b}[2J Pointer\r\n"), r"Bench\u{1b}[2J Pointer\u{d}\u{a}");
        assert_eq!(harmless("a\u{9b}31m\u{7f}"), r"a\u{9b}31m\u{7f}");
        assert_eq!(harmless("a\u{202e}b\u{2066}c\u{200b}"), r"a\u{202e}b\u{2066}c\u{200b}");
    }

    #[test]
    fn leaves_letters_of_all_scripts_alone() {
        for text in ["Bench Pointer 2", "Maus für links", "ポインタ", "مؤشر", r"back\slash"] {
            assert_eq!(harmless(text), text);
        }
    }
}
