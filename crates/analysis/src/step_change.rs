//! Swipes that were made at another resolution step than the rest of their step's.
//!
//! The operator touched a button, or the firmware changed by itself: from some swipe on the same travel gives other
//! counts, by the ratio of two steps of the plan. Looked for are runs of [`RUN`] swipes and more, one after the other in
//! a phase ([fewer](AT_AN_END) at its begin or end), whose lengths are alike within [`ALIKE`] and differ from one travel by such a ratio within [`NEAR`].
//!
//! Assumes that the plan has the nominals of both steps and that they are [`APART`] or more from each other. A failing
//! sensor shortens swipes too, but each by something else, and not by that ratio; and where it is seen on their way how most of a
//! run lost counts, they are none. (Added after three swipes and more in a row that a sensor had cut to such a share had been
//! told to be made at another step. Nor are they where half of the phase's other swipes are of any other length, since three swipes running
//! of sixty that a ceiling cuts, or a sensor, lie near some ratio.) Smallest found: three swipes.
//!
//! A device may have steps that are none of the plan's. So runs that are *longer* than one travel by [`APART`] and more, by
//! whatever ratio, are told as well, where they are no more than half of their phase: false motion after the stop adds what
//! depends on speed, and is not alike within [`ALIKE`] three times running. (Added after swipes at one and a half times the
//! resolution had been seen to be told as motion after the stop.)
//!
//! Those here and there that are longer by one factor are one run, too: a device whose sensitivity changes for a swipe and comes
//! back. (Added after every tenth swipe at twice the resolution had been told to go on after the stop.)
//! From [`SMALLER`] on they are told where what they are longer by scatters by far less than their speed does where one travel is
//! full. Motion after the stop gets as far as its speed takes it, so that its logarithm scatters by as much at least: the ratio of the
//! variances is held against Fisher's F at [`NO_CHANCE`]. (Added after ten of twenty fast swipes that counted 14.9 % more had been told
//! to go on after the stop.)
//!
//! A change that lasts from some swipe on needs no such ratio: in the middle of a phase all swipes become longer or shorter
//! by one factor, within placing, and stay so to the end of the session ([`lasting`]). Nothing that comes with speed does
//! so, as some of them were no faster than those before; and a sensor that fails takes differing amounts. Smallest found:
//! twice placing, between two swipes and three. Likewise between two phases, where swipes of two paces and more come after
//! it ([`between`]): a gain that changes with speed takes them apart, since of a slower swipe less lies above any speed. A
//! stop that was moved looks alike, and is the operator's as well. (Added after
//! firmware that halved its counts from a tenth swipe on had been seen to be told as ten losses of tracking, and one that
//! doubled them from a third on as gain that rises with speed.)
//! Cost: O(swipes × steps), and O(swipes²) a phase.

use crate::after_stop::{self, Tail};
use crate::families::key;
use crate::shortfall::{Measure, NO_ACCIDENT};
use crate::silence::{MakeUp, Silence};
use crate::stats::{mean_sd, median};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::Direction;
use slipgauge_trace::session::Step;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};
use std::collections::BTreeSet;

/// Swipes running.
const RUN: usize = 3;
/// Where a phase begins or ends with them, and they have a ratio of the plan as nearly as they are alike: a button pressed a little late,
/// or early; of longer ones one. (Added after two such had been told to be a change to the step that was told, so that its resolution was
/// not examined, and two others to go on for a whole travel after the stop.)
const AT_AN_END: usize = 2;
/// Their lengths are alike: stop scatter of 1 mm makes 1.4 mm of 300, and three times that is 1.4 %.
const ALIKE: f64 = 0.015;
/// Steps differ from their nominal ratio by no more: each is off by a few per cent (sensor data sheets: 1 % typical).
const NEAR: f64 = 0.05;
/// A step counts at the most so many times what another does: 50 to 32,000 counts per inch, the ends of what is sold.
const MOST: f64 = 640.0;
/// What placing leaves at the most, as a share of the travel: five deviations of a stop that scatters by 2 mm of 300. (Where lengths are
/// of two sorts their scatter is no placing: a button pressed in the middle of the slow phase had been seen to hide so.)
const MOST_PLACING: f64 = 0.045;
/// Steps nearer to each other than this are not told apart from what is wrong otherwise.
const APART: f64 = 0.15;

