//! Default tolerances, each with its reason. A plan's own tolerance takes precedence.

use crate::verdict::Family;
use slipgauge_trace::session::{Plan, Tolerance};

/// One default.
struct Default {
    family: Family,
    limits: [Option<f64>; 2],
    unit: &'static str,
    source: &'static str,
}

const NO_SOURCE: &str = "common practice, no source";

/// Share of swipes that may show a fault: the exact bound that a screen of 15 clean swipes gives is 18.1 %, so a
/// screen can pass. A claim that is to be published asks for 5 % and 59 clean swipes.
const SHARE: [Option<f64>; 2] = [None, Some(0.20)];

const DEFAULTS: &[Default] = &[
    Default { family: Family::Dropout, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::TrackingLoss, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::SpinOut, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::CarryOn, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::ReportCeiling, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::Straightening, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    Default { family: Family::WakeUp, limits: SHARE, unit: "share of swipes", source: NO_SOURCE },
    // 0.1 mm/s is one count in 0.16 s at 1600 counts per inch: motion that a user sees within a second or two.
    Default { family: Family::Drift, limits: [None, Some(0.1)], unit: "mm/s", source: NO_SOURCE },
    // A change of sensitivity between slow and fast below this is less than the scatter of a hand's own aim.
    Default {
        family: Family::GainChange,
        limits: [Some(-0.02), Some(0.02)],
        unit: "relative",
        source: NO_SOURCE,
    },
    // Sensor data sheets state about 1 % typical; makers' steps are commonly off by several per cent.
    Default {
        family: Family::Resolution,
        limits: [Some(-0.10), Some(0.10)],
        unit: "relative",
        source: NO_SOURCE,
    },
    // Clocks of a sound link agree to 0.25 % (USB 2.0 section 7.1.11), a host that polls at the next power of two differs
    // by 20 % and more; 5 % lies between, and changes a lag by less than anyone can tell.
    Default {
        family: Family::ReportInterval,
        limits: [Some(-0.05), Some(0.05)],
        unit: "relative",
        source: NO_SOURCE,
    },
];

/// Out over back, less one: what goes out and comes back must end where it began, and a user meets a difference as he
/// meets gain change with speed; so the same limit, 2 % (7 degrees of a full turn). Common practice, no source.
pub const OUT_OVER_BACK: [Option<f64>; 2] = [Some(-0.02), Some(0.02)];

/// Resolution fore and aft over sideways, less one: a diagonal stroke comes out turned by half of it, 1.4 degrees for 5 %,
/// and a circle as an ellipse that can just be seen. Data sheets of sensors state about 1 % for either axis. Common practice,
/// no source.
pub const Y_OVER_X: [Option<f64>; 2] = [Some(-0.05), Some(0.05)];

/// Bursts at rest allowed per second: none in ten seconds gives an upper bound of 0.30 (3.00/T).
pub const STILL_BURSTS_PER_SECOND: f64 = 0.5;

/// Swing at rest that is allowed, from peak to peak, in millimetres: what the default for drift allows in a second, which
/// a user does not see at once. A place at a count's edge toggles by one count on any movement, so half a count of root
/// mean square on each axis is allowed whatever the resolution (common practice, no source).
pub const STILL_SWING_MM: f64 = 0.1;

/// The tolerance of a family: the plan's, else the default. `None` for a family that has neither.
pub fn tolerance(plan: Option<&Plan>, family: Family) -> Option<Tolerance> {
    let key = serde_json::to_value(family).ok().and_then(|v| v.as_str().map(str::to_owned))?;
    let own = plan.and_then(|plan| plan.tolerances.get(&key)).cloned();
    own.or_else(|| {
        let found = DEFAULTS.iter().find(|d| d.family == family)?;
        Some(Tolerance { limits: found.limits, unit: found.unit.to_owned(), source: found.source.to_owned() })
    })
}

/// Limits of a family's tolerance; free on both sides if it has none.
pub fn limits(plan: Option<&Plan>, family: Family) -> [Option<f64>; 2] {
    tolerance(plan, family).map_or([None, None], |t| t.limits)
}
