//! The program as a whole: help, and what must hold of how it is put together.

use super::run::{folder, slipgauge};
use crate::fixtures::root;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// All commands that the help lists.
fn commands(folder: &Path) -> Vec<String> {
    let help = slipgauge(folder, &["--help"]).ends(0).out;
    let (_, list) = help.split_once("Commands:\n").unwrap();
    // A command stands at an indent of two; what is further in goes on from the line before.
    let lines = list.lines().take_while(|line| !line.is_empty()).filter(|line| !line.starts_with("   "));
    let names = lines.filter_map(|line| line.split_whitespace().next());
    names.filter(|name| *name != "help").map(str::to_owned).collect()
}

#[test]
fn the_help_of_every_command_tells_its_exit_statuses() {
    let folder = folder("help");
    let commands = commands(&folder);
    for known in ["devices", "record", "plan", "judge", "demo", "simulate"] {
        assert!(commands.iter().any(|command| command == known), "{known}");
    }
    for command in commands {
        let help = slipgauge(&folder, &[&command, "--help"]).ends(0);
        assert!(help.out.contains("\nExit status: 0 "), "{command}: {}", help.out);
        assert_eq!(help.err, "");
    }
}

#[test]
fn what_is_not_understood_is_refused_with_the_way_to_the_help() {
    let folder = folder("usage");
    slipgauge(&folder, &[]).refused(&["Usage: slipgauge", "Commands:"]);
    slipgauge(&folder, &["guess"]).refused(&["guess", "--help"]);
    slipgauge(&folder, &["judge", "--guess"]).refused(&["--guess", "--help"]);
}

#[test]
fn a_recording_never_replaces_a_file() {
    // With a device or without: the file stays as it was. What the recorder itself says is tested with `simulate`.
    let folder = folder("record-overwrite");
    std::fs::write(folder.join("mine.swipes.ndjson"), "mine").unwrap();
    slipgauge(&folder, &["record", "-o", "mine.swipes.ndjson", "--for", "1ms"]).ends(2);
    assert_eq!(std::fs::read(folder.join("mine.swipes.ndjson")).unwrap(), b"mine");
}

/// A crate's dependencies among the workspace's own, by its name without the prefix.
struct Own {
    /// Whatever is built with it.
    all: BTreeMap<String, BTreeSet<String>>,
    /// Only for its tests and examples.
    dev: BTreeMap<String, BTreeSet<String>>,
}

fn own() -> Own {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut command = Command::new(cargo);
    command.args(["metadata", "--offline", "--no-deps", "--format-version", "1"]).current_dir(root());
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let short = |name: &Value| name.as_str().unwrap().trim_start_matches("slipgauge-").to_owned();
    let packages = metadata["packages"].as_array().unwrap();
    let names: BTreeSet<_> = packages.iter().map(|package| short(&package["name"])).collect();
    let of = |package: &Value, dev: bool| -> BTreeSet<String> {
        let kind = |dependency: &&Value| (dependency["kind"] == "dev") == dev;
        let dependencies = package["dependencies"].as_array().unwrap().iter().filter(kind);
        dependencies
            .map(|dependency| short(&dependency["name"]))
            .filter(|name| names.contains(name))
            .collect()
    };
    let by_name = |dev| packages.iter().map(|package| (short(&package["name"]), of(package, dev))).collect();
    Own { all: by_name(false), dev: by_name(true) }
}

/// What a crate needs to be built, through others too.
fn reached(own: &Own, from: &str) -> BTreeSet<String> {
    let mut reached = own.all[from].clone();
    while let Some(next) =
        reached.iter().flat_map(|name| &own.all[name]).find(|name| !reached.contains(*name)).cloned()
    {
        reached.insert(next);
    }
    reached
}

fn set(names: &[&str]) -> BTreeSet<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

#[test]
fn dependencies_point_one_way_and_the_truth_is_independent_of_what_is_held_against_it() {
    let own = own();
    assert_eq!(reached(&own, "trace"), set(&[]));
    for name in ["sim", "capture", "analysis"] {
        assert_eq!(reached(&own, name), set(&["trace"]), "{name}");
    }
    assert_eq!(reached(&own, "report"), set(&["trace", "analysis"]));
    // A plan's claims are the analysis's own, and its study judges what the simulator makes.
    assert_eq!(reached(&own, "guide"), set(&["trace", "analysis", "sim"]));
    // Not for its tests either.
    assert!(!own.dev["sim"].contains("analysis"));
    assert!(own.dev["analysis"].contains("sim"));
}

#[test]
fn only_the_command_line_speaks_to_the_user() {
    // The lints forbid the macros that print; this forbids the streams, and leaving the lints out.
    for name in ["trace", "capture", "sim", "analysis", "guide", "report"] {
        let folder = root().join("crates").join(name);
        let manifest = std::fs::read_to_string(folder.join("Cargo.toml")).unwrap();
        assert!(manifest.contains("[lints]\nworkspace = true\n"), "{name}");
        let mut folders = vec![folder.join("src")];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                let text = std::fs::read_to_string(&path).unwrap();
                for way in ["stdout()", "stderr()", "allow(clippy::print_std", "process::exit"] {
                    assert!(!text.contains(way), "{}: {way}", path.display());
                }
            }
        }
    }
}
