//! Report interval: differs from the nominal, wanders, has structure, or scatters.
//!
//! Looks at reports in motion so fast that every slot is used (see [`crate::intervals`]); a device that says less when
//! it moves slowly or rests is sound.
//!
//! - *off-nominal*: the clock (slope of time against report number) over the nominal, which is what the endpoint's descriptor
//!   asks to be polled at; decided, against the tolerance. Hosts round a poll interval down to a power of two times 125 µs (10 ms
//!   becomes 8): then that is the nominal. A device that reports in every k-th poll only keeps an interval of its own, of which
//!   the descriptor says nothing: not examined, unless the plan sets a tolerance. Nor of a device whose frames have an even clock
//!   of their own, slower than polls ([`crate::intervals::frames`]): its interval is that of the frames. That polls sample it is
//!   neither structure nor scatter; it passes within the tolerance, and is not examined beyond, unless the plan sets one. Where
//!   stamps tick no more often than polls come, whole polls are all that they can tell: inconclusive beyond. (Added after stamps
//!   rounded to 1 ms had made a clock of frames of every interval of 1.08 ms.)
//! - *structure*: a line in the spectrum of intervals, of at least [`LEAST_LINE`] of the interval (within the default
//!   tolerance every interval stays inside it), more than a tick of the clock, and at a false-alarm level below that of
//!   a fail. It must stand out in the spectrum of intervals and in that of stamps: jitter that adds up is white in the one,
//!   jitter that does not in the other.
//! - *wander*: the interval differs from run to run, or within runs, by more than [`CLOCKS_AGREE`] beyond what the stamps
//!   explain.
//! - *alternating*: a longer and a shorter interval in turn ([`crate::series::turns`]), with their counts, so that no reader's
//!   lateness makes it; decided: half the difference over the mean, against the upper tolerance.
//! - *missing*: reports that are lost one by one ([`crate::intervals::lone`]), at least [`LEAST_LONE`] and [`TELLING`] of all;
//!   decided: their share, exact limits, against the upper tolerance: by as much reports come less often. A fail only if the
//!   resolution is short by half of it at least, and by [`SHORT`],
//!   or swipes that lack none are longer by as much ([`gone_in_part`]); none at all if it is not short: a sensor with fewer frames
//!   than the link has slots leaves slots empty and loses nothing. Inconclusive in between, and where no nominal is known.
//! - *merged*: reports that are left out one by one and whose counts come with the next ([`crate::intervals::lone`]), as many;
//!   decided: their share likewise, told as a finding where it may be above (a radio that sends again merges some). Never a fail, since a computer's controller that leaves polls out makes the same.
//! - *empty*: such slots where no counts are missing, at no even pace of frames; told, and decided only if the plan sets a
//!   tolerance: their share, against the upper one.
//! - *slower when fast*: rows of reports at one and a half times the usual interval and more, at higher speeds
//!   ([`crate::intervals::rates`]); decided: their clock over that of the usual rows, against the same tolerance.
//! - *jitter*: stamps scatter about their run's line, and about those beside them, by more than a host explains
//!   ([`HOST_SPREAD`]; for the kernel's own stamps [`KERNEL_SPREAD`]); or by less, where counts are as uneven as the intervals that they were made in
//!   ([`crate::intervals::uneven`]): no reader's lateness does that.
//!
//! A run is broken, and a new one begun, by stamps more than half an interval off where the one before puts them, eight in a row:
//! so by a report that is missing, by some that a host held up for so long, and by a pace that leaves slots empty. What lies
//! across a break enters neither the clock nor the spectrum; a device whose every interval is off by more than half has no runs
//! and is not examined, but for the two kinds above, which are known and break no run. How many intervals are off, broken runs
//! included, is shown. Time in a run counts from its own first report: no stamp is held against a clock that runs through the
//! session. Runs are collected twice, the second time by the first clock: by a slot that is too long more of them break where an
//! interval is short, so begin early and end late. (Seen: +0.13 % by a slot of 1.028 ms for 1 ms.)
//!
//! Reports that came in a rush after a silence ([`crate::intervals::rushes`]) were held up by this computer or by the link: they
//! are told, and no finding. If more swipes show one than may have a dropout, a device that holds its reports back cannot be
//! told from a busy computer, and the verdict is inconclusive.
//!
//! Cause: the link. A host that is late with one stamp has the next interval that much shorter, so it cannot change the
//! clock; structure with a clock that agrees with the nominal and scatter may be the host's: unknown.
//!
//! Not required: what keeps the interval from being told says nothing of the motion. Not examined on stamps coarser
//! than the interval, where reports were read in batches, or in slow motion only.
//!
//! Smallest found (written before the first accuracy run), where five counts and more are due in a report at the peak of a
//! fast swipe: off-nominal by half a per cent more than the tolerance; every eighth interval longer by a quarter (a line of
//! 6 %); a wander of 1 %. (First at any counts: one in 300 was left open, each at 3.1 to 3.7 counts, which are fewer than
//! three in most of the swipe.) A lower rate at speed: three rows of eight reports that hold most of the intervals at their
//! speeds. (Added after a device that left out every second report above 0.4 m/s had been seen to pass, with no interval
//! said to be off.) Cost: O(reports).
//!
//! Alternating intervals: one and a half times apart, in three of four rows of reports. Missing reports: 1 % and eight of
//! them, where six counts are due in a slot and stamps scatter by less than a quarter of it. (Both added after intervals of 1
//! and 2 ms, and a radio that lost one report in 7.5 ms, had not been examined at all.)
//!
//! *Not* found, and by intent: jitter of less than an ordinary reader's own lateness. Some tens of microseconds (the simulator's
//! `jitter` at its usual 60 µs) are what the computer alone makes of a sound device, so they are shown (`stamps scatter by`)
//! and held against nothing. Jitter is a finding from 1 ms on, or from 0.1 ms on in the kernel's own stamps; from 5 % of the
//! interval on where counts show that it is the device's. (The last added after a device had been seen to pass without a word
//! whose instants scattered by a third of 2 to 4 ms, with their counts.)

