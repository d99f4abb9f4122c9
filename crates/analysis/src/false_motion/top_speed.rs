//! Repeated motion that is one top speed: a sensor that counts no faster than its limit, and no spin-out.
//!
//! Either shows a level across a hidden peak. A sensor that repeats its last motion goes on with it until it wakes,
//! whatever the hand does meanwhile: it stops seeing at another speed each time, or wakes when the hand has become slower,
//! so that the counts jump at the level's end. One that counts up to its limit follows the hand again from where that has
//! slowed to the limit. All that levels show by themselves is motion that is missing; that some was false has to be shown
//! by what stands beside them. So the levels of a step are a top speed where, of [`LEAST_JUMPS`] whose ends [show](no_jump)
//! that nothing jumps, or that are [`LEAST`] and more with those short swipes that run [as fast and no faster](as_fast) and
//! hold no level long enough to be seen (added after a third of a step's swipes had been told as spin-outs, a third as
//! short, and neither was settled),
//!
//! - they agree: their robust standard deviation is twice [`SCATTER`] at most;
//! - the swipes of half of them and more come up short;
//! - no more than [`FASTER`] of the step's swipes run faster than them, from the first that has a level to the last: a sensor may come to
//!   lose track in the middle of a session;
//! - no jump is shown at their ends: neither is the median of the jumps more than [`STEP`] of the level and more than twice
//!   its standard error, nor do they scatter by more than [`SPREAD`] and three times what one is known to. Downwards only: a sensor that wakes while the hand is faster does so by
//!   differing amounts, and a limit that sets in softly lies higher beside its level. (Added after one whose eleven levels ended
//!   5.4 % lower than what came after, give or take 2.6, and one with 19 %, had been told as spin-outs.)
//!
//! The jump of one level is that of the place by least squares, p₀ + L t before it ends, and + d (t − tₑ) + e (t − tₑ)² from
//! there on, over [`AFTER`], with + f (t − tₑ)³ where there are reports enough for it ([`BENDS`]); tₑ is the report that leaves the
//! least residual. (First without the third: a hand that loses half of its speed in that time, as in short swipes, then leaves what
//! looks like a jump of 8 % in most of them, and sensors that counted no faster were told to spin out in every swipe.) Not asked
//! where the hand strikes the stop ([`STOP_MM`]) or a report is missing before that, and at intervals above [`COARSEST`], in which a hand changes its speed
//! by more than that. A sensor that repeats until the hand is slower by less than [`STEP`] is a top speed: which of the two
//! it is cannot be told. (First written with a scatter of 1 %, and so that a level's end had to show that there is no jump;
//! seen then: sensors whose limit differs by 3 % from swipe to swipe, and hands that strike their stop from the level, told
//! as spin-outs in every swipe, though nothing but missing motion was shown.) Levels of one direction are asked by themselves where
//! those of both are no top speed, and do not jump: a sensor may lose track one way alone. (Added after thirty of thirty swipes out had been told
//! as spin-outs, for thirty faster ones back.) Cost: O(reports) and a fit a level and report.

use super::Look;
use crate::erratic::{Bench, Stretch, Wrong};
use crate::series::Sample;
use crate::stats::regression::least_squares;
use crate::stats::{mad, median};
use crate::step::{PhaseView, SwipeView};
use crate::verdict::Direction;

