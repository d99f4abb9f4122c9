//! Reports taken together, and the part of a swipe that is searched.

use super::arc::Turning;
use super::{ARM_ACCELERATION, Bench};
use crate::series::{CONTIGUOUS, Frame, RUSHED, Sample, Series};
use crate::swipes::Swipe;
use std::ops::Range;

/// Reports that come faster than this are taken together: what is worth reporting lasts about as long, and a few counts
/// in each report would tell nothing. Nanoseconds.
const CELL: f64 = 1e6;
/// Reports in a cell at most (64 kHz).
const MOST_IN_CELL: f64 = 64.0;

/// Reports in a cell, by the report interval in nanoseconds.
pub(crate) fn in_a_cell(slot: f64) -> usize {
    (CELL / slot).round().clamp(1.0, MOST_IN_CELL) as usize
}
/// What [`CONTIGUOUS`] is to a cell of many reports, which may hold one that came late.
pub(crate) const CONTIGUOUS_MANY: f64 = 2.2;
/// Distance from the stops within which a device may bounce or twist, mm.
const END_ZONE_MM: f64 = 8.0;

/// Share of a travel by which a sound swipe may count less: the tolerance of a gain, and what 15 degrees of yaw cost.
const FEWER: f64 = 0.03;

/// Some reports that are looked at together: one, or those of [`CELL`].
#[derive(Clone, Debug)]
pub(super) struct Cell {
    /// Rows of the swipe.
    pub(super) rows: Range<usize>,
    /// Counts along and across, in the swipe's own direction.
    pub(super) counts: (f64, f64),
    /// The same at the pace at which they were made: what the first report after empty slots holds of all of them, in
    /// equal parts. Where it makes up for none of them it was made faster.
    pub(super) paced: (f64, f64),
    /// True if no report is missing before it or in it.
    pub(super) contiguous: bool,
    /// True if it has as many reports as it should.
    pub(super) whole: bool,
}

/// Groups reports into cells of equal numbers; with their width.
fn cells(samples: &[Sample], counts: &[(f64, f64)], slot: f64) -> (Vec<Cell>, f64) {
    let each = in_a_cell(slot);
    let most = slot * if each == 1 { CONTIGUOUS } else { CONTIGUOUS_MANY };
    let follows = |row: usize| row > 0 && ((samples[row].t - samples[row - 1].t) as f64) < most;
    let slots = |row: usize| match row {
        0 => 1.0,
        row => (samples[row].t.saturating_sub(samples[row - 1].t) as f64 / slot).max(1.0),
    };
    let mut cells: Vec<Cell> = Vec::new();
    for (row, c) in counts.iter().enumerate().take(samples.len()) {
        let follows = follows(row);
        match cells.last_mut() {
            Some(last) if follows && last.rows.len() < each => {
                last.rows.end = row + 1;
                last.counts = (last.counts.0 + c.0, last.counts.1 + c.1);
                last.paced = (last.paced.0 + c.0, last.paced.1 + c.1);
            }
            _ => {
                let over = if follows { 1.0 } else { slots(row) };
                let paced = (c.0 / over, c.1 / over);
                let rows = row..row + 1;
                cells.push(Cell { rows, counts: *c, paced, contiguous: follows, whole: each == 1 });
            }
        }
        if let Some(last) = cells.last_mut() {
            last.whole = last.rows.len() == each;
        }
    }
    // A cell that was cut off says nothing, and neither does one after it.
    let mut whole = false;
    for cell in &mut cells {
        let own = cell.whole;
        cell.contiguous &= own && whole;
        whole = own;
    }
    (cells, each as f64 * slot)
}

/// One swipe under search; cells count from the swipe's first.
pub(super) struct Search<'a> {
    pub(super) samples: &'a [Sample],
    pub(super) first: usize,
    pub(super) cells: Vec<Cell>,
    /// Report interval and width of a cell, nanoseconds.
    pub(super) slot: f64,
    pub(super) width: f64,
    pub(super) counts_per_mm: f64,
    /// Counts by which a velocity (per cell) may change within a cell.
    pub(super) arm: f64,
    /// See [`Bench::beat`].
    pub(super) beat: f64,
    /// Radians per count by which it turns on its way.
    pub(super) bend: f64,
    /// Counts of a whole travel.
    pub(super) travel: f64,
    /// And within which thin counts may be a hand's.
    pub(super) hand: f64,
    /// Cells away from the stops.
    pub(super) inner: Range<usize>,
    /// First cell after the last stretch: what came before it tells no velocity.
    pub(super) since: usize,
}

