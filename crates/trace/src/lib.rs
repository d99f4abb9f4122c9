//! What was recorded, and how to read it.
//!
//! A *session* is one pointing device's recording: every input report as it came, stamped on the host's monotonic
//! clock, with the phases of the test, what the host itself missed, and a header that says what was plugged in and
//! what was asked. This crate owns that vocabulary and nothing above it: it opens no device and judges nothing.
//!
//! - [`session`]: the session file, specified on the types that are written ([`session::Header`],
//!   [`session::Event`]), with a streaming reader and writer.
//! - [`layout`]: a HID report descriptor turned into "where X, Y, buttons and wheel lie", and which reports may be
//!   kept at all.
//! - [`recording`]: a whole session decoded into columns of integers.
//! - [`source`]: what a live, a simulated and a replayed device have in common.
//! - [`outside`]: text from outside, made harmless to show.
//! - [`units`]: the quantities that cross crate borders, and their only conversions.
//!
//! ```
//! use slipgauge_trace::Recording;
//! let file = concat!(
//!     r#"{"slipgauge":1,"tool":"doc","clock":{"id":"monotonic","resolution_ns":1},"devices":[{"role":"test","nodes":[{"protocol":"boot"}]}]}"#, "\n",
//!     r#"{"t":1000000,"r":"0005f9"}"#, "\n",
//!     r#"{"t":2000000,"end":true}"#, "\n");
//! let recording = Recording::read(file.as_bytes())?;
//! let motion = &recording.devices[0].motion;
//! assert_eq!((motion.x[0], motion.y[0]), (5, -7));
//! assert!(recording.ended);
//! # Ok::<(), slipgauge_trace::TraceError>(())
//! ```
#![cfg_attr(not(test), deny(clippy::indexing_slicing))]

pub mod layout;
pub mod outside;
pub mod recording;
pub mod session;
pub mod source;
pub mod units;

mod error;

pub use error::TraceError;
pub use recording::Recording;
pub use units::{Counts, CountsPerMetre, Metres, MetresPerSecond, Nanos};
