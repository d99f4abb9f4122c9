//! False motion in single reports, too small to be told one by one: by the lengths of the swipes that hold it.
//!
//! A *spike* is a report whose counts lie off the median of the three before it and the three after it by more than rounding,
//! noise and an arm, which its two neighbours do not make up; or one that comes at once after a report that was in time. It
//! may be sound: where frames beat against reports, one report holds a frame more, and the travel knows of it. So the swipes
//! are asked. With l a swipe's length and e the sum of its spikes, each less the mean of its phase and direction,
//!
//! ```text
//! l = b e + placing          b = 0: the travel holds them;   b = 1: no travel does
//! ```
//!
//! and spikes are false motion if b's interval lies within [`FALSE`] and chance makes such a b as rarely as one step may be
//! failed. *Doubled* if they repeat the report before, else *spikes*; one finding a swipe, worth [`LEAST_MM`] and more.
//!
//! Nor may phases and directions differ by more than placing without their spikes: a gain makes long what holds more of them. (Added
//! after gains of 10 % had failed as spikes in 2 of 300 sessions.)
//!
//! Assumes that what spikes add does not go with a swipe's true length otherwise. Swipes that lack or hold other counts are left
//! out of the fit, and those whose length neither explains. Needs [`LEAST_SWIPES`] with spikes. What is less than an arm makes
//! within a report (1 mm at 4 ms) is none; what comes within three reports of another is one with it, up to [`MOST`] reports.
//! (Added after a device that told one report in twenty twice, and so counted 5 % too much, had been seen to pass.)
//! Cost: O(reports).

use crate::decision::FAIL_LEVEL;
use crate::erratic::{LEAST_MM, from_rest};
use crate::families::{Event, count, in_swipe, key, round};
use crate::series::{RUSHED, Sample};
use crate::stats::regression::least_squares;
use crate::stats::{median, t_quantile};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, Finding};
use serde_json::json;
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

pub(super) const DOUBLED: &str = "doubled";
const SPIKES: &str = "spikes";
pub(super) const REPORTS: &str = "reports";
const LONGER: &str = "mm_longer_per_mm_too_much";
/// Reports on either side that say what is due.
const BESIDE: usize = 3;
/// A report and its due are rounded, and hold the noise of some counts.
const ROUNDING: f64 = 2.5;
/// Five standard deviations of 2 % a report, and of its due.
const NOISE: f64 = 0.15;
/// Reports are one interval apart if no further from it than this share: else a host was late, or one is missing.
const IN_TIME: f64 = 0.4;
/// The slope of what is false is 1, and of what the travel holds 0.
const FALSE: (f64, f64) = (0.5, 1.5);
/// One swipe may be long by chance where it holds a spike; three are not.
const LEAST_SWIPES: usize = 3;
/// Reports of one spike at the most, where several are off near to each other.
const MOST: usize = 8;
/// Spikes that repeat the report before: all but those that another one stands beside.
pub(super) const MOSTLY: f64 = 0.8;
/// Either end of the slope's 95 % interval.
const LEVEL: f64 = 0.975;
/// Lengths are whole counts, at two ends: variance of their rounding.
const ROUNDED: f64 = 1.0 / 6.0;

/// A swipe's spikes.
struct Spiked<'a> {
    phase: &'a PhaseView,
    view: &'a SwipeView,
    /// Rows of the phase's series, and what each holds too much, counts along.
    spikes: Vec<(usize, f64)>,
    /// Spikes of one report, and those of them that are as much as the report before.
    alone: usize,
    doubled: usize,
}

impl Spiked<'_> {
    fn excess(&self) -> f64 {
        self.spikes.iter().map(|(_, counts)| counts).sum()
    }
}

/// What lengths say of the spikes.
struct Told {
    slope: (f64, f64),
    p: f64,
    swipes: usize,
}

