//! The hand that moves the device between the stops: where the body is at any time.
//!
//! Owns the pose of the body on the bench (along and across the line between the stops, in metres) and the turning
//! points; does not know what a device makes of it. Coordinates: 0 is the first stop, the true travel is the second.
//! The pose is a function of time, walked forwards by each device in its own frames; each device has a hand of its own
//! made from the same seed, so two devices on one carriage see the same motion. Cost: O(1) a pose.

pub(crate) mod profile;

mod stage;

use crate::fault::Placed;
use crate::noise::{Noise, Stream};
use crate::truth::{PhaseTruth, SwipeTruth};
use profile::Profile;
use serde::{Deserialize, Serialize};
use slipgauge_trace::session::Phase;
use stage::Stage;
use std::collections::VecDeque;

/// How the operator moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Hand {
    /// Standard deviation of a swipe's peak speed about the one asked for, as a share of it.
    pub peak_scatter: f64,
    /// Standard deviation of the place where the body comes to rest at a stop, in metres: how it nestles against the
    /// face, and how far that gives. 0.1 to 1 mm is what weighted blocks with a thin face allow.
    pub placement_scatter_m: f64,
    /// Mean rest at a stop between two swipes, in seconds.
    pub dwell_s: f64,
    /// Its standard deviation as a share.
    pub dwell_scatter: f64,
}

impl Default for Hand {
    fn default() -> Self {
        Hand { peak_scatter: 0.05, placement_scatter_m: 0.15e-3, dwell_s: 0.35, dwell_scatter: 0.2 }
    }
}

/// Where the body is.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Pose {
    pub(crate) along: f64,
    pub(crate) across: f64,
    pub(crate) yaw: f64,
}

/// A piece of the body's course.
#[derive(Debug, Clone)]
pub(crate) struct Segment {
    pub(crate) begin: i64,
    pub(crate) end: i64,
    from: f64,
    to: f64,
    course: Option<Profile>,
    /// Step that the device really is at.
    pub(crate) step: u32,
    /// Phase and swipe, from 1; 0 where there is none.
    pub(crate) phase: u32,
    pub(crate) swipe: u32,
}

/// What a segment brings with it, for the parts downstream and for the truth.
#[derive(Debug, Clone)]
pub(crate) enum News {
    /// A phase begins, or none.
    Mark(i64, Option<Phase>),
    Phase(PhaseTruth),
    Swipe(SwipeTruth),
    /// A placed fault, at its time.
    Fault(i64, Placed),
    /// The script is done; the session ends.
    End(i64),
}

/// A hand at work.
pub(crate) struct Motion {
    stage: Stage,
    current: Segment,
    queue: VecDeque<Segment>,
    news: VecDeque<News>,
}

impl Motion {
    pub(crate) fn new(bench: &crate::Bench, travel_m: f64) -> Motion {
        let noise = Noise::new(bench.seed, Stream::Hand, 0);
        let mut motion = Motion {
            stage: Stage::new(bench, travel_m, noise),
            current: Segment::hold(0, 0, 0.0, 1),
            queue: VecDeque::new(),
            news: VecDeque::new(),
        };
        motion.advance(0);
        motion
    }

    /// The pose at `t`, which must not go back.
    pub(crate) fn pose(&mut self, t: i64) -> Pose {
        if t >= self.current.end {
            self.advance(t);
        }
        Pose { along: self.current.along(t), ..Pose::default() }
    }

    /// The segment that the last pose lay in.
    pub(crate) fn segment(&self) -> &Segment {
        &self.current
    }

    /// The next piece of news, in order of time as far as segments have been entered.
    pub(crate) fn take_news(&mut self) -> Option<News> {
        self.news.pop_front()
    }

    fn advance(&mut self, t: i64) {
        while t >= self.current.end {
            if self.queue.is_empty() {
                self.stage.go_on(&mut self.queue, &mut self.news);
            }
            let Some(next) = self.queue.pop_front() else { return };
            self.current = next;
        }
    }
}

impl Segment {
    pub(crate) fn hold(begin: i64, end: i64, at: f64, step: u32) -> Segment {
        Segment { begin, end, from: at, to: at, course: None, step, phase: 0, swipe: 0 }
    }

    fn along(&self, t: i64) -> f64 {
        let Some(course) = &self.course else { return self.from };
        let share = (t - self.begin) as f64 / (self.end - self.begin) as f64;
        self.from + (self.to - self.from) * course.position(share)
    }

    /// Time at which a share of the way is covered.
    fn time_at(&self, share: f64) -> i64 {
        let Some(course) = &self.course else { return self.begin };
        self.begin + (course.time_at(share) * (self.end - self.begin) as f64) as i64
    }

    /// True if the body does not move.
    pub(crate) fn rests(&self) -> bool {
        self.course.is_none()
    }
}
