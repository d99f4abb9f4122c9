//! Speed profiles of the simulated hand beside those of a real one, as a table.
//!
//!     cargo run -p slipgauge-sim --example hand_table
//!
//! The real ones are cursor movements (fixtures/motion/cursor-traces): reaches to a mark, in pixels that a system's
//! pointer ballistics has stretched at speed. They start hard and end with slow corrections, as the simulated `Aimed`
//! course does; a swipe against a stop needs no aim. All go the same way: positions in whole pixels or counts, a grid of
//! 5 ms, 45 ms of smoothing, cut where the speed is below 5 % of its peak.

#![allow(missing_docs, reason = "also a module of a test")]

use serde_json::Value;
use slipgauge_sim::{Bench, Course, DeviceModel, Hand, Pace, Script};
use slipgauge_trace::layout::Layout;
use slipgauge_trace::session::Event;
use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;

const GRID_S: f64 = 0.005;
const SMOOTH: usize = 9;

/// Times in seconds, and positions in pixels or counts.
type Track = Vec<(f64, [f64; 2])>;

/// Figures of one movement.
#[derive(Debug, Clone, Copy)]
pub struct Figures {
    /// From 5 % of the peak speed to 5 %, in seconds.
    pub duration_s: f64,
    /// Peak speed over mean speed.
    pub peak_over_mean: f64,
    /// Share of the duration at which the speed peaks.
    pub time_to_peak: f64,
    /// Maxima of the speed that stand out by 10 % of the peak from the valleys beside them.
    pub maxima: f64,
    /// Length of the path over its chord.
    pub path_over_chord: f64,
}

/// One line of the table.
#[derive(Debug)]
pub struct Line {
    /// Whose movements.
    pub of: String,
    /// Each of them.
    pub figures: Vec<Figures>,
}

impl Line {
    /// First quartile, median and third quartile of a figure.
    pub fn quartiles(&self, figure: impl Fn(&Figures) -> f64) -> [f64; 3] {
        let mut values: Vec<f64> = self.figures.iter().map(figure).collect();
        values.sort_by(f64::total_cmp);
        [0.25, 0.5, 0.75].map(|share| {
            let index = (share * (values.len().saturating_sub(1)) as f64).round() as usize;
            values.get(index).copied().unwrap_or(f64::NAN)
        })
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut text = String::new();
    let columns = ["n", "duration s", "peak/mean", "time to peak", "maxima", "path/chord"];
    writeln!(
        text,
        "{:<27}{:>4}{:>22}{:>18}{:>18}{:>16}{:>20}",
        "quartiles of", columns[0], columns[1], columns[2], columns[3], columns[4], columns[5]
    )?;
    for line in table()? {
        let cell = |figure: fn(&Figures) -> f64, places| {
            let [a, b, c] = line.quartiles(figure);
            format!("{a:.places$} {b:.places$} {c:.places$}")
        };
        writeln!(
            text,
            "{:<27}{:>4}{:>22}{:>18}{:>18}{:>16}{:>20}",
            line.of,
            line.figures.len(),
            cell(|f| f.duration_s, 2),
            cell(|f| f.peak_over_mean, 2),
            cell(|f| f.time_to_peak, 2),
            cell(|f| f.maxima, 0),
            cell(|f| f.path_over_chord, 3),
        )?;
    }
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}

/// The whole table.
///
/// # Errors
/// If the fixture cannot be read or a session not be made.
pub fn table() -> Result<Vec<Line>, Box<dyn Error>> {
    let mut lines = Vec::new();
    for (of, near, far) in [("real, 130-260 px", 130, 260), ("real, 360-500 px", 360, 500)] {
        let figures = real(near, far)?.iter().filter_map(figures).collect();
        lines.push(Line { of: of.to_owned(), figures });
    }
    for peak_m_s in [0.4, 0.8, 1.2, 2.5, 5.0] {
        let figures = simulated(peak_m_s, Hand::default())?.iter().filter_map(figures).collect();
        lines.push(Line { of: format!("simulated, {peak_m_s} m/s"), figures });
    }
    for peak_m_s in [1.6, 2.5] {
        let aimed = Hand { course: Course::Aimed, arrival: 0.0, ..Hand::default() };
        let figures = simulated(peak_m_s, aimed)?.iter().filter_map(figures).collect();
        lines.push(Line { of: format!("simulated, aimed, {peak_m_s} m/s"), figures });
    }
    Ok(lines)
}

fn real(near: u64, far: u64) -> Result<Vec<Track>, Box<dyn Error>> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/motion/cursor-traces/traces.json");
    let distances: Value = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let mut courses = Vec::new();
    for (distance, directions) in distances.as_object().into_iter().flatten() {
        if !(near..=far).contains(&distance.parse()?) {
            continue;
        }
        for trace in
            directions.as_object().into_iter().flat_map(|d| d.values()).filter_map(Value::as_array).flatten()
        {
            let column = |i: usize| trace[i].as_array().into_iter().flatten().filter_map(Value::as_f64);
            let (mut t, mut place) = (0.0, [0.0; 2]);
            let mut course = vec![(t, place)];
            for ((dx, dy), dt_ms) in column(0).zip(column(1)).zip(column(2)) {
                t += 1e-3 * dt_ms;
                place = [place[0] + dx, place[1] + dy];
                course.push((t, place));
            }
            courses.push(course);
        }
    }
    Ok(courses)
}

