//! The median of a limit that is drawn anew for each swipe, from limits seen and limits not reached.
//!
//! Knows nothing of pointing devices. Two answers, for two amounts of knowledge:
//!
//! [`median`]: limits are lognormal, `k` of them were seen and the others lie above what was reached (right-censored).
//! With z = (ln x − μ)/σ,
//!
//! ```text
//! l(μ, σ) = Σ_seen [ −ln σ − z²/2 ] + Σ_not reached ln Φ(−z),     l*(μ) = max_σ l(μ, σ)
//! interval: { μ : 2 (max l* − l*(μ)) ≤ k ln(1 + t²/(k−1)) },       t: Student's 97.5 % quantile, k − 1 degrees
//! ```
//!
//! The usual bound on the profile likelihood, 3.84, holds for many values and covers 88 % with five; this one makes the
//! interval Student's own where every limit was seen, whatever k, and goes to 3.84 with growing k.
//!
//! [`bounds`]: nothing is assumed of the limits but that they are independent; each was seen only to lie between two
//! speeds. Half of all limits lie below the median, so the sign test tells how many may be seen there (exact binomial
//! limits). Five swipes without failure at a speed or more bound the median from below (1/32 < 5 %).
//!
//! Cost: O(n) per step of nested searches, some thousand steps for the first; O(n²) for the second, on the swipes.

use crate::stats::{proportion_high, proportion_low, t_quantile};
use statrs::distribution::{ContinuousCDF, Normal};

/// What one swipe says of its own limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Told {
    /// It was reached: between two values, most likely at a third; `peak` is what the swipe went on to.
    Reached {
        /// Surely no lower than this.
        low: f64,
        /// Most likely here.
        at: f64,
        /// Surely no higher than this.
        high: f64,
        /// Highest value of the swipe, seen or not.
        peak: f64,
    },
    /// It was not reached, up to this value.
    Above(f64),
}

/// A median with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// The estimate.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Standard deviation of the logarithm of the limits.
    pub scatter: f64,
}

/// Smallest and largest scatter looked at: beyond them a limit is no limit.
const SCATTER: (f64, f64) = (1e-4, 1.0);
/// Steps of a golden-section search; each leaves 0.618 of the span, 40 of them 4e-9.
const STEPS: usize = 40;

/// Maximum likelihood for lognormal limits. `None` with fewer than two limits seen.
pub fn median(told: &[Told]) -> Option<Median> {
    let log = |x: f64| (x > 0.0 && x.is_finite()).then(|| x.ln());
    let (mut seen, mut above) = (Vec::new(), Vec::new());
    for one in told {
        match *one {
            Told::Reached { at, .. } => seen.push(log(at)?),
            Told::Above(x) => above.extend(log(x)),
        }
    }
    let k = seen.len() as f64;
    if seen.len() < 2 {
        return None;
    }
    let least = seen.iter().copied().fold(f64::INFINITY, f64::min);
    let most = seen.iter().chain(&above).copied().fold(f64::NEG_INFINITY, f64::max);
    let profile = |mu: f64| profile(mu, &seen, &above);
    let (mu, best) = highest(profile, least - 1.0, most + 1.0);
    let df = k - 1.0;
    let drop = 0.5 * k * (t_quantile(0.975, df).powi(2) / df).ln_1p();
    let inside = |mu: f64| profile(mu) >= best - drop;
    let (low, high) = (edge(&inside, mu, least - 3.0), edge(&inside, mu, most + 3.0));
    let (scatter, _) = highest(|s| likelihood(mu, s.exp(), &seen, &above), SCATTER.0.ln(), SCATTER.1.ln());
    Some(Median { value: mu.exp(), low: low.exp(), high: high.exp(), scatter: scatter.exp() })
}

