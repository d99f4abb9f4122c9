//! What can be typed.

use crate::commands::{
    CompareArgs, CompletionsArgs, DemoArgs, DevicesArgs, EvidenceArgs, ExamineArgs, ExportArgs, JudgeArgs,
    ManualArgs, PlanCommand, PlateArgs, ReportArgs, SimulateArgs,
};
use crate::units::{Length, Span};
use clap::{Args, Parser, Subcommand, ValueEnum};
use slipgauge_trace::session::{self, Pace, Step, Task};
use std::path::PathBuf;
use std::str::FromStr;

/// Records what a pointing device reports and judges how well it tracks.
#[derive(Debug, Parser)]
#[command(name = "slipgauge", version, max_term_width = 80)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// List the pointing devices that are plugged in.
    Devices(DevicesArgs),
    /// Be led through the test of a device, from the first swipe to the verdict.
    Examine(Box<ExamineArgs>),
    /// Record a session of one device to a file.
    Record(Box<RecordArgs>),
    /// Say what a test will show and cost before it is done, and draw where the stops go.
    Plan(Box<PlanCommand>),
    /// Judge a recording, and draw it.
    Judge(JudgeArgs),
    /// Make a page of a recording, to read, print and hand on.
    Report(ReportArgs),
    /// Draw a verdict as one picture for a video.
    Plate(PlateArgs),
    /// Pack a recording with its verdict, for others to judge again.
    Evidence(EvidenceArgs),
    /// Hold sessions side by side: which differences between devices are real, and which are noise.
    Compare(CompareArgs),
    /// Write what was measured as tables for other programs, or for an article.
    Export(ExportArgs),
    /// Record, judge and draw a sound and a failing device on a simulated bench.
    Demo(DemoArgs),
    /// Make a session of a simulated device with known faults, and the truth beside it.
    Simulate(SimulateArgs),
    /// Write the completions of a shell.
    Completions(CompletionsArgs),
    /// Write a page for `man`.
    Manual(ManualArgs),
    // A further command: a variant here, a module in `commands`, a line in `commands::run`.
}

/// Options of `record`.
#[derive(Debug, Args)]
#[command(after_help = RECORD_EXAMPLES)]
pub struct RecordArgs {
    /// Which device: its number in `slipgauge devices`, or a node such as /dev/hidraw3. Not needed if there is only
    /// one.
    #[arg(long, value_name = "NUMBER|PATH")]
    pub device: Option<String>,
    /// A second device, known to be good, on the same carriage: recorded beside the first, and compared with it.
    #[arg(long, value_name = "NUMBER|PATH", requires = "device")]
    pub reference: Option<String>,
    /// Keep the device from the desktop while it is recorded: no pointer moves, nothing is clicked. Ends with the
    /// recording, and after 5 minutes at the latest. Take care that Ctrl-C can be typed.
    #[arg(long)]
    pub hold: bool,
    /// The file to make; by custom its name ends in .swipes.ndjson. An existing file is never overwritten.
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// How far the device moves from stop to stop (not the gap between the stops), with its unit: 300mm, 12in.
    #[arg(long, value_name = "LENGTH")]
    pub travel: Option<Length>,
    /// Standard uncertainty of the travel; 0.5mm is assumed if it is not given.
    #[arg(long, value_name = "LENGTH", requires = "travel")]
    pub travel_uncertainty: Option<Length>,
    /// Direction of the swipes: x is sideways, y is fore and aft.
    #[arg(long, value_name = "x|y")]
    pub axis: Option<AxisArg>,
    /// The swipes run along a straight edge, which keeps the device from turning: resolution and gain change are then
    /// known better.
    #[arg(long)]
    pub straight_edge: bool,
    /// A resolution step and what its maker says it is, in counts per inch; several are numbered as they come. A step
    /// may have a name, and the number may be unknown: 1=1600, red=800, green.
    #[arg(long = "step", value_name = "NAME[=NUMBER]")]
    pub steps: Vec<StepArg>,
    /// What is done and for how long; phases follow each other from the start. TASK is still, identify, slow, medium
    /// or fast (the last three are swipes at that pace); STEP is 1 if left out; xSWIPES is how many are asked for.
    #[arg(long = "phase", value_name = "[STEP:]TASK=TIME[xSWIPES]")]
    pub phases: Vec<PhaseArg>,
    /// How long to record. Without it: until the phases are over, or until Ctrl-C if there are none.
    #[arg(long = "for", value_name = "TIME")]
    pub length: Option<Span>,
    /// What you call the device.
    #[arg(long, value_name = "TEXT")]
    pub label: Option<String>,
    /// Which one of several alike.
    #[arg(long, value_name = "TEXT")]
    pub unit: Option<String>,
    /// What it moves on.
    #[arg(long, value_name = "TEXT")]
    pub surface: Option<String>,
}

