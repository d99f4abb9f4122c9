//! How far reports lie off the smooth speed where a sensor's frames beat against them.
//!
//! A report holds a whole number of frames, and with 1.1 to 2 frames a report (office sensors make 1500 to 6600 a second by
//! their data sheets, at 1000 reports) it holds one time and again half as much or twice as much as the one before. That is
//! no change of speed, and it is alike at any speed; so it is read from slow swipes, in which next to nothing fails at a
//! speed: the share of the smooth speed by which [`MOST`] of their cells lie off at the most, less what rounding and noise
//! make of it anyhow. A sound device whose frames are many has none, and nothing changes for it.
//!
//! (Written after sound sessions of another simulator, with 1.1 to 1.9 frames a report and late stamps, had been told to
//! lose counts: where a late stamp cuts the reports before it, one report's speed is all there is.)
//! Cost: O(reports of the slow swipes).

use crate::ripple::slots::Part;
use crate::stats::quantile;

/// With one frame more or less in n reports one in n lies off; 1.04 frames a report make one in 25, which is 4 %.
const MOST: f64 = 0.97;
/// Rounding at either end of a cell, on two axes, in counts: |cos| + |sin| at the most.
const ROUNDING: f64 = 1.5;
/// Three standard deviations of 2 %, which the bound holds five of (`jump`).
const NOISE: f64 = 0.06;
/// Cells needed.
const LEAST: usize = 100;

/// The share; `each` slots make a cell.
pub(crate) fn share(parts: &[Part], each: usize) -> f64 {
    let each = each.max(1);
    let off = |part: &Part| -> Vec<f64> {
        let counts = part.counts * each as f64;
        let cells = part.relative.chunks_exact(each);
        let mean = cells.map(|c| c.iter().sum::<f64>() / each as f64);
        mean.map(|m| (m.abs() - ROUNDING / counts).max(0.0)).collect()
    };
    let off: Vec<f64> = parts.iter().flat_map(off).filter(|v| v.is_finite()).collect();
    if off.len() < LEAST {
        return 0.0;
    }
    // One frame at the most: more is something else.
    quantile(&off, MOST).map_or(0.0, |most| (most - NOISE).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beat(frames: f64) -> Part {
        let whole = |i: usize| (i as f64 * frames).floor();
        let relative = (0..400).map(|i| (whole(i + 1) - whole(i)) / frames - 1.0).collect();
        Part { relative, counts: 30.0 }
    }

    #[test]
    fn a_frame_more_in_a_report_shows_as_its_share() {
        for (frames, most) in [(1.1, 2.0 / 1.1 - 1.0), (1.5, 1.0 / 3.0), (1.8, 1.0 - 1.0 / 1.8)] {
            let got = share(&[beat(frames)], 1);
            assert!((got - (most - ROUNDING / 30.0 - NOISE)).abs() < 1e-9, "{frames}: {got}");
        }
    }

    #[test]
    fn rounding_and_noise_are_none_and_neither_is_too_little() {
        let rounded = |i: usize| ((i as f64 * 30.3).floor() - ((i as f64 - 1.0) * 30.3).floor()) / 30.3 - 1.0;
        let part = Part { relative: (1..400).map(rounded).collect(), counts: 30.3 };
        assert_eq!(share(&[part], 1), 0.0);
        assert_eq!(share(&[Part { relative: vec![0.9; 20], counts: 30.0 }], 1), 0.0);
        assert_eq!(share(&[Part { relative: vec![f64::NAN; 400], counts: f64::NAN }], 0), 0.0);
    }

    #[test]
    fn frames_many_to_a_report_leave_none() {
        assert!(share(&[beat(6.4)], 1) < 0.06);
    }
}
