//! Interval ladder: what share of report intervals in fast motion is at most so long. The stiles are logarithmic in time,
//! the rungs stand at fixed shares spread so that both ends are seen (by the logit), each with its interval written on.

use super::axis::Axis;
use super::{Area, arrivals, co, label, line, number};
use maud::{Markup, html};
use slipgauge_analysis::grid::Grid;

/// Shares with a rung.
const RUNGS: [f64; 7] = [0.001, 0.01, 0.1, 0.5, 0.9, 0.99, 0.999];
/// Points of the line, and the share at which it begins.
const POINTS: usize = 240;
/// Of the nominal interval what the ladder begins at, at the latest; shorter ones stand there.
const LEAST_SHARE: f64 = 0.01;
/// Fewer intervals than this make no ladder.
const LEAST: usize = 50;

fn logit(share: f64) -> f64 {
    (share / (1.0 - share)).ln()
}

/// Draws intervals in milliseconds, of which the nominal is one, with the arrivals of one swipe below; `None` if there
/// are too few.
pub fn draw(
    mut intervals: Vec<f64>,
    nominal: Option<f64>,
    strip: Option<&Grid>,
    area: Area,
) -> Option<Markup> {
    intervals.retain(|v| v.is_finite() && *v > 0.0);
    intervals.sort_by(f64::total_cmp);
    let n = intervals.len();
    if n < LEAST {
        return None;
    }
    let (least, largest) = (*intervals.first()?, *intervals.last()?);
    let plot = Area { x: area.x + 56.0, y: area.y + 36.0, w: area.w - 128.0, h: area.h - 118.0 };
    // What a reader gets at once is a microsecond apart and less, and would take most of the ladder.
    let low = nominal.map_or(least, |ms| ms.min(least.max(LEAST_SHARE * ms)));
    let range = (low / 1.15, nominal.unwrap_or(largest).max(largest) * 1.15);
    let time = Axis::logarithmic(range, (plot.x, plot.x + plot.w), "ms between reports in fast motion");
    let end = logit(0.5 / n as f64).abs().max(logit(0.999));
    let share = Axis::plain((-end, end), (plot.y + plot.h, plot.y), 4, "share at most so long")
        .marked(RUNGS.iter().map(|s| (logit(*s), format!("{} %", number(100.0 * s)))).collect());
    // Evenly in the logit, and the last one in any case: the longest gap never vanishes.
    let rank = |p: f64| ((p * n as f64) as usize).min(n - 1);
    let ranks = (0..=POINTS).map(|i| {
        let z = -end + 2.0 * end * i as f64 / POINTS as f64;
        rank(1.0 / (1.0 + (-z).exp()))
    });
    let mut ranks: Vec<usize> = ranks.chain([n - 1]).collect();
    ranks.dedup();
    let points = ranks.iter().filter_map(|&i| {
        let p = (i as f64 + 0.5) / n as f64;
        Some((time.at(*intervals.get(i)?), share.at(logit(p))))
    });
    let rungs = RUNGS.iter().filter(|p| **p * n as f64 >= 1.0 && (1.0 - **p) * n as f64 >= 1.0);
    let rungs: Vec<(f64, f64)> =
        rungs.filter_map(|&p| Some((*intervals.get(rank(p))?, share.at(logit(p))))).collect();
    Some(html! {
        rect class="panel" x=(co(plot.x)) y=(co(plot.y)) width=(co(plot.w)) height=(co(plot.h)) {}
        (share.left(plot))
        (time.below(plot))
        @if let Some(ms) = nominal.filter(|ms| *ms > 0.0) {
            @let x = time.at(ms);
            path class="edge" d=(line([(x, plot.y), (x, plot.y + plot.h)])) {}
            // On the side with more room.
            @let (by, anchor) = if x > plot.x + 0.5 * plot.w { (-5.0, "end") } else { (5.0, "start") };
            (label(x + by, plot.y + plot.h - 7.0, anchor, "small", &format!("asked: {} ms", number(ms))))
        }
        path class="counted" d=(line(points)) {}
        @for (ms, y) in &rungs {
            line class="counted" x1=(co(time.at(*ms))) y1=(co(*y)) x2=(co(plot.x + plot.w)) y2=(co(*y)) stroke-dasharray="1 3" {}
            (label(plot.x + plot.w + 4.0, y + 4.0, "start", "small", &format!("{ms:.3} ms")))
        }
        (label(plot.x + plot.w, plot.y - 8.0, "end", "small", &format!("longest {} ms", number((largest * 100.0).round() / 100.0))))
        @if let Some(grid) = strip {
            @let ms = grid.slot * 1e-6 * grid.along_mm.len() as f64;
            @let under = Area { x: plot.x, y: plot.y + plot.h + 48.0, w: plot.w, h: 14.0 };
            (arrivals::draw(grid, under, super::Scale::new((0.0, ms), (under.x, under.x + under.w))))
            (label(plot.x, under.y + 26.0, "start", "faint small", &format!("a tick where a report came: {} ms of the fastest swipe", number(ms.round()))))
        }
    })
}
