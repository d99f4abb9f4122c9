//! The highest line of a band, and its false-alarm level.
//!
//! False-alarm level of an averaged spectrum: the power of noise in a bin over the noise's mean power there follows
//! Gamma(K)/K with K independent segments (K = 1: exponential). The mean is read from the median of the bins around
//! (robust against lines; noise need not be white, only smooth over [`AROUND`] bins on either side), and its own scatter
//! makes the ratio z an F variable: p = 1 − (1 − P[F(2K, 2ν) > z])^m over m bins, 1/ν being the relative variance of that
//! median. Segments under Hann's window that overlap by half count as K = segments / (1 + 2/36) (Welch 1967).

use super::{Spectrum, Window};
use crate::stats::median;
use statrs::distribution::{Continuous, ContinuousCDF, FisherSnedecor, Gamma};
use std::f64::consts::PI;
use std::ops::Range;

/// Bins on either side from which the noise is read.
const AROUND: usize = 32;
/// Fewer bins than this do not tell the noise.
const LEAST_BINS: usize = 8;

/// A line in a spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Cycles per unit of the sampling interval.
    pub frequency: f64,
    /// In the units of the series (peak, not root mean square).
    pub amplitude: f64,
    /// Root-mean-square amplitude that noise shows in one bin there.
    pub noise: f64,
    /// False-alarm level.
    pub p_false: f64,
}

impl Spectrum {
    /// The line that stands highest above the noise around it, between two frequencies. `None` if the band holds fewer
    /// than [`LEAST_BINS`] bins or no noise to compare with.
    pub fn line(&self, band: Range<f64>) -> Option<Line> {
        self.line_in_both(self, band)
    }

    /// Likewise the line that stands highest in this spectrum and in `other`, of the same length: the lower of its two
    /// ratios to the noise counts, so noise that is steep in one shape of the spectrum and not in the other does not
    /// pass for a line. Frequency, amplitude and noise are this spectrum's.
    pub fn line_in_both(&self, other: &Spectrum, band: Range<f64>) -> Option<Line> {
        // The last bin, at half the sampling rate, has a distribution of its own.
        let last = self.amplitude.len().min(other.amplitude.len()).saturating_sub(2);
        let first = ((band.start / self.spacing).ceil().max(0.0) as usize).max(self.window.first());
        let last = last.min((band.end / self.spacing).floor().max(0.0) as usize);
        let bins = last.checked_sub(first)? + 1;
        if bins < LEAST_BINS {
            return None;
        }
        let (ratio_of_median, freedom) = self.median_of_noise()?;
        let powers = |s: &Spectrum| s.amplitude[first..=last].iter().map(|a| a * a).collect::<Vec<f64>>();
        let (own, others) = (powers(self), powers(other));
        let mut best: Option<(f64, usize, f64)> = None;
        for k in 0..bins {
            let from = k.saturating_sub(AROUND).min(bins.saturating_sub(2 * AROUND + 1));
            let around = from..(from + 2 * AROUND + 1).min(bins);
            let (noise, other_noise) = (median(&own[around.clone()])?, median(&others[around])?);
            if noise > 0.0 && other_noise > 0.0 {
                let z = ratio_of_median * (own[k] / noise).min(others[k] / other_noise);
                if best.is_none_or(|(higher, ..)| z > higher) {
                    best = Some((z, k, noise / ratio_of_median));
                }
            }
        }
        let (z, k, noise) = best?;
        let nu = self.nu(bins, freedom);
        let one = FisherSnedecor::new(2.0 * self.worth, 2.0 * nu).map_or(1.0, |f| f.sf(z));
        let p_false = -(bins as f64 * (-one).ln_1p()).exp_m1();
        let k = first + k;
        let at = |bin: usize| self.amplitude.get(bin).copied().unwrap_or(0.0);
        let (left, right) = (at(k.saturating_sub(1)), at(k + 1));
        let share = left.max(right) / at(k);
        let off = self.window.between(share.min(1.0)) * if right >= left { 1.0 } else { -1.0 };
        Some(Line {
            frequency: (k as f64 + off) * self.spacing,
            amplitude: at(k) / self.window.response(off),
            noise: noise.sqrt(),
            p_false: p_false.clamp(0.0, 1.0),
        })
    }

    /// Up to `most` lines below a false-alarm level, the clearest first. Each is taken out of both spectra before the next is
    /// looked for: what Hann's window leaks of amplitude A falls as A/(π δ³) bins beside it, so to the noise.
    pub fn lines_in_both(&self, other: &Spectrum, band: Range<f64>, most: usize, level: f64) -> Vec<Line> {
        let (mut own, mut others, mut lines) = (self.clone(), other.clone(), Vec::new());
        while lines.len() < most {
            let Some(line) = own.line_in_both(&others, band.clone()).filter(|l| l.p_false < level) else {
                break;
            };
            let k = (line.frequency / own.spacing).round().max(0.0) as usize;
            let width = 2 + (line.amplitude / (PI * line.noise)).cbrt().ceil().min(AROUND as f64) as usize;
            let ratio = others.amplitude.get(k).zip(own.amplitude.get(k)).map_or(0.0, |(b, a)| b / a);
            for (spectrum, noise) in [(&mut own, line.noise), (&mut others, line.noise * ratio)] {
                let bins = spectrum.amplitude.iter_mut().take(k + width + 1).skip(k.saturating_sub(width));
                bins.for_each(|a| *a = noise);
            }
            lines.push(line);
        }
        lines
    }

