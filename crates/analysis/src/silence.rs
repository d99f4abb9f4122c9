//! Silences at speed: the device says nothing, or next to nothing, while the hand must be moving.
//!
//! Not a family: the raw material of *dropout* (reports missing) and *tracking loss* (counts missing), which share
//! this one search so that one event becomes one finding.
//!
//! A silence is a run of at least [`LEAST_SLOTS`] empty report slots inside a swipe with
//! - at least [`DUE`] counts per slot on both sides, in the swipe's own direction (where reports come faster than every
//!   millisecond, a silence of two and more needs them per millisecond); before a silence that the hand leaves at
//!   a speed that no arm reaches at once, [`DUE`] counts in all;
//! - more than [`END_ZONE_MM`] from both turning points; or followed by more than [`SET_OUT`] times the speed, or by
//!   a speed that no arm reaches from rest within a report and [`LEAST_MM`];
//! - flanks that are not slowing (but where the report after it holds more than an arm makes in a slot): the last reports before it run at no less than [`NOT_SLOWING`] of those before them (of a
//!   swipe that comes up short, with or without the last one, which holds a part of its interval);
//! - at least [`LEAST_MM`] of travel missing by the speeds of the flanks at its edges.
//!
//! In a swipe that comes up short by half of what the flanks say and more, and for no other silence or start, one empty slot of
//! [`LONE_SLOT`] is a silence, too.
//!
//! In a swipe that comes up short ([`crate::shortfall`]) what comes after may be slow or near the stop; so it may where the
//! report after the silence tells by its counts that the hand has moved in it.
//!
//! Counts that end at speed in a swipe that comes up short are a silence, too, unless what the swipe lacks was lost
//! before its first report ([`crate::starts`]), or the device was seen to bounce off the stop sooner than an arm gets there.
//! A first report that no arm makes from rest tells no speed. (Added after devices
//! that slept through their starts had been told to lose track where the hand struck the stop, in up to 19 of 20
//! swipes; for all swipes since a gain that falls with speed had been told so under hands that strike.)
//!
//! What was held back may come in several reports, within [`HANDED_ON`] and no longer than the silence: with v what a slot holds before
//! the silence or after them, the more, the last of them holds [`OWN`] v, and all of them beyond v each between a half and twice of
//! what the flanks say, and [`LEAST_MM`], in a swipe that does not lack it. The flank after the silence begins behind them. A host
//! holds reports up, and makes no fuller ones of them; in silences no longer than a reader is late by ([`STALL_MARGIN`]) reports that
//! hold two frames by right look so, where the device sends less often than it is polled. (Added after freezes of 12 and 20 ms that
//! were caught up over 2 to 12 ms had been told as clean swipes, or as motion beyond an arm.)
//!
//! Stray reports of at most [`STRAY`] counts do not end a silence where the flanks run at [`STRAY_FLANK`] and more.
//! Cost: O(reports of the swipe).

use crate::erratic::{ARM_ACCELERATION, FLICK_ACCELERATION, from_rest};
use crate::false_motion::BOUNCE_MM;
use crate::host::{HostSpans, STALL_MARGIN};
use crate::series::{CONTIGUOUS, DUE, Frame, Sample, Series, rush};
use crate::starts::LostBefore;
use crate::swipes::{self, ASLEEP, AT_SPEED, PAUSE, Swipe};
use crate::tracking_limit::onset;

/// Empty slots that make a silence: one alone may be a poll that came early or late.
pub const LEAST_SLOTS: f64 = 2.0;
/// From this slot on, nanoseconds, one alone makes one where its counts are missing from the length of the swipe as well: neither a
/// poll nor a reader is late by half as much again as a stall is allowed. (Added after 7 of 11 lost ones at 8 ms, of 9 mm and
/// more each, had not been told.)
const LONE_SLOT: f64 = 1.5 * STALL_MARGIN as f64;
/// What such a swipe lacks over what it hides: half at least, as a late one is told from a lost one, and no more than two of them
/// in one swipe. (Added after one had been seen to be told in place of the partial losses that took six times as much.)
const LONE_COST: (f64, f64) = (0.5, 2.5);
/// A silence of twice this is held against the counts of so long, where reports come faster, nanoseconds. (Added after
/// silences of 17 ms had been seen to be missed at 8 kHz, at 1 m/s and 800 counts/inch.)
pub const CELL: f64 = 1e6;
/// Time within which [`DUE`] counts are due beside a silence as long as this, nanoseconds.
pub fn due_within(length: f64, slot: f64) -> f64 {
    if length >= LEAST_SLOTS * CELL { slot.max(CELL) } else { slot }
}

/// Speed at which there are [`DUE`] counts in so many nanoseconds, mm/s.
pub fn due_mm_s(counts_per_mm: f64, within: f64) -> f64 {
    DUE as f64 / counts_per_mm / (within * 1e-9)
}