const RECORD_EXAMPLES: &str = "\
Examples:
  slipgauge record -o first.swipes.ndjson --travel 300mm --step 1=1600 \\
      --phase still=10s --phase slow=30sx10 --phase fast=30sx15
  slipgauge record --device 2 -o b.swipes.ndjson --travel 12in --step red=800 --step green=1600 \\
      --phase 1:slow=20s --phase 2:slow=20s
  slipgauge record --device /dev/hidraw3 -o free.swipes.ndjson --for 60s

Exit status: 0 recorded to the end or ended by Ctrl-C; 2 wrong usage, or a
device that is refused or cannot be opened; 4 the device went away (what it sent
until then is kept).";

/// Direction of the swipes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum AxisArg {
    /// Sideways.
    X,
    /// Fore and aft.
    Y,
}

impl From<AxisArg> for session::Axis {
    fn from(axis: AxisArg) -> session::Axis {
        match axis {
            AxisArg::X => session::Axis::X,
            AxisArg::Y => session::Axis::Y,
        }
    }
}

/// One `--step`.
#[derive(Debug, Clone, PartialEq)]
pub struct StepArg {
    /// In front of the equals sign.
    pub name: String,
    /// Behind it.
    pub counts_per_inch: Option<f64>,
}

impl FromStr for StepArg {
    type Err = String;
    fn from_str(text: &str) -> Result<StepArg, String> {
        let (name, number) = text.split_once('=').map_or((text, None), |(name, n)| (name, Some(n)));
        if name.trim().is_empty() {
            return Err("a step needs a name or its number in front, as in 1=1600 or red=1600".to_owned());
        }
        let counts = |text: &str| {
            let counts = text.trim().parse().ok().filter(|n: &f64| n.is_finite() && *n > 0.0);
            counts.ok_or_else(|| format!("\"{text}\" is no number of counts per inch"))
        };
        Ok(StepArg { name: name.trim().to_owned(), counts_per_inch: number.map(counts).transpose()? })
    }
}

/// The steps in the order typed, numbered from 1. A name that is a number must be its own.
///
/// # Errors
/// A sentence, if the numbers do not count up from 1.
pub fn numbered_steps(steps: &[StepArg]) -> Result<Vec<Step>, String> {
    let numbered = (1u32..).zip(steps).map(|(id, step)| {
        let label = match step.name.parse::<u32>() {
            Ok(number) if number != id => {
                return Err(format!(
                    "--step {number}=… comes as step {id}: give the steps in order, from 1 without gaps"
                ));
            }
            Ok(_) => None,
            Err(_) => Some(step.name.clone()),
        };
        Ok(Step { id, label, nominal_counts_per_inch: step.counts_per_inch })
    });
    numbered.collect()
}

/// One `--phase`.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseArg {
    /// What is asked.
    pub phase: session::Phase,
    /// For how long.
    pub length: Span,
}