use super::dropout::CABLE;
use super::{Detector, Lasting, coarse_stamps, limits, not_examined, over_phases, round, verdict};
use crate::baseline::Basis;
use crate::decision::{FAIL_LEVEL, inside, share_at_most};
use crate::intervals::frames::{self, Frames};
use crate::intervals::lone::{self, Lone};
use crate::intervals::rates::{Slower, slower_when_fast};
use crate::intervals::uneven::{self, Uneven};
use crate::intervals::{Clock, Known, Runs, runs_knowing, rushes};
use crate::periodicity::{Period, periodicity};
use crate::series::{Turns, fast_intervals, turns};
use crate::spectrum::{self, Line, Window};
use crate::stats::{mean, median, t_quantile};
use crate::step::{LONGEST_INTERVAL, PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome, Quantity, count};
use serde_json::{Value, json};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Step;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};
use std::f64::consts::PI;

pub(super) struct ReportInterval;

/// Smallest amplitude of structure, as a share of the interval.
const LEAST_LINE: f64 = 0.05;
/// Two clocks of a sound full-speed USB link agree to this (USB 2.0 section 7.1.11: data rate within 0.25 %).
const CLOCKS_AGREE: f64 = 2.5e-3;
/// Ordinary scheduling of a reader without real-time priority is late by up to this on an idle computer (the recorder's
/// watch for stalls says the same); common practice, no source.
const HOST_SPREAD: f64 = 1e6;
/// The kernel stamps in the interrupt, so later by tens of microseconds; common practice, no source.
const KERNEL_SPREAD: f64 = 1e5;
/// Segments of the interval series: as long as leaves this many, for the averaging.
const SEGMENTS: usize = 8;
/// Shortest and longest segment, in intervals.
const SEGMENT: (usize, usize) = (32, 4096);
/// A sensor's resolution may be short by this of what its maker says (common practice, no source).
const SHORT: f64 = 0.05;
/// Polls happen at multiples of this, times a power of two (USB 2.0, microframe).
const MICROFRAME: f64 = 125_000.0;

/// Fewer missing reports do not make a share.
const LEAST_LONE: usize = 8;
/// Nor does a smaller share: it moves the resolution by less than data sheets of sensors leave open (about 1 %).
const TELLING: f64 = 0.01;

/// Runs that hold less than this share of the intervals are those that happen to run on, and not the device's clock. (Added after
/// 43 reports of 90,000 had been seen to fail a sound device whose sensor left every fifth poll empty.)
const LEAST_USED: f64 = 0.1;

/// All that is measured.
struct Measured {
    turns: Option<Turns>,
    /// Instants of report that scatter by the device's own doing.
    uneven: Option<Uneven>,
    /// Reports that are missing one by one, if they are many.
    lone: Option<Lone>,
    /// True if their counts are missing as well.
    counts_too: bool,
    /// Likewise, but their counts come with the next.
    merged: Option<Lone>,
    /// Slots that are empty one by one for want of anything to say, at no even pace: no counts are missing.
    empty: Option<Lone>,
    /// A clock of frames that polls sample: then it is the clock.
    frames: Option<Frames>,
    runs: Runs,
    clock: Clock,
    /// The nominal as hosts poll it.
    nominal: Option<f64>,
    line: Option<Line>,
    fraction_off: f64,
    slower: Option<Slower>,
    /// Silences before reports that came in a rush.
    rushes: Vec<(i64, i64)>,
}

/// What is known of the clock.
struct Clocked {
    spans: Vec<(Nanos, Nanos)>,
    turns: Option<Turns>,
    runs: Runs,
    clock: Clock,
    lone: Option<Lone>,
    merged: Option<Lone>,
    empty: Option<Lone>,
    gone: Option<bool>,
    frames: Option<Frames>,
}

/// Phases in which the device was swiped.
fn swiped<'a>(step: &'a StepView) -> impl Iterator<Item = &'a PhaseView> {
    step.phases.iter().filter(|p| !p.swipes.is_empty())
}