/// Spikes of a step's swipes, if no travel holds them; but for swipes that are told already.
pub(super) fn of_step(step: &StepView, told: &BTreeSet<(u32, u32)>) -> Vec<Finding> {
    let Some(scale) = step.scale else { return Vec::new() };
    let all: Vec<Spiked> = step.swipes().filter_map(|(phase, view)| spikes(step, phase, view)).collect();
    let Some(lengths) = by_lengths(step, &all, told) else { return Vec::new() };
    let count = |of: &dyn Fn(&Spiked) -> usize| all.iter().map(of).sum::<usize>();
    let (doubled, alone) = (count(&|s| s.doubled), count(&|s| s.alone));
    let twice = doubled > 0 && doubled as f64 >= MOSTLY * alone as f64;
    let finding = |s: &Spiked| {
        let (first, last) = (s.spikes.first()?.0, s.spikes.last()?.0);
        let size = s.spikes.iter().map(|(_, counts)| counts.abs()).sum::<f64>() / scale.counts_per_mm;
        if size < LEAST_MM || told.contains(&key(s.phase, s.view)) {
            return None;
        }
        let at = |row: usize| s.phase.series.samples.get(row).map_or(0, |s| s.t);
        let event = Event {
            family: Family::SpinOut,
            kind: if twice { DOUBLED } else { SPIKES },
            begin: at(first.saturating_sub(1)),
            end: at(last),
            size,
            unit: "mm of false motion",
            cause: cause(step, twice),
        };
        let evidence = json!({
            REPORTS: s.spikes.len(),
            "of_the_swipes_reports": s.view.swipe.rows.len(),
            "as_much_as_the_report_before": s.doubled,
            "mm_too_much": round(s.excess() / scale.counts_per_mm, 2),
            LONGER: [round(lengths.slope.0, 2), round(lengths.slope.1, 2)],
            "swipes_held_against_each_other": lengths.swipes,
        });
        let mut finding = in_swipe(step, s.phase, s.view, event, evidence);
        finding.p_false = Some(lengths.p);
        Some(finding)
    };
    all.iter().filter_map(finding).collect()
}

/// What told them, for the family's reason; empty without any.
pub(super) fn words(findings: &[Finding]) -> String {
    let own = findings.iter().filter(|f| f.family == Family::SpinOut);
    let Some(first) = own.clone().find(|f| [DOUBLED, SPIKES].contains(&f.kind)) else { return String::new() };
    let reports: u64 = own.filter_map(|f| f.evidence.get(REPORTS)?.as_u64()).sum();
    let what = match first.kind == DOUBLED {
        true => "tell the motion of the one before once more",
        false => "lie off what their neighbours hold",
    };
    let slope: Vec<f64> = first
        .evidence
        .get(LONGER)
        .and_then(|v| v.as_array())
        .map_or(Vec::new(), |ends| ends.iter().filter_map(|end| end.as_f64()).collect());
    match slope[..] {
        [low, high] => format!(
            "; {} {what}, and no travel holds that: swipes are longer by {low:.2} to {high:.2} mm for each mm of it",
            count(reports as usize, "report")
        ),
        _ => {
            format!("; {} {what}, between two that are one interval apart", count(reports as usize, "report"))
        }
    }
}

/// A report that comes twice is a radio's whose receipt got lost, or the firmware's; other spikes are the sensor's or of what
/// reads it.
pub(super) fn cause(step: &StepView, twice: bool) -> Cause {
    match (twice, step.link) {
        (true, Some("radio" | "bluetooth")) => Cause::Link,
        (true, _) => Cause::Firmware,
        (false, _) => Cause::Sensor,
    }
}

/// A swipe's spikes, none near the stops: what lies there is of the strike and of setting out.
fn spikes<'a>(step: &StepView, phase: &'a PhaseView, view: &'a SwipeView) -> Option<Spiked<'a>> {
    let (frame, slot, scale) = (phase.frame?, step.slot(), step.scale?);
    let samples = phase.series.samples.get(view.swipe.rows.clone())?;
    let counts = view.swipe.counts(samples, frame);
    let reports = Reports { samples, counts, slot, arm: from_rest(scale.counts_per_mm, slot) };
    let mut spiked = Spiked { phase, view, spikes: Vec::new(), alone: 0, doubled: 0 };
    for rows in reports.off() {
        let Some(excess) = reports.excess(&rows) else { continue };
        if rows.start() == rows.end() {
            spiked.alone += 1;
            spiked.doubled += usize::from(reports.is_again(*rows.start()));
        }
        spiked.spikes.push((view.swipe.rows.start + rows.start(), excess));
    }
    Some(spiked)
}

