//! All that the families of one resolution step look at: phases, swipes, scale, expected motion.
//!
//! Owns the order in which these are found: direction, report interval, one travel in counts, swipes, provisional
//! scale, silences, expected speed. Judges nothing.

use crate::after_rest::{self, Later};
use crate::axes;
use crate::baseline::{self, Basis, Candidate};
use crate::clip::{self, Clip};
use crate::erratic::{self, Stretch, Wrong, arc, beat, cells::in_a_cell};
use crate::false_motion::{self, ahead, frozen, one_axis, top_speed};
use crate::grid::{self, Grid};
use crate::host::HostSpans;
use crate::intervals::uneven;
use crate::quantum;
use crate::ripple::slots;
use crate::series::{DUE, Frame, Series, fast_intervals, ticks, turns};
use crate::shortfall::{self, Marked, Measure};
use crate::silence::{self, MakeUp, Silence};
use crate::starts::{self, Start};
use crate::stats::median;
use crate::step_change::{self, Run};
use crate::swipes::{self, Swipe};
use crate::verdict::Quantity;
use crate::whole;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan, Recording};
use slipgauge_trace::session::{Pace, Plan, Role, Step, Task};
use slipgauge_trace::{Metres, Nanos};
use std::collections::BTreeSet;
use std::sync::Arc;

mod acquit;
mod away;
mod cut;
mod gain_law;
mod measure;
mod not_made;
mod passed;
mod turned;

pub use away::{Away, times as times_away};
pub use cut::{Cut, Ends};

/// Displacements are summed over this window to find the direction of travel.
const FRAME_WINDOW: Nanos = Nanos(20_000_000);
/// No device reports motion less often than this while it moves fast (the slowest interval of HID is 255 ms at low
/// speed, of pointing devices 10 ms).
pub const LONGEST_INTERVAL: Nanos = Nanos(20_000_000);
/// Fewer intervals than this do not tell the report interval.
const LEAST_INTERVALS: usize = 20;

/// One swipe with the motion expected of it.
#[derive(Clone, Debug)]
pub struct SwipeView {
    /// As found.
    pub swipe: Swipe,
    /// Counted and expected motion on a grid of report slots.
    pub grid: Grid,
    /// Silences at speed.
    pub silences: Vec<Silence>,
    /// Stretches of counts that no hand made.
    pub stretches: Vec<Stretch>,
    /// Starts from rest in it.
    pub starts: Vec<Start>,
    /// A run at the top value, if swipes of this step clip.
    pub clip: Option<Clip>,
    /// True if counts of it may have been lost in this computer, or the recording shows a part of it ([`cut`]): then it says
    /// nothing of the device.
    pub disturbed: bool,
    /// What the recording cuts off of it.
    pub cut: Option<Cut>,
    /// When the device was away in it.
    pub away: Option<Away>,
}

impl SwipeView {
    /// A swipe that nothing has been looked for in.
    pub fn new(swipe: Swipe) -> SwipeView {
        SwipeView {
            swipe,
            grid: Grid::default(),
            silences: Vec::new(),
            stretches: Vec::new(),
            starts: Vec::new(),
            clip: None,
            disturbed: false,
            cut: None,
            away: None,
        }
    }

    /// Counts that the hand can have covered while this computer was held up, at twice the speed that shows.
    pub(crate) fn held_up(&self, host: &HostSpans, counts_per_mm: f64) -> f64 {
        let fastest = self.swipe.peak.max(self.grid.peak() * counts_per_mm);
        2.0 * fastest * host.seconds(self.swipe.begin, self.swipe.end)
    }
}

