//! Sessions side by side: which differences between devices are real, and which are noise.
//!
//! Each session is [measured](session) anew by today's rules; sessions of one device (its owner's label and unit, never
//! vendor and product ids, which unlike devices share) are [pooled](pool); every quantity of every pair of devices at
//! every resolution step that both have is one look, [tested](mod@test) by itself and adjusted over all looks by Holm (1979)
//! at [`LEVEL`]: in at most one comparison of twenty between devices that are alike is anything called real.
//!
//! - A step is matched by its nominal resolution; without one by its label, else by its number.
//! - Better or worse is said only of devices on the same set-up (travel, pad, computer, day, port, straight edge), or if
//!   one and the same control was measured on each set-up and does not differ there.
//! - Faster swipes meet more faults. Of swipes that were not alike in speed ([`AS_FAST`]) a share is compared only where
//!   the slower ones fail more, and the gain contrast not at all.
//! - Uncertainty of the travel and of yaw counts for each session: two sessions between the same stops share it, but
//!   nothing shows that the stops did not move. Differences of resolution are so taken for noise rather than for real.
//! - [Before and after](change): the same device on two sides. [Over several units](units): where a fault lies.
//!
//! "Noise" means that this many swipes do not show a difference, not that there is none. Cost: O(devices² · steps).

pub mod change;
mod group;
pub mod pool;
pub mod session;
pub mod test;
pub mod units;

use crate::verdict::{Outcome, Quantity, RULES};
use change::Change;
pub use group::{Group, GroupStep, Setup};
use pool::{Measure, What};
use serde::Serialize;
use session::Session;
use std::collections::BTreeMap;
use units::OverUnits;

/// Version of the comparison's JSON.
pub const VERSION: u32 = 1;
/// Chance, over all looks, that a difference between devices that are alike is called real.
pub const LEVEL: f64 = 0.05;
/// Swipes are alike in speed if the slower ones reach this share of the faster ones' median peak: as for a control.
pub const AS_FAST: f64 = 0.9;

/// One difference that was tested.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// The step, as matched.
    pub step: String,
    /// Which quantity.
    pub what: What,
    /// Index of the first device among the groups.
    pub a: usize,
    /// Index of the second.
    pub b: usize,
    /// First less second; without interval for shares and rates, whose own intervals are exact.
    pub difference: Quantity,
    /// Its unit.
    pub unit: &'static str,
    /// The test.
    pub test: &'static str,
    /// Chance of a difference as large between devices that are alike.
    pub p: f64,
    /// The same after all looks.
    pub p_adjusted: f64,
    /// True if that is at most [`LEVEL`].
    pub real: bool,
    /// Which of the two is better, if that may be said.
    pub better: Option<usize>,
    /// Why it may not be said of a real difference.
    pub withheld: Option<String>,
}

/// A pair that could not be compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Untested {
    /// The step, as matched.
    pub step: String,
    /// Which quantity.
    pub what: What,
    /// Index of the first device among the groups.
    pub a: usize,
    /// Index of the second.
    pub b: usize,
    /// Why not.
    pub because: String,
}

/// A session as it entered.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Entered {
    /// Name of its file.
    pub session: String,
    /// Its hash.
    pub sha256: String,
    /// Length of what was hashed.
    pub bytes: u64,
    /// Its outcome by today's rules.
    pub verdict: Outcome,
    /// Why.
    pub because: String,
    /// Index of its set-up.
    pub setup: usize,
    /// True for a control.
    pub control: bool,
}

/// All that is said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Format version.
    pub slipgauge_comparison: u32,
    /// The program.
    pub tool: &'static str,
    /// Version of detectors and tolerances.
    pub rules: &'static str,
    /// [`LEVEL`].
    pub level: f64,
    /// Sessions, controls last.
    pub sessions: Vec<Entered>,
    /// Set-ups.
    pub setups: Vec<Setup>,
    /// What differs between the set-ups.
    pub setups_differ: Vec<String>,
    /// Devices.
    pub groups: Vec<Group>,
    /// What was tested, smallest chance first.
    pub differences: Vec<Difference>,
    /// What was not.
    pub untested: Vec<Untested>,
    /// Before and after, if that was asked.
    pub change: Option<Change>,
    /// Where faults lie, by units; only with a control.
    pub units: Vec<OverUnits>,
    /// What a reader must know.
    pub remarks: Vec<String>,
}

