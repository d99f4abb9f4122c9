//! The pictures of a judgement, each with what it is called and what it shows: a page takes them into its text, and each
//! stands by itself as a file.

use crate::figure::{
    self as draw, Area, ladder, limit, ribbon, scale_curve, shortfall, spectrum, still, ways,
};
use crate::text;
use maud::Markup;
use serde_json::Value;
use slipgauge_analysis::intervals;
use slipgauge_analysis::lengths::Lengths;
use slipgauge_analysis::series::fast_intervals;
use slipgauge_analysis::spectrum::{Window, averaged};
use slipgauge_analysis::step::{PhaseView, StepView, SwipeView};
use slipgauge_analysis::tolerances;
use slipgauge_analysis::verdict::{Family, Finding, StepVerdict, Verdict};
use slipgauge_trace::Nanos;

/// Size of a picture of the whole step.
const LARGE: (f64, f64) = (560.0, 300.0);
/// Size of the rails, which are flat, of the ladder, which has a strip below it, and of a rest map.
const LOW: (f64, f64) = (560.0, 220.0);
/// See [`LOW`].
const TALL: (f64, f64) = (560.0, 340.0);
/// See [`LOW`].
const SQUARE: (f64, f64) = (300.0, 300.0);
/// Size of an excerpt.
const WIDE: (f64, f64) = (620.0, 250.0);
/// Intervals longer than this are no intervals of motion, as analysis has it.
const LONGEST: Nanos = Nanos(20_000_000);
/// Segment of the spectrum, in reports.
const SEGMENT: usize = 64;
/// An excerpt reaches so far to either side of what it shows: this share of it, and at least so many nanoseconds.
const AROUND: (f64, f64) = (0.6, 25e6);

/// One picture.
pub struct Picture {
    /// Unlike that of any other of the judgement; letters, digits and hyphens.
    pub id: String,
    /// What it is called.
    pub title: String,
    /// What it shows.
    pub what: String,
    /// Width and height.
    pub size: (f64, f64),
    /// The drawing.
    pub body: Markup,
}

impl Picture {
    /// As a file of its own.
    pub fn svg(&self) -> String {
        draw::sheet(self.size.0, self.size.1, &self.title, &self.body)
    }

    /// Within a page that has styles and patterns.
    pub fn inline(&self) -> Markup {
        draw::inline(&self.id, self.size, &self.title, &self.what, &self.body)
    }
}

