//! Gain against speed, from travels alone: for diagnosis, never for the verdict.
//!
//! Each clean swipe covers the same travel: `1 = Σ_b x_jb m_b + e_j`, where x_jb is what swipe j counted while it ran at
//! a speed of bin b, in travels, and m_b the millimetres per count of that bin over those of the whole. Minimised is
//! `Σ_j e_j² + λ Σ_b (second difference of m at b)²`; λ by generalised cross-validation (Golub, Heath & Wahba 1979) over
//! a fixed list. Bins hold equal distances. The gain is 1/m; its interval is that of a linear smoother, widened by √2
//! for stops that neighbours share, and knows nothing of the bias of the smoothing: no form tried covers across shapes.
//! That is why it decides nothing.
//!
//! Lack of fit: what the curve leaves, beyond the scatter within one pace and direction, by Fisher's F.
//! Assumes that gain depends on the reported speed alone. Cost: O(slots + swipes), and a matrix of [`BINS`].

use crate::lengths::Lengths;
use crate::stats::t_quantile;
use crate::step::{StepView, SwipeView};
use crate::verdict::{GainCurve, GainPoint, Quantity};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Bins of speed.
const BINS: usize = 6;
/// Swipes needed: three for each bin.
const LEAST: usize = 3 * BINS;
/// The list of λ, relative to the size of the data: from none to a straight line.
const SMOOTHING: [f64; 9] = [1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1.0, 1e2, 1e4];
/// Speeds are sorted into so many cells, even in the logarithm, before they are cut into bins.
const CELLS: usize = 400;
/// The cells reach over so many decades down from the fastest.
const DECADES: f64 = 4.0;

type Row = [f64; BINS];
type Matrix = [Row; BINS];

/// Fits it; `None` with too few swipes, or where speeds do not differ.
pub fn fit(step: &StepView, lengths: &Lengths) -> Option<GainCurve> {
    let keys = lengths.keys();
    let travel = lengths.mean(|_| true)?.counts / step.scale?.counts_per_mm;
    let swipes: Vec<&SwipeView> =
        step.swipes().filter(|(p, s)| keys.contains(&crate::families::key(p, s))).map(|(_, s)| s).collect();
    if swipes.len() < LEAST || travel.is_nan() || travel <= 0.0 {
        return None;
    }
    let top = swipes.iter().map(|s| s.grid.peak()).fold(0.0, f64::max);
    if !top.is_finite() || top <= 0.0 {
        return None;
    }
    let cell = |mm_s: f64| {
        let place = 1.0 + (mm_s / top).log10() / DECADES;
        if mm_s > 0.0 { ((place * CELLS as f64) as usize).min(CELLS - 1) } else { 0 }
    };
    let (mut distance, mut moment) = (vec![0.0; CELLS], vec![0.0; CELLS]);
    for_slots(&swipes, |_, mm, mm_s| {
        distance[cell(mm_s)] += mm;
        moment[cell(mm_s)] += mm * mm_s;
    });
    let whole: f64 = distance.iter().sum();
    // Cells into bins of equal distance.
    let mut bin_of = vec![0; CELLS];
    let mut so_far = 0.0;
    for (bin, mm) in bin_of.iter_mut().zip(&distance) {
        *bin = (((so_far + 0.5 * mm) / whole * BINS as f64).max(0.0) as usize).min(BINS - 1);
        so_far += mm;
    }
    let mut rows: Vec<Row> = vec![[0.0; BINS]; swipes.len()];
    for_slots(&swipes, |j, mm, mm_s| rows[j][bin_of[cell(mm_s)]] += mm / travel);
    let (m, inverse, left, freedom) = SMOOTHING.iter().filter_map(|&l| smooth(&rows, l)).min_by(|a, b| {
        let score = |s: &Smooth| s.2 / (rows.len() as f64 - s.3).powi(2);
        score(a).total_cmp(&score(b))
    })?;
    let n = rows.len() as f64;
    let df = (n - freedom).max(1.0);
    let sd = (left / df).sqrt() * std::f64::consts::SQRT_2;
    let mut points = Vec::new();
    for (b, &m) in m.iter().enumerate() {
        let here = |values: &[f64]| -> f64 {
            values.iter().zip(&bin_of).filter(|(_, bin)| **bin == b).map(|(v, _)| v).sum()
        };
        let (mm, weighted) = (here(&distance), here(&moment));
        let half = t_quantile(0.975, df) * sd * variance(&rows, &inverse, b).sqrt();
        if mm <= 0.0 || m <= 0.0 || !half.is_finite() {
            return None;
        }
        let over = |v: f64| (v > 0.0).then(|| 1.0 / v);
        let gain = Quantity { value: 1.0 / m, low: over(m + half), high: over(m - half) };
        points.push(GainPoint { speed_m_s: 1e-3 * weighted / mm, share: mm / whole, gain });
    }
    let relative = lengths.scatter / (travel * step.scale?.counts_per_mm);
    Some(GainCurve {
        points,
        swipes: swipes.len(),
        freedom,
        lack_of_fit_p: lack_of_fit(left, df, relative, lengths.df),
    })
}

/// Calls with each slot's swipe, distance and speed.
fn for_slots(swipes: &[&SwipeView], mut with: impl FnMut(usize, f64, f64)) {
    for (j, swipe) in swipes.iter().enumerate() {
        for (mm, mm_s) in swipe.grid.along_mm.iter().zip(&swipe.grid.expected_mm_s) {
            if mm.is_finite() && mm_s.is_finite() {
                with(j, *mm, *mm_s);
            }
        }
    }
}

