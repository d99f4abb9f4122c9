//! Where a device at rest goes on the whole: settling and creep.
//!
//! ```text
//! p(t) = o + v t + a (1 − exp(−t/τ))      on each axis, τ in common, by least squares on the means of windows
//! ```
//!
//! v is the creep, a what is left of the settling when looking begins. τ is searched from 0.1 to [`LONGEST`]: what still
//! moves after that is a creep to the person who watches it, whatever moves it. The settling is left out of the fit
//! unless it makes more than [`SETTLING_LEAST`] counts and takes away half of the squares of the residuals.
//!
//! Uncertainty of v: one count over the time (the quantisation of both ends) as the half width of a 95 % interval, made
//! larger by 1/√(1 − r²) where the settling takes part (r: correlation of its shape with the time), and the scatter of
//! the residuals about the fit, s √(12/m)/T, m being the number of runs of one sign (neighbouring windows are alike).
//! Cost: O(windows × [`TIMES`]).

use super::rest::{Pair, Rest, length};

/// Windows: at least this long, and at most so many.
const WIDTH: f64 = 0.1;
const MOST: f64 = 400.0;
/// Longest time constant of a settling, seconds, and how many are tried.
const LONGEST: f64 = 2.0;
const TIMES: usize = 24;
/// A settling makes more counts than quantisation does.
const SETTLING_LEAST: f64 = 1.5;

/// The trend of one phase, in counts and seconds from the begin of looking.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Trend {
    /// Creep, counts per second.
    pub(super) creep: Pair,
    /// Standard uncertainty of its length, counts per second.
    pub(super) uncertainty: f64,
    /// Counts of the settling after looking began.
    pub(super) settling: Pair,
    /// Its time constant, seconds; 0 if there is none.
    pub(super) tau: f64,
    /// Variances and covariance of the place about the trend, counts².
    pub(super) scatter: [f64; 3],
}

impl Trend {
    /// Counts per second at a time.
    pub(super) fn rate(&self, t: f64) -> Pair {
        let decay = if self.tau > 0.0 { (-t / self.tau).exp() / self.tau } else { 0.0 };
        [0, 1].map(|axis| self.creep[axis] + self.settling[axis] * decay)
    }

    /// Place relative to the begin of looking.
    pub(super) fn place(&self, t: f64) -> Pair {
        let shape = if self.tau > 0.0 { 1.0 - (-t / self.tau).exp() } else { 0.0 };
        [0, 1].map(|axis| self.creep[axis] * t + self.settling[axis] * shape)
    }
}

/// Fits the trend of a phase. `settling_most` bounds the settling, in counts.
pub(super) fn fit(rest: &Rest, settling_most: f64) -> Trend {
    let width = WIDTH.max(rest.seconds / MOST);
    let means: Vec<Pair> = rest.windows(width).into_iter().map(|(mean, _)| mean).collect();
    let n = means.len();
    let least = 1.0 / rest.seconds.max(1e-9) / 1.96;
    if n < 8 {
        // Too short for more than its two ends.
        let net = rest.calm().fold([0.0; 2], |p, s| [p[0] + f64::from(s.x), p[1] + f64::from(s.y)]);
        let creep = net.map(|counts| counts / rest.seconds.max(1e-9));
        return Trend { creep, uncertainty: least, ..Trend::default() };
    }
    let times: Vec<f64> = (0..n).map(|i| (i as f64 + 0.5) * width).collect();
    let straight = Line::new(&times, &means);
    let mut best = Trend { creep: straight.slope, ..Trend::default() };
    let (mut squares, mut inflation) = (straight.squares, 1.0);
    for i in 0..TIMES {
        let tau = WIDTH * (LONGEST / WIDTH).powf(i as f64 / (TIMES - 1) as f64);
        let shape: Vec<f64> = times.iter().map(|t| 1.0 - (-t / tau).exp()).collect();
        // By parts (Frisch & Waugh 1933): what of the shape is no line explains the settling.
        let own = Line::new(&times, &shape.iter().map(|s| [*s, 0.0]).collect::<Vec<_>>());
        let left: Vec<f64> = own
            .residuals(&times, &shape.iter().map(|s| [*s, 0.0]).collect::<Vec<_>>())
            .iter()
            .map(|r| r[0])
            .collect();
        let norm: f64 = left.iter().map(|s| s * s).sum();
        if norm <= 1e-9 {
            continue;
        }
        let settling =
            [0, 1].map(|axis| left.iter().zip(&means).map(|(s, m)| s * m[axis]).sum::<f64>() / norm);
        let now = straight.squares - norm * settling.iter().map(|a| a * a).sum::<f64>();
        let size = length(settling);
        if now < 0.5 * straight.squares && now < squares && size > SETTLING_LEAST && size <= settling_most {
            squares = now;
            let creep = [0, 1].map(|axis| straight.slope[axis] - settling[axis] * own.slope[0]);
            best = Trend { creep, settling, tau, ..Trend::default() };
            let spread: f64 = shape.iter().map(|s| (s - own.mean[0]).powi(2)).sum();
            inflation = (spread / norm).sqrt();
        }
    }
    let off: Vec<Pair> = times
        .iter()
        .zip(&means)
        .map(|(t, m)| {
            let p = best.place(*t);
            [m[0] - p[0], m[1] - p[1]]
        })
        .collect();
    let centre = [0, 1].map(|axis| off.iter().map(|r| r[axis]).sum::<f64>() / n as f64);
    let off: Vec<Pair> = off.iter().map(|r| [r[0] - centre[0], r[1] - centre[1]]).collect();
    let mean = |f: &dyn Fn(&Pair) -> f64| off.iter().map(f).sum::<f64>() / n as f64;
    best.scatter = [mean(&|r| r[0] * r[0]), mean(&|r| r[1] * r[1]), mean(&|r| r[0] * r[1])];
    let scatter = (0..2).map(|axis| {
        let runs = 1 + off.windows(2).filter(|w| (w[0][axis] > 0.0) != (w[1][axis] > 0.0)).count();
        best.scatter[axis] * 12.0 / runs.max(3) as f64
    });
    let scatter = scatter.fold(0.0, f64::max).sqrt() / rest.seconds;
    best.uncertainty = least.hypot(scatter) * inflation;
    best
}

/// A straight line through two axes' places.
struct Line {
    mean: Pair,
    middle: f64,
    slope: Pair,
    /// Sum of squares about it.
    squares: f64,
}

impl Line {
    fn new(times: &[f64], places: &[Pair]) -> Line {
        let n = times.len() as f64;
        let middle = times.iter().sum::<f64>() / n;
        let mean = [0, 1].map(|axis| places.iter().map(|p| p[axis]).sum::<f64>() / n);
        let spread: f64 = times.iter().map(|t| (t - middle).powi(2)).sum();
        let slope = [0, 1].map(|axis| {
            let both = times.iter().zip(places).map(|(t, p)| (t - middle) * (p[axis] - mean[axis]));
            both.sum::<f64>() / spread
        });
        let mut line = Line { mean, middle, slope, squares: 0.0 };
        line.squares = line.residuals(times, places).iter().map(|r| r[0] * r[0] + r[1] * r[1]).sum();
        line
    }

    fn residuals(&self, times: &[f64], places: &[Pair]) -> Vec<Pair> {
        let at = |(t, p): (&f64, &Pair)| {
            [0, 1].map(|axis| p[axis] - self.mean[axis] - self.slope[axis] * (t - self.middle))
        };
        times.iter().zip(places).map(at).collect()
    }
}