/// Distance from a turning point within which a bounce, a knock or an abrupt stop may lie.
pub const END_ZONE_MM: f64 = 4.0;
/// Speed after over speed before from which on a silence near the begin of a swipe is none of a bounce's.
const SET_OUT: f64 = 2.0;
/// Smallest missing travel.
pub const LEAST_MM: f64 = 1.0;
/// What is missing is told to a tenth by flanks of a few reports: what is found at [`LEAST_MM`] is looked for below it. (A fifth
/// was tried: devices of 1.1 to 1.4 poll intervals that are read late then had silences again.)
const TO_A_TENTH: f64 = 0.9;
/// Speed and place at a silence's begin are told to a fifth: frames beat, and the report before it holds a part of its slot. (Added
/// after late and lost ones had been seen to be missed 3.9 mm from where the swipe began, or at 2.9 counts in a slot.)
pub const TOLD_TO: f64 = 0.8;
/// Make-up ratios that are neither late nor lost: those of late reports were 0.83 to 1.17, of lost ones -0.14 to 0.14, at a
/// steady speed; while a hand sets out the flanks tell it to a half. The length of the swipe tells then.
const NEITHER: std::ops::Range<f64> = 0.3..0.7;
/// A hand does not lose a third of its speed within three reports at 1 kHz (0.33 × 1 m/s in 3 ms is 110 m/s²).
const NOT_SLOWING: f64 = 0.6;
/// Counted and missing motion together are at most so many travels: the flanks of a silence tell what it hides to half of
/// that.
pub const BEYOND_THE_STOP: f64 = 1.5;
/// Counts that do not end a silence.
const STRAY: f64 = 2.0;
/// Counts per slot of a flank at which a stray report is negligible.
const STRAY_FLANK: f64 = 12.0;
/// Share of the speed before it, across the swipe, that is no silence.
const ASIDE: f64 = 0.5;
/// Reports on each side from which the flank's speed is taken.
pub const FLANK: usize = 6;
/// Reports over which the slot ledger must stay up.
const LEDGER: usize = 12;
/// And this time, nanoseconds, where reports come faster than every millisecond: how long a reader is late is the host's.
const LEDGER_TIME: f64 = 12e6;
/// Reports that are a rush: two may be a poll that came early after one that came late.
const LEAST_RUSH: usize = 3;

/// What a device held back comes within this time, nanoseconds: firmware that smooths does so over less, and no muscle starts and
/// brakes in it.
const HANDED_ON: f64 = 16e6;
/// Reports in which it may: two at least.
pub(crate) fn handed_on(slot: f64) -> usize {
    ((HANDED_ON / slot) as usize).clamp(2, 128)
}
/// Each of them holds so many times its own slot's, between one and two: a report that is one slot late holds two.
pub(crate) const OWN: f64 = 1.5;
/// What came, over what the flanks say, which they do to a half.
const CAME: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// What became of the counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MakeUp {
    /// The first report after the silence carries what was missing.
    Late,
    /// It does not.
    Lost,
    /// Cannot be told: nothing came after.
    Unknown,
}

/// One silence at speed.
#[derive(Clone, Debug)]
pub struct Silence {
    /// Time of the last report before it.
    pub begin: i64,
    /// Time of the first report after it; the swipe's last report if nothing came.
    pub end: i64,
    /// Time of the last report that brought what was missing; of the first one after it if none did.
    pub until: i64,
    /// Empty slots.
    pub slots: f64,
    /// Reports that came during the silence and moved (almost) nothing.
    pub idle_reports: u32,
    /// Counts per second before.
    pub speed_before: f64,
    /// Most likely speed at the instant at which the counts ended, both axes together, by the reports before it; counts
    /// per second.
    pub onset: f64,
    /// The highest that they allow.
    pub onset_most: f64,
    /// Counts per second at the edge where they end, by the flank and its slope.
    pub leaves: f64,
    /// Counts per second after (0 if nothing came).
    pub speed_after: f64,
    /// Travel missing by the speed of the flanks, mm, before what was made up.
    pub missing_mm: f64,
    /// Share of it that the first report after brought.
    pub make_up: f64,
    /// Late, lost or unknown.
    pub kind: MakeUp,
    /// True if the device held back, while the hand came to the stop, what it handed on after: the flanks tell nothing of the
    /// hand.
    pub held: bool,
    /// True if the counts end at speed and nothing more came in this swipe.
    pub to_the_end: bool,
    /// True if the computer explains it: a recorded stall or overrun, or reports that came in a rush afterwards.
    pub host: bool,
}

impl Silence {
    /// True if counts may be missing by it, and by no doing of this computer.
    pub(crate) fn may_lose(&self) -> bool {
        !self.host && self.kind != MakeUp::Late
    }
}