fn likelihood(mu: f64, sigma: f64, seen: &[f64], above: &[f64]) -> f64 {
    let normal = Normal::standard();
    let z = |x: &f64| (x - mu) / sigma;
    let seen: f64 = seen.iter().map(|x| -sigma.ln() - 0.5 * z(x) * z(x)).sum();
    // Beyond 37 standard deviations the tail is no number any more; its logarithm is −z²/2 and little else.
    let tail = |z: f64| if z < 37.0 { normal.sf(z).ln() } else { -0.5 * z * z - z.ln() - 0.919 };
    seen + above.iter().map(|x| tail(z(x))).sum::<f64>()
}

fn profile(mu: f64, seen: &[f64], above: &[f64]) -> f64 {
    highest(|s| likelihood(mu, s.exp(), seen, above), SCATTER.0.ln(), SCATTER.1.ln()).1
}

/// Place and height of the top of a function with one top.
fn highest(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> (f64, f64) {
    const GOLDEN: f64 = 0.618_033_988_749_895;
    let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..STEPS {
        if fa >= fb {
            (high, b, fb) = (b, a, fa);
            a = high - GOLDEN * (high - low);
            fa = f(a);
        } else {
            (low, a, fa) = (a, b, fb);
            b = low + GOLDEN * (high - low);
            fb = f(b);
        }
    }
    if fa >= fb { (a, fa) } else { (b, fb) }
}

/// Where a condition that holds at `from` ends on the way to `to`, by bisection; `to` if it never does.
fn edge(holds: &impl Fn(f64) -> bool, from: f64, to: f64) -> f64 {
    if holds(to) {
        return to;
    }
    let (mut yes, mut no) = (from, to);
    for _ in 0..STEPS {
        let middle = 0.5 * (yes + no);
        if holds(middle) { yes = middle } else { no = middle }
    }
    yes
}

/// Bounds on the median that hold in 95 %: from below alone where nothing was reached, else 2.5 % for each.
pub fn bounds(told: &[Told]) -> (Option<f64>, Option<f64>) {
    let reached = told.iter().filter(|t| matches!(t, Told::Reached { .. })).count();
    let alpha = if reached == 0 { 0.05 } else { 0.025 };
    let count = |what: &dyn Fn(&Told) -> bool| told.iter().filter(|t| what(t)).count() as u32;
    // From below: a limit that may lie under v counts as one that does. Steps upwards and stops at the first doubt.
    let lowest = |t: &Told| match *t {
        Told::Reached { low, .. } => low,
        Told::Above(x) => x,
    };
    let surely_above = |v: f64| {
        let above = count(&|t| lowest(t) >= v);
        let below = count(&|t| matches!(t, Told::Reached { low, .. } if *low < v));
        proportion_high(below, above + below, alpha) < 0.5
    };
    let mut steps: Vec<f64> = told.iter().map(lowest).filter(|v| v.is_finite()).collect();
    steps.sort_by(f64::total_cmp);
    let low = steps.into_iter().take_while(|&v| surely_above(v)).last();
    // From above, likewise downwards. Only swipes that went on to v say anything of limits below it.
    let surely_below = |v: f64| {
        let below = count(&|t| matches!(t, Told::Reached { high, peak, .. } if *high <= v && *peak >= v));
        let above = count(&|t| match *t {
            Told::Reached { high, .. } => high > v,
            Told::Above(x) => x >= v,
        });
        proportion_low(below, above + below, alpha) > 0.5
    };
    let highest = |t: &Told| match *t {
        Told::Reached { high, .. } => Some(high).filter(|v| v.is_finite()),
        Told::Above(_) => None,
    };
    let mut steps: Vec<f64> = told.iter().filter_map(highest).collect();
    steps.sort_by(|a, b| b.total_cmp(a));
    let high = steps.into_iter().take_while(|&v| surely_below(v)).last();
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mean_sd;
    use rand_xoshiro::Xoshiro256PlusPlus;
    use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

    struct Chance(Xoshiro256PlusPlus);

    impl Chance {
        fn uniform(&mut self) -> f64 {
            ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        }

        /// Box & Muller 1958.
        fn normal(&mut self) -> f64 {
            (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
        }

        /// Swipes whose peaks lie about the median limit of 2, each limit seen to within 0.5 %.
        fn session(&mut self, swipes: usize, scatter: f64) -> Vec<Told> {
            let one = |_| {
                let limit = 2.0 * (scatter * self.normal()).exp();
                let peak = 2.0 * (0.85 + 0.4 * self.uniform());
                match peak > limit {
                    true => Told::Reached { low: 0.995 * limit, at: limit, high: 1.005 * limit, peak },
                    false => Told::Above(peak),
                }
            };
            (0..swipes).map(one).collect()
        }
    }

    /// Where every limit was seen the interval is Student's on the logarithms: recomputed from its formula.
    #[test]
    fn with_nothing_censored_the_interval_is_students() {
        let limits = [1.93, 2.02, 1.98, 2.07, 2.00, 1.95];
        let told = limits.map(|at| Told::Reached { low: at, at, high: at, peak: 3.0 });
        let got = median(&told).unwrap();
        let (mean, sd) = mean_sd(&limits.map(f64::ln)).unwrap();
        let half = t_quantile(0.975, 5.0) * sd / 6f64.sqrt();
        assert!((got.value / mean.exp() - 1.0).abs() < 1e-5, "{got:?}");
        assert!((got.low / (mean - half).exp() - 1.0).abs() < 1e-4, "{got:?}");
        assert!((got.high / (mean + half).exp() - 1.0).abs() < 1e-4, "{got:?}");
    }

    /// 95 % of 400 sessions, give or take 3.3 standard deviations: 91.4 to 98.6 %.
    #[test]
    fn the_interval_covers_and_is_unbiased_with_half_of_the_swipes_clean() {
        let mut chance = Chance(Xoshiro256PlusPlus::seed_from_u64(7));
        for (swipes, scatter) in [(20, 0.03), (12, 0.08)] {
            let got: Vec<Median> =
                (0..400).filter_map(|_| median(&chance.session(swipes, scatter))).collect();
            assert!(got.len() >= 390, "{}", got.len());
            let covered = got.iter().filter(|m| (m.low..=m.high).contains(&2.0)).count() as f64;
            let share = covered / got.len() as f64;
            assert!((0.914..=0.986).contains(&share), "{swipes} swipes: {share}");
            let mean = got.iter().map(|m| m.value.ln()).sum::<f64>() / got.len() as f64;
            assert!((mean.exp() / 2.0 - 1.0).abs() < 0.01, "{swipes} swipes: {}", mean.exp());
        }
    }

    #[test]
    fn bounds_hold_in_95_percent_without_a_model() {
        let mut chance = Chance(Xoshiro256PlusPlus::seed_from_u64(11));
        let mut broken = 0;
        for _ in 0..600 {
            let (low, high) = bounds(&chance.session(20, 0.05));
            broken += usize::from(low.is_some_and(|v| v > 2.0) || high.is_some_and(|v| v < 2.0));
        }
        // 30 expected at most; 3.3 standard deviations more.
        assert!(broken <= 48, "{broken} of 600");
    }

    #[test]
    fn five_clean_swipes_bound_the_limit_and_four_do_not() {
        let clean = |n: usize| bounds(&vec![Told::Above(2.5); n]);
        assert_eq!(clean(5), (Some(2.5), None));
        assert_eq!(clean(4), (None, None));
    }

    #[test]
    fn what_no_swipe_can_tell_is_none_and_no_panic() {
        let reached = |at: f64| Told::Reached { low: at, at, high: at, peak: at };
        for odd in [f64::NAN, f64::INFINITY, 0.0, -1.0, 1e300] {
            let told = [reached(odd), reached(2.0), Told::Above(odd), reached(2.0)];
            let (got, _) = (median(&told), bounds(&told));
            assert!(got.is_none_or(|m| m.value.is_finite()), "{odd}: {got:?}");
        }
        assert_eq!((median(&[]), median(&[reached(2.0)])), (None, None));
        assert_eq!(bounds(&[]), (None, None));
        assert!(median(&[reached(2.0), reached(2.0)]).is_some_and(|m| (m.value - 2.0).abs() < 1e-6));
    }
}