/// m, the inverse of the penalised normal matrix, the sum of squares left, and the degrees of freedom used.
type Smooth = (Row, Matrix, f64, f64);

fn smooth(rows: &[Row], lambda: f64) -> Option<Smooth> {
    let mut normal = [[0.0; BINS]; BINS];
    let mut right = [0.0; BINS];
    for row in rows {
        for a in 0..BINS {
            right[a] += row[a];
            (0..BINS).for_each(|b| normal[a][b] += row[a] * row[b]);
        }
    }
    let size = (0..BINS).map(|b| normal[b][b]).sum::<f64>() / BINS as f64;
    let mut penalised = normal;
    for middle in 1..BINS - 1 {
        let taps = [(middle - 1, 1.0), (middle, -2.0), (middle + 1, 1.0)];
        for (a, ca) in taps {
            taps.iter().for_each(|(b, cb)| penalised[a][*b] += lambda * size * ca * cb);
        }
    }
    let inverse = invert(penalised)?;
    let times = |v: &Row| -> Row { std::array::from_fn(|a| (0..BINS).map(|b| inverse[a][b] * v[b]).sum()) };
    let m = times(&right);
    let left = rows.iter().map(|row| (1.0 - (0..BINS).map(|b| row[b] * m[b]).sum::<f64>()).powi(2)).sum();
    let freedom = (0..BINS).map(|a| (0..BINS).map(|b| inverse[a][b] * normal[b][a]).sum::<f64>()).sum();
    Some((m, inverse, left, freedom))
}

/// Variance of m at a bin over that of one swipe: (H⁻¹ XᵀX H⁻¹) at (b, b).
fn variance(rows: &[Row], inverse: &Matrix, b: usize) -> f64 {
    rows.iter().map(|row| (0..BINS).map(|a| inverse[b][a] * row[a]).sum::<f64>().powi(2)).sum()
}

/// Inverse of a symmetric positive definite matrix by elimination; `None` if it is none.
fn invert(mut a: Matrix) -> Option<Matrix> {
    let mut inverse: Matrix = std::array::from_fn(|i| std::array::from_fn(|j| f64::from(u8::from(i == j))));
    for i in 0..BINS {
        let pivot = a[i][i];
        if !pivot.is_finite() || pivot <= 1e-300 {
            return None;
        }
        for j in 0..BINS {
            a[i][j] /= pivot;
            inverse[i][j] /= pivot;
        }
        for k in (0..BINS).filter(|&k| k != i) {
            let factor = a[k][i];
            for j in 0..BINS {
                a[k][j] -= factor * a[i][j];
                inverse[k][j] -= factor * inverse[i][j];
            }
        }
    }
    Some(inverse)
}

/// Chance that a curve that is right leaves so much more than the scatter within one pace and direction.
fn lack_of_fit(left: f64, df: f64, scatter: f64, scatter_df: f64) -> Option<f64> {
    let ratio = left / df / (scatter * scatter);
    let f = FisherSnedecor::new(df, scatter_df).ok()?;
    (ratio.is_finite() && ratio >= 0.0).then(|| f.sf(ratio))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Swipes that spend their travel in two neighbouring bins each, in shares that differ; bin b has m_b = 1 + b/100.
    #[test]
    fn a_known_gain_comes_back() {
        let truth: Row = std::array::from_fn(|b| 1.0 + b as f64 / 100.0);
        let rows: Vec<Row> = (0..60)
            .map(|j| {
                let (b, share) = (j % (BINS - 1), (j % 7) as f64 / 7.0);
                let mut row = [0.0; BINS];
                row[b] = share / truth[b];
                row[b + 1] = (1.0 - share) / truth[b + 1];
                row
            })
            .collect();
        let (m, _, left, freedom) = smooth(&rows, 1.0).unwrap();
        assert!(m.iter().zip(&truth).all(|(m, t)| (m - t).abs() < 1e-9), "{m:?}");
        assert!(left < 1e-12 && freedom > 1.9 && freedom < BINS as f64);
        // However stiff, a straight line is never bent.
        let (m, ..) = smooth(&rows, 1e4).unwrap();
        assert!(m.iter().zip(&truth).all(|(m, t)| (m - t).abs() < 1e-6), "{m:?}");
    }

    /// numpy's plain least squares with the penalty as further rows, in `fixtures/statistics/scipy`
    /// (`scripts/statistics-oracle`): to 8 digits.
    #[test]
    fn smoothing_is_least_squares_with_further_rows() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/statistics/scipy/values.json");
        let all: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        let row = |v: &serde_json::Value| -> Row { std::array::from_fn(|b| v[b].as_f64().unwrap()) };
        let rows: Vec<Row> = all["smoothing"]["rows"].as_array().unwrap().iter().map(row).collect();
        let close = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-8, "{got} is not {want}");
        for fit in all["smoothing"]["fits"].as_array().unwrap() {
            let (m, inverse, left, freedom) = smooth(&rows, fit["penalty"].as_f64().unwrap()).unwrap();
            close(left, fit["left"].as_f64().unwrap());
            close(freedom, fit["freedom"].as_f64().unwrap());
            let (want, variances) = (row(&fit["m"]), row(&fit["variances"]));
            for b in 0..BINS {
                close(m[b], want[b]);
                close(variance(&rows, &inverse, b), variances[b]);
            }
        }
    }

    #[test]
    fn empty_bins_are_no_curve() {
        assert!(smooth(&[[0.0; BINS]; 30], 1.0).is_none());
        assert!(invert([[f64::NAN; BINS]; BINS]).is_none());
    }
}
