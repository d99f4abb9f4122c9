//! Words and numbers that text and Markdown share.

use crate::outside::short;
use slipgauge_analysis::compare::change::Change;
use slipgauge_analysis::compare::pool::{Measure, What};
use slipgauge_analysis::compare::units::{Lies, OverUnits};
use slipgauge_analysis::compare::{Comparison, Difference, Group, GroupStep};
use slipgauge_analysis::verdict::{Quantity, count};
use slipgauge_trace::outside::harmless;

/// A row of the table.
#[derive(Clone, Copy, PartialEq)]
pub enum Row {
    Verdict,
    Swipes,
    FastestClean,
    FastPeak,
    Quantity(What),
}

pub fn rows() -> impl Iterator<Item = Row> {
    let first = [Row::Verdict, Row::Swipes, Row::FastestClean, Row::FastPeak];
    first.into_iter().chain(What::ALL.into_iter().map(Row::Quantity))
}

impl Row {
    pub fn name(self) -> &'static str {
        match self {
            Row::Verdict => "verdict",
            Row::Swipes => "clean swipes",
            Row::FastestClean => "fastest clean",
            Row::FastPeak => "fast peak, median",
            Row::Quantity(what) => words(what),
        }
    }

    /// Unit of a quantity at a step.
    pub fn unit(self, c: &Comparison, key: &str) -> &'static str {
        let Row::Quantity(what) = self else { return "" };
        let nominal = c.groups.iter().flat_map(|g| &g.steps).find(|s| s.key == key);
        shown(what, what.unit(nominal.is_some_and(|s| s.nominal_counts_per_inch.is_some()))).0
    }
}

/// What a quantity is called.
pub fn words(what: What) -> &'static str {
    match what {
        What::BadFastSwipes => "bad fast swipes",
        What::TrackingLimit => "tracking limit",
        What::GainContrast => "gain contrast",
        What::Resolution => "resolution error",
        What::ReportInterval => "report interval",
        What::Creep => "creep at rest",
        What::Bursts => "bursts at rest",
    }
}

/// Unit as shown, the factor to it, and decimals.
fn shown(what: What, unit: &str) -> (&'static str, f64, usize) {
    match (what, unit) {
        (What::BadFastSwipes, _) => ("%", 100.0, 0),
        (What::TrackingLimit, _) => ("m/s", 1.0, 2),
        (What::Resolution, "counts/inch") => ("counts/inch", 1.0, 1),
        (What::GainContrast | What::Resolution, _) => ("%", 100.0, 2),
        (What::ReportInterval, _) => ("ms", 1e-6, 4),
        (What::Creep, _) => ("mm/s", 1.0, 3),
        (What::Bursts, _) => ("1/s", 1.0, 2),
    }
}

/// A to Z, then AA.
pub fn letter(i: usize) -> String {
    let own = char::from(b'A' + (i % 26) as u8);
    if i < 26 { own.to_string() } else { format!("{}{own}", letter(i / 26 - 1)) }
}

/// A device's name, of bearable length.
pub fn name(g: &Group) -> String {
    short(&harmless(&g.name))
}

/// The first line.
pub fn opening(c: &Comparison) -> String {
    let n = c.groups.len() as u32;
    let sessions = c.sessions.iter().filter(|s| !s.control).count() as u32;
    let what = if c.change.is_some() {
        "Before and after".to_owned()
    } else {
        format!("Comparison of {}", count(n, "device"))
    };
    format!("{what}: {}, judged anew by rules {}", count(sessions, "session"), c.rules)
}

/// Keys of the steps in order of appearance.
pub fn keys(c: &Comparison) -> Vec<&str> {
    let mut keys: Vec<&str> = Vec::new();
    for step in c.groups.iter().flat_map(|g| &g.steps) {
        if !keys.contains(&step.key.as_str()) {
            keys.push(&step.key);
        }
    }
    keys
}