/// Searches one swipe. `slot` is the report interval in nanoseconds; `starts`: what was lost before those of its starts that show
/// a loss.
pub(crate) fn find(
    series: &Series,
    frame: Frame,
    swipe: &Swipe,
    starts: &[LostBefore],
    counts_per_mm: f64,
    slot: f64,
    host: &HostSpans,
) -> Vec<Silence> {
    let samples = &series.samples[swipe.rows.clone()];
    let along = swipe.along(samples, frame);
    let total: f64 = along.iter().sum();
    let later = series.samples.get(swipe.rows.end..).unwrap_or_default();
    let ctx = Flanks { samples, along: &along, slot, later, frame };
    let mut found = Vec::new();
    let mut place = 0.0;
    let mut row = 0;
    while row < samples.len() {
        place += along[row];
        let before = ctx.before(row, counts_per_mm);
        let next = ctx.next_speaking(row, before * slot * 1e-9);
        let Some(after_row) = next else {
            break;
        };
        let skipped: f64 = along[row + 1..after_row].iter().sum();
        let slots = (samples[after_row].t - samples[row].t) as f64 / slot - 1.0;
        let span = slots * slot * 1e-9;
        let due = |speed: f64| speed * due_within(slots * slot, slot) * 1e-9 >= TOLD_TO * DUE as f64;
        let brought = ctx.brought(row, after_row, counts_per_mm).filter(|_| due(before));
        // The swipe lacks nothing of that.
        let all_came = |hides: f64| swipe.one_travel - swipe.along < 0.5 * hides;
        let last = brought.filter(|b| all_came(b.1)).map_or(after_row, |b| b.0);
        let reports = (last - after_row + 1) as f64;
        let after = ctx.after(last);
        let rest = total - place - skipped;
        // A device that falls silent and then speaks at twice the speed has not bounced: the hand has set out.
        let at_once = ctx.enters_at_speed(after_row, counts_per_mm);
        let set_out = (after > SET_OUT * before && place / counts_per_mm > LEAST_MM) || at_once;
        // A device that has begun to count the hand's start is awake, however few the counts.
        let counting = due(before) || (at_once && after > SET_OUT * before && place >= DUE as f64);
        let zone = TOLD_TO * END_ZONE_MM;
        let begun = set_out || place / counts_per_mm > zone;
        let inside = begun && rest / counts_per_mm > zone;
        let slowing = ctx.slowing(row) && (!swipe.is_short() || ctx.slowing(row.saturating_sub(1)));
        let between = due(after) && inside && !slowing;
        // A swipe that comes up short has not braked as fast as its counts.
        let before_the_stop = swipe.is_short() && begun && before > AT_SPEED * swipe.peak && !slowing;
        // The hand may have struck the stop meanwhile, so that nothing comes after.
        let handed_on = || {
            let no_arm = || ctx.made_by_no_arm(after_row, skipped, counts_per_mm);
            let far = begun && (total - place) / counts_per_mm > END_ZONE_MM && (!slowing || no_arm());
            let gone_at_speed =
                before > AT_SPEED * swipe.peak && swipe.one_travel - place > SHORT_AT_END_MM * counts_per_mm;
            far && ctx.hands_on(row, after_row, skipped, (before, after), counts_per_mm, gone_at_speed)
        };
        let silent = slots >= LEAST_SLOTS - 0.5;
        let long = slot >= LONE_SLOT && slots >= TOLD_TO;
        let lone = !silent && between && long && swipe.is_short() && starts.is_empty();
        if (silent && counting && (between || before_the_stop || handed_on())) || (lone && counting) {
            let near = ctx.beside(row, last, (before, after));
            let (leaves, enters) = ctx.edges(row, last, near.0, near.1);
            let enters = enters.max(0.0);
            let missing = 0.5 * (leaves + enters) * span;
            let held: f64 = along[after_row..=last].iter().sum();
            let first = held - reports * enters * slot * 1e-9;
            let make_up = (first + skipped) / missing;
            // What the first report holds of its own lies between the speeds of both flanks: a strike may fall into it.
            let own_most = reports * enters.max(leaves) * slot * 1e-9;
            let at_least = (held - own_most + skipped) / missing;
            let lacks = swipe.one_travel - swipe.along;
            let late = match (make_up > 0.5, at_least > 0.5) {
                (true, false) => lacks < 0.5 * missing,
                _ if after > SET_OUT * before && NEITHER.contains(&make_up) => lacks < 0.5 * missing,
                // A hand that struck the stop meanwhile has made less than its speed says: all of it, if no more is
                // missing than came.
                (false, _) if !between => first + skipped > lacks.max(LEAST_MM * counts_per_mm),
                (late, _) => late,
            };
            let kind = if late { MakeUp::Late } else { MakeUp::Lost };
            // A hand that had gone on would be far beyond the stop: it rested.
            let rested = kind == MakeUp::Lost && total + missing > BEYOND_THE_STOP * swipe.one_travel;
            // Unless no arm can have stopped so, nor gone on so: the device held back what it then handed on.
            let held = rested && at_once && ctx.held(swipe, leaves, (place, total - place), counts_per_mm);
            let (missing, make_up, kind) =
                if held { (total - place, 1.0, MakeUp::Late) } else { (missing, make_up, kind) };
            let rested = rested && !held;
            // No arm came to rest so either: what it made until then is lost.
            let stopped =
                rested && swipe.is_short() && ctx.left_off(leaves, (place, total - place), counts_per_mm);
            let missing = if stopped { ctx.to_rest(leaves, counts_per_mm) } else { missing };
            let costs = (LONE_COST.0 * missing..=LONE_COST.1 * missing).contains(&lacks);
            let told = silent || (make_up < NEITHER.start && costs);
            if told && missing / counts_per_mm >= TO_A_TENTH * LEAST_MM && (!rested || stopped) {
                let (onset, onset_most) = onset_of(&samples[..=row], frame, slot, near.0);
                found.push(Silence {
                    begin: samples[row].t,
                    end: samples[after_row].t,
                    until: if kind == MakeUp::Late { samples[last].t } else { samples[after_row].t },
                    slots,
                    idle_reports: ctx.idle(row, after_row),
                    speed_before: near.0,
                    onset,
                    onset_most,
                    leaves,
                    speed_after: near.1,
                    missing_mm: missing / counts_per_mm,
                    make_up,
                    kind,
                    held,
                    to_the_end: false,
                    host: host.explain_most(samples[row].t, samples[after_row].t)
                        || !ctx.ledger_stays_up(row, after_row)
                        || ctx.came_in_a_rush(row, after_row),
                });
            }
        }
        place += skipped;
        row = after_row;
    }
    // What a longer silence has cost is no reason for one alone.
    let longer = |s: &Silence| s.slots >= LEAST_SLOTS - 0.5;
    if found.iter().any(|s| longer(s) && s.kind == MakeUp::Lost) {
        found.retain(longer);
    }
    // What a silence on the way has cost, or a start, is not missing at the end as well; and where the one is the other, once.
    let lost = || found.iter().filter(|s| s.kind == MakeUp::Lost);
    let starts: Vec<&LostBefore> = starts.iter().filter(|start| lost().all(|s| s.end != start.t)).collect();
    let at_starts: f64 = starts.iter().map(|start| start.at_most).sum();
    let at_most: f64 = lost().map(|s| ctx.hidden_at_most(s, swipe)).sum::<f64>() + at_starts;
    let likely = lost().map(|s| s.missing_mm).sum::<f64>() * counts_per_mm
        + starts.iter().map(|start| start.likely).sum::<f64>();
    let seconds: f64 = lost().map(|s| s.end.saturating_sub(s.begin) as f64 * 1e-9).sum();
    // Were the swipe whole, the hand would have been as fast as this meanwhile.
    let mean = if seconds > 0.0 { (swipe.one_travel - total).max(0.0) / seconds } else { 0.0 };
    // A hand that does its utmost covers no more than this in them; of a swipe that is short by more the rest is missing
    // at the end, if it was too fast there to strike the stop.
    let in_reach = lost().map(|s| ctx.in_reach(s, counts_per_mm)).sum::<f64>() + at_starts;
    let utmost = if swipe.is_short() { in_reach } else { f64::INFINITY };
    let ends = [(at_most, STRIKES * mean), (likely, ctx.strikes(swipe)), (utmost, 0.0)];
    let end = ends.into_iter().find_map(|(hidden, slowest)| {
        silent_end(&ctx, swipe, total + hidden, counts_per_mm, host).filter(|end| end.speed_before > slowest)
    });
    // What this computer may have lost says nothing of the device.
    let end = end.filter(|_| !host.may_lose(swipe.begin, swipe.end));
    found.extend(end.filter(|end| !ctx.struck(swipe, end, counts_per_mm)).map(|end| {
        let (onset, onset_most) = onset_of(samples, frame, slot, end.speed_before);
        Silence { onset, onset_most, ..end }
    }));
    found
}

