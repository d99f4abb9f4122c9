//! One swipe: its shape, its turning point, and what befalls it on the way.

use super::bounce::Rebound;
use super::profile::{Profile, Shape};
use super::stage::{Stage, nanos};
use super::{Course, News, Plan, Segment};
use crate::fault::{Fault, What};
use crate::truth::{Cause, Direction, Family, Label, SwipeTruth};

/// Duration at which the speed peaks half-way, in seconds, and how far the peak moves for each e-fold of duration.
/// Nagasaki (Exp. Brain Res. 74:319, 1989) gives the duration and the directions: earlier when slower, later when
/// ballistic. The slope is this program's own.
const EVEN_S: f64 = 0.5;
const SHIFT_PER_E_FOLD: f64 = 0.09;
/// Natural time to peak stays within these.
const TIME_TO_PEAK: (f64, f64) = (0.38, 0.62);
/// Its scatter from swipe to swipe.
const TIME_TO_PEAK_SCATTER: f64 = 0.02;
/// Slow movements are made of two to four parts (Exp. Brain Res. 73:225, 1988): from this duration on, in seconds.
const PARTS_FROM_S: f64 = 0.7;

impl Stage {
    /// Plans one swipe and the rest after it.
    pub(super) fn one_swipe(&mut self, asked_m_s: f64, step: u32, plan: &mut Plan) {
        let faults = self.swipe_faults();
        let peak = asked_m_s * (1.0 + self.hand.peak_scatter * self.noise.bounded_normal());
        let stop = if self.at_far_stop { 0.0 } else { self.travel_m };
        let forth = if self.at_far_stop { -1.0 } else { 1.0 };
        let nestled = stop + self.hand.placement_scatter_m * self.noise.bounded_normal();
        let short = faults.iter().find_map(|(_, fault)| match fault.what {
            What::StopShort { by_m } => Some(by_m),
            _ => None,
        });
        let to = nestled - forth * short.unwrap_or(0.0);
        let wobble = self.hand.path.wobble_rad * self.noise.bounded_normal();
        let pause = faults.iter().find_map(|(at, fault)| match fault.what {
            What::StopHalfway { seconds } => Some((*at, seconds)),
            _ => None,
        });
        let (from, begin, first_segment) = (self.place, self.clock, plan.segments.len());
        if let Some((at, seconds)) = pause {
            let middle = from + (to - from) * at;
            self.stroke(middle, peak, 0.0, wobble, step, plan);
            let paused = (self.clock, self.clock + nanos(seconds));
            plan.segments.push_back(Segment::hold(paused, middle, (step, self.number(), self.swipe)));
            self.clock = paused.1;
            self.tell(plan, "paused", paused, (1e3 * seconds, "ms"), step);
        }
        let arrival = if short.is_some() { 0.0 } else { self.hand.arrival };
        let stroke = self.stroke(to, peak, arrival, wobble, step, plan);
        if let Some(by_m) = short {
            self.tell(plan, "stopped-short", (begin, self.clock), (1e3 * by_m, "mm"), step);
        }
        let along = |position| self.hand.path.pose(position, self.travel_m).along;
        plan.news.push_back(News::Swipe(SwipeTruth {
            phase: self.number(),
            swipe: self.swipe,
            step,
            direction: if self.at_far_stop { Direction::Back } else { Direction::Out },
            begin_ns: begin,
            end_ns: self.clock,
            travel_m: (along(to) - along(from)).abs(),
            peak_m_s: peak,
            time_to_peak: stroke.time_to_peak,
            contact_m_s: stroke.contact_m_s,
            gain: 1.0,
        }));
        for (at, fault) in faults {
            self.place_in_swipe(at, fault, first_segment, step, plan);
        }
        self.at_far_stop = !self.at_far_stop;
        let rest = self.hand.dwell_s * (1.0 + self.hand.dwell_scatter * self.noise.bounded_normal());
        self.hold(rest.max(0.05), step, plan);
        if let Some(held) = plan.segments.back_mut() {
            held.rebound = Rebound::new(self.hand.bounce, forth * stroke.contact_m_s);
        }
    }

