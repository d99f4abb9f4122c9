//! `slipgauge examine` on a terminal of 80 columns, as its user sees it; the device and the hand are simulated.

use super::run::{folder, slipgauge};
use crate::fixtures::skipped;
use std::path::PathBuf;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

/// Simulated seconds a second: as fast as a laden machine of two cores keeps up with.
const TIMES: &str = "12";

/// A terminal with the program on it.
struct Terminal {
    socket: String,
    folder: PathBuf,
}

impl Terminal {
    /// `None`, and noted as skipped, without tmux.
    fn run(name: &str, arguments: &str) -> Option<Terminal> {
        if Command::new("tmux").arg("-V").output().is_err() {
            skipped("the guided test on a terminal", "no tmux");
            return None;
        }
        let terminal = Terminal {
            socket: format!("slipgauge-{name}-{}", std::process::id()),
            folder: folder(&format!("examine-{name}")),
        };
        terminal.start(arguments);
        Some(terminal)
    }

    /// A new one in the same folder.
    fn another(&self) -> Terminal {
        Terminal { socket: format!("{}-2", self.socket), folder: self.folder.clone() }
    }

    fn start(&self, arguments: &str) {
        let command = format!("{} {arguments}; echo status $?; sleep 600", env!("CARGO_BIN_EXE_slipgauge"));
        let folder = self.folder.to_str().unwrap();
        let begun =
            self.tmux(&["new-session", "-d", "-s", "s", "-x", "80", "-y", "50", "-c", folder, &command]);
        assert!(begun.status.success(), "{begun:?}");
    }

    fn tmux(&self, arguments: &[&str]) -> Output {
        Command::new("tmux").args(["-L", &self.socket]).args(arguments).output().unwrap()
    }

    fn key(&self, key: &str) {
        self.tmux(&["send-keys", "-t", "s", key]);
    }

    /// All that was on the screen.
    fn text(&self) -> String {
        let out = self.tmux(&["capture-pane", "-p", "-t", "s", "-S", "-2000"]);
        String::from_utf8_lossy(&out.stdout).trim_end().to_owned()
    }

    /// Waits until the screen shows this.
    fn until(&self, words: &str) -> String {
        let begin = Instant::now();
        loop {
            let text = self.text();
            if text.contains(words) {
                return text;
            }
            assert!(begin.elapsed() < Duration::from_secs(120), "waited for “{words}”:\n{text}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.tmux(&["kill-server"]);
    }
}

const PLAN: &str =
    "examine --travel 300mm --straight-edge --steps red=800 --swipes slow=6,medium=3,fast=15 --still 10s";

#[test]
fn leads_a_sound_device_to_a_pass() {
    let arguments = format!("{PLAN} --simulate sound --times {TIMES} -o sound.swipes.ndjson");
    let Some(terminal) = Terminal::run("sound", &arguments) else { return };
    let text = terminal.until("status");
    assert!(text.contains("status 0") && text.contains("PASS"), "{text}");
    assert!(text.contains("One edge of the device moves 300 mm from stop to stop"), "{text}");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for told in ["stop if anything hurts", "the advice of professionals come before these prompts"] {
        assert!(words.contains(told), "no “{told}”:\n{text}");
    }
    for told in ["2 of 2  clean", "6 of 6", "15 of 15", "Hands off now.", "All done."] {
        assert!(text.contains(told), "no “{told}”:\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(terminal.folder.join("sound.svg").exists());
}

#[test]
fn leads_a_blind_device_to_a_fail_and_confirms_what_it_showed() {
    let arguments = format!("{PLAN} --simulate tracking-silent=1.5 --times {TIMES} -o blind.swipes.ndjson");
    let Some(terminal) = Terminal::run("blind", &arguments) else { return };
    let text = terminal.until("status");
    assert!(text.contains("status 1") && text.contains("FAIL"), "{text}");
    assert!(text.contains("suspect: tracking loss") && text.contains("confirmed: tracking-loss"), "{text}");
}

#[test]
fn a_test_that_was_ended_is_taken_up_again_in_its_file() {
    let arguments = format!("{PLAN} --simulate sound --times 6 -o again.swipes.ndjson");
    let Some(terminal) = Terminal::run("again", &arguments) else { return };
    terminal.until("3 of 6");
    terminal.key("Escape");
    terminal.until("Paused.");
    terminal.key("Escape");
    let text = terminal.until("status");
    assert!(text.contains("status 3") && text.contains("--resume again.swipes.ndjson"), "{text}");
    let terminal = terminal.another();
    terminal.start(&format!("examine --resume again.swipes.ndjson --simulate sound --times {TIMES}"));
    let text = terminal.until("status");
    assert!(text.contains("status 0") && text.contains("PASS"), "{text}");
    // Not from the beginning: the rest was done.
    assert!(!text.contains("Hands off now."), "{text}");
}

#[test]
fn without_a_travel_nothing_begins() {
    let run = slipgauge(&folder("examine-no-travel"), &["examine", "--steps", "800", "--simulate", "sound"]);
    run.refused(&["--travel ", "--gap", "--body", "--travel-from"]);
}
