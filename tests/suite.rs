//! The whole, as its user drives it.