    /// One movement to a place.
    fn stroke(
        &mut self,
        to: f64,
        peak: f64,
        arrival: f64,
        wobble: f64,
        step: u32,
        plan: &mut Plan,
    ) -> Stroke {
        // A path about the elbow is longer than its chord.
        let way = (to - self.place).abs() * self.hand.path.length(self.travel_m) / self.travel_m;
        let course = Profile::new(self.shape(1.875 * way / peak, arrival));
        let duration_s = (way * course.peak_over_mean() / peak).max(1e-3);
        let (begin, end) = (self.clock, self.clock + nanos(duration_s));
        let stroke =
            Stroke { time_to_peak: course.time_to_peak(), contact_m_s: course.speed(1.0) * way / duration_s };
        plan.segments.push_back(Segment {
            begin,
            end,
            from: self.place,
            to,
            course: Some(course),
            rebound: None,
            wobble,
            step,
            phase: self.number(),
            swipe: self.swipe,
        });
        (self.clock, self.place) = (end, to);
        stroke
    }

    /// The shape of a movement of about this duration.
    fn shape(&mut self, duration_s: f64, arrival: f64) -> Shape {
        let mut shape =
            Shape { time_to_peak: 0.5, main_length: 1.0, corrections: Default::default(), arrival };
        match self.hand.course {
            Course::MinimumJerk => {}
            Course::Skewed { time_to_peak } => shape.time_to_peak = time_to_peak,
            Course::Aimed => {
                shape.time_to_peak = self.noise.between(0.38, 0.46);
                shape.main_length = self.noise.between(0.4, 0.5);
                for part in shape.corrections.iter_mut().take(2) {
                    let begin = self.noise.between(0.3, 0.6);
                    *part = (begin, 1.0 - begin, self.noise.between(0.03, 0.08));
                }
            }
            Course::Natural => {
                let shifted = 0.5 - SHIFT_PER_E_FOLD * libm::log(duration_s / EVEN_S);
                let drawn = shifted + TIME_TO_PEAK_SCATTER * self.noise.bounded_normal();
                shape.time_to_peak = drawn.clamp(TIME_TO_PEAK.0, TIME_TO_PEAK.1);
                if duration_s > PARTS_FROM_S {
                    let parts = 1 + (3.0 * self.noise.uniform()) as usize;
                    for part in shape.corrections.iter_mut().take(parts) {
                        let begin = self.noise.between(0.45, 0.75);
                        *part = (begin, self.noise.between(0.2, 0.25), self.noise.between(0.015, 0.045));
                    }
                }
            }
        }
        shape
    }

    /// Puts a fault at its share of the travel, in whichever segment of the swipe that lies.
    fn place_in_swipe(&self, at: f64, fault: Fault, first_segment: usize, step: u32, plan: &mut Plan) {
        let strokes = || plan.segments.iter().skip(first_segment).filter(|s| s.moves());
        let (Some(from), Some(to)) = (strokes().next().map(|s| s.from), strokes().next_back().map(|s| s.to))
        else {
            return;
        };
        let wanted = from + (to - from) * at;
        let passed = |s: &&Segment| (wanted - s.from) * (wanted - s.to) <= 0.0;
        let Some(stroke) = strokes().find(passed).or_else(|| strokes().next_back()) else { return };
        let share = (wanted - stroke.from) / (stroke.to - stroke.from);
        let t = stroke.time_at(share);
        self.place_fault(fault, t, step, plan);
    }

    fn tell(&self, plan: &mut Plan, kind: &str, span: (i64, i64), size: (f64, &str), step: u32) {
        let label = Label::new(Family::Operator, kind, Cause::Operator, span, size);
        plan.news.push_back(News::Label(self.in_place(label, step)));
    }
}

/// What a movement came to.
struct Stroke {
    time_to_peak: f64,
    contact_m_s: f64,
}
