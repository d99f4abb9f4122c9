//! What a test is to be, as it is typed: the options that `plan` and `examine` share.
//!
//! Three sources, of which the first that says a thing wins: flags, a plan file (`--plan`), an earlier session
//! (`--same-plan-as`). A length replaces the others' lengths as a whole, so that a travel never meets another one's gap.
//! Lists that are typed stand in `plan_args/typed.rs`, plan files in `plan_args/file.rs`.

mod file;
mod typed;

pub use file::to_toml;
pub use typed::{ResolutionArg, SizeArg, StepsArg, SwipesArg};

use crate::args::AxisArg;
use crate::commands::read_recording;
use crate::units::{Angle, Length, Span, Speed};
use anyhow::{Context as _, bail, ensure};
use clap::Args;
use slipgauge_guide::{Need, Size, TestPlan, Travel, measured};
use slipgauge_trace::session::{Pace, Step};
use slipgauge_trace::{Metres, Nanos};
use std::path::{Path, PathBuf};

/// Options that say what a test is.
#[derive(Debug, Clone, Default, PartialEq, Args)]
#[command(next_help_heading = "The test")]
pub struct PlanArgs {
    /// How far the device moves from stop to stop, read off a ruler at one edge of the device: 300mm, 12in.
    #[arg(long, value_name = "LENGTH")]
    pub travel: Option<Length>,
    /// Or: the distance between the faces of the stops; --body says how much of it the device takes up.
    #[arg(long, value_name = "LENGTH")]
    pub gap: Option<Length>,
    /// The device's length along the swipe.
    #[arg(long, value_name = "LENGTH")]
    pub body: Option<Length>,
    /// Or: a recording of a sound device of known resolution between the same stops; the travel is what it counted in
    /// slow swipes over its nominal resolution, to which 1 % is added for what a nominal is worth.
    #[arg(long, value_name = "SESSION")]
    pub travel_from: Option<PathBuf>,
    /// The resolution of that device in counts per inch, with its standard uncertainty, if it was measured and not just
    /// told: 1603+-4.
    #[arg(long, value_name = "NUMBER+-NUMBER")]
    pub travel_from_resolution: Option<ResolutionArg>,
    /// Standard uncertainty of the travel, if it is known better or worse than is assumed: 0.5mm for a ruler.
    #[arg(long, value_name = "LENGTH")]
    pub travel_uncertainty: Option<Length>,
    /// The resolution steps in order: what shows each and what its maker says it is in counts per inch, or one of both:
    /// red=400,blue=800,1600,green.
    #[arg(long, value_name = "STEP,…")]
    pub steps: Option<StepsArg>,
    /// How much: screen looks at every step briefly, confirm takes the number of swipes that a published claim needs.
    #[arg(long, value_enum)]
    pub size: Option<SizeArg>,
    /// Other numbers of swipes than the size has: slow=10,medium=6,fast=15; 0 leaves a pace out.
    #[arg(long, value_name = "PACE=NUMBER,…")]
    pub swipes: Option<SwipesArg>,
    /// How long the device lies still at each step.
    #[arg(long, value_name = "TIME")]
    pub still: Option<Span>,
    /// Peak speed that fast swipes are to reach: 2.5m/s, 100in/s.
    #[arg(long, value_name = "SPEED")]
    pub fast_speed: Option<Speed>,
    /// Direction of the swipes: x is sideways, y is fore and aft.
    #[arg(long, value_name = "x|y")]
    pub axis: Option<AxisArg>,
    /// The swipes run along a straight edge, which keeps the device from turning: resolution and gain change are then
    /// known better.
    #[arg(long)]
    pub straight_edge: bool,
    /// What the device is needed for: a turn by this angle …
    #[arg(long, value_name = "ANGLE")]
    pub turn: Option<Angle>,
    /// … in this time …
    #[arg(long, value_name = "TIME")]
    pub within: Option<Span>,
    /// … at so much hand travel for a full turn.
    #[arg(long, value_name = "LENGTH")]
    pub per_turn: Option<Length>,
    /// Or the peak speed itself that is needed.
    #[arg(long, value_name = "SPEED")]
    pub need: Option<Speed>,
    /// A plan file (TOML) with these same names and values, such as travel = "300mm"; what is typed here wins over it.
    #[arg(long, value_name = "FILE")]
    pub plan: Option<PathBuf>,
    /// The plan of an earlier guided session; what is typed here or stands in the plan file wins over it.
    #[arg(long, value_name = "SESSION")]
    pub same_plan_as: Option<PathBuf>,
}

/// Why nothing goes on without a travel.
const WHICH: &str = "how far does the device move? Three lengths lie between two
stops, and one taken for another is wrong by the device's own length: 20 to 40 %
of usual travels. So say which one was measured:
  --travel 300mm              what a ruler reads at one edge of the device, from
                              stop to stop
  --gap 365mm --body 64.2mm   the distance between the faces of the stops, and
                              the device's length along the swipe
  --travel-from SESSION       a recording of a sound device of known resolution
                              between the same stops";

