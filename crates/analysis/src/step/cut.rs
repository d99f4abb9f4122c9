//! Swipes that the recording shows a part of: the line of a phase cuts them, or the recording stopped in them.
//!
//! - *At a line*: a swipe begins or ends there at speed, and the counts run on beyond; or the recording itself begins or ends there.
//! - *At the end*: the file ends without its last line less than a rest after the last motion. That a swipe has ended is told by the rest
//!   after it alone: this one may not have come to the stop, at whatever speed its last reports run, which coarse stamps hide. (Added
//!   after one had been told to lose 68 mm.)
//! - *At a break*: recording was taken up again later, the computer slept, or the file ends without its last line, and the
//!   last that the device said before is the end of a swipe at speed. How long a break lasted is not told by its stamp, so that it may
//!   stand long after. A swipe that had made its way to the stop by then is a whole one.
//!
//! What befell such a swipe afterwards nobody knows: it says nothing of the device. Where the hand set out in the next one is not
//! known either, so that this one says nothing if it is short. A device that went away, as the file says, did so by itself.
//!
//! (The second added after sound devices had been seen to lose track, silently, in the one swipe in which a recording was cut off or
//! interrupted: by up to 120 mm.)
//! Owns as well whether a phase was [cut short and done again](taken_up). Cost: O(log reports) a swipe.

use super::{LONGEST_INTERVAL, SwipeView};
use crate::series::{Frame, Sample, Series};
use crate::swipes::{AT_SPEED, AT_STOP, PAUSE, Swipe};
use serde_json::Value;
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan, Recording};

/// Reports beside a line that tell whether the hand was at speed there.
const AT_THE_LINE: usize = 4;

/// Where a recording stops, in order of time.
#[derive(Clone, Debug, Default)]
pub struct Ends {
    /// It was taken up again, or the file ends without its last line: for how long nothing was recorded is not known.
    breaks: Vec<i64>,
    /// The last line of the file.
    last: i64,
    /// The file ends without the line that closes it.
    open: bool,
}

/// What is cut of a swipe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cut {
    /// By a line that is beside it.
    AtLine,
    /// By a break, if it is short.
    AtBreak,
}

impl Ends {
    /// Of a recording.
    pub fn of(recording: &Recording) -> Ends {
        let last = recording.span.1.0;
        let open = (!recording.ended).then_some(last);
        let mut breaks: Vec<i64> = recording.host.breaks.iter().map(|t| t.0).chain(open).collect();
        breaks.sort_unstable();
        Ends { breaks, last, open: !recording.ended }
    }

    /// True if the file ends without its last line too soon after a time for a rest.
    pub(super) fn cuts_off(&self, end: i64) -> bool {
        self.open && self.last.saturating_sub(end) <= PAUSE
    }

    /// True if nothing was recorded for a part of a span of time, or beside it, and then recording went on.
    pub(super) fn interrupted(&self, from: i64, to: i64) -> bool {
        let first = self.breaks.partition_point(|t| *t < from);
        self.breaks.get(first).is_some_and(|t| *t <= to && *t < self.last)
    }

    /// True if it stops in a span of time, or at its ends.
    fn within(&self, from: i64, to: i64) -> bool {
        let first = self.breaks.partition_point(|t| *t < from);
        self.breaks.get(first).is_some_and(|t| *t <= to) || (from..=to).contains(&self.last)
    }
}

/// True for a phase that was cut short, by a break or by the phase that does it again: of what was asked in it nobody says that it
/// was made, and the swipes that it lacks are asked for in the other. (Added after all that an interrupted phase had not come to had
/// been said to be out of place for ever, though it had been made again in full.)
pub(super) fn taken_up(span: &PhaseSpan, recording: &Recording, ends: &Ends) -> bool {
    let asked = |p: &PhaseSpan| (p.phase.step, p.phase.task.clone(), p.phase.pace);
    let first = ends.breaks.partition_point(|t| *t < span.begin.0);
    let mut backs = recording.devices.iter().flat_map(|d| &d.back);
    let broken = ends.breaks.get(first).is_some_and(|t| *t <= span.end.0)
        || backs.any(|t| (span.begin..=span.end).contains(t));
    let again = |p: &&PhaseSpan| {
        let repeats = p.phase.other.get("repeats").and_then(Value::as_u64) == Some(u64::from(span.number));
        repeats && p.number > span.number && asked(p) == asked(span) && p.voided.is_none()
    };
    recording.phases.iter().filter(again).any(|p| broken || p.begin == span.end)
}

