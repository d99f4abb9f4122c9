//! Finding the swipes of a phase from the counts, on a device that may fail.
//!
//! 1. *Fragments*: the motion is cut where it rests (less than [`REST`] of the travel in [`PAUSE`]; a device that
//!    creeps at a stop is never quite silent) and at turning points (a reversal of more than [`TURN`] of the travel).
//! 2. *Joining*: fragments that cannot be separate swipes are one swipe: the same direction with a pause ended at
//!    speed (the hand was moving: the device was silent), or some of one direction that make one travel together (the
//!    hand rested on the way); and false motion backwards: a short reversal with no rest on either side, or a longer
//!    one that is entered and left at speed, as no hand turns.
//! 3. *Placing*: what reaches [`LEAST`] of the travel is a swipe; less is one between two of the other direction, if it
//!    breaks off at speed. Two neighbours in the same direction mean that the return between them was not seen: one swipe
//!    *unplaced*, never left out.
//!    The first counts of a swipe that a silence has cut off belong to it, however few ([`cut_off_start`]).
//! 4. *Measuring*: a swipe's length is the displacement between the rests around it ([`length`]).
//!
//! One travel in counts is the largest fragment that recurs (0.9 quantile), see [`largest_travel`]. Smaller fragments
//! (bounce, knock, settling) belong to no swipe. Cost: O(n) in reports, O(m log m) in fragments.

use crate::series::{DUE, Frame, Sample, Series};
use crate::stats::quantile;
use crate::verdict::Direction;
use std::ops::Range;

mod length;

/// Resting for this long ends a fragment. Shorter than a dwell at a stop (0.1 s and more).
pub const PAUSE: i64 = 60_000_000;
/// Moving less than this share of the travel within [`PAUSE`] is resting: 0.6 mm of 300, or 10 mm/s. A hand that
/// swipes is faster but for its first and last few milliseconds.
const REST: f64 = 0.002;
/// A reversal of this share of the travel is a turning point; a bounce off a stop is less (1 to 5 mm of 300).
const TURN: f64 = 0.04;
/// A swipe shows at least this share of the travel: 15 mm of 300. A sensor that goes blind early in a flick shows no
/// more; a bounce or a knock shows less.
pub(crate) const LEAST: f64 = 0.05;
/// Two fragments of one direction that sum to no more than this share of the travel are one swipe.
const ONE_TRAVEL: f64 = 1.15;
/// And if they sum to at least this share, they are one swipe with a rest on the way.
const WHOLE: f64 = 0.85;
/// A rest on the way of a swipe whose parts make one whole travel lasts no longer than this.
const LONGEST_REST: i64 = 4_000_000_000;
/// A pause is begun at speed if the last reports before it run at more than this share of the fragment's peak.
pub const AT_SPEED: f64 = 0.35;
/// Either part of a swipe that a silence has cut in two shows at least this share of the travel.
const PART: f64 = 0.01;
/// A silence at speed lasts no longer than a slow swipe's whole travel.
const LONGEST_SILENCE: i64 = 1_500_000_000;

/// No device falls asleep sooner after it has moved (common practice, no source).
pub const ASLEEP: i64 = 100_000_000;

/// False motion backwards is no longer than this share of the travel; a short one needs no further evidence, a longer
/// one is entered and left at speed.
const BACKWARDS: f64 = 0.3;
const FAR_BACKWARDS: f64 = 0.6;
/// A turn between two reports is no longer than this: two at 125 Hz. Any hand is longer at a stop.
const FLIP: i64 = 17_000_000;
/// Pieces that were counted the one way and the other are one swipe if they are no longer than this share of the travel.
const PATH: f64 = 1.25;
/// A body leaves a stop no faster than this share of the speed that it came with: 0.4 and less is usual (common practice, no
/// source), and both are read over some reports.
const LEAVES_STOP: f64 = 0.6;
/// And a hand that pushes on brings it back to the stop: as far, to this share.
const BACK_AT_STOP: f64 = 0.25;
/// A swipe that ends at a stop has made this share of the travel.
pub const AT_STOP: f64 = 0.9;
/// A rest on the way cuts a swipe into no more parts than this.
const MOST_PARTS: usize = 4;

