//! How wide text is, by the advances of the font that the plate is set in, and how it is made to fit.
//!
//! Kerning is left out: it only makes text narrower. What the font has not counts as one em, which no common glyph
//! exceeds.

use std::sync::LazyLock;
use ttf_parser::Face;

/// Thickness of the strokes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// As a book is set.
    Book,
    /// For heads.
    Bold,
}

static BOOK: LazyLock<Option<Face>> = LazyLock::new(|| Face::parse(dejavu::sans::regular(), 0).ok());
static BOLD: LazyLock<Option<Face>> = LazyLock::new(|| Face::parse(dejavu::sans::bold(), 0).ok());

/// Width of a text at a size.
pub fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let face = match weight {
        Weight::Book => BOOK.as_ref(),
        Weight::Bold => BOLD.as_ref(),
    };
    let em = |face: &Face, c: char| {
        let advance = face.glyph_index(c).and_then(|glyph| face.glyph_hor_advance(glyph))?;
        Some(f64::from(advance) / f64::from(face.units_per_em()))
    };
    text.chars().map(|c| face.and_then(|face| em(face, c)).unwrap_or(1.0)).sum::<f64>() * size
}

/// The text, cut with an ellipsis if it is wider than `most`.
pub fn fit(text: &str, size: f64, weight: Weight, most: f64) -> String {
    if width(text, size, weight) <= most {
        return text.to_owned();
    }
    let (mut kept, mut used) = (String::new(), width("…", size, weight));
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), size, weight);
        if used > most {
            break;
        }
        kept.push(c);
    }
    kept.truncate(kept.trim_end().len());
    kept + "…"
}

/// The text on at most `count` lines, broken at spaces; what is left over is cut with an ellipsis.
pub fn lines(text: &str, size: f64, weight: Weight, most: f64, count: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let full = lines.len() == count;
        match lines.last_mut() {
            Some(line) if full || width(&format!("{line} {word}"), size, weight) <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines.iter().map(|line| fit(line, size, weight, most)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_font() {
        // Advances of DejaVu Sans 2.37 in 2048ths of an em, as its table `hmtx` has them: M 1767, i 569; bold M 2038.
        assert!((width("M", 2048.0, Weight::Book) - 1767.0).abs() < 1e-6);
        assert!((width("ii", 2048.0, Weight::Book) - 1138.0).abs() < 1e-6);
        assert!((width("M", 2048.0, Weight::Bold) - 2038.0).abs() < 1e-6);
        // Of a script that the font has not.
        assert!((width("鼠", 10.0, Weight::Book) - 10.0).abs() < 1e-6);
    }

    #[test]
    fn what_is_too_wide_ends_in_an_ellipsis_and_fits() {
        let long = "Bench Pointer ".repeat(20);
        let cut = fit(&long, 76.0, Weight::Bold, 900.0);
        assert!(cut.ends_with('…') && width(&cut, 76.0, Weight::Bold) <= 900.0);
        assert_eq!(fit("Bench Pointer", 76.0, Weight::Bold, 900.0), "Bench Pointer");
        let two = lines(&long, 60.0, Weight::Book, 900.0, 2);
        assert!(two.len() == 2 && two[1].ends_with('…'), "{two:?}");
        assert!(two.iter().all(|line| width(line, 60.0, Weight::Book) <= 900.0));
        assert!(lines("", 60.0, Weight::Book, 900.0, 2).is_empty());
    }
}
