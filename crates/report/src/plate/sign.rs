//! The sign of a verdict: told by its shape first. A ring with a tick, a diamond with a cross, a ring half filled,
//! a broken square with a bar.

use crate::figure::co;
use maud::{Markup, html};
use slipgauge_analysis::verdict::Outcome;

/// Ink of an outcome, on paper; of different lightness.
pub fn ink(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "#15506b",
        Outcome::Fail => "#8c2f18",
        Outcome::Inconclusive => "#6d5a1e",
        Outcome::NotExamined => "#5d594f",
    }
}

/// Ground of an outcome's band.
pub fn ground(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "#dceaf1",
        Outcome::Fail => "#f6ddd3",
        Outcome::Inconclusive => "#f1e8cc",
        Outcome::NotExamined => "#ecebe6",
    }
}

/// Draws the sign around a middle; `r` is half its height.
pub fn draw(outcome: Outcome, x: f64, y: f64, r: f64) -> Markup {
    let colour = ink(outcome);
    let wide = co((r * 0.17).max(3.0));
    let point = |dx: f64, dy: f64| format!("{} {}", co(x + dx * r), co(y + dy * r));
    let way = |points: &[(f64, f64)]| {
        let points: Vec<String> = points.iter().map(|(dx, dy)| point(*dx, *dy)).collect();
        format!("M{}", points.join("L"))
    };
    html! {
        g fill="none" stroke=(colour) stroke-width=(wide) stroke-linecap="round" stroke-linejoin="round" {
            @match outcome {
                Outcome::Pass => {
                    circle cx=(co(x)) cy=(co(y)) r=(co(0.92 * r)) {}
                    path d=(way(&[(-0.45, 0.05), (-0.12, 0.40), (0.48, -0.36)])) {}
                }
                Outcome::Fail => {
                    path d=(way(&[(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)]) + "Z") {}
                    path d=(way(&[(-0.33, -0.33), (0.33, 0.33)]) + &way(&[(-0.33, 0.33), (0.33, -0.33)])) {}
                }
                Outcome::Inconclusive => {
                    circle cx=(co(x)) cy=(co(y)) r=(co(0.92 * r)) {}
                    path fill=(colour) stroke="none"
                        d=(format!("M{}A{r0} {r0} 0 0 0 {}Z", point(0.0, -0.92), point(0.0, 0.92), r0 = co(0.92 * r))) {}
                }
                Outcome::NotExamined => {
                    path stroke-dasharray=(format!("{} {}", co(0.3 * r), co(0.38 * r)))
                        d=(way(&[(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)]) + "Z") {}
                    path d=(way(&[(-0.35, 0.0), (0.35, 0.0)])) {}
                }
            }
        }
    }
}
