//! From script to course: one phase after the other, one swipe at a time.

use super::overlay::{Cover, KNOCK_NS, Overlay, RETURN_NS};
use super::{Hand, News, Plan, Segment, of_the_hand};
use crate::fault::{Fault, Place, What};
use crate::noise::Noise;
use crate::operator::Operator;
use crate::script::{Doing, ScriptPhase};
use crate::truth::{Cause, Family, Label, PhaseTruth};
use serde_json::{Map, json};
use slipgauge_trace::session::{Axis, Pace, Phase, Task};

/// Rest before the first task of a phase, in seconds: the operator reads the prompt.
const LEAD_IN_S: f64 = 0.8;
/// Time between phases, when nothing is judged, in seconds.
const BETWEEN_S: f64 = 0.6;
/// How often an operator who is led looks for a new task, in seconds.
const LOOK_S: f64 = 0.01;
/// From strike to strike, in seconds, with its standard deviation, and how long the button stays down.
const STRIKE_S: (f64, f64) = (0.45, 0.05);
const STRIKE_HOLD_S: (f64, f64) = (0.06, 0.11);

/// The state of the script.
pub(super) struct Stage {
    pub(super) hand: Hand,
    pub(super) travel_m: f64,
    pub(super) noise: Noise,
    pub(super) clock: i64,
    /// Where the body lies.
    pub(super) place: f64,
    pub(super) at_far_stop: bool,
    pub(super) swipe: u32,
    axis: Axis,
    phases: Vec<ScriptPhase>,
    faults: Vec<Fault>,
    phase: usize,
    done: bool,
    /// Who asks for the tasks, if they do not come from a script.
    operator: Option<Operator>,
    /// Phase and task that were asked for last.
    asked: Option<(u32, ScriptPhase)>,
}

impl Stage {
    pub(super) fn new(bench: &crate::Bench, travel_m: f64, noise: Noise) -> Stage {
        Stage {
            hand: bench.hand.clone(),
            travel_m,
            noise,
            clock: 0,
            place: 0.0,
            at_far_stop: false,
            swipe: 0,
            axis: bench.axis,
            phases: bench.script.phases.clone(),
            faults: bench.faults.clone(),
            phase: 0,
            done: false,
            operator: None,
            asked: None,
        }
    }

    /// From now on the tasks are this operator's.
    pub(super) fn lead(&mut self, operator: Operator) {
        self.phases.clear();
        self.operator = Some(operator);
    }

    /// Plans at least one segment, with its overlays and news.
    pub(super) fn go_on(&mut self, plan: &mut Plan) {
        if let Some(operator) = self.operator.clone() {
            self.go_on_led(&operator, plan);
            return;
        }
        let Some(planned) = self.phases.get(self.phase).cloned() else {
            self.finish(plan);
            return;
        };
        let step = planned.step;
        match planned.doing {
            Doing::Still { seconds } => {
                self.open(&planned, plan);
                self.settle(seconds, plan);
                self.hold(seconds, step, plan);
                self.close(&planned, plan);
            }
            Doing::Floor { seconds } => {
                self.open(&planned, plan);
                self.hold(seconds, step, plan);
                self.close(&planned, plan);
            }
            Doing::Strikes { count } => {
                self.open(&planned, plan);
                self.strikes(count, step, plan);
                self.close(&planned, plan);
            }
            Doing::Swipes { count, peak_m_s, .. } | Doing::Identify { count, peak_m_s } => {
                if self.swipe == 0 {
                    self.open(&planned, plan);
                    self.hold(LEAD_IN_S, step, plan);
                }
                if self.swipe < count {
                    self.swipe += 1;
                    self.one_swipe(peak_m_s, step, plan);
                } else {
                    self.close(&planned, plan);
                }
            }
        }
    }

    /// Likewise, of what an operator was asked for. Phases are the leader's to write down.
    fn go_on_led(&mut self, operator: &Operator, plan: &mut Plan) {
        if operator.has_left() {
            self.finish(plan);
            return;
        }
        if let Some((_, ScriptPhase { step, doing, .. })) = self.asked.clone()
            && let Doing::Swipes { count, peak_m_s, .. } | Doing::Identify { count, peak_m_s } = doing
            && self.swipe < count
        {
            self.swipe += 1;
            self.one_swipe(peak_m_s, step, plan);
            return;
        }
        let Some(next) = operator.next() else {
            let step = self.asked.as_ref().map_or(1, |(_, task)| task.step);
            self.hold(LOOK_S, step, plan);
            return;
        };
        let (phase, step, doing) = (next.phase, next.task.step, next.task.doing.clone());
        let again = self.asked.as_ref().is_some_and(|(before, _)| *before == phase);
        self.asked = Some((phase, next.task));
        if !again {
            self.swipe = 0;
            plan.news.push_back(News::Phase(PhaseTruth {
                number: phase,
                step,
                still: matches!(doing, Doing::Still { .. }),
                begin_ns: self.clock,
                end_ns: self.clock,
            }));
        } else if let Some((_, ScriptPhase { doing: Doing::Swipes { count, .. }, .. })) = &mut self.asked {
            // More swipes of the same phase: they are numbered on.
            *count = count.saturating_add(self.swipe);
        }
        match doing {
            Doing::Still { seconds } => {
                self.settle(seconds, plan);
                self.hold(LOOK_S, step, plan);
            }
            Doing::Strikes { count } => self.strikes(count, step, plan),
            Doing::Floor { .. } => self.hold(LOOK_S, step, plan),
            Doing::Swipes { .. } | Doing::Identify { .. } => self.hold(LEAD_IN_S, step, plan),
        }
    }

