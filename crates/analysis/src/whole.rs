//! What silences claim to have lost, held against what their swipes have counted from stop to stop.
//!
//! A silence whose counts are missing is known by its flanks. Where the device sends less often than it is polled, and this
//! computer reads late now and then, a slot that is empty by right and a late report look like one, and the report after holds
//! no more than its own. But the stops do not move: what a swipe has counted in all was not lost on its way.
//!
//! *All of a phase*: with c what each swipe claims to have lost, none in most of them or another amount in each, and l what it
//! has counted, the least-squares slope of −l on c (set upright for what flanks leave uncertain of c) is 1 where claims are
//! true, 0 where they are not. Below a half by
//! [`SURE`] standard errors it refutes them all, unless the swipes do lack half of it against one travel. Where all swipes
//! claim alike, as at a patch of the surface, it tells nothing.
//!
//! *All of a phase against the others*, where nearly all claim: its swipes are no shorter than those of other paces that claim
//! nothing, within placing, by half of what they claim on average. (Added after a reader that was late by 3 ms at 8 kHz had made
//! silences in all slow swipes of a sound device, which were as long as all others.)
//!
//! *One swipe*: what it lacks against those of its phase that claim nothing ([`LEAST`] and more), and placing on top, is less
//! than half of what it claims. (Flanks tell what a silence hides to a half.)
//!
//! Then its reports were held up, and nothing is missing. (Added after sound devices of 1.1 to 1.6 poll intervals had failed
//! for dropouts and a limit of their sensors: swipes that had counted their travel to a thousandth were said to have lost 5 mm
//! and more. Swipes that false motion had made short were first among those that claim nothing: beside eight of them silences of 94 ms
//! at 1.95 m/s were put down to this computer, in swipes that lacked 190 of 300 mm.) Cost: O(swipes).

use crate::erratic::Wrong;
use crate::shortfall::{MOST_GAIN, Measure};
use crate::silence::MakeUp;
use crate::stats::{mean, median};
use crate::step::{PhaseView, SwipeView};

/// Swipes without a claim that tell how long one is; and swipes more than two that a slope needs.
const LEAST: usize = 3;
/// Of what is claimed as much must be missing.
const HALF: f64 = 0.5;
/// Standard deviations of placing that a length is worth.
const PLACING: f64 = 2.0;
/// Standard errors: a true claim is refuted by chance in one phase of a thousand.
const SURE: f64 = 3.0;
/// Standard uncertainty of what a silence hides, relative: what the flanks tell to a half (rectangular, 0.5/√3, rounded up). Claims
/// that vary by no more flatten the slope, and it is set upright by as much.
const FLANKS: f64 = 0.3;

/// What a swipe says of itself, counts.
struct Claim {
    /// Lost on its way, by silences.
    lost: f64,
    /// Variance of that.
    unsure: f64,
    /// Counted along the travel, as if both directions counted alike.
    along: f64,
}

impl Claim {
    fn of(view: &SwipeView, measure: Measure, counts_per_mm: f64) -> Claim {
        let lost = view.silences.iter().filter(|s| s.kind == MakeUp::Lost && !s.host && !s.to_the_end);
        let lost = lost.map(|s| s.missing_mm * counts_per_mm);
        let (lost, unsure) =
            lost.fold((0.0, 0.0), |(sum, squares), n| (sum + n, squares + (FLANKS * n).powi(2)));
        Claim { lost, unsure, along: measure.evened(&view.swipe) }
    }
}

/// Leaves to this computer the silences of swipes that lack nothing.
pub fn hold(phases: &mut [PhaseView], measure: Measure, counts_per_mm: f64) {
    let elsewhere: Vec<Option<f64>> =
        (0..phases.len()).map(|own| without_claims(phases, own, measure, counts_per_mm)).collect();
    for (phase, elsewhere) in phases.iter_mut().zip(elsewhere) {
        // Who stopped short tells nothing; nor do swipes that lost counts into the stop, to this computer, or by what no hand
        // made: they are no measure of how long one without a claim is.
        let whole = |view: &&SwipeView| {
            let short = view.swipe.surplus < 0.0;
            let other = view.silences.iter().any(|s| s.to_the_end || (s.host && short))
                || (short && !view.stretches.is_empty());
            !view.swipe.began_short && !view.swipe.stopped_short && !other
        };
        let all: Vec<Claim> =
            phase.swipes.iter().filter(whole).map(|s| Claim::of(s, measure, counts_per_mm)).collect();
        let lacking = mean(&all.iter().map(|c| measure.one_travel - c.along).collect::<Vec<_>>());
        let lost = mean(&all.iter().map(|c| c.lost).collect::<Vec<_>>());
        let they_do = lacking.zip(lost).is_some_and(|(lacks, lost)| lacks >= HALF * lost + measure.most);
        let along = mean(&all.iter().map(|c| c.along).collect::<Vec<_>>());
        let all_claim = all.iter().filter(|c| c.lost == 0.0).count() < LEAST;
        let as_long = elsewhere
            .zip(along)
            .zip(lost)
            .is_some_and(|((usual, along), lost)| all_claim && usual - along + measure.most < HALF * lost);
        let slope = slope(&all, measure.deviation());
        let none = !they_do && (as_long || slope.is_some_and(|(b, error)| b + SURE * error < HALF));
        let quiet: Vec<f64> = all.iter().filter(|c| c.lost == 0.0).map(|c| c.along).collect();
        // Those that lack more have lost something that they do not tell. (Added after sensors that went blind in the first millimetres of 60
        // swipes, and told it in 40, had been said to have lost nothing in these.)
        let measures = |usual: &f64| quiet.len() >= LEAST && *usual >= (1.0 - MOST_GAIN) * measure.one_travel;
        let usual = median(&quiet).filter(measures);
        for view in &mut phase.swipes {
            let claim = Claim::of(view, measure, counts_per_mm);
            let lacks = usual.map(|usual| usual - claim.along + measure.most);
            if none || lacks.is_some_and(|lacks| lacks < HALF * claim.lost) {
                let lost = view.silences.iter_mut().filter(|s| s.kind == MakeUp::Lost && !s.to_the_end);
                lost.for_each(|s| s.host = true);
            }
        }
    }
}

