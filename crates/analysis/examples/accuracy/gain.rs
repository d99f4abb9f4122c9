//! How small a gain change the contrast of fast over slow swipes resolves, by stop scatter.

use crate::cases::set_contrast;
use crate::run::{parallel, run};
use crate::space::{Fixed, Scene};
use crate::studies::Plan;
use crate::table::{Table, short};
use slipgauge_analysis::stats::quantile;
use slipgauge_analysis::verdict::{Family, Outcome};

/// How small a gain change is resolved, by stop scatter.
pub fn study(plan: &Plan) -> String {
    if !plan.wants("gain contrast") {
        return String::new();
    }
    let n = (plan.sessions / 80).clamp(1, 300);
    let heads = [
        "stop scatter",
        "true contrast",
        "n",
        "family fails",
        "family passes",
        "0 outside the interval",
        "half width, median",
        "half width, 95th percentile",
    ];
    let mut table =
        Table::new("Gain contrast resolved (calm, straight edge, 10 slow and 20 fast swipes)", &heads);
    for scatter_mm in [0.15, 0.7, 1.0] {
        for percent in [0.0, 0.25, 0.5, 1.0, 1.5, 2.25, 2.5, 3.0, 3.5] {
            let all: Vec<_> =
                parallel(&format!("gain contrast {percent} % at {scatter_mm} mm"), n, plan.quiet, |i| {
                    let fixed = Fixed { calm: true, scatter_m: Some(1e-3 * scatter_mm), ..Fixed::default() };
                    let mut scene = Scene::sound(plan.from + i as u64, "gain contrast", fixed);
                    set_contrast(&mut scene, 0.01 * percent);
                    let ran = run(scene).ok()?;
                    let q = ran.family(Family::GainChange)?.estimate?;
                    Some((
                        ran.family(Family::GainChange)?.verdict,
                        q.low? > 0.0 || q.high? < 0.0,
                        q.high? - q.low?,
                    ))
                })
                .into_iter()
                .flatten()
                .collect();
            let count = |outcome| all.iter().filter(|(o, _, _)| *o == outcome).count();
            let halves: Vec<f64> = all.iter().map(|(_, _, w)| 50.0 * w).collect();
            let at = |q| quantile(&halves, q).map_or("–".to_owned(), |h| format!("{h:.3} %"));
            table.row(&[
                format!("{scatter_mm} mm"),
                format!("{percent} %"),
                all.len().to_string(),
                short(count(Outcome::Fail), all.len()),
                short(count(Outcome::Pass), all.len()),
                short(all.iter().filter(|(_, apart, _)| *apart).count(), all.len()),
                at(0.5),
                at(0.95),
            ]);
        }
    }
    table.text()
}
