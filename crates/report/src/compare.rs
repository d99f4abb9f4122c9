//! A comparison for a person, as text of 80 columns or as Markdown, and for a program.
//!
//! Devices stand side by side under letters, three to a block of text; then what is real, what is noise, and what could
//! not be compared.

mod markdown;
mod value;

pub use markdown::markdown;

use crate::outside::short;
use crate::text::{outcome, paragraph};
use slipgauge_analysis::compare::units::Lies;
use slipgauge_analysis::compare::{Comparison, Difference, Setup};
use slipgauge_analysis::verdict::count;
use slipgauge_trace::outside::harmless;
use std::fmt::Write;
use value::{cell, difference, letter, name, opening, p, rows, signed};

/// Devices in a block.
const ACROSS: usize = 3;
/// Columns of the names of quantities, and of a device.
const NAMES: usize = 20;
const DEVICE: usize = 20;
/// Differences that are noise, listed one by one; the rest is counted.
const LISTED: usize = 12;

/// The comparison as JSON with a line end.
pub fn json(comparison: &Comparison) -> String {
    serde_json::to_string_pretty(comparison).map(|text| text + "\n").unwrap_or_default()
}

/// The comparison for a terminal.
pub fn text(c: &Comparison) -> String {
    let mut out = String::new();
    let _ = write(&mut out, c);
    out
}

fn write(out: &mut String, c: &Comparison) -> std::fmt::Result {
    paragraph(out, "", &opening(c))?;
    writeln!(out)?;
    for (i, g) in c.groups.iter().enumerate() {
        let head = format!("{:<3}{:<14}", letter(i), outcome(g.verdict));
        let files: Vec<String> = g
            .sessions
            .iter()
            .filter_map(|&s| c.sessions.get(s))
            .map(|s| short(&harmless(&s.session)))
            .collect();
        paragraph(out, &head, &format!("{}: {}", name(g), files.join(", ")))?;
        if let ([session], false) =
            (g.sessions.as_slice(), g.verdict == slipgauge_analysis::verdict::Outcome::Pass)
            && let Some(s) = c.sessions.get(*session)
        {
            paragraph(out, &" ".repeat(17), &harmless(&s.because))?;
        }
    }
    for s in c.sessions.iter().filter(|s| s.control) {
        paragraph(
            out,
            &format!("   {:<14}", outcome(s.verdict)),
            &format!("control: {}", short(&harmless(&s.session))),
        )?;
    }
    for remark in &c.remarks {
        paragraph(out, "note: ", &harmless(remark))?;
    }
    setups(out, c)?;
    steps(out, c)?;
    real(out, c)?;
    noise(out, c)?;
    untested(out, c)?;
    over_devices(out, c)?;
    units(out, c)?;
    writeln!(out)?;
    paragraph(
        out,
        "",
        "Intervals are of 95 %, two-sided, each by itself. Noise means that these swipes do not show a difference, not that there is none.",
    )
}

/// A set-up in words.
pub(crate) fn setup(s: &Setup) -> String {
    let mut parts = vec![match (s.travel_mm, s.travel_uncertainty_mm) {
        (Some(mm), Some(u)) => format!("travel {mm:.1} mm (u {u:.2} mm)"),
        _ => "travel not known".to_owned(),
    }];
    parts.push(if s.straight_edge { "straight edge" } else { "no straight edge" }.to_owned());
    parts.push(s.surface.as_deref().map_or("pad not told".to_owned(), |s| short(&harmless(s))));
    parts.extend(s.os.as_deref().map(|s| short(&harmless(s))));
    parts.extend(s.hub_depth.map(|n| format!("{n} hubs")));
    parts.extend(s.day.as_deref().map(harmless));
    parts.join(", ")
}

fn setups(out: &mut String, c: &Comparison) -> std::fmt::Result {
    writeln!(out)?;
    if let [only] = c.setups.as_slice() {
        return paragraph(out, "Set-up: ", &format!("{}.", setup(only)));
    }
    paragraph(out, "", &format!("Set-ups differ: {}.", c.setups_differ.join(", ")))?;
    for (i, s) in c.setups.iter().enumerate() {
        let on: Vec<String> = c
            .groups
            .iter()
            .enumerate()
            .filter(|(_, g)| g.setups.contains(&i))
            .map(|(g, _)| letter(g))
            .collect();
        let on = if on.is_empty() { "control".to_owned() } else { on.join(", ") };
        paragraph(out, &format!("  {} ({on}) ", i + 1), &setup(s))?;
    }
    Ok(())
}

