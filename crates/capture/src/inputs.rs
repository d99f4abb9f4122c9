//! A device's own event nodes: what the input layer, and so the desktop, is fed with.
//!
//! Two uses: the kernel's own stamp of each report that moved ([`pairing`]), and keeping what the device sends from the
//! desktop for a while ([`crate::Hold`]). Both need the same open file: while a node is grabbed, it alone gets events.
//!
//! **Privacy.** A node is opened only if it has relative X and Y and none of the typing keys ([`InputKind`]), which is
//! read from `/sys` before, and asked of the open file again, for nodes are numbered anew.
//!
//! Source: linux Documentation/input/event-codes.rst; drivers/input/evdev.c (events are cut into frames by
//! `SYN_REPORT`; `SYN_DROPPED` says that some are missing, up to the next `SYN_REPORT`; setting the clock empties the
//! queue), drivers/input/input.c (relative events of 0 and empty frames are not passed on; the stamp is taken with the
//! first event of a frame), drivers/hid/hid-core.c (hidraw gets a report before the input layer does).

mod pairing;

use crate::clock;
use crate::device::{FoundDevice, FoundNode};
use crate::hold::HoldError;
use input_linux::sys::{input_event, timeval};
use input_linux::{EvdevHandle, EventKind};
pub(crate) use pairing::{Frame, Moving, Pairing};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use slipgauge_trace::Nanos;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Event types and codes of linux/input-event-codes.h.
const EV_SYN: u16 = 0;
const EV_REL: u16 = 2;
const SYN_REPORT: u16 = 0;
const SYN_DROPPED: u16 = 3;
const REL_X: u16 = 0;
const REL_Y: u16 = 1;
/// First and last of the keys that one types with: the digit 1 to the space bar, all letters between. The modifiers among
/// them are no mouse's either.
const TYPING: std::ops::RangeInclusive<usize> = 2..=57;
/// `KEY_MAX`, and bytes for a bit for each.
const KEY_MAX: usize = 0x2ff;
const KEY_BYTES: usize = KEY_MAX / 8 + 1;
/// `CLOCK_MONOTONIC` of linux/time.h.
const MONOTONIC: i32 = 1;
/// Events read at once: 16 to 20 reports.
const EVENTS: usize = 64;
/// Reads in a row at the most: several of the kernel's own queues.
const READS: usize = 16;

/// What an event node is, by its capabilities.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InputKind {
    /// Relative X and Y, and no typing keys.
    Pointer,
    /// Typing keys: never opened, whatever else it has.
    Keyboard,
    /// Anything else.
    Other,
}

impl InputKind {
    /// Of the bits of `capabilities/rel` and `capabilities/key`.
    pub(crate) fn of(relative: impl Fn(usize) -> bool, key: impl Fn(usize) -> bool) -> InputKind {
        if TYPING.into_iter().any(key) {
            InputKind::Keyboard
        } else if relative(usize::from(REL_X)) && relative(usize::from(REL_Y)) {
            InputKind::Pointer
        } else {
            InputKind::Other
        }
    }
}

/// An event node of a device, not opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundInput {
    /// Its file.
    pub path: PathBuf,
    /// What it is.
    pub kind: InputKind,
    /// True if it has keys that are no buttons, media keys and the like.
    pub keys: bool,
}

/// The open event nodes of one device.
#[derive(Debug)]
pub struct Inputs {
    nodes: Vec<Arc<Input>>,
    /// Why nothing, or not everything, could be opened.
    trouble: Option<HoldError>,
}

impl Inputs {
    /// Opens the event nodes of the device's pointers, read-only. What cannot be opened is left out: see
    /// [`Inputs::trouble`].
    pub fn open(device: &FoundDevice) -> Inputs {
        let mut inputs = Inputs { nodes: Vec::new(), trouble: None };
        let all =
            || device.pointers().flat_map(|(node, _)| node.inputs.iter().map(move |input| (node, input)));
        for (node, found) in all().filter(|(_, input)| input.kind == InputKind::Pointer) {
            match Input::open(found, node) {
                Ok(input) => inputs.nodes.push(Arc::new(input)),
                Err(error) => inputs.trouble = inputs.trouble.or(Some(error)),
            }
        }
        if inputs.nodes.is_empty() && inputs.trouble.is_none() {
            let typing = all().find(|(_, input)| input.kind == InputKind::Keyboard);
            inputs.trouble = Some(match typing {
                Some((_, input)) => HoldError::Keyboard { path: input.path.clone() },
                None => HoldError::NoNode,
            });
        }
        inputs
    }

    /// Why there is no event node, or why some could not be opened.
    pub fn trouble(&self) -> Option<&HoldError> {
        self.trouble.as_ref()
    }

    pub(crate) fn nodes(&self) -> &[Arc<Input>] {
        &self.nodes
    }

    /// The event node that a hidraw node's reports go to, if there is just one.
    pub(crate) fn of(&self, hidraw: &Path) -> Option<Arc<Input>> {
        let mut own = self.nodes.iter().filter(|input| input.hidraw == hidraw);
        own.next().filter(|_| own.next().is_none()).cloned()
    }
}

/// Opens an event node and closes it again.
///
/// # Errors
/// [`HoldError`] if it may not be opened.
pub fn check(found: &FoundInput, node: &FoundNode) -> Result<(), HoldError> {
    match found.kind {
        InputKind::Pointer => Input::open(found, node).map(drop),
        _ => Err(HoldError::Keyboard { path: found.path.clone() }),
    }
}

