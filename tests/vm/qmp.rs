//! The emulator's control socket.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};

/// A connection that takes commands.
pub struct Qmp(BufReader<UnixStream>);

impl Qmp {
    pub fn connect(socket: &Path) -> Self {
        let stream =
            UnixStream::connect(socket).unwrap_or_else(|error| panic!("{}: {error}", socket.display()));
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let mut qmp = Self(BufReader::new(stream));
        qmp.message();
        qmp.execute("qmp_capabilities", &json!({}));
        qmp
    }

    /// Moves the mouse by counts.
    pub fn move_by(&mut self, x: i32, y: i32) {
        let along = |axis: &str, value: i32| json!({"type": "rel", "data": {"axis": axis, "value": value}});
        self.execute("input-send-event", &json!({"events": [along("x", x), along("y", y)]}));
    }

    fn execute(&mut self, command: &str, arguments: &Value) {
        let line = json!({"execute": command, "arguments": arguments});
        writeln!(self.0.get_mut(), "{line}").unwrap();
        loop {
            let answer = self.message();
            assert!(answer.get("error").is_none(), "{command}: {answer}");
            if answer.get("return").is_some() {
                return;
            }
        }
    }

    fn message(&mut self) -> Value {
        let mut line = String::new();
        self.0.read_line(&mut line).expect("the emulator answers");
        serde_json::from_str(&line).expect("an answer in JSON")
    }
}
