//! What is compared, and how several sessions of one device are put together.
//!
//! - Shares and rates: the counts are added. Sessions are taken to be alike; a device that was sound one day and bad the
//!   next is not.
//! - Values: the mean of the sessions. Its standard uncertainty is the larger of what the sessions state (√Σu²/n) and of
//!   what their scatter shows (s/√n, n − 1 degrees of freedom; the logic of Birge, 1932): placing the device anew is in
//!   the second and not in the first. What is common (travel, yaw) is averaged and never made smaller by their number.
//! - Bounds: the tightest; none if they contradict each other.

use super::test::{Found, two_sided};
use crate::stats::{
    effective_df, mean_sd, poisson_high, poisson_low, proportion_high, proportion_low, t_quantile,
};
use crate::verdict::Quantity;
use serde::Serialize;

/// Quantities that are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Fast swipes with a finding that touches their counts.
    BadFastSwipes,
    /// Speed above which the sensor stops seeing.
    TrackingLimit,
    /// Fast over slow counts for the same travel, less one.
    GainContrast,
    /// Effective over nominal resolution, less one; where there is no nominal, the resolution itself.
    Resolution,
    /// Time between reports in fast motion.
    ReportInterval,
    /// Speed at rest.
    Creep,
    /// Bursts at rest.
    Bursts,
}

impl What {
    /// All, in the order in which they are listed.
    pub const ALL: [What; 7] = [
        What::BadFastSwipes,
        What::TrackingLimit,
        What::GainContrast,
        What::Resolution,
        What::ReportInterval,
        What::Creep,
        What::Bursts,
    ];

    /// The unit of its values.
    pub fn unit(self, nominal: bool) -> &'static str {
        match self {
            What::BadFastSwipes => "share of swipes",
            What::TrackingLimit => "m/s",
            What::GainContrast => "relative",
            What::Resolution if nominal => "relative",
            What::Resolution => "counts/inch",
            What::ReportInterval => "ns",
            What::Creep => "mm/s",
            What::Bursts => "per second",
        }
    }

    /// True if swipes of other speeds would give other values.
    pub fn depends_on_speed(self) -> bool {
        matches!(self, What::BadFastSwipes | What::GainContrast)
    }

    /// Whether the first is better than the second: less of a fault, a higher limit, nearer to nothing. `None` where
    /// neither is (a report interval), or where both are off by as much, to opposite sides.
    pub fn better(self, a: &Measure, b: &Measure, found: &Found) -> Option<bool> {
        let difference = found.difference.value;
        match self {
            What::BadFastSwipes | What::Creep | What::Bursts => Some(difference < 0.0),
            What::TrackingLimit => Some(difference > 0.0),
            What::GainContrast | What::Resolution => {
                let (Measure::Value(a), Measure::Value(b)) = (a, b) else { return None };
                let (uncertainty, df) = found.uncertainty?;
                let nearer = b.value.abs() - a.value.abs();
                let plain = two_sided(nearer / uncertainty, df) <= super::LEVEL;
                (plain && self.is_a_deviation(a, b)).then_some(nearer > 0.0)
            }
            What::ReportInterval => None,
        }
    }

    /// A resolution without a nominal is none.
    fn is_a_deviation(self, a: &Value, b: &Value) -> bool {
        self == What::GainContrast || a.value.abs().max(b.value.abs()) < 1.0
    }
}

/// A value with the parts of its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Value {
    /// The estimate.
    pub value: f64,
    /// Part that more swipes or sessions make smaller.
    pub random: f64,
    /// Its degrees of freedom.
    #[serde(serialize_with = "finite")]
    pub df: f64,
    /// Part that all swipes, and perhaps all sessions, share.
    pub common: f64,
}

/// Infinite degrees of freedom are `null` in JSON.
fn finite<S: serde::Serializer>(df: &f64, s: S) -> Result<S::Ok, S::Error> {
    Some(*df).filter(|df| df.is_finite()).serialize(s)
}

/// One quantity of one device at one step.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// A value.
    Value(Value),
    /// No value, but what it is not below or above.
    Bound {
        /// Lower end.
        low: Option<f64>,
        /// Upper end.
        high: Option<f64>,
    },
    /// So many of so many.
    Share {
        /// Of them.
        k: u32,
        /// All.
        n: u32,
    },
    /// So many in a time.
    Rate {
        /// Events.
        k: u32,
        /// Time.
        seconds: f64,
    },
}

