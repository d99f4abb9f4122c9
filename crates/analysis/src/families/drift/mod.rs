//! Drift while still: counts with the device lying still, hands off.
//!
//! Detects, in mm and against the plan's tolerance or the default:
//! - *creep*, which adds up: slope of the place ([`trend`]), and what bursts add to it; ±1 count over the time and the
//!   scatter as its uncertainty;
//! - *spell* ([`spell`]): a creep that sets in and stops, told and not judged by itself;
//! - *wander*, a device that goes on moving with the hand off it and not in a line: mean speed of the place about its
//!   trend, in windows of [`WANDER`]; one that turns back from window to window is a tremble;
//! - *bursts* ([`groups`], [`bursts`]): runs of counts that do not come back, by Garwood's limits (1936) on their number;
//! - *tremble*, which cancels, and *flicker*, the lamp's ([`tremble`]); where a [hand] trembles on it nothing fails.
//!
//! Left out, and told with numbers: the time in which the hand lets go, the settling of pad and cable, and knocks on the
//! desk. Where that is more than a hand drags ([`LET_GO_MOST_MM`]), or the knocks recur ([`knocks`]) and are wider than a
//! swing may be, nothing is shown of the device: inconclusive, and never a fail. A place next to a count's edge crosses it on
//! any movement: a single count, or one there and back, is no fault.
//!
//! `p_false`: of a creep, the chance that as many single counts in directions at random add up to so much,
//! exp(−N²/n) for a net of N in n counts (Rayleigh 1905), or Student's t of its moves from window to window where counts come and
//! go besides; of a pair of counts, that slow motions make it; of a wander,
//! Student's t; of a flicker, the spectrum's false-alarm level. Other events have no formula.
//!
//! Smallest found: creep of six counts in the time that is looked at (of five, first written, 5 of 300 were missed); one burst of
//! three counts, 0.1 s from others; a tremble of one count, twice a second; a flicker of one count from peak to peak. (Three counts in
//! any direction are two on one axis. Bursts of two were stated before: where they are one count on each axis, they are found only if
//! nothing else moves; 10 % of 169 were missed.) By the verdict: a creep beyond the tolerance by 8 times 0.7 counts over the time,
//! 0.02 mm/s at 800 counts per inch in 8 s. (First 0.02 mm/s at any resolution: at 400 counts per inch that is 4 of them.) A knock
//! that it has to be told from leaves it open now and then (3 of 215).
//! Cost: O(reports at rest), and a transform of its report slots for flicker.

mod bursts;
mod groups;
mod hand;
mod hops;
mod knocks;
mod rest;
mod spell;
mod tremble;
mod trend;

use super::{Detector, limits, map, not_examined, round, verdict};
use crate::decision::{inside, rate_at_most};
use crate::erratic::{ARM_SPEED, LEAST_MM};
use crate::quantum;
use crate::series::Sample;
use crate::stats;
use crate::step::{PhaseView, StepView};
use crate::tolerances::STILL_BURSTS_PER_SECOND;
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome, Quantity, count};
pub use rest::looked_at;
use rest::{Group, Pair, Rest, What, length};
use serde_json::{Map, Value, json};
use statrs::distribution::{ContinuousCDF, StudentsT};
use trend::Trend;

pub(super) struct Drift;

/// Bursts listed per phase; all are counted.
const LISTED: usize = 50;
/// Net counts under this are no creep.
const LEAST_NET: f64 = 3.0;
/// A creep goes on to the end: its second half makes half of the whole, less the quantisation of both axes, counts.
const UNEVEN: f64 = 1.5;
/// Single counts add up by chance at this level.
const CREEP_LEVEL: f64 = 0.1;
/// Windows in which a wander is seen, seconds, and the level at which it is told.
const WANDER: f64 = 0.5;
const WANDER_LEVEL: f64 = 1e-3;
/// Spells per second from which a tremble is listed.
const TREMBLE_PER_SECOND: f64 = 0.5;
/// And turns in all: a count that comes and goes once or twice is at a count's edge.
const TREMBLE_TURNS: u32 = 5;
/// What is left out as letting go, as a criterion.
const LET_GO: &str = "motion while the hand lets go";
/// A hand that lets go drags the device a few millimetres at most, by as much as its fingers open (common practice, no
/// source). Farther, it was still held or put down, or the device moved by itself: the rest does not tell which.
const LET_GO_MOST_MM: f64 = 5.0;

