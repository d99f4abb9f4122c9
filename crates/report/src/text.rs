//! The verdict for a person at a terminal: 80 columns, no colour needed.

use slipgauge_analysis::control::Place;
use slipgauge_analysis::live::LiveNote;
use slipgauge_analysis::verdict::{
    Family, FamilyVerdict, Finding, Outcome, Quantity, StepVerdict, Verdict, count,
};
use slipgauge_trace::outside::harmless;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Findings listed per family and step; the rest is counted.
const LISTED: usize = 6;
/// Columns.
const WIDTH: usize = 80;

/// Outcome in capitals, with a sign that survives without colour.
pub fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "PASS",
        Outcome::Fail => "FAIL",
        Outcome::Inconclusive => "INCONCLUSIVE",
        Outcome::NotExamined => "NOT EXAMINED",
    }
}

/// What the device is called: its owner's label, else its own name, with the unit.
pub fn device(verdict: &Verdict) -> String {
    let device = &verdict.device;
    let name = device.label.as_deref().or(device.name.as_deref()).unwrap_or("unnamed device");
    let unit = device.unit.as_deref().map(|u| format!(", unit {u}")).unwrap_or_default();
    harmless(&format!("{name}{unit}"))
}

/// A step's heading.
pub fn step(step: &StepVerdict) -> String {
    let label = step.label.as_deref().map(|l| format!(" “{}”", harmless(l))).unwrap_or_default();
    let nominal =
        step.nominal_counts_per_inch.map(|n| format!(", nominal {n:.0} counts/inch")).unwrap_or_default();
    format!("Step {}{label}{nominal}", step.step)
}

/// A speed in both units.
pub fn speed(m_s: f64) -> String {
    format!("{m_s:.2} m/s ({:.0} in/s)", m_s / 0.0254)
}

/// The whole verdict.
pub fn verdict(verdict: &Verdict) -> String {
    let mut out = String::new();
    let _ = write_verdict(&mut out, verdict);
    out
}

fn write_verdict(out: &mut String, v: &Verdict) -> std::fmt::Result {
    paragraph(out, "", &format!("{}: {}", outcome(v.verdict), device(v)))?;
    paragraph(out, "  ", &sentence(&v.because))?;
    for over in &v.over_steps {
        paragraph(out, "  ", &format!("{}: {}", over.words(v.steps.len()), sentence(&over.because)))?;
    }
    for remark in &v.remarks {
        paragraph(out, "  note: ", &harmless(remark))?;
    }
    for s in &v.steps {
        write_step(out, v, s)?;
    }
    write_live(out, v)?;
    write_control(out, v)?;
    writeln!(out)?;
    let (stalls, overruns) = (v.host.stalls, v.host.overruns);
    let host = match (stalls, overruns) {
        _ if !v.host.watched => "This computer: not known, the recording is another program's.".to_owned(),
        (0, 0) => "This computer: no stall and no overrun was recorded.".to_owned(),
        _ => format!(
            "This computer: {stalls} stalls, {overruns} overruns; what they explain is not blamed on the device."
        ),
    };
    paragraph(out, "", &host)?;
    let r = &v.received;
    let mut got = format!("Received: {} reports in {:.1} s, {} moving", r.reports, r.seconds, r.moving);
    if let (Some(interval), true) = (r.typical_interval_ns, r.moving > 0) {
        write!(got, ", typically {:.3} ms apart, at most {} counts", interval * 1e-6, r.largest_counts)?;
    }
    for (n, what) in [(r.malformed, "malformed"), (r.other, "of other kinds, not kept")] {
        if n > 0 {
            write!(got, ", {n} {what}")?;
        }
    }
    if r.outside_phases > 0 && !v.steps.is_empty() {
        write!(got, ", {} between phases, not judged", r.outside_phases)?;
    }
    paragraph(out, "", &format!("{got}."))?;
    paragraph(out, "", "The verdict covers this unit, pad, computer and the speeds that were swiped.")?;
    writeln!(
        out,
        "{}  sha256 {}…  {} bytes",
        harmless(&v.session),
        v.sha256.get(..16).unwrap_or_default(),
        v.bytes
    )
}

