//! `plate` and `evidence`: what is handed to others.

use super::run::{FAILING, SOUND, files, folder, slipgauge};
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// Words that stand nowhere but in the headers below.
const WORDS: [&str; 9] = [
    "Quetzal",
    "specimen-47",
    "Marmot cloth",
    "vermilion",
    "Zorp kernel",
    "sneezed here",
    "cat walked by",
    "2031-04-05",
    "aunt's advice",
];

/// The failing session with something to leave out in every place that a session has for it.
fn talkative() -> String {
    let (first, rest) = FAILING.split_once('\n').unwrap();
    let mut header: Value = serde_json::from_str(first).unwrap();
    header["started"] = "2031-04-05T06:07:08Z".into();
    header["surface"] = "Marmot cloth".into();
    header["host"]["os"] = "Zorp kernel 9".into();
    header["devices"][0]["label"] = "Quetzal".into();
    header["devices"][0]["unit"] = "specimen-47".into();
    header["devices"][0]["name"] = "Quetzal Pro".into();
    header["devices"][0]["someday"] = "aunt's advice, kept".into();
    header["plan"]["steps"][0]["label"] = "vermilion".into();
    let drift = serde_json::json!({ "limits": [null, 0.1], "unit": "mm/s", "source": "aunt's advice" });
    header["plan"]["tolerances"] = serde_json::json!({ "drift": drift });
    let lines: Vec<&str> = rest.lines().collect();
    let (last, before) = lines.split_last().unwrap();
    let t = serde_json::from_str::<Value>(last).unwrap()["t"].as_i64().unwrap();
    let more = [
        format!(r#"{{"t":{t},"note":"sneezed here"}}"#),
        format!(r#"{{"t":{t},"meta":{{"voided":{{"99":"cat walked by"}},"mood":"sneezed here"}}}}"#),
        format!(r#"{{"t":{t},"someday":"sneezed here"}}"#),
    ];
    let all = [header.to_string()].into_iter().chain(before.iter().map(|l| (*l).to_owned())).chain(more);
    all.chain([(*last).to_owned()]).map(|line| line + "\n").collect()
}

/// Unpacks by an independent reader.
fn unzipped(folder: &Path, zip: &str) -> Vec<String> {
    let script = "import sys, zipfile\nz = zipfile.ZipFile(sys.argv[1])\nassert z.testzip() is None\nz.extractall(sys.argv[2])\n";
    let run =
        Command::new("python3").current_dir(folder).args(["-c", script, zip, "unzipped"]).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    files(&folder.join("unzipped"))
}

#[test]
fn a_packed_session_is_judged_the_same_again_and_packed_the_same_again() {
    let folder = folder("evidence");
    std::fs::write(folder.join("s.swipes.ndjson"), FAILING.as_str()).unwrap();
    std::fs::write(folder.join("bench.txt"), "a bench").unwrap();
    let pack = |zip: &str| {
        slipgauge(&folder, &["evidence", "s.swipes.ndjson", "-o", zip, "--add", "bench.txt"]).ends(0)
    };
    pack("a.zip");
    pack("b.zip");
    assert_eq!(std::fs::read(folder.join("a.zip")).unwrap(), std::fs::read(folder.join("b.zip")).unwrap());
    let there = unzipped(&folder, "a.zip");
    for name in [
        "README.txt",
        "bench.txt",
        "evidence.json",
        "plate.png",
        "s.swipes.ndjson",
        "swipes.svg",
        "verdict.json",
    ] {
        assert!(there.iter().any(|n| n == name), "{name}: {there:?}");
    }
    let unpacked = folder.join("unzipped");
    assert_eq!(std::fs::read_to_string(unpacked.join("s.swipes.ndjson")).unwrap(), *FAILING);
    let again = slipgauge(&unpacked, &["judge", "s.swipes.ndjson", "--format", "json"]).ends(1);
    assert_eq!(again.out, std::fs::read_to_string(unpacked.join("verdict.json")).unwrap());
    let readme = std::fs::read_to_string(unpacked.join("README.txt")).unwrap();
    assert!(readme.contains("slipgauge judge s.swipes.ndjson") && readme.contains("does not show how"));
    // Nothing is overwritten.
    slipgauge(&folder, &["evidence", "s.swipes.ndjson", "-o", "a.zip"]).refused(&["a.zip"]);
}

#[test]
fn what_is_left_out_is_listed_first_and_then_nowhere_in_the_zip() {
    let folder = folder("evidence-without");
    std::fs::write(folder.join("Quetzal.swipes.ndjson"), talkative()).unwrap();
    let listed = slipgauge(&folder, &["evidence", "Quetzal.swipes.ndjson"]).ends(0);
    for word in WORDS {
        assert!(listed.words().contains(word), "{word}: {}", listed.out);
    }
    let before = slipgauge(&folder, &["judge", "Quetzal.swipes.ndjson", "--format", "json"]).ends(1);
    let before: Value = serde_json::from_str(&before.out).unwrap();
    let all = ["--without", "host,notes,time,names"];
    slipgauge(&folder, &[&["evidence", "Quetzal.swipes.ndjson", "-o", "q.zip"], &all[..]].concat()).ends(0);
    let there = unzipped(&folder, "q.zip");
    for name in &there {
        let bytes = std::fs::read(folder.join("unzipped").join(name)).unwrap();
        let text = String::from_utf8_lossy(&bytes);
        for word in WORDS {
            assert!(!text.contains(word) && !name.contains(word), "{word} in {name}");
        }
    }
    let unpacked = folder.join("unzipped");
    let again = slipgauge(&unpacked, &["judge", "recording.swipes.ndjson", "--format", "json"]).ends(1);
    let again: Value = serde_json::from_str(&again.out).unwrap();
    assert_eq!(again["findings"], before["findings"]);
    assert_ne!(again["sha256"], before["sha256"]);
    let readme = std::fs::read_to_string(unpacked.join("README.txt")).unwrap();
    assert!(readme.contains("IS NOT THE FILE THAT WAS RECORDED"), "{readme}");
    assert!(
        readme.contains(before["sha256"].as_str().unwrap())
            && readme.contains(again["sha256"].as_str().unwrap())
    );
    let list: Value =
        serde_json::from_str(&std::fs::read_to_string(unpacked.join("evidence.json")).unwrap()).unwrap();
    assert_eq!(list["left_out"], serde_json::json!(["host", "notes", "time", "names"]));
}

#[test]
fn one_part_left_out_leaves_the_others() {
    let folder = folder("evidence-one");
    std::fs::write(folder.join("s.swipes.ndjson"), talkative()).unwrap();
    slipgauge(&folder, &["evidence", "s.swipes.ndjson", "-o", "s.zip", "--without", "time"]).ends(0);
    unzipped(&folder, "s.zip");
    let copy = std::fs::read_to_string(folder.join("unzipped/recording.swipes.ndjson")).unwrap();
    for word in WORDS {
        // The day is gone; words in the operator's own places stay.
        assert_eq!(copy.contains(word), word != "2031-04-05", "{word}");
    }
    slipgauge(
        &folder,
        &["evidence", "s.swipes.ndjson", "-o", "t.zip", "--without", "time", "--add", "s.zip"],
    )
    .refused(&["--add"]);
}

#[test]
fn a_plate_is_1920_by_1080_pixels_whatever_the_verdict() {
    let folder = folder("plate");
    for (name, session) in [("sound", &SOUND), ("failing", &FAILING)] {
        std::fs::write(folder.join("s.swipes.ndjson"), session.as_str()).unwrap();
        let file = format!("{name}.png");
        slipgauge(&folder, &["plate", "s.swipes.ndjson", "-o", &file]).ends(0);
        let png = std::fs::read(folder.join(&file)).unwrap();
        // Signature, then width and height (ISO/IEC 15948, 5.2 and 11.2.1).
        assert_eq!(png[..8], [0x89, b'P', b'N', b'G', 13, 10, 26, 10]);
        assert_eq!(png[16..24], [0, 0, 7, 128, 0, 0, 4, 56]);
    }
    slipgauge(&folder, &["plate", "s.swipes.ndjson", "-o", "plate.gif"]).refused(&[".png or .svg"]);
    slipgauge(&folder, &["plate", "s.swipes.ndjson", "-o", "plate.svg"]).ends(0);
    assert!(std::fs::read_to_string(folder.join("plate.svg")).unwrap().contains(">FAIL<"));
    slipgauge(&folder, &["judge", "s.swipes.ndjson", "--plot", "s.png"]).ends(1);
    assert_eq!(std::fs::read(folder.join("s.png")).unwrap()[1..4], *b"PNG");
}
