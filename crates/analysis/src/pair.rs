//! The device under test against a reference device on the same rigid carriage, on one clock.
//!
//! *Lag*, per swipe: both devices' places along are laid over a common grid of [`GRID`] (each report's counts spread evenly
//! over the slot before it), and the delay between the two speeds is the place of their highest cross-correlation below
//! [`CUTOFF`] and [`SAMPLED`] ([`spectrum::delay`]). The reference's counts run in a frame of their own, so its angle on the carriage does
//! not matter; its sign is taken so that both run the same way.
//!
//! Which part of the reference's motion it is, is found first: the swipe by itself is laid over the reference's speed in steps of
//! [`ROUGH`] up to [`FAR`] to either side. The reference's sign is one for a phase, so that the swipe back before or after one
//! does not fit, and two swipes one way are further apart than that.
//!
//! The mean weights each swipe by what it can tell: a place known to within the same noise at every report tells the time to
//! within noise / v, so the information on a delay is the sum of v² over the swipe (the bound of Cramér and Rao for a shift
//! in time); over one travel it grows with the speed. Spread and percentiles are those of the swipes as they are. (First
//! all swipes weighed alike: slow ones scatter three times as much as fast ones, so that a few of them made the mean's
//! uncertainty, and its interval covered 90 % of 270.) With shares h = w / Σ w the uncertainty is the root of Σ h² e² / (1 − h),
//! e = t − mean, whatever the scatter of slow ones and fast ones really is (MacKinnon & White 1985, HC2), with about 1 / Σ h² − 1
//! degrees of freedom (Bell & McCaffrey 2002, the weights right); for equal weights that is s / √n with n − 1. (First the
//! residuals' own size for all: slow swipes, which scatter up to twice as much again, widened the mean of fast ones.)
//!
//! Each swipe's own standard uncertainty comes from what the shifted motion does not explain ([`spectrum::delay`]). It names the
//! part of the spread that is the measurement's, and decides nothing: over simulated sessions (96 % of them) the swipes of one
//! lag scatter by a quarter to two and a half times as much, because a stop met hard makes noise at few frequencies only.
//!
//! That is the mean of one lag. Where lags differ from swipe to swipe by more than noise explains, there is none, and weights by
//! speed would tell that of the fast ones: then each swipe counts alike, and the uncertainty is that of their scatter. Asked by
//! Cochran's Q = Σ w (t − mean)², with the noise taken from neighbouring swipes of one phase and one way ([`differ`]), which
//! a lag that depends on pace, way or time of the session leaves as it is.
//!
//! *Strike lag*: begins of button reports, each paired in order with one of the reference's within [`FAR`] ([`mod@strikes`]).
//!
//! Swipes and strikes without a partner (later than [`FAR`], or not there) are counted: see [`Compared`].
//!
//! A report waits for its poll, half an interval on the average; that half is taken off each device (by spreading, and by
//! T/2 for strikes), so what is left is what sensor, firmware and link add. A single strike is uncertain by T/√12 of
//! either device, which is in the spread. Of two devices whose polls keep step the difference takes but two values, T apart, and
//! a few strikes may show only one of them: the interval is never narrower than polls alone make it, 1.96 √((T² + U²) / 12 n).
//! (First their scatter alone: of 300 sessions of ten strikes at 1 ms one in twenty showed less than a quarter of it, and
//! missed.) Of the mean, what is left of a poll in step with the strikes is not seen.
//! Never absolute: the reference's own lag is in it. Cost: O(reports log reports), one swipe in memory at a time.

mod strikes;

use crate::decision::share_bound;
use crate::families::{key, spoiled};
use crate::series::{DUE, Frame, Series, fast_intervals};
use crate::spectrum;
use crate::stats::{mad, mean_sd, median, quantile, t_quantile};
use crate::step::{Away, StepView, times_away};
use crate::swipes::Swipe;
use crate::verdict::{Direction, Finding, Pair, Quantity};
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan};
use slipgauge_trace::session::{Pace, Task};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Step of the grid, nanoseconds: the shortest report interval there is.
const GRID: f64 = 125_000.0;
/// A flick of 0.1 s has its energy below 20 Hz; above this there is mostly rounding.
const CUTOFF: f64 = 60.0;
/// Share of the report rate above which nothing is looked at. Reports sample the place, and a stop is met more sharply than half
/// their rate tells: of a jump in speed, whose place falls off as 1/f², what belongs at 1/T - f shows at f, (f / (1/T - f))² of
/// what is there, and goes by the polls, not by the motion. At half the rate that is all of it, at a quarter a ninth. (First
/// 60 Hz for all: at 8 ms for both, polls in step for a session moved all its swipes alike, and intervals covered 89 % of 300.)
const SAMPLED: f64 = 0.25;
/// A report within so many slots follows the one before: half way to the next but one.
const NEXT: f64 = 1.5;
/// Step in which the reference's motion is looked for, nanoseconds: a twenty-fifth of a flick.
const ROUGH: f64 = 4_000_000.0;
/// Longest lag looked for, nanoseconds. Two swipes one way are further apart (there is one back between them, with a rest before
/// and after it), so it is clear which of them is meant; and no device that is later could be used at all.
pub const FAR: i64 = 350_000_000;
/// How far the rough place may be off, nanoseconds. Shorter than a dwell.
const REACH: i64 = 100_000_000;
/// Rest taken in on either side of a swipe, nanoseconds: half of what is between two, and no more than this. (First [`REACH`] for all: a
/// soft hand that makes 300 mm in 5.6 s sets out and comes to rest more slowly than swipes are found, what lay beyond was cut off at
/// the same times of both devices, and a lag of 15 ms was told as 8.0 ± 0.8, and passed 12. And where a hand trembled at the stop, a part
/// of the swipe before was taken in: 12 ms came out as 10.5.)
const REST: i64 = 1_000_000_000;
/// Two presses within this are one switch that bounces.
const BOUNCE: i64 = 30_000_000;
/// Shapes less alike than this are not one motion.
const ALIKE: f64 = 0.95;
/// Fewer do not tell a spread.
pub const LEAST: usize = 5;

