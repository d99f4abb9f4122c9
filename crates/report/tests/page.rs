//! The page of a session: whole, harmless, of bearable size, and every link lands.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use roxmltree::{Document, ParsingOptions};
use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_report::{export, html, text};
use slipgauge_sim::{Bench, DeviceModel, Fault, Loss, Missing, Pace, Script, What};
use slipgauge_trace::Recording;
use std::collections::BTreeSet;
use std::sync::LazyLock;

fn recorded(bench: Bench) -> String {
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    String::from_utf8(file).unwrap()
}

fn page(session: &str) -> (String, Verdict) {
    let recording = Recording::read(session.as_bytes()).unwrap();
    let judgement = judge(&recording, "bench.swipes.ndjson");
    (html::page(&judgement, &recording), judgement.verdict)
}

/// A device that goes blind at 1.5 m/s, at two steps.
static BLIND: LazyLock<String> = LazyLock::new(|| {
    let bench = Bench {
        script: Script::screen(2),
        device: DeviceModel::default().with_steps(&[800.0, 1600.0]),
        ..Bench::default()
    };
    recorded(bench.with_fault("tracking-silent", Some(1.5)).unwrap())
});
static PAGE: LazyLock<(String, Verdict)> = LazyLock::new(|| page(&BLIND));

/// The page as strict XML: void elements closed, the doctype off. Script and style hold no markup.
fn xml(page: &str) -> String {
    let mut out = page.trim_start_matches("<!DOCTYPE html>").to_owned();
    let mut from = 0;
    while let Some(at) = out[from..].find("<meta ").map(|at| from + at) {
        let end = at + out[at..].find('>').unwrap();
        out.insert(end, '/');
        from = end;
    }
    for (name, other) in [("script", "]]>"), ("style", "]]>")] {
        let mut from = 0;
        while let Some(at) = out[from..].find(&format!("<{name}")).map(|at| from + at) {
            let begin = at + out[at..].find('>').unwrap() + 1;
            let end = begin + out[begin..].find(&format!("</{name}>")).unwrap();
            out.insert_str(end, other);
            out.insert_str(begin, "<![CDATA[");
            from = end;
        }
    }
    // Attributes without a value.
    for bare in [" hidden>", " hidden "] {
        out = out.replace(bare, &format!(" hidden=\"\"{}", &bare[7..]));
    }
    out
}

fn parsed(text: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: false, nodes_limit: 5_000_000, ..ParsingOptions::default() };
    Document::parse_with_options(text, options).unwrap_or_else(|e| {
        let line = text.lines().nth(e.pos().row as usize - 1).unwrap_or_default();
        let from = (e.pos().col as usize).saturating_sub(200);
        panic!("{e}: {}", line.chars().skip(from).take(300).collect::<String>())
    })
}

#[test]
fn the_page_is_well_formed_and_every_link_lands_on_one_place() {
    let text = xml(&PAGE.0);
    let document = parsed(&text);
    let all: Vec<&str> = document.descendants().filter_map(|n| n.attribute("id")).collect();
    let ids: BTreeSet<&str> = all.iter().copied().collect();
    assert_eq!(all.len(), ids.len(), "an id stands twice");
    let links: Vec<&str> = document.descendants().filter_map(|n| n.attribute("href")).collect();
    assert!(links.len() > 40);
    for link in links {
        assert!(link.strip_prefix('#').is_some_and(|id| ids.contains(id)), "{link}");
    }
    for node in document.descendants() {
        for name in ["aria-labelledby", "aria-describedby"] {
            assert!(node.attribute(name).is_none_or(|id| ids.contains(id)), "{node:?}");
        }
        let pattern = node.attribute("fill").and_then(|fill| fill.strip_prefix("url(#")?.strip_suffix(')'));
        assert!(pattern.is_none_or(|id| ids.contains(id)), "{node:?}");
    }
}

#[test]
fn nothing_is_fetched_and_the_policy_allows_nothing_but_the_pages_own() {
    let page = &PAGE.0;
    let policy =
        page.split("Content-Security-Policy\" content=\"").nth(1).unwrap().split('"').next().unwrap();
    assert!(policy.starts_with("default-src 'none'; style-src 'sha256-"), "{policy}");
    assert!(!policy.contains("unsafe") && !policy.contains("http"), "{policy}");
    let bare = page.replace("http://www.w3.org/2000/svg", "");
    for way in [
        "http:",
        "https:",
        "src=\"",
        "@import",
        "//cdn",
        " style=\"",
        " onclick",
        "<link",
        "<iframe",
        "<form",
    ] {
        assert!(!bare.contains(way), "{way}");
    }
    assert!(bare.split("url(").skip(1).all(|rest| rest.starts_with('#')), "a url that leads out");
}

