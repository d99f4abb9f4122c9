//! Session files as plain lines of JSON.

use std::fmt::Write;

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

/// A session file of one device with one node, less plan, phases and end.
pub fn written(name: &str, descriptor: &str, reports: &[Report]) -> String {
    let mut text = format!(
        "{{\"slipgauge\":1,\"devices\":[{{\"role\":\"test\",\"name\":\"{name}\",\"vendor\":4660,\"product\":1,\
         \"nodes\":[{{\"interface\":0,\"descriptor\":\"{descriptor}\"}}]}}]}}\n"
    );
    for Report { t, bytes } in reports {
        writeln!(text, "{{\"t\":{t},\"r\":\"{}\"}}", hex(bytes)).unwrap();
    }
    text
}

/// Bytes as a session file has them.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// When a line was written, in nanoseconds since the session's start.
pub fn time(line: &Value) -> u64 {
    line["t"].as_u64().expect("a line with a time")
}

/// The other way round.
pub fn bytes(hex: &Value) -> Vec<u8> {
    let hex = hex.as_str().expect("a report in hex").as_bytes();
    hex.chunks(2).map(|pair| u8::from_str_radix(str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}
