//! Whether firmware cuts off fractions of a count: why slow swipes count less.
//!
//! A fixed part of a count is then lost in each report, half of one on average, so that a swipe lacks what its reports are many:
//!
//! ```text
//! L_pace = L − f n_pace      n: the reports that a swipe has time for, f: counts lost in each
//! ```
//!
//! It is told by either of two signs. (1) f is between [`ANY`], the medium pace lies where that foretells it, and the counts of
//! neighbouring reports show that what rounding leaves is not carried on ([`second_difference`]). (2) f is [`HALF`] of a count, and
//! the medium pace lies nearer to that than to a gain that changes with the logarithm of the speed, and at 5 % surely not there
//! ([`SURE`]). The logarithm stands for all laws of the speed itself: of what is between the slow and the fast pace it has 57 % at the
//! medium one (at 0.35, 1 and 2.2 m/s), a straight line 35 %, a loss in each report 77 %.
//!
//! A pace of fewer counts than reports loses more than half of what it has and less than half a count in each report: then f is by
//! the medium and the fast pace, and the slow one must lie as low as foretold or lower. Slow swipes may have findings, since their
//! steady ones and twos look like motion told again; the counts of the others are of clean swipes.
//!
//! Assumes that reports come as the device's clock has them. Told where medium swipes hold three counts a report and more: with fewer
//! the part that is lost is another one (at 8 kHz of 400 to 800 counts an inch). (The second sign was added after 95 % of such devices had been of unknown cause: at 1 ms and less
//! frames beat against reports, and their steps cover the rounding; 5 % and slow swipes with findings, after a quarter had been.)
//! Cost: O(samples).

use crate::families::key;
use crate::lengths::{Lengths, Mean};
use crate::scale::LEAST;
use crate::series::Sample;
use crate::stats::median;
use crate::step::StepView;
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// Counts that cutting off loses in each report: half a count on average, a quarter where the ratio of the scaling is a half, and
/// up to a whole one; on two axes at once for a device that lies askew.
const ANY: (f64, f64) = (0.2, 1.5);
/// Where nothing else is known of the ratio: half a count, and more in reports of so few that all is lost.
const HALF: (f64, f64) = (0.45, 0.75);
/// With the first sign the medium pace lies within this share of the change, and three standard uncertainties of it are this much:
/// what is left of the 42 % between a loss in each report and a straight line, nearly.
const NEAR: (f64, f64) = (0.15, 0.25);
/// Quantile of the normal distribution at which the medium pace is not where the logarithm has it.
const SURE: f64 = 1.645;

/// A device that carries its fractions on reports `true + q_t − q_(t−1)`, with q even over one count: the second
/// differences of its counts vary by 20/12 = 1.67 counts², and by more with every noise. One that cuts them off reports
/// `true − q_t`: 6/12, and up to 20/12 · r² more where the firmware scales whole counts of the sensor by r (0.73 in all
/// at r = 0.37, 1.25 at 0.67). What lies above cannot be told.
const NOT_CARRIED: f64 = 1.25;
/// Second differences needed: their variance is then known to a seventh.
const LEAST_DIFFERENCES: usize = 100;
/// And the counts that they are of: at fewer a report is left out now and then, at more the noise of a sensor, which
/// grows with speed (1 % typical by data sheets), covers the rounding.
const COUNTS: (f64, f64) = (1.5, 8.5);

/// Fractions that are cut off.
#[derive(Clone, Copy, Debug)]
pub(super) struct CutOff {
    /// Counts lost in each report.
    pub(super) lost: f64,
    not_carried: bool,
}

impl CutOff {
    /// What shows it, for a person.
    pub(super) fn because(self) -> &'static str {
        if self.not_carried {
            "a part of a count is lost in each report, and fractions are not carried on: they are cut off"
        } else {
            "half a count is lost in each report at all paces: fractions are cut off"
        }
    }
}

/// Swipes of one pace: the mean of their counts, and the reports that one has time for.
#[derive(Clone, Copy, Debug)]
struct AtPace {
    mean: Mean,
    reports: f64,
}

impl AtPace {
    /// True if there is a count for each report.
    fn is_full(&self) -> bool {
        self.mean.counts >= self.reports
    }

    /// Of the clean swipes of a pace; `None` with fewer than three.
    fn clean(step: &StepView, lengths: &Lengths, pace: Pace) -> Option<AtPace> {
        let mean = lengths.mean(|p| p == Some(pace)).filter(|m| m.n >= LEAST)?;
        let (_, reports) = lengths_and_reports(step, pace, Some(&lengths.keys()));
        Some(AtPace { mean, reports: median(&reports)? })
    }

