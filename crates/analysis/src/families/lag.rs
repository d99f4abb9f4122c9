//! Lag: motion reported later than the reference's, see [`crate::pair`].
//!
//! Needs a reference device on the same carriage; never required. Without a tolerance in the plan (ms, of the mean) the
//! estimate is given and the outcome is *not examined*: what is fast enough is the user's to say. What is told includes
//! the sensor's wait for its next frame, half a frame on the average.
//!
//! Smallest found (its interval is clear of none): with 20 swipes 0.1 ms, or a twentieth of the longer report interval if
//! that is more. (First written as 0.1 ms and as the interval's half width: at 8 ms that is 0.06 to 0.15 ms, and one session
//! in five did not tell 0.1 ms from none.) Cost: see there.

use super::{Detector, limits, not_examined, verdict};
use crate::decision::inside;
use crate::pair::{Later, lag};
use crate::step::StepView;
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome};

pub(super) struct Lag;

/// Judges a mean against the plan's tolerance, in ms.
pub(super) fn judged(step: &StepView, family: Family, later: Later, what: &str) -> FamilyVerdict {
    let tolerance = limits(step, family);
    let (mean, u) = (later.mean * 1e-6, later.uncertainty * 1e-6);
    let decided =
        inside("mean against the reference", "ms", mean, u, later.count as f64 - 1.0, tolerance, step.looks);
    let estimate = Some(later.quantity().scaled(1e-6));
    let untold = decided.verdict == Outcome::NotExamined;
    let because = format!(
        "{mean:+.2} ms against the reference in {} {what}, spread {:.2} ms, 95 % at most {:.2} ms{}",
        later.count,
        later.spread * 1e-6,
        later.most * 1e-6,
        if untold { "; no tolerance to hold it against" } else { "" }
    );
    let mut out = verdict(family, vec![Criterion { estimate, ..decided }], 0, because);
    out.smallest_found = Some(2.0 * u);
    if out.verdict == Outcome::Fail {
        out.cause = Some(Cause::Unknown);
    }
    if out.verdict == Outcome::Inconclusive {
        out.to_settle = Some(format!("more {what}"));
    }
    out
}

impl Detector for Lag {
    fn family(&self) -> Family {
        Family::Lag
    }

    fn required(&self, _: &StepView) -> bool {
        false
    }

    fn detect(&self, _: &StepView, _: &mut Vec<Finding>) {}

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.reference.is_none() {
            return not_examined(step, Family::Lag, "no reference device");
        }
        match lag(step, findings) {
            Some(later) => judged(step, Family::Lag, later, "swipes"),
            None => {
                not_examined(step, Family::Lag, "fewer than five clean swipes that both devices saw alike")
            }
        }
    }
}
