//! Whether events recur with a period, seen only part of the time.
//!
//! For an event at time t = s + u, u after the begin s of the span that it was seen in, let a = e^{2πi f s} and b = e^{2πi f u}.
//! Rayleigh's test of direction asks whether the n products ab agree; but spans have a cadence, and events may have a
//! place of their own in a span. So it is held against all ways to pair the same begins with the same places:
//! z = |Σ ab − n ā b̄|² (n − 1) / (n² (1 − |ā|²)(1 − |b̄|²)), whose mean is 1 (variance of a sum over random pairings,
//! Hoeffding 1951, from memory), and Pr(Z above z) = e^(−z). The highest of all f is more: its false-alarm level is bounded by
//! e^{−z} (1 + W √z), W = Δf √(4π var t) (the number of times that a smooth random function crosses a level, as Baluev,
//! MNRAS 385:1279, 2008, reckons it; from memory, checked on noise).
//!
//! Periods from [`SHORTEST`] to half the usual distance between spans: longer ones are the operator's own cadence. Of a
//! period and its fractions, which fit alike, the longest is meant. Assumes a source that stays in step for the whole time
//! (its clock off by less than a tenth of a period). Smallest found: 20 events in step over two minutes. Cost: O(events ×
//! frequencies), bounded by [`MOST_TERMS`] (the last events are left out beyond it): about a tenth of a second.

use crate::decision::FAIL_LEVEL;
use crate::stats::median;
use crate::step::StepView;
use crate::verdict::{Family, Finding};
use rustfft::num_complex::Complex;
use std::f64::consts::{PI, TAU};

/// Shortest period, in seconds: shorter ones are a matter of the report interval.
pub const SHORTEST: f64 = 0.005;
/// Longest, whatever the spans.
pub const LONGEST: f64 = 1.0;
/// Fewer events do not tell a period from so many candidates.
const LEAST: usize = 8;
/// Bound on events × frequencies.
pub const MOST_TERMS: usize = 1 << 26;
/// Frequencies to each 1/duration.
const OVERSAMPLE: f64 = 5.0;
/// Of frequencies that fit alike to this share, the lowest is meant.
const ALIKE: f64 = 0.8;

/// A period in which events recur.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Period {
    /// The period in seconds.
    pub seconds: f64,
    /// How well the events keep to it: 1 for all at the same phase, near 0 for none.
    pub in_step: f64,
    /// Events looked at.
    pub events: usize,
    /// Chance that events at random in these spans show a period so clear, after all candidates.
    pub p_false: f64,
}

impl Period {
    /// For the end of a sentence.
    pub fn words(&self) -> String {
        let (ms, share) = (1e3 * self.seconds, 100.0 * self.in_step);
        format!(", recurring every {ms:.2} ms ({share:.0} % in step)")
    }
}

/// The period of a family's findings in the swipes of a step, by their begins.
pub fn of_family(step: &StepView, findings: &[Finding], family: Family) -> Option<Period> {
    let own = findings.iter().filter(|f| f.family == family && f.swipe.is_some());
    of_spells(step, &own.map(|f| (f.begin_ns, f.end_ns)).collect::<Vec<_>>())
}

/// The period of what begins and ends in the swipes of a step, by its begins: what recurs sooner than it lasts does not recur.
pub fn of_spells(step: &StepView, spells: &[(i64, i64)]) -> Option<Period> {
    let times: Vec<i64> = spells.iter().map(|s| s.0).collect();
    let spans: Vec<(i64, i64)> = step.swipes().map(|(_, s)| (s.swipe.begin, s.swipe.end)).collect();
    let lasts: Vec<f64> = spells.iter().map(|s| s.1.saturating_sub(s.0) as f64 * 1e-9).collect();
    periodicity(&times, &spans).filter(|p| median(&lasts).is_some_and(|least| p.seconds > least))
}