fn clocked(step: &StepView) -> Result<Clocked, &'static str> {
    let Some(rough) = step.interval else {
        return Err("too few reports in motion fast enough to use every slot, or all were read in batches");
    };
    let spans: Vec<_> = swiped(step).map(|p| (p.span.begin, p.span.end)).collect();
    let turns = turns(step.phases.iter().map(|p| &p.series), LONGEST_INTERVAL, step.due);
    let known = Known { swing: turns.map_or(0.0, |turns| turns.swing()), ..Known::default() };
    let collect = |slot: f64, known: Known| {
        let runs = runs_knowing(step.trace, &spans, slot, known);
        let enough = |clock: &Clock| clock.reports as f64 >= LEAST_USED * runs.intervals as f64;
        let clock = runs.clock().filter(enough);
        (runs, clock)
    };
    let (mut runs, mut clock) = collect(rough.value, known);
    let mut slot = rough.value;
    if let Some(first) = &clock {
        slot = first.interval;
        let (again, more) = collect(slot, known);
        (runs, clock) = if more.is_some() { (again, more) } else { (runs, clock) };
    }
    let [lone, merged] = lone_ones(step, &spans, slot);
    if clock.is_none() && (lone.is_some() || merged.is_some()) {
        let mut missing: Vec<usize> =
            [&lone, &merged].into_iter().flatten().flat_map(|l| l.rows.clone()).collect();
        missing.sort_unstable();
        (runs, clock) = collect(slot, Known { missing: &missing, ..Known::default() });
    }
    // A sensor with fewer frames than the link has slots leaves slots empty, and has its resolution all the same.
    let gone =
        lone.as_ref().map(|lone| gone_in_part(step, lone).or_else(|| counts_are_gone(step, lone.share())));
    let gone = gone.flatten();
    let (lone, empty) = if gone == Some(false) { (None, lone) } else { (lone, None) };
    let frames = frames(step, &spans);
    let empty = empty.filter(|_| frames.is_none());
    let Some(clock) = frames.map(|frames| frames.clock).or(clock) else {
        return Err("too few of the reports in fast motion lie in unbroken runs");
    };
    Ok(Clocked { spans, turns, runs, clock, lone, merged, empty, gone, frames })
}

/// The clock of a step, if stamps tell it.
pub(crate) fn clock(step: &StepView) -> Option<Clock> {
    if step.coarse_clock() { None } else { clocked(step).ok().map(|got| got.clock) }
}

/// Two computers' clocks, or one warm and cold, differ by up to so much (crystals of 50 ppm; common practice, no source),
/// as a standard uncertainty of a rectangular distribution.
pub(crate) const CLOCK: f64 = 50e-6 / 1.732_050_8;

/// The report interval as told: the clock, as far as this computer's own is right; where there is none the median of
/// intervals, between bounds that hold their mean as well: where stamps scatter the one is off, where reports are missing the
/// other. None where the stamps are too coarse. (Added after the head of a verdict had told the median of intervals that
/// scatter, 1.0282 ± 0.004 ms for 1 ms, beside a clock of 1.0013.)
pub(crate) fn told(step: &StepView) -> Option<Quantity> {
    let median = step.interval.filter(|_| !step.coarse_clock())?;
    if let Some(clock) = clock(step) {
        let own = t_quantile(0.975, clock.df) * clock.uncertainty;
        return Some(Quantity::around(clock.interval, own.hypot(1.96 * CLOCK * clock.interval)));
    }
    let all = step.phases.iter().flat_map(|p| fast_intervals(&p.series, LONGEST_INTERVAL, step.due));
    let mean = mean(&all.collect::<Vec<_>>()).unwrap_or(median.value);
    Some(Quantity {
        low: median.low.map(|low| low.min(mean)),
        high: median.high.map(|high| high.max(mean)),
        ..median
    })
}

fn measure(step: &StepView) -> Result<Measured, &'static str> {
    let Clocked { spans, turns, runs, clock, lone, merged, empty, gone, frames } = clocked(step)?;
    let rough = step.interval.map_or(clock.interval, |q| q.value);
    let series: Vec<Vec<f64>> = runs.runs.iter().flat_map(crate::intervals::Run::intervals).collect();
    let line = structure(&series);
    let fraction_off = runs.off as f64 / runs.intervals.max(1) as f64;
    let slower = slower_when_fast(step.trace, &spans, rough);
    let rushes = rushes::find(step.trace, &spans, rough, &step.host);
    let nominal = match frames {
        Some(frames) => Some(frames.poll),
        None => asked_for(step).map(|n| polled(n, clock.interval)),
    };
    let uneven = uneven::find(step.phases.iter().map(|p| &p.series), clock.interval);
    Ok(Measured {
        turns,
        uneven,
        lone,
        counts_too: gone == Some(true),
        merged,
        empty,
        frames,
        runs,
        clock,
        nominal,
        line,
        fraction_off,
        slower,
        rushes,
    })
}

/// Reports that are lost, and those that are merged, one by one, if they are many.
fn lone_ones(step: &StepView, spans: &[(Nanos, Nanos)], slot: f64) -> [Option<Lone>; 2] {
    let many = |lone: &Lone| lone.rows.len() >= LEAST_LONE && lone.alone() >= TELLING;
    lone::find(step.trace, spans, slot, &step.host).map(|lone| Some(lone).filter(many))
}