/// Travels that hands make between stops, in micrometres (the simulator's too).
const TRAVELS_UM: std::ops::RangeInclusive<i64> = 10_000..=5_000_000;
/// Peak speeds, in metres per second: twice what hard flicks reach (common practice, no source).
const SPEEDS_M_S: std::ops::RangeInclusive<f64> = 0.01..=10.0;
/// Longest stillness.
const STILL: Nanos = Nanos(3_600_000_000_000);

impl PlanArgs {
    /// The plan that was ordered.
    ///
    /// # Errors
    /// A sentence that names the option at fault and says what to do.
    pub fn test_plan(&self) -> anyhow::Result<TestPlan> {
        let given = match &self.plan {
            Some(path) => self.clone().over(file::read(path)?),
            None => self.clone(),
        };
        given.whole()
    }

    /// These options, with another source's where these say nothing.
    fn over(self, other: PlanArgs) -> PlanArgs {
        let parts = self.gap.is_some() || self.body.is_some();
        let lengths = match (self.travel.is_some() || self.travel_from.is_some(), parts) {
            (true, _) => self.clone(),
            (false, true) => PlanArgs {
                gap: self.gap.or(other.gap),
                body: self.body.or(other.body),
                travel: None,
                travel_from: None,
                ..self.clone()
            },
            (false, false) => PlanArgs {
                travel_uncertainty: self.travel_uncertainty.or(other.travel_uncertainty),
                travel_from_resolution: self.travel_from_resolution.or(other.travel_from_resolution),
                ..other.clone()
            },
        };
        let turns = self.turn.is_some() || self.within.is_some() || self.per_turn.is_some();
        let (turn, need) = if self.need.is_some() {
            (self.clone(), self.need)
        } else if turns {
            let turn = self.turn.or(other.turn);
            let (within, per_turn) = (self.within.or(other.within), self.per_turn.or(other.per_turn));
            (PlanArgs { turn, within, per_turn, ..PlanArgs::default() }, None)
        } else {
            (other.clone(), other.need)
        };
        PlanArgs {
            travel: lengths.travel,
            gap: lengths.gap,
            body: lengths.body,
            travel_from: lengths.travel_from,
            travel_from_resolution: lengths.travel_from_resolution,
            travel_uncertainty: lengths.travel_uncertainty,
            steps: self.steps.or(other.steps),
            size: self.size.or(other.size),
            swipes: self.swipes.or(other.swipes),
            still: self.still.or(other.still),
            fast_speed: self.fast_speed.or(other.fast_speed),
            axis: self.axis.or(other.axis),
            straight_edge: self.straight_edge || other.straight_edge,
            turn: turn.turn,
            within: turn.within,
            per_turn: turn.per_turn,
            need,
            plan: self.plan,
            same_plan_as: self.same_plan_as,
        }
    }

    fn whole(&self) -> anyhow::Result<TestPlan> {
        let base = self.same_plan_as.as_deref().map(earlier).transpose()?;
        let travel = match (self.measured_travel()?, &base) {
            (Some(travel), _) => travel,
            (None, Some(base)) => base.travel.clone(),
            (None, None) => bail!("{WHICH}"),
        };
        ensure!(
            TRAVELS_UM.contains(&travel.um),
            "a travel of {} mm is none that a hand swipes between two stops: 10 mm to 5 m",
            slipgauge_guide::travel::millimetres(travel.um)
        );
        let steps = match (&self.steps, &base) {
            (Some(steps), _) => steps.0.clone(),
            (None, Some(base)) => base.steps.clone(),
            (None, None) => vec![Step { id: 1, ..Step::default() }],
        };
        let need = self.told_need()?.or(base.as_ref().and_then(|base| base.need));
        let mut plan = match (self.size, base) {
            (None, Some(base)) => TestPlan { travel, steps, need, ..base },
            (size, base) => {
                let size = size.map_or(Size::Screen, Size::from);
                let sized = TestPlan::of_size(size, travel, steps, need);
                match base {
                    Some(base) => TestPlan { axis: base.axis, straight_edge: base.straight_edge, ..sized },
                    None => sized,
                }
            }
        };
        if let Some(swipes) = &self.swipes {
            swipes.apply(&mut plan);
        }
        plan.still = self.still.map_or(plan.still, |still| still.0);
        ensure!(plan.still <= STILL, "--still: nobody leaves a device alone for more than 1 h in a test");
        if let Some(Speed(speed)) = self.fast_speed {
            ensure!(
                SPEEDS_M_S.contains(&speed.0),
                "--fast-speed: a hand swipes at 0.01 to 10 m/s, not at {} m/s",
                speed.0
            );
            let fast = plan.paces.iter_mut().find(|paced| paced.pace == Pace::Fast);
            fast.context("--fast-speed: the plan has no fast swipes; say how many with --swipes fast=15")?
                .peak = speed;
        }
        plan.axis = self.axis.map_or(plan.axis, Into::into);
        plan.straight_edge |= self.straight_edge;
        ensure!(
            plan.paces.iter().any(|paced| paced.swipes > 0),
            "--swipes: no swipe is left, so there is nothing to examine"
        );
        Ok(plan)
    }

