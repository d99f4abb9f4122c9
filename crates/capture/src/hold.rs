//! Keeping the desktop calm: while a hold lasts, a device's motion and clicks reach nobody but us.
//!
//! The device's own event nodes are grabbed (`EVIOCGRAB`), and only those: never a keyboard's (see [`crate::inputs`]).
//! The raw reports come by another way and go on.
//!
//! **It always ends**: when it is dropped, also by a panic; when this process ends, however it does, since the kernel
//! lets go with the open file; when the device goes; and after [`Hold::LONGEST`] whatever this program is doing: a thread
//! of its own sees to that. It is taken only while no button is down: else the desktop would never see that one let go.
//!
//! Source: linux drivers/input/evdev.c (`evdev_grab`, `evdev_release`).

use crate::inputs::{Input, Inputs};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread;
use std::time::Duration;

/// A device that cannot be held, or whose event nodes cannot be read. Recording it is possible all the same.
#[derive(Debug, Clone, thiserror::Error)]
pub enum HoldError {
    /// Nothing of it feeds the desktop.
    #[error("it has no event node: nothing of it reaches the desktop, or the kernel lacks evdev")]
    NoNode,
    /// What there is types as well.
    #[error("{}: it types as well as it points, and what types is neither read nor held", path.display())]
    Keyboard {
        /// The event node.
        path: PathBuf,
    },
    /// The user has no right to read it.
    #[error("{}: no right to read it. To get it,\n{permit}", path.display())]
    Denied {
        /// The event node.
        path: PathBuf,
        /// What to do, step by step.
        permit: String,
    },
    /// It has no file, or no device behind it.
    #[error("{}: there is no device behind it; is it still plugged in? In a container, hand the node in", path.display())]
    Missing {
        /// The event node.
        path: PathBuf,
    },
    /// A button is down.
    #[error("{}: a button is down; let go of all buttons, for the desktop would not see it let go", path.display())]
    ButtonDown {
        /// The event node.
        path: PathBuf,
    },
    /// Somebody holds it already.
    #[error("{}: it is held already, here or by a program that changes what buttons and keys do", path.display())]
    Busy {
        /// The event node.
        path: PathBuf,
    },
    /// The system refused otherwise.
    #[error("{}: cannot be held: {source}", path.display())]
    Io {
        /// The event node.
        path: PathBuf,
        /// The system's answer.
        source: Arc<std::io::Error>,
    },
    /// A thread cannot be started.
    #[error("cannot start the thread that would end the hold: {0}")]
    Thread(Arc<std::io::Error>),
}

/// A device that is kept from the desktop for as long as this lives.
#[derive(Debug)]
pub struct Hold {
    grabbed: Arc<Grabbed>,
    /// Ends the thread.
    _done: SyncSender<()>,
}

impl Hold {
    /// After this it ends by itself.
    pub const LONGEST: Duration = Duration::from_secs(300);

    /// Takes hold of all the event nodes, or of none.
    ///
    /// # Errors
    /// [`HoldError`]; of [`HoldError::ButtonDown`] a caller may try again.
    pub fn take(inputs: &Inputs) -> Result<Hold, HoldError> {
        if let Some(trouble) = inputs.trouble() {
            return Err(trouble.clone());
        }
        let up = || inputs.nodes().iter().try_for_each(all_up);
        up()?;
        // From here on whatever was grabbed is let go by every way out.
        let mut grabbed = Grabbed { nodes: Vec::new(), over: AtomicBool::new(false) };
        for input in inputs.nodes() {
            input.grab(true).map_err(|source| refused(input, source))?;
            grabbed.nodes.push(Arc::clone(input));
        }
        // One may have gone down meanwhile. Let go of the node at once: the desktop is to see the button come up.
        up()?;
        Hold::of(grabbed, Hold::LONGEST)
    }

    fn of(grabbed: Grabbed, longest: Duration) -> Result<Hold, HoldError> {
        let grabbed = Arc::new(grabbed);
        let (done, told) = sync_channel(0);
        let theirs = Arc::clone(&grabbed);
        thread::Builder::new()
            .name("hold".to_owned())
            .spawn(move || end_in_time(&told, longest, &theirs))
            .map_err(|source| HoldError::Thread(Arc::new(source)))?;
        Ok(Hold { grabbed, _done: done })
    }

    /// False once it has ended by itself.
    pub fn lasts(&self) -> bool {
        !self.grabbed.over.load(Ordering::Relaxed)
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        self.grabbed.let_go();
    }
}

fn end_in_time(told: &Receiver<()>, longest: Duration, grabbed: &Grabbed) {
    // Nothing is ever sent: the other end goes with the hold.
    if told.recv_timeout(longest) == Err(RecvTimeoutError::Timeout) {
        grabbed.let_go();
    }
}

#[derive(Debug)]
struct Grabbed {
    nodes: Vec<Arc<Input>>,
    over: AtomicBool,
}

impl Grabbed {
    /// Once only: a later hold of the same nodes must not be ended by an earlier one.
    fn let_go(&self) {
        if !self.over.swap(true, Ordering::Relaxed) {
            for input in &self.nodes {
                // A device that is gone is let go already.
                let _ = input.grab(false);
            }
        }
    }
}

impl Drop for Grabbed {
    fn drop(&mut self) {
        self.let_go();
    }
}

fn all_up(input: &Arc<Input>) -> Result<(), HoldError> {
    match input.pressed() {
        Ok(false) => Ok(()),
        Ok(true) => Err(HoldError::ButtonDown { path: input.path.clone() }),
        Err(source) => Err(refused(input, source)),
    }
}

fn refused(input: &Input, source: std::io::Error) -> HoldError {
    let path = input.path.clone();
    match source.raw_os_error().map(rustix::io::Errno::from_raw_os_error) {
        Some(rustix::io::Errno::BUSY) => HoldError::Busy { path },
        Some(rustix::io::Errno::NODEV) => HoldError::Missing { path },
        _ => HoldError::Io { path, source: Arc::new(source) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;

    fn of_nothing(longest: Duration) -> Hold {
        Hold::of(Grabbed { nodes: Vec::new(), over: AtomicBool::new(false) }, longest).unwrap()
    }

    #[test]
    fn a_hold_ends_by_itself_whatever_its_owner_does() {
        let hold = of_nothing(Duration::from_millis(20));
        let begin = Instant::now();
        while hold.lasts() {
            assert!(begin.elapsed() < Duration::from_secs(5), "it still lasts");
            thread::sleep(Duration::from_millis(1));
        }
        assert!(begin.elapsed() >= Duration::from_millis(10));
    }

    #[test]
    fn a_hold_that_is_dropped_or_lost_in_a_panic_has_ended_and_its_thread_goes() {
        let hold = of_nothing(Hold::LONGEST);
        let grabbed = Arc::clone(&hold.grabbed);
        assert!(hold.lasts());
        assert!(
            std::panic::catch_unwind(move || {
                let _hold = hold;
                panic!("as told")
            })
            .is_err()
        );
        assert!(grabbed.over.load(Ordering::Relaxed));
        let begin = Instant::now();
        while Arc::strong_count(&grabbed) > 1 {
            assert!(begin.elapsed() < Duration::from_secs(5), "the thread is still there");
            thread::sleep(Duration::from_millis(1));
        }
    }
}
