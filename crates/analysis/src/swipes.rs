//! Finding the swipes of a phase from the counts, on a device that may fail.
//!
//! 1. *Fragments*: the motion is cut where nothing moves for [`PAUSE`], and at turning points (a reversal of more
//!    than [`TURN`] of the travel).
//! 2. *Joining*: fragments that cannot be separate swipes are one swipe: the same direction with a pause begun at
//!    speed (the hand was moving: the device was silent), or together no longer than one travel; and a reversal in the
//!    middle of the travel, with no pause on either side, between two fragments of one direction (a spin-out).
//! 3. *Placing*: what reaches [`LEAST`] of the travel is a swipe. Two neighbours in the same direction mean that the
//!    return between them was not seen: one swipe *unplaced*, never left out.
//!
//! The travel in counts is told by the plan (nominal × travel) where both are given, else taken as the largest
//! fragment that recurs (0.9 quantile). Smaller fragments (bounce, knock, settling) belong to no swipe.
//! Cost: O(n) in reports, O(m log m) in fragments.

use crate::series::{Frame, Series};
use crate::stats::quantile;
use crate::verdict::Direction;
use std::ops::Range;

/// Nothing moving for this long ends a fragment. Shorter than a dwell at a stop (0.1 s and more), longer than the
/// gaps of a device creeping up to a stop at 800 counts per inch and 1 mm/s (32 ms).
pub const PAUSE: i64 = 60_000_000;
/// A reversal of this share of the travel is a turning point; a bounce off a stop is less (1 to 5 mm of 300).
const TURN: f64 = 0.06;
/// A swipe shows at least this share of the travel.
const LEAST: f64 = 0.15;
/// Two fragments of one direction that sum to no more than this share of the travel are one swipe.
const ONE_TRAVEL: f64 = 1.15;
/// A pause is begun at speed if the last reports before it run at more than this share of the fragment's peak.
const AT_SPEED: f64 = 0.35;
/// A silence at speed lasts no longer than a slow swipe's whole travel.
const LONGEST_SILENCE: i64 = 1_500_000_000;

/// A run of motion in one direction.
#[derive(Clone, Debug)]
struct Fragment {
    rows: Range<usize>,
    along: f64,
    peak: f64,
    entry: f64,
    exit: f64,
    begin: i64,
    end: i64,
    reversal: bool,
}

/// One travel from stop to stop, as found.
#[derive(Clone, Debug)]
pub struct Swipe {
    /// Number within its phase, from 1.
    pub number: u32,
    /// Direction.
    pub direction: Direction,
    /// Samples of the phase's series.
    pub rows: Range<usize>,
    /// Time of the first and last sample that moved.
    pub begin: i64,
    /// See `begin`.
    pub end: i64,
    /// Counts along, positive in the swipe's own direction.
    pub along: f64,
    /// Counts across.
    pub across: f64,
    /// Peak of the counted speed over a short window, counts per second.
    pub peak: f64,
    /// True if it holds a reversal in mid-travel.
    pub reversal: bool,
    /// One travel in counts, as the finder took it.
    pub one_travel: f64,
}

impl Swipe {
    /// +1 for *out*, −1 for *back*: what turns counts along the frame into counts along the swipe.
    pub fn sign(&self) -> f64 {
        match self.direction {
            Direction::Out => 1.0,
            Direction::Back => -1.0,
        }
    }
}

/// The swipes of a phase.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// In order of time.
    pub swipes: Vec<Swipe>,
    /// Returns that must have been made and were not seen.
    pub unplaced: u32,
}

/// Speeds at a fragment's ends and its peak are means over this many reports.
const FLANK: usize = 5;

/// Largest travel seen in a phase, in counts: what the finder takes for one travel where the plan does not tell.
pub fn largest_travel(series: &Series, frame: Frame) -> Option<f64> {
    let pieces = fragments(series, frame, 0.0);
    let largest = pieces.iter().map(|f| f.along.abs()).fold(0.0, f64::max);
    let recurring: Vec<f64> =
        fragments(series, frame, TURN * largest).iter().map(|f| f.along.abs()).collect();
    let large: Vec<f64> = recurring.into_iter().filter(|&a| a >= 0.3 * largest).collect();
    quantile(&large, 0.9)
}

/// Finds the swipes of a phase. `travel` is one travel in counts.
pub fn find(series: &Series, frame: Frame, travel: f64) -> Found {
    let pieces = join(fragments(series, frame, TURN * travel), travel);
    let mut found = Found::default();
    for piece in pieces.into_iter().filter(|p| p.along.abs() >= LEAST * travel) {
        let direction = if piece.along >= 0.0 { Direction::Out } else { Direction::Back };
        if found.swipes.last().is_some_and(|last| last.direction == direction) {
            found.unplaced += 1;
        }
        let across: f64 = series.samples[piece.rows.clone()].iter().map(|s| frame.of(s).1).sum();
        found.swipes.push(Swipe {
            number: found.swipes.len() as u32 + 1,
            direction,
            rows: piece.rows,
            begin: piece.begin,
            end: piece.end,
            along: piece.along.abs(),
            across,
            peak: piece.peak,
            reversal: piece.reversal,
            one_travel: travel,
        });
    }
    found
}

