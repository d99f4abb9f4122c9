//! Lines in noise and delays, by Fourier's transform. Knows nothing of pointing devices.
//!
//! - [`averaged`]: amplitude spectrum of evenly sampled series. A line of amplitude A stands as A, whatever the window:
//!   A_k = 2 |X_k| / Σw. Long series are cut into segments that overlap by half and whose powers are averaged (Welch
//!   1967), so memory is that of one segment, at most [`MOST`] samples.
//! - [`Spectrum::line`]: the highest line of a band, its frequency and amplitude between bins (exact for one line in
//!   Hann's window: δ = (2α − 1)/(α + 1) of the two highest bins' ratio α; Grandke 1983, from memory), and its
//!   *false-alarm level*: the chance that noise alone shows a line so high in any of the bins looked at.
//! - [`lomb_scargle`]: the same for uneven times, O(times × frequencies), bounded by [`MOST_TERMS`].
//! - [`delay`]: how much later one series is than another, by cross-correlation.
//!
//! False-alarm level of an averaged spectrum: the power of noise in a bin over the noise's mean power there follows
//! Gamma(K)/K with K independent segments (K = 1: exponential). The mean is read from the median of the bins around
//! (robust against lines; noise need not be white, only smooth over [`AROUND`] bins on either side), and its own scatter
//! makes the ratio z an F variable: p = 1 − (1 − P[F(2K, 2ν) > z])^m over m bins, 1/ν being the relative variance of that
//! median. Segments under Hann's window that overlap by half count as K = segments / (1 + 2/36) (Welch 1967).
//!
//! False-alarm level of Lomb-Scargle: Baluev's upper bound (MNRAS 385:1279, 2008; formula from memory, checked on noise).

use crate::stats::median;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use statrs::distribution::{Continuous, ContinuousCDF, FisherSnedecor, Gamma};
use std::f64::consts::{PI, TAU};
use std::ops::Range;

/// Longest transform, in samples: 1 MB of complex numbers. Longer series are cut into segments.
pub const MOST: usize = 1 << 16;
/// Bound on times × frequencies of [`lomb_scargle`]: about half a second.
pub const MOST_TERMS: usize = 1 << 26;
/// Bins on either side from which the noise is read.
const AROUND: usize = 32;
/// Fewer bins than this do not tell the noise.
const LEAST_BINS: usize = 8;

/// How a segment is weighted before it is transformed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    /// Not at all: noise bandwidth 1 bin, a line between bins reads up to 3.92 dB low and leaks far.
    Rectangle,
    /// Hann's raised cosine: noise bandwidth 1.5 bins, up to 1.4236 dB low before refinement.
    Hann,
}

impl Window {
    /// Weight of sample `i` of `n`.
    fn weight(self, i: usize, n: usize) -> f64 {
        match self {
            Window::Rectangle => 1.0,
            Window::Hann => 0.5 - 0.5 * (TAU * i as f64 / n as f64).cos(),
        }
    }

    /// What a line shows that lies `off` bins beside the bin (|off| < 1), of its amplitude.
    pub fn response(self, off: f64) -> f64 {
        let x = PI * off;
        let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
        match self {
            Window::Rectangle => sinc,
            Window::Hann => sinc / (1.0 - off * off),
        }
    }

    /// Place of a line between the higher bin and its higher neighbour, by the neighbour's share of the higher one.
    fn between(self, share: f64) -> f64 {
        match self {
            Window::Rectangle => share / (1.0 + share),
            Window::Hann => ((2.0 * share - 1.0) / (share + 1.0)).clamp(0.0, 0.5),
        }
    }

    /// First bin that a constant does not reach.
    fn first(self) -> usize {
        match self {
            Window::Rectangle => 1,
            Window::Hann => 2,
        }
    }
}

/// A one-sided amplitude spectrum.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectrum {
    /// From bin to bin, in cycles per unit of the sampling interval.
    pub spacing: f64,
    /// Amplitude of a line in each bin (root of the mean power of the segments); shape `[n / 2 + 1]`.
    pub amplitude: Vec<f64>,
    /// Segments averaged.
    pub segments: usize,
    /// Independent segments that these are worth.
    pub worth: f64,
    /// The window used.
    pub window: Window,
}

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

/// Spectrum of one series, as [`averaged`].
pub fn of(values: &[f64], interval: f64, window: Window) -> Option<Spectrum> {
    averaged(&[values], values.len().min(MOST), interval, window)
}

