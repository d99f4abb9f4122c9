//! Whether a device reports unevenly, and says in each report what moved since the one before.
//!
//! Stamps that are uneven by themselves leave open whose doing it is: a host that reads late makes uneven stamps of even
//! reports. Counts tell. Of four reports in a row, with intervals d₁ to d₃ and counts c₁ to c₃ at their ends,
//!
//! ```text
//! x = d₂ − (d₁ + d₃)/2   over the mean interval        y = c₂ − (c₁ + c₃)/2   over the mean count
//! ```
//!
//! hold what is uneven; what a hand speeds up cancels. Counts that are made until the report is sent have y = x; counts of even
//! slots have y = 0, however late they are read. The slope of y on x, weighted by counts, is therefore the share of the
//! scatter of stamps that is the device's own. Told from half on, and by [`SURE`] standard errors more.
//!
//! Only intervals shorter than [`CONTIGUOUS`]: what spans two slots may be a report that was lost or handed on. So an unevenness
//! beyond that is told smaller than it is. Cost: O(reports).

use crate::series::{CONTIGUOUS, DUE, RUSHED, Series};

/// Share of the scatter that must be the device's own: the more of it, as for [`crate::series::Turns::of_the_device`].
const OWN: f64 = 0.5;
/// Standard errors. Neighbouring windows share reports, and so up to half of their scatter: five of them are three and a half.
const SURE: f64 = 5.0;
/// Windows needed.
const LEAST: usize = 100;
/// Smallest scatter, as a share of the interval: within the default tolerance of an interval all is even.
const LEAST_SPREAD: f64 = 0.05;
/// Variance of x over that of a stamp, all stamps by themselves: 2 · 1.5² + 2 · 0.5².
const STAMPS: f64 = 5.0;

/// Reports that a device sends unevenly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uneven {
    /// Standard deviation of an instant of report, as a share of the interval.
    pub spread: f64,
    /// Share of it that shows in counts as well.
    pub counts: f64,
    /// Windows that it was read from.
    pub seen: usize,
}

/// Looks at reports of at least [`DUE`] counts, `slot` nanoseconds apart. `None` where reports or counts are even.
pub fn find<'a>(series: impl IntoIterator<Item = &'a Series>, slot: f64) -> Option<Uneven> {
    let (mut seen, mut xx, mut xy, mut yy, mut plain) = (0usize, 0.0, 0.0, 0.0, 0.0);
    for four in series.into_iter().flat_map(|s| s.samples.windows(4)) {
        let moved = |i: usize| (f64::from(four[i].x), f64::from(four[i].y));
        let apart = |i: usize| four[i].t.saturating_sub(four[i - 1].t) as f64;
        let even = |i: usize| (RUSHED * slot..CONTIGUOUS * slot).contains(&apart(i));
        let all = (1..4).fold((0.0, 0.0), |a, i| (a.0 + moved(i).0, a.1 + moved(i).1));
        let counts = all.0.hypot(all.1);
        if !four.iter().all(|s| s.timed) || !(1..4).all(even) || counts < 3.0 * DUE as f64 {
            continue;
        }
        // In the direction of all three.
        let along = |i: usize| (moved(i).0 * all.0 + moved(i).1 * all.1) / counts;
        let bend = |of: &dyn Fn(usize) -> f64| of(2) - 0.5 * (of(1) + of(3));
        let x = bend(&apart) * 3.0 / (apart(1) + apart(2) + apart(3));
        let (weighted, y) = (x * counts / 3.0, bend(&along));
        seen += 1;
        plain += x * x;
        xx += weighted * weighted;
        xy += weighted * y;
        yy += y * y;
    }
    if seen < LEAST || xx <= 0.0 {
        return None;
    }
    let (n, slope) = (seen as f64, xy / xx);
    let error = ((yy - slope * xy).max(0.0) / (n - 1.0) / xx).sqrt();
    let spread = (plain / n / STAMPS * slope.clamp(0.0, 1.0)).sqrt();
    (slope - SURE * error >= OWN && spread >= LEAST_SPREAD).then_some(Uneven { spread, counts: slope, seen })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Sample;

    /// Swipes at up to 40 counts a slot; sent, and stamped, so late of each slot of 1 ms.
    fn series(sent: impl Fn(usize) -> f64, read: impl Fn(usize) -> f64) -> Series {
        let speed = |slots: f64| {
            40.0 * 600.0 / std::f64::consts::TAU * (1.0 - (slots * std::f64::consts::TAU / 600.0).cos())
        };
        let mut before = 0.0;
        let sample = |i: usize| {
            let at = i as f64 + sent(i);
            let place = speed(at).round();
            let x = (place - before) as i32;
            before = place;
            Sample { t: ((at + read(i)) * 1e6) as i64, x, y: 0, timed: true, idle_before: 0 }
        };
        Series { samples: (0..280).map(sample).collect(), reports: 280, ..Series::default() }
    }

    fn by_chance(i: usize) -> f64 {
        (i as f64 * 0.618_033_988_75).fract() - 0.5
    }

    #[test]
    fn reports_that_are_sent_unevenly_bring_uneven_counts() {
        let got = find([&series(|i| 0.8 * by_chance(i), |_| 0.0)], 1e6).unwrap();
        assert!((got.counts - 1.0).abs() < 0.05 && (0.15..0.4).contains(&got.spread), "{got:?}");
    }

    #[test]
    fn reports_that_are_read_late_and_those_that_are_even_are_none() {
        assert_eq!(find([&series(|_| 0.0, |i| 0.8 * by_chance(i))], 1e6), None);
        assert_eq!(find([&series(|_| 0.0, |_| 0.0)], 1e6), None);
        // Sent a little unevenly, read at any time.
        assert_eq!(find([&series(|i| 0.2 * by_chance(i * 7), |i| 0.8 * by_chance(i))], 1e6), None);
    }

    #[test]
    fn too_few_and_hostile_reports_are_none() {
        let mut few = series(|i| 0.8 * by_chance(i), |_| 0.0);
        few.samples.truncate(60);
        assert_eq!(find([&few], 1e6), None);
        let far = |t| Sample { t, x: i32::MIN, y: i32::MAX, timed: true, idle_before: 0 };
        let far = Series {
            samples: vec![far(i64::MIN), far(0), far(i64::MAX), far(i64::MAX)],
            reports: 4,
            ..Series::default()
        };
        for slot in [f64::NAN, 0.0, 1e6, f64::INFINITY] {
            assert_eq!(find([&far], slot), None);
        }
    }
}