/// The reports of one swipe.
struct Reports<'a> {
    samples: &'a [Sample],
    /// Along and across.
    counts: Vec<(f64, f64)>,
    slot: f64,
    /// Counts that an arm makes of rest within a slot.
    arm: f64,
}

impl Reports<'_> {
    /// Runs of reports that are off what is due, those near to each other together; none that is long.
    fn off(&self) -> Vec<RangeInclusive<usize>> {
        let mut runs: Vec<RangeInclusive<usize>> = Vec::new();
        let off = |row: &usize| {
            let off = self.due(&(*row..=*row)).map(|due| (self.counts[*row].0 - due).abs() > self.bound(due));
            off == Some(true) || self.at_once(*row)
        };
        for row in (1..self.samples.len()).filter(off) {
            match runs.last_mut() {
                Some(last) if row - last.end() <= BESIDE => *last = *last.start()..=row,
                _ => runs.push(row..=row),
            }
        }
        runs.retain(|rows| rows.end() - rows.start() < MOST);
        runs
    }

    /// Counts that a run and the report on either side of it hold beyond what is due, if that is no hand's.
    fn excess(&self, run: &RangeInclusive<usize>) -> Option<f64> {
        let with = run.start().checked_sub(1)?..=run.end() + 1;
        let due = self.due(&with)?;
        let intervals = with.clone().filter(|row| !self.at_once(*row)).count() as f64;
        let excess = self.counts.get(with)?.iter().map(|c| c.0).sum::<f64>() - intervals * due;
        (excess.abs() > self.bound(due)).then_some(excess)
    }

    /// True if a report holds what the one before it held, by itself or on top of its own.
    fn is_again(&self, row: usize) -> bool {
        let (before, own) = (self.counts[row - 1], self.counts[row]);
        let times = if self.at_once(row) { 1.0 } else { 2.0 };
        let bound = ROUNDING + NOISE * before.0.hypot(before.1);
        (own.0 - times * before.0).abs() <= bound && (own.1 - times * before.1).abs() <= bound
    }

    /// Median counts of the reports beside some, if they and all of these are in time and none is empty.
    fn due(&self, rows: &RangeInclusive<usize>) -> Option<f64> {
        let (first, last) = (rows.start().checked_sub(BESIDE)?, rows.end() + BESIDE);
        if first == 0 || last >= self.samples.len() || !(first..=last).all(|row| self.in_order(row)) {
            return None;
        }
        let beside = (first..*rows.start()).chain(rows.end() + 1..last + 1).filter(|row| !self.at_once(*row));
        median(&beside.map(|row| self.counts[row].0).collect::<Vec<f64>>())
    }

    fn bound(&self, due: f64) -> f64 {
        ROUNDING + NOISE * due.abs() + self.arm
    }

    fn in_order(&self, row: usize) -> bool {
        let sample = &self.samples[row];
        let alone = sample.idle_before == 0 && sample.timed;
        alone && (self.in_time(self.apart(row)) || self.at_once(row) || self.at_once(row - 1))
    }

    /// True for a report that came at once after one, and the next one after both in time.
    fn at_once(&self, row: usize) -> bool {
        let last = row + 1 >= self.samples.len() || row < 1;
        !last && self.apart(row) < RUSHED * self.slot && self.in_time(self.apart(row) + self.apart(row + 1))
    }

    fn in_time(&self, interval: f64) -> bool {
        (interval - self.slot).abs() <= IN_TIME * self.slot
    }

    fn apart(&self, row: usize) -> f64 {
        self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64
    }
}