/// Forty swipes at a resolution as coarse as the cursor's: 30 counts an inch make 354 of a travel.
fn simulated(peak_m_s: f64, hand: Hand) -> Result<Vec<Track>, Box<dyn Error>> {
    let script = Script::default().swipes(1, Pace::Fast, 40, peak_m_s);
    let device = DeviceModel::default().with_steps(&[30.0]);
    let session = Bench { hand, script, device: device.clone(), ..Bench::default() }.session()?;
    let layout = Layout::from_descriptor(&device.report.descriptor())?;
    let mut entries = session.entries();
    let mut all: Track = vec![(0.0, [0.0; 2])];
    let mut place = [0.0; 2];
    for entry in entries.by_ref() {
        if let Event::Report(report) = entry.event {
            let decoded = layout.decode(&report.bytes)?;
            place = [place[0] + f64::from(decoded.x), place[1] + f64::from(decoded.y)];
            all.push((entry.t.seconds(), place));
        }
    }
    let truth = entries.truth();
    let swipe = |begin: f64, end: f64| {
        let from = all.partition_point(|p| p.0 < begin - 0.1).saturating_sub(1);
        let to = all.partition_point(|p| p.0 < end + 0.1);
        all.get(from..to).unwrap_or_default().to_vec()
    };
    Ok(truth.swipes.iter().map(|s| swipe(s.begin_ns as f64 * 1e-9, s.end_ns as f64 * 1e-9)).collect())
}

fn figures(track: &Track) -> Option<Figures> {
    let (begin, end) = (track.first()?.0, track.last()?.0);
    let cells = ((end - begin) / GRID_S) as usize;
    let places: Vec<[f64; 2]> = (0..=cells).map(|i| at(track, begin + i as f64 * GRID_S)).collect();
    let lengths = |from: &[f64; 2], to: &[f64; 2]| (to[0] - from[0]).hypot(to[1] - from[1]);
    // Speed over a window, in units a second: net motion, so that one pixel to and fro is none.
    let speeds: Vec<f64> =
        places.windows(SMOOTH + 1).map(|w| lengths(&w[0], &w[SMOOTH]) / (SMOOTH as f64 * GRID_S)).collect();
    let (top, peak) = speeds.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let moves = |speed: &f64| *speed > 0.05 * peak;
    let (first, last) = (speeds.iter().position(moves)?, speeds.iter().rposition(moves)?);
    let moving = speeds.get(first..=last)?;
    let mean = moving.iter().sum::<f64>() / moving.len() as f64;
    let maxima = standing_out(moving, 0.1 * peak);
    // Path over steps of the window, so that quantisation does not lengthen it.
    let coarse: Vec<[f64; 2]> = places.get(first..=last + SMOOTH)?.iter().copied().step_by(SMOOTH).collect();
    let path: f64 = coarse.windows(2).map(|w| lengths(&w[0], &w[1])).sum();
    let chord = lengths(coarse.first()?, coarse.last()?);
    (last > first && chord > 0.0).then(|| Figures {
        duration_s: (last - first) as f64 * GRID_S,
        peak_over_mean: peak / mean,
        time_to_peak: (top - first) as f64 / (last - first) as f64,
        maxima,
        path_over_chord: path / chord,
    })
}

/// Maxima that rise by at least `least` above the valley before and fall by as much after.
fn standing_out(values: &[f64], least: f64) -> f64 {
    let (mut count, mut low, mut high, mut rising) = (0.0, 0.0, 0.0, true);
    for &value in values.iter().chain(&[0.0]) {
        if rising {
            high = value.max(high);
            if value < high - least {
                (count, rising, low) = (count + 1.0, false, value);
            }
        } else {
            low = value.min(low);
            if value > low + least {
                (rising, high) = (true, value);
            }
        }
    }
    count
}

/// Position at a time, straight between the points.
fn at(track: &Track, t: f64) -> [f64; 2] {
    let after = track.partition_point(|p| p.0 <= t);
    let (Some(a), Some(b)) = (after.checked_sub(1).and_then(|i| track.get(i)), track.get(after)) else {
        return track.last().map_or([0.0; 2], |p| p.1);
    };
    let share = (t - a.0) / (b.0 - a.0);
    [0, 1].map(|axis| a.1[axis] + share * (b.1[axis] - a.1[axis]))
}
