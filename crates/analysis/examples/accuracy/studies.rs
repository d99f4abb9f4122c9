//! The studies that make the table: sound sessions, sessions near their tolerances, faults by size, intervals, .
//!
//! Each is a function from a plan (how many, from which seed) to Markdown, with the seeds of what went wrong after it.

use crate::cases::{CASES, Case};
use crate::intervals::{COVERAGE, Held, contrast, coverage_row, held, limit, limit_rows, resolution};
use crate::near::{NEAR, NEAR_SHARE};
use crate::run::{Ran, parallel, run};
use crate::score::{self, Tally};
use crate::space::{Fixed, Scene};
use crate::table::{Table, share, short};
use slipgauge_analysis::verdict::{Family, Outcome};
use std::collections::BTreeMap;

/// How many sessions, and which.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Sound sessions; other studies take their share.
    pub sessions: usize,
    /// First seed.
    pub from: u64,
    /// Only studies and cases whose name contains it.
    pub only: String,
    /// Of faults only this size.
    pub size: Option<f64>,
    /// No progress on standard error.
    pub quiet: bool,
}

impl Plan {
    /// True if a study is asked for.
    pub fn wants(&self, name: &str) -> bool {
        name.contains(&self.only)
    }

    /// Sessions of one cell of the table of faults: 300 of 8,000, and no more unless one size is asked for.
    pub fn cell(&self) -> usize {
        let share = (self.sessions * 3).div_ceil(80).max(1);
        if self.size.is_some() { share } else { share.min(300) }
    }
}

/// Counts of families, commonest first.
pub fn by_family(all: impl Iterator<Item = Family>) -> Vec<(Family, usize)> {
    let mut count: BTreeMap<Family, usize> = BTreeMap::new();
    all.for_each(|f| *count.entry(f).or_default() += 1);
    let mut count: Vec<_> = count.into_iter().collect();
    count.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    count
}

pub fn named(counts: &[(Family, usize)], per: usize) -> String {
    let words =
        counts.iter().map(|(f, n)| format!("{} {:.1}", f.words(), 1000.0 * *n as f64 / per.max(1) as f64));
    let words: Vec<String> = words.collect();
    if words.is_empty() { "none".to_owned() } else { words.join(", ") }
}

/// First seeds of sessions that something is true of.
pub fn seeds<T>(plan: &Plan, all: &[T], what: impl Fn(&T) -> bool) -> String {
    let hits = (plan.from..).zip(all).filter(|(_, t)| what(t)).map(|(seed, _)| seed.to_string());
    hits.take(12).collect::<Vec<_>>().join(" ")
}

/// A sound session with 60 fast swipes.
pub fn sound_scene(seed: u64) -> Scene {
    Scene::sound(seed, "sound", Fixed { fast: 60, ..Fixed::default() })
}

struct SoundResult {
    tally: Tally,
    straight: bool,
    resolution: Option<Held>,
    contrast: Option<Held>,
    interval_ns: i64,
    open: Vec<Family>,
}

