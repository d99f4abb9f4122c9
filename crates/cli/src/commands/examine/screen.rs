//! What the operator sees: lines on stdout, and below them a bar if stderr is a terminal.

use indicatif::{ProgressBar, ProgressStyle};
use slipgauge_guide::Say;
use std::io::Write as _;

/// Columns of a line.
const WIDTH: usize = 80;
/// Columns between the stops of the pacing bar.
const TRACK: usize = 40;
/// Columns of the body on it.
const BODY: usize = 5;

/// The terminal.
pub struct Screen {
    bar: ProgressBar,
    silent: bool,
}

impl Screen {
    /// Without anything on it.
    pub fn new(silent: bool) -> Screen {
        let bar = ProgressBar::new(1000);
        if let Ok(style) = ProgressStyle::with_template("{msg}") {
            bar.set_style(style);
        }
        Screen { bar, silent }
    }

    /// A prompt. Swipes are lines of their own, all else paragraphs.
    pub fn say(&mut self, say: &Say) -> anyhow::Result<()> {
        match say {
            Say::Swipe { .. } | Say::Counted(_) => self.indented(&say.to_string(), "  ", "      "),
            Say::Noticed(_) => self.indented(&say.to_string(), "      ", "      "),
            Say::Ask(_) | Say::NotStill | Say::Slow { .. } => self.indented(&say.to_string(), "? ", "  "),
            Say::Step { .. } | Say::Over { .. } => {
                self.lines("")?;
                self.indented(&say.to_string(), "", "")
            }
            _ => self.indented(&say.to_string(), "", "  "),
        }
    }

    /// A paragraph.
    pub fn line(&mut self, text: &str) -> anyhow::Result<()> {
        self.indented(text, "", "")
    }

    /// Text as it is, with its own line ends.
    pub fn lines(&mut self, text: &str) -> anyhow::Result<()> {
        self.bar.suspend(|| {
            let mut out = std::io::stdout();
            writeln!(out, "{text}").and_then(|()| out.flush())
        })?;
        Ok(())
    }

    fn indented(&mut self, text: &str, first: &str, others: &str) -> anyhow::Result<()> {
        self.lines(&wrapped(text, first, others))
    }

    /// A turn.
    pub fn bell(&mut self) {
        use std::io::IsTerminal as _;
        if !self.silent && std::io::stderr().is_terminal() {
            let _ = std::io::stderr().write_all(b"\x07");
        }
    }

    /// How far the phase has come, and where the device should be.
    pub fn progress(&mut self, done: Option<f64>, pace: Option<f64>) {
        let text = match (done, pace) {
            (_, Some(place)) => track(place),
            (Some(done), None) => filled(done),
            (None, None) => String::new(),
        };
        self.bar.set_message(text);
    }

    /// Nothing is under way any more.
    pub fn clear(&mut self) {
        self.bar.set_message("");
        self.bar.finish_and_clear();
    }
}

/// The device between its stops.
fn track(place: f64) -> String {
    let at = (place.clamp(0.0, 1.0) * (TRACK - BODY) as f64).round() as usize;
    format!("  █{}▐{}▌{}█", " ".repeat(at), "█".repeat(BODY - 2), " ".repeat(TRACK - BODY - at))
}

/// A share of the same length.
fn filled(done: f64) -> String {
    let full = (done.clamp(0.0, 1.0) * TRACK as f64).round() as usize;
    format!("  [{}{}] {:.0} %", "=".repeat(full), " ".repeat(TRACK - full), 100.0 * done.clamp(0.0, 1.0))
}

/// Words in lines of [`WIDTH`] columns less one.
pub fn wrapped(text: &str, first: &str, others: &str) -> String {
    let mut lines = Vec::new();
    let mut line = first.to_owned();
    let mut empty = true;
    // Runs of spaces stay: they stand between columns.
    for word in text.split(' ') {
        let room = line.chars().count() + usize::from(!empty) + word.chars().count() < WIDTH;
        if !empty && !room {
            lines.push(std::mem::replace(&mut line, others.to_owned()).trim_end().to_owned());
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push(line.trim_end().to_owned());
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_the_terminal_and_keep_their_columns() {
        let text = "  1 of 15  2.89 m/s (114 in/s)  fastest 2.89  clean, slower than asked and then some";
        let lines = wrapped(text, "  ", "      ");
        assert!(lines.lines().all(|line| line.chars().count() < WIDTH), "{lines}");
        assert!(lines.starts_with("    1 of 15  2.89"), "{lines}");
        assert_eq!(lines.split_whitespace().collect::<Vec<_>>(), text.split_whitespace().collect::<Vec<_>>());
    }

    #[test]
    fn the_bar_goes_from_stop_to_stop() {
        let widths = [0.0, 0.3, 0.5, 1.0].map(|place| track(place).chars().count());
        assert!(widths.iter().all(|w| *w == TRACK + 4), "{widths:?}");
        assert!(track(0.0).starts_with("  █▐") && track(1.0).ends_with("▌█"));
    }
}
