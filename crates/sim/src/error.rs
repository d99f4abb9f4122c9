//! What can go wrong.

use slipgauge_trace::TraceError;

/// A session that cannot be made or written.
#[derive(Debug, thiserror::Error)]
pub enum SimError {
    /// A parameter that makes no sense.
    #[error("{name} is {value}, which must lie between {low} and {high}")]
    Parameter {
        /// Which.
        name: &'static str,
        /// What it is.
        value: f64,
        /// Least value.
        low: f64,
        /// Greatest value.
        high: f64,
    },
    /// No fault has this name.
    #[error("no fault is called {name:?}; see the catalogue")]
    Unknown {
        /// The name.
        name: String,
    },
    /// The session could not be written.
    #[error(transparent)]
    Write(#[from] TraceError),
}
