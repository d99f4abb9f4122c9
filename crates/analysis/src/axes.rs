//! Resolution along the device's two body axes, where a step was swiped along both.
//!
//! Phases say which axis they run along (`axis`, `x` for sideways or `y` for fore and aft; else the plan's). Those of the
//! plan's axis, or of the first swipes' where the plan has none, are the step that all families judge; the others are a view of
//! their own, with a direction, a scale and lengths of their own, of which only the resolution is used here, and findings in
//! single swipes. The mark is a hint: both directions are found from the counts, and if they are not at least
//! [`APART`] apart, nothing is compared.
//!
//! ```text
//! ratio = R_y / R_x,   u²(ratio)/ratio² = u²(R_x)/R_x² + u²(R_y)/R_y²
//! ```
//!
//! Each R with all of its own uncertainty ([`crate::scale`]), the travel's too: a turned device has another body length
//! between the stops, so its travel is measured anew (`travel_um` in the phase, where it differs from the plan's), and errors
//! of the two need not be alike. Degrees of freedom by Welch and Satterthwaite. Smallest found: 0.5 % more than the
//! tolerance, with 0.5 mm of 300 known, ten slow swipes each way and stops within 0.5 mm, along a straight edge (written before the
//! first run, which showed ± 1.8 % at 95 % without one: arc and yaw count for each axis).
//! Cost: that of looking at the other axis's phases.

use crate::lengths::Lengths;
use crate::scale::{Resolution, effective};
use crate::series::Frame;
use crate::stats::{effective_df, t_quantile};
use crate::step::StepView;
use crate::verdict::{AxesVerdict, Finding, Quantity};
use slipgauge_trace::Metres;
use slipgauge_trace::recording::PhaseSpan;
use slipgauge_trace::session::{Axis, Plan};

/// Sine of the least angle between the two directions: 60 degrees. A device is turned by 90 by eye, and laid down some ten
/// degrees off square at worst.
const APART: f64 = 0.866;

/// Both resolutions.
#[derive(Clone, Copy, Debug)]
pub struct Axes {
    /// Sideways.
    pub x: Resolution,
    /// Fore and aft.
    pub y: Resolution,
    /// Fore and aft over sideways.
    pub ratio: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// The part of it that more swipes make smaller.
    pub placing: f64,
    /// Degrees of freedom.
    pub df: f64,
}

/// The axis that a phase of swipes is marked with.
fn marked(span: &PhaseSpan) -> Option<Axis> {
    span.phase.swipes?;
    match span.phase.other.get("axis")?.as_str()? {
        "x" => Some(Axis::X),
        "y" => Some(Axis::Y),
        _ => None,
    }
}

/// The phases that a step is judged by, and those along the other axis.
pub fn apart<'a>(plan: Option<&Plan>, spans: &[&'a PhaseSpan]) -> (Vec<&'a PhaseSpan>, Vec<&'a PhaseSpan>) {
    let first = spans.iter().find_map(|span| marked(span));
    let has = |axis: Axis| spans.iter().any(|span| marked(span) == Some(axis));
    let own = plan.and_then(|p| p.axis).filter(|axis| has(*axis)).or(first);
    spans.iter().partition(|span| marked(span).is_none_or(|axis| Some(axis) == own))
}

/// The travel that swipe phases state for themselves, if they agree.
pub fn own_travel(spans: &[&PhaseSpan]) -> Option<Metres> {
    let swiped = spans.iter().filter(|span| span.phase.swipes.is_some());
    let mut all = swiped.map(|span| span.phase.other.get("travel_um").and_then(|um| um.as_i64()));
    let first = all.next()??;
    all.all(|um| um == Some(first)).then(|| Metres::from_micrometres(first))
}

/// Compares them; else why not.
///
/// # Errors
/// The reason, for a person.
pub fn compare(step: &StepView, findings: &[Finding]) -> Result<Axes, &'static str> {
    let other = step.other_axis.as_deref().ok_or("swiped along one axis only")?;
    let (Some(a), Some(b)) = (step.frame, other.frame) else { return Err("no motion along one axis") };
    if sine(a, b) < APART {
        return Err("the device was not turned: both directions are alike");
    }
    let resolution = |view: &StepView| -> Option<Resolution> {
        let found = effective(view, &Lengths::of(view, findings)?, findings)?;
        (!found.at_least && found.counts_per_mm > 0.0).then_some(found)
    };
    let few = "no travel, or fewer than three clean swipes of one pace along one axis";
    let (own, theirs) = resolution(step).zip(resolution(other)).ok_or(few)?;
    let along = step.phases.iter().find_map(|p| marked(&p.span)).or(step.plan.and_then(|p| p.axis));
    let (x, y) = if along == Some(Axis::Y) { (theirs, own) } else { (own, theirs) };
    let ratio = y.counts_per_mm / x.counts_per_mm;
    let share = |r: &Resolution| (r.uncertainty / r.counts_per_mm, r.df);
    let parts = [share(&x), share(&y)];
    let placing = (x.placing / x.counts_per_mm).hypot(y.placing / y.counts_per_mm);
    Ok(Axes {
        x,
        y,
        ratio,
        uncertainty: ratio * parts[0].0.hypot(parts[1].0),
        placing: ratio * placing,
        df: effective_df(&parts),
    })
}

fn sine(a: Frame, b: Frame) -> f64 {
    (a.cos * b.sin - a.sin * b.cos).abs()
}

impl Axes {
    /// As it is written.
    pub fn written(&self) -> AxesVerdict {
        AxesVerdict {
            x_counts_per_inch: self.x.per_inch(),
            y_counts_per_inch: self.y.per_inch(),
            y_over_x: Quantity::around(self.ratio, t_quantile(0.975, self.df) * self.uncertainty),
        }
    }
}