/// Whether swipes are longer by what their spikes hold.
fn by_lengths(step: &StepView, all: &[Spiked], told: &BTreeSet<(u32, u32)>) -> Option<Told> {
    let placing = step.measure?.most;
    let changed = step.at_another_step();
    let whole = |s: &&Spiked| {
        let key = key(s.phase, s.view);
        let view = s.view;
        let odd = view.disturbed || view.clip.is_some();
        !odd && view.silences.is_empty() && !told.contains(&key) && !changed.contains(&key)
    };
    let mut groups: BTreeMap<(u32, bool), Vec<(f64, f64)>> = BTreeMap::new();
    for s in all.iter().filter(whole) {
        let out = s.view.swipe.sign() > 0.0;
        groups.entry((s.phase.span.number, out)).or_default().push((s.excess(), s.view.swipe.along));
    }
    // Against the middle of either: of lengths with their spikes, and of those without.
    let explained = |group: &Vec<(f64, f64)>| -> Vec<(f64, f64)> {
        let middle = |of: &dyn Fn(&(f64, f64)) -> f64| median(&group.iter().map(of).collect::<Vec<f64>>());
        let (Some(with), Some(without)) = (middle(&|g| g.1), middle(&|g| g.1 - g.0)) else {
            return Vec::new();
        };
        let fits = |g: &&(f64, f64)| (g.1 - with).abs().min((g.1 - g.0 - without).abs()) <= placing;
        group.iter().filter(fits).copied().collect()
    };
    let groups: Vec<Vec<(f64, f64)>> = groups.values().map(explained).collect();
    // Without them all paces are as long.
    let without =
        groups.iter().filter_map(|group| median(&group.iter().map(|g| g.1 - g.0).collect::<Vec<f64>>()));
    let (least, most) = without.fold((f64::INFINITY, 0.0f64), |(a, b), l| (a.min(l), b.max(l)));
    if most - least > placing {
        return None;
    }
    // Nor may it be those two that reach furthest.
    let told = slope(&groups, step.looks)?;
    slope(&without_furthest(&groups, LEAST_SWIPES - 1), step.looks).map(|_| told)
}

/// Groups of excess and length but for the swipes whose excess lies furthest off their group's median. (Added after one swipe
/// that an operator had stopped 6 mm short, by less than placing, had made a sensor's frames false motion by itself.)
fn without_furthest(groups: &[Vec<(f64, f64)>], so_many: usize) -> Vec<Vec<(f64, f64)>> {
    let mut groups = groups.to_vec();
    for _ in 0..so_many {
        let off = |group: &Vec<(f64, f64)>| -> Option<(usize, f64)> {
            let middle = median(&group.iter().map(|g| g.0).collect::<Vec<f64>>())?;
            let each = group.iter().map(|g| (g.0 - middle).abs()).enumerate();
            each.max_by(|a, b| a.1.total_cmp(&b.1))
        };
        let all = groups.iter().enumerate().filter_map(|(i, group)| Some((i, off(group)?)));
        let Some((group, (at, _))) = all.max_by(|a, b| a.1.1.total_cmp(&b.1.1)) else { break };
        groups[group].remove(at);
    }
    groups
}

