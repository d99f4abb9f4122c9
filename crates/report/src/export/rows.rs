//! Rows of the tables.

use crate::outside::cell;
use crate::text::spelled;
use serde::Serialize;
use slipgauge_analysis::Judgement;
use slipgauge_analysis::families::{is_clean, key, spoiled};
use slipgauge_analysis::scale::words;
use slipgauge_analysis::verdict::{Direction, Quantity, Verdict};

macro_rules! table {
    ($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident: $type:ty,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Serialize)]
        pub struct $name { $($(#[$field_doc])* pub $field: $type,)* }
        impl $name {
            /// Names of the columns.
            pub const NAMES: &[&str] = &[$(stringify!($field)),*];
        }
    };
}

table! {
    /// One swipe.
    SwipeRow {
        /// File.
        session: String,
        /// Device's label, or what it calls itself.
        device: Option<String>,
        /// Which specimen.
        unit: Option<String>,
        /// Step.
        step: u32,
        /// Phase.
        phase: u32,
        /// Swipe within the phase.
        swipe: u32,
        /// Pace asked for.
        pace: String,
        /// Out or back.
        direction: &'static str,
        /// Begin.
        begin_ns: i64,
        /// End.
        end_ns: i64,
        /// Counts along, between the rests around it.
        along_counts: f64,
        /// Counts across.
        across_counts: f64,
        /// Reports that moved something.
        moving_reports: usize,
        /// Sum of the sensor's X over them.
        x_counts: i64,
        /// Sum of the sensor's Y over them.
        y_counts: i64,
        /// Peak of the expected speed.
        peak_m_s: Option<f64>,
        /// True without a finding that touches its counts.
        clean: bool,
        /// Families with a finding in it.
        families: String,
    }
}

table! {
    /// One finding.
    FindingRow {
        /// File.
        session: String,
        /// Device's label, or what it calls itself.
        device: Option<String>,
        /// Which specimen.
        unit: Option<String>,
        /// Family.
        family: String,
        /// Kind within it.
        kind: String,
        /// Step.
        step: u32,
        /// Phase.
        phase: u32,
        /// Swipe.
        swipe: Option<u32>,
        /// Out or back.
        direction: Option<&'static str>,
        /// Begin.
        begin_ns: i64,
        /// End.
        end_ns: i64,
        /// Size.
        size: f64,
        /// Its unit.
        size_unit: String,
        /// Chance that a sound device shows one.
        p_false: Option<f64>,
        /// Where it comes from.
        cause: String,
        /// The evidence, as JSON.
        evidence_json: String,
    }
}

table! {
    /// One step.
    StepRow {
        /// File.
        session: String,
        /// Its hash.
        sha256: String,
        /// Device's label, or what it calls itself.
        device: Option<String>,
        /// Which specimen.
        unit: Option<String>,
        /// Pad or desk.
        surface: Option<String>,
        /// Version of detectors and tolerances.
        rules: String,
        /// Step.
        step: u32,
        /// Its label.
        label: Option<String>,
        /// What the maker says.
        nominal_counts_per_inch: Option<f64>,
        /// Outcome.
        verdict: String,
        /// Swipes asked for.
        swipes_asked: u32,
        /// Found.
        swipes_found: u32,
        /// Clean.
        swipes_clean: u32,
        /// Not placed.
        swipes_unplaced: u32,
        /// Fastest clean swipe.
        fastest_clean_m_s: Option<f64>,
        /// Fastest swipe.
        fastest_m_s: Option<f64>,
        /// Effective resolution.
        resolution_counts_per_inch: Option<f64>,
        /// Lower end.
        resolution_low_counts_per_inch: Option<f64>,
        /// Upper end.
        resolution_high_counts_per_inch: Option<f64>,
        /// Report interval.
        report_interval_ns: Option<f64>,
        /// Lower end.
        report_interval_low_ns: Option<f64>,
        /// Upper end.
        report_interval_high_ns: Option<f64>,
        /// Tracking limit; empty where there are bounds only.
        tracking_limit_m_s: Option<f64>,
        /// Lower end.
        tracking_limit_low_m_s: Option<f64>,
        /// Upper end.
        tracking_limit_high_m_s: Option<f64>,
        /// Findings.
        findings: usize,
        /// Families outside their tolerance.
        families_failing: String,
    }
}

fn side(direction: Direction) -> &'static str {
    match direction {
        Direction::Out => "out",
        Direction::Back => "back",
    }
}

/// Device and unit, made harmless.
fn device(v: &Verdict) -> (Option<String>, Option<String>) {
    let named = v.device.label.as_deref().or(v.device.name.as_deref());
    (named.map(cell), v.device.unit.as_deref().map(cell))
}

