//! How far reports lie off the smooth speed where a sensor's frames beat against them.
//!
//! A report holds a whole number of frames, and with 1.1 to 2 frames a report (office sensors make 1500 to 6600 a second by
//! their data sheets, at 1000 reports) it holds one time and again half as much or twice as much as the one before. That is
//! no change of speed, and it is alike at any speed; so it is read from slow swipes, in which next to nothing fails at a
//! speed: the share of the smooth speed by which [`MOST`] of their cells lie off at the most, less what rounding and noise
//! make of it anyhow. A sound device whose frames are many has none, and nothing changes for it.
//!
//! Frames nearly whole in number to a report beat so seldom that fewer cells show it ([`seldom`]): of 990 frames a second and 500 reports
//! one report in fifty holds one frame and all others two. Such cells lie off all alike, to one side, by one frame in k, and k frames in
//! a report are as many a second as sensors make. (Added after sound devices of 985 to 1,995 frames a second had been told to lose track
//! in each fast swipe, of which no counts were missing.)
//!
//! (Written after sound sessions of another simulator, with 1.1 to 1.9 frames a report and late stamps, had been told to
//! lose counts: where a late stamp cuts the reports before it, one report's speed is all there is.)
//! Cost: O(reports of the slow swipes).

use crate::ripple::slots::Part;
use crate::stats::{median, quantile};

/// With one frame more or less in n reports one in n lies off; 1.04 frames a report make one in 25, which is 4 %.
const MOST: f64 = 0.97;
/// Rounding at either end of a cell, on two axes, in counts: |cos| + |sin| at the most.
const ROUNDING: f64 = 1.5;
/// Where cells hold so few counts that this may hide a frame, and yet scatter with so many times the variance that rounding and noise
/// make, it is the frames that do; then little more than one standard deviation of the rounding is taken off, counts. (Added after
/// sound devices of 1,380 to 1,700 frames a second at 400 counts an inch, whose slow reports hold five counts, had failed for partial
/// losses of one frame in two reports.)
const PLAIN: f64 = 4.0;
const ROUNDING_SEEN: f64 = 0.5;
/// Variance of the rounding at two ends, in any direction, counts².
const ROUNDED: f64 = 1.0 / 6.0;
/// Three standard deviations of 2 %, which the bound holds five of (`jump`).
const NOISE: f64 = 0.06;
/// Cells needed.
const LEAST: usize = 100;
/// Cells that seldom beats show.
const LEAST_SELDOM: usize = 5;
/// They lie off by more than noise ever does: five standard deviations of 2 %, and of what is due as much.
const OFF: f64 = 0.15;
/// And by one size: most of them within this share of their median, and that within it of one frame in k.
const ONE_SIZE: f64 = 0.2;
const NEARLY_ALL: f64 = 0.8;
/// No sensor makes fewer frames a second: data sheets say 1,500 and more, some 1,000 (common practice, no source).
const SLOWEST: f64 = 900.0;

/// The share; `each` slots of so many nanoseconds make a cell.
pub(crate) fn share(parts: &[Part], each: usize, slot: f64) -> f64 {
    let each = each.max(1);
    let cells = |part: &Part| -> Vec<(f64, f64)> {
        let counts = part.counts * each as f64;
        part.relative.chunks_exact(each).map(|c| (c.iter().sum::<f64>() / each as f64, counts)).collect()
    };
    let all: Vec<(f64, f64)> =
        parts.iter().flat_map(cells).filter(|c| c.0.is_finite() && c.1 > 0.0).collect();
    let scatter: f64 = all.iter().map(|(m, _)| m * m).sum();
    let anyhow: f64 = all.iter().map(|(_, counts)| ROUNDED / (counts * counts) + (NOISE / 3.0).powi(2)).sum();
    // In reports of many counts the most that rounding makes hides no frame.
    let few =
        median(&all.iter().map(|c| c.1).collect::<Vec<f64>>()).is_some_and(|counts| counts * OFF < ROUNDING);
    let rounding = if few && scatter > PLAIN * anyhow { ROUNDING_SEEN } else { ROUNDING };
    let less = |(m, counts): &(f64, f64)| m.signum() * (m.abs() - rounding / counts).max(0.0);
    let off: Vec<f64> = all.iter().map(less).collect();
    if off.len() < LEAST {
        return 0.0;
    }
    let sizes: Vec<f64> = off.iter().map(|m| m.abs()).collect();
    // One frame at the most: more is something else.
    let often = quantile(&sizes, MOST).map_or(0.0, |most| (most - NOISE).clamp(0.0, 1.0));
    if often > NOISE { often } else { seldom(&off, each as f64 * slot).unwrap_or(often) }
}

