//! `slipgauge simulate`.

use super::run::{COLUMNS, files, folder, slipgauge};
use crate::harness::session::{Session, time};
use serde_json::Value;
use std::path::Path;
use std::time::Instant;

/// A session that takes a few seconds where it is paced.
const SHORT: [&str; 4] = ["--swipes", "1", "--still", "1s"];

fn simulate(folder: &Path, file: &str, more: &[&str]) -> super::run::Run {
    slipgauge(folder, &[&["simulate", "-o", file], more].concat())
}

fn bytes(folder: &Path, file: &str) -> Vec<u8> {
    std::fs::read(folder.join(file)).unwrap()
}

fn truth(folder: &Path, file: &str) -> Value {
    serde_json::from_slice(&bytes(folder, file)).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_files_and_another_seed_others() {
    let folder = folder("simulate-seed");
    for (stem, seed) in [("a", "7"), ("b", "7"), ("c", "8")] {
        let more = ["--seed", seed, "--fault", "radio-lost", "--fault", "bursts=1", "--swipes", "2"];
        simulate(&folder, &format!("{stem}.swipes.ndjson"), &more).ends(0);
    }
    for ending in ["swipes.ndjson", "truth.json"] {
        let of = |stem: &str| bytes(&folder, &format!("{stem}.{ending}"));
        assert!(of("a") == of("b") && of("a") != of("c"), "{ending}");
    }
    assert_eq!(truth(&folder, "a.truth.json")["bench"]["seed"], 7);
    assert_eq!(files(&folder).len(), 6);
}

#[test]
fn the_session_is_as_it_was_asked_for() {
    let folder = folder("simulate-asked");
    let asked = ["--steps", "800,1600", "--interval", "0.5ms", "--bits", "12", "--travel", "20cm"];
    let run = simulate(&folder, "s.swipes.ndjson", &[&asked[..], &SHORT].concat()).ends(0);
    let session = Session::parse(&String::from_utf8(bytes(&folder, "s.swipes.ndjson")).unwrap());
    let plan = &session.header["plan"];
    assert_eq!(plan["travel_um"], 200_000);
    let steps: Vec<f64> = plan["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["nominal_counts_per_inch"].as_f64().unwrap())
        .collect();
    assert_eq!(steps, [800.0, 1600.0]);
    assert_eq!(session.header["devices"][0]["nodes"][0]["interval_ns"], 500_000);
    // Five buttons and padding, twice 12 bits, a wheel.
    assert!(session.reports().iter().all(|report| report.bytes.len() == 5));
    let truth = truth(&folder, "s.truth.json");
    assert_eq!(truth["swipes"].as_array().unwrap().len(), 2 * 4);
    assert!((truth["travel_m"].as_f64().unwrap() - 0.2).abs() < 0.002);
    let last = run.out.lines().last().unwrap();
    assert_eq!(last, "Next: slipgauge judge s.swipes.ndjson --plot s.svg");
    // And what it says to type next does work: so few swipes settle nothing.
    slipgauge(&folder, &["judge", "s.swipes.ndjson", "--plot", "s.svg"]).ends(3);
    assert_eq!(files(&folder), ["s.svg", "s.swipes.ndjson", "s.truth.json"]);
}

#[test]
fn every_fault_of_the_list_can_be_put_in_and_stands_in_the_truth() {
    let folder = folder("simulate-faults");
    let list = slipgauge(&folder, &["simulate", "--faults"]).ends(0);
    let rows: Vec<Vec<&str>> =
        list.out.lines().skip(1).map(|line| line.split_whitespace().collect()).collect();
    let rows: Vec<_> = rows.into_iter().take_while(|row| !row.is_empty()).collect();
    assert!(rows.len() > 40);
    assert!(list.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", list.out);
    let asked = ["--steps", "1600,800", "--swipes", "3", "--still", "12s", "--seed", "3"];
    simulate(&folder, "sound.swipes.ndjson", &asked).ends(0);
    let sound = truth(&folder, "sound.truth.json");
    assert_eq!(sound["labels"].as_array().unwrap().len(), 0);
    for row in rows {
        let (name, usual) = (row[0], row[1].parse::<f64>().unwrap());
        let file = format!("{name}.swipes.ndjson");
        let fault = format!("{name}={usual}");
        let run = simulate(&folder, &file, &[&["--fault", &fault][..], &asked].concat()).ends(0);
        assert!(run.out.contains(&format!("Put wrong: {name} ({usual} ")), "{}", run.out);
        let truth = truth(&folder, &format!("{name}.truth.json"));
        // How the bench is laid out is no event: it stands in the truth as a parameter.
        let layout = ["operator", "host"].contains(row.last().unwrap());
        assert!(layout || !truth["labels"].as_array().unwrap().is_empty(), "{name} leaves no label");
        assert_ne!(truth["bench"], sound["bench"], "{name}");
        let what = slipgauge(&folder, &["simulate", "--faults", name]).ends(0);
        assert!(what.out.lines().all(|line| line.chars().count() <= COLUMNS) && what.out.lines().count() > 1);
        std::fs::remove_file(folder.join(file)).unwrap();
    }
    slipgauge(&folder, &["simulate", "--faults", "dust"]).refused(&["no fault \"dust\"", "tracking-silent"]);
}

#[test]
fn what_makes_no_sense_is_refused_by_name_and_nothing_is_written() {
    let folder = folder("simulate-refused");
    let every: [(&[&str], &[&str]); 16] = [
        (&["--fault", "dust"], &["dust", "no such fault", "tracking-silent", "placement"]),
        (&["--fault", "creep=much"], &["much", "mm/s, usually 0.05"]),
        (&["--fault", "dropout-late=0.5"], &["whole number", "reports, usually 12"]),
        (&["--fault", "radio-late=2"], &["--fault radio-late (2 share of time)", "out of range"]),
        (&["--fault", "tracking-silent=0"], &["tracking-silent (0 m/s)", "m/s, usually 1.8", "0.001"]),
        (&["--fault", "creep", "--fault", "interference=-1"], &["interference (-1 ms)", "out of range"]),
        (&["--fault", "step-change"], &["no such step", "--steps 800,1600"]),
        (&["--steps", "0"], &["--steps", "must lie between"]),
        (&["--steps", "800,"], &["--steps"]),
        (&["--interval", "1h"], &["--interval", "must lie between"]),
        (&["--interval", "1"], &["has no unit"]),
        (&["--bits", "3"], &["--bits", "4..=32"]),
        (&["--travel", "1mm"], &["--travel", "must lie between"]),
        (&["--swipes", "0"], &["--swipes"]),
        (&["--paced", "--fault", "stall"], &["--paced"]),
        (&["--paced", "--fault", "disconnect"], &["--paced"]),
    ];
    for (typed, says) in every {
        simulate(&folder, "s.swipes.ndjson", typed).refused(says);
    }
    simulate(&folder, "s.swipes.ndjson.gz", &[]).refused(&["plain"]);
    simulate(&folder, "nowhere/s.swipes.ndjson", &[]).refused(&["nowhere/s.swipes.ndjson", "No such file"]);
    slipgauge(&folder, &["simulate"]).refused(&["--output"]);
    assert_eq!(files(&folder), [""; 0]);
}

#[test]
fn neither_a_session_nor_a_truth_is_overwritten() {
    let folder = folder("simulate-overwrite");
    for (kept, paced) in [("session", false), ("session", true), ("truth", false), ("truth", true)] {
        let mine = folder.join(if kept == "session" { "s.swipes.ndjson" } else { "s.truth.json" });
        std::fs::write(&mine, "mine").unwrap();
        let more = if paced { [&SHORT[..], &["--paced"]].concat() } else { SHORT.to_vec() };
        let name = mine.file_name().unwrap().to_str().unwrap();
        simulate(&folder, "s.swipes.ndjson", &more).refused(&[name, "already"]);
        assert_eq!(std::fs::read(&mine).unwrap(), b"mine");
        assert_eq!(files(&folder), [name]);
        std::fs::remove_file(mine).unwrap();
    }
}

#[test]
fn a_paced_session_takes_as_long_as_it_is_and_holds_the_same_reports() {
    let folder = folder("simulate-paced");
    // A reference rides along, so two sources are paced at once.
    let asked = [&["--fault", "lag"][..], &SHORT].concat();
    simulate(&folder, "flat.swipes.ndjson", &asked).ends(0);
    let began = Instant::now();
    let run = simulate(&folder, "paced.swipes.ndjson", &[&asked[..], &["--paced"]].concat()).ends(0);
    let took = began.elapsed().as_secs_f64();
    let read = |file: &str| Session::parse(&String::from_utf8(bytes(&folder, file)).unwrap());
    let (flat, paced) = (read("flat.swipes.ndjson"), read("paced.swipes.ndjson"));
    // After its last report a simulated device has nothing to wait for.
    let length = paced.with("r").map(time).max().unwrap() as f64 * 1e-9;
    // Never sooner; later only by what a busy machine takes.
    assert!(took >= length && took < length + 5.0 && length > 4.0, "{took} s for {length} s");
    assert!(run.out.starts_with("Recorded in real time: "), "{}", run.out);
    // In order of time; two reports of one instant may change places, for they are of two devices.
    let reports = |session: &Session| {
        let mut reports: Vec<_> = session
            .with("r")
            .map(|line| (time(line), line["d"].as_u64().unwrap_or(0), line["r"].as_str().unwrap().to_owned()))
            .collect();
        reports.sort();
        reports
    };
    assert!(reports(&flat) == reports(&paced));
    assert_eq!(bytes(&folder, "flat.truth.json"), bytes(&folder, "paced.truth.json"));
    let begun = |session: &Session| -> Vec<Value> {
        session.with("phase").filter(|line| !line["phase"].is_null()).cloned().collect()
    };
    assert_eq!(begun(&flat), begun(&paced));
}