/// Amplitude spectrum averaged over segments of `length` samples (at most [`MOST`]) of several series that are sampled
/// every `interval`, each less its own mean. What is shorter than a segment, and the rest after the last one, is left
/// out. `None` without a whole segment of at least 4 samples, or if a value is not finite. O(n log length).
pub fn averaged(series: &[&[f64]], length: usize, interval: f64, window: Window) -> Option<Spectrum> {
    let n = length.min(MOST);
    if n < 4 || !interval.is_finite() || interval <= 0.0 {
        return None;
    }
    let weights: Vec<f64> = (0..n).map(|i| window.weight(i, n)).collect();
    let sum: f64 = weights.iter().sum();
    let fft = FftPlanner::new().plan_fft_forward(n);
    let (mut power, mut segments) = (vec![0.0; n / 2 + 1], 0usize);
    let mut buffer = vec![Complex::new(0.0, 0.0); n];
    let advance = if window == Window::Hann { n / 2 } else { n };
    for values in series.iter().filter(|v| v.len() >= n) {
        for segment in values.windows(n).step_by(advance) {
            let mean = segment.iter().sum::<f64>() / n as f64;
            for ((bin, value), weight) in buffer.iter_mut().zip(segment).zip(&weights) {
                *bin = Complex::new((value - mean) * weight, 0.0);
            }
            fft.process(&mut buffer);
            power.iter_mut().zip(&buffer).for_each(|(p, bin)| *p += bin.norm_sqr());
            segments += 1;
        }
    }
    if segments == 0 || power.iter().any(|p| !p.is_finite()) {
        return None;
    }
    let overlap = if window == Window::Hann && segments > 1 { 1.0 + 2.0 / 36.0 } else { 1.0 };
    let amplitude = power.iter().enumerate().map(|(k, p)| {
        let sides = if k == 0 || 2 * k == n { 1.0 } else { 2.0 };
        sides * (p / segments as f64).sqrt() / sum
    });
    Some(Spectrum {
        spacing: 1.0 / (n as f64 * interval),
        amplitude: amplitude.collect(),
        segments,
        worth: segments as f64 / overlap,
        window,
    })
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
        // With Hann's window neighbours share noise: 1.5 bins of it each.
        let width = if self.window == Window::Hann { 1.5 } else { 1.0 };
        let nu = (bins.min(2 * AROUND + 1) as f64 / width / freedom).max(1.0);
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

    /// The spectrum with each amplitude multiplied by a factor that depends on frequency.
    #[must_use]
    pub fn shaped(mut self, factor: impl Fn(f64) -> f64) -> Spectrum {
        let spacing = self.spacing;
        self.amplitude.iter_mut().enumerate().for_each(|(k, a)| *a *= factor(k as f64 * spacing));
        self
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

/// The highest line of values at uneven times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnevenLine {
    /// Cycles per unit of the times.
    pub frequency: f64,
    /// Share of the values' scatter that a sine of this frequency explains, 0 to 1.
    pub power: f64,
    /// Its amplitude.
    pub amplitude: f64,
    /// False-alarm level.
    pub p_false: f64,
}

/// Lomb-Scargle with a floating mean over a band of frequencies, five to each 1/span. `None` with fewer than 8 values,
/// an empty band, values without scatter, or more than [`MOST_TERMS`] to reckon.
pub fn lomb_scargle(times: &[f64], values: &[f64], band: Range<f64>) -> Option<UnevenLine> {
    let n = times.len();
    let all_finite = times.iter().chain(values).all(|v| v.is_finite());
    if n < 8 || values.len() != n || !all_finite || band.start < 0.0 || band.end <= band.start {
        return None;
    }
    let (low, high) =
        times.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &t| (l.min(t), h.max(t)));
    let step = 0.2 / (high - low);
    let count = ((band.end - band.start) / step).ceil();
    if !count.is_finite() || count * n as f64 > MOST_TERMS as f64 {
        return None;
    }
    let middle = times.iter().sum::<f64>() / n as f64;
    let mean = values.iter().sum::<f64>() / n as f64;
    let all: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    if all <= 0.0 {
        return None;
    }
    let at = |frequency: f64| explained(times, values, middle, mean, frequency);
    let mut best = (0.0, 0.0, 0.0);
    for i in 0..=(count as usize) {
        let frequency = band.start + step * i as f64;
        let (power, amplitude) = at(frequency);
        if power > best.1 {
            best = (frequency, power, amplitude);
        }
    }
    // Between the grid's frequencies, by thirds.
    let (mut from, mut to) = (best.0 - step, best.0 + step);
    for _ in 0..40 {
        let third = (to - from) / 3.0;
        if at(from + third).0 < at(to - third).0 { from += third } else { to -= third }
    }
    let frequency = 0.5 * (from + to);
    let (power, amplitude) = at(frequency);
    let best = if power > best.1 { (frequency, power, amplitude) } else { best };
    let z = (best.1 / all).clamp(0.0, 1.0);
    let variance = times.iter().map(|t| (t - middle) * (t - middle)).sum::<f64>() / n as f64;
    // Baluev 2008: single-frequency level, and crossings of it over the band's width.
    let (free, left) = (n as f64 - 1.0, n as f64 - 3.0);
    let single = (1.0 - z).powf(0.5 * left);
    let width = (band.end - band.start) * (4.0 * PI * variance).sqrt();
    let tau = width * (1.0 - z).powf(0.5 * (left - 1.0)) * (0.5 * free * z).sqrt();
    let p_false = 1.0 - (1.0 - single) * (-tau).exp();
    // The difference of near ones loses small levels.
    let p_false = if p_false < 1e-9 { single + tau } else { p_false };
    Some(UnevenLine { frequency: best.0, power: z, amplitude: best.2, p_false: p_false.clamp(0.0, 1.0) })
}

