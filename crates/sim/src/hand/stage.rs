//! From script to course: one phase after the other, one swipe at a time.

use super::profile::{Profile, Shape};
use super::{Hand, News, Segment};
use crate::fault::{Fault, Place};
use crate::noise::Noise;
use crate::script::{Doing, ScriptPhase};
use crate::truth::{Direction, PhaseTruth, SwipeTruth};
use serde_json::{Map, json};
use slipgauge_trace::session::{Axis, Pace, Phase, Task};
use std::collections::VecDeque;

/// Rest before the first task of a phase, in seconds: the operator reads the prompt.
const LEAD_IN_S: f64 = 0.8;
/// Time between phases, when nothing is judged, in seconds.
const BETWEEN_S: f64 = 0.6;

/// The state of the script.
pub(super) struct Stage {
    hand: Hand,
    axis: Axis,
    travel_m: f64,
    phases: Vec<ScriptPhase>,
    faults: Vec<Fault>,
    noise: Noise,
    clock: i64,
    /// Where the body lies.
    place: f64,
    at_far_stop: bool,
    phase: usize,
    swipe: u32,
    done: bool,
}

impl Stage {
    pub(super) fn new(bench: &crate::Bench, travel_m: f64, noise: Noise) -> Stage {
        Stage {
            hand: bench.hand.clone(),
            axis: bench.axis,
            travel_m,
            phases: bench.script.phases.clone(),
            faults: bench.faults.clone(),
            noise,
            clock: 0,
            place: 0.0,
            at_far_stop: false,
            phase: 0,
            swipe: 0,
            done: false,
        }
    }

    /// Adds at least one segment, with its news.
    pub(super) fn go_on(&mut self, queue: &mut VecDeque<Segment>, news: &mut VecDeque<News>) {
        let Some(planned) = self.phases.get(self.phase).cloned() else {
            self.finish(queue, news);
            return;
        };
        match planned.doing {
            Doing::Still { seconds } | Doing::Floor { seconds } => {
                self.open(&planned, queue, news);
                self.hold(seconds, planned.step, queue);
                self.close(&planned, queue, news);
            }
            Doing::Strikes { .. } => {
                self.open(&planned, queue, news);
                self.close(&planned, queue, news);
            }
            Doing::Swipes { count, peak_m_s, .. } | Doing::Identify { count, peak_m_s } => {
                if self.swipe == 0 {
                    self.open(&planned, queue, news);
                    self.hold(LEAD_IN_S, planned.step, queue);
                }
                if self.swipe < count {
                    self.swipe += 1;
                    self.swipe(peak_m_s, planned.step, queue, news);
                } else {
                    self.close(&planned, queue, news);
                }
            }
        }
    }

    fn finish(&mut self, queue: &mut VecDeque<Segment>, news: &mut VecDeque<News>) {
        if !self.done {
            self.done = true;
            news.push_back(News::End(self.clock));
        }
        let step = self.phases.last().map_or(1, |p| p.step);
        self.hold(3600.0, step, queue);
    }

    fn open(&mut self, planned: &ScriptPhase, queue: &mut VecDeque<Segment>, news: &mut VecDeque<News>) {
        if self.phase == 0 {
            self.hold(BETWEEN_S, planned.step, queue);
        }
        news.push_back(News::Mark(self.clock, Some(self.described(planned))));
        news.push_back(News::Phase(PhaseTruth {
            number: self.number(),
            step: planned.step,
            begin_ns: self.clock,
            end_ns: self.clock,
        }));
    }

    fn close(&mut self, planned: &ScriptPhase, queue: &mut VecDeque<Segment>, news: &mut VecDeque<News>) {
        news.push_back(News::Mark(self.clock, None));
        self.phase += 1;
        self.swipe = 0;
        self.hold(BETWEEN_S, planned.step, queue);
    }

    fn number(&self) -> u32 {
        self.phase as u32 + 1
    }

    /// The phase as the session file has it.
    fn described(&self, planned: &ScriptPhase) -> Phase {
        let (task, pace, swipes) = match planned.doing {
            Doing::Still { .. } => (Task::Still, None, None),
            Doing::Floor { .. } => (Task::Floor, None, None),
            Doing::Strikes { .. } => (Task::Strikes, None, None),
            Doing::Identify { count, .. } => (Task::Identify, Some(Pace::Slow), Some(count)),
            Doing::Swipes { pace, count, .. } => (Task::Swipes, Some(pace), Some(count)),
        };
        let mut other = Map::new();
        if swipes.is_some() {
            other.insert("axis".to_owned(), json!(self.axis));
        }
        if let Doing::Strikes { count } = planned.doing {
            other.insert("strikes".to_owned(), json!(count));
        }
        Phase { step: planned.step, task, pace, swipes, other }
    }

    fn hold(&mut self, seconds: f64, step: u32, queue: &mut VecDeque<Segment>) {
        let end = self.clock + nanos(seconds);
        let segment = Segment::hold(self.clock, end, self.place, step);
        queue.push_back(Segment { phase: self.number(), ..segment });
        self.clock = end;
    }

    fn swipe(&mut self, peak_m_s: f64, step: u32, queue: &mut VecDeque<Segment>, news: &mut VecDeque<News>) {
        let stop = if self.at_far_stop { 0.0 } else { self.travel_m };
        let to = stop + self.hand.placement_scatter_m * self.noise.bounded_normal();
        let peak = peak_m_s * (1.0 + self.hand.peak_scatter * self.noise.bounded_normal());
        let course = Profile::new(Shape { time_to_peak: 0.5, corrections: Default::default(), arrival: 0.0 });
        let travel_m = (to - self.place).abs();
        let duration_s = travel_m * course.peak_over_mean() / peak;
        let (begin, end) = (self.clock, self.clock + nanos(duration_s));
        let segment = Segment {
            begin,
            end,
            from: self.place,
            to,
            course: Some(course),
            step,
            phase: self.number(),
            swipe: self.swipe,
        };
        let direction = if self.at_far_stop { Direction::Back } else { Direction::Out };
        news.push_back(News::Swipe(SwipeTruth {
            phase: segment.phase,
            swipe: segment.swipe,
            step,
            direction,
            begin_ns: begin,
            end_ns: end,
            travel_m,
            peak_m_s: peak,
        }));
        for fault in &self.faults {
            if let Place::Swipe { phase, swipe, at } = fault.place
                && (phase, swipe) == (segment.phase, segment.swipe)
            {
                news.push_back(News::Fault(segment.time_at(at), fault.placed()));
            }
        }
        queue.push_back(segment);
        (self.clock, self.place, self.at_far_stop) = (end, to, !self.at_far_stop);
        let rest = self.hand.dwell_s * (1.0 + self.hand.dwell_scatter * self.noise.bounded_normal());
        self.hold(rest.max(0.05), step, queue);
    }
}

/// Whole nanoseconds of a span in seconds.
pub(crate) fn nanos(seconds: f64) -> i64 {
    (seconds * 1e9).round() as i64
}