/// Fewer levels agree by chance, where their ends do not tell that nothing jumps.
const LEAST: usize = 8;
/// Fewer of them do not.
const LEAST_JUMPS: usize = 3;
/// Normal quantile of 95 %.
const ONE_SIDED: f64 = 1.645;
/// Of a sensor's limit from swipe to swipe, by surface and lift (our own proposal, no source). What a level is known to adds to
/// it; nor is a scatter known any better from as few as these.
const SCATTER: f64 = 0.03;
/// What is no further from the others is one of them.
const SAME: f64 = 4.0 * SCATTER;
/// Share of swipes that run faster than the levels. None of a sensor that cannot; but what is wrong with a swipe in more than
/// one way may.
const FASTER: f64 = 0.1;
/// A jump at the end, as a share of the level.
const STEP: f64 = 0.05;
/// A jump is known no better than this, whatever its fit says: by whole frames. (Added after the one level of 25 whose end could be
/// seen had made spin-outs of all, by a jump of 5.2 % and a standard error of 0.3.)
const KNOWN: f64 = 0.04;
/// Jumps of one kind of end scatter by less.
const SPREAD: f64 = 0.15;
/// Time after a level over which its end is fitted, and before the place where it was seen to end; nanoseconds.
const AFTER: f64 = 16e6;
/// Reports after it, at least: two more than the fit has unknowns there.
const LEAST_AFTER: usize = 4;
/// And from which on the fit has a third unknown there: twice as many and one.
const BENDS: usize = 7;
/// See above, nanoseconds.
const COARSEST: f64 = 4.2e6;
/// See above, mm.
const STOP_MM: f64 = 8.0;

/// A level, and where it stands.
struct Level {
    /// Of the phases, of its swipes, of its stretches.
    at: (usize, usize, usize),
    short: bool,
    /// Counts per second.
    speed: f64,
    /// Speed that is lost at its end, as a share of it, with its standard error; `None` if it cannot be told.
    jump: Option<(f64, f64)>,
}

/// Calls repeats a level where they are a top speed; of one direction by themselves where those of both are none.
pub fn rename(phases: &mut [PhaseView], bench: &Bench) {
    if !rename_in(phases, bench, |_| true) {
        for direction in [Direction::Out, Direction::Back] {
            rename_in(phases, bench, |s| s.swipe.direction == direction);
        }
    }
}

/// Likewise, among some swipes; true if they have a top speed, or are shown to have none.
fn rename_in(phases: &mut [PhaseView], bench: &Bench, among: impl Fn(&SwipeView) -> bool + Copy) -> bool {
    let levels = levels(phases, bench, among);
    let Some(centre) = median(&levels.iter().map(|l| l.speed).collect::<Vec<_>>()) else { return false };
    let off = |l: &Level| (l.speed / centre - 1.0).abs();
    // Of a normal scatter half lie within 0.674 standard deviations.
    let agree =
        median(&levels.iter().map(off).collect::<Vec<_>>()).is_some_and(|by| by <= 0.674 * 2.0 * SCATTER);
    let short = levels.iter().filter(|l| l.short).count();
    let jumps: Vec<(f64, f64)> = levels.iter().filter_map(|l| l.jump).collect();
    let too_few = levels.len() < LEAST_JUMPS
        || 2 * short < levels.len()
        || !no_jump(&jumps) && levels.len() + as_fast(phases, bench, centre, among) < LEAST;
    // Half of the jumps would show less of them.
    if jump(&jumps) {
        return true;
    }
    if too_few || !agree || passed(phases, bench, (1.0 + SAME) * centre, among) {
        return false;
    }
    for level in levels.iter().filter(|l| off(l) <= SAME) {
        let (phase, swipe, stretch) = level.at;
        let own = phases.get_mut(phase).and_then(|p| p.swipes.get_mut(swipe));
        if let Some(stretch) = own.and_then(|s| s.stretches.get_mut(stretch)) {
            stretch.wrong = Wrong::Level;
        }
    }
    true
}

