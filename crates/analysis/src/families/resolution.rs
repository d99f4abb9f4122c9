//! Resolution: the step is not what it says.
//!
//! Effective resolution is worked out in [`crate::scale`] from the clean slow swipes; here it is held against the
//! nominal. Not examined without a nominal or without travel. Smallest found: the interval's half width.

use super::{Detector, limits, not_examined, verdict};
use crate::decision::inside;
use crate::scale::{Resolution as Effective, effective};
use crate::step::StepView;
use crate::verdict::{Family, FamilyVerdict, Finding, Outcome};
use slipgauge_trace::session::Step;

pub(super) struct Resolution;

impl Detector for Resolution {
    fn family(&self) -> Family {
        Family::Resolution
    }

    fn required(&self, step: &StepView) -> bool {
        step.planned.and_then(Step::nominal).is_some()
    }

    fn detect(&self, _: &StepView, _: &mut Vec<Finding>) {}

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let Some(nominal) = step.planned.and_then(Step::nominal) else {
            return not_examined(step, Family::Resolution, "no nominal resolution to hold it against");
        };
        let Some(Effective { counts_per_mm, uncertainty, df, swipes }) = effective(step, findings) else {
            let why = "no travel, or fewer than three clean slow swipes";
            return not_examined(step, Family::Resolution, why);
        };
        let per_mm = nominal.per_millimetre();
        let tolerance = limits(step, Family::Resolution);
        let (value, u) = (counts_per_mm / per_mm - 1.0, uncertainty / per_mm);
        let criterion = inside("effective over nominal", "relative", value, u, df, tolerance, step.looks);
        let because = format!(
            "{:.0} counts/inch from {swipes} slow swipes, {:+.1} % from the nominal {:.0}",
            counts_per_mm * 25.4,
            value * 100.0,
            nominal.per_inch()
        );
        let mut out = verdict(Family::Resolution, vec![criterion], 0, because);
        out.smallest_found = Some(2.0 * u);
        if out.verdict == Outcome::Inconclusive {
            out.to_settle = Some("a better known travel, more slow swipes along a straight edge".to_owned());
        }
        out
    }
}
