//! Swipes that lack counts because gain falls with speed, and by nothing that befell them one by one.
//!
//! Such a swipe is short, its top is flatter than the hand's, and where the hand strikes the stop its counts seem to end too early:
//! each look at it alone may find a loss. All together tell: what a swipe lacks is proportional to how much faster than the slow ones
//! it was, `l = a (v − v_slow)`, at the medium pace as well as at the fast one. What a sensor loses above a limit spares the medium swipes that stay below
//! it; and what it loses above one that these exceed takes more than [`MOST_GAIN`] of the fast ones.
//!
//! Held to hold where nearly all fast swipes ([`NEARLY_ALL`]) lie on it, to [`SHARE`] or to placing, as the medium ones do on average,
//! and lack more than chance leaves of them. For all swipes, or for those of one direction. Of swipes that lie on it no silence into
//! the stop, no straight or thin run and no shortfall is told. Not asked where false motion, losses on the way or starts that no arm
//! makes show in others. (Added after smooth sags of 3 to 8 % a m/s had been told as losses of tracking beside the gain, or in
//! place of it, in 28 of 39 sessions of a blind tester.) Cost: O(swipes log swipes).

use super::{PhaseView, SwipeView};
use crate::erratic::{Stretch, Wrong};
use crate::shortfall::{MOST_GAIN, Measure};
use crate::stats::{mean, median};
use crate::verdict::Direction;
use slipgauge_trace::session::Pace;

/// Fast swipes that tell.
const LEAST_FAST: usize = 8;
/// Medium ones.
const LEAST_MEDIUM: usize = 3;
/// Share of the fast swipes: an operator may stop short now and then.
const NEARLY_ALL: f64 = 0.9;
/// A swipe lies on the law to this share of what it says: hands of one peak differ in their mean speed by as much.
const SHARE: f64 = 0.25;
/// And the medium ones on average: gain that falls with the square of speed puts them a half lower, with its root by 40 % higher.
const MEDIUM: f64 = 0.5;
/// Times the slow speed that a faster swipe has.
const FASTER: f64 = 1.5;
/// Standard deviations of a mean by which medium swipes must be short.
const SURE: f64 = 3.0;

/// Takes back what was found in swipes for lacking what a gain takes.
pub(super) fn apply(phases: &mut [PhaseView], measure: Measure) {
    let ways: [&dyn Fn(&SwipeView) -> bool; 3] =
        [&|_| true, &|s| s.swipe.direction == Direction::Out, &|s| s.swipe.direction == Direction::Back];
    for way in ways {
        if let Some(law) = Law::of(phases, measure, way) {
            let faster = phases.iter_mut().filter(|p| p.span.phase.pace != Some(Pace::Slow));
            for view in faster.flat_map(|p| &mut p.swipes).filter(|s| way(s) && law.holds(s) && is_plain(s)) {
                view.stretches.clear();
                view.silences.retain(|s| s.host || !s.to_the_end);
                let swipe = &mut view.swipe;
                (swipe.surplus, swipe.began_short, swipe.stopped_short) = (0.0, false, false);
            }
            return;
        }
    }
}

/// True if nothing was found in a swipe that a gain does not make.
fn is_plain(view: &SwipeView) -> bool {
    let made = |s: &Stretch| match s.wrong {
        Wrong::Repeated | Wrong::Level => true,
        Wrong::Thin => !s.recovered,
        _ => false,
    };
    view.clip.is_none()
        && view.stretches.iter().all(made)
        && view.silences.iter().all(|s| s.to_the_end)
        && !view.starts.iter().any(|s| s.by_no_arm)
}

/// What swipes lack by their speed.
struct Law {
    measure: Measure,
    /// Counts a (count/s).
    slope: f64,
    slow: f64,
}

impl Law {
    fn of(phases: &[PhaseView], measure: Measure, way: &dyn Fn(&SwipeView) -> bool) -> Option<Law> {
        let at = |pace: Pace| {
            let own = phases.iter().filter(move |p| p.span.phase.pace == Some(pace));
            own.flat_map(|p| &p.swipes).filter(|s| way(s))
        };
        let peak = |s: &SwipeView| s.swipe.peak;
        let slow = median(&at(Pace::Slow).map(peak).collect::<Vec<_>>())?;
        let plain = |pace| at(pace).filter(move |s| is_plain(s) && peak(s) > FASTER * slow);
        let all = at(Pace::Fast).count();
        let nearly_all = |n: usize| n >= LEAST_FAST && n as f64 >= NEARLY_ALL * all as f64;
        if !nearly_all(plain(Pace::Fast).count()) {
            return None;
        }
        let lacks = |s: &SwipeView| measure.lacks(&s.swipe);
        let slopes: Vec<f64> = plain(Pace::Fast).map(|s| lacks(s) / (peak(s) - slow)).collect();
        let law = Law { measure, slope: median(&slopes)?, slow };
        let usual = median(&plain(Pace::Fast).map(lacks).collect::<Vec<_>>())?;
        let in_range = usual > measure.most && usual <= MOST_GAIN * measure.one_travel;
        let medium: Vec<&SwipeView> = plain(Pace::Medium).collect();
        let lacking = mean(&medium.iter().map(|s| lacks(s)).collect::<Vec<_>>())?;
        let says = mean(&medium.iter().map(|s| law.says(s)).collect::<Vec<_>>())?;
        let unsure = SURE * measure.deviation() / (medium.len() as f64).sqrt();
        let alike = (lacking - says).abs() <= MEDIUM * says && lacking > unsure;
        let on_it = plain(Pace::Fast).filter(|s| law.holds(s)).count();
        (in_range && medium.len() >= LEAST_MEDIUM && alike && nearly_all(on_it)).then_some(law)
    }

    fn says(&self, view: &SwipeView) -> f64 {
        self.slope * (view.swipe.peak - self.slow)
    }

    /// True if a swipe lacks what it says.
    fn holds(&self, view: &SwipeView) -> bool {
        let says = self.says(view);
        let off = self.measure.lacks(&view.swipe) - says;
        off.abs() <= self.measure.most.max(SHARE * says)
    }
}
