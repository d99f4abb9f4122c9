//! How fast sessions are made: one hour at 8 kHz, and a minute at 1 kHz.
//!
//!     cargo run --release -p slipgauge-sim --example speed

use slipgauge_sim::{Bench, DeviceModel, Pace, Script};
use std::error::Error;
use std::io::{self, Write};
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let hour =
        Script::default().still(1, 60.0).swipes(1, Pace::Slow, 1500, 0.4).swipes(1, Pace::Fast, 2000, 2.5);
    let minute = Script::screen(1);
    for (what, script, interval_ns) in [("an hour", hour, 125_000), ("a screening test", minute, 1_000_000)] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let session = Bench { script, device, ..Bench::default() }.session()?;
        let begin = Instant::now();
        let (mut reports, mut end) = (0u64, 0);
        for entry in session.entries() {
            reports += 1;
            end = entry.t.0;
        }
        let made = begin.elapsed().as_secs_f64();
        let begin = Instant::now();
        session.write_to(io::sink())?;
        let written = begin.elapsed().as_secs_f64();
        writeln!(
            io::stdout(),
            "{what}, {} µs: {:.0} s of session, {reports} entries, made in {made:.3} s, written in {written:.3} s",
            interval_ns / 1000,
            end as f64 * 1e-9
        )?;
    }
    // Peak resident memory, where the system tells.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        for line in status.lines().filter(|line| line.starts_with("VmHWM")) {
            writeln!(io::stdout(), "{line}")?;
        }
    }
    Ok(())
}