/// Speed at which the last of some reports leaves off, most likely and at most; the flank's mean where too few came.
/// Where there are too few for a fit, the counts ended between the last whole report and an interval after the last one:
/// the middle is most likely.
fn onset_of(samples: &[Sample], frame: Frame, slot: f64, mean: f64) -> (f64, f64) {
    let found = onset::find(samples, frame, slot);
    found.map_or((mean, mean), |found| {
        let at = found.at.unwrap_or(0.5 * (found.low + found.high));
        (at, found.high.max(at))
    })
}

/// Counts that end at speed: at a stop a device brakes within the end zone, so that the last reports are slow or the
/// whole travel has been counted. The caller decides whether the travel is short.
fn silent_end(
    ctx: &Flanks,
    swipe: &Swipe,
    total: f64,
    counts_per_mm: f64,
    host: &HostSpans,
) -> Option<Silence> {
    let last = ctx.samples.len().checked_sub(1).filter(|last| *last > 0)?;
    let before = ctx.before(last, counts_per_mm);
    let whole = swipe.one_travel - total < SHORT_AT_END_MM * counts_per_mm;
    // One that has hardly begun, less than other swipes are found by, was lost by no speed.
    let begun = swipe.along < swipes::LEAST * swipe.one_travel;
    let fast = before > AT_SPEED * swipe.peak && (begun || before > SLOWEST_LIMIT_MM_S * counts_per_mm);
    let at_speed = fast && before * ctx.slot * 1e-9 >= DUE as f64;
    // At constant deceleration the hand needed twice the time that it would have taken at this speed.
    let rest_ns = 2e9 * (swipe.one_travel - total).max(0.0) / before.max(1.0);
    let until = ctx.samples[last].t.saturating_add(rest_ns as i64);
    // A hand that brakes as it did cannot have gone on for so long: it has struck the stop, and lost counts before.
    // The last report holds a part of its interval.
    let rows = ((SLOPE_OVER / ctx.slot) as usize).clamp(HALVES, 1000);
    let braking = (-ctx.slope((last - 1).saturating_sub(rows), last - 1)).max(0.0);
    let goes_on = swipe.one_travel - total <= BEYOND_THE_STOP * before * before / (2.0 * braking)
        || before > ctx.strikes(swipe)
        || ctx.enters_at_speed(0, counts_per_mm)
        || !ctx.whole_within(swipe, before, counts_per_mm);
    let slowing = ctx.slowing(last) && (!swipe.is_short() || ctx.slowing(last - 1));
    (at_speed && !whole && !swipe.began_short && !slowing && goes_on).then(|| Silence {
        begin: ctx.samples[last].t,
        end: ctx.samples[last].t,
        until: ctx.samples[last].t,
        slots: 0.0,
        idle_reports: 0,
        speed_before: before,
        onset: before,
        onset_most: before,
        leaves: ctx.near(before, -braking),
        speed_after: 0.0,
        missing_mm: (swipe.one_travel - total) / counts_per_mm,
        make_up: 0.0,
        kind: MakeUp::Unknown,
        held: false,
        to_the_end: true,
        host: host.explain(ctx.samples[last].t, until),
    })
}

