//! The faults that the table asks for, with their sizes: one list, one entry a kind of fault.
//!
//! A size is what the header of the family's file states as the smallest that it finds (the first of each list), and
//! larger ones. An entry says how a size is laid into a scene, and which of the truth's labels are large enough to be
//! held against that statement; a label hidden by a stall of the host never is.

use crate::space::{FAST, MEDIUM, SLOW, Scene};
use slipgauge_analysis::verdict::Family;
use slipgauge_sim::{
    Bursts, Excess, Firmware, Gain, Label, Loss, Missing, Pace, Radio, ReportFormat, Scaling, Stretch,
    SwipeTruth, Tremble, Truth, What,
};
use std::f64::consts::PI;

/// How a fault is scored.
#[derive(Clone, Copy)]
pub enum Score {
    /// By events: a finding of the family at the place of each label that passes the test.
    Events(fn(&Label, &Truth) -> bool),
    /// By the verdict: the family fails, in sessions where the truth lies plainly outside the tolerance.
    Fails(fn(&Truth) -> bool),
}

/// One kind of fault.
pub struct Case {
    /// Its name.
    pub name: &'static str,
    /// The family that it belongs to.
    pub family: Family,
    /// Unit of the sizes.
    pub unit: &'static str,
    /// Sizes, the stated smallest first.
    pub sizes: &'static [f64],
    /// How it is laid into a scene.
    pub apply: fn(&mut Scene, f64),
    /// How it is scored.
    pub score: Score,
}

/// Counts per report slot from which a silence can be told; the files of dropout and tracking loss say 3, and the
/// flank's own scatter is on top.
const DUE: f64 = 3.5;

fn counts_per_slot(truth: &Truth, m_s: f64) -> f64 {
    let device = &truth.bench.device;
    m_s * device.counts_per_m(1)[0] * device.link.interval_ns as f64 * 1e-9
}

/// Two reports and 1 mm, at [`DUE`] counts a slot; of lost ones after which the hand has struck the stop nothing but the
/// shortfall shows, as the header states.
fn dropout(label: &Label, truth: &Truth) -> bool {
    let reports = label.detail.get("reports").copied().unwrap_or(0.0);
    let interval_ns = truth.bench.device.link.interval_ns;
    let slot_s = interval_ns as f64 * 1e-9;
    let m_s = 1e-3 * label.size / (reports * slot_s).max(slot_s);
    let large = label.size >= 1.0 && reports >= 2.0 && counts_per_slot(truth, m_s) >= DUE;
    let stop_ns = swipe_of(label, truth).map_or(i64::MAX, |s| s.end_ns);
    // The first report that could tell of the hand's speed after it comes two intervals after the last one lost.
    let into_the_stop = label.kind == "lost" && label.end_ns + 2 * interval_ns >= stop_ns;
    large
        && !overrun(label, truth)
        && (!into_the_stop || (label.size >= 15.0 && beyond_placing(label, truth)))
}

fn swipe_of<'a>(label: &Label, truth: &'a Truth) -> Option<&'a SwipeTruth> {
    truth.swipes.iter().find(|s| (Some(s.phase), Some(s.swipe)) == (label.phase, label.swipe))
}

/// What the hand has come before a loss near the begin, mm: the header says 1, and the finder's reading is on top.
const LEAST_MM: f64 = 1.5;

