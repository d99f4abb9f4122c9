//! One file a command.

mod compare;
mod demo;
mod devices;
mod evidence;
mod examine;
mod export;
mod judge;
mod manual;
mod picture;
mod plan;
mod plate;
mod record;
mod report;
mod simulate;

pub use compare::CompareArgs;
pub use demo::DemoArgs;
pub use devices::DevicesArgs;
pub use evidence::EvidenceArgs;
pub use examine::ExamineArgs;
pub use export::ExportArgs;
pub use judge::{JudgeArgs, read as read_recording};
pub use manual::{CompletionsArgs, ManualArgs};
pub use plan::PlanCommand;
pub use plate::PlateArgs;
pub use report::ReportArgs;
pub use simulate::SimulateArgs;

use crate::args::Command;
use slipgauge_trace::outside::harmless;
use std::path::Path;

/// Exit status of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Done.
    Ok = 0,
    /// A device that fails.
    Fail = 1,
    /// Wrong usage, or a device that is refused.
    Usage = 2,
    /// A verdict that is neither pass nor fail.
    Open = 3,
    /// The device went away; what it sent until then is kept.
    Gone = 4,
}

/// Runs one command.
///
/// # Errors
/// Whatever ends it early; the caller says it and exits with [`Status::Usage`].
pub fn run(command: Command) -> anyhow::Result<Status> {
    match command {
        Command::Compare(args) => compare::run(&args),
        Command::Demo(args) => demo::run(&args),
        Command::Devices(args) => devices::run(&args),
        Command::Evidence(args) => evidence::run(&args),
        Command::Examine(args) => examine::run(&args),
        Command::Export(args) => export::run(&args),
        Command::Judge(args) => judge::run(&args),
        Command::Completions(args) => manual::completions(&args),
        Command::Manual(args) => manual::manual(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Plate(args) => plate::run(&args),
        Command::Record(args) => record::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Simulate(args) => simulate::run(&args),
    }
}

/// A path as it may be shown.
fn shown(path: &Path) -> String {
    harmless(&path.display().to_string())
}

/// The time, as session files have it.
fn now() -> String {
    format!("{:.0}", jiff::Timestamp::now())
}
