//! What the tests ask of the files that a machine left.

use std::process::{Command, Output};

use super::machine::{Files, Kernel, Parts, Time, slipgauge};
use crate::harness::session::Session;

/// A machine for virtual devices, in simulated time.
pub fn simulated(name: &str, scenario: &'static str, files: Vec<(&'static str, String)>) -> Files {
    let (kernel, time) = (Kernel::Cloud, Time::Simulated);
    Parts { name: name.to_owned(), kernel, time, scenario, files, devices: vec![] }.boot().finish()
}

/// The session that `keep record slipgauge record … -o recorded.swipes.ndjson` left, if that ended as it should.
pub fn recorded(files: &Files, status: i32) -> Session {
    let (ended, output) = files.ended("record");
    assert_eq!(ended, status, "exit status of slipgauge record, which said: {output}");
    Session::parse(&files.text("recorded.swipes.ndjson"))
}

/// Runs `slipgauge judge` on a file that the machine left.
pub fn judge(files: &Files, name: &str, options: &[&str]) -> Output {
    Command::new(slipgauge()).arg("judge").arg(files.path(name)).args(options).output().unwrap()
}
