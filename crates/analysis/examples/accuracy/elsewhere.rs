//! Sound devices on other benches than [`crate::space`] draws: what a detector must not take for granted.
//!
//! Travel of 100 to 500 mm, a device that lies at any angle, strikes at up to nine tenths of the peak, a dwell of 0.12 to
//! 1.5 s, peaks that scatter by up to a fifth; report intervals and resolutions that the space leaves out (5 to 12 ms, 300
//! to 26,000 counts per inch); a reader that is late by a tenth of an interval, or in one session of four by up to 1 ms
//! whatever the interval. No hand beyond what an arm can do: minimum jerk of peak speed v over D reaches 1.64 v²/D
//! (Flash & Hogan 1985), and that is held below 60 m/s² (common practice, no source).

use crate::run::{parallel, run};
use crate::score;
use crate::space::{Dice, Fixed, INCH, Scene};
use crate::studies::{Plan, by_family, named, seeds};
use crate::table::{Table, share};
use slipgauge_sim::{Pace, ReportFormat, Script};
use std::f64::consts::PI;

pub fn scene(seed: u64) -> Scene {
    let mut scene = Scene::sound(seed, "sound", Fixed { fast: 60, ..Fixed::default() });
    let mut d = Dice::new(seed, "elsewhere");
    let bench = &mut scene.bench;
    bench.travel.told_um = d.pick(&[100_000, 150_000, 200_000, 400_000, 500_000]);
    let travel_m = 1e-6 * bench.travel.told_um as f64;
    bench.hand.peak_scatter = d.between(0.02, 0.2);
    bench.hand.arrival = d.between(0.0, 0.9);
    bench.hand.dwell_s = d.between(0.12, 1.5);
    let most_m_s = (60.0 * travel_m / 1.64).sqrt() / (1.0 + 2.0 * bench.hand.peak_scatter);
    let (slow, medium) = (d.between(0.2, 0.5), d.between(0.7, 1.3).min(0.7 * most_m_s));
    scene.fast_m_s = scene.fast_m_s.min(most_m_s);
    bench.script = Script::default()
        .still(1, 10.0)
        .swipes(1, Pace::Slow, 10, slow)
        .swipes(1, Pace::Medium, 10, medium)
        .swipes(1, Pace::Fast, 60, scene.fast_m_s);
    let interval_ns =
        d.pick(&[125_000, 500_000, 1_000_000, 2_000_000, 5_000_000, 7_000_000, 10_000_000, 12_000_000]);
    let mut nominal = d.pick(&[300.0, 500.0, 1000.0, 2400.0, 5000.0, 12_000.0, 26_000.0]);
    // No peak that a field of 16 bits could not hold, a skewed one included.
    let top_m_s = 1.5 * scene.fast_m_s * (1.0 + 4.0 * bench.hand.peak_scatter);
    if top_m_s * nominal / INCH * interval_ns as f64 * 1e-9 > 32_767.0 {
        nominal = 1000.0;
    }
    bench.device = bench.device.clone().with_interval_ns(interval_ns);
    bench.device.mount_rad = d.between(-PI, PI);
    bench.device.report = ReportFormat { bits: 16, ..ReportFormat::default() };
    bench.device.steps[0].nominal_counts_per_inch = nominal;
    bench.device.link.jitter_ns = d.between(0.2e3, 0.005 * interval_ns as f64);
    let late_ns = if d.chance(0.25) { 1e6 } else { 0.1 * interval_ns as f64 };
    bench.host.delay_spread_ns = d.log_between(2e3, late_ns);
    bench.host.delay_ns = (3.0 * bench.host.delay_spread_ns) as i64;
    scene
}

/// The study.
pub fn study(plan: &Plan) -> String {
    if !plan.wants("elsewhere") {
        return String::new();
    }
    let n = plan.sessions.div_ceil(10);
    let all = parallel("elsewhere", n, plan.quiet, |i| {
        run(scene(plan.from + i as u64)).map(|r| score::session(&r))
    });
    let all: Vec<score::Tally> = all.into_iter().flatten().collect();
    let mut table = Table::new(
        "Sound devices on other benches, 60 fast swipes",
        &["what", "share (exact 95 % interval)"],
    );
    let count = |what: &dyn Fn(&score::Tally) -> bool| all.iter().filter(|t| what(t)).count();
    let mut row = |what: &str, k| table.row(&[what.to_owned(), share(k, n)]);
    row("any family fails", count(&|t| !t.failing.is_empty()));
    row("passes", count(&|t| t.passes));
    row("any finding", count(&|t| !t.invented.is_empty()));
    row("a swipe reported as unplaced", count(&|t| t.unplaced > 0));
    let mut out = table.text();
    let invented = by_family(all.iter().flat_map(|t| t.invented.iter().copied()));
    out += &format!("\nFindings invented per 1000 (n = {n}): {}.\n", named(&invented, n));
    out += &format!(
        "\nSeeds: fails {}; findings {}\n",
        seeds(plan, &all, |t| !t.failing.is_empty()),
        seeds(plan, &all, |t| !t.invented.is_empty())
    );
    out
}