impl FromStr for PhaseArg {
    type Err = String;
    fn from_str(text: &str) -> Result<PhaseArg, String> {
        let form = "write it as [STEP:]TASK=TIME[xSWIPES], for example still=10s or 2:fast=30sx15";
        let (what, rest) = text.split_once('=').ok_or_else(|| format!("no \"=\"; {form}"))?;
        let (step, task) = what.split_once(':').unwrap_or(("1", what));
        let step = step.trim().parse().ok().filter(|&step: &u32| step > 0);
        let step = step.ok_or_else(|| format!("the step is no number from 1; {form}"))?;
        let (task, pace) = match task.trim() {
            "still" => (Task::Still, None),
            "identify" => (Task::Identify, None),
            "slow" => (Task::Swipes, Some(Pace::Slow)),
            "medium" => (Task::Swipes, Some(Pace::Medium)),
            "fast" => (Task::Swipes, Some(Pace::Fast)),
            other => return Err(format!("\"{other}\" is none of still, identify, slow, medium, fast")),
        };
        let (length, swipes) = match rest.split_once('x') {
            Some((length, swipes)) => (length, Some(swipes)),
            None => (rest, None),
        };
        let length: Span = length.parse().map_err(|e: crate::units::UnitError| e.to_string())?;
        let count = |text: &str| text.trim().parse().ok().filter(|&n: &u32| n > 0);
        let swipes = match swipes {
            Some(text) => {
                Some(count(text).ok_or_else(|| format!("\"{text}\" is no number of swipes; {form}"))?)
            }
            None => None,
        };
        if task == Task::Still && swipes.is_some() {
            return Err("there are no swipes while it lies still".to_owned());
        }
        Ok(PhaseArg { phase: session::Phase { step, task, pace, swipes, ..empty_phase() }, length })
    }
}

fn empty_phase() -> session::Phase {
    session::Phase { step: 1, task: Task::Still, pace: None, swipes: None, other: Default::default() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_trace::Nanos;

    fn phase(text: &str) -> Result<PhaseArg, String> {
        text.parse()
    }

    #[test]
    fn reads_phases_with_step_and_swipes() {
        let still = phase("still=10s").unwrap();
        assert_eq!((still.phase.step, &still.phase.task, still.phase.pace), (1, &Task::Still, None));
        assert_eq!(still.length, Span(Nanos(10_000_000_000)));
        let fast = phase("2:fast=1.5minx15").unwrap();
        assert_eq!((fast.phase.step, &fast.phase.task), (2, &Task::Swipes));
        assert_eq!((fast.phase.pace, fast.phase.swipes), (Some(Pace::Fast), Some(15)));
        assert_eq!(fast.length, Span(Nanos(90_000_000_000)));
        assert_eq!(phase("identify=5s").unwrap().phase.task, Task::Identify);
    }

    #[test]
    fn refuses_phases_with_a_sentence() {
        for (text, said) in [
            ("still", "no \"=\""),
            ("rest=10s", "none of still, identify"),
            ("still=10", "has no unit"),
            ("0:still=10s", "no number from 1"),
            ("red:still=10s", "no number from 1"),
            ("slow=10sx0", "no number of swipes"),
            ("slow=10sx", "no number of swipes"),
            ("still=10sx3", "lies still"),
        ] {
            let error = phase(text).unwrap_err();
            assert!(error.contains(said), "{text}: {error}");
        }
    }

    #[test]
    fn numbers_steps_as_they_come() {
        let typed: Vec<StepArg> = ["1=1600", "red=800", "green"].map(|s| s.parse().unwrap()).into();
        let steps = numbered_steps(&typed).unwrap();
        let got: Vec<_> =
            steps.iter().map(|s| (s.id, s.label.as_deref(), s.nominal_counts_per_inch)).collect();
        assert_eq!(got, [(1, None, Some(1600.0)), (2, Some("red"), Some(800.0)), (3, Some("green"), None)]);
        let gap: Vec<StepArg> = ["1=1600", "3=800"].map(|s| s.parse().unwrap()).into();
        assert!(numbered_steps(&gap).unwrap_err().contains("in order"));
        for text in ["=1600", "red=fast", "red=0", "red=-5", "red=inf"] {
            assert!(text.parse::<StepArg>().is_err(), "{text}");
        }
    }

    #[test]
    fn the_command_line_is_well_formed() {
        use clap::CommandFactory as _;
        Cli::command().debug_assert();
    }
}
