//! Fields of a header that cannot be meant: set aside and said, and what was recorded stays.
//!
//! Such a field is as good as none: what needs it takes its default or is not examined. (Added after a travel of a thousand million
//! metres had made a sound device's hand faster than light, and limits told the wrong way round had failed another.)

use super::{Header, Plan};

/// Travels that can be meant, micrometres: between stops of less than 1 mm nothing can be swiped, and no pad has 10 m.
pub(crate) const TRAVEL_UM: std::ops::RangeInclusive<i64> = 1_000..=10_000_000;
/// Intervals of reports likewise, nanoseconds: up to the longest that USB has, 2¹⁵ microframes of 125 µs.
const INTERVAL_NS: std::ops::RangeInclusive<i64> = 1..=4_096_000_000;

impl Header {
    /// Takes out what cannot be meant; one sentence for each field.
    pub(crate) fn set_aside(&mut self) -> Vec<String> {
        let mut said = Vec::new();
        for (d, device) in self.devices.iter_mut().enumerate() {
            for (n, node) in device.nodes.iter_mut().enumerate() {
                if let Some(ns) = node.interval_ns.take_if(|ns| !INTERVAL_NS.contains(&ns.0)) {
                    let field = format!("devices[{d}].nodes[{n}].interval_ns");
                    said.push(sentence(&field, ns.0, "an interval is from 1 ns to 4.096 s"));
                }
            }
        }
        if let Some(plan) = &mut self.plan {
            said.extend(plan.set_aside());
        }
        said
    }
}

impl Plan {
    fn set_aside(&mut self) -> Vec<String> {
        let mut said = Vec::new();
        if let Some(um) = self.travel_um.take_if(|um| !TRAVEL_UM.contains(um)) {
            said.push(sentence("plan.travel_um", um, "a travel is from 1 mm to 10 m"));
        }
        if let Some(um) = self.travel_u_um.take_if(|um| *um < 0) {
            said.push(sentence("plan.travel_u_um", um, "an uncertainty is not negative"));
        }
        for (i, step) in self.steps.iter_mut().enumerate() {
            let cannot = step.nominal_counts_per_inch.is_some() && step.nominal().is_none();
            if let Some(told) = step.nominal_counts_per_inch.take_if(|_| cannot) {
                let field = format!("plan.steps[{i}].nominal_counts_per_inch");
                said.push(sentence(&field, told, "a resolution is from 0.01 to 10 million counts per inch"));
            }
        }
        self.tolerances.retain(|family, tolerance| {
            let why = match tolerance.limits {
                [Some(low), Some(high)] if low > high => "the lower limit is above the upper one",
                [None, Some(high)] if high < 0.0 => "nothing that has no lower limit is negative",
                _ => return true,
            };
            let limits = tolerance.limits.map(|l| l.map_or_else(|| "null".to_owned(), |l| l.to_string()));
            let name: String = family.chars().take(40).collect();
            let field = format!("plan.tolerances.{name:?}.limits");
            said.push(sentence(&field, format!("[{}]", limits.join(", ")), why));
            false
        });
        said
    }
}

/// What is said of a field of line 1.
fn sentence(field: &str, told: impl std::fmt::Display, why: &str) -> String {
    format!("line 1, {field}: {told} is set aside, since {why}; write what was meant and judge again")
}
