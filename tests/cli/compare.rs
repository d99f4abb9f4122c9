//! `slipgauge compare`: what is shown, and that names from outside do no harm.

use super::run::{COLUMNS, FAILING, SOUND, folder, slipgauge};
use serde_json::Value;
use std::path::Path;

/// A name that tries everything.
pub const HOSTILE: &str =
    "=HYPERLINK(\"http://e.org\",\"x\")|<img src=x onerror=alert(1)>\r\n| **b** \u{202e}\u{1b}[2J";

/// A session with other words in its header.
pub fn with(session: &str, change: impl Fn(&mut Value)) -> String {
    let (first, rest) = session.split_once('\n').unwrap();
    let mut header: Value = serde_json::from_str(first).unwrap();
    change(&mut header);
    format!("{header}\n{rest}")
}

fn labelled(session: &str, label: &str) -> String {
    with(session, |h| h["devices"][0]["label"] = label.into())
}

fn put(folder: &Path, name: &str, text: &str) {
    std::fs::write(folder.join(name), text).unwrap();
}

#[test]
fn devices_stand_side_by_side_and_the_failing_one_differs_for_real() {
    let folder = folder("compare");
    put(&folder, "a.swipes.ndjson", &labelled(&SOUND, "Plain"));
    put(&folder, "b.swipes.ndjson", &labelled(&FAILING, "Bargain"));
    let run = slipgauge(&folder, &["compare", "a.swipes.ndjson", "b.swipes.ndjson"]).ends(0);
    assert!(run.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", run.out);
    let words = run.words();
    for said in
        ["A PASS Plain: a.swipes.ndjson", "B FAIL Bargain", "Real differences", "A is better", "Noise"]
    {
        assert!(words.contains(said), "{said:?} is not in\n{}", run.out);
    }
    let json =
        slipgauge(&folder, &["compare", "a.swipes.ndjson", "b.swipes.ndjson", "--format", "json"]).ends(0);
    let json: Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(json["slipgauge_comparison"], 1);
    assert_eq!(json["groups"][1]["verdict"], "fail");
    let real: Vec<&Value> =
        json["differences"].as_array().unwrap().iter().filter(|d| d["real"] == true).collect();
    assert!(real.iter().any(|d| d["what"] == "bad-fast-swipes" && d["better"] == 0), "{real:?}");
}

#[test]
fn the_same_recording_twice_and_wrong_usage_are_refused() {
    let folder = folder("compare-refused");
    put(&folder, "a.swipes.ndjson", &SOUND);
    slipgauge(&folder, &["compare", "a.swipes.ndjson", "a.swipes.ndjson"]).refused(&["given twice"]);
    slipgauge(&folder, &["compare"]).refused(&["FILE"]);
    slipgauge(&folder, &["compare", "--before", "a.swipes.ndjson"]).refused(&["--after"]);
    slipgauge(&folder, &["compare", "none.swipes.ndjson"]).refused(&["none.swipes.ndjson"]);
}

#[test]
fn hostile_names_do_no_harm_in_text_and_markdown() {
    let folder = folder("compare-hostile");
    let long = format!("{HOSTILE}{}", "x".repeat(10_000));
    put(
        &folder,
        "a.swipes.ndjson",
        &with(&SOUND, |h| {
            h["devices"][0]["label"] = long.clone().into();
            h["devices"][0]["unit"] = HOSTILE.into();
            h["surface"] = HOSTILE.into();
            h["plan"]["steps"][0]["label"] = HOSTILE.into();
            h["plan"]["steps"][0].as_object_mut().unwrap().remove("nominal_counts_per_inch");
        }),
    );
    put(&folder, "b.swipes.ndjson", &with(&FAILING, |h| h["surface"] = "|".into()));
    for format in ["text", "markdown"] {
        let out = slipgauge(&folder, &["compare", "a.swipes.ndjson", "b.swipes.ndjson", "--format", format])
            .ends(0)
            .out;
        assert!(!out.contains(['\u{202e}', '\u{1b}', '\r']), "{out}");
        assert!(out.len() < 20_000, "{format}: {} bytes", out.len());
        if format == "markdown" {
            assert!(!out.contains("<img") && !out.contains("http://") && !out.contains("**b"), "{out}");
            // Every row of a table has as many cells as its head.
            let cells = |line: &str| line.replace("\\|", "").matches('|').count();
            let mut head = 0;
            for line in out.lines() {
                if !line.starts_with('|') {
                    head = 0;
                } else if head == 0 {
                    head = cells(line);
                } else {
                    assert_eq!(cells(line), head, "{line}");
                }
            }
        }
    }
}

#[test]
fn before_and_after_says_that_placing_is_in_it() {
    let folder = folder("compare-change");
    put(&folder, "a.swipes.ndjson", &FAILING);
    put(&folder, "b.swipes.ndjson", &SOUND);
    let args = ["compare", "--before", "a.swipes.ndjson", "--after", "b.swipes.ndjson"];
    let run = slipgauge(&folder, &args).ends(0);
    assert!(run.words().contains("differences include placing the device again"), "{}", run.out);
    assert!(run.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", run.out);
}
