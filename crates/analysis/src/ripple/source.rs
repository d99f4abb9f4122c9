//! Where a ripple comes from.
//!
//! *Frames.* A sensor looks every T_F; a report holds the frames since the report before. So the place that reports tell is
//! old by a sawtooth from 0 to T_F, whose harmonics n are v T_F/(πn) at n times the frame rate; sampled by the reports they
//! fold to between 0 and half the report rate; in speed, relative and with T_F in report intervals:
//! A_n = T_F/(πn) · 2 sin(π f_n). So amplitude *and* frequency follow from one number, the frame rate: a line is a beat of
//! frames if the rate that its amplitude asks for is one that folds to its frequency, to the width of its interval or
//! [`AMPLITUDE`], and if its second and third harmonics are there wherever they would be seen. With many frames to a report
//! almost any rate folds near enough, so the harmonics are what tells; that a beat is small enough to be one says no more than
//! that the device may be sound.
//!
//! *Reports at uneven intervals*: the report interval's own structure has the same period.

use crate::verdict::{Family, Finding, Quantity};
use std::f64::consts::PI;

/// An amplitude is told to this share at best: what is left of a line between bins, of the smoother, and of the sensor's gain.
const AMPLITUDE: f64 = 0.03;
/// A harmonic that would stand this far above the noise of a bin must be there: a line of that height is missed once in some
/// thousands of times.
const SEEN: f64 = 5.0;
/// Frame rates that are believed, hertz: data sheets say 1,500 to 12,000 a second, and faster parts are made.
const BELIEVED: (f64, f64) = (1e3, 25e3);
/// Harmonics whose fold is looked for.
const HARMONICS: u32 = 32;

/// A line: frequency in cycles per report, amplitude, noise of a bin.
pub type Seen = (f64, Quantity, f64);

/// Frames that beat against reports.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frames {
    /// Frames per report: the rate that fits best, and the range that the amplitude leaves (k + f and k − f fold alike).
    pub rate: Quantity,
    /// True if a further harmonic shows it.
    pub confirmed: bool,
}

/// Period of the report interval's structure, as a frequency in cycles per report.
pub fn uneven_reports(findings: &[Finding]) -> Option<f64> {
    let own = findings.iter().find(|f| f.family == Family::ReportInterval && f.kind == "structure")?;
    own.evidence.get("period_reports")?.as_f64().filter(|p| *p >= 2.0).map(|p| 1.0 / p)
}

/// Where a rate (cycles per report) folds to, between 0 and 1/2.
pub fn folded(rate: f64) -> f64 {
    let rest = rate - rate.floor();
    rest.min(1.0 - rest)
}

/// Relative amplitude of harmonic `n` of frames at `rate` per report.
pub fn amplitude(rate: f64, n: u32) -> f64 {
    let n = f64::from(n);
    2.0 * (PI * folded(n * rate)).sin() / (PI * n * rate)
}

/// The frames that the highest line and its harmonics ask for; `None` if it is no beat of frames. `bin` is the width of a
/// bin in cycles per report; none is seen below `lowest` hertz, so the highest line need not be the first harmonic.
pub fn frames(lines: &[Seen], bin: f64, slot_s: f64, lowest: f64) -> Option<Frames> {
    let highest = lines.iter().max_by(|a, b| a.1.value.total_cmp(&b.1.value))?;
    let all = (1..=8).filter_map(|n| as_harmonic(n, highest, lines, (bin, slot_s, lowest)));
    let explained = |frames: &Frames| lines.iter().filter(|l| frames.has(l.0, l.1.value, bin)).count();
    // What explains most; of equals the first, the lowest harmonic.
    all.reduce(|a, b| if explained(&b) > explained(&a) { b } else { a })
}

/// Likewise if the highest line is harmonic `own`.
fn as_harmonic(own: u32, highest: &Seen, lines: &[Seen], grid: (f64, f64, f64)) -> Option<Frames> {
    let (&(f, q, noise), (bin, slot_s, lowest)) = (highest, grid);
    let times = f64::from(own);
    let asked = 2.0 * (PI * f).sin() / (PI * q.value * times);
    let believed = BELIEVED.0 * slot_s..=BELIEVED.1 * slot_s;
    if !believed.contains(&asked) {
        return None;
    }
    let width = q.high.map_or(0.0, |high| (high / q.value - 1.0).abs()).clamp(AMPLITUDE, 0.3);
    let (from, to) = ((times * asked * (1.0 - width)).floor(), (times * asked * (1.0 + width)).ceil());
    let folds = (from.max(0.0) as u32..=to as u32).flat_map(|k| [f64::from(k) - f, f64::from(k) + f]);
    let near = folds.map(|r| r / times).filter(|r| *r > 0.0 && (r / asked - 1.0).abs() <= width);
    let harmonics = |rate: f64| -> Option<u32> {
        let mut seen = 0;
        for n in (1..=own + 4).filter(|n| *n != own) {
            let (at, high) = (folded(f64::from(n) * rate), amplitude(rate, n));
            // The line says the rate to less than a bin, a harmonic is so many times less certain.
            let reach = bin * (1.0 + 0.5 * f64::from(n) / times);
            let near = |l: &&Seen| (l.0 - at).abs() <= reach;
            let there = lines.iter().filter(near).any(|l| (0.7..1.4).contains(&(l.1.value / high)));
            let due = high > SEEN * noise && at > lowest * slot_s + 2.0 * bin && at < 0.5 - 2.0 * bin;
            // Two lines within some bins are one.
            let hidden = lines.iter().any(|l| (l.0 - at).abs() <= 4.0 * bin && l.1.value >= high);
            if due && !there && !hidden {
                return None;
            }
            seen += u32::from(there);
        }
        Some(seen)
    };
    let fits = near.filter_map(|rate| Some((rate, harmonics(rate)?)));
    // Most harmonics, then the nearest.
    let (rate, seen) = fits.max_by(|a, b| {
        let off = |r: f64| -(r / asked - 1.0).abs();
        a.1.cmp(&b.1).then(off(a.0).total_cmp(&off(b.0)))
    })?;
    let (low, high) = (asked * (1.0 - width), asked * (1.0 + width));
    Some(Frames { rate: Quantity { value: rate, low: Some(low), high: Some(high) }, confirmed: seen > 0 })
}

