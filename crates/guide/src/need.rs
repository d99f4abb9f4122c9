//! The speed that the user needs.
//!
//! To turn by an angle in a time, at so much hand travel for a full turn, the hand must run at a mean speed of
//! `per_turn · angle / 360° / time`. A movement from rest to rest peaks at 1.875 times its mean if it is as smooth as can
//! be (minimum jerk: Flash & Hogan, J. Neurosci. 5:1688, 1985).

use serde_json::{Map, Value, json};
use slipgauge_trace::{Metres, MetresPerSecond, Nanos};

/// Peak over mean speed of a minimum-jerk movement; exact.
pub const PEAK_OVER_MEAN: f64 = 1.875;

/// What the user does with the device, and the speed that it takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Need {
    /// A turn.
    Turn {
        /// Angle in degrees.
        degrees: f64,
        /// In this time.
        within: Nanos,
        /// Hand travel for a full turn.
        per_turn: Metres,
    },
    /// A peak speed, as told.
    Speed(MetresPerSecond),
}

impl Need {
    /// Peak speed of the hand.
    pub fn peak(&self) -> MetresPerSecond {
        match *self {
            Need::Speed(speed) => speed,
            Need::Turn { degrees, within, per_turn } => {
                MetresPerSecond(PEAK_OVER_MEAN * per_turn.0 * (degrees / 360.0) / within.seconds())
            }
        }
    }

    /// As session files hold it.
    pub fn to_json(&self) -> Map<String, Value> {
        let mut map = Map::new();
        map.insert("speed_m_s".to_owned(), json!(self.peak().0));
        if let Need::Turn { degrees, within, per_turn } = *self {
            map.insert("turn_deg".to_owned(), json!(degrees));
            map.insert("within_ns".to_owned(), json!(within));
            map.insert("per_turn_um".to_owned(), json!((1e6 * per_turn.0).round()));
        }
        map
    }

    /// From a session file; `None` if it says nothing that this version knows.
    pub fn from_json(map: &Map<String, Value>) -> Option<Need> {
        let number = |key: &str| map.get(key).and_then(Value::as_f64).filter(|v| v.is_finite() && *v > 0.0);
        if let (Some(degrees), Some(ns), Some(um)) =
            (number("turn_deg"), number("within_ns"), number("per_turn_um"))
        {
            return Some(Need::Turn { degrees, within: Nanos(ns as i64), per_turn: Metres(um / 1e6) });
        }
        number("speed_m_s").map(|v| Need::Speed(MetresPerSecond(v)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_turn_in_150_ms_at_40_cm_a_turn_peaks_at_2_5_m_s() {
        let turn = Need::Turn { degrees: 180.0, within: Nanos(150_000_000), per_turn: Metres(0.4) };
        assert!((turn.peak().0 - 2.5).abs() < 1e-12);
        assert!((turn.peak().inches_per_second() - 98.4).abs() < 0.05);
        assert_eq!(Need::from_json(&turn.to_json()), Some(turn));
        let speed = Need::Speed(MetresPerSecond(2.0));
        assert_eq!(Need::from_json(&speed.to_json()), Some(speed));
        assert_eq!(Need::from_json(&Map::new()), None);
    }
}
