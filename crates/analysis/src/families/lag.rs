//! Lag: motion reported later than the reference's, see [`crate::pair`].
//!
//! Needs a reference device on the same carriage; required if there is one and the plan has a tolerance (ms, of the mean).
//! Without that the estimate is given and the outcome is *not examined*: what is fast enough is the user's to say. What is told
//! includes the sensor's wait for its next frame, half a frame on the average.
//!
//! Swipes without a partner are named. They may be as late as is looked for at all (350 ms, [`FAR`]), so there is no pass if
//! that would lift the mean over the tolerance, nor if they are more than [`A_FEW`]; and no fail if they are most.
//!
//! Those in which the reference was away from the computer, as the file says, and those in which both did not count what
//! they do in the others, are left out and named. (Added after a lag far inside its tolerance had been left open for two
//! swipes of the first kind.)
//!
//! Spread is told beside what the measurement alone makes of it, 0.02 to 0.2 ms in simulated sessions of
//! any interval: swipes that scatter by 1 ms show, whatever their order. It is not judged: how even is even enough is the user's to say.
//!
//! Smallest found (its interval is clear of none): with 20 swipes 0.1 ms, or a twentieth of the longer report interval if
//! that is more. (First written as 0.1 ms and as the interval's half width: at 8 ms that is 0.06 to 0.15 ms, and one session
//! in five did not tell 0.1 ms from none.) Largest: 350 ms. (First 100 ms, and later ones were left out in silence.) Cost: see
//! there.

use super::{Detector, limits, not_examined, verdict};
use crate::decision::inside;
use crate::pair::{Compared, FAR, LEAST, Later, lag};
use crate::step::StepView;
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome, count};
use slipgauge_trace::session::Pace;

pub(super) struct Lag;

/// A share without a partner that chance may make: as common for a share as 95 % is, no source.
const A_FEW: f64 = 0.05;

/// True if a tolerance was asked for that can be held against something.
pub(super) fn asked(step: &StepView, family: Family) -> bool {
    step.reference.is_some() && limits(step, family) != [None, None]
}

/// Judges a mean against the plan's tolerance, in ms.
pub(super) fn judged(step: &StepView, family: Family, compared: &Compared, one: &str) -> FamilyVerdict {
    let what = &format!("{one}s");
    let Some(later) = compared.later else {
        let why = format!("fewer than five {what} that both devices saw alike{}", alone(compared, what));
        let more = count(LEAST.saturating_sub(compared.both).max(1), &format!("more {one}"));
        let to_settle = Some(format!("{more} that both devices report"));
        return FamilyVerdict { to_settle, ..not_examined(step, family, &why) };
    };
    let tolerance = limits(step, family);
    let (mean, u) = (later.mean * 1e-6, later.uncertainty * 1e-6);
    let mut decided = inside("mean against the reference", "ms", mean, u, later.df, tolerance, step.looks);
    let untold = decided.verdict == Outcome::NotExamined;
    let open = is_open(compared, mean, tolerance, decided.verdict);
    if open {
        decided.verdict = Outcome::Inconclusive;
    }
    let estimate = Some(later.quantity().scaled(1e-6));
    let because = format!(
        "{mean:+.2} ms against the reference (half a report interval of either taken off) in {} {what}, {}{}{}",
        later.count,
        scatter(&later),
        alone(compared, what),
        if untold { "; no tolerance to hold it against" } else { "" }
    );
    let mut out = verdict(family, vec![Criterion { estimate, ..decided }], 0, because);
    out.smallest_found = Some(2.0 * u);
    if out.verdict == Outcome::Fail {
        out.cause = Some(Cause::Unknown);
    }
    if out.verdict == Outcome::Inconclusive {
        out.to_settle =
            Some(if open { format!("{what} that both devices report") } else { format!("more {what}") });
    }
    out
}

/// True if those without a partner keep a verdict from being one.
fn is_open(compared: &Compared, mean: f64, [low, high]: [Option<f64>; 2], decided: Outcome) -> bool {
    let (both, alone) = (compared.both as f64, compared.alone() as f64);
    // The mean if all of them were as late, or as early, as is looked for.
    let with = |far: f64| (mean * both + far * alone) / (both + alone);
    let far = FAR as f64 * 1e-6;
    match decided {
        _ if alone == 0.0 => false,
        Outcome::Pass => {
            let outside = high.is_some_and(|h| with(far) > h) || low.is_some_and(|l| with(-far) < l);
            outside || alone > A_FEW * (both + alone)
        }
        Outcome::Fail => alone > both,
        _ => false,
    }
}

/// How they scatter. What 95 % of all keep has no upper limit with fewer than 59; the largest is told in any case.
fn scatter(later: &Later) -> String {
    let [least, largest] = later.range.map(|t| t * 1e-6);
    let differ = match later.paces {
        Some([low, high]) => format!("which differ (mean of {}, of {}), ", paced(low), paced(high)),
        None if later.differ => "which differ, ".to_owned(),
        None => String::new(),
    };
    let most = match later.surely {
        Some(surely) => {
            format!("95 % at most {:.2} ms ({:.2} ms at 95 % confidence)", later.most * 1e-6, surely * 1e-6)
        }
        None => "too few for a limit that 95 % keep (that takes 59)".to_owned(),
    };
    let (spread, noise) = (later.spread * 1e-6, later.noise * 1e-6);
    format!(
        "{differ}spread {spread:.2} ms (the measurement's own {noise:.2} ms), from {least:+.2} to {largest:+.2} ms, {most}"
    )
}

fn paced((pace, mean): (Pace, f64)) -> String {
    let pace = match pace {
        Pace::Slow => "slow",
        Pace::Medium => "medium",
        Pace::Fast => "fast",
        Pace::Unknown => "other",
    };
    format!("{pace} ones {:+.2} ms", mean * 1e-6)
}

/// Names those without a partner.
fn alone(compared: &Compared, what: &str) -> String {
    let alone = compared.alone();
    let left = |n: usize, why: &str| (n > 0).then(|| format!("{n} in which {why}"));
    let away = left(compared.reference_away, "the reference was away from this computer");
    let off = left(compared.reference_off, "the two did not count in proportion");
    let out: Vec<String> = away.into_iter().chain(off).collect();
    let out = if out.is_empty() { String::new() } else { format!("; left out: {}", out.join(", ")) };
    if alone == 0 {
        return out;
    }
    let by_other = match compared.reference_alone {
        0 => String::new(),
        n => format!(", {n} of them told by the reference only"),
    };
    let all = compared.both + alone;
    format!("; of {all} {what}, {alone} without a partner within {} ms{by_other}{out}", FAR / 1_000_000)
}

impl Detector for Lag {
    fn family(&self) -> Family {
        Family::Lag
    }

    fn required(&self, step: &StepView) -> bool {
        asked(step, Family::Lag)
    }

    fn detect(&self, _: &StepView, _: &mut Vec<Finding>) {}

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.reference.is_none() {
            return not_examined(step, Family::Lag, "no reference device");
        }
        match lag(step, findings) {
            Some(compared) => judged(step, Family::Lag, &compared, "swipe"),
            None => not_examined(step, Family::Lag, "no motion, or stamps too coarse"),
        }
    }
}
