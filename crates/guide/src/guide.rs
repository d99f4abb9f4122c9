//! The test as a state machine: lines of the recording, time and keys in; prompts and lines to be written out.
//!
//! A phase is announced, begins by itself once the device rests, and ends by the number of swipes placed (or the time at
//! rest), never by how they turned out; only clear spin-outs may end a step, as the plan declares beforehand. What is
//! written in the file is what comes back as a line of it: so the guide and a later reader see the same.
//!
//! The whole test, without a terminal and without a device:
//!
//! ```
//! use slipgauge_guide::{Guide, Out, Size, TestPlan, Travel};
//! use slipgauge_trace::{Nanos, session::{Header, Step}};
//! let step = Step { id: 1, label: None, nominal_counts_per_inch: Some(800.0) };
//! let plan = TestPlan::of_size(Size::Screen, Travel::ruler(300_000, None), vec![step], None);
//! let mut guide = Guide::new(plan.clone(), Header { plan: Some(plan.to_session()), ..Header::default() })?;
//! guide.tick(Nanos(0));
//! let said: Vec<Out> = guide.take().collect();
//! assert!(matches!(said[0], Out::Say(_)));
//! # Ok::<(), slipgauge_trace::TraceError>(())
//! ```

mod answer;
mod closing;
mod resume;
mod running;
mod step;

use crate::plan::{REST_AFTER, TestPlan};
use crate::say::{Question, Say};
use crate::watch::Rest;
use running::Running;
use serde_json::{Map, json};
use slipgauge_trace::session::{Entry, Event, Header, Pace, Phase, Step, Task};
use slipgauge_trace::{MetresPerSecond, Nanos, TraceError};
use std::collections::{BTreeMap, VecDeque};
use step::StepSoFar;

/// A device that rests this long at a stop is ready.
const READY: Nanos = Nanos::SECOND;
/// Before the first fast swipes there is more to read.
const READY_AFTER_CAUTION: Nanos = Nanos(4_000_000_000);
/// After this long without rest the operator is asked about it.
const RESTLESS: Nanos = Nanos(8_000_000_000);

/// Without a stated need a swipe is fast enough from this share of its aim on: a hand's peaks scatter by some 5 %.
const REACHED: f64 = 0.9;

/// What comes out.
#[derive(Clone, Debug, PartialEq)]
pub enum Out {
    /// To be told.
    Say(Say),
    /// To be written in the recording.
    Write(Event),
    /// The device is to be kept from the desktop, or given back.
    Hold(bool),
    /// Turn, in a paced phase.
    Bell,
    /// What a hand has to do now; for a simulated one.
    Do(Doing),
}

/// A task as a hand does it.
#[derive(Clone, Debug, PartialEq)]
pub struct Doing {
    /// Phase, as numbered in the file.
    pub phase: u32,
    /// The step and the task.
    pub asked: Phase,
    /// Peak speed for swipes.
    pub peak: MetresPerSecond,
    /// Time for rest.
    pub still: Nanos,
}

/// How a phase came to its end.
#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    /// All that was asked.
    Whole,
    /// By the operator, who says how many swipes were made.
    Made(u32),
    /// By the operator, who may go on or do it again.
    Paused,
    /// The device was moved while it should lie still.
    Touched,
    /// The device went away, or the computer slept.
    Interrupted,
    /// Clear spin-outs.
    SpunOut(u32),
    /// The whole test ends here.
    Stopped,
}

enum State {
    /// Nothing was said yet.
    Before,
    /// The next phase is announced.
    Waiting { since: Nanos, asked: bool },
    /// Its line is on its way into the file.
    Opening,
    /// It is under way.
    Running(Box<Running>),
    /// Its end is on its way.
    Closing(Box<Running>, End),
    /// A question; with the phase that is under way or was just closed.
    Asking(Question, Option<Box<Running>>),
    /// All is done.
    Over,
}

/// A guided test.
pub struct Guide {
    plan: TestPlan,
    header: Header,
    now: Nanos,
    out: VecDeque<Out>,
    rest: Rest,
    jobs: VecDeque<Phase>,
    job: Option<Phase>,
    state: State,
    step: Option<StepSoFar>,
    /// Phases in the file so far.
    phases: u32,
    /// Counts per inch of the steps that were identified.
    measured: BTreeMap<u32, f64>,
    /// Facts of phases, as they are in the file.
    made: Map<String, serde_json::Value>,
    voided: Map<String, serde_json::Value>,
    /// Peak speed that fast swipes aim at, and that from which one is fast enough.
    aim: MetresPerSecond,
    reach: MetresPerSecond,
    fast_since_rest: u32,
    cautioned: bool,
    /// Rests of this step that were broken off because the device moved.
    touched: u32,
    told_interval: bool,
    whole: bool,
}

