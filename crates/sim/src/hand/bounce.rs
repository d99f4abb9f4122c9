//! The body touches a stop with speed and bounces.
//!
//! After the contact it leaves with a share of its speed (the coefficient of restitution), is pushed back by a constant
//! acceleration, touches again, and so on: parabolas, each smaller by the square of that share.

use serde::{Deserialize, Serialize};

/// How a body bounces off a stop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Bounce {
    /// Speed after over speed before a contact, 0 to 0.9.
    pub restitution: f64,
    /// Acceleration by which the hand pushes it back, in metres per second squared.
    pub push_m_s2: f64,
}

impl Default for Bounce {
    /// Plastic on a thin hard face, pushed with 2 g: a contact at 0.4 m/s leaves 0.36 mm and 12 ms.
    fn default() -> Self {
        Bounce { restitution: 0.3, push_m_s2: 20.0 }
    }
}

/// Contacts that are followed; what is left after them is below a micrometre for restitutions up to 0.5.
const CONTACTS: i32 = 5;

/// One bounce off a stop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rebound {
    bounce: Bounce,
    /// Velocity after the first contact, away from the stop, signed by direction along.
    velocity: f64,
}

impl Rebound {
    /// `velocity` is that of the body when it touches the stop, in metres per second.
    pub(super) fn new(bounce: Bounce, velocity: f64) -> Option<Rebound> {
        let velocity = -bounce.restitution * velocity;
        (velocity != 0.0).then_some(Rebound { bounce, velocity })
    }

    /// How long it takes, in nanoseconds.
    pub(super) fn length(&self) -> i64 {
        let first = 2.0 * self.velocity.abs() / self.bounce.push_m_s2;
        let mut total = 0.0;
        let mut part = first;
        for _ in 0..CONTACTS {
            total += part;
            part *= self.bounce.restitution;
        }
        (total * 1e9) as i64
    }

    /// Distance from the stop so long after the first contact, signed.
    pub(super) fn offset(&self, after_ns: i64) -> f64 {
        let mut t = after_ns as f64 * 1e-9;
        let mut speed = self.velocity.abs();
        for _ in 0..CONTACTS {
            let length = 2.0 * speed / self.bounce.push_m_s2;
            if t < length {
                let offset = t * (speed - 0.5 * self.bounce.push_m_s2 * t);
                return offset.copysign(self.velocity);
            }
            t -= length;
            speed *= self.bounce.restitution;
        }
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rises_as_a_thrown_body_does_and_decays_by_the_square_of_the_restitution() {
        // Ballistics: height v^2 / 2a, time of flight 2v / a.
        let rebound = Rebound::new(Bounce { restitution: 0.5, push_m_s2: 20.0 }, 1.0).unwrap();
        let peaks: Vec<f64> = [(0, 50), (50, 75)]
            .map(|(a, b)| (a * 1000..b * 1000).map(|us| -rebound.offset(us * 1000)).fold(0.0, f64::max))
            .to_vec();
        assert!((peaks[0] - 0.25 / 40.0).abs() < 1e-6, "{peaks:?}");
        assert!((peaks[0] / peaks[1] - 4.0).abs() < 1e-3);
        assert_eq!(rebound.offset(rebound.length() + 1), 0.0);
    }
}
