//! The whole test, held with simulated devices and hands.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_guide::{Guide, Key, Question, Rehearsal, Say, Size, TestPlan, Travel};
use slipgauge_sim::{Bench, Excess, Fault, Place, ReportFormat, What};
use slipgauge_trace::recording::Recording;
use slipgauge_trace::session::{Digest, Event, Pace, Step, Task};

fn plan(nominals: &[f64]) -> TestPlan {
    let step = |(id, &n): (u32, &f64)| Step { id, label: None, nominal_counts_per_inch: Some(n) };
    let steps = (1u32..).zip(nominals).map(step).collect();
    let travel = Travel::ruler(300_000, None);
    TestPlan { straight_edge: true, ..TestPlan::of_size(Size::Screen, travel, steps, None) }
}

fn bench(seed: u64, nominals: &[f64]) -> Bench {
    let mut bench = Bench { seed, ..Bench::default() };
    bench.device = bench.device.with_steps(nominals);
    bench
}

fn hold(plan: &TestPlan, bench: Bench) -> Rehearsal {
    Rehearsal::hold(plan, bench, &mut |_| None).unwrap()
}

fn judged(rehearsal: &Rehearsal) -> Verdict {
    judge(&rehearsal.recording().unwrap(), "rehearsal").verdict
}

fn words(rehearsal: &Rehearsal) -> String {
    rehearsal.said.iter().map(|(t, say)| format!("{:8.2} {say}\n", t.seconds())).collect()
}

fn fails(verdict: &Verdict, family: Family) -> bool {
    verdict.steps.iter().flat_map(|s| &s.families).any(|f| (f.family, f.verdict) == (family, Outcome::Fail))
}

#[test]
fn a_sound_device_goes_through_two_steps_and_passes() {
    let nominals = [800.0, 1600.0];
    let rehearsal = hold(&plan(&nominals), bench(3, &nominals));
    let verdict = judged(&rehearsal);
    assert_eq!(verdict.verdict, Outcome::Pass, "{}\n{}", verdict.because, words(&rehearsal));
    assert!(verdict.steps.iter().all(|s| s.swipes.unplaced == 0 && s.swipes.found == s.swipes.asked));
    assert!(verdict.live.is_empty(), "{:?}", verdict.live);
    // About two minutes a step.
    let (end, _) = rehearsal.said.last().unwrap();
    assert!(end.seconds() < 240.0, "{}", words(&rehearsal));
}

#[test]
fn a_device_that_loses_track_is_seen_live_and_confirmed() {
    let mut bench = bench(4, &[1600.0]);
    bench.device.sensor.tracking.max_speed_m_s = 1.5;
    let rehearsal = hold(&plan(&[1600.0]), bench);
    let verdict = judged(&rehearsal);
    assert!(fails(&verdict, Family::TrackingLoss), "{}", verdict.because);
    assert!(verdict.live.len() >= 12, "{}", words(&rehearsal));
    let confirmed = verdict.live.iter().filter(|note| note.confirmed).count();
    assert!(confirmed * 10 >= verdict.live.len() * 9, "{:?}", verdict.live);
    let suspects =
        rehearsal.said.iter().filter(|(_, say)| matches!(say, Say::Swipe { suspect: Some(_), .. }));
    assert!(suspects.count() >= 12, "{}", words(&rehearsal));
    // How fast the hand was is not known, so nobody is told to be faster.
    assert!(!rehearsal.said.iter().any(|(_, say)| matches!(say, Say::Slow { .. })), "{}", words(&rehearsal));
}

#[test]
fn goes_on_where_the_device_clips_from_the_first_millimetre() {
    let mut bench = bench(5, &[3200.0]).clone();
    bench.device = bench.device.with_interval_ns(8_000_000);
    bench.device.report = ReportFormat { bits: 8, ..bench.device.report.clone() };
    bench.device.firmware.excess = Excess::Discarded;
    let rehearsal = hold(&plan(&[3200.0]), bench);
    let verdict = judged(&rehearsal);
    assert!(matches!(rehearsal.said.last(), Some((_, Say::Over { whole: true }))), "{}", words(&rehearsal));
    assert_eq!(verdict.verdict, Outcome::Fail, "{}\n{}", verdict.because, words(&rehearsal));
}

