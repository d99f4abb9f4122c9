//! What can go wrong while reading a session, with the place and the way out.

use crate::layout::LayoutError;

/// A session that cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum TraceError {
    /// A line that breaks the format. Lines count from 1, bytes from 0 at the start of the uncompressed file.
    #[error("line {line} (byte {byte}): {what}")]
    Line {
        /// Line number, from 1.
        line: u64,
        /// Offset of the line's first byte.
        byte: u64,
        /// What is wrong, and what to do.
        what: String,
    },
    /// The file is of a version that this program does not know.
    #[error(
        "session file version {found} is not known here (this program reads version 1); use a newer slipgauge"
    )]
    Version {
        /// The version found.
        found: u64,
    },
    /// Nothing in the file.
    #[error("the file is empty: no header line; was it written by `slipgauge record`?")]
    Empty,
    /// A node's descriptor cannot be used.
    #[error("device {device}, node {node}: {source}")]
    Layout {
        /// Index of the device in the header.
        device: usize,
        /// Index of the node within the device.
        node: usize,
        /// Why.
        source: LayoutError,
    },
    /// The operating system refused.
    #[error("{doing}: {source}")]
    Io {
        /// What was being done.
        doing: &'static str,
        /// The system's answer.
        source: std::io::Error,
    },
}
