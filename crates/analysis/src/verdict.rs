//! The verdict file, version 1, specified on the types that are written.
//!
//! SI units; times in nanoseconds since the session's start; indices count from 1. A quantity with an uncertainty is
//! always a [`Quantity`]. Keys may be added in later versions; none changes its meaning.

use crate::control::Control;
use crate::live::LiveNote;
use serde::Serialize;
use serde_json::{Map, Value};

/// The version of the format.
pub const VERSION: u32 = 1;

/// Version of detectors and tolerances together: changes whenever the same session may be judged differently.
pub const RULES: &str = "20";

/// Confidence of all two-sided intervals.
pub const CONFIDENCE: f64 = 0.95;

/// A number with its noun: 1 swipe, 2 swipes.
pub fn count(n: impl TryInto<u64>, noun: &str) -> String {
    let n = n.try_into().unwrap_or(u64::MAX);
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// What may be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Shown to be inside the tolerance.
    Pass,
    /// Shown to be outside.
    Fail,
    /// Neither shown.
    Inconclusive,
    /// Not looked at.
    NotExamined,
}

/// A value with its 95 % interval. A side that is not known is `None` (`null` in the file).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Quantity {
    /// Best estimate.
    pub value: f64,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

impl Quantity {
    /// Value plus or minus a half width.
    pub fn around(value: f64, half_width: f64) -> Quantity {
        Quantity { value, low: Some(value - half_width), high: Some(value + half_width) }
    }

    /// All three multiplied by a positive factor.
    pub fn scaled(self, factor: f64) -> Quantity {
        let by = |v: f64| v * factor;
        Quantity { value: by(self.value), low: self.low.map(by), high: self.high.map(by) }
    }
}

/// Fault families, as spelled in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Reports missing while the device moves.
    Dropout,
    /// The sensor stops seeing motion above some speed or acceleration.
    TrackingLoss,
    /// Motion reported that the hand did not make.
    SpinOut,
    /// Motion reported after the stop.
    CarryOn,
    /// Counts with the device still.
    Drift,
    /// Counts for the same travel change with speed.
    GainChange,
    /// Deltas clip at what the report or the firmware can hold.
    ReportCeiling,
    /// The step is not what it says.
    Resolution,
    /// The report interval differs from the nominal, wanders, or has structure.
    ReportInterval,
    /// Near-axis motion is bent onto the axis.
    Straightening,
    /// First motion after rest comes late or short.
    WakeUp,
    /// Motion reported later than the reference's.
    Lag,
    /// Button reported later than the reference's.
    StrikeLag,
}

impl Family {
    /// All families, in the order in which they are listed.
    pub const ALL: [Family; 13] = [
        Family::Dropout,
        Family::TrackingLoss,
        Family::SpinOut,
        Family::CarryOn,
        Family::Drift,
        Family::GainChange,
        Family::ReportCeiling,
        Family::Resolution,
        Family::ReportInterval,
        Family::Straightening,
        Family::WakeUp,
        Family::Lag,
        Family::StrikeLag,
    ];

    /// Its name for a person.
    pub fn words(self) -> &'static str {
        match self {
            Family::Dropout => "dropout",
            Family::TrackingLoss => "tracking loss",
            Family::SpinOut => "spin-out",
            Family::CarryOn => "carry-on",
            Family::Drift => "drift while still",
            Family::GainChange => "gain change with speed",
            Family::ReportCeiling => "report ceiling",
            Family::Resolution => "resolution",
            Family::ReportInterval => "report interval",
            Family::Straightening => "straightening",
            Family::WakeUp => "wake-up",
            Family::Lag => "lag",
            Family::StrikeLag => "strike lag",
        }
    }
}

/// Where a fault comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The sensor or its optics.
    Sensor,
    /// The device's program.
    Firmware,
    /// The width of the report's fields.
    ReportFormat,
    /// Cable, radio or bus.
    Link,
    /// The device saves power.
    PowerSaving,
    /// This computer.
    Host,
    /// The pad or desk.
    Surface,
    /// The person.
    Operator,
    /// The resolution step was changed.
    StepChange,
    /// Cannot be told from this session.
    Unknown,
}

/// Out or back along the swipe's axis. *Out* is the direction of the session's first swipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// As the first swipe.
    Out,
    /// The other way.
    Back,
}

impl Direction {
    /// Place in what is kept for each direction: out, back.
    pub(crate) fn index(self) -> usize {
        usize::from(self == Direction::Back)
    }
}

