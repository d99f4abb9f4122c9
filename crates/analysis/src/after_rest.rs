//! Motion that sets in again after the device had come to rest at the stop.
//!
//! A swipe ends where the device has rested for [`REST_NS`]; what runs on in its direction after that, beyond where it had
//! been, by [`LEAST_MM`] and at more than [`FAST`], and stays, no body can have made that lies against the stop. One that does
//! not can: a hand that stopped short goes on to the stop in the end. Then the motion is as long as the way that was left,
//! so that over the swipes of a phase each millimetre more of it goes with one less before it; where the device makes it,
//! the way before it is the same. The slope between the two tells, cut half way ([`OPERATOR`]); motion that is as long in
//! every swipe as no hand's aim is ([`AS_LONG`]) needs no slope.
//!
//! Assumes hard stops. What comes back to where the device had been is a bounce's or a tap's, and what comes more than
//! [`LATEST_NS`] after the stop may be the hand that leaves it. Cost: O(reports).

use crate::after_stop::FAST;
use crate::series::{Frame, Sample};
use crate::step::{PhaseView, StepView};
use crate::swipes::AT_STOP;

/// So long a rest ends a swipe: no hand that brakes is at less than [`REST_MM_S`] for as long on its way.
const REST_NS: i64 = 30_000_000;
/// What is slower rests, mm/s: as in [`crate::swipes`].
const REST_MM_S: f64 = 10.0;
/// Motion after the rest that is worth naming, mm: what a swipe's length has to differ by ([`crate::shortfall`]).
const LEAST_MM: f64 = 2.0;
/// After the stop, nanoseconds: a hand dwells there for 0.3 s and more, as the guide asks.
const LATEST_NS: i64 = 500_000_000;
/// Slope of the way before the rest on the motion after it: -1 of a hand that stopped short, 0 of a device.
const OPERATOR: f64 = -0.5;
/// Spread over mean of what a hand stops short by is more than this (common practice, no source).
const AS_LONG: f64 = 0.2;
/// Swipes that tell a slope.
const LEAST_SWIPES: usize = 4;

/// Motion after a rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Later {
    /// The swipe, by its place in the phase.
    pub swipe: usize,
    /// Last report before the rest.
    pub rest: i64,
    /// Begin of the motion: where a twentieth of it is made.
    pub begin: i64,
    /// End of the motion.
    pub end: i64,
    /// Its counts, in the direction of the swipe.
    pub counts: f64,
}

/// Counts of a swipe up to its rest, and what came after.
struct Ended {
    before: f64,
    later: Option<Later>,
}

/// All such motion in a phase that is the device's.
pub fn of_phase(step: &StepView, phase: &PhaseView) -> Vec<Later> {
    let (Some(frame), Some(scale)) = (step.frame, step.scale) else { return Vec::new() };
    let ended: Vec<Ended> =
        (0..phase.swipes.len()).filter_map(|i| ended(phase, i, frame, scale.counts_per_mm)).collect();
    let found: Vec<Later> = ended.iter().filter_map(|e| e.later).collect();
    if found.is_empty() || ended.len() < LEAST_SWIPES || by_operator(&ended) {
        return Vec::new();
    }
    found
}

/// True if the motion after the rest makes up for what the swipes lacked before it.
fn by_operator(ended: &[Ended]) -> bool {
    let n = ended.len() as f64;
    let after = |e: &Ended| e.later.map_or(0.0, |l| l.counts);
    let mean = |of: &dyn Fn(&Ended) -> f64| ended.iter().map(of).sum::<f64>() / n;
    let (before, later) = (mean(&|e| e.before), mean(&after));
    let spread = mean(&|e| (after(e) - later).powi(2));
    let both = mean(&|e| (after(e) - later) * (e.before - before));
    spread > (AS_LONG * later).powi(2) && both < OPERATOR * spread
}

/// Where a swipe first rested near its stop, and what it did until the next one.
fn ended(phase: &PhaseView, index: usize, frame: Frame, per_mm: f64) -> Option<Ended> {
    let swipe = &phase.swipes.get(index)?.swipe;
    let next = phase.swipes.get(index + 1).map(|s| s.swipe.rows.start);
    let samples = phase.series.samples.get(swipe.rows.start..next.unwrap_or(phase.series.samples.len()))?;
    let mut place = 0.0;
    let places: Vec<f64> = swipe
        .along(samples, frame)
        .iter()
        .map(|c| {
            place += c;
            place
        })
        .collect();
    let still = REST_MM_S * per_mm * REST_NS as f64 * 1e-9;
    let rest = last_of_rest(samples, &places, AT_STOP * swipe.one_travel, still)?;
    let reached = places.get(..=rest)?.iter().copied().fold(f64::MIN, f64::max);
    let since = samples.get(rest)?.t;
    let last = samples.partition_point(|s| s.t <= since.saturating_add(LATEST_NS)).checked_sub(1)?;
    let furthest = (rest..=last).max_by(|a, b| places[*a].total_cmp(&places[*b]))?;
    let counts = places[furthest] - reached;
    let at = |share: f64| (rest..=furthest).find(|row| places[*row] >= reached + share * counts);
    let later = at(0.05).zip(at(0.95)).and_then(|(first, most)| {
        let (begin, end) = (samples[first].t, samples[most].t);
        // The first report holds what was made since the one before it.
        let seconds = 1e-9 * end.saturating_sub(begin).max(1_000_000) as f64;
        let fast = 0.9 * counts / seconds > FAST * 1e3 * per_mm;
        let stays = places[last] - reached > 0.5 * counts;
        let waited = begin.saturating_sub(since) >= REST_NS;
        (counts >= LEAST_MM * per_mm && fast && stays && waited).then_some(Later {
            swipe: index,
            rest: since,
            begin,
            end,
            counts,
        })
    });
    Some(Ended { before: places[rest], later })
}

/// The last row of those that rest, from the first beyond a place on: a hand that brakes creeps to the stop in its rest.
fn last_of_rest(samples: &[Sample], places: &[f64], beyond: f64, still: f64) -> Option<usize> {
    let rests = |row: &usize| {
        let until = samples[*row].t.saturating_add(REST_NS);
        let after = samples.iter().zip(places).skip(row + 1).take_while(|(s, _)| s.t < until);
        after.map(|(_, place)| (place - places[*row]).abs()).all(|moved| moved <= still)
    };
    let first = (0..samples.len()).find(|row| places[*row] >= beyond && rests(row))?;
    (first..samples.len()).take_while(rests).last()
}