/// Medians of phases at one factor agree to this: half a millimetre of 300 is what stops of a millimetre leave of ten swipes, and
/// what firmware that truncates takes differs by several per cent between paces.
const ONE_FACTOR: f64 = 0.005;

/// Longer by less than this is not told from what scatters otherwise: each step is off by as much ([`NEAR`]).
const SMALLER: f64 = 0.05;
/// Chance that what goes as far as its speed takes it is alike at speeds that are not.
const NO_CHANCE: f64 = 1e-3;

/// Swipes after a change of which one factor tells by itself, and by how much the speeds of a pace differ then: what a gain that falls by
/// a fifth between two of them took from such would differ by 2 %.
const MANY: usize = 5;
const SPEEDS: f64 = 1.1;
/// Share of the swipes after a change that are of its length: an operator may stop short, or a fault take more of some.
const MOST_ALIKE: f64 = 0.75;

/// Swipes before a change that lasts: two that are alike are no stray.
const BEFORE: usize = 2;

/// A run of swipes at another step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Run {
    /// The step of the plan that they were made at, by its nominal; `None` for a ratio that is none of the plan's.
    pub to: Option<u32>,
    /// Nominal ratio of that step to the one told.
    pub nominal: Option<f64>,
    /// Median counts of the swipes over one travel; where the change lasts, over that of the swipes before.
    pub ratio: f64,
    /// The swipes, as (phase, swipe), in order.
    pub keys: Vec<(u32, u32)>,
    /// Those of a change that lasts which came before it: of one length, too, and neither is the right one.
    pub before: Vec<(u32, u32)>,
    /// Begin of the first and end of the last.
    pub span: (i64, i64),
    /// True if they lie here and there.
    pub apart: bool,
}

impl Run {
    /// Swipes whose length tells nothing of a fault.
    pub fn told(&self) -> impl Iterator<Item = (u32, u32)> {
        self.keys.iter().chain(&self.before).copied()
    }

    /// True if a swipe is one of it, or the last one before: the change may have come on its way.
    pub fn touches(&self, key: (u32, u32)) -> bool {
        let before = |first: &(u32, u32)| first.0 == key.0 && first.1 == key.1 + 1;
        self.keys.contains(&key) || self.keys.first().is_some_and(before)
    }
}

/// Finds them: those at a step of the plan, then a change that lasts, then those at another step.
pub fn runs(step: &StepView) -> Vec<Run> {
    let mut found = planned(step);
    if found.is_empty() {
        found.extend(lasting(step));
    }
    let taken: Vec<(u32, u32)> = found.iter().flat_map(|run| run.keys.iter().copied()).collect();
    for phase in &step.phases {
        let whole = |i: usize| {
            let view = phase.swipes.get(i).filter(|s| !taken.contains(&key(phase, s)))?;
            let ratio = view.swipe.along / view.swipe.one_travel;
            ((1.0 + APART)..=MOST).contains(&ratio).then_some(ratio)
        };
        let mut begin = 0;
        for i in 1..=phase.swipes.len() {
            let alike = |a: f64, b: f64| (a / b - 1.0).abs() <= ALIKE;
            let goes_on = whole(i).zip(whole(begin)).is_some_and(|(here, first)| alike(here, first));
            if goes_on {
                continue;
            }
            let members = begin..i;
            begin = i;
            let lengths: Vec<f64> = members.clone().filter_map(whole).collect();
            // Where most swipes of a phase are longer it is their pace that makes them so.
            let few = 2 * lengths.len() <= phase.swipes.len();
            let swipes = phase.swipes.get(members).unwrap_or_default();
            let (Some(ratio), Some(first), Some(last)) = (median(&lengths), swipes.first(), swipes.last())
            else {
                continue;
            };
            let told = few && lengths.len() >= RUN && stands_apart(ratio, APART, &phase.swipes);
            if told && !after_stop::they_show(step, phase, swipes) {
                let keys = swipes.iter().map(|s| key(phase, s)).collect();
                let span = (first.swipe.begin, last.swipe.end);
                found.push(Run { ratio, keys, span, ..Run::default() });
            }
        }
    }
    let single = here_and_there(step, &found, APART)
        .or_else(|| here_and_there(step, &found, SMALLER).filter(|run| at_any_speed(step, run)));
    found.extend(single);
    found
}

