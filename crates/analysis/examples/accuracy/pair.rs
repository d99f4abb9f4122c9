//! Lag and strike lag against a reference, held against the truth: bias, cover, and the smallest lag that is told.

use crate::run::{parallel, run};
use crate::space::{Dice, Fixed, Scene};
use crate::studies::Plan;
use crate::table::{Table, share};
use slipgauge_analysis::stats::{mean_sd, quantile};
use slipgauge_analysis::verdict::Quantity;
use slipgauge_sim::{DeviceModel, Pace, Script, StepModel};

/// The smallest lag of 20 swipes that the header states, ms.
fn least_lag_ms(own: f64, other: f64) -> f64 {
    (own.max(other) / 20.0).max(0.1)
}

/// And of so many strikes.
fn least_strike_lag_ms(own: f64, other: f64, count: u32) -> f64 {
    5.0 * ((own * own + other * other) / 12.0 + 2.0 * SPREAD_MS * SPREAD_MS).sqrt() / f64::from(count).sqrt()
}

/// Spread of the simulator's switches, ms.
const SPREAD_MS: f64 = 0.1;

/// Report intervals of device and reference in ms, and swipes or strikes.
const SWIPES: &[(f64, f64, u32)] = &[
    (0.125, 1.0, 20),
    (1.0, 0.125, 20),
    (1.0, 1.0, 10),
    (1.0, 1.0, 20),
    (1.0, 1.0, 60),
    (2.0, 0.5, 20),
    (4.0, 1.0, 20),
    (8.0, 1.0, 20),
    (8.0, 8.0, 20),
];
const STRIKES: &[(f64, f64, u32)] =
    &[(0.125, 0.125, 40), (1.0, 0.125, 40), (1.0, 1.0, 10), (1.0, 1.0, 40), (2.0, 1.0, 40), (8.0, 1.0, 40)];

/// What came of one session, ms.
struct Told {
    truth: f64,
    value: f64,
    low: f64,
    high: f64,
}

fn told(truth: f64, q: Quantity) -> Option<Told> {
    let q = q.scaled(1e-6);
    Some(Told { truth, value: q.value, low: q.low?, high: q.high? })
}

/// A pair on a bench without mishaps. The truth is none, the stated smallest, or some other lag either way, in equal parts.
fn scene(seed: u64, name: &str, (own, other): (f64, f64), least_ms: f64) -> (Scene, f64) {
    let mut scene = Scene::sound(seed, name, Fixed { calm: true, ..Fixed::default() });
    let mut d = Dice::new(seed, &format!("{name}, reference"));
    scene.bench.device = scene.bench.device.clone().with_interval_ns((1e6 * own) as i64);
    scene.bench.device.report.bits = 16;
    let mut reference = DeviceModel { mount_rad: d.between(-3.1, 3.1), ..DeviceModel::default() }
        .with_interval_ns((1e6 * other) as i64);
    reference.steps =
        vec![StepModel { nominal_counts_per_inch: d.pick(&[800.0, 1600.0, 3200.0]), ..StepModel::default() }];
    reference.link.clock_error = d.between(-2e-4, 2e-4);
    reference.report.bits = 16;
    let lag_ms = match d.pick(&[0, 1, 2]) {
        0 => 0.0,
        1 => least_ms * d.pick(&[-1.0, 1.0]),
        _ => d.between(-5.0, 15.0),
    };
    scene.bench.reference = Some(reference);
    (scene, lag_ms)
}

