//! What the plate says in one sentence, built of the verdict's own numbers. It says no more than the verdict does: what
//! was not swiped or not examined is not called sound.

use crate::text;
use slipgauge_analysis::verdict::{
    Cause, Criterion, Family, FamilyVerdict, Finding, Outcome, StepVerdict, Verdict, count,
};
use std::collections::BTreeSet;

/// The sentence. `need` is the speed that the user needs, m/s.
pub fn sentence(v: &Verdict, need: Option<f64>) -> String {
    match v.verdict {
        Outcome::Fail => failing(v, need),
        Outcome::Pass => {
            let clean = clean(v, need).map(|said| format!("{said}; ")).unwrap_or_default();
            upper(&format!("{clean}all that was examined is within tolerance."))
        }
        Outcome::Inconclusive => {
            let clean = clean(v, need).map(|said| format!("{said}, but ")).unwrap_or_default();
            upper(&format!("{clean}{}.", open(v)))
        }
        Outcome::NotExamined => "Nothing was asked of the device, so nothing is said of it.".to_owned(),
    }
}

/// The cause that all failing families share, in words; `None` unless the verdict is a fail.
pub fn cause(v: &Verdict) -> Option<String> {
    let causes: Vec<Option<Cause>> = failed(v).map(|(_, f)| f.cause).collect();
    let first = *causes.first()?;
    Some(match first {
        _ if causes.iter().any(|c| *c != first) => "causes: several".to_owned(),
        None | Some(Cause::Unknown) => "cause: not told apart".to_owned(),
        Some(Cause::Host) => "cause: this computer".to_owned(),
        Some(cause) => format!("cause: {}", text::spelled(cause)),
    })
}

/// Families that fail, with their steps.
fn failed(v: &Verdict) -> impl Iterator<Item = (&StepVerdict, &FamilyVerdict)> {
    let all = v.steps.iter().flat_map(|s| s.families.iter().map(move |f| (s, f)));
    all.filter(|(_, f)| f.verdict == Outcome::Fail)
}

/// Up to which speed every step is clean, and what is needed.
fn clean(v: &Verdict, need: Option<f64>) -> Option<String> {
    let speeds: Option<Vec<f64>> = v.steps.iter().map(|s| s.swept.fastest_clean_m_s).collect();
    let least = speeds?.into_iter().reduce(f64::min)?;
    let needs = match need {
        Some(need) if need <= least => format!(" ({} needed)", short(need)),
        Some(need) => format!(" ({} needed: not reached)", short(need)),
        None => format!(" ({:.0} in/s)", least / 0.0254),
    };
    // Cut, not rounded up: no faster than was swiped.
    Some(format!("clean up to {:.1} m/s{needs}", (least * 10.0).floor() / 10.0))
}

fn open(v: &Verdict) -> String {
    let all = || v.steps.iter().flat_map(|s| &s.families);
    let named = |own: fn(&&FamilyVerdict) -> bool| -> BTreeSet<Family> {
        all().filter(own).map(|f| f.family).collect()
    };
    let open = named(|f| f.verdict == Outcome::Inconclusive);
    let unseen = named(|f| f.verdict == Outcome::NotExamined && f.required);
    let unplaced = v.steps.iter().map(|s| s.swipes.unplaced).fold(0, u32::saturating_add);
    let mut said = Vec::new();
    let disturbed = v.steps.iter().map(|s| s.swipes.disturbed).fold(0, u32::saturating_add);
    if disturbed > 0 {
        said.push(format!("{} disturbed by this computer", count(disturbed, "swipe")));
    }
    if !open.is_empty() {
        let most = if disturbed > 0 { 1 } else { 3 };
        said.push(format!("not settled: {}", list(&open.into_iter().collect::<Vec<_>>(), most)));
    }
    if unplaced > 0 {
        said.push(format!("{} not to be placed", count(unplaced, "swipe")));
    }
    if said.is_empty() {
        said.push(format!("not examined: {}", list(&unseen.into_iter().collect::<Vec<_>>(), 3)));
    }
    said.join("; ")
}

/// Names of families, the first few.
fn list(families: &[Family], most: usize) -> String {
    let named: Vec<&str> = families.iter().take(most).map(|f| f.words()).collect();
    match families.len().saturating_sub(most) {
        0 => named.join(", "),
        more => format!("{} and {more} more", named.join(", ")),
    }
}

fn failing(v: &Verdict, need: Option<f64>) -> String {
    let families: BTreeSet<Family> = failed(v).map(|(_, f)| f.family).collect();
    // Losing the pad at speed is what most is asked about; else in the order of the file.
    let first = families.get(&Family::TrackingLoss).or_else(|| families.first()).copied();
    let Some(first) = first else { return upper(&v.because) };
    let steps: Vec<(&StepVerdict, &FamilyVerdict)> = failed(v).filter(|(_, f)| f.family == first).collect();
    let mut said = if first == Family::TrackingLoss { loss(v, &steps) } else { other(v, first, &steps) };
    match steps.len() {
        _ if v.steps.len() == 1 => {}
        all if all == v.steps.len() => said += ", at every step",
        some => said += &format!(", at {some} of {} steps", v.steps.len()),
    }
    if let (Some(need), Family::TrackingLoss) = (need, first) {
        said += &format!("; this use needs {need:.1}");
    }
    let rest: Vec<Family> = families.into_iter().filter(|f| *f != first).collect();
    if !rest.is_empty() {
        said += &format!(". Also: {}", list(&rest, 2));
    }
    upper(&(said + "."))
}