/// One phase at rest, looked at.
struct Look<'a> {
    phase: &'a PhaseView,
    rest: Rest<'a>,
    trend: Trend,
    /// How far the mean place moves from one window of [`WANDER`] to the next, counts.
    moves: Vec<Pair>,
    /// Speeds about the trend in these windows, counts per second.
    wander: Vec<f64>,
    /// True if it goes on from window to window, and does not turn back.
    onward: bool,
    /// Sizes of the tremble in windows, counts.
    tremble: Vec<f64>,
    /// At how many hertz a [hand] trembles on it.
    hand: Option<f64>,
}

impl<'a> Look<'a> {
    fn new(step: &StepView, phase: &'a PhaseView, counts_a_step: i32) -> Option<Look<'a>> {
        let per_mm = steps_per_mm(step, counts_a_step);
        let most = per_mm.map_or(f64::INFINITY, |c| groups::SETTLING_MOST_MM * c);
        let mut rest = Rest::new(phase, counts_a_step)?;
        groups::sort(&mut rest, per_mm, step.slot());
        let trend = groups::pairs(&mut rest, most, step.slot());
        let windows = rest.windows(WANDER);
        let off: Vec<Pair> = (0..windows.len())
            .map(|i| {
                let own = trend.place((i as f64 + 0.5) * WANDER);
                [0, 1].map(|axis| windows[i].0[axis] - own[axis])
            })
            .collect();
        let between = |a: Pair, b: Pair| [b[0] - a[0], b[1] - a[1]];
        let steps: Vec<Pair> = off.windows(2).map(|w| between(w[0], w[1])).collect();
        let moves = windows.windows(2).map(|w| between(w[0].0, w[1].0)).collect();
        // Less than a count from window to window is quantisation.
        let wander = steps.iter().map(|step| (length(*step) - 1.0).max(0.0) / WANDER).collect();
        let onward = steps.windows(2).map(|w| w[0][0] * w[1][0] + w[0][1] * w[1][1]).sum::<f64>() >= 0.0;
        let tremble = tremble::sizes(&rest, &trend);
        let hand = hand::trembles(&rest);
        Some(Look { phase, rest, trend, moves, wander, onward, tremble, hand })
    }

    /// Creep with what the bursts add, counts per second, and its standard uncertainty.
    fn speed(&self) -> (f64, f64) {
        let seconds = self.rest.seconds;
        let (mut sum, mut squares) = (self.trend.creep, 0.0);
        for burst in self.rest.bursts() {
            sum = [0, 1].map(|axis| sum[axis] + burst.net[axis] / seconds);
            squares += length(burst.net).powi(2);
        }
        // Bursts come at random: the variance of what they add up to is the sum of their squares.
        (length(sum), self.trend.uncertainty.hypot(squares.sqrt() / seconds))
    }

    /// Knocks that recur.
    fn knocks(&self) -> Vec<&Group> {
        if self.rest.shaken { self.rest.of(What::Knock).collect() } else { Vec::new() }
    }

    /// Net counts of a creep and the chance that single counts add up to so much, if there is one.
    fn creep(&self) -> Option<(f64, f64)> {
        let rate = length(self.trend.creep);
        let net = rate * self.rest.seconds;
        let path: f64 = self.rest.calm().map(|s| f64::from(s.x).hypot(f64::from(s.y))).sum();
        let n = (path - length(self.trend.settling)).max(net);
        // Of counts that come and go by the dozen, as those that a lamp makes, few are the creep's: the places of windows know
        // nothing of them.
        let by_counts = (-net * net / n.max(1.0)).exp();
        let by_moves = self.chance_of_moves().filter(|p| *p <= WANDER_LEVEL && by_counts > WANDER_LEVEL);
        let p_false = by_moves.unwrap_or(by_counts);
        let middle = self.rest.from + (self.rest.end - self.rest.from) / 2;
        let late: f64 = self
            .rest
            .calm()
            .filter(|s| s.t >= middle)
            .map(|s| f64::from(s.x) * self.trend.creep[0] + f64::from(s.y) * self.trend.creep[1])
            .sum();
        let goes_on = late > 0.0 && late / rate.max(1e-12) >= 0.5 * net - UNEVEN;
        let plain = net >= LEAST_NET && rate > 1.96 * self.trend.uncertainty && p_false <= CREEP_LEVEL;
        (plain && goes_on).then_some((net, p_false))
    }

    /// Student's tail of the mean move from window to window in the creep's direction.
    fn chance_of_moves(&self) -> Option<f64> {
        let creep = self.trend.creep;
        let rate = length(creep).max(1e-12);
        let along: Vec<f64> = self.moves.iter().map(|m| (m[0] * creep[0] + m[1] * creep[1]) / rate).collect();
        chance_of_mean(&along).map(|(_, p_false)| p_false)
    }

    /// Mean speed of a wander, and its chance, if there is one.
    fn wanders(&self) -> Option<(f64, f64)> {
        let (mean, p_false) = chance_of_mean(&self.wander)?;
        let plain = mean * self.rest.seconds >= LEAST_NET && p_false <= WANDER_LEVEL;
        // A swing about one place leaves a little in the means of windows; a wander goes farther than it swings.
        let swing = stats::mean(&self.tremble).unwrap_or(0.0);
        (plain && self.onward && mean > length(self.trend.creep) && mean * WANDER > swing)
            .then_some((mean, p_false))
    }

    /// Numbers of the rest map: end of the path from its start, and the 95 % ellipse of the place about its trend.
    fn rest_map(&self, unit: f64) -> Value {
        let net = self.rest.samples.iter().filter(|s| s.t >= self.rest.from);
        let net = net.fold([0.0; 2], |p, s| [p[0] + f64::from(s.x), p[1] + f64::from(s.y)]);
        let [xx, yy, xy] = self.trend.scatter;
        let (middle, apart) = (0.5 * (xx + yy), (0.5 * (xx - yy)).hypot(xy));
        // Quantile of χ² with two degrees of freedom: −2 ln 0.05.
        let axis = |variance: f64| (variance.max(0.0) * -2.0 * 0.05f64.ln()).sqrt() / unit;
        json!({
            "end_x": round(net[0] / unit, 4), "end_y": round(net[1] / unit, 4),
            "ellipse_long": round(axis(middle + apart), 4), "ellipse_short": round(axis(middle - apart), 4),
            "ellipse_degrees": round((0.5 * (2.0 * xy).atan2(xx - yy)).to_degrees(), 1),
        })
    }

    /// What was left out, in words.
    fn left_out(&self, unit: f64, name: &str) -> Vec<String> {
        let mut out = Vec::new();
        let let_go = length(self.rest.let_go);
        if let_go > 0.0 {
            let seconds = (self.rest.from - self.phase.span.begin.0) as f64 * 1e-9;
            out.push(format!("{:.3} {name} in the {seconds:.1} s of letting go", let_go / unit));
        }
        if self.trend.tau > 0.0 {
            let (after, tau) = (length(self.trend.settling) / unit, self.trend.tau);
            out.push(format!("a settling of {after:.3} {name} after that (time constant {tau:.1} s)"));
        }
        if self.rest.shaken {
            return out;
        }
        let knocks: Vec<f64> = self.rest.of(What::Knock).map(|g| length(g.range) / unit).collect();
        if let Some(widest) = knocks.iter().copied().reduce(f64::max) {
            let knocks = count(knocks.len(), "knock");
            out.push(format!("{knocks} on the desk of up to {widest:.3} {name}"));
        }
        out
    }
}

/// Mean of some values and Student's tail of it.
fn chance_of_mean(values: &[f64]) -> Option<(f64, f64)> {
    let (mean, sd) = stats::mean_sd(values)?;
    let n = values.len() as f64;
    let t = mean / (sd / n.sqrt()).max(1e-12);
    Some((mean, StudentsT::new(0.0, 1.0, n - 1.0).map_or(1.0, |d| d.sf(t))))
}

impl Detector for Drift {
    fn family(&self) -> Family {
        Family::Drift
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn criteria(&self) -> usize {
        4
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let by = counts_a_step(step);
        for look in step.still().filter_map(|phase| Look::new(step, phase, by)) {
            look_over(step, &look, by, findings);
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let by = counts_a_step(step);
        let mut looks: Vec<Look> = step.still().filter_map(|phase| Look::new(step, phase, by)).collect();
        let longest = looks.iter().map(|l| l.rest.seconds).fold(0.0, f64::max);
        looks.retain(|l| l.rest.seconds >= CUT_SHORT * longest);
        if looks.is_empty() {
            let why = "no phase in which the device lies still";
            let to_settle =
                longer(0, 0.0).map(|s| format!("a still phase of {s} s, the hand off the device"));
            return FamilyVerdict { to_settle, ..not_examined(step, Family::Drift, why) };
        }
        let Some(per_mm) = steps_per_mm(step, by).filter(|c| *c > 0.0) else {
            return not_examined(step, Family::Drift, "no resolution known to turn counts into millimetres");
        };
        let own: Vec<&Finding> = findings.iter().filter(|f| f.family == Family::Drift).collect();
        let (criteria, counted) = criteria(step, &looks, per_mm);
        let shortest = looks.iter().map(|l| l.rest.seconds).fold(f64::INFINITY, f64::min);
        let because = because(&looks, &own, &criteria, &counted, per_mm);
        let mut out = verdict(Family::Drift, criteria, own.len(), because);
        out.cause = super::common_cause(&own);
        out.smallest_found = Some(1.0 / shortest / per_mm);
        if out.verdict == Outcome::Inconclusive {
            out.to_settle = Some(to_settle(&looks, &out, counted.events));
        }
        out
    }
}

/// A rest that was cut to less than this share of another of the step tells no rate: one count in an instant is as fast as a creep.
/// (Added after one of 0.1 s had overruled the whole rest before it.)
const CUT_SHORT: f64 = 0.1;

/// What would settle it.
fn to_settle(looks: &[Look], family: &FamilyVerdict, events: usize) -> String {
    let open = |c: &&Criterion| c.verdict == Outcome::Inconclusive;
    let rate_alone = family.criteria.iter().filter(open).all(|c| c.unit == BURST_RATE);
    let seconds: f64 = looks.iter().map(|l| l.rest.seconds).sum();
    if family.criteria.iter().any(|c| c.what == LET_GO) {
        "the rest again, with the hand off the device before it begins".to_owned()
    } else if looks.iter().any(|l| l.hand.is_some()) {
        "the rest again, with the hand off the device and the desk".to_owned()
    } else if looks.iter().any(|l| l.rest.shaken) {
        "the rest again while nobody walks, types or knocks, or on another desk".to_owned()
    } else if let Some(s) = longer(events, seconds).filter(|_| rate_alone) {
        format!("another still phase, of {s} s, if nothing more comes")
    } else {
        "a longer still phase, on another pad as well".to_owned()
    }
}

/// Whole seconds of a still phase after which so many bursts pass, where so long was looked at before; `None` above ten minutes. (Added
/// after "longer" had been all that a phase of 6 s was told, of which 8 are enough.)
fn longer(events: usize, before: f64) -> Option<u32> {
    let k = u32::try_from(events).unwrap_or(u32::MAX);
    let passes = |s: &u32| {
        let seconds = before + looked_at(f64::from(*s));
        rate_at_most("bursts", BURST_RATE, k, seconds, STILL_BURSTS_PER_SECOND, 1).verdict == Outcome::Pass
    };
    (1..=600).find(passes)
}

/// Unit of the rate of bursts.
const BURST_RATE: &str = "per second";

/// The step in which counts come, in motion and at rest: a sensor's own count, where the device is set finer than that. Two of
/// its own counts would look like a burst.
fn counts_a_step(step: &StepView) -> i32 {
    let samples = || step.phases.iter().flat_map(|p| &p.series.samples);
    let found = quantum::of(samples().flat_map(|s| [s.x, s.y]));
    let mut still = step.still().flat_map(|p| &p.series.samples);
    let fits = |s: &Sample| s.x % found == 0 && s.y % found == 0;
    if still.all(fits) { found } else { 1 }
}

/// Resolution in such steps.
fn steps_per_mm(step: &StepView, counts_a_step: i32) -> Option<f64> {
    step.counts_per_mm().map(|c| c / f64::from(counts_a_step))
}

/// Adds the findings of one phase: one event, one finding.
fn look_over(step: &StepView, look: &Look, counts_a_step: i32, findings: &mut Vec<Finding>) {
    let per_mm = steps_per_mm(step, counts_a_step).filter(|c| *c > 0.0);
    let (unit, name) = per_mm.map_or((1.0, "counts"), |c| (c, "mm"));
    let span = (look.rest.from, look.rest.end);
    let seconds = look.rest.seconds;
    let mut add = |kind, span: (i64, i64), counts: f64, p_false, cause, evidence| {
        findings.push(Finding {
            family: Family::Drift,
            kind,
            step: step.id,
            phase: look.phase.span.number,
            swipe: None,
            device: step.device,
            direction: None,
            begin_ns: span.0,
            end_ns: span.1,
            size: counts / unit,
            unit: name,
            p_false,
            cause,
            evidence,
        });
    };
    let with_map = |value: Value| -> Map<String, Value> {
        let mut evidence = map(value);
        evidence.insert("rest_map".to_owned(), look.rest_map(unit));
        evidence
    };
    let wander = look.wanders();
    if let Some((speed, p_false)) = wander {
        let evidence = with_map(json!({
            "speed": round(speed / unit, 4), "unit": format!("{name}/s"), "seconds": round(seconds, 3),
        }));
        add("wander", span, speed * seconds, Some(p_false), Cause::Sensor, evidence);
    } else if let Some((net, p_false)) = look.creep() {
        let [x, y] = look.trend.creep.map(|rate| rate * seconds);
        let evidence = with_map(json!({
            "net_x": round(x, 2), "net_y": round(y, 2), "seconds": round(seconds, 3),
            "uncertainty_counts": round(look.trend.uncertainty * seconds, 2),
        }));
        add("creep", span, net, Some(p_false), Cause::Sensor, evidence);
    } else if let Some(spell) = per_mm.and_then(|c| spell::of(&look.rest, &look.trend, c)) {
        let evidence = with_map(json!({ "net_x": spell.net[0], "net_y": spell.net[1] }));
        let (kind, cause) =
            if spell.throughout { ("creep", Cause::Sensor) } else { ("spell", Cause::Unknown) };
        add(kind, spell.span, length(spell.net), Some(spell.p_false), cause, evidence);
    }
    for burst in look.rest.bursts().take(LISTED) {
        let p_false = (burst.what == What::Pair)
            .then(|| groups::pair_chance(&look.rest, burst, &look.trend, step.slot()));
        let leap = per_mm.and_then(|c| leap(&look.rest, burst, c, step.slot()));
        let mut evidence = map(json!({
            "net_x": burst.net[0], "net_y": burst.net[1], "counts": round(burst.path, 1),
        }));
        if let Some(mm) = leap {
            evidence.insert("leap_mm".to_owned(), round(mm, 3));
        }
        let cause = if leap.is_some() { Cause::Unknown } else { Cause::Surface };
        add("burst", (burst.begin, burst.end), burst_size(burst), p_false, cause, evidence);
    }
    let knocks = look.knocks();
    if let Some(widest) = knocks.iter().map(|g| knocks::width(g)).reduce(f64::max) {
        let per_second = round(knocks.len() as f64 / seconds, 2);
        let evidence = with_map(json!({ "knocks": knocks.len(), "per_second": per_second }));
        add("knocks", span, widest, None, Cause::Operator, evidence);
    }
    let (turns, spells) = tremble::turns(&look.rest);
    let widest = look.rest.of(What::Tremble).chain(look.rest.of(What::Long));
    // How far a creep has gone meanwhile is no part of it.
    let widest = widest.map(|g| knocks::width(g) - length(g.net)).fold(1.0, f64::max);
    // What is quantised away of knocks leaves a count or two.
    let own = wander.is_none() && !(look.rest.shaken && widest <= 2.0);
    if let Some(flicker) = tremble::flicker(&look.rest, step.slot()) {
        let evidence = with_map(json!({
            "lamp_hz": flicker.lamp_hz, "seen_at_hz": round(flicker.line.frequency, 2),
            "amplitude_counts": round(flicker.line.amplitude, 2), "noise_counts": round(flicker.line.noise, 4),
        }));
        let p_false = Some(flicker.line.p_false);
        add("flicker", span, flicker.line.amplitude, p_false, Cause::Sensor, evidence);
    } else if own && turns >= TREMBLE_TURNS && f64::from(spells) >= TREMBLE_PER_SECOND * seconds {
        let evidence = with_map(json!({
            "turns": turns, "per_second": round(f64::from(turns) / seconds, 2),
            "rms_counts": round(stats::mean(&look.tremble).unwrap_or(0.0), 3),
            "as_a_hand_at_hz": look.hand.map(|hz| round(hz, 1)),
        }));
        let cause = if look.hand.is_some() { Cause::Operator } else { Cause::Sensor };
        add("tremble", span, widest, None, cause, evidence);
    }
}

/// Counts of a burst: net, or the range if that is more.
fn burst_size(burst: &Group) -> f64 {
    length(burst.net).max(knocks::width(burst))
}

/// Millimetres in one report of a burst that are more than any hand moves a device, or a pad slides under it, in one report
/// interval: that is no motion and no flaw of a surface that is looked at from one place.
fn leap(rest: &Rest, burst: &Group, per_mm: f64, slot: f64) -> Option<f64> {
    let most = LEAST_MM + 1e3 * ARM_SPEED * slot * 1e-9;
    let reports = rest.samples.get(burst.rows.clone())?.iter();
    let widest = reports.map(|s| f64::from(s.x).hypot(f64::from(s.y)) / per_mm).fold(0.0, f64::max);
    (widest > most).then_some(widest)
}

/// Of bursts, in `seconds` altogether. Knocks that recur and are wide may hide more of them: then neither is shown.
fn burst_rate(looks: &[Look], counted: &bursts::Counted, per_mm: f64, shared: u32) -> Criterion {
    let seconds: f64 = looks.iter().map(|l| l.rest.seconds).sum();
    let what = if counted.clustered { "clusters of bursts" } else { "bursts" };
    let rate = |events: usize, what| {
        let k = u32::try_from(events).unwrap_or(u32::MAX);
        rate_at_most(what, BURST_RATE, k, seconds, STILL_BURSTS_PER_SECOND, shared)
    };
    let own = rate(counted.events, what);
    let wide = groups::wide(Some(per_mm));
    let knocks = looks.iter().flat_map(Look::knocks).filter(|g| knocks::width(g) > wide).count();
    if knocks == 0 || own.verdict == Outcome::Fail {
        return own;
    }
    let both = rate(counted.events + knocks, "bursts or knocks");
    let verdict = if both.verdict == Outcome::Fail { Outcome::Inconclusive } else { both.verdict };
    Criterion { verdict, ..both }
}

/// The way a hand dragged the device while it let go, if that is more than one does.
fn let_go(looks: &[Look], per_mm: f64) -> Option<Criterion> {
    let mm = looks.iter().map(|l| l.rest.let_go_reach / per_mm).fold(0.0, f64::max);
    (mm > LET_GO_MOST_MM).then(|| Criterion {
        what: LET_GO,
        verdict: Outcome::Inconclusive,
        unit: "mm",
        estimate: Some(Quantity::around(mm, 2.0 / per_mm)),
        tolerance: [None, Some(LET_GO_MOST_MM)],
    })
}

/// The criteria over all phases.
fn criteria(step: &StepView, looks: &[Look], per_mm: f64) -> (Vec<Criterion>, bursts::Counted) {
    let tolerance = limits(step, Family::Drift);
    let shared = step.looks;
    // The worst phase decides; more than one is looked at, so the chance of a false fail is shared.
    let each = shared.saturating_mul(u32::try_from(looks.len()).unwrap_or(u32::MAX));
    let told = step.plan.map_or(0.0, |plan| plan.travel_uncertainty().millimetres());
    let scale = step.travel.map_or(0.0, |travel| told / travel.millimetres());
    let creep = looks.iter().map(|look| {
        let (speed, counts) = look.speed();
        // A millimetre is known as the travel is. (First counts alone: creeps of some hundred counts were missed by 0.1 to 0.4 %.)
        let uncertainty = counts.hypot(speed * scale);
        inside("creep", "mm/s", speed / per_mm, uncertainty / per_mm, f64::INFINITY, tolerance, each)
    });
    let creep = creep.min_by_key(|c| rank(c.verdict));
    let hops = looks.iter().find_map(|look| hops::criterion(&look.rest, per_mm, tolerance, each));
    let moving = |values: Vec<f64>, what, unit, limit| {
        let n = values.len() as f64;
        let (mean, sd) = stats::mean_sd(&values)?;
        Some(inside(what, unit, mean / per_mm, sd / n.sqrt() / per_mm, n - 1.0, limit, shared))
    };
    let wanders = looks.iter().flat_map(|l| l.wander.iter().copied()).collect();
    let trembles = looks.iter().flat_map(|l| l.tremble.iter().copied()).collect();
    let wander = moving(wanders, "wander", "mm/s", tolerance);
    let size = [None, Some(tremble::limit_mm(per_mm))];
    let tremble = moving(trembles, "tremble, root mean square", "mm", size);
    let counted = bursts::count(&looks.iter().map(|l| &l.rest).collect::<Vec<_>>());
    let bursts = burst_rate(looks, &counted, per_mm, shared);
    let all = [let_go(looks, per_mm), creep, hops, wander, Some(bursts), tremble];
    let mut all: Vec<Criterion> = all.into_iter().flatten().collect();
    if looks.iter().any(|look| look.hand.is_some()) {
        // Whatever was seen there, the hand may have done it.
        all.iter_mut().filter(|c| c.verdict == Outcome::Fail).for_each(|c| c.verdict = Outcome::Inconclusive);
    }
    (all, counted)
}

fn rank(outcome: Outcome) -> u8 {
    match outcome {
        Outcome::Fail => 0,
        Outcome::Inconclusive => 1,
        _ => 2,
    }
}

/// The reason, and what was left out.
fn because(
    looks: &[Look],
    own: &[&Finding],
    criteria: &[Criterion],
    counted: &bursts::Counted,
    per_mm: f64,
) -> String {
    let seconds: f64 = looks.iter().map(|l| l.rest.seconds).sum();
    let value = |what: &str| {
        criteria.iter().find(|c| c.what.starts_with(what)).and_then(|c| c.estimate).map_or(0.0, |e| e.value)
    };
    let has = |kind: &str| own.iter().any(|f| f.kind == kind);
    let mut said = Vec::new();
    if has("wander") {
        said.push(format!("goes on moving with the hand off it, at {:.3} mm/s", value("wander")));
    }
    if has("creep") {
        said.push(format!("creeps at {:.3} mm/s", value("creep")));
    }
    if counted.bursts > 0 {
        let bursts = count(counted.bursts, "burst");
        let clusters =
            if counted.clustered { format!(" in {} clusters", counted.events) } else { String::new() };
        let leaps = own.iter().filter_map(|f| f.evidence.get("leap_mm").and_then(Value::as_f64));
        let leaps: Vec<f64> = leaps.collect();
        let place = match leaps.iter().copied().reduce(f64::max) {
            Some(mm) => {
                let leaps = count(leaps.len(), "leap");
                format!(" ({leaps} of up to {mm:.1} mm within one report, which no surface makes)")
            }
            None => " on this surface".to_owned(),
        };
        said.push(format!("{bursts}{clusters}{place}, net {:.3} mm/s", value("creep")));
    }
    if let Some(spell) = own.iter().find(|f| f.kind == "spell") {
        let seconds = (spell.end_ns - spell.begin_ns) as f64 * 1e-9;
        said.push(format!("creeps by {:.3} mm one way, all within {seconds:.1} s", spell.size));
    }
    let knocks: Vec<f64> = looks.iter().flat_map(Look::knocks).map(knocks::width).collect();
    if let Some(widest) = knocks.iter().copied().reduce(f64::max) {
        let knocks = count(knocks.len(), "knock");
        said.push(format!(
            "{knocks} of up to {:.3} mm: something shakes the desk again and again",
            widest / per_mm
        ));
    }
    if let Some(flicker) = own.iter().find(|f| f.kind == "flicker") {
        let hz = flicker.evidence.get("lamp_hz").and_then(Value::as_f64).unwrap_or(0.0);
        said.push(format!("swings by {:.3} mm with a lamp at {hz:.0} Hz", flicker.size));
    }
    let turns = looks.iter().map(|l| tremble::turns(&l.rest).0).fold(0, u32::saturating_add);
    if has("tremble") {
        let per_second = f64::from(turns) / seconds.max(1e-9);
        said.push(format!(
            "trembles {per_second:.1} times a second, {:.4} mm root mean square{}",
            value("tremble"),
            looks
                .iter()
                .find_map(|l| l.hand)
                .map_or(String::new(), |hz| format!(", at {hz:.0} Hz as a hand does"))
        ));
    }
    let counts = looks.iter().map(|l| l.rest.calm().count()).sum::<usize>();
    let mut text = match (said.is_empty(), counts) {
        (true, 0) => format!("not one count in {seconds:.1} s"),
        (true, 1) => format!("one single count in {seconds:.1} s"),
        (true, n) => format!("nothing but {n} single counts in {seconds:.1} s"),
        (false, _) => format!("{} over {seconds:.1} s", said.join("; ")),
    };
    let left_out: Vec<String> = looks.iter().flat_map(|l| l.left_out(per_mm, "mm")).take(6).collect();
    if !left_out.is_empty() {
        text += &format!("; left out: {}", left_out.join(", "));
    }
    if let Some(far) = criteria.iter().find(|c| c.what == LET_GO).and_then(|c| c.estimate) {
        text += &format!(
            "; moved {:.1} mm while it should lie still: more than a hand drags that lets go",
            far.value
        );
    }
    text
}
