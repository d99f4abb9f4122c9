//! The hand that moves the device between the stops: where the body is at any time.
//!
//! Owns the pose of the body on the bench (along and across the line between the stops, in metres, and yaw in
//! radians) and the turning points; does not know what a device makes of it. Coordinates: 0 is the first stop, the
//! true travel is the second. The pose is a function of time, walked forwards by each device in its own frames; each
//! device has a hand of its own made from the same seed, so two devices on one carriage see the same motion.
//! Cost: O(1) a pose.

mod bounce;
mod overlay;
mod path;
pub(crate) mod profile;
mod stage;
mod swipe;
mod tremor;

pub use bounce::Bounce;
pub use overlay::Settling;
pub use path::Path;
pub use tremor::Tremor;

use crate::fault::{Fault, What};
use crate::noise::{Noise, Stream};
use crate::truth::{Label, PhaseTruth, SwipeTruth};
use bounce::Rebound;
use overlay::Overlay;
use profile::Profile;
use serde::{Deserialize, Serialize};
use slipgauge_trace::session::Phase;
use stage::Stage;
use std::collections::VecDeque;
use tremor::TremorState;

pub(crate) use tremor::sine_of_turns;

/// The course of speed along a swipe.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// As hands do it: early peak and sub-movements when slow, late peak when ballistic.
    #[default]
    Natural,
    /// As a hand reaches for a mark: most of the way in less than half the time, the rest by slow corrections.
    Aimed,
    /// Minimum jerk (Flash & Hogan 1985): peak 1.875 times the mean, at half time.
    MinimumJerk,
    /// Minimum jerk, warped to peak elsewhere.
    Skewed {
        /// Share of the duration at which the speed peaks, 0.2 to 0.8.
        time_to_peak: f64,
    },
}

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
    /// Course of speed.
    pub course: Course,
    /// Speed on touching the stop, as a share of the peak, 0 to 0.9.
    pub arrival: f64,
    /// What happens then.
    pub bounce: Bounce,
    /// The line that the body follows.
    pub path: Path,
    /// Tremor while the hand moves the device.
    pub tremor: Tremor,
    /// What pad and cable do after the hand has let go.
    pub settling: Settling,
}

impl Default for Hand {
    /// A steady hand that runs the device along a straight edge.
    fn default() -> Self {
        Hand {
            peak_scatter: 0.05,
            placement_scatter_m: 0.15e-3,
            dwell_s: 0.35,
            dwell_scatter: 0.2,
            course: Course::Natural,
            arrival: 0.15,
            bounce: Bounce::default(),
            path: Path::default(),
            tremor: Tremor::default(),
            settling: Settling::default(),
        }
    }
}

/// Where the body is.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Pose {
    pub(crate) along: f64,
    pub(crate) across: f64,
    pub(crate) yaw: f64,
    /// Off the surface.
    pub(crate) lifted: bool,
}

/// A piece of the body's course.
#[derive(Debug, Clone)]
pub(crate) struct Segment {
    pub(crate) begin: i64,
    pub(crate) end: i64,
    from: f64,
    to: f64,
    course: Option<Profile>,
    rebound: Option<Rebound>,
    /// Yaw amplitude of this swipe.
    wobble: f64,
    /// Step that the script says.
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
    /// A placed fault of a device or the host, at its time.
    Fault(i64, Fault),
    /// Something that the operator did.
    Label(Label),
    /// Button 1 goes down and comes up.
    Strike(i64, i64),
    /// The script is done; the session ends.
    End(i64),
}

/// What planning a piece of the course gives.
#[derive(Default)]
struct Plan {
    segments: VecDeque<Segment>,
    overlays: Vec<Overlay>,
    news: VecDeque<News>,
}

/// A hand at work.
pub(crate) struct Motion {
    stage: Stage,
    path: Path,
    travel_m: f64,
    tremor: TremorState,
    current: Segment,
    plan: Plan,
}

impl Motion {
    pub(crate) fn new(bench: &crate::Bench, travel_m: f64) -> Motion {
        let mut noise = Noise::new(bench.seed, Stream::Hand, 0);
        let tremor = TremorState::new(&bench.hand.tremor, &mut noise);
        let mut motion = Motion {
            stage: Stage::new(bench, travel_m, noise),
            path: bench.hand.path.clone(),
            travel_m,
            tremor,
            current: Segment::hold((0, 0), 0.0, (1, 0, 0)),
            plan: Plan::default(),
        };
        motion.advance(0);
        motion
    }