/// The share of all swipes or strikes for which a limit is told.
const MOST: f64 = 0.95;
/// Chance that swipes of one lag are held to differ. All that comes of it is a mean that is less sharp, and no less right.
const DIFFER: f64 = 0.01;
/// Degrees of freedom that a difference of neighbours is worth: the deviation of the median has 37 % of the efficiency of the
/// standard deviation, and two differences share a swipe (2/3).
const WORTH: f64 = 0.37 * 2.0 / 3.0;

/// What both devices tell of the same swipes or strikes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// How much later they come on the device under test; `None` with too few.
    pub later: Option<Later>,
    /// Swipes or strikes seen by both.
    pub both: usize,
    /// Seen by the device and not, or not alike, by the reference within [`FAR`].
    pub device_alone: usize,
    /// Seen by the reference alone.
    pub reference_alone: usize,
    /// Left out: the reference was away from the computer, as the file says, and saw nothing by that.
    pub reference_away: usize,
    /// Left out: both did not count of it what they do of others ([`OFF`]), so that one has lost some.
    pub reference_off: usize,
}

impl Compared {
    /// Without a partner.
    pub fn alone(&self) -> usize {
        self.device_alone + self.reference_alone
    }
}

/// Differences in time, with what they sum up to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Later {
    /// Mean, nanoseconds.
    pub mean: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Degrees of freedom of that.
    pub df: f64,
    /// Standard deviation of one.
    pub spread: f64,
    /// What the measurement alone makes of that: the root mean square of each one's own uncertainty.
    pub noise: f64,
    /// 95 % are at most this.
    pub most: f64,
    /// And of all to come, with 95 % confidence: the rank statistic; `None` with fewer than 59.
    pub surely: Option<f64>,
    /// The smallest and the largest.
    pub range: [f64; 2],
    /// How many.
    pub count: usize,
    /// True if they differ by more than noise: the mean is then the plain one.
    pub differ: bool,
    /// The pace of the smallest mean and that of the largest, if these differ clearly.
    pub paces: Option<[(Pace, f64); 2]>,
}

/// One difference in time.
#[derive(Clone, Copy)]
struct Seen {
    /// Nanoseconds.
    t: f64,
    /// What it weighs.
    weight: f64,
    /// Its own standard uncertainty, nanoseconds.
    noise: f64,
    /// Its phase.
    phase: u32,
    way: Direction,
    pace: Option<Pace>,
}

impl Later {
    /// From differences in time and what each weighs.
    fn of(all: &[Seen]) -> Option<Later> {
        if all.len() < LEAST {
            return None;
        }
        let times: Vec<f64> = all.iter().map(|s| s.t).collect();
        let sum: f64 = all.iter().map(|s| s.weight).sum();
        let share = |s: &Seen| s.weight / sum;
        let mean: f64 = all.iter().map(|s| share(s) * s.t).sum();
        let part = |s: &Seen| (share(s) * (s.t - mean)).powi(2) / (1.0 - share(s));
        let uncertainty = all.iter().map(part).sum::<f64>().sqrt();
        let df = 1.0 / all.iter().map(|s| share(s).powi(2)).sum::<f64>() - 1.0;
        if !(df >= 1.0 && mean.is_finite() && uncertainty.is_finite()) {
            return None;
        }
        let noise = (all.iter().map(|s| s.noise * s.noise).sum::<f64>() / all.len() as f64).sqrt();
        let (_, spread) = mean_sd(&times)?;
        let mut sorted = times;
        sorted.sort_by(f64::total_cmp);
        let (range, most) = ([*sorted.first()?, *sorted.last()?], quantile(&sorted, MOST)?);
        let (surely, count) = (surely(&sorted), sorted.len());
        let (differ, paces) = (false, None);
        Some(Later { mean, uncertainty, df, spread, noise, most, surely, range, count, differ, paces })
    }

    /// Likewise; where they differ by more than noise, each counts alike.
    fn of_swipes(mut all: Vec<Seen>) -> Option<Later> {
        if !differ(&all) {
            return Later::of(&all);
        }
        all.iter_mut().for_each(|s| s.weight = 1.0);
        Some(Later { differ: true, paces: by_pace(&all), ..Later::of(&all)? })
    }