fn trimmed(text: String) -> String {
    // No "-0.00".
    if text.starts_with('-') && text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

fn number(value: f64, digits: usize, sign: bool) -> String {
    let text = if sign { format!("{value:+.digits$}") } else { format!("{value:.digits$}") };
    if text.trim_start_matches(['+', '-', '0', '.']).is_empty() {
        trimmed(text.replace('+', ""))
    } else {
        text
    }
}

/// True for quantities that lie on either side of nothing.
fn has_sign(what: What, unit: &str) -> bool {
    matches!((what, unit), (What::GainContrast | What::Resolution, "relative" | "%"))
}

/// A row's cell of one device: the value, and the interval below it.
pub fn cell(step: &GroupStep, row: Row) -> (String, String) {
    let plain = |value: Option<String>| (value.unwrap_or_else(|| "-".to_owned()), String::new());
    match row {
        Row::Verdict => plain(Some(crate::text::outcome(step.verdict).to_lowercase())),
        Row::Swipes => {
            let s = &step.swipes;
            let unplaced = if s.unplaced > 0 { format!(" +{} unplaced", s.unplaced) } else { String::new() };
            plain(Some(format!("{} of {}{unplaced}", s.clean, s.found)))
        }
        Row::FastestClean => plain(step.fastest_clean_m_s.map(|v| format!("{v:.2} m/s"))),
        Row::FastPeak => plain(step.fast_peak_m_s.map(|v| format!("{v:.2} m/s"))),
        Row::Quantity(what) => match step.measures.get(&what) {
            Some(measure) => quantity(what, measure, step.nominal_counts_per_inch.is_some()),
            None => plain(None),
        },
    }
}

fn quantity(what: What, measure: &Measure, nominal: bool) -> (String, String) {
    let (_, factor, digits) = shown(what, what.unit(nominal));
    let sign = has_sign(what, what.unit(nominal));
    let Some(q) = measure.quantity() else { return ("-".to_owned(), String::new()) };
    let q = q.scaled(factor);
    let ends = match (q.low, q.high) {
        (Some(low), Some(high)) => format!("{} to {}", number(low, digits, sign), number(high, digits, sign)),
        _ => String::new(),
    };
    match (measure, q.low, q.high) {
        (Measure::Share { k, n }, _, _) => (format!("{k} of {n}"), ends),
        (Measure::Bound { .. }, Some(low), None) => {
            (format!("above {}", number(low, digits, sign)), String::new())
        }
        (Measure::Bound { .. }, None, Some(high)) => {
            (format!("below {}", number(high, digits, sign)), String::new())
        }
        (Measure::Bound { .. }, _, _) => ("between".to_owned(), ends),
        _ => (number(q.value, digits, sign), ends),
    }
}

/// A chance.
pub fn p(p: f64) -> String {
    if p < 1e-4 { "< 0.0001".to_owned() } else { format!("{p:.4}") }
}

/// A difference with its interval and unit.
pub fn signed(what: What, q: Quantity, unit: &str) -> String {
    let (unit, factor, digits) = shown(what, unit);
    let q = q.scaled(factor);
    let ends = match (q.low, q.high) {
        (Some(low), Some(high)) => {
            format!(" ({} to {})", number(low, digits, true), number(high, digits, true))
        }
        _ => String::new(),
    };
    let unit = if what == What::BadFastSwipes || (unit == "%") { "percentage points" } else { unit };
    format!("{}{ends} {unit}", number(q.value, digits, true))
}

/// A real difference in one line.
pub fn difference(c: &Comparison, d: &Difference) -> String {
    let step = if keys(c).len() > 1 { format!("{}, ", short(&harmless(&d.step))) } else { String::new() };
    let better = match (d.better, c.change.is_some()) {
        (Some(g), false) => format!("; {} is better", letter(g)),
        (Some(g), true) if g == d.b => "; better after".to_owned(),
        (Some(_), true) => "; worse after".to_owned(),
        (None, _) => String::new(),
    };
    format!(
        "{step}{}, {} less {}: {}, p {} ({}){better}",
        words(d.what),
        letter(d.a),
        letter(d.b),
        signed(d.what, d.difference, d.unit),
        p(d.p_adjusted),
        d.test
    )
}

/// What was not compared: quantity with step, pairs, why; alike ones together.
pub fn untested(c: &Comparison) -> Vec<(String, String, String)> {
    let mut out: Vec<(String, String, String)> = Vec::new();
    let steps = keys(c).len();
    for u in &c.untested {
        let step = if steps > 1 { format!("{}, ", short(&harmless(&u.step))) } else { String::new() };
        let (what, pair) =
            (format!("{step}{}", words(u.what)), format!("{} and {}", letter(u.a), letter(u.b)));
        match out.iter_mut().find(|(w, _, why)| (w, why) == (&what, &u.because)) {
            Some((_, pairs, _)) => *pairs = format!("{pairs}; {pair}"),
            None => out.push((what, pair, u.because.clone())),
        }
    }
    out
}

/// What is said of before and after as a whole.
pub fn change_lines(_: &Comparison, change: &Change) -> Vec<String> {
    let mut out = Vec::new();
    out.push(if change.differs.is_empty() {
        "The files tell of nothing that differs between the sides; what was changed is for its maker to say."
            .to_owned()
    } else {
        format!("Between the sides differs: {}.", change.differs.join(", "))
    });
    if !change.placed_again {
        out.push(
            "Not every side has two sessions: its differences include placing the device again, and none is put down to \
             the change. Two sessions on each side, with the device lifted off between them, tell."
                .to_owned(),
        );
    }
    out
}

/// Where a fault lies.
pub fn place(row: &OverUnits) -> String {
    let lies = match row.lies {
        Lies::Shared => "computer, port, pad or hand",
        Lies::Unit if row.n == 1 => "this unit",
        Lies::Unit => "single units",
        Lies::Product => "the product",
        Lies::Open => "open",
    };
    let share = match (row.share, row.n) {
        (Some(q), 2..) => format!(
            "; {} of {} units, {:.0} % to {:.0} % of the product",
            row.k,
            row.n,
            100.0 * q.low.unwrap_or(0.0),
            100.0 * q.high.unwrap_or(1.0)
        ),
        _ => String::new(),
    };
    let left = match row.open {
        0 => String::new(),
        n => format!("; {} left open", count(n, "unit")),
    };
    format!("{lies}{share}{left}. {}", sentence(&row.because))
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).chain(['.']).collect())
}
