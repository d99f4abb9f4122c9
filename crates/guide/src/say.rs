//! What the operator is told, as values; their words are here too, the layout is the skin's.

use crate::plan::IDENTIFY;
use slipgauge_trace::session::{Pace, Phase, Step, Task};
use slipgauge_trace::{MetresPerSecond, Nanos};
use std::fmt;

/// A key of the free hand. The device's own buttons are never needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Go on.
    Space,
    /// The other answer.
    Enter,
    /// Stop here.
    Escape,
}

/// One thing that is said.
#[derive(Clone, Debug, PartialEq)]
pub enum Say {
    /// A step begins.
    Step {
        /// Its row in the plan.
        step: Step,
        /// Number of steps.
        of: usize,
        /// True if it is the first to be done, when nothing needs switching.
        first: bool,
    },
    /// Before the first fast swipes.
    Caution,
    /// What comes next; it begins by itself once the device rests.
    Next {
        /// What is asked.
        phase: Phase,
        /// Peak speed that the hand is to reach, for swipes.
        peak: Option<MetresPerSecond>,
        /// How long, at rest.
        still: Nanos,
        /// How long one swipe should take, for paced ones.
        time: Option<Nanos>,
    },
    /// It has begun.
    Go(Phase),
    /// It does not come to rest.
    NotStill,
    /// A swipe was placed.
    Swipe {
        /// Its number in the phase.
        number: u32,
        /// How many are asked for.
        of: u32,
        /// Its peak speed.
        peak: Option<MetresPerSecond>,
        /// Of fast ones: the fastest so far in this step.
        fastest: Option<MetresPerSecond>,
        /// Of fast ones: whether the speed was reached, if that is known.
        reached: Option<bool>,
        /// What looks wrong with it, provisionally.
        suspect: Option<String>,
    },
    /// Something was noticed of a swipe that had already been told, or of the device at rest.
    Noticed(String),
    /// Fewer than asked for.
    More(u32),
    /// Resolution from the identifying swipes.
    Identified {
        /// The step as told.
        step: Step,
        /// Counts per inch.
        measured: f64,
    },
    /// Report interval seen, and the nominal one.
    Interval {
        /// Typical, in milliseconds.
        seen_ms: f64,
        /// What the device's descriptor asks for.
        nominal_ms: Option<f64>,
    },
    /// None of ten fast swipes has reached the speed.
    Slow {
        /// The fastest so far.
        fastest: MetresPerSecond,
        /// The speed that is to be reached.
        target: MetresPerSecond,
    },
    /// The target was lowered.
    Lowered(MetresPerSecond),
    /// The phase is over.
    Done(Phase),
    /// Clear spin-outs ended the step, as the plan declares.
    StepEnds(u32),
    /// The device was moved while it should lie still: it is done again.
    Touched,
    /// The device went away, or this computer slept: the step is identified again.
    Interrupted,
    /// A question, with what each key does.
    Ask(Question),
    /// How many swipes were made, so far.
    Counted(u32),
    /// The last one.
    Over {
        /// True if all of the plan was done.
        whole: bool,
    },
}

/// What the operator is asked.
#[derive(Clone, Debug, PartialEq)]
pub enum Question {
    /// The measured resolution is not that of the step.
    WrongStep {
        /// As told.
        step: Step,
        /// Counts per inch.
        measured: f64,
        /// The step that it looks like, if it looks like one.
        like: Option<Step>,
    },
    /// Motion, but no swipe.
    CannotPlace,
    /// How many swipes were made.
    HowMany,
    /// Escape was pressed.
    Paused,
    /// Why a phase is to be left out.
    Why(&'static str),
    /// A rest.
    Rest(u32),
}

/// Reasons for leaving a phase out, from which the operator picks one.
pub const REASONS: [&str; 4] =
    ["something was in the way", "the device was at another step", "the hand slipped", "interrupted"];

/// A step's name: its number, and its label or nominal.
pub fn step_name(step: &Step) -> String {
    let nominal = step.nominal_counts_per_inch.map(|n| format!("{n:.0} counts/inch"));
    let label = step.label.as_deref().map(slipgauge_trace::outside::harmless);
    match (label, nominal) {
        (Some(label), Some(nominal)) => format!("step {} ({label}, {nominal})", step.id),
        (Some(one), None) | (None, Some(one)) => format!("step {} ({one})", step.id),
        (None, None) => format!("step {}", step.id),
    }
}

/// A speed in both units.
pub fn speed(v: MetresPerSecond) -> String {
    format!("{:.2} m/s ({:.0} in/s)", v.0, v.inches_per_second())
}

fn pace(pace: Option<Pace>) -> &'static str {
    match pace {
        Some(Pace::Fast) => "fast",
        Some(Pace::Medium) => "medium",
        _ => "slow",
    }
}

/// A phase as a noun: "10 slow swipes".
pub fn phase_name(phase: &Phase) -> String {
    match (&phase.task, phase.swipes) {
        (Task::Still, _) => "lying still".to_owned(),
        (Task::Identify, _) => format!("{IDENTIFY} slow swipes to tell the step"),
        (_, Some(1)) => format!("1 {} swipe", pace(phase.pace)),
        (_, Some(n)) => format!("{n} {} swipes", pace(phase.pace)),
        _ => format!("{} swipes", pace(phase.pace)),
    }
}

