//! From what was typed to a bench: the sound device first, then fault upon fault, each checked by itself so that an
//! error names the one that is wrong.

use super::{SimulateArgs, listing};
use anyhow::{Context as _, bail};
use slipgauge_guide::{TestPlan, rehearsal};
use slipgauge_sim::{Bench, DeviceModel, Family, Named, Pace, Script, Session, SimError, Travel, catalogue};
use std::str::FromStr;

/// Peak speeds that the hand aims at by pace, m/s: those of the screening test.
const PEAKS_M_S: [(Pace, f64); 3] = [(Pace::Slow, 0.4), (Pace::Medium, 1.2), (Pace::Fast, 2.5)];

/// Button strikes at every step, where it is they that are late.
const STRIKES: u32 = 20;

/// Resolution of a simulated device at its first step where the plan does not tell, counts per inch.
const UNTOLD: f64 = 800.0;

/// Units in which half a one means nothing.
const WHOLE: [&str; 4] = ["reports", "bits", "counts", "step"];

/// Most of those: below it every whole number is one of a 32-bit integer too.
const WHOLE_MOST: f64 = 1e9;

/// One `--fault`.
#[derive(Debug, Clone, Copy)]
pub struct FaultArg {
    named: &'static Named,
    /// Its size, if not the usual one.
    size: Option<f64>,
}

impl FromStr for FaultArg {
    type Err = String;
    fn from_str(text: &str) -> Result<FaultArg, String> {
        let (name, size) = text.split_once('=').map_or((text, None), |(name, size)| (name, Some(size)));
        let named = catalogue().iter().find(|named| named.name == name.trim());
        let named =
            named.ok_or_else(|| format!("there is no such fault; there are\n{}", listing::names()))?;
        let number = |text: &str| {
            let number = text.trim().parse().ok().filter(|n: &f64| n.is_finite());
            number.ok_or_else(|| format!("\"{text}\" is no number; {}", usual(named)))
        };
        let size = size.map(number).transpose()?;
        let whole = |n: f64| n.fract() == 0.0 && (1.0..=WHOLE_MOST).contains(&n);
        match size.filter(|_| WHOLE.contains(&named.unit)) {
            Some(n) if !whole(n) => Err(format!("{n} is no whole number from 1; {}", usual(named))),
            _ => Ok(FaultArg { named, size }),
        }
    }
}

impl FaultArg {
    /// Name, size and unit.
    pub fn told(&self) -> String {
        format!("{} ({} {})", self.named.name, self.size.unwrap_or(self.named.usual), self.named.unit)
    }
}

/// `its size is in m/s, usually 1.8`.
fn usual(named: &Named) -> String {
    format!("its size is in {}, usually {}", named.unit, named.usual)
}

/// The session asked for.
///
/// # Errors
/// A sentence that names the option at fault.
pub fn session(args: &SimulateArgs) -> anyhow::Result<Session> {
    let steps = u32::try_from(args.steps.len()).unwrap_or(u32::MAX);
    let device = DeviceModel::default().with_steps(&args.steps).with_interval_ns(args.interval.0.0);
    let mut bench = Bench {
        seed: args.seed,
        travel: Travel { told_um: args.travel.0, ..Travel::default() },
        script: script(args, steps),
        device,
        ..Bench::default()
    };
    bench.device.report.bits = args.bits;
    bench.clone().session().map_err(|error| refused(&error))?;
    for fault in &args.fault {
        let named = fault.named;
        if named.unit == "step" && fault.size.unwrap_or(named.usual) > f64::from(steps) {
            bail!("--fault {}: there is no such step; give more with --steps 800,1600", fault.told());
        }
        bench = bench.with_fault(named.name, fault.size)?;
        let checked = bench.clone().session();
        checked.with_context(|| format!("--fault {} is out of range ({})", fault.told(), usual(named)))?;
    }
    Ok(bench.session()?)
}