/// A run of motion in one direction, or some of them that are one swipe.
#[derive(Clone, Debug)]
struct Fragment {
    rows: Range<usize>,
    /// +1 or −1: the direction of its first part.
    sign: f64,
    /// Its length, or that of its longest part if that is more.
    reach: f64,
    along: f64,
    peak: f64,
    entry: f64,
    exit: f64,
    begin: i64,
    end: i64,
}

/// One travel from stop to stop, as found.
#[derive(Clone, Debug)]
pub struct Swipe {
    /// Number within its phase, from 1.
    pub number: u32,
    /// Direction.
    pub direction: Direction,
    /// Samples of the phase's series, from the first to the last that moved at more than a creep.
    pub rows: Range<usize>,
    /// Time of the first and last of them.
    pub begin: i64,
    /// See `begin`.
    pub end: i64,
    /// Counts along between the places of the rests around it, positive in the swipe's own direction.
    pub along: f64,
    /// Counts across, likewise.
    pub across: f64,
    /// Peak of the counted speed over a short window, counts per second.
    pub peak: f64,
    /// Counted speed over its last reports, counts per second.
    pub exit: f64,
    /// One travel in counts, as the finder took it.
    pub one_travel: f64,
    /// Counts by which it is longer than one travel, beyond what placing explains; negative if shorter.
    pub surplus: f64,
    /// True if the operator stopped short: this swipe, or the one before, so that this one began there.
    pub began_short: bool,
    /// See `began_short`.
    pub stopped_short: bool,
}

impl Swipe {
    /// True if counts are missing that no operator explains: it is short, and neither stopped nor began short.
    pub fn is_short(&self) -> bool {
        self.surplus < 0.0 && !self.began_short && !self.stopped_short
    }

    /// +1 for *out*, −1 for *back*: what turns counts along the frame into counts along the swipe.
    pub fn sign(&self) -> f64 {
        match self.direction {
            Direction::Out => 1.0,
            Direction::Back => -1.0,
        }
    }

    /// Counts along in its own direction, one a report.
    pub fn along(&self, samples: &[Sample], frame: Frame) -> Vec<f64> {
        samples.iter().map(|s| self.sign() * frame.of(s).0).collect()
    }