/// One phase of the step.
#[derive(Clone, Debug)]
pub struct PhaseView {
    /// The phase.
    pub span: PhaseSpan,
    /// Its motion.
    pub series: Series,
    /// Direction of travel in it: its [own](turned) or that of the step; `None` without motion.
    pub frame: Option<Frame>,
    /// Its swipes; empty for a phase at rest.
    pub swipes: Vec<SwipeView>,
    /// Swipes that were made, by their order, or [may have been](not_made), by what was asked, and not seen.
    pub unplaced: u32,
    /// Of these, those of which nobody can tell whether they were made.
    pub lacks: u32,
    /// Motion that set in again after a rest at the stop.
    pub later: Vec<Later>,
}

/// Counts per millimetre that geometry is reckoned with, and where they come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Counts per millimetre.
    pub counts_per_mm: f64,
    /// Where it comes from.
    pub basis: Basis,
}

/// One resolution step.
#[derive(Clone, Debug)]
pub struct StepView<'a> {
    /// Its id.
    pub id: u32,
    /// Index of the device.
    pub device: usize,
    /// Its row in the plan, if any.
    pub planned: Option<&'a Step>,
    /// The plan, if any.
    pub plan: Option<&'a Plan>,
    /// The computer's own part.
    pub host: Arc<HostSpans>,
    /// All that the device sent.
    pub trace: &'a DeviceTrace,
    /// Direction of travel, by the slow swipes: that of phases that have none of their own; `None` without motion.
    pub frame: Option<Frame>,
    /// Median report interval in fast motion, nanoseconds: for slots. (What a verdict tells is its family's clock.)
    pub interval: Option<Quantity>,
    /// Report interval by the long run where reports are read in batches, nanoseconds.
    pub in_batches: Option<f64>,
    /// Report interval that the device's descriptor asks for.
    pub nominal_interval: Option<Nanos>,
    /// Counts of a report on the larger axis at which one is due in every slot.
    pub due: i64,
    /// What the header says of how it is linked: `cable`, `radio`, `bluetooth` or nothing.
    pub link: Option<&'a str>,
    /// What a reference device on the same carriage sent, if there is one.
    pub reference: Option<&'a DeviceTrace>,
    /// Report interval that the reference's descriptor asks for.
    pub reference_interval: Option<Nanos>,
    /// Travel between the stops.
    pub travel: Option<Metres>,
    /// Provisional scale, for geometry.
    pub scale: Option<Scale>,
    /// What lengths of swipes are held against, if there is enough of them.
    pub measure: Option<Measure>,
    /// Phases of this step, in file order.
    pub phases: Vec<PhaseView>,
    /// The same step as swiped along the device's other axis, if it was: for the resolution there.
    pub other_axis: Option<Box<StepView<'a>>>,
    /// Swipes that were made at another step.
    pub changes: Vec<Run>,
    /// Where the recording stops.
    pub ends: Ends,
    /// Number of verdicts that share the chance of a false fail.
    pub looks: u32,
}