/// What was shown while recording, and what became of it.
fn write_live(out: &mut String, v: &Verdict) -> std::fmt::Result {
    if v.live.is_empty() {
        return Ok(());
    }
    let confirmed = v.live.iter().filter(|note| note.confirmed).count();
    writeln!(out)?;
    let all = count(v.live.len(), "note");
    paragraph(out, "", &format!("Shown while recording: {all}, {confirmed} confirmed"))?;
    let number = |note: &LiveNote, key: &str| note.note.get(key).and_then(serde_json::Value::as_u64);
    let family = |note: &LiveNote| {
        harmless(note.note.get("family").and_then(serde_json::Value::as_str).unwrap_or("something"))
    };
    // What was confirmed stands among the findings: here it is told in one line a phase and family.
    let mut groups: BTreeMap<(Option<u64>, String), Vec<Option<u64>>> = BTreeMap::new();
    for note in v.live.iter().filter(|note| note.confirmed) {
        groups.entry((number(note, "phase"), family(note))).or_default().push(number(note, "swipe"));
    }
    for ((phase, family), swipes) in groups {
        let phase = phase.map_or_else(String::new, |phase| format!(" in phase {phase}"));
        let swipes: Vec<String> = swipes.into_iter().flatten().map(|n| n.to_string()).collect();
        let of = match swipes.len() {
            0 => String::new(),
            1 => format!(", swipe {}", swipes.concat()),
            _ => format!(", swipes {}", swipes.join(", ")),
        };
        paragraph(out, "  ", &format!("confirmed: {family}{phase}{of}"))?;
    }
    for note in v.live.iter().filter(|note| !note.confirmed) {
        let phase = number(note, "phase").map_or_else(String::new, |n| format!(" in phase {n}"));
        let swipe = number(note, "swipe").map_or_else(String::new, |n| format!(", swipe {n}"));
        let line = format!("withdrawn: {}{phase}{swipe}: {}", family(note), harmless(&note.because));
        paragraph(out, "  ", &line)?;
    }
    Ok(())
}

/// Where the faults lie, by a control.
fn write_control(out: &mut String, v: &Verdict) -> std::fmt::Result {
    let Some(control) = &v.control else { return Ok(()) };
    writeln!(out)?;
    paragraph(out, "", &format!("Control: {}, {}", harmless(&control.session), outcome(control.verdict)))?;
    if !control.differs.is_empty() {
        paragraph(out, "  ", &format!("Not the same test: {}.", control.differs.join("; ")))?;
    }
    if control.families.is_empty() {
        paragraph(out, "  ", "Nothing fails here, so there is no fault to place.")?;
    }
    for lies in &control.families {
        let place = match lies.place {
            Place::Shared => "what both share",
            Place::ThisUnit => "this unit",
            Place::Unknown => "not known",
        };
        paragraph(out, "  ", &format!("{}: {place}. {}.", lies.family.words(), sentence(&lies.because)))?;
    }
    paragraph(out, "  ", "One unit says nothing of its product.")
}

/// Resolution along both axes, where swipes were made along both.
pub fn axes(s: &StepVerdict) -> Option<String> {
    let a = s.axes?;
    let (x, y) = (interval(a.x_counts_per_inch, 0), interval(a.y_counts_per_inch, 0));
    Some(format!("fore and aft {y} counts/inch, sideways {x}: {} times as many", interval(a.y_over_x, 4)))
}

fn write_step(out: &mut String, v: &Verdict, s: &StepVerdict) -> std::fmt::Result {
    writeln!(out)?;
    paragraph(out, "", &format!("{}: {}", step(s), outcome(s.verdict)))?;
    let swipes = &s.swipes;
    let mut line = format!("{} found, {} clean", count(swipes.found, "swipe"), swipes.clean);
    if swipes.asked > 0 {
        line = format!("{} swipes asked, {} found, {} clean", swipes.asked, swipes.found, swipes.clean);
    }
    if swipes.unplaced > 0 {
        write!(line, ", {} unplaced", swipes.unplaced)?;
    }
    if swipes.disturbed > 0 {
        write!(line, ", {} disturbed by this computer or cut by a phase", swipes.disturbed)?;
    }
    if let Some(fastest) = s.swept.fastest_clean_m_s {
        write!(line, "; clean up to {}", speed(fastest))?;
    }
    paragraph(out, "  ", &line)?;
    if let Some(settle) = &s.unplaced_to_settle {
        paragraph(out, "  ", &format!("to place what is unplaced: {settle}"))?;
    }
    if let Some(q) = s.resolution_counts_per_inch {
        paragraph(out, "  ", &format!("effective resolution {} counts/inch", interval(q, 0)))?;
    }
    if let Some(words) = axes(s) {
        paragraph(out, "  ", &words)?;
    }
    if let Some(q) = s.report_interval_ns {
        paragraph(out, "  ", &format!("report interval {} ms", interval(q.scaled(1e-6), 4)))?;
    }
    if let Some(q) = s.tracking_limit_m_s {
        let words = match (q.low, q.high) {
            (Some(_), Some(_)) => Some(format!("loses track at {} m/s", interval(q, 2))),
            (Some(low), None) => Some(format!("tracking limit above {}", speed(low))),
            (None, Some(high)) => Some(format!("tracking limit below {}", speed(high))),
            (None, None) => None,
        };
        words.map_or(Ok(()), |words| paragraph(out, "  ", &words))?;
    }
    if let Some(why) = &s.tracking_limit_because {
        paragraph(out, "  ", &format!("tracking limit not known: {why}"))?;
    }
    if let Some(together) = &s.together {
        let words = format!("outside tolerance: {}: {}", together.words(), together.because);
        paragraph(out, "  ", &words)?;
    }
    let (examined, rest): (Vec<_>, Vec<_>) = s.families.iter().partition(|f| !f.criteria.is_empty());
    for family in examined {
        write_family(out, family)?;
        write_findings(out, v, s, family.family)?;
    }
    // Families that were to be examined say why they were not; the rest is named in one line.
    let (why, unseen): (Vec<_>, Vec<_>) = rest.into_iter().partition(|f| f.because != NOT_LOOKED_AT);
    for family in why {
        write_family(out, family)?;
    }
    let unseen: Vec<&str> = unseen.iter().map(|f| f.family.words()).collect();
    if !unseen.is_empty() {
        paragraph(out, "  not examined: ", &unseen.join(", "))?;
    }
    Ok(())
}

