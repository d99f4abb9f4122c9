//! The whole, as its user drives it.

mod browser;
mod cli;
mod decode;
mod fixtures;
mod harness;
mod import;
mod sessions;
mod vm;