/// Cuts the motion at pauses and at turning points of more than `turn` counts.
fn fragments(series: &Series, frame: Frame, turn: f64) -> Vec<Fragment> {
    let samples = &series.samples;
    let mut cuts = vec![0];
    let (mut place, mut extreme, mut extreme_row, mut forward) = (0.0f64, 0.0f64, 0usize, 0.0f64);
    for (row, s) in samples.iter().enumerate() {
        if row > 0 && s.t - samples[row - 1].t > PAUSE {
            cuts.push(row);
            (place, extreme, extreme_row, forward) = (0.0, 0.0, row, 0.0);
        }
        place += frame.of(s).0;
        if forward == 0.0 {
            // The direction of a new fragment shows once it has gone further than a turn.
            if place.abs() > turn {
                forward = place.signum();
                (extreme, extreme_row) = (place, row);
            }
        } else if (place - extreme) * forward >= 0.0 {
            (extreme, extreme_row) = (place, row);
        } else if (extreme - place) * forward > turn {
            cuts.push(extreme_row + 1);
            forward = -forward;
            (extreme, extreme_row) = (place, row);
        }
    }
    cuts.push(samples.len());
    cuts.windows(2).filter(|c| c[0] < c[1]).map(|c| fragment(series, frame, c[0]..c[1])).collect()
}

fn fragment(series: &Series, frame: Frame, rows: Range<usize>) -> Fragment {
    let samples = &series.samples[rows.clone()];
    let along: f64 = samples.iter().map(|s| frame.of(s).0).sum();
    let sign = along.signum();
    let speeds: Vec<f64> = samples
        .windows(FLANK + 1)
        .map(|w| {
            let counts: f64 = w[1..].iter().map(|s| frame.of(s).0).sum();
            sign * counts / ((w[FLANK].t - w[0].t).max(1) as f64 * 1e-9)
        })
        .collect();
    Fragment {
        begin: samples.first().map_or(0, |s| s.t),
        end: samples.last().map_or(0, |s| s.t),
        along,
        peak: speeds.iter().copied().fold(0.0, f64::max),
        entry: speeds.first().copied().unwrap_or(0.0),
        exit: speeds.last().copied().unwrap_or(0.0),
        rows,
        reversal: false,
    }
}

/// Joins fragments that cannot be separate swipes, left to right.
fn join(pieces: Vec<Fragment>, travel: f64) -> Vec<Fragment> {
    let mut joined: Vec<Fragment> = Vec::new();
    for piece in pieces {
        joined.push(piece);
        while let Some(merged) = join_last(&joined, travel) {
            let (keep, one) = merged;
            joined.truncate(keep);
            joined.push(one);
        }
    }
    joined
}

/// The last two or three fragments as one, if they are one swipe.
fn join_last(pieces: &[Fragment], travel: f64) -> Option<(usize, Fragment)> {
    let n = pieces.len();
    if let [.., a, b, c] = pieces {
        let through = b.begin - a.end <= PAUSE && c.begin - b.end <= PAUSE;
        let same = a.along * c.along > 0.0 && a.along * b.along < 0.0;
        let middle = a.along.abs() < 0.9 * travel && b.along.abs() < 0.6 * travel;
        let fits = (a.along + b.along + c.along).abs() <= ONE_TRAVEL * travel;
        if through && same && middle && fits && b.along.abs() > 0.0 {
            return Some((n - 3, merge(&[a, b, c], true)));
        }
    }
    if let [.., a, b] = pieces {
        let gap = b.begin - a.end;
        let same = a.along * b.along > 0.0;
        let one_travel = (a.along + b.along).abs() <= ONE_TRAVEL * travel;
        let at_speed = a.exit > AT_SPEED * a.peak || b.entry > AT_SPEED * b.peak;
        let worth = a.along.abs().max(b.along.abs()) >= LEAST * travel;
        // A creeping end or start of a slow swipe: reports far apart, a few counts, close in time.
        let creeping = gap <= 4 * PAUSE && a.along.abs().min(b.along.abs()) < 0.03 * travel;
        if same && one_travel && worth && gap <= LONGEST_SILENCE && (at_speed || creeping) {
            return Some((n - 2, merge(&[a, b], false)));
        }
    }
    None
}

fn merge(parts: &[&Fragment], reversal: bool) -> Fragment {
    let (first, last) = (parts[0], parts[parts.len() - 1]);
    Fragment {
        rows: first.rows.start..last.rows.end,
        along: parts.iter().map(|p| p.along).sum(),
        peak: parts.iter().map(|p| p.peak).fold(0.0, f64::max),
        entry: first.entry,
        exit: last.exit,
        begin: first.begin,
        end: last.end,
        reversal: reversal || parts.iter().any(|p| p.reversal),
    }
}
