//! Before and after: the same devices on two sides of a change of firmware, surface or radio.
//!
//! Each device is held against itself. With two sessions and more on each side the scatter between sessions tells what
//! placing the device again does by itself; with one it does not, and no difference is put down to the change.
//! Over two devices and more that were measured on both sides, the mean of their differences is tested as well: a paired
//! t test, n − 1 degrees of freedom, one difference a device. All looks together are adjusted by Holm.

use super::pool::{Measure, What};
use super::session::Session;
use super::{Comparison, LEVEL, group, test, test_pairs};
use crate::stats::{mean_sd, t_quantile};
use crate::verdict::Quantity;
use serde::Serialize;
use serde_json::Value;

/// Before and after.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Change {
    /// Devices that were measured on both sides, as (before, after) of the groups.
    pub pairs: Vec<(usize, usize)>,
    /// What differs between the sides, in words.
    pub differs: Vec<String>,
    /// True if each side of each device has two sessions and more.
    pub placed_again: bool,
    /// Mean differences over devices.
    pub over_devices: Vec<OverDevices>,
}

/// The mean difference over devices: after less before.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OverDevices {
    /// The step, as matched.
    pub step: String,
    /// Which quantity.
    pub what: What,
    /// Devices.
    pub devices: usize,
    /// After less before.
    pub difference: Quantity,
    /// Its unit.
    pub unit: &'static str,
    /// Chance of as large a mean were there no change.
    pub p: f64,
    /// The same after all looks at the mean.
    pub p_adjusted: f64,
    /// True if that is at most [`LEVEL`].
    pub real: bool,
}

/// What keeps the two sides from being told apart by the change alone.
const SPOILS: [&str; 3] = ["another travel", "a straight edge in one of them", "another computer or system"];

pub(super) fn add(out: &mut Comparison, sessions: &[Session]) {
    let same = |a: usize, b: usize| {
        let (a, b) = (out.groups.get(a), out.groups.get(b));
        a.zip(b).is_some_and(|(a, b)| (&a.label, &a.unit) == (&b.label, &b.unit))
    };
    let n = out.groups.len();
    // Groups are in order of appearance: the one before comes first.
    let pairs: Vec<(usize, usize)> =
        (0..n).flat_map(|a| (a + 1..n).map(move |b| (a, b))).filter(|&(a, b)| same(a, b)).collect();
    let sizes = |g: usize| out.groups.get(g).map_or(0, |g| g.sessions.len());
    let placed_again = !pairs.is_empty() && pairs.iter().all(|&(a, b)| sizes(a) >= 2 && sizes(b) >= 2);
    let differs = differs(out, sessions, &pairs);
    test_pairs(out, &pairs);
    let spoilt: Vec<&str> = SPOILS.into_iter().filter(|s| differs.iter().any(|d| d == s)).collect();
    for d in out.differences.iter_mut().filter(|d| d.real) {
        let single = [d.a, d.b].iter().any(|&g| out.groups.get(g).is_none_or(|g| g.sessions.len() < 2));
        d.withheld = if single {
            Some("with one session on a side, placing the device again is in the difference".to_owned())
        } else if !spoilt.is_empty() {
            Some(format!("the sides differ in more than the change: {}", spoilt.join(", ")))
        } else {
            None
        };
        if d.withheld.is_some() {
            d.better = None;
        }
    }
    let over_devices = over_devices(out, &pairs);
    let alone = out.groups.len() - 2 * pairs.len().min(out.groups.len() / 2);
    if pairs.is_empty() {
        out.remarks.push("no device was measured on both sides: nothing can be paired".to_owned());
    } else if alone > 0 {
        out.remarks.push(format!("{alone} devices were measured on one side only, and are left out"));
    }
    out.change = Some(Change { pairs, differs, placed_again, over_devices });
}

/// What differs between the sides of the same device: set-up, and what the device says of itself.
fn differs(out: &Comparison, sessions: &[Session], pairs: &[(usize, usize)]) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut add = |word: String| {
        if !words.contains(&word) {
            words.push(word);
        }
    };
    for &(a, b) in pairs {
        let first = |g: usize| out.groups.get(g).and_then(|g| sessions.get(*g.sessions.first()?));
        let (Some(before), Some(after)) = (first(a), first(b)) else { continue };
        group::differ(&before.header, &after.header).into_iter().for_each(&mut add);
        let (Some(x), Some(y)) = (before.header.devices.first(), after.header.devices.first()) else {
            continue;
        };
        let firmware = |d: &slipgauge_trace::session::Device| {
            d.other.get("firmware").and_then(Value::as_str).map(str::to_owned)
        };
        if x.release != y.release || firmware(x) != firmware(y) {
            add("another firmware".to_owned());
        }
        if x.link != y.link {
            add("another link".to_owned());
        }
    }
    words
}

fn over_devices(out: &Comparison, pairs: &[(usize, usize)]) -> Vec<OverDevices> {
    let mut rows: Vec<OverDevices> = Vec::new();
    if pairs.len() < 2 {
        return rows;
    }
    let mut keys: Vec<(&str, bool)> = Vec::new();
    for step in pairs.iter().filter_map(|&(a, _)| out.groups.get(a)).flat_map(|g| &g.steps) {
        if !keys.iter().any(|(key, _)| *key == step.key) {
            keys.push((&step.key, step.nominal_counts_per_inch.is_some()));
        }
    }
    for (key, nominal) in keys {
        for what in What::ALL {
            let value = |g: usize| {
                let step = out.groups.get(g)?.steps.iter().find(|s| s.key == key)?;
                match step.measures.get(&what)? {
                    Measure::Bound { .. } => None,
                    other => other.quantity().map(|q| q.value),
                }
            };
            let all: Vec<f64> = pairs.iter().filter_map(|&(a, b)| Some(value(b)? - value(a)?)).collect();
            let Some((mean, sd)) = mean_sd(&all).filter(|(_, sd)| *sd > 0.0) else { continue };
            let n = all.len() as f64;
            let u = sd / n.sqrt();
            rows.push(OverDevices {
                step: key.to_owned(),
                what,
                devices: all.len(),
                difference: Quantity::around(mean, t_quantile(0.975, n - 1.0) * u),
                unit: what.unit(nominal),
                p: test::two_sided(mean / u, n - 1.0),
                p_adjusted: 1.0,
                real: false,
            });
        }
    }
    let adjusted = test::holm(&rows.iter().map(|r| r.p).collect::<Vec<_>>());
    for (row, p) in rows.iter_mut().zip(adjusted) {
        (row.p_adjusted, row.real) = (p, p <= LEVEL);
    }
    rows
}