/// Compares devices; each difference between two of them is a look.
pub fn compare(sessions: &[Session], controls: &[Session]) -> Comparison {
    let groups = group::by_device(sessions);
    let mut out = begin(sessions, controls, groups);
    let pairs: Vec<(usize, usize)> =
        (0..out.groups.len()).flat_map(|a| (a + 1..out.groups.len()).map(move |b| (a, b))).collect();
    test_pairs(&mut out, &pairs);
    let table = controls_differ(controls, &out);
    let (groups, setups) = (&out.groups, &out.setups);
    for d in out.differences.iter_mut().filter(|d| d.real) {
        let of = |g: usize| groups.get(g).map_or(&[][..], |g| &g.setups);
        let mut used: Vec<usize> = of(d.a).iter().chain(of(d.b)).copied().collect();
        used.sort_unstable();
        used.dedup();
        d.withheld = withheld(&used, setups, &table, d);
        if d.withheld.is_some() {
            d.better = None;
        }
    }
    out.units = units::place(sessions, controls);
    if out.groups.len() < 2 {
        out.remarks.push("all sessions are of one device: there is nothing to compare it with".to_owned());
    }
    out
}

/// Compares a device with itself, before and after something was changed.
pub fn before_and_after(before: &[Session], after: &[Session]) -> Comparison {
    let all: Vec<Session> = before.iter().chain(after).cloned().collect();
    let groups = group::by_side(&all, before.len());
    let mut out = begin(&all, &[], groups);
    change::add(&mut out, &all);
    out
}

fn begin(sessions: &[Session], controls: &[Session], groups: Vec<Group>) -> Comparison {
    let (setups, of_session) = group::setups(sessions.iter().chain(controls));
    let entered =
        sessions.iter().chain(controls).zip(&of_session).enumerate().map(|(i, (s, setup))| Entered {
            session: s.session.clone(),
            sha256: s.verdict.sha256.clone(),
            bytes: s.verdict.bytes,
            verdict: s.verdict.verdict,
            because: s.verdict.because.clone(),
            setup: *setup,
            control: i >= sessions.len(),
        });
    let entered: Vec<Entered> = entered.collect();
    let mut groups = groups;
    for g in &mut groups {
        g.setups = g.sessions.iter().filter_map(|&s| of_session.get(s).copied()).collect();
        g.setups.sort_unstable();
        g.setups.dedup();
    }
    let mut remarks = Vec::new();
    if groups.iter().any(|g| g.label.is_none()) {
        remarks.push(
            "a session without a label stands for a device of its own; tell devices apart by --label and --unit \
             when recording"
                .to_owned(),
        );
    }
    Comparison {
        slipgauge_comparison: VERSION,
        tool: concat!("slipgauge ", env!("CARGO_PKG_VERSION")),
        rules: RULES,
        level: LEVEL,
        sessions: entered,
        setups_differ: group::setups_differ(&setups),
        setups,
        groups,
        differences: Vec::new(),
        untested: Vec::new(),
        change: None,
        units: Vec::new(),
        remarks,
    }
}

/// Tests all quantities of some pairs of groups, and adjusts over all of them.
fn test_pairs(out: &mut Comparison, pairs: &[(usize, usize)]) {
    for &(a, b) in pairs {
        let (Some(first), Some(second)) = (out.groups.get(a), out.groups.get(b)) else { continue };
        for step in &first.steps {
            let Some(other) = second.steps.iter().find(|s| s.key == step.key) else { continue };
            for what in What::ALL {
                let (x, y) = (step.measures.get(&what), other.measures.get(&what));
                let (Some(x), Some(y)) = (x, y) else { continue };
                match tested(what, (step, x), (other, y)) {
                    Ok((found, better)) => out.differences.push(Difference {
                        step: step.key.clone(),
                        what,
                        a,
                        b,
                        difference: found.difference,
                        unit: what.unit(step.nominal_counts_per_inch.is_some()),
                        test: found.test,
                        p: found.p,
                        p_adjusted: 1.0,
                        real: false,
                        better: better.map(|first| if first { a } else { b }),
                        withheld: None,
                    }),
                    Err(because) => {
                        out.untested.push(Untested { step: step.key.clone(), what, a, b, because });
                    }
                }
            }
        }
    }
    let adjusted = test::holm(&out.differences.iter().map(|d| d.p).collect::<Vec<_>>());
    for (d, p) in out.differences.iter_mut().zip(adjusted) {
        d.p_adjusted = p;
        d.real = p <= LEVEL;
        d.better = d.better.filter(|_| d.real);
    }
    out.differences.sort_by(|x, y| x.p.total_cmp(&y.p));
}