/// Takes back a ceiling that levels contradict, since its reports hold one value and those of a level as many as its frames
/// give: half of the swipes that seem to clip and more hold the top in less than half of a level's reports. (Added after a
/// sensor whose frames beat had been seen to pile up at the larger of two values.)
pub fn overrule_clips(phases: &mut [PhaseView]) {
    let contradicts = |phase: &PhaseView, view: &SwipeView, top: i32| {
        let levels = view.stretches.iter().filter(|s| s.wrong == Wrong::Level);
        levels.filter_map(|s| phase.series.samples.get(s.rows.clone())).any(|samples| {
            let at_top = |s: &&Sample| s.x.saturating_abs().max(s.y.saturating_abs()) == top;
            2 * samples.iter().filter(at_top).count() < samples.len()
        })
    };
    let clipped: Vec<bool> =
        swipes(phases, |_| true).filter_map(|(p, s)| Some(contradicts(p, s, s.clip.as_ref()?.top))).collect();
    let against = clipped.iter().filter(|c| **c).count();
    if against > 0 && 2 * against >= clipped.len() {
        phases.iter_mut().flat_map(|p| &mut p.swipes).for_each(|s| s.clip = None);
    }
}

/// What the jumps of some levels are: their median with its standard error, how they scatter, and how well one is known.
struct Jumps {
    centre: (f64, f64),
    spread: f64,
    known: f64,
}

impl Jumps {
    /// `None` of none.
    fn of(jumps: &[(f64, f64)]) -> Option<Jumps> {
        let (jumps, errors): (Vec<f64>, Vec<f64>) = jumps.iter().copied().unzip();
        let (centre, known) = (median(&jumps)?, median(&errors)?);
        let spread = mad(&jumps, centre).unwrap_or(0.0);
        // A median's standard error is 1.25 times a mean's.
        let error = 1.25 * spread.max(known).max(KNOWN) / (jumps.len() as f64).sqrt();
        Some(Jumps { centre: (centre, error), spread, known })
    }
}

/// True if the levels' ends are shown to jump.
fn jump(jumps: &[(f64, f64)]) -> bool {
    Jumps::of(jumps).is_some_and(|Jumps { centre: (centre, error), spread, known }| {
        centre > STEP.max(2.0 * error) || spread > SPREAD.max(3.0 * known)
    })
}

/// True if they are shown not to.
fn no_jump(jumps: &[(f64, f64)]) -> bool {
    let enough = Jumps::of(jumps).filter(|_| jumps.len() >= LEAST_JUMPS);
    enough.is_some_and(|Jumps { centre: (centre, error), spread, .. }| {
        centre + ONE_SIDED * error < STEP && spread < STEP
    })
}

/// Some of the swipes, with their phases.
fn swipes(
    phases: &[PhaseView],
    among: impl Fn(&SwipeView) -> bool,
) -> impl Iterator<Item = (&PhaseView, &SwipeView)> {
    phases.iter().flat_map(|p| p.swipes.iter().map(move |s| (p, s))).filter(move |(_, s)| among(s))
}

/// Short swipes that run as fast as the levels and no faster, and show none themselves: they were above it for too short a time.
fn as_fast(
    phases: &[PhaseView],
    bench: &Bench,
    speed: f64,
    among: impl Fn(&SwipeView) -> bool + Copy,
) -> usize {
    let untold = swipes(phases, among)
        .filter(|(_, s)| s.swipe.is_short() && s.stretches.is_empty() && s.silences.is_empty());
    let looks = untold.filter_map(|(p, s)| Look::of(p, s, bench));
    looks
        .filter(|look| look.runs_faster((1.0 - SAME) * speed) && !look.runs_faster((1.0 + SAME) * speed))
        .count()
}

/// True if more swipes than a few run faster than this, counts per second.
fn passed(phases: &[PhaseView], bench: &Bench, speed: f64, among: impl Fn(&SwipeView) -> bool) -> bool {
    let faster = |phase: &PhaseView, view: &SwipeView| {
        Look::of(phase, view, bench).is_some_and(|look| look.runs_faster(speed))
    };
    let swipes: Vec<(&PhaseView, &SwipeView)> = swipes(phases, among).collect();
    let has_level =
        |(_, s): &(&PhaseView, &SwipeView)| s.stretches.iter().any(|s| s.wrong == Wrong::Repeated);
    let ends = (swipes.iter().position(has_level), swipes.iter().rposition(has_level));
    let (Some(first), Some(last)) = ends else { return false };
    let since = &swipes[first..=last];
    let beyond = since.iter().filter(|(p, s)| faster(p, s)).count();
    beyond as f64 > FASTER * since.len() as f64
}