/// As analysis words it.
const NOT_LOOKED_AT: &str = slipgauge_analysis::families::NOT_LOOKED_AT;

fn write_family(out: &mut String, f: &FamilyVerdict) -> std::fmt::Result {
    let head = format!("  {:<14}{:<24}", outcome(f.verdict).to_lowercase(), f.family.words());
    paragraph(out, &head, &f.because)?;
    if let (Some(cause), true) = (f.cause, f.findings > 0) {
        paragraph(out, &indent(), &format!("cause: {}", spelled(cause)))?;
    }
    if let Some(settle) = &f.to_settle {
        paragraph(out, &indent(), &format!("to settle it: {settle}"))?;
    }
    Ok(())
}

fn indent() -> String {
    " ".repeat(40)
}

/// A word of the verdict file, as it is spelled there.
pub fn spelled(word: impl serde::Serialize) -> String {
    serde_json::to_value(word).ok().and_then(|v| v.as_str().map(|s| s.replace('-', " "))).unwrap_or_default()
}

fn write_findings(out: &mut String, v: &Verdict, s: &StepVerdict, family: Family) -> std::fmt::Result {
    let own: Vec<&Finding> = v.findings.iter().filter(|f| f.step == s.step && f.family == family).collect();
    for f in own.iter().take(LISTED) {
        paragraph(out, "      ", &finding(f))?;
    }
    if own.len() > LISTED {
        paragraph(out, "      ", &format!("and {} more", own.len() - LISTED))?;
    }
    Ok(())
}

/// One finding in a line.
pub fn finding(f: &Finding) -> String {
    let place = match f.swipe {
        Some(swipe) => format!("phase {}, swipe {swipe}", f.phase),
        None => format!("phase {}", f.phase),
    };
    let (begin, length) = (f.begin_ns as f64 * 1e-9, (f.end_ns - f.begin_ns) as f64 * 1e-6);
    format!("{place} at {begin:.3} s: {}, {length:.0} ms, {}", f.kind, size(f))
}

/// Size with its unit.
pub fn size(f: &Finding) -> String {
    match f.unit {
        "relative" => format!("{:+.2} %", f.size * 100.0),
        unit => {
            let digits = match f.size.abs() {
                size if size >= 1.0 || size == 0.0 => 1,
                size if size >= 0.1 => 2,
                _ => 3,
            };
            format!("{:.digits$} {unit}", f.size)
        }
    }
}

/// A quantity with its interval.
pub fn interval(q: Quantity, digits: usize) -> String {
    let end = |v: Option<f64>| v.map_or_else(|| "…".to_owned(), |v| format!("{v:.digits$}"));
    format!("{:.digits$} ({} to {})", q.value, end(q.low), end(q.high))
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).chain(['.']).collect())
}

/// Writes text with a hanging indent, broken at spaces before column [`WIDTH`].
/// Adds words broken into lines of 80 columns, behind a head under which they hang.
///
/// # Errors
/// None: writing to a string cannot fail.
pub fn paragraph(out: &mut String, head: &str, text: &str) -> std::fmt::Result {
    let hang = head.chars().count();
    let mut column = hang;
    out.push_str(head);
    for (i, word) in text.split(' ').enumerate() {
        let length = word.chars().count();
        if i > 0 && column + 1 + length > WIDTH {
            write!(out, "\n{}", " ".repeat(hang))?;
            column = hang;
        } else if i > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    writeln!(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stay_within_eighty_columns() {
        let mut out = String::new();
        paragraph(&mut out, "  note: ", &"word ".repeat(60)).unwrap();
        assert!(out.lines().all(|l| l.chars().count() <= WIDTH) && out.lines().count() > 3);
    }
}
