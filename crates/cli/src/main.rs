//! `slipgauge`: the command line. Arguments in, guidance and exit status out; the work is done below.
//!
//! Exit status: what the command says it is; 2 for any error, which goes to stderr as one sentence with its causes. An
//! output that nobody reads any more (`slipgauge … | head`) is no error.

mod args;
mod commands;
mod plan_args;
mod units;

use clap::Parser as _;
use std::io::Write as _;
use std::process::ExitCode;

fn main() -> ExitCode {
    match commands::run(args::Cli::parse().command) {
        Ok(status) => ExitCode::from(status as u8),
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "slipgauge: {}", sentence(&error));
            ExitCode::from(commands::Status::Usage as u8)
        }
    }
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    let io = |cause: &(dyn std::error::Error + 'static)| {
        cause.downcast_ref::<std::io::Error>().map(std::io::Error::kind)
    };
    error.chain().any(|cause| io(cause) == Some(std::io::ErrorKind::BrokenPipe))
}

/// The error with its causes, less those that it has already told.
fn sentence(error: &anyhow::Error) -> String {
    error.chain().fold(String::new(), |told, cause| {
        let cause = cause.to_string();
        match told.as_str() {
            "" => cause,
            before if before.contains(&cause) => told,
            before => format!("{before}: {cause}"),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_each_cause_once() {
        let cause = std::io::Error::other("no space");
        let error = anyhow::Error::from(cause).context("a.ndjson: no space").context("recording");
        assert_eq!(sentence(&error), "recording: a.ndjson: no space");
    }
}
