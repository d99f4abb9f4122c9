//! Pictures into files: SVG, or PNG where the file's name ends so.

use anyhow::Context as _;
use std::path::Path;

/// True if a file of this name is to hold pixels.
fn is_png(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("png"))
}

/// A drawing as the bytes of a file of this name; `scale` is how large pixels are drawn.
///
/// # Errors
/// If it cannot be turned into pixels.
pub fn bytes(path: &Path, svg: String, scale: f64) -> anyhow::Result<Vec<u8>> {
    if is_png(path) { pixels(&svg, scale) } else { Ok(svg.into_bytes()) }
}

/// Writes a drawing; an existing file is replaced.
///
/// # Errors
/// If it cannot be turned into pixels, or not be written.
pub fn write(path: &Path, svg: String, scale: f64) -> anyhow::Result<()> {
    let place = || format!("{}", path.display());
    let bytes = bytes(path, svg, scale).with_context(place)?;
    std::fs::write(path, bytes).with_context(place)
}

/// A drawing as PNG.
#[cfg(feature = "png")]
pub fn pixels(svg: &str, scale: f64) -> anyhow::Result<Vec<u8>> {
    Ok(slipgauge_report::png::png(svg, scale)?)
}

/// Says that this build has no PNG.
#[cfg(not(feature = "png"))]
pub fn pixels(_: &str, _: f64) -> anyhow::Result<Vec<u8>> {
    anyhow::bail!("this program was built without PNG (feature `png`); give a file that ends in .svg")
}
