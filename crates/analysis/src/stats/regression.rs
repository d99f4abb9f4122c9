//! Linear least squares by QR, with standard errors.
//!
//! ```text
//! y = X b + e,   X = Q R,   b = R⁻¹ Qᵀ y,   s² = |y − X b|² / (n − p),   cov(b) = s² R⁻¹ R⁻ᵀ
//! ```
//!
//! QR by Householder reflections (nalgebra), never the normal equations, which halve the digits. Columns are brought to
//! unit length first, so that powers of a variable may stand beside a constant, and the solution is refined once by
//! its own residual. Assumes that errors are independent and of one size. Held against certified values (NIST StRD) in
//! the tests. Cost: O(n p²).

use nalgebra::{DMatrix, DVector};

/// A fitted linear model.
#[derive(Clone, Debug)]
pub struct Fit {
    /// Coefficients, in the order of the columns.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the residuals, with n − p degrees of freedom; zero where that is zero.
    pub residual_sd: f64,
    /// Degrees of freedom.
    pub df: usize,
    /// Inverse of XᵀX.
    inverse: DMatrix<f64>,
}

impl Fit {
    /// Covariance of two coefficients; zero for one that does not exist.
    pub fn covariance(&self, a: usize, b: usize) -> f64 {
        self.inverse.get((a, b)).map_or(0.0, |c| c * self.residual_sd * self.residual_sd)
    }

    /// Standard error of a coefficient.
    pub fn error(&self, a: usize) -> f64 {
        self.covariance(a, a).max(0.0).sqrt()
    }

    /// Σ row · b with its standard error; the row is that of a column vector's entries at the place asked for.
    pub fn at(&self, row: &[f64]) -> (f64, f64) {
        let value = row.iter().zip(&self.coefficients).map(|(x, b)| x * b).sum();
        let mut variance = 0.0;
        for (i, x) in row.iter().enumerate() {
            variance += row.iter().enumerate().map(|(j, y)| x * y * self.covariance(i, j)).sum::<f64>();
        }
        (value, variance.max(0.0).sqrt())
    }
}

/// Fits `y` by a weighted sum of `columns`. `None` if a column is not as long as `y`, anything is not finite, there are
/// fewer values than columns, or the columns depend on each other.
pub fn least_squares(columns: &[Vec<f64>], y: &[f64]) -> Option<Fit> {
    let (n, p) = (y.len(), columns.len());
    let finite = |values: &[f64]| values.iter().all(|v| v.is_finite());
    if p == 0 || n < p || columns.iter().any(|c| c.len() != n || !finite(c)) || !finite(y) {
        return None;
    }
    let length = |c: &[f64]| c.iter().fold(0.0f64, |sum, v| sum.hypot(*v));
    let lengths: Vec<f64> = columns.iter().map(|c| length(c)).collect();
    if lengths.iter().any(|l| !l.is_finite() || *l <= 0.0) {
        return None;
    }
    let x = DMatrix::from_fn(n, p, |row, column| columns[column][row] / lengths[column]);
    let y = DVector::from_column_slice(y);
    let qr = x.clone().qr();
    let (q, r) = (qr.q(), qr.r());
    if (0..p).any(|i| r[(i, i)].abs() <= f64::EPSILON * n as f64) {
        return None;
    }
    let solve = |right: &DVector<f64>| r.solve_upper_triangular(&(q.transpose() * right));
    let mut b = solve(&y)?;
    b += solve(&(&y - &x * &b))?;
    let residual = &y - &x * &b;
    let df = n - p;
    let residual_sd = if df == 0 { 0.0 } else { residual.norm() / (df as f64).sqrt() };
    let back = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let scaled = &back * back.transpose();
    let inverse = DMatrix::from_fn(p, p, |i, j| scaled[(i, j)] / lengths[i] / lengths[j]);
    let coefficients: Vec<f64> = b.iter().zip(&lengths).map(|(b, l)| b / l).collect();
    (finite(&coefficients) && residual_sd.is_finite()).then_some(Fit {
        coefficients,
        residual_sd,
        df,
        inverse,
    })
}

/// Fits a polynomial, constant term first.
pub fn polynomial(x: &[f64], y: &[f64], degree: u8) -> Option<Fit> {
    let powers = (0..=i32::from(degree)).map(|power| x.iter().map(|x| x.powi(power)).collect());
    least_squares(&powers.collect::<Vec<Vec<f64>>>(), y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_points_on_it_is_found_exactly() {
        let fit = polynomial(&[0.0, 1.0, 2.0, 3.0], &[1.0, 3.0, 5.0, 7.0], 1).unwrap();
        assert!((fit.coefficients[0] - 1.0).abs() < 1e-14 && (fit.coefficients[1] - 2.0).abs() < 1e-14);
        assert!(fit.residual_sd < 1e-14 && fit.df == 2);
    }

    #[test]
    fn what_cannot_be_fitted_gives_nothing() {
        assert!(least_squares(&[], &[1.0]).is_none());
        assert!(polynomial(&[1.0], &[1.0], 1).is_none());
        assert!(polynomial(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], 1).is_none());
        assert!(polynomial(&[1.0, f64::NAN, 3.0], &[1.0, 2.0, 3.0], 1).is_none());
        assert!(least_squares(&[vec![1.0, 2.0]], &[1.0]).is_none());
        assert!(least_squares(&[vec![0.0, 0.0]], &[1.0, 2.0]).is_none());
        assert!(polynomial(&[1e200, 2e200, 3e200], &[1.0, 2.0, 3.0], 2).is_none());
    }
}
