//! The fixture folders: found by looking, each explains itself, none is empty, none lies unused.
//!
//! `fixtures/<kind>/<name>/` holds one fixture and its `about.toml`. A test reads a kind with [`each`], so that a new
//! folder is tested by being there.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// What every `about.toml` says.
const KEYS: [&str; 4] = ["shows", "origin", "made", "licence"];

/// One fixture folder.
pub struct Fixture {
    pub folder: PathBuf,
    pub name: String,
    about: BTreeMap<String, String>,
}

impl Fixture {
    /// A value of `about.toml`.
    pub fn about(&self, key: &str) -> Option<&str> {
        self.about.get(key).map(String::as_str)
    }

    /// A file of the folder as text.
    pub fn text(&self, file: &str) -> String {
        let path = self.folder.join(file);
        std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
    }

    /// A file of hex pairs with comments after `#`.
    pub fn hex(&self, file: &str) -> Vec<u8> {
        unhex(&self.text(file))
    }
}

/// Bytes of hex pairs; what follows a `#` is comment.
pub fn unhex(text: &str) -> Vec<u8> {
    let pairs = text.lines().flat_map(|line| line.split('#').next().unwrap_or("").split_whitespace());
    pairs.map(|pair| u8::from_str_radix(pair, 16).unwrap_or_else(|_| panic!("no hex pair: {pair}"))).collect()
}

/// The workspace's root.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// All fixtures of a kind, in order of name; there is at least one.
pub fn each(kind: &str) -> Vec<Fixture> {
    let fixtures: Vec<Fixture> = folders(&root().join("fixtures").join(kind)).into_iter().map(load).collect();
    assert!(!fixtures.is_empty(), "no fixtures in fixtures/{kind}");
    fixtures
}

/// Says that something was not tested for want of a tool; under `SLIPGAUGE_NO_SKIP=1` that is a failure.
pub fn skipped(what: &str, why: &str) {
    assert!(std::env::var_os("SLIPGAUGE_NO_SKIP").is_none_or(|v| v != "1"), "skipped: {what}: {why}");
    note_skip(what, why);
}

/// Tells whoever runs the tests, in the file that `scripts/test` shows at the end.
#[allow(clippy::print_stderr, reason = "whoever runs the tests is to see what was not tested")]
fn note_skip(what: &str, why: &str) {
    eprintln!("skipped: {what}: {why}");
    if let Some(list) = std::env::var_os("SLIPGAUGE_SKIPS") {
        let mut list = std::fs::OpenOptions::new().create(true).append(true).open(list).unwrap();
        writeln!(list, "{what}: {why}").unwrap();
    }
}

/// What reading a fixture gave, held against its `expect`: the value of a `session`; `None` for one that was rightly
/// `refused`, with the words that it `says`.
pub fn as_expected<T, E: std::fmt::Display + std::fmt::Debug>(
    fixture: &Fixture,
    read: Result<T, E>,
) -> Option<T> {
    let name = &fixture.name;
    match (fixture.about("expect"), read) {
        (Some("session"), Ok(value)) => Some(value),
        (Some("refused"), Err(error)) => {
            let says = fixture.about("says").unwrap();
            assert!(error.to_string().contains(says), "{name}: {error} does not say {says:?}");
            None
        }
        (expect, result) => panic!("{name}: expected {expect:?}, got {:?}", result.err()),
    }
}

/// A real recording that may not be redistributed, by its folder and how its name ends, or `None` on a machine that has
/// none. The part before is its maker's name.
pub fn reference(folder: &str, ending: &str) -> Option<PathBuf> {
    let references = std::env::var_os("SLIPGAUGE_REFERENCES")
        .map_or_else(|| root().join("../shared/references"), PathBuf::from);
    let entries = std::fs::read_dir(references.join(folder)).into_iter().flatten();
    let found =
        entries.filter_map(Result::ok).map(|e| e.path()).find(|p| p.to_string_lossy().ends_with(ending));
    if found.is_none() {
        // Nothing that could be installed: never a failure. Recordings of our own cover the same ground.
        note_skip(ending, "real recordings that may not be redistributed are not in SLIPGAUGE_REFERENCES");
    }
    found
}

fn load(folder: PathBuf) -> Fixture {
    let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let mut fixture = Fixture { folder, name, about: BTreeMap::new() };
    for line in fixture.text("about.toml").lines().filter(|line| !line.trim().is_empty()) {
        let pair = line.split_once(" = ");
        let value = pair.and_then(|(_, v)| v.strip_prefix('"')?.strip_suffix('"'));
        let (Some((key, _)), Some(value)) = (pair, value) else {
            panic!("{}/about.toml: not `key = \"value\"`: {line}", fixture.name);
        };
        fixture.about.insert(key.to_owned(), value.to_owned());
    }
    fixture
}

fn folders(path: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut folders: Vec<_> = entries.map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    folders.sort();
    folders
}

/// Every Rust source of the workspace, as one text.
fn sources() -> String {
    let mut waiting = vec![root().join("tests"), root().join("crates")];
    let mut text = String::new();
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(std::fs::read_dir(path).unwrap().map(|e| e.unwrap().path()));
        } else if path.extension().is_some_and(|e| e == "rs") {
            text.push_str(&std::fs::read_to_string(path).unwrap());
        }
    }
    text
}

#[test]
fn every_fixture_explains_itself_and_holds_something() {
    for kind in folders(&root().join("fixtures")) {
        let fixtures = folders(&kind);
        assert!(!fixtures.is_empty(), "{} holds no fixture", kind.display());
        for fixture in fixtures.into_iter().map(load) {
            for key in KEYS {
                let said = fixture.about(key).is_some_and(|value| !value.trim().is_empty());
                assert!(said, "{}: about.toml does not say `{key}`", fixture.folder.display());
            }
            let files: Vec<_> = std::fs::read_dir(&fixture.folder).unwrap().map(|e| e.unwrap()).collect();
            assert!(files.len() > 1, "{} holds nothing but its about.toml", fixture.folder.display());
            for file in files {
                let path = file.path();
                assert!(path.is_dir() || file.metadata().unwrap().len() > 0, "{} is empty", path.display());
            }
        }
    }
}

#[test]
fn every_fixture_is_used_by_a_test() {
    let sources = sources();
    for kind in folders(&root().join("fixtures")) {
        let kind_name = kind.file_name().unwrap().to_string_lossy().into_owned();
        let whole_kind = sources.contains(&format!("each({kind_name:?})"));
        for fixture in folders(&kind) {
            let one = format!("{kind_name}/{}", fixture.file_name().unwrap().to_string_lossy());
            assert!(whole_kind || sources.contains(&one), "no test reads fixtures/{one}");
        }
    }
}