#[test]
fn clear_spin_outs_end_a_step_as_the_plan_declares() {
    let plan = plan(&[800.0, 1600.0]);
    let spin = |swipe| Fault {
        place: Place::Swipe { phase: 5, swipe, at: 0.5 },
        ..Fault::in_swipe(
            5,
            swipe,
            0.5,
            What::Lose {
                loss: slipgauge_sim::Loss::Guess { turn_rad: 2.5, speed_share: 1.0 },
                seconds: 0.04,
            },
        )
    };
    let mut bench = bench(6, &[800.0, 1600.0]);
    bench.faults = (1..=15).map(spin).collect();
    let rehearsal = hold(&plan, bench);
    let verdict = judged(&rehearsal);
    let ended = rehearsal.said.iter().any(|(_, say)| matches!(say, Say::StepEnds(n) if *n >= 3));
    assert!(ended, "{}", words(&rehearsal));
    let first = &verdict.steps[0];
    assert!(first.swipes.asked < 33 && first.swipes.unplaced == 0, "{:?}", first.swipes);
    assert!(fails(&verdict, Family::SpinOut), "{}", verdict.because);
    // The next step is done.
    assert_eq!(verdict.steps[1].swipes.found, 33);
}

#[test]
fn a_wrong_step_is_noticed_and_asked_about() {
    // Both rows of the plan are told as 800 and 1600; the device is at 1600 for both.
    let mut bench = bench(7, &[800.0, 1600.0]);
    let model = bench.device.steps[1].clone();
    bench.device.steps[0].error = model.nominal_counts_per_inch / 800.0 - 1.0;
    let mut asked = Vec::new();
    let rehearsal = Rehearsal::hold(&plan(&[800.0, 1600.0]), bench, &mut |question| {
        asked.push(question.clone());
        None
    })
    .unwrap();
    let wrong = asked.iter().find(|q| matches!(q, Question::WrongStep { .. }));
    let Some(Question::WrongStep { step, like, .. }) = wrong else { panic!("{}", words(&rehearsal)) };
    assert_eq!((step.id, like.as_ref().map(|s| s.id)), (1, Some(2)));
    // Told and measured are in the file.
    let told = rehearsal.entries.iter().filter_map(|entry| match &entry.event {
        Event::Live(value) => value.get("identified").cloned(),
        _ => None,
    });
    let told: Vec<_> = told.collect();
    assert_eq!(told[0]["answer"], "the label is wrong", "{told:?}");
    assert!((told[0]["measured_counts_per_inch"].as_f64().unwrap() / 1600.0 - 1.0).abs() < 0.02);
}

#[test]
fn motion_without_a_swipe_is_said_and_the_phase_can_be_ended() {
    // The sensor gives a tenth of the counts whenever it moves: nothing reaches a travel.
    let mut bench = bench(8, &[1600.0]);
    bench.device.sensor.tracking.max_speed_m_s = 0.02;
    let mut asked = Vec::new();
    let rehearsal = Rehearsal::hold(&plan(&[1600.0]), bench, &mut |question| {
        asked.push(question.clone());
        None
    });
    // It ends, whatever was asked.
    let rehearsal = rehearsal.unwrap();
    let verdict = judged(&rehearsal);
    assert_ne!(verdict.verdict, Outcome::Pass, "{}\n{asked:?}", words(&rehearsal));
}

#[test]
fn a_phase_can_be_left_out_for_a_reason_and_done_again() {
    let (mut guide, mut desk, header) = led(9, &plan(&[800.0]));
    // In the third swipe of the slow phase, Escape; then: do it again, because the hand slipped.
    desk.until(&mut guide, in_the_third_slow_swipe);
    guide.key(Key::Escape);
    desk.until(&mut guide, |guide, _| guide.question() == Some(&Question::Paused));
    guide.key(Key::Enter);
    guide.key(Key::Space);
    guide.key(Key::Space);
    guide.key(Key::Enter);
    desk.until(&mut guide, |guide, _| guide.over());
    let digest = Digest::default();
    let recording = Recording::from_entries(header, desk.entries, digest).unwrap();
    let voided: Vec<_> = recording.phases.iter().filter_map(|p| p.voided.clone()).collect();
    assert_eq!(voided, ["the hand slipped"]);
    let again = recording.phases.iter().find(|p| p.phase.other.contains_key("repeats")).unwrap();
    assert_eq!(again.phase.other["because"], "the hand slipped");
    let verdict = judge(&recording, "again").verdict;
    assert_eq!(verdict.verdict, Outcome::Pass, "{}", verdict.because);
    assert_eq!((verdict.steps[0].swipes.found, verdict.steps[0].swipes.voided), (33, 10));
}

