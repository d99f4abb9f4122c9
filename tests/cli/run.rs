//! Running the program, and sessions that several tests judge.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;

/// Widest line that a person is shown.
pub const COLUMNS: usize = 80;

/// What came of one run.
pub struct Run {
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Run {
    fn new(output: Output) -> Run {
        Run {
            status: output.status.code().expect("an end of its own"),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// The same text with every stretch of white space made one space: lines are broken wherever they are full.
    pub fn words(&self) -> String {
        self.out.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// Asserts how it ended, with all that it said if not so.
    #[track_caller]
    pub fn ends(self, status: i32) -> Run {
        assert_eq!(self.status, status, "\n-- out\n{}-- err\n{}", self.out, self.err);
        self
    }

    /// Asserts that it was refused, and why.
    #[track_caller]
    pub fn refused(self, says: &[&str]) -> Run {
        let run = self.ends(2);
        assert_eq!(run.out, "");
        for said in says {
            assert!(run.err.contains(said), "{said:?} is not in {:?}", run.err);
        }
        run
    }
}

fn command(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_slipgauge"));
    command.current_dir(folder).args(args).stdin(Stdio::null());
    command
}

/// Runs it in a folder.
pub fn slipgauge(folder: &Path, args: &[&str]) -> Run {
    Run::new(command(folder, args).output().unwrap())
}

/// Runs it with an output that nobody reads.
pub fn unread(folder: &Path, args: &[&str]) -> Run {
    let mut child = command(folder, args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    Run::new(child.wait_with_output().unwrap())
}

/// An empty folder for one test.
pub fn folder(test: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("cli").join(test);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Names of the files in a folder, in order.
pub fn files(folder: &Path) -> Vec<String> {
    let names = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    let mut names: Vec<_> = names.map(|name| name.into_string().unwrap()).collect();
    names.sort();
    names
}

fn simulated(name: &str, faults: &[&str]) -> String {
    let folder = folder(&format!("shared-{name}"));
    let file = format!("{name}.swipes.ndjson");
    let faults = faults.iter().flat_map(|fault| ["--fault", fault]);
    let args: Vec<&str> = ["simulate", "-o", &file].into_iter().chain(faults).collect();
    slipgauge(&folder, &args).ends(0);
    std::fs::read_to_string(folder.join(file)).unwrap()
}

/// A sound device's session.
pub static SOUND: LazyLock<String> = LazyLock::new(|| simulated("sound", &[]));

/// Loses sight at speed, and creeps.
pub static FAILING: LazyLock<String> =
    LazyLock::new(|| simulated("failing", &["tracking-silent=2", "creep=0.4"]));

/// Loses reports on the way, and creeps.
pub static DROPPING: LazyLock<String> =
    LazyLock::new(|| simulated("dropping", &["dropout-lost=25", "creep=0.4"]));
