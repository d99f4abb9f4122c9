//! Lengths, times, speeds and angles as a person types them: a number with its unit, `300mm`, `10 s`, `2.5m/s`, `180deg`.
//!
//! A bare number is refused: nobody knows what it means a year later. Lengths become whole micrometres and times whole
//! nanoseconds, as session files hold them.

use slipgauge_trace::units::METRES_PER_INCH;
use slipgauge_trace::{MetresPerSecond, Nanos};
use std::str::FromStr;

/// What was typed is no quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// No number in front.
    #[error("\"{0}\" does not begin with a number")]
    NoNumber(String),
    /// A number alone.
    #[error("\"{text}\" has no unit; write {known}")]
    NoUnit {
        /// What was typed.
        text: String,
        /// The units that there are.
        known: &'static str,
    },
    /// Something else behind it.
    #[error("\"{unit}\" is no unit here; write {known}")]
    UnknownUnit {
        /// What was typed for the unit.
        unit: String,
        /// The units that there are.
        known: &'static str,
    },
    /// Not above zero, or beyond all measure.
    #[error("\"{text}\" is out of range; it must be more than 0, and at most {most}")]
    Range {
        /// What was typed.
        text: String,
        /// The most that there may be.
        most: &'static str,
    },
}

/// A length of more than zero, in whole micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Length(pub i64);

/// A time of more than zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span(pub Nanos);

/// A speed of more than zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speed(pub MetresPerSecond);

/// An angle of more than zero, in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angle(pub f64);

const LENGTHS: &[(&str, f64)] =
    &[("mm", 1e3), ("cm", 1e4), ("m", 1e6), ("in", 25.4e3), ("um", 1.0), ("µm", 1.0)];
const TIMES: &[(&str, f64)] =
    &[("us", 1e3), ("µs", 1e3), ("ms", 1e6), ("s", 1e9), ("min", 60e9), ("h", 3600e9)];
const SPEEDS: &[(&str, f64)] = &[("m/s", 1.0), ("cm/s", 0.01), ("mm/s", 0.001), ("in/s", METRES_PER_INCH)];
const ANGLES: &[(&str, f64)] = &[("deg", 1.0), ("°", 1.0)];
/// 1000 m in micrometres.
const LONGEST: f64 = 1e9;
/// In metres per second: four times what a hard flick reaches (common practice, no source).
const FASTEST: f64 = 20.0;
/// Ten turns, in degrees.
const WIDEST: f64 = 3600.0;
/// 31 days in nanoseconds: below 2^53, so that a float still counts every one of them.
const LAST: f64 = 31.0 * 86_400e9;

impl FromStr for Length {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Length, UnitError> {
        whole(text, LENGTHS, "mm, cm, m or in", (LONGEST, "1000 m")).map(Length)
    }
}

impl FromStr for Span {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Span, UnitError> {
        whole(text, TIMES, "us, ms, s or min", (LAST, "31 days")).map(|ns| Span(Nanos(ns)))
    }
}

impl FromStr for Speed {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Speed, UnitError> {
        let speed = quantity(text, SPEEDS, "m/s or in/s", (0.001, FASTEST, "20 m/s"))?;
        Ok(Speed(MetresPerSecond(speed)))
    }
}

impl FromStr for Angle {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Angle, UnitError> {
        quantity(text, ANGLES, "deg", (0.1, WIDEST, "3600deg")).map(Angle)
    }
}

/// A whole number of the smallest unit.
fn whole(
    text: &str,
    units: &[(&str, f64)],
    known: &'static str,
    (most, said): (f64, &'static str),
) -> Result<i64, UnitError> {
    quantity(text, units, known, (0.5, most, said)).map(|value| value.round() as i64)
}

fn quantity(
    text: &str,
    units: &[(&str, f64)],
    known: &'static str,
    (least, most, said): (f64, f64, &'static str),
) -> Result<f64, UnitError> {
    let text = text.trim();
    let split = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let number: f64 = number.parse().map_err(|_| UnitError::NoNumber(text.to_owned()))?;
    let unit = unit.trim();
    if unit.is_empty() {
        return Err(UnitError::NoUnit { text: text.to_owned(), known });
    }
    let Some((_, scale)) = units.iter().find(|(name, _)| *name == unit) else {
        return Err(UnitError::UnknownUnit { unit: unit.to_owned(), known });
    };
    let value = number * scale;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(UnitError::Range { text: text.to_owned(), most: said })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_lengths_in_every_unit() {
        for (text, um) in [
            ("300mm", 300_000),
            ("0.5mm", 500),
            ("30 cm", 300_000),
            ("0.3m", 300_000),
            ("12in", 304_800),
            (" 1 in ", 25_400),
            ("50um", 50),
        ] {
            assert_eq!(text.parse(), Ok(Length(um)), "{text}");
        }
    }

    #[test]
    fn reads_times_in_every_unit() {
        assert_eq!(("125us".parse(), "125 µs".parse()), (Ok(Span(Nanos(125_000))), Ok(Span(Nanos(125_000)))));
        for (text, ms) in [("500ms", 500), ("10s", 10_000), ("1.5 s", 1_500), ("2min", 120_000)] {
            assert_eq!(text.parse(), Ok(Span(Nanos(ms * 1_000_000))), "{text}");
        }
    }

    #[test]
    fn reads_speeds_and_angles() {
        for (text, m_s) in [("2.5m/s", 2.5), ("100 in/s", 2.54), ("50cm/s", 0.5)] {
            assert!((text.parse::<Speed>().unwrap().0.0 - m_s).abs() < 1e-12, "{text}");
        }
        assert_eq!(("180deg".parse(), "90°".parse()), (Ok(Angle(180.0)), Ok(Angle(90.0))));
        let said = "2.5".parse::<Speed>().unwrap_err().to_string();
        assert!(said.contains("no unit; write m/s or in/s"), "{said}");
        let said = "500m/s".parse::<Speed>().unwrap_err().to_string();
        assert!(said.contains("at most 20 m/s"), "{said}");
        assert!("0deg".parse::<Angle>().is_err() && "3rad".parse::<Angle>().is_err());
    }

    #[test]
    fn refuses_what_is_no_quantity_and_says_what_to_write() {
        let said = |text: &str| text.parse::<Length>().unwrap_err().to_string();
        assert!(said("300").contains("has no unit; write mm, cm, m or in"));
        assert!(said("300s").contains("\"s\" is no unit here"));
        assert!(said("mm").contains("does not begin with a number"));
        assert!(said("-3mm").contains("does not begin with a number"));
        assert!(said("1.2.3mm").contains("does not begin with a number"));
        for text in ["0mm", "0.0001mm", "5000m"] {
            assert!(said(text).contains("out of range"), "{text}");
        }
    }
}