impl Measure {
    /// With its two-sided 95 % interval; a bound has one of its ends, or the middle, as its value.
    pub fn quantity(&self) -> Option<Quantity> {
        match *self {
            Measure::Value(v) => {
                let df = effective_df(&[(v.random, v.df), (v.common, f64::INFINITY)]);
                Some(Quantity::around(v.value, t_quantile(0.975, df) * v.random.hypot(v.common)))
            }
            Measure::Bound { low, high } => {
                let value = match (low, high) {
                    (Some(low), Some(high)) => 0.5 * (low + high),
                    (one, other) => one.or(other)?,
                };
                Some(Quantity { value, low, high })
            }
            Measure::Share { n: 0, .. } => None,
            Measure::Share { k, n } => Some(Quantity {
                value: f64::from(k) / f64::from(n),
                low: Some(proportion_low(k, n, 0.025)),
                high: Some(proportion_high(k, n, 0.025)),
            }),
            Measure::Rate { k, seconds } => (seconds > 0.0).then(|| Quantity {
                value: f64::from(k) / seconds,
                low: Some(poisson_low(k, 0.025) / seconds),
                high: Some(poisson_high(k, 0.025) / seconds),
            }),
        }
    }

    /// The share, of a share.
    pub fn share(&self) -> Option<f64> {
        match *self {
            Measure::Share { k, n } if n > 0 => Some(f64::from(k) / f64::from(n)),
            _ => None,
        }
    }
}

/// One quantity over the sessions of a device; `None` without any.
pub fn pool(all: &[Measure]) -> Option<Measure> {
    let first = *all.first()?;
    if all.len() == 1 {
        return Some(first);
    }
    match first {
        Measure::Share { .. } => {
            let sum = all.iter().fold((0u32, 0u32), |(k, n), m| match *m {
                Measure::Share { k: l, n: m } => (k.saturating_add(l), n.saturating_add(m)),
                _ => (k, n),
            });
            Some(Measure::Share { k: sum.0, n: sum.1 })
        }
        Measure::Rate { .. } => {
            let sum = all.iter().fold((0u32, 0.0), |(k, t), m| match *m {
                Measure::Rate { k: l, seconds } => (k.saturating_add(l), t + seconds),
                _ => (k, t),
            });
            Some(Measure::Rate { k: sum.0, seconds: sum.1 })
        }
        Measure::Value(_) | Measure::Bound { .. } => {
            let values: Vec<Value> =
                all.iter().filter_map(|m| if let Measure::Value(v) = m { Some(*v) } else { None }).collect();
            if values.len() == all.len() { Some(Measure::Value(mean(&values)?)) } else { tightest(all) }
        }
    }
}

/// The mean of some values.
pub fn mean(values: &[Value]) -> Option<Value> {
    let n = values.len() as f64;
    let (value, sd) = mean_sd(&values.iter().map(|v| v.value).collect::<Vec<_>>())?;
    let stated: Vec<(f64, f64)> = values.iter().map(|v| (v.random / n, v.df)).collect();
    let within = stated.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
    let between = sd / n.sqrt();
    let (random, df) = if between > within { (between, n - 1.0) } else { (within, effective_df(&stated)) };
    let common = (values.iter().map(|v| v.common * v.common).sum::<f64>() / n).sqrt();
    Some(Value { value, random, df, common })
}

fn tightest(all: &[Measure]) -> Option<Measure> {
    let ends = all.iter().filter_map(Measure::quantity);
    let (mut low, mut high) = (None::<f64>, None::<f64>);
    for q in ends {
        low = low.into_iter().chain(q.low).reduce(f64::max);
        high = high.into_iter().chain(q.high).reduce(f64::min);
    }
    let apart = low.zip(high).is_some_and(|(low, high)| low > high);
    (!apart && (low.is_some() || high.is_some())).then_some(Measure::Bound { low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 10 and 14, each ±1 of its own: mean 12; of its own 1/√2, by scatter √8/√2 = 2 with one degree of freedom.
    #[test]
    fn sessions_that_scatter_more_than_they_state_are_believed_to_scatter() {
        let value = |value, random| Value { value, random, df: 20.0, common: 0.5 };
        let got = mean(&[value(10.0, 1.0), value(14.0, 1.0)]).unwrap();
        assert_eq!((got.value, got.df, got.common), (12.0, 1.0, 0.5));
        assert!((got.random - 2.0).abs() < 1e-12);
        let calm = mean(&[value(10.0, 1.0), value(10.0, 1.0)]).unwrap();
        assert!((calm.random - 0.5f64.sqrt()).abs() < 1e-12 && calm.df == 40.0);
    }

    #[test]
    fn counts_add_up_and_bounds_tighten() {
        let share = |k, n| Measure::Share { k, n };
        assert_eq!(pool(&[share(1, 20), share(3, 15)]), Some(share(4, 35)));
        let bound = |low, high| Measure::Bound { low, high };
        assert_eq!(
            pool(&[bound(Some(2.0), None), bound(Some(2.4), None), bound(None, Some(3.0))]),
            Some(bound(Some(2.4), Some(3.0)))
        );
        assert_eq!(pool(&[bound(Some(2.0), None), bound(None, Some(1.0))]), None);
        assert_eq!(pool(&[]), None);
    }
}
