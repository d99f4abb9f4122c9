//! `slipgauge judge`: exit statuses and messages.

use super::run::{COLUMNS, FAILING, Run, SOUND, folder, slipgauge, unread};
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::io::Write as _;
use std::path::Path;

fn judged(folder: &Path, bytes: impl AsRef<[u8]>) -> Run {
    std::fs::write(folder.join("s.swipes.ndjson"), bytes).unwrap();
    slipgauge(folder, &["judge", "s.swipes.ndjson"])
}

/// The lines that hold none of these keys.
fn without(session: &str, keys: &[&str]) -> String {
    let has = |line: &&str| !keys.iter().any(|key| line.contains(&format!("\"{key}\":")));
    session
        .lines()
        .enumerate()
        .filter(|(i, line)| *i == 0 || has(line))
        .fold(String::new(), |all, (_, line)| all + line + "\n")
}

#[test]
fn a_verdict_and_its_exit_status_agree() {
    let folder = folder("judge-statuses");
    for (session, status, first) in [
        (SOUND.as_str(), 0, "PASS: Bench Pointer"),
        (FAILING.as_str(), 1, "FAIL: Bench Pointer"),
        (&without(&SOUND, &["phase"]), 3, "NOT EXAMINED: Bench Pointer"),
        (&without(&SOUND, &["r"]), 3, "INCONCLUSIVE: Bench Pointer"),
    ] {
        let run = judged(&folder, session).ends(status);
        assert_eq!((run.out.lines().next(), run.err.as_str()), (Some(first), ""));
        assert!(run.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", run.out);
    }
}

#[test]
fn a_file_that_cannot_be_read_is_told_by_line_and_byte() {
    let folder = folder("judge-unreadable");
    judged(&folder, "no session\n").refused(&["s.swipes.ndjson: line 1 (byte 0): ", "written by slipgauge?"]);
    judged(&folder, "").refused(&["s.swipes.ndjson", "empty"]);
    judged(&folder, "{\"slipgauge\":9}\n").refused(&["version 9", "newer slipgauge"]);
    judged(&folder, b"\xff\xfe\x00\n").refused(&["line 1 (byte 0)"]);
    // The hundredth line is spoilt.
    let start = SOUND.match_indices('\n').nth(98).unwrap().0 + 1;
    let spoilt = format!("{}{}", &SOUND[..start], SOUND[start..].replacen("\"r\":\"", "\"r\":\"zz", 1));
    judged(&folder, spoilt).refused(&[&format!("s.swipes.ndjson: line 100 (byte {start}): ")]);
    // Compressed, it is the same place of what was compressed.
    let spoilt = format!("{}no line\n{}", &SOUND[..start], &SOUND[start..]);
    judged(&folder, gzip(spoilt.as_bytes())).refused(&[&format!("line 100 (byte {start}): ")]);
}

#[test]
fn a_missing_file_and_a_folder_are_told_by_name() {
    let folder = folder("judge-missing");
    slipgauge(&folder, &["judge", "none.swipes.ndjson"]).refused(&["none.swipes.ndjson: ", "No such file"]);
    slipgauge(&folder, &["judge", "."]).refused(&[".: ", "directory"]);
    slipgauge(&folder, &["judge"]).refused(&["<FILE>", "Usage: slipgauge judge"]);
    slipgauge(&folder, &["judge", "a", "--format", "xml"]).refused(&["xml", "text, json"]);
}

#[test]
fn a_picture_that_cannot_be_written_is_no_verdict() {
    let folder = folder("judge-no-picture");
    std::fs::write(folder.join("s.swipes.ndjson"), SOUND.as_str()).unwrap();
    slipgauge(&folder, &["judge", "s.swipes.ndjson", "--plot", "nowhere/s.svg"])
        .refused(&["nowhere/s.svg: "]);
}

#[test]
fn a_file_cut_short_is_judged_to_its_last_whole_line_and_that_is_said() {
    let folder = folder("judge-cut-short");
    // Within the last report: all but everything is there.
    let cut = FAILING.rfind("\"r\":\"").unwrap() + 8;
    let run = judged(&folder, &FAILING[..cut]).ends(1);
    assert!(run.words().contains("cut short"), "{}", run.out);
    let whole = FAILING[..cut].rfind('\n').unwrap() + 1;
    assert!(run.out.contains(&format!("  {whole} bytes")), "{}", run.out);
    // So early that nothing of any use is left.
    let run = judged(&folder, &SOUND[..SOUND.len() / 20]).ends(3);
    assert!(run.words().contains("cut short"), "{}", run.out);
    // A compressed one as well.
    let gz = gzip(FAILING.as_bytes());
    let run = judged(&folder, &gz[..gz.len() - 20]).ends(1);
    assert!(run.words().contains("cut short"), "{}", run.out);
    // Within the header there is nothing to judge.
    judged(&folder, &SOUND[..50]).refused(&["line 1 (byte 0)", "cut short"]);
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn compressing_a_session_changes_neither_verdict_nor_hash() {
    let folder = folder("judge-gzip");
    // In two members, as two compressed files put together are.
    let half = FAILING.len() / 2;
    let members = [gzip(&FAILING.as_bytes()[..half]), gzip(&FAILING.as_bytes()[half..])].concat();
    for (name, bytes) in [
        ("s.swipes.ndjson", FAILING.as_bytes().to_vec()),
        ("s.swipes.ndjson.gz", gzip(FAILING.as_bytes())),
        ("members.gz", members),
    ] {
        std::fs::write(folder.join(name), bytes).unwrap();
    }
    let of = |name: &str| -> Value {
        let run = slipgauge(&folder, &["judge", name, "--format", "json"]).ends(1);
        let mut verdict: Value = serde_json::from_str(&run.out).unwrap();
        assert_eq!(verdict["session"].take(), name);
        verdict
    };
    let plain = of("s.swipes.ndjson");
    assert!(plain == of("s.swipes.ndjson.gz") && plain == of("members.gz"));
    let digest: String =
        Sha256::digest(FAILING.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!((&plain["sha256"], &plain["bytes"]), (&digest.into(), &FAILING.len().into()));
}

#[test]
fn an_output_that_nobody_reads_ends_it_quietly() {
    let folder = folder("judge-unread");
    std::fs::write(folder.join("s.swipes.ndjson"), FAILING.as_str()).unwrap();
    for args in [
        &["judge", "s.swipes.ndjson"][..],
        &["judge", "s.swipes.ndjson", "--format", "json"],
        &["demo", "-o", "stall"],
        &["simulate", "--faults"],
        &["devices"],
    ] {
        let run = unread(&folder, args);
        assert_eq!(run.err, "", "{args:?}");
        assert!([0, 1].contains(&run.status), "{args:?}: {}", run.status);
    }
}
