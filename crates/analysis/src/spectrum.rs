//! Lines in noise and delays, by Fourier's transform. Knows nothing of pointing devices.
//!
//! - [`averaged`]: amplitude spectrum of evenly sampled series. A line of amplitude A stands as A, whatever the window:
//!   A_k = 2 |X_k| / Σw. Long series are cut into segments that overlap by half and whose powers are averaged (Welch
//!   1967), so memory is that of one segment, at most [`MOST`] samples.
//! - [`Spectrum::line`]: the highest line of a band, its frequency and amplitude between bins (exact for one line in
//!   Hann's window: δ = (2α − 1)/(α + 1) of the two highest bins' ratio α; Grandke 1983, from memory), and its
//!   *false-alarm level*: the chance that noise alone shows a line so high in any of the bins looked at.
//! - [`lomb_scargle`]: the same for uneven times, O(times × frequencies), bounded by [`MOST_TERMS`].
//! - [`mod@delay`]: how much later one series is than another, by cross-correlation.

#[cfg(test)]
pub(crate) mod chance;
mod delay;
mod line;
mod uneven;

pub use delay::{Delay, delay};
pub use line::Line;
pub use uneven::{MOST_TERMS, UnevenLine, lomb_scargle};

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use std::f64::consts::{PI, TAU};

/// Longest transform, in samples: 1 MB of complex numbers. Longer series are cut into segments.
pub const MOST: usize = 1 << 16;

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

/// The longest segment, a power of two from `length.0` to `length.1`, of which some series hold so many; `length.0` if none does.
pub fn length_for(series: &[&[f64]], segments: usize, length: (usize, usize)) -> usize {
    let held = |n: usize| -> usize {
        series.iter().filter(|v| v.len() >= n).map(|v| (v.len() - n) / (n / 2).max(1) + 1).sum()
    };
    let lengths = std::iter::successors(Some(length.0), |n| (*n < length.1).then_some(n * 2));
    lengths.take_while(|n| held(*n) >= segments).last().unwrap_or(length.0)
}

impl Spectrum {
    /// The mean of some spectra of one length, each weighted by one over its own noise (the median of its power in a band), so
    /// that a noisy one does not drown the rest; with what each counted for, of 1. `None` without noise to weigh by.
    pub fn weighted(each: &[Spectrum], band: std::ops::Range<f64>) -> Option<(Spectrum, Vec<f64>)> {
        let first = each.first()?;
        let bin = |f: f64| (f / first.spacing).max(0.0) as usize;
        let noise = |s: &Spectrum| -> Option<f64> {
            let own = s.amplitude.get(bin(band.start)..bin(band.end).min(s.amplitude.len()))?;
            crate::stats::median(&own.iter().map(|a| a * a).collect::<Vec<_>>()).filter(|n| *n > 0.0)
        };
        let weights: Option<Vec<f64>> = each.iter().map(|s| Some(s.worth / noise(s)?)).collect();
        let weights = weights?;
        let sum: f64 = weights.iter().sum();
        let weights: Vec<f64> = weights.into_iter().map(|w| w / sum).collect();
        if !sum.is_finite() || each.iter().any(|s| s.amplitude.len() != first.amplitude.len()) {
            return None;
        }
        let mut power = vec![0.0; first.amplitude.len()];
        for (s, w) in each.iter().zip(&weights) {
            power.iter_mut().zip(&s.amplitude).for_each(|(p, a)| *p += w * a * a);
        }
        let squares: f64 = each.iter().zip(&weights).map(|(s, w)| w * w / s.worth).sum();
        let mean = Spectrum {
            spacing: first.spacing,
            amplitude: power.into_iter().map(f64::sqrt).collect(),
            segments: each.iter().map(|s| s.segments).sum(),
            worth: 1.0 / squares,
            window: first.window,
        };
        Some((mean, weights))
    }

    /// The spectrum with each amplitude multiplied by a factor that depends on frequency.
    #[must_use]
    pub fn shaped(mut self, factor: impl Fn(f64) -> f64) -> Spectrum {
        let spacing = self.spacing;
        self.amplitude.iter_mut().enumerate().for_each(|(k, a)| *a *= factor(k as f64 * spacing));
        self
    }
}

#[cfg(test)]
mod tests {
    use super::chance::sine;
    use super::*;

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
    fn what_has_no_spectrum_is_none() {
        assert!(of(&[], 1.0, Window::Hann).is_none());
        assert!(of(&[f64::NAN; 64], 1.0, Window::Hann).is_none());
        assert!(of(&[f64::MAX; 64], 1.0, Window::Hann).is_none());
        assert!(of(&[1.0; 100], 0.0, Window::Hann).is_none());
    }
}
