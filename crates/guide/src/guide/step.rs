//! What is known of the step that is under way, and what looks wrong in it so far.
//!
//! The provisional view is the verdict's own: the rules are run over the step as far as it is recorded. Memory and time
//! are bounded: beyond [`MOST`] reports nothing more is looked at until the end, and with many reports not after each
//! swipe.

use slipgauge_analysis::series::Frame;
use slipgauge_analysis::verdict::{Family, Finding, Outcome};
use slipgauge_analysis::{judge, live};
use slipgauge_trace::layout::Layout;
use slipgauge_trace::recording::Growing;
use slipgauge_trace::session::{Entry, Event, Header, unhex};
use slipgauge_trace::{MetresPerSecond, TraceError};
use std::collections::BTreeSet;

/// A device has said nothing for longer than any report interval when it is looked at, nanoseconds.
const RESTS: i64 = 1_000_000_000;
/// Counts per millimetre where nothing is known: 800 counts per inch, in the middle of what devices have.
pub(super) const USUAL: f64 = 31.5;
/// 25 counts per inch: a sixteenth of the coarsest devices.
const LEAST_PER_MM: f64 = 1.0;
/// Reports of a step that are kept: 44 MB of columns, six minutes of motion at 8 kHz.
const MOST: usize = 3_000_000;
/// Reports that a look takes without being felt: about a tenth of a second.
const AT_ONCE: usize = 100_000;
/// A spin-out of this size is clear, in millimetres.
const CLEAR_MM: f64 = 10.0;

/// Something that looks wrong.
#[derive(Clone, Debug)]
pub(super) struct Note {
    pub(super) end_ns: i64,
    pub(super) words: String,
    pub(super) event: Event,
}

/// The step so far.
pub(super) struct StepSoFar {
    pub(super) id: u32,
    growing: Option<Growing>,
    layouts: Vec<Option<Layout>>,
    /// Phases of the file before this step's.
    before: u32,
    /// Direction and one travel in counts, from the identifying swipes.
    pub(super) frame: Option<Frame>,
    pub(super) travel_counts: Option<f64>,
    nominal_per_mm: Option<f64>,
    travel_mm: f64,
    pub(super) fastest: Option<MetresPerSecond>,
    noted: BTreeSet<(u32, Option<u32>, Family)>,
    spun: BTreeSet<(u32, u32)>,
    spin_out_fails: bool,
    since_look: u32,
}

/// The layouts of the test device's nodes.
fn layouts(header: &Header) -> Vec<Option<Layout>> {
    let nodes = header.devices.first().map_or(&[][..], |d| d.nodes.as_slice());
    let layout = |descriptor: &str| Layout::from_descriptor(&unhex(descriptor)?).ok();
    nodes.iter().map(|node| layout(&node.descriptor)).collect()
}

/// # Errors
/// If the header's descriptors cannot be read.
pub(super) fn check(header: &Header) -> Result<(), TraceError> {
    Growing::new(header.clone()).map(|_| ())
}

impl StepSoFar {
    pub(super) fn new(
        id: u32,
        header: &Header,
        before: u32,
        nominal_counts_per_inch: Option<f64>,
        travel_mm: f64,
    ) -> StepSoFar {
        StepSoFar {
            id,
            growing: Growing::new(header.clone()).ok(),
            layouts: layouts(header),
            before,
            frame: None,
            travel_counts: None,
            nominal_per_mm: nominal_counts_per_inch.map(|n| n / 25.4),
            travel_mm,
            fastest: None,
            noted: BTreeSet::new(),
            spun: BTreeSet::new(),
            spin_out_fails: false,
            since_look: 0,
        }
    }

    /// Counts per millimetre: measured, nominal, or usual. Less than [`LEAST_PER_MM`] is no device's: then its counts are
    /// lost.
    pub(super) fn counts_per_mm(&self) -> f64 {
        let measured = self.travel_counts.map(|counts| counts / self.travel_mm);
        let measured = measured.filter(|per_mm| *per_mm >= LEAST_PER_MM);
        measured.or(self.nominal_per_mm).unwrap_or(USUAL).max(LEAST_PER_MM)
    }

    /// Takes a line; `phases` are those of the file so far. What the device under test moved in it.
    pub(super) fn take(&mut self, entry: &Entry, phases: u32) -> Option<(i32, i32)> {
        if matches!(entry.event, Event::Phase(Some(_)))
            && self.growing.as_ref().is_some_and(|g| g.phases() == 0)
        {
            self.before = phases;
        }
        if let Some(growing) = self.growing.as_mut().filter(|growing| growing.reports() < MOST) {
            // A line that does not fit is left out here as it is by every reader.
            let _ = growing.push(entry.clone());
        }
        let Event::Report(report) = &entry.event else { return None };
        let layout = self.layouts.get(report.node).filter(|_| entry.device == 0)?.as_ref()?;
        layout.decode(&report.bytes).ok().map(|decoded| (decoded.x, decoded.y))
    }

    /// What looks wrong and was not noted before, `new` swipes after the last time.
    pub(super) fn look(&mut self, phase: u32, new: u32) -> Vec<Note> {
        self.since_look += new;
        let reports = self.growing.as_ref().map_or(usize::MAX, Growing::reports);
        let every = u32::try_from(reports / AT_ONCE).unwrap_or(u32::MAX).saturating_add(1);
        if reports >= MOST || self.since_look < every {
            return Vec::new();
        }
        self.look_now(Some(phase))
    }

    /// Likewise at the end of a phase, whatever it takes; `None`: of all phases.
    pub(super) fn look_now(&mut self, phase: Option<u32>) -> Vec<Note> {
        self.since_look = 0;
        let Some(growing) = self.growing.as_ref().filter(|growing| growing.reports() < MOST) else {
            return Vec::new();
        };
        let mut recording = growing.so_far();
        // It is looked at once the device rests, and goes on: no end of a file cuts its last swipe.
        recording.ended = true;
        recording.span.1.0 = recording.span.1.0.saturating_add(RESTS);
        let judgement = judge(&recording, "");
        let families = judgement.verdict.steps.iter().flat_map(|step| &step.families);
        self.spin_out_fails =
            families.into_iter().any(|f| f.family == Family::SpinOut && f.verdict == Outcome::Fail);
        let mut notes = Vec::new();
        for finding in judgement.verdict.findings {
            let number = finding.phase.saturating_add(self.before);
            if phase.is_some_and(|phase| phase != number) {
                continue;
            }
            if let (Family::SpinOut, Some(swipe)) = (finding.family, finding.swipe)
                && finding.unit.starts_with("mm")
                && finding.size >= CLEAR_MM
            {
                self.spun.insert((number, swipe));
            }
            if self.noted.insert((number, finding.swipe, finding.family)) {
                notes.push(note(Finding { phase: number, ..finding }));
            }
        }
        notes
    }

    /// Swipes of this step with a clear spin-out, once they are enough for a fail: a step that ended before would be left
    /// open by its own ending.
    pub(super) fn spun(&self) -> Option<u32> {
        self.spin_out_fails.then(|| u32::try_from(self.spun.len()).unwrap_or(u32::MAX))
    }
}

fn note(finding: Finding) -> Note {
    let kind = if finding.kind.is_empty() { String::new() } else { format!(" ({})", finding.kind) };
    let unit = finding.unit.split(' ').next().unwrap_or_default();
    let words = format!("{}{kind}, {:.1} {unit}", finding.family.words(), finding.size);
    Note { end_ns: finding.end_ns, words, event: Event::Live(live::shown(&finding)) }
}
