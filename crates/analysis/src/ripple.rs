//! Ripple in speed: lines in the spectrum of counted against smooth speed, for diagnosis. It decides nothing.
//!
//! ```text
//! y_i = c_i / v_i − 1          c: counts in report slot i, v: the smooth speed there (Whittaker's smoother, half-gain 40 Hz)
//! A(f) of y over 1 − 1/(1 + λ (2 sin πf)⁴)     what the smoother takes away of a line is put back
//! ```
//!
//! Slow and medium swipes without a finding, each pace for itself, the part at more than half of the peak. Slots are numbered
//! by report, so a host that is late shows nothing here. Band: from [`LOWEST`] (a hand's tremor, 6 to 12 Hz, and its
//! submovements lie below) to half the report rate. Of a faster ripple only its fold shows: a frequency here stands for all
//! `k · report rate ± f`. Amplitudes are of what reports hold: the mean over a slot lowers a ripple by sin(πfT)/(πfT).
//!
//! *Told* is a line whose false-alarm level, over all bins of its pace, is below [`LEVEL`], in the spectrum of speed and in
//! that of place; and that is larger than rounding can make it. Rounding to whole counts leaves at most a line of
//! 2 sin(πf)/π counts (its sawtooth's first harmonic, if the speed stood still at a whole number of counts and a bit); it lies
//! elsewhere at another speed, so a smaller line is told if both paces have it.
//!
//! *Source*, see [`mod@source`]: a sensor's frames beat against the reports, which is a property of two rates and no fault; reports
//! at uneven intervals; else unknown (a lamp, an exposure that hunts, averaging in the firmware, a mechanical vibration). No
//! tolerance is known for it, so there is none. Intervals: jackknife over swipes (Quenouille 1956; Tukey 1958), Student's t.
//!
//! Smallest found (written before the first run): at 1 kHz and 1600 counts per inch, ten slow swipes and ten medium ones, a
//! ripple of 1 % at 100 to 400 Hz. Cost: O(reports log reports), at most [`MOST`] reports.

pub mod slots;
pub mod source;

use crate::decision::FAIL_LEVEL;
use crate::families::{COARSE_STAMPS, key, spoiled};
use crate::spectrum::{self, Line, Spectrum, Window};
use crate::stats::t_quantile;
use crate::step::StepView;
use crate::verdict::{Finding, Quantity, Ripple, RippleLine, RipplePace, RippleSource};
use slipgauge_trace::session::Pace;
use slots::Part;
use source::{Frames, Seen};
use std::f64::consts::{PI, SQRT_2, TAU};

/// Lower end of the band, hertz: the smoother's half-gain.
const LOWEST: f64 = 40.0;
/// False-alarm level of a line that is told, for each pace.
pub const LEVEL: f64 = FAIL_LEVEL;
/// Lines told of each pace.
const MOST_LINES: usize = 8;
/// Swipes needed: fewer have no scatter to speak of.
const LEAST: usize = 3;
/// Segments that are averaged, and their shortest and longest length.
const SEGMENTS: usize = 8;
const SEGMENT: (usize, usize) = (32, 4096);
/// Reports that are looked at in each pace; swipes after them are left out.
const MOST: usize = 1 << 19;

/// One pace with what was found in it.
struct Looked {
    pace: Pace,
    swipes: usize,
    parts: Vec<Part>,
    spectrum: Spectrum,
    lines: Vec<(Line, Told)>,
    /// Rounding of both axes along the swipe, in counts: |cos| + |sin|.
    axes: f64,
}

/// A line's frequency (cycles per slot) and amplitude (relative) with their intervals.
#[derive(Clone, Copy, Debug)]
struct Told {
    frequency: Quantity,
    amplitude: Quantity,
}

/// Looks at a step.
pub fn examine(step: &StepView, findings: &[Finding]) -> Ripple {
    let nothing = |why: &str| Ripple { because: why.to_owned(), paces: Vec::new() };
    if step.coarse_clock() {
        return nothing(COARSE_STAMPS);
    }
    let (Some(frame), Some(interval), Some(scale)) = (step.frame, step.interval, step.scale) else {
        return nothing("no swipes, or too few reports in fast motion");
    };
    let (slot, spoiled) = (interval.value, spoiled(step, findings));
    let looked = [Pace::Slow, Pace::Medium].into_iter().filter_map(|pace| {
        let mut room = MOST;
        let clean =
            step.swipes().filter(|(p, s)| p.span.phase.pace == Some(pace) && !spoiled.contains(&key(p, s)));
        let fit = clean.take_while(|(_, s)| {
            room = room.saturating_sub(s.swipe.rows.len());
            room > 0
        });
        let parts = fit.filter_map(|(p, s)| slots::fast_part(&p.series, p.frame?, &s.swipe, slot));
        look(pace, parts.collect(), slot * 1e-9, frame.cos.abs() + frame.sin.abs())
    });
    let looked: Vec<Looked> = looked.collect();
    if looked.is_empty() {
        return nothing(
            "fewer than three clean slow or medium swipes with enough reports in their fast part",
        );
    }
    let uneven = source::uneven_reports(findings);
    let lines: Vec<Vec<&(Line, Told)>> = looked.iter().map(|own| told(own, &looked)).collect();
    // The clearest pace says it: the frames are the same at all.
    let frames = looked.iter().zip(&lines).filter_map(|(own, lines)| {
        let seen: Vec<Seen> = lines.iter().map(|(l, t)| (t.frequency.value, t.amplitude, l.noise)).collect();
        source::frames(&seen, own.spectrum.spacing, slot * 1e-9, LOWEST)
    });
    let frames = frames.max_by_key(|f| f.confirmed);
    let known = Known { slot_s: slot * 1e-9, counts_per_mm: scale.counts_per_mm, uneven, frames };
    let paces: Vec<RipplePace> =
        looked.iter().zip(&lines).map(|(own, lines)| written(own, lines, &known)).collect();
    Ripple { because: because(&paces), paces }
}