/// True if no swipes lie between those of this ratio to one travel and the whole ones, of which `least` is twice the room: a gain that rises
/// with speed leaves no gap. (Added for runs as well after three fast swipes alike of a gain of 15 % had been told to be made at another
/// step.)
fn stands_apart<'a>(ratio: f64, least: f64, swipes: impl IntoIterator<Item = &'a SwipeView>) -> bool {
    let between = (1.0 + 0.5 * least)..ratio * (1.0 - ALIKE);
    !swipes.into_iter().any(|s| between.contains(&(s.swipe.along / s.swipe.one_travel)))
}

/// Swipes here and there that are longer than one travel by one factor of so much more than 1 at least: most of those that are so long,
/// and no more than half of
/// the step's. What goes on after the stop depends on speed, and is not alike within [`ALIKE`].
fn here_and_there(step: &StepView, found: &[Run], least: f64) -> Option<Run> {
    let told: BTreeSet<(u32, u32)> = found.iter().flat_map(Run::told).collect();
    let ratio = |s: &SwipeView| s.swipe.along / s.swipe.one_travel;
    let long = |(p, s): &(&PhaseView, &SwipeView)| {
        ((1.0 + least)..=MOST).contains(&ratio(s)) && !told.contains(&key(p, s)) && s.stretches.is_empty()
    };
    let long: Vec<(&PhaseView, &SwipeView)> = step.swipes().filter(long).collect();
    // Where most swipes of a phase are longer it is their pace that makes them so.
    let of = |phase: &PhaseView| long.iter().filter(|(p, _)| p.span.number == phase.span.number).count();
    if step.phases.iter().any(|p| 2 * of(p) > p.swipes.len()) {
        return None;
    }
    let shows = |(p, s): &&(&PhaseView, &SwipeView)| after_stop::they_show(step, p, [*s]);
    if 2 * long.iter().filter(shows).count() > long.len() {
        return None;
    }
    let centre = median(&long.iter().map(|(_, s)| ratio(s)).collect::<Vec<_>>())?;
    let alike: Vec<_> = long.iter().filter(|(_, s)| (ratio(s) / centre - 1.0).abs() <= ALIKE).collect();
    if !stands_apart(centre, least, step.swipes().map(|(_, s)| s)) {
        return None;
    }
    let (first, last) = (alike.first()?, alike.last()?);
    let enough =
        alike.len() >= RUN && 2 * alike.len() > long.len() && 2 * alike.len() <= step.swipes().count();
    enough.then(|| Run {
        ratio: centre,
        keys: alike.iter().map(|(p, s)| key(p, s)).collect(),
        span: (first.1.swipe.begin, last.1.swipe.end),
        apart: true,
        ..Run::default()
    })
}

/// True if what the swipes of a run, out and back, are longer by is alike, and the speeds at which they go beyond one travel are not.
fn at_any_speed(step: &StepView, run: &Run) -> bool {
    let own = || step.swipes().filter(|(p, s)| run.keys.contains(&key(p, s)));
    // Of one direction alone it is that direction's gain.
    let out = own().filter(|(_, s)| s.swipe.direction == Direction::Out).count();
    if out == 0 || out == own().count() {
        return false;
    }
    let of = |(phase, view): (&PhaseView, &SwipeView)| {
        let halves = Tail::of(phase, view)?.halves(step.slot())?;
        (halves.at_the_stop > 0.0).then(|| (view.swipe.surplus.ln(), halves.at_the_stop.ln()))
    };
    let (surpluses, speeds): (Vec<f64>, Vec<f64>) = own().filter_map(of).unzip();
    let (Some((_, surplus)), Some((_, speed))) = (mean_sd(&surpluses), mean_sd(&speeds)) else {
        return false;
    };
    let (ratio, free) = ((speed / surplus).powi(2), surpluses.len() as f64 - 1.0);
    FisherSnedecor::new(free, free).is_ok_and(|fisher| ratio.is_finite() && fisher.sf(ratio) <= NO_CHANCE)
}

