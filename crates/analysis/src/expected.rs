//! The speed that the hand must have had, where the counts do not say.
//!
//! For one swipe, on a grid of report slots of width h, the expected along-speed v minimises
//!
//! ```text
//! Σ wᵢ (vᵢ − yᵢ)² + λ Σ (Δ²v)ᵢ² + (Σ vᵢ h − D)² / s²
//! ```
//!
//! y: counted speed; w: 1/σ² where counts agree, 0 where they are flagged; D: the travel. The second difference of
//! speed is the jerk, so what fills a hole is the minimum-jerk curve through its edges (Flash & Hogan, J. Neurosci.
//! 5:1688, 1985) with the distance that is missing; sound data are not forced into any shape. The smoother is
//! Whittaker's (1923); λ sets its half-gain at [`CUTOFF`].
//!
//! Assumes one direction of travel. Source of the rank-one correction: Sherman & Morrison 1950. Cost: O(slots) time
//! and memory (a pentadiagonal Cholesky factor).

/// Half-gain frequency of the smoother: a 0.1 s flick has its energy below 20 Hz, tremor of the hand lies at 6-12 Hz.
const CUTOFF: f64 = 40.0;
/// Standard deviation of one slot's distance, in millimetres: quantisation at 800 counts per inch (9 µm), tremor.
const SLOT_NOISE_MM: f64 = 0.02;
/// Standard deviation of a swipe's travel from stop to stop, in millimetres.
const TRAVEL_NOISE_MM: f64 = 0.5;

/// Fits the speed. `counted` holds each slot's distance in millimetres, `trusted` whether it counts; `slot` is the
/// slot's width in seconds, `travel` the distance from stop to stop in millimetres where it is known. `rests` says
/// that the hand came to rest after the last slot, for counts that ended before it did; else either end is free, since
/// a device may arrive at its stop with speed. Returns speeds in mm/s, one a slot.
pub fn speed(counted: &[f64], trusted: &[bool], slot: f64, travel: Option<f64>, rests: bool) -> Vec<f64> {
    let n = counted.len();
    if slot <= 0.0 {
        return vec![0.0; n];
    }
    if trusted.iter().filter(|t| **t).count() < 3 {
        // Nothing to hold a curve by.
        return counted.iter().map(|mm| mm / slot).collect();
    }
    // In distance per slot, so that the weights are plain.
    let weight = 1.0 / (SLOT_NOISE_MM * SLOT_NOISE_MM);
    let lambda = weight / (2.0 * std::f64::consts::PI * CUTOFF * slot).powi(4);
    let mut main = vec![0.0; n];
    let mut first = vec![0.0; n];
    let mut second = vec![0.0; n];
    let mut right = vec![0.0; n];
    for i in 0..n {
        let w = if trusted[i] { weight } else { 0.0 };
        main[i] = w;
        right[i] = w * counted[i];
    }
    // Second differences; those that reach past an end only where rest is known there: zero speed, so it drops out.
    let last = n as isize - if rests { -1 } else { 2 };
    for centre in 1..=last {
        let taps = [(centre - 1, 1.0), (centre, -2.0), (centre + 1, 1.0)];
        for (a, ca) in taps {
            for (b, cb) in taps {
                if a < 0 || b < a || a >= n as isize || b >= n as isize {
                    continue;
                }
                let (a, b) = (a as usize, b as usize);
                match b - a {
                    0 => main[a] += lambda * ca * cb,
                    1 => first[a] += lambda * ca * cb,
                    _ => second[a] += lambda * ca * cb,
                }
            }
        }
    }
    let factor = Factor::new(main, first, second);
    let mut v = factor.solve(right);
    if let Some(travel) = travel {
        let unit = factor.solve(vec![1.0; n]);
        let spare = TRAVEL_NOISE_MM * TRAVEL_NOISE_MM + unit.iter().sum::<f64>();
        let shortfall = travel - v.iter().sum::<f64>();
        v.iter_mut().zip(&unit).for_each(|(v, u)| *v += u * shortfall / spare);
    }
    v.iter().map(|d| d / slot).collect()
}

/// LDLᵀ of a symmetric positive definite pentadiagonal matrix.
struct Factor {
    d: Vec<f64>,
    l1: Vec<f64>,
    l2: Vec<f64>,
}

