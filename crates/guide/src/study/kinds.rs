//! The faults that a study may ask about: a few with sizes of their own, and the rest of the simulator's catalogue.

use super::{Asked, StudyError};
use serde_json::json;
use slipgauge_analysis::{tolerances, verdict};
use slipgauge_sim::{Family, Named, catalogue};

/// How a size is laid into a bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Laid {
    /// As the catalogue does.
    Named,
    /// The catalogue's limit of tracking, as a share of the fast swipes' peak speed.
    ShareOfPeak,
    /// Reports of 12 ms come late half-way through a swipe, in each swipe with this chance.
    LateAtRandom,
}

/// A fault that can be studied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    /// Its name.
    pub name: &'static str,
    /// Its family.
    pub family: Family,
    /// Unit of its sizes.
    pub unit: &'static str,
    /// One clause for a person.
    pub what: &'static str,
    /// Sizes that a study asks about if none is told.
    pub sizes: &'static [f64],
    pub(super) laid: Laid,
}

/// Those that a study asks about if none is named; sizes are spread about what the default tolerances allow.
const USUAL: [Kind; 4] = [
    Kind {
        name: "tracking-silent",
        family: Family::TrackingLoss,
        unit: "of the fast peak",
        what: "the sensor reports nothing above this share of the fast swipes' peak speed",
        sizes: &[1.2, 1.1, 1.05, 1.0, 0.95, 0.9, 0.8],
        laid: Laid::ShareOfPeak,
    },
    Kind {
        name: "dropout-late",
        family: Family::Dropout,
        unit: "of the swipes",
        what: "reports of 12 ms come late half-way, in this share of all swipes, at random",
        sizes: &[0.05, 0.1, 0.2, 0.35, 0.5, 0.75],
        laid: Laid::LateAtRandom,
    },
    Kind {
        name: "creep",
        family: Family::Drift,
        unit: "mm/s",
        what: "counts add up at rest at this rate",
        sizes: &[0.03, 0.06, 0.1, 0.15, 0.2, 0.4],
        laid: Laid::Named,
    },
    Kind {
        name: "gain-step",
        family: Family::GainChange,
        unit: "share",
        what: "gain differs by this much above 1 m/s",
        sizes: &[-0.01, -0.02, -0.03, -0.04, -0.06],
        laid: Laid::Named,
    },
];

/// All that can be studied: the usual ones first. What the operator or the host does, and what takes a reference device,
/// is left out.
pub fn kinds() -> Vec<Kind> {
    let usual = |named: &&Named| USUAL.iter().all(|kind| kind.name != named.name);
    let of_device = |named: &&Named| {
        !matches!(named.family, Family::Operator | Family::Host | Family::Lag | Family::StrikeLag)
    };
    let others = catalogue().iter().filter(usual).filter(of_device).map(|named| Kind {
        name: named.name,
        family: named.family,
        unit: named.unit,
        what: named.what,
        sizes: std::slice::from_ref(&named.usual),
        laid: Laid::Named,
    });
    USUAL.into_iter().chain(others).collect()
}

impl Kind {
    /// Largest size that the default tolerance of its family allows, where the two have one unit.
    pub fn tolerated(&self) -> Option<f64> {
        let family = verdict::Family::ALL.into_iter().find(|family| json!(family) == json!(self.family))?;
        let tolerance = tolerances::tolerance(None, family)?;
        let alike = matches!(
            (tolerance.unit.as_str(), self.unit),
            ("share of swipes", "of the swipes") | ("relative", "share")
        );
        tolerance.limits[1].filter(|_| alike || tolerance.unit == self.unit)
    }
}

impl Asked {
    /// The usual ones, with their sizes.
    pub fn usual() -> Vec<Asked> {
        USUAL.map(|kind| Asked { kind, sizes: kind.sizes.to_vec() }).into()
    }

    /// One by its name; with its own sizes if none is given.
    ///
    /// # Errors
    /// [`StudyError::Unknown`] lists what there is.
    pub fn named(name: &str, sizes: &[f64]) -> Result<Asked, StudyError> {
        let all = kinds();
        let kind = all.iter().find(|kind| kind.name == name).copied().ok_or_else(|| {
            let known: Vec<&str> = all.iter().map(|kind| kind.name).collect();
            StudyError::Unknown { name: name.to_owned(), known: known.join(", ") }
        })?;
        Ok(Asked { kind, sizes: if sizes.is_empty() { kind.sizes } else { sizes }.to_vec() })
    }
}
