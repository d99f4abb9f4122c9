//! The device's firmware: gathers counts between two polls and makes the report.

use crate::report::{ReportFormat, Values};
use serde::{Deserialize, Serialize};

/// What becomes of counts that a report cannot hold.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Excess {
    /// Handed on with the next reports: a plateau, then a catch-up.
    Carried,
    /// Thrown away: the travel comes out short.
    #[default]
    Discarded,
}

/// Firmware.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Firmware {
    /// Largest count in one report, where it is below what the field holds.
    pub limit: Option<i32>,
    /// What becomes of the rest.
    pub excess: Excess,
}

/// Firmware at work.
pub(crate) struct FirmwareState {
    limit: i64,
    excess: Excess,
    pending: [i64; 2],
    buttons: u16,
    buttons_sent: u16,
}

/// A report as made, with what did not fit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Made {
    pub(crate) values: Values,
    /// Counts that the report could not hold, whatever became of them.
    pub(crate) excess: [i64; 2],
}

impl FirmwareState {
    pub(crate) fn new(model: &Firmware, format: &ReportFormat) -> FirmwareState {
        let field = format.largest();
        let limit = i64::from(model.limit.map_or(field, |limit| limit.clamp(1, field)));
        FirmwareState { limit, excess: model.excess, pending: [0; 2], buttons: 0, buttons_sent: 0 }
    }

    /// Takes a frame's counts.
    pub(crate) fn gather(&mut self, counts: [i64; 2]) {
        self.pending[0] += counts[0];
        self.pending[1] += counts[1];
    }

    /// The report for this poll, if there is something to say.
    pub(crate) fn report(&mut self) -> Option<Made> {
        if self.pending == [0, 0] && self.buttons == self.buttons_sent {
            return None;
        }
        let taken = self.pending.map(|p| p.clamp(-self.limit, self.limit));
        let excess = [self.pending[0] - taken[0], self.pending[1] - taken[1]];
        self.pending = match self.excess {
            Excess::Carried => excess,
            Excess::Discarded => [0, 0],
        };
        self.buttons_sent = self.buttons;
        // Within ±limit, which is an i32.
        let counts = taken.map(|t| t as i32);
        Some(Made { values: Values { counts, buttons: self.buttons }, excess })
    }

    /// Takes a report's counts back, to be sent with the next.
    pub(crate) fn take_back(&mut self, values: Values) {
        self.gather(values.counts.map(i64::from));
    }
}
