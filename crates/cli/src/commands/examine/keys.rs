//! Space, Enter and Escape, while everything else goes on.
//!
//! On a terminal each key counts at once and is not shown; the terminal is given back as it was, whatever happens. From
//! a pipe or a file the same bytes are taken as they come.

use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};
use slipgauge_guide::Key;
use std::io::{Read as _, stdin};
use std::sync::mpsc::{Receiver, channel};

/// The keys, as they are pressed.
pub struct Keys {
    pressed: Receiver<Key>,
    before: Option<Termios>,
}

impl Keys {
    /// From now on keys are taken.
    pub fn new() -> Keys {
        let before = tcgetattr(stdin()).ok();
        if let Some(mut raw) = before.clone() {
            // Ctrl-C stays a signal.
            raw.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
            let _ = tcsetattr(stdin(), OptionalActions::Now, &raw);
        }
        let (sender, pressed) = channel();
        let read = move || {
            let mut bytes = [0u8; 64];
            let mut source = stdin().lock();
            while let Ok(n @ 1..) = source.read(&mut bytes) {
                let some = bytes.get(..n).unwrap_or_default();
                if keys(some).into_iter().any(|key| sender.send(key).is_err()) {
                    return;
                }
            }
        };
        // Without it there are no keys, as without a terminal.
        let _ = std::thread::Builder::new().name("keys".to_owned()).spawn(read);
        Keys { pressed, before }
    }

    /// What was pressed since the last time.
    pub fn pressed(&self) -> Vec<Key> {
        self.pressed.try_iter().collect()
    }

    /// Lines can be typed again.
    pub fn give_back(&mut self) {
        if let Some(before) = self.before.take() {
            let _ = tcsetattr(stdin(), OptionalActions::Now, &before);
        }
    }
}

impl Drop for Keys {
    fn drop(&mut self) {
        self.give_back();
    }
}

/// The keys in one read. An escape with more behind it is an arrow or the like, and none of ours.
fn keys(bytes: &[u8]) -> Vec<Key> {
    if let [0x1b, _, ..] = bytes {
        return Vec::new();
    }
    let key = |byte: &u8| match byte {
        b' ' => Some(Key::Space),
        b'\r' | b'\n' => Some(Key::Enter),
        0x1b => Some(Key::Escape),
        _ => None,
    };
    bytes.iter().filter_map(key).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_arrow_is_no_escape() {
        assert_eq!(keys(b"\x1b"), [Key::Escape]);
        assert_eq!(keys(b"\x1b[A"), []);
        assert_eq!(keys(b" x\r\n"), [Key::Space, Key::Enter, Key::Enter]);
    }
}