/// What cuts a swipe.
pub fn cut(
    view: &SwipeView,
    series: &Series,
    frame: Frame,
    span: &PhaseSpan,
    trace: &DeviceTrace,
    ends: &Ends,
) -> Option<Cut> {
    let samples = series.samples.get(view.swipe.rows.clone()).unwrap_or_default();
    let begins_at_speed = || at_speed(&view.swipe, beside(samples, 0, false), frame);
    let ends_at_speed = || at_speed(&view.swipe, beside(samples, samples.len(), true), frame);
    let reach = LONGEST_INTERVAL.0;
    let (first, last) = (view.swipe.begin, view.swipe.end);
    let near = |from: i64, to: i64| to.saturating_sub(from) <= reach;
    let counts = |from: i64, to: i64| {
        let mut rows = trace.motion.rows(Nanos(from), Nanos(to));
        rows.any(|row| trace.motion.x[row] != 0 || trace.motion.y[row] != 0)
    };
    let (begin, end) = (span.begin.0, span.end.0);
    let before =
        || counts(begin.saturating_sub(reach), begin) || ends.within(begin.saturating_sub(reach), begin);
    let after = || counts(end, end.saturating_add(reach)) || ends.within(end, end.saturating_add(reach));
    let line_before = || near(begin, first) && before();
    let line_after = || near(last, end) && after();
    let broken = |from: i64, to: i64| ends.within(from.max(begin), to.min(end));
    let begins = || line_before() || broken(first.saturating_sub(reach), first);
    let ends_here = || line_after() || broken(last, last.saturating_add(reach));
    if (begins() && begins_at_speed()) || (ends_here() && ends_at_speed()) {
        return Some(Cut::AtLine);
    }
    if ends.cuts_off(last) {
        return Some(Cut::AtBreak);
    }
    let next = ends.breaks.iter().copied().find(|t| *t >= last).filter(|t| *t <= end)?;
    // What was read late came a little after its own time.
    let nothing_since = !counts(last.saturating_add(reach), next);
    let went_away = trace.gone.iter().any(|t| (last..=next).contains(&t.0));
    (nothing_since && !went_away && ends_at_speed()).then_some(Cut::AtBreak)
}

/// The few reports before a row, or from it on.
pub(super) fn beside(samples: &[Sample], row: usize, before: bool) -> &[Sample] {
    let rows = if before { row.saturating_sub(AT_THE_LINE + 1)..row } else { row..row + AT_THE_LINE + 1 };
    samples.get(rows.start..rows.end.min(samples.len())).unwrap_or_default()
}

/// True if the hand was at speed over some reports.
pub(super) fn at_speed(swipe: &Swipe, reports: &[Sample], frame: Frame) -> bool {
    let [first, .., last] = reports else { return false };
    let counts: f64 = swipe.along(&reports[1..], frame).iter().sum();
    counts > AT_SPEED * swipe.peak * last.t.saturating_sub(first.t) as f64 * 1e-9
}

/// Drops what is no more than the cut of a swipe: that its counts end, or thin out up to their end.
pub fn drop_its_own(view: &mut SwipeView) {
    view.silences.retain(|s| !s.to_the_end);
    view.stretches.retain(|s| s.recovered || !s.wrong.is_loss());
}

/// True if a swipe after which the recording broke had not come to the stop by then.
pub fn is_short_of_the_stop(view: &SwipeView) -> bool {
    view.swipe.surplus < 0.0 || view.swipe.along < AT_STOP * view.swipe.one_travel
}
