//! The guided test: what is to be done, in which order, and what that can show.
//!
//! - [`plan`]: what was ordered: steps, travel, paces, how many swipes; [`travel`]: how the travel is known; [`need`]:
//!   the speed that the user needs; [`measured`]: the travel by a sound device.
//! - [`size`]: what a plan can claim and what it costs; [`study`]: how often it finds a fault, by simulation.
//! - [`guide`]: the test as a state machine; [`say`]: what it tells; [`watch`]: motion as it comes; [`identify`]: which
//!   step is active.
//! - [`rehearsal`]: the whole test with a simulated device and hand.
//!
//! Opens no device and prints nothing: events go in, prompts come out. A terminal is one skin of it.

pub mod guide;
pub mod identify;
pub mod measured;
pub mod need;
pub mod plan;
pub mod rehearsal;
pub mod say;
pub mod size;
pub mod study;
pub mod travel;
pub mod watch;

pub use guide::{Doing, Guide, Out};
pub use need::Need;
pub use plan::{Size, TestPlan};
pub use rehearsal::Rehearsal;
pub use say::{Key, Question, Say};
pub use travel::Travel;
