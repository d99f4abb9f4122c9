//! Strike lag: a button reported later than the reference's, see [`crate::pair`].
//!
//! Needs a reference device that is struck together with the device under test; required if there is one and the plan has a
//! tolerance, and not examined without one, as [lag](super::lag). Strikes that one device never reported are named, and keep from
//! a pass as swipes do there.
//!
//! Smallest found (its interval is clear of none): five standard deviations of the mean of n strikes; of one strike
//! (T² + U²)/12 with T and U the report intervals, and the switches' own scatter: 0.33 ms with 40 strikes at 1 ms. (First
//! written as 0.2 ms: that is three standard deviations, and one session in twenty did not tell it from none.) Largest: 350 ms.
//! (First 50 ms, and later ones were left out in silence.) Cost: O(reports + strikes).

use super::lag::{asked, judged};
use super::{Detector, not_examined};
use crate::pair::strike_lag;
use crate::step::StepView;
use crate::verdict::{Family, FamilyVerdict, Finding};

pub(super) struct StrikeLag;

impl Detector for StrikeLag {
    fn family(&self) -> Family {
        Family::StrikeLag
    }

    fn required(&self, step: &StepView) -> bool {
        asked(step, Family::StrikeLag)
    }

    fn detect(&self, _: &StepView, _: &mut Vec<Finding>) {}

    fn decide(&self, step: &StepView, _: &[Finding]) -> FamilyVerdict {
        if step.reference.is_none() {
            return not_examined(step, Family::StrikeLag, "no reference device");
        }
        match strike_lag(step) {
            Some(compared) => judged(step, Family::StrikeLag, &compared, "strike"),
            None => not_examined(step, Family::StrikeLag, "stamps too coarse"),
        }
    }
}
