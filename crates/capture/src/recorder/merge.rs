//! Several nodes' reports in one order of time.
//!
//! A batch is let out when every other track either has a later one waiting or has said that nothing earlier will come.
//! For equal stamps the lower track goes first, so that the order is the same in every run.

use super::reading::{Closing, Handover};
use slipgauge_trace::Nanos;
use std::collections::VecDeque;

/// One track's queue.
#[derive(Debug)]
struct Lane {
    waiting: VecDeque<Box<Handover>>,
    /// Nothing earlier than this will come.
    quiet_until: Nanos,
    closed: Option<(Nanos, Closing)>,
}

/// The queues of all tracks.
#[derive(Debug)]
pub(super) struct Merge {
    lanes: Vec<Lane>,
}

impl Merge {
    /// For so many tracks, of which nothing comes before `begin`.
    pub(super) fn new(tracks: usize, begin: Nanos) -> Merge {
        let lane = || Lane { waiting: VecDeque::new(), quiet_until: begin, closed: None };
        Merge { lanes: (0..tracks).map(|_| lane()).collect() }
    }

    pub(super) fn push(&mut self, track: usize, batch: Box<Handover>) {
        if let Some(lane) = self.lanes.get_mut(track) {
            lane.quiet_until = lane.quiet_until.max(batch.t);
            lane.waiting.push_back(batch);
        }
    }

    pub(super) fn quiet(&mut self, track: usize, t: Nanos) {
        if let Some(lane) = self.lanes.get_mut(track) {
            lane.quiet_until = lane.quiet_until.max(t);
        }
    }

    /// The track brings nothing more.
    pub(super) fn close(&mut self, track: usize, t: Nanos, closing: Closing) {
        if let Some(lane) = self.lanes.get_mut(track) {
            lane.closed = Some((t, closing));
        }
    }

    /// The next batch in order of time, or `None` if an earlier one may still come. Whatever is earlier than `overdue`
    /// is not waited for.
    pub(super) fn next(&mut self, overdue: Nanos) -> Option<(usize, Box<Handover>)> {
        let fronts = self.lanes.iter().enumerate().filter_map(|(i, lane)| Some((lane.waiting.front()?.t, i)));
        let (t, track) = fronts.min()?;
        let silent = self.lanes.iter().filter(|lane| lane.waiting.is_empty());
        if silent.map(|lane| lane.horizon(overdue)).any(|horizon| horizon <= t) {
            return None;
        }
        self.lanes.get_mut(track)?.waiting.pop_front().map(|batch| (track, batch))
    }

    /// Nothing earlier than this will come out any more.
    pub(super) fn horizon(&self, overdue: Nanos) -> Nanos {
        let lanes = self.lanes.iter().map(|lane| match lane.waiting.front() {
            Some(batch) => batch.t,
            None => lane.horizon(overdue),
        });
        lanes.min().unwrap_or(overdue)
    }

    /// When and why the track ended, once all that it brought is out.
    pub(super) fn ended(&self, track: usize) -> Option<&(Nanos, Closing)> {
        self.lanes.get(track).filter(|lane| lane.waiting.is_empty())?.closed.as_ref()
    }

    /// True once every track has ended and all that they brought is out.
    pub(super) fn all_ended(&self) -> bool {
        (0..self.lanes.len()).all(|track| self.ended(track).is_some())
    }
}

impl Lane {
    /// For an empty lane: what comes next is not earlier than this.
    fn horizon(&self, overdue: Nanos) -> Nanos {
        if self.closed.is_some() { Nanos(i64::MAX) } else { self.quiet_until.max(overdue) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEVER: Nanos = Nanos(i64::MIN);

    fn batch(t: i64) -> Box<Handover> {
        Box::new(Handover { t: Nanos(t), ..Handover::default() })
    }

    fn out(merge: &mut Merge, overdue: Nanos) -> Vec<(usize, i64)> {
        std::iter::from_fn(|| merge.next(overdue)).map(|(track, batch)| (track, batch.t.0)).collect()
    }

    #[test]
    fn waits_for_the_slower_track() {
        let mut merge = Merge::new(2, Nanos(0));
        merge.push(0, batch(10));
        merge.push(0, batch(20));
        assert_eq!(out(&mut merge, NEVER), []);
        merge.push(1, batch(15));
        assert_eq!(out(&mut merge, NEVER), [(0, 10), (1, 15)]);
        // Equal stamps may still come from track 1.
        merge.quiet(1, Nanos(20));
        assert_eq!(out(&mut merge, NEVER), []);
        merge.quiet(1, Nanos(21));
        assert_eq!(out(&mut merge, NEVER), [(0, 20)]);
    }

    #[test]
    fn waits_neither_for_a_closed_track_nor_for_ever() {
        let mut merge = Merge::new(2, Nanos(0));
        merge.push(0, batch(10));
        assert_eq!(out(&mut merge, Nanos(11)), [(0, 10)]);
        merge.push(0, batch(20));
        merge.close(1, Nanos(12), Closing::Gone);
        assert_eq!(out(&mut merge, NEVER), [(0, 20)]);
        assert!(merge.ended(1).is_some() && merge.ended(0).is_none() && !merge.all_ended());
    }

    #[test]
    fn horizon_is_the_earliest_time_that_may_still_come() {
        let mut merge = Merge::new(2, Nanos(5));
        assert_eq!(merge.horizon(NEVER), Nanos(5));
        merge.push(0, batch(9));
        merge.quiet(1, Nanos(30));
        assert_eq!(merge.horizon(NEVER), Nanos(9));
        assert_eq!(out(&mut merge, NEVER), [(0, 9)]);
        assert_eq!(merge.horizon(NEVER), Nanos(9));
    }

    proptest::proptest! {
        #[test]
        fn lets_out_every_batch_once_in_order(
            tracks in proptest::collection::vec(proptest::collection::vec(0i64..50, 0..20), 1..4)
        ) {
            let mut merge = Merge::new(tracks.len(), Nanos(0));
            let mut expected: Vec<(i64, usize)> = Vec::new();
            let mut got = Vec::new();
            for (track, mut stamps) in tracks.into_iter().enumerate() {
                stamps.sort_unstable();
                for &t in &stamps {
                    expected.push((t, track));
                    merge.push(track, batch(t));
                    got.extend(out(&mut merge, NEVER));
                }
                merge.close(track, Nanos(50), Closing::Finished);
                got.extend(out(&mut merge, NEVER));
            }
            expected.sort_unstable();
            let got: Vec<_> = got.into_iter().map(|(track, t)| (t, track)).collect();
            proptest::prop_assert_eq!(got, expected);
            proptest::prop_assert!(merge.all_ended());
        }
    }
}