/// Likewise, by the time that it lasts; near the begin, while the hand brakes, and into the stop as the header states.
fn loss(label: &Label, truth: &Truth) -> bool {
    let onset = label.detail.get("onset_m_s").copied().unwrap_or(0.0);
    let interval_ns = truth.bench.device.link.interval_ns.max(1);
    let slots = (label.end_ns - label.begin_ns) / interval_ns;
    let large =
        label.size >= 1.0 && slots >= 2 && counts_per_slot(truth, onset) >= DUE && !overrun(label, truth);
    let Some(swipe) = swipe_of(label, truth) else { return large };
    let interval_s = interval_ns as f64 * 1e-9;
    let by_acceleration = truth.bench.device.sensor.tracking.max_acceleration_m_s2;
    let into_the_stop = label.end_ns + interval_ns >= swipe.end_ns;
    let peak_ns = ((swipe.end_ns - swipe.begin_ns) as f64 * swipe.time_to_peak) as i64;
    let speeds_up = label.begin_ns < swipe.begin_ns + peak_ns;
    // A hand of 100 m/s² and more is none of this space: the limit is one of speed.
    let shows = by_acceleration > 100.0
        || if speeds_up {
            let before = (onset - 3.0 * by_acceleration * interval_s).max(0.5 * onset);
            let begun = counts_per_slot(truth, before) >= DUE
                && onset >= 2.0 * by_acceleration * interval_s
                && onset * onset >= 1.5e-3 * LEAST_MM * by_acceleration;
            begun && label.end_ns - label.begin_ns < 100_000_000
        } else {
            onset >= 11.0 * by_acceleration * interval_s
        };
    let same = |l: &&Label| (l.phase, l.swipe) == (label.phase, label.swipe) && l.begin_ns < label.begin_ns;
    let more = truth.of(slipgauge_sim::Family::TrackingLoss).filter(same).any(|l| l.size > label.size);
    // On its way, two reports are silent in three intervals, wherever the loss begins.
    let stop =
        if into_the_stop { label.size >= 15.0 && beyond_placing(label, truth) && !more } else { slots >= 3 };
    large && shows && stop
}

/// Partial loss that is told as such, by what it takes from a cell at once.
fn thins(label: &Label, truth: &Truth) -> bool {
    let m_s = label.detail.get("onset_m_s").copied().unwrap_or(0.0);
    let Loss::Partial { share } = truth.bench.device.sensor.tracking.loss else { return false };
    let (bound_mm, before) = cell_bound_mm(truth, m_s, 60.0);
    let taken_mm = 1e3 * (1.0 - share) * m_s * (truth.bench.device.link.interval_ns as f64 * 1e-9).max(1e-3);
    let enough = taken_mm >= (1.0 + 1.0 / before) * bound_mm;
    enough && beyond_placing(label, truth) && counts_per_slot(truth, m_s) >= DUE
}

/// Partial loss of which only the shortfall shows.
fn only_short(label: &Label, truth: &Truth) -> bool {
    beyond_placing(label, truth) && !thins(label, truth)
}

/// What a cell may hold else than the one before it, as the headers have it, and the cells before.
fn cell_bound_mm(truth: &Truth, m_s: f64, arm_m_s2: f64) -> (f64, f64) {
    let cell_s = (truth.bench.device.link.interval_ns as f64 * 1e-9).max(1e-3);
    let before = (4e-3 / cell_s).floor().clamp(1.0, 4.0);
    let count_mm = 1e3 / truth.bench.device.counts_per_m(1)[0];
    let arm_mm = 1e3 * arm_m_s2 * cell_s * cell_s * (1.0 + before) / 2.0;
    (2.5 * count_mm + 150.0 * m_s * cell_s + arm_mm, before)
}

/// 2 mm, of a hand that goes on for 25 ms and of a host whose queue does not run over within the 0.1 s after.
fn woke(label: &Label, truth: &Truth) -> bool {
    label.size >= 2.0 && !soon(label, truth, "paused", 25_000_000) && !overrun(label, truth)
}

/// Likewise of one that comes short, as the header of wake-up has it: in the mean of all that are large enough by a millimetre and sixteen
/// standard deviations of a stop over the root of their number, or by itself; beyond what the medium swipes lack.
fn woke_short(label: &Label, truth: &Truth) -> bool {
    let own = || truth.of(slipgauge_sim::Family::WakeUp);
    let common =
        own().filter(|l| l.phase == Some(MEDIUM)).map(|l| l.size).sum::<f64>() / count(truth, MEDIUM);
    let large: Vec<f64> = own().filter(|l| woke(l, truth)).map(|l| l.size - common).collect();
    let stops_mm = 1e3 * truth.bench.hand.placement_scatter_m;
    let beyond = |size: f64, n: f64| size >= 1.0 + 16.0 * stops_mm / n.sqrt();
    let n = large.len().max(1) as f64;
    woke(label, truth) && (beyond(large.iter().sum::<f64>() / n, n) || beyond(label.size - common, 1.0))
}

