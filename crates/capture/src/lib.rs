//! From a device, or from a recording of one, to a session file.
//!
//! - [`device`]: which pointing devices there are, what they are, whether they can be read and what to do if not.
//! - [`choose`]: which of them is moved; [`floor`]: how late this computer wakes a program.
//! - [`hidraw`]: a device's node as a source of reports.
//! - [`inputs`]: the same device's event nodes: the kernel's own stamps, which it decodes X and Y for, and nothing else.
//! - [`hold`]: keeping a device from the desktop for a while.
//! - [`replay`]: a session file as a source of reports.
//! - [`import`]: another program's recording as a session.
//! - [`recorder`]: sources in, session file out.
//!
//! Owns everything between the kernel and the file. The recorder decodes no report: of each it knows only whether its ID
//! may be kept (privacy). Prints nothing.
#![cfg_attr(not(test), deny(clippy::indexing_slicing))]

pub mod choose;
pub mod clock;
pub mod device;
pub mod floor;
pub mod hidraw;
pub mod hold;
pub mod import;
pub mod inputs;
pub mod recorder;
pub mod replay;

mod permission;
#[cfg(test)]
mod scratch;
mod sysfs;

pub use device::{Access, FoundDevice, FoundNode};
pub use hidraw::HidrawSource;
pub use hold::{Hold, HoldError};
pub use inputs::{FoundInput, InputKind, Inputs};
pub use recorder::{
    Attendant, Ended, Progress, RecordError, Recorder, Resumed, Summary, Timetable, Track, attend,
};
pub use replay::ReplaySource;
