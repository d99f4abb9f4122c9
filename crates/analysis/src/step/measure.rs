//! What the lengths of swipes are held against.
//!
//! Lengths of the slow swipes (where they are to be trusted, else of the medium ones), and how slow and medium ones
//! scatter. A swipe that shows a hole at speed whose counts did not come later is no length from stop to stop, and is left
//! out where [`ENOUGH`] others of its phase show none and are longer. (Added after a sensor that saw nothing at one place
//! in three of five crossings had been said to go on in the other two, by what most had lost; and to count 12 % less one
//! way.) Cost: O(reports of slow and medium swipes).

use super::{PhaseView, Scale, baseline_phases};
use crate::baseline::Basis;
use crate::series::{DUE, Frame, Sample};
use crate::shortfall::{self, LEAST_MM, Measure};
use crate::silence::CELL;
use crate::stats::median;
use crate::verdict::Direction;
use slipgauge_trace::session::Pace;

/// Whole swipes that it takes to leave others out: so many, and such a share.
const ENOUGH: (usize, f64) = (3, 0.2);
/// Empty slots and more make a hole.
const HOLE: f64 = 3.0;
/// Reports beside it that tell speed.
const FLANK: usize = 3;

/// From the swipes of a step as they were found.
pub(super) fn measure(phases: &[PhaseView], scale: Scale, slot: f64) -> Option<Measure> {
    let whole: Vec<(&PhaseView, Vec<(Direction, f64)>)> =
        phases.iter().map(|p| (p, lengths(p, scale.counts_per_mm, slot))).collect();
    let of = |phase: &PhaseView| {
        let own = whole.iter().find(|(p, _)| std::ptr::eq(*p, phase));
        own.map_or(&[][..], |(_, lengths)| lengths.as_slice())
    };
    let by_way = |phases: Vec<&PhaseView>| {
        [Direction::Out, Direction::Back].map(|direction| -> Vec<f64> {
            let own = phases.iter().flat_map(|p| of(p)).filter(|(way, _)| *way == direction);
            own.map(|(_, along)| *along).collect()
        })
    };
    let at = |pace: Pace| phases.iter().filter(|p| p.span.phase.pace == Some(pace)).collect();
    let others = [Pace::Medium, Pace::Fast].map(|pace| by_way(at(pace)));
    let trusted = scale.basis != Basis::OtherPace;
    let slow = by_way(baseline_phases(phases));
    let ways = if trusted { shortfall::ways(&slow, &others, scale.counts_per_mm) } else { [1.0; 2] };
    let evened =
        |p: &PhaseView| -> Vec<f64> { of(p).iter().map(|(way, along)| along / ways[way.index()]).collect() };
    let slow: Vec<f64> = baseline_phases(phases).into_iter().flat_map(evened).collect();
    let medium = phases.iter().filter(|p| p.span.phase.pace == Some(Pace::Medium));
    let slow = trusted.then_some(slow);
    let groups: Vec<Vec<f64>> = slow.into_iter().chain(medium.map(evened)).collect();
    Measure::new(&groups, scale.counts_per_mm).map(|measure| Measure { ways, ..measure })
}

/// Counts along of a phase's swipes; of those without a hole, if these are enough and longer.
fn lengths(phase: &PhaseView, counts_per_mm: f64, slot: f64) -> Vec<(Direction, f64)> {
    let all = || phase.swipes.iter().map(|s| (s.swipe.direction, s.swipe.along));
    let Some(frame) = phase.frame else { return all().collect() };
    let holes = phase.swipes.iter().map(|s| {
        let samples = phase.series.samples.get(s.swipe.rows.clone()).unwrap_or_default();
        shows_a_hole(samples, frame, counts_per_mm, slot)
    });
    let (holed, whole): (Vec<_>, Vec<_>) = all().zip(holes).partition(|(_, hole)| *hole);
    let middle = |of: &[((Direction, f64), bool)]| {
        median(&of.iter().map(|((_, along), _)| *along).collect::<Vec<f64>>())
    };
    // What a late report brings is in the length.
    let lacks = middle(&whole)
        .zip(middle(&holed))
        .is_some_and(|(whole, holed)| whole - holed >= LEAST_MM * counts_per_mm);
    let enough = whole.len() >= ENOUGH.0 && whole.len() as f64 >= ENOUGH.1 * phase.swipes.len() as f64;
    if enough && lacks { whole.into_iter().map(|(length, _)| length).collect() } else { all().collect() }
}

/// True if there is a time without reports between reports at speed that must have held [`LEAST_MM`], and the report after
/// it does not bring as much as half of that.
fn shows_a_hole(samples: &[Sample], frame: Frame, counts_per_mm: f64, slot: f64) -> bool {
    let along = |s: &Sample| frame.of(s).0.abs();
    let last = samples.len().saturating_sub(FLANK);
    (FLANK + 1..last).any(|row| {
        let time = samples[row].t.saturating_sub(samples[row - 1].t) as f64;
        if time < HOLE * slot {
            return false;
        }
        // Counts a nanosecond of the reports on either side, the one after the hole left out: it holds what it may.
        let rate = |from: usize, to: usize| {
            let counts: f64 = samples[from + 1..=to].iter().map(along).sum();
            counts / (samples[to].t.saturating_sub(samples[from].t) as f64).max(1.0)
        };
        let rate = rate(row - 1 - FLANK, row - 1).min(rate(row, row + FLANK - 1));
        let missing = rate * (time - slot);
        let at_speed = rate * slot.max(CELL) >= DUE as f64;
        at_speed && missing >= LEAST_MM * counts_per_mm && along(&samples[row]) < 0.5 * missing
    })
}