/// What the smoother leaves of a line, by frequency in cycles per slot.
fn left(f: f64, slot_s: f64) -> f64 {
    let steep = (2.0 * (PI * f).sin() / (TAU * LOWEST * slot_s)).powi(4);
    steep / (1.0 + steep)
}

/// Looks for lines in some parts of one pace.
fn look(pace: Pace, parts: Vec<Part>, slot_s: f64, axes: f64) -> Option<Looked> {
    let views: Vec<&[f64]> = parts.iter().map(|p| p.relative.as_slice()).collect();
    let length = spectrum::length_for(&views, SEGMENTS, SEGMENT);
    let lowest = LOWEST * slot_s;
    let speed = |part: &&[f64]| -> Option<Spectrum> {
        let raw = spectrum::averaged(&[part], length, 1.0, Window::Hann)?;
        Some(raw.shaped(|f| if f >= 0.5 * lowest { 1.0 / left(f, slot_s) } else { 0.0 }))
    };
    let each: Vec<Spectrum> = views.iter().filter_map(speed).collect();
    if each.len() < LEAST {
        return None;
    }
    let band = lowest..0.5;
    let (spectrum, weights) = Spectrum::weighted(&each, band.clone())?;
    let place = spectrum.clone().shaped(|f| if f > 0.0 { 0.5 / (PI * f).sin() } else { 0.0 });
    let found = spectrum.lines_in_both(&place, band, MOST_LINES, LEVEL);
    let mut lines: Vec<(Line, Told)> =
        found.into_iter().filter_map(|l| Some((l, refine(&each, &weights, &l)?))).collect();
    lines.retain(|(_, told)| told.amplitude.value.is_finite() && told.amplitude.value > 0.0);
    Some(Looked { pace, swipes: each.len(), parts, spectrum, lines, axes })
}

/// Frequency and amplitude between bins, noise taken off, with jackknife intervals over swipes.
fn refine(each: &[Spectrum], weights: &[f64], line: &Line) -> Option<Told> {
    let spacing = each.first()?.spacing;
    let bin = (line.frequency / spacing).round().max(1.0) as usize;
    let three = |s: &Spectrum| [bin - 1, bin, bin + 1].map(|k| s.amplitude.get(k).map_or(0.0, |a| a * a));
    let all: Vec<[f64; 3]> = each.iter().map(three).collect();
    let between = |without: Option<usize>| -> (f64, f64) {
        let (mut sum, mut weight) = ([0.0; 3], 0.0);
        for (_, (p, w)) in all.iter().zip(weights).enumerate().filter(|(i, _)| Some(*i) != without) {
            weight += w;
            sum.iter_mut().zip(p).for_each(|(s, p)| *s += w * p);
        }
        let [a, b, c] = sum.map(|p| (p / weight - line.noise * line.noise).max(0.0).sqrt());
        let share = a.max(c) / b.max(f64::MIN_POSITIVE);
        // Grandke's place between bins, as in the spectrum's own, and free to go a little past the middle.
        let off = ((2.0 * share - 1.0) / (share + 1.0)).clamp(-0.5, 0.9);
        let signed = if c >= a { off } else { -off };
        ((bin as f64 + signed) * spacing, b / Window::Hann.response(off))
    };
    let whole = between(None);
    let without: Vec<(f64, f64)> = (0..all.len()).map(|i| between(Some(i))).collect();
    let n = without.len() as f64;
    let t = t_quantile(0.975, (n - 1.0).max(1.0));
    let quantity = |value: f64, part: fn(&(f64, f64)) -> f64| {
        let values: Vec<f64> = without.iter().map(part).collect();
        let mean = crate::stats::mean(&values).unwrap_or(value);
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        Quantity::around(value, t * (squares * (n - 1.0) / n).sqrt())
    };
    let mut amplitude = quantity(whole.1, |v| v.1);
    amplitude.low = amplitude.low.map(|low| low.max(0.0));
    Some(Told { frequency: quantity(whole.0, |v| v.0), amplitude })
}