/// One fault event.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Its family.
    pub family: Family,
    /// What kind within the family, in one word.
    pub kind: &'static str,
    /// Resolution step.
    pub step: u32,
    /// Phase, numbered in file order.
    pub phase: u32,
    /// Swipe within the phase; `None` for a phase at rest.
    pub swipe: Option<u32>,
    /// Index of the device.
    pub device: usize,
    /// Direction of the swipe.
    pub direction: Option<Direction>,
    /// Begin of the event.
    pub begin_ns: i64,
    /// End of the event.
    pub end_ns: i64,
    /// How large.
    pub size: f64,
    /// Unit of the size.
    pub unit: &'static str,
    /// Chance that a sound device shows at least one such event in this session; `None` where it was not computed: where
    /// an event is told by conditions (reports missing at speed, counts that stop, a level that is held, counts at the top
    /// of the field) that a sound device does not meet by chance, there is no distribution to take a tail of.
    pub p_false: Option<f64>,
    /// Where it comes from.
    pub cause: Cause,
    /// Numbers that a reader can check against the raw lines.
    pub evidence: Map<String, Value>,
}

/// One criterion of a family, held against a tolerance.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Criterion {
    /// What is held against the tolerance.
    pub what: &'static str,
    /// The outcome.
    pub verdict: Outcome,
    /// Unit of estimate and tolerance.
    pub unit: &'static str,
    /// The estimate.
    pub estimate: Option<Quantity>,
    /// Lower and upper limit.
    pub tolerance: [Option<f64>; 2],
}

/// A family at one step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FamilyVerdict {
    /// The family.
    pub family: Family,
    /// The outcome: that of the deciding criterion.
    pub verdict: Outcome,
    /// True if a step does not pass without it.
    pub required: bool,
    /// Unit of estimate and tolerance.
    pub unit: &'static str,
    /// The deciding criterion's estimate.
    pub estimate: Option<Quantity>,
    /// The deciding criterion's limits.
    pub tolerance: [Option<f64>; 2],
    /// Smallest size that this session could have shown, in the findings' unit.
    pub smallest_found: Option<f64>,
    /// Number of findings.
    pub findings: usize,
    /// Where the faults come from, if any.
    pub cause: Option<Cause>,
    /// The reason, in one sentence.
    pub because: String,
    /// What would settle an inconclusive outcome, or examine what was not.
    pub to_settle: Option<String>,
    /// All criteria.
    pub criteria: Vec<Criterion>,
}

/// Families that exceed their tolerances together, though none of them does so by itself; or tracking loss alone, where most of
/// what false motion was told of has lost track besides.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    /// The families; which of them exceeds its own tolerance is not known.
    pub families: Vec<Family>,
    /// The share of fast swipes that show any of them, held against the sum of their tolerances.
    pub criterion: Criterion,
    /// That share is no less than this: the limit that a fail asks for.
    pub at_least: f64,
    /// The reason, in one sentence.
    pub because: String,
}

impl Together {
    /// Its families for a person.
    pub fn words(&self) -> String {
        let words: Vec<&str> = self.families.iter().map(|f| f.words()).collect();
        match words.split_last() {
            Some((last, first)) if !first.is_empty() => format!("{} and {last} together", first.join(", ")),
            _ => words.concat(),
        }
    }
}

/// A family that exceeds its tolerance over several steps, though at none of them by itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OverSteps {
    /// The family.
    pub family: Family,
    /// The steps: all but those at which it fails.
    pub steps: Vec<u32>,
    /// The share of their fast swipes that show it, held against its tolerance.
    pub criterion: Criterion,
    /// That share is no less than this: the limit that a fail asks for.
    pub at_least: f64,
    /// The reason, in one sentence.
    pub because: String,
}

impl OverSteps {
    /// It for a person, of a session of so many steps.
    pub fn words(&self, of: usize) -> String {
        match self.steps.len() == of {
            true => format!("{} over all steps", self.family.words()),
            false => format!("{} over {}", self.family.words(), listed(&self.steps)),
        }
    }
}

/// "steps 1, 2 and 4".
pub(crate) fn listed(steps: &[u32]) -> String {
    let all: Vec<String> = steps.iter().map(u32::to_string).collect();
    match all.split_last() {
        Some((last, first)) if !first.is_empty() => format!("steps {} and {last}", first.join(", ")),
        _ => format!("step {}", all.concat()),
    }
}

/// Swipes counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct SwipeCounts {
    /// Asked for by the plan's phases.
    pub asked: u32,
    /// Found in the counts.
    pub found: u32,
    /// Without a finding that touches their counts along the travel.
    pub clean: u32,
    /// Known to have been made, but not to be placed.
    pub unplaced: u32,
    /// Left out by the operator with a reason.
    pub voided: u32,
    /// Of which counts may have been lost in this computer, or that the line of a phase cuts: neither clean nor held against
    /// the device.
    pub disturbed: u32,
}