impl<'a> StepView<'a> {
    /// Looks at all phases (`spans`) of a step.
    pub fn new(
        recording: &'a Recording,
        device: usize,
        id: u32,
        spans: &[&PhaseSpan],
        host: &Arc<HostSpans>,
        looks: u32,
    ) -> Option<StepView<'a>> {
        let trace = recording.devices.get(device)?;
        let plan = recording.header.plan.as_ref();
        let headers = &recording.header.devices;
        let other = headers.iter().position(|d| d.role == Role::Reference).filter(|&other| other != device);
        let other_nodes = other.and_then(|other| headers.get(other)).map(|d| d.nodes.as_slice());
        let nominal_interval = recording.header.devices.get(device)?.nodes.iter().find_map(|n| n.interval_ns);
        // Two looks: waiting reports can be spread by the interval only once it is known.
        let rough: Vec<Series> = spans.iter().map(|p| Series::of_phase(trace, p, nominal_interval)).collect();
        let stated = recording.header.clock.resolution_ns;
        let times: Vec<(Nanos, Nanos)> = spans.iter().map(|p| (p.begin, p.end)).collect();
        let due = DUE * quantum::in_spans(trace, &times);
        let tick = ticks::coarse(&rough, stated, nominal_interval, LONGEST_INTERVAL, due);
        let raw: Vec<Series> = spans.iter().map(|p| Series::of_phase(trace, p, None)).collect();
        let batches = ticks::batches(&raw, nominal_interval, LONGEST_INTERVAL, due, LEAST_INTERVALS);
        drop(raw);
        // Of two at a time the mean is told all the same.
        let batches = batches.filter(|_| tick.is_none() && turns(&rough, LONGEST_INTERVAL, due).is_none());
        let in_batches = batches.map(|b| b.interval);
        let tick = tick.or(batches.filter(|b| b.mostly).map(|b| b.interval as i64));
        let interval = report_interval(&rough, due).filter(|_| tick.is_none() && batches.is_none());
        drop(rough);
        let measured = interval.map(|q| q.value).or(in_batches);
        let slot = slot(measured, nominal_interval);
        let settled = measured.map(|ns| Nanos(ns as i64)).or(nominal_interval);
        let series = spans.iter().map(|p| {
            let mut series = match in_batches {
                Some(interval) => Series::of_batches(trace, p, interval as i64),
                None => Series::of_phase(trace, p, settled),
            };
            if let Some((tick, interval)) = tick.zip(settled) {
                series.steady(tick, interval.0);
            }
            series
        });
        let mut phases: Vec<PhaseView> = spans
            .iter()
            .zip(series)
            .map(|(span, series)| PhaseView {
                span: (*span).clone(),
                series,
                frame: None,
                swipes: Vec::new(),
                unplaced: 0,
                lacks: 0,
                later: Vec::new(),
            })
            .collect();
        let frame = direction(&phases);
        phases.iter_mut().for_each(|phase| phase.frame = frame);
        let travel = axes::own_travel(spans).or(plan.and_then(Plan::travel));
        let planned = plan.and_then(|p| p.step(id));
        let nominal = planned.and_then(Step::nominal).map(|n| n.per_millimetre());
        let by_nominal = nominal.zip(travel).map(|(n, travel)| n * travel.millimetres());
        // Twice an arm's speed: the nominal may be off.
        let fastest = nominal.map(|n| 2e3 * erratic::ARM_SPEED * n);
        let calm = |p: &PhaseView| p.series.calm(fastest?, slot);
        let calm: Vec<Option<Series>> = phases.iter().map(calm).collect();
        let picked = frame.and_then(|frame| one_travel(&phases, &calm, frame, by_nominal));
        let counts = picked.map(|(counts, _)| counts);
        let scale = match (picked, travel, nominal) {
            (Some((counts, basis)), Some(travel), _) => {
                Some(Scale { counts_per_mm: counts / travel.millimetres(), basis })
            }
            (_, None, Some(counts_per_mm)) => Some(Scale { counts_per_mm, basis: Basis::Nominal }),
            _ => None,
        };
        let mut measure = None;
        let ends = Ends::of(recording);
        let told: Vec<bool> = phases.iter().map(|p| p.span.made.is_some()).collect();
        if let (Some(frame), Some(counts)) = (frame, counts) {
            for (phase, calm) in phases.iter_mut().zip(&calm).filter(|(p, _)| is_swipes(&p.span)) {
                let calm = calm.as_ref().unwrap_or(&phase.series);
                let asked = phase.span.swipes().unwrap_or(0);
                let find = |frame: Frame| swipes::find_calm(&phase.series, calm, frame, counts, asked);
                let mut found = find(frame);
                if let Some(own) = turned::own(&phase.series, &found.swipes, frame) {
                    found = find(own);
                    phase.frame = Some(own);
                }
                let seen = u32::try_from(found.swipes.len()).unwrap_or(u32::MAX);
                if phase.span.made.is_none() && cut::taken_up(&phase.span, recording, &ends) {
                    phase.span.made = Some(seen.saturating_add(found.unplaced));
                }
                phase.unplaced = found.unplaced;
                phase.swipes = found.swipes.into_iter().map(SwipeView::new).collect();
            }
            not_made::settle(&mut phases, &told, travel, &ends);
            mark_clips(&mut phases, trace, slot);
            measure = scale.and_then(|scale| measure::measure(&phases, scale, slot));
            if let Some(measure) = measure {
                let views = phases.iter_mut().flat_map(|p| &mut p.swipes);
                views.for_each(|v| v.swipe.one_travel *= measure.ways[v.swipe.direction.index()]);
            }
        }
        let mut view = StepView {
            id,
            device,
            planned,
            plan,
            host: Arc::clone(host),
            trace,
            frame,
            interval,
            in_batches,
            nominal_interval,
            due,
            link: recording.header.devices.get(device)?.link.as_deref(),
            reference: other.and_then(|other| recording.devices.get(other)),
            reference_interval: other_nodes.and_then(|nodes| nodes.iter().find_map(|n| n.interval_ns)),
            travel,
            scale,
            measure,
            phases,
            other_axis: None,
            changes: Vec::new(),
            ends,
            looks,
        };
        view.find_starts();
        view.expect();
        for at in 0..view.phases.len() {
            view.phases[at].later = after_rest::of_phase(&view, &view.phases[at]);
        }
        view.changes = step_change::runs(&view);
        Some(view)
    }

    /// Starts from rest of every swipe.
    fn find_starts(&mut self) {
        for at in 0..self.phases.len() {
            let found = starts::of_phase(self, &self.phases[at]);
            let views = self.phases[at].swipes.iter_mut();
            views.zip(found).for_each(|(view, starts)| view.starts = starts);
        }
    }

    /// What counts cannot be trusted of every swipe, and its expected speed.
    fn expect(&mut self) {
        let Some(scale) = self.scale else { return };
        let slot = self.slot();
        let slow = self.phases.iter().filter(|p| is_slow(&p.span));
        let slow = slow.filter_map(|p| Some((p, p.frame?)));
        let slow = slow.flat_map(|(p, frame)| p.swipes.iter().map(move |s| (&p.series, frame, &s.swipe)));
        let bend = arc::bend(slow.clone(), scale.counts_per_mm);
        let parts: Vec<_> =
            slow.filter_map(|(series, frame, swipe)| slots::fast_part(series, frame, swipe, slot)).collect();
        let beat = beat::share(&parts, in_a_cell(slot), slot);
        let uneven = uneven::find(self.phases.iter().map(|p| &p.series), slot).is_some();
        let bench = erratic::Bench { counts_per_mm: scale.counts_per_mm, slot, beat, uneven, bend };
        let host = Arc::clone(&self.host);
        let mut look = |view: &mut SwipeView, (series, frame): (&Series, Frame), excused: bool| {
            look_at(view, series, frame, &bench, &host, excused);
            if view.cut.is_some() || view.away.is_some() {
                cut::drop_its_own(view);
            }
        };
        let (trace, ends) = (self.trace, &self.ends);
        let times_away = times_away(trace);
        for PhaseView { span, series, frame, swipes, .. } in &mut self.phases {
            let Some(frame) = *frame else { continue };
            for view in swipes {
                view.away = away::in_swipe(&view.swipe, series, frame, &times_away);
                // What it says first after that is no start from rest.
                view.starts.retain(|s| view.away.is_none_or(|away| !away.ends_before(s.t)));
                // A device that went away did so by itself.
                view.cut = cut::cut(view, series, frame, span, trace, ends).filter(|_| view.away.is_none());
            }
        }
        each_swipe(&mut self.phases, |view, motion| look(view, motion, false));
        if let Some(measure) = self.measure {
            look_as_short(&mut self.phases, measure, &host, &mut look);
            whole::hold(&mut self.phases, measure, scale.counts_per_mm);
            gain_law::apply(&mut self.phases, measure);
        }
        false_motion::excused(&mut self.phases, &bench, &host);
        ahead::find(&mut self.phases, &bench, &host);
        frozen::find(&mut self.phases, &bench, &host);
        passed::drop_levels(&mut self.phases, slot);
        let travel_mm = self.travel.map(Metres::millimetres);
        for phase in &mut self.phases {
            let Some(frame) = phase.frame else { continue };
            let limits: Vec<i64> =
                phase.swipes.iter().skip(1).map(|s| s.swipe.begin).chain([phase.span.end.0]).collect();
            for (view, limit) in phase.swipes.iter_mut().zip(limits) {
                view.grid = grid::of(&phase.series, frame, view, scale.counts_per_mm, slot, travel_mm, limit);
            }
        }
        if let Some(measure) = self.measure {
            whole::hold_stretches(&mut self.phases, measure, scale.counts_per_mm);
        }
        one_axis::rename(&mut self.phases, scale.counts_per_mm);
        top_speed::rename(&mut self.phases, &bench);
        top_speed::overrule_clips(&mut self.phases);
        if let Some(measure) = self.measure {
            acquit::mark(&mut self.phases, measure, &host);
            // Once more, since all were marked again.
            gain_law::apply(&mut self.phases, measure);
        }
        let mut after_a_break = false;
        for view in self.phases.iter_mut().flat_map(|p| &mut p.swipes) {
            let (begin, end) = (view.swipe.begin, view.swipe.end);
            // A stall alone delays; where counts are missing beside one, and no more than it may hold, whose they are cannot be told.
            let held_up = view.held_up(&host, scale.counts_per_mm);
            let beyond = self.measure.map_or(0.0, |m| m.most) + held_up;
            let short = view.swipe.is_short() && held_up > 0.0 && -view.swipe.surplus <= beyond;
            let cut = match view.cut {
                Some(Cut::AtBreak) => cut::is_short_of_the_stop(view),
                Some(Cut::AtLine) => true,
                None => after_a_break && view.swipe.is_short(),
            };
            after_a_break = cut && view.cut.is_some();
            view.disturbed = cut || short || host.may_lose(begin, end);
        }
    }

    /// Width of a report slot in nanoseconds.
    pub fn slot(&self) -> f64 {
        slot(self.interval.map(|q| q.value).or(self.in_batches), self.nominal_interval)
    }

    /// Counts per millimetre: as the swipes tell, else by the nominal resolution.
    pub fn counts_per_mm(&self) -> Option<f64> {
        let nominal = self.planned.and_then(Step::nominal).map(|n| n.per_millimetre());
        self.scale.map(|s| s.counts_per_mm).or(nominal)
    }

    /// Swipes with their phases, in file order.
    pub fn swipes(&self) -> impl Iterator<Item = (&PhaseView, &SwipeView)> {
        self.phases.iter().flat_map(|phase| phase.swipes.iter().map(move |swipe| (phase, swipe)))
    }

    /// Fast swipes, and those of phases for which no pace was told.
    pub fn fast_swipes(&self) -> impl Iterator<Item = (&PhaseView, &SwipeView)> {
        self.swipes().filter(|(phase, _)| matches!(phase.span.phase.pace, Some(Pace::Fast) | None))
    }

    /// Swipes, as (phase, swipe), whose length tells nothing of a fault, because a change of step made it.
    pub fn at_another_step(&self) -> BTreeSet<(u32, u32)> {
        self.changes.iter().flat_map(Run::told).collect()
    }

    /// True if times cannot be judged: stamps too coarse for the report interval.
    pub fn coarse_clock(&self) -> bool {
        self.phases.iter().any(|p| p.series.coarse_clock())
    }

    /// Phases of a task that is done at rest.
    pub fn still(&self) -> impl Iterator<Item = &PhaseView> {
        self.phases.iter().filter(|p| p.span.phase.task == Task::Still)
    }
}

