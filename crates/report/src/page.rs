//! A page to print: where the stops go, at true size, with a length to check the print by, and how stops are built.
//!
//! Landscape. What is longer than a sheet is drawn over several, each a document of its own, that are cut and laid edge
//! to line: a diagonal would take a longer line on one sheet, but neither a straight edge nor a device lies well askew on
//! it. Lengths are millimetres in the drawing and in the document. No dark mode: paper is white.

use crate::figure::{co, label, line};
use maud::{Markup, PreEscaped, html};

/// A sheet of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 297 × 210 mm (ISO 216).
    A4,
    /// 11 × 8.5 in.
    Letter,
}

impl Paper {
    /// Width and height, landscape, in millimetres.
    pub fn size(self) -> (f64, f64) {
        match self {
            Paper::A4 => (297.0, 210.0),
            Paper::Letter => (279.4, 215.9),
        }
    }
}

/// What is to be drawn. Lengths in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Stops {
    /// How far the device moves.
    pub travel: f64,
    /// The device's length along the swipe, if known.
    pub body: Option<f64>,
    /// What was understood of the travel, as a sentence.
    pub said: String,
}

/// Printers leave this much of the edge white.
const MARGIN: f64 = 12.0;
/// Room for a stop outside of its face.
const BLOCK: f64 = 10.0;
/// Most sheets: beyond, a tape measure does better.
const MOST: usize = 8;
/// Length of a body that is not known; it is drawn open.
const OPEN: f64 = 30.0;

/// Too long for paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong;

const STYLE: &str = "\
svg{font-family:'DejaVu Sans',Verdana,sans-serif;font-size:3.3px;fill:#23262b}\
.paper{fill:#ffffff}.face{stroke:#23262b;stroke-width:.5}.block{fill:url(#block);stroke:#23262b;stroke-width:.3}\
.body{fill:none;stroke:#15506b;stroke-width:.4}.there{stroke-dasharray:2 1.2}\
.hair{stroke:#6b675c;stroke-width:.2}.cut{stroke:#a33b20;stroke-width:.35;stroke-dasharray:3 1.5}\
.edge{fill:#e3d3a4;stroke:#9a8240;stroke-width:.25}.bar{fill:#23262b}\
.head{font-size:6px;font-weight:bold}.word{font-size:3px}.faint{fill:#6b675c}.cutword{fill:#8c2f18;font-size:3px}";

/// The documents, one a sheet. With the body known both faces are drawn, else one face and where the device's own edge
/// comes to lie.
///
/// # Errors
/// [`TooLong`] for more than eight sheets.
pub fn svgs(stops: &Stops, paper: Paper) -> Result<Vec<String>, TooLong> {
    let (width, _) = paper.size();
    let usable = width - 2.0 * MARGIN;
    let end = stops.travel + stops.body.unwrap_or(OPEN);
    let (first, span) = (-BLOCK, end + 2.0 * BLOCK);
    // A seam takes 20 mm of either sheet.
    let sheets = if span <= usable { 1 } else { 1 + ((span - usable) / (usable - 20.0)).ceil() as usize };
    if sheets > MOST {
        return Err(TooLong);
    }
    let begins: Vec<f64> = match sheets {
        1 => vec![first - 0.5 * (usable - span)],
        _ => (0..sheets).map(|i| first + (span - usable) * i as f64 / (sheets - 1) as f64).collect(),
    };
    let seam = |i: usize| Some(0.5 * (begins.get(i)? + usable + begins.get(i + 1)?));
    let sheet = |i: usize| {
        let before = i.checked_sub(1).and_then(seam);
        draw(stops, paper, (i, sheets), begins.get(i).copied().unwrap_or(first), (before, seam(i)))
    };
    Ok((0..sheets).map(sheet).collect())
}

