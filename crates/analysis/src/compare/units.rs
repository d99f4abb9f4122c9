//! Where a fault lies, over several units of one product: computer, this unit, or the product.
//!
//! Each unit's failing families are placed by the controls of its own set-up ([`crate::control`]). A family that the
//! control shows as well lies in what they share and says nothing of the unit. Of the units that tell, `k` of `n` show it,
//! with the exact interval of Clopper and Pearson (1934). It is put down to the product if the lower limit says that more
//! than half of the units have it; to the unit, if one of several has it and the upper limit says that less than half
//! do; else it is open. The interval takes the units for a random sample of the product: those from one shop or one batch
//! are not. One unit says nothing of its product.

use super::session::Session;
use crate::control::{Place, against};
use crate::stats::{proportion_high, proportion_low};
use crate::verdict::{Family, Outcome, Quantity};
use serde::Serialize;
use std::collections::BTreeMap;

/// Where a fault lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lies {
    /// In what test and control share: computer, port, pad, hand.
    Shared,
    /// In single units.
    Unit,
    /// In most units of the product.
    Product,
    /// Cannot be told.
    Open,
}

/// One family of one product.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OverUnits {
    /// The product, as its owner calls it.
    pub label: String,
    /// The family.
    pub family: Family,
    /// Units that show it where the control does not.
    pub k: u32,
    /// Units that tell.
    pub n: u32,
    /// Units whose control shows it as well.
    pub shared: u32,
    /// Units that leave it open.
    pub open: u32,
    /// Share of the product's units that have it; `None` if no unit tells.
    pub share: Option<Quantity>,
    /// Where it lies.
    pub lies: Lies,
    /// Why, in one sentence.
    pub because: String,
}

/// What one unit says of a family.
#[derive(Clone, Copy, PartialEq)]
enum Says {
    Fails,
    Shared,
    Passes,
    Open,
}

/// Places the failing families of each product. Nothing without a control.
pub fn place(sessions: &[Session], controls: &[Session]) -> Vec<OverUnits> {
    if controls.is_empty() {
        return Vec::new();
    }
    // Product, then unit.
    let mut products: BTreeMap<String, BTreeMap<Option<String>, Vec<&Session>>> = BTreeMap::new();
    for s in sessions {
        let (label, unit) = s.device_or_name();
        products.entry(label).or_default().entry(unit).or_default().push(s);
    }
    let mut out = Vec::new();
    for (label, units) in &products {
        for family in Family::ALL {
            let says: Vec<Says> = units.values().map(|own| of_unit(own, controls, family)).collect();
            let count = |wanted: Says| {
                u32::try_from(says.iter().filter(|s| **s == wanted).count()).unwrap_or(u32::MAX)
            };
            let (k, shared, passes) = (count(Says::Fails), count(Says::Shared), count(Says::Passes));
            let failing = units.values().flatten().any(|s| outcomes(s, family).contains(&Outcome::Fail));
            if failing {
                out.push(row(label, family, (k, k + passes), shared, count(Says::Open)));
            }
        }
    }
    out
}

fn outcomes(session: &Session, family: Family) -> Vec<Outcome> {
    let all = session.verdict.steps.iter().flat_map(|s| &s.families);
    all.filter(|f| f.family == family).map(|f| f.verdict).collect()
}

/// A unit fails if any of its sessions does where a control passes.
fn of_unit(own: &[&Session], controls: &[Session], family: Family) -> Says {
    let mut says = Vec::new();
    for s in own {
        let outcomes = outcomes(s, family);
        if !outcomes.contains(&Outcome::Fail) {
            let passes = !outcomes.is_empty() && outcomes.iter().all(|o| *o == Outcome::Pass);
            says.push(if passes { Says::Passes } else { Says::Open });
            continue;
        }
        let places: Vec<Place> = controls
            .iter()
            .flat_map(|c| against((&s.verdict, &s.header), (&c.verdict, &c.header)).families)
            .filter(|lies| lies.family == family)
            .map(|lies| lies.place)
            .collect();
        says.push(match () {
            _ if places.contains(&Place::Shared) => Says::Shared,
            _ if places.contains(&Place::ThisUnit) => Says::Fails,
            _ => Says::Open,
        });
    }
    for wanted in [Says::Fails, Says::Shared, Says::Open] {
        if says.contains(&wanted) {
            return wanted;
        }
    }
    if says.is_empty() { Says::Open } else { Says::Passes }
}

fn row(label: &str, family: Family, (k, n): (u32, u32), shared: u32, open: u32) -> OverUnits {
    let share = (n > 0).then(|| Quantity {
        value: f64::from(k) / f64::from(n),
        low: Some(proportion_low(k, n, 0.025)),
        high: Some(proportion_high(k, n, 0.025)),
    });
    let most = share.is_some_and(|q| q.low.is_some_and(|low| low > 0.5));
    let few = share.is_some_and(|q| q.high.is_some_and(|high| high < 0.5));
    let (lies, because) = match (k, n) {
        (0, _) if shared > 0 => {
            (Lies::Shared, "the control shows it as well: it lies in computer, port, pad or hand".to_owned())
        }
        (0, _) => (Lies::Open, "no control on the same set-up tells where it lies".to_owned()),
        (1, 1) => (
            Lies::Unit,
            "it lies in this unit or its receiver; one unit says nothing of its product".to_owned(),
        ),
        _ if most => (Lies::Product, "most units of the product have it".to_owned()),
        _ if few => (Lies::Unit, "it lies in single units: most of the product have it not".to_owned()),
        _ => (
            Lies::Open,
            "it lies in these units; so few do not tell whether in most of the product".to_owned(),
        ),
    };
    OverUnits { label: label.to_owned(), family, k, n, shared, open, share, lies, because }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Clopper and Pearson: 5 of 5 from 47.8 %, 6 of 6 from 54.1 % (0.025 to the power 1/6); 0.5 is passed at six.
    #[test]
    fn six_failing_units_of_six_say_that_most_of_the_product_fail_and_five_do_not() {
        let lies = |k, n| row("a", Family::Dropout, (k, n), 0, 0).lies;
        assert_eq!((lies(6, 6), lies(5, 5), lies(1, 1)), (Lies::Product, Lies::Open, Lies::Unit));
        // 1 of 9: up to 48.2 %; of 8: up to 52.7 %.
        assert_eq!((lies(1, 9), lies(1, 8)), (Lies::Unit, Lies::Open));
        assert!(
            (row("a", Family::Dropout, (6, 6), 0, 0).share.unwrap().low.unwrap() - 0.025f64.powf(1.0 / 6.0))
                .abs()
                < 1e-9
        );
        assert_eq!(row("a", Family::Dropout, (0, 0), 2, 0).lies, Lies::Shared);
    }
}
