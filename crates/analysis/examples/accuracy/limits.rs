//! The tracking limit held against the sensor's: values that cover, bounds that hold, by report interval.

use crate::cases::limit;
use crate::intervals::{COVERAGE, Held, held, limit_rows};
use crate::run::{Ran, parallel, run};
use crate::space::{Fixed, Scene};
use crate::studies::Plan;
use crate::table::Table;
use slipgauge_sim::{Gain, Loss};

/// Names, and how they are laid into a scene; the sensor's limit is `tracking.max_speed_m_s`.
type Kind = (&'static str, fn(&mut Scene));

/// What limits are tried on.
const KINDS: &[Kind] = &[
    ("0.9 of peak", |s| limit(s, 0.9, Loss::Silent)),
    ("0.75 of peak", |s| limit(s, 0.75, Loss::Silent)),
    ("0.5 of peak", |s| limit(s, 0.5, Loss::Silent)),
    ("0.5 of peak, scatter 6 %", |s| {
        limit(s, 0.5, Loss::Silent);
        s.bench.device.sensor.tracking.scatter = 0.06;
    }),
    ("1.05 of peak", |s| limit(s, 1.05, Loss::Silent)),
    ("1.3 of peak", |s| limit(s, 1.3, Loss::Silent)),
    ("0.6 of peak, gain sags by 15 %", |s| {
        limit(s, 0.6, Loss::Silent);
        let v = 0.6 * s.fast_m_s;
        s.bench.device.sensor.gain = Gain::Curve(vec![(0.85 * v, 1.0), (v, 0.85)]);
    }),
    ("0.6 of peak, a third goes on", |s| limit(s, 0.6, Loss::Partial { share: 0.33 })),
    ("0.6 of peak, counts up to it", |s| limit(s, 0.6, Loss::Saturated)),
    ("acceleration, 0.8 of its peak", |s| {
        let tracking = &mut s.bench.device.sensor.tracking;
        tracking.max_acceleration_m_s2 = 0.8 * 1.64 * s.fast_m_s * s.fast_m_s / 0.3;
        tracking.hold_s = 0.02;
    }),
    ("acceleration, 0.5 of its peak", |s| {
        let tracking = &mut s.bench.device.sensor.tracking;
        tracking.max_acceleration_m_s2 = 0.5 * 1.64 * s.fast_m_s * s.fast_m_s / 0.3;
        tracking.hold_s = 0.02;
    }),
    ("field full at 1.02 of the limit", |s| {
        limit(s, 0.7, Loss::Silent);
        let v = 0.7 * s.fast_m_s;
        s.bench.device.steps[0].nominal_counts_per_inch = 127.0 * 0.0254 / (1.02 * v * s.interval_s());
        s.bench.device.report.bits = 8;
        s.bench.device.mount_rad = 0.0;
    }),
];

/// Report intervals looked at apart, nanoseconds.
const INTERVALS: &[(&str, &[i64])] = &[
    ("to 1 ms", &[125_000, 250_000, 500_000, 1_000_000]),
    ("2 ms", &[2_000_000]),
    ("4 ms", &[4_000_000]),
    ("8 ms", &[8_000_000]),
];

/// A value or a bound, held against the truth.
fn one(ran: &Ran) -> Option<Held> {
    let q = ran.step()?.tracking_limit_m_s?;
    let truth = ran.truth.bench.device.sensor.tracking.max_speed_m_s;
    let mut held = held(q, truth, q.value / truth - 1.0);
    held.half /= truth;
    Some(held)
}

/// The table: calm benches and all of them.
pub fn study(plan: &Plan) -> String {
    let name = "tracking limit";
    if !plan.wants(name) {
        return String::new();
    }
    let n = (plan.sessions / 40).max(4);
    let mut table = Table::new("Tracking limit by kind and report interval (20 fast swipes)", COVERAGE);
    let mut seen = String::new();
    for calm in [true, false] {
        for (kind, apply) in KINDS {
            for (interval, ns) in INTERVALS {
                let all: Vec<(Option<Held>, u64)> = parallel(kind, n, plan.quiet, |i| {
                    let seed = plan.from + i as u64;
                    let mut scene = Scene::sound(seed, name, Fixed { calm, ..Fixed::default() });
                    let counts = scene.bench.device.steps[0].nominal_counts_per_inch;
                    scene.with_rates(ns[i % ns.len()], counts);
                    apply(&mut scene);
                    run(scene).ok().map(|ran| (one(&ran), seed))
                })
                .into_iter()
                .flatten()
                .collect();
                let bench = if calm { "calm" } else { "any" };
                let row = format!("{kind}, {interval}, {bench} bench");
                limit_rows(&mut table, &row, &all.iter().map(|(held, _)| *held).collect::<Vec<_>>());
                let off = all.iter().filter(|(held, _)| held.is_some_and(|h| !h.covered));
                let off: Vec<String> = off.map(|(_, seed)| seed.to_string()).collect();
                if !off.is_empty() {
                    seen += &format!("- {row}: {}\n", off.join(" "));
                }
            }
        }
    }
    table.text() + "\nSeeds that do not cover:\n\n" + &seen
}
