//! Lists and choices as they are typed.

use clap::ValueEnum;
use slipgauge_guide::plan::Paced;
use slipgauge_guide::{Size, TestPlan, measured};
use slipgauge_trace::CountsPerMetre;
use slipgauge_trace::MetresPerSecond;
use slipgauge_trace::session::{Pace, Step};
use std::str::FromStr;

/// The plan's size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SizeArg {
    /// Every step, briefly.
    Screen,
    /// For a claim that is to be published; best with one step.
    Confirm,
}

impl From<SizeArg> for Size {
    fn from(size: SizeArg) -> Size {
        match size {
            SizeArg::Screen => Size::Screen,
            SizeArg::Confirm => Size::Confirm,
        }
    }
}

/// `--steps`: rows in order, numbered from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct StepsArg(pub Vec<Step>);

/// Most steps that a device is believed to have (the simulator's limit too).
const MOST_STEPS: usize = 64;

impl FromStr for StepsArg {
    type Err = String;
    fn from_str(text: &str) -> Result<StepsArg, String> {
        let rows = text.split(',').map(str::trim);
        let steps: Vec<Step> = (1u32..).zip(rows).map(|(id, row)| step(id, row)).collect::<Result<_, _>>()?;
        if steps.len() > MOST_STEPS {
            return Err(format!("{} steps are more than any device has", steps.len()));
        }
        Ok(StepsArg(steps))
    }
}

/// `label=nominal`, nominal alone, or label alone. A number in front of the equals sign is the row's own.
fn step(id: u32, row: &str) -> Result<Step, String> {
    let form = "write LABEL=COUNTS, COUNTS or LABEL, as in red=400,800,green";
    let nominal = |text: &str| {
        let told = Step { nominal_counts_per_inch: text.trim().parse().ok(), ..Step::default() };
        told.nominal()
            .map(|_| told.nominal_counts_per_inch)
            .ok_or_else(|| format!("\"{text}\" is no number of counts per inch; {form}"))
    };
    let (label, nominal_counts_per_inch) = match row.split_once('=') {
        Some((label, number)) => (label.trim(), nominal(number)?),
        None if row.parse::<f64>().is_ok() => ("", nominal(row)?),
        None if row.is_empty() => return Err(format!("step {id} is empty; {form}")),
        None => (row, None),
    };
    match label.parse::<u32>() {
        Ok(number) if number != id => {
            Err(format!("{number}=… comes as step {id}: steps are numbered as they come, from 1"))
        }
        Ok(_) => Ok(Step { id, label: None, nominal_counts_per_inch }),
        Err(_) => {
            let label = (!label.is_empty()).then(|| label.to_owned());
            Ok(Step { id, label, nominal_counts_per_inch })
        }
    }
}

/// `--swipes`: how many at which pace.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SwipesArg(pub Vec<(Pace, u32)>);

/// Swipes of one pace that anybody makes.
const MOST_SWIPES: u32 = 10_000;

impl FromStr for SwipesArg {
    type Err = String;
    fn from_str(text: &str) -> Result<SwipesArg, String> {
        let form = "write PACE=NUMBER, as in slow=10,medium=6,fast=15";
        let mut all: Vec<(Pace, u32)> = Vec::new();
        for part in text.split(',') {
            let (pace, number) =
                part.split_once('=').ok_or_else(|| format!("\"{part}\" has no \"=\"; {form}"))?;
            let pace = match pace.trim() {
                "slow" => Pace::Slow,
                "medium" => Pace::Medium,
                "fast" => Pace::Fast,
                other => return Err(format!("\"{other}\" is none of slow, medium, fast; {form}")),
            };
            let swipes = number.trim().parse().ok().filter(|n| *n <= MOST_SWIPES);
            let swipes = swipes.ok_or_else(|| {
                format!("\"{}\" is no number of swipes from 0 to {MOST_SWIPES}; {form}", number.trim())
            })?;
            if all.iter().any(|(other, _)| *other == pace) {
                return Err(format!("a pace is given twice; {form}"));
            }
            all.push((pace, swipes));
        }
        Ok(SwipesArg(all))
    }
}

/// Peak speed of a pace that a plan did not have; those of the sizes.
const fn peak(pace: Pace) -> MetresPerSecond {
    MetresPerSecond(match pace {
        Pace::Slow | Pace::Unknown => 0.4,
        Pace::Medium => 1.2,
        Pace::Fast => 2.5,
    })
}

impl SwipesArg {
    /// Puts the numbers into a plan.
    pub fn apply(&self, plan: &mut TestPlan) {
        for (pace, swipes) in &self.0 {
            match plan.paces.iter_mut().find(|paced| paced.pace == *pace) {
                Some(paced) => paced.swipes = *swipes,
                None => plan.paces.push(Paced { pace: *pace, swipes: *swipes, peak: peak(*pace) }),
            }
        }
        // Fast swipes come last: a hand that is tired, or a device that is lost, spoils nothing after them.
        let order = [Pace::Slow, Pace::Medium, Pace::Fast];
        plan.paces.sort_by_key(|paced| order.iter().position(|pace| *pace == paced.pace));
    }
}

/// `--travel-from-resolution`: a value with its standard uncertainty, counts per inch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResolutionArg(pub measured::Known);

impl FromStr for ResolutionArg {
    type Err = String;
    fn from_str(text: &str) -> Result<ResolutionArg, String> {
        let form = "write counts per inch and their standard uncertainty, as in 1603+-4";
        let (value, u) = text
            .split_once("+-")
            .or_else(|| text.split_once('±'))
            .ok_or_else(|| format!("\"{text}\" has no uncertainty; {form}"))?;
        let number = |text: &str| text.trim().parse().map_err(|_| format!("\"{text}\" is no number; {form}"));
        let (value, u): (f64, f64) = (number(value)?, number(u)?);
        if !((0.01..1e7).contains(&value) && (0.0..=0.5 * value).contains(&u)) {
            return Err(format!("\"{text}\" is no resolution that is known; {form}"));
        }
        let resolution = CountsPerMetre::from_per_inch(value);
        Ok(ResolutionArg(measured::Known { resolution, uncertainty: u / value }))
    }
}
