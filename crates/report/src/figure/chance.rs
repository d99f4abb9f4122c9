//! Chance against size: how often a fault of a size is found. Each size has a spindle from the lower to the upper end of
//! the exact 95 % interval, widest at the estimate; what is found but not failed is an open ring. The false alarms of a
//! sound device are a hatched band at the foot, the tolerance is an upright line. Worse is to the right.

use super::{Area, Scale, co, label, line, number};
use maud::{Markup, html};

/// A chance with its interval, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chance {
    /// Estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Size in the panel's unit.
    pub size: f64,
    /// Chance that the session fails.
    pub fails: Chance,
    /// Chance that something of the kind is found, whatever the verdict.
    pub seen: f64,
}

/// One fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// Name.
    pub name: String,
    /// One clause for a person.
    pub what: String,
    /// Unit of the sizes.
    pub unit: String,
    /// Sizes, the worst last.
    pub points: Vec<Point>,
    /// Largest size allowed, if known; its sign does not matter.
    pub tolerated: Option<f64>,
    /// A sound device's chance to fail.
    pub sound: Chance,
}

/// Least room of a number on the axis, in pixels.
const ROOM: f64 = 34.0;
/// Half of a spindle's greatest width.
const HALF: f64 = 7.0;
/// What a ring is, and the room that it takes in pixels.
const FOUND: &str = "found, whatever the verdict";
/// See [`FOUND`].
const LONGEST: f64 = 170.0;

/// Places of the sizes on the axis: in proportion, or evenly where they would lie too close.
fn places(sizes: &[f64], from: f64, to: f64) -> Vec<f64> {
    let first = sizes.first().copied().unwrap_or(0.0);
    let reach = sizes.iter().map(|size| (size - first).abs()).fold(0.0, f64::max);
    let scale = Scale::new((0.0, reach), (from, to));
    let even: Vec<f64> = sizes.iter().map(|size| scale.at((size - first).abs())).collect();
    if sizes.len() == 1 {
        return vec![0.5 * (from + to)];
    }
    if even.windows(2).all(|pair| pair[1] - pair[0] >= ROOM) {
        return even;
    }
    let step = (to - from) / (sizes.len().max(2) - 1) as f64;
    (0..sizes.len()).map(|i| from + step * i as f64).collect()
}

/// Place of a size that lies between two others, by proportion; `None` outside of them.
fn between(sizes: &[f64], places: &[f64], wanted: f64) -> Option<f64> {
    let pairs = sizes.windows(2).zip(places.windows(2));
    pairs.into_iter().find_map(|(size, place)| {
        let share = (wanted - size[0].abs()) / (size[1].abs() - size[0].abs());
        (0.0..=1.0).contains(&share).then(|| place[0] + share * (place[1] - place[0]))
    })
}

