//! The device's firmware: gathers the sensor's counts between two polls and makes the report.
//!
//! In order: power saving (are counts taken at all), scaling, the largest count that a report holds. A report is made
//! only if there is something to say, as HID devices with an idle rate of 0 do (HID 1.11 section 7.2.4).

mod buttons;
mod power;

pub use buttons::{Buttons, Debounce};
pub use power::Power;

pub(crate) use buttons::ButtonState;
pub(crate) use power::Wake;

use crate::noise::Noise;
use crate::report::{ReportFormat, Values};
use power::PowerState;
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

/// A resolution made by scaling the sensor's counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Scaling {
    /// Reported counts for each of the sensor's own, above 0.
    pub ratio: f64,
    /// True if fractions of a count are cut off in each report: gain then falls as speed falls.
    pub truncates: bool,
}

/// Firmware.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Firmware {
    /// Largest count in one report, where it is below what the field holds.
    pub limit: Option<i32>,
    /// What becomes of the rest.
    pub excess: Excess,
    /// Scaling of the sensor's counts; the steps' resolutions are those after it.
    pub scaling: Option<Scaling>,
    /// Power saving at rest.
    pub power: Power,
    /// Buttons.
    pub buttons: Buttons,
}

/// Firmware at work.
pub(crate) struct FirmwareState {
    limit: i64,
    excess: Excess,
    scaling: Option<Scaling>,
    fraction: [f64; 2],
    raw: [i64; 2],
    pending: [i64; 2],
    truncated: Truncated,
    buttons: u16,
    buttons_sent: u16,
    power: PowerState,
}

/// What scaling owed over some time and what truncation took away of it, in counts by axis, signed.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Truncated {
    pub(crate) due: [f64; 2],
    pub(crate) lost: [f64; 2],
}

/// A report as made, with what did not fit.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Made {
    pub(crate) values: Values,
    /// Counts that the report could not hold, whatever became of them.
    pub(crate) excess: [i64; 2],
}

impl FirmwareState {
    pub(crate) fn new(model: &Firmware, format: &ReportFormat, noise: Noise) -> FirmwareState {
        let field = format.largest();
        FirmwareState {
            limit: i64::from(model.limit.map_or(field, |limit| limit.clamp(1, field))),
            excess: model.excess,
            scaling: model.scaling,
            fraction: [0.0; 2],
            raw: [0; 2],
            pending: [0; 2],
            truncated: Truncated::default(),
            buttons: 0,
            buttons_sent: 0,
            power: PowerState::new(&model.power, noise),
        }
    }

    /// Takes the counts of a frame at `t`. Returns a wake-up that has just ended.
    pub(crate) fn gather(&mut self, counts: [i64; 2], t: i64) -> Option<Wake> {
        if counts != [0, 0] {
            self.raw[0] += counts[0];
            self.raw[1] += counts[1];
        }
        self.power.frame(t, &mut self.raw)
    }

    /// Sets the buttons, bit 0 for the first.
    pub(crate) fn press(&mut self, buttons: u16) {
        self.buttons = buttons;
    }

    /// True if there is nothing to send and nothing to wait for before `t`.
    pub(crate) fn idle(&self) -> bool {
        self.raw == [0, 0] && self.pending == [0, 0] && self.power.idle()
    }

    /// The report for this poll, if there is something to say.
    pub(crate) fn report(&mut self) -> Option<Made> {
        if self.power.awake() && self.raw != [0, 0] {
            let scaled = self.scale();
            self.pending[0] += scaled[0];
            self.pending[1] += scaled[1];
        }
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

    fn scale(&mut self) -> [i64; 2] {
        let raw = std::mem::take(&mut self.raw);
        let Some(scaling) = self.scaling else { return raw };
        let mut whole = [0; 2];
        for axis in 0..2 {
            let wanted = raw[axis] as f64 * scaling.ratio + self.fraction[axis];
            let kept = wanted.trunc();
            whole[axis] = kept as i64;
            if scaling.truncates {
                self.truncated.due[axis] += wanted;
                self.truncated.lost[axis] += wanted - kept;
            } else {
                self.fraction[axis] = wanted - kept;
            }
        }
        whole
    }

    /// Takes a report's counts back, to be sent with the next.
    pub(crate) fn take_back(&mut self, values: Values) {
        self.pending[0] += i64::from(values.counts[0]);
        self.pending[1] += i64::from(values.counts[1]);
    }

    /// Counts cut off by truncation since this was last asked.
    pub(crate) fn take_truncated(&mut self) -> Truncated {
        std::mem::take(&mut self.truncated)
    }

    /// True if the report's field, not the firmware, sets the largest count.
    pub(crate) fn limited_by_field(&self, format: &ReportFormat) -> bool {
        self.limit == i64::from(format.largest())
    }

    /// Largest count of one report.
    pub(crate) fn limit(&self) -> i64 {
        self.limit
    }
}
