//! A comparison as Markdown, for an article: one table a step, devices across.

use super::value::{self, Row, cell, keys, letter, opening, rows};
use crate::outside::{markdown as plain, short};
use crate::text::outcome;
use slipgauge_analysis::compare::Comparison;
use std::fmt::Write;

/// The comparison as Markdown.
pub fn markdown(c: &Comparison) -> String {
    let mut out = String::new();
    let _ = write(&mut out, c);
    out
}

fn write(out: &mut String, c: &Comparison) -> std::fmt::Result {
    writeln!(out, "{}.\n", opening(c))?;
    writeln!(out, "| | device | verdict | sessions | set-up |\n|---|---|---|---|---|")?;
    for (i, g) in c.groups.iter().enumerate() {
        let sessions = g.sessions.iter().filter_map(|&s| c.sessions.get(s));
        let files: Vec<String> = sessions.map(|s| plain(&short(&s.session))).collect();
        let setups: Vec<String> =
            g.setups.iter().filter_map(|&s| c.setups.get(s)).map(|s| plain(&super::setup(s))).collect();
        let (name, verdict) = (plain(&short(&g.name)), outcome(g.verdict));
        writeln!(
            out,
            "| {} | {name} | {verdict} | {} | {} |",
            letter(i),
            files.join(", "),
            setups.join("; ")
        )?;
    }
    if c.setups.len() > 1 {
        writeln!(out, "\nSet-ups differ: {}.", c.setups_differ.join(", "))?;
    }
    for remark in &c.remarks {
        writeln!(out, "\nNote: {}.", plain(remark))?;
    }
    for key in keys(c) {
        writeln!(out, "\n**Step {}**\n", plain(&short(key)))?;
        let letters: Vec<String> = (0..c.groups.len()).map(letter).collect();
        writeln!(out, "| | {} |\n|---|{}", letters.join(" | "), "---|".repeat(c.groups.len()))?;
        for row in rows() {
            let cells: Vec<String> = c
                .groups
                .iter()
                .map(|g| match g.steps.iter().find(|s| s.key == key) {
                    Some(step) => joined(cell(step, row)),
                    None => "-".to_owned(),
                })
                .collect();
            if cells.iter().any(|c| c != "-") {
                let unit = row.unit(c, key);
                let unit = if unit.is_empty() { String::new() } else { format!(", {unit}") };
                let name = if row == Row::Quantity(slipgauge_analysis::compare::pool::What::BadFastSwipes) {
                    "bad fast swipes (%)".to_owned()
                } else {
                    format!("{}{unit}", row.name())
                };
                writeln!(out, "| {name} | {} |", cells.join(" | "))?;
            }
        }
    }
    writeln!(
        out,
        "\nDifferences, adjusted for {} looks (Holm, {:.0} %):\n",
        c.differences.len(),
        c.level * 100.0
    )?;
    writeln!(out, "| step | quantity | pair | difference | p | |\n|---|---|---|---|---|---|")?;
    for d in &c.differences {
        let said = match (d.real, d.better) {
            (false, _) => "noise".to_owned(),
            (true, Some(g)) => format!("real; {} is better", letter(g)),
            (true, None) => {
                d.withheld.as_ref().map_or("real".to_owned(), |why| format!("real; {}", plain(why)))
            }
        };
        writeln!(
            out,
            "| {} | {} | {} − {} | {} | {} | {said} |",
            plain(&short(&d.step)),
            value::words(d.what),
            letter(d.a),
            letter(d.b),
            value::signed(d.what, d.difference, d.unit),
            plain(&value::p(d.p_adjusted)),
        )?;
    }
    for (what, pairs, why) in value::untested(c) {
        writeln!(out, "\nNot compared: {}, {pairs}: {}.", plain(&short(&what)), plain(&why))?;
    }
    if let Some(change) = &c.change {
        for line in value::change_lines(c, change) {
            writeln!(out, "\n{}", plain(&line))?;
        }
        for row in &change.over_devices {
            let by = value::signed(row.what, row.difference, row.unit);
            let said = if row.real { "real" } else { "noise" };
            writeln!(
                out,
                "\nOver {} devices, {}, {}: {by}, p {}: {said}.",
                row.devices,
                plain(&short(&row.step)),
                value::words(row.what),
                plain(&value::p(row.p_adjusted))
            )?;
        }
    }
    for row in &c.units {
        writeln!(out, "\n{}, {}: {}", plain(&short(&row.label)), row.family.words(), value::place(row))?;
    }
    writeln!(
        out,
        "\nIntervals are of 95 %, two-sided. Noise means that these swipes do not show a difference."
    )
}

fn joined((value, interval): (String, String)) -> String {
    if interval.is_empty() { value } else { format!("{value} ({interval})") }
}