/// All of a step that there is anything to show for, in the order in which they are read.
pub fn of_step(v: &Verdict, view: &StepView, said: &StepVerdict) -> Vec<Picture> {
    let drawn = |name: &str, size: (f64, f64), title: &str, what: &str, body: Option<Markup>| {
        let (id, title, what) = (format!("step-{}-{name}", view.id), title.to_owned(), what.to_owned());
        Some(Picture { id, title, what, size, body: body? })
    };
    let all: Vec<(&PhaseView, &SwipeView)> = view.swipes().collect();
    let fast: Vec<(&SwipeView, bool)> =
        view.fast_swipes().map(|(p, s)| (s, faulty(&v.findings, p, s))).collect();
    let travel = view.travel.map(|t| t.millimetres());
    let lacking = drawn(
        "shortfall",
        LARGE,
        "Shortfall of fast swipes",
        "Millimetres missing against the place along the travel. A line that climbs is a swipe that loses counts there; between the edges of the grey cloud lie all clean swipes.",
        travel.and_then(|travel| shortfall::draw(&fast, travel, whole(LARGE))),
    );
    let curve = said.gain_curve.as_ref().and_then(|curve| {
        let limits = tolerances::limits(view.plan, Family::GainChange);
        scale_curve::draw(curve, limits, whole(LARGE))
    });
    let fit = said.gain_curve.as_ref().map_or_else(String::new, |c| {
        let p = c.lack_of_fit_p.map_or_else(String::new, |p| match p < 0.01 {
            true => " Lack of fit: chance below 0.01, so the curve is not the whole of it.".to_owned(),
            false => format!(" Lack of fit: chance {p:.2}."),
        });
        format!(
            "Millimetres per count against speed, relative to the slowest bin, over {} swipes; brackets are 95 % intervals. \
             For diagnosis: it decides nothing.{p}",
            c.swipes
        )
    });
    let curve = drawn("scale", LARGE, "Scale curve", &fit, curve);
    let counts_per_mm = view.counts_per_mm();
    let lengths: Vec<ways::Way> = all
        .iter()
        .filter_map(|(p, s)| {
            let mm = s.swipe.along / counts_per_mm?;
            Some(ways::Way { direction: s.swipe.direction, mm, clean: !faulty(&v.findings, p, s) })
        })
        .collect();
    let own: Vec<Finding> = v.findings.iter().filter(|f| f.step == view.id).cloned().collect();
    let ratio =
        Lengths::of(view, &own).and_then(|l| l.out_over_back(|_| true)).map_or_else(String::new, |r| {
            format!(
                " Out over back: {:+.2} % (standard uncertainty {:.2} %, {} and {} swipes).",
                100.0 * r.value,
                100.0 * r.uncertainty,
                r.n.0,
                r.n.1
            )
        });
    let ways = drawn(
        "ways",
        LOW,
        "Out against back",
        &format!(
            "Counted length of every swipe; a notch at each median, open rings for swipes with a finding.{ratio}"
        ),
        ways::draw(&lengths, whole(LOW)),
    );
    let tracked = tracked(v, view, said).map(|l| limit::draw(&l, whole(LARGE)));
    let tracked = drawn(
        "limit",
        LARGE,
        "Tracking limit",
        "Swipes at their peak speed: above those that kept track, below, hatched, those that lost it. The band is the 95 % interval of the limit.",
        tracked,
    );
    let gaps: Vec<f64> = view
        .phases
        .iter()
        .filter(|p| !p.swipes.is_empty())
        .flat_map(|p| fast_intervals(&p.series, LONGEST, view.due))
        .map(|ns| ns * 1e-6)
        .collect();
    let fastest = all.iter().max_by(|a, b| a.1.grid.peak().total_cmp(&b.1.grid.peak())).map(|s| &s.1.grid);
    let asked = view.nominal_interval.map(|n| n.0 as f64 * 1e-6);
    let rungs = drawn(
        "ladder",
        TALL,
        "Interval ladder",
        "Share of report intervals in fast motion that are at most so long; time in the logarithm, both ends spread.",
        ladder::draw(gaps, asked, fastest, whole(TALL)),
    );
    let period = drawn(
        "spectrum",
        LARGE,
        "Spectrum of report intervals",
        "Amplitude of what is periodic in the intervals between reports; the broken line is the period that was found.",
        periods(v, view),
    );
    let steps = [lacking, tracked, curve, ways, rungs, period].into_iter().flatten();
    rests(v, view).into_iter().chain(steps).collect()
}

fn whole(size: (f64, f64)) -> Area {
    Area { x: 0.0, y: 0.0, w: size.0, h: size.1 }
}

/// Peaks of swipes that kept track or lost it; `None` where nothing was lost and no speed is needed.
fn tracked(v: &Verdict, view: &StepView, said: &StepVerdict) -> Option<limit::Limit> {
    let needed =
        view.plan.and_then(|p| p.need.get("speed_m_s")).and_then(Value::as_f64).filter(|v| v.is_finite());
    let mut out = limit::Limit { limit: said.tracking_limit_m_s, needed, ..limit::Limit::default() };
    for (phase, swipe) in view.swipes() {
        let findings = of_swipe(&v.findings, phase, swipe);
        let peak = swipe.grid.peak() * 1e-3;
        if findings.iter().any(|f| f.family == Family::TrackingLoss) {
            out.lost.push(peak);
        } else if findings.is_empty() {
            out.kept.push(peak);
        }
    }
    (!out.lost.is_empty() || (needed.is_some() && !out.kept.is_empty())).then_some(out)
}

fn rests(v: &Verdict, view: &StepView) -> Vec<Picture> {
    let Some(counts_per_mm) = view.counts_per_mm().filter(|c| *c > 0.0) else { return Vec::new() };
    let one = |phase: &PhaseView| {
        let own = v.findings.iter().filter(|f| f.phase == phase.span.number);
        let map = own.filter_map(|f| f.evidence.get("rest_map")).next();
        let number = |key: &str| map.and_then(|m| m.get(key)).and_then(Value::as_f64);
        let ellipse = number("ellipse_long").zip(number("ellipse_short")).zip(number("ellipse_degrees"));
        let ellipse = ellipse.map(|((long, short), degrees)| still::Ellipse { long, short, degrees });
        let about = ellipse.map_or("", |_| " The filled ellipse holds 95 % of places about the trend.");
        Picture {
            id: format!("step-{}-rest-{}", view.id, phase.span.number),
            title: format!("Rest map, phase {}", phase.span.number),
            what: format!(
                "The path reported while the device lay still, with rings in millimetres, from the ring to the cross.{about}"
            ),
            size: SQUARE,
            body: still::draw(phase, counts_per_mm, "", ellipse, whole(SQUARE)),
        }
    };
    view.still().map(one).collect()
}

