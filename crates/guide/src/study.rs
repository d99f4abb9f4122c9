//! The chance that a plan finds a fault of a given size, by simulation.
//!
//! Each session is of this very plan: its steps, swipes, speeds, stillness and travel, swiped by a simulated hand on a
//! simulated device, and judged by the analysis that judges recordings. What is varied from session to session: the hand's
//! chance (speeds, rests, where the body comes to rest), the true travel within its uncertainty, how the device is laid
//! down, and without a straight edge a yaw of up to 10 degrees. What is not: the rest of the simulated device is sound,
//! and only one fault is in it. The same seeds serve all sizes, so that neighbours on the picture differ by the fault
//! and not by luck.
//!
//! A chance carries its exact 95 % interval (Clopper & Pearson 1934). Of 20 sessions it is wide: 0 of 20 is 0 to 17 %,
//! 10 of 20 is 27 to 73 %; of 100, 0 to 3.6 % and 40 to 60 %.
//!
//! A simulated chance holds for the simulated hand and device; it tells plans apart, and orders of magnitude.
//! Cost: about a tenth of a second a session and step in an optimised build, on all cores.

mod kinds;
mod run;

pub use kinds::{Kind, kinds};

use crate::TestPlan;
use serde::Serialize;
use slipgauge_analysis::stats::{proportion_high, proportion_low};
use slipgauge_analysis::verdict::Outcome;
use slipgauge_sim::SimError;
use slipgauge_trace::{Metres, Nanos};

/// How the study is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Sessions for each size.
    pub sessions: u32,
    /// Seed of the first of them; each takes the next.
    pub seed: u64,
    /// Report interval of the simulated device.
    pub interval: Nanos,
    /// Standard deviation of the place where the body comes to rest.
    pub stops: Metres,
}

impl Default for Options {
    /// Twenty sessions of a device that reports every millisecond, between hard stops.
    fn default() -> Self {
        Options { sessions: 20, seed: 1, interval: Nanos::MILLISECOND, stops: crate::size::STOPS[0] }
    }
}

/// A fault with the sizes that are asked about.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// What.
    pub kind: Kind,
    /// Sizes, in the kind's unit.
    pub sizes: Vec<f64>,
}

/// A study that cannot be done.
#[derive(Debug, thiserror::Error)]
pub enum StudyError {
    /// There is no such fault.
    #[error("there is no fault {name:?} to study; there are: {known}")]
    Unknown {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// The bench cannot be set up.
    #[error("the simulated bench cannot do this: {what}")]
    Bench {
        /// The fault or the plan.
        what: String,
        /// Why.
        #[source]
        source: SimError,
    },
    /// A session could not be read back.
    #[error("a simulated session cannot be read: {0}; please report this")]
    Unreadable(String),
    /// A plan that shows nothing.
    #[error("the plan asks for no swipe, so there is nothing to study")]
    NoSwipes,
}

/// A number of sessions of all, as a chance with its exact 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Chance {
    /// Sessions of which it is true.
    pub k: u32,
    /// Sessions.
    pub n: u32,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Chance {
    /// `k` of `n`.
    pub fn of(k: u32, n: u32) -> Chance {
        Chance { k, n, low: proportion_low(k, n, 0.025), high: proportion_high(k, n, 0.025) }
    }

    /// Estimate; 0 of no session.
    pub fn value(&self) -> f64 {
        if self.n == 0 { 0.0 } else { f64::from(self.k) / f64::from(self.n) }
    }
}

/// What comes of a size, or of a sound device.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Size in the fault's unit; 0 for a sound device.
    pub size: f64,
    /// The session fails.
    pub fails: Chance,
    /// It is inconclusive.
    pub inconclusive: Chance,
    /// It passes.
    pub passes: Chance,
    /// Whatever the verdict, something of the fault's family is found; of a sound device: anything.
    pub seen: Chance,
    /// It fails in the fault's own family; of a sound device: in any.
    pub named: Chance,
}

/// What comes of a fault.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Curve {
    /// Its name in the simulator's catalogue, or one of the study's own.
    pub fault: &'static str,
    /// Unit of the sizes.
    pub unit: &'static str,
    /// One clause for a person.
    pub what: &'static str,
    /// Largest size that the default tolerance allows, where it has the same unit; a sign does not matter.
    pub tolerated: Option<f64>,
    /// In rising order of what is worse.
    pub rows: Vec<Row>,
}

/// The whole study.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Study {
    /// Sessions for each size.
    pub sessions: u32,
    /// First seed.
    pub seed: u64,
    /// Report interval.
    #[serde(rename = "interval_ns")]
    pub interval: Nanos,
    /// Scatter of the stops.
    #[serde(rename = "stops_m")]
    pub stops: Metres,
    /// Steps without a nominal were simulated with this many counts per inch.
    pub assumed_counts_per_inch: Option<f64>,
    /// A device with nothing wrong: what fails is a false alarm.
    pub sound: Row,
    /// Fault by fault.
    pub curves: Vec<Curve>,
}

/// Outcome of one session.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Told {
    verdict: Outcome,
    seen: bool,
    named: bool,
}

/// Simulates and judges all sessions. `progress` is told how many are done, of how many.
///
/// # Errors
/// [`StudyError`], before the first session if the plan or a size makes no sense.
pub fn study(
    plan: &TestPlan,
    asked: &[Asked],
    options: &Options,
    progress: impl FnMut(usize, usize) + Send,
) -> Result<Study, StudyError> {
    if plan.paces.iter().all(|paced| paced.swipes == 0) {
        return Err(StudyError::NoSwipes);
    }
    let sized = asked.iter().flat_map(|asked| asked.sizes.iter().map(|size| Some((&asked.kind, *size))));
    let cells: Vec<Option<(&Kind, f64)>> = [None].into_iter().chain(sized).collect();
    for cell in &cells {
        run::bench(plan, options, 0, *cell)?;
    }
    let mut told = run::all(plan, options, &cells, progress)?.into_iter();
    let mut row = |size| row(size, &told.next().unwrap_or_default());
    let sound = row(0.0);
    let curve = |asked: &Asked| Curve {
        fault: asked.kind.name,
        unit: asked.kind.unit,
        what: asked.kind.what,
        tolerated: asked.kind.tolerated(),
        rows: asked.sizes.iter().map(|size| row(*size)).collect(),
    };
    Ok(Study {
        sessions: options.sessions,
        seed: options.seed,
        interval: options.interval,
        stops: options.stops,
        assumed_counts_per_inch: run::assumed(plan),
        sound,
        curves: asked.iter().map(curve).collect(),
    })
}

fn row(size: f64, told: &[Told]) -> Row {
    let count = |is: &dyn Fn(&Told) -> bool| {
        let k = told.iter().filter(|t| is(t)).count();
        Chance::of(k as u32, told.len() as u32)
    };
    Row {
        size,
        fails: count(&|t| t.verdict == Outcome::Fail),
        inconclusive: count(&|t| matches!(t.verdict, Outcome::Inconclusive | Outcome::NotExamined)),
        passes: count(&|t| t.verdict == Outcome::Pass),
        seen: count(&|t| t.seen),
        named: count(&|t| t.named),
    }
}

#[cfg(test)]
mod tests;
