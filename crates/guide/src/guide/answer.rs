//! What the keys do.

use super::{End, Guide, State};
use crate::say::{Key, Question, REASONS, Say};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Task;

impl Guide {
    /// A key was pressed.
    pub fn key(&mut self, key: Key) {
        match std::mem::replace(&mut self.state, State::Before) {
            State::Waiting { .. } if key != Key::Escape => self.open(),
            State::Waiting { .. } => self.ask(Question::Paused, None),
            State::Running(run) if key == Key::Escape => self.close(run, End::Paused),
            State::Running(mut run) => {
                let fastest = self.step.as_ref().and_then(|step| step.fastest);
                if let (Key::Enter, true, Some(fastest)) = (key, run.offers_less(), fastest) {
                    run.lowered();
                    (self.aim, self.reach) = (fastest, fastest);
                    self.say(Say::Lowered(fastest));
                }
                self.state = State::Running(run);
            }
            State::Asking(question, run) => self.answer(question, run, key),
            other => self.state = other,
        }
    }

    fn answer(&mut self, question: Question, run: Option<Box<super::Running>>, key: Key) {
        match (question, key, run) {
            (Question::WrongStep { step, measured, .. }, Key::Enter, _) => {
                self.tell_step(step.id, measured, "the label is wrong");
                self.next_job();
            }
            (Question::WrongStep { step, measured, .. }, Key::Space, _) => {
                self.tell_step(step.id, measured, "it was the wrong step");
                self.measured.remove(&step.id);
                let number = self.phases;
                self.void(number, REASONS[1]);
                if let Some(identify) = self.plan.phases(step.id).into_iter().next() {
                    self.again(identify, number, None);
                }
                self.begin_step(step.id);
                self.say(Say::Step { step, of: self.plan.steps.len(), first: false });
                self.next_job();
            }
            (Question::CannotPlace, Key::Space, Some(mut run)) => {
                run.watch.unplaced_motion = Nanos(0);
                self.state = State::Running(run);
            }
            (Question::CannotPlace, Key::Enter, Some(run)) => self.ask(Question::HowMany, Some(run)),
            (Question::HowMany, Key::Space, Some(mut run)) => {
                run.counted += 1;
                self.say(Say::Counted(run.counted));
                self.state = State::Asking(Question::HowMany, Some(run));
            }
            (Question::HowMany, Key::Enter, Some(run)) => {
                let made = run.counted.max(run.placed);
                self.close(run, End::Made(made));
            }
            (Question::CannotPlace | Question::HowMany, Key::Escape, Some(run)) => {
                self.close(run, End::Paused);
            }
            (Question::Paused, Key::Space, Some(run)) => {
                if let Some(job) = self.job.take() {
                    self.go_on_later(job, &run);
                }
                self.next_job();
            }
            (Question::Paused, Key::Enter, Some(run)) => self.ask(Question::Why(REASONS[0]), Some(run)),
            // It had not begun.
            (Question::Paused, Key::Space | Key::Enter, None) => {
                self.put_back();
                self.next_job();
            }
            (Question::Paused | Question::WrongStep { .. } | Question::Rest(_), Key::Escape, run) => {
                if let Some(run) = run {
                    let job = self.job.take();
                    if job.is_some_and(|job| job.task == Task::Swipes) {
                        self.made(run.number, run.placed);
                    }
                }
                self.end_here();
            }
            (Question::Why(reason), Key::Space, run) => {
                let next = REASONS.iter().position(|r| *r == reason).map_or(0, |i| (i + 1) % REASONS.len());
                self.ask(Question::Why(REASONS[next]), run);
            }
            (Question::Why(reason), Key::Enter, Some(run)) => {
                self.void(run.number, reason);
                if let Some(job) = self.job.take() {
                    self.again(job, run.number, None);
                }
                self.next_job();
            }
            (Question::Why(_), Key::Escape, run) => self.ask(Question::Paused, run),
            (Question::Rest(_), _, _) => self.next_job(),
            // Questions of a phase, without one: nothing to decide.
            (_, _, None) => self.next_job(),
        }
    }
}
