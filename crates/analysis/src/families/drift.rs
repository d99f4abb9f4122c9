//! Drift while still: counts with the device lying still, hands off.
//!
//! Detects *creep* (net counts over time add up) and *bursts* (groups of counts at rest, more than [`GROUP`] apart).
//! The first seconds are left out: pad and cable settle after the hand lets go.
//!
//! Decides on two criteria. Creep: |net| / T against the tolerance, with ±1 count on the net (quantisation) as the
//! half width of its interval. Bursts: their number against a rate, exact Poisson limits (Garwood 1936), counted as
//! groups and not as reports, since one tremble makes two reports. A group that swings about its place and rings down
//! is a knock on the desk, and no burst.
//!
//! A group of a single count is no burst: a place next to a count's edge crosses it on any movement, however small.
//!
//! Smallest found: creep of three counts in the still time; one burst of two counts. Cost: O(reports at rest).

use super::{Detector, limits, map, not_examined, round, verdict};
use crate::decision::{inside, rate_at_most};
use crate::step::{PhaseView, StepView};
use crate::tolerances::STILL_BURSTS_PER_SECOND;
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use serde_json::json;

pub(super) struct Drift;

/// Counts at rest that are nearer to each other than this are one burst, nanoseconds.
const GROUP: i64 = 100_000_000;
/// What is left out at the beginning: 2 s, or a third of a short phase.
const SETTLING: f64 = 2.0;
/// Findings listed per phase; all are counted.
const LISTED: usize = 50;
/// Counts along the path of a group that make it a burst.
const LEAST_BURST: f64 = 2.0;
/// A knock: counts along its path at least, net over path at most, share of the path in the first half of its time at
/// least, and how long a desk rings at most.
const KNOCK_LEAST: f64 = 6.0;
const KNOCK_NET: f64 = 0.3;
const KNOCK_EARLY: f64 = 0.7;
const KNOCK_LONGEST: i64 = 500_000_000;
/// The still time is looked at in so many parts.
const PARTS: usize = 8;
/// Net counts under this are no creep.
const LEAST_NET: f64 = 3.0;

/// Counts that lie near to each other in time.
struct Group {
    begin: i64,
    end: i64,
    /// Counts along the path.
    path: f64,
    net: (f64, f64),
    /// Time of each report with its counts.
    steps: Vec<(i64, f64)>,
}

impl Group {
    /// True for a knock on the desk: it swings about where it began, and rings down.
    fn is_knock(&self) -> bool {
        let middle = self.begin + (self.end - self.begin) / 2;
        let early: f64 = self.steps.iter().filter(|s| s.0 <= middle).map(|s| s.1).sum();
        let swings = self.net.0.hypot(self.net.1) <= KNOCK_NET * self.path;
        self.path >= KNOCK_LEAST
            && self.end - self.begin <= KNOCK_LONGEST
            && swings
            && early >= KNOCK_EARLY * self.path
    }
}

/// What a phase at rest shows.
struct Rest {
    seconds: f64,
    net: (f64, f64),
    groups: Vec<Group>,
    /// Counts in each [`PARTS`]th of the time.
    parts: [(f64, f64); PARTS],
}

impl Rest {
    /// True if the counts add up one way, spread over the time: what happens once says nothing of a trend.
    fn creeps(&self) -> bool {
        let net = self.net.0.hypot(self.net.1);
        let path: f64 = self.groups.iter().filter(|g| !g.is_knock()).map(|g| g.path).sum();
        let progress = |part: &(f64, f64)| (part.0 * self.net.0 + part.1 * self.net.1) / net.max(1.0);
        let largest = self.parts.iter().map(progress).fold(0.0, f64::max);
        net >= LEAST_NET && net > 0.5 * path && largest <= 0.5 * net
    }

    fn bursts(&self) -> impl Iterator<Item = &Group> {
        self.groups.iter().filter(|group| group.path >= LEAST_BURST && !group.is_knock())
    }

    fn knocks(&self) -> usize {
        self.groups.iter().filter(|group| group.is_knock()).count()
    }
}

fn rest(phase: &PhaseView) -> Rest {
    let whole = (phase.span.end - phase.span.begin).seconds();
    let skip = SETTLING.min(whole / 3.0);
    let from = phase.span.begin.0 + (skip * 1e9) as i64;
    let mut out =
        Rest { seconds: whole - skip, net: (0.0, 0.0), groups: Vec::new(), parts: [(0.0, 0.0); PARTS] };
    for s in phase.series.samples.iter().filter(|s| s.t >= from) {
        let (x, y) = (f64::from(s.x), f64::from(s.y));
        out.net = (out.net.0 + x, out.net.1 + y);
        let part = ((s.t - from) as f64 * 1e-9 / out.seconds.max(1e-9) * PARTS as f64) as usize;
        let part = &mut out.parts[part.min(PARTS - 1)];
        *part = (part.0 + x, part.1 + y);
        let counts = x.hypot(y);
        match out.groups.last_mut() {
            Some(group) if s.t - group.end <= GROUP => {
                group.end = s.t;
                group.path += counts;
                group.net = (group.net.0 + x, group.net.1 + y);
                group.steps.push((s.t, counts));
            }
            _ => out.groups.push(Group {
                begin: s.t,
                end: s.t,
                path: counts,
                net: (x, y),
                steps: vec![(s.t, counts)],
            }),
        }
    }
    out
}

