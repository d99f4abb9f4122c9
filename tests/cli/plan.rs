//! `plan`: what a test will show, how often it finds a fault, and what is drawn of it.

use super::run::{COLUMNS, files, folder, slipgauge};
use roxmltree::Document;
use serde_json::Value;

const RULER: [&str; 3] = ["plan", "--travel", "300mm"];

fn with<'a>(first: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    [first, more].concat()
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn a_plan_is_told_in_eighty_columns_with_its_claims_and_its_cost() {
    let folder = folder("plan-text");
    let gap = ["plan", "--gap", "365mm", "--body", "64.2mm", "--steps", "red=400,blue=800,1600,3200"];
    let run = slipgauge(&folder, &gap).ends(0);
    assert!(run.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", run.out);
    let words = run.words();
    for said in [
        "so the device moves 300.8 mm",
        "travel 300.8 mm",
        "4 steps, counts per inch: “red” 400, “blue” 800, 1600",
        "15: at most 18.1 %",
        "60: at most 4.9 %",
        "132 swipes in about",
        "8 s: at most 22.5/min",
    ] {
        assert!(words.contains(said), "{said:?} is not in\n{}", run.out);
    }
    // 59 clean swipes: the success run.
    let confirm = slipgauge(&folder, &with(&RULER, &["--size", "confirm"])).ends(0).words();
    assert!(confirm.contains("59: at most 5.0 %") && confirm.contains("35 more, all clean"), "{confirm}");
    let need = ["--turn", "180deg", "--within", "150ms", "--per-turn", "40cm", "--fast-speed", "2.5m/s"];
    let need = slipgauge(&folder, &with(&RULER, &need)).ends(0).words();
    assert!(
        need.contains("takes a peak of 2.50 m/s (98 in/s)") && need.contains("--fast-speed 2.72m/s"),
        "{need}"
    );
    let short = ["plan", "--travel", "100mm", "--fast-speed", "3m/s"];
    assert!(slipgauge(&folder, &short).ends(0).words().contains("148 m/s², and arms reach 60"));
}

#[test]
fn no_plan_is_made_of_an_unknown_travel() {
    let folder = folder("plan-which");
    slipgauge(&folder, &["plan"]).refused(&[
        "--travel 300mm",
        "--gap 365mm --body 64.2mm",
        "--travel-from SESSION",
    ]);
    slipgauge(&folder, &["plan", "--gap", "365mm"]).refused(&["is not the travel", "--body"]);
    slipgauge(&folder, &["plan", "--travel", "300"]).refused(&["has no unit", "--travel"]);
    slipgauge(&folder, &with(&RULER, &["--study", "dust"]))
        .refused(&["no fault \"dust\"", "tracking-silent"]);
    slipgauge(&folder, &with(&RULER, &["--picture", "x.svg"])).refused(&["--study"]);
    assert!(files(&folder).is_empty());
}

#[test]
fn a_saved_plan_makes_the_same_plan_and_flags_change_it() {
    let folder = folder("plan-file");
    let made = [
        "--steps",
        "red=400,800",
        "--straight-edge",
        "--need",
        "2.2m/s",
        "--save",
        "mine.toml",
        "--format",
        "json",
    ];
    let first = json(&slipgauge(&folder, &with(&RULER, &made)).ends(0).out);
    let again = slipgauge(&folder, &["plan", "--plan", "mine.toml", "--format", "json"]).ends(0);
    assert_eq!(json(&again.out), first);
    let other = ["plan", "--plan", "mine.toml", "--swipes", "fast=59", "--format", "json"];
    let other = json(&slipgauge(&folder, &other).ends(0).out);
    assert_eq!(other["plan"]["paces"]["fast"]["swipes"], 59);
    assert_eq!(other["plan"]["steps"], first["plan"]["steps"]);
    let refused = slipgauge(&folder, &with(&RULER, &["--save", "mine.toml"]));
    refused.refused(&["mine.toml"]);
    std::fs::write(folder.join("wrong.toml"), "travle = \"300mm\"\n").unwrap();
    slipgauge(&folder, &["plan", "--plan", "wrong.toml"]).refused(&[
        "wrong.toml",
        "\"travle\"",
        "it may say travel",
    ]);
}

#[test]
fn a_sound_devices_session_tells_the_travel() {
    let folder = folder("plan-from");
    slipgauge(&folder, &["simulate", "-o", "good.swipes.ndjson", "--travel", "250mm", "--still", "1s"])
        .ends(0);
    let run =
        slipgauge(&folder, &["plan", "--travel-from", "good.swipes.ndjson", "--format", "json"]).ends(0);
    let plan = &json(&run.out)["plan"];
    let (um, u) = (plan["travel_um"].as_f64().unwrap(), plan["travel_u_um"].as_f64().unwrap());
    // 1 % of the nominal, and an arc without a straight edge.
    assert!((um - 250_000.0).abs() < 3_000.0 && (2_500.0..3_000.0).contains(&u), "{plan}");
    assert_eq!(plan["travel_from"], "good.swipes.ndjson");
    // A session that no guide made holds no plan.
    slipgauge(&folder, &["plan", "--same-plan-as", "good.swipes.ndjson"])
        .refused(&["holds no plan of a guided test"]);
}

#[test]
fn a_study_says_how_often_and_draws_the_same_numbers() {
    let folder = folder("plan-study");
    let study =
        ["--swipes", "slow=6,medium=0,fast=14", "--still", "3s", "--study", "tracking-silent=1.3/0.8"];
    let study = with(&with(&RULER, &study), &["--sessions", "2", "--picture", "study.svg"]);
    let run = slipgauge(&folder, &study).ends(0);
    assert!(run.out.lines().all(|line| line.chars().count() <= COLUMNS), "{}", run.out);
    // 0 of 2: 0 to 84 %; 2 of 2: 16 to 100 % (Clopper & Pearson: 1 − 0.025^(1/2) = 0.842).
    assert!(run.words().contains("a sound device 0 (0 to 84)"), "{}", run.out);
    assert!(run.words().contains("0.8 of the fast peak 100 (16 to 100)"), "{}", run.out);
    let svg = std::fs::read_to_string(folder.join("study.svg")).unwrap();
    let picture = Document::parse(&svg).unwrap();
    let of = |class: &str| {
        picture.descendants().filter(|n| n.attribute("class") == Some(class)).collect::<Vec<_>>()
    };
    let texts: Vec<&str> =
        picture.descendants().filter(|n| n.tag_name().name() == "text").filter_map(|n| n.text()).collect();
    for said in [
        "How often this test finds a fault",
        "tracking-silent",
        "1.3",
        "0.8",
        "hatched: a sound device fails, at most 84 %",
    ] {
        assert!(texts.contains(&said), "{said:?} is not in {texts:?}");
    }
    // Two lenses; the estimates lie on the foot and on the top of the axis, 0 and 100 %.
    assert_eq!(of("ridge").len(), 2);
    let rules: Vec<f64> = of("rule").iter().map(|n| n.attribute("y1").unwrap().parse().unwrap()).collect();
    let line = of("counted").into_iter().find(|n| n.tag_name().name() == "path").unwrap();
    let points: Vec<f64> = line.attribute("d").unwrap()[1..]
        .split('L')
        .map(|point| point.split(' ').nth(1).unwrap().parse().unwrap())
        .collect();
    assert_eq!(points, [rules[0], rules[4]]);
    // The same seed, the same table.
    let told = json(&slipgauge(&folder, &with(&study, &["--format", "json"])).ends(0).out);
    let rows = &told["study"]["curves"][0]["rows"];
    assert_eq!((&rows[0]["fails"]["k"], &rows[1]["fails"]["k"]), (&Value::from(0), &Value::from(2)));
}

/// Length of something in millimetres, by the document's own size and view box.
#[test]
fn the_page_is_true_to_size() {
    let folder = folder("plan-page");
    let one = ["plan", "--gap", "240mm", "--body", "60mm", "--page", "stops.svg"];
    slipgauge(&folder, &one).ends(0);
    let two = ["plan", "--gap", "365mm", "--body", "64.2mm", "--page", "long.svg", "--paper", "letter"];
    let run = slipgauge(&folder, &two).ends(0);
    assert_eq!(files(&folder), ["long-1.svg", "long-2.svg", "stops.svg"]);
    assert!(run.out.contains("long-2.svg"));
    for (name, width, view) in
        [("stops.svg", "297mm", "0 0 297 210"), ("long-1.svg", "279.4mm", "0 0 279.4 215.9")]
    {
        let text = std::fs::read_to_string(folder.join(name)).unwrap();
        let page = Document::parse(&text).unwrap();
        let root = page.root_element();
        assert_eq!((root.attribute("width"), root.attribute("viewBox")), (Some(width), Some(view)));
        // The bar to check the print by is 100 of the view's units, which are millimetres.
        let bar = page
            .descendants()
            .any(|n| n.tag_name().name() == "rect" && n.attribute("width") == Some("100.00"));
        assert!(bar, "{name}");
    }
    let text = std::fs::read_to_string(folder.join("stops.svg")).unwrap();
    let page = Document::parse(&text).unwrap();
    let faces: Vec<f64> = page
        .descendants()
        .filter(|n| n.attribute("class") == Some("face"))
        .map(|n| n.attribute("x1").unwrap().parse().unwrap())
        .collect();
    assert_eq!(faces, [0.0, 180.0, 240.0]);
}
