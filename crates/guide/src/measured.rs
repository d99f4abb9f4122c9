//! The travel as a sound device measures it: counts of one travel over its resolution.
//!
//! ```text
//! D = mean counts of the clean slow swipes / resolution
//! u²(D)/D² = u²(mean)/mean²  +  u²(R)/R²  +  (a/√3)²
//! ```
//!
//! u(mean): what the scatter of the stops leaves ([`slipgauge_analysis::lengths`]). R: the nominal of the step, which a
//! sensor holds to about 1 % (typical, by the data sheet of a sensor of the better kind: [`NOMINAL`]), unless it was
//! itself measured. a: arc and yaw without a straight edge. Of several steps the one with the least scatter is taken;
//! it must have three clean slow swipes. A device that fails in what touches a swipe's counts is no measure. What
//! that session says of its own travel is not used.

use crate::travel::{From, Travel};
use slipgauge_analysis::lengths::Lengths;
use slipgauge_analysis::scale::{self, LEAST, straight_edge};
use slipgauge_analysis::verdict::{Family, Finding, Outcome};
use slipgauge_analysis::{Judgement, judge};
use slipgauge_trace::session::{Pace, Step};
use slipgauge_trace::{CountsPerMetre, Recording};

/// Standard uncertainty of a nominal resolution, relative: "1 % typical" in the data sheet of a sensor for 12000 counts
/// per inch (PMW3360); cheaper ones state none.
pub const NOMINAL: f64 = 0.01;

/// A resolution that was itself measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Its value.
    pub resolution: CountsPerMetre,
    /// Its standard uncertainty, relative.
    pub uncertainty: f64,
}

/// Why a recording is no measure of the travel.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MeasuredError {
    /// Its device fails.
    #[error(
        "{name} shows no sound device (it fails in {families}), so it is no measure of the travel: use one that passes, \
         or a ruler (--travel)"
    )]
    Faulty {
        /// The recording.
        name: String,
        /// In what it fails.
        families: String,
    },
    /// No step can be used.
    #[error(
        "{name} has no step with a nominal resolution and {LEAST} clean slow swipes, so it does not tell the travel: \
         record some on the same stops (--step 1=NUMBER --phase slow=30sx10), or use a ruler (--travel)"
    )]
    Nothing {
        /// The recording.
        name: String,
    },
    /// The travel that comes out is none.
    #[error(
        "by {name} the stops are {millimetres} mm apart, which is no travel of a hand: is its nominal resolution right?"
    )]
    Absurd {
        /// The recording.
        name: String,
        /// What came out.
        millimetres: String,
    },
}

/// The travel by a recording of a sound device on the same stops. `known`: its resolution, if it was measured.
///
/// # Errors
/// [`MeasuredError`] says what to do instead.
pub fn travel(recording: &Recording, name: &str, known: Option<Known>) -> Result<Travel, MeasuredError> {
    let judgement = judge(recording, name);
    let faults = failed(&judgement);
    if !faults.is_empty() {
        return Err(MeasuredError::Faulty { name: name.to_owned(), families: faults.join(", ") });
    }
    let best = candidates(&judgement, known).min_by(|a, b| a.1.total_cmp(&b.1));
    let (millimetres, random, relative) =
        best.ok_or_else(|| MeasuredError::Nothing { name: name.to_owned() })?;
    // 5 m is more than any desk; a millimetre is a jolt.
    if !(1.0..5e3).contains(&millimetres) {
        let millimetres = format!("{millimetres:.1}");
        return Err(MeasuredError::Absurd { name: name.to_owned(), millimetres });
    }
    let um = (1e3 * millimetres).round() as i64;
    let uncertainty_um = (1e3 * millimetres * random.hypot(relative)).round() as i64;
    Ok(Travel { um, uncertainty_um, from: From::File(name.to_owned()) })
}

/// Families that fail and touch the counts of a swipe.
fn failed(judgement: &Judgement) -> Vec<&'static str> {
    let of_counts = |family: Family| {
        !matches!(
            family,
            Family::Drift
                | Family::Resolution
                | Family::GainChange
                | Family::ReportInterval
                | Family::Lag
                | Family::StrikeLag
        )
    };
    let all = judgement.verdict.steps.iter().flat_map(|step| &step.families);
    let failed = all.filter(|f| f.verdict == Outcome::Fail && of_counts(f.family));
    let mut words: Vec<&'static str> = failed.map(|f| f.family.words()).collect();
    words.dedup();
    words
}

/// Of each step: the travel in millimetres, its relative uncertainty from the stops, and the rest of it.
fn candidates(judgement: &Judgement, known: Option<Known>) -> impl Iterator<Item = (f64, f64, f64)> {
    judgement.steps.iter().filter_map(move |step| {
        let own: Vec<Finding> =
            judgement.verdict.findings.iter().filter(|f| f.step == step.id).cloned().collect();
        let lengths = Lengths::of(step, &own)?;
        let mean = lengths.mean(|pace| pace == Some(Pace::Slow)).filter(|mean| mean.n >= LEAST)?;
        let nominal = || step.planned.and_then(Step::nominal).map(|resolution| (resolution, NOMINAL));
        let (resolution, uncertainty) =
            known.map(|known| (known.resolution, known.uncertainty)).or_else(nominal)?;
        let arc = scale::arc(straight_edge(step.plan));
        let millimetres = mean.counts / resolution.per_millimetre();
        Some((millimetres, mean.uncertainty / mean.counts, uncertainty.hypot(arc)))
    })
}