/// Sound sessions: fails, passes, inventions, and whether intervals cover.
pub fn sound(plan: &Plan) -> String {
    if !plan.wants("sound") {
        return String::new();
    }
    let all: Vec<SoundResult> = parallel("sound", plan.sessions, plan.quiet, |i| {
        let scene = sound_scene(plan.from + i as u64);
        let straight = scene.straight_edge;
        let interval_ns = scene.bench.device.link.interval_ns;
        run(scene).ok().map(|ran| SoundResult {
            tally: score::session(&ran),
            straight,
            resolution: resolution(&ran),
            contrast: contrast(&ran),
            interval_ns,
            open: open(&ran),
        })
    })
    .into_iter()
    .flatten()
    .collect();
    let n = all.len();
    let mut table =
        Table::new("Sound sessions, 60 fast swipes", &["what", "share (exact 95 % interval)", "target"]);
    let fails = |r: &SoundResult| !r.tally.failing.is_empty();
    let count = |what: &dyn Fn(&SoundResult) -> bool| all.iter().filter(|r| what(r)).count();
    let row = |table: &mut Table, what: &str, k, n, target: &str| {
        table.row(&[what.to_owned(), share(k, n), target.to_owned()]);
    };
    row(&mut table, "any family fails", count(&fails), n, "at most 3 in 8000");
    row(&mut table, "passes", count(&|r| r.tally.passes), n, "at least 90 %");
    let straight = count(&|r| r.straight);
    row(&mut table, "passes, along a straight edge", count(&|r| r.straight && r.tally.passes), straight, "");
    row(&mut table, "any finding", count(&|r| !r.tally.invented.is_empty()), n, "");
    row(&mut table, "a swipe reported as unplaced", count(&|r| r.tally.unplaced > 0), n, "");
    for interval_ns in [125_000, 250_000, 500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000] {
        let here = |r: &SoundResult| r.interval_ns == interval_ns;
        let name = format!("passes, at {} ms", interval_ns as f64 * 1e-6);
        row(&mut table, &name, count(&|r| here(r) && r.tally.passes), count(&here), "");
    }
    let mut out = table.text();
    let invented = by_family(all.iter().flat_map(|r| r.tally.invented.iter().copied()));
    out += &format!("\nFindings invented per 1000 sound sessions (n = {n}): {}.\n", named(&invented, n));
    let failing = by_family(all.iter().flat_map(|r| r.tally.failing.iter().copied()));
    out += &format!("Fails per 1000 (n = {n}): {}.\n", named(&failing, n));
    let open = by_family(all.iter().flat_map(|r| r.open.iter().copied()));
    out += &format!("Required and neither pass nor fail, per 1000 (n = {n}): {}.\n", named(&open, n));
    let mut seen = format!("- sound: fails {}", seeds(plan, &all, fails));
    for (family, _) in &invented {
        seen += &format!("; {} {}", family.words(), seeds(plan, &all, |r| r.tally.invented.contains(family)));
    }
    seen += &format!("; unplaced {}", seeds(plan, &all, |r| r.tally.unplaced > 0));
    let lone = |r: &SoundResult| !r.tally.passes && r.tally.invented.is_empty() && r.tally.unplaced == 0;
    seen += &format!("; open without finding {}", seeds(plan, &all, lone));
    let off = |h: &Option<Held>| h.is_some_and(|h| h.error.abs() > 0.01);
    let uncovered = |h: &Option<Held>| h.is_some_and(|h| !h.covered);
    seen += &format!("; resolution not covered {}", seeds(plan, &all, |r| uncovered(&r.resolution)));
    seen += &format!("; contrast not covered {}", seeds(plan, &all, |r| uncovered(&r.contrast)));
    seen += &format!("; resolution off by 1 % {}", seeds(plan, &all, |r| off(&r.resolution)));
    seen += &format!("; contrast off by 1 % {}\n", seeds(plan, &all, |r| off(&r.contrast)));
    let mut table = Table::new("Intervals, sound sessions", COVERAGE);
    let pick = |edge: bool, which: &dyn Fn(&SoundResult) -> Option<Held>| -> Vec<Option<Held>> {
        all.iter().filter(|r| r.straight == edge).map(which).collect()
    };
    coverage_row(&mut table, "resolution, straight edge", &pick(true, &|r| r.resolution));
    coverage_row(&mut table, "resolution, no edge", &pick(false, &|r| r.resolution));
    coverage_row(&mut table, "gain contrast, straight edge", &pick(true, &|r| r.contrast));
    coverage_row(&mut table, "gain contrast, no edge", &pick(false, &|r| r.contrast));
    out + &table.text() + "\nSeeds:\n\n" + &seen
}