/// The share of one frame in k that seldom is missing, or on top, in cells of so many nanoseconds.
fn seldom(off: &[f64], cell: f64) -> Option<f64> {
    let far: Vec<f64> = off.iter().copied().filter(|m| m.abs() > OFF).collect();
    let size = median(&far).filter(|_| far.len() >= LEAST_SELDOM)?;
    let frames = (1.0 / size.abs()).round();
    let alike = |m: &&f64| (**m / size - 1.0).abs() <= ONE_SIZE;
    let of_one_size = far.iter().filter(alike).count() as f64 >= NEARLY_ALL * far.len() as f64;
    let one_in_k = (size.abs() * frames - 1.0).abs() <= ONE_SIZE;
    let made = frames >= 2.0 && frames / (cell * 1e-9) >= SLOWEST;
    (of_one_size && one_in_k && made).then_some(size.abs())
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
            let got = share(&[beat(frames)], 1, 1e6);
            assert!((got - (most - ROUNDING / 30.0 - NOISE)).abs() < 1e-9, "{frames}: {got}");
            let few = Part { counts: 4.7, ..beat(frames) };
            assert!((share(&[few], 1, 1e6) - (most - ROUNDING_SEEN / 4.7 - NOISE)).abs() < 1e-9, "{frames}");
        }
    }

    #[test]
    fn rounding_and_noise_are_none_and_neither_is_too_little() {
        let rounded = |i: usize| ((i as f64 * 30.3).floor() - ((i as f64 - 1.0) * 30.3).floor()) / 30.3 - 1.0;
        let part = Part { relative: (1..400).map(rounded).collect(), counts: 30.3 };
        assert_eq!(share(&[part], 1, 1e6), 0.0);
        let rounded = |i: usize| ((i as f64 * 3.3).floor() - ((i as f64 - 1.0) * 3.3).floor()) / 3.3 - 1.0;
        let part = Part { relative: (1..400).map(rounded).collect(), counts: 3.3 };
        assert_eq!(share(&[part], 1, 1e6), 0.0);
        assert_eq!(share(&[Part { relative: vec![0.9; 20], counts: 30.0 }], 1, 1e6), 0.0);
        assert_eq!(share(&[Part { relative: vec![f64::NAN; 400], counts: f64::NAN }], 0, f64::NAN), 0.0);
    }

    #[test]
    fn a_frame_less_in_one_report_of_fifty_shows_and_what_no_sensor_makes_does_not() {
        let of = |frames: f64, slot: f64| share(&[beat(frames)], 1, slot);
        assert!((of(1.98, 2e6) - 0.45).abs() < 0.06, "{}", of(1.98, 2e6));
        assert!((of(2.98, 2e6) - 0.28).abs() < 0.06, "{}", of(2.98, 2e6));
        // 250 frames a second; and one frame in each report, but for one in fifty that tells two, may be one told twice.
        assert_eq!(of(1.98, 8e6), 0.0);
        assert_eq!(of(1.02, 1e6), 0.0);
        // Halves that come with others of any size are no frames.
        let any = |i: usize| if i.is_multiple_of(50) { -0.9 * (i as f64 / 400.0) } else { 0.0 };
        let part = Part { relative: (0..400).map(any).collect(), counts: 30.0 };
        assert_eq!(share(&[part], 1, 1e6), 0.0);
    }

    #[test]
    fn frames_many_to_a_report_leave_none() {
        assert!(share(&[beat(6.4)], 1, 1e6) < 0.06);
    }
}
