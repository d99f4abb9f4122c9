//! The plan of a test: what is done at each step, and what was told of the bench.
//!
//! The *screen* plan finds faults that are not rare, at each step, in about two minutes a step: 15 clean fast swipes show
//! that at most 18 % are bad (95 %), and pooled over four steps 5 %. The *confirm* plan takes one step and the number of
//! swipes of a success run for 5 % (59; see `analysis::decision`).

use crate::{Need, Travel, travel};
use serde_json::{Map, Value, json};
use slipgauge_trace::session::{Axis, Pace, Phase, Plan, Step, Task};
use slipgauge_trace::{Metres, MetresPerSecond, Nanos};

/// A plan of a named size, or one of the user's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Every step, briefly.
    Screen,
    /// One step, for a claim that is to be published.
    Confirm,
}

/// How many swipes at each pace, and how fast; the same at every step.
#[derive(Clone, Debug, PartialEq)]
pub struct Paced {
    /// The pace.
    pub pace: Pace,
    /// Swipes asked for.
    pub swipes: u32,
    /// Peak speed that the hand is to reach.
    pub peak: MetresPerSecond,
}

/// The whole plan.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPlan {
    /// How far the device moves.
    pub travel: Travel,
    /// Direction of the swipes.
    pub axis: Axis,
    /// The swipes run along a straight edge.
    pub straight_edge: bool,
    /// The steps in the order in which they are done; ids count from 1.
    pub steps: Vec<Step>,
    /// How long the device lies still at each step.
    pub still: Nanos,
    /// The paces in the order in which they are done.
    pub paces: Vec<Paced>,
    /// What the user needs.
    pub need: Option<Need>,
    /// A step may end after this many clear spin-outs; `None`: never.
    pub spin_outs_end_a_step: Option<u32>,
}

/// Slow swipes that tell which step is active: there and back.
pub const IDENTIFY: u32 = 2;
/// Fast swipes after which a rest is proposed.
pub const REST_AFTER: u32 = 60;
/// Peak speeds of a comfortable reach, a brisk one and a flick, in metres per second (common practice, no source; hard
/// flicks reach 4 to 5).
const SLOW: MetresPerSecond = MetresPerSecond(0.4);
const MEDIUM: MetresPerSecond = MetresPerSecond(1.2);
const FAST: MetresPerSecond = MetresPerSecond(2.5);

/// Fast swipes of the confirm plan: a success run for 5 % at 95 %.
pub const PUBLISHED: u32 = 59;
/// Who needs a speed aims this much above it: peaks scatter by some 5 % from swipe to swipe (common practice, no source), and
/// only swipes that reach the speed count.
const AIM: f64 = 1.1;

impl TestPlan {
    /// A plan of a named size.
    pub fn of_size(size: Size, travel: Travel, steps: Vec<Step>, need: Option<Need>) -> TestPlan {
        let fast = need.map_or(FAST, |need| MetresPerSecond(AIM * need.peak().0));
        let (still, slow, medium, many) = match size {
            Size::Screen => (10, 10, 6, 15),
            Size::Confirm => (60, 20, 10, PUBLISHED),
        };
        let paced = |pace, swipes, peak| Paced { pace, swipes, peak };
        TestPlan {
            travel,
            axis: Axis::X,
            straight_edge: false,
            steps,
            still: Nanos(still * Nanos::SECOND.0),
            paces: vec![
                paced(Pace::Slow, slow, SLOW),
                paced(Pace::Medium, medium, MEDIUM),
                paced(Pace::Fast, many, fast),
            ],
            need,
            spin_outs_end_a_step: Some(3),
        }
    }

    /// What is asked at one pace.
    pub fn paced(&self, pace: Pace) -> Option<&Paced> {
        self.paces.iter().find(|p| p.pace == pace)
    }

    /// Peak speed at a pace; that of a slow swipe where the plan asks for none.
    pub fn peak(&self, pace: Option<Pace>) -> MetresPerSecond {
        pace.and_then(|pace| self.paced(pace)).map_or(SLOW, |paced| paced.peak)
    }

    /// Phases of a step, in order.
    pub fn phases(&self, step: u32) -> Vec<Phase> {
        let phase = |task, pace, swipes: Option<u32>| {
            let mut other = Map::new();
            if swipes.is_some() {
                other.insert("axis".to_owned(), json!(self.axis));
            }
            Phase { step, task, pace, swipes, other }
        };
        let mut phases = vec![phase(Task::Identify, Some(Pace::Slow), Some(IDENTIFY))];
        if self.still > Nanos(0) {
            phases.push(phase(Task::Still, None, None));
        }
        let paced = self.paces.iter().filter(|p| p.swipes > 0);
        phases.extend(paced.map(|p| phase(Task::Swipes, Some(p.pace), Some(p.swipes))));
        phases
    }

    /// Time that one swipe at this peak speed takes, if it is as smooth as can be.
    pub fn swipe_time(&self, peak: MetresPerSecond) -> Nanos {
        let Metres(travel) = self.travel.metres();
        Nanos((1e9 * crate::need::PEAK_OVER_MEAN * travel / peak.0.max(1e-3)).round() as i64)
    }