/// One slope of length on excess for all groups, and a mean length for each; `None` if it is not that of false motion.
fn slope(groups: &[Vec<(f64, f64)>], looks: u32) -> Option<Told> {
    let groups: Vec<&Vec<(f64, f64)>> = groups.iter().filter(|g| g.len() >= 2).collect();
    let excess: Vec<f64> = groups.iter().flat_map(|g| g.iter()).map(|g| g.0).collect();
    let lengths: Vec<f64> = groups.iter().flat_map(|g| g.iter()).map(|g| g.1).collect();
    if excess.iter().filter(|e| **e != 0.0).count() < LEAST_SWIPES {
        return None;
    }
    let of_group = |own: usize| {
        let each = groups.iter().enumerate();
        each.flat_map(|(i, g)| vec![if i == own { 1.0 } else { 0.0 }; g.len()]).collect()
    };
    let mut columns: Vec<Vec<f64>> = (0..groups.len()).map(of_group).collect();
    columns.push(excess);
    let mut fit = least_squares(&columns, &lengths).filter(|fit| fit.df > 0)?;
    fit.residual_sd = fit.residual_sd.max(ROUNDED.sqrt());
    let (slope, error, df) = (*fit.coefficients.last()?, fit.error(columns.len() - 1), fit.df as f64);
    let reach = t_quantile(LEVEL, df) * error;
    let p = StudentsT::new(0.0, 1.0, df).ok()?.sf(slope / error);
    let interval = (slope - reach, slope + reach);
    let is_false = interval.0 > FALSE.0 && interval.1 < FALSE.1 && p * f64::from(looks) < FAIL_LEVEL;
    is_false.then_some(Told { slope: interval, p: p.max(super::LEAST_CHANCE), swipes: lengths.len() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twenty swipes of 9000 counts and placing, of which a frame more in some reports makes an excess that the travel holds;
    /// one of them is short in both. Then twenty of which the excess is on top.
    #[test]
    fn one_swipe_that_is_short_makes_no_false_motion_of_frames() {
        let placing = |i: usize| 6.0 * ((i * 7 % 11) as f64 - 5.0);
        let frames = |i: usize| 600.0 + 4.0 * ((i * 5 % 13) as f64 - 6.0);
        let mut sound: Vec<(f64, f64)> = (0..20).map(|i| (frames(i), 9000.0 + placing(i))).collect();
        sound[3] = (200.0, 8700.0);
        let looks = 30;
        assert!(slope(&[sound.clone()], looks).is_some(), "by itself it does");
        assert!(slope(&without_furthest(&[sound], 2), looks).is_none());
        let twice = |i: usize| 450.0 + 60.0 * ((i * 5 % 13) as f64 - 6.0);
        let doubled: Vec<(f64, f64)> = (0..20).map(|i| (twice(i), 9000.0 + placing(i) + twice(i))).collect();
        assert!(slope(&without_furthest(&[doubled], 2), looks).is_some());
        assert_eq!(without_furthest(&[vec![(1.0, 1.0)]], 2), [vec![]]);
    }

    /// Reports of 1 ms at 2 m/s and 63 counts a millimetre, rising by one each; what becomes of them.
    fn found(change: impl Fn(usize, &mut (i64, f64))) -> Vec<(usize, f64)> {
        let mut told: Vec<(i64, f64)> = (0..40).map(|i| (i as i64 * 1_000_000, 126.0 + i as f64)).collect();
        told.iter_mut().enumerate().for_each(|(i, report)| change(i, report));
        told.sort_by_key(|(t, _)| *t);
        let sample =
            |(t, counts): &(i64, f64)| Sample { t: *t, x: *counts as i32, y: 0, timed: true, idle_before: 0 };
        let samples: Vec<Sample> = told.iter().map(sample).collect();
        let counts = told.iter().map(|(_, counts)| (*counts, 0.0)).collect();
        let reports = Reports { samples: &samples, counts, slot: 1e6, arm: 4.7 };
        reports.off().iter().filter_map(|run| Some((*run.start(), reports.excess(run)?))).collect()
    }

    #[test]
    fn a_report_that_holds_too_much_is_found_with_what_it_holds_too_much() {
        assert_eq!(found(|_, _| ()), []);
        let all = found(|i, report| report.1 += if i == 20 { 100.0 } else { 0.0 });
        assert!(all.len() == 1 && all[0].0 == 20 && (all[0].1 - 100.0).abs() < 3.0, "{all:?}");
        let all = found(|i, report| report.1 -= if i == 20 { 100.0 } else { 0.0 });
        assert!(all.len() == 1 && (all[0].1 + 100.0).abs() < 3.0, "{all:?}");
        let two = found(|i, report| report.1 *= if i == 20 || i == 22 { 2.0 } else { 1.0 });
        assert!(two.len() == 1 && (two[0].1 - 294.0).abs() < 6.0, "{two:?}");
    }

    #[test]
    fn what_the_next_report_makes_up_is_none_and_nor_is_what_a_late_one_holds() {
        let made_up = found(|i, report| {
            report.1 *= match i {
                20 => 2.0,
                21 => 0.0,
                _ => 1.0,
            }
        });
        assert_eq!(made_up, []);
        // Read by 0.9 ms too late, so that the next one is there at once.
        assert_eq!(found(|i, report| report.0 += if i == 20 { 900_000 } else { 0 }), []);
        // Missing, and twice as much after it.
        let held = found(|i, report| match i {
            20 => *report = (1_000_000_000, 126.0),
            21 => report.1 *= 2.0,
            _ => (),
        });
        assert_eq!(held, []);
    }

    #[test]
    fn a_report_that_comes_again_at_once_is_found() {
        let all = found(|i, report| *report = if i == 39 { (20_020_000, 146.0) } else { *report });
        assert!(all.len() == 1 && all[0].0 == 21 && (all[0].1 - 146.0).abs() < 3.0, "{all:?}");
    }
}