    fn finish(&mut self, plan: &mut Plan) {
        if !self.done {
            self.done = true;
            plan.news.push_back(News::End(self.clock));
        }
        let step = self.phases.last().map_or(1, |p| p.step);
        self.hold(3600.0, step, plan);
    }

    fn open(&mut self, planned: &ScriptPhase, plan: &mut Plan) {
        if self.phase == 0 {
            self.hold(BETWEEN_S, planned.step, plan);
        }
        plan.news.push_back(News::Mark(self.clock, Some(self.described(planned))));
        plan.news.push_back(News::Phase(PhaseTruth {
            number: self.number(),
            step: planned.step,
            still: matches!(planned.doing, Doing::Still { .. }),
            begin_ns: self.clock,
            end_ns: self.clock,
        }));
        for fault in self.faults.clone() {
            if let Place::Phase { phase, after_s } = fault.place
                && phase == self.number()
            {
                self.place_fault(fault, self.clock + nanos(after_s), planned.step, plan);
            }
        }
    }

    fn close(&mut self, planned: &ScriptPhase, plan: &mut Plan) {
        plan.news.push_back(News::Mark(self.clock, None));
        self.phase += 1;
        self.swipe = 0;
        let end = self.clock + nanos(BETWEEN_S);
        // Between phases: of no phase.
        plan.segments.push_back(Segment::hold((self.clock, end), self.place, (planned.step, 0, 0)));
        self.clock = end;
    }

    pub(super) fn number(&self) -> u32 {
        let scripted = u32::try_from(self.phase + 1).unwrap_or(u32::MAX);
        self.asked.as_ref().map_or(scripted, |(phase, _)| *phase)
    }

    /// Faults of the current swipe, with their share of its travel.
    pub(super) fn swipe_faults(&self) -> Vec<(f64, Fault)> {
        let number = self.number();
        let here = |fault: &Fault| match fault.place {
            Place::Swipe { phase, swipe, at } if (phase, swipe) == (number, self.swipe) => Some((at, *fault)),
            _ => None,
        };
        self.faults.iter().filter_map(here).collect()
    }

    /// Puts a fault at a time: the hand's own become overlays, the others news.
    pub(super) fn place_fault(&self, fault: Fault, t: i64, step: u32, plan: &mut Plan) {
        let (cover, end, kind, size) = match fault.what {
            What::Lift { seconds } => (Cover::Lift, t + nanos(seconds), "lift", (1e3 * seconds, "ms")),
            What::Knock { amplitude_m } => {
                (Cover::Knock { amplitude_m }, t + KNOCK_NS, "knock", (1e3 * amplitude_m, "mm"))
            }
            _ => {
                if !of_the_hand(&fault.what) {
                    plan.news.push_back(News::Fault(t, fault));
                }
                return;
            }
        };
        plan.overlays.push(Overlay { begin: t, end, cover });
        let label = Label::new(Family::Operator, kind, Cause::Operator, (t, end), size);
        plan.news.push_back(News::Label(self.in_place(label, step)));
    }

    /// A label of the present phase and swipe.
    pub(super) fn in_place(&self, label: Label, step: u32) -> Label {
        let swipe = (self.swipe > 0).then_some(self.swipe);
        Label { step: Some(step), phase: Some(self.number()), swipe, ..label }
    }

    pub(super) fn hold(&mut self, seconds: f64, step: u32, plan: &mut Plan) {
        let end = self.clock + nanos(seconds);
        let number = if self.asked.is_some() || self.phase < self.phases.len() { self.number() } else { 0 };
        plan.segments.push_back(Segment::hold((self.clock, end), self.place, (step, number, 0)));
        self.clock = end;
    }

    fn settle(&self, seconds: f64, plan: &mut Plan) {
        let settling = self.hand.settling;
        if settling.distance_m != 0.0 {
            let until = self.clock + nanos(seconds);
            let cover = Cover::Settle { settling, until };
            plan.overlays.push(Overlay { begin: self.clock, end: until + RETURN_NS, cover });
        }
    }

    fn strikes(&mut self, count: u32, step: u32, plan: &mut Plan) {
        self.hold(LEAD_IN_S, step, plan);
        for _ in 0..count {
            let wait = STRIKE_S.0 + STRIKE_S.1 * self.noise.bounded_normal();
            let down = self.clock + nanos(self.noise.uniform() * 0.05);
            let up = down + nanos(self.noise.between(STRIKE_HOLD_S.0, STRIKE_HOLD_S.1));
            plan.news.push_back(News::Strike(down, up));
            self.hold(wait, step, plan);
        }
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
            other.insert("axis".to_owned(), json!(planned.axis.unwrap_or(self.axis)));
        }
        if let Doing::Strikes { count } = planned.doing {
            other.insert("strikes".to_owned(), json!(count));
        }
        Phase { step: planned.step, task, pace, swipes, other }
    }
}

/// Whole nanoseconds of a span in seconds.
pub(crate) fn nanos(seconds: f64) -> i64 {
    (seconds * 1e9).round() as i64
}