/// Mean counts per slot of the parts, by their lengths.
fn mean_counts(parts: &[Part]) -> f64 {
    let slots: f64 = parts.iter().map(|p| p.relative.len() as f64).sum();
    parts.iter().map(|p| p.counts * p.relative.len() as f64).sum::<f64>() / slots.max(1.0)
}

/// Largest line of rounding, counts.
fn of_rounding(frequency: f64, axes: f64) -> f64 {
    axes * 2.0 * (PI * frequency).sin() / PI
}

/// The lines of a pace that rounding cannot make, or that another pace has as well: within both intervals and a bin.
fn told<'a>(own: &'a Looked, all: &[Looked]) -> Vec<&'a (Line, Told)> {
    let counts = mean_counts(&own.parts);
    let half = |q: &Quantity| q.high.map_or(0.0, |h| h - q.value);
    let elsewhere = |told: &Told| {
        let others = all.iter().filter(|other| other.pace != own.pace);
        others.flat_map(|other| other.lines.iter().map(move |l| (other, &l.1))).any(|(other, theirs)| {
            let reach = half(&told.frequency) + half(&theirs.frequency) + other.spectrum.spacing;
            (told.frequency.value - theirs.frequency.value).abs() <= reach
        })
    };
    let by_rounding = |told: &Told| of_rounding(told.frequency.value, own.axes);
    let lines = own.lines.iter();
    lines.filter(|(_, t)| counts * t.amplitude.value > by_rounding(t) || elsewhere(t)).collect()
}

/// What holds for all paces.
struct Known {
    slot_s: f64,
    counts_per_mm: f64,
    uneven: Option<f64>,
    frames: Option<Frames>,
}

/// A pace as it is written.
fn written(own: &Looked, lines: &[&(Line, Told)], known: &Known) -> RipplePace {
    let (slot_s, spacing) = (known.slot_s, own.spectrum.spacing);
    let counts = mean_counts(&own.parts);
    let speed = counts / known.counts_per_mm / slot_s;
    let words = |(line, told): &&(Line, Told)| {
        let (f, amplitude) = (told.frequency.value, told.amplitude);
        let of = known.frames.filter(|frames| frames.has(f, amplitude.value, spacing));
        let stretched = known.uneven.is_some_and(|u| (u - f).abs() <= 1.5 * spacing);
        let source = match (stretched, of) {
            (true, _) => RippleSource::ReportInterval,
            (false, Some(frames)) if frames.confirmed => RippleSource::Frames,
            (false, _) => RippleSource::Unknown,
        };
        RippleLine {
            frequency_hz: told.frequency.scaled(1.0 / slot_s),
            amplitude_percent: amplitude.scaled(100.0),
            mm_s_rms: amplitude.value * speed / SQRT_2,
            counts: amplitude.value * counts,
            p_false: line.p_false,
            source,
            frames_hz: of.filter(|_| !stretched).map(|frames| frames.rate.scaled(1.0 / slot_s)),
        }
    };
    let band = LOWEST * slot_s..0.5;
    let middle = 0.5 * (band.start + band.end);
    let noise = own.spectrum.least(band, LEVEL).map(|least| 100.0 * least);
    let by_rounding = 100.0 * of_rounding(middle, own.axes) / counts.max(f64::MIN_POSITIVE);
    RipplePace {
        pace: crate::scale::words(Some(own.pace)),
        swipes: own.swipes,
        speed_m_s: 1e-3 * speed,
        band_hz: [LOWEST, 0.5 / slot_s],
        bin_hz: spacing / slot_s,
        smallest_percent: noise,
        smallest_alone_percent: noise.map(|n| n.max(by_rounding)),
        lines: lines.iter().map(words).collect(),
    }
}

fn because(paces: &[RipplePace]) -> String {
    let highest = |source: RippleSource| {
        let own = paces.iter().flat_map(|p| &p.lines).filter(move |l| l.source == source);
        own.max_by(|a, b| a.amplitude_percent.value.total_cmp(&b.amplitude_percent.value))
    };
    let mut parts = Vec::new();
    for source in [RippleSource::Unknown, RippleSource::ReportInterval, RippleSource::Frames] {
        let Some(line) = highest(source) else { continue };
        let khz = line.frames_hz.map(|rate| format!("frames of about {:.2} kHz", 1e-3 * rate.value));
        let why = match (source, khz) {
            (RippleSource::ReportInterval, _) => "as the reports' interval does".to_owned(),
            (RippleSource::Frames, Some(khz)) => format!("as {khz} beat against the reports, which is sound"),
            (_, Some(khz)) => format!("of unknown source; {khz} that beat against the reports could make it"),
            (_, None) => "of unknown source".to_owned(),
        };
        let (hz, percent) = (line.frequency_hz.value, line.amplitude_percent.value);
        parts.push(format!("the speed ripples by {percent:.1} % at {hz:.1} Hz, {why}"));
    }
    if parts.is_empty() { "no ripple in the speed".to_owned() } else { parts.join("; ") }
}