/// Families that keep a session from passing without failing it.
fn open(ran: &Ran) -> Vec<Family> {
    let families = ran.step().map(|s| s.families.as_slice()).unwrap_or_default();
    families.iter().filter(|f| f.verdict == Outcome::Inconclusive).map(|f| f.family).collect()
}

/// Sessions at nine tenths of one tolerance.
pub fn near(plan: &Plan) -> String {
    if !plan.wants("near") {
        return String::new();
    }
    let n = (plan.sessions / NEAR.len()).max(1);
    let heads = [
        "sound but for",
        "n",
        "any family fails",
        "that family fails",
        "others that fail",
        "that family passes",
    ];
    let mut table = Table::new("At nine tenths of a tolerance (20 fast swipes)", &heads);
    let mut covers = Table::new("Exact intervals of shares and rates", COVERAGE);
    let (mut seen, mut total, mut total_fails) = (String::new(), 0, 0);
    for (name, family, apply) in NEAR {
        let all: Vec<_> = parallel(name, n, plan.quiet, |i| {
            let mut scene = Scene::sound(plan.from + i as u64, name, Fixed::default());
            apply(&mut scene);
            let ran = run(scene).ok()?;
            let estimate = match family {
                // Spin-outs of slow swipes are too small to be seen, so their share has no such truth.
                Family::Dropout => ran
                    .family(*family)
                    .and_then(|f| f.estimate)
                    .map(|q| held(q, NEAR_SHARE, q.value - NEAR_SHARE)),
                Family::GainChange => contrast(&ran),
                Family::Resolution => resolution(&ran),
                _ => None,
            };
            let passes = ran.family(*family).is_some_and(|f| f.verdict == Outcome::Pass);
            Some((score::session(&ran), estimate, passes))
        })
        .into_iter()
        .flatten()
        .collect();
        let own = all.iter().filter(|(t, _, _)| t.failing.contains(family)).count();
        let any = all.iter().filter(|(t, _, _)| !t.failing.is_empty()).count();
        (total, total_fails) = (total + all.len(), total_fails + any);
        let others = all.iter().flat_map(|(t, _, _)| t.failing.iter().copied()).filter(|f| f != family);
        let others: Vec<String> =
            by_family(others).into_iter().map(|(f, n)| format!("{} {n}", f.words())).collect();
        table.row(&[
            (*name).to_owned(),
            all.len().to_string(),
            share(any, all.len()),
            own.to_string(),
            others.join(", "),
            short(all.iter().filter(|(_, _, passes)| *passes).count(), all.len()),
        ]);
        if any > 0 {
            seen += &format!("- {name}: {}\n", seeds(plan, &all, |(t, _, _)| !t.failing.is_empty()));
        }
        let estimates: Vec<Option<Held>> = all.iter().map(|(_, held, _)| *held).collect();
        if estimates.iter().any(Option::is_some) {
            coverage_row(&mut covers, name, &estimates);
        }
    }
    table.row(&[
        "all".to_owned(),
        total.to_string(),
        share(total_fails, total),
        String::new(),
        String::new(),
        String::new(),
    ]);
    table.text() + &covers.text() + "\nSeeds that fail:\n\n" + &seen
}

/// A session of a fault at a size.
pub fn case_scene(case: &Case, size: f64, seed: u64) -> Scene {
    let mut scene = Scene::sound(seed, case.name, Fixed::default());
    (case.apply)(&mut scene, size);
    scene
}

