//! Our statistics held against what stands outside this project: general-purpose libraries, guides and handbooks. One
//! module a source.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod guides;
mod libraries;
mod motion;

/// Fails unless two numbers agree to so many significant digits.
fn agree(what: &str, got: f64, want: f64, digits: i32) {
    let apart = (got - want).abs();
    let scale = want.abs().max(f64::MIN_POSITIVE);
    assert!(
        apart <= 0.5001 * scale * 10f64.powi(1 - digits),
        "{what}: {got} is not {want} to {digits} digits"
    );
}
