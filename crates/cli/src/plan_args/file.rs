//! Plan files: TOML with the options' own names and values.
//!
//! Each line goes through the same parser as its option does, so that nothing is spelled in two ways:
//! `travel = "300mm"`, `steps = ["red=400", "blue=800"]`, `straight-edge = true`.

use super::PlanArgs;
use anyhow::{Context as _, bail};
use clap::{CommandFactory as _, Parser};
use serde_json::Value;
use slipgauge_guide::travel::{From, millimetres};
use slipgauge_guide::{Need, TestPlan};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::{Axis, Pace, Step};
use std::collections::BTreeMap;
use std::error::Error as _;
use std::fmt::Write as _;
use std::path::Path;

/// The options alone, as a command line of their own.
#[derive(Debug, Parser)]
#[command(name = "plan")]
struct Line {
    #[command(flatten)]
    args: PlanArgs,
}

/// Options that a file may not hold: it would lead on to another one.
const NOT_HERE: [&str; 2] = ["plan", "same-plan-as"];

/// Largest plan file: a hundred times what a plan needs.
const LARGEST: u64 = 100_000;

/// Reads a plan file.
pub(super) fn read(path: &Path) -> anyhow::Result<PlanArgs> {
    let place = || format!("--plan {}", path.display());
    let length = std::fs::metadata(path).with_context(place)?.len();
    if length > LARGEST {
        bail!("{}: {length} bytes are no plan file (is it a recording? That is --same-plan-as)", place());
    }
    let text = std::fs::read_to_string(path).with_context(place)?;
    parse(&text).with_context(place)
}

pub(super) fn parse(text: &str) -> anyhow::Result<PlanArgs> {
    let values: BTreeMap<String, Value> = basic_toml::from_str(text)?;
    let command = Line::command();
    let known: Vec<&str> = command
        .get_arguments()
        .filter_map(|argument| argument.get_long())
        .filter(|name| !NOT_HERE.contains(name))
        .collect();
    let mut all = PlanArgs::default();
    for (name, value) in &values {
        if !known.contains(&name.as_str()) {
            bail!("\"{name}\" is nothing that a plan says; it may say {}", known.join(", "));
        }
        let flag = match value {
            Value::Bool(true) if name == "straight-edge" => format!("--{name}"),
            Value::Bool(false) if name == "straight-edge" => continue,
            value => format!("--{name}={}", typed(name, value)?),
        };
        let one = Line::try_parse_from(["plan".to_owned(), flag]).map_err(|error| {
            // What the value's own parser said; the rest of clap's message is about a command line.
            let text = error.to_string();
            let first = || text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned();
            anyhow::anyhow!("{name}: {}", error.source().map_or_else(first, ToString::to_string))
        })?;
        all = all.over_one(one.args);
    }
    Ok(all)
}

/// A value as it would be typed.
fn typed(name: &str, value: &Value) -> anyhow::Result<String> {
    Ok(match value {
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        Value::Array(rows) => {
            let rows: Vec<String> = rows.iter().map(|row| typed(name, row)).collect::<anyhow::Result<_>>()?;
            rows.join(",")
        }
        _ => bail!("{name}: write the value as you would type it behind --{name}, in quotation marks"),
    })
}

impl PlanArgs {
    /// These options and one more; unlike [`PlanArgs::over`], nothing replaces anything, so that a file that tells two
    /// travels is refused.
    fn over_one(self, one: PlanArgs) -> PlanArgs {
        PlanArgs {
            travel: self.travel.or(one.travel),
            gap: self.gap.or(one.gap),
            body: self.body.or(one.body),
            travel_from: self.travel_from.or(one.travel_from),
            travel_from_resolution: self.travel_from_resolution.or(one.travel_from_resolution),
            travel_uncertainty: self.travel_uncertainty.or(one.travel_uncertainty),
            steps: self.steps.or(one.steps),
            size: self.size.or(one.size),
            swipes: self.swipes.or(one.swipes),
            still: self.still.or(one.still),
            fast_speed: self.fast_speed.or(one.fast_speed),
            axis: self.axis.or(one.axis),
            straight_edge: self.straight_edge || one.straight_edge,
            turn: self.turn.or(one.turn),
            within: self.within.or(one.within),
            per_turn: self.per_turn.or(one.per_turn),
            need: self.need.or(one.need),
            plan: None,
            same_plan_as: None,
        }
    }
}

/// A plan as a file that makes the same plan again. A travel that a sound device measured is written as a length: the
/// recording may be elsewhere by then.
pub fn to_toml(plan: &TestPlan) -> String {
    let mut out = String::from("# A plan of slipgauge: use it with --plan, and change it as you like.\n");
    let mut say = |name: &str, value: &str| {
        let _ = writeln!(out, "{name} = {}", Value::from(value));
    };
    let length = |um: i64| format!("{}mm", millimetres(um));
    match &plan.travel.from {
        From::GapBody { gap_um, body_um } => {
            say("gap", &length(*gap_um));
            say("body", &length(*body_um));
        }
        From::Ruler | From::File(_) => say("travel", &length(plan.travel.um)),
    }
    if plan.travel.uncertainty_um > 0 {
        say("travel-uncertainty", &length(plan.travel.uncertainty_um));
    }
    let untold = |step: &Step| step.label.is_none() && step.nominal_counts_per_inch.is_none();
    let steps: Vec<String> = plan.steps.iter().map(step).collect();
    if !(steps.len() == 1 && plan.steps.iter().all(untold)) {
        say("steps", &steps.join(","));
    }
    let spelled = |pace| match pace {
        Pace::Slow => "slow",
        Pace::Medium => "medium",
        Pace::Fast | Pace::Unknown => "fast",
    };
    let paces = [Pace::Slow, Pace::Medium, Pace::Fast];
    let swipes =
        paces.map(|pace| format!("{}={}", spelled(pace), plan.paced(pace).map_or(0, |paced| paced.swipes)));
    say("swipes", &swipes.join(","));
    if plan.still.0 > 0 {
        say("still", &time(plan.still));
    }
    if let Some(fast) = plan.paced(Pace::Fast) {
        say("fast-speed", &format!("{}m/s", fast.peak.0));
    }
    say("axis", if plan.axis == Axis::Y { "y" } else { "x" });
    match plan.need {
        Some(Need::Turn { degrees, within, per_turn }) => {
            say("turn", &format!("{degrees}deg"));
            say("within", &time(within));
            say("per-turn", &length((1e6 * per_turn.0).round() as i64));
        }
        Some(Need::Speed(speed)) => say("need", &format!("{}m/s", speed.0)),
        None => {}
    }
    if plan.straight_edge {
        out.push_str("straight-edge = true\n");
    }
    out
}

/// A time as it is typed, to the nanosecond.
fn time(time: Nanos) -> String {
    if time.0 % Nanos::SECOND.0 == 0 {
        format!("{}s", time.0 / Nanos::SECOND.0)
    } else {
        format!("{}ms", time.0 as f64 / Nanos::MILLISECOND.0 as f64)
    }
}

/// A row of `steps`. Signs that would break the list are left out of a label.
fn step(step: &Step) -> String {
    let label = step.label.as_deref().map(|label| label.replace([',', '='], " "));
    match (label, step.nominal_counts_per_inch) {
        (Some(label), Some(nominal)) => format!("{label}={nominal}"),
        (Some(label), None) => label,
        (None, Some(nominal)) => nominal.to_string(),
        (None, None) => format!("step {}", step.id),
    }
}