/// Median length of the swipes of the other phases, where most of these claim nothing.
fn without_claims(phases: &[PhaseView], own: usize, measure: Measure, counts_per_mm: f64) -> Option<f64> {
    let others = phases.iter().enumerate().filter(|(i, _)| *i != own).flat_map(|(_, p)| &p.swipes);
    let claims: Vec<Claim> = others.map(|s| Claim::of(s, measure, counts_per_mm)).collect();
    let quiet: Vec<f64> = claims.iter().filter(|c| c.lost == 0.0).map(|c| c.along).collect();
    median(&quiet).filter(|_| quiet.len() >= LEAST && 2 * quiet.len() > claims.len())
}

/// Takes back stretches with too few counts of swipes that lack nothing: a hand slows in the middle of a swipe too, and a report
/// that now and then holds two readings of the sensor makes that look abrupt. (Added after sound devices of 0.98 poll intervals
/// had been said to lose 8 to 37 mm in swipes of two peaks that were whole to a thousandth.) And those that repeat a motion in
/// swipes that are no shorter, or longer, by half of what it makes, against one travel as well, since those beside them may
/// have repeated a little: some hands are nearly as fast for long. (Added after swipes of a gain that rises with speed had been
/// said to repeat up to 42 mm, in 27 of 120, which were as long as the others.)
pub fn hold_stretches(phases: &mut [PhaseView], measure: Measure, counts_per_mm: f64) {
    for PhaseView { series, swipes, .. } in phases {
        let quiet =
            |s: &&SwipeView| s.silences.is_empty() && s.stretches.is_empty() && s.swipe.surplus >= 0.0;
        let quiet: Vec<f64> = swipes.iter().filter(quiet).map(|s| measure.evened(&s.swipe)).collect();
        let Some(usual) = median(&quiet).filter(|_| quiet.len() >= LEAST) else { continue };
        for view in swipes {
            let SwipeView { grid, stretches, swipe, .. } = view;
            let lacks = usual - measure.evened(swipe);
            stretches.retain(|stretch| {
                let Some((expected, counted)) = grid.over(series, &stretch.rows) else { return true };
                let missing = expected - counted.0;
                match stretch.wrong {
                    Wrong::Thin | Wrong::Sideways => {
                        let most = lacks + measure.most;
                        counted.1.abs() >= HALF * missing || most >= HALF * missing * counts_per_mm
                    }
                    Wrong::Repeated => {
                        let lacks = lacks.max(measure.lacks(swipe));
                        let most = missing.signum() * lacks + PLACING * measure.deviation();
                        most >= HALF * missing.abs() * counts_per_mm
                    }
                    _ => true,
                }
            });
        }
    }
}

/// Slope of what is lacking on what is claimed, and its standard error; lengths scatter by `scatter` at least.
fn slope(all: &[Claim], scatter: f64) -> Option<(f64, f64)> {
    let of = |field: fn(&Claim) -> f64| mean(&all.iter().map(field).collect::<Vec<f64>>());
    let (lost, along) = (of(|c| c.lost)?, of(|c| c.along)?);
    let off = || all.iter().map(|c| (c.lost - lost, c.along - along));
    let spread: f64 = off().map(|(x, _)| x * x).sum();
    let unsure: f64 = all.iter().map(|c| c.unsure).sum();
    let upright = Some(spread / (spread - unsure)).filter(|u| (1.0..=2.0).contains(u))?;
    let free = all.len().checked_sub(2).filter(|n| *n >= LEAST)?;
    let b = -off().map(|(x, y)| x * y).sum::<f64>() / spread;
    let left: f64 = off().map(|(x, y)| (y + b * x).powi(2)).sum();
    Some((b * upright, (left / free as f64).sqrt().max(scatter) / spread.sqrt() * upright))
}