/// Tracking loss: above which speed, at the step where it sets in first.
fn loss(v: &Verdict, steps: &[(&StepVerdict, &FamilyVerdict)]) -> String {
    let own: Vec<&Finding> = findings(v, Family::TrackingLoss, steps).collect();
    let kinds = |kind: &str| own.iter().filter(|f| f.kind == kind).count();
    let what = match (kinds("silent"), kinds("partial") + kinds("level") + kinds("one axis"), kinds("short"))
    {
        (silent, partial, short) if silent >= partial.max(short) => "silent",
        (_, partial, short) if partial >= short => "counts too little",
        _ => "swipes count short",
    };
    let limits = steps.iter().filter_map(|(s, _)| s.tracking_limit_m_s);
    match limits.min_by(|a, b| a.value.total_cmp(&b.value)).map(|q| (q.value, q.low, q.high)) {
        Some((value, Some(low), Some(high))) => {
            format!("{what} above {value:.2} m/s ({low:.2} to {high:.2})")
        }
        Some((_, Some(low), None)) => format!("{what} at speeds somewhere above {}", short(low)),
        Some((_, None, Some(high))) => format!("{what} from some speed below {} on", short(high)),
        _ => format!("{what} in {}{}", swipes(&own, steps), place(&own)),
    }
}

/// Where on the surface, if all of it happens at one place.
fn place(own: &[&Finding]) -> String {
    let at = |f: &&Finding| f.evidence.get("place_mm").filter(|_| f.cause == Cause::Surface)?.as_f64();
    let mut all: Vec<f64> = own.iter().filter_map(at).collect();
    all.sort_by(f64::total_cmp);
    let middle = all.get(all.len() / 2).filter(|_| 2 * all.len() > own.len());
    middle.map_or_else(String::new, |mm| {
        format!(" at one place of the surface, {mm:.0} mm from the first stop")
    })
}

/// Any other family: how large against what is allowed, or how often.
fn other(v: &Verdict, family: Family, steps: &[(&StepVerdict, &FamilyVerdict)]) -> String {
    let own: Vec<&Finding> = findings(v, family, steps).collect();
    let decided = steps.iter().flat_map(|(_, f)| &f.criteria).filter(|c| c.verdict == Outcome::Fail);
    let worst = decided.max_by(|a, b| excess(a).total_cmp(&excess(b)));
    let words = family.words();
    let sized = worst.filter(|c| c.unit != "share of swipes").and_then(|c| {
        let (value, limit) = (c.estimate?.value, broken(c)?);
        Some(match c.unit {
            "relative" => {
                let when = if c.what.contains("fast motion") { " in fast motion" } else { "" };
                format!("{words}: {:+.1} %{when}, {:+.0} % allowed", 100.0 * value, 100.0 * limit)
            }
            unit => format!("{words}: {} {unit}, {} allowed", number(value), number(limit)),
        })
    });
    sized.unwrap_or_else(|| match own.iter().any(|f| f.swipe.is_some()) {
        true => format!("{words} in {}", swipes(&own, steps)),
        false => format!("{words}: outside tolerance"),
    })
}

fn findings<'a>(
    v: &'a Verdict,
    family: Family,
    steps: &'a [(&StepVerdict, &FamilyVerdict)],
) -> impl Iterator<Item = &'a Finding> {
    v.findings.iter().filter(move |f| f.family == family && steps.iter().any(|(s, _)| s.step == f.step))
}

/// Swipes that show it, of those that were found.
fn swipes(own: &[&Finding], steps: &[(&StepVerdict, &FamilyVerdict)]) -> String {
    let bad: BTreeSet<(u32, u32)> = own.iter().filter_map(|f| Some((f.phase, f.swipe?))).collect();
    let all = steps.iter().map(|(s, _)| s.swipes.found).fold(0, u32::saturating_add);
    format!("{} of {}", bad.len(), count(all, "swipe"))
}

/// The limit that an estimate lies beyond.
fn broken(c: &Criterion) -> Option<f64> {
    let value = c.estimate?.value;
    let [low, high] = c.tolerance;
    low.filter(|low| value < *low).or_else(|| high.filter(|high| value > *high))
}

/// By which factor a limit is exceeded.
fn excess(c: &Criterion) -> f64 {
    let factor = c.estimate.zip(broken(c)).map(|(q, limit)| (q.value / limit).abs());
    factor.filter(|f| f.is_finite()).unwrap_or(0.0)
}

/// Two digits that count.
fn number(value: f64) -> String {
    let digits = if value.abs() >= 9.95 { 0 } else { usize::from(value.abs() < 0.995) + 1 };
    format!("{value:.digits$}")
}

fn short(m_s: f64) -> String {
    format!("{m_s:.1} m/s")
}

fn upper(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
