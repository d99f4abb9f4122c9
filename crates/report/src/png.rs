//! Pictures as pixels: any SVG of this crate as PNG, by the one font that is built in (DejaVu Sans, whose licence stands in
//! the font itself), so that every machine draws the same.

use resvg::{tiny_skia, usvg};
use std::sync::{Arc, LazyLock};

/// Most pixels: 256 MB while it is drawn. A taller picture is drawn smaller.
const MOST: f64 = 64e6;

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// The drawing is none, or none that can be drawn.
    #[error("the drawing cannot be turned into pixels: {0}")]
    Drawing(String),
    /// Too large, or no memory.
    #[error("a picture of {0} × {1} pixels cannot be made")]
    Size(u32, u32),
}

static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    for set in [
        usvg::fontdb::Database::set_sans_serif_family,
        usvg::fontdb::Database::set_serif_family,
        usvg::fontdb::Database::set_monospace_family,
    ] {
        set(&mut fonts, "DejaVu Sans");
    }
    Arc::new(fonts)
});

/// Draws an SVG document, `scale` times its own size where that has no more than 64 million pixels.
///
/// # Errors
/// [`PngError`].
pub fn png(svg: &str, scale: f64) -> Result<Vec<u8>, PngError> {
    let options = usvg::Options { fontdb: Arc::clone(&FONTS), ..usvg::Options::default() };
    let wrong = |e: &dyn std::fmt::Display| PngError::Drawing(e.to_string());
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| wrong(&e))?;
    let (width, height) = (f64::from(tree.size().width()), f64::from(tree.size().height()));
    let scale = scale.min((MOST / (width * height)).sqrt());
    let pixels = |length: f64| (length * scale).round().max(1.0) as u32;
    let (w, h) = (pixels(width), pixels(height));
    let mut picture = tiny_skia::Pixmap::new(w, h).ok_or(PngError::Size(w, h))?;
    let transform =
        tiny_skia::Transform::from_scale((f64::from(w) / width) as f32, (f64::from(h) / height) as f32);
    resvg::render(&tree, transform, &mut picture.as_mut());
    picture.encode_png().map_err(|e| wrong(&e))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Width and height as the header of a PNG has them (ISO/IEC 15948, 11.2.1).
    fn size(png: &[u8]) -> (u32, u32) {
        let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
        assert_eq!(&png[1..4], b"PNG");
        (number(16), number(20))
    }

    #[test]
    fn text_is_drawn_by_the_font_that_is_built_in_and_huge_drawings_smaller() {
        let page = |w: u32, h: u32, words: &str| {
            format!(
                "<svg xmlns='http://www.w3.org/2000/svg' width='{w}' height='{h}'><style>text{{font-family:Nowhere}}</style>\
                <text y='30' font-size='30'>{words}</text></svg>"
            )
        };
        let (bare, written) =
            (png(&page(200, 40, ""), 2.0).unwrap(), png(&page(200, 40, "✓ mm"), 2.0).unwrap());
        assert_eq!((size(&bare), size(&written)), ((400, 80), (400, 80)));
        assert_ne!(bare, written);
        let (w, h) = size(&png(&page(1000, 1_000_000, ""), 1.0).unwrap());
        assert!(f64::from(w) * f64::from(h) <= 1.01 * MOST && h > 100 * w, "{w} × {h}");
        assert!(png("no drawing", 1.0).is_err());
    }
}
