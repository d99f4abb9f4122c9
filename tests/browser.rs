//! Pages as a real browser shows them: from disk, with no network, by pointer and by keyboard, for eyes and for ears.
//!
//! Needs Chromium, node, and what `.ci/run` puts into `target/node`; skipped without.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use crate::fixtures::skipped;
use std::path::{Path, PathBuf};
use std::process::Command;

const CHROMIUM: &str = "/usr/bin/chromium";

/// Where `.ci/run` puts the two packages, if it did.
fn modules() -> Option<PathBuf> {
    let modules = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../target/node/node_modules");
    let there = ["playwright-core", "axe-core"].iter().all(|name| modules.join(name).is_dir());
    there.then_some(modules)
}

fn slipgauge(folder: &Path, args: &[&str]) {
    let run = Command::new(env!("CARGO_BIN_EXE_slipgauge")).args(args).current_dir(folder).output().unwrap();
    assert!(run.status.success(), "{args:?}: {}", String::from_utf8_lossy(&run.stderr));
}

#[test]
fn a_browser_shows_the_pages_without_a_fault() {
    let missing = [
        (!Path::new(CHROMIUM).exists()).then_some("no chromium"),
        Command::new("node").arg("--version").output().is_err().then_some("no node"),
        modules().is_none().then_some("no playwright-core and axe-core in target/node"),
    ];
    let missing: Vec<&str> = missing.into_iter().flatten().collect();
    if !missing.is_empty() {
        return skipped("pages in a browser", &format!("{}; .ci/run brings them", missing.join(", ")));
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let blind =
        ["simulate", "-o", "blind.swipes.ndjson", "--fault", "tracking-silent=1.5", "--steps", "800,1600"];
    slipgauge(&folder, &blind);
    slipgauge(&folder, &["simulate", "-o", "sound.swipes.ndjson", "--seed", "2"]);
    slipgauge(&folder, &["report", "blind.swipes.ndjson", "sound.swipes.ndjson", "-o", "pages"]);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/browser/page.cjs");
    let pages = ["blind.html", "sound.html", "index.html"].map(|name| folder.join("pages").join(name));
    let run =
        Command::new("node").arg(script).arg(modules().unwrap()).arg(&folder).args(pages).output().unwrap();
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success(), "{said}{}", String::from_utf8_lossy(&run.stderr));
    // A page with findings was zoomed: the check is not empty.
    assert!(said.contains("looked at 3 pages, zoomed on 1"), "{said}");
}
