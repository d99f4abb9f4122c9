//! Motion that sets in again after the device had come to rest at the stop.
//!
//! A swipe ends where the device has rested for [`REST_NS`]; what runs on in its direction after that, beyond where it had
//! been, by [`LEAST_MM`] and at more than [`FAST`], and stays, no body can have made that lies against the stop. One that does
//! not can: a hand that stopped short goes on to the stop in the end. Then the motion is as long as the way that was left,
//! so that over the swipes of a phase each millimetre more of it goes with one less before it; where the device makes it,
//! the way before it is the same. The slope between the two tells, cut half way ([`MAKES_UP`]); motion that is as long in
//! every swipe as no hand's aim is ([`AS_LONG`]) needs no slope. Nor does a single report, in whatever direction, that holds more than
//! an arm makes from rest within one, by as much.
//!
//! Assumes hard stops. What comes back to where the device had been is a bounce's or a tap's, and what comes more than
//! [`LATEST_NS`] after the stop may be the hand that leaves it. Cost: O(reports).

use crate::after_stop::FAST;
use crate::erratic::from_rest;
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
/// Slope of the way before the rest on the motion after it: -1 of a hand that stopped short, or of counts that come late; 0 of
/// motion that nobody made.
const MAKES_UP: f64 = -0.5;
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
    /// Its counts.
    pub counts: f64,
    /// What it is.
    pub what: What,
}

/// What motion after a rest is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// More than there was to go, in the swipe's direction.
    On,
    /// One report that holds more than an arm makes from rest, in whatever direction.
    Leap,
    /// Such a report that holds what the swipes lack before it: it came late.
    HeldBack,
}

/// Counts of a swipe up to its rest, and those that came after, however slow.
struct Ended {
    before: f64,
    after: f64,
    later: Option<Later>,
    /// Counts that came after the rest as a body might move, no faster than [`FAST`].
    creep: Option<f64>,
}

/// All such motion in a phase that is the device's. What the operator makes runs on, and leaps nowhere.
pub fn of_phase(step: &StepView, phase: &PhaseView) -> Vec<Later> {
    let (Some(frame), Some(scale)) = (phase.frame, step.scale) else { return Vec::new() };
    let slot = step.slot();
    let ended = |index: usize| ended(phase, index, (frame, scale.counts_per_mm, slot));
    let ended: Vec<Ended> = (0..phase.swipes.len()).filter_map(ended).collect();
    let makes_up = ended.len() >= LEAST_SWIPES && makes_up(&ended);
    let named = |later: Later, after: f64| match later.what {
        What::Leap if makes_up && after > 0.5 * later.counts => Some(Later { what: What::HeldBack, ..later }),
        What::On if makes_up || ended.len() < LEAST_SWIPES => None,
        _ => Some(later),
    };
    ended.iter().filter_map(|e| e.later.and_then(|later| named(later, e.after))).collect()
}

/// Counts by which swipes of a phase run on after the rest as slowly as a body might: none that is shorter than [`LEAST_MM`].
pub fn creeps(step: &StepView, phase: &PhaseView) -> Vec<f64> {
    let (Some(frame), Some(scale)) = (phase.frame, step.scale) else { return Vec::new() };
    let ended = |index: usize| ended(phase, index, (frame, scale.counts_per_mm, step.slot()));
    (0..phase.swipes.len()).filter_map(ended).filter_map(|e| e.creep).collect()
}

/// True if the motion after the rest makes up for what the swipes lacked before it.
fn makes_up(ended: &[Ended]) -> bool {
    let n = ended.len() as f64;
    let mean = |of: &dyn Fn(&Ended) -> f64| ended.iter().map(of).sum::<f64>() / n;
    let (before, later) = (mean(&|e| e.before), mean(&|e| e.after));
    let spread = mean(&|e| (e.after - later).powi(2));
    let both = mean(&|e| (e.after - later) * (e.before - before));
    spread > (AS_LONG * later).powi(2) && both < MAKES_UP * spread
}

/// Where a swipe first rested near its stop, and what it did until the next one.
fn ended(phase: &PhaseView, index: usize, (frame, per_mm, slot): (Frame, f64, f64)) -> Option<Ended> {
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
    let (first, rest) = resting(samples, &places, AT_STOP * swipe.one_travel, still)?;
    let reached = places.get(..=rest)?.iter().copied().fold(f64::MIN, f64::max);
    let since = samples.get(rest)?.t;
    let last = samples.partition_point(|s| s.t <= since.saturating_add(LATEST_NS)).checked_sub(1)?;
    let furthest = (rest..=last).max_by(|a, b| places[*a].total_cmp(&places[*b]))?;
    let counts = places[furthest] - reached;
    let at = |share: f64| (rest..=furthest).find(|row| places[*row] >= reached + share * counts);
    let on = at(0.05).zip(at(0.95)).and_then(|(first, most)| {
        let (begin, end) = (samples[first].t, samples[most].t);
        // The first report holds what was made since the one before it.
        let seconds = 1e-9 * (end.saturating_sub(begin) as f64 + slot).max(1e6);
        let fast = 0.9 * counts / seconds > FAST * 1e3 * per_mm;
        let stays = places[last] - reached > 0.5 * counts;
        let waited = begin.saturating_sub(since) >= REST_NS;
        let begin = begin.saturating_sub(slot as i64);
        let later = Later { swipe: index, rest: since, begin, end, counts, what: What::On };
        (counts >= LEAST_MM * per_mm && stays && waited).then_some((later, fast))
    });
    let from_rest = from_rest(per_mm, slot);
    // What the next swipe's start brings late, in several reports of which the swipe may seem to begin with a later one, is no leap.
    let starts = phase.swipes.get(index + 1).map_or(&[][..], |next| &next.starts);
    let of_a_start = |t: i64| starts.iter().any(|s| s.several(per_mm) && (s.t..=s.until).contains(&t));
    let leap = samples[first + 1..=last].iter().filter(|s| !of_a_start(s.t)).find_map(|s| {
        let counts = f64::from(s.x).hypot(f64::from(s.y));
        let begin = s.t.saturating_sub(slot as i64);
        let rest = samples[first].t;
        let later = Later { swipe: index, rest, begin, end: s.t, counts, what: What::Leap };
        (counts > from_rest + LEAST_MM * per_mm && begin.saturating_sub(rest) >= REST_NS).then_some(later)
    });
    let later = leap.or(on.filter(|on| on.1).map(|on| on.0));
    let creep = on.filter(|_| later.is_none()).map(|on| on.0.counts);
    Some(Ended { before: places[rest], after: counts, later, creep })
}

/// First and last row of those that rest beyond a place: a hand that brakes creeps to the stop meanwhile.
fn resting(samples: &[Sample], places: &[f64], beyond: f64, still: f64) -> Option<(usize, usize)> {
    let rests = |row: &usize| {
        let until = samples[*row].t.saturating_add(REST_NS);
        let after = samples.iter().zip(places).skip(row + 1).take_while(|(s, _)| s.t < until);
        after.map(|(_, place)| (place - places[*row]).abs()).all(|moved| moved <= still)
    };
    let first = (0..samples.len()).find(|row| places[*row] >= beyond && rests(row))?;
    // One report may leap and rest again.
    let goes_on = |row: &usize| *row == first || places[*row] - places[*row - 1] <= still;
    Some((first, (first..samples.len()).take_while(|row| rests(row) && goes_on(row)).last()?))
}