#[test]
fn an_interrupted_test_goes_on_where_it_was() {
    let plan = plan(&[800.0]);
    let (mut guide, mut desk, header) = led(10, &plan);
    desk.until(&mut guide, |guide, said| {
        guide.phase().is_some_and(|p| p.pace == Some(Pace::Fast))
            && matches!(said, Some(Say::Swipe { number: 4, .. }))
    });
    // Killed here; taken up again from the file.
    let digest = Digest::default();
    let so_far = Recording::from_entries(header.clone(), desk.entries.clone(), digest.clone()).unwrap();
    let mut guide = Guide::resume(plan, &so_far).unwrap();
    desk.broken();
    desk.until(&mut guide, |guide, _| guide.over());
    let recording = Recording::from_entries(header, desk.entries, digest).unwrap();
    let tasks: Vec<_> =
        recording.phases.iter().map(|p| (p.phase.task.clone(), p.phase.pace, p.swipes())).collect();
    assert_eq!(
        tasks.iter().filter(|(task, ..)| *task == Task::Identify).count(),
        2,
        "it is told again which step it is: {tasks:?}"
    );
    assert_eq!(tasks.iter().filter(|(task, ..)| *task == Task::Still).count(), 1, "{tasks:?}");
    let verdict = judge(&recording, "resumed").verdict;
    assert_eq!(verdict.verdict, Outcome::Pass, "{} {tasks:?}", verdict.because);
    assert_eq!(verdict.steps[0].swipes.unplaced, 0, "{tasks:?}");
    assert!(verdict.steps[0].swipes.found >= 35, "{tasks:?}");
}

#[test]
fn a_pause_outlives_a_replug() {
    let (mut guide, mut desk, _) = led(11, &plan(&[800.0]));
    desk.until(&mut guide, in_the_third_slow_swipe);
    guide.key(Key::Escape);
    desk.until(&mut guide, |guide, _| guide.question() == Some(&Question::Paused));
    // The device goes and comes back; the phase was closed before, so the recorder closes none.
    desk.line(&mut guide, Event::Resumed(serde_json::json!({ "at": "2026-01-01T00:00:00Z" })));
    assert_eq!(guide.question(), Some(&Question::Paused));
    guide.key(Key::Space);
    desk.until(&mut guide, |guide, _| guide.over());
    assert!(guide.whole());
}

#[test]
fn after_the_computer_slept_the_step_is_identified_again_and_nothing_is_lost() {
    let (mut guide, mut desk, header) = led(13, &plan(&[800.0]));
    // Once in the middle of a phase, once between two.
    desk.until(&mut guide, in_the_third_slow_swipe);
    desk.line(&mut guide, Event::Suspend(slipgauge_trace::Nanos(60_000_000_000)));
    desk.until(&mut guide, |_, said| matches!(said, Some(Say::Caution)));
    desk.line(&mut guide, Event::Suspend(slipgauge_trace::Nanos(60_000_000_000)));
    desk.until(&mut guide, |guide, _| guide.over());
    assert!(guide.whole());
    let recording = Recording::from_entries(header, desk.entries, Digest::default()).unwrap();
    let identified = recording.phases.iter().filter(|p| p.phase.task == Task::Identify).count();
    assert_eq!(identified, 3, "at first, and after each sleep");
    let verdict = judge(&recording, "slept").verdict;
    assert_eq!(verdict.verdict, Outcome::Pass, "{}", verdict.because);
    assert_eq!(verdict.steps[0].swipes.unplaced, 0);
}