/// Looks for a period in events at `times`, which would have been seen in `spans` (begin, end) only; nanoseconds. Events
/// outside all spans are left out. `None` if nothing stands out at the level of a fail.
pub fn periodicity(times: &[i64], spans: &[(i64, i64)]) -> Option<Period> {
    let origin = spans.iter().map(|s| s.0).min()?;
    let seconds = |t: i64| (t as f64 - origin as f64) * 1e-9;
    let mut spans: Vec<(f64, f64)> =
        spans.iter().filter(|s| s.0 < s.1).map(|s| (seconds(s.0), seconds(s.1))).collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let apart: Vec<f64> = spans.windows(2).map(|w| w[1].0 - w[0].0).collect();
    let longest = median(&apart).map_or(LONGEST, |d| (0.5 * d).min(LONGEST));
    let (low, high) = (1.0 / longest.max(2.0 * SHORTEST), 1.0 / SHORTEST);
    let mut events: Vec<Event> = times.iter().filter_map(|&t| event(seconds(t), &spans)).collect();
    events.sort_by(|a, b| a.t().total_cmp(&b.t()));
    // As many events as the bound allows.
    let fits = |e: &[Event]| e.len() as f64 * OVERSAMPLE * (high - low) * duration(e) <= MOST_TERMS as f64;
    while events.len() >= LEAST && !fits(&events) {
        events.truncate(events.len() * 3 / 4);
    }
    if events.len() < LEAST || duration(&events) <= 0.0 {
        return None;
    }
    let step = 1.0 / (OVERSAMPLE * duration(&events));
    let count = ((high - low) / step) as usize + 1;
    // Each phasor is turned by a constant from frequency to frequency.
    let mut now = phasors(&events, low);
    let turn = phasors(&events, step);
    let mut all = Vec::with_capacity(count);
    for _ in 0..count {
        all.push(clearness(&now).0);
        for (p, q) in now.iter_mut().zip(&turn) {
            *p = (p.0 * q.0, p.1 * q.1);
        }
    }
    let highest = all.iter().copied().fold(0.0, f64::max);
    let lowest = all.iter().position(|z| *z >= ALIKE * highest)?;
    // The top of the hill that this frequency lies on.
    let top =
        (lowest..count.min(lowest + 2 * OVERSAMPLE as usize)).max_by(|a, b| all[*a].total_cmp(&all[*b]))?;
    let top = low + top as f64 * step;
    let at = |f: f64| clearness(&phasors(&events, f));
    let (mut from, mut to) = (top - step, top + step);
    for _ in 0..40 {
        let third = (to - from) / 3.0;
        if at(from + third).0 < at(to - third).0 { from += third } else { to -= third }
    }
    let f = 0.5 * (from + to);
    let (z, in_step) = at(f);
    let n = events.len() as f64;
    let mean = events.iter().map(Event::t).sum::<f64>() / n;
    let variance = events.iter().map(|e| (e.t() - mean) * (e.t() - mean)).sum::<f64>() / n;
    let crossings = (high - low) * (4.0 * PI * variance).sqrt();
    let p_false = ((-z).exp() * (1.0 + crossings * z.sqrt())).min(1.0);
    (p_false < FAIL_LEVEL).then_some(Period { seconds: 1.0 / f, in_step, events: events.len(), p_false })
}

/// An event: begin of its span, and place in it, in seconds.
struct Event {
    begin: f64,
    place: f64,
}

impl Event {
    fn t(&self) -> f64 {
        self.begin + self.place
    }
}

/// The event at `t` in the last span that begins before it, if that holds it.
fn event(t: f64, spans: &[(f64, f64)]) -> Option<Event> {
    let (begin, end) = *spans.get(spans.partition_point(|s| s.0 <= t).checked_sub(1)?)?;
    (t <= end).then_some(Event { begin, place: t - begin })
}

fn phasors(events: &[Event], f: f64) -> Vec<(Complex<f64>, Complex<f64>)> {
    events.iter().map(|e| (Complex::cis(TAU * f * e.begin), Complex::cis(TAU * f * e.place))).collect()
}

