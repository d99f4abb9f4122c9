//! A phase that is under way.

use super::{Doing, End, Guide, Out, State};
use crate::plan::{REST_AFTER, TestPlan};
use crate::say::{Question, Say};
use crate::watch::Watch;
use slipgauge_trace::session::{Pace, Phase, Task};
use slipgauge_trace::{MetresPerSecond, Nanos};

/// A swipe is looked for once the device has rested this long; a dwell at a stop is 0.1 s and more.
const LOOK: Nanos = Nanos(100_000_000);
/// A phase ends when the device has rested this long after its last swipe, so that bounce and tail are in it.
const TAIL: Nanos = Nanos(500_000_000);
/// After this long without motion, more swipes are asked for, and as long again until the next time.
const MORE: Nanos = Nanos(3_000_000_000);
/// Motion of this many swipes' time without one that can be placed.
const UNPLACED: i64 = 6;
/// Fast swipes in which the speed should have been reached.
const TRIES: u32 = 10;
/// Paced phases: before the first swipe, and at each stop.
const LEAD: Nanos = Nanos(1_500_000_000);
const DWELL: Nanos = Nanos(500_000_000);
/// A rest that was broken is done again so often; what moves then moves by itself.
const TOUCHES: u32 = 2;
/// Moved by a hand while it should lie still: this far within a second, in millimetres. The fastest drift is less.
const TOUCHED_MM: f64 = 25.0;

/// Its state.
pub(super) struct Running {
    pub(super) number: u32,
    pub(super) begin: Nanos,
    pub(super) watch: Watch,
    /// Swipes placed so far, and how many of them were told.
    pub(super) placed: u32,
    pub(super) told: u32,
    /// Time of one swipe, if it is paced.
    paced: Option<Nanos>,
    turns: i64,
    time: Nanos,
    nagged: Nanos,
    offered: bool,
    /// Swipes in which nothing looks wrong, and those of them that were fast enough.
    clean: u32,
    reached: u32,
    pub(super) counted: u32,
}

impl Running {
    pub(super) fn new(job: &Phase, number: u32, begin: Nanos, plan: &TestPlan) -> Running {
        let time = plan.swipe_time(plan.peak(job.pace));
        let paced = matches!(job.pace, Some(Pace::Slow | Pace::Medium)) && job.task != Task::Still;
        Running {
            number,
            begin,
            watch: Watch::default(),
            placed: 0,
            told: 0,
            paced: paced.then_some(time),
            turns: 0,
            time,
            nagged: begin,
            offered: false,
            clean: 0,
            reached: 0,
            counted: 0,
        }
    }

    /// What a hand has to do, `swipes` of them.
    pub(super) fn doing(
        &self,
        job: &Phase,
        plan: &TestPlan,
        target: MetresPerSecond,
        swipes: Option<u32>,
    ) -> Doing {
        let peak = if job.pace == Some(Pace::Fast) { target } else { plan.peak(job.pace) };
        Doing { phase: self.number, asked: Phase { swipes, ..job.clone() }, peak, still: plan.still }
    }

    /// Swipes that the pacing has begun by now, and the time since the last began.
    fn stroke(&self, now: Nanos) -> Option<(i64, Nanos)> {
        let period = self.paced?.0 + DWELL.0;
        let since = (now - self.begin - LEAD).0;
        (since >= 0).then(|| (since / period, Nanos(since % period)))
    }

    /// Where the device should be: minimum jerk from stop to stop (Flash & Hogan 1985), and a rest at each.
    pub(super) fn pace(&self, now: Nanos) -> Option<f64> {
        self.paced?;
        let Some((n, since)) = self.stroke(now) else { return Some(0.0) };
        let s = (since.seconds() / self.time.seconds()).min(1.0);
        let place = s * s * s * (10.0 - 15.0 * s + 6.0 * s * s);
        Some(if n % 2 == 0 { place } else { 1.0 - place })
    }

    /// Enter lowers the target, while that is offered.
    pub(super) fn offers_less(&self) -> bool {
        self.offered
    }

    pub(super) fn lowered(&mut self) {
        self.offered = false;
        self.reached = 1;
    }
}