    /// Of all of a pace; `None` with fewer than three.
    fn any(step: &StepView, pace: Pace) -> Option<AtPace> {
        let (lengths, reports) = lengths_and_reports(step, pace, None);
        let mean = Mean::of_all(&lengths).filter(|mean| mean.n >= LEAST)?;
        Some(AtPace { mean, reports: median(&reports)? })
    }
}

/// Counts of each swipe of a pace and the reports that it has time for: of these swipes, or of all.
fn lengths_and_reports(
    step: &StepView,
    pace: Pace,
    keys: Option<&BTreeSet<(u32, u32)>>,
) -> (Vec<f64>, Vec<f64>) {
    let here = step.swipes().filter(|(p, s)| {
        p.span.phase.pace == Some(pace) && keys.is_none_or(|keys| keys.contains(&key(p, s)))
    });
    here.map(|(_, s)| (s.swipe.along, (s.swipe.end - s.swipe.begin) as f64 / step.slot())).unzip()
}

/// Whether these lengths, that rise with speed, do so because fractions are cut off; `rough`: their [`second_difference`].
pub(super) fn find(step: &StepView, lengths: &Lengths, rough: Option<f64>) -> Option<CutOff> {
    let clean = |pace| AtPace::clean(step, lengths, pace);
    let (medium, fast) = (clean(Pace::Medium)?, clean(Pace::Fast)?);
    let slow = clean(Pace::Slow).or_else(|| AtPace::any(step, Pace::Slow))?;
    let base = if slow.is_full() { slow } else { Some(medium).filter(AtPace::is_full)? };
    let lost = (fast.mean.counts - base.mean.counts) / (base.reports - fast.reports);
    let unsure =
        2.0 * base.mean.uncertainty.hypot(fast.mean.uncertainty) / (base.reports - fast.reports).abs();
    let within = |range: (f64, f64)| (range.0 - unsure..=range.1 + unsure).contains(&lost);

    // Where the medium pace lies between the slow and the fast one, and where it should.
    let change = fast.mean.counts - slow.mean.counts;
    let share = (medium.mean.counts - slow.mean.counts) / change;
    let [own, of_fast, of_slow] = [medium, fast, slow].map(|at| at.mean.uncertainty);
    let doubt = own.hypot(share * of_fast).hypot((1.0 - share) * of_slow) / change.abs();
    let by_reports = (slow.reports - medium.reports) / (slow.reports - fast.reports);
    let by_logarithm = (slow.reports / medium.reports).ln() / (slow.reports / fast.reports).ln();
    let apart = by_reports - by_logarithm;
    let beyond = share - by_reports;
    // On the far side of it no law of the speed lies, and where slow reports hold few counts it may be further there.
    let nearer = -beyond <= 0.5 * apart && (!slow.is_full() || beyond <= apart);

    let not_carried = rough.is_some_and(|rough| rough < NOT_CARRIED)
        && slow.is_full()
        && within(ANY)
        && beyond.abs() <= NEAR.0
        && 3.0 * doubt <= NEAR.1;
    let half = within(HALF) && nearer && SURE * doubt - beyond <= apart;
    (not_carried || half).then_some(CutOff { lost, not_carried })
}

/// Mean square of the second differences of the counts in neighbouring reports of slow swipes, on the axis that moves
/// most. Slow motion itself adds next to nothing: at 0.5 m/s over 0.3 m the counts of a report curve by less than 0.1.
pub(super) fn second_difference(step: &StepView, lengths: &Lengths) -> Option<f64> {
    let (keys, frame) = (lengths.keys(), step.frame?);
    let on_x = frame.cos.abs() >= frame.sin.abs();
    let (mut squares, mut n) = (0.0, 0usize);
    for (phase, swipe) in
        step.swipes().filter(|(p, s)| p.span.phase.pace == Some(Pace::Slow) && keys.contains(&key(p, s)))
    {
        let samples = phase.series.samples.get(swipe.swipe.rows.clone()).unwrap_or_default();
        for w in samples.windows(3) {
            let [a, b, c] = w else { continue };
            let next = |a: i64, b: i64| ((b - a) as f64) < 1.5 * step.slot();
            let of = |s: &Sample| f64::from(if on_x { s.x } else { s.y });
            let fits = [a, b, c].iter().all(|s| (COUNTS.0..=COUNTS.1).contains(&of(s).abs()));
            if next(a.t, b.t) && next(b.t, c.t) && fits {
                squares += (of(a) - 2.0 * of(b) + of(c)).powi(2);
                n += 1;
            }
        }
    }
    (n >= LEAST_DIFFERENCES).then(|| squares / n as f64)
}