    /// From now on an operator is led. Nothing may have been walked yet.
    pub(crate) fn lead(&mut self, operator: crate::Operator) {
        self.plan = Plan::default();
        self.stage.clock = 0;
        self.stage.lead(operator);
        self.current = Segment::hold((0, 0), 0.0, (1, 0, 0));
        self.advance(0);
    }

    /// The pose at `t`, which must not go back.
    pub(crate) fn pose(&mut self, t: i64) -> Pose {
        if t >= self.current.end {
            self.advance(t);
        }
        let segment = &self.current;
        let share = segment.share(t);
        let mut pose = self.path.pose(segment.position(t, share), self.travel_m);
        if segment.course.is_some() {
            let swell = 16.0 * share * share * (1.0 - share) * (1.0 - share);
            let [along, across] = self.tremor.offset(t);
            pose.along += swell * along;
            pose.across += swell * across;
            pose.yaw += segment.wobble * 4.0 * share * (1.0 - share);
        }
        if !self.plan.overlays.is_empty() {
            self.plan.overlays.retain(|overlay| t < overlay.end);
            self.plan.overlays.iter().for_each(|overlay| overlay.lay_over(&mut pose, t));
        }
        pose
    }

    /// If the body rests at `t`: until when. `t` lies at or after the last pose.
    pub(crate) fn rests_until(&self, t: i64) -> Option<i64> {
        let segment = &self.current;
        let moving =
            segment.course.is_some() || segment.rebound.is_some_and(|r| t < segment.begin + r.length());
        if moving || t >= segment.end {
            return None;
        }
        let next = self.plan.overlays.iter().map(|overlay| overlay.begin).min().unwrap_or(i64::MAX);
        (next > t).then_some(next.min(segment.end))
    }

    /// The segment that the last pose lay in.
    pub(crate) fn segment(&self) -> &Segment {
        &self.current
    }

    /// Plans until the course reaches past `t`, so that all news up to then can be had.
    pub(crate) fn plan_past(&mut self, t: i64) {
        while self.stage.clock <= t {
            self.stage.go_on(&mut self.plan);
        }
    }

    /// The next piece of news, in order of time as far as has been planned.
    pub(crate) fn take_news(&mut self) -> Option<News> {
        self.plan.news.pop_front()
    }

    fn advance(&mut self, t: i64) {
        self.plan_past(t);
        while t >= self.current.end {
            let Some(next) = self.plan.segments.pop_front() else { return };
            self.current = next;
        }
    }
}

impl Segment {
    /// Rest at a place, in `(step, phase, swipe)`.
    fn hold(span: (i64, i64), at: f64, part: (u32, u32, u32)) -> Segment {
        let (begin, end) = span;
        let (step, phase, swipe) = part;
        Segment { begin, end, from: at, to: at, course: None, rebound: None, wobble: 0.0, step, phase, swipe }
    }

    fn share(&self, t: i64) -> f64 {
        (t - self.begin) as f64 / (self.end - self.begin) as f64
    }

    fn position(&self, t: i64, share: f64) -> f64 {
        match (&self.course, &self.rebound) {
            (Some(course), _) => self.from + (self.to - self.from) * course.position(share),
            (None, Some(rebound)) => self.from + rebound.offset(t - self.begin),
            (None, None) => self.from,
        }
    }

    /// Time at which a share of the way is covered.
    fn time_at(&self, share: f64) -> i64 {
        let Some(course) = &self.course else { return self.begin };
        self.begin + (course.time_at(share) * (self.end - self.begin) as f64) as i64
    }

    /// True while the body goes from one place to another.
    pub(crate) fn moves(&self) -> bool {
        self.course.is_some()
    }
}

/// True for what the hand itself does; the rest is news for the parts downstream.
fn of_the_hand(what: &What) -> bool {
    matches!(what, What::StopShort { .. } | What::StopHalfway { .. } | What::Lift { .. } | What::Knock { .. })
}
