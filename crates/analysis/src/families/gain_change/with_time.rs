//! Whether gain changes with time, and only seems to with speed because fast swipes are made last.
//!
//! Within a phase the pace is one. So lengths are held against time there: `l / mean of its phase and direction − 1 = b (t − mean t)`,
//! one slope b for all phases by least squares. It is told where b lies [`SURE`] standard errors off 0 (times √2, since neighbours
//! share a stop), where the slow phase by itself agrees to [`AGREES`] of them, and where what b makes of the time between two paces is
//! [`MOST`] of what they differ by and more.
//!
//! Assumes that a hand's own pace has no trend in a phase that a gain with speed would turn into one; the slow phase, in which such a
//! gain tells least, says so. (Added after a gain that fell evenly in time by 10 % of a session, and by 2.6 % within the fast
//! phase, had been told to fall with speed.) Cost: O(swipes).

use crate::families::key;
use crate::stats::mean;
use crate::step::StepView;
use slipgauge_trace::session::Pace;
use std::collections::{BTreeMap, BTreeSet};

/// Standard errors by which there is a slope.
const SURE: f64 = 5.0;
/// And to which the slow phase agrees.
const AGREES: f64 = 3.0;
/// Share of the contrast.
const MOST: f64 = 0.5;

/// A slope, relative a second.
#[derive(Clone, Copy, Debug)]
pub(super) struct WithTime {
    /// Relative, a second.
    pub(super) per_s: f64,
    error: f64,
}

/// Time and length of swipes of one phase and direction, seconds and counts.
type Group = Vec<(f64, f64)>;

/// The trend in time that makes most of a contrast of two paces, if there is one. `keys`: the swipes that it rests on.
pub(super) fn find(
    step: &StepView,
    keys: &BTreeSet<(u32, u32)>,
    (base, pace): (Pace, Pace),
    contrast: f64,
) -> Option<WithTime> {
    let mut groups: BTreeMap<(Pace, u32, bool), Group> = BTreeMap::new();
    for (phase, view) in step.swipes().filter(|(p, s)| keys.contains(&key(p, s))) {
        let Some(own) = phase.span.phase.pace else { continue };
        let group = groups.entry((own, phase.span.number, view.swipe.sign() > 0.0)).or_default();
        group.push((1e-9 * view.swipe.begin as f64, view.swipe.along));
    }
    let of = |own: &dyn Fn(Pace) -> bool| -> Vec<&Group> {
        groups.iter().filter(|(k, _)| own(k.0)).map(|(_, group)| group).collect()
    };
    let all = slope(&of(&|_| true))?;
    let slow = slope(&of(&|own| own == base))?;
    let when =
        |own: Pace| mean(&of(&|p| p == own).iter().flat_map(|g| g.iter().map(|s| s.0)).collect::<Vec<_>>());
    let makes = all.per_s * (when(pace)? - when(base)?);
    let sure = all.per_s.abs() > SURE * all.error;
    let agrees = (slow.per_s - all.per_s).abs() <= AGREES * slow.error.hypot(all.error);
    (sure && agrees && makes * contrast.signum() >= MOST * contrast.abs()).then_some(all)
}

/// One slope of length on time for all groups, each about its own mean; `None` with too few to tell its error.
fn slope(groups: &[&Group]) -> Option<WithTime> {
    let (mut xx, mut xy, mut yy, mut free) = (0.0, 0.0, 0.0, -1.0);
    for group in groups.iter().filter(|g| g.len() >= 2) {
        let of = |field: fn(&(f64, f64)) -> f64| mean(&group.iter().map(field).collect::<Vec<_>>());
        let (t, l) = (of(|s| s.0)?, of(|s| s.1).filter(|l| *l > 0.0)?);
        for (x, y) in group.iter().map(|s| (s.0 - t, s.1 / l - 1.0)) {
            (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
        }
        free += group.len() as f64 - 1.0;
    }
    if xx <= 0.0 || free < 3.0 {
        return None;
    }
    let per_s = xy / xx;
    let error = (2.0 * (yy - per_s * xy).max(0.0) / free / xx).sqrt();
    (per_s.is_finite() && error.is_finite()).then_some(WithTime { per_s, error })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_in_time_is_found_with_its_error_and_placing_makes_none() {
        let placing = |i: usize| 6.0 * ((i * 7 % 11) as f64 - 5.0);
        let group = |per_s: f64, l: f64| -> Group {
            (0..10)
                .map(|i| (2.0 * i as f64, l * (1.0 + per_s * (2.0 * i as f64 - 9.0)) + placing(i)))
                .collect()
        };
        let falls = [&group(-1e-3, 18_900.0), &group(-1e-3, 19_000.0)];
        let found = slope(&falls).unwrap();
        assert!(
            (found.per_s / -1e-3 - 1.0).abs() < 0.05 && found.per_s.abs() > SURE * found.error,
            "{found:?}"
        );
        let none = slope(&[&group(0.0, 18_900.0)]).unwrap();
        assert!(none.per_s.abs() < SURE * none.error, "{none:?}");
        assert!(slope(&[]).is_none() && slope(&[&vec![(1.0, 0.0); 9]]).is_none());
    }
}