/// Every fault at its stated smallest size and at larger ones.
pub fn families(plan: &Plan) -> String {
    let heads = [
        "fault",
        "size",
        "sessions",
        "with none told",
        "with a miss",
        "events missed",
        "under another family",
        "told with another of the swipe",
        "in swipes reported as unplaced",
        "in swipes reported as disturbed",
        "cause right / unknown / wrong",
        "kind right",
        "two findings for one",
        "invented per session",
        "family fails",
        "session passes",
    ];
    let mut table = Table::new("Faults by size (20 fast swipes)", &heads);
    let mut covers = Table::new("Tracking limit", COVERAGE);
    let mut limits = Vec::new();
    let mut seen = String::new();
    for case in CASES.iter().filter(|c| plan.wants(c.name)) {
        for &size in case.sizes.iter().filter(|own| plan.size.is_none_or(|size| **own == size)) {
            let what = format!("{} {size}", case.name);
            let all: Vec<(Tally, Option<Held>)> = parallel(&what, plan.cell(), plan.quiet, |i| {
                let ran = run(case_scene(case, size, plan.from + i as u64)).ok()?;
                Some((score::case(case, &ran), limit(case.family, &ran)))
            })
            .into_iter()
            .flatten()
            .collect();
            limits.extend(all.iter().map(|(_, limit)| *limit).filter(|_| case.name == "tracking silent"));
            let all: Vec<Tally> = all.into_iter().map(|(tally, _)| tally).collect();
            family_row(&mut table, case, size, &all);
            let missed = seeds(plan, &all, |t| t.missed > 0);
            let elsewhere = seeds(plan, &all, |t| t.elsewhere > 0);
            let cause = seeds(plan, &all, |t| t.cause[2] > 0);
            let kind = seeds(plan, &all, |t| t.kind.0 < t.kind.1);
            let invented = seeds(plan, &all, |t| !t.invented.is_empty());
            seen += &format!(
                "- {} {size}: missed {missed}; elsewhere {elsewhere}; wrong cause {cause}; ",
                case.name
            );
            seen += &format!("wrong kind {kind}; invented {invented}\n");
        }
    }
    if seen.is_empty() {
        return String::new();
    }
    limit_rows(&mut covers, "tracking limit", &limits);
    table.text() + &covers.text() + "\nSeeds:\n\n" + &seen
}

/// Events of a session that its family tells nothing of.
fn untold(t: &Tally) -> usize {
    t.missed + t.elsewhere + t.in_unplaced + t.disturbed
}

fn family_row(table: &mut Table, case: &Case, size: f64, all: &[Tally]) {
    let sum = |what: &dyn Fn(&Tally) -> usize| all.iter().map(what).sum::<usize>();
    let n = all.len();
    let scored = all.iter().filter(|t| t.events > 0).count();
    let events = sum(&|t| t.events);
    let cause = [0, 1, 2].map(|i| sum(&|t| t.cause[i]));
    let causes = cause.iter().sum::<usize>().max(1) as f64;
    let percent = |k: usize| format!("{:.1}", 100.0 * k as f64 / causes);
    let fails = sum(&|t| usize::from(t.fails));
    let blind = all.iter().all(|t| t.not_examined);
    let invented = by_family(all.iter().flat_map(|t| t.invented.iter().copied()));
    let per: Vec<String> =
        invented.iter().map(|(f, k)| format!("{} {:.2}", f.words(), *k as f64 / n.max(1) as f64)).collect();
    table.row(&[
        case.name.to_owned(),
        format!("{size} {}", case.unit),
        scored.to_string(),
        share(all.iter().filter(|t| t.events > 0 && t.events == untold(t)).count(), scored),
        share(all.iter().filter(|t| t.missed > 0).count(), scored),
        short(sum(&|t| t.missed), events),
        short(sum(&|t| t.elsewhere), events),
        short(sum(&|t| t.with_another), events),
        short(sum(&|t| t.in_unplaced), events),
        short(sum(&|t| t.disturbed), events),
        if cause == [0; 3] { "–".to_owned() } else { cause.map(percent).join(" / ") + " %" },
        short(sum(&|t| t.kind.0), sum(&|t| t.kind.1)),
        sum(&|t| t.doubled).to_string(),
        per.join(", "),
        if blind { "not examined".to_owned() } else { short(fails, n) },
        short(sum(&|t| usize::from(t.passes)), n),
    ]);
}
