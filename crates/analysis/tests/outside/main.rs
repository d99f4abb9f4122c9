//! Our statistics held against what stands outside this project: general-purpose libraries, guides and handbooks.
//!
//! `guides`: worked examples of guides and standards. `motion`: movements of the hand. `libraries`, `fits`, `signals`:
//! general-purpose libraries, by subject. Certified data sets: `tests/certified.rs`.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod fits;
mod guides;
mod libraries;
mod motion;
mod signals;

/// Fails unless two numbers agree to so many significant digits: within half a unit of the last one.
fn agree(what: &str, got: f64, want: f64, digits: i32) {
    let leading = want.abs().max(f64::MIN_POSITIVE).log10().floor() as i32;
    let unit = 10f64.powi(leading + 1 - digits);
    assert!((got - want).abs() <= 0.5001 * unit, "{what}: {got} is not {want} to {digits} digits");
}