impl fmt::Display for Say {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Say::Step { step, of, first } => {
                let name = step_name(step);
                match (first, of) {
                    (true, 1) => write!(f, "The device is to be at {name}."),
                    (true, _) => write!(f, "Set the device to {name}; there are {of}."),
                    (false, _) => write!(f, "Now switch the device to {name}."),
                }
            }
            Say::Caution => f.write_str(
                "Fast swipes come now. Clear the desk's edge and the cable's way, take breaks, and stop if anything \
                 hurts. The rules of the place and the advice of professionals come before these prompts.",
            ),
            Say::Next { phase, peak, still, time } => match (&phase.task, phase.pace) {
                (Task::Still, _) => write!(
                    f,
                    "Next: leave it against a stop, hands off, for {:.0} s. It begins by itself.",
                    still.seconds()
                ),
                (Task::Identify, _) => write!(
                    f,
                    "Next: {IDENTIFY} slow swipes, there and back. Rest at a stop; it begins by itself."
                ),
                (_, Some(Pace::Fast)) => {
                    write!(f, "Next: {} from stop to stop", phase_name(phase))?;
                    if let Some(peak) = peak {
                        write!(f, ", to {} or faster", speed(*peak))?;
                    }
                    f.write_str(". Rest a moment at each stop, and now at one of them; it begins by itself.")
                }
                _ => {
                    write!(f, "Next: {} from stop to stop", phase_name(phase))?;
                    if let Some(time) = time {
                        write!(f, ", {:.1} s each, as the bar shows", time.seconds())?;
                    }
                    f.write_str(". Rest at a stop; it begins by itself.")
                }
            },
            Say::Go(phase) => match phase.task {
                Task::Still => f.write_str("Hands off now."),
                _ => write!(f, "Go: {}.", phase_name(phase)),
            },
            Say::NotStill => f.write_str(
                "It still moves. Is a hand on it? If not, the device does that by itself: Space begins all the same.",
            ),
            Say::Swipe { number, of, peak, fastest, reached, suspect } => {
                write!(f, "{number:>3} of {of}")?;
                if let Some(peak) = peak {
                    write!(f, "  {}", speed(*peak))?;
                }
                if let Some(why) = suspect {
                    return write!(f, "  suspect: {why}");
                }
                if let Some(fastest) = fastest {
                    write!(f, "  fastest {:.2}", fastest.0)?;
                }
                match reached {
                    Some(true) => f.write_str("  clean, fast enough"),
                    Some(false) => f.write_str("  clean, slower than asked"),
                    None => f.write_str("  clean"),
                }
            }
            Say::Noticed(what) => write!(f, "Noticed: {what}"),
            Say::More(n) => write!(f, "{n} more, please."),
            Say::Identified { step, measured } => {
                write!(f, "{}: {measured:.0} counts/inch measured.", capital(&step_name(step)))
            }
            Say::Interval { seen_ms, nominal_ms } => {
                write!(f, "It reports every {seen_ms:.3} ms in motion")?;
                match nominal_ms {
                    Some(nominal) => write!(f, "; its descriptor asks for {nominal:.3} ms."),
                    None => f.write_str("."),
                }
            }
            Say::Slow { fastest, target } => write!(
                f,
                "None of ten reached {}. Enter lowers that to {:.2} m/s: then nothing is said of faster ones. Otherwise \
                 go on.",
                speed(*target),
                fastest.0
            ),
            Say::Lowered(to) => write!(f, "The speed to reach is now {}.", speed(*to)),
            Say::Done(phase) => write!(f, "Done: {}.", phase_name(phase)),
            Say::StepEnds(n) => {
                write!(f, "{n} swipes with clear false motion: the step ends here, as the plan says.")
            }
            Say::Touched => f.write_str("It was moved: the rest is done again."),
            Say::Interrupted => f.write_str("Interrupted. The step is told again by two slow swipes."),
            Say::Ask(question) => question.fmt(f),
            Say::Counted(n) => write!(f, "{n} made so far."),
            Say::Over { whole: true } => f.write_str("All done. Now the recording is judged."),
            Say::Over { whole: false } => f.write_str("Ended before the plan was done. What was recorded is kept."),
        }
    }
}

impl fmt::Display for Question {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Question::WrongStep { step, measured, like } => {
                write!(f, "This is told to be {}, but measures {measured:.0} counts/inch", step_name(step))?;
                if let Some(like) = like {
                    write!(f, ", as {} would", step_name(like))?;
                }
                f.write_str(
                    ". Space: it was the wrong step; switch it, then swipe again. Enter: it is the right one, and its \
                     label is wrong.",
                )
            }
            Question::CannotPlace => f.write_str(
                "There is motion, but no swipe can be placed in it. Space: go on trying. Enter: end this part.",
            ),
            Question::HowMany => f.write_str(
                "How many swipes were made in it, seen or not? Space for each one, then Enter.",
            ),
            Question::Paused => f.write_str(
                "Paused. Space: go on with what is left. Enter: do this part again, and leave this try out. Escape: end \
                 the test here; it can be taken up again.",
            ),
            Question::Why(reason) => {
                write!(f, "Left out because: {reason}. Space: another reason. Enter: this one.")
            }
            Question::Rest(n) => write!(f, "{n} fast swipes so far: rest the arm a minute. Space goes on."),
        }
    }
}

/// With a capital letter in front.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