fn levels(phases: &[PhaseView], bench: &Bench, among: impl Fn(&SwipeView) -> bool) -> Vec<Level> {
    let mut all = Vec::new();
    for (i, phase) in phases.iter().enumerate() {
        for (j, view) in phase.swipes.iter().enumerate().filter(|(_, s)| among(s)) {
            let repeats = view.stretches.iter().enumerate().filter(|(_, s)| s.wrong == Wrong::Repeated);
            let repeats: Vec<(usize, &Stretch)> = repeats.collect();
            if repeats.is_empty() || bench.slot.is_nan() || bench.slot <= 0.0 {
                continue;
            }
            let Some(look) = Look::of(phase, view, bench) else { continue };
            for (k, stretch) in repeats {
                let Some((speed, jump)) = look.level(stretch) else { continue };
                all.push(Level { at: (i, j, k), short: view.swipe.surplus < 0.0, speed, jump });
            }
        }
    }
    all
}

impl Look<'_> {
    fn moved(&self, from: usize, to: usize) -> Option<f64> {
        Some(self.places.get(to + 1)? - self.places.get(from + 1)?)
    }

    /// Reports in a time, nanoseconds.
    fn reports(&self, time: f64) -> usize {
        (time / self.slot).ceil().max(2.0) as usize
    }

    /// True if counts run faster than this (per second) over half of [`AFTER`] somewhere.
    fn runs_faster(&self, speed: f64) -> bool {
        let each = self.reports(0.5 * AFTER);
        let most = speed * each as f64 * self.slot * 1e-9;
        let mut running = 0;
        (1..self.counts.len()).any(|row| {
            running = if self.follows(row) { running + 1 } else { 0 };
            running >= each && self.places[row + 1] - self.places[row + 1 - each] > most
        })
    }

    /// Counts per second of a level, and its jump.
    fn level(&self, stretch: &Stretch) -> Option<(f64, Option<(f64, f64)>)> {
        let first = stretch.rows.start.checked_sub(self.swipe.rows.start)?;
        let last = stretch.rows.end.checked_sub(self.swipe.rows.start + 1)?;
        let quarter = last.checked_sub(first)? / 4;
        let (from, to) = (first + quarter, last - quarter);
        let speed = self.moved(from, to).filter(|_| to > from)? / ((to - from) as f64 * self.slot * 1e-9);
        (speed > 0.0 && speed.is_finite()).then(|| (speed, self.jump(from, last)))
    }

    /// Speed that is lost where a level ends, as a share of it, with its standard error.
    fn jump(&self, from: usize, last: usize) -> Option<(f64, f64)> {
        let reach = self.reports(AFTER);
        let from = from.max(last.saturating_sub(reach));
        // The furthest place, since a body springs back from its stop.
        let stop = self.places.get(last..)?.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Up to where the stop is near, or a report is missing.
        let free = |row: usize| {
            self.follows(row)
                && self.places.get(row + 1).is_some_and(|place| stop - place > STOP_MM * self.per_mm)
        };
        let rows = (last + 1..(last + reach + 1).min(self.counts.len())).take_while(|row| free(*row)).count();
        if self.slot > COARSEST || rows < LEAST_AFTER {
            return None;
        }
        let bends = rows >= BENDS;
        let rows = from..last + rows + 1;
        let column = |f: &dyn Fn(f64) -> f64| rows.clone().map(|row| f(row as f64)).collect::<Vec<f64>>();
        let places: Vec<f64> = rows.clone().map(|row| self.places[row + 1] - self.places[from + 1]).collect();
        let ending = |end: usize| {
            let after = |row: f64| (row - end as f64).max(0.0);
            let line = [column(&|_| 1.0), column(&|row| row - from as f64)];
            let powers = (1..=if bends { 3 } else { 2 }).map(|power| column(&|row| after(row).powi(power)));
            least_squares(&line.into_iter().chain(powers).collect::<Vec<_>>(), &places)
        };
        let fits = (from + 2..last + 2).filter_map(ending);
        let best = fits.min_by(|a, b| a.residual_sd.total_cmp(&b.residual_sd))?;
        let (level, step) = (*best.coefficients.get(1)?, *best.coefficients.get(2)?);
        Some((-step / level, best.error(2) / level)).filter(|jump| jump.0.is_finite() && jump.1.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::false_motion::tests::{FRAME, bench, swipe};

    /// The jump at the end of a level in a swipe of 0.3 m in 0.2 s times `pace`, counted every `slot_ns` times that: of a sensor that
    /// counts no faster than a share of the peak, and goes on so until the hand is slower than it by `wakes`.
    fn jump_of(slot_ns: i64, pace: f64, share: f64, wakes: f64) -> Option<(f64, f64)> {
        let peak = 1.875 * 300.0 * bench(slot_ns).counts_per_mm * slot_ns as f64 / 200e6;
        let holds = |s: f64, c: f64| c > share * peak || (s > 0.5 && c > (1.0 - wakes) * share * peak);
        let tell = |s: f64, c: (f64, f64)| if holds(s, c.0) { (share * peak, 0.0) } else { c };
        let (mut series, mut swipe) = swipe(slot_ns, tell);
        series.samples.iter_mut().for_each(|s| s.t = (s.t as f64 * pace) as i64);
        (swipe.begin, swipe.end) = (series.samples[0].t, series.samples[series.samples.len() - 1].t);
        let at_level = |s: &Sample| (f64::from(s.x) - share * peak).abs() < 1.5;
        let first = series.samples.iter().position(at_level)?;
        let last = series.samples.iter().rposition(at_level)?;
        let level = Stretch {
            wrong: Wrong::Repeated,
            rows: first..last + 1,
            begin: series.samples[first].t,
            end: series.samples[last].t,
            jump_m_s: 0.0,
            within_s: 0.0,
            counts: (0.0, 0.0),
            recovered: true,
        };
        let bench = Bench { slot: slot_ns as f64 * pace, ..bench(slot_ns) };
        let (speed, jump) = Look::new(&series, FRAME, &swipe, &bench)?.level(&level)?;
        assert!((speed * bench.slot * 1e-9 / (share * peak) - 1.0).abs() < 0.01);
        jump
    }

    #[test]
    fn a_level_that_the_hand_leaves_at_its_speed_ends_without_a_jump_however_hard_it_brakes() {
        for (slot_ns, pace) in [(500_000, 1.0), (1_000_000, 1.0), (500_000, 0.6), (1_000_000, 0.6)] {
            for share in [0.5, 0.6, 0.7, 0.8] {
                let (jump, _) = jump_of(slot_ns, pace, share, 0.0).unwrap();
                assert!(jump.abs() < 0.5 * STEP, "{slot_ns} {pace} {share}: {jump}");
                let (jump, _) = jump_of(slot_ns, pace, share, 0.2).unwrap();
                assert!((0.12..0.3).contains(&jump), "{slot_ns} {pace} {share}: {jump}");
            }
        }
    }

    #[test]
    fn one_jump_by_a_little_shows_nothing_and_ten_do() {
        assert!(!jump(&[]));
        assert!(!jump(&[(0.06, 0.003)]));
        assert!(jump(&[(0.06, 0.003); 10]));
        assert!(!jump(&[(-0.1, 0.003); 10]));
        assert!(jump(&[(0.2, 0.003)]));
        assert!(!jump(&[(0.1, 0.06), (-0.2, 0.05), (0.0, 0.06), (0.1, 0.06), (-0.1, 0.05)]));
        assert!(
            no_jump(&[(0.003, 0.003); 4]) && !no_jump(&[(0.003, 0.003); 2]) && !no_jump(&[(0.03, 0.003); 4])
        );
    }
}