impl Factor {
    fn new(main: Vec<f64>, first: Vec<f64>, second: Vec<f64>) -> Factor {
        let n = main.len();
        let (mut d, mut l1, mut l2) = (main, first, second);
        for i in 0..n {
            if i >= 1 {
                d[i] -= l1[i - 1] * l1[i - 1] * d[i - 1];
            }
            if i >= 2 {
                d[i] -= l2[i - 2] * l2[i - 2] * d[i - 2];
            }
            if i >= 1 && i + 1 < n {
                l1[i] -= l1[i - 1] * l2[i - 1] * d[i - 1];
            }
            // The matrix is positive definite; this only keeps a rounded zero from dividing.
            d[i] = d[i].max(f64::MIN_POSITIVE);
            l1[i] /= d[i];
            l2[i] /= d[i];
        }
        Factor { d, l1, l2 }
    }

    fn solve(&self, mut b: Vec<f64>) -> Vec<f64> {
        let n = b.len();
        for i in 0..n {
            if i >= 1 {
                b[i] -= self.l1[i - 1] * b[i - 1];
            }
            if i >= 2 {
                b[i] -= self.l2[i - 2] * b[i - 2];
            }
        }
        for i in (0..n).rev() {
            b[i] /= self.d[i];
            if i + 1 < n {
                b[i] -= self.l1[i] * b[i + 1];
            }
            if i + 2 < n {
                b[i] -= self.l2[i] * b[i + 2];
            }
        }
        b
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Distances per slot of a minimum-jerk swipe (Flash & Hogan 1985).
    fn minimum_jerk(travel: f64, slots: usize) -> Vec<f64> {
        let place = |s: f64| travel * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
        (0..slots).map(|i| place((i + 1) as f64 / slots as f64) - place(i as f64 / slots as f64)).collect()
    }

    #[test]
    fn sound_data_are_left_alone() {
        let counted = minimum_jerk(300.0, 180);
        let v = speed(&counted, &[true; 180], 1e-3, Some(300.0), false);
        let peak = v.iter().copied().fold(0.0, f64::max);
        // Peak of minimum jerk: 1.875 × mean speed = 1.875 × 300 mm / 0.18 s.
        assert!((peak / (1.875 * 300.0 / 0.18) - 1.0).abs() < 0.005, "{peak}");
        assert!((v.iter().sum::<f64>() * 1e-3 - 300.0).abs() < 0.2);
    }

    #[test]
    fn a_hole_is_filled_with_the_distance_that_is_missing() {
        for (begin, end) in [(60, 90), (80, 120), (30, 75)] {
            let truth = minimum_jerk(300.0, 180);
            let mut counted = truth.clone();
            let mut trusted = vec![true; 180];
            for i in begin..end {
                counted[i] = 0.0;
                trusted[i] = false;
            }
            let v = speed(&counted, &trusted, 1e-3, Some(300.0), false);
            let missing: f64 = truth[begin..end].iter().sum();
            let filled: f64 = v[begin..end].iter().sum::<f64>() * 1e-3;
            assert!((filled / missing - 1.0).abs() < 0.01, "{filled} of {missing} mm");
        }
    }

    #[test]
    fn counts_that_end_before_the_hand_are_carried_on_to_rest() {
        let truth = minimum_jerk(300.0, 180);
        let mut counted = truth.clone();
        let mut trusted = vec![true; 180];
        counted[80..].fill(0.0);
        trusted[80..].fill(false);
        let v = speed(&counted, &trusted, 1e-3, Some(300.0), true);
        assert!((v.iter().sum::<f64>() * 1e-3 - 300.0).abs() < 1.0);
        assert!(v[179].abs() < 100.0 && v[80..].iter().all(|v| *v > -50.0), "{:?}", &v[170..]);
    }

    #[test]
    fn any_report_interval_gives_the_same_curve() {
        for (slots, slot) in [(1440, 0.125e-3), (360, 0.5e-3), (90, 2e-3)] {
            let v = speed(&minimum_jerk(300.0, slots), &vec![true; slots], slot, None, false);
            let peak = v.iter().copied().fold(0.0, f64::max);
            assert!((peak / 3125.0 - 1.0).abs() < 0.01, "{slots} slots: {peak}");
        }
    }
}
