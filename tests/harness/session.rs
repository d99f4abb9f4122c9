//! Session files as plain lines of JSON.

use serde_json::Value;

/// One session file, line by line.
pub struct Session {
    pub header: Value,
    /// The whole lines after the header.
    pub lines: Vec<Value>,
}

/// One report as it stands in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    pub t: u64,
    pub bytes: Vec<u8>,
}

impl Session {
    /// Reads a file's text; a last line that was cut short is left out.
    pub fn parse(text: &str) -> Self {
        let whole = text.rfind('\n').map_or(0, |end| end + 1);
        let mut lines = text[..whole].lines().map(|line| serde_json::from_str(line).expect("a line of JSON"));
        Self { header: lines.next().expect("a header"), lines: lines.collect() }
    }

    /// The reports, in the file's order.
    pub fn reports(&self) -> Vec<Report> {
        let reports = self.lines.iter().filter(|line| line.get("r").is_some());
        reports.map(|line| Report { t: time(line), bytes: bytes(&line["r"]) }).collect()
    }

    /// The lines that have this key, in the file's order.
    pub fn with<'a>(&'a self, key: &'a str) -> impl Iterator<Item = &'a Value> {
        self.lines.iter().filter(move |line| line.get(key).is_some())
    }
}

/// When a line was written, in nanoseconds since the session's start.
pub fn time(line: &Value) -> u64 {
    line["t"].as_u64().expect("a line with a time")
}

fn bytes(hex: &Value) -> Vec<u8> {
    let hex = hex.as_str().expect("a report in hex").as_bytes();
    hex.chunks(2).map(|pair| u8::from_str_radix(str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}
