//! One file a command.

mod devices;
mod record;

use crate::args::Command;

/// Exit status of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Done.
    Ok = 0,
    /// Wrong usage, or a device that is refused.
    Usage = 2,
    /// The device went away; what it sent until then is kept.
    Gone = 4,
}

/// Runs one command.
///
/// # Errors
/// Whatever ends it early; the caller says it and exits with [`Status::Usage`].
pub fn run(command: Command) -> anyhow::Result<Status> {
    match command {
        Command::Devices => devices::run(),
        Command::Record(args) => record::run(&args),
    }
}
