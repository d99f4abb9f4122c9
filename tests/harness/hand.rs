//! A hand without chance: it swipes a device between two stops as smoothly as hands do (least jerk) and rests there.

use std::ops::Range;

use super::session::{self, Report};

/// Five buttons in one byte, 16-bit X and Y, an 8-bit wheel; no report ID.
pub const DESCRIPTOR: &str = concat!(
    "05010902a1010901a100",                 // a pointing device
    "05091901290515002501950575018102",     // five buttons
    "950175038103",                         // and three bits of nothing
    "05010930093116018026ff7f751095028106", // X and Y, relative, 16 bits
    "09381581257f750895018106",             // a wheel
    "c0c0",
);

const MS: u64 = 1_000_000;

/// One device under one hand, writing down its reports.
pub struct Hand {
    /// How far the stops are apart.
    pub travel_mm: f64,
    pub counts_per_inch: f64,
    pub interval_ns: u64,
    /// Now: when the next movement begins.
    pub at: u64,
    pub reports: Vec<Report>,
    away: bool,
}

impl Hand {
    pub fn new(travel_mm: f64, counts_per_inch: f64, reports_per_second: u64) -> Self {
        let interval_ns = 1_000_000_000 / reports_per_second;
        Self { travel_mm, counts_per_inch, interval_ns, at: 0, reports: Vec::new(), away: false }
    }

    /// Holds still: no reports.
    pub fn rest(&mut self, ms: u64) {
        self.at += ms * MS;
    }

    /// Moves to the other stop, with a report at each interval in which there was a count.
    pub fn swipe(&mut self, ms: u64) {
        let steps = ms * MS / self.interval_ns;
        let whole = self.travel_mm / 25.4 * self.counts_per_inch * if self.away { -1.0 } else { 1.0 };
        let mut counted = 0;
        for step in 1..=steps {
            let s = step as f64 / steps as f64;
            let place = (whole * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s)).round() as i32;
            let dx = i16::try_from(place - counted).expect("a speed that 16 bits can tell");
            counted = place;
            if dx != 0 {
                let [low, high] = dx.to_le_bytes();
                let t = self.at + step * self.interval_ns;
                self.reports.push(Report { t, bytes: vec![0, low, high, 0, 0, 0] });
            }
        }
        self.at += ms * MS;
        self.away = !self.away;
    }

    /// Takes out the reports of a time, counts and all, and says from which report that is left to which.
    pub fn lose(&mut self, time: Range<u64>) -> Range<u64> {
        let before = self.reports.iter().filter(|report| report.t < time.start).map(|report| report.t).max();
        let after = self.reports.iter().filter(|report| report.t >= time.end).map(|report| report.t).min();
        self.reports.retain(|report| !time.contains(&report.t));
        before.expect("a report before")..after.expect("a report after")
    }

    /// The session file that a recorder would have written, less phases and plan.
    pub fn session(&self) -> String {
        session::written("Bench Pointer", DESCRIPTOR, &self.reports)
    }
}
