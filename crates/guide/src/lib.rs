//! The guided test: what is to be done, in which order, and what that can show.
//!
//! - [`plan`]: what was ordered: steps, travel, paces, how many swipes; [`travel`]: how the travel is known; [`need`]:
//!   the speed that the user needs; [`measured`]: the travel by a sound device.
//! - [`size`]: what a plan can claim and what it costs; [`study`]: how often it finds a fault, by simulation.
//!
//! Opens no device and prints nothing: events go in, prompts come out. A terminal is one skin of it.

pub mod measured;
pub mod need;
pub mod plan;
pub mod size;
pub mod study;
pub mod travel;

pub use need::Need;
pub use plan::{Size, TestPlan};
pub use travel::Travel;