/// True if something of this kind begins within it or so soon after it.
fn soon(label: &Label, truth: &Truth, kind: &str, ns: i64) -> bool {
    let begins = label.begin_ns..label.end_ns + ns;
    truth.labels.iter().any(|l| l.kind == kind && begins.contains(&l.begin_ns))
}

/// True if the host's queue runs over within 0.1 s: what was lost may have been the host's.
fn overrun(label: &Label, truth: &Truth) -> bool {
    soon(label, truth, "overrun", 110_000_000)
}

/// The smallest that the header of spin-out states: what is false in both of two cells, at the speed of the onset, and what
/// undoes a whole report's motion if two share it.
fn false_motion(label: &Label, truth: &Truth) -> bool {
    let interval_s = truth.bench.device.link.interval_ns as f64 * 1e-9;
    let m_s = label.detail.get("onset_m_s").copied().unwrap_or(0.0);
    let cell_s = interval_s.max(1e-3);
    let before = (4e-3 / cell_s).floor().clamp(1.0, 4.0);
    let count_mm = 1e3 / truth.bench.device.counts_per_m(1)[0];
    let bound_mm =
        2.5 * count_mm + 1e3 * (0.15 * m_s * cell_s + 150.0 * cell_s * cell_s * (1.0 + before) / 2.0);
    let report_mm = 1e3 * m_s * interval_s;
    label.size >= (2.0 * bound_mm).max(2.0 * report_mm).max(2.0) && counts_per_slot(truth, m_s) >= DUE
}

/// The smallest repeat that the header states where frames beat against reports: 4 % of the travel, beyond placing, at three
/// counts a report.
fn repeated(label: &Label, truth: &Truth) -> bool {
    let onset = label.detail.get("onset_m_s").copied().unwrap_or(0.0);
    beyond_placing(label, truth)
        && counts_per_slot(truth, onset) >= DUE
        && label.size >= 40.0 * truth.travel_m
        && !overrun(label, truth)
}

/// Likewise a level, as the header of tracking loss has it: of eight and more, or of a step where six and more are seen to end.
fn levels(label: &Label, truth: &Truth) -> bool {
    let many = truth.of(label.family).filter(|l| repeated(l, truth)).count() >= 8;
    repeated(label, truth) && (many || ends_seen(truth, label.family) >= ENDS)
}

/// A repeat of that size that is told from a sensor that saturates, as the header of `top_speed` states: of a step whose levels
/// end, in six swipes and more, long enough before the stop.
fn wakes(label: &Label, truth: &Truth) -> bool {
    repeated(label, truth) && ends_seen(truth, slipgauge_sim::Family::SpinOut) >= ENDS
}

/// Ends that tell a repeat from a level, as the headers have it.
const ENDS: usize = 6;

/// Swipes in which a level of a family is seen to end: 5 ms, four reports and 8 mm and more before the stop, at 2 ms and less.
fn ends_seen(truth: &Truth, family: slipgauge_sim::Family) -> usize {
    let interval_ns = truth.bench.device.link.interval_ns;
    let ends = |label: &&Label| {
        let onset = label.detail.get("onset_m_s").copied().unwrap_or(0.0);
        let Some(swipe) = swipe_of(label, truth) else { return false };
        // It slows from the onset to what it touches the stop with, the more the sooner.
        let mean_m_s = swipe.contact_m_s + (onset - swipe.contact_m_s) / 3.0;
        let left_ns = swipe.end_ns - label.end_ns - 4 * interval_ns - 5_000_000;
        1e-6 * left_ns as f64 * mean_m_s > 8.0
    };
    if interval_ns <= 2_100_000 { truth.of(family).filter(ends).count() } else { 0 }
}