/// Sum of squares that a sine with a floating mean explains, and the sine's amplitude.
fn explained(times: &[f64], values: &[f64], middle: f64, mean: f64, frequency: f64) -> (f64, f64) {
    let n = times.len() as f64;
    let [mut c, mut s, mut cc, mut ss, mut cs, mut yc, mut ys] = [0.0; 7];
    for (t, value) in times.iter().zip(values) {
        let (sin, cos) = (TAU * frequency * (t - middle)).sin_cos();
        let y = value - mean;
        c += cos;
        s += sin;
        cc += cos * cos;
        ss += sin * sin;
        cs += cos * sin;
        yc += y * cos;
        ys += y * sin;
    }
    let (cc, ss, cs) = (cc - c * c / n, ss - s * s / n, cs - c * s / n);
    let det = cc * ss - cs * cs;
    if det <= 1e-12 * n * n {
        return (0.0, 0.0);
    }
    let (a, b) = ((yc * ss - ys * cs) / det, (ys * cc - yc * cs) / det);
    (a * yc + b * ys, a.hypot(b))
}

/// How much later one series is than another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delay {
    /// In samples; positive if the second series is later.
    pub samples: f64,
    /// Correlation at that delay, 1 for the same shape.
    pub correlation: f64,
}

/// Delay of `b` behind `a`, at most `reach` samples either way, by the highest cross-correlation of what both hold below
/// `cutoff` (cycles per sample, at most 0.5). Both are zero outside, so a mean that is not motion must be taken off first;
/// a pulse from rest to rest needs none.
///
/// The correlation's spectrum is known, so it is evaluated between samples as well (trigonometric interpolation) and its
/// maximum is found there: no parabola, whose bias reaches 0.12 sample. Series longer than [`MOST`] are not examined.
/// `None` also without scatter, if a value is not finite, or if the maximum lies at the end of the reach. O(n log n).
pub fn delay(a: &[f64], b: &[f64], reach: usize, cutoff: f64) -> Option<Delay> {
    let longest = a.len().max(b.len());
    if a.len().min(b.len()) < 4 || longest > MOST || reach == 0 || !cutoff.is_finite() {
        return None;
    }
    let n = (longest + reach.min(longest) + 1).next_power_of_two();
    let mut planner = FftPlanner::new();
    let fft = planner.plan_fft_forward(n);
    let spectrum = |values: &[f64]| {
        let mut bins = vec![Complex::new(0.0, 0.0); n];
        bins.iter_mut().zip(values).for_each(|(bin, v)| bin.re = *v);
        fft.process(&mut bins);
        bins
    };
    let (a, b) = (spectrum(a), spectrum(b));
    let top = ((cutoff.clamp(0.0, 0.5) * n as f64) as usize).min(n / 2);
    let weight = |k: usize| if k == 0 || 2 * k == n { 1.0 } else { 2.0 };
    let energy = |bins: &[Complex<f64>]| -> f64 { (0..=top).map(|k| weight(k) * bins[k].norm_sqr()).sum() };
    let norm = (energy(&a) * energy(&b)).sqrt();
    if !norm.is_finite() || norm <= 0.0 {
        return None;
    }
    let cross: Vec<Complex<f64>> = (0..=top).map(|k| a[k].conj() * b[k] * weight(k)).collect();
    let mut lags = vec![Complex::new(0.0, 0.0); n];
    lags[..=top].copy_from_slice(&cross);
    planner.plan_fft_inverse(n).process(&mut lags);
    let reach = reach.min(longest) as isize;
    let at = |lag: isize| lags[lag.rem_euclid(n as isize) as usize].re;
    let best = (-reach..=reach).max_by(|x, y| at(*x).total_cmp(&at(*y)))?;
    if best.abs() == reach {
        return None;
    }
    let value = |lag: f64| -> f64 {
        cross.iter().enumerate().map(|(k, c)| (c * Complex::cis(TAU * k as f64 * lag / n as f64)).re).sum()
    };
    let (mut from, mut to) = (best as f64 - 1.0, best as f64 + 1.0);
    for _ in 0..36 {
        let third = (to - from) / 3.0;
        if value(from + third) < value(to - third) { from += third } else { to -= third }
    }
    let samples = 0.5 * (from + to);
    Some(Delay { samples, correlation: value(samples) / norm })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_xoshiro::Xoshiro256PlusPlus;
    use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

    struct Chance(Xoshiro256PlusPlus);

    impl Chance {
        fn new(seed: u64) -> Chance {
            Chance(Xoshiro256PlusPlus::seed_from_u64(seed))
        }
        fn uniform(&mut self) -> f64 {
            ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        }
        /// Box & Muller 1958.
        fn normal(&mut self) -> f64 {
            (-2.0 * self.uniform().ln()).sqrt() * (TAU * self.uniform()).cos()
        }
        fn noise(&mut self, n: usize) -> Vec<f64> {
            (0..n).map(|_| self.normal()).collect()
        }
    }

    fn sine(n: usize, cycles: f64, amplitude: f64) -> Vec<f64> {
        (0..n).map(|i| amplitude * (TAU * cycles * i as f64 / n as f64 + 0.3).cos()).collect()
    }

    /// 3 cos(2π 5n/64): |X₅| = 96, all else 0, Σ|X|²/64 = 288; so amplitude 3 in bin 5.
    #[test]
    fn a_line_on_a_bin_has_its_amplitude_and_leaves_the_other_bins_empty() {
        let values: Vec<f64> = (0..64).map(|i| 3.0 * (TAU * 5.0 * f64::from(i) / 64.0).cos()).collect();
        let got = of(&values, 1.0, Window::Rectangle).unwrap();
        assert_eq!((got.amplitude.len(), got.segments, got.spacing), (33, 1, 1.0 / 64.0));
        assert!((got.amplitude[5] * 64.0 / 2.0 - 96.0).abs() < 1e-10);
        assert!(got.amplitude.iter().enumerate().all(|(k, a)| k == 5 || a.abs() < 1e-12));
        let both_sides: f64 = got.amplitude.iter().map(|a| 2.0 * (a * 64.0 / 2.0).powi(2)).sum();
        assert!((both_sides / 64.0 - 288.0).abs() < 1e-9, "Parseval: {}", both_sides / 64.0);
        let hann = of(&values, 1.0, Window::Hann).unwrap();
        assert!((hann.amplitude[5] - 3.0).abs() < 1e-12 && (hann.amplitude[4] - 1.5).abs() < 1e-12);
    }

    /// Noise bandwidth n Σw² / (Σw)² of 1.5 bins; half-way between bins a line reads 1.4236 dB low.
    #[test]
    fn hanns_window_has_its_known_noise_bandwidth_and_scalloping() {
        let w: Vec<f64> = (0..64).map(|i| Window::Hann.weight(i, 64)).collect();
        let (sum, squares): (f64, f64) = (w.iter().sum(), w.iter().map(|w| w * w).sum());
        assert!((64.0 * squares / (sum * sum) - 1.5).abs() < 1e-12);
        let decibel = 20.0 * Window::Hann.response(0.5).log10();
        assert!((decibel + 1.4236).abs() < 5e-5, "{decibel}");
        let got = of(&sine(4096, 100.5, 1.0), 1.0, Window::Hann).unwrap();
        assert!((20.0 * got.amplitude[100].log10() + 1.4236).abs() < 1e-3);
    }

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

    /// Astropy 8.0.2 and scipy 1.17.1 both peak at 10.0 for 400 random times.
    #[test]
    fn lomb_scargle_finds_ten_hertz_in_random_times() {
        let mut chance = Chance::new(4);
        let mut times: Vec<f64> = (0..400).map(|_| 10.0 * chance.uniform()).collect();
        times.sort_by(f64::total_cmp);
        let values: Vec<f64> = times.iter().map(|t| 5.0 + 0.7 * (TAU * 10.0 * t).sin()).collect();
        let line = lomb_scargle(&times, &values, 0.0..50.0).unwrap();
        assert!((line.frequency - 10.0).abs() < 1e-4 && (line.power - 1.0).abs() < 1e-6, "{line:?}");
        assert!((line.amplitude - 0.7).abs() < 1e-5 && line.p_false < 1e-12);
    }

    /// The bound may be kept with room to spare, but not broken: at most 17 of 150 (99.9 %) at a level of 0.05.
    #[test]
    fn lomb_scargle_keeps_its_false_alarm_level_on_noise() {
        let mut chance = Chance::new(5);
        let alarms = (0..150).filter(|_| {
            let times: Vec<f64> = (0..60).map(|_| 10.0 * chance.uniform()).collect();
            lomb_scargle(&times, &chance.noise(60), 0.0..10.0).unwrap().p_false < 0.05
        });
        let alarms = alarms.count();
        assert!((1..=17).contains(&alarms), "{alarms} of 150");
    }

    #[test]
    fn white_noise_shifted_by_seventeen_is_seventeen_later() {
        let mut chance = Chance::new(6);
        let a = chance.noise(1000);
        let b: Vec<f64> = chance.noise(17).into_iter().chain(a.iter().copied()).take(1000).collect();
        let got = delay(&a, &b, 100, 0.5).unwrap();
        assert_eq!(got.samples.round(), 17.0);
        assert!((got.samples - 17.0).abs() < 0.02 && got.correlation > 0.95, "{got:?}");
        let back = delay(&b, &a, 100, 0.5).unwrap();
        assert!((back.samples + 17.0).abs() < 0.02);
    }

    /// Gaussian pulses of sigma 1 to 10 samples, apart by a fraction of one: a parabola is off by up to 0.05 sample.
    #[test]
    fn a_delay_between_samples_has_no_bias() {
        for sigma in [1.0, 2.0, 10.0] {
            for shift in [0.0, 0.21, 0.33, 0.5, 3.77, -2.4] {
                let pulse = |at: f64| -> Vec<f64> {
                    (0..300).map(|i| (-0.5 * ((f64::from(i) - at) / sigma).powi(2)).exp()).collect()
                };
                let got = delay(&pulse(150.0), &pulse(150.0 + shift), 50, 0.5).unwrap();
                assert!((got.samples - shift).abs() < 1e-3, "sigma {sigma}, shift {shift}: {got:?}");
            }
        }
    }

    #[test]
    fn what_cannot_be_reckoned_is_none() {
        let flat = [1.0; 100];
        assert!(of(&[], 1.0, Window::Hann).is_none());
        assert!(of(&[f64::NAN; 64], 1.0, Window::Hann).is_none());
        assert!(of(&[f64::MAX; 64], 1.0, Window::Hann).is_none());
        assert!(of(&flat, 0.0, Window::Hann).is_none());
        assert!(of(&flat, 1.0, Window::Hann).unwrap().line(0.0..0.5).is_none());
        assert!(of(&sine(64, 5.0, 1.0), 1.0, Window::Hann).unwrap().line(0.3..0.2).is_none());
        assert!(lomb_scargle(&flat, &flat, 0.0..1.0).is_none());
        assert!(lomb_scargle(&sine(50, 3.0, 1.0), &[f64::INFINITY; 50], 0.0..1.0).is_none());
        assert!(lomb_scargle(&sine(50, 3.0, 1e-9), &sine(50, 3.0, 1.0), 0.0..1e300).is_none());
        assert!(delay(&[0.0; 100], &flat, 10, 0.5).is_none());
        assert!(delay(&[f64::NAN; 100], &flat, 10, 0.5).is_none());
        assert!(delay(&[], &flat, 10, 0.5).is_none());
    }
}
