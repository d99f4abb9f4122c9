//! Sessions grouped by device, and by set-up.

use super::pool::{Measure, What, pool};
use super::session::{Session, StepMeasured};
use crate::control::differences;
use crate::scale::straight_edge;
use crate::verdict::{Outcome, SwipeCounts};
use serde::Serialize;
use slipgauge_trace::session::{Header, Plan};
use std::collections::BTreeMap;

/// A device's label and unit.
type Named = (String, Option<String>);

/// Where and how sessions were made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Setup {
    /// Travel from stop to stop.
    pub travel_mm: Option<f64>,
    /// Its standard uncertainty.
    pub travel_uncertainty_mm: Option<f64>,
    /// True along a straight edge.
    pub straight_edge: bool,
    /// Pad or desk.
    pub surface: Option<String>,
    /// Computer's system.
    pub os: Option<String>,
    /// Day, in UTC.
    pub day: Option<String>,
    /// Hubs between device and computer.
    pub hub_depth: Option<u32>,
    /// A header that it is told by.
    #[serde(skip)]
    pub(super) header: Header,
}

impl Setup {
    fn of(header: &Header) -> Setup {
        let plan = header.plan.as_ref();
        let travel = plan.and_then(Plan::travel);
        Setup {
            travel_mm: travel.map(|t| t.millimetres()),
            travel_uncertainty_mm: travel.and(plan).map(|p| p.travel_uncertainty().millimetres()),
            straight_edge: straight_edge(plan),
            surface: header.surface.clone(),
            os: header.host.get("os").and_then(|v| v.as_str()).map(str::to_owned),
            day: header.started.as_ref().map(|t| t.chars().take(10).collect()),
            hub_depth: header.devices.first().and_then(|d| d.hub_depth),
            header: header.clone(),
        }
    }
}

/// What differs between two set-ups, in words.
pub fn differ(a: &Header, b: &Header) -> Vec<String> {
    let mut out = differences(a, b);
    if straight_edge(a.plan.as_ref()) != straight_edge(b.plan.as_ref()) {
        out.push("a straight edge in one of them".to_owned());
    }
    out
}

/// What differs between some set-ups, each thing once.
pub fn differ_words(setups: &[&Setup]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for (i, a) in setups.iter().enumerate() {
        for b in setups.iter().skip(i + 1) {
            for word in differ(&a.header, &b.header) {
                if !out.contains(&word) {
                    out.push(word);
                }
            }
        }
    }
    out
}

pub(super) fn setups_differ(setups: &[Setup]) -> Vec<String> {
    differ_words(&setups.iter().collect::<Vec<_>>())
}

/// The set-ups of some sessions, and which session has which.
pub(super) fn setups<'a>(sessions: impl Iterator<Item = &'a Session>) -> (Vec<Setup>, Vec<usize>) {
    let mut setups: Vec<Setup> = Vec::new();
    let mut of_session = Vec::new();
    for s in sessions {
        let known = setups.iter().position(|setup| differ(&setup.header, &s.header).is_empty());
        of_session.push(known.unwrap_or(setups.len()));
        if known.is_none() {
            setups.push(Setup::of(&s.header));
        }
    }
    (setups, of_session)
}

/// One device.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Group {
    /// What it is called here.
    pub name: String,
    /// Its owner's label.
    pub label: Option<String>,
    /// Which specimen.
    pub unit: Option<String>,
    /// The outcome over its sessions: fail if any fails, pass if all pass.
    pub verdict: Outcome,
    /// Its sessions, by index.
    pub sessions: Vec<usize>,
    /// Their set-ups, by index.
    pub setups: Vec<usize>,
    /// Its steps.
    pub steps: Vec<GroupStep>,
}

/// One step over the sessions of a device.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupStep {
    /// What it is matched by.
    pub key: String,
    /// What the maker says.
    pub nominal_counts_per_inch: Option<f64>,
    /// The outcome over the sessions.
    pub verdict: Outcome,
    /// Swipes in all.
    pub swipes: SwipeCounts,
    /// Peak of the fastest clean swipe.
    pub fastest_clean_m_s: Option<f64>,
    /// Median peak of the fast swipes, mean of the sessions.
    pub fast_peak_m_s: Option<f64>,
    /// Sessions.
    pub sessions: usize,
    /// The quantities.
    pub measures: BTreeMap<What, Measure>,
}

