//! What was found in a short swipe, weighed against its neighbour that is short by the same.
//!
//! A hand that stops short of a stop may brake as hard as a sensor seems to lose counts, or go on evenly as one that repeats;
//! and one that begins there strikes the other stop at speed, as counts seem to end that are lost. The neighbour tells: both are
//! short by the same, and the path closes. A device that loses counts so does it in other swipes, too, where no neighbour
//! is. So these finds are dropped where each such swipe of the step has a neighbour that explains it, and nothing else in the
//! step tells of counts that the device lost, and where at least as many show nothing; else none is. (The last added after a top speed
//! that showed in fourteen of twenty swipes, all short, had been seen to be acquitted. The rest after a blind tester's sound hands that
//! stopped 5 to 18 mm short had been told to lose track, or to repeat, in 7 of 9 of his cases.)

use super::{PhaseView, SwipeView, excuse, tells};
use crate::erratic::{Stretch, Wrong};
use crate::host::HostSpans;
use crate::shortfall::Measure;
use crate::silence::{MakeUp, Silence};

/// True if a hand that stops may have made a stretch.
fn may_be_a_stop(stretch: &Stretch) -> bool {
    stretch.wrong == Wrong::Repeated || (stretch.wrong == Wrong::Thin && !stretch.recovered)
}

/// True if something was found in a swipe that nobody's stopping short makes.
fn is_told(view: &SwipeView) -> bool {
    !view.stretches.iter().all(may_be_a_stop)
        || view.silences.iter().any(|s| s.may_lose() && !s.to_the_end)
        || view.starts.iter().any(|s| s.by_no_arm)
}

/// True if what was found in a swipe may be an operator's, and there is something.
fn is_doubtful(view: &SwipeView) -> bool {
    tells(view, Silence::may_lose) && !is_told(view)
}

/// True if its neighbours explain a doubtful swipe. One that stops short ends at no speed: where the counts do, it struck the stop.
fn is_explained(view: &SwipeView) -> bool {
    let (began, stopped) = (view.swipe.began_short, view.swipe.stopped_short);
    (began || stopped) && !(stopped && view.silences.iter().any(Silence::may_lose))
}

/// Marks who is short and who is excused, and drops what those show whose neighbours explain it; as if all of it told where they do
/// not.
pub(super) fn mark(phases: &mut [PhaseView], measure: Measure, host: &HostSpans) {
    let all = || phases.iter().flat_map(|p| &p.swipes);
    let device = all().any(is_told);
    let before: Vec<(bool, bool)> = all().map(|s| (s.swipe.began_short, s.swipe.stopped_short)).collect();
    if !device && all().any(is_doubtful) {
        excuse(phases, measure, host, is_told, is_doubtful);
        let short = |s: &&mut SwipeView| s.swipe.surplus < 0.0 && is_doubtful(s);
        let plain =
            views(phases).filter(|s| s.swipe.surplus < 0.0 && !is_doubtful(s) && is_explained(s)).count();
        let few = views(phases).filter(short).count() <= plain;
        if few && views(phases).filter(short).all(|s| is_explained(s)) {
            for view in views(phases).filter(short) {
                view.stretches.clear();
                view.silences.retain(|s| s.host || s.kind == MakeUp::Late);
            }
            return;
        }
        for (view, flags) in views(phases).zip(before) {
            (view.swipe.began_short, view.swipe.stopped_short) = flags;
        }
    }
    excuse(phases, measure, host, |s| tells(s, Silence::may_lose), |_| false);
}

fn views(phases: &mut [PhaseView]) -> impl Iterator<Item = &mut SwipeView> {
    phases.iter_mut().flat_map(|p| &mut p.swipes)
}