/// Calls a function on each swipe and its phase's motion.
fn each_swipe(phases: &mut [PhaseView], mut look: impl FnMut(&mut SwipeView, (&Series, Frame))) {
    for PhaseView { series, frame, swipes, .. } in phases {
        let Some(frame) = *frame else { continue };
        swipes.iter_mut().for_each(|view| look(view, (series, frame)));
    }
}

/// Marks short swipes and looks at them again as such. Who stopped short is asked of the swipes in which nothing was found on
/// their way. An operator who does brakes, and nothing shows when one looks as though counts were missing; where something
/// does, it was the device, and the next swipe did not begin short either, unless both are [short by the same](acquit). A flat top
/// of his is no straight run, as in [`false_motion`]; and of a swipe that lacks no more than placing nothing is missing at its end.
fn look_as_short(
    phases: &mut [PhaseView],
    measure: Measure,
    host: &HostSpans,
    look: &mut impl FnMut(&mut SwipeView, (&Series, Frame), bool),
) {
    let lost = |s: &Silence| !s.host && s.kind == MakeUp::Lost && !s.to_the_end;
    excuse(phases, measure, host, |s| tells(s, lost), |_| false);
    each_swipe(phases, |view, motion| {
        if view.swipe.surplus < 0.0 {
            let excused = std::mem::take(&mut view.swipe.stopped_short);
            look(view, motion, excused);
        } else {
            view.silences.retain(|s| !s.to_the_end);
        }
    });
    acquit::mark(phases, measure, host);
    each_swipe(phases, |view, motion| {
        if view.swipe.is_short() {
            look(view, motion, false);
        }
    });
}