/// Draws one fault.
pub fn draw(panel: &Panel, area: Area) -> Markup {
    let plot = Area { x: area.x + 52.0, y: area.y + 74.0, w: area.w - 80.0, h: area.h - 142.0 };
    let chance = Scale::new((0.0, 1.0), (plot.y + plot.h, plot.y));
    let sizes: Vec<f64> = panel.points.iter().map(|point| point.size).collect();
    let places = places(&sizes, plot.x + 24.0, plot.x + plot.w - 24.0);
    let marks: Vec<(f64, &Point)> = places.iter().copied().zip(&panel.points).collect();
    let fails = line(marks.iter().map(|(x, point)| (*x, chance.at(point.fails.value))));
    let tolerated = panel.tolerated.and_then(|most| Some((most, between(&sizes, &places, most)?)));
    let band = chance.at(panel.sound.high);
    let foot = plot.y + plot.h;
    // What is found has its name at the first size at which it differs most from what fails.
    let apart = |point: &Point| point.seen - point.fails.value;
    let widest = marks.iter().rev().max_by(|a, b| apart(a.1).total_cmp(&apart(b.1)));
    let widest = widest.filter(|(_, point)| apart(point) > 0.2);
    html! {
        g {
            title { (format!("{}: {}", panel.name, panel.what)) }
            rect class="panel" x=(co(area.x)) y=(co(area.y)) width=(co(area.w)) height=(co(area.h)) rx="3" {}
            (label(area.x + 14.0, area.y + 24.0, "start", "head", &panel.name))
            (label(area.x + 14.0, area.y + 42.0, "start", "faint", &panel.what))
            @for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
                @let y = chance.at(share);
                line class="rule" x1=(co(plot.x)) y1=(co(y)) x2=(co(plot.x + plot.w)) y2=(co(y)) {}
                (label(plot.x - 6.0, y + 4.0, "end", "faint small", &format!("{} %", number(100.0 * share))))
            }
            rect fill="url(#lacking)" opacity="0.35" x=(co(plot.x)) y=(co(band)) width=(co(plot.w)) height=(co(foot - band)) {}
            @if let Some((most, x)) = tolerated {
                line class="base" x1=(co(x)) y1=(co(plot.y + 0.13 * plot.h)) x2=(co(x)) y2=(co(foot)) stroke-dasharray="5 3" {}
                @let (tx, ty) = (x - 5.0, plot.y + 0.36 * plot.h);
                text x=(co(tx)) y=(co(ty)) text-anchor="middle" class="faint small" transform=(format!("rotate(-90 {tx:.2} {ty:.2})")) {
                    (format!("tolerated up to {}", number(most)))
                }
            }
            line class="base" x1=(co(plot.x)) y1=(co(foot)) x2=(co(plot.x + plot.w)) y2=(co(foot)) {}
            @for (x, point) in &marks { (spindle(*x, &point.fails, chance)) }
            path class="counted" d=(fails) {}
            @for (x, point) in &marks {
                @let y = chance.at(point.fails.value);
                circle class="counted" cx=(co(*x)) cy=(co(chance.at(point.seen))) r="4.5" {}
                path class="mark" d=(format!("{}Z", line([(*x - 4.0, y), (*x, y - 4.0), (*x + 4.0, y), (*x, y + 4.0)]))) {}
                (label(*x, foot + 17.0, "middle", "faint small", &number(point.size)))
            }
            @if let Some((x, point)) = widest {
                @let y = chance.at(point.seen);
                @if *x - plot.x > LONGEST {
                    (label(*x - 9.0, y - 6.0, "end", "small", FOUND))
                } @else {
                    (label(*x - 4.0, y + 19.0, "start", "small", FOUND))
                }
            }
            @if let Some((x, point)) = marks.last() {
                @let words = if widest.is_some() { "session fails" } else { "session fails; ring: found" };
                @let beside = if point.fails.value < 0.3 { -12.0 } else { 8.0 };
                (label(*x + beside, chance.at(point.fails.value) - 9.0, "end", "small", words))
            }
            (label(plot.x + 0.5 * plot.w, foot + 37.0, "middle", "faint", &format!("{} · worse to the right", panel.unit)))
            (label(plot.x + 0.5 * plot.w, foot + 54.0, "middle", "faint small", &format!("hatched: a sound device fails, at most {:.0} %", 100.0 * panel.sound.high)))
        }
    }
}

/// Interval as a lens, widest at the estimate.
fn spindle(x: f64, chance: &Chance, scale: Scale) -> Markup {
    let (low, value, high) = (scale.at(chance.low), scale.at(chance.value), scale.at(chance.high));
    let outline = line([(x, high), (x + HALF, value), (x, low), (x - HALF, value)]);
    html! { path class="ridge" d=(format!("{outline}Z")) {} }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_lie_in_proportion_unless_their_numbers_would_touch() {
        assert_eq!(places(&[0.1, 0.2, 0.4], 0.0, 300.0), [0.0, 100.0, 300.0]);
        assert_eq!(rounded(places(&[1.2, 1.0, 0.8], 0.0, 300.0)), [0, 150, 300]);
        assert_eq!(places(&[0.1, 0.101, 0.4], 0.0, 300.0), [0.0, 150.0, 300.0]);
        assert_eq!(places(&[5.0], 0.0, 300.0), [150.0]);
        assert!(places(&[], 0.0, 300.0).is_empty());
    }

    #[test]
    fn the_tolerance_stands_between_its_neighbours() {
        let (sizes, places) = ([-0.01, -0.03], [100.0, 200.0]);
        assert!((between(&sizes, &places, 0.02).unwrap() - 150.0).abs() < 1e-9);
        assert_eq!(between(&sizes, &places, 0.05), None);
    }

    fn rounded(places: Vec<f64>) -> Vec<i64> {
        places.into_iter().map(|place| place.round() as i64).collect()
    }
}
