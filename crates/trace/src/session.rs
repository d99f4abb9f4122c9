//! The session file, version 1, specified on the types that are written.
//!
//! UTF-8 text, one JSON object a line, append-only, extension `.swipes.ndjson`; once closed it may be compressed
//! whole (`.gz`). Line 1 is the [`Header`], each further line one [`Entry`]. Raw reports are the truth; whatever else
//! is known of a session is worked out from them at each reading.
//!
//! - Lines of one device are in order of time; lines of different devices may lie up to 1 s apart.
//! - A last line that was cut short (the recorder was killed) is left out, and the reader says so.
//! - A line with no known key is skipped and counted; an unknown version is refused.
//! - The hash of a session is SHA-256 over the uncompressed bytes up to the last whole line.
//! - A line is at most [`MAX_LINE`] bytes, a report at most [`MAX_REPORT`], a header lists at most [`MAX_NODES`] devices
//!   and nodes each: a hostile file costs no more memory than its size.

mod event;
mod header;
mod read;
mod set_aside;
mod write;

pub use event::{Entry, Event, Pace, Phase, Report, Task};
pub use header::{Axis, Clock, ClockId, Device, Header, Node, Plan, Protocol, Role, Step, Tolerance};
pub use read::{Digest, Reader, open};
pub(crate) use set_aside::TRAVEL_UM;
pub use write::unhex;
pub use write::{Writer, hex};

/// The version of the format that this crate writes and reads.
pub const VERSION: u64 = 1;

/// Longest line written or accepted, in bytes. A descriptor is at most 4,096 bytes, so a header with [`MAX_NODES`] of
/// them fits.
pub const MAX_LINE: usize = 1 << 20;

/// Most devices in a header, and most nodes of them together. A receiver has three or four nodes.
pub const MAX_NODES: usize = 64;

/// Largest time accepted, in nanoseconds either way: 104 days, up to which a difference is exact in seconds as well.
pub const MAX_TIME: i64 = 1 << 53;

/// Longest report accepted, in bytes: the kernel's own limit (`HID_MAX_BUFFER_SIZE`, 16 KiB, linux/hid.h).
pub const MAX_REPORT: usize = 16 * 1024;