#[test]
fn readers_by_ear_and_by_keyboard_find_their_way() {
    let text = xml(&PAGE.0);
    let document = parsed(&text);
    let of = |name: &str| document.descendants().filter(|n| n.has_tag_name(name)).count();
    assert_eq!((of("h1"), of("main"), of("footer")), (1, 1, 1));
    let mut level = 0;
    for node in document.descendants().filter(|n| n.is_element()) {
        let name = node.tag_name().name();
        if let Some(next) = name.strip_prefix('h').and_then(|n| n.parse::<u32>().ok()) {
            assert!(next <= level + 1, "h{next} after h{level}: {node:?}");
            level = next;
        }
        if name == "th" {
            assert!(matches!(node.attribute("scope"), Some("row" | "col")), "{node:?}");
        }
        if name == "svg" && node.attribute("aria-hidden").is_none() {
            assert_eq!(node.attribute("role"), Some("img"));
            let has = |name: &str| node.children().any(|c| c.tag_name().name() == name && c.text().is_some());
            assert!(has("title") && has("desc"), "{node:?}");
        }
    }
}

#[test]
fn each_step_and_family_has_a_cell_that_leads_to_its_evidence() {
    let (page, verdict) = &*PAGE;
    assert_eq!(verdict.verdict, Outcome::Fail);
    for step in &verdict.steps {
        for family in Family::ALL {
            let id = format!("s{}-{}", step.step, serde_json::to_value(family).unwrap().as_str().unwrap());
            assert!(
                page.contains(&format!("href=\"#{id}\"")) && page.contains(&format!("id=\"{id}\"")),
                "{id}"
            );
        }
    }
    let swipes: u32 = verdict.steps.iter().map(|s| s.swipes.found).sum();
    assert_eq!(page.matches("<li id=\"p").count(), swipes as usize);
    assert!(
        page.contains("loses track at") && page.contains("mm missing") && page.contains("class=\"faulty\"")
    );
}

#[test]
fn the_page_says_what_it_holds_for_and_makes_no_claim_beyond() {
    for page in [&PAGE.0, &page(&recorded(Bench::default())).0] {
        for said in [
            "Holds for this unit, on this pad and this computer",
            "not a standard’s",
            "One unit says nothing of its product",
            "two people hold the same file. It does not show how the file was made",
            "units tested",
            "This session is simulated",
        ] {
            assert!(page.contains(said), "{said}");
        }
        for word in ["certified", "defective", "guarantee"] {
            assert!(!page.to_lowercase().contains(word), "{word}");
        }
    }
}

#[test]
fn names_from_outside_stay_text_wherever_they_stand() {
    let long = "w".repeat(5_000);
    let hostile = format!(
        r#"<\/title><script>alert(1)<\/script><img src=x onerror=alert(1)>\"'`&amp;\u202e\u001b[2J\u0000{long}"#
    );
    let mut lines = BLIND.lines();
    let mut header: serde_json::Value = serde_json::from_str(lines.next().unwrap()).unwrap();
    let text: serde_json::Value = serde_json::from_str(&format!("\"{hostile}\"")).unwrap();
    header["host"] = serde_json::json!({});
    for place in [
        "/surface",
        "/devices/0/label",
        "/devices/0/unit",
        "/devices/0/firmware",
        "/note",
        "/started",
        "/plan/steps/0/label",
        "/plan/steps/1/label",
        "/plan/travel_from",
        "/host/os",
    ] {
        let (parent, key) = place.rsplit_once('/').unwrap();
        header.pointer_mut(parent).unwrap().as_object_mut().unwrap().insert(key.to_owned(), text.clone());
    }
    header["note"] = text.clone();
    let note = format!("{{\"t\":1,\"note\":{text}}}");
    let live =
        format!("{{\"t\":2,\"live\":{{\"noticed\":{{\"family\":{text},\"phase\":{text},\"swipe\":3}}}}}}");
    let session: Vec<String> =
        [header.to_string(), note, live].into_iter().chain(lines.map(str::to_owned)).collect();
    let (page, _) = page(&(session.join("\n") + "\n"));
    let shown = xml(&page);
    let document = parsed(&shown);
    let count = |name: &str| document.descendants().filter(|n| n.has_tag_name(name)).count();
    assert_eq!((count("script"), count("img"), count("style")), (2, 0, 1));
    assert!(page.contains("&lt;script&gt;alert(1)"));
    assert!(page.chars().all(|c| c == '\n' || !(c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c))));
    assert!(!page.contains(&"w".repeat(400)), "a long name stands in full");
    assert!(document.descendants().all(|n| n.attributes().all(|a| !a.name().starts_with("on"))));
}

