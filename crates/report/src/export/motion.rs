//! The decoded motion of the device under test, one row a report, written as it is walked: no second copy in memory.
//!
//! `along_counts` and `across_counts` are in the swipe's frame, as found for the step (of a report between phases: for the
//! first step that has one); they are empty where no direction is known. `x_counts` and `y_counts` are the integers that
//! the device sent. `swipe` is empty between swipes, `phase` between phases, `kernel_ns` where the kernel set no stamp.

use slipgauge_analysis::Judgement;
use slipgauge_analysis::series::Frame;
use slipgauge_trace::Recording;
use slipgauge_trace::recording::NO_STAMP;
use slipgauge_trace::session::Role;
use std::io::Write;
use std::ops::Range;

/// Columns.
const NAMES: [&str; 9] = [
    "received_ns",
    "along_counts",
    "across_counts",
    "buttons_mask",
    "x_counts",
    "y_counts",
    "phase",
    "swipe",
    "kernel_ns",
];

/// A phase, as rows ask for it.
struct Span {
    rows: Range<usize>,
    number: u32,
    frame: Option<Frame>,
    /// Of each swipe: moving reports of the phase that it spans, and its number.
    swipes: Vec<(Range<usize>, u32)>,
}

/// Writes the motion as CSV.
///
/// # Errors
/// What writing gives.
pub fn motion(out: impl Write, recording: &Recording, judgement: &Judgement) -> Result<(), csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    writer.write_record(NAMES)?;
    let device = recording.header.devices.iter().position(|d| d.role == Role::Test).unwrap_or(0);
    let Some(trace) = recording.devices.get(device) else {
        writer.flush()?;
        return Ok(());
    };
    let m = &trace.motion;
    let anywhere = judgement.steps.iter().find_map(|s| s.frame);
    let spans: Vec<Span> = recording
        .phases
        .iter()
        .map(|p| {
            let view = judgement
                .steps
                .iter()
                .find_map(|s| Some((s, s.phases.iter().find(|v| v.span.number == p.number)?)));
            let swipes =
                view.map(|(_, v)| v.swipes.iter().map(|s| (s.swipe.rows.clone(), s.swipe.number)).collect());
            Span {
                rows: m.rows(p.begin, p.end),
                number: p.number,
                frame: view.and_then(|(_, phase)| phase.frame),
                swipes: swipes.unwrap_or_default(),
            }
        })
        .collect();
    // A report's place among those of its phase that moved something, which swipes are told by.
    let (mut span, mut moving, mut swipe) = (0usize, 0usize, 0usize);
    for row in 0..m.len() {
        while spans.get(span).is_some_and(|s| row >= s.rows.end) {
            (span, moving, swipe) = (span + 1, 0, 0);
        }
        let here = spans.get(span).filter(|s| s.rows.contains(&row));
        let (x, y) = (m.x[row], m.y[row]);
        let moves = trace.has_motion(row) && (x != 0 || y != 0);
        let mut number = None;
        if let Some(here) = here {
            // A report that moves nothing lies where the next one does that moves.
            while here.swipes.get(swipe).is_some_and(|(rows, _)| moving >= rows.end) {
                swipe += 1;
            }
            let inside =
                |(rows, _): &&(Range<usize>, u32)| rows.contains(&moving) && (moves || moving > rows.start);
            number = here.swipes.get(swipe).filter(inside).map(|s| s.1);
            moving += usize::from(moves);
        }
        let frame = here.and_then(|h| h.frame).or(anywhere);
        let turned = frame.map(|f| {
            let (x, y) = (f64::from(x), f64::from(y));
            (f.cos * x + f.sin * y, f.cos * y - f.sin * x)
        });
        let stamp = m.kernel_ns.get(row).copied().filter(|&k| k != NO_STAMP);
        let text = |v: Option<String>| v.unwrap_or_default();
        let round = |v: f64| format!("{:.4}", if v == 0.0 { 0.0 } else { v });
        let fields = [
            m.received_ns[row].to_string(),
            text(turned.map(|t| round(t.0))),
            text(turned.map(|t| round(t.1))),
            m.buttons[row].to_string(),
            x.to_string(),
            y.to_string(),
            text(here.map(|h| h.number.to_string())),
            text(number.map(|n| n.to_string())),
            text(stamp.map(|k| k.to_string())),
        ];
        writer.write_record(&fields)?;
    }
    writer.flush()?;
    Ok(())
}
