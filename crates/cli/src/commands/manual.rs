//! `slipgauge completions` and `slipgauge manual`: what shells and `man` want to know, made of the options themselves.

use super::Status;
use crate::args::Cli;
use clap::{Args, CommandFactory as _};
use clap_complete::Shell;
use std::io::Write as _;

/// Options of `completions`.
#[derive(Debug, Args)]
#[command(after_help = COMPLETIONS)]
pub struct CompletionsArgs {
    /// For which shell.
    #[arg(value_enum)]
    pub shell: Shell,
}

const COMPLETIONS: &str = "\
Examples:
  slipgauge completions bash > ~/.local/share/bash-completion/completions/slipgauge
  slipgauge completions fish > ~/.config/fish/completions/slipgauge.fish

Exit status: 0 written; 2 wrong usage.";

/// Options of `manual`.
#[derive(Debug, Args)]
#[command(after_help = MANUAL)]
pub struct ManualArgs {
    /// The page of one command; without it that of the whole.
    #[arg(value_name = "COMMAND")]
    pub command: Option<String>,
}

const MANUAL: &str = "\
Examples:
  slipgauge manual | man -l -
  slipgauge manual examine > slipgauge-examine.1

Exit status: 0 written; 2 wrong usage, or no such command.";

/// Writes a shell's completions.
pub fn completions(args: &CompletionsArgs) -> anyhow::Result<Status> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "slipgauge", &mut text);
    std::io::stdout().write_all(&text)?;
    Ok(Status::Ok)
}

/// Writes a manual page.
///
/// # Errors
/// If there is no such command.
pub fn manual(args: &ManualArgs) -> anyhow::Result<Status> {
    let whole = Cli::command();
    let page = match &args.command {
        None => whole,
        Some(name) => {
            let found = whole.find_subcommand(name).cloned();
            let found = found
                .ok_or_else(|| anyhow::anyhow!("there is no command {name}; slipgauge help lists them"))?;
            found.display_name(format!("slipgauge-{name}")).bin_name(format!("slipgauge {name}"))
        }
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page).render(&mut text)?;
    std::io::stdout().write_all(&text)?;
    Ok(Status::Ok)
}