impl<'a> Search<'a> {
    pub(super) fn new(series: &'a Series, frame: Frame, swipe: &Swipe, bench: &Bench) -> Option<Search<'a>> {
        let samples = series.samples.get(swipe.rows.clone())?;
        if bench.slot.is_nan()
            || bench.slot <= 0.0
            || bench.counts_per_mm.is_nan()
            || bench.counts_per_mm <= 0.0
        {
            return None;
        }
        Search::of(samples, &swipe.counts(samples, frame), swipe, bench)
    }

    /// The same, each report's counts over the time that it covers; a stamp of less than [`RUSHED`] is a reader's doing.
    pub(super) fn by_time(
        series: &'a Series,
        frame: Frame,
        swipe: &Swipe,
        bench: &Bench,
    ) -> Option<Search<'a>> {
        let samples = series.samples.get(swipe.rows.clone())?;
        let mut counts = swipe.counts(samples, frame);
        for (two, c) in samples.windows(2).zip(counts.iter_mut().skip(1)) {
            let apart = two[1].t.saturating_sub(two[0].t) as f64;
            if two[1].timed && apart < CONTIGUOUS * bench.slot {
                let share = bench.slot / apart.max(RUSHED * bench.slot);
                *c = (share * c.0, share * c.1);
            }
        }
        Search::of(samples, &counts, swipe, bench)
    }

    fn of(samples: &'a [Sample], counts: &[(f64, f64)], swipe: &Swipe, bench: &Bench) -> Option<Search<'a>> {
        let (cells, width) = cells(samples, counts, bench.slot);
        let seconds = width * 1e-9;
        let counts_in_a_cell = 1e3 * bench.counts_per_mm * seconds * seconds;
        let arm = ARM_ACCELERATION * counts_in_a_cell;
        let zone = END_ZONE_MM * bench.counts_per_mm;
        let inner = inner(&cells, zone, (1.0 - FEWER) * swipe.one_travel - zone);
        Some(Search {
            samples,
            first: swipe.rows.start,
            cells,
            slot: bench.slot,
            width,
            counts_per_mm: bench.counts_per_mm,
            arm,
            beat: bench.beat,
            bend: swipe.sign() * bench.bend,
            travel: swipe.one_travel,
            hand: arm,
            inner,
            since: 0,
        })
    }

    /// How the motion turns on from a cell that it reaches at so many counts a cell.
    pub(super) fn turning(&self, cell: usize, speed: f64) -> Turning {
        let left = self.travel - self.sum(0..cell).0;
        let speed = speed / (self.width * 1e-9);
        Turning { bend: self.bend, counts_per_mm: self.counts_per_mm, speed, left }
    }

    /// Time from the begin of a cell to that of another, seconds.
    pub(super) fn seconds(&self, from: usize, to: usize) -> f64 {
        let begin = |cell: usize| self.samples[self.cells[cell].rows.start].t;
        begin(to).saturating_sub(begin(from)).max(0) as f64 * 1e-9
    }

    /// Counts of some cells of which the first may follow a silence.
    pub(super) fn paced(&self, cells: Range<usize>) -> (f64, f64) {
        let Some(first) = self.cells.get(cells.start).filter(|_| !cells.is_empty()) else {
            return (0.0, 0.0);
        };
        let others = self.sum(cells.start + 1..cells.end);
        (first.paced.0 + others.0, first.paced.1 + others.1)
    }

    pub(super) fn sum(&self, rows: Range<usize>) -> (f64, f64) {
        self.cells[rows].iter().fold((0.0, 0.0), |a, c| (a.0 + c.counts.0, a.1 + c.counts.1))
    }
}

/// Cells that lie further than `zone` from where the swipe began and before its last run forward came within `zone` of
/// its end; a run of no more than one and a half zones is a device that bounces. Nor from where it may have come to the stop
/// on (`arrives`): a cell more, since one that holds the strike ends short of it again. A bounce that lasts goes further
/// than any zone, by the square of the speed. (Added after strikes at 1.5 m/s and more had been seen to be spin-outs.)
fn inner(cells: &[Cell], zone: f64, arrives: f64) -> Range<usize> {
    let mut place = 0.0;
    let come = |c: &Cell| {
        place += c.counts.0;
        place + c.counts.0 >= arrives
    };
    let stop = cells.iter().position(come).map_or(cells.len(), |i| i + 1);
    let mut place = 0.0;
    let begun = |c: &Cell| {
        place += c.counts.0;
        place > zone
    };
    let from = cells.iter().position(begun).unwrap_or(cells.len());
    let (mut run, mut end, mut to) = (0.0, cells.len(), 0);
    for (i, cell) in cells.iter().enumerate().rev() {
        if cell.counts.0 < 0.0 {
            (run, end) = (0.0, i);
            continue;
        }
        if run <= zone {
            end = i;
        }
        run += cell.counts.0;
        if run > 1.5 * zone {
            to = end;
            break;
        }
    }
    from..to.min(stop).max(from)
}
