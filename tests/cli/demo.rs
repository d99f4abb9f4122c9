//! `slipgauge demo`: what the README and the program itself say of it.

use super::run::{COLUMNS, Run, files, folder, slipgauge};
use serde_json::Value;
use std::path::Path;

const FILES: [&str; 6] = [
    "bargain.svg",
    "bargain.swipes.ndjson",
    "bargain.truth.json",
    "plain.svg",
    "plain.swipes.ndjson",
    "plain.truth.json",
];

#[track_caller]
fn tells_the_two_apart(run: &Run, made: &Path) {
    for verdict in ["PASS: Plain Pointer", "FAIL: Bargain Pointer"] {
        assert_eq!(run.out.lines().filter(|line| *line == verdict).count(), 1, "{verdict}\n{}", run.out);
    }
    // At a glance, at the end: what was put wrong is what was found.
    let (_, end) = run.out.split_once("\nIn short\n").unwrap();
    let end = end.split_whitespace().collect::<Vec<_>>().join(" ");
    for said in [
        "PASS Plain Pointer put wrong: nothing found: nothing; clean up to",
        "FAIL Bargain Pointer put wrong: tracking loss, drift while still found: tracking loss, drift while still",
    ] {
        assert!(end.contains(said), "{said}\n{end}");
    }
    assert_eq!(files(made), FILES);
    for name in FILES {
        let shown = Path::new(made.file_name().unwrap()).join(name);
        assert!(end.contains(shown.to_str().unwrap()), "{name} is not told");
    }
    let wide: Vec<&str> = run.out.lines().filter(|line| line.chars().count() > COLUMNS).collect();
    assert!(wide.is_empty(), "{wide:#?}");
}

fn with_seed(seed: &str) {
    let folder = folder(&format!("demo-{seed}"));
    let run = slipgauge(&folder, &["demo", "-o", "stall", "--seed", seed]).ends(0);
    tells_the_two_apart(&run, &folder.join("stall"));
}

#[test]
fn it_tells_a_sound_device_from_a_failing_one_with_another_seed() {
    with_seed("2");
}

#[test]
fn it_tells_a_sound_device_from_a_failing_one_with_a_third_seed() {
    with_seed("18446744073709551615");
}

#[test]
fn its_files_can_be_judged_and_drawn_again_and_are_never_overwritten() {
    let folder = folder("demo");
    let run = slipgauge(&folder, &["demo"]).ends(0);
    let made = folder.join("slipgauge-demo");
    tells_the_two_apart(&run, &made);

    // The recorder and its judge said nothing that the file does not hold.
    for (name, status, verdict) in [("plain", 0, "pass"), ("bargain", 1, "fail")] {
        let (file, picture) = (format!("{name}.swipes.ndjson"), format!("{name}.svg"));
        let again = slipgauge(&made, &["judge", &file, "--plot", "again.svg"]).ends(status);
        assert!(run.out.contains(&again.out));
        let read = |name: &str| std::fs::read_to_string(made.join(name)).unwrap();
        assert_eq!(read("again.svg"), read(&picture));
        std::fs::remove_file(made.join("again.svg")).unwrap();
        // Truth and verdict are of one session: as many swipes were made as were found.
        let truth: Value = serde_json::from_str(&read(&format!("{name}.truth.json"))).unwrap();
        assert_eq!(truth["swipes"].as_array().unwrap().len(), 80);
        assert_eq!(truth["labels"].as_array().unwrap().is_empty(), verdict == "pass");
    }

    // A second one goes beside the first.
    let before = std::fs::metadata(made.join("plain.svg")).unwrap().modified().unwrap();
    slipgauge(&folder, &["demo", "-o", "slipgauge-demo"]).refused(&["plain.swipes.ndjson", "already"]);
    std::fs::remove_file(made.join("plain.swipes.ndjson")).unwrap();
    slipgauge(&folder, &["demo", "-o", "slipgauge-demo"]).refused(&["plain.truth.json", "already"]);
    assert_eq!(std::fs::metadata(made.join("plain.svg")).unwrap().modified().unwrap(), before);
    let second = slipgauge(&folder, &["demo"]).ends(0);
    assert!(second.out.contains("slipgauge-demo-2/bargain.svg"));
    assert_eq!(files(&folder.join("slipgauge-demo-2")), FILES);
}
