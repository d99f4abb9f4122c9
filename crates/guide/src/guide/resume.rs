//! A test that was interrupted, from its file: what was done stays done, and what is left is asked for.

use super::Guide;
use crate::plan::TestPlan;
use serde_json::{Map, Value};
use slipgauge_analysis::judge;
use slipgauge_trace::recording::{PhaseSpan, Recording};
use slipgauge_trace::session::{Phase, Task};
use slipgauge_trace::{Nanos, TraceError};

impl Guide {
    /// A test that goes on after this recording of it.
    ///
    /// All that was swiped counts, in phases that were not left out. A rest counts if it was as long as the plan asks. At
    /// each step where anything is left, the step is identified again.
    ///
    /// # Errors
    /// As [`Guide::new`].
    pub fn resume(plan: TestPlan, recording: &Recording) -> Result<Guide, TraceError> {
        let mut guide = Guide::new(plan, recording.header.clone())?;
        let judgement = judge(recording, "");
        let placed = |span: &PhaseSpan| {
            let mut views = judgement.steps.iter().flat_map(|step| &step.phases);
            let view = views.find(|view| view.span.number == span.number);
            u32::try_from(view.map_or(0, |view| view.swipes.len())).unwrap_or(u32::MAX)
        };
        guide.phases = u32::try_from(recording.phases.len()).unwrap_or(u32::MAX);
        guide.now = recording.span.1;
        let fact = |name: &str| recording.facts.get(name).and_then(Value::as_object).cloned();
        guide.made = fact("made").unwrap_or_default();
        guide.voided = fact("voided").unwrap_or_default();
        let counts: Vec<&PhaseSpan> = recording.phases.iter().filter(|p| p.voided.is_none()).collect();
        let mut left = Vec::new();
        for step in guide.plan.steps.clone() {
            let mut of_step = Vec::new();
            for asked in guide.plan.phases(step.id) {
                let same = |span: &&&PhaseSpan| alike(&span.phase, &asked);
                match (&asked.task, asked.swipes) {
                    (Task::Identify, _) => {}
                    (Task::Still, _) => {
                        let long = |span: &&PhaseSpan| {
                            span.end - span.begin >= guide.plan.still - Nanos::MILLISECOND
                        };
                        if !counts.iter().filter(same).any(long) {
                            of_step.push(asked);
                        }
                    }
                    (_, Some(n)) => {
                        let done =
                            counts.iter().filter(same).map(|span| placed(span)).fold(0, u32::saturating_add);
                        if done < n {
                            of_step.push(Phase { swipes: Some(n - done), ..asked });
                        }
                    }
                    _ => {}
                }
            }
            if !of_step.is_empty() {
                left.extend(guide.plan.phases(step.id).into_iter().filter(|p| p.task == Task::Identify));
                left.append(&mut of_step);
            }
        }
        guide.jobs = left.into();
        // A phase that was cut off shows fewer swipes than were asked; the rest comes in another one.
        let cut: Vec<(String, u32)> = counts
            .iter()
            .filter(|span| span.phase.task == Task::Swipes && span.made.is_none())
            .map(|span| (span, placed(span)))
            .filter(|(span, n)| span.phase.swipes.is_some_and(|asked| *n < asked) && cut_off(span, recording))
            .map(|(span, n)| (span.number.to_string(), n))
            .collect();
        guide.made.extend(cut.into_iter().map(|(number, n)| (number, Value::from(n))).collect::<Map<_, _>>());
        if !guide.made.is_empty() {
            guide.write_facts();
        }
        Ok(guide)
    }
}

/// The same task at the same step.
fn alike(done: &Phase, asked: &Phase) -> bool {
    (done.step, &done.task, done.pace) == (asked.step, &asked.task, asked.pace)
}

/// True if the phase ended with the recording, and not by the guide.
fn cut_off(span: &PhaseSpan, recording: &Recording) -> bool {
    let backs = recording.devices.iter().flat_map(|d| &d.back);
    let broken = recording.host.breaks.iter().chain(backs).any(|t| (span.begin..=span.end).contains(t));
    broken || span.end >= recording.span.1
}
