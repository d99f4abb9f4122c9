//! The plate, read back as XML and measured by the font that it is set in.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use roxmltree::{Document, Node};
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::Outcome;
use slipgauge_report::plate::fit::{Weight, width};
use slipgauge_report::plate::{self, HEIGHT, LEAST, WIDTH};
use slipgauge_sim::{Bench, DeviceModel, Pace, Script};
use slipgauge_trace::Recording;
use slipgauge_trace::session::Header;

/// A short session at some steps: still, slow and fast.
fn session(steps: usize, faults: &[(&str, f64)]) -> Vec<u8> {
    let nominal: Vec<f64> = (1..=steps).map(|i| 400.0 * i as f64).collect();
    let script = (1..=steps as u32).fold(Script::default(), |script, step| {
        let slow = script.still(step, 2.0).swipes(step, Pace::Slow, 6, 0.4);
        slow.swipes(step, Pace::Fast, 16, 2.4)
    });
    let bench =
        Bench { seed: 3, device: DeviceModel::default().with_steps(&nominal), script, ..Bench::default() };
    let bench = faults.iter().fold(bench, |bench, (name, size)| bench.with_fault(name, Some(*size)).unwrap());
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    file
}

/// The plate, after its header was changed, and the verdict.
fn plate(file: &[u8], change: impl FnOnce(&mut Header)) -> (String, Outcome) {
    let mut recording = Recording::read(file).unwrap();
    change(&mut recording.header);
    let judgement = judge(&recording, "any.swipes.ndjson");
    (plate::svg(&judgement, &recording.header), judgement.verdict.verdict)
}

fn words(svg: &str) -> Vec<String> {
    let document = Document::parse(svg).unwrap();
    let texts = document.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "text")));
    texts.map(|n| n.text().unwrap_or_default().to_owned()).collect()
}

/// Left, top, right and bottom of a text.
fn place(node: &Node) -> (f64, f64, f64, f64) {
    let number = |key: &str| node.attribute(key).unwrap().parse::<f64>().unwrap();
    let (x, y, size) = (number("x"), number("y"), number("font-size"));
    let weight = if node.attribute("font-weight") == Some("bold") { Weight::Bold } else { Weight::Book };
    let wide = width(node.text().unwrap_or_default(), size, weight);
    let left = match node.attribute("text-anchor") {
        Some("end") => x - wide,
        Some("middle") => x - 0.5 * wide,
        _ => x,
    };
    // Capitals are 0.73 em high, the deepest letters 0.24 em low (DejaVu Sans).
    (left, y - 0.76 * size, left + wide, y + 0.24 * size)
}

/// Nothing too small, nothing outside, no text on another, no number that is none.
#[track_caller]
fn well_set(svg: &str) {
    let document = Document::parse(svg).unwrap();
    let mut texts = Vec::new();
    for node in document.descendants().filter(Node::is_element) {
        match node.tag_name().name() {
            "text" => {
                let size: f64 = node.attribute("font-size").unwrap().parse().unwrap();
                assert!(size >= LEAST, "{size}: {:?}", node.text());
                texts.push((place(&node), node.text().unwrap_or_default().to_owned()));
            }
            "path" if node.ancestors().all(|n| n.tag_name().name() != "defs") => {
                for pair in
                    node.attribute("d").unwrap().split(['M', 'L']).filter(|p| p.matches(' ').count() == 1)
                {
                    let (x, y) = pair.trim_end_matches('Z').split_once(' ').unwrap();
                    let (x, y): (f64, f64) = (x.parse().unwrap(), y.parse().unwrap());
                    assert!((0.0..=WIDTH).contains(&x) && (0.0..=HEIGHT).contains(&y), "{pair}");
                }
            }
            "rect" => {
                let number = |key: &str| node.attribute(key).unwrap().parse::<f64>().unwrap();
                assert!(number("height") > 0.0 && number("x") + number("width") <= WIDTH);
                assert!(number("y") + number("height") <= HEIGHT);
            }
            _ => {}
        }
    }
    for ((left, top, right, bottom), said) in &texts {
        assert!(*left >= 0.0 && *top >= 0.0 && *right <= WIDTH && *bottom <= HEIGHT, "{said} {left} {right}");
    }
    for (i, (a, said)) in texts.iter().enumerate() {
        for (b, other) in texts.iter().skip(i + 1).filter(|(_, other)| !other.is_empty() && !said.is_empty())
        {
            let apart = a.2 <= b.0 || b.2 <= a.0 || a.3 <= b.1 || b.3 <= a.1;
            assert!(apart, "“{said}” {a:?} lies on “{other}” {b:?}");
        }
    }
    assert!(!svg.contains("NaN") && !svg.contains("inf\""));
    for word in ["certified", "defective", "var(", "@media"] {
        assert!(!svg.contains(word), "{word}");
    }
}

