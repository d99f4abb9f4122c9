//! `judge --plot`: the picture as a browser reads it.

use super::run::{DROPPING, FAILING, Run, folder, slipgauge};
use roxmltree::Document;

/// Judges a session with a picture, and hands on both.
fn drawn(name: &str, session: &str) -> (Run, String) {
    let folder = folder(name);
    std::fs::write(folder.join("s.swipes.ndjson"), session).unwrap();
    std::fs::write(folder.join("s.svg"), "an older picture").unwrap();
    let run = slipgauge(&folder, &["judge", "s.swipes.ndjson", "--plot", "s.svg"]).ends(1);
    (run, std::fs::read_to_string(folder.join("s.svg")).unwrap())
}

/// All that is written on the picture, one string an element.
fn words(picture: &Document) -> Vec<String> {
    let written =
        picture.descendants().filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "text")));
    written.map(|node| node.text().unwrap_or_default().to_owned()).collect()
}

/// Some number of millimetres.
fn millimetres(text: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    words.windows(2).any(|pair| pair[0].parse::<f64>().is_ok() && pair[1] == "mm")
}

#[test]
fn the_picture_is_xml_that_names_each_fault_in_words_with_millimetres_and_both_speeds() {
    for (name, session, fault) in
        [("picture", &FAILING, "tracking loss: "), ("picture-dropping", &DROPPING, "lost ")]
    {
        let (_, svg) = drawn(name, session);
        let picture = Document::parse(&svg).unwrap();
        let words = words(&picture);
        let some = |holds: &dyn Fn(&str) -> bool| words.iter().any(|text| holds(text));
        // The verdict, told without colour, and what is wrong.
        assert!(some(&|text| text == "✗ FAIL") && some(&|text| text == "Bench Pointer"));
        assert!(some(&|text| text.starts_with(fault) && millimetres(text)), "{fault}: {words:#?}");
        assert!(some(&|text| text.starts_with("creeps at ")), "{words:#?}");
        // Speed on both sides of a swipe, and that of the fastest clean one.
        for unit in [" m/s", " in/s"] {
            assert!(
                some(&|text| text.strip_suffix(unit).is_some_and(|n| n.parse::<f64>().is_ok())),
                "{unit}"
            );
        }
        let clean =
            |text: &str| text.contains("clean up to ") && text.contains(" m/s (") && text.contains(" in/s)");
        assert!(some(&clean), "{words:#?}");
        assert_eq!(words.iter().filter(|text| text.starts_with("swipe ")).count(), 40);
    }
}

#[test]
fn everything_lies_on_the_sheet_and_nothing_is_fetched_or_run() {
    let (_, svg) = drawn("picture-sheet", &FAILING);
    let picture = Document::parse(&svg).unwrap();
    let root = picture.root_element();
    assert_eq!(root.tag_name().name(), "svg");
    let size = |name: &str| root.attribute(name).unwrap().parse::<f64>().unwrap();
    for node in picture.descendants() {
        for (name, most) in [("x", size("width")), ("y", size("height"))] {
            let place = node.attribute(name).and_then(|text| text.parse::<f64>().ok());
            assert!(place.is_none_or(|place| (0.0..=most).contains(&place)), "{node:?}");
        }
    }
    for way in ["<script", "href", "@import", "url(http", "<!"] {
        assert!(!svg.contains(way), "{way}");
    }
}

#[test]
fn names_from_outside_can_neither_drive_the_terminal_nor_break_the_picture() {
    let hostile = r#"<\/title><script>1<\/script>&amp;]]>\u001b[2J\u0000\u202e\"'"#;
    let session =
        FAILING.replacen("\"name\":\"Bench Pointer\"", &format!("\"name\":\"{hostile}\""), 1).replacen(
            "\"steps\":[{",
            &format!("\"surface\":\"{hostile}\",\"steps\":[{{\"label\":\"{hostile}\","),
            1,
        );
    assert_ne!(session, *FAILING);
    let (run, svg) = drawn("picture-hostile", &session);
    assert!(run.out.chars().all(|c| c == '\n' || (!c.is_control() && c != '\u{202e}')), "{:?}", run.out);
    let picture = Document::parse(&svg).unwrap();
    assert!(!picture.descendants().any(|node| node.tag_name().name() == "script"));
    let shown = r#"</title><script>1</script>&amp;]]>\u{1b}[2J\u{0}\u{202e}"'"#;
    assert!(run.out.lines().next().is_some_and(|line| line == format!("FAIL: {shown}")), "{}", run.out);
    let words = words(&picture);
    assert!(words.iter().any(|text| text == shown), "{words:#?}");
    assert!(words.iter().any(|text| text.contains(&format!("Step 1 “{shown}”"))), "{words:#?}");
}

#[test]
fn a_page_comes_with_its_plate_and_each_of_its_pictures_as_a_file() {
    let folder = folder("picture-files");
    std::fs::write(folder.join("s.swipes.ndjson"), &*FAILING).unwrap();
    let files = || -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder.join("out"))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    };
    slipgauge(&folder, &["report", "s.swipes.ndjson", "-o", "out", "--plate", "--pictures", "svg"]).ends(0);
    let names = files();
    for wanted in ["s.html", "s.plate.png", "s.finding-", "s.step-1-shortfall.svg", "s.step-1-rest-1.svg"] {
        assert!(names.iter().any(|name| name.starts_with(wanted)), "{wanted}: {names:?}");
    }
    for name in names.iter().filter(|name| name.ends_with(".svg")) {
        let svg = std::fs::read_to_string(folder.join("out").join(name)).unwrap();
        let picture = Document::parse(&svg).unwrap();
        let title = picture.descendants().find(|node| node.tag_name().name() == "title").unwrap();
        assert!(
            !title.text().unwrap().is_empty() && !svg.contains("var(") && !words(&picture).is_empty(),
            "{name}"
        );
    }
    let drawn = names.iter().filter(|name| name.ends_with(".svg")).count();
    slipgauge(&folder, &["report", "s.swipes.ndjson", "-o", "out", "--pictures", "png"]).ends(0);
    let pixels: Vec<String> =
        files().into_iter().filter(|name| name.ends_with(".png") && !name.contains("plate")).collect();
    assert_eq!(pixels.len(), drawn);
    // Three pixels for each of the page's.
    let png = std::fs::read(folder.join("out/s.step-1-shortfall.png")).unwrap();
    assert_eq!(png[16..24], [1680u32.to_be_bytes(), 900u32.to_be_bytes()].concat());
}
