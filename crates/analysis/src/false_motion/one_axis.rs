//! Motion across a swipe that is one axis of the sensor gone blind, and no motion that nobody made.
//!
//! A swipe that runs askew to the sensor's axes counts on both. Where one of them stops, what the other goes on to count
//! points along that axis, and so aside of the swipe. So a stretch of sideways motion is a loss if, in the sensor's axes, one
//! holds no more than [`GONE`] of what is expected of it and the other one [`KEEPS`] and more of its own, and no more than
//! may be; both with [`DUE`] counts and more. Motion that nobody made points anywhere.
//!
//! Not told: swipes within [`ASKEW`] of an axis, of which the other one holds too little. Cost: O(reports of stretches).

use crate::erratic::Wrong;
use crate::step::{PhaseView, SwipeView};

/// An axis that has gone blind holds no more of what is due: it may stop within the stretch's first and last report.
const GONE: f64 = 0.2;
/// What the other one holds of its own: what is expected there is known to a third, as it was made through a hole.
const KEEPS: (f64, f64) = (0.67, 1.5);
/// Cosine of the angle between swipe and axis: 14 degrees.
const ASKEW: f64 = 0.25;
/// Counts that must be due.
const DUE: f64 = 10.0;

/// Calls such stretches a loss of one axis.
pub fn rename(phases: &mut [PhaseView], counts_per_mm: f64) {
    for PhaseView { series, swipes, frame, .. } in phases {
        let Some(frame) = frame.filter(|frame| frame.cos.abs().min(frame.sin.abs()) >= ASKEW) else {
            continue;
        };
        for SwipeView { grid, stretches, .. } in swipes {
            for stretch in stretches.iter_mut().filter(|s| s.wrong == Wrong::Sideways) {
                let Some((expected, counted)) = grid.over(series, &stretch.rows) else { continue };
                let x = (expected * frame.cos, counted.0 * frame.cos - counted.1 * frame.sin);
                let y = (expected * frame.sin, counted.0 * frame.sin + counted.1 * frame.cos);
                if is_blind(x, y, counts_per_mm) || is_blind(y, x, counts_per_mm) {
                    stretch.wrong = Wrong::OneAxis;
                }
            }
        }
    }
}

/// True if the first axis, given by what is expected of it and what it has counted, is gone and the other one is not.
fn is_blind(gone: (f64, f64), other: (f64, f64), counts_per_mm: f64) -> bool {
    let share = |(expected, counted): (f64, f64)| counted / expected;
    let due = |(expected, _): (f64, f64)| expected.abs() * counts_per_mm >= DUE;
    due(gone) && due(other) && share(gone).abs() <= GONE && (KEEPS.0..=KEEPS.1).contains(&share(other))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_is_blind_if_the_other_one_goes_on() {
        assert!(is_blind((20.0, 1.0), (-15.0, -16.0), 10.0));
        assert!(!is_blind((20.0, 10.0), (-15.0, -16.0), 10.0), "half of it is there");
        assert!(!is_blind((20.0, 1.0), (-15.0, 16.0), 10.0), "the other one runs back");
        assert!(!is_blind((20.0, 1.0), (-15.0, -40.0), 10.0), "and here it runs away");
        assert!(!is_blind((0.5, 0.0), (20.0, 20.0), 10.0), "too little is due");
    }
}