/// What in one swipe no hand made, or no device should leave out: stretches and silences, one event in one of them. Of one that
/// is `excused` an operator explains what it lacks, and so does the computer, where it may have lost reports. (The latter added after a
/// swipe of which an overrun had taken 75 mm was told to have repeated a motion.)
fn look_at(
    view: &mut SwipeView,
    series: &Series,
    frame: Frame,
    bench: &erratic::Bench,
    host: &HostSpans,
    excused: bool,
) {
    view.stretches = erratic::find(series, frame, &view.swipe, bench);
    let lacks = view.swipe.is_short() && !excused && !host.may_lose(view.swipe.begin, view.swipe.end);
    false_motion::complete(series, frame, &view.swipe, bench, lacks, &mut view.stretches);
    view.stretches.retain(|s| !s.is_explained_by(host));
    let starts = starts::lost_before(&view.starts, bench.counts_per_mm, bench.slot);
    let before = starts.iter().map(|start| start.at_most).sum();
    false_motion::drop_bounces(series, frame, &view.swipe, bench, before, &mut view.stretches);
    view.silences = silence::find(series, frame, &view.swipe, &starts, bench.counts_per_mm, bench.slot, host);
    // The report before a silence is thin, too.
    let two = 2 * bench.slot as i64;
    let near = |s: &Stretch, silence: &Silence| {
        s.begin <= silence.until.saturating_add(two) && silence.begin <= s.end.saturating_add(two)
    };
    // The ones beside it hold a part of their intervals, so that the motion jumps, and forward.
    let jumps_on = |s: &Stretch, silence: &Silence| {
        let kind = matches!(s.wrong, Wrong::Sideways | Wrong::BeyondAnArm);
        let between = silence.begin <= s.begin && s.end <= silence.until.saturating_add(two);
        kind && s.counts.0 > s.counts.1.abs() && between
    };
    // What was held back comes as fast as it likes.
    let handed_on = |s: &Stretch, silence: &Silence| {
        let late = silence.kind == MakeUp::Late && s.wrong == Wrong::BeyondAnArm;
        let most = silence.missing_mm * bench.counts_per_mm;
        // Of what begins among several reports of it, the speed before is theirs.
        let among = silence.until > silence.end && (silence.begin..=silence.until).contains(&s.begin);
        late && (among || (s.counts.0 <= most && near(s, silence)))
    };
    let beside = |s: &Stretch, silence: &Silence| {
        (s.wrong == Wrong::Thin && near(s, silence)) || jumps_on(s, silence) || handed_on(s, silence)
    };
    let silent: Vec<&Silence> = view.silences.iter().filter(|s| !s.to_the_end).collect();
    // What begins among the counts that a start brings late has their speed before it. (Added after such starts had been told as 8 to 15
    // m/s made, since nothing of their swipes was left to tell speed.)
    let of_a_start = |s: &Stretch, start: &Start| {
        let kind = matches!(s.wrong, Wrong::BeyondAnArm | Wrong::Thin) && start.late(bench.counts_per_mm);
        kind && (start.t..=start.until.saturating_add(two)).contains(&s.begin)
    };
    let of_a_start = |s: &Stretch| view.starts.iter().any(|start| of_a_start(s, start));
    view.stretches.retain(|s| !of_a_start(s) && !silent.iter().any(|silence| beside(s, silence)));
    if is_lost_otherwise(view, bench) {
        view.stretches.retain(|s| s.wrong != Wrong::Repeated);
    }
    if !view.stretches.is_empty() {
        // False motion makes a swipe short: it did not end at speed for that.
        view.silences.retain(|s| !s.to_the_end);
    }
}