impl Guide {
    /// A test from its beginning. `header` is the recording's.
    ///
    /// # Errors
    /// [`TraceError::Layout`] if the device's descriptor cannot be read.
    pub fn new(plan: TestPlan, header: Header) -> Result<Guide, TraceError> {
        step::check(&header)?;
        let jobs = plan.steps.iter().flat_map(|step| plan.phases(step.id)).collect();
        let aim = plan.paced(Pace::Fast).map_or(MetresPerSecond(0.0), |p| p.peak);
        let reach = plan.need.map_or(MetresPerSecond(REACHED * aim.0), |need| need.peak());
        Ok(Guide {
            plan,
            header,
            now: Nanos(0),
            out: VecDeque::new(),
            rest: Rest::default(),
            jobs,
            job: None,
            state: State::Before,
            step: None,
            phases: 0,
            measured: BTreeMap::new(),
            made: Map::new(),
            voided: Map::new(),
            aim,
            reach,
            fast_since_rest: 0,
            cautioned: false,
            touched: 0,
            told_interval: false,
            whole: true,
        })
    }

    /// What has come out since the last time.
    pub fn take(&mut self) -> impl Iterator<Item = Out> {
        std::mem::take(&mut self.out).into_iter()
    }

    /// True once all is done or the operator ended it.
    pub fn over(&self) -> bool {
        matches!(self.state, State::Over)
    }

    /// False if it ended before the plan was done.
    pub fn whole(&self) -> bool {
        self.whole
    }

    /// The question that waits for an answer.
    pub fn question(&self) -> Option<&Question> {
        match &self.state {
            State::Asking(question, _) => Some(question),
            _ => None,
        }
    }

    /// The phase that is announced or under way.
    pub fn phase(&self) -> Option<&Phase> {
        self.job.as_ref()
    }

    /// Share of the phase that is done, 0 to 1; `None` if none is under way.
    pub fn done(&self) -> Option<f64> {
        let State::Running(run) = &self.state else { return None };
        let job = self.job.as_ref()?;
        Some(match job.swipes {
            Some(n) => f64::from(run.placed) / f64::from(n.max(1)),
            None => ((self.now - run.begin).seconds() / self.plan.still.seconds().max(1e-9)).min(1.0),
        })
    }

    /// Where a paced device should be now, 0 at one stop and 1 at the other.
    pub fn pace(&self) -> Option<f64> {
        let State::Running(run) = &self.state else { return None };
        run.pace(self.now)
    }

    /// The test ends here, as soon as the phase that is under way is closed.
    pub fn stop(&mut self) {
        match std::mem::replace(&mut self.state, State::Before) {
            State::Running(run) | State::Asking(Question::CannotPlace | Question::HowMany, Some(run)) => {
                self.close(run, End::Stopped);
            }
            State::Closing(run, _) => self.state = State::Closing(run, End::Stopped),
            State::Over => self.state = State::Over,
            State::Before | State::Waiting { .. } | State::Opening | State::Asking(..) => self.end_here(),
        }
    }

    /// Time goes on.
    pub fn tick(&mut self, now: Nanos) {
        self.now = self.now.max(now);
        match &mut self.state {
            State::Before => self.next_job(),
            State::Waiting { since, asked } => {
                let waited = self.now - *since;
                let careful = self.job.as_ref().is_some_and(|job| job.pace == Some(Pace::Fast));
                let ready = if careful && self.fast_since_rest == 0 { READY_AFTER_CAUTION } else { READY };
                let scale = self.step.as_ref().map_or(step::USUAL, StepSoFar::counts_per_mm);
                if waited >= ready && self.rest.still(self.now, READY, scale) {
                    self.open();
                } else if waited >= RESTLESS && !*asked {
                    *asked = true;
                    self.say(Say::NotStill);
                }
            }
            State::Running(_) => self.run(),
            State::Opening | State::Closing(..) | State::Asking(..) | State::Over => {}
        }
    }

    /// Takes a line of the recording.
    pub fn entry(&mut self, entry: &Entry) {
        self.now = self.now.max(entry.t);
        let moved = self.step.as_mut().and_then(|step| step.take(entry, self.phases));
        if let Some((x, y)) = moved {
            self.rest.motion(entry.t, x, y);
            if let State::Running(run) | State::Asking(_, Some(run)) = &mut self.state {
                run.watch.motion(entry.t, x, y);
            }
        }
        match &entry.event {
            Event::Phase(Some(_)) => {
                self.phases += 1;
                if let (State::Opening, Some(job)) = (&self.state, &self.job) {
                    let run = Running::new(job, self.phases, entry.t, &self.plan);
                    self.out.push_back(Out::Do(run.doing(job, &self.plan, self.aim, job.swipes)));
                    self.say(Say::Go(job.clone()));
                    self.state = State::Running(Box::new(run));
                }
            }
            Event::Phase(None) => match std::mem::replace(&mut self.state, State::Before) {
                State::Closing(run, end) => self.closed(*run, end),
                other => self.state = other,
            },
            Event::Suspend(_) | Event::Back(_) | Event::Resumed(_) => self.interrupted(&entry.event),
            _ => {}
        }
    }

