//! `judge --format json`: every key of the verdict file with its type, and the same numbers as in the text.

use super::run::{FAILING, Run, SOUND, folder, slipgauge};
use Is::{Any, Count, Flag, Keys, List, Map, Number, OneOf, Or, Text};
use serde_json::Value;
use std::sync::LazyLock;

/// What a value of the verdict file is.
enum Is {
    Text,
    Flag,
    Number,
    /// A whole number from 0.
    Count,
    OneOf(&'static [&'static str]),
    /// This or `null`.
    Or(&'static Is),
    List(&'static Is),
    /// An object with at least these keys: later versions may add some.
    Keys(&'static [(&'static str, Is)]),
    /// An object with keys of its own, all of one kind.
    Map(&'static Is),
    Any,
}

const OUTCOME: Is = OneOf(&["pass", "fail", "inconclusive", "not-examined"]);
const FAMILY: Is = OneOf(&[
    "dropout",
    "tracking-loss",
    "spin-out",
    "carry-on",
    "drift",
    "gain-change",
    "report-ceiling",
    "resolution",
    "report-interval",
    "straightening",
    "wake-up",
    "lag",
    "strike-lag",
]);
const CAUSE: Is = OneOf(&[
    "sensor",
    "firmware",
    "report-format",
    "link",
    "power-saving",
    "host",
    "surface",
    "operator",
    "step-change",
    "unknown",
]);
const QUANTITY: Is = Keys(&[("value", Number), ("low", Or(&Number)), ("high", Or(&Number))]);
const LIMITS: Is = List(&Or(&Number));

const VERDICT: Is = Keys(&[
    ("slipgauge_verdict", Count),
    ("tool", Text),
    ("rules", Text),
    ("confidence", Number),
    ("session", Text),
    ("sha256", Text),
    ("bytes", Count),
    ("verdict", OUTCOME),
    ("because", Text),
    (
        "device",
        Keys(&[
            ("label", Or(&Text)),
            ("unit", Or(&Text)),
            ("name", Or(&Text)),
            ("vendor", Or(&Count)),
            ("product", Or(&Count)),
        ]),
    ),
    ("plan", Keys(&[("tolerances", Map(&Keys(&[("limits", LIMITS), ("unit", Text), ("source", Text)])))])),
    ("steps", List(&STEP)),
    ("over_steps", List(&OVER_STEPS)),
    ("findings", List(&FINDING)),
    (
        "host",
        Keys(&[
            ("watched", Flag),
            ("stalls", Count),
            ("overruns", Count),
            ("stamp_spread_ns", Or(&QUANTITY)),
        ]),
    ),
    (
        "closure",
        List(&Keys(&[("step", Count), ("phase", Count), ("along_mm", Number), ("across_mm", Number)])),
    ),
    ("pair", Or(&Map(&Any))),
    ("remarks", List(&Text)),
]);

const STEP: Is = Keys(&[
    ("step", Count),
    ("label", Or(&Text)),
    ("nominal_counts_per_inch", Or(&Number)),
    ("identified", OneOf(&["as told", "other step", "unknown"])),
    ("verdict", OUTCOME),
    (
        "swipes",
        Keys(&[
            ("asked", Count),
            ("found", Count),
            ("clean", Count),
            ("unplaced", Count),
            ("voided", Count),
            ("disturbed", Count),
        ]),
    ),
    ("unplaced_to_settle", Or(&Text)),
    (
        "swept",
        Keys(&[
            ("fastest_clean_m_s", Or(&Number)),
            ("fastest_m_s", Or(&Number)),
            ("acceleration_m_s2", Or(&Number)),
        ]),
    ),
    ("resolution_counts_per_inch", Or(&QUANTITY)),
    ("report_interval_ns", Or(&QUANTITY)),
    ("tracking_limit_m_s", Or(&QUANTITY)),
    ("tracking_limit_because", Or(&Text)),
    (
        "families",
        List(&Keys(&[
            ("family", FAMILY),
            ("verdict", OUTCOME),
            ("required", Flag),
            ("unit", Text),
            ("estimate", Or(&QUANTITY)),
            ("tolerance", LIMITS),
            ("smallest_found", Or(&Number)),
            ("findings", Count),
            ("cause", Or(&CAUSE)),
            ("because", Text),
            ("to_settle", Or(&Text)),
        ])),
    ),
    ("together", Or(&TOGETHER)),
]);