impl Group {
    pub(super) fn of(
        name: String,
        label: Option<String>,
        unit: Option<String>,
        sessions: &[Session],
        members: Vec<usize>,
    ) -> Group {
        let own: Vec<&Session> = members.iter().filter_map(|&i| sessions.get(i)).collect();
        let mut keys: Vec<&str> = Vec::new();
        for step in own.iter().flat_map(|s| &s.steps) {
            if !keys.contains(&step.key.as_str()) {
                keys.push(&step.key);
            }
        }
        let steps = keys.iter().filter_map(|key| {
            let same = own.iter().flat_map(|s| &s.steps).filter(|s| s.key == *key);
            GroupStep::of(&same.collect::<Vec<_>>())
        });
        let steps = steps.collect();
        let verdict = over(own.iter().map(|s| s.verdict.verdict));
        Group { name, label, unit, verdict, sessions: members, setups: Vec::new(), steps }
    }
}

impl GroupStep {
    fn of(steps: &[&StepMeasured]) -> Option<GroupStep> {
        let first = steps.first()?;
        let mut measures = BTreeMap::new();
        for what in What::ALL {
            let all: Vec<Measure> = steps.iter().filter_map(|s| s.measures.get(&what).copied()).collect();
            if let Some(measure) = pool(&all) {
                measures.insert(what, measure);
            }
        }
        let add = |field: fn(&SwipeCounts) -> u32| {
            steps.iter().map(|s| field(&s.swipes)).fold(0, u32::saturating_add)
        };
        let peaks: Vec<f64> = steps.iter().filter_map(|s| s.fast_peak_m_s).collect();
        Some(GroupStep {
            key: first.key.clone(),
            nominal_counts_per_inch: first.nominal_counts_per_inch,
            verdict: over(steps.iter().map(|s| s.verdict)),
            swipes: SwipeCounts {
                asked: add(|s| s.asked),
                found: add(|s| s.found),
                clean: add(|s| s.clean),
                unplaced: add(|s| s.unplaced),
                voided: add(|s| s.voided),
                disturbed: add(|s| s.disturbed),
            },
            fastest_clean_m_s: steps.iter().filter_map(|s| s.fastest_clean_m_s).reduce(f64::max),
            fast_peak_m_s: crate::stats::mean(&peaks),
            sessions: steps.len(),
            measures,
        })
    }
}

/// Fail if any fails, pass if all pass, not examined if none was, else inconclusive.
fn over(outcomes: impl Iterator<Item = Outcome>) -> Outcome {
    let all: Vec<Outcome> = outcomes.collect();
    let every = |o: Outcome| !all.is_empty() && all.iter().all(|x| *x == o);
    match () {
        _ if all.contains(&Outcome::Fail) => Outcome::Fail,
        _ if every(Outcome::Pass) => Outcome::Pass,
        _ if all.is_empty() || every(Outcome::NotExamined) => Outcome::NotExamined,
        _ => Outcome::Inconclusive,
    }
}

/// What a device is called.
pub(super) fn name(label: &str, unit: Option<&str>) -> String {
    unit.map_or_else(|| label.to_owned(), |unit| format!("{label}, unit {unit}"))
}

/// By label and unit; a session without a label is a device of its own.
pub(super) fn by_device(sessions: &[Session]) -> Vec<Group> {
    let mut members: Vec<(Option<Named>, Vec<usize>)> = Vec::new();
    for (i, s) in sessions.iter().enumerate() {
        let device = s.device();
        match members.iter_mut().find(|(d, _)| d.is_some() && *d == device) {
            Some((_, own)) => own.push(i),
            None => members.push((device, vec![i])),
        }
    }
    let group = |(device, own): (Option<(String, Option<String>)>, Vec<usize>)| match device {
        Some((label, unit)) => Group::of(name(&label, unit.as_deref()), Some(label), unit, sessions, own),
        None => {
            let first = own.first().and_then(|&i| sessions.get(i));
            let (called, unit) = first.map(Session::device_or_name).unwrap_or_default();
            Group::of(name(&called, unit.as_deref()), None, unit, sessions, own)
        }
    };
    members.into_iter().map(group).collect()
}

/// By device and side; the first `before` sessions are those before. Without a label the name is taken at its word.
pub(super) fn by_side(sessions: &[Session], before: usize) -> Vec<Group> {
    let mut members: Vec<(Named, bool, Vec<usize>)> = Vec::new();
    for (i, s) in sessions.iter().enumerate() {
        let (device, after) = (s.device_or_name(), i >= before);
        match members.iter_mut().find(|(d, side, _)| (d, *side) == (&device, after)) {
            Some((_, _, own)) => own.push(i),
            None => members.push((device, after, vec![i])),
        }
    }
    let group = |((label, unit), after, own): ((String, Option<String>), bool, Vec<usize>)| {
        let side = if after { "after" } else { "before" };
        let called = format!("{} ({side})", name(&label, unit.as_deref()));
        Group::of(called, Some(label), unit, sessions, own)
    };
    members.into_iter().map(group).collect()
}