#[test]
fn the_end_of_a_phase_that_is_not_the_guides_skips_nothing() {
    let (mut guide, mut desk, _) = led(12, &plan(&[800.0]));
    desk.until(&mut guide, |guide, _| guide.phase().is_some_and(|p| p.task == Task::Identify));
    desk.line(&mut guide, Event::Phase(None));
    desk.until(&mut guide, |guide, _| guide.over());
    let identified = |e: &slipgauge_trace::session::Entry| match &e.event {
        Event::Phase(Some(phase)) => phase.task == Task::Identify,
        _ => false,
    };
    assert_eq!(desk.entries.iter().filter(|e| identified(e)).count(), 1);
}

/// A guide by this plan, a bench that the test leads, and the header of what they write.
fn led(seed: u64, plan: &TestPlan) -> (Guide, Desk, slipgauge_trace::session::Header) {
    let session = bench(seed, &[800.0]).session().unwrap();
    let header = slipgauge_trace::session::Header { plan: Some(plan.to_session()), ..session.header() };
    (Guide::new(plan.clone(), header.clone()).unwrap(), Desk::new(&session), header)
}

fn in_the_third_slow_swipe(guide: &Guide, said: Option<&Say>) -> bool {
    let slow = guide.phase().is_some_and(|p| p.task == Task::Swipes && p.pace == Some(Pace::Slow));
    slow && matches!(said, Some(Say::Swipe { number: 3, .. }))
}

/// A bench that a test leads by hand.
struct Desk {
    led: slipgauge_sim::Led,
    operator: slipgauge_sim::Operator,
    entries: Vec<slipgauge_trace::session::Entry>,
    now: slipgauge_trace::Nanos,
}

impl Desk {
    fn new(session: &slipgauge_sim::Session) -> Desk {
        let operator = slipgauge_sim::Operator::default();
        let led = slipgauge_sim::Led::new(session, &operator).unwrap();
        Desk { led, operator, entries: Vec::new(), now: slipgauge_trace::Nanos(0) }
    }

    /// Goes on until this is so, after anything that was said.
    fn until(&mut self, guide: &mut Guide, done: impl Fn(&Guide, Option<&Say>) -> bool) {
        use slipgauge_guide::Out;
        use slipgauge_trace::Nanos;
        for _ in 0..60_000 {
            self.now = self.now + Nanos(10_000_000);
            for entry in self.led.run_to(self.now) {
                guide.entry(&entry);
                self.entries.push(entry);
            }
            guide.tick(self.now);
            let mut met = done(guide, None);
            loop {
                let outs: Vec<Out> = guide.take().collect();
                if outs.is_empty() {
                    break;
                }
                for out in outs {
                    match out {
                        Out::Say(say) => met |= done(guide, Some(&say)),
                        Out::Write(event) => self.line(guide, event),
                        Out::Do(asked) => {
                            let doing = slipgauge_guide::rehearsal::doing(&asked);
                            self.operator.ask(asked.phase, asked.asked.step, doing);
                        }
                        Out::Hold(_) | Out::Bell => {}
                    }
                }
            }
            if met {
                return;
            }
        }
        panic!("it never came to that; waiting at {:?}, {:?}", guide.phase(), guide.question());
    }

    fn line(&mut self, guide: &mut Guide, event: Event) {
        if event == Event::Phase(None) {
            self.operator.stop();
        }
        let t = self.entries.last().map_or(self.now, |last| last.t.max(self.now));
        let entry = slipgauge_trace::session::Entry { t, device: 0, event };
        guide.entry(&entry);
        self.entries.push(entry);
    }

    /// As the recorder writes it where a recording is taken up again.
    fn broken(&mut self) {
        self.operator.stop();
        self.now = self.now + slipgauge_trace::Nanos(3_000_000_000);
        let _ = self.led.run_to(self.now);
        for event in [Event::Resumed(serde_json::json!({ "at": "2026-01-01T00:00:00Z" })), Event::Phase(None)]
        {
            let entry = slipgauge_trace::session::Entry { t: self.now, device: 0, event };
            self.entries.push(entry);
        }
    }
}