fn planned(step: &StepView) -> Vec<Run> {
    let ratios: Vec<(u32, f64)> =
        other_steps(step).into_iter().filter(|(_, ratio)| is_far_off(*ratio)).collect();
    let mut found: Vec<Run> = Vec::new();
    if ratios.is_empty() {
        return found;
    }
    for phase in &step.phases {
        let mut open: Option<(u32, f64, Vec<usize>)> = None;
        let at = |i: usize| phase.swipes.get(i).map(|s| s.swipe.along / s.swipe.one_travel);
        for i in 0..=phase.swipes.len() {
            let here = at(i).filter(|q| *q > 0.0).and_then(|q| nearest(&ratios, q));
            if let Some((to, _, members)) = &mut open
                && here.is_some_and(|(id, _)| id == *to)
            {
                members.push(i);
                continue;
            }
            if let Some((to, nominal, members)) = open.take() {
                let lengths: Vec<f64> = members.iter().filter_map(|&i| at(i)).collect();
                let Some(ratio) = median(&lengths) else { continue };
                let alike: Vec<_> = members
                    .iter()
                    .filter_map(|&i| phase.swipes.get(i))
                    .filter(|s| (s.swipe.along / s.swipe.one_travel / ratio - 1.0).abs() <= ALIKE)
                    .collect();
                let cut_off = |s: &SwipeView| s.clip.is_some() && ratio < 1.0;
                let plain = alike.iter().filter(|s| !shows_a_loss(s) && !cut_off(s)).count();
                let at_an_end = members.contains(&0) || members.contains(&(phase.swipes.len() - 1));
                let exactly = (ratio / nominal - 1.0).abs() <= ALIKE && members.len() < phase.swipes.len();
                let least = match at_an_end && exactly {
                    true if ratio > 1.0 => 1,
                    true => AT_AN_END,
                    false => RUN,
                };
                let enough = plain >= least && 2 * plain > alike.len();
                // Where the others are of any length, some lie near a ratio.
                let others = || (0..phase.swipes.len()).filter(|i| !members.contains(i));
                let any_length = |i: &usize| {
                    let whole = phase.swipes.get(*i).is_some_and(|s| s.swipe.surplus == 0.0);
                    !whole && at(*i).filter(|q| *q > 0.0).and_then(|q| nearest(&ratios, q)).is_none()
                };
                let enough = enough && 2 * others().filter(any_length).count() <= others().count();
                if let (true, Some(first), Some(last)) = (enough, alike.first(), alike.last()) {
                    let span = (first.swipe.begin, last.swipe.end);
                    let keys = alike.iter().map(|s| key(phase, s)).collect();
                    let (to, nominal) = (Some(to), Some(nominal));
                    found.push(Run { to, nominal, ratio, keys, span, ..Run::default() });
                }
            }
            open = here.map(|(id, nominal)| (id, nominal, vec![i]));
        }
    }
    found
}

/// True if counts are seen to go missing on the way of a swipe: then its length is no step's. (That they end at speed may be said of
/// it for its length alone.)
fn shows_a_loss(view: &SwipeView) -> bool {
    let lost = |s: &Silence| !s.host && s.kind == MakeUp::Lost && !s.to_the_end;
    view.silences.iter().any(lost) || view.stretches.iter().any(|s| s.wrong.is_loss())
}

/// A change in the middle of a phase that lasts to the end of the session.
fn lasting(step: &StepView) -> Option<Run> {
    let mut measure = step.measure?;
    measure.most = measure.most.min(MOST_PLACING * measure.one_travel);
    let within = step.phases.iter().enumerate().find_map(|(i, phase)| {
        let later = step.phases.get(i + 1..).unwrap_or_default();
        let cuts = || BEFORE..phase.swipes.len();
        let between = cuts().find_map(|cut| changed(step, phase, (cut, cut), later, measure));
        between.or_else(|| cuts().find_map(|cut| changed(step, phase, (cut, cut + 1), later, measure)))
    });
    within.or_else(|| (1..step.phases.len()).find_map(|i| between(step, i, measure)))
}

