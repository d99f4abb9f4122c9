//! The course of speed along one swipe.
//!
//! Unit: minimum jerk, `S(u) = 10u³ - 15u⁴ + 6u⁵` (Flash & Hogan, J. Neurosci. 5:1688, 1985), whose peak speed is 1.875
//! times the mean, at half time. Skew: time is warped by `u = s / (s + c(1 - s))`, smooth and monotonic, with `c`
//! solved so that the speed peaks at a chosen share of the duration (early when slow, late when ballistic: Nagasaki,
//! Exp. Brain Res. 74:319, 1989). Sub-movements: up to four such units that overlap. Arrival: the course is cut where
//! the speed has fallen to a share of the peak, because the hand aims past the stop. All rational arithmetic.

/// Most units in one course.
const UNITS: usize = 4;

/// One minimum-jerk unit.
#[derive(Debug, Clone, Copy, Default)]
struct Unit {
    begin: f64,
    length: f64,
    share: f64,
    warp: f64,
}

/// Position and speed against time, both as shares of the whole.
#[derive(Debug, Clone)]
pub(crate) struct Profile {
    units: [Unit; UNITS],
    count: usize,
    /// Where the course is cut, and the position reached there.
    cut: f64,
    reach: f64,
    /// Peak speed over mean speed, of the course as cut.
    peak_over_mean: f64,
    time_to_peak: f64,
}

/// What a course is to look like.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shape {
    /// Share of the duration at which the main unit peaks, 0.2 to 0.8.
    pub(crate) time_to_peak: f64,
    /// Share of the duration that the main unit takes.
    pub(crate) main_length: f64,
    /// Sub-movements after the main unit, at most three: begin, length and share of the way.
    pub(crate) corrections: [(f64, f64, f64); UNITS - 1],
    /// Speed at the stop as a share of the peak, 0 to 0.9.
    pub(crate) arrival: f64,
}

impl Profile {
    pub(crate) fn new(shape: Shape) -> Profile {
        let mut units = [Unit::default(); UNITS];
        let mut count = 1;
        let mut main = 1.0;
        for &(begin, length, share) in &shape.corrections {
            if share > 0.0 && length > 0.0 {
                units[count] = Unit { begin, length: length.min(1.0 - begin), share, warp: 1.0 };
                main -= share;
                count += 1;
            }
        }
        units[0] =
            Unit { begin: 0.0, length: shape.main_length, share: main, warp: warp_for(shape.time_to_peak) };
        let mut profile =
            Profile { units, count, cut: 1.0, reach: 1.0, peak_over_mean: 1.0, time_to_peak: 0.5 };
        let (at, peak) = profile.peak();
        if shape.arrival > 0.0 {
            profile.cut = bisect(at, 1.0, |s| profile.raw_speed(s) > shape.arrival * peak);
            profile.reach = profile.raw_position(profile.cut);
        }
        profile.peak_over_mean = peak * profile.cut / profile.reach;
        profile.time_to_peak = at / profile.cut;
        profile
    }

    /// Share of the way covered at a share of the time.
    pub(crate) fn position(&self, time: f64) -> f64 {
        if time >= 1.0 {
            return 1.0;
        }
        self.raw_position(time * self.cut) / self.reach
    }

    /// Speed at a share of the time, in units of the mean speed.
    pub(crate) fn speed(&self, time: f64) -> f64 {
        self.raw_speed(time.min(1.0) * self.cut) * self.cut / self.reach
    }

    pub(crate) fn peak_over_mean(&self) -> f64 {
        self.peak_over_mean
    }

    /// Share of the time at which the speed peaks.
    pub(crate) fn time_to_peak(&self) -> f64 {
        self.time_to_peak
    }

    /// Share of the time at which a share of the way is covered.
    pub(crate) fn time_at(&self, position: f64) -> f64 {
        bisect(0.0, 1.0, |time| self.position(time) < position)
    }

    fn units(&self) -> impl Iterator<Item = &Unit> {
        self.units.iter().take(self.count)
    }

    fn raw_position(&self, s: f64) -> f64 {
        let mut position = 0.0;
        for unit in self.units() {
            position += unit.share * smooth(warped(unit.local(s), unit.warp));
        }
        position
    }

    fn raw_speed(&self, s: f64) -> f64 {
        self.units()
            .map(|unit| {
                let local = unit.local(s);
                let rate = warp_rate(local, unit.warp) / unit.length;
                unit.share * smooth_rate(warped(local, unit.warp)) * rate
            })
            .sum()
    }

