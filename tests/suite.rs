//! The whole, as its user drives it.

mod harness;
mod vm;
