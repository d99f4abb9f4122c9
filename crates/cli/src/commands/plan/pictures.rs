//! What is drawn: from plan and study to what the report's pictures show.

use crate::commands::picture;
use anyhow::Context as _;
use slipgauge_guide::TestPlan;
use slipgauge_guide::study::{Chance, Curve, Row, Study};
use slipgauge_guide::travel::{From, millimetres};
use slipgauge_report::chances;
use slipgauge_report::figure::{self, chance};
use slipgauge_report::page::{self, Paper, Stops};
use slipgauge_trace::session::Pace;
use std::path::{Path, PathBuf};

/// Draws the page, a file a sheet: `stops.svg`, or `stops-1.svg` and so on. Gives the files' names.
pub fn page(plan: &TestPlan, paper: Paper, path: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let body = match plan.travel.from {
        From::GapBody { body_um, .. } => Some(body_um as f64 * 1e-3),
        From::Ruler | From::File(_) => None,
    };
    let stops = Stops { travel: plan.travel.metres().millimetres(), body, said: plan.travel.sentence() };
    let sheets = page::svgs(&stops, paper).map_err(|_| {
        anyhow::anyhow!(
            "--page: a travel of {} mm takes more sheets than anybody tapes together; lay it out with a tape measure",
            millimetres(plan.travel.um)
        )
    })?;
    let one = sheets.len() == 1;
    let name = |i: usize| {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let ending = path.extension().map_or_else(|| "svg".into(), |ending| ending.to_string_lossy());
        if one { path.to_owned() } else { path.with_file_name(format!("{stem}-{}.{ending}", i + 1)) }
    };
    let write = |(i, sheet): (usize, &String)| {
        let path = name(i);
        std::fs::write(&path, sheet).with_context(|| format!("{}", path.display()))?;
        Ok(path)
    };
    sheets.iter().enumerate().map(write).collect()
}

/// Draws the study.
pub fn study(plan: &TestPlan, study: &Study, path: &Path) -> anyhow::Result<()> {
    picture::write(path, drawn(plan, study), 1.5)
}

fn drawn(plan: &TestPlan, study: &Study) -> String {
    let panels: Vec<chance::Panel> = study.curves.iter().map(|curve| panel(curve, study)).collect();
    let fast = plan.paced(Pace::Fast);
    let swipes = fast
        .map_or_else(String::new, |fast| format!(", {} fast swipes at {:.2} m/s", fast.swipes, fast.peak.0));
    let steps = plan.steps.len();
    let said = [
        format!(
            "{} step{}{swipes}, {} s still, travel {} mm",
            steps,
            if steps == 1 { "" } else { "s, at each" },
            figure::number(plan.still.seconds()),
            millimetres(plan.travel.um)
        ),
        format!(
            "{} simulated sessions for each size: lens: exact 95 % interval · line: sessions that fail · ring: found at all",
            study.sessions
        ),
    ];
    let foot = format!(
        "simulated hand and device: reports every {} ms, stops ± {} mm, seed {}; slipgauge {}",
        figure::number(study.interval.seconds() * 1e3),
        figure::number(study.stops.millimetres()),
        study.seed,
        env!("CARGO_PKG_VERSION")
    );
    chances::svg("How often this test finds a fault", &said, &panels, &foot)
}

fn chance(chance: Chance) -> chance::Chance {
    chance::Chance { value: chance.value(), low: chance.low, high: chance.high }
}

fn panel(curve: &Curve, study: &Study) -> chance::Panel {
    let point =
        |row: &Row| chance::Point { size: row.size, fails: chance(row.fails), seen: row.seen.value() };
    chance::Panel {
        name: curve.fault.to_owned(),
        what: curve.what.to_owned(),
        unit: curve.unit.to_owned(),
        points: curve.rows.iter().map(point).collect(),
        tolerated: curve.tolerated,
        sound: chance(study.sound.fails),
    }
}
