//! The built program, run as a user runs it, in a folder of its own under `target/`.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod compare;
mod demo;
mod evidence;
mod examine;
mod export;
mod json;
mod judge;
mod picture;
mod plan;
mod run;
mod simulate;
mod usage;
