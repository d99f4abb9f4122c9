//! Stretches of counts that no hand can have made.
//!
//! Not a family: the raw material of *spin-out* (false motion) and of partial *tracking loss* (thinned counts), found in
//! one search so that one event becomes one finding.
//!
//! A hand's velocity changes by no more than [`ARM_ACCELERATION`]. From the mean velocity v₀ of the last reports before
//! a place, the motion of the next w reports of slot width h can therefore be told to within
//!
//! ```text
//! b(w) = ROUNDING + NOISE · v₀ · √w + A h² · w (w + f) / 2 + B · v₀ · (1 + w/f)        counts
//! ```
//!
//! B: what frames that beat against reports leave of a report more or less ([`beat`]); f: reports that v₀ was taken from;
//! where they come faster than every millisecond, those within one are taken together. A
//! stretch begins where the counts of w = 1 to 12 reports lie further off than b, sideways or backwards (*false motion*) or so far behind that a third and more is missing (*thin*); it ends where
//! counts run in v₀'s direction again, or at a thin stretch's recovery. Several w, because a short stretch stands out
//! at once and a weak one only over a time. In a swipe that comes up short ([`crate::shortfall`]) thin counts are held
//! against [`FLICK_ACCELERATION`] instead. A third kind needs no jump: motion that is *repeated*, the same counts on
//! both axes, report after report, across a hidden peak. (Where a sensor's frames beat against the reports, repeats are
//! [`crate::false_motion`]'s.)
//!
//! Of a device that reports unevenly ([`crate::intervals::uneven`]) what is told by the reports must be so by the time that each
//! covers as well. Where the hand swings in an arc, along and across are those of the local direction ([`arc`]).
//!
//! Only within runs of reports without an empty slot (what follows a silence may carry its make-up), away from the
//! stops, at `DUE` counts a slot and more. Cost: O(reports of the swipe).

pub(crate) mod arc;
pub(crate) mod beat;
pub(crate) mod cells;
mod jump;
mod level;
#[cfg(test)]
pub(crate) mod tests;

use crate::host::HostSpans;
use crate::series::{Frame, Series};
use crate::swipes::Swipe;
use cells::Search;
use std::ops::Range;

pub use level::{HIDDEN, hidden_rise};

/// No hand on a desk is more abrupt, m/s². Our own proposal: hard flicks reach 50 to 60 m/s² (common practice, no
/// source).
pub const ARM_ACCELERATION: f64 = 150.0;
/// Counts that no arm exceeds from rest within a report interval, nanoseconds: A t² / 2.
pub(crate) fn from_rest(counts_per_mm: f64, slot: f64) -> f64 {
    0.5e3 * ARM_ACCELERATION * counts_per_mm * (slot * 1e-9).powi(2)
}

/// A hand that does its utmost, m/s² (the same practice): thin counts that set in more abruptly are what made a swipe
/// short, where it is known to be short beyond placing and unexplained. That it lost counts is then sure, and only how is
/// asked.
pub const FLICK_ACCELERATION: f64 = 60.0;
/// Nor faster, m/s; hard flicks reach 4 to 5 m/s (likewise).
pub const ARM_SPEED: f64 = 8.0;
/// Two stretches of false motion this near to each other are one event, nanoseconds.
const ONE_EVENT: i64 = 20_000_000;
/// False or missing motion worth reporting, mm.
pub const LEAST_MM: f64 = 2.0;

/// What is wrong with a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Backwards.
    Reversal,
    /// Across the swipe.
    Sideways,
    /// Faster than an arm.
    BeyondAnArm,
    /// Further on than the hand, in a swipe that is longer than one travel ([`crate::false_motion::ahead`]).
    Ahead,
    /// The same motion again and again.
    Repeated,
    /// The same speed as in other swipes, and no faster ([`crate::false_motion::top_speed`]).
    Level,
    /// One axis of the sensor has stopped ([`crate::false_motion::one_axis`]).
    OneAxis,
    /// Too little.
    Thin,
}

impl Wrong {
    /// True if counts are missing, rather than false.
    pub fn is_loss(self) -> bool {
        matches!(self, Wrong::Level | Wrong::OneAxis | Wrong::Thin)
    }
}

