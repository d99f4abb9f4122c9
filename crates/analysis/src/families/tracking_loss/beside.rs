//! Where counts end at speed, and a reference device on the same carriage says whether the hand went on.
//!
//! After the device's last counts the reference moves on by some share of what it moved in the swipe before them. Less than
//! [`HALF`] of what the device is said to lack: the carriage had met the stop, and what is missing was not lost there. The
//! reference's own scale and direction cancel. (Added after a gain that fell with speed had been told as counts that end at the stop,
//! in 58 of 60 swipes, though the reference's ended in the same millisecond.) Cost: O(reports of the reference in the swipe).

use crate::silence::Silence;
use crate::step::{StepView, SwipeView};

/// Share of what is missing that the reference must have moved.
const HALF: f64 = 0.5;
/// The hand has made what is missing within this, nanoseconds; from a stop it does not set out again sooner.
const LONGEST: i64 = 100_000_000;

/// True if the reference stood still where the device's counts ended.
pub(super) fn has_stopped(step: &StepView, view: &SwipeView, silence: &Silence) -> bool {
    let (Some(reference), Some(scale)) = (step.reference, step.scale) else { return false };
    let motion = &reference.motion;
    let times = motion.received_ns.as_slice().unwrap_or_default();
    let moved = |from: i64, to: i64| {
        let rows = times.partition_point(|t| *t <= from)..times.partition_point(|t| *t <= to);
        let counts = |row: usize| Some((f64::from(*motion.x.get(row)?), f64::from(*motion.y.get(row)?)));
        rows.filter_map(counts)
    };
    let sum = |(a, b): (f64, f64), (x, y): (f64, f64)| (a + x, b + y);
    let before = moved(view.swipe.begin.saturating_sub(LONGEST), silence.begin).fold((0.0, 0.0), sum);
    let length = before.0.hypot(before.1);
    if length < 1.0 || view.swipe.along <= 0.0 {
        return false;
    }
    let mut place = (0.0, 0.0);
    let further = moved(silence.begin, silence.begin.saturating_add(LONGEST)).map(|step| {
        place = sum(place, step);
        (place.0 * before.0 + place.1 * before.1) / length
    });
    let share = further.fold(0.0, f64::max) / length;
    share * view.swipe.along < HALF * silence.missing_mm * scale.counts_per_mm
}