impl Frames {
    /// True if a line is one of the harmonics, where it folds to and about as high as it would be.
    pub fn has(&self, f: f64, a: f64, bin: f64) -> bool {
        let rate = self.rate.value;
        (1..=HARMONICS).any(|n| {
            let reach = bin * (1.0 + 0.1 * f64::from(n));
            let alike = (0.6..1.5).contains(&(a / amplitude(rate, n)));
            alike && (folded(f64::from(n) * rate) - f).abs() <= reach
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(f: f64, a: f64) -> (f64, Quantity, f64) {
        (f, Quantity::around(a, 0.01 * a), 1e-3)
    }

    /// 6.48 frames a report: the first harmonic folds to 0.48, the second to 0.04, the third to 0.44; amplitudes by hand
    /// 2 sin(0.48 π)/(6.48 π) = 0.0980, 2 sin(0.04 π)/(12.96 π) = 0.00616, 2 sin(0.44 π)/(19.44 π) = 0.0322.
    #[test]
    fn frames_of_a_known_rate_are_known_by_amplitude_and_harmonics() {
        let known = [(0.48, 0.0980), (0.04, 0.00616), (0.44, 0.0322)];
        for (n, (f, a)) in (1..).zip(known) {
            assert!((folded(f64::from(n) * 6.48) - f).abs() < 1e-9);
            assert!((amplitude(6.48, n) / a - 1.0).abs() < 2e-3, "{n}: {}", amplitude(6.48, n));
        }
        let higher = [4, 5].map(|n| line(folded(f64::from(n) * 6.48), amplitude(6.48, n)));
        let lines: Vec<Seen> = known.map(|(f, a)| line(f, a)).into_iter().chain(higher).collect();
        let got = frames(&lines, 1e-3, 1e-3, 20.0).unwrap();
        assert!((got.rate.value - 6.48).abs() < 1e-9 && got.confirmed, "{got:?}");
        assert!(lines.iter().all(|l| got.has(l.0, l.1.value, 1e-3)));
        assert!(!got.has(0.3, 0.05, 1e-3) && !got.has(0.48, 0.5, 1e-3));
    }

    #[test]
    fn a_line_without_the_harmonics_that_it_should_have_is_no_beat_of_frames() {
        assert_eq!(frames(&[line(0.48, 0.0980), line(0.1, 0.02)], 1e-3, 1e-3, 20.0), None);
        // Where noise hides them it may be one.
        let (f, a, _) = line(0.48, 0.0980);
        assert!(!frames(&[(f, a, 0.02)], 1e-3, 1e-3, 20.0).unwrap().confirmed);
    }

    /// 12.96 frames a report fold to 0.04 and its multiples, all of some 2 · 0.04 / 12.96; the first lies below the band.
    #[test]
    fn frames_are_known_by_a_comb_whose_first_tooth_is_below_the_band() {
        let lines: Vec<Seen> =
            (2..=6).map(|n| line(folded(f64::from(n) * 12.96), amplitude(12.96, n))).collect();
        let got = frames(&lines, 2e-3, 2e-3, 30.0).unwrap();
        assert!(got.confirmed && (folded(got.rate.value) - 0.04).abs() < 1e-3, "{got:?}");
        assert!(lines.iter().all(|l| got.has(l.0, l.1.value, 2e-3)));
    }

    #[test]
    fn hostile_lines_have_no_frames() {
        for (f, a) in [(0.0, 0.0), (f64::NAN, 1.0), (0.3, f64::NAN), (0.5, 1e-300), (0.2, f64::INFINITY)] {
            assert_eq!(frames(&[line(f, a)], 1e-3, 1e-3, 40.0), None, "{f} {a}");
        }
        assert_eq!(frames(&[], 1e-3, 1e-3, 40.0), None);
        assert_eq!(frames(&[line(0.2, 0.1)], 1e-3, f64::NAN, 40.0), None);
    }
}