const CRITERION: Is = Keys(&[
    ("what", Text),
    ("verdict", OUTCOME),
    ("unit", Text),
    ("estimate", Or(&QUANTITY)),
    ("tolerance", LIMITS),
]);

const TOGETHER: Is =
    Keys(&[("families", List(&FAMILY)), ("criterion", CRITERION), ("at_least", Number), ("because", Text)]);

const OVER_STEPS: Is = Keys(&[
    ("family", FAMILY),
    ("steps", List(&Count)),
    ("criterion", CRITERION),
    ("at_least", Number),
    ("because", Text),
]);

const FINDING: Is = Keys(&[
    ("family", FAMILY),
    ("kind", Text),
    ("step", Count),
    ("phase", Count),
    ("swipe", Or(&Count)),
    ("device", Count),
    ("direction", Or(&OneOf(&["out", "back"]))),
    ("begin_ns", Count),
    ("end_ns", Count),
    ("size", Number),
    ("unit", Text),
    ("p_false", Or(&Number)),
    ("cause", CAUSE),
    ("evidence", Map(&Any)),
]);

/// What is not as it should be, by its place.
fn wrong(value: &Value, is: &Is, place: &str, found: &mut Vec<String>) {
    let good = match is {
        Any => true,
        Text => value.is_string(),
        Flag => value.is_boolean(),
        Number => value.is_number(),
        Count => value.is_u64(),
        OneOf(words) => value.as_str().is_some_and(|word| words.contains(&word)),
        Or(_) if value.is_null() => true,
        Or(is) => return wrong(value, is, place, found),
        List(is) => {
            let items = value.as_array().into_iter().flatten().enumerate();
            items.for_each(|(i, item)| wrong(item, is, &format!("{place}[{i}]"), found));
            value.is_array()
        }
        Map(is) => {
            let items = value.as_object().into_iter().flatten();
            items.for_each(|(key, item)| wrong(item, is, &format!("{place}.{key}"), found));
            value.is_object()
        }
        Keys(keys) => {
            for (key, is) in *keys {
                match value.get(key) {
                    Some(item) => wrong(item, is, &format!("{place}.{key}"), found),
                    None => found.push(format!("{place}.{key} is missing")),
                }
            }
            value.is_object()
        }
    };
    if !good {
        found.push(format!("{place} is {value}"));
    }
}

/// Text and JSON of one session.
fn both(name: &str, session: &str, status: i32) -> (Run, Value) {
    let folder = folder(name);
    std::fs::write(folder.join("s.swipes.ndjson"), session).unwrap();
    let text = slipgauge(&folder, &["judge", "s.swipes.ndjson"]).ends(status);
    let json = slipgauge(&folder, &["judge", "s.swipes.ndjson", "--format", "json"]).ends(status);
    (text, serde_json::from_str(&json.out).unwrap())
}

/// Every session that may be judged has the same keys. Judged once: tests that run side by side had emptied each other's folders.
static ALL: LazyLock<[(Run, Value); 3]> = LazyLock::new(|| {
    let unplanned = "{\"slipgauge\":1,\"devices\":[{\"nodes\":[]}]}\n";
    [both("json-sound", &SOUND, 0), both("json-failing", &FAILING, 1), both("json-unplanned", unplanned, 3)]
});

