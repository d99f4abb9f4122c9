//! Counted and expected motion of one swipe, side by side on a grid of report slots.
//!
//! Counts go into the slot in which they arrived; the expected speed is fitted to those that may be trusted
//! ([`crate::expected`]): not in silences, not in stretches that no hand made, not where reports are clipped, nor where one
//! report carries the counts of [slots before it](late). What speed may be [claimed](claim) is held apart.
//! Cost: O(slots).

mod claim;
mod late;

use crate::expected;
use crate::series::{Frame, Series};
use crate::silence::{END_ZONE_MM, LEAST_MM, Silence};
use crate::step::SwipeView;
use claim::Swept;
use std::ops::Range;

pub use claim::Claim;

/// Motion of one swipe on a grid of report slots, in the swipe's own direction.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// Begin of the first slot, nanoseconds since the session's start.
    pub begin: i64,
    /// Width of a slot, nanoseconds.
    pub slot: f64,
    /// Distance counted along in each slot, mm; shape `[n]`.
    pub along_mm: Vec<f64>,
    /// Distance counted across in each slot, mm; shape `[n]`.
    pub across_mm: Vec<f64>,
    /// Reports that moved something in each slot; shape `[n]`.
    pub reports: Vec<u16>,
    /// Expected speed along in each slot, mm/s; shape `[n]`.
    pub expected_mm_s: Vec<f64>,
    /// How fast it was, as a claim.
    pub claim: Claim,
    /// True if after a silence in motion one report handed on more than [`END_ZONE_MM`] of travel, told as a finding or not.
    pub held_up: bool,
}

impl Grid {
    /// Slot that holds a time; may lie outside the grid.
    pub fn index(&self, t: i64) -> usize {
        (((t - self.begin) as f64) / self.slot).max(0.0) as usize
    }

    /// Time of a slot's begin.
    pub fn time(&self, slot: usize) -> i64 {
        self.begin + (slot as f64 * self.slot) as i64
    }

    /// Slots of a silence.
    pub fn slots(&self, silence: &Silence) -> std::ops::Range<usize> {
        let n = self.along_mm.len();
        let end = if silence.to_the_end { n } else { self.index(silence.end).min(n) };
        (self.index(silence.begin) + 1).min(end)..end
    }

    /// Travel that was expected during a silence, mm. By its flanks, where a loss before it accounts for all that the swipe lacks
    /// and so nothing is left to be expected.
    pub fn silent_mm(&self, silence: &Silence) -> f64 {
        let due = self.expected_mm_s[self.slots(silence)].iter().map(|v| v.max(0.0)).sum::<f64>();
        let expected = due * self.slot * 1e-9;
        if expected < LEAST_MM { silence.missing_mm } else { expected }
    }

    /// The furthest that the counted motion falls behind the expected one from one time to another, mm: what a device holds back
    /// that counts no faster, until it hands it on.
    pub fn held_back_mm(&self, begin: i64, end: i64) -> f64 {
        let slots = self.expected_mm_s.iter().zip(&self.along_mm);
        let (first, last) = (self.index(begin), self.index(end));
        let (mut behind, mut most) = (0.0f64, 0.0f64);
        for (expected, counted) in slots.skip(first).take(last.saturating_sub(first) + 1) {
            behind += expected * self.slot * 1e-9 - counted;
            most = most.max(behind);
        }
        most
    }

    /// Expected travel along, and counted motion along and across, over some rows of the phase's series, mm. `None` for
    /// no rows.
    pub fn over(&self, series: &Series, rows: &Range<usize>) -> Option<(f64, (f64, f64))> {
        let samples = series.samples.get(rows.clone())?;
        let (first, last) = (samples.first()?, samples.last()?);
        let middle = self.slot as i64 / 2;
        let end = self.along_mm.len().checked_sub(1)?;
        let slots = self.index(first.t - middle).min(end)..=self.index(last.t - middle).min(end);
        let sum = |f: &dyn Fn(usize) -> f64| slots.clone().map(f).sum::<f64>();
        let expected = sum(&|i| self.expected_mm_s[i].max(0.0) * self.slot * 1e-9);
        Some((expected, (sum(&|i| self.along_mm[i]), sum(&|i| self.across_mm[i]))))
    }

    /// Mean speed that was counted between two times, mm/s, along and across. `None` for no time.
    pub fn speed_mm_s(&self, begin: i64, end: i64) -> Option<f64> {
        let slots = self.index(begin)..self.index(end).min(self.along_mm.len());
        let seconds = slots.len() as f64 * self.slot * 1e-9;
        let counted = |mm: &[f64]| mm.get(slots.clone()).map(|mm| mm.iter().sum::<f64>());
        let moved = counted(&self.along_mm)?.hypot(counted(&self.across_mm)?);
        Some(moved / seconds).filter(|speed| speed.is_finite())
    }

    /// Speed of a level between two times, mm/s: of its middle half, since its ends are seen no better than the hand leaves them.
    pub fn level_mm_s(&self, begin: i64, end: i64) -> Option<f64> {
        let quarter = end.saturating_sub(begin) / 4;
        self.speed_mm_s(begin + quarter, end - quarter)
    }

