//! What several groups of tests need: sessions made without chance, and a plain reader of session files that owes
//! nothing to the program under test.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

pub mod hand;
pub mod session;