/// Likewise of carry-on and of swipes that are short: 2 mm, and sixteen standard deviations of a stop; of carry-on less
/// what the same swipe counted too little before the stop, a host's overrun included.
fn beyond_placing(label: &Label, truth: &Truth) -> bool {
    let stops_mm = 1e3 * truth.bench.hand.placement_scatter_m;
    let same = |l: &&Label| (l.phase, l.swipe) == (label.phase, label.swipe);
    let takes = |l: &&Label| l.family == slipgauge_sim::Family::SpinOut || l.kind == "overrun";
    let before = truth.labels.iter().filter(takes).filter(same);
    let before: f64 = match label.family {
        slipgauge_sim::Family::CarryOn => before.map(|l| l.size).sum(),
        _ => 0.0,
    };
    label.size - before >= (16.0 * stops_mm).max(2.0)
}

/// Three reports at the top and 1.5 mm that they could not hold, in three swipes or more. (Less than that comes of
/// single reports that noise lifts over the top, and the truth does not say how many ran together.)
fn clipped(label: &Label, truth: &Truth) -> bool {
    let least_ns = truth.bench.device.link.interval_ns * 5 / 2;
    let held = |l: &Label| l.end_ns - l.begin_ns >= least_ns && l.size >= 1.5;
    held(label) && truth.of(slipgauge_sim::Family::ReportCeiling).filter(|l| held(l)).count() >= 3
}

/// Fast over slow lies beyond the default tolerance by [`GUARD`] standard uncertainties, as the header of gain change has
/// it.
fn contrast_outside(truth: &Truth) -> bool {
    let hand = &truth.bench.hand;
    // n swipes in a row share their stops: two stops' scatter in each, by √(2/n).
    let stops = 2.0 * hand.placement_scatter_m * (1.0 / count(truth, FAST) + 1.0 / count(truth, SLOW)).sqrt();
    true_contrast(truth).abs() > 0.02 + GUARD * (stops / truth.travel_m).hypot(yaw(truth))
}

/// Likewise of fractions that are cut off, whose cause is told where medium swipes hold three counts a report.
fn cut_off(truth: &Truth) -> bool {
    let medium = truth.swipes.iter().filter(|s| s.phase == MEDIUM);
    let seconds = medium.map(|s| 1e-9 * (s.end_ns - s.begin_ns) as f64).fold(0.0, f64::max);
    contrast_outside(truth) && counts_per_slot(truth, truth.travel_m / seconds.max(1e-9)) >= 3.0
}

/// Swipes of a phase, one at least.
fn count(truth: &Truth, phase: u32) -> f64 {
    truth.swipes.iter().filter(|s| s.phase == phase).count().max(1) as f64
}

/// A free hand's yaw, as the headers of resolution and gain change have it; none along a straight edge.
fn yaw(truth: &Truth) -> f64 {
    if truth.bench.hand.path.yaw_rad == 0.0 { 0.0 } else { 0.01 / 3f64.sqrt() }
}

/// Likewise the resolution, by what the slow swipes and the travel leave of it.
fn resolution_outside(truth: &Truth) -> bool {
    let stops = truth.bench.hand.placement_scatter_m * (2.0 / count(truth, SLOW)).sqrt();
    let ruler = 1e-6 * truth.bench.travel.uncertainty_um as f64;
    let u = (stops.hypot(ruler) / truth.travel_m).hypot(yaw(truth));
    truth.bench.device.steps[0].error.abs() > 0.1 + GUARD * u
}

/// Likewise a creep, which is known to 0.7 counts over the 8 s, if nobody knocks meanwhile.
fn creep_outside(truth: &Truth) -> bool {
    let still = truth.phases.first().map_or(0..0, |p| p.begin_ns..p.end_ns);
    if truth.labels.iter().any(|l| l.kind == "knock" && still.contains(&l.begin_ns)) {
        return false;
    }
    let [x, y] = truth.bench.device.sensor.drift.creep_m_s;
    let count_m = 1.0 / truth.bench.device.counts_per_m(1)[0];
    x.hypot(y) > 0.1e-3 + GUARD * 0.7 * count_m / 8.0
}

/// Five counts are due in a report at the peak of a fast swipe, as the header of report interval has it.
fn uses_every_slot(truth: &Truth) -> bool {
    let fast = truth.swipes.iter().filter(|s| s.phase == FAST);
    counts_per_slot(truth, fast.map(|s| s.peak_m_s).fold(0.0, f64::max)) >= 5.0
}

