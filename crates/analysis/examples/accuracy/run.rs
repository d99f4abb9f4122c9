//! Runs scenes: session, recording, verdict and truth, on all cores.
//!
//! A session goes from the simulator's entries straight into a recording, as an importer's would; the file in between
//! is tested elsewhere. Results come back in order of their index, so that nothing depends on the cores.

use crate::space::{FAST, Scene};
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, FamilyVerdict, StepVerdict, Verdict};
use slipgauge_sim::{Session, Truth};
use slipgauge_trace::session::{Digest, Header};
use slipgauge_trace::{Nanos, Recording};
use std::error::Error;
use std::io::Write as _;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// A session as it was judged, with the truth.
pub struct Ran {
    /// What was said.
    pub verdict: Verdict,
    /// What really happened.
    pub truth: Truth,
    /// Swipes as they were found.
    pub swipes: Vec<Found>,
}

/// A swipe as it was found.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    /// Phase.
    pub phase: u32,
    /// Swipe within the phase.
    pub number: u32,
    /// From and to, nanoseconds of session time.
    pub span: (i64, i64),
    /// Counted length in millimetres by the provisional scale.
    pub along_mm: f64,
    /// Not judged, since this computer may have lost a part of it.
    pub disturbed: bool,
}

impl Ran {
    /// The one step, if any.
    pub fn step(&self) -> Option<&StepVerdict> {
        self.verdict.steps.first()
    }

    /// What is said of a family.
    pub fn family(&self, family: Family) -> Option<&FamilyVerdict> {
        self.step()?.families.iter().find(|f| f.family == family)
    }
}

/// A scene's session, and its header with what the plan says of the edge.
pub fn session(scene: &Scene) -> Result<(Session, Header), Box<dyn Error + Send + Sync>> {
    let session = scene.bench.clone().session()?;
    let mut header = session.header();
    if let Some(plan) = &mut header.plan {
        plan.straight_edge = Some(scene.straight_edge);
    }
    Ok((session, header))
}

/// A scene as it is recorded, with the truth.
fn recorded(scene: &Scene) -> Result<(Recording, Truth), Box<dyn Error + Send + Sync>> {
    let (session, header) = session(scene)?;
    let mut entries = session.entries();
    let recording = Recording::from_entries(header, entries.by_ref(), Digest::default())?;
    Ok((recording, entries.truth()))
}

/// Runs one scene.
pub fn run(scene: Scene) -> Result<Ran, Box<dyn Error + Send + Sync>> {
    let (recording, truth) = recorded(&scene)?;
    let judgement = judge(&recording, "simulated");
    let swipes = judgement.steps.iter().flat_map(|step| {
        let per_mm = step.scale.map_or(1.0, |s| s.counts_per_mm);
        step.swipes().map(move |(phase, view)| Found {
            phase: phase.span.number,
            number: view.swipe.number,
            span: (view.swipe.begin, view.swipe.end),
            along_mm: view.swipe.along / per_mm,
            disturbed: view.disturbed,
        })
    });
    let swipes = swipes.collect();
    Ok(Ran { verdict: judgement.verdict, truth, swipes })
}

/// Most counts of an axis in one report, in each fast swipe as it was made.
pub fn fast_tops(scene: &Scene) -> Option<Vec<i32>> {
    let (recording, truth) = recorded(scene).ok()?;
    let motion = &recording.devices.first()?.motion;
    let fast = truth.swipes.iter().filter(|s| s.phase == FAST);
    let tops = fast.map(|s| {
        let rows = motion.rows(Nanos(s.begin_ns), Nanos(s.end_ns));
        rows.map(|row| motion.x[row].abs().max(motion.y[row].abs())).max().unwrap_or(0)
    });
    Some(tops.collect())
}

/// Calls `work` for 0 to `n` − 1 on all cores and shows progress on standard error.
pub fn parallel<T: Send>(what: &str, n: usize, quiet: bool, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let results = Mutex::new(Vec::with_capacity(n));
    thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= n {
                        break;
                    }
                    let result = work(index);
                    if let Ok(mut results) = results.lock() {
                        results.push((index, result));
                    }
                    let done = done.fetch_add(1, Ordering::Relaxed) + 1;
                    if !quiet && (done == n || done.is_multiple_of(n.div_ceil(50))) {
                        // Progress is no result: if nobody reads it, nothing is lost.
                        drop(write!(std::io::stderr(), "\r{what}: {done} of {n}   "));
                    }
                }
            });
        }
    });
    if !quiet {
        drop(writeln!(std::io::stderr()));
    }
    let mut results = results.into_inner().unwrap_or_default();
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}