/// The spectrum of report intervals, where a period was found in them.
fn periods(v: &Verdict, view: &StepView) -> Option<Markup> {
    let own = |f: &&Finding| f.step == view.id && f.family == Family::ReportInterval && f.kind == "structure";
    let period = v.findings.iter().find(own)?.evidence.get("period_reports")?.as_f64()?;
    let spans: Vec<(Nanos, Nanos)> =
        view.phases.iter().filter(|p| !p.swipes.is_empty()).map(|p| (p.span.begin, p.span.end)).collect();
    let rows: Vec<Vec<f64>> =
        intervals::runs(view.trace, &spans, view.slot()).runs.iter().flat_map(|r| r.intervals()).collect();
    let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
    let found = averaged(&rows, SEGMENT, 1.0, Window::Hann)?;
    spectrum::draw(&found, period, whole(LARGE))
}

/// Findings of a swipe.
pub(crate) fn of_swipe<'a>(
    findings: &'a [Finding],
    phase: &PhaseView,
    swipe: &SwipeView,
) -> Vec<&'a Finding> {
    let here = |f: &&Finding| f.phase == phase.span.number && f.swipe == Some(swipe.swipe.number);
    findings.iter().filter(here).collect()
}

/// True if a swipe has a finding.
fn faulty(findings: &[Finding], phase: &PhaseView, swipe: &SwipeView) -> bool {
    !of_swipe(findings, phase, swipe).is_empty()
}

/// The largest findings of each family at a step, so many of a family: indices into the findings.
pub fn largest(findings: &[Finding], step: u32, most: usize) -> Vec<usize> {
    let mut own: Vec<usize> = (0..findings.len()).filter(|&i| findings[i].step == step).collect();
    own.sort_by(|&a, &b| {
        let (a, b) = (&findings[a], &findings[b]);
        a.family.cmp(&b.family).then(b.size.abs().total_cmp(&a.size.abs()))
    });
    let mut out: Vec<usize> = Vec::new();
    for i in own {
        if out.iter().filter(|&&o| findings[o].family == findings[i].family).count() < most {
            out.push(i);
        }
    }
    out
}

/// The swipe around a finding, larger; `None` for a finding at rest. `number` is the finding's, from 1.
pub fn excerpt(view: &StepView, findings: &[Finding], number: usize) -> Option<Picture> {
    let f = findings.get(number.checked_sub(1)?)?;
    let n = f.swipe?;
    let swipe =
        view.swipes().find(|(p, s)| (p.span.number, s.swipe.number) == (f.phase, n)).map(|(_, s)| s)?;
    let grid = &swipe.grid;
    if grid.along_mm.is_empty() {
        return None;
    }
    let around = (AROUND.0 * f.end_ns.saturating_sub(f.begin_ns) as f64).max(AROUND.1) as i64;
    let (from, to) =
        (grid.index(f.begin_ns.saturating_sub(around)), grid.index(f.end_ns.saturating_add(around)) + 1);
    let from = from.min(grid.along_mm.len().saturating_sub(2));
    let part = ribbon::part(swipe, from, to.max(from + 2));
    let shown = |other: &&Finding| {
        (other.phase, other.swipe) == (f.phase, f.swipe)
            && other.begin_ns <= f.end_ns.saturating_add(around)
            && other.end_ns >= f.begin_ns.saturating_sub(around)
    };
    let shown: Vec<&Finding> = findings.iter().filter(shown).collect();
    let top = grid.peak().max(part.grid.peak()).max(1.0) * 1.12e-3;
    let begin = (part.grid.begin - grid.begin) as f64 * 1e-6;
    Some(Picture {
        id: format!("finding-{number}"),
        title: format!("Excerpt: {} in phase {}, swipe {n}", f.family.words(), f.phase),
        what: format!(
            "Expected speed as a ridge, counted speed as a line, what is missing hatched; {} from {:.3} s on.",
            text::size(f),
            f.begin_ns as f64 * 1e-9
        ),
        size: WIDE,
        body: ribbon::draw_from(&part, &shown, whole(WIDE), top, ribbon::Detail::Full, begin),
    })
}
