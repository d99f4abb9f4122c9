//! Whether a hand trembles on the device.
//!
//! A hand at rest trembles at 8 to 12 Hz (physiological tremor; from memory), a sensor's noise at any frequency, and a lamp's swing far
//! above. So where of all that the place swings at [`SLOWEST`] and more [`MOSTLY`] lies within [`BAND`], as the power spectrum (Hann) of
//! the places has it, the hand was on the device or on the desk: what that makes is no device's, and what the device made besides is
//! not known.
//! (Added after sound devices, held by a hand that swung by a tenth of a millimetre, had failed for trembling.)
//! Needs a swing of [`LEAST`] root mean square. A device that trembles at that rate itself is left open. Cost: O(n log n).

use super::rest::Rest;
use crate::spectrum::{self, Window};

/// Hertz: those of the tremor, and what a rest of some seconds spreads them to.
const BAND: std::ops::RangeInclusive<f64> = 7.5..=12.5;
/// Slower than this an arm sways and a creep goes.
const SLOWEST: f64 = 3.0;
/// Share of the power.
const MOSTLY: f64 = 0.75;
/// Counts: of less than one rounding makes most.
const LEAST: f64 = 1.0;
/// Grid, seconds, and points of it at least: four seconds.
const INTERVAL: f64 = 0.01;
const POINTS: usize = 400;
/// Bins that the window spreads a line's power over.
const HANN: f64 = 1.5;

/// The frequency at which it trembles most, hertz, if a hand does.
pub(super) fn trembles(rest: &Rest) -> Option<f64> {
    let n = ((rest.seconds / INTERVAL) as usize).min(spectrum::MOST);
    of(rest.sampled(INTERVAL * 1e9, n))
}

/// Likewise of places every [`INTERVAL`], counts.
fn of(places: [Vec<f64>; 2]) -> Option<f64> {
    if places[0].len() < POINTS {
        return None;
    }
    // Frequency and mean square of each bin, on either axis.
    let mut power: Vec<(f64, f64)> = Vec::new();
    for spectrum in places.iter().filter_map(|axis| spectrum::of(axis, INTERVAL, Window::Hann)) {
        let bins = spectrum.amplitude.iter().enumerate();
        power.extend(bins.map(|(i, a)| (i as f64 * spectrum.spacing, 0.5 * a * a / HANN)));
    }
    let swings: f64 = power.iter().filter(|p| p.0 >= SLOWEST).map(|p| p.1).sum();
    let band = || power.iter().filter(|p| BAND.contains(&p.0));
    let own: f64 = band().map(|p| p.1).sum();
    let at = band().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    (own >= LEAST * LEAST && own >= MOSTLY * swings).then_some(at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_swing_of_nine_a_second_is_a_hands_and_others_are_not() {
        let at = |place: &dyn Fn(f64) -> f64| {
            let axis: Vec<f64> = (0..1000).map(|i| place(f64::from(i) * INTERVAL).round()).collect();
            of([axis, vec![0.0; 1000]])
        };
        let swing = |hz: f64, counts: f64| move |t: f64| counts * (TAU * hz * t).sin();
        assert!(at(&swing(9.0, 5.0)).is_some_and(|hz| (hz - 9.0).abs() < 0.3));
        for hz in [4.0, 20.0, 33.0] {
            assert_eq!(at(&swing(hz, 5.0)), None, "{hz}");
        }
        assert_eq!(at(&swing(9.0, 0.6)), None, "of one count");
        assert_eq!(at(&|t| swing(9.0, 5.0)(t) + swing(27.0, 5.0)(t)), None, "another as large");
        // Nothing, a creep of ten counts a second, and what is too short or no number.
        assert_eq!(at(&|_| 0.0), None);
        assert_eq!(at(&|t| 10.0 * t), None);
        assert_eq!(at(&|_| f64::NAN), None);
        assert_eq!(of([vec![1.0; 9], vec![]]), None);
    }
}