/// A stretch of counts that no hand made.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// What is wrong with it.
    pub wrong: Wrong,
    /// Samples of the phase's series.
    pub rows: Range<usize>,
    /// Time of the last report before it.
    pub begin: i64,
    /// Time of its last report.
    pub end: i64,
    /// Velocity change at its onset, m/s, over [`Stretch::within_s`].
    pub jump_m_s: f64,
    /// Time over which the onset stood out, seconds.
    pub within_s: f64,
    /// Its counts along and across.
    pub counts: (f64, f64),
    /// True if the motion came back to what it should be before the swipe's end.
    pub recovered: bool,
}

impl Stretch {
    /// True if a stall, which delivers what it held up in a rush, explains it. Repeats that it is but a part of are there
    /// beside it.
    pub fn is_explained_by(&self, host: &HostSpans) -> bool {
        match self.wrong {
            Wrong::Repeated => host.explain_most(self.begin, self.end),
            _ => host.explain(self.begin, self.end),
        }
    }

    /// True if another one that follows is the same event: the way back from false motion is as abrupt as the way there.
    fn joins(&self, next: &Stretch) -> bool {
        next.begin.saturating_sub(self.end) <= ONE_EVENT
            && self.wrong != Wrong::Thin
            && next.wrong != Wrong::Thin
    }

    fn extend(&mut self, next: Stretch) {
        self.rows.end = next.rows.end;
        self.end = next.end;
        self.counts = (self.counts.0 + next.counts.0, self.counts.1 + next.counts.1);
        self.recovered = next.recovered;
    }
}

/// What a search needs to know beside the series.
pub struct Bench {
    /// Counts per millimetre.
    pub counts_per_mm: f64,
    /// Report interval, nanoseconds.
    pub slot: f64,
    /// Share of the speed by which a report may hold more or less, since its frames are whole ([`beat`]).
    pub beat: f64,
    /// True if the device itself reports unevenly ([`crate::intervals::uneven`]).
    pub uneven: bool,
    /// Radians per count by which swipes out turn on their way ([`arc`]).
    pub bend: f64,
}

/// Searches one swipe.
pub fn find(series: &Series, frame: Frame, swipe: &Swipe, bench: &Bench) -> Vec<Stretch> {
    let Some(mut search) = Search::new(series, frame, swipe, bench) else { return Vec::new() };
    let mut found = abrupt(&mut search, swipe);
    // A report that covers more time holds more. Counts must be wrong by the time that they cover as well, and not by that
    // alone: some of the stamps may be a host's that was late.
    if bench.uneven && !found.is_empty() {
        let by_time = Search::by_time(series, frame, swipe, bench);
        let by_time = by_time.map_or_else(Vec::new, |mut search| abrupt(&mut search, swipe));
        let same = |a: &Stretch, b: &Stretch| a.wrong.is_loss() == b.wrong.is_loss() && overlap(a, b);
        found.retain(|s| by_time.iter().any(|t| same(s, t)));
    }
    let repeats = search.repeats();
    found.extend(repeats.into_iter().filter(|r| !found_at(&found, r)).collect::<Vec<_>>());
    found.sort_by_key(|s| s.begin);
    found
}

/// Abrupt changes of the counts along and across.
fn abrupt(search: &mut Search, swipe: &Swipe) -> Vec<Stretch> {
    let found = jumps(search, swipe);
    // What no arm makes goes first: the begin of false motion may be within what a hand's utmost forbids.
    if !found.is_empty() || !swipe.is_short() {
        return found;
    }
    search.hand *= FLICK_ACCELERATION / ARM_ACCELERATION;
    search.since = 0;
    jumps(search, swipe)
}

fn jumps(search: &mut Search, swipe: &Swipe) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut row = search.inner.start;
    while row < search.inner.end {
        match search.at(row) {
            Some(stretch) => {
                let end = stretch.rows.end - swipe.rows.start;
                let after = search.cells.iter().position(|c| c.rows.start >= end);
                row = after.unwrap_or(search.cells.len()).max(row + 1);
                // The first cell after it may still be false in part.
                search.since = row + 1;
                match found.last_mut() {
                    Some(last) if last.joins(&stretch) => last.extend(stretch),
                    _ => found.push(stretch),
                }
            }
            None => row += 1,
        }
    }
    found
}

fn found_at(found: &[Stretch], one: &Stretch) -> bool {
    found.iter().any(|s| overlap(s, one))
}

fn overlap(a: &Stretch, b: &Stretch) -> bool {
    a.rows.start < b.rows.end && b.rows.start < a.rows.end
}