    /// Place and height of the peak of the uncut course.
    fn peak(&self) -> (f64, f64) {
        let n = 400;
        let best = (0..=n)
            .map(|i| i as f64 / n as f64)
            .max_by(|a, b| self.raw_speed(*a).total_cmp(&self.raw_speed(*b)));
        let best = best.unwrap_or(0.5);
        // The slope changes sign within one grid step of the best point.
        let (low, high) = ((best - 1.0 / n as f64).max(0.0), (best + 1.0 / n as f64).min(1.0));
        let at = bisect(low, high, |s| self.raw_speed(s + 1e-7) > self.raw_speed(s - 1e-7));
        (at, self.raw_speed(at))
    }
}

impl Unit {
    fn local(&self, s: f64) -> f64 {
        ((s - self.begin) / self.length).clamp(0.0, 1.0)
    }
}

pub(super) fn smooth(u: f64) -> f64 {
    u * u * u * (10.0 + u * (-15.0 + 6.0 * u))
}

fn smooth_rate(u: f64) -> f64 {
    30.0 * u * u * (1.0 - u) * (1.0 - u)
}

fn warped(s: f64, c: f64) -> f64 {
    s / (s + c * (1.0 - s))
}

fn warp_rate(s: f64, c: f64) -> f64 {
    let below = s + c * (1.0 - s);
    c / (below * below)
}

/// The warp whose speed peaks at `p`.
///
/// Speed is `S'(w(s)) w'(s)`; at the peak its derivative `S''(w) w'² + S'(w) w''` is zero.
fn warp_for(p: f64) -> f64 {
    if p == 0.5 {
        return 1.0;
    }
    bisect(0.05, 20.0, |c| {
        let (w, below) = (warped(p, c), p + c * (1.0 - p));
        let rate = c / (below * below);
        let bend = -2.0 * c * (1.0 - c) / (below * below * below);
        let curve = 60.0 * w * (1.0 - w) * (1.0 - 2.0 * w);
        curve * rate * rate + smooth_rate(w) * bend < 0.0
    })
}

/// The place between `low` and `high` where a condition that holds at `low` stops holding.
pub(crate) fn bisect(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain_shape(time_to_peak: f64) -> Shape {
        Shape { time_to_peak, main_length: 1.0, corrections: Default::default(), arrival: 0.0 }
    }

    fn plain(time_to_peak: f64) -> Profile {
        Profile::new(plain_shape(time_to_peak))
    }

    /// Speeds by differences of position only.
    fn measured(profile: &Profile) -> Vec<f64> {
        let n = 10_000;
        (0..n)
            .map(|i| {
                (profile.position((i + 1) as f64 / n as f64) - profile.position(i as f64 / n as f64))
                    * n as f64
            })
            .collect()
    }

    #[test]
    fn minimum_jerk_has_the_published_peak_and_acceleration() {
        // Flash & Hogan 1985: peak speed 1.875 D/T at T/2; peak acceleration 10/sqrt(3) D/T^2 at (3 - sqrt 3)/6 of T.
        let speeds = measured(&plain(0.5));
        let (at, peak) = speeds.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
        assert!((peak - 1.875).abs() < 1e-6, "{peak}");
        assert!((at as f64 / 1e4 - 0.5).abs() < 2e-4);
        let accelerations: Vec<f64> = speeds.windows(2).map(|w| (w[1] - w[0]) * 1e4).collect();
        let (at, peak) = accelerations.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
        assert!((peak - 10.0 / 3f64.sqrt()).abs() < 1e-4, "{peak}");
        assert!((at as f64 / 1e4 - (3.0 - 3f64.sqrt()) / 6.0).abs() < 5e-3);
    }

    #[test]
    fn a_skewed_course_peaks_where_it_was_asked_to_and_covers_the_way() {
        for asked in [0.3, 0.4, 0.5, 0.6, 0.7] {
            let profile = plain(asked);
            let speeds = measured(&profile);
            let (at, peak) = speeds.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap();
            assert!((at as f64 / 1e4 - asked).abs() < 2e-3, "asked {asked}, peaks at {at}");
            assert!((peak - profile.peak_over_mean()).abs() < 1e-3);
            assert!((speeds.iter().sum::<f64>() / 1e4 - 1.0).abs() < 1e-9);
            assert!(speeds.iter().all(|&v| v >= 0.0));
        }
    }

    #[test]
    fn arriving_with_speed_cuts_the_course_at_that_share_of_the_peak() {
        let profile = Profile::new(Shape { arrival: 0.3, ..plain_shape(0.5) });
        let speeds = measured(&profile);
        let peak = speeds.iter().copied().fold(0.0, f64::max);
        assert!((speeds.last().unwrap() / peak - 0.3).abs() < 1e-3);
        assert!((profile.position(1.0) - 1.0).abs() < 1e-12);
    }
}