/// What JSON and CSV can both hold.
fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// All swipes of a session.
pub fn swipes(judgement: &Judgement) -> Vec<SwipeRow> {
    let v = &judgement.verdict;
    let (device, unit) = device(v);
    let mut out = Vec::new();
    for view in &judgement.steps {
        let own: Vec<_> = v.findings.iter().filter(|f| f.step == view.id).cloned().collect();
        let spoiled = spoiled(view, &own);
        for (phase, s) in view.swipes() {
            let at = key(phase, s);
            let mut families: Vec<String> = own
                .iter()
                .filter(|f| (f.phase, f.swipe) == (at.0, Some(at.1)))
                .map(|f| spelled(f.family))
                .collect();
            families.dedup();
            let rows = phase.series.samples.get(s.swipe.rows.clone()).unwrap_or_default();
            out.push(SwipeRow {
                session: cell(&v.session),
                device: device.clone(),
                unit: unit.clone(),
                step: view.id,
                phase: at.0,
                swipe: at.1,
                pace: words(phase.span.phase.pace).to_owned(),
                direction: side(s.swipe.direction),
                begin_ns: s.swipe.begin,
                end_ns: s.swipe.end,
                along_counts: s.swipe.along,
                across_counts: s.swipe.across,
                moving_reports: rows.len(),
                x_counts: rows.iter().map(|r| i64::from(r.x)).sum(),
                y_counts: rows.iter().map(|r| i64::from(r.y)).sum(),
                peak_m_s: view.scale.and_then(|_| finite(s.grid.peak() * 1e-3)),
                clean: is_clean(&spoiled, phase, s),
                families: families.join(" + "),
            });
        }
    }
    out
}

/// All findings of a session.
pub fn findings(v: &Verdict) -> Vec<FindingRow> {
    let (device, unit) = device(v);
    let row = |f: &slipgauge_analysis::verdict::Finding| FindingRow {
        session: cell(&v.session),
        device: device.clone(),
        unit: unit.clone(),
        family: spelled(f.family),
        kind: f.kind.to_owned(),
        step: f.step,
        phase: f.phase,
        swipe: f.swipe,
        direction: f.direction.map(side),
        begin_ns: f.begin_ns,
        end_ns: f.end_ns,
        size: f.size,
        size_unit: f.unit.to_owned(),
        p_false: f.p_false.and_then(finite),
        cause: spelled(f.cause),
        evidence_json: serde_json::to_string(&f.evidence).unwrap_or_default(),
    };
    v.findings.iter().map(row).collect()
}

/// All steps of a session. `surface` is that of its header.
pub fn steps(v: &Verdict, surface: Option<&str>) -> Vec<StepRow> {
    let (device, unit) = device(v);
    let ends = |q: Option<Quantity>| (q.map(|q| q.value), q.and_then(|q| q.low), q.and_then(|q| q.high));
    let row = |s: &slipgauge_analysis::verdict::StepVerdict| {
        let (resolution, interval) = (ends(s.resolution_counts_per_inch), ends(s.report_interval_ns));
        let limit = ends(s.tracking_limit_m_s);
        let failing = s.families.iter().filter(|f| f.verdict == slipgauge_analysis::verdict::Outcome::Fail);
        let failing = failing.map(|f| spelled(f.family));
        // One of them fails, and which is not known.
        let together =
            s.together.iter().map(|t| t.families.iter().map(spelled).collect::<Vec<_>>().join(" or "));
        StepRow {
            session: cell(&v.session),
            sha256: v.sha256.clone(),
            device: device.clone(),
            unit: unit.clone(),
            surface: surface.map(cell),
            rules: v.rules.to_owned(),
            step: s.step,
            label: s.label.as_deref().map(cell),
            nominal_counts_per_inch: s.nominal_counts_per_inch.and_then(finite),
            verdict: spelled(s.verdict),
            swipes_asked: s.swipes.asked,
            swipes_found: s.swipes.found,
            swipes_clean: s.swipes.clean,
            swipes_unplaced: s.swipes.unplaced,
            fastest_clean_m_s: s.swept.fastest_clean_m_s,
            fastest_m_s: s.swept.fastest_m_s,
            resolution_counts_per_inch: resolution.0,
            resolution_low_counts_per_inch: resolution.1,
            resolution_high_counts_per_inch: resolution.2,
            report_interval_ns: interval.0,
            report_interval_low_ns: interval.1,
            report_interval_high_ns: interval.2,
            tracking_limit_m_s: limit.0.filter(|_| limit.1.is_some() && limit.2.is_some()),
            tracking_limit_low_m_s: limit.1,
            tracking_limit_high_m_s: limit.2,
            findings: v.findings.iter().filter(|f| f.step == s.step).count(),
            families_failing: failing.chain(together).collect::<Vec<_>>().join(" + "),
        }
    };
    v.steps.iter().map(row).collect()
}
