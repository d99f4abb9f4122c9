//! Which step is active: nothing tells but the counts.
//!
//! Counts of two slow swipes over the travel, held against all nominals and the steps measured before. Two swipes tell it
//! to well under a per cent; nominals are off by a few per cent, and steps lie apart by a quarter or more: so what lies
//! within [`SAME`] of its own and of no other's is the step.

use slipgauge_trace::session::Step;
use std::collections::BTreeMap;

/// Ratio up to which a resolution is that of a step: half-way, in ratio, between steps a quarter apart with some room for
/// how far a device may lie off its nominal (typical sensors: 1 %; cheap ones are seen at 5 %: common practice, no source).
const SAME: f64 = 1.10;
/// Of a step that was measured before on the same bench: two swipes each scatter less than this.
const MEASURED_SAME: f64 = 1.03;

/// What the swipes say.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// The step, or nothing against it.
    Agrees,
    /// Another one, if it looks like one.
    Differs(Option<Step>),
}

/// Holds a measured resolution in counts per inch against the plan and what was measured before.
pub fn told(step: &Step, measured: f64, steps: &[Step], before: &BTreeMap<u32, f64>) -> Told {
    let apart = |other: f64| (measured / other).max(other / measured);
    let others = || steps.iter().filter(|other| other.id != step.id);
    let nearest = |of: &dyn Fn(&Step) -> Option<f64>, limit: f64| {
        let near = others().filter_map(|s| of(s).map(|n| (apart(n), s)));
        near.filter(|(apart, _)| *apart < limit).min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let nominal = |s: &Step| s.nominal_counts_per_inch;
    let seen = |s: &Step| before.get(&s.id).copied();
    // The same as when this step was measured the last time.
    if seen(step).is_some_and(|own| apart(own) < MEASURED_SAME) {
        return Told::Agrees;
    }
    match step.nominal_counts_per_inch {
        Some(own) => {
            let like = nearest(&nominal, apart(own));
            if like.is_none() && apart(own) < SAME {
                return Told::Agrees;
            }
            let like = like.filter(|(other, _)| *other < SAME).or_else(|| nearest(&seen, MEASURED_SAME));
            Told::Differs(like.map(|(_, s)| s.clone()))
        }
        None => match nearest(&seen, MEASURED_SAME) {
            Some((_, same)) => Told::Differs(Some(same.clone())),
            None => Told::Agrees,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(id: u32, nominal: Option<f64>) -> Step {
        Step { id, label: None, nominal_counts_per_inch: nominal }
    }

    #[test]
    fn tells_a_wrong_step_by_its_nominal() {
        let steps = [step(1, Some(400.0)), step(2, Some(800.0)), step(3, Some(1600.0))];
        let none = BTreeMap::new();
        assert_eq!(told(&steps[1], 812.0, &steps, &none), Told::Agrees);
        assert_eq!(told(&steps[1], 396.0, &steps, &none), Told::Differs(Some(steps[0].clone())));
        assert_eq!(told(&steps[1], 640.0, &steps, &none), Told::Differs(None));
    }

    #[test]
    fn without_nominals_a_step_seen_before_is_told() {
        let steps = [step(1, None), step(2, None)];
        let before = BTreeMap::from([(1, 800.0)]);
        assert_eq!(told(&steps[1], 1610.0, &steps, &before), Told::Agrees);
        assert_eq!(told(&steps[1], 803.0, &steps, &before), Told::Differs(Some(steps[0].clone())));
        // The step itself, again.
        assert_eq!(told(&steps[0], 803.0, &steps, &before), Told::Agrees);
    }
}
