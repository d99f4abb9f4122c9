//! How much later one series is than another, by cross-correlation.

use super::MOST;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use std::f64::consts::TAU;

/// How much later one series is than another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delay {
    /// In samples; positive if the second series is later.
    pub samples: f64,
    /// Correlation at that delay, 1 for the same shape.
    pub correlation: f64,
    /// Standard uncertainty of the delay in samples, by what is left of the second series that the shifted first one does not
    /// explain.
    pub uncertainty: f64,
}

/// Delay of `b` behind `a`, at most `reach` samples either way, by the highest cross-correlation of what both hold below
/// `cutoff` (cycles per sample, at most 0.5). Both are zero outside, so a mean that is not motion must be taken off first;
/// a pulse from rest to rest needs none.
///
/// The correlation's spectrum is known, so it is evaluated between samples as well (trigonometric interpolation) and its
/// maximum is found there: no parabola, whose bias reaches 0.12 sample. Series longer than [`MOST`] are not examined.
/// `None` also without scatter, if a value is not finite, or if the maximum lies at the end of the reach. O(n log n).
///
/// *Uncertainty*: the delay is where the slopes s_k = ω_k Im(A_k* B_k e^(iω_k d)) of all frequencies add up to nothing. Were
/// `b` the shifted `a` each would be nothing; what they are is noise, so the variance of d is Σ s_k² over the square of the
/// curvature Σ ω_k² Re(A_k* B_k e^(iω_k d)) (the sandwich of Huber 1967): no model of the noise is needed, but that it is
/// independent from frequency to frequency. It is there only while something moves, so that values of the padded transform
/// are n / m times as dense as independent ones, with m the samples between the first and the last that move.
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
    let moving = moving(a).max(moving(b));
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
    let (mut scatter, mut curvature) = (0.0, 0.0);
    for (k, c) in cross.iter().enumerate() {
        let omega = TAU * k as f64 / n as f64;
        let turned = c * Complex::cis(omega * samples);
        scatter += (omega * turned.im).powi(2);
        curvature += omega * omega * turned.re;
    }
    let uncertainty = (scatter * n as f64 / moving.max(1) as f64).sqrt() / curvature;
    Some(Delay { samples, correlation: value(samples) / norm, uncertainty })
}

/// Samples from the first to the last that are not zero.
fn moving(values: &[f64]) -> usize {
    let first = values.iter().position(|v| *v != 0.0);
    let last = values.iter().rposition(|v| *v != 0.0);
    first.zip(last).map_or(0, |(first, last)| last - first + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::chance::Chance;

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

    /// A pulse in noise, 400 times: scatter of the delays against what each says of itself. Without noise
    /// there is nothing to say.
    #[test]
    fn a_delay_says_how_sure_it_is() {
        let mut chance = Chance::new(7);
        let pulse: Vec<f64> =
            (0..300).map(|i| (-0.5 * ((f64::from(i) - 150.0) / 10.0).powi(2)).exp()).collect();
        for size in [0.003, 0.03] {
            let (mut errors, mut told) = (0.0, 0.0);
            for _ in 0..400 {
                let b: Vec<f64> = pulse.iter().zip(chance.noise(300)).map(|(v, n)| v + size * n).collect();
                let got = delay(&pulse, &b, 50, 0.1).unwrap();
                errors += got.samples.powi(2);
                told += got.uncertainty.powi(2);
            }
            let ratio = (errors / told).sqrt();
            assert!((0.8..1.25).contains(&ratio), "noise {size}: {ratio}");
        }
        assert!(delay(&pulse, &pulse, 50, 0.1).unwrap().uncertainty < 1e-5);
    }

    #[test]
    fn what_cannot_be_reckoned_is_none() {
        assert!(delay(&[0.0; 100], &[1.0; 100], 10, 0.5).is_none());
        assert!(delay(&[f64::NAN; 100], &[1.0; 100], 10, 0.5).is_none());
        assert!(delay(&[], &[1.0; 100], 10, 0.5).is_none());
    }
}
