//! From a plan to simulated sessions, and what is told of each.

use super::kinds::Laid;
use super::{Kind, Options, StudyError, Told};
use crate::{TestPlan, rehearsal};
use rand_xoshiro::SplitMix64;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};
use serde_json::json;
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{self, Outcome, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Doing, Fault, Missing, Session, SimError, StepModel, Travel, What};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Pace, Writer};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::{f64::consts::PI, thread};

/// Nominal of a step that has none, counts per inch.
const UNTOLD: f64 = 1600.0;
/// Reports that come late together, in seconds.
const LATE_S: f64 = 0.012;
/// Yaw from stop to stop without a straight edge, and how a device is laid down, in radians: up to so much either way
/// (common practice, no source).
const YAW: f64 = PI / 18.0;
const LAID_DOWN: f64 = 0.05;

/// Counts per inch assumed where the plan tells none.
pub(super) fn assumed(plan: &TestPlan) -> Option<f64> {
    plan.steps.iter().any(|step| step.nominal().is_none()).then_some(UNTOLD)
}

/// A number in [0, 1) for a stream of a seed.
fn chance(seed: u64, stream: u64) -> f64 {
    let mut dice = SplitMix64::seed_from_u64(seed.wrapping_add(stream.rotate_left(32)));
    // The first draws of neighbouring seeds are apart already: the generator's output is a hash of its state.
    (dice.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// The bench of session `index`, checked.
pub(super) fn bench(
    plan: &TestPlan,
    options: &Options,
    index: u64,
    cell: Option<(&Kind, f64)>,
) -> Result<Session, StudyError> {
    let seed = options.seed.wrapping_add(index);
    let evenly = |stream, reach: f64| reach * (2.0 * chance(seed, stream) - 1.0);
    let step = |step: &slipgauge_trace::session::Step| StepModel {
        label: step.label.clone(),
        nominal_counts_per_inch: step.nominal().map_or(UNTOLD, |nominal| nominal.per_inch()),
        ..StepModel::default()
    };
    let device = DeviceModel {
        steps: plan.steps.iter().map(step).collect(),
        mount_rad: evenly(1, LAID_DOWN),
        ..DeviceModel::default()
    };
    let mut bench = Bench {
        seed,
        travel: Travel { told_um: plan.travel.um, uncertainty_um: plan.travel.uncertainty_um, true_m: None },
        axis: plan.axis,
        script: rehearsal::script(plan),
        device: device.with_interval_ns(options.interval.0),
        ..Bench::default()
    };
    bench.hand.placement_scatter_m = options.stops.0;
    if !plan.straight_edge {
        bench.hand.path.yaw_rad = evenly(2, YAW);
    }
    let said = cell.map_or_else(
        || "the plan".to_owned(),
        |(kind, size)| format!("{} of {size} {}", kind.name, kind.unit),
    );
    let refused = |source: SimError| StudyError::Bench { what: said.clone(), source };
    if let Some((kind, size)) = cell {
        bench = laid(bench, plan, kind, size).map_err(refused)?;
    }
    bench.session().map_err(refused)
}

fn laid(bench: Bench, plan: &TestPlan, kind: &Kind, size: f64) -> Result<Bench, SimError> {
    match kind.laid {
        Laid::Named => bench.with_fault(kind.name, Some(size)),
        Laid::ShareOfPeak => {
            let fastest = plan.paces.iter().map(|paced| paced.peak.0).fold(0.0, f64::max);
            let peak = plan.paced(Pace::Fast).map_or(fastest, |paced| paced.peak.0);
            bench.with_fault(kind.name, Some(size * peak))
        }
        Laid::LateAtRandom => Ok(late(bench, size)),
    }
}

fn late(mut bench: Bench, share: f64) -> Bench {
    let reports = (1e9 * LATE_S / bench.device.link.interval_ns as f64).ceil().max(2.0) as u32;
    let what = What::Dropout { reports, counts: Missing::Kept };
    for (phase, number) in bench.script.phases.iter().zip(1u32..) {
        let (Doing::Swipes { count, .. } | Doing::Identify { count, .. }) = phase.doing else { continue };
        let hit = |swipe: &u32| chance(bench.seed, (u64::from(number) << 32) | u64::from(*swipe)) < share;
        bench.faults.extend((1..=count).filter(hit).map(|swipe| Fault::in_swipe(number, swipe, 0.5, what)));
    }
    bench
}

/// The session as a file would hold it, under the plan's own header, and what the analysis says of it.
pub(super) fn judged(plan: &TestPlan, session: &Session) -> Result<Verdict, StudyError> {
    let unreadable = |error: slipgauge_trace::TraceError| StudyError::Unreadable(error.to_string());
    let mut header = session.header();
    header.plan = Some(plan.to_session());
    let mut file = Vec::new();
    let mut writer = Writer::new(&mut file, &header).map_err(unreadable)?;
    for entry in session.entries() {
        writer.write(&entry).map_err(unreadable)?;
    }
    writer.flush().map_err(unreadable)?;
    drop(writer);
    let recording = Recording::read(file.as_slice()).map_err(unreadable)?;
    Ok(judge(&recording, "simulated").verdict)
}

fn told(verdict: &Verdict, cell: Option<(&Kind, f64)>) -> Told {
    // The simulator's families and the verdict's are spelled alike. Of a sound device every family is meant.
    let own = cell.map(|(kind, _)| json!(kind.family));
    let is_own = |family: verdict::Family| own.as_ref().is_none_or(|own| json!(family) == *own);
    let failed = verdict.steps.iter().flat_map(|step| &step.families);
    Told {
        verdict: verdict.verdict,
        seen: verdict.findings.iter().any(|finding| is_own(finding.family)),
        named: failed.filter(|f| f.verdict == Outcome::Fail).any(|f| is_own(f.family)),
    }
}

/// All sessions of all cells, cell by cell, on all cores.
pub(super) fn all(
    plan: &TestPlan,
    options: &Options,
    cells: &[Option<(&Kind, f64)>],
    progress: impl FnMut(usize, usize) + Send,
) -> Result<Vec<Vec<Told>>, StudyError> {
    let per_cell = options.sessions as usize;
    let total = cells.len().saturating_mul(per_cell);
    let next = AtomicUsize::new(0);
    let shared = Mutex::new((Vec::with_capacity(total), None, progress));
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(cell) = index.checked_div(per_cell).and_then(|cell| cells.get(cell)) else { return };
            let session = bench(plan, options, (index % per_cell) as u64, *cell);
            let result = session.and_then(|session| judged(plan, &session)).map(|v| told(&v, *cell));
            let Ok(mut shared) = shared.lock() else { return };
            let (done, error, progress) = &mut *shared;
            match result {
                Ok(told) => done.push((index, told)),
                Err(e) => {
                    error.get_or_insert(e);
                    next.store(total, Ordering::Relaxed);
                }
            }
            progress(done.len(), total);
        }
    };
    let cores = thread::available_parallelism().map_or(1, usize::from).min(total.max(1));
    thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(work);
        }
    });
    let (mut done, error, _) = shared.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    if let Some(error) = error {
        return Err(error);
    }
    done.sort_by_key(|(index, _)| *index);
    let told: Vec<Told> = done.into_iter().map(|(_, told)| told).collect();
    Ok(if per_cell == 0 { Vec::new() } else { told.chunks(per_cell).map(<[Told]>::to_vec).collect() })
}