impl Guide {
    /// The phase goes on.
    pub(super) fn run(&mut self) {
        let State::Running(mut run) = std::mem::replace(&mut self.state, State::Before) else { return };
        let Some(job) = self.job.clone() else { return };
        if job.task == Task::Still {
            let scale = self.step.as_ref().map_or(super::step::USUAL, super::StepSoFar::counts_per_mm);
            let since = (self.now - Nanos::SECOND).max(run.begin);
            if self.touched < TOUCHES && self.rest.moved_since(since) > TOUCHED_MM * scale {
                self.touched += 1;
                self.close(run, End::Touched);
            } else if self.now - run.begin >= self.plan.still {
                self.close(run, End::Whole);
            } else {
                self.state = State::Running(run);
            }
            return;
        }
        let last = self.rest.last_motion.unwrap_or(run.begin).max(run.begin);
        let quiet = self.now - last;
        if run.watch.fresh() && quiet >= LOOK {
            self.look(&mut run, &job);
        }
        if let Some((n, _)) = run.stroke(self.now)
            && n >= run.turns
        {
            run.turns = n + 1;
            self.out.push_back(Out::Bell);
        }
        let asked = job.swipes.unwrap_or(0);
        let spun = self.spun_out();
        if let Some(n) = spun {
            self.close(run, End::SpunOut(n));
        } else if run.placed >= asked && quiet >= TAIL {
            self.close(run, End::Whole);
        } else if run.watch.unplaced_motion.0 > (UNPLACED * run.time.0).max(2 * Nanos::SECOND.0) {
            self.ask(Question::CannotPlace, Some(run));
        } else {
            // Before the first motion nothing is missing.
            let missing = run.placed < asked && last > run.begin;
            if missing && quiet >= MORE && self.now - run.nagged >= MORE + MORE {
                run.nagged = self.now;
                self.say(Say::More(asked - run.placed));
                let more = run.doing(&job, &self.plan, self.aim, Some(asked - run.placed));
                self.out.push_back(Out::Do(more));
            }
            self.state = State::Running(run);
        }
    }

    /// Looks for swipes and tells the new ones.
    pub(super) fn look(&mut self, run: &mut Running, job: &Phase) {
        let Some(step) = self.step.as_mut() else { return };
        let found = run.watch.swipes(step.frame, step.travel_counts);
        run.placed = u32::try_from(found.len()).unwrap_or(u32::MAX);
        if run.placed <= run.told {
            return;
        }
        run.watch.unplaced_motion = Nanos(0);
        let suspects = step.look(run.number, run.placed - run.told);
        let fast = job.pace == Some(Pace::Fast);
        let mut said = Vec::new();
        let begins: Vec<i64> = found.iter().map(|s| s.begin).collect();
        // The swipe during or after which it is.
        let of = |note: &super::step::Note| begins.partition_point(|begin| *begin < note.end_ns);
        for (swipe, number) in found.iter().zip(1u32..).skip(run.told as usize) {
            let peak = MetresPerSecond(swipe.peak / step.counts_per_mm() * 1e-3);
            step.fastest = Some(step.fastest.map_or(peak, |v| if peak.0 > v.0 { peak } else { v }));
            let suspect = suspects.iter().find(|note| of(note) == number as usize);
            // How fast the hand was is not known where counts are in doubt.
            let reached = suspect.is_none().then_some(peak.0 >= self.reach.0);
            run.clean += u32::from(suspect.is_none());
            run.reached += u32::from(reached == Some(true));
            said.push(Say::Swipe {
                number,
                of: job.swipes.unwrap_or(0),
                peak: (job.task != Task::Identify).then_some(peak),
                fastest: step.fastest.filter(|_| fast),
                reached: reached.filter(|_| fast),
                suspect: suspect.map(|note| note.words.clone()),
            });
        }
        let earlier = suspects.iter().filter(|note| of(note) <= run.told as usize);
        said.extend(earlier.map(|note| match of(note) {
            0 => Say::Noticed(note.words.clone()),
            n => Say::Noticed(format!("swipe {n}: {}", note.words)),
        }));
        let before = self.fast_since_rest;
        if fast {
            self.fast_since_rest += run.placed - run.told;
        }
        run.told = run.placed;
        self.out.extend(said.into_iter().map(Out::Say));
        self.out.extend(suspects.into_iter().map(|note| Out::Write(note.event)));
        if before < REST_AFTER && self.fast_since_rest >= REST_AFTER {
            self.say(Say::Noticed(format!(
                "{REST_AFTER} fast swipes so far: rest the arm whenever you like."
            )));
        }
        let fastest = self.step.as_ref().and_then(|step| step.fastest);
        if fast
            && run.clean >= TRIES
            && run.reached == 0
            && !run.offered
            && let Some(fastest) = fastest
        {
            run.offered = true;
            self.say(Say::Slow { fastest, target: self.reach });
        }
    }
}