/// The limit of a fail lies 4 to 5 off, and an estimate is off by 3 once in 700 times.
const GUARD: f64 = 8.0;

fn any(_: &Label, _: &Truth) -> bool {
    true
}

fn drops(scene: &mut Scene, mm: f64, counts: Missing) {
    // A late report holds many slots' counts: in a narrow field it would clip, and be neither late nor lost.
    scene.bench.device.report.bits = 16;
    // Only a radio loses what it cannot bring; of its own it loses nothing here.
    scene.bench.device.link.radio =
        (counts == Missing::Lost).then(|| Radio { enters_bad: 0.0, ..Radio::default() });
    // The mean speed of minimum jerk is 0.53 of its peak.
    let slots = 1e-3 * mm / (0.53 * scene.fast_m_s * scene.interval_s());
    let what = What::Dropout { reports: slots.ceil().max(2.0) as u32, counts };
    for swipe in scene.free_fast() {
        // Within 4 mm of a turning point none is looked for; at its fastest a gap is twice as long.
        let inside = 5.0 / 300.0..1.0 - (5.0 + 2.0 * mm) / 300.0;
        let mut at = 0.0;
        while !inside.contains(&at) {
            at = place_of_time(scene.dice.between(0.0, 1.0));
        }
        scene.in_fast(swipe, at, what);
    }
}

/// Share of the way at a share of the time of a minimum-jerk swipe (Flash & Hogan 1985): a link knows nothing of places.
fn place_of_time(u: f64) -> f64 {
    u * u * u * (10.0 + u * (-15.0 + 6.0 * u))
}

/// A tracking limit at a share of the fast swipes' peak.
pub fn limit(scene: &mut Scene, share_of_peak: f64, loss: Loss) {
    let tracking = &mut scene.bench.device.sensor.tracking;
    tracking.max_speed_m_s = share_of_peak * scene.fast_m_s;
    tracking.scatter = 0.02;
    tracking.loss = loss;
}

fn spins(scene: &mut Scene, mm: f64) {
    for swipe in scene.free_fast() {
        let turn_rad = scene.dice.between(0.5 * PI, PI) * scene.dice.pick(&[-1.0, 1.0]);
        let speed_share = 0.8;
        // |true − false| of two vectors of lengths 1 and `speed_share`.
        let apart = (1.0 + speed_share * speed_share - 2.0 * speed_share * f64::cos(turn_rad)).sqrt();
        // A third more than asked for, since the speed at the place is not known; small ones are not scored.
        let seconds = 1.33e-3 * mm / (apart * 0.8 * scene.fast_m_s);
        let what = What::Lose { loss: Loss::Guess { turn_rad, speed_share }, seconds };
        let at = scene.dice.between(0.35, 0.6);
        scene.in_fast(swipe, at, what);
    }
}

fn carries_on(scene: &mut Scene, ms: f64, loss: Loss) {
    for swipe in scene.free_fast() {
        scene.in_fast(swipe, 0.97, What::Lose { loss, seconds: 1e-3 * ms });
    }
}

/// Rates at which a report holds many counts at the peak, so that a ceiling means something.
pub fn coarse_enough(scene: &mut Scene) {
    let nominal = scene.dice.pick(&[800.0, 1600.0, 3200.0]);
    let interval_ns = scene.dice.pick(&[500_000, 1_000_000, 2_000_000, 4_000_000]);
    scene.with_rates(if nominal < 1000.0 { interval_ns.max(1_000_000) } else { interval_ns }, nominal);
}

/// Firmware that clips at a share of the fast swipes' peak.
fn firmware_clip(scene: &mut Scene, share_of_peak: f64, excess: Excess) {
    coarse_enough(scene);
    let peak = scene.fast_m_s * scene.counts_per_m() * scene.interval_s();
    scene.bench.device.firmware =
        Firmware { limit: Some((share_of_peak * peak) as i32), excess, ..Firmware::default() };
}

