//! One session, truth and verdict beside each other, for finding out what went wrong.

use crate::cases::{CASES, set_contrast};
use crate::elsewhere;
use crate::near::NEAR;
use crate::run::{self, run};
use crate::score::{overlap, spelled};
use crate::space::{Fixed, Scene};
use crate::studies::{case_scene, sound_scene};
use slipgauge_sim::Family as TrueFamily;
use slipgauge_trace::session::Writer;
use std::error::Error;
use std::fmt::Write as _;
use std::fs::File;
use std::io::BufWriter;

fn scene(seed: u64, name: &str, size: Option<f64>) -> Result<Scene, String> {
    if name == "sound" {
        return Ok(sound_scene(seed));
    }
    if name == "elsewhere" {
        return Ok(elsewhere::scene(seed));
    }
    if name == "gain contrast" {
        let fixed = Fixed { calm: true, scatter_m: Some(0.7e-3), ..Fixed::default() };
        let mut scene = Scene::sound(seed, name, fixed);
        set_contrast(&mut scene, size.unwrap_or(0.005));
        return Ok(scene);
    }
    if let Some((name, _, apply)) = NEAR.iter().find(|(n, _, _)| *n == name) {
        let mut scene = Scene::sound(seed, name, Fixed::default());
        apply(&mut scene);
        return Ok(scene);
    }
    let case = CASES.iter().find(|c| c.name == name).ok_or_else(|| {
        let names: Vec<&str> = CASES.iter().map(|c| c.name).chain(NEAR.iter().map(|n| n.0)).collect();
        format!("no case {name:?}; there are: sound, elsewhere, gain contrast, {}", names.join(", "))
    })?;
    Ok(case_scene(case, size.or(case.sizes.first().copied()).unwrap_or(1.0), seed))
}

/// Writes the session of a scene to a file.
fn save(scene: &Scene, path: &str) -> Result<(), Box<dyn Error + Send + Sync>> {
    let (session, header) = run::session(scene)?;
    let mut writer = Writer::new(BufWriter::new(File::create(path)?), &header)?;
    for entry in session.entries() {
        writer.write(&entry)?;
    }
    Ok(writer.flush()?)
}

/// Describes a session of a case, and writes it to a file if there is a name for it.
pub fn session(
    seed: u64,
    name: &str,
    size: Option<f64>,
    path: Option<&str>,
) -> Result<String, Box<dyn Error + Send + Sync>> {
    let scene = scene(seed, name, size)?;
    if let Some(path) = path {
        save(&scene, path)?;
    }
    let mut out = format!("straight edge {}, fast {:.2} m/s\n", scene.straight_edge, scene.fast_m_s);
    let bench = &scene.bench;
    writeln!(out, "hand {:?}\nhost {:?}\ndevice {:?}", bench.hand, bench.host, bench.device)?;
    writeln!(
        out,
        "counts per slot at the fast peak: {:.1}",
        scene.fast_m_s * scene.counts_per_m() * scene.interval_s()
    )?;
    let ran = run(scene)?;
    writeln!(out, "\nTRUTH: travel {:.3} mm", 1e3 * ran.truth.travel_m)?;
    for label in &ran.truth.labels {
        let place = match (label.phase, label.swipe) {
            (Some(phase), Some(swipe)) => format!("phase {phase} swipe {swipe}"),
            (Some(phase), None) => format!("phase {phase}"),
            _ => String::from("session"),
        };
        let (begin, end) = (label.begin_ns as f64 * 1e-9, label.end_ns as f64 * 1e-9);
        let kind = if label.family == TrueFamily::Host { "recorded stall" } else { &label.kind };
        let here = ran.verdict.findings.iter().filter(|f| overlap(label, f));
        let here: Vec<String> = here.map(|f| format!("{} {}", spelled(f.family), f.kind)).collect();
        let here = if here.is_empty() { "NOTHING".to_owned() } else { here.join(", ") };
        let head = format!("[found: {here}] {} {kind} {place} {begin:.4}-{end:.4} s", spelled(label.family));
        writeln!(
            out,
            "  {head} {:.3} {} cause {} {:?}",
            label.size,
            label.unit,
            spelled(label.cause),
            label.detail
        )?;
    }
    let mut strange = 0;
    for found in &ran.swipes {
        let mut made = ran.truth.swipes.iter().filter(|s| s.phase == found.phase);
        let same = made.find(|s| s.begin_ns < found.span.1 && found.span.0 < s.end_ns);
        let made_mm = same.map_or(0.0, |s| 1e3 * s.travel_m);
        if same.is_none_or(|s| s.swipe != found.number) || (made_mm - found.along_mm).abs() > 3.0 {
            strange += 1;
            let (begin, end) = (found.span.0 as f64 * 1e-9, found.span.1 as f64 * 1e-9);
            let made = same.map(|s| (s.swipe, s.begin_ns as f64 * 1e-9, s.end_ns as f64 * 1e-9));
            let head = format!("phase {} swipe {} {begin:.4}-{end:.4} s", found.phase, found.number);
            writeln!(out, "  found {head} {:.2} mm, made {made:.4?} {made_mm:.2} mm", found.along_mm)?;
        }
    }
    writeln!(
        out,
        "  swipes found {} (unlike the truth: {strange}), made {}",
        ran.swipes.len(),
        ran.truth.swipes.len()
    )?;
    let verdict = &ran.verdict;
    writeln!(out, "\nVERDICT: {:?}: {}", verdict.verdict, verdict.because)?;
    for step in &verdict.steps {
        writeln!(
            out,
            "  {:?} {:?}\n  resolution {:?} interval {:?}",
            step.swipes, step.swept, step.resolution_counts_per_inch, step.report_interval_ns
        )?;
        writeln!(out, "  tracking limit {:?}", step.tracking_limit_m_s)?;
        for f in &step.families {
            writeln!(
                out,
                "  {:?} {:?} {:?} cause {:?}: {} {:?}",
                f.family, f.verdict, f.estimate, f.cause, f.because, f.to_settle
            )?;
        }
    }
    for f in &verdict.findings {
        let (begin, end) = (f.begin_ns as f64 * 1e-9, f.end_ns as f64 * 1e-9);
        let head =
            format!("{:?} {} phase {} swipe {:?} {begin:.4}-{end:.4} s", f.family, f.kind, f.phase, f.swipe);
        writeln!(out, "  {head} {:.3} {} cause {:?} {:?}", f.size, f.unit, f.cause, f.evidence)?;
    }
    Ok(out)
}