/// A swipe without a finding that nevertheless enters no length, resolution or gain.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeftOut {
    /// Phase.
    pub phase: u32,
    /// Swipe within the phase.
    pub swipe: u32,
    /// Its length less the median of its pace and direction, in millimetres by the provisional scale.
    pub off_mm: f64,
    /// Why, in one sentence.
    pub because: String,
}

/// Resolution along the device's two axes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AxesVerdict {
    /// Sideways, counts per inch.
    pub x_counts_per_inch: Quantity,
    /// Fore and aft, counts per inch.
    pub y_counts_per_inch: Quantity,
    /// Fore and aft over sideways.
    pub y_over_x: Quantity,
}

/// Counts of a step over those of another one, for the same travel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct StepRatio {
    /// The other step.
    pub to_step: u32,
    /// This step's counts over the other's.
    pub ratio: Quantity,
    /// The same of the nominals.
    pub nominal: Option<f64>,
}

/// Gain against speed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GainCurve {
    /// In rising order of speed.
    pub points: Vec<GainPoint>,
    /// Swipes that it rests on.
    pub swipes: usize,
    /// Degrees of freedom that the curve uses up.
    pub freedom: f64,
    /// Chance of a lack of fit as large as this if the curve were right; `None` where it cannot be told.
    pub lack_of_fit_p: Option<f64>,
}

/// One point of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct GainPoint {
    /// Reported speed: mean over the distance in this bin.
    pub speed_m_s: f64,
    /// Share of the whole distance in this bin.
    pub share: f64,
    /// Counts per millimetre over those of the whole.
    pub gain: Quantity,
}

/// Ripple in speed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Ripple {
    /// What was found, or why it was not looked for, in one sentence.
    pub because: String,
    /// The slow swipes and the medium ones, where there are enough of them.
    pub paces: Vec<RipplePace>,
}

/// Ripple in the swipes of one pace.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RipplePace {
    /// The pace.
    pub pace: &'static str,
    /// Swipes looked at.
    pub swipes: usize,
    /// Mean speed of what was looked at.
    pub speed_m_s: f64,
    /// From where to where lines were looked for. A faster ripple shows folded at half the report rate.
    pub band_hz: [f64; 2],
    /// Width of a bin.
    pub bin_hz: f64,
    /// Smallest ripple that would have been told in the middle of the band if both paces have it, percent of the speed.
    pub smallest_percent: Option<f64>,
    /// The same if only this pace has it: rounding to counts could make a smaller one.
    pub smallest_alone_percent: Option<f64>,
    /// The lines, the clearest first.
    pub lines: Vec<RippleLine>,
}

/// One line of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RippleLine {
    /// Its frequency, as the reports show it.
    pub frequency_hz: Quantity,
    /// Its amplitude (peak) in percent of the speed.
    pub amplitude_percent: Quantity,
    /// Its root-mean-square speed in mm/s, at the mean speed.
    pub mm_s_rms: f64,
    /// Its amplitude in counts per report, at the mean speed.
    pub counts: f64,
    /// False-alarm level: chance that noise shows one so clear in this pace.
    pub p_false: f64,
    /// Where it comes from.
    pub source: RippleSource,
    /// The frame rate whose beat against the reports it is, or, where the source is unknown, could be.
    pub frames_hz: Option<Quantity>,
}

/// Where a ripple comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RippleSource {
    /// The sensor's frames beat against the reports: a property of two rates, no fault.
    Frames,
    /// The reports come at uneven intervals of the same period.
    ReportInterval,
    /// Cannot be told.
    Unknown,
}

/// What the swipes covered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Swept {
    /// Peak speed of the fastest clean swipe.
    pub fastest_clean_m_s: Option<f64>,
    /// Peak speed of the fastest swipe.
    pub fastest_m_s: Option<f64>,
    /// Largest acceleration of a clean swipe.
    pub acceleration_m_s2: Option<f64>,
}

/// Whether the active step was the one that was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Identified {
    /// It was.
    #[serde(rename = "as told")]
    AsTold,
    /// Another.
    #[serde(rename = "other step")]
    OtherStep,
    /// Cannot be told.
    #[serde(rename = "unknown")]
    Unknown,
}