/// Reports that are lost one by one, if they are many and the resolution does not say that their counts are there. One pass.
pub(super) fn lost_one_by_one(step: &StepView) -> Option<Lone> {
    if step.coarse_clock() {
        return None;
    }
    let spans: Vec<_> = swiped(step).map(|p| (p.span.begin, p.span.end)).collect();
    let [lone, _] = lone_ones(step, &spans, step.slot());
    lone.filter(|lone| counts_are_gone(step, lone.share()) != Some(false))
}

/// The interval that the descriptor asks for.
fn asked_for(step: &StepView) -> Option<f64> {
    step.nominal_interval.map(|n| n.0 as f64).filter(|n| *n >= 1.0)
}

/// Frames that polls sample, unless reports are as likely lost as never made: then the resolution is short by as much as polls
/// have no report. What it cannot tell from that is loss, while it is a few per cent.
fn frames(step: &StepView, spans: &[(Nanos, Nanos)]) -> Option<Frames> {
    let asked = asked_for(step)?;
    let found = |poll: f64| frames::find(step.trace, spans, poll, &step.host);
    let frames = found(asked).or_else(|| found(rounded_down(asked)))?;
    let empty = 1.0 - frames.poll / frames.clock.interval;
    let made = match counts_are_gone(step, empty) {
        Some(gone) => !gone,
        None => empty > 2.0 * SHORT,
    };
    made.then_some(frames)
}

/// The interval at which a host polls: the nominal, or where the measured one is nearer to it, the power of two below.
fn polled(nominal: f64, measured: f64) -> f64 {
    let down = rounded_down(nominal);
    let distance = |to: f64| (measured / to).ln().abs();
    if distance(down) < distance(nominal) { down } else { nominal }
}

fn rounded_down(nominal: f64) -> f64 {
    MICROFRAME * (nominal / MICROFRAME).max(1.0).log2().floor().exp2()
}

/// The strongest line of the intervals, frequency in cycles per report.
fn structure(series: &[Vec<f64>]) -> Option<Line> {
    let views: Vec<&[f64]> = series.iter().map(Vec::as_slice).collect();
    let length = spectrum::length_for(&views, SEGMENTS, SEGMENT);
    let intervals = spectrum::averaged(&views, length, 1.0, Window::Hann)?;
    // Stamps are the sum of intervals: 1 / (2 sin πf) of their amplitude.
    let stamps = intervals.clone().shaped(|f| if f > 0.0 { 0.5 / (PI * f).sin() } else { 0.0 });
    intervals.line_in_both(&stamps, 0.0..0.5)
}

/// How often the device reports if in every k-th poll only, k at least 2.
fn every_kth(measured: f64, nominal: f64) -> Option<u32> {
    let k = (measured / nominal).round();
    (k >= 2.0 && (measured / nominal / k - 1.0).abs() <= LEAST_LINE && k <= 1000.0).then_some(k as u32)
}

/// True if the plan itself says how far the interval may be off.
fn asked(step: &StepView) -> bool {
    step.plan.is_some_and(|p| p.tolerances.contains_key("report-interval"))
}

fn centre(step: &StepView, got: &Measured) -> Option<Criterion> {
    let nominal = got.nominal?;
    if every_kth(got.clock.interval, nominal).is_some() && !asked(step) {
        return None;
    }
    let (value, u) = (got.clock.interval / nominal - 1.0, got.clock.uncertainty / nominal);
    let tolerance = limits(step, Family::ReportInterval);
    let criterion =
        inside("interval over nominal", "relative", value, u, got.clock.df, tolerance, step.looks);
    // What a host polls for is no promise of as many frames.
    let owed = got.frames.is_none() || asked(step) || criterion.verdict == Outcome::Pass;
    if !owed && polls_unseen(got) {
        return Some(Criterion { verdict: Outcome::Inconclusive, ..criterion });
    }
    owed.then_some(criterion)
}

/// True if reports seem to come at whole polls only because the clock of the stamps ticks no more often.
fn polls_unseen(got: &Measured) -> bool {
    got.frames.is_some_and(|frames| got.runs.tick as f64 > 0.5 * frames.poll)
}

/// The interval of slower rows over that of the usual ones.
fn when_fast(step: &StepView, got: &Measured) -> Option<Criterion> {
    let Slower { usual, slower, .. } = got.slower?;
    let ratio = slower.interval / usual.interval;
    let u = ratio * (slower.uncertainty / slower.interval).hypot(usual.uncertainty / usual.interval);
    let (what, df) = ("interval in fast motion over that in slower", usual.df.min(slower.df));
    let tolerance = limits(step, Family::ReportInterval);
    Some(inside(what, "relative", ratio - 1.0, u, df, tolerance, step.looks))
}

/// Half the difference between intervals that alternate, over their mean.
fn alternating(step: &StepView, got: &Measured) -> Option<Criterion> {
    let turns = got.turns.filter(Turns::of_the_device)?;
    let tolerance = [None, limits(step, Family::ReportInterval)[1]];
    let (value, u, df) =
        (turns.swing() / turns.mean(), turns.uncertainty / turns.mean(), turns.seen as f64 - 1.0);
    Some(inside(
        "half the difference of alternating intervals",
        "relative",
        value,
        u,
        df,
        tolerance,
        step.looks,
    ))
}