impl Detector for Drift {
    fn family(&self) -> Family {
        Family::Drift
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn criteria(&self) -> usize {
        2
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let per_mm = step.counts_per_mm();
        for phase in step.still() {
            let rest = rest(phase);
            let net = rest.net.0.hypot(rest.net.1);
            let mut add = |kind, begin, end, counts: f64, evidence| {
                findings.push(Finding {
                    family: Family::Drift,
                    kind,
                    step: step.id,
                    phase: phase.span.number,
                    swipe: None,
                    device: step.device,
                    direction: None,
                    begin_ns: begin,
                    end_ns: end,
                    size: per_mm.map_or(counts, |c| counts / c),
                    unit: if per_mm.is_some() { "mm" } else { "counts" },
                    p_false: None,
                    cause: if kind == "creep" { Cause::Sensor } else { Cause::Unknown },
                    evidence: map(evidence),
                });
            };
            if rest.creeps() {
                let end = phase.span.end.0;
                let begin = end - (rest.seconds * 1e9) as i64;
                let evidence =
                    json!({"net_x": rest.net.0, "net_y": rest.net.1, "seconds": round(rest.seconds, 3)});
                add("creep", begin, end, net, evidence);
                continue;
            }
            for group in rest.bursts().take(LISTED) {
                add("burst", group.begin, group.end, group.path, json!({ "counts": round(group.path, 1) }));
            }
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let rests: Vec<Rest> = step.still().map(rest).filter(|r| r.seconds > 0.0).collect();
        if rests.is_empty() {
            return not_examined(step, Family::Drift, "no phase in which the device lies still");
        }
        let Some(per_mm) = step.counts_per_mm() else {
            return not_examined(step, Family::Drift, "no resolution known to turn counts into millimetres");
        };
        let tolerance = limits(step, Family::Drift);
        let seconds: f64 = rests.iter().map(|r| r.seconds).sum();
        let counted: usize = rests.iter().map(|r| r.groups.len()).sum();
        let groups: usize = rests.iter().map(|r| r.bursts().count()).sum();
        let fastest = rests.iter().map(|r| r.net.0.hypot(r.net.1) / r.seconds).fold(0.0, f64::max);
        let shortest = rests.iter().map(|r| r.seconds).fold(f64::INFINITY, f64::min);
        // ±1 count on the net as a 95 % half width; divided by 1.96 because `inside` multiplies it again.
        let uncertainty = 1.0 / shortest / per_mm / 1.96;
        let creep =
            inside("creep", "mm/s", fastest / per_mm, uncertainty, f64::INFINITY, tolerance, step.looks);
        let k = u32::try_from(groups).unwrap_or(u32::MAX);
        let bursts = rate_at_most("bursts", "per second", k, seconds, STILL_BURSTS_PER_SECOND, step.looks);
        let own: Vec<&Finding> = findings.iter().filter(|f| f.family == Family::Drift).collect();
        let creeps = own.iter().any(|f| f.kind == "creep");
        // A steady creep is one event, not as many bursts as it has counts.
        let criteria = if creeps { vec![creep] } else { vec![creep, bursts] };
        let knocks: usize = rests.iter().map(Rest::knocks).sum();
        let because = match groups {
            _ if creeps => format!("creeps at {:.3} mm/s over {seconds:.1} s", fastest / per_mm),
            0 if counted == 0 => format!("not one count in {seconds:.1} s, settling left out"),
            0 if knocks > 0 => format!("no burst in {seconds:.1} s, knocks on the desk left out: {knocks}"),
            0 => format!("no burst in {seconds:.1} s, single counts: {counted}"),
            n => format!("{n} bursts in {seconds:.1} s, net {:.3} mm/s", fastest / per_mm),
        };
        let mut out = verdict(Family::Drift, criteria, own.len(), because);
        out.cause = super::common_cause(&own);
        out.smallest_found = Some(1.0 / shortest / per_mm);
        if out.verdict == Outcome::Inconclusive {
            out.to_settle = Some("a longer still phase, on another pad as well".to_owned());
        }
        out
    }
}
