//! The quantities that cross crate borders, and the only conversions between them.
//!
//! Integers (counts, nanoseconds) stay integers until a rate or a length is formed here. SI inside the program;
//! counts per inch and inches per second only where a person reads or types them. 1 inch = 25.4 mm exactly
//! (international inch, NIST SP 811).

use serde::{Deserialize, Serialize};
use std::ops::{Add, Sub};

/// Metres in one inch, exact.
pub const METRES_PER_INCH: f64 = 0.0254;

/// A time or a span in nanoseconds on one clock. Signed, so that a difference of two is a `Nanos` again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Nanos(pub i64);

impl Nanos {
    /// One second.
    pub const SECOND: Nanos = Nanos(1_000_000_000);
    /// One millisecond.
    pub const MILLISECOND: Nanos = Nanos(1_000_000);

    /// The span in seconds; exact to 1 ns for spans up to 104 days (2^53 ns).
    pub fn seconds(self) -> f64 {
        self.0 as f64 * 1e-9
    }
}

impl Add for Nanos {
    type Output = Nanos;
    fn add(self, other: Nanos) -> Nanos {
        Nanos(self.0.saturating_add(other.0))
    }
}

impl Sub for Nanos {
    type Output = Nanos;
    fn sub(self, other: Nanos) -> Nanos {
        Nanos(self.0.saturating_sub(other.0))
    }
}

/// Motion counts, as a device reports them: whole numbers with no unit of length until a resolution is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Counts(pub i64);

/// A length in metres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Metres(pub f64);

impl Metres {
    /// From whole micrometres, as session files hold lengths.
    pub fn from_micrometres(um: i64) -> Metres {
        Metres(um as f64 * 1e-6)
    }

    /// The length in millimetres.
    pub fn millimetres(self) -> f64 {
        self.0 * 1e3
    }
}

/// A speed in metres per second.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MetresPerSecond(pub f64);

impl MetresPerSecond {
    /// The same speed in inches per second.
    pub fn inches_per_second(self) -> f64 {
        self.0 / METRES_PER_INCH
    }
}

/// A device's resolution: counts for each metre of travel.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CountsPerMetre(pub f64);

impl CountsPerMetre {
    /// From the trade's counts per inch.
    pub fn from_per_inch(counts_per_inch: f64) -> CountsPerMetre {
        CountsPerMetre(counts_per_inch / METRES_PER_INCH)
    }

    /// In counts per inch.
    pub fn per_inch(self) -> f64 {
        self.0 * METRES_PER_INCH
    }

    /// In counts per millimetre.
    pub fn per_millimetre(self) -> f64 {
        self.0 * 1e-3
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn converts_between_si_and_the_trades_units() {
        // Report-ceiling arithmetic: 127 counts at 125 Hz and 1600 counts per inch is 9.92 in/s = 0.252 m/s.
        let speed = MetresPerSecond(127.0 * 125.0 / CountsPerMetre::from_per_inch(1600.0).0);
        assert!((speed.inches_per_second() - 9.921_875).abs() < 1e-9);
        assert!((speed.0 - 0.252_015_625).abs() < 1e-9);
        assert!((CountsPerMetre::from_per_inch(800.0).per_millimetre() - 31.496_062_992).abs() < 1e-6);
    }

    #[test]
    fn spans_saturate_instead_of_wrapping() {
        assert_eq!(Nanos(i64::MIN) - Nanos(1), Nanos(i64::MIN));
        assert_eq!(Nanos(i64::MAX) + Nanos(1), Nanos(i64::MAX));
    }
}
