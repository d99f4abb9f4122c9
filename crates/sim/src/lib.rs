//! A bench on which everything is known: hand, sensor, firmware, link and host, each a part with parameters in
//! physical units and a file of its own, and the truth of each session beside it.
//!
//! Time and motion flow one way: [`Hand`] moves the body between two stops as the [`Script`] says; the [`Sensor`] sees
//! displacement and gives counts; [`Firmware`] makes reports of them; the [`Link`] carries those; the [`Host`] stamps
//! what arrives. Every default is a sound part. Faults follow from parameters, or are placed by hand with [`Fault`].
//! The same seed gives the same bytes on every machine (see the `noise` module for what that takes).
//!
//! ```
//! use slipgauge_sim::{Bench, Family, Fault, Missing, What};
//! let dropout = Fault::in_swipe(4, 3, 0.5, What::Dropout { reports: 12, counts: Missing::Lost });
//! let session = Bench { seed: 7, faults: vec![dropout], ..Bench::default() }.session()?;
//! let mut file = Vec::new();
//! let truth = session.write_to(&mut file)?;
//! assert_eq!((truth.labels[0].family, truth.labels[0].swipe), (Family::Dropout, Some(3)));
//! # Ok::<(), slipgauge_sim::SimError>(())
//! ```

mod bench;
mod catalogue;
mod chain;
mod check;
mod device;
mod error;
mod fault;
mod firmware;
mod hand;
mod host;
mod ledger;
mod link;
mod noise;
mod operator;
mod report;
mod script;
mod sensor;
mod source;
mod truth;

pub use bench::{Bench, Entries, Session, Travel};
pub use catalogue::{Named, catalogue};
pub use device::{DeviceModel, StepModel};
pub use error::SimError;
pub use fault::{Fault, Missing, Place, What};
pub use firmware::{Buttons, Debounce, Excess, Firmware, Power, Scaling};
pub use hand::{Bounce, Course, Hand, Path, Settling, Tremor};
pub use host::{Host, Stalls};
pub use link::{Interference, Link, Radio, Stretch, Wander};
pub use operator::Operator;
pub use report::ReportFormat;
pub use script::{Doing, Script, ScriptPhase};
pub use sensor::{Bursts, Drift, Flicker, Gain, Loss, Ripple, Sensor, Straightening, Tracking, Tremble};
pub use slipgauge_trace::session::{Axis, Pace};
pub use source::{Led, LedSource, Pacing, SimulatedSource};
pub use truth::{Cause, Direction, Family, Label, PhaseTruth, StepTruth, SwipeTruth, Truth};