/// The run that begins with this phase, if all swipes before it are of one length, and all from it on of another, at two paces
/// and more.
fn between(step: &StepView, first: usize, measure: Measure) -> Option<Run> {
    let (before, after) = step.phases.split_at_checked(first)?;
    let swiped = |phases: &'_ [PhaseView]| -> Vec<usize> {
        (0..phases.len()).filter(|i| !phases[*i].swipes.is_empty()).collect()
    };
    let one = |phases: &[PhaseView]| {
        let lengths = swiped(phases).into_iter().map(|i| of_one_length(&phases[i].swipes, measure));
        let lengths = lengths.collect::<Option<Vec<f64>>>()?;
        let centre = median(&lengths)?;
        // Medians of several swipes, and alike as one factor makes them.
        let reach = (measure.most * (centre / measure.one_travel).max(1.0)).min(ONE_FACTOR * centre);
        lengths.iter().all(|l| (l - centre).abs() <= reach).then_some(centre)
    };
    let paces: BTreeSet<_> = swiped(after).into_iter().map(|i| after[i].span.phase.pace).collect();
    let enough = |phases: &[PhaseView]| phases.iter().any(|p| p.swipes.len() >= RUN);
    if paces.len() < 2 || after.first()?.swipes.is_empty() || !enough(before) {
        return None;
    }
    let (old, new) = (one(before)?, one(after)?);
    let ratio = new / old;
    let members = || after.iter().flat_map(|p| p.swipes.iter().map(move |s| (p, s)));
    let (begin, end) = (members().next()?.1.swipe.begin, members().last()?.1.swipe.end);
    let keys = members().map(|(p, s)| key(p, s)).collect();
    // Firmware that truncates takes little from either pace, and more from slow swipes.
    let apart = is_far_off(ratio);
    let before = before.iter().flat_map(|p| p.swipes.iter().map(|s| key(p, s))).collect();
    apart.then_some(Run { ratio, keys, before, span: (begin, end), ..Run::default() })
}

/// The run that begins with a swipe of a phase, if all change there: those before the first of `cut` and from the second on are
/// of one length each. One between them changed on its way, and its length lies between.
fn changed(
    step: &StepView,
    phase: &PhaseView,
    cut: (usize, usize),
    later: &[PhaseView],
    measure: Measure,
) -> Option<Run> {
    let (before, rest) = phase.swipes.split_at_checked(cut.0)?;
    let (on_its_way, after) = rest.split_at_checked(cut.1 - cut.0)?;
    let later = || later.iter().filter(|p| !p.swipes.is_empty());
    // Where all of another pace begin to count otherwise it may be their speed.
    if after.is_empty() {
        return None;
    }
    let old = of_one_length(before, measure)?;
    // Where too few came after it in its phase, those of the next ones tell.
    let new = match of_one_length(after, measure) {
        None if after.len() < BEFORE => of_one_length(&later().next()?.swipes, measure),
        length => length,
    }?;
    let ratio = new / old;
    let apart = (1.0 + ratio) * measure.most;
    // Two that are shorter end and begin where an operator stopped, if what came before them has that length, too, or nothing did and
    // it is no more than he may leave. (Added after a first fast swipe that he had stopped short had made one step of all the others.)
    let earlier = step.phases.iter().take_while(|p| p.span.number != phase.span.number);
    let earlier = earlier.filter(|p| !p.swipes.is_empty()).last();
    let as_earlier = earlier.and_then(|p| of_one_length(&p.swipes, measure));
    let by_operator = match (earlier, as_earlier) {
        (Some(_), length) => length.is_some_and(|length| (length - new).abs() <= measure.most),
        (None, _) => (0.0..NO_ACCIDENT * new).contains(&(new - old)),
    };
    if before.len() < RUN && by_operator {
        return None;
    }
    let near = |length: f64, reach: f64| (length - new).abs() <= reach;
    let stays = later()
        .all(|p| of_one_length(&p.swipes, measure).is_some_and(|l| near(l, ratio.max(1.0) * measure.most)));
    let between = |s: &SwipeView| {
        let (low, high) = (old.min(new) - measure.most, old.max(new) + measure.most);
        (low..=high).contains(&s.swipe.along)
    };
    let all = after.len() + later().map(|p| p.swipes.len()).sum::<usize>();
    // No faster than those before: a gain that changes with speed would give these the old length.
    let fastest = before.iter().map(|s| s.swipe.peak).fold(0.0, f64::max);
    let speeds: Vec<f64> = after.iter().map(|s| s.swipe.peak / ratio).collect();
    let no_faster = speeds.iter().filter(|speed| **speed <= fastest).count();
    // Or one factor at this pace and another, far off.
    let far_off = is_far_off(ratio);
    let one_factor = far_off
        && later().any(|p| p.span.phase.pace != phase.span.phase.pace)
        && later().all(|p| of_one_length(&p.swipes, measure).is_some_and(|l| near(l, ONE_FACTOR * new)));
    // Or one factor at all speeds of this pace, where one of them was no faster: what comes with speed takes more of the faster ones.
    let slowest = speeds.iter().copied().fold(f64::INFINITY, f64::min);
    let top = speeds.iter().copied().fold(0.0, f64::max);
    let exact = after.iter().filter(|s| near(s.swipe.along, ONE_FACTOR * new)).count();
    let at_all_speeds = no_faster > 0
        && far_off
        && after.len() >= MANY
        && exact as f64 >= MOST_ALIKE * after.len() as f64
        && top > SPEEDS * slowest;
    let of_it = after.iter().filter(|s| near(s.swipe.along, apart)).count();
    let least = if far_off { MOST_ALIKE } else { 1.0 };
    let stays = stays && of_it as f64 >= least * after.len() as f64;
    let by_no_speed = no_faster >= RUN || one_factor || at_all_speeds;
    let lasts = (new - old).abs() > apart && stays && all >= RUN && by_no_speed;
    if !lasts || !on_its_way.iter().all(between) || (ratio > 1.0 && after_stop::they_show(step, phase, after))
    {
        return None;
    }
    let own = std::iter::once((phase, rest));
    let members = own.chain(later().map(|p| (p, p.swipes.as_slice())));
    let members: Vec<(&PhaseView, &SwipeView)> =
        members.flat_map(|(p, swipes)| swipes.iter().map(move |s| (p, s))).collect();
    let (first, last) = (members.first()?.1, members.last()?.1);
    let keys: Vec<(u32, u32)> = members.iter().map(|(p, s)| key(p, s)).collect();
    let change = *keys.first()?;
    let before = step.swipes().map(|(p, s)| key(p, s)).take_while(|k| *k != change).collect();
    let span = (first.swipe.begin, last.swipe.end);
    Some(Run { ratio, keys, before, span, ..Run::default() })
}

