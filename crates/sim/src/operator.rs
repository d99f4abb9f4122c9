//! An operator who does what the moment asks for, in place of a script written beforehand.
//!
//! Whoever leads a test asks for one task after the other while time goes on; between them the hand rests where it is.

use crate::script::{Doing, ScriptPhase};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What is asked: the phase that it belongs to (numbers as in the session file, for placed faults and the truth), and
/// the task.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Asked {
    pub(crate) phase: u32,
    pub(crate) task: ScriptPhase,
}

#[derive(Debug, Default)]
struct Orders {
    asked: VecDeque<Asked>,
    left: bool,
}

/// A handle to the operator; clones are the same one.
#[derive(Debug, Clone, Default)]
pub struct Operator {
    orders: Arc<Mutex<Orders>>,
}

impl Operator {
    /// Asks for a task at a step, in the phase of this number. Tasks wait for each other.
    pub fn ask(&self, phase: u32, step: u32, doing: Doing) {
        self.lock().asked.push_back(Asked { phase, task: ScriptPhase { step, doing, axis: None } });
    }

    /// Forgets what was asked for and is not begun; a swipe that is under way is finished.
    pub fn stop(&self) {
        self.lock().asked.clear();
    }

    /// The test is over: the session ends.
    pub fn leave(&self) {
        self.lock().left = true;
    }

    /// The next task.
    pub(crate) fn next(&self) -> Option<Asked> {
        self.lock().asked.pop_front()
    }

    /// True once the test is over.
    pub(crate) fn has_left(&self) -> bool {
        self.lock().left
    }

    fn lock(&self) -> MutexGuard<'_, Orders> {
        self.orders.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