/// True if silences on the way and the start have cost a good part of what a swipe lacks: that is hidden in no straight run. (The
/// start since devices that slept through it had been told to repeat their motion, too, where the hand ran evenly.)
pub(crate) fn is_lost_otherwise(view: &SwipeView, bench: &erratic::Bench) -> bool {
    let silences = view.silences.iter().filter(|s| s.kind == MakeUp::Lost && !s.to_the_end);
    let silences = silences.map(|s| s.missing_mm).sum::<f64>() * bench.counts_per_mm;
    let starts = starts::lost_before(&view.starts, bench.counts_per_mm, bench.slot);
    let lost = silences + starts.iter().map(|start| start.likely).sum::<f64>();
    lost > 0.0 && lost >= 0.25 * (view.swipe.one_travel - view.swipe.along)
}

/// Width of a report slot in nanoseconds: the report interval; the one asked for where none could be measured (a reader
/// that is late by more than it at every report); 1 ms where neither is known.
fn slot(interval: Option<f64>, asked: Option<Nanos>) -> f64 {
    let asked = asked.map(|n| n.0 as f64).filter(|n| *n > 0.0);
    interval.or(asked).unwrap_or(1e6)
}

/// Marks swipes that a report ceiling cut.
fn mark_clips(phases: &mut [PhaseView], trace: &DeviceTrace, slot: f64) {
    let pairs: Vec<(&Series, &Swipe)> =
        phases.iter().flat_map(|p| p.swipes.iter().map(move |s| (&p.series, &s.swipe))).collect();
    let clips = clip::find(trace, &pairs, slot);
    phases.iter_mut().flat_map(|p| &mut p.swipes).zip(clips).for_each(|(view, clip)| view.clip = clip);
}