    /// Likewise, of strikes: never surer than the polls' own scatter lets it be. That is known and not estimated, so that its
    /// interval is the normal distribution's.
    fn of_strikes(all: &[Seen]) -> Option<Later> {
        let mut later = Later::of(all)?;
        let known = later.noise / (later.count as f64).sqrt();
        let least = known * t_quantile(0.975, f64::INFINITY) / t_quantile(0.975, later.df);
        later.uncertainty = later.uncertainty.max(least);
        Some(later)
    }

    /// The mean with its 95 % interval.
    pub fn quantity(&self) -> Quantity {
        Quantity::around(self.mean, t_quantile(0.975, self.df) * self.uncertainty)
    }
}

/// What 95 % of all to come are at most, with 95 % confidence: the smallest value of which it is sure that no more than 5 % lie
/// above (exact; 59 values and none above, as [`share_bound`] asks of a pass).
fn surely(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len() as u32;
    let above = (0..n).take_while(|k| share_bound(*k, n) <= 1.0 - MOST).last()?;
    sorted.get(sorted.len() - 1 - above as usize).copied()
}

/// True if swipes differ by more than noise: Cochran's Q over its degrees of freedom, against the noise that neighbouring swipes
/// of one phase and way show by their differences (the median, which bears a quarter of odd swipes). Normal theory (F).
fn differ(all: &[Seen]) -> bool {
    let mut apart = Vec::new();
    for (i, a) in all.iter().enumerate() {
        let next = all[i + 1..].iter().find(|b| b.phase == a.phase && b.way == a.way);
        apart.extend(next.map(|b| (b.t - a.t) / (1.0 / a.weight + 1.0 / b.weight).sqrt()));
    }
    let Some(noise) = mad(&apart, 0.0).filter(|n| *n > 0.0 && n.is_finite()) else { return false };
    let sum: f64 = all.iter().map(|s| s.weight).sum();
    let mean = all.iter().map(|s| s.weight * s.t).sum::<f64>() / sum;
    let q: f64 = all.iter().map(|s| s.weight * (s.t - mean).powi(2)).sum();
    let df = all.len() as f64 - 1.0;
    let f = q / df / (noise * noise);
    f.is_finite() && FisherSnedecor::new(df, WORTH * apart.len() as f64).is_ok_and(|d| d.sf(f) < DIFFER)
}

/// The paces of the smallest and the largest mean, if these are apart by more than chance (99 %).
fn by_pace(all: &[Seen]) -> Option<[(Pace, f64); 2]> {
    let of = |pace: Pace| -> Option<(Pace, f64, f64, f64)> {
        let own: Vec<f64> = all.iter().filter(|s| s.pace == Some(pace)).map(|s| s.t).collect();
        let (mean, sd) = mean_sd(&own)?;
        Some((pace, mean, sd / (own.len() as f64).sqrt(), own.len() as f64 - 1.0))
    };
    let mut each: Vec<_> = [Pace::Slow, Pace::Medium, Pace::Fast].into_iter().filter_map(of).collect();
    each.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (low, high) = (each.first()?, each.last()?);
    let chance = t_quantile(0.995, low.3.min(high.3)) * low.2.hypot(high.2);
    (high.1 - low.1 > chance).then_some([(low.0, low.1), (high.0, high.1)])
}

/// The first that tells how much later, else the first.
fn first_told(mut all: impl Iterator<Item = Compared>) -> Option<Compared> {
    let first = all.next()?;
    if first.later.is_some() { Some(first) } else { all.find(|c| c.later.is_some()).or(Some(first)) }
}

/// What the first step that tells of motion does, and the first that tells of strikes, as it is written; `None` without a reference or
/// where none tells.
pub fn pair(steps: &[StepView], findings: &[Finding]) -> Option<Pair> {
    let moved = first_told(steps.iter().filter_map(|step| lag(step, findings)));
    let struck = first_told(steps.iter().filter_map(strike_lag));
    let (motion, strikes) = (moved.and_then(|c| c.later), struck.and_then(|c| c.later));
    if motion.is_none() && strikes.is_none() {
        return None;
    }
    Some(Pair {
        lag_ns: motion.map(|l| l.quantity()),
        lag_spread_ns: motion.map(|l| l.spread),
        lag_noise_ns: motion.map(|l| l.noise),
        lag_most_ns: motion.map(|l| l.most),
        lag_range_ns: motion.map(|l| l.range),
        swipes: motion.map_or(0, |l| l.count),
        swipes_alone: moved.map(|c| c.alone()),
        strike_lag_ns: strikes.map(|l| l.quantity()),
        strike_lag_spread_ns: strikes.map(|l| l.spread),
        strike_lag_noise_ns: strikes.map(|l| l.noise),
        strike_lag_most_ns: strikes.map(|l| l.most),
        strike_lag_range_ns: strikes.map(|l| l.range),
        strikes: strikes.map_or(0, |l| l.count),
        strikes_alone: struck.map(|c| c.device_alone),
        reference_strikes_alone: struck.map(|c| c.reference_alone),
    })
}