/// Whether the resolution is short by a good part of this share of reports, so that their counts are missing too; `None` where
/// that is within what a sound device's is off, or nothing tells.
fn counts_are_gone(step: &StepView, share: f64) -> Option<bool> {
    let nominal = step.planned.and_then(Step::nominal).map(|n| n.per_millimetre());
    let measured = step.scale.filter(|s| s.basis != Basis::Nominal).map(|s| s.counts_per_mm);
    let short = 1.0 - measured? / nominal?;
    match short >= 0.5 * share {
        false => Some(false),
        true => (short >= SHORT).then_some(true),
    }
}

/// Swipes of each kind that tell whether those with reports missing are shorter.
const LEAST_OF_EACH: usize = 3;

/// True if reports are missing in some swipes and in others not, and the former are shorter by half of the share and by more than
/// placing: then counts went with them, whatever the nominal. `None` where that does not show. (Added after a device that lost
/// every fifth report from the middle of a session on, whose slow swipes had the nominal resolution, had been told to lose none.)
fn gone_in_part(step: &StepView, lone: &Lone) -> Option<bool> {
    let missing = |s: &SwipeView| {
        let from = lone.times.partition_point(|t| *t < s.swipe.begin);
        lone.times.iter().skip(from).take_while(|t| **t <= s.swipe.end).count()
    };
    let (mut whole, mut lacking, mut missed, mut reports) = (Vec::new(), Vec::new(), 0, 0);
    for (_, view) in step.swipes().filter(|(_, s)| !s.disturbed) {
        let (k, n) = (missing(view), view.swipe.rows.len());
        if k == 0 {
            whole.push(view.swipe.along);
        } else if k as f64 >= TELLING * n as f64 {
            lacking.push(view.swipe.along);
            (missed, reports) = (missed + k, reports + n);
        }
    }
    if whole.len().min(lacking.len()) < LEAST_OF_EACH {
        return None;
    }
    let (whole, lacking) = (median(&whole)?, median(&lacking)?);
    let share = missed as f64 / (missed + reports) as f64;
    let short = whole - lacking;
    (short >= 0.5 * share * whole && short > step.measure?.most).then_some(true)
}

/// Share of reports that are missing one by one.
fn missing(step: &StepView, got: &Measured) -> Option<Criterion> {
    let lone = got.lone.as_ref()?;
    one_by_one(step, lone, "reports missing one by one", got.counts_too)
}

/// Share of reports whose counts come with the next.
fn merged(step: &StepView, got: &Measured) -> Option<Criterion> {
    one_by_one(step, got.merged.as_ref()?, "reports merged with the next", false)
}

/// Share of slots that are empty for want of anything to say: a fault only if the plan says how often reports come. (Added
/// after a device that reported in six of ten slots had passed a plan that asked for 5 %.)
fn empty(step: &StepView, got: &Measured) -> Option<Criterion> {
    one_by_one(step, got.empty.as_ref().filter(|_| asked(step))?, "slots without a report", true)
}

/// A share of reports, that may show a fail or not.
fn one_by_one(step: &StepView, lone: &Lone, what: &'static str, fails: bool) -> Option<Criterion> {
    let limit = limits(step, Family::ReportInterval)[1]?;
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let (k, n) = (number(lone.missing), number(lone.slots));
    let criterion = share_at_most(what, "share of reports", k, n, limit, step.looks);
    let open = criterion.verdict == Outcome::Fail && !fails;
    Some(if open { Criterion { verdict: Outcome::Inconclusive, ..criterion } } else { criterion })
}

/// The period in which reports go missing.
fn period(step: &StepView, lone: &Lone) -> Option<Period> {
    let spans: Vec<(i64, i64)> = step.swipes().map(|(_, s)| (s.swipe.begin, s.swipe.end)).collect();
    // Every second slot is no period: that is the device's interval.
    periodicity(&lone.times, &spans).filter(|p| p.seconds * 1e9 > 2.5 * step.slot())
}

/// Swipes with reports that were held up, and all.
fn held_up(step: &StepView, got: &Measured) -> (u32, u32) {
    // Before its first report, too: it set out while they were held up.
    let shows = |begin: i64, end: i64| got.rushes.iter().any(|rush| rush.0 < end && begin <= rush.1);
    let swipes = || step.swipes().map(|(_, s)| &s.swipe);
    (swipes().filter(|s| shows(s.begin, s.end)).count() as u32, swipes().count() as u32)
}

/// Held-up reports in more swipes than a device may have dropouts in: whose they are is open. `None` if they are fewer.
fn too_often(step: &StepView, got: &Measured) -> Option<Criterion> {
    let (k, n) = held_up(step, got);
    let limit = limits(step, Family::Dropout)[1].filter(|limit| f64::from(k) > limit * f64::from(n))?;
    let criterion = share_at_most("swipes with reports held up", "share of swipes", k, n, limit, step.looks);
    Some(Criterion { verdict: Outcome::Inconclusive, ..criterion })
}

