//! The accuracy table: simulated sessions whose truth is known, judged, and held against it.
//!
//!     cargo run --release -p slipgauge-analysis --example accuracy -- --short
//!
//! Owns the command line. `space` draws sessions, `cases` lays faults into them, `run` runs them, `score` compares,
//! `studies` sums up, `table` prints. All shares carry exact 95 % intervals (Clopper & Pearson 1934). Detectors are
//! tuned on seeds below 10,000; the table is made from seeds from 10,000 on.

#![allow(clippy::print_stdout, reason = "its output is the table")]

#[path = "accuracy/cases.rs"]
mod cases;
#[path = "accuracy/dump.rs"]
mod dump;
#[path = "accuracy/elsewhere.rs"]
mod elsewhere;
#[path = "accuracy/gain.rs"]
mod gain;
#[path = "accuracy/intervals.rs"]
mod intervals;
#[path = "accuracy/limits.rs"]
mod limits;
#[path = "accuracy/near.rs"]
mod near;
#[path = "accuracy/pair.rs"]
mod pair;
#[path = "accuracy/run.rs"]
mod run;
#[path = "accuracy/score.rs"]
mod score;
#[path = "accuracy/space.rs"]
mod space;
#[path = "accuracy/studies.rs"]
mod studies;
#[path = "accuracy/table.rs"]
mod table;

use std::error::Error;
use std::time::Instant;
use studies::Plan;

/// Seeds from here on are for reporting.
const REPORT_FROM: u64 = 10_000;
/// Sound sessions of the whole table.
const WHOLE: usize = 8_000;
/// The short table's share.
const SHORT: usize = 40;

fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let mut plan = Plan { sessions: WHOLE, from: REPORT_FROM, only: String::new(), size: None, quiet: false };
    let (mut seed, mut case, mut path) = (None, String::from("sound"), None);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or(format!("{word} wants a value"));
        match word.as_str() {
            "--short" => plan.sessions = WHOLE / SHORT,
            "--sessions" => plan.sessions = value()?.parse()?,
            "--seeds" => plan.from = value()?.parse()?,
            "--only" => plan.only = value()?,
            "--dump" => seed = Some(value()?.parse()?),
            "--case" => case = value()?,
            "--size" => plan.size = Some(value()?.parse()?),
            "--save" => path = Some(value()?),
            _ => return Err(format!("unknown: {word}; scripts/accuracy says what there is").into()),
        }
    }
    if let Some(seed) = seed {
        println!("{}", dump::session(seed, &case, plan.size, path.as_deref())?);
        return Ok(());
    }
    let begin = Instant::now();
    let kind = if plan.from < REPORT_FROM { "tuning" } else { "reporting" };
    println!("## Accuracy on simulated sessions\n");
    println!(
        "{} sound sessions; {kind} seeds from {}. Shares with exact 95 % intervals.",
        plan.sessions, plan.from
    );
    println!("{}", studies::sound(&plan));
    println!("{}", elsewhere::study(&plan));
    println!("{}", studies::near(&plan));
    println!("{}", studies::families(&plan));
    println!("{}", gain::study(&plan));
    println!("{}", limits::study(&plan));
    println!("{}", pair::study(&plan));
    println!("Made in {:.0} s.", begin.elapsed().as_secs_f64());
    Ok(())
}
