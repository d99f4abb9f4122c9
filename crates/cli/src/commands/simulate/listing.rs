//! The catalogue of faults as a person reads it, 80 columns wide.

use super::recorded::words;
use anyhow::bail;
use slipgauge_sim::{Named, catalogue};

const WIDTH: usize = 80;

/// All faults, one line each; with a name, what those are whose name or family holds it.
///
/// # Errors
/// If there are none such.
pub fn told(name: Option<&str>) -> anyhow::Result<String> {
    let Some(name) = name else {
        let mut text = row("fault", "usual size", "unit", "family");
        for named in catalogue() {
            text += &line(named);
        }
        text += "\nWhat one is:  slipgauge simulate --faults NAME\n";
        text += "Put it in:    slipgauge simulate -o FILE.swipes.ndjson --fault NAME=SIZE\n";
        return Ok(text);
    };
    let matching = |named: &&Named| named.name.contains(name) || words(named.family).contains(name);
    let found: Vec<&Named> = catalogue().iter().filter(matching).collect();
    if found.is_empty() {
        bail!("there is no fault {name:?}; there are\n{}", names());
    }
    Ok(found.into_iter().map(|named| line(named) + &wrapped(named.what.split(' '), 4)).collect())
}

/// The names alone.
pub fn names() -> String {
    wrapped(catalogue().iter().map(|named| named.name), 2).trim_end().to_owned()
}

fn line(named: &Named) -> String {
    row(named.name, &named.usual.to_string(), named.unit, &words(named.family))
}

fn row(name: &str, usual: &str, unit: &str, family: &str) -> String {
    format!("{name:<23}{usual:>10}  {unit:<15}{family}\n")
}

/// Words side by side, indented, on as many lines as it takes.
fn wrapped<'a>(words: impl Iterator<Item = &'a str>, indent: usize) -> String {
    let mut lines = vec![" ".repeat(indent)];
    for word in words {
        let full = lines.last().is_some_and(|line| line.chars().count() + 1 + word.chars().count() > WIDTH);
        if full {
            lines.push(" ".repeat(indent));
        }
        if let Some(line) = lines.last_mut() {
            if !line.trim().is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.join("\n") + "\n"
}
