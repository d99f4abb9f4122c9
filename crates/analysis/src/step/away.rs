//! Swipes in which the device went away from the computer while the hand moved it, as the recording says.
//!
//! Away is the time from a line *gone* to the line *back* after it; without one, all that follows. It lies in a swipe if counts of it
//! came before and after, or it begins where its counts end, or ends where they begin, and the hand was at speed on one side at
//! least. At rest it is no swipe's. Whoever did it, the link, the device or a hub before it, the swipe lacks what was moved
//! meanwhile: no operator's excuse is looked for in it, and whatever shows in it, [`crate::families`] tell of it once, as a dropout. What
//! the computer did by sleeping the recording says apart ([`crate::host`]).
//!
//! (Added after swipes in which devices had gone away for 0.1 to 0.3 s had been left out as disturbed by the computer, so that half of
//! the slow ones could have it in a session that passed.)
//! Cost: O(log reports) a swipe and time away in it.

use super::LONGEST_INTERVAL;
use super::cut::{at_speed, beside};
use crate::series::{Frame, Series};
use crate::swipes::Swipe;
use slipgauge_trace::recording::DeviceTrace;

/// A time in which the device was away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Away {
    /// When it went, nanoseconds since the session's start.
    pub gone: i64,
    /// When it came back; `None` if it did not while the recording went on.
    pub back: Option<i64>,
}

impl Away {
    /// When it came back, or the end of time.
    pub fn until(&self) -> i64 {
        self.back.unwrap_or(i64::MAX)
    }

    /// True if a report at a time may be the first since.
    pub(super) fn ends_before(&self, t: i64) -> bool {
        (self.gone..=self.until().saturating_add(LONGEST_INTERVAL.0)).contains(&t)
    }
}

/// All times in which it was away, in order.
pub fn times(trace: &DeviceTrace) -> Vec<Away> {
    let mut backs = trace.back.iter().copied().peekable();
    let next = trace.gone.iter().skip(1).map(Some).chain([None]);
    let times = trace.gone.iter().zip(next).map(|(gone, next)| {
        while backs.next_if(|back| back < gone).is_some() {}
        let back = backs.next_if(|back| next.is_none_or(|next| back <= next));
        Away { gone: gone.0, back: back.map(|back| back.0) }
    });
    times.collect()
}

/// The first in a swipe.
pub(super) fn in_swipe(swipe: &Swipe, series: &Series, frame: Frame, times: &[Away]) -> Option<Away> {
    let samples = series.samples.get(swipe.rows.clone()).unwrap_or_default();
    let reach = LONGEST_INTERVAL.0;
    let (from, to) = (swipe.begin.saturating_sub(reach), swipe.end.saturating_add(reach));
    let at_speed = |row: usize, before: bool| at_speed(swipe, beside(samples, row, before), frame);
    let lies_in = |away: &&Away| {
        // What was on its way may come just after the line.
        let goes = (swipe.begin..=to).contains(&away.gone)
            && at_speed(samples.partition_point(|s| s.t <= away.gone), true);
        let comes = (from..=swipe.end).contains(&away.until())
            && at_speed(samples.partition_point(|s| s.t < away.until()), false);
        goes || comes
    };
    let first = times.partition_point(|away| away.until() < from);
    times[first..].iter().take_while(|away| away.gone <= to).find(lies_in).copied()
}