/// One resolution step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepVerdict {
    /// Its id.
    pub step: u32,
    /// Its label.
    pub label: Option<String>,
    /// What the maker says.
    pub nominal_counts_per_inch: Option<f64>,
    /// Whether it was the active one.
    pub identified: Identified,
    /// The outcome.
    pub verdict: Outcome,
    /// Swipes counted.
    pub swipes: SwipeCounts,
    /// What would settle the unplaced ones.
    pub unplaced_to_settle: Option<String>,
    /// What they covered.
    pub swept: Swept,
    /// Effective resolution.
    pub resolution_counts_per_inch: Option<Quantity>,
    /// Resolution along both axes, where swipes were made along both.
    pub axes: Option<AxesVerdict>,
    /// Counts for the same travel against other steps': free of the travel's own uncertainty.
    pub ratios: Vec<StepRatio>,
    /// Gain against speed, for diagnosis; it decides nothing.
    pub gain_curve: Option<GainCurve>,
    /// Ripple in speed, for diagnosis; it decides nothing.
    pub ripple: Ripple,
    /// Swipes without a finding that enter neither resolution nor gain, and why.
    pub left_out: Vec<LeftOut>,
    /// Report interval in fast motion.
    pub report_interval_ns: Option<Quantity>,
    /// Speed above which the sensor stops seeing, the median over swipes: a value with its interval, or a bound (one
    /// side is null, or the value is the middle of two bounds). A bound from below is no higher than the fastest clean swipe.
    pub tracking_limit_m_s: Option<Quantity>,
    /// Why it is not known, where swipes tell something of it that cannot be stated.
    pub tracking_limit_because: Option<String>,
    /// All families.
    pub families: Vec<FamilyVerdict>,
    /// What fails of several families together; `None` where nothing does, or where one of them fails by itself.
    pub together: Option<Together>,
}

/// Sum of counts over the swipes of one phase, as a length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Closure {
    /// Step.
    pub step: u32,
    /// Phase.
    pub phase: u32,
    /// Along the swipe.
    pub along_mm: f64,
    /// Across it.
    pub across_mm: f64,
    /// What is left along once out and back have each the gain that the step's other phases give them; `None` where
    /// those do not tell. It cannot tell counts that were lost from a swipe that stopped short, and decides nothing.
    pub left_mm: Option<Quantity>,
}

/// The computer's own part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct HostVerdict {
    /// True if the recorder watched the computer; false for a recording of another program, of which nothing is known.
    pub watched: bool,
    /// Recorded stalls.
    pub stalls: usize,
    /// Recorded overruns.
    pub overruns: usize,
    /// Spread of the stamps; not estimated in these rules.
    pub stamp_spread_ns: Option<Quantity>,
}

/// The device that was judged.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct DeviceWords {
    /// What its owner calls it.
    pub label: Option<String>,
    /// Which specimen.
    pub unit: Option<String>,
    /// What it calls itself.
    pub name: Option<String>,
    /// Vendor id.
    pub vendor: Option<u16>,
    /// Product id.
    pub product: Option<u16>,
}

/// What arrived, whether judged or not.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Received {
    /// Reports that were decoded.
    pub reports: usize,
    /// Those of them that moved the pointer.
    pub moving: usize,
    /// Largest count of one report on either axis.
    pub largest_counts: i64,
    /// Median time between reports, of those that woke the reader, in nanoseconds. Moving slowly makes it longer.
    pub typical_interval_ns: Option<f64>,
    /// Reports that did not fit their descriptor.
    pub malformed: u64,
    /// Reports of other kinds, counted and not kept.
    pub other: u64,
    /// Time from the first to the last line, in seconds.
    pub seconds: f64,
    /// Reports outside every phase: recorded, not judged.
    pub outside_phases: usize,
}

/// How much later the device is than the reference; positive for later. Nanoseconds. Half a report interval, the mean wait for
/// a poll, is taken off either device.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pair {
    /// Mean of motion, each swipe by what it can tell; where swipes differ by more than noise, each alike.
    pub lag_ns: Option<Quantity>,
    /// Standard deviation from swipe to swipe.
    pub lag_spread_ns: Option<f64>,
    /// What the measurement alone makes of that, to within a factor of two or three: root mean square of the swipes' own
    /// uncertainties.
    pub lag_noise_ns: Option<f64>,
    /// 95 % of the swipes are later by at most this.
    pub lag_most_ns: Option<f64>,
    /// The swipe that is least late, and the one that is latest.
    pub lag_range_ns: Option<[f64; 2]>,
    /// Swipes compared.
    pub swipes: usize,
    /// Swipes that the reference did not see, or not alike, within the longest lag looked for; `None` where lag cannot be
    /// told.
    pub swipes_alone: Option<usize>,
    /// Mean of strikes.
    pub strike_lag_ns: Option<Quantity>,
    /// Standard deviation from strike to strike.
    pub strike_lag_spread_ns: Option<f64>,
    /// What the polls of both devices alone make of that.
    pub strike_lag_noise_ns: Option<f64>,
    /// 95 % of the strikes are later by at most this.
    pub strike_lag_most_ns: Option<f64>,
    /// The strike that is least late, and the one that is latest.
    pub strike_lag_range_ns: Option<[f64; 2]>,
    /// Strikes compared.
    pub strikes: usize,
    /// Strikes that only the device told; `None` where strike lag cannot be told.
    pub strikes_alone: Option<usize>,
    /// And that only the reference told.
    pub reference_strikes_alone: Option<usize>,
}