fn field_clip(scene: &mut Scene, share_of_peak: f64, excess: Excess) {
    coarse_enough(scene);
    // The resolution that puts the field's 127 counts at this share of the peak.
    let nominal = 127.0 * 0.0254 / (share_of_peak * scene.fast_m_s * scene.interval_s());
    scene.bench.device.steps[0].nominal_counts_per_inch = nominal;
    scene.bench.device.report = ReportFormat { bits: 8, ..ReportFormat::default() };
    scene.bench.device.firmware = Firmware { excess, ..Firmware::default() };
}

/// Creep in a direction at random.
pub fn creep(scene: &mut Scene, mm_s: f64) {
    let angle = scene.dice.between(0.0, 2.0 * PI);
    scene.bench.device.sensor.drift.creep_m_s = [1e-3 * mm_s * angle.cos(), 1e-3 * mm_s * angle.sin()];
}

/// Net counts in the 8 s that are left of the still phase.
fn creep_counts(scene: &mut Scene, counts: f64) {
    let mm_s = 1e3 * counts / 8.0 / scene.counts_per_m();
    creep(scene, mm_s);
}

fn bursts(scene: &mut Scene, counts: f64) {
    scene.bench.device.sensor.drift.bursts = Bursts { rate_hz: 0.5, counts, seconds: 0.02 };
}

/// Resolution off by so much, either way.
pub fn off_nominal(scene: &mut Scene, error: f64) {
    scene.bench.device.steps[0].error = error * scene.dice.pick(&[-1.0, 1.0]);
}

/// A fault of the simulator's catalogue. A name that is not there leaves the scene sound, and every session missed.
fn named(scene: &mut Scene, name: &str, size: f64) {
    if let Ok(bench) = scene.bench.clone().with_fault(name, Some(size)) {
        scene.bench = bench;
    }
}

/// The smallest that the header of straightening states.
fn counts_to_straighten(truth: &Truth) -> bool {
    let device = &truth.bench.device;
    let counts = truth.travel_m * device.counts_per_m(1)[0];
    f64::tan(device.sensor.straightening.within_rad) * counts >= 480.0
}

/// Straightening, on a device that lies so that a free hand turns it through the angle on its way: a device within it all
/// along is like one that lies truly on its axis, and one beyond it shows nothing.
fn straightens(scene: &mut Scene, degrees: f64) {
    named(scene, "straightening", degrees);
    scene.straight_edge = false;
    let yaw_rad = scene.dice.between(0.12, 0.17) * scene.dice.pick(&[-1.0, 1.0]);
    let at = scene.dice.between(0.35, 0.65);
    let side = scene.dice.pick(&[-1.0, 1.0]);
    scene.bench.hand.path.yaw_rad = yaw_rad;
    scene.bench.hand.path.wobble_rad = 0.02;
    scene.bench.device.mount_rad = side * degrees.to_radians() - yaw_rad * (at - 0.5);
}

const fn case(
    name: &'static str,
    family: Family,
    sizes: (&'static [f64], &'static str),
    apply: fn(&mut Scene, f64),
    score: Score,
) -> Case {
    Case { name, family, unit: sizes.1, sizes: sizes.0, apply, score }
}

const MM: &[f64] = &[1.0, 2.0, 5.0, 20.0];
const PEAK: &[f64] = &[0.98, 0.9, 0.75, 0.5];

