//! The direction that a phase has for itself, where the device was turned between phases.
//!
//! Someone who lifts a device to press a button of it puts it down again turned by some degrees. All swipes of the next phase
//! then run in another direction of the sensor, and what is projected on the step's lacks 1 − cos, 1.5 % at 10 degrees, and
//! lies aslant. So a phase of [`LEAST`] swipes is judged in its own direction, the median of its swipes', if they agree on it
//! to [`ALIKE`].
//!
//! A sensor that goes aslant at speed gives a phase a direction as well, and no device that was turned does so at speed alone:
//! the first and the last [`PART`] of the way, which are slow at any pace, must lie in it, too ([`TURN`]). What an arc makes of
//! the one it makes of the other the other way, so that it drops out of both together. (Added after sound devices that had been
//! turned by 2.6 to 10 degrees before the fast phase had failed for sideways motion, and lacked the cosine at 10.)
//! Cost: O(reports).

use crate::series::{Frame, Series};
use crate::stats::{mad, median};
use crate::swipes::Swipe;

/// Fewer swipes than this do not tell.
const LEAST: usize = 4;
/// Swipes of a device that lies one way agree to this, across over along: a straight edge leaves a third of it, an arm that
/// reaches the same stop all of it.
const ALIKE: f64 = 0.03;
/// Share of the way, from either end, in which it is slow: up to a third of its peak where speed rises evenly.
const PART: f64 = 0.05;
/// The ends lie in the direction if what they are turned by differs by no more than this share of it, or than [`ALIKE`]: of a
/// device that was turned it is all, where a sensor goes aslant nothing, and half for a hand that strikes the stop at speed.
const TURN: f64 = 0.25;

/// It, of the phase of these swipes, that were found along `frame`; `None` if it has none.
pub(super) fn own(series: &Series, swipes: &[Swipe], frame: Frame) -> Option<Frame> {
    let made = || swipes.iter().filter(|s| s.along > 0.0);
    let slopes: Vec<f64> = made().map(|s| s.across / s.along).collect();
    let centre = median(&slopes).filter(|_| slopes.len() >= LEAST)?;
    let ends: Vec<f64> = made().filter_map(|s| of_ends(series, s, frame)).collect();
    let turned = (median(&ends)? - centre).abs() <= ALIKE.max(TURN * centre.abs());
    (turned && mad(&slopes, centre)? <= ALIKE).then(|| frame.turned(centre))
}

/// Across over along of the first and the last part of a swipe together.
fn of_ends(series: &Series, swipe: &Swipe, frame: Frame) -> Option<f64> {
    let counts = swipe.counts(series.samples.get(swipe.rows.clone())?, frame);
    let all: f64 = counts.iter().map(|c| c.0).sum();
    let (mut place, mut ends) = (0.0, (0.0, 0.0));
    for c in &counts {
        if place < PART * all || place >= (1.0 - PART) * all {
            ends = (ends.0 + c.0, ends.1 + c.1);
        }
        place += c.0;
    }
    (ends.0 > 0.0).then(|| ends.1 / ends.0)
}