#[test]
fn a_fail_says_above_which_speed_and_hatches_what_is_missing() {
    let file = session(1, &[("tracking-silent", 1.5)]);
    let (svg, outcome) = plate(&file, |header| {
        let plan = header.plan.as_mut().unwrap();
        plan.need.insert("speed_m_s".to_owned(), 2.5.into());
    });
    assert_eq!(outcome, Outcome::Fail);
    well_set(&svg);
    let words = words(&svg);
    let all = words.join(" ");
    assert!(words.iter().any(|w| w == "FAIL"), "{words:#?}");
    assert!(all.contains("Silent above 1.") && all.contains("; this use needs 2.5."), "{words:#?}");
    assert!(words.iter().any(|w| w.ends_with(" mm missing")) && svg.contains("url(#lack)\" "), "{words:#?}");
    assert!(all.contains("on this date") && all.contains("not a standard's") && all.contains("simulated"));
}

#[test]
fn a_sound_device_shows_its_fastest_clean_swipe_and_claims_no_faster() {
    let (svg, outcome) = plate(&session(1, &[]), |_| {});
    well_set(&svg);
    let words = words(&svg);
    assert!(words.iter().any(|w| w == "Fastest swipe"), "{words:#?}");
    assert!(!svg.contains("fill=\"url(#lack)\""));
    // The speed of the sentence is no faster than the row's.
    let said = words.iter().find(|w| w.starts_with("Clean up to")).unwrap();
    let number = |text: &str| text.split(' ').find_map(|w| w.parse::<f64>().ok()).unwrap();
    let row = words.iter().find(|w| w.contains(" m/s (") && !w.starts_with("Clean")).unwrap();
    assert!(number(said) <= number(row), "{said} {row} {outcome:?}");
}

#[test]
fn up_to_eight_steps_have_a_row_each_and_more_are_counted() {
    for steps in [2, 4, 8, 9] {
        let (svg, _) = plate(&session(steps, &[("tracking-silent", 1.5)]), |_| {});
        well_set(&svg);
        let words = words(&svg);
        let rows = (1..=steps).filter(|i| words.iter().any(|w| *w == format!("step {i}"))).count();
        assert_eq!(rows, if steps > 8 { 7 } else { steps }, "{words:#?}");
        assert_eq!(words.iter().any(|w| w == "and 2 more steps"), steps == 9);
    }
}

#[test]
fn long_and_hostile_names_are_cut_and_escaped() {
    for name in ["<script>&\u{1b}[2J\u{202e}]]>", "W", "長い名前の鼠", "Mmmmmmmmmm Wwwwwwwww "] {
        let long = if name == "W" { "W".repeat(3) } else { name.repeat(20) };
        for steps in [1, 4] {
            let (svg, _) = plate(&session(steps, &[("creep", 0.5)]), |header| {
                header.devices[0].label = Some(long.clone());
                header.devices[0].unit = Some(long.clone());
                header.surface = Some(long.clone());
                header.started = Some(long.clone());
                header.plan.iter_mut().flat_map(|p| &mut p.steps).for_each(|s| s.label = Some(long.clone()));
            });
            well_set(&svg);
            assert!(!svg.contains("<script>") && !svg.contains('\u{1b}') && !svg.contains('\u{202e}'));
            assert_eq!(long.len() > 50, words(&svg).iter().any(|w| w.ends_with('…')));
        }
    }
}

#[test]
fn inconclusive_and_not_examined_are_said_as_they_are() {
    let script = Script::default().still(1, 2.0).swipes(1, Pace::Fast, 4, 2.0);
    let bench = Bench { script, ..Bench::default() };
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let (svg, outcome) = plate(&file, |_| {});
    assert_eq!(outcome, Outcome::Inconclusive);
    well_set(&svg);
    let said = words(&svg);
    assert!(said.iter().any(|w| w == "INCONCLUSIVE") && said.join(" ").contains("ot settled: "), "{said:#?}");
    // No phases at all.
    let header =
        String::from_utf8(file).unwrap().lines().next().unwrap().to_owned() + "\n{\"t\":1,\"end\":true}\n";
    let (svg, outcome) = plate(header.as_bytes(), |_| {});
    assert_eq!(outcome, Outcome::NotExamined);
    well_set(&svg);
    let said = words(&svg);
    assert!(
        said.iter().any(|w| w == "NOT EXAMINED") && said.iter().any(|w| w == "no swipe to show"),
        "{said:#?}"
    );
    assert!(said.iter().any(|w| w.starts_with("Nothing was asked")), "{said:#?}");
}

#[test]
fn a_fail_at_rest_shows_how_far_it_went_by_itself() {
    for steps in [1, 4] {
        let (svg, outcome) = plate(&session(steps, &[("creep", 3.0)]), |_| {});
        assert_eq!(outcome, Outcome::Fail);
        well_set(&svg);
        let words = words(&svg);
        assert!(words.iter().any(|w| w.starts_with("With the hand off it")), "{words:?}");
        assert!(
            words.iter().any(|w| w == "creep") && !words.iter().any(|w| w.contains("swipe,")),
            "{words:?}"
        );
    }
}