fn steps(out: &mut String, c: &Comparison) -> std::fmt::Result {
    for key in value::keys(c) {
        writeln!(out)?;
        let with: Vec<usize> =
            (0..c.groups.len()).filter(|&g| c.groups[g].steps.iter().any(|s| s.key == key)).collect();
        paragraph(out, "", &format!("Step {}", short(&harmless(key))))?;
        for block in with.chunks(ACROSS) {
            let line = |name: &str, cells: Vec<String>| {
                let cells: String = cells.iter().map(|c| format!("{c:>DEVICE$}")).collect();
                format!("{name:<NAMES$}{cells}")
            };
            let head = line("", block.iter().map(|&g| letter(g)).collect());
            writeln!(out, "{}", head.trim_end())?;
            for row in rows() {
                let cells: Vec<(String, String)> = block
                    .iter()
                    .filter_map(|&g| c.groups.get(g)?.steps.iter().find(|s| s.key == key))
                    .map(|step| cell(step, row))
                    .collect();
                if cells.iter().all(|(value, _)| value == "-") {
                    continue;
                }
                let (values, intervals): (Vec<String>, Vec<String>) = cells.into_iter().unzip();
                writeln!(out, "{}", line(&format!("  {}", row.name()), values).trim_end())?;
                if intervals.iter().any(|i| !i.is_empty()) {
                    let under = row.unit(c, key);
                    writeln!(out, "{}", line(&format!("    {under}"), intervals).trim_end())?;
                }
            }
        }
    }
    Ok(())
}

fn real(out: &mut String, c: &Comparison) -> std::fmt::Result {
    let found: Vec<&Difference> = c.differences.iter().filter(|d| d.real).collect();
    writeln!(out)?;
    let looks = c.differences.len();
    let looks = format!(
        "{looks} {}, adjusted for all of them (Holm) at {:.0} %",
        if looks == 1 { "look" } else { "looks" },
        c.level * 100.0
    );
    if found.is_empty() {
        return paragraph(out, "", &format!("No real difference ({looks})."));
    }
    paragraph(out, "", &format!("Real differences ({looks})"))?;
    for d in found {
        paragraph(out, "  ", &difference(c, d))?;
        if let Some(why) = &d.withheld {
            paragraph(out, "    ", &format!("Better or worse is not said: {}.", harmless(why)))?;
        }
    }
    Ok(())
}

fn noise(out: &mut String, c: &Comparison) -> std::fmt::Result {
    let rest: Vec<&Difference> = c.differences.iter().filter(|d| !d.real).collect();
    if rest.is_empty() {
        return Ok(());
    }
    paragraph(out, "", "Noise, as far as these swipes tell")?;
    let steps = value::keys(c).len();
    for d in rest.iter().take(LISTED) {
        let step = if steps > 1 { format!("{}, ", short(&harmless(&d.step))) } else { String::new() };
        let by = signed(d.what, d.difference, d.unit);
        let line = format!(
            "{step}{}, {} less {}: {by}, p {}",
            value::words(d.what),
            letter(d.a),
            letter(d.b),
            p(d.p_adjusted)
        );
        paragraph(out, "  ", &line)?;
    }
    if rest.len() > LISTED {
        paragraph(out, "  ", &format!("and {} more", rest.len() - LISTED))?;
    }
    Ok(())
}

fn untested(out: &mut String, c: &Comparison) -> std::fmt::Result {
    if c.untested.is_empty() {
        return Ok(());
    }
    paragraph(out, "", "Not compared")?;
    for (what, pairs, why) in value::untested(c).into_iter().take(LISTED) {
        paragraph(out, "  ", &format!("{what}, {pairs}: {why}"))?;
    }
    Ok(())
}

fn over_devices(out: &mut String, c: &Comparison) -> std::fmt::Result {
    let Some(change) = &c.change else { return Ok(()) };
    for line in value::change_lines(c, change) {
        paragraph(out, "", &line)?;
    }
    if change.over_devices.is_empty() {
        return Ok(());
    }
    paragraph(out, "", "Over all devices, after less before (paired t test)")?;
    for row in &change.over_devices {
        let by = signed(row.what, row.difference, row.unit);
        let real = if row.real { "real" } else { "noise" };
        let line = format!(
            "{}, {}: {by} over {} devices, p {}: {real}",
            short(&harmless(&row.step)),
            value::words(row.what),
            row.devices,
            p(row.p_adjusted)
        );
        paragraph(out, "  ", &line)?;
    }
    Ok(())
}

fn units(out: &mut String, c: &Comparison) -> std::fmt::Result {
    if c.units.is_empty() {
        return Ok(());
    }
    writeln!(out)?;
    paragraph(out, "", "Where the faults lie, by the control")?;
    for row in &c.units {
        let line = format!("{}, {}: {}", short(&harmless(&row.label)), row.family.words(), value::place(row));
        paragraph(out, "  ", &line)?;
    }
    let any = c.units.iter().any(|r| r.n > 1 && r.lies != Lies::Shared);
    if any {
        paragraph(out, "  ", "The shares take the units for a random sample of their product.")?;
    }
    let few = c.units.iter().map(|r| r.n).max().unwrap_or(0);
    if few <= 1 {
        paragraph(
            out,
            "  ",
            &format!(
                "{} says nothing of its product.",
                if few == 1 { count(1, "unit") } else { "This".to_owned() }
            ),
        )?;
    }
    Ok(())
}