/// A bench for a guided test: `sound`, or one fault by name. Its script is the plan's, so that faults that are placed in
/// a phase find it.
///
/// # Errors
/// A sentence that names what is wrong.
pub fn for_plan(fault: &str, seed: u64, interval_ns: i64, plan: &TestPlan) -> anyhow::Result<Session> {
    let nominals: Vec<f64> = plan
        .steps
        .iter()
        .map(|step| step.nominal_counts_per_inch.unwrap_or(UNTOLD * f64::from(step.id)))
        .collect();
    let mut bench = Bench {
        seed,
        travel: Travel { told_um: plan.travel.um, uncertainty_um: plan.travel.uncertainty_um, true_m: None },
        axis: plan.axis,
        script: rehearsal::script(plan),
        device: DeviceModel { name: "simulated device".to_owned(), ..DeviceModel::default() }
            .with_steps(&nominals)
            .with_interval_ns(interval_ns),
        ..Bench::default()
    };
    bench.clone().session().map_err(|error| refused(&error))?;
    if fault != "sound" {
        let fault: FaultArg = fault.parse().map_err(anyhow::Error::msg)?;
        bench = bench.with_fault(fault.named.name, fault.size)?;
    }
    bench.session().with_context(|| format!("--simulate {fault} is out of range"))
}

/// At every step: still, then swipes pace by pace; strikes only where a fault is about them.
fn script(args: &SimulateArgs, steps: u32) -> Script {
    let strikes = args.fault.iter().any(|fault| fault.named.family == Family::StrikeLag);
    (1..=steps).fold(Script::default(), |script, step| {
        let script = script.still(step, args.still.0.seconds());
        let script = PEAKS_M_S.into_iter().fold(script, |script, (pace, peak_m_s)| {
            let count = if pace == Pace::Fast { 2 * args.swipes } else { args.swipes };
            script.swipes(step, pace, count, peak_m_s)
        });
        if strikes { script.strikes(step, STRIKES) } else { script }
    })
}

/// A parameter of the bare bench that makes no sense, by the option that it came from.
fn refused(error: &SimError) -> anyhow::Error {
    let option = match error {
        SimError::Parameter { name: "link.interval_ns" | "sensor.frame_ns", .. } => "--interval: ",
        SimError::Parameter { name: "nominal_counts_per_inch" | "number of steps", .. } => "--steps: ",
        SimError::Parameter { name, .. } if name.starts_with("travel.") => "--travel: ",
        SimError::Parameter { name: "hand.path.arm_m" | "hand.placement_scatter_m", .. } => "--travel: ",
        SimError::Parameter { name: "seconds", .. } => "--still: ",
        _ => "",
    };
    anyhow::anyhow!("{option}{error}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> Result<FaultArg, String> {
        text.parse()
    }

    #[test]
    fn the_usual_script_is_the_screening_test() {
        use clap::Parser as _;
        let typed = ["slipgauge", "simulate", "-o", "x", "--steps", "800,1600"];
        let crate::args::Command::Simulate(args) = crate::args::Cli::parse_from(typed).command else {
            panic!("another command");
        };
        assert_eq!(script(&args, 2), Script::screen(2));
    }

    #[test]
    fn reads_faults_with_and_without_a_size() {
        assert_eq!(fault("tracking-silent").unwrap().told(), "tracking-silent (1.8 m/s)");
        assert_eq!(fault("gain-step=-0.1").unwrap().told(), "gain-step (-0.1 share)");
        for (text, said) in [
            ("dust", "there is no such fault; there are"),
            ("creep=much", "\"much\" is no number; its size is in mm/s, usually 0.05"),
            ("creep=NaN", "is no number"),
            ("dropout-late=1.5", "1.5 is no whole number from 1; its size is in reports, usually 12"),
            ("dropout-late=0", "no whole number from 1"),
            ("ceiling-field=-8", "no whole number from 1"),
        ] {
            let error = fault(text).unwrap_err();
            assert!(error.contains(said), "{text}: {error}");
        }
    }
}
