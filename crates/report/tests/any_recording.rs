//! Whatever a session file holds, it is judged, told and drawn, or refused with a reason: never a panic.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use proptest::prelude::*;
use slipgauge_analysis::judge;
use slipgauge_report::{json, sheet, text};
use slipgauge_trace::Recording;

/// A device of 16-bit axes, and one report of five bytes.
const HEADER: &str = r#"{"slipgauge":1,"tool":"t","clock":{"id":"monotonic"},"devices":[{"role":"test","name":"<b>&\u001b[2J]]>","nodes":[{"descriptor":"05010902a1010901a1000509190129081500250195087501810205010930093116018026ff7f751095028106c0c0"}]}]"#;

fn header(plan: &str) -> String {
    format!("{HEADER},\"plan\":{plan}}}\n")
}

fn plan() -> impl Strategy<Value = String> {
    let travel = prop_oneof![
        Just("null".to_owned()),
        Just("300000".to_owned()),
        any::<i64>().prop_map(|v| v.to_string())
    ];
    let nominal = prop_oneof![
        Just("null".to_owned()),
        Just("1600.0".to_owned()),
        any::<f64>().prop_filter_map("finite", |v| v.is_finite().then(|| format!("{v:e}")))
    ];
    (travel, nominal).prop_map(|(travel, nominal)| {
        format!(
            r#"{{"travel_um":{travel},"steps":[{{"id":1,"nominal_counts_per_inch":{nominal}}},{{"id":2}}]}}"#
        )
    })
}

/// Counts: mostly those of a hand, sometimes those of no hand.
fn counts() -> impl Strategy<Value = i16> {
    prop_oneof![8 => -60i16..60, 1 => any::<i16>(), 1 => Just(i16::MIN), 1 => Just(0)]
}

/// Times between lines: mostly a report interval, sometimes none, a dwell, or weeks.
fn gap() -> impl Strategy<Value = i64> {
    prop_oneof![10 => Just(1_000_000), 2 => Just(0), 2 => 1i64..400_000_000, 1 => 1i64..2_000_000_000_000_000]
}

fn line() -> impl Strategy<Value = String> {
    let report = (counts(), counts(), 0u32..70).prop_map(|(x, y, q)| {
        let [a, b] = x.to_le_bytes();
        let [c, d] = y.to_le_bytes();
        format!(r#""r":"00{a:02x}{b:02x}{c:02x}{d:02x}","q":{q}"#)
    });
    let run = (counts(), 1usize..4).prop_map(|(x, _)| {
        let [a, b] = x.to_le_bytes();
        format!(r#""r":"00{a:02x}{b:02x}0000""#)
    });
    let task = prop_oneof![Just("still"), Just("swipes"), Just("identify"), Just("strikes"), Just("dance")];
    let pace = prop_oneof![Just("slow"), Just("fast"), Just("later")];
    let phase = (0u32..4, task, pace, any::<u32>()).prop_map(|(step, task, pace, n)| {
        format!(r#""phase":{{"step":{step},"task":"{task}","pace":"{pace}","swipes":{n}}}"#)
    });
    let stall = (0i64..i64::MAX).prop_map(|ns| format!(r#""stall":{ns}"#));
    let rest = prop_oneof![
        Just(r#""phase":null"#),
        Just(r#""overrun":1"#),
        Just(r#""gone":true"#),
        Just(r#""r":"0001""#),
        Just(r#""end":true"#)
    ];
    prop_oneof![20 => report, 20 => run, 2 => phase, 1 => stall, 1 => rest.prop_map(str::to_owned)]
}

/// A file: lines in order of time, most repeated some times so that runs occur.
fn session() -> impl Strategy<Value = String> {
    (plan(), prop::collection::vec((gap(), line(), 1usize..30), 0..80)).prop_map(|(plan, lines)| {
        let mut file = header(&plan);
        let mut t = 0i64;
        for (gap, line, times) in lines {
            for _ in 0..times {
                t += gap;
                file += &format!("{{\"t\":{t},{line}}}\n");
            }
        }
        file
    })
}

fn judged(file: &str) {
    let Ok(recording) = Recording::read(file.as_bytes()) else { return };
    let judgement = judge(&recording, "any");
    let written: serde_json::Value = serde_json::from_str(&json(&judgement.verdict)).unwrap();
    assert_eq!(written["slipgauge_verdict"], 1);
    let told = text::verdict(&judgement.verdict);
    assert!(told.chars().all(|c| c == '\n' || !c.is_control()), "{told:?}");
    let drawn = sheet::svg(&judgement);
    assert!(
        drawn.ends_with("</svg>\n") && !drawn.contains("NaN") && !drawn.contains("inf"),
        "a number that is none"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(1), ..ProptestConfig::default() })]

    #[test]
    fn any_session_is_judged_told_and_drawn(file in session()) {
        judged(&file);
    }
}

#[test]
fn names_from_outside_are_escaped_in_the_picture() {
    let file = header("{}") + "{\"t\":1,\"end\":true}\n";
    let recording = Recording::read(file.as_bytes()).unwrap();
    let judgement = judge(&recording, "a<script>.ndjson");
    let drawn = sheet::svg(&judgement);
    assert!(!drawn.contains("<script>") && !drawn.contains("<b>") && !drawn.contains('\u{1b}'));
    assert!(drawn.contains("&lt;b&gt;&amp;"));
}