/// A device's motion in a phase.
struct Moved<'a> {
    series: &'a Series,
    frame: Frame,
    /// Width of a report slot.
    slot: f64,
}

/// What both count of one way has one ratio for all swipes of a pace. Where it is further off than this, and than so many robust
/// standard deviations of it, one of them has lost counts, and the time by the rest is drawn towards where it did not. (Added after
/// a reference that lost 30 ms in a third of the swipes had made 3.54 ± 0.25 ms of a lag of 4. First 3 %: of slow swipes that is
/// more than was lost, and 3.91 ms came out.)
const OFF: (f64, f64) = (0.005, 5.0);
/// By this factor counts of a swipe that both do not tell alike are another swipe's.
const OTHER: f64 = 1.5;

/// One swipe of the device, held against the reference.
struct Held {
    seen: Seen,
    /// Counts of the device for one of the reference.
    ratio: f64,
    /// Whether both tell the same motion.
    alike: bool,
}

/// How much later motion comes, over the swipes of a step without any finding. `None` without a reference, or if times cannot be
/// judged.
pub fn lag(step: &StepView, findings: &[Finding]) -> Option<Compared> {
    let reference = step.reference?;
    if step.coarse_clock() {
        return None;
    }
    let spoiled = spoiled(step, findings);
    let (mut held, mut device_alone, mut reference_away) = (Vec::new(), 0, 0);
    let away = times_away(reference);
    let slot = interval(step, reference);
    for phase in step.phases.iter().filter(|p| !p.swipes.is_empty()) {
        let frame = phase.frame?;
        let test = Moved { series: &phase.series, frame, slot: step.slot() };
        let made: Vec<&Swipe> = phase.swipes.iter().map(|s| &s.swipe).collect();
        let wide = with_rest(&test, &made).into_iter().zip(&phase.swipes);
        let clean = wide.filter(|(_, s)| !spoiled.contains(&key(phase, s)));
        let (wide, clean): (Vec<(i64, i64)>, Vec<&Swipe>) = clean.map(|(wide, s)| (wide, &s.swipe)).unzip();
        let times = match slot.and_then(|slot| Some((slot, moved(reference, &phase.span, slot)?))) {
            Some((slot, (series, frame))) => {
                each_later(&test, &Moved { series: &series, frame, slot }, &clean, &wide)
            }
            None => clean.iter().map(|_| None).collect(),
        };
        for (swipe, time) in clean.into_iter().zip(times) {
            // The reference's part of it, too.
            let early = time.as_ref().filter(|t| t.alike).map_or(0, |t| t.seen.t as i64);
            let (from, to) =
                (swipe.begin.saturating_sub(early.max(0)), swipe.end.saturating_sub(early.min(0)));
            if step.host.explain(from.saturating_sub(REACH), to.saturating_add(REACH)) {
                continue;
            }
            let gone = |away: &Away| {
                away.gone <= to.saturating_add(REACH) && away.until() >= from.saturating_sub(REACH)
            };
            if away.iter().any(gone) {
                reference_away += 1;
                continue;
            }
            let Some(mut time) = time else {
                device_alone += 1;
                continue;
            };
            (time.seen.way, time.seen.pace) = (swipe.direction, phase.span.phase.pace);
            time.seen.phase = phase.span.number;
            held.push(time);
        }
    }
    let paces = [Pace::Slow, Pace::Medium, Pace::Fast, Pace::Unknown].map(Some).into_iter().chain([None]);
    let usual: Vec<(Option<Pace>, f64, f64)> = paces.filter_map(|pace| usual(pace, &held)).collect();
    let off = |h: &Held| {
        let own = usual.iter().find(|(pace, ..)| *pace == h.seen.pace);
        own.is_some_and(|(_, ratio, most)| {
            // What the reference saw nothing of, or another swipe, has no partner.
            let seen = h.alike || (h.ratio / ratio).ln().abs() < OTHER.ln();
            (h.ratio - ratio).abs() > *most && seen
        })
    };
    let (off, rest): (Vec<&Held>, Vec<&Held>) = held.iter().partition(|h| off(h));
    let (alike, unlike): (Vec<&Held>, Vec<&Held>) = rest.into_iter().partition(|h| h.alike);
    let later = Later::of_swipes(alike.iter().map(|h| h.seen).collect());
    Some(Compared {
        later,
        both: alike.len(),
        device_alone: device_alone + unlike.len(),
        reference_alone: 0,
        reference_away,
        reference_off: off.len(),
    })
}

/// A pace, the ratio of counts that is usual at it, and how far from that one may be.
fn usual(pace: Option<Pace>, held: &[Held]) -> Option<(Option<Pace>, f64, f64)> {
    let ratios: Vec<f64> = held.iter().filter(|h| h.alike && h.seen.pace == pace).map(|h| h.ratio).collect();
    let usual = median(&ratios)?;
    Some((pace, usual, (OFF.0 * usual.abs()).max(OFF.1 * mad(&ratios, usual)?)))
}

