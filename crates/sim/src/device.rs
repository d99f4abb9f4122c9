//! A pointing device: a sensor, firmware, a report and a link, with its resolution steps.

use crate::firmware::{Debounce, Firmware};
use crate::link::Link;
use crate::report::ReportFormat;
use crate::sensor::Sensor;
use serde::{Deserialize, Serialize};
use slipgauge_trace::CountsPerMetre;

/// One resolution setting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct StepModel {
    /// What shows it: an indicator's colour, say.
    pub label: Option<String>,
    /// What the maker says, counts per inch.
    pub nominal_counts_per_inch: f64,
    /// True resolution over nominal, less one.
    pub error: f64,
}

impl Default for StepModel {
    fn default() -> Self {
        StepModel { label: None, nominal_counts_per_inch: 1600.0, error: 0.0 }
    }
}

/// A device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DeviceModel {
    /// What it calls itself.
    pub name: String,
    /// What its owner calls it.
    pub label: Option<String>,
    /// Resolution steps, numbered from 1.
    pub steps: Vec<StepModel>,
    /// Angle of the sensor's x axis against the line between the stops, in radians: nobody lays a device down square.
    pub mount_rad: f64,
    /// Place of the sensor on the carriage, along and across, in metres; matters where the carriage turns.
    pub lever_m: [f64; 2],
    /// Extra time from a frame to the report that carries it, in nanoseconds.
    pub lag_ns: i64,
    /// The sensor.
    pub sensor: Sensor,
    /// The firmware.
    pub firmware: Firmware,
    /// The report's layout.
    pub report: ReportFormat,
    /// The link.
    pub link: Link,
}

impl Default for DeviceModel {
    /// A sound device: 1600 counts per inch, 16-bit reports every millisecond, laid down 0.02 rad off square.
    fn default() -> Self {
        DeviceModel {
            name: "Bench Pointer".to_owned(),
            label: None,
            steps: vec![StepModel::default()],
            mount_rad: 0.02,
            lever_m: [0.0; 2],
            lag_ns: 0,
            sensor: Sensor::default(),
            firmware: Firmware::default(),
            report: ReportFormat::default(),
            link: Link::default(),
        }
    }
}

impl DeviceModel {
    /// The same device with steps of these nominal resolutions (counts per inch), each true to its name.
    #[must_use]
    pub fn with_steps(mut self, nominal_counts_per_inch: &[f64]) -> DeviceModel {
        let step = |&nominal: &f64| StepModel { nominal_counts_per_inch: nominal, ..StepModel::default() };
        self.steps = nominal_counts_per_inch.iter().map(step).collect();
        self
    }

    /// The same device with another report interval; its sensor is made to take at least 1.3 frames a report.
    #[must_use]
    pub fn with_interval_ns(mut self, interval_ns: i64) -> DeviceModel {
        self.link.interval_ns = interval_ns;
        self.sensor.frame_ns = self.sensor.frame_ns.min((interval_ns as f64 / 1.3717) as i64).max(1);
        self
    }

    /// True counts per metre of slow motion at a step, along the sensor's x and y, as reported; the last step where
    /// there is no such one.
    pub fn counts_per_m(&self, step: u32) -> [f64; 2] {
        let x = self.x_counts_per_m(step);
        [x, x * self.sensor.y_over_x]
    }

    fn x_counts_per_m(&self, step: u32) -> f64 {
        let index = (step as usize).saturating_sub(1).min(self.steps.len().saturating_sub(1));
        let true_per_inch =
            self.steps.get(index).map_or(0.0, |s| s.nominal_counts_per_inch * (1.0 + s.error));
        CountsPerMetre::from_per_inch(true_per_inch).0
    }

    /// Mean time from a strike to the state that is reported, bouncing left out, in seconds.
    pub(crate) fn strike_lag_s(&self) -> f64 {
        let buttons = self.firmware.buttons;
        buttons.lag_s + if let Debounce::Wait { lasts_s } = buttons.debounce { lasts_s } else { 0.0 }
    }

    /// What the sensor itself counts along x, before firmware scales; its own `y_over_x` is not in it.
    pub(crate) fn sensor_counts_per_m(&self, step: u32) -> [f64; 2] {
        let ratio = self.firmware.scaling.map_or(1.0, |scaling| scaling.ratio);
        [self.x_counts_per_m(step) / ratio; 2]
    }
}
