//! Writing a session file, line by line.

use super::{Entry, Event, Header, MAX_LINE};
use crate::TraceError;
use serde_json::{Value, json};
use std::io::Write;

const DIGITS: &[u8; 16] = b"0123456789abcdef";

/// Lower-case hex of some bytes.
pub fn hex(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len() * 2);
    push_hex(&mut text, bytes);
    text
}

fn push_hex(text: &mut String, bytes: &[u8]) {
    for byte in bytes {
        for nibble in [byte >> 4, byte & 15] {
            text.extend(DIGITS.get(usize::from(nibble)).map(|&d| char::from(d)));
        }
    }
}

/// Bytes of a string of hex digits of either case; `None` if it is not pairs of them.
pub fn unhex(text: &str) -> Option<Vec<u8>> {
    fn digit(c: u8) -> Option<u8> {
        char::from(c).to_digit(16).and_then(|d| u8::try_from(d).ok())
    }
    let (pairs, []) = text.as_bytes().as_chunks::<2>() else { return None };
    pairs.iter().map(|&[high, low]| Some((digit(high)? << 4) | digit(low)?)).collect()
}

/// Writes header and entries to any sink. Buffering and syncing are the caller's business: a promise to survive a
/// kill needs a clock, which this crate has not.
#[derive(Debug)]
pub struct Writer<W: Write> {
    sink: W,
    line: String,
}

impl<W: Write> Writer<W> {
    /// Writes the header line.
    ///
    /// # Errors
    /// [`TraceError::Io`] if the sink refuses.
    pub fn new(sink: W, header: &Header) -> Result<Writer<W>, TraceError> {
        let mut writer = Writer { sink, line: String::new() };
        let value = serde_json::to_value(header).map_err(|e| wrap(e.into()))?;
        writer.put(&value)?;
        Ok(writer)
    }

    /// Goes on writing lines after those that are there, header and all.
    pub fn resume(sink: W) -> Writer<W> {
        Writer { sink, line: String::new() }
    }

    /// Writes one entry as one line.
    ///
    /// # Errors
    /// [`TraceError::Io`] if the sink refuses, or the line would be longer than [`MAX_LINE`].
    pub fn write(&mut self, entry: &Entry) -> Result<(), TraceError> {
        if let Event::Report(report) = &entry.event {
            return self.report(entry, report);
        }
        let (key, value) = match &entry.event {
            Event::Report(_) | Event::Unknown => return Ok(()),
            Event::Phase(phase) => ("phase", json!(phase)),
            Event::Stall(ns) => ("stall", json!(ns)),
            Event::Overrun(n) => ("overrun", json!(n)),
            Event::Other(n) => ("other", json!(n)),
            Event::Gone => ("gone", json!(true)),
            Event::Back(v) => ("back", v.clone()),
            Event::Suspend(ns) => ("suspend", json!(ns)),
            Event::Resumed(v) => ("resumed", v.clone()),
            Event::Meta(v) => ("meta", json!(v)),
            Event::Note(text) => ("note", json!(text)),
            Event::Live(v) => ("live", v.clone()),
            Event::End => ("end", json!(true)),
        };
        let mut line = json!({ "t": entry.t });
        if let Some(map) = line.as_object_mut() {
            let always = matches!(entry.event, Event::Gone | Event::Back(_));
            if always || entry.device != 0 {
                map.insert("d".to_owned(), json!(entry.device));
            }
            map.insert(key.to_owned(), value);
        }
        self.put(&line)
    }

    /// The hot path: no JSON tree.
    fn report(&mut self, entry: &Entry, report: &super::Report) -> Result<(), TraceError> {
        use std::fmt::Write as _;
        self.line.clear();
        let _ = write!(self.line, "{{\"t\":{},\"r\":\"", entry.t.0);
        push_hex(&mut self.line, &report.bytes);
        self.line.push('"');
        for (key, value) in
            [("d", entry.device as u64), ("n", report.node as u64), ("q", u64::from(report.place))]
        {
            if value != 0 {
                let _ = write!(self.line, ",\"{key}\":{value}");
            }
        }
        if let Some(k) = report.kernel {
            let _ = write!(self.line, ",\"k\":{}", k.0);
        }
        self.line.push_str("}\n");
        self.sink.write_all(self.line.as_bytes()).map_err(wrap)
    }

    fn put(&mut self, value: &Value) -> Result<(), TraceError> {
        use std::fmt::Write as _;
        self.line.clear();
        let _ = writeln!(self.line, "{value}");
        if self.line.len() > MAX_LINE {
            let what = format!("a line of more than {MAX_LINE} bytes, which no reader would take");
            return Err(wrap(std::io::Error::new(std::io::ErrorKind::InvalidInput, what)));
        }
        self.sink.write_all(self.line.as_bytes()).map_err(wrap)
    }

    /// Hands the sink's own buffer on.
    ///
    /// # Errors
    /// [`TraceError::Io`] if the sink refuses.
    pub fn flush(&mut self) -> Result<(), TraceError> {
        self.sink.flush().map_err(wrap)
    }

    /// The sink, to sync or close it.
    pub fn sink(&mut self) -> &mut W {
        &mut self.sink
    }
}

fn wrap(source: std::io::Error) -> TraceError {
    TraceError::Io { doing: "writing the session file", source }
}