/// One sheet: `begin` is the place on the bench at its left margin, the seams are places on the bench.
fn draw(
    stops: &Stops,
    paper: Paper,
    (index, sheets): (usize, usize),
    begin: f64,
    (before, after): (Option<f64>, Option<f64>),
) -> String {
    let (width, height) = paper.size();
    let on_sheet = |place: f64| MARGIN + place - begin;
    let from = before.map_or(MARGIN, on_sheet);
    let to = after.map_or(width - MARGIN, on_sheet);
    let view = format!("0 0 {width} {height}");
    let title = match sheets {
        1 => "Where the stops go".to_owned(),
        _ => format!("Where the stops go: sheet {} of {sheets}", index + 1),
    };
    let middle = 0.5 * (from + to) - on_sheet(0.0);
    let body = html! {
        defs {
            pattern id="block" width="2.4" height="2.4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line x1="0" y1="0" x2="0" y2="2.4" stroke="#6b675c" stroke-width="0.4" {}
            }
            clipPath id="sheet" { rect x=(co(from)) y="0" width=(co(to - from)) height=(co(height)) {} }
        }
        rect class="paper" width="100%" height="100%" {}
        (label(MARGIN, 20.0, "start", "head", &title))
        @if index == 0 { (guidance(stops, sheets)) }
        g clip-path="url(#sheet)" {
            g transform=(format!("translate({} 0)", co(on_sheet(0.0)))) { (bench(stops, middle)) }
        }
        @if let Some(x) = after {
            (seam(on_sheet(x), "end", index, "lay the cut edge of the next sheet on this line"))
        }
        @if let Some(x) = before {
            (seam(on_sheet(x), "start", index - 1, "cut here; the edge goes on the line of the sheet before"))
        }
        (bars(height))
    };
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(view) width=(format!("{width}mm")) height=(format!("{height}mm"))
            role="img" {
            title { (title) }
            style { (PreEscaped(STYLE)) }
            (body)
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

/// How the stops are built, and what is told of the travel.
fn guidance(stops: &Stops, sheets: usize) -> Markup {
    let place = if stops.body.is_some() {
        "Set both faces on their lines."
    } else {
        "Set the left face on its line and the device against it. Slide the device until its left edge lies on the second \
         line, and set the right stop against its right side."
    };
    let join = if sheets > 1 {
        "Cut the other sheets along their red lines and tape them edge to line, so that the long hairlines run straight on. "
    } else {
        ""
    };
    let paragraphs = [
        format!(
            "Print at 100 %, not fitted to the page. Measure the bar at the foot with a ruler: if it is off, these lines are \
             too. {join}"
        ),
        "Stops: two blocks that do not budge when a device strikes them, clamped or of a kilogram and more, each with a thin \
         hard face such as a strip of metal. A soft face gives way differently each time, and that is what limits small \
         changes of gain. A ruler or batten taped down along the swipe keeps the device from turning. Tape the cable down \
         with slack, so that it neither pulls nor lies in the way."
            .to_owned(),
        format!(
            "{place} Fix the stops, and take the paper away or lay it beside: the device is to run on your own pad. Then \
             measure how far one edge of it moves, and tell that: a ruler is good to half a millimetre, print and tape are not."
        ),
        stops.said.clone(),
    ];
    // Lines of one paragraph lie closer than paragraphs do.
    let mut lines: Vec<(f64, String)> = Vec::new();
    let mut y = 29.0;
    for text in &paragraphs {
        for line in wrapped(text, 142) {
            lines.push((y, line));
            y += 4.6;
        }
        y += 1.8;
    }
    html! {
        @for (y, text) in &lines { (label(MARGIN, *y, "start", "", text)) }
    }
}

/// Words in lines of at most so many characters.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The bench in its own millimetres: 0 is the face of the left stop.
fn bench(stops: &Stops, middle: f64) -> Markup {
    const TOP: f64 = 104.0;
    const FOOT: f64 = 152.0;
    let body = stops.body.unwrap_or(OPEN);
    let end = stops.travel + body;
    let device = |x: f64| {
        let (top, foot) = (TOP + 8.0, FOOT - 10.0);
        let outline = line([(x + body, top), (x, top), (x, foot), (x + body, foot)]);
        outline + if stops.body.is_some() { "Z" } else { "" }
    };
    let mm = |v: f64| {
        let text = format!("{v:.1}");
        format!("{} mm", text.trim_end_matches('0').trim_end_matches('.'))
    };
    html! {
        line class="hair" x1="-300" y1=(co(TOP - 4.0)) x2="3000" y2=(co(TOP - 4.0)) {}
        rect class="edge" x=(co(-BLOCK)) y=(co(FOOT - 10.0)) width=(co(end + 2.0 * BLOCK)) height="5" {}
        (label(middle, FOOT - 6.4, "middle", "word", "straight edge"))
        path class="body" d=(device(0.0)) {}
        path class="body there" d=(device(stops.travel)) {}
        rect class="block" x=(co(-BLOCK)) y=(co(TOP)) width=(co(BLOCK)) height=(co(FOOT - TOP)) {}
        line class="face" x1="0" y1=(co(TOP - 6.0)) x2="0" y2=(co(FOOT + 6.0)) {}
        (label(1.5, TOP - 7.0, "start", "word", "face of the left stop"))
        line class="face" stroke-dasharray="4 1.5" x1=(co(stops.travel)) y1=(co(TOP - 1.0)) x2=(co(stops.travel)) y2=(co(FOOT + 6.0)) {}
        (label(stops.travel - 1.5, FOOT + 5.0, "end", "word", "the device's left edge when it lies at the right stop"))
        @if stops.body.is_some() {
            rect class="block" x=(co(end)) y=(co(TOP)) width=(co(BLOCK)) height=(co(FOOT - TOP)) {}
            line class="face" x1=(co(end)) y1=(co(TOP - 6.0)) x2=(co(end)) y2=(co(FOOT + 6.0)) {}
            (label(end - 1.5, TOP - 7.0, "end", "word", "face of the right stop"))
            (dimension(0.0, end, TOP + 4.0))
            (label(middle, TOP + 2.6, "middle", "word", &format!("gap {}", mm(end))))
            (label(0.5 * body, 0.5 * (TOP + FOOT), "middle", "word", &format!("body {}", mm(body))))
        } @else {
            (label(3.0, 0.5 * (TOP + FOOT), "start", "word", "the device"))
        }
        (dimension(0.0, stops.travel, FOOT + 9.0))
        (label(middle, FOOT + 13.5, "middle", "word", &format!("travel {}", mm(stops.travel))))
    }
}

/// A length between two places, with ends that point outward.
fn dimension(from: f64, to: f64, y: f64) -> Markup {
    let head = |x: f64, by: f64| line([(x + by, y - 1.0), (x, y), (x + by, y + 1.0)]);
    html! {
        path class="hair" fill="none" d=(line([(from, y), (to, y)]) + &head(from, 2.5) + &head(to, -2.5)) {}
    }
}

/// A seam with its letter and what to do there.
fn seam(x: f64, anchor: &str, number: usize, what: &str) -> Markup {
    let letter = char::from(b'A' + u8::try_from(number.min(25)).unwrap_or(25));
    let (beside, text) = if anchor == "end" { (x - 1.5, what) } else { (x + 1.5, what) };
    html! {
        line class="cut" x1=(co(x)) y1="92" x2=(co(x)) y2="172" {}
        (label(beside, 95.0, anchor, "cutword", &format!("{letter}: {text}")))
    }
}

/// 100 mm and 4 in.
fn bars(height: f64) -> Markup {
    let y = height - 24.0;
    let bar = |x: f64, y: f64, length: f64, parts: usize| {
        let part = length / parts as f64;
        let dark: String = (0..parts)
            .step_by(2)
            .map(|i| {
                let (a, b) = (x + part * i as f64, x + part * (i + 1) as f64);
                line([(a, y), (b, y), (b, y + 2.5), (a, y + 2.5)]) + "Z"
            })
            .collect();
        html! {
            rect class="body" x=(co(x)) y=(co(y)) width=(co(length)) height="2.5" {}
            path class="bar" d=(dark) {}
        }
    };
    html! {
        (bar(MARGIN, y, 100.0, 10))
        (label(MARGIN + 103.0, y + 2.5, "start", "", "100 mm: measure it"))
        (bar(MARGIN, y + 7.0, 101.6, 4))
        (label(MARGIN + 103.0, y + 9.5, "start", "", "4 in"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stops(travel: f64, body: Option<f64>) -> Stops {
        Stops { travel, body, said: "As told.".to_owned() }
    }

    #[test]
    fn what_fits_on_a_sheet_is_one_and_what_does_not_is_cut_into_several() {
        let sheets = |travel, body, paper| svgs(&stops(travel, body), paper).map(|all| all.len());
        assert_eq!(sheets(180.0, Some(64.2), Paper::A4), Ok(1));
        assert_eq!(sheets(200.0, Some(64.2), Paper::Letter), Ok(2));
        assert_eq!(sheets(300.8, Some(64.2), Paper::A4), Ok(2));
        assert_eq!(sheets(600.0, None, Paper::A4), Ok(3));
        assert_eq!(sheets(4_000.0, None, Paper::A4), Err(TooLong));
    }

    /// The seam is one place on the bench: where sheet 1 ends, sheet 2 begins, and no line of a stop lies near it.
    #[test]
    fn sheets_meet_at_one_place_that_is_clear_of_the_stops() {
        for (travel, body) in [(300.8, Some(64.2)), (300.0, None), (520.0, Some(120.0))] {
            let all = svgs(&stops(travel, body), Paper::A4).unwrap();
            let number = |text: &str, after: &str| -> f64 {
                let rest = text.split(after).nth(1).unwrap();
                rest.split(|c: char| !c.is_ascii_digit() && c != '.' && c != '-')
                    .next()
                    .unwrap()
                    .parse()
                    .unwrap()
            };
            let origin = |text: &str| number(text, "translate(");
            let from = |text: &str| number(text, "<clipPath id=\"sheet\"><rect x=\"");
            let to = |text: &str| from(text) + number(text.split("<clipPath").nth(1).unwrap(), "width=\"");
            for pair in all.windows(2) {
                let (left, right) = (to(&pair[0]) - origin(&pair[0]), from(&pair[1]) - origin(&pair[1]));
                assert!((left - right).abs() < 0.03, "{left} {right}");
                for place in [0.0, travel, travel + body.unwrap_or(OPEN)] {
                    assert!((left - place).abs() > 10.0, "{left} {place}");
                }
            }
        }
    }
}