    /// Largest expected speed, mm/s.
    pub fn peak(&self) -> f64 {
        self.expected_mm_s.iter().copied().fold(0.0, f64::max)
    }
}

/// The grid of a swipe with its expected speed.
pub(crate) fn of(
    series: &Series,
    frame: Frame,
    view: &SwipeView,
    counts_per_mm: f64,
    slot: f64,
    travel_mm: Option<f64>,
    limit: i64,
) -> Grid {
    let swipe = &view.swipe;
    let sign = swipe.sign();
    let begin = swipe.begin - slot as i64;
    let counted_mm = swipe.along / counts_per_mm;
    let mut end = swipe.end;
    let mut silent_end = None;
    if let Some(last) = view.silences.iter().find(|s| s.to_the_end) {
        // The hand went on while the device was silent: at constant deceleration it needs 2 × distance / speed.
        let rest = travel_mm.map_or(0.0, |d| (d - counted_mm).max(0.0)) * counts_per_mm;
        let more = 2.0 * rest / last.speed_before.max(1.0) * 1e9;
        end = (end + more as i64).min(limit).max(end);
        silent_end = Some(last.begin);
    }
    // The slot count is bounded by the longest silence within a swipe and the phase's own length.
    let slots = (((end - begin) as f64 / slot).ceil() as usize + 1).min(MOST_SLOTS);
    let mut grid = Grid {
        begin,
        slot,
        along_mm: vec![0.0; slots],
        across_mm: vec![0.0; slots],
        reports: vec![0; slots],
        expected_mm_s: Vec::new(),
        claim: Claim::default(),
        held_up: false,
    };
    let mut reports = Vec::with_capacity(swipe.rows.len());
    for s in &series.samples[swipe.rows.clone()] {
        let (along, across) = frame.of(s);
        let index = grid.index(s.t - slot as i64 / 2).min(slots - 1);
        grid.along_mm[index] += sign * along / counts_per_mm;
        grid.across_mm[index] += sign * across / counts_per_mm;
        grid.reports[index] = grid.reports[index].saturating_add(1);
        reports.push((s.t, sign * along));
    }
    let mut trusted = vec![true; slots];
    for silence in &view.silences {
        let (from, to) = (grid.index(silence.begin), grid.index(silence.until).min(slots - 1));
        let from = if silent_end == Some(silence.begin) { from + 1 } else { from };
        // What was held back comes when the hand is at rest.
        let to = if silence.to_the_end || silence.held { slots - 1 } else { to };
        trusted.iter_mut().take(to + 1).skip(from).for_each(|t| *t = false);
    }
    let untrusted = view.stretches.iter().map(|s| &s.rows).chain(view.clip.iter().map(|c| &c.rows));
    for rows in untrusted.clone() {
        let (Some(first), Some(last)) = (series.samples.get(rows.start), series.samples.get(rows.end - 1))
        else {
            continue;
        };
        let middle = slot as i64 / 2;
        let (from, to) = (grid.index(first.t - middle), grid.index(last.t - middle).min(slots - 1));
        trusted.iter_mut().take(to + 1).skip(from).for_each(|t| *t = false);
    }
    if let Some(away) = &view.away {
        let (from, to) = (grid.index(away.gone), grid.index(away.until()).min(slots - 1));
        trusted.iter_mut().take(to + 1).skip(from).for_each(|t| *t = false);
    }
    let starts = view.starts.iter().filter(|s| s.late(counts_per_mm)).map(|s| (s.t, s.until));
    let known: Vec<(i64, i64)> = starts.chain(view.silences.iter().map(|s| (s.end, s.until))).collect();
    let late = late::find(&reports, &known, slot);
    for one in &late {
        let (from, to) = (grid.index(one.begin), grid.index(one.end - slot as i64 / 2).min(slots - 1));
        trusted.iter_mut().take(to + 1).skip(from).for_each(|t| *t = false);
    }
    grid.held_up = late.iter().any(|one| one.ends_silence && one.counts / counts_per_mm > END_ZONE_MM);
    let holes = !view.silences.is_empty() || view.away.is_some() || untrusted.count() > 0;
    let whole = holes || travel_mm.is_some_and(|d| (counted_mm / d - 1.0).abs() < 0.02);
    // What came late was counted all the same.
    let length = travel_mm.filter(|_| whole).or((!late.is_empty()).then_some(counted_mm));
    // What the first report carries was moved before the first slot.
    let before_mm =
        late.iter().filter(|one| one.from_rest).map(|one| one.counts / counts_per_mm).sum::<f64>();
    let length = length.map(|mm| mm - before_mm);
    let fit = |trusted: &[bool], grid: &Grid| {
        expected::speed(&grid.along_mm, trusted, slot * 1e-9, length, silent_end.is_some())
    };
    grid.expected_mm_s = fit(&trusted, &grid);
    let by_reports_mm_s = claim::by_reports(&reports, slot) / counts_per_mm;
    let swept = Swept { trusted, travel_mm, counted_mm, count_mm: 1.0 / counts_per_mm, by_reports_mm_s };
    grid.claim = claim::of(&grid, swept, |trusted| fit(trusted, &grid));
    grid
}

/// Bound on a swipe's grid: 16 s at 8 kHz.
const MOST_SLOTS: usize = 1 << 17;