/// True if something of a swipe needs no excuse: stretches, these silences, or a start by no arm, whose counts were lost before it.
fn tells(view: &SwipeView, silences: impl Fn(&Silence) -> bool) -> bool {
    let no_arm = view.starts.iter().any(|s| s.by_no_arm);
    view.silences.iter().any(silences) || !view.stretches.is_empty() || no_arm
}

/// Marks who is short and who is excused, by what is known of each swipe so far. What this computer may have lost of a swipe, or
/// the recording shows no more of, is as what a ceiling cut off. (Added after swipes had been told to be short that began where such a one had stopped short.)
fn excuse(
    phases: &mut [PhaseView],
    measure: Measure,
    host: &HostSpans,
    told: impl Fn(&SwipeView) -> bool,
    doubtful: impl Fn(&SwipeView) -> bool,
) {
    let mut swipes: Vec<Marked> = Vec::new();
    for phase in phases {
        let last = phase.swipes.len().saturating_sub(1);
        swipes.extend(phase.swipes.iter_mut().enumerate().map(|(i, s)| Marked {
            clipped: s.clip.is_some()
                || s.cut.is_some()
                || s.away.is_some()
                || s.silences.iter().any(|s| s.host)
                || host.may_lose(s.swipe.begin, s.swipe.end),
            told: told(s),
            doubtful: doubtful(s),
            swipe: &mut s.swipe,
            last: i == last,
        }));
    }
    shortfall::mark(&mut swipes, measure);
}