    /// Counts along and across in its own direction, one pair a report.
    pub fn counts(&self, samples: &[Sample], frame: Frame) -> Vec<(f64, f64)> {
        let sign = self.sign();
        let own = |(along, across)| (sign * along, sign * across);
        samples.iter().map(|s| own(frame.of(s))).collect()
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

/// Speeds at a fragment's ends and its peak are means over this many reports, and over this time, nanoseconds, where they
/// come faster. (Added after sensors that fell silent in mid-swipe at 8 kHz had been seen to make two swipes of one in
/// every fourth: five reports that a reader hands on at once look faster than all others.)
const FLANK: usize = 5;
const FLANK_TIME: i64 = 4_000_000;

/// One travel in counts: the largest displacement between turning points that recurs in a phase.
pub fn largest_travel(series: &Series, frame: Frame) -> Option<f64> {
    let places = places(series, frame);
    let (low, high) = places.iter().fold((0.0f64, 0.0f64), |(low, high), &p| (low.min(p), high.max(p)));
    // What is lost adds up, so that the range is one travel or more; a twentieth of it is well under one travel.
    let legs = cuts(series, &places, 0.0, 0.05 * (high - low));
    let lengths: Vec<f64> =
        legs.into_iter().map(|rows| (places[rows.end] - places[rows.start]).abs()).collect();
    let largest = lengths.iter().copied().fold(0.0, f64::max);
    let recurring: Vec<f64> = lengths.into_iter().filter(|&a| a >= 0.3 * largest).collect();
    quantile(&recurring, 0.9)
}

/// Finds the swipes of a phase. `travel` is one travel in counts.
pub fn find(series: &Series, frame: Frame, travel: f64) -> Found {
    find_calm(series, series, frame, travel, 0)
}

/// Finds them where `calm` is the series without what no hand can have made ([`Series::calm`]): a report of false motion as
/// long as a travel makes no swipe and ends none. Lengths are those of all that was counted. Where fewer than half of the swipes `asked`
/// for are found, beginnings that break off at speed are swipes, however short, if they are more than that and no more than asked. (Added
/// after a sensor that went blind in the first two millimetres of each of 60 flicks had left nothing to judge.)
pub fn find_calm(series: &Series, calm: &Series, frame: Frame, travel: f64, asked: u32) -> Found {
    let pieces = cuts(calm, &places(calm, frame), REST * travel, TURN * travel);
    let all: Vec<Fragment> = pieces.into_iter().map(|rows| fragment(calm, frame, rows)).collect();
    // A creep at a stop, a bounce, or the last counts before a stop are no part of their own.
    let pieces = join(all.iter().filter(|p| p.along.abs() >= PART * travel).cloned().collect(), travel);
    let mut pieces = placed(calm, frame, pieces, travel);
    let half = asked as usize / 2;
    if pieces.len() < half {
        let begun = all.into_iter().filter(|p| p.reach >= PART * travel || breaks_off(calm, frame, p));
        let begun = join(begun.collect(), travel);
        pieces = if begun.len() > half && begun.len() <= asked as usize { begun } else { pieces };
    }
    let mut found = Found::default();
    for piece in pieces {
        let direction = if piece.sign >= 0.0 { Direction::Out } else { Direction::Back };
        if found.swipes.last().is_some_and(|last| last.direction == direction) {
            found.unplaced += 1;
        }
        let after = found.swipes.last().map_or(0, |last| last.rows.end);
        let start = cut_off_start(calm, frame, &piece, after).unwrap_or(piece.rows.start);
        found.swipes.push(Swipe {
            number: found.swipes.len() as u32 + 1,
            direction,
            begin: series.samples.get(start).map_or(piece.begin, |s| s.t),
            rows: start..piece.rows.end,
            end: piece.end,
            along: piece.sign * piece.along,
            across: 0.0,
            peak: piece.peak,
            exit: piece.exit,
            one_travel: travel,
            surplus: 0.0,
            began_short: false,
            stopped_short: false,
        });
    }
    length::measure(series, frame, &places(series, frame), &mut found.swipes);
    found
}

/// Where the swipe really began, if a silence cut off its first counts: it is entered at speed, as no hand sets out, and
/// before it the device moved the same way and fell silent at speed. Such a start may be too short for a part. What the
/// device said between the silence and the piece, less than ends a rest, is the piece's own: so it is looked for twice.
fn cut_off_start(series: &Series, frame: Frame, piece: &Fragment, after: usize) -> Option<usize> {
    if piece.entry <= AT_SPEED * piece.peak {
        return None;
    }
    let near = start_before(series, frame, piece.sign, after..piece.rows.start)?;
    let begin = series.samples.get(near)?.t;
    let last = near.checked_sub(1).and_then(|row| series.samples.get(row));
    let far = last.filter(|s| begin.saturating_sub(s.t) > PAUSE);
    let far = far.and_then(|_| start_before(series, frame, piece.sign, after..near));
    Some(far.unwrap_or(near))
}

/// The first row of the motion that ends with some rows, if it fell silent at speed there. After a longer rest, in which a
/// device may have fallen asleep, it takes more than one report to tell it from a last bounce.
fn start_before(series: &Series, frame: Frame, sign: f64, rows: Range<usize>) -> Option<usize> {
    let begin = series.samples.get(rows.end)?.t;
    let after = rows.start;
    let samples = series.samples.get(rows)?;
    let last = samples.last()?;
    let gap = begin.saturating_sub(last.t);
    if gap > LONGEST_SILENCE {
        return None;
    }
    let along = |s: &Sample| sign * frame.of(s).0;
    let run = samples.get(samples.len() - run_length(samples, along)..)?;
    let moved: f64 = run.iter().map(|s| along(s).max(0.0)).sum();
    let enough = run.len() > 1 || gap < ASLEEP;
    let speeds_up = late(run, along).0 > AT_SPEED || quickens(run, along);
    (enough && moved >= DUE as f64 && speeds_up).then_some(after + samples.len() - run.len())
}

/// How many of the last reports run in one direction without a rest.
fn run_length(samples: &[Sample], along: impl Fn(&Sample) -> f64) -> usize {
    let mut next = samples.last().map_or(0, |s| s.t);
    let run = samples.iter().rev().take_while(|s| {
        let follows = next.saturating_sub(s.t) <= PAUSE && along(s) >= -1.0;
        next = s.t;
        follows
    });
    run.count()
}

/// True if a run of reports is fastest by far when it ends, as where a hand sets out and the device falls silent: a device
/// that settles or bounces slows. The last report holds a part of its interval, however short, and may be left out.
fn quickens(run: &[Sample], along: impl Fn(&Sample) -> f64) -> bool {
    let whole = run.get(..run.len().saturating_sub(1)).unwrap_or_default();
    [run, whole].into_iter().filter(|run| run.len() >= 2).any(|run| {
        let (counts, reports) = late(run, &along);
        counts > 4.0 * AT_SPEED * reports
    })
}

/// Share of the counts that the last quarter of the time holds, and of the reports.
fn late(run: &[Sample], along: impl Fn(&Sample) -> f64) -> (f64, f64) {
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return (0.0, 1.0) };
    let since = last.t.saturating_sub(last.t.saturating_sub(first.t) / 4);
    let late = run.get(run.partition_point(|s| s.t < since)..).unwrap_or_default();
    let moved: f64 = run.iter().map(|s| along(s).max(0.0)).sum();
    let share = late.iter().map(along).sum::<f64>() / moved.max(f64::MIN_POSITIVE);
    (share, late.len() as f64 / run.len() as f64)
}

/// True if a piece, with its first counts, less than ends a rest, is fastest when it ends.
fn breaks_off(calm: &Series, frame: Frame, piece: &Fragment) -> bool {
    let samples = calm.samples.get(..piece.rows.end).unwrap_or_default();
    let along = |s: &Sample| piece.sign * frame.of(s).0;
    let run = samples.get(samples.len() - run_length(samples, along)..).unwrap_or_default();
    run.len() >= 3 && quickens(run, along)
}

/// The pieces that are swipes. Of two neighbours in one direction the return lies between them: where a piece too small for
/// a swipe runs that way and breaks off at speed, that is what the device has shown of it.
fn placed(calm: &Series, frame: Frame, pieces: Vec<Fragment>, travel: f64) -> Vec<Fragment> {
    let mut placed: Vec<Fragment> = Vec::new();
    let mut small: Option<Fragment> = None;
    for piece in pieces {
        let same = placed.last().is_some_and(|last| last.sign * piece.sign > 0.0);
        if piece.reach >= LEAST * travel {
            placed.extend(small.take().filter(|_| same));
            placed.push(piece);
        } else if !placed.is_empty() && !same {
            let larger = small.as_ref().is_none_or(|small| piece.reach > small.reach);
            small = if larger && breaks_off(calm, frame, &piece) { Some(piece) } else { small };
        }
    }
    placed
}

/// Place along before each sample, and after the last; length n + 1.
fn places(series: &Series, frame: Frame) -> Vec<f64> {
    let mut place = 0.0;
    let after = series.samples.iter().map(|s| {
        place += frame.of(s).0;
        place
    });
    std::iter::once(0.0).chain(after).collect()
}

/// Runs of samples between rests (moving no more than `rest` in [`PAUSE`]) and turning points of more than `turn`.
fn cuts(series: &Series, places: &[f64], rest: f64, turn: f64) -> Vec<Range<usize>> {
    let samples = &series.samples;
    let n = samples.len();
    let mut runs = Vec::new();
    let (mut start, mut extreme, mut extreme_row, mut forward) = (0, 0.0, 0, 0.0);
    // `ahead` is the first sample that has moved on by more than `rest`; it never goes back.
    let mut ahead = 0;
    let mut row = 0;
    while row < n {
        let here = places[row + 1];
        if row == start {
            (extreme, extreme_row, forward) = (places[row], row, 0.0);
        }
        if forward == 0.0 {
            // The direction of a new run shows once it has gone further than a turn.
            if (here - places[start]).abs() > turn {
                forward = (here - places[start]).signum();
                (extreme, extreme_row) = (here, row);
            }
        } else if (here - extreme) * forward >= 0.0 {
            (extreme, extreme_row) = (here, row);
        } else if (extreme - here) * forward > turn {
            runs.push(start..extreme_row + 1);
            start = extreme_row + 1;
            forward = -forward;
            (extreme, extreme_row) = (here, row);
        }
        ahead = ahead.max(row + 1);
        while ahead < n
            && (places[ahead + 1] - here).abs() <= rest
            && samples[ahead].t - samples[row].t <= PAUSE
        {
            ahead += 1;
        }
        let rests = ahead >= n || samples[ahead].t - samples[row].t > PAUSE;
        if rests {
            runs.push(start..row + 1);
            // The run that follows begins with the first sample that moves on.
            let mut next = row + 1;
            while next < n && (places[next + 1] - here).abs() <= rest {
                next += 1;
            }
            (start, row) = (next, next);
            continue;
        }
        row += 1;
    }
    runs.retain(|run| !run.is_empty());
    runs
}

fn fragment(series: &Series, frame: Frame, rows: Range<usize>) -> Fragment {
    let samples = &series.samples[rows.clone()];
    let along: f64 = samples.iter().map(|s| frame.of(s).0).sum();
    let sign = along.signum();
    let intervals = samples.len().saturating_sub(1);
    let takes = samples.last().zip(samples.first()).map_or(0, |(last, first)| last.t.saturating_sub(first.t));
    let most = FLANK.max((FLANK_TIME as f64 * intervals as f64 / takes.max(1) as f64) as usize);
    let flank = most.min(intervals).max(1);
    let speed = |w: &[Sample]| {
        let counts: f64 = w[1..].iter().map(|s| frame.of(s).0).sum();
        sign * counts / ((w[w.len() - 1].t - w[0].t).max(1) as f64 * 1e-9)
    };
    let speeds: Vec<f64> = samples.windows(flank + 1).map(speed).collect();
    // Of a few reports the first third, else a hand that sets out is at speed by their end.
    let first = most.min(intervals / 3).max(1);
    Fragment {
        begin: samples.first().map_or(0, |s| s.t),
        end: samples.last().map_or(0, |s| s.t),
        sign,
        reach: along.abs(),
        along,
        peak: speeds.iter().copied().fold(0.0, f64::max),
        entry: samples.get(..=first).map_or(0.0, speed),
        exit: speeds.last().copied().unwrap_or(0.0),
        rows,
    }
}

/// Joins fragments that cannot be separate swipes, left to right.
fn join(pieces: Vec<Fragment>, travel: f64) -> Vec<Fragment> {
    let mut joined: Vec<Fragment> = Vec::new();
    for piece in pieces {
        // Before what follows is looked at: it may run as the false motion did, on the way back.
        join_last_motion(&mut joined, piece.begin, travel);
        joined.push(piece);
        while let Some((keep, one)) = join_last(&joined, travel) {
            joined.truncate(keep);
            joined.push(one);
        }
    }
    join_last_motion(&mut joined, i64::MAX, travel);
    joined
}

/// The last fragments as one, if they are one swipe, with the number of those that stay.
fn join_last(pieces: &[Fragment], travel: f64) -> Option<(usize, Fragment)> {
    let n = pieces.len();
    if let [.., a, b, c] = pieces {
        let through = b.begin - a.end <= PAUSE && c.begin - b.end <= PAUSE;
        let same = a.sign * c.sign > 0.0 && a.sign * b.sign < 0.0;
        let back = b.along.abs();
        let false_motion = back < BACKWARDS * travel
            || (back < FAR_BACKWARDS * travel && turns_at_speed(a, b) && turns_at_speed(b, c))
            || (flips(a, b) && flips(b, c) && makes_one_travel(&[a, b, c], travel));
        let middle = a.along.abs() < AT_STOP * travel && false_motion;
        let fits = (a.along + b.along + c.along).abs() <= ONE_TRAVEL * travel;
        if through && same && back > 0.0 && (middle && fits || bounces(a, b, c, travel)) {
            return Some((n - 3, merge(&[a, b, c])));
        }
    }
    if let [.., a, b] = pieces {
        let gap = b.begin - a.end;
        let same = a.sign * b.sign > 0.0;
        let one_travel = (a.along + b.along).abs() <= ONE_TRAVEL * travel;
        // A hand that sets out has rested, though the counts before ended at speed.
        let at_speed = b.entry > AT_SPEED * b.peak;
        if same && one_travel && at_speed && gap <= LONGEST_SILENCE {
            return Some((n - 2, merge(&[a, b])));
        }
    }
    // The hand rested on the way: the parts make one whole travel.
    for count in 2..=MOST_PARTS.min(n) {
        let parts = &pieces[n - count..];
        let same =
            parts.windows(2).all(|w| w[0].sign * w[1].sign > 0.0 && w[1].begin - w[0].end <= LONGEST_REST);
        let sum = parts.iter().map(|p| p.along).sum::<f64>().abs();
        if same && (WHOLE * travel..=ONE_TRAVEL * travel).contains(&sum) {
            return Some((n - count, merge(&parts.iter().collect::<Vec<_>>())));
        }
    }
    None
}

/// True if a swipe reached its stop and bounced off it: slower, and back to the stop at once. How far is no share of the
/// travel: 25 mm after a strike at 2.5 m/s that leaves at 0.4 of it, against a hand that pushes on with 20 m/s². (Added after
/// hard strikes over 150 mm had been seen to make two swipes each.)
fn bounces(a: &Fragment, b: &Fragment, c: &Fragment, travel: f64) -> bool {
    let reached = (AT_STOP..ONE_TRAVEL).contains(&(a.along.abs() / travel));
    let slower = b.peak.max(c.peak) <= LEAVES_STOP * a.peak;
    let again = (b.along + c.along).abs() <= (BACK_AT_STOP * b.along.abs()).max(PART * travel);
    reached && slower && again && b.along.abs() < BACKWARDS * travel
}

/// True if the motion turns round without slowing.
fn turns_at_speed(a: &Fragment, b: &Fragment) -> bool {
    a.exit > AT_SPEED * a.peak && b.entry > AT_SPEED * b.peak
}

/// True if it turns round without slowing, between two reports.
fn flips(a: &Fragment, b: &Fragment) -> bool {
    turns_at_speed(a, b) && b.begin - a.end <= FLIP
}

/// True if some fragments are no longer than one travel, whichever way they are counted: a sensor that counts backwards
/// counts the way all the same, and two swipes are longer. (Added after a blind tester's device that did so from a third of its
/// peak on had made three swipes of each, so that a third of them and not all were bad.)
fn makes_one_travel(parts: &[&Fragment], travel: f64) -> bool {
    parts.iter().map(|p| p.along.abs()).sum::<f64>() <= PATH * travel
}

/// False motion backwards with which a swipe ends: entered at speed in the middle of the travel, and rest after it.
fn join_last_motion(pieces: &mut Vec<Fragment>, next: i64, travel: f64) {
    let [.., last, back] = pieces.as_slice() else { return };
    let false_motion = next.saturating_sub(back.end) > PAUSE
        && back.begin - last.end <= PAUSE
        && last.sign * back.sign < 0.0
        && last.along.abs() < WHOLE * travel
        && (back.along.abs() < FAR_BACKWARDS * travel && turns_at_speed(last, back)
            || flips(last, back) && makes_one_travel(&[last, back], travel));
    if false_motion {
        let one = merge(&[last, back]);
        pieces.truncate(pieces.len() - 2);
        pieces.push(one);
    }
}

fn merge(parts: &[&Fragment]) -> Fragment {
    let (first, last) = (parts[0], parts[parts.len() - 1]);
    Fragment {
        rows: first.rows.start..last.rows.end,
        sign: first.sign,
        reach: parts.iter().map(|p| p.reach).fold(parts.iter().map(|p| p.along).sum::<f64>().abs(), f64::max),
        along: parts.iter().map(|p| p.along).sum(),
        peak: parts.iter().map(|p| p.peak).fold(0.0, f64::max),
        entry: first.entry,
        exit: last.exit,
        begin: first.begin,
        end: last.end,
    }
}

#[cfg(test)]
pub(crate) mod tests;