/// The whole verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// Format version.
    pub slipgauge_verdict: u32,
    /// The program.
    pub tool: String,
    /// Version of detectors and tolerances.
    pub rules: &'static str,
    /// Of all intervals.
    pub confidence: f64,
    /// Name of the session file.
    pub session: String,
    /// SHA-256 of its whole lines, in hex.
    pub sha256: String,
    /// Their length.
    pub bytes: u64,
    /// The outcome.
    pub verdict: Outcome,
    /// The reason for it, in one sentence.
    pub because: String,
    /// The device.
    pub device: DeviceWords,
    /// The plan as given, with every tolerance that was used.
    pub plan: Value,
    /// Steps.
    pub steps: Vec<StepVerdict>,
    /// Families that exceed their tolerance over several steps, though at none of these by itself.
    pub over_steps: Vec<OverSteps>,
    /// Events.
    pub findings: Vec<Finding>,
    /// The computer.
    pub host: HostVerdict,
    /// Closure of each swipe phase.
    pub closure: Vec<Closure>,
    /// Results against a reference device, each at the first step that gives it; `None` without one.
    pub pair: Option<Pair>,
    /// What arrived.
    pub received: Received,
    /// What the operator was shown while recording, confirmed or withdrawn.
    pub live: Vec<LiveNote>,
    /// What the same test of a device known to be good says, if there is one.
    pub control: Option<Control>,
    /// What a reader must know of the file itself: cut short, malformed reports, interrupted.
    pub remarks: Vec<String>,
}

impl Verdict {
    /// Exit status of `slipgauge judge`: 0 pass, 1 fail, 3 inconclusive or not examined.
    pub fn exit_status(&self) -> u8 {
        match self.verdict {
            Outcome::Pass => 0,
            Outcome::Fail => 1,
            Outcome::Inconclusive | Outcome::NotExamined => 3,
        }
    }
}

/// Rolls outcomes up: fail if any fails; else inconclusive if any is inconclusive or a required one was not examined;
/// not examined if nothing was; else pass.
pub fn roll_up(outcomes: impl IntoIterator<Item = (Outcome, bool)>) -> Outcome {
    let (mut any_examined, mut worst) = (false, Outcome::Pass);
    for (outcome, required) in outcomes {
        any_examined |= outcome != Outcome::NotExamined;
        worst = match (worst, outcome) {
            (Outcome::Fail, _) | (_, Outcome::Fail) => Outcome::Fail,
            (_, Outcome::Inconclusive) => Outcome::Inconclusive,
            (_, Outcome::NotExamined) if required => Outcome::Inconclusive,
            (now, _) => now,
        };
    }
    if any_examined { worst } else { Outcome::NotExamined }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_required_family_that_was_not_examined_keeps_a_step_from_passing() {
        use Outcome::{Fail, Inconclusive, NotExamined, Pass};
        assert_eq!(roll_up([(Pass, true), (NotExamined, false)]), Pass);
        assert_eq!(roll_up([(Pass, true), (NotExamined, true)]), Inconclusive);
        assert_eq!(roll_up([(NotExamined, true), (NotExamined, false)]), NotExamined);
        assert_eq!(roll_up([(Inconclusive, true), (Fail, false), (Pass, true)]), Fail);
        assert_eq!(roll_up([]), NotExamined);
    }

    #[test]
    fn families_are_spelled_as_the_format_says() {
        let spelled: Vec<String> = Family::ALL
            .iter()
            .map(|f| serde_json::to_string(f).unwrap().trim_matches('"').to_owned())
            .collect();
        assert_eq!(
            spelled.join(" "),
            "dropout tracking-loss spin-out carry-on drift gain-change report-ceiling resolution report-interval \
             straightening wake-up lag strike-lag"
        );
    }
}