/// Wander is looked for from run to run and from piece to piece.
const LOOKS: f64 = 2.0;
/// Tails of a distribution are not believed beyond this.
const LEAST_CHANCE: f64 = 1e-9;

/// A period that is less likely than this by chance is told, whether or not it is a fault.
const TOLD: f64 = 0.01;

/// Reports that go missing one by one.
const MISSING: &str = "missing";
/// Reports whose counts come with the next.
const MERGED: &str = "merged";
/// Evidence of reports that are missing one by one: whether their counts are, too.
pub(super) const COUNTS_TOO: &str = "counts_missing_as_well";

impl Detector for ReportInterval {
    fn family(&self) -> Family {
        Family::ReportInterval
    }

    fn required(&self, _: &StepView) -> bool {
        false
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        if step.coarse_clock() {
            return;
        }
        let Ok(got) = measure(step) else { return };
        let clock = &got.clock;
        let level = FAIL_LEVEL / f64::from(step.looks.max(1));
        let mut add = |kind, size, p_false, cause, evidence| {
            findings.extend(finding(step, kind, (size, p_false), cause, evidence));
        };
        let off = got.nominal.map(|n| clock.interval / n - 1.0);
        if let (Some(off), Some(true)) = (off, centre(step, &got).map(|c| c.verdict == Outcome::Fail)) {
            let evidence = json!({
                "interval_us": round(clock.interval * 1e-3, 3),
                "polled_us": got.nominal.map(|n| round(n * 1e-3, 3)),
                "reports": clock.reports,
                "runs": got.runs.runs.len(),
            });
            let cause = if got.frames.is_some() { Cause::Unknown } else { Cause::Link };
            add("off-nominal", 100.0 * off, None, cause, evidence);
        }
        if let (Some(slower), Some(true)) =
            (got.slower, when_fast(step, &got).map(|c| c.verdict == Outcome::Fail))
        {
            let ratio = slower.slower.interval / slower.usual.interval;
            let per_m = step.counts_per_mm().map(|per_mm| 1e3 * per_mm);
            let evidence = json!({
                "interval_us": round(slower.slower.interval * 1e-3, 3),
                "usual_interval_us": round(slower.usual.interval * 1e-3, 3),
                "from_m_s": per_m.map(|per_m| round(slower.from / per_m, 3)),
                "reports": slower.slower.reports,
                "percent_of_intervals_as_fast": round(100.0 * slower.share, 1),
            });
            add("slower when fast", 100.0 * (ratio - 1.0), None, Cause::Unknown, evidence);
        }
        if let Some(lone) = &got.lone {
            let gone = got.counts_too;
            let evidence = json!({
                "reports_missing": lone.missing,
                "slots_in_fast_motion": lone.slots,
                COUNTS_TOO: gone,
                "period_ms": period(step, lone).map(|p| round(1e3 * p.seconds, 3)),
            });
            let cause = if gone && step.link != Some(CABLE) { Cause::Link } else { Cause::Unknown };
            add(MISSING, 100.0 * lone.share(), None, cause, evidence);
        }
        if let (Some(slots), Some(true)) = (&got.empty, empty(step, &got).map(|c| c.verdict == Outcome::Fail))
        {
            let evidence = json!({ "slots_empty": slots.missing, "slots_in_fast_motion": slots.slots });
            add("off-nominal", 100.0 * slots.share() / (1.0 - slots.share()), None, Cause::Unknown, evidence);
        }
        let too_many = merged(step, &got).is_some_and(|c| c.verdict != Outcome::Pass);
        if let Some(merged) = got.merged.as_ref().filter(|_| too_many) {
            let evidence = json!({
                "reports_merged": merged.missing,
                "slots_in_fast_motion": merged.slots,
                "period_ms": period(step, merged).map(|p| round(1e3 * p.seconds, 3)),
            });
            add(MERGED, 100.0 * merged.share(), None, Cause::Unknown, evidence);
        }
        if got.frames.is_some() {
            return; // Their beat against the polls is the structure, and how they scatter.
        }
        let (f, between, within) = clock.wander_f;
        let p_wander = FisherSnedecor::new(between, within).map_or(1.0, |d| LOOKS * d.sf(f));
        let tick = got.runs.tick as f64;
        let least = (LEAST_LINE * clock.interval).max(tick);
        let stamps = if got.runs.kernel { KERNEL_SPREAD } else { HOST_SPREAD };
        if let Some(turns) = got.turns {
            let evidence = json!({
                "shorter_us": round(turns.short * 1e-3, 1),
                "longer_us": round(turns.long * 1e-3, 1),
                "counts_longer_over_shorter": round(turns.counts, 2),
                "seen": turns.seen,
            });
            if turns.of_the_device() {
                add("alternating", 100.0 * turns.swing() / turns.mean(), None, Cause::Link, evidence);
            }
        } else if let Some(line) = got.line.filter(|l| l.p_false < level && l.amplitude >= least) {
            let shifted = off.is_some_and(|off| off.abs() > CLOCKS_AGREE) || got.runs.kernel;
            let evidence = json!({
                "amplitude_us": round(line.amplitude * 1e-3, 2),
                "period_reports": round(1.0 / line.frequency, 2),
                "period_ms": round(clock.interval * 1e-6 / line.frequency, 3),
                "noise_us": round(line.noise * 1e-3, 3),
                "clock_off_percent": off.map(|o| round(100.0 * o, 3)),
            });
            let cause = if shifted { Cause::Link } else { Cause::Unknown };
            add("structure", 100.0 * line.amplitude / clock.interval, Some(line.p_false), cause, evidence);
        } else if p_wander < level && clock.wander > (CLOCKS_AGREE * clock.interval).max(tick) {
            let evidence = json!({
                "standard_deviation_us": round(clock.wander * 1e-3, 3),
                "runs": got.runs.runs.len(),
                "f_ratio": round(f, 1),
            });
            add("wander", 100.0 * clock.wander / clock.interval, Some(p_wander), Cause::Link, evidence);
        } else if let Some(uneven) = got.uneven {
            let evidence = json!({
                "standard_deviation_us": round(1e-3 * uneven.spread * clock.interval, 1),
                "share_that_counts_follow": round(uneven.counts, 2),
                "reports": uneven.seen,
            });
            add("jitter", 100.0 * uneven.spread, None, Cause::Link, evidence);
        } else if clock.spread > stamps.max(tick) {
            let evidence = json!({
                "standard_deviation_us": round(clock.spread * 1e-3, 1),
                "a_host_explains_us": round(stamps * 1e-3, 0),
            });
            add("jitter", 100.0 * clock.spread / clock.interval, None, Cause::Unknown, evidence);
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.coarse_clock() {
            return coarse_stamps(step, Family::ReportInterval);
        }
        let got = match measure(step) {
            Ok(got) => got,
            Err(why) => return not_examined(step, Family::ReportInterval, why),
        };
        let own: Vec<&Finding> = findings.iter().filter(|f| f.family == Family::ReportInterval).collect();
        let because = words(step, &got);
        let (centre, often) = (centre(step, &got), too_often(step, &got));
        let merged = merged(step, &got);
        let held = often.is_some() || merged.as_ref().is_some_and(|c| c.verdict == Outcome::Inconclusive);
        let unseen =
            polls_unseen(&got) && centre.as_ref().is_some_and(|c| c.verdict == Outcome::Inconclusive);
        let more = [
            when_fast(step, &got),
            alternating(step, &got),
            missing(step, &got),
            merged,
            empty(step, &got),
            often,
        ];
        let criteria: Vec<Criterion> = centre.into_iter().chain(more.into_iter().flatten()).collect();
        if criteria.is_empty() {
            return FamilyVerdict {
                findings: own.len(),
                cause: super::common_cause(&own),
                ..not_examined(step, Family::ReportInterval, &because)
            };
        }
        let u = criteria[0].estimate.map(|q| q.high.map_or(f64::INFINITY, |h| h - q.value));
        let mut out = verdict(Family::ReportInterval, criteria, own.len(), because);
        out.cause = super::common_cause(&own);
        out.smallest_found = u.map(|u| 100.0 * u);
        if out.verdict == Outcome::Inconclusive {
            let held = held.then_some("the same on a computer that does nothing else, recorded by itself");
            let unseen =
                unseen.then_some("a recording whose stamps are finer than a third of the report interval");
            let more = "more swipes at a pace that uses every report";
            out.to_settle = Some(unseen.or(held).unwrap_or(more).to_owned());
        }
        out
    }
}

/// One finding over all phases that were looked at.
fn finding(
    step: &StepView,
    kind: &'static str,
    (size, p_false): (f64, Option<f64>),
    cause: Cause,
    evidence: Value,
) -> Option<Finding> {
    let unit = if kind == MISSING || kind == MERGED { "% of the reports" } else { "% of the interval" };
    let lasting = Lasting { family: Family::ReportInterval, kind, size, unit, cause };
    over_phases(step, swiped(step), lasting, evidence)
        .map(|finding| Finding { p_false: p_false.map(|p| p.max(LEAST_CHANCE)), ..finding })
}

/// The reason, in one sentence.
fn words(step: &StepView, got: &Measured) -> String {
    let clock = &got.clock;
    let ms = |ns: f64| ns * 1e-6;
    if let Some(frames) = &got.frames {
        let more = [lone_words(step, got), merged_words(step, got), slower_words(step, got), rush_words(got)]
            .concat();
        return frame_words(frames, polls_unseen(got)) + &more;
    }
    let against = match got.nominal {
        None => "no nominal to hold it against".to_owned(),
        Some(nominal) => match every_kth(clock.interval, nominal) {
            Some(k) => {
                format!("one report in {k} polls of {} ms: what the maker promises is not known", ms(nominal))
            }
            None => {
                format!(
                    "{:+.2} % from the {} ms polled",
                    100.0 * (clock.interval / nominal - 1.0),
                    ms(nominal)
                )
            }
        },
    };
    let line = got.line.filter(|_| got.turns.is_none());
    let line = line.map_or_else(String::new, |l| {
        let (us, reports, p) = (l.amplitude * 1e-3, 1.0 / l.frequency, l.p_false);
        match p < TOLD {
            true if p < LEAST_CHANCE => {
                format!("; every {reports:.1} reports a swing of {us:.1} µs (chance below 1e-9)")
            }
            true => format!("; every {reports:.1} reports a swing of {us:.1} µs (chance {p:.0e})"),
            false => "; no period in it".to_owned(),
        }
    });
    format!(
        "{:.4} ms in {} reports, {against}; stamps scatter by {:.1} µs, {:.1} % of intervals off by over a quarter{line}{}{}{}{}{}{}{}",
        ms(clock.interval),
        clock.reports,
        clock.spread * 1e-3,
        100.0 * got.fraction_off,
        turn_words(got),
        uneven_words(got),
        lone_words(step, got),
        merged_words(step, got),
        empty_words(step, got),
        slower_words(step, got),
        rush_words(got)
    )
}

fn frame_words(frames: &Frames, unseen: bool) -> String {
    let Frames { clock, poll, polls, counts } = frames;
    if unseen {
        return format!(
            "{:.4} ms in {} reports ({:+.1} % from the {} ms polled): an even clock of the device's own; its stamps are whole \
             polls, so whether polls sample frames or the device is slow is not seen",
            clock.interval * 1e-6,
            clock.reports,
            100.0 * (clock.interval / poll - 1.0),
            poll * 1e-6,
        );
    }
    let counts = match counts {
        Some(ratio) => format!(
            ", and bring one frame's counts after either ({ratio:.2} times as many after the longer, not {:.2})",
            (polls + 1) as f64 / *polls as f64
        ),
        None => String::new(),
    };
    format!(
        "{:.4} ms in {} reports: an even clock of the device's own ({:+.1} % from the {} ms polled), of which each poll takes \
         what is ready; so reports come {polls} or {} polls apart, none a poll off that clock{counts}: what the maker promises is \
         not known",
        clock.interval * 1e-6,
        clock.reports,
        100.0 * (clock.interval / poll - 1.0),
        poll * 1e-6,
        polls + 1,
    )
}

fn turn_words(got: &Measured) -> String {
    let Some(turns) = got.turns else { return String::new() };
    let counts = if turns.of_the_device() { ", and so do their counts" } else { ", but their counts do not" };
    format!("; alternates between {:.2} and {:.2} ms{counts}", 1e-6 * turns.short, 1e-6 * turns.long)
}

fn uneven_words(got: &Measured) -> String {
    match got.uneven.filter(|_| got.turns.is_none()) {
        Some(uneven) => format!(
            "; the device itself reports unevenly, by {:.0} % of the interval: counts are as uneven as the time that they cover",
            100.0 * uneven.spread
        ),
        None => String::new(),
    }
}

fn lone_words(step: &StepView, got: &Measured) -> String {
    let Some(lone) = &got.lone else { return String::new() };
    let empty = empty_slots(step, lone);
    let what = match counts_are_gone(step, lone.share()) {
        Some(true) => "counts are lost with them: reports are missing one by one",
        _ => {
            "the reports after them bring no more counts than others: reports are missing one by one, or the sensor sees \
             less often than the device may report"
        }
    };
    format!("{empty}, and {what}")
}

fn merged_words(step: &StepView, got: &Measured) -> String {
    let words = |lone: &Lone| {
        empty_slots(step, lone)
            + ", and the reports after them bring the counts of both: a report is left out each time"
    };
    got.merged.as_ref().map_or_else(String::new, words)
}

fn empty_words(step: &StepView, got: &Measured) -> String {
    let words = |slots: &Lone| {
        empty_slots(step, slots)
            + " for want of anything to say: the reports after them bring no more, and no counts are missing"
    };
    got.empty.as_ref().map_or_else(String::new, words)
}

fn empty_slots(step: &StepView, lone: &Lone) -> String {
    let period = period(step, lone).map_or_else(String::new, |p| p.words());
    format!("; {:.1} % of the slots in fast motion are empty{period}", 100.0 * lone.share())
}

fn slower_words(step: &StepView, got: &Measured) -> String {
    let Some(slower) = got.slower else { return String::new() };
    let (usual, longer) = (1e-6 * slower.usual.interval, 1e-6 * slower.slower.interval);
    let from = step.counts_per_mm().map_or_else(
        || "in the fastest motion".to_owned(),
        |per_mm| {
            let v = 1e-3 * slower.from / per_mm;
            format!("from {v:.2} m/s ({:.0} in/s) on", v / 0.0254)
        },
    );
    format!(
        "; {from} reports come every {longer:.3} ms instead of {usual:.3} ms, in {:.0} % of intervals as fast",
        100.0 * slower.share
    )
}

fn rush_words(got: &Measured) -> String {
    let lengths = || got.rushes.iter().map(|rush| 1e-6 * rush.1.saturating_sub(rush.0) as f64);
    let (shortest, longest) = (lengths().fold(f64::INFINITY, f64::min), lengths().fold(0.0, f64::max));
    match got.rushes.len() {
        0 => String::new(),
        times => format!(
            "; {} reports came in a rush after {shortest:.0} to {longest:.0} ms of nothing: this computer or the link held \
             them up",
            count(times, "time")
        ),
    }
}
