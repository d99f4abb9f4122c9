//! A phase that is over: what it told, and what comes next.

use super::{End, Guide, Out, Running, State};
use crate::identify::{self, Told};
use crate::plan::IDENTIFY;
use crate::say::{Question, REASONS, Say};
use serde_json::{Value, json};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::{Event, Phase, Task};

impl Guide {
    /// Swipes with clear spin-outs, if the plan lets them end a step.
    pub(super) fn spun_out(&self) -> Option<u32> {
        let most = self.plan.spin_outs_end_a_step?;
        self.step.as_ref().and_then(super::StepSoFar::spun).filter(|spun| *spun >= most)
    }

    /// The end of a phase has been written.
    pub(super) fn closed(&mut self, mut run: Running, end: End) {
        let Some(job) = self.job.take() else { return };
        if run.watch.fresh() {
            self.look(&mut run, &job);
        }
        let notes = self.step.as_mut().map(|step| step.look_now(Some(run.number))).unwrap_or_default();
        for note in notes {
            self.say(Say::Noticed(note.words));
            self.out.push_back(Out::Write(note.event));
        }
        match end {
            End::Whole => self.say(Say::Done(job.clone())),
            End::Made(n) => self.made(run.number, n),
            End::SpunOut(n) => {
                self.made(run.number, run.placed);
                self.say(Say::StepEnds(n));
                self.jobs.retain(|other| other.step != job.step);
                self.next_job();
                return;
            }
            End::Touched => {
                self.say(Say::Touched);
                self.void(run.number, "the device was moved");
                self.again(job, run.number, None);
                self.next_job();
                return;
            }
            End::Paused => {
                self.job = Some(job);
                self.ask(Question::Paused, Some(Box::new(run)));
                return;
            }
            End::Stopped => {
                if job.task == Task::Swipes {
                    self.made(run.number, run.placed);
                }
                self.end_here();
                return;
            }
            End::Interrupted => {
                self.go_on_later(job, &run);
                self.identify_again();
                return;
            }
        }
        if job.task == Task::Identify {
            self.identified(&mut run);
        } else {
            self.next_job();
        }
    }

    /// Swipes that were made in a phase which ended otherwise than by what was asked.
    pub(super) fn made(&mut self, phase: u32, swipes: u32) {
        self.made.insert(phase.to_string(), json!(swipes));
        self.write_facts();
    }

    /// A phase is not to be judged, for a reason.
    pub(super) fn void(&mut self, phase: u32, reason: &str) {
        self.voided.insert(phase.to_string(), json!(reason));
        self.write_facts();
    }

    /// What is left of a phase comes next.
    pub(super) fn go_on_later(&mut self, job: Phase, run: &Running) {
        if job.task == Task::Identify || job.task == Task::Still {
            self.void(run.number, REASONS[3]);
            self.again(job, run.number, None);
            return;
        }
        self.made(run.number, run.placed);
        let left = job.swipes.unwrap_or(0).saturating_sub(run.placed);
        if left > 0 {
            self.again(job, run.number, Some(left));
        }
    }

    /// The phase is done once more, or what is left of it.
    pub(super) fn again(&mut self, mut job: Phase, number: u32, swipes: Option<u32>) {
        job.other.insert("repeats".to_owned(), json!(number));
        match self.voided.get(&number.to_string()).cloned() {
            Some(reason) => job.other.insert("because".to_owned(), reason),
            None => job.other.remove("because"),
        };
        job.swipes = swipes.or(job.swipes);
        self.jobs.push_front(job);
    }

    /// What the identifying swipes say.
    fn identified(&mut self, run: &mut Running) {
        let Some(step) = self.step.as_mut() else { return };
        let id = step.id;
        let frame = run.watch.frame();
        let lengths: Vec<f64> = run.watch.swipes(frame, None).iter().map(|s| s.along.abs()).collect();
        let interval = run.watch.interval();
        if lengths.len() < IDENTIFY as usize {
            self.next_job();
            return;
        }
        let counts = lengths.iter().sum::<f64>() / lengths.len() as f64;
        let travel_mm = self.plan.travel.metres().millimetres();
        (step.frame, step.travel_counts) = (frame, Some(counts));
        let measured = 25.4 * counts / travel_mm;
        let planned = self.planned(id);
        self.say(Say::Identified { step: planned.clone(), measured });
        if let (false, Some(ns)) = (self.told_interval, interval) {
            self.told_interval = true;
            let nodes = self.header.devices.first().map_or(&[][..], |d| d.nodes.as_slice());
            let nominal = nodes.iter().find_map(|n| n.interval_ns);
            let nominal_ms = nominal.map(|Nanos(ns)| ns as f64 * 1e-6);
            self.say(Say::Interval { seen_ms: ns * 1e-6, nominal_ms });
        }
        match identify::told(&planned, measured, &self.plan.steps, &self.measured) {
            Told::Agrees => {
                self.tell_step(id, measured, "as told");
                self.next_job();
            }
            Told::Differs(like) => {
                self.job = None;
                self.ask(Question::WrongStep { step: planned, measured, like }, None);
            }
        }
    }

    /// Writes told and measured.
    pub(super) fn tell_step(&mut self, id: u32, measured: f64, answer: &str) {
        self.measured.insert(id, measured);
        let nominal = self.planned(id).nominal_counts_per_inch;
        let told: Value = json!({ "step": id, "told_counts_per_inch": nominal,
            "measured_counts_per_inch": (measured * 10.0).round() / 10.0, "answer": answer });
        self.write(Event::Live(json!({ "identified": told })));
    }

    pub(super) fn end_here(&mut self) {
        self.whole = false;
        self.jobs.clear();
        self.state = State::Before;
        self.next_job();
    }
}