/// All of them.
pub const CASES: &[Case] = &[
    case(
        "dropout late",
        Family::Dropout,
        (MM, "mm"),
        |s, x| drops(s, x, Missing::Kept),
        Score::Events(dropout),
    ),
    case(
        "dropout lost",
        Family::Dropout,
        (MM, "mm"),
        |s, x| drops(s, x, Missing::Lost),
        Score::Events(dropout),
    ),
    case(
        "tracking silent",
        Family::TrackingLoss,
        (PEAK, "of peak"),
        |s, x| limit(s, x, Loss::Silent),
        Score::Events(loss),
    ),
    case(
        "tracking partial",
        Family::TrackingLoss,
        (&[0.9, 0.75, 0.5], "of peak"),
        |s, x| limit(s, x, Loss::Partial { share: 0.33 }),
        Score::Events(thins),
    ),
    case(
        "tracking short",
        Family::TrackingLoss,
        (&[0.9, 0.75, 0.5], "of peak"),
        |s, x| limit(s, x, Loss::Partial { share: 0.33 }),
        Score::Events(only_short),
    ),
    case(
        "tracking saturated",
        Family::TrackingLoss,
        (&[0.9, 0.75, 0.5], "of peak"),
        |s, x| limit(s, x, Loss::Saturated),
        Score::Events(levels),
    ),
    case(
        "tracking acceleration",
        Family::TrackingLoss,
        (&[0.8, 0.5], "of peak acceleration"),
        |s, x| {
            // Minimum jerk of peak speed v over D reaches 5.77/1.875² v²/D.
            let tracking = &mut s.bench.device.sensor.tracking;
            tracking.max_acceleration_m_s2 = x * 1.64 * s.fast_m_s * s.fast_m_s / 0.3;
            tracking.hold_s = 0.02;
        },
        Score::Events(loss),
    ),
    case(
        "spin-out placed",
        Family::SpinOut,
        (&[2.0, 5.0, 20.0, 60.0], "mm"),
        spins,
        Score::Events(false_motion),
    ),
    case(
        "spin-out guess",
        Family::SpinOut,
        (&[0.9, 0.6], "of peak"),
        |s, x| limit(s, x, Loss::Guess { turn_rad: 2.4, speed_share: 0.8 }),
        Score::Events(false_motion),
    ),
    case(
        "spin-out repeat",
        Family::SpinOut,
        (&[0.9, 0.6], "of peak"),
        |s, x| limit(s, x, Loss::Repeat { fade_s: 0.0 }),
        Score::Events(wakes),
    ),
    case(
        "carry-on steady",
        Family::CarryOn,
        (&[20.0, 40.0], "ms"),
        |s, x| carries_on(s, x, Loss::Repeat { fade_s: 0.0 }),
        Score::Events(beyond_placing),
    ),
    case(
        "carry-on fading",
        Family::CarryOn,
        (&[60.0], "ms"),
        |s, x| carries_on(s, x, Loss::Repeat { fade_s: 0.015 }),
        Score::Events(beyond_placing),
    ),
    case("creep", Family::Drift, (&[6.0, 10.0, 40.0], "counts in 8 s"), creep_counts, Score::Events(any)),
    case("creep, verdict", Family::Drift, (&[0.12, 0.2, 0.5], "mm/s"), creep, Score::Fails(creep_outside)),
    case("bursts", Family::Drift, (&[3.0, 4.0, 12.0], "counts"), bursts, Score::Events(lone_burst)),
    case(
        "tremble",
        Family::Drift,
        (&[2.0, 10.0], "1/s"),
        |s, x| s.bench.device.sensor.drift.tremble = Tremble { rate_hz: x, counts: 1.0 },
        Score::Events(any),
    ),
    case(
        "flicker",
        Family::Drift,
        (&[20.0, 60.0], "µm"),
        |s, x| s.bench.device.sensor.drift.flicker.amplitude_m = 1e-6 * x,
        Score::Events(shows_in_counts),
    ),
    case(
        "truncation",
        Family::GainChange,
        (&[0.37], "ratio"),
        |s, x| s.bench.device.firmware.scaling = Some(Scaling { ratio: x, truncates: true }),
        Score::Fails(cut_off),
    ),
    case(
        "gain, bulge",
        Family::GainChange,
        (&[0.1], "share"),
        |s, x| {
            let v = s.fast_m_s;
            s.bench.device.sensor.gain = Gain::Curve(vec![(0.2 * v, 1.0), (0.6 * v, 1.0 + x), (v, 1.0 + x)]);
        },
        Score::Fails(contrast_outside),
    ),
    case(
        "ceiling, firmware, lost",
        Family::ReportCeiling,
        (PEAK, "of peak"),
        |s, x| firmware_clip(s, x, Excess::Discarded),
        Score::Events(clipped),
    ),
    case(
        "ceiling, firmware, kept",
        Family::ReportCeiling,
        (PEAK, "of peak"),
        |s, x| firmware_clip(s, x, Excess::Carried),
        Score::Events(clipped),
    ),
    case(
        "ceiling, field, lost",
        Family::ReportCeiling,
        (&[0.9, 0.5, 0.15], "of peak"),
        |s, x| field_clip(s, x, Excess::Discarded),
        Score::Events(clipped),
    ),
    case(
        "ceiling, field, kept",
        Family::ReportCeiling,
        (&[0.9, 0.5], "of peak"),
        |s, x| field_clip(s, x, Excess::Carried),
        Score::Events(clipped),
    ),
    case(
        "resolution off",
        Family::Resolution,
        (&[0.115, 0.13, 0.2], "share"),
        off_nominal,
        Score::Fails(resolution_outside),
    ),
    case(
        "interval off",
        Family::ReportInterval,
        (&[0.055, 0.08], "share"),
        |s, x| s.bench.device.link.clock_error = x * s.dice.pick(&[-1.0, 1.0]),
        Score::Fails(uses_every_slot),
    ),
    case(
        "interval, structure",
        Family::ReportInterval,
        (&[0.25], "of interval"),
        |s, x| {
            let by_ns = (x * s.bench.device.link.interval_ns as f64) as i64;
            s.bench.device.link.stretch = Some(Stretch { every: 8, by_ns });
        },
        Score::Events(|_, truth| uses_every_slot(truth)),
    ),
    case(
        "wake-up late",
        Family::WakeUp,
        (&[30.0, 60.0], "ms"),
        |s, x| named(s, "wake-late", x),
        Score::Events(woke),
    ),
    case(
        "wake-up short",
        Family::WakeUp,
        (&[30.0, 60.0], "ms"),
        |s, x| named(s, "wake-short", x),
        Score::Events(woke_short),
    ),
    case(
        "straightening",
        Family::Straightening,
        (&[3.0, 6.0, 10.0], "degrees"),
        straightens,
        Score::Fails(counts_to_straighten),
    ),
];