/// A flank's acceleration is read over this time, nanoseconds, or the reports of a flank if they take longer; half of
/// what a hand's own changes of acceleration leave uncertain at its end, as a share of it.
const SLOPE_OVER: f64 = 16e6;
const SLOPE_UNSURE: f64 = 0.5;
/// Reports that a slope needs: two halves of one. (First of two: at 8 ms they reached back to where thin counts recover.)
const HALVES: usize = 2;
/// A hand that does not brake fully strikes the stop at up to half of its peak (common practice, no source): after a
/// silence on the way this is no evidence.
pub const STRIKES: f64 = 0.5;
/// Peak speed over mean speed of a minimum-jerk swipe (Flash & Hogan 1985).
const PEAK: f64 = 1.875;
/// No sensor goes blind below this: the poorest data sheets give 12 in/s, 300 mm/s.
pub(crate) const SLOWEST_LIMIT_MM_S: f64 = 200.0;
/// A swipe that ends at speed is short by at least this, else it simply hit the stop.
pub const SHORT_AT_END_MM: f64 = 15.0;

/// The reports of a swipe around a place.
struct Flanks<'a> {
    samples: &'a [Sample],
    along: &'a [f64],
    slot: f64,
    /// What came after it.
    later: &'a [Sample],
    frame: Frame,
}