#[test]
fn every_key_of_the_verdict_file_is_there_with_its_type() {
    for (_, json) in ALL.iter() {
        let mut found = Vec::new();
        wrong(json, &VERDICT, "verdict", &mut found);
        assert!(found.is_empty(), "{found:#?}");
        assert_eq!(json["slipgauge_verdict"], 1);
        assert_eq!(json["confidence"], 0.95);
        for step in json["steps"].as_array().unwrap() {
            let families: Vec<_> =
                step["families"].as_array().unwrap().iter().map(|f| &f["family"]).collect();
            let OneOf(known) = FAMILY else { unreachable!() };
            assert_eq!(families, known, "each once");
            for family in step["families"].as_array().unwrap() {
                assert_eq!(family["tolerance"].as_array().unwrap().len(), 2);
                let own = json["findings"].as_array().unwrap().iter();
                let own = own.filter(|f| f["step"] == step["step"] && f["family"] == family["family"]);
                assert_eq!(family["findings"], own.count(), "{}", family["family"]);
            }
        }
    }
}

#[test]
fn intervals_hold_their_value_and_findings_lie_in_the_session() {
    fn check(value: &Value) {
        match value {
            Value::Object(map) => {
                if let (Some(v), Some(low), Some(high)) = (map.get("value"), map.get("low"), map.get("high"))
                {
                    let (v, low, high) = (v.as_f64().unwrap(), low.as_f64(), high.as_f64());
                    assert!(low.is_none_or(|low| low <= v) && high.is_none_or(|high| v <= high), "{value}");
                }
                map.values().for_each(check);
            }
            Value::Array(list) => list.iter().for_each(check),
            _ => {}
        }
    }
    for (_, json) in ALL.iter() {
        check(json);
        for finding in json["findings"].as_array().unwrap() {
            let at = |key: &str| finding[key].as_f64().unwrap();
            assert!(at("begin_ns") < at("end_ns"), "{finding}");
            assert!(at("end_ns") * 1e-9 <= json["received"]["seconds"].as_f64().unwrap(), "{finding}");
        }
    }
}

#[test]
fn the_text_tells_the_same_numbers() {
    for (text, json) in ALL.iter() {
        let words = text.words();
        let outcome = |value: &Value| value.as_str().unwrap().to_uppercase().replace('-', " ");
        let mut said = vec![
            format!("{}: ", outcome(&json["verdict"])),
            format!("sha256 {}…", &json["sha256"].as_str().unwrap()[..16]),
            format!("{} bytes", json["bytes"]),
            format!(
                "Received: {} reports in {:.1} s",
                json["received"]["reports"],
                json["received"]["seconds"].as_f64().unwrap()
            ),
        ];
        for step in json["steps"].as_array().unwrap() {
            let swipes = &step["swipes"];
            said.push(format!(
                "{} swipes asked, {} found, {} clean",
                swipes["asked"], swipes["found"], swipes["clean"]
            ));
            let number = |value: &Value| value.as_f64().unwrap();
            let resolution = &step["resolution_counts_per_inch"];
            let [value, low, high] = ["value", "low", "high"].map(|key| number(&resolution[key]));
            said.push(format!("effective resolution {value:.0} ({low:.0} to {high:.0}) counts/inch"));
            let fastest = number(&step["swept"]["fastest_clean_m_s"]);
            said.push(format!("clean up to {fastest:.2} m/s ({:.0} in/s)", fastest / 0.0254));
            for family in step["families"].as_array().unwrap() {
                let examined = !family["criteria"].as_array().unwrap().is_empty();
                if examined {
                    said.push(outcome(&family["verdict"]).to_lowercase() + " ");
                    said.push(family["because"].as_str().unwrap().to_owned());
                }
            }
        }
        // The first of each family; there are at most six of one.
        let mut told = Vec::new();
        for finding in json["findings"].as_array().unwrap() {
            if !told.contains(&&finding["family"]) {
                told.push(&finding["family"]);
                let swipe = finding["swipe"].as_u64().map_or_else(String::new, |n| format!(", swipe {n}"));
                let begin = finding["begin_ns"].as_f64().unwrap() * 1e-9;
                let (phase, kind) = (&finding["phase"], finding["kind"].as_str().unwrap());
                said.push(format!("phase {phase}{swipe} at {begin:.3} s: {kind}"));
            }
        }
        for said in said {
            assert!(words.contains(&said), "{said:?} is not in\n{}", text.out);
        }
    }
}