fn swipes(seed: u64, (own, other, count): (f64, f64, u32)) -> Option<Told> {
    let (mut scene, lag_ms) = scene(seed, "lag", (own, other), least_lag_ms(own, other));
    let (slow, fast) = (count / 5, count - count / 5);
    scene.bench.script =
        Script::default().swipes(1, Pace::Slow, slow, 0.4).swipes(1, Pace::Fast, fast, scene.fast_m_s);
    scene.bench.device.lag_ns = (1e6 * lag_ms.max(0.0)) as i64;
    if let Some(reference) = &mut scene.bench.reference {
        reference.lag_ns = (1e6 * (-lag_ms).max(0.0)) as i64;
    }
    // A sensor that looks every so often knows of motion half a frame later on the average; that is lag as well.
    let frames = |device: &DeviceModel| 0.5e-6 * device.sensor.frame_ns as f64;
    let by_frames = scene.bench.reference.as_ref().map_or(0.0, |r| frames(&scene.bench.device) - frames(r));
    told(lag_ms + by_frames, run(scene).ok()?.verdict.pair?.lag_ns?)
}

fn strikes(seed: u64, (own, other, count): (f64, f64, u32)) -> Option<Told> {
    let (mut scene, lag_ms) = scene(seed, "strike lag", (own, other), least_strike_lag_ms(own, other, count));
    scene.bench.script = Script::default().swipes(1, Pace::Slow, 4, 0.4).strikes(1, count);
    scene.bench.device.firmware.buttons.lag_s += 1e-3 * lag_ms.max(0.0);
    if let Some(reference) = &mut scene.bench.reference {
        reference.firmware.buttons.lag_s += 1e-3 * (-lag_ms).max(0.0);
    }
    told(lag_ms, run(scene).ok()?.verdict.pair?.strike_lag_ns?)
}

fn row(table: &mut Table, of: &str, kind: (f64, f64, u32), all: &[Option<Told>], least_ms: f64) {
    let known: Vec<&Told> = all.iter().flatten().collect();
    let errors: Vec<f64> = known.iter().map(|t| t.value - t.truth).collect();
    let halves: Vec<f64> = known.iter().map(|t| 0.5 * (t.high - t.low)).collect();
    let holds = known.iter().filter(|t| t.low <= t.truth && t.truth <= t.high).count();
    // Frames of different rates are up to 0.04 ms apart.
    let near = |t: &&&Told| (t.truth.abs() - least_ms).abs() < 0.05;
    let smallest: Vec<&&Told> = known.iter().filter(near).collect();
    let seen = smallest.iter().filter(|t| if t.truth > 0.0 { t.low > 0.0 } else { t.high < 0.0 }).count();
    let bias = mean_sd(&errors).map_or_else(
        || "–".to_owned(),
        |(mean, sd)| format!("{mean:+.4} ± {:.4} ms", sd / (errors.len() as f64).sqrt()),
    );
    let half = |p| quantile(&halves, p).map_or_else(|| "–".to_owned(), |h| format!("{h:.3}"));
    table.row(&[
        of.to_owned(),
        format!("{} / {} ms", kind.0, kind.1),
        kind.2.to_string(),
        known.len().to_string(),
        share(holds, known.len()),
        bias,
        format!("{}, {} ms", half(0.5), half(0.95)),
        format!("{least_ms:.2} ms: {}", share(seen, smallest.len())),
        (all.len() - known.len()).to_string(),
    ]);
}

/// The study.
pub fn study(plan: &Plan) -> String {
    if !plan.wants("pair") {
        return String::new();
    }
    let heads = [
        "what",
        "intervals, device / reference",
        "swipes or strikes",
        "n",
        "95 % interval covers (exact 95 % interval)",
        "bias ± standard error",
        "half width, median and 95 % of sessions",
        "stated smallest: interval clear of none",
        "no interval",
    ];
    let mut table = Table::new("Against a reference", &heads);
    for kind in SWIPES {
        let all = parallel("lag", plan.cell(), plan.quiet, |i| swipes(plan.from + i as u64, *kind));
        row(&mut table, "lag", *kind, &all, least_lag_ms(kind.0, kind.1));
    }
    for kind in STRIKES {
        let all = parallel("strike lag", plan.cell(), plan.quiet, |i| strikes(plan.from + i as u64, *kind));
        row(&mut table, "strike lag", *kind, &all, least_strike_lag_ms(kind.0, kind.1, kind.2));
    }
    table.text()
}