impl Flanks<'_> {
    /// Counts per second over the reports up to and with this one, each taken to cover its own interval.
    fn before(&self, row: usize, per_mm: f64) -> f64 {
        match row {
            // Of a single report no more is known than that it covers a slot; and of one that no arm makes in it from rest, not
            // that.
            0 => {
                let counts = self.along.first().copied().unwrap_or(0.0);
                let most = from_rest(per_mm, self.slot) + LEAST_MM * per_mm;
                if counts > most { 0.0 } else { counts / self.slot * 1e9 }
            }
            row => self.speed((row + 1).saturating_sub(FLANK), row),
        }
    }

    /// True if motion that begins with a report runs so fast at once that the hand has moved by [`LEAST_MM`] unsaid: to
    /// reach v an arm of acceleration A needs v²/2A, and within the first slots, each of h, it gains A h / 2, then 3 A h / 2.
    /// Reports of less than a millisecond are taken together. The first may hold a make-up, or a part of its slot, so that
    /// either both run so fast, or the second as fast as after a slot more.
    fn enters_at_speed(&self, row: usize, counts_per_mm: f64) -> bool {
        let reports = ((1e6 / self.slot).round() as usize).clamp(1, 64);
        let Some(first) = self.along.get(row..row + 2 * reports) else { return false };
        let (a, b) = first.split_at(reports);
        let seconds = reports as f64 * self.slot * 1e-9;
        let speed = |counts: &[f64]| counts.iter().sum::<f64>() / counts_per_mm / seconds;
        let arm = 1e3 * ARM_ACCELERATION;
        let beyond = |speed: f64, slots: f64| speed > slots * arm * seconds + (2.0 * arm * LEAST_MM).sqrt();
        beyond(speed(a).min(speed(b)), 0.5) || beyond(speed(b), 1.5)
    }

    /// Speed at which the hand may strike the stop if the swipe took no longer than its reports.
    fn strikes(&self, swipe: &Swipe) -> f64 {
        let seconds = 1e-9 * (swipe.end.saturating_sub(swipe.begin) as f64 + self.slot);
        STRIKES * PEAK * swipe.one_travel / seconds
    }

    /// True if a hand can have made the whole travel in the time of the swipe's reports, from rest to a speed: it speeds up
    /// at A to (A T + v) / 2 and brakes to v.
    fn whole_within(&self, swipe: &Swipe, speed: f64, counts_per_mm: f64) -> bool {
        let seconds = 1e-9 * (swipe.end.saturating_sub(swipe.begin) as f64 + self.slot);
        let arm = 1e3 * FLICK_ACCELERATION * counts_per_mm;
        let top = 0.5 * (arm * seconds + speed);
        swipe.one_travel <= (top * top - 0.5 * speed * speed) / arm
    }

    /// True if the stop lies where the counts ended, whatever the swipe lacks: the device was seen to turn back sooner than an arm
    /// that speeds up all the way can have made what is missing, and no further than a bounce. (What a sensor makes up may turn back,
    /// too.)
    fn struck(&self, swipe: &Swipe, end: &Silence, counts_per_mm: f64) -> bool {
        let arm = 1e3 * ARM_ACCELERATION * counts_per_mm;
        let (mut place, mut furthest) = (0.0f64, 0.0f64);
        for s in self.later {
            let seconds = s.t.saturating_sub(end.begin) as f64 * 1e-9;
            let made = end.speed_before * seconds + 0.5 * arm * seconds * seconds;
            if made >= end.missing_mm * counts_per_mm {
                return false;
            }
            place += swipe.sign() * self.frame.of(s).0;
            furthest = furthest.max(place);
            if place <= furthest - DUE as f64 {
                return self.bounces(swipe, s.t, counts_per_mm);
            }
        }
        false
    }

    /// True if what follows a time goes no further back than a bounce, until the device rests.
    fn bounces(&self, swipe: &Swipe, from: i64, counts_per_mm: f64) -> bool {
        let (mut place, mut last) = (0.0f64, from);
        let own = self.later.iter().skip_while(|s| s.t < from).take_while(|s| {
            let goes_on = s.t.saturating_sub(last) <= PAUSE;
            last = s.t;
            goes_on
        });
        own.map(|s| {
            place += swipe.sign() * self.frame.of(s).0;
            place
        })
        .all(|place| place >= -BOUNCE_MM * counts_per_mm)
    }

    /// Counts per second over the reports after this one, which may carry a make-up itself.
    fn after(&self, row: usize) -> f64 {
        self.speed(row, (row + FLANK).min(self.samples.len() - 1))
    }

    /// The same speeds beside a silence, by the reports that no other one parts from it; as they are where none does.
    fn beside(&self, row: usize, after: usize, flanks: (f64, f64)) -> (f64, f64) {
        let (from, to) = (self.unbroken_before(row, FLANK - 1), self.unbroken_after(after, FLANK));
        let before = if row == 0 { flanks.0 } else { self.speed(from, row) };
        (before, self.speed(after, to))
    }

    /// The first of so many reports before this one that no other silence parts from it: what lies beyond says nothing of the speed
    /// here. Of a report that stands alone it does, for want of more. (Added after a device of 8 ms that lost track twice in each
    /// swipe, with three reports in between, had been told to do so from 0.01 m/s on.)
    fn unbroken_before(&self, row: usize, most: usize) -> usize {
        let from = row.saturating_sub(most);
        let parted = |i: &usize| self.parts(*i, *i + 1, row);
        (from..row.saturating_sub(1)).rev().find(parted).map_or(from, |i| i + 1)
    }

    /// Likewise the last of so many reports after it.
    fn unbroken_after(&self, row: usize, most: usize) -> usize {
        let to = (row + most).min(self.samples.len() - 1);
        (row + 1..to).find(|i| self.parts(*i, row, *i)).unwrap_or(to)
    }

    /// True if so many slots are empty after a report as make a silence, for longer than a reader is late by (what comes after that
    /// comes in a rush, and is no measure), beside reports in which counts are due in each.
    fn parts(&self, row: usize, from: usize, to: usize) -> bool {
        let empty = self.samples[row + 1].t.saturating_sub(self.samples[row].t) as f64 - self.slot;
        let due = DUE as f64 / (due_within(empty, self.slot) * 1e-9);
        let silent = empty >= ((LEAST_SLOTS - 0.5) * self.slot).max(STALL_MARGIN as f64);
        silent && self.speed(from, to) >= due
    }

    /// Counts per second from one report (exclusive) to another.
    fn speed(&self, from: usize, to: usize) -> f64 {
        if to <= from {
            return 0.0;
        }
        let counts: f64 = self.along[from + 1..=to].iter().sum();
        let time = (self.samples[to].t - self.samples[from].t) as f64;
        counts / time.max(self.slot * (to - from) as f64 * 0.5) * 1e9
    }

    /// Counts that a silence hides at most: the cubic through the speeds v and accelerations a of its flanks holds
    /// T (v₁ + v₂)/2 + T² (a₁ − a₂)/12 over a time T. What it leaves out is the fourth derivative: of a minimum-jerk
    /// swipe of length D and duration τ it comes to D (T/τ)⁵.
    fn hidden_at_most(&self, silence: &Silence, swipe: &Swipe) -> f64 {
        let last = self.samples.len().saturating_sub(1);
        let row = self.samples.partition_point(|s| s.t < silence.begin).min(last);
        let after = self.samples.partition_point(|s| s.t < silence.end).min(last);
        let seconds = silence.end.saturating_sub(silence.begin) as f64 * 1e-9;
        let rows = ((SLOPE_OVER / self.slot) as usize).clamp(FLANK, 1000);
        let before = self.slope(self.unbroken_before(row, rows), row);
        let behind = self.slope(after, self.unbroken_after(after, rows));
        let flat = 0.5 * (silence.speed_before + silence.speed_after) * seconds;
        let bend = seconds * seconds / 12.0;
        let more = (before - behind) * bend + SLOPE_UNSURE * (before.abs() + behind.abs()) * bend;
        let whole = swipe.end.saturating_sub(swipe.begin).max(1) as f64 * 1e-9;
        flat + more.min(2.0 * flat).max(0.0) + swipe.one_travel * (seconds / whole).min(1.0).powi(5)
    }

    /// Counts that a hand can make in a silence: with its utmost acceleration A it covers (v₁ + v₂) T / 2 + A T² / 4 from
    /// one speed to another. Those are told by the report beside the silence, whose interval T' lies half of itself away; before
    /// it also by the one before that, since the last holds a part. Reports of less than a millisecond are taken together.
    fn in_reach(&self, silence: &Silence, counts_per_mm: f64) -> f64 {
        let last = self.samples.len().saturating_sub(1);
        let row = self.samples.partition_point(|s| s.t < silence.begin).min(last);
        let after = self.samples.partition_point(|s| s.t < silence.end).min(last);
        let reports = ((1e6 / self.slot).round() as usize).clamp(1, 64);
        let beside = reports as f64 * self.slot * 1e-9;
        let arm = 1e3 * FLICK_ACCELERATION * counts_per_mm;
        let speed = |to: usize| self.speed(to.saturating_sub(reports), to);
        let before = speed(row).max(speed(row.saturating_sub(reports))) + 1.5 * arm * beside;
        let behind = speed((after + reports).min(last)).max(0.0) + 0.5 * arm * beside;
        let seconds = silence.end.saturating_sub(silence.begin) as f64 * 1e-9;
        0.5 * (before + behind) * seconds + 0.25 * arm * seconds * seconds
    }

    /// True if the report after a silence says by its counts that the hand has moved meanwhile, whatever comes after: half
    /// of what it makes in it at the speed that it leaves, beside its own slot's; or more than an arm makes in a slot from
    /// rest, where no reader is late by so long. After a longer silence the device may have woken, unless the hand was at
    /// speed when it began, and far from the stop. `skipped` are the counts of stray reports.
    fn hands_on(
        &self,
        row: usize,
        after: usize,
        skipped: f64,
        flanks: (f64, f64),
        per_mm: f64,
        at_speed: bool,
    ) -> bool {
        let (leaves, enters) = self.edges(row, after, flanks.0, flanks.1);
        let silent = self.samples[after].t.saturating_sub(self.samples[row].t) as f64 - self.slot;
        let held = self.along[after] + skipped;
        let own = leaves.max(enters) * self.slot * 1e-9;
        let from_rest = from_rest(per_mm, self.slot);
        let no_reader = silent > STALL_MARGIN as f64;
        let tells = held - own > 0.5e-9 * leaves * silent || (no_reader && held > from_rest + STRAY);
        tells && (at_speed || silent < ASLEEP as f64)
    }

    /// The last of several reports that brought what a silence hid, and the counts that this was by its flanks. A report alone is
    /// weighed by the caller.
    fn brought(&self, row: usize, after: usize, per_mm: f64) -> Option<(usize, f64)> {
        let silent = self.samples[after].t.saturating_sub(self.samples[row].t) as f64 - self.slot;
        if silent < ((LEAST_SLOTS - 0.5) * self.slot).max(STALL_MARGIN as f64) || row == 0 {
            return None;
        }
        // Two milliseconds and more tell a speed; and no longer than it was silent it takes to catch up.
        let flank = FLANK.max((2.0 * CELL / self.slot) as usize).min(64);
        let before = self.speed(self.unbroken_before(row, flank - 1), row);
        let reports = handed_on(self.slot).min((silent / self.slot).round() as usize);
        let most = self.samples.len().min(after.saturating_add(reports));
        let (mut held, mut found) = (0.0, None);
        let apart = |row: usize| self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64;
        for last in after..most {
            if last > after && apart(last) > CONTIGUOUS * self.slot {
                break;
            }
            held += self.along[last];
            let behind = self.speed(last, self.unbroken_after(last, flank)).max(0.0);
            let own = before.max(behind) * self.slot * 1e-9;
            if self.along[last] <= OWN * own.max(DUE as f64) {
                if found.is_some() {
                    break;
                }
                continue;
            }
            let hides = 0.5e-9 * (before + behind) * silent;
            let came = held - own * (last - after + 1) as f64;
            let is_it = came >= LEAST_MM * per_mm && CAME.contains(&(came / hides));
            found = is_it.then_some((last, hides));
        }
        found.filter(|f| f.0 > after)
    }

    /// True if the report after a silence holds more than an arm makes in its slot, from rest to the speed that the next one says;
    /// `skipped` are the counts of stray reports.
    fn made_by_no_arm(&self, after: usize, skipped: f64, per_mm: f64) -> bool {
        let next = self.along.get(after + 1).copied().unwrap_or(0.0).max(0.0);
        self.along[after] + skipped > next + 2.0 * from_rest(per_mm, self.slot) + STRAY
    }

    /// True if motion that leaves off at a speed (counts per second) was stopped by no arm, far from either stop, and the counts
    /// that came after make it whole: from v an arm comes to rest in v/A, so that of the next reports one at least says
    /// something. (Nearer to where it began the first report may hold what a device that woke has gathered.)
    fn held(&self, swipe: &Swipe, leaves: f64, (before, after): (f64, f64), per_mm: f64) -> bool {
        swipe.surplus == 0.0 && self.left_off(leaves, (before, after), per_mm)
    }

    /// True if motion that leaves off at a speed was stopped by no arm, nor by a stop.
    fn left_off(&self, leaves: f64, (before, after): (f64, f64), per_mm: f64) -> bool {
        let seconds = 1e-9 * self.slot.max(CELL);
        let no_arm = leaves > 2e3 * ARM_ACCELERATION * seconds * per_mm;
        no_arm && before.min(after) > SHORT_AT_END_MM * per_mm
    }

    /// Counts that a hand makes at the least until it rests: v²/2A with its utmost.
    fn to_rest(&self, leaves: f64, per_mm: f64) -> f64 {
        leaves * leaves / (2e3 * FLICK_ACCELERATION * per_mm)
    }

    /// Speeds at the edges of a silence: the flanks' means, carried on by their slopes over half of their reports, and no
    /// further than to half or twice the mean.
    fn edges(&self, row: usize, after: usize, mean_before: f64, mean_after: f64) -> (f64, f64) {
        let rows = ((SLOPE_OVER / self.slot) as usize).clamp(FLANK, 1000);
        let before = self.slope(self.unbroken_before(row, rows), row);
        let behind = self.slope(after, self.unbroken_after(after, rows));
        (self.near(mean_before, before), self.near(mean_after, -behind))
    }

    /// A flank's mean carried on to its edge by its slope.
    fn near(&self, mean: f64, slope: f64) -> f64 {
        let reach = 0.5e-9 * FLANK as f64 * self.slot;
        (mean + slope * reach).max(0.5 * mean).min(2.0 * mean)
    }

    /// Counts per second squared between two halves of some reports (the first exclusive).
    fn slope(&self, from: usize, to: usize) -> f64 {
        let middle = from + (to - from.min(to)) / 2;
        let seconds = 0.5 * self.samples[to].t.saturating_sub(self.samples[from].t) as f64 * 1e-9;
        if seconds <= 0.0 { 0.0 } else { (self.speed(middle, to) - self.speed(from, middle)) / seconds }
    }

    /// The next report that is more than a stray one beside flanks of `per_slot` counts.
    fn next_speaking(&self, row: usize, per_slot: f64) -> Option<usize> {
        // What moves across as fast says something, too; with less the swipe runs in an arc.
        let all = |s: &Sample| f64::from(s.x).hypot(f64::from(s.y));
        let aside = |i: usize| all(&self.samples[i]) > ASIDE * per_slot;
        let stray = |i: &usize| per_slot >= STRAY_FLANK && self.along[*i].abs() <= STRAY && !aside(*i);
        let next = (row + 1..self.samples.len()).find(|i| !stray(i));
        next.or_else(|| (row + 1 < self.samples.len()).then_some(row + 1))
    }

    /// True if the hand was braking before this report.
    fn slowing(&self, row: usize) -> bool {
        let late = self.speed(row.saturating_sub(3), row);
        let early = self.speed(row.saturating_sub(3 + FLANK), row.saturating_sub(3));
        row >= 3 + FLANK && late < NOT_SLOWING * early
    }

    /// Reports without motion between two samples, strays included.
    fn idle(&self, row: usize, after: usize) -> u32 {
        let idle = self.samples[row + 1..=after].iter().map(|s| s.idle_before).fold(0, u32::saturating_add);
        idle.saturating_add((after - row - 1) as u32)
    }

    /// True if reports came after a silence as no device sends them, twice in a slot and more, and half as many at least as come in
    /// such a time beside it: one that has no count for every slot leaves the ledger up. (Added after sound devices of 0.125 ms and 400
    /// counts an inch had been told to lose what a reader that was late by 2 ms took at once.)
    fn came_in_a_rush(&self, row: usize, after: usize) -> bool {
        let apart = |row: usize| self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64;
        let rush = 1 + rush(after, self.samples.len(), self.slot, false, apart);
        let before = row.saturating_sub(LEDGER);
        let since = self.samples[row].t.saturating_sub(self.samples[before].t) as f64;
        let beside = since / (row - before).max(1) as f64;
        rush >= LEAST_RUSH && rush as f64 * beside.max(self.slot) >= 0.5 * apart(after)
    }

    /// The slot ledger: elapsed slots less reports received, over the next dozen reports. A queue that was held up
    /// delivers in a rush, and the ledger falls back at once; reports that were never sent leave it up for good, and above
    /// what it was at any of the dozen reports before. (Those came into it after a host whose delays exceed the report
    /// interval had been seen to make silences: the report before one is the promptest of many late ones.)
    fn ledger_stays_up(&self, row: usize, after: usize) -> bool {
        let reach = ((LEDGER_TIME / self.slot) as usize).clamp(LEDGER, 1000);
        let last = (after + reach).min(self.samples.len() - 1);
        let elapsed = |to: usize| (self.samples[to].t - self.samples[row].t) as f64 / self.slot;
        let missing = elapsed(after) - 1.0;
        let (mut highest, mut balance) = (0.0f64, 0.0);
        for at in (row.saturating_sub(reach)..row).rev() {
            let sent = 1.0 + f64::from(self.samples[at + 1].idle_before);
            balance += sent - (self.samples[at + 1].t - self.samples[at].t) as f64 / self.slot;
            highest = highest.max(balance);
        }
        let mut received = 0.0;
        (after..=last).all(|at| {
            // Reports without counts that came during the silence are no part of a rush after it.
            let idle = if at == after { 0 } else { self.samples[at].idle_before };
            received += 1.0 + f64::from(idle);
            elapsed(at) - received - highest >= 0.5 * missing
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::erratic::tests::{PER_MM, swipe};
    use slipgauge_trace::recording::HostLog;

    /// At 8 ms five reports are left between them, and the hand runs at 2.4 to 2.8 m/s there, 150,000 counts a second and more.
    #[test]
    fn of_two_silences_each_is_read_by_the_reports_that_the_other_leaves() {
        const SLOT: i64 = 8_000_000;
        let blind = |s: f64| (0.1..0.35).contains(&s) || (0.58..0.83).contains(&s);
        let (series, mut swipe) = swipe(SLOT, |s, counts| if blind(s) { (0.0, 0.0) } else { counts });
        swipe.surplus = swipe.along - swipe.one_travel;
        let frame = Frame { cos: 1.0, sin: 0.0 };
        let host = HostSpans::new(&HostLog::default());
        let found = find(&series, frame, &swipe, &[], PER_MM, SLOT as f64, &host);
        let [first, second] = found.as_slice() else { panic!("{found:?}") };
        assert!(first.kind == MakeUp::Lost && second.kind == MakeUp::Lost, "{found:?}");
        assert!(first.speed_after > 150e3 && second.speed_before > 150e3, "{found:?}");
    }
}