/// The largest plan: four steps, with 59 fast swipes each, on a device that fails in all of them.
#[test]
fn the_largest_plans_page_stays_below_three_megabytes() {
    let script = (1..=4).fold(Script::default(), |script, step| {
        script.still(step, 10.0).swipes(step, Pace::Slow, 10, 0.3).swipes(step, Pace::Medium, 10, 0.9).swipes(
            step,
            Pace::Fast,
            59,
            2.2,
        )
    });
    let device = DeviceModel::default().with_steps(&[400.0, 800.0, 1600.0, 3200.0]);
    let bench = Bench { script, device, ..Bench::default() };
    let (page, verdict) = page(&recorded(bench.with_fault("tracking-silent", Some(1.5)).unwrap()));
    assert!(verdict.findings.len() > 150, "{}", verdict.findings.len());
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    parsed(&xml(&page));
}

#[test]
fn a_recording_without_phases_gets_a_page_that_says_so() {
    let header = BLIND.lines().next().unwrap();
    let (page, verdict) = page(&format!("{header}\n"));
    assert_eq!(verdict.verdict, Outcome::NotExamined);
    assert!(page.contains("No step was judged"));
    parsed(&xml(&page));
}

#[test]
fn the_index_links_each_page_and_ranks_none() {
    let (_, verdict) = &*PAGE;
    let entry = |file: &str| html::Entry {
        file: file.to_owned(),
        verdict,
        started: Some("2026-01-02T03:04:05Z".to_owned()),
    };
    let index = html::index(&[entry("b.html"), entry("a\"<b>.html")]);
    let text = xml(&index);
    let links: Vec<String> =
        parsed(&text).descendants().filter_map(|n| n.attribute("href").map(str::to_owned)).collect();
    assert_eq!(links, ["#main", "./b.html", "./a%22%3Cb%3E.html"]);
}

/// 13 of 30 fast swipes spin out, 13 others have a dropout: neither family fails, and the page and the text say why the
/// step does.
#[test]
fn what_fails_of_several_families_together_is_told_with_its_reason() {
    let spin = What::Lose { loss: Loss::Guess { turn_rad: 2.2, speed_share: 1.0 }, seconds: 0.030 };
    let gone = What::Dropout { reports: 20, counts: Missing::Kept };
    let spins = (1..=13).map(|swipe| Fault::in_swipe(2, swipe, 0.45, spin));
    let faults = spins.chain((16..=28).map(|swipe| Fault::in_swipe(2, swipe, 0.5, gone))).collect();
    let script = Script::default().swipes(1, Pace::Slow, 10, 0.4).swipes(1, Pace::Fast, 30, 2.5);
    let (page, verdict) = page(&recorded(Bench { seed: 10, script, faults, ..Bench::default() }));
    let because = &verdict.steps[0].together.as_ref().unwrap().because;
    parsed(&xml(&page));
    assert!(page.contains("Dropout and spin-out together: ") && page.contains(&because[..60]), "{because}");
    assert!(page.contains("several together"));
    let text = text::verdict(&verdict).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains(&format!("outside tolerance: dropout and spin-out together: {because}")), "{text}");
    assert!(export::markdown(&[verdict]).contains("| dropout and spin-out together |"));
}

/// Of a device that reports unevenly, which takes more words than a name from outside may have.
#[test]
fn a_familys_reason_stands_in_full_however_long() {
    let (page, verdict) =
        page(&recorded(Bench::default().with_fault("interval-jitter", Some(60.0)).unwrap()));
    let shown = xml(&page);
    let document = parsed(&shown);
    let said: String = document.descendants().filter_map(|n| n.text()).collect();
    let reasons: Vec<&str> = verdict.steps[0].families.iter().map(|f| f.because.as_str()).collect();
    assert!(reasons.iter().any(|because| because.chars().count() > 240), "{reasons:?}");
    // But for the first letter, which the page makes a capital.
    let rest = |because: &str| because.chars().skip(1).collect::<String>();
    assert!(reasons.iter().all(|because| said.contains(&rest(because))), "{reasons:?}");
}