    /// The travel as told; `None` if nothing is told of it.
    fn measured_travel(&self) -> anyhow::Result<Option<Travel>> {
        let own = self.travel_uncertainty.map(|length| length.0);
        let parts = self.gap.is_some() || self.body.is_some();
        let told = [self.travel.is_some(), parts, self.travel_from.is_some()];
        ensure!(
            told.iter().filter(|told| **told).count() <= 1,
            "the travel is told twice: give one of --travel, --gap with --body, --travel-from"
        );
        ensure!(
            self.travel_from_resolution.is_none() || self.travel_from.is_some(),
            "--travel-from-resolution says what the device in --travel-from has; give that too"
        );
        let travel = match (self.travel, self.gap, self.body, &self.travel_from) {
            (Some(Length(um)), ..) => Travel::ruler(um, own),
            (_, Some(Length(gap)), Some(Length(body)), _) => Travel::gap_body(gap, body, own)?,
            (_, Some(Length(gap)), None, _) => bail!(
                "the gap of {} mm is not the travel: the device's own length is in it. Give that as --body (along the \
                 swipe), or the travel itself as --travel",
                slipgauge_guide::travel::millimetres(gap)
            ),
            (_, None, Some(_), _) => {
                bail!("--body alone tells no travel: give the distance between the stops as --gap too")
            }
            (.., Some(path)) => self.travel_by(path, own)?,
            (None, None, None, None) => {
                ensure!(
                    own.is_none(),
                    "--travel-uncertainty: of which travel? Give --travel, --gap with --body, or --travel-from"
                );
                return Ok(None);
            }
        };
        Ok(Some(travel))
    }

    /// By a sound device.
    fn travel_by(&self, path: &Path, own: Option<i64>) -> anyhow::Result<Travel> {
        let recording = read_recording(path).context("--travel-from")?;
        let name = path.file_name().map_or_else(|| path.to_string_lossy(), |name| name.to_string_lossy());
        let known = self.travel_from_resolution.map(|known| known.0);
        let travel = measured::travel(&recording, &name, known).context("--travel-from")?;
        Ok(Travel { uncertainty_um: own.unwrap_or(travel.uncertainty_um), ..travel })
    }

    /// The need as told; `None` if nothing is told of it.
    fn told_need(&self) -> anyhow::Result<Option<Need>> {
        let turn = [
            ("--turn", self.turn.is_some()),
            ("--within", self.within.is_some()),
            ("--per-turn", self.per_turn.is_some()),
        ];
        let some = turn.iter().any(|(_, told)| *told);
        ensure!(
            !(some && self.need.is_some()),
            "what is needed is told twice: give --need, or --turn, --within and --per-turn"
        );
        let need = match (self.need, self.turn, self.within, self.per_turn) {
            (Some(Speed(speed)), ..) => Need::Speed(speed),
            // As a session gives it back, to the last bit.
            (_, Some(Angle(degrees)), Some(Span(within)), Some(Length(um))) => {
                Need::Turn { degrees, within, per_turn: Metres(um as f64 / 1e6) }
            }
            _ if some => {
                let missing: Vec<&str> =
                    turn.iter().filter(|(_, told)| !told).map(|(name, _)| *name).collect();
                bail!(
                    "a turn takes three things, and {} {} missing: --turn 180deg --within 150ms --per-turn 40cm",
                    missing.join(" and "),
                    if missing.len() == 1 { "is" } else { "are" }
                );
            }
            _ => return Ok(None),
        };
        let peak = need.peak().0;
        ensure!(
            SPEEDS_M_S.contains(&peak),
            "the need comes to a peak speed of {peak:.3} m/s, which is none of a hand's (0.01 to 10 m/s; hard flicks \
             reach 4 to 5): look at --turn, --within and --per-turn, or --need"
        );
        Ok(Some(need))
    }
}

/// The plan of an earlier session.
fn earlier(path: &Path) -> anyhow::Result<TestPlan> {
    let recording = read_recording(path).context("--same-plan-as")?;
    let plan = recording.header.plan.as_ref().and_then(TestPlan::from_session);
    plan.with_context(|| {
        format!(
            "--same-plan-as: {} holds no plan of a guided test (travel, steps, and how many swipes at each pace), so it \
             cannot be done again",
            path.display()
        )
    })
}

#[cfg(test)]
mod tests;
