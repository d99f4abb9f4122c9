//! Noise at rest that cancels: how large, how often, and whether it is the lamp's.
//!
//! *Size*: the root-mean-square distance of the place from its mean in windows of [`WINDOW`], in mm; the trend's own
//! v² w²/12 is taken off; mean over the windows with its scatter. *How often*: times that an axis turns round within a
//! group, which is once for a count there and back.
//!
//! *Flicker*: a lamp on the mains brightens at twice the mains frequency, 100 or 120 Hz, and a sensor whose pictures
//! brighten with it reports a swing. Looked for in the spectrum (Hann) of the places on the grid of reports, at those
//! frequencies or where the report rate folds them to, within [`BAND`] hertz; the false-alarm level of [`spectrum`] times
//! the number of places looked at. A slower swing that counts cut into steps has harmonics everywhere, so one there as well:
//! but then its neighbours, which are no further off than that swing is quick, are as strong. So a lamp's line stands alone.
//! It cannot be seen if it makes less than one count from peak to peak, nor if the report rate folds it to nothing. Cost: O(n log n) in report slots of the phase, at most [`MOST`].

use super::rest::{Group, Rest, What};
use super::trend::Trend;
use crate::spectrum::{self, Line, Spectrum, Window};
use crate::tolerances::STILL_SWING_MM;

/// Windows in which the size is taken, seconds.
pub(super) const WINDOW: f64 = 0.25;
/// Mains frequencies, and what a lamp makes of them.
const MAINS: [f64; 2] = [50.0, 60.0];
/// Mains hold their frequency to a per cent or better (common practice, no source), clocks to far less than that.
const BAND: f64 = 1.5;
/// Parts of the time in which turns are one spell, nanoseconds.
const SPELL: i64 = 500_000_000;
/// Grid: the report interval, and no finer than this, seconds.
const FINEST: f64 = 1e-3;
/// Longest grid.
const MOST: usize = 1 << 20;
/// Fewer turns than this have no spectrum worth naming.
const LEAST_TURNS: u32 = 20;
/// A line is told from this false-alarm level on.
const LINE_LEVEL: f64 = 1e-3;
/// And from this amplitude, counts: a place that toggles by one count for a twentieth of each turn makes 2/π sin 0.05π.
const LEAST_LINE: f64 = 0.1;
/// Harmonics of swings up to so many hertz are told by their neighbours, which come near a lamp's line to this factor; a
/// lamp's other lines are at multiples of it.
const BESIDE_HZ: f64 = 25.0;
const ALONE: f64 = 3.0;

/// Turns in a phase, knocks and bursts left out, and the spells in which they come: parts of the time, [`SPELL`] long,
/// with a turn. (A knock that is mostly quantised away makes several turns, in one or two spells.)
pub(super) fn turns(rest: &Rest) -> (u32, u32) {
    let (mut turns, mut spells) = (0u32, 0u32);
    let mut spell = i64::MIN;
    for group in &rest.groups {
        if matches!(group.what, What::Knock | What::Burst | What::Pair) {
            continue;
        }
        // Half of a swing whose counts come one by one turns once.
        let half = group.what == What::Tremble && group.turns == 0;
        let mut turned = |t: i64, times: u32| {
            turns = turns.saturating_add(times);
            let now = (t - rest.from) / SPELL;
            spells = spells.saturating_add(u32::from(times > 0 && now != spell));
            spell = if times > 0 { now } else { spell };
        };
        turned(group.begin, u32::from(half));
        let mut last = [0i32; 2];
        for s in &rest.samples[group.rows.clone()] {
            for (axis, step) in [s.x.signum(), s.y.signum()].into_iter().enumerate() {
                turned(s.t, u32::from(step * last[axis] < 0));
                last[axis] = if step == 0 { last[axis] } else { step };
            }
        }
    }
    (turns, spells)
}

/// Root-mean-square size in each window, in counts.
pub(super) fn sizes(rest: &Rest, trend: &Trend) -> Vec<f64> {
    let windows = rest.windows(WINDOW);
    let own = |i: usize| {
        let rate = trend.rate((i as f64 + 0.5) * WINDOW);
        (rate[0] * rate[0] + rate[1] * rate[1]) * WINDOW * WINDOW / 12.0
    };
    let size = |(i, (_, variance)): (usize, &([f64; 2], [f64; 2]))| {
        (variance[0] + variance[1] - own(i)).max(0.0).sqrt()
    };
    windows.iter().enumerate().map(size).collect()
}

/// A lamp's line.
pub(super) struct Flicker {
    /// The lamp's frequency.
    pub(super) lamp_hz: f64,
    /// Along X or Y of the sensor, whichever is larger.
    pub(super) line: Line,
}

/// Looks for it. `slot` is the report interval in nanoseconds.
pub(super) fn flicker(rest: &Rest, slot: f64) -> Option<Flicker> {
    // Within groups: a lamp's swing is quick, and a slow one that is even has a harmonic everywhere.
    let left_out = |g: &&Group| matches!(g.what, What::Knock | What::Burst | What::Pair);
    let turns = rest.groups.iter().filter(|g| !left_out(g)).map(|g| g.turns).fold(0, u32::saturating_add);
    if turns < LEAST_TURNS {
        return None;
    }
    let interval = (slot * 1e-9).max(FINEST);
    let n = ((rest.seconds / interval) as usize).min(MOST);
    let axes = rest.sampled(interval * 1e9, n);
    let rate = 1.0 / interval;
    let looks = (axes.len() * MAINS.len()) as f64;
    let mut best: Option<Flicker> = None;
    for axis in axes {
        let Some(spectrum) = spectrum::of(&axis, interval, Window::Hann) else { continue };
        for lamp_hz in MAINS.map(|hz| 2.0 * hz) {
            let folded = (lamp_hz - rate * (lamp_hz / rate).round()).abs();
            let Some(line) = spectrum.line((folded - BAND).max(0.0)..folded + BAND) else { continue };
            let line = Line { p_false: (line.p_false * looks).min(1.0), ..line };
            let larger = best.as_ref().is_none_or(|b| line.amplitude > b.line.amplitude);
            // The mains may be off by a per cent; the rest of the band is the line's noise.
            let mains = (line.frequency - folded).abs() <= 0.01 * lamp_hz;
            let stands_out = line.p_false <= LINE_LEVEL
                && line.amplitude >= LEAST_LINE.max(ALONE * beside(&spectrum, folded));
            if stands_out && mains && larger {
                best = Some(Flicker { lamp_hz, line });
            }
        }
    }
    best
}

/// The largest amplitude beside a band about a frequency; below it only where that is not next to a standstill, where drift is.
fn beside(spectrum: &Spectrum, folded: f64) -> f64 {
    let near = |(k, _): &(usize, &f64)| {
        let off = *k as f64 * spectrum.spacing - folded;
        (BAND..=BESIDE_HZ).contains(&off.abs()) && (off > 0.0 || folded > BESIDE_HZ + BAND)
    };
    spectrum.amplitude.iter().enumerate().filter(near).map(|(_, a)| *a).fold(0.0, f64::max)
}

/// What tremble is held against, root-mean-square mm: that of a swing of [`STILL_SWING_MM`] from peak to peak, and that of a
/// place at a count's edge on both axes, which toggles by one count on any movement: half a count each.
pub(super) fn limit_mm(per_mm: f64) -> f64 {
    let swing = 0.5 * STILL_SWING_MM / std::f64::consts::SQRT_2;
    swing.max(0.5 * std::f64::consts::SQRT_2 / per_mm)
}
