//! The whole test with a simulated device and hand, without a terminal and as fast as it can be worked out.
//!
//! The hand does what it is told and answers as a patient operator would. What comes of it is a session like any other.

use crate::guide::{Doing, Guide, Out};
use crate::plan::TestPlan;
use crate::say::{Key, Question, Say};
use slipgauge_sim::{Bench, Led, Operator, Script, ScriptPhase, SimError};
use slipgauge_trace::recording::Recording;
use slipgauge_trace::session::{Digest, Entry, Event, Header, Pace, Phase, Task};
use slipgauge_trace::{Nanos, TraceError};

/// How often the guide looks at the clock.
const LOOK: Nanos = Nanos(10_000_000);
/// A test that lasts longer than this has lost its way.
const LONGEST: Nanos = Nanos(7_200_000_000_000);

/// A rehearsal that cannot be held.
#[derive(Debug, thiserror::Error)]
pub enum RehearsalError {
    /// The bench makes no sense.
    #[error(transparent)]
    Sim(#[from] SimError),
    /// The session makes no sense.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// Two hours were not enough.
    #[error("the rehearsal did not come to its end within two hours of simulated time; it waits at: {0}")]
    Endless(String),
}

/// What came of it.
#[derive(Debug)]
pub struct Rehearsal {
    /// The session's header.
    pub header: Header,
    /// Its lines.
    pub entries: Vec<Entry>,
    /// What was said, and when.
    pub said: Vec<(Nanos, Say)>,
}

/// How the operator answers; `None` for what it would do by itself.
pub type Answers<'a> = dyn FnMut(&Question) -> Option<Key> + 'a;

/// What a simulated hand does for a task.
pub fn doing(asked: &Doing) -> slipgauge_sim::Doing {
    task(&asked.asked, asked.peak.0, asked.still)
}

fn task(phase: &Phase, peak_m_s: f64, still: Nanos) -> slipgauge_sim::Doing {
    let count = phase.swipes.unwrap_or(0);
    match phase.task {
        Task::Identify => slipgauge_sim::Doing::Identify { count, peak_m_s },
        Task::Still => slipgauge_sim::Doing::Still { seconds: still.seconds() },
        _ => slipgauge_sim::Doing::Swipes { pace: phase.pace.unwrap_or(Pace::Slow), count, peak_m_s },
    }
}

/// The plan's phases as a script, in the order and so with the numbers that a guided test gives them.
pub fn script(plan: &TestPlan) -> Script {
    let phases = plan.steps.iter().flat_map(|step| plan.phases(step.id));
    let phases = phases.map(|phase| {
        let doing = task(&phase, plan.peak(phase.pace).0, plan.still);
        ScriptPhase { step: phase.step, doing, axis: None }
    });
    Script { phases: phases.collect() }
}

impl Rehearsal {
    /// Goes through a plan on a bench, whose device has the plan's steps; the bench's script is not used.
    ///
    /// # Errors
    /// [`RehearsalError`].
    pub fn hold(
        plan: &TestPlan,
        bench: Bench,
        answers: &mut Answers<'_>,
    ) -> Result<Rehearsal, RehearsalError> {
        let session = bench.session()?;
        let header = Header { plan: Some(plan.to_session()), ..session.header() };
        let mut guide = Guide::new(plan.clone(), header.clone())?;
        let operator = Operator::default();
        let mut rehearsal = Rehearsal { header, entries: Vec::new(), said: Vec::new() };
        // A session has a device, always.
        let Some(mut led) = Led::new(&session, &operator) else { return Ok(rehearsal) };
        let (mut now, mut made) = (Nanos(0), 0);
        while !guide.over() {
            now = now + LOOK;
            if now > LONGEST {
                let waits =
                    guide.question().map_or_else(|| format!("{:?}", guide.phase()), ToString::to_string);
                return Err(RehearsalError::Endless(waits));
            }
            for entry in led.run_to(now) {
                if !matches!(entry.event, Event::Phase(_) | Event::End) {
                    guide.entry(&entry);
                    rehearsal.entries.push(entry);
                }
            }
            guide.tick(now);
            rehearsal.act(&mut guide, now, &operator, &mut made);
            if let Some(question) = guide.question().cloned() {
                let mut own = |question: &Question| match question {
                    Question::HowMany if made > 0 => {
                        made -= 1;
                        Key::Space
                    }
                    Question::CannotPlace | Question::HowMany | Question::WrongStep { .. } => Key::Enter,
                    _ => Key::Space,
                };
                guide.key(answers(&question).unwrap_or_else(|| own(&question)));
                rehearsal.act(&mut guide, now, &operator, &mut made);
            }
        }
        let end = rehearsal.at(now);
        rehearsal.entries.push(Entry { t: end, device: 0, event: Event::End });
        Ok(rehearsal)
    }

    /// The session, decoded.
    ///
    /// # Errors
    /// [`TraceError`].
    pub fn recording(&self) -> Result<Recording, TraceError> {
        Recording::from_entries(self.header.clone(), self.entries.iter().cloned(), Digest::default())
    }

    /// A time at which a line may be written.
    fn at(&self, now: Nanos) -> Nanos {
        self.entries.last().map_or(now, |last| last.t.max(now))
    }

    fn act(&mut self, guide: &mut Guide, now: Nanos, operator: &Operator, made: &mut u32) {
        loop {
            let outs: Vec<Out> = guide.take().collect();
            if outs.is_empty() {
                return;
            }
            for out in outs {
                match out {
                    Out::Say(say) => {
                        if say == Say::NotStill {
                            guide.key(Key::Space);
                        }
                        self.said.push((now, say));
                    }
                    Out::Write(event) => {
                        if event == Event::Phase(None) {
                            operator.stop();
                        }
                        let entry = Entry { t: self.at(now), device: 0, event };
                        guide.entry(&entry);
                        self.entries.push(entry);
                    }
                    Out::Do(asked) => {
                        *made = asked.asked.swipes.unwrap_or(0);
                        operator.ask(asked.phase, asked.asked.step, doing(&asked));
                    }
                    Out::Hold(_) | Out::Bell => {}
                }
            }
        }
    }
}