/// The reference's report interval, nanoseconds: of all phases together, since in slow swipes of few counts it shows in no two reports;
/// where it shows nowhere, as its descriptor asks for. (Added after all slow swipes beside a reference of 800 counts an inch every 0.125 ms
/// had been said to have no partner.)
fn interval(step: &StepView, reference: &DeviceTrace) -> Option<f64> {
    let phases = step.phases.iter().filter(|p| !p.swipes.is_empty());
    let all = phases
        .flat_map(|p| fast_intervals(&Series::of_phase(reference, &p.span, None), Nanos(20_000_000), DUE));
    let asked = step.reference_interval.map(|interval| interval.0 as f64).filter(|interval| *interval > 0.0);
    median(&all.collect::<Vec<f64>>()).or(asked)
}

/// The reference's motion in a phase: its series and frame.
fn moved(reference: &DeviceTrace, span: &PhaseSpan, interval: f64) -> Option<(Series, Frame)> {
    let series = Series::of_phase(reference, span, Some(Nanos(interval as i64)));
    let frame = Frame::principal([&series], Nanos(20_000_000))?;
    Some((series, frame))
}

/// Share of a swipe's counts that lies outside its [`core()`] at either end.
const OUTSIDE: f64 = 0.01;

/// When a swipe moved, but for the first and the last of its counts: what trembles at a stop before it, or is left of the swipe
/// before, may begin it.
fn core(moved: &Moved, swipe: &Swipe) -> (i64, i64) {
    let samples = moved.series.samples.get(swipe.rows.clone()).unwrap_or_default();
    let along = swipe.along(samples, moved.frame);
    let outside = OUTSIDE * along.iter().sum::<f64>();
    // The first row by which more than that has come, from one end or the other.
    let reached = |counts: &mut dyn Iterator<Item = (usize, &f64)>| {
        let mut sum = 0.0;
        for (row, counts) in counts {
            sum += counts;
            if (sum - outside) * outside.signum() > 0.0 {
                return samples.get(row).map(|s| s.t);
            }
        }
        None
    };
    let begin = reached(&mut along.iter().enumerate()).unwrap_or(swipe.begin);
    (begin, reached(&mut along.iter().enumerate().rev()).unwrap_or(swipe.end).max(begin))
}

/// The times of a phase's swipes, each with half of the rest on either side of it.
fn with_rest(moved: &Moved, swipes: &[&Swipe]) -> Vec<(i64, i64)> {
    let cores: Vec<(i64, i64)> = swipes.iter().map(|s| core(moved, s)).collect();
    let wide = |&(begin, end): &(i64, i64)| {
        let before = cores.iter().map(|c| c.1).filter(|end| *end <= begin).max();
        let after = cores.iter().map(|c| c.0).filter(|begin| *begin >= end).min();
        let half = |rest: Option<i64>| rest.map_or(REST, |rest| (rest / 2).min(REST));
        let early = half(before.map(|end| begin.saturating_sub(end)));
        let late = half(after.map(|begin| begin.saturating_sub(end)));
        (begin.saturating_sub(early), end.saturating_add(late))
    };
    cores.iter().map(wide).collect()
}

/// Each swipe held against the reference; `None` for one that the reference did not see. `wide`: each [with its rest](with_rest).
fn each_later(test: &Moved, other: &Moved, swipes: &[&Swipe], wide: &[(i64, i64)]) -> Vec<Option<Held>> {
    let fits: Vec<Vec<f64>> = swipes.iter().map(|s| fits(test, other, s)).collect();
    let count = fits.iter().map(Vec::len).max().unwrap_or(0);
    let sum = |i: usize| fits.iter().filter_map(|f| f.get(i)).sum::<f64>();
    let best = (0..count).map(sum).max_by(|a, b| a.abs().total_cmp(&b.abs()));
    let sign = best.unwrap_or(1.0).signum();
    wide.iter().zip(&fits).map(|(span, fits)| later(test, other, *span, place(fits, sign)?, sign)).collect()
}

/// How well a swipe by itself fits the reference's motion, from [`FAR`] earlier to as much later, in steps of [`ROUGH`].
fn fits(test: &Moved, other: &Moved, swipe: &Swipe) -> Vec<f64> {
    let own = speeds(test, (swipe.begin, swipe.end), ROUGH);
    let around = (swipe.begin.saturating_sub(FAR), swipe.end.saturating_add(FAR));
    let against = speeds(other, around, ROUGH);
    let fit = |part: &[f64]| own.iter().zip(part).map(|(a, b)| a * b).sum();
    against.windows(own.len().max(1)).map(fit).collect()
}

/// The lag at which a swipe fits best, to within [`ROUGH`]; none if that lies at the end of the reach.
fn place(fits: &[f64], sign: f64) -> Option<i64> {
    let best = (0..fits.len()).max_by(|a, b| (sign * fits[*a]).total_cmp(&(sign * fits[*b])))?;
    let rough = FAR - best as i64 * ROUGH as i64;
    // What the fine look reaches anyway needs no other window.
    let shift = if rough.abs() > REACH / 2 { rough } else { 0 };
    (best > 0 && best + 1 < fits.len()).then_some(shift)
}