    fn say(&mut self, say: Say) {
        self.out.push_back(Out::Say(say));
    }

    fn write(&mut self, event: Event) {
        self.out.push_back(Out::Write(event));
    }

    fn planned(&self, id: u32) -> Step {
        let planned = self.plan.steps.iter().find(|step| step.id == id).cloned();
        planned.unwrap_or(Step { id, ..Step::default() })
    }

    /// Announces what comes next, or the end.
    fn next_job(&mut self) {
        let Some(job) = self.jobs.pop_front() else {
            self.state = State::Over;
            self.job = None;
            self.say(Say::Over { whole: self.whole });
            return;
        };
        let fast = job.pace == Some(Pace::Fast);
        if fast && self.fast_since_rest > 0 && self.fast_since_rest + job.swipes.unwrap_or(0) > REST_AFTER {
            let question = Question::Rest(self.fast_since_rest);
            self.fast_since_rest = 0;
            self.jobs.push_front(job);
            self.ask(question, None);
            return;
        }
        if self.step.as_ref().is_none_or(|step| step.id != job.step) {
            let first = self.step.is_none();
            self.begin_step(job.step);
            self.say(Say::Step { step: self.planned(job.step), of: self.plan.steps.len(), first });
        }
        if fast && !self.cautioned {
            self.cautioned = true;
            self.say(Say::Caution);
        }
        let peak =
            if fast { Some(self.aim) } else { job.pace.and_then(|p| self.plan.paced(p)).map(|p| p.peak) };
        let time = peak.filter(|_| !fast).map(|peak| self.plan.swipe_time(peak));
        self.say(Say::Next { phase: job.clone(), peak, still: self.plan.still, time });
        self.job = Some(job);
        self.state = State::Waiting { since: self.now, asked: false };
    }

    fn begin_step(&mut self, id: u32) {
        self.touched = 0;
        let nominal = self.planned(id).nominal_counts_per_inch;
        let travel_mm = self.plan.travel.metres().millimetres();
        self.step = Some(StepSoFar::new(id, &self.header, self.phases, nominal, travel_mm));
    }

    fn ask(&mut self, question: Question, run: Option<Box<Running>>) {
        self.say(Say::Ask(question.clone()));
        self.state = State::Asking(question, run);
    }

    /// Has the announced phase begin.
    fn open(&mut self) {
        let Some(job) = self.job.clone() else { return };
        if job.task != Task::Still {
            self.out.push_back(Out::Hold(true));
        }
        self.state = State::Opening;
        self.write(Event::Phase(Some(job)));
    }

    /// Has the phase that is under way end.
    fn close(&mut self, run: Box<Running>, end: End) {
        self.write(Event::Phase(None));
        self.out.push_back(Out::Hold(false));
        self.state = State::Closing(run, end);
    }

    /// The recording was broken: whatever was under way is closed, and the step is told again.
    fn interrupted(&mut self, event: &Event) {
        match std::mem::replace(&mut self.state, State::Before) {
            State::Running(run) | State::Asking(Question::CannotPlace | Question::HowMany, Some(run))
                if matches!(event, Event::Resumed(_)) =>
            {
                // The recorder has closed the phase itself.
                self.out.push_back(Out::Hold(false));
                self.state = State::Closing(run, End::Interrupted);
            }
            State::Running(run) => self.close(run, End::Interrupted),
            State::Opening | State::Waiting { .. } => {
                self.put_back();
                self.identify_again();
            }
            other => self.state = other,
        }
    }

    fn identify_again(&mut self) {
        self.say(Say::Interrupted);
        let step = self.jobs.front().map(|job| job.step);
        let identify = step.and_then(|step| self.plan.phases(step).into_iter().next());
        if self.jobs.front().is_some_and(|job| job.task != Task::Identify)
            && let Some(identify) = identify
        {
            self.jobs.push_front(identify);
        }
        self.next_job();
    }

    /// The announced phase is to come again.
    fn put_back(&mut self) {
        if let Some(job) = self.job.take() {
            self.jobs.push_front(job);
        }
    }

    /// Writes what is known of the phases beyond their lines.
    fn write_facts(&mut self) {
        let mut facts = Map::new();
        if !self.made.is_empty() {
            facts.insert("made".to_owned(), json!(self.made));
        }
        if !self.voided.is_empty() {
            facts.insert("voided".to_owned(), json!(self.voided));
        }
        self.write(Event::Meta(facts));
    }
}