/// Begins after the 2 s in which the hand lets go, in the still phase, and no other burst or knock lies within 0.1 s:
/// what is nearer is one group by the family's file, and two that cancel are a swing.
fn lone_burst(label: &Label, truth: &Truth) -> bool {
    let still = truth.phases.first();
    let inside =
        still.is_some_and(|p| label.begin_ns > p.begin_ns + 2_100_000_000 && label.end_ns < p.end_ns);
    let near =
        |l: &&Label| l.begin_ns <= label.end_ns + 110_000_000 && label.begin_ns <= l.end_ns + 110_000_000;
    let others = truth.labels.iter().filter(|l| l.kind == "burst" || l.kind == "knock");
    inside && others.filter(near).count() == 1
}

/// Makes a count or more from peak to peak along X; less than that never leaves the device.
fn shows_in_counts(label: &Label, truth: &Truth) -> bool {
    2e-3 * label.size * truth.bench.device.counts_per_m(1)[0] >= 1.0
}

/// Gain that changes evenly with speed so that fast over slow comes out at a contrast, by a trial run.
pub fn set_contrast(scene: &mut Scene, contrast: f64) {
    let trial = if contrast < 0.0 { -0.01 } else { 0.01 };
    scene.bench.device.sensor.gain = Gain::Slope { per_m_s: trial };
    let got = scene.bench.clone().session().map_or(0.0, |session| true_contrast(&session.truth()));
    let per_m_s = if got == 0.0 { 0.0 } else { trial * contrast / got };
    scene.bench.device.sensor.gain = Gain::Slope { per_m_s };
}

/// Mean gain of the fast swipes over that of the slow ones, less one.
pub fn true_contrast(truth: &Truth) -> f64 {
    pace_gain(truth, Pace::Fast) / pace_gain(truth, Pace::Slow) - 1.0
}

/// Mean gain of the swipes of a pace.
pub fn pace_gain(truth: &Truth, pace: Pace) -> f64 {
    let phase = if pace == Pace::Fast { FAST } else { SLOW };
    let gains: Vec<f64> = truth.swipes.iter().filter(|s| s.phase == phase).map(|s| s.gain).collect();
    if gains.is_empty() { 1.0 } else { gains.iter().sum::<f64>() / gains.len() as f64 }
}