    /// The plan as the session's header holds it.
    pub fn to_session(&self) -> Plan {
        let paces = self.paces.iter().filter_map(|p| {
            let Ok(Value::String(name)) = serde_json::to_value(p.pace) else { return None };
            Some((name, json!({ "peak_m_s": p.peak.0, "swipes": p.swipes })))
        });
        let mut other = Map::new();
        other.insert("still_ns".to_owned(), json!(self.still));
        if let Some(n) = self.spin_outs_end_a_step {
            other.insert("spin_outs_end_a_step".to_owned(), json!(n));
        }
        if let travel::From::GapBody { gap_um, body_um } = self.travel.from {
            other.insert("gap_um".to_owned(), json!(gap_um));
            other.insert("body_um".to_owned(), json!(body_um));
        }
        Plan {
            travel_um: Some(self.travel.um),
            travel_u_um: Some(self.travel.uncertainty_um),
            travel_from: Some(self.travel.source()),
            axis: Some(self.axis),
            straight_edge: self.straight_edge.then_some(true),
            steps: self.steps.clone(),
            paces: paces.collect(),
            need: self.need.map(|need| need.to_json()).unwrap_or_default(),
            other,
            ..Plan::default()
        }
    }

    /// The plan of a session's header, to do the same again or to go on; `None` if it was not made by a guided test.
    pub fn from_session(plan: &Plan) -> Option<TestPlan> {
        let um = plan.travel_um.filter(|um| *um > 0)?;
        let length = |key: &str| plan.other.get(key).and_then(Value::as_i64);
        let from = match (plan.travel_from.as_deref(), length("gap_um"), length("body_um")) {
            (Some("gap-body"), Some(gap_um), Some(body_um)) => travel::From::GapBody { gap_um, body_um },
            (Some("ruler") | None, ..) => travel::From::Ruler,
            (Some(name), ..) => travel::From::File(name.to_owned()),
        };
        let paces = [Pace::Slow, Pace::Medium, Pace::Fast].into_iter().filter_map(|pace| {
            let Ok(Value::String(name)) = serde_json::to_value(pace) else { return None };
            let of = plan.paces.get(&name)?;
            let peak = of.get("peak_m_s").and_then(Value::as_f64).filter(|v| (0.01..=20.0).contains(v))?;
            let swipes = u32::try_from(of.get("swipes")?.as_u64()?).ok().filter(|n| *n <= 10_000)?;
            Some(Paced { pace, swipes, peak: MetresPerSecond(peak) })
        });
        let paces: Vec<Paced> = paces.collect();
        // A simulated session's plan tells speeds and no numbers.
        let swiped = paces.iter().any(|paced| paced.swipes > 0);
        let steps = plan.steps.clone();
        let numbered = (1u32..).zip(&steps).all(|(id, step)| step.id == id);
        (!steps.is_empty() && numbered && swiped).then(|| TestPlan {
            travel: Travel { um, uncertainty_um: plan.travel_u_um.unwrap_or(500).max(0), from },
            axis: plan.axis.unwrap_or_default(),
            straight_edge: plan.straight_edge.unwrap_or(false),
            steps,
            still: Nanos(length("still_ns").unwrap_or(0).clamp(0, 3_600 * Nanos::SECOND.0)),
            paces,
            need: Need::from_json(&plan.need),
            spin_outs_end_a_step: length("spin_outs_end_a_step").and_then(|n| u32::try_from(n).ok()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(n: u32) -> Vec<Step> {
        let step = |id| Step { id, label: None, nominal_counts_per_inch: Some(400.0 * f64::from(id)) };
        (1..=n).map(step).collect()
    }

    #[test]
    fn a_plan_survives_the_session_header() {
        let need = Need::Turn { degrees: 180.0, within: Nanos(150_000_000), per_turn: Metres(0.4) };
        let travel = Travel::gap_body(365_000, 64_200, None).unwrap();
        let plan = TestPlan::of_size(Size::Screen, travel, steps(4), Some(need));
        let written = serde_json::to_string(&plan.to_session()).unwrap();
        let read: Plan = serde_json::from_str(&written).unwrap();
        assert_eq!(TestPlan::from_session(&read), Some(plan));
        assert_eq!(TestPlan::from_session(&Plan::default()), None);
        // As the simulator's header has it: how fast, not how many.
        let mut speeds = read;
        speeds.paces.values_mut().for_each(|of| {
            of.as_object_mut().unwrap().remove("swipes");
        });
        assert_eq!(TestPlan::from_session(&speeds), None);
    }

    #[test]
    fn a_step_is_identified_first_and_swiped_fast_last() {
        let plan = TestPlan::of_size(Size::Screen, Travel::ruler(300_000, None), steps(1), None);
        let phases = plan.phases(1);
        let tasks: Vec<_> = phases.iter().map(|p| (&p.task, p.pace, p.swipes)).collect();
        assert_eq!(
            tasks,
            [
                (&Task::Identify, Some(Pace::Slow), Some(2)),
                (&Task::Still, None, None),
                (&Task::Swipes, Some(Pace::Slow), Some(10)),
                (&Task::Swipes, Some(Pace::Medium), Some(6)),
                (&Task::Swipes, Some(Pace::Fast), Some(15)),
            ]
        );
    }
}
