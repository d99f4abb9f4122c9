//! How long each swipe is: the displacement between the places where the device rested.
//!
//! The place of a rest is where the device was for half of its time on either side, so that bounces and taps cancel. A swipe
//! is found where it moves at more than 10 mm/s; a hand that feels for the stop, or leaves it, does so slower. What goes on
//! in the swipe's direction from its end, by [`CREEP`] of the travel in [`LINGERS`] and more, is its *tail*, and likewise
//! before its begin its *head*: both belong to it, and the rest is what lies between. Where nothing does, the device
//! turned round there. (Added after two outside hands that crept the last 3 to 15 mm of slow swipes at 4 to 12 mm/s had been seen to make
//! sound devices fail for their gain.) Cost: O(reports).

use super::Swipe;
use crate::series::{Frame, Sample, Series};

/// What belongs to a swipe of the rest around it: half of it, and no more than this.
const AROUND: i64 = 500_000_000;
/// Share of the travel in a time, nanoseconds: 0.3 mm of 300 in 0.25 s, 1.2 mm/s. A body that settles at a stop makes less.
const CREEP: f64 = 0.001;
const LINGERS: i64 = 250_000_000;

/// Measures the swipes of a phase. `places`: along before each sample, and after the last.
pub(super) fn measure(series: &Series, frame: Frame, places: &[f64], swipes: &mut [Swipe]) {
    let samples = &series.samples;
    let middle = |a: i64, b: i64| a + (b - a) / 2;
    let spans = whole(samples, places, swipes);
    for (i, swipe) in swipes.iter_mut().enumerate() {
        let (begin, end) = spans[i];
        let last = i.checked_sub(1).and_then(|j| spans.get(j)).map(|e| e.1);
        let next = spans.get(i + 1).map(|e| e.0);
        let before = last.map_or(i64::MIN, |end| middle(end, begin));
        let after = next.map_or(i64::MAX, |begin| middle(end, begin));
        let from = samples.partition_point(|s| s.t < before.max(begin - AROUND)).min(swipe.rows.start);
        let to = samples.partition_point(|s| s.t < after.min(end + AROUND)).max(swipe.rows.end);
        // A rest that both its swipes see whole is one place to both; of a longer one each sees its own end.
        let near = |at: i64, other: i64| at.abs_diff(other) <= 2 * AROUND.unsigned_abs();
        let since = last.filter(|&end| near(begin, end)).unwrap_or(begin - AROUND);
        let until = next.filter(|&begin| near(end, begin)).unwrap_or(end + AROUND);
        let began = rested(samples, places, (since, begin)).unwrap_or(places[from]);
        let ended = rested(samples, places, (end, until)).unwrap_or(places[to]);
        swipe.along = swipe.sign() * (ended - began);
        swipe.across = swipe.sign() * samples[from..to].iter().map(|s| frame.of(s).1).sum::<f64>();
    }
}

/// Begin and end of each swipe with its head and tail.
fn whole(samples: &[Sample], places: &[f64], swipes: &[Swipe]) -> Vec<(i64, i64)> {
    let mut spans: Vec<(i64, i64)> = swipes.iter().map(|s| (s.begin, s.end)).collect();
    for (i, swipe) in swipes.iter().enumerate() {
        let creep = CREEP * swipe.one_travel;
        let sign = swipe.sign();
        // Up to where the next swipe's own head begins, if the device turned round there.
        let free = swipe.rows.end..swipes.get(i + 1).map_or(samples.len(), |next| next.rows.start);
        let tail = free.map(|row| (samples[row].t, sign * places[row + 1]));
        spans[i].1 = lingers((swipe.end, sign * places[swipe.rows.end]), tail, creep);
        let free = i.checked_sub(1).map_or(0, |last| swipes[last].rows.end)..swipe.rows.start;
        let head = free.rev().map(|row| (-samples[row].t, -sign * places[row]));
        spans[i].0 = -lingers((-swipe.begin, -sign * places[swipe.rows.start]), head, creep);
    }
    for i in 1..spans.len() {
        if spans[i].0 < spans[i - 1].1 {
            // No rest between: it is where the tail ends.
            spans[i].0 = spans[i - 1].1;
        }
    }
    spans
}

/// Until when motion goes on from a time and a place, of which both rise.
fn lingers(from: (i64, f64), motion: impl Iterator<Item = (i64, f64)>, creep: f64) -> i64 {
    let (mut time, mut reached) = from;
    for (t, place) in motion {
        if t.saturating_sub(time) > LINGERS {
            break;
        }
        if place - reached >= creep {
            (time, reached) = (t, place);
        }
    }
    time
}

/// The place where a device was for the most of a rest: half of the time on either side of it. A tap with which a hand puts
/// it right, or a hand that is not quiet, moves the place at any one instant, and the middle of the rest is no better than
/// others. (Added after an outside hand that taps had been seen to make swipes short by the tap.)
fn rested(samples: &[Sample], places: &[f64], (since, until): (i64, i64)) -> Option<f64> {
    let first = samples.partition_point(|s| s.t <= since);
    let end = samples.partition_point(|s| s.t < until).max(first);
    let times = samples.get(first..end)?.iter().map(|s| s.t);
    let begins: Vec<i64> = std::iter::once(since).chain(times).chain([until]).collect();
    let held = begins.windows(2).map(|w| w[1].saturating_sub(w[0]));
    let mut held: Vec<(f64, i64)> = places.get(first..=end)?.iter().copied().zip(held).collect();
    held.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = until.saturating_sub(since) / 2;
    let mut time = 0i64;
    held.iter()
        .find(|(_, t)| {
            time = time.saturating_add(*t);
            time >= half
        })
        .map(|h| h.0)
}
