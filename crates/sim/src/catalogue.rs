//! Faults by name, each with one size: how a command line, a table or a study asks for them.
//!
//! An entry turns a bench into one with that fault; entries can be laid on top of each other. What an entry does not
//! reach is set on the parts themselves.

mod table;

use crate::bench::Bench;
use crate::device::DeviceModel;
use crate::fault::{Fault, What};
use crate::script::Doing;
use crate::{Family, SimError};
use slipgauge_trace::session::Pace;
use table::CATALOGUE;

/// A fault that can be asked for by name.
#[derive(Debug, Clone, Copy)]
pub struct Named {
    /// Its name.
    pub name: &'static str,
    /// The family that it belongs to.
    pub family: Family,
    /// Unit of its size.
    pub unit: &'static str,
    /// A size that is plain to see.
    pub usual: f64,
    /// One clause for a person.
    pub what: &'static str,
    apply: fn(&mut Bench, f64),
}

/// All of them.
pub fn catalogue() -> &'static [Named] {
    CATALOGUE
}

impl Bench {
    /// This bench with a fault by name. Without a size it gets the usual one.
    ///
    /// # Errors
    /// [`SimError::Unknown`] if there is no such name.
    pub fn with_fault(mut self, name: &str, size: Option<f64>) -> Result<Bench, SimError> {
        let found = CATALOGUE.iter().find(|entry| entry.name == name);
        let entry = found.ok_or_else(|| SimError::Unknown { name: name.to_owned() })?;
        (entry.apply)(&mut self, size.unwrap_or(entry.usual));
        Ok(self)
    }

    /// Puts something into every `every`-th fast swipe, at a share of its travel; into every such swipe where there is no
    /// fast pace.
    fn in_fast_swipes(&mut self, every: u32, at: f64, what: What) {
        self.in_fast_swipes_along(every, |_| at, what);
    }

    /// Likewise, but all along the way from swipe to swipe: a link does not know the speed.
    fn anywhere_in_fast_swipes(&mut self, every: u32, what: What) {
        // Multiples of the golden ratio's fraction fill it evenly.
        let at = |swipe: u32| 0.15 + 0.7 * (f64::from(swipe / every) * 0.618_034).fract();
        self.in_fast_swipes_along(every, at, what);
    }

    fn in_fast_swipes_along(&mut self, every: u32, at: impl Fn(u32) -> f64, what: What) {
        let fast = |doing: &Doing| matches!(doing, Doing::Swipes { pace: Pace::Fast, .. });
        let any_fast = self.script.phases.iter().any(|phase| fast(&phase.doing));
        for (phase, number) in self.script.phases.iter().zip(1..) {
            if let Doing::Swipes { count, .. } = phase.doing
                && (fast(&phase.doing) || !any_fast)
            {
                let swipes = (1..=count).filter(|swipe| swipe % every == 0);
                self.faults.extend(swipes.map(|swipe| Fault::in_swipe(number, swipe, at(swipe), what)));
            }
        }
    }

    /// Puts something into every still phase, so many seconds after its begin.
    fn in_still_phases(&mut self, after_s: f64, what: What) {
        for (phase, number) in self.script.phases.iter().zip(1..) {
            if matches!(phase.doing, Doing::Still { .. }) {
                self.faults.push(Fault::in_phase(number, after_s, what));
            }
        }
    }

    /// Puts something into the first phase of swipes at its third swipe.
    fn in_third_swipe(&mut self, at: f64, what: What) {
        let swipes = |doing: &Doing| matches!(doing, Doing::Swipes { .. });
        if let Some(index) = self.script.phases.iter().position(|phase| swipes(&phase.doing)) {
            let number = u32::try_from(index + 1).unwrap_or(u32::MAX);
            self.faults.push(Fault::in_swipe(number, 3, at, what));
        }
    }

    /// The reference, made sound if there was none.
    fn reference(&mut self) -> &mut DeviceModel {
        let plain =
            || DeviceModel { name: "Plain Pointer".to_owned(), mount_rad: -0.015, ..DeviceModel::default() };
        self.reference.get_or_insert_with(plain)
    }
}