/// z of the test, and the mean of all directions.
fn clearness(phasors: &[(Complex<f64>, Complex<f64>)]) -> (f64, f64) {
    let n = phasors.len() as f64;
    let zero = Complex::new(0.0, 0.0);
    let (a, b, ab) =
        phasors.iter().fold((zero, zero, zero), |(a, b, ab), p| (a + p.0, b + p.1, ab + p.0 * p.1));
    let spare = (1.0 - (a / n).norm_sqr()) * (1.0 - (b / n).norm_sqr());
    // Begins or places that all lie at one phase tell nothing.
    let z = if spare > 0.05 { (ab - a * b / n).norm_sqr() * (n - 1.0) / (n * n * spare) } else { 0.0 };
    (z, ab.norm() / n)
}

fn duration(sorted: &[Event]) -> f64 {
    sorted.last().zip(sorted.first()).map_or(0.0, |(last, first)| last.t() - first.t())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_xoshiro::Xoshiro256PlusPlus;
    use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

    fn uniform(chance: &mut Xoshiro256PlusPlus) -> f64 {
        (chance.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Forty swipes of 0.3 s, about 0.9 s apart.
    fn swipes(chance: &mut Xoshiro256PlusPlus) -> Vec<(i64, i64)> {
        let mut t = 1.0;
        let mut spans = Vec::new();
        for _ in 0..40 {
            t += 0.8 + 0.2 * uniform(chance);
            spans.push(((t * 1e9) as i64, ((t + 0.3) * 1e9) as i64));
        }
        spans
    }

    fn seen(times: impl Iterator<Item = f64>, spans: &[(i64, i64)]) -> Vec<i64> {
        let times = times.map(|t| (t * 1e9) as i64);
        times.filter(|t| spans.iter().any(|s| (s.0..s.1).contains(t))).collect()
    }

    #[test]
    fn events_every_hundred_milliseconds_are_found_to_recur() {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(1);
        let spans = swipes(&mut chance);
        let times: Vec<f64> = (0..600).map(|i| 0.1 * f64::from(i) + 0.004 * uniform(&mut chance)).collect();
        let found = periodicity(&seen(times.into_iter(), &spans), &spans).unwrap();
        assert!((found.seconds - 0.1).abs() < 1e-5, "{found:?}");
        assert!(found.in_step > 0.95 && found.p_false < 1e-6 && found.events > 80, "{found:?}");
    }

    #[test]
    fn half_of_the_events_at_random_still_leave_the_period() {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(2);
        let spans = swipes(&mut chance);
        let times: Vec<f64> = (0..1600)
            .map(|i| if i % 2 == 0 { 0.05 * f64::from(i / 2) } else { 40.0 * uniform(&mut chance) })
            .collect();
        let found = periodicity(&seen(times.into_iter(), &spans), &spans).unwrap();
        assert!((found.seconds - 0.05).abs() < 1e-5 && (0.3..0.7).contains(&found.in_step), "{found:?}");
    }

    /// At the level of 1 in 1000, three of 300 or more would come of chance once in 280 times.
    #[test]
    fn events_at_random_in_the_spans_have_no_period() {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(3);
        let alarms = (0..300).filter(|_| {
            let spans = swipes(&mut chance);
            let times: Vec<f64> = (0..120).map(|_| 40.0 * uniform(&mut chance)).collect();
            periodicity(&seen(times.into_iter(), &spans), &spans).is_some()
        });
        assert!(alarms.count() < 3);
    }

    /// A loss of tracking comes in the middle of each swipe: that is the operator's cadence.
    #[test]
    fn one_event_in_the_middle_of_each_swipe_has_no_period() {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(4);
        for _ in 0..20 {
            let spans = swipes(&mut chance);
            let times: Vec<i64> =
                spans.iter().map(|s| (s.0 + s.1) / 2 + (2e7 * uniform(&mut chance)) as i64).collect();
            assert_eq!(periodicity(&times, &spans), None);
        }
    }

    #[test]
    fn hostile_times_have_no_period() {
        assert_eq!(periodicity(&[], &[]), None);
        assert_eq!(periodicity(&[5; 100], &[(0, 10)]), None);
        assert_eq!(periodicity(&[i64::MIN, i64::MAX], &[(i64::MIN, i64::MAX)]), None);
        let far: Vec<i64> = (0..100).map(|i| i * 90_000_000_000_000).collect();
        assert_eq!(periodicity(&far, &[(0, i64::MAX), (5, 3)]), None);
    }
}
