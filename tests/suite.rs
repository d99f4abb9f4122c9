//! The whole, as its user drives it.

mod cli;
mod decode;
mod fixtures;
mod harness;
mod import;
mod sessions;
mod vm;