/// A swipe held against the reference's motion `shift` earlier: how much later it is, with that; its phase, way and pace
/// are not known here.
fn later(test: &Moved, other: &Moved, (from, to): (i64, i64), shift: i64, sign: f64) -> Option<Held> {
    let own = speeds(test, (from, to), GRID);
    let mut against = speeds(other, (from.saturating_sub(shift), to.saturating_sub(shift)), GRID);
    against.iter_mut().for_each(|v| *v *= sign);
    let reach = (REACH as f64 / GRID) as usize;
    let cutoff = (CUTOFF * 1e-9).min(SAMPLED / test.slot.max(other.slot));
    let found = spectrum::delay(&against, &own, reach, cutoff * GRID)?;
    let told: f64 = against.iter().map(|v| v * v).sum();
    let time = found.samples * GRID + shift as f64;
    let ratio = own.iter().sum::<f64>() / against.iter().sum::<f64>();
    let noise = found.uncertainty * GRID;
    let seen = Seen { t: time, weight: told, noise, phase: 0, way: Direction::Out, pace: None };
    Some(Held { seen, ratio, alike: found.correlation >= ALIKE })
}

/// Counts along in each step of the grid; empty if the span is longer than a transform.
fn speeds(moved: &Moved, span: (i64, i64), grid: f64) -> Vec<f64> {
    let count = ((span.1 - span.0) as f64 / grid).ceil();
    if !(count >= 1.0 && count <= spectrum::MOST as f64) {
        return Vec::new();
    }
    let mut out = vec![0.0; count as usize];
    let samples = &moved.series.samples;
    let from = samples.partition_point(|s| s.t < span.0);
    let mut last = from.checked_sub(1).map_or(f64::NEG_INFINITY, |i| samples[i].t as f64);
    for s in samples[from..].iter().take_while(|s| s.t <= span.1) {
        let t = s.t as f64;
        // What follows in its slot begins where the one before ends, however their stamps scatter. (First never more than a
        // slot earlier: reports that were late took their counts with them, early ones did not, and all swipes of a device
        // whose stamps scatter came later by a quarter of how far neighbours are off.)
        let begin = if t - last < NEXT * moved.slot { last } else { t - moved.slot };
        let begin = begin.min(t - 1.0).max(span.0 as f64);
        let (a, b) = ((begin - span.0 as f64) / grid, (t - span.0 as f64) / grid);
        let per = moved.frame.of(s).0 / (b - a).max(1e-9);
        for (i, cell) in out.iter_mut().enumerate().take(b.ceil() as usize).skip(a as usize) {
            *cell += per * (b.min(i as f64 + 1.0) - a.max(i as f64)).max(0.0);
        }
        last = t;
    }
    out
}

/// How much later strikes come. `None` without a reference, or if times cannot be judged.
pub fn strike_lag(step: &StepView) -> Option<Compared> {
    let reference = step.reference?;
    if step.coarse_clock() {
        return None;
    }
    let own = step.interval.map(|q| q.value).or(step.nominal_interval.map(|n| n.0 as f64)).unwrap_or(0.0);
    let other = step.reference_interval.map_or(0.0, |n| n.0 as f64);
    let (wait, wait_spread) = (0.5 * (own - other), own.hypot(other) / 12f64.sqrt());
    let mut all = Vec::new();
    let (mut device_alone, mut reference_alone) = (0, 0);
    for phase in step.phases.iter().filter(|p| p.span.phase.task == Task::Strikes) {
        let (test, other) = (strikes(step.trace, &phase.span), strikes(reference, &phase.span));
        let pairs = strikes::aligned(&test, &other);
        let missed = |times: &[i64], seen: &[usize]| {
            let own = times.iter().enumerate().filter(|(i, _)| seen.binary_search(i).is_err());
            own.filter(|(_, t)| told_alone(step, &phase.span, **t)).count()
        };
        let (tests, others): (Vec<usize>, Vec<usize>) = pairs.iter().copied().unzip();
        device_alone += missed(&test, &tests);
        reference_alone += missed(&other, &others);
        let times = pairs.into_iter().map(|(i, j)| (test[i], other[j]));
        let sure = times.filter(|(a, b)| !step.host.explain(*a.min(b), *a.max(b)));
        all.extend(sure.map(|(a, b)| Seen {
            t: (a - b) as f64 - wait,
            weight: 1.0,
            noise: wait_spread,
            phase: phase.span.number,
            way: Direction::Out,
            pace: None,
        }));
    }
    let later = Later::of_strikes(&all);
    Some(Compared {
        later,
        both: all.len(),
        device_alone,
        reference_alone,
        reference_away: 0,
        reference_off: 0,
    })
}

/// True for a strike whose partner would have been seen: it lies neither beyond the line of the phase nor in what this computer
/// has held up.
fn told_alone(step: &StepView, span: &PhaseSpan, t: i64) -> bool {
    let (from, to) = (t.saturating_sub(FAR), t.saturating_add(FAR));
    from >= span.begin.0 && to <= span.end.0 && !step.host.explain(from, to)
}