/// Tests one quantity of two devices, and says whether the first is the better one, if either is.
fn tested(
    what: What,
    first: (&GroupStep, &Measure),
    second: (&GroupStep, &Measure),
) -> Result<(test::Found, Option<bool>), String> {
    let ((step, a), (other, b)) = (first, second);
    if let (Some(x), Some(y), true) = (step.fast_peak_m_s, other.fast_peak_m_s, what.depends_on_speed()) {
        let alike = x.min(y) >= AS_FAST * x.max(y);
        // Failure is taken not to become rarer with speed: more of it in slower swipes tells all the same.
        let slower_fails_more = match (a.share(), b.share()) {
            (Some(k), Some(l)) => (x < y && k > l) || (y < x && l > k),
            _ => false,
        };
        if !alike && !slower_fails_more {
            return Err(format!(
                "the fast swipes are not alike in speed, {x:.2} and {y:.2} m/s at their peak"
            ));
        }
    }
    let found = test::between(a, b)?;
    let better = what.better(a, b, &found);
    Ok((found, better))
}

/// Of each control device: for which (step, quantity) two set-ups differ, or were not both measured.
type Table = Vec<(Vec<usize>, Comparison)>;

/// Controls that were measured on more than one set-up, each set-up held against every other.
fn controls_differ(controls: &[Session], out: &Comparison) -> Table {
    let offset = out.sessions.len().saturating_sub(controls.len());
    let setup = |i: usize| out.sessions.get(offset + i).map(|s| s.setup);
    let mut by_device: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (i, control) in controls.iter().enumerate() {
        // Without a label it cannot be told to be the same one; the name is taken at its word.
        by_device.entry(format!("{:?}", control.device_or_name())).or_default().push(i);
    }
    let mut table = Vec::new();
    for members in by_device.values() {
        let mut setups: Vec<usize> = members.iter().filter_map(|&i| setup(i)).collect();
        setups.sort_unstable();
        setups.dedup();
        let sides = setups.iter().map(|&s| {
            let here: Vec<usize> = members.iter().copied().filter(|&i| setup(i) == Some(s)).collect();
            group::Group::of(String::new(), None, None, controls, here)
        });
        let mut inner = begin(controls, &[], sides.collect());
        let n = inner.groups.len();
        let pairs: Vec<(usize, usize)> = (0..n).flat_map(|a| (a + 1..n).map(move |b| (a, b))).collect();
        test_pairs(&mut inner, &pairs);
        table.push((setups, inner));
    }
    table
}

/// Why better or worse may not be said of a difference between devices on these set-ups.
fn withheld(used: &[usize], setups: &[Setup], table: &Table, d: &Difference) -> Option<String> {
    if used.len() < 2 {
        return None;
    }
    let differ: Vec<&Setup> = used.iter().filter_map(|&s| setups.get(s)).collect();
    let what = group::differ_words(&differ).join(", ");
    let common = table.iter().find(|(on, _)| used.iter().all(|s| on.contains(s)));
    let Some((on, inner)) = common else {
        return Some(format!("the set-ups differ ({what}), and no control was measured on each of them"));
    };
    let place = |s: usize| on.iter().position(|x| *x == s);
    for (i, &x) in used.iter().enumerate() {
        for &y in used.iter().skip(i + 1) {
            let pair = (place(x), place(y));
            let own = inner
                .differences
                .iter()
                .find(|c| (Some(c.a), Some(c.b)) == pair && c.what == d.what && c.step == d.step);
            match own {
                // Not adjusted: a control that differs at all explains nothing away.
                Some(c) if c.p > LEVEL => {}
                Some(_) => {
                    return Some(format!(
                        "the set-ups differ ({what}), and the control differs between them, too"
                    ));
                }
                None => {
                    return Some(format!(
                        "the set-ups differ ({what}), and the control does not show this there"
                    ));
                }
            }
        }
    }
    None
}
