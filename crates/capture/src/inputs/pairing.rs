//! Which of the input layer's frames is which report's.
//!
//! The kernel puts a report into our queue first and hands it to the input layer in the same breath, which stamps it and
//! makes a frame of what moved or changed. So moving reports and moving frames come in the same order, one for one, and
//! a frame is stamped after its report was there to be read. A report that moves nothing has no moving frame.
//!
//! A stamp is given by order only, and only where nothing contradicts:
//! - the frame says the report's own X and Y;
//! - it is stamped later than the frame before it;
//! - it is not stamped before the queue was last seen empty: the report was not there then;
//! - the batch has a frame for each of its moving reports. One report alone may be ahead of its frame, on another
//!   processor; it gets no stamp, and its frame is awaited.
//!
//! Anything else (frames dropped, a ring that ran full, a report that cannot be decoded) ends it, until a rest: no
//! moving report and no frame for [`REST`], by the kernel's own stamps. What comes first then belongs together.
//!
//! Memory: [`MOST`] frames. Cost: a few comparisons a report.

use slipgauge_trace::Nanos;
use std::collections::VecDeque;

/// Stillness after which order starts anew. A report's frame follows it within the same interrupt, microseconds later.
const REST: Nanos = Nanos(20_000_000);

/// Most frames kept: several of the kernel's rings.
const MOST: usize = 256;

/// A frame that is this much later than its report was read is not that report's.
const LATE: Nanos = Nanos(1_000_000);

/// Resolution of the stamps, which are cut off to it.
const TICK: Nanos = Nanos(1_000);

/// What the input layer said of one report that moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Frame {
    /// The kernel's stamp.
    pub k: Nanos,
    pub x: i64,
    pub y: i64,
}

/// A report that moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Moving {
    /// Place in the batch.
    pub place: usize,
    pub x: i32,
    pub y: i32,
}

impl Moving {
    fn is(self, frame: Frame) -> bool {
        (i64::from(self.x), i64::from(self.y)) == (frame.x, frame.y)
    }
}

/// The state between batches.
#[derive(Debug)]
pub(crate) struct Pairing {
    /// True while the next moving report and the next frame belong together.
    in_step: bool,
    frames: VecDeque<Frame>,
    /// Frames were dropped since the last batch.
    dropped: bool,
    /// A report that was ahead of its frame, and when it had been read.
    awaited: Option<(Moving, Nanos)>,
    /// When the queue was last seen empty: no report that came later was there yet.
    empty: Nanos,
    /// When the last batch that moved, or had frames, had been read.
    moved: Nanos,
    /// Stamp of the latest frame.
    latest: Nanos,
}

impl Pairing {
    /// For a node that was opened just now; what came before is not known.
    pub(crate) fn new(now: Nanos) -> Pairing {
        let frames = VecDeque::new();
        Pairing { in_step: false, frames, dropped: false, awaited: None, empty: now, moved: now, latest: now }
    }

    /// Takes a frame that moved.
    pub(crate) fn frame(&mut self, frame: Frame) {
        if self.frames.len() >= MOST || frame.k < self.latest {
            self.dropped = true;
        }
        if self.frames.len() < MOST {
            self.frames.push_back(frame);
        }
        self.latest = self.latest.max(frame.k);
    }

    /// Frames were dropped, or may have been.
    pub(crate) fn lost(&mut self) {
        self.dropped = true;
    }

    /// True if a report is ahead of its frame.
    pub(crate) fn behind(&self, moving: usize) -> bool {
        self.in_step && self.frames.len() < moving + usize::from(self.awaited.is_some())
    }

    /// Pairs the moving reports of a batch with the frames that came. `empty` is when the queue was seen empty after
    /// them, `None` if it was not; `now` is later than all that was read. Gives the stamps to `stamp`.
    pub(crate) fn batch(
        &mut self,
        moving: &[Moving],
        empty: Option<Nanos>,
        now: Nanos,
        mut stamp: impl FnMut(usize, Nanos),
    ) {
        let before = self.empty;
        self.empty = empty.unwrap_or(before);
        let rested = self.moved;
        if !moving.is_empty() || !self.frames.is_empty() || self.dropped {
            self.moved = now;
        }
        if std::mem::take(&mut self.dropped) {
            return self.fall_out();
        }
        if !self.in_step {
            self.frames.retain(|frame| frame.k + TICK > before);
            self.in_step = self.frames.front().is_some_and(|frame| frame.k >= rested + REST);
        }
        if self.in_step && self.pair(moving, before, now, &mut stamp).is_none() {
            self.in_step = false;
        }
        if !self.in_step {
            self.fall_out();
        }
    }

    /// `None` if something contradicts.
    fn pair(
        &mut self,
        moving: &[Moving],
        before: Nanos,
        now: Nanos,
        stamp: &mut impl FnMut(usize, Nanos),
    ) -> Option<()> {
        if let Some((report, read)) = self.awaited {
            match self.frames.pop_front() {
                Some(frame) if report.is(frame) && frame.k <= read + LATE => self.awaited = None,
                None if moving.is_empty() => return Some(()),
                _ => return None,
            }
        }
        if let (&[alone], true) = (moving, self.frames.is_empty()) {
            self.awaited = Some((alone, now));
            return Some(());
        }
        // All of the batch, or none.
        let paired: Vec<_> = moving.iter().zip(&self.frames).collect();
        let fits = |(report, frame): &(&Moving, &Frame)| report.is(**frame) && frame.k + TICK > before;
        let rising = paired.windows(2).all(|pair| matches!(pair, [(_, a), (_, b)] if a.k < b.k));
        if paired.len() < moving.len() || !rising || !paired.iter().all(fits) {
            return None;
        }
        for (report, frame) in paired {
            stamp(report.place, frame.k);
        }
        self.frames.drain(..moving.len());
        Some(())
    }

    fn fall_out(&mut self) {
        self.in_step = false;
        self.frames.clear();
        self.awaited = None;
    }
}

#[cfg(test)]
mod tests;