/// Times at which a button went down, bounces left out.
fn strikes(trace: &DeviceTrace, span: &PhaseSpan) -> Vec<i64> {
    let motion = &trace.motion;
    let (mut out, mut before): (Vec<i64>, u16) = (Vec::new(), 0);
    for row in motion.rows(span.begin, span.end) {
        let (t, now) = (motion.received_ns[row], motion.buttons[row]);
        let fresh = out.last().is_none_or(|last| t.saturating_sub(*last) > BOUNCE);
        if now & !before != 0 && fresh {
            out.push(t);
        }
        before = now;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Sample;
    use crate::swipes::tests::of_rows;
    use std::f64::consts::PI;

    fn seen(t: f64, weight: f64) -> Seen {
        Seen { t, weight, noise: 0.0, phase: 1, way: Direction::Out, pace: None }
    }

    /// Reckoned by hand: 22 / 17, and the root of 16 (2 · 1.294² + 2 · 0.706²) / (17 · 13) + 4.706² / (17 · 16); 289 / 65 - 1. Were
    /// all alike, the slow one alone would make a mean of 2 ± 1.1.
    #[test]
    fn a_swipe_that_tells_little_weighs_little() {
        let all = [(0.0, 4.0), (2.0, 4.0), (0.0, 4.0), (2.0, 4.0), (6.0, 1.0)].map(|(t, w)| seen(t, w));
        let later = Later::of(&all).unwrap();
        assert!((later.mean - 22.0 / 17.0).abs() < 1e-12, "{later:?}");
        assert!((later.uncertainty - 0.6293).abs() < 1e-4, "{later:?}");
        assert!((later.df - 3.4462).abs() < 1e-4, "{later:?}");
        assert!((later.spread - 2.4495).abs() < 1e-4 && later.count == 5, "{later:?}");
        assert_eq!(Later::of(&[seen(0.0, 1.0); 4]), None);
        assert_eq!(Later::of(&[seen(0.0, 0.0); 5]), None);
    }

    /// Ten slow swipes of 16 and twenty fast ones of 1, with scatter of 0.1 by weight: weighted it is (160 + 100) / 110 = 2.4, and
    /// the mean over all is 6.
    #[test]
    fn swipes_that_differ_count_alike() {
        let scatter = |i: usize| [0.13, -0.08, 0.02, -0.11, 0.05, 0.09, -0.1][i % 7];
        let slow = (0..10).map(|i| Seen { pace: Some(Pace::Slow), ..seen(16.0 + scatter(i), 1.0) });
        let fast = |base: f64| {
            (0..20).map(move |i| Seen {
                pace: Some(Pace::Fast),
                phase: 2,
                ..seen(base + 0.4 * scatter(i), 5.0)
            })
        };
        let later = Later::of_swipes(slow.clone().chain(fast(1.0)).collect()).unwrap();
        assert!(later.differ && (later.mean - 6.0).abs() < 0.05, "{later:?}");
        let [low, high] = later.paces.unwrap();
        assert_eq!((low.0, high.0), (Pace::Fast, Pace::Slow));
        assert!((low.1 - 1.0).abs() < 0.1 && (high.1 - 16.0).abs() < 0.1, "{later:?}");
        let same = Later::of_swipes(slow.chain(fast(16.0)).collect()).unwrap();
        assert!(!same.differ && same.paces.is_none() && same.uncertainty < 0.02, "{same:?}");
    }

    /// Slow swipes that scatter far more than their weights say are not all the uncertainty of a mean that fast ones make: ±1 of
    /// 16 fast ones is 0.25 of their mean, and ±20 of four with a hundredth of the weight each adds 20 / 400 / 2.
    #[test]
    fn what_scatters_more_than_its_weight_says_widens_the_mean_by_its_own_part_only() {
        let turn = |i: usize| if i.is_multiple_of(2) { 1.0 } else { -1.0 };
        let fast = (0..16).map(|i| seen(turn(i), 1.0));
        let all: Vec<Seen> = fast.chain((0..4).map(|i| seen(20.0 * turn(i), 0.01))).collect();
        let later = Later::of(&all).unwrap();
        let wanted = (16.0 / 15.0f64 / 16.0 + 4.0 * (20.0 * 0.01 / 16.0f64).powi(2)).sqrt();
        assert!(
            (later.uncertainty / wanted - 1.0).abs() < 0.01 && (later.df - 15.0).abs() < 0.1,
            "{later:?}"
        );
    }

    /// Ten strikes on two devices of 1 ms in step: all differ alike, by 0.3 ms that is the polls' and no lag. 1.96 / √(6 · 10) ms.
    #[test]
    fn strikes_that_all_differ_alike_are_no_surer_than_their_polls() {
        let noise = (2.0f64 / 12.0).sqrt();
        let later = Later::of_strikes(&[Seen { noise, ..seen(0.3, 1.0) }; 10]).unwrap();
        let q = later.quantity();
        assert!((q.high.unwrap() - q.value - 0.2530).abs() < 1e-4 && q.low.unwrap() > 0.0, "{q:?}");
        let wide: Vec<Seen> = (0..10).map(|i| Seen { noise, ..seen(f64::from(i), 1.0) }).collect();
        assert_eq!(Later::of_strikes(&wide), Later::of(&wide));
    }

    /// Two devices in one steady motion, a report each millisecond, of which one's stamps are late by turns: by 0 and 0.2 ms.
    #[test]
    fn stamps_that_scatter_make_a_motion_later_by_their_mean_alone() {
        let ms = 1_000_000;
        let middle = |late: i64| {
            let samples = (0..40).map(|i| Sample {
                t: ms * i + late * (i % 2),
                x: 10,
                y: 0,
                timed: true,
                idle_before: 0,
            });
            let series = Series { samples: samples.collect(), ..Series::default() };
            let moved = Moved { series: &series, frame: Frame { cos: 1.0, sin: 0.0 }, slot: 1e6 };
            let all = speeds(&moved, (-10 * ms, 60 * ms), GRID);
            let at = |(i, v): (usize, &f64)| (i as f64 + 0.5) * GRID * v;
            all.iter().enumerate().map(at).sum::<f64>() / all.iter().sum::<f64>()
        };
        let later = middle(200_000) - middle(0);
        assert!((later - 100_000.0).abs() < 4_000.0, "{later}");
    }

    /// A swipe that meets its stop at half its peak speed, seen by two devices of 8 ms whose polls are apart by so much all
    /// session long: over any time of the stop between polls there is no lag.
    #[test]
    fn polls_in_step_make_no_lag_of_a_hard_stop() {
        let place = |t: f64| (1.0 - (PI * (t / 0.3).clamp(0.0, 5.0 / 6.0)).cos()) * 1e5;
        let polled = |first: i64| {
            let polls = (-20..60).map(|k| first + 8_000_000 * k);
            let counts = |t: i64| (place(t as f64 * 1e-9) - place((t - 8_000_000) as f64 * 1e-9)) as i32;
            let samples = polls.map(|t| Sample { t, x: counts(t), y: 0, timed: true, idle_before: 0 });
            Series { samples: samples.filter(|s| s.x != 0).collect(), ..Series::default() }
        };
        for apart in [2_000_000, 4_000_000, 6_000_000] {
            let times = (0..16).map(|i| {
                let (one, two) = (polled(500_000 * i), polled(500_000 * i + apart));
                let frame = Frame { cos: 1.0, sin: 0.0 };
                let [test, other] = [&one, &two].map(|series| Moved { series, frame, slot: 8e6 });
                later(&test, &other, (-REACH, 250_000_000 + REACH), 0, 1.0).unwrap().seen.t
            });
            let mean = times.sum::<f64>() / 16.0;
            assert!(mean.abs() < 20_000.0, "polls {apart} ns apart: {mean} ns");
        }
    }

    /// Two swipes of 300 mm in 4 s, of minimum jerk, there and back with a rest of half a second; the second device 15 ms later. Swipes are
    /// found where they move by a fifth of their peak; the second begins with what is left of the first.
    #[test]
    fn soft_ends_and_what_is_left_of_the_swipe_before_leave_a_lag_as_it_is() {
        let jerk = |t: f64| t.powi(3) * (10.0 - 15.0 * t + 6.0 * t * t);
        let part = |t: f64| jerk((t / 4.0).clamp(0.0, 1.0));
        let place = |t: f64| 9449.0 * (part(t - 1.0) - part(t - 5.5));
        let device = |late: f64| {
            let counts = |i: i64| place(i as f64 * 1e-3 - late).round() as i32;
            let moved = |i: i64| counts(i) - counts(i - 1);
            let samples = (0..11_000).map(|i| Sample {
                t: i * 1_000_000,
                x: moved(i),
                y: 0,
                timed: true,
                idle_before: 0,
            });
            Series { samples: samples.filter(|s| s.x != 0).collect(), ..Series::default() }
        };
        let (test, other) = (device(0.015), device(0.0));
        let frame = Frame { cos: 1.0, sin: 0.0 };
        let swipe = |direction, from: i64, to: i64| {
            let row = |t: i64| test.samples.partition_point(|s| s.t < t * 1_000_000);
            let (begin, end) = (from * 1_000_000, to * 1_000_000);
            Swipe { begin, end, ..of_rows(direction, row(from)..row(to)) }
        };
        let both = [swipe(Direction::Out, 1_600, 4_400), swipe(Direction::Back, 4_800, 8_900)];
        let both: Vec<&Swipe> = both.iter().collect();
        let [test, other] = [&test, &other].map(|series| Moved { series, frame, slot: 1e6 });
        let wide = with_rest(&test, &both);
        let times = each_later(&test, &other, &both, &wide);
        let times: Vec<f64> = times.into_iter().map(|t| t.unwrap().seen.t).collect();
        assert!(times.iter().all(|t| (t - 15e6).abs() < 0.5e6), "{times:?} {wide:?}");
    }

    #[test]
    fn what_most_keep_has_a_limit_from_59_on() {
        let times: Vec<f64> = (1..=93).map(f64::from).collect();
        assert_eq!(
            (surely(&times[..58]), surely(&times[..59]), surely(&times)),
            (None, Some(59.0), Some(92.0))
        );
    }
}