/// True for a phase in which swipes are made.
fn is_swipes(span: &PhaseSpan) -> bool {
    matches!(span.phase.task, Task::Swipes | Task::Identify)
}

/// True for a phase of slow swipes, from which direction and scale are read.
fn is_slow(span: &PhaseSpan) -> bool {
    is_swipes(span) && (span.phase.task == Task::Identify || span.phase.pace == Some(Pace::Slow))
}

/// Slow phases if there are any with motion, else all swipe phases.
fn baseline_phases(phases: &[PhaseView]) -> Vec<&PhaseView> {
    let moving = |p: &&PhaseView| is_swipes(&p.span) && !p.series.samples.is_empty();
    let slow: Vec<&PhaseView> = phases.iter().filter(moving).filter(|p| is_slow(&p.span)).collect();
    if slow.is_empty() { phases.iter().filter(moving).collect() } else { slow }
}

fn direction(phases: &[PhaseView]) -> Option<Frame> {
    Frame::principal(baseline_phases(phases).into_iter().map(|p| &p.series), FRAME_WINDOW)
}

/// One travel in counts: the largest recurring fragment of each pace, and of these the one to be trusted. `nominal`
/// is one travel by the nominal resolution.
fn one_travel(
    phases: &[PhaseView],
    calm: &[Option<Series>],
    frame: Frame,
    nominal: Option<f64>,
) -> Option<(f64, Basis)> {
    let mut candidates: Vec<Candidate> = Vec::new();
    for (phase, calm) in phases.iter().zip(calm).filter(|(p, _)| is_swipes(&p.span)) {
        let pace = if is_slow(&phase.span) { Some(Pace::Slow) } else { phase.span.phase.pace };
        let series = calm.as_ref().unwrap_or(&phase.series);
        let found = swipes::largest_travel(series, frame).filter(|&counts| counts > 0.0);
        match (candidates.iter_mut().find(|c| c.pace == pace), found) {
            (Some(own), Some(counts)) => own.counts = own.counts.max(counts),
            (None, Some(counts)) => candidates.push(Candidate { pace, counts }),
            (_, None) => {}
        }
    }
    baseline::pick(&candidates, nominal).map(|(candidate, basis)| (candidate.counts, basis))
}

/// Median of the intervals in fast motion with the order-statistics interval of the median (95 %; normal
/// approximation of the binomial ranks).
fn report_interval(series: &[Series], due: i64) -> Option<Quantity> {
    let mut all: Vec<f64> = series.iter().flat_map(|s| fast_intervals(s, LONGEST_INTERVAL, due)).collect();
    if all.len() < LEAST_INTERVALS {
        return None;
    }
    if let Some(turns) = turns(series, LONGEST_INTERVAL, due) {
        return Some(Quantity::around(turns.mean(), 1.96 * turns.uncertainty));
    }
    all.sort_unstable_by(f64::total_cmp);
    let n = all.len() as f64;
    let reach = 1.96 * n.sqrt() / 2.0;
    let at = |rank: f64| all.get(rank.clamp(0.0, n - 1.0) as usize).copied();
    median(&all).map(|value| Quantity { value, low: at(n / 2.0 - reach), high: at(n / 2.0 + reach) })
}