/// The length that all of some swipes have within placing, but for those in which something else was found: fewer than half. And of
/// many but for a few that are shorter. (Added after a device that had halved its counts from a fast swipe on had been told as eight
/// losses, for one of the eight in which the operator had stopped short.)
fn of_one_length(swipes: &[SwipeView], measure: Measure) -> Option<f64> {
    // That counts end at speed may be said of a swipe for its length alone.
    let quiet = |s: &&SwipeView| {
        s.silences.iter().all(|s| s.to_the_end) && s.stretches.is_empty() && s.clip.is_none()
    };
    let lengths: Vec<f64> = swipes.iter().filter(quiet).map(|s| measure.evened(&s.swipe)).collect();
    let centre = median(&lengths).filter(|c| *c > 0.0)?;
    if lengths.len() < BEFORE || 2 * lengths.len() <= swipes.len() {
        return None;
    }
    let reach = measure.most * centre / measure.one_travel;
    let alike = lengths.iter().filter(|l| (*l - centre).abs() <= reach).count();
    let all = lengths.len() < MANY || lengths.iter().any(|l| *l > centre + reach);
    let least = if all { 1.0 } else { MOST_ALIKE };
    (alike as f64 >= least * lengths.len() as f64).then_some(centre)
}

/// True if a ratio is told from what is wrong otherwise.
fn is_far_off(ratio: f64) -> bool {
    ratio.ln().abs() > (1.0 + APART).ln()
}

/// The other steps of the plan, with the ratio of their nominals to this one's.
pub fn other_steps(step: &StepView) -> Vec<(u32, f64)> {
    let Some(own) = step.planned.and_then(Step::nominal) else { return Vec::new() };
    let others = step.plan.into_iter().flat_map(|p| &p.steps).filter(|s| s.id != step.id);
    others.filter_map(|s| Some((s.id, s.nominal()?.per_inch() / own.per_inch()))).collect()
}

/// The step whose ratio a length is near to, if any.
pub fn nearest(ratios: &[(u32, f64)], length: f64) -> Option<(u32, f64)> {
    let off = |ratio: f64| (length / ratio).ln().abs();
    let best = ratios.iter().copied().min_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
    (off(best.1) <= (1.0 + NEAR).ln()).then_some(best)
}