/// One open event node.
pub(crate) struct Input {
    pub path: PathBuf,
    /// The hidraw node beside it.
    hidraw: PathBuf,
    handle: EvdevHandle<OwnedFd>,
}

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Input").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Input {
    fn open(found: &FoundInput, node: &FoundNode) -> Result<Input, HoldError> {
        let path = || found.path.clone();
        let flags = OFlags::RDONLY | OFlags::NONBLOCK | OFlags::CLOEXEC | OFlags::NOCTTY;
        let fd = rustix::fs::open(&found.path, flags, Mode::empty()).map_err(|errno| match errno {
            Errno::ACCESS | Errno::PERM => HoldError::Denied { path: path(), permit: node.permit.clone() },
            Errno::NOENT | Errno::NODEV | Errno::NXIO => HoldError::Missing { path: path() },
            other => HoldError::Io { path: path(), source: Arc::new(other.into()) },
        })?;
        let input = Input { path: path(), hidraw: node.path.clone(), handle: EvdevHandle::new(fd) };
        let failed = |source| HoldError::Io { path: path(), source: Arc::new(source) };
        let (mut relative, mut keys) = ([0; 2], [0; KEY_BYTES]);
        input.handle.event_bits_raw(EventKind::Relative, &mut relative).map_err(failed)?;
        input.handle.event_bits_raw(EventKind::Key, &mut keys).map_err(failed)?;
        match InputKind::of(|code| bit(&relative, code), |code| bit(&keys, code)) {
            InputKind::Pointer => {}
            _ => return Err(HoldError::Keyboard { path: path() }),
        }
        input.handle.set_clock_id(MONOTONIC).map_err(failed)?;
        Ok(input)
    }

    /// True if a button is down.
    pub(crate) fn pressed(&self) -> std::io::Result<bool> {
        let mut keys = [0; KEY_BYTES];
        self.handle.key_state(&mut keys)?;
        Ok(keys.iter().any(|&byte| byte != 0))
    }

    /// Keeps events from everybody else, or lets them have them again.
    pub(crate) fn grab(&self, grab: bool) -> std::io::Result<()> {
        self.handle.grab(grab)
    }
}

fn bit(bytes: &[u8], code: usize) -> bool {
    bytes.get(code / 8).is_some_and(|byte| byte >> (code % 8) & 1 == 1)
}

/// Reads frames from an event node, and pairs them with the reports of the hidraw node beside it. Never waits.
#[derive(Debug)]
pub(crate) struct Stamps {
    input: Arc<Input>,
    cutting: Cutting,
    pairing: Pairing,
    moving: Vec<Moving>,
    failed: bool,
}

impl Stamps {
    /// To be made once the hidraw node is open.
    pub(crate) fn new(input: Arc<Input>) -> Stamps {
        let (cutting, pairing) = (Cutting::default(), Pairing::new(clock::now()));
        let mut stamps = Stamps { input, cutting, pairing, moving: Vec::new(), failed: false };
        // What was queued before belongs to reports that nobody read.
        stamps.read();
        stamps.pairing = Pairing::new(clock::now());
        stamps
    }

    /// Begins a batch.
    pub(crate) fn begin(&mut self) {
        self.moving.clear();
    }

    /// A report of the batch that moved.
    pub(crate) fn moving(&mut self, moving: Moving) {
        self.moving.push(moving);
    }

    /// What is to be paired is not known for sure.
    pub(crate) fn unsure(&mut self) {
        self.pairing.lost();
    }

    /// Pairs the batch; `empty` is when the queue was seen empty after it.
    pub(crate) fn end(&mut self, empty: Option<Nanos>, stamp: impl FnMut(usize, Nanos)) {
        if self.failed {
            return;
        }
        self.read();
        if self.pairing.behind(self.moving.len()) {
            self.read();
        }
        self.pairing.batch(&self.moving, empty, clock::now(), stamp);
    }

    fn read(&mut self) {
        let none = input_event { time: timeval { tv_sec: 0, tv_usec: 0 }, type_: 0, code: 0, value: 0 };
        let mut events = [none; EVENTS];
        for _ in 0..READS {
            match self.input.handle.read(&mut events) {
                Ok(count) => {
                    for event in events.iter().take(count) {
                        let k = Nanos(event.time.tv_sec * Nanos::SECOND.0 + event.time.tv_usec * 1_000);
                        self.cutting.event(k, (event.type_, event.code, event.value), &mut self.pairing);
                    }
                    if count < EVENTS {
                        return;
                    }
                }
                Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => return,
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(_) => {
                    self.failed = true;
                    return;
                }
            }
        }
    }
}

/// Cuts events into frames.
#[derive(Debug, Default)]
struct Cutting {
    x: i64,
    y: i64,
    /// Up to the next end of a frame events are missing.
    broken: bool,
}

impl Cutting {
    fn event(&mut self, k: Nanos, (kind, code, value): (u16, u16, i32), pairing: &mut Pairing) {
        match (kind, code) {
            (EV_REL, REL_X) => self.x += i64::from(value),
            (EV_REL, REL_Y) => self.y += i64::from(value),
            (EV_SYN, SYN_DROPPED) => {
                self.broken = true;
                pairing.lost();
            }
            (EV_SYN, SYN_REPORT) => {
                let Cutting { x, y, broken } = std::mem::take(self);
                if !broken && (x, y) != (0, 0) {
                    pairing.frame(Frame { k, x, y });
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests;