    /// The amplitude of a line in the middle of the band that would just be below a false-alarm level.
    pub fn least(&self, band: Range<f64>, level: f64) -> Option<f64> {
        let bin = |f: f64| (f / self.spacing).max(0.0) as usize;
        let own = self.amplitude.get(bin(band.start)..bin(band.end).min(self.amplitude.len()))?;
        let noise = median(&own.iter().map(|a| a * a).collect::<Vec<_>>())?;
        let (ratio_of_median, freedom) = self.median_of_noise()?;
        let one = -((-level).ln_1p() / own.len() as f64).exp_m1();
        let f = FisherSnedecor::new(2.0 * self.worth, 2.0 * self.nu(own.len(), freedom)).ok()?;
        let z = f.inverse_cdf(1.0 - one);
        (noise > 0.0 && z.is_finite()).then(|| (z * noise / ratio_of_median).sqrt())
    }

    /// What the median of the noise is worth, half its degrees of freedom. With Hann's window neighbours share noise: 1.5 bins
    /// of it each.
    fn nu(&self, bins: usize, freedom: f64) -> f64 {
        let width = if self.window == Window::Hann { 1.5 } else { 1.0 };
        (bins.min(2 * AROUND + 1) as f64 / width / freedom).max(1.0)
    }

    /// Median over mean of the noise's power in a bin, and the relative variance of a median of n bins times n
    /// (1 / (4 f²) at the median of density f).
    fn median_of_noise(&self) -> Option<(f64, f64)> {
        let gamma = Gamma::new(self.worth, self.worth).ok()?;
        let middle = gamma.inverse_cdf(0.5);
        let density = gamma.pdf(middle);
        Some((middle, 1.0 / (4.0 * density * density * middle * middle)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::chance::{Chance, sine};
    use crate::spectrum::{MOST, averaged, of};
    use std::f64::consts::TAU;

    #[test]
    fn a_line_between_bins_is_found_where_it_is_and_as_high_as_it_is() {
        for (cycles, window, to) in [
            (100.0, Window::Hann, 1e-6),
            (100.27, Window::Hann, 1e-4),
            (99.6, Window::Hann, 1e-4),
            (100.27, Window::Rectangle, 2e-2),
        ] {
            let mut values = sine(2048, cycles, 2.5);
            let mut chance = Chance::new(1);
            values.iter_mut().for_each(|v| *v += 1e-6 * chance.normal());
            let line = of(&values, 1e-3, window).unwrap().line(0.0..500.0).unwrap();
            assert!((line.frequency / (cycles / 2.048) - 1.0).abs() < to, "{cycles} {window:?}: {line:?}");
            assert!((line.amplitude / 2.5 - 1.0).abs() < to.max(1e-5), "{cycles} {window:?}: {line:?}");
            assert!(line.p_false < 1e-9);
        }
    }

    /// Of noise alone a share p has a line of false-alarm level p or less: exact binomial limits for 400 series.
    #[test]
    fn noise_alone_shows_a_false_alarm_as_often_as_it_says() {
        let mut chance = Chance::new(2);
        for (segments, blue) in [(1, false), (1, true), (9, false)] {
            let n = 256 * (segments + 1);
            let alarms = (0..400).filter(|_| {
                let mut values = chance.noise(n + 1);
                if blue {
                    // Jitter of stamps that does not add up: intervals are its differences.
                    values = values.windows(2).map(|w| w[1] - w[0]).collect();
                }
                let got = averaged(&[&values], 512, 1.0, Window::Hann).unwrap();
                assert_eq!(got.segments, segments);
                got.line(0.0..0.5).unwrap().p_false < 0.05
            });
            let alarms = alarms.count();
            // 20 expected; at most 34 in 99.8 % of such trials. Neighbouring bins share noise, so it may be fewer.
            assert!((6..=34).contains(&alarms), "{alarms} of 400, {segments} segments, blue {blue}");
        }
    }

    #[test]
    fn a_line_in_noise_is_found_in_averaged_segments_of_long_series() {
        let mut chance = Chance::new(3);
        let mut values = chance.noise(MOST * 3);
        values.iter_mut().enumerate().for_each(|(i, v)| *v += 0.1 * (TAU * 0.125 * i as f64).sin());
        let got = of(&values, 1.0, Window::Hann).unwrap();
        assert_eq!((got.amplitude.len(), got.segments), (MOST / 2 + 1, 5));
        let line = got.line(0.0..0.5).unwrap();
        assert!((line.frequency - 0.125).abs() < 1e-6 && (line.amplitude - 0.1).abs() < 0.01, "{line:?}");
        assert!(line.p_false < 1e-6);
    }

    #[test]
    fn a_flat_spectrum_and_an_empty_band_have_no_line() {
        assert!(of(&[1.0; 100], 1.0, Window::Hann).unwrap().line(0.0..0.5).is_none());
        assert!(of(&sine(64, 5.0, 1.0), 1.0, Window::Hann).unwrap().line(0.3..0.2).is_none());
    }
}
