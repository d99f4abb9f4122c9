//! Shares with exact intervals, and Markdown.

use slipgauge_analysis::stats::{proportion_high, proportion_low};

/// `k` of `n` in per cent with its exact 95 % interval (Clopper & Pearson 1934).
pub fn share(k: usize, n: usize) -> String {
    let (k32, n32) = (u32::try_from(k).unwrap_or(u32::MAX), u32::try_from(n).unwrap_or(u32::MAX));
    if n == 0 {
        return "–".to_owned();
    }
    let low = 100.0 * proportion_low(k32, n32, 0.025);
    let high = 100.0 * proportion_high(k32, n32, 0.025);
    let value = 100.0 * k as f64 / n as f64;
    format!("{value:.2} % [{low:.2}, {high:.2}] ({k}/{n})")
}

/// `k` of `n` in per cent, short.
pub fn short(k: usize, n: usize) -> String {
    if n == 0 { "–".to_owned() } else { format!("{:.1} % of {n}", 100.0 * k as f64 / n as f64) }
}

/// A table.
pub struct Table {
    text: String,
}

impl Table {
    /// With a title and the heads of its columns.
    pub fn new(title: &str, heads: &[&str]) -> Table {
        let rule = heads.iter().map(|_| "---").collect::<Vec<_>>().join(" | ");
        Table { text: format!("\n### {title}\n\n| {} |\n| {rule} |\n", heads.join(" | ")) }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: &[String]) {
        self.text += &format!("| {} |\n", cells.join(" | "));
    }

    /// The Markdown.
    pub fn text(self) -> String {
        self.text
    }
}
