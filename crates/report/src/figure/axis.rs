//! One axis of a picture: where its numbers stand, in proportion or in the logarithm, and how they are written.

use super::{Area, Scale, co, label, number, ticks};
use maud::{Markup, html};

/// A quantity along one side of a plot.
#[derive(Clone, Debug)]
pub struct Axis {
    scale: Scale,
    logarithmic: bool,
    marks: Vec<(f64, String)>,
    name: String,
}

impl Axis {
    /// From `low` to `high`, with about `count` round numbers.
    pub fn plain((low, high): (f64, f64), to: (f64, f64), count: usize, name: &str) -> Axis {
        let (low, high) =
            if low.is_finite() && high.is_finite() && high > low { (low, high) } else { (0.0, 1.0) };
        let step = ticks(high - low, count).get(1).copied().unwrap_or(high - low);
        let first = (low / step).ceil();
        let values =
            (0..=2 * count + 2).map(|i| (first + i as f64) * step).filter(|v| *v <= high + 1e-9 * step);
        let marks = values.map(|v| (v, number(if v.abs() < 1e-9 * step { 0.0 } else { v }))).collect();
        Axis { scale: Scale::new((low, high), to), logarithmic: false, marks, name: name.to_owned() }
    }

    /// In the logarithm; numbers at 1, 2 and 5 times the powers of ten, at these alone where it spans more than two of them, and at
    /// each second or third where it spans more than six.
    pub fn logarithmic((low, high): (f64, f64), to: (f64, f64), name: &str) -> Axis {
        let low = if low.is_finite() && low > 0.0 { low } else { 1.0 };
        let high = if high.is_finite() && high > low { high } else { 10.0 * low };
        let powers = low.log10().floor() as i32..=high.log10().ceil() as i32;
        let spans = high.log10() - low.log10();
        let factors: &[f64] = if spans > 2.0 { &[1.0] } else { &[1.0, 2.0, 5.0] };
        let every = (spans / 6.0).ceil().max(1.0) as usize;
        let values = powers.step_by(every).flat_map(|p| factors.iter().map(move |f| f * 10f64.powi(p)));
        let words = |v: f64| if v < 1e-3 { format!("{v:.0e}") } else { number(v) };
        let marks = values.filter(|v| (low..=high).contains(v)).map(|v| (v, words(v))).collect();
        let scale = Scale::new((low.log10(), high.log10()), to);
        Axis { scale, logarithmic: true, marks, name: name.to_owned() }
    }

    /// Numbers of one's own.
    pub fn marked(self, marks: Vec<(f64, String)>) -> Axis {
        Axis { marks, ..self }
    }

    /// Its numbers with their values.
    pub fn marks(&self) -> &[(f64, String)] {
        &self.marks
    }

    /// Place of a value, kept within the axis.
    pub fn at(&self, value: f64) -> f64 {
        match self.logarithmic {
            true if value > 0.0 => self.scale.at(value.log10()),
            true => self.scale.at(f64::NEG_INFINITY),
            false => self.scale.at(value),
        }
    }

    /// Numbers below the plot, with its name under them.
    pub fn below(&self, plot: Area) -> Markup {
        let foot = plot.y + plot.h;
        html! {
            @for (v, text) in &self.marks {
                line class="base" x1=(co(self.at(*v))) y1=(co(foot)) x2=(co(self.at(*v))) y2=(co(foot + 4.0)) {}
                (label(self.at(*v), foot + 16.0, "middle", "faint small", text))
            }
            (label(plot.x + 0.5 * plot.w, foot + 31.0, "middle", "faint small", &self.name))
            line class="base" x1=(co(plot.x)) y1=(co(foot)) x2=(co(plot.x + plot.w)) y2=(co(foot)) {}
        }
    }

    /// Numbers at the left with rules across, and its name above them.
    pub fn left(&self, plot: Area) -> Markup {
        html! {
            @for (v, text) in &self.marks {
                @let y = self.at(*v);
                line class="rule" x1=(co(plot.x)) y1=(co(y)) x2=(co(plot.x + plot.w)) y2=(co(y)) {}
                (label(plot.x - 5.0, y + 4.0, "end", "faint small", text))
            }
            (label(plot.x - 44.0, plot.y - 20.0, "start", "faint small", &self.name))
        }
    }

    /// Numbers above the plot: the same quantity in another unit, `factor` of it to one of this.
    pub fn above(&self, plot: Area, (low, high): (f64, f64), factor: f64, name: &str) -> Markup {
        let other = Axis::plain((low * factor, high * factor), (plot.x, plot.x + plot.w), 5, name);
        html! {
            @for (v, text) in &other.marks {
                (label(other.at(*v), plot.y - 6.0, "middle", "faint small", text))
            }
            (label(plot.x + plot.w, plot.y - 19.0, "end", "faint small", &other.name))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(axis: &Axis) -> Vec<&str> {
        axis.marks.iter().map(|m| m.1.as_str()).collect()
    }

    #[test]
    fn numbers_are_round_and_lie_within() {
        assert_eq!(numbers(&Axis::plain((-0.9, 2.1), (0.0, 1.0), 3, "")), ["0", "1", "2"]);
        assert_eq!(
            numbers(&Axis::plain((-0.2, 0.2), (0.0, 1.0), 4, "")),
            ["-0.2", "-0.1", "0", "0.1", "0.2"]
        );
        assert_eq!(numbers(&Axis::logarithmic((0.4, 6.0), (0.0, 1.0), "")), ["0.5", "1", "2", "5"]);
        assert_eq!(
            numbers(&Axis::logarithmic((4e-5, 0.4), (0.0, 1.0), "")),
            ["1e-4", "0.001", "0.01", "0.1"]
        );
        assert!(numbers(&Axis::logarithmic((1e-12, 1.0), (0.0, 1.0), "")).len() < 9);
    }

    #[test]
    fn no_value_leaves_the_axis_and_no_range_is_too_odd() {
        let log = Axis::logarithmic((1.0, 100.0), (0.0, 200.0), "");
        assert_eq!((log.at(10.0), log.at(0.0), log.at(-1.0), log.at(1e9)), (100.0, 0.0, 0.0, 200.0));
        for range in [(f64::NAN, 1.0), (1.0, 1.0), (2.0, 1.0), (0.0, f64::INFINITY)] {
            assert!(numbers(&Axis::plain(range, (0.0, 1.0), 4, "")).len() < 12);
            assert!(Axis::logarithmic(range, (0.0, 1.0), "").at(1.0).is_finite());
        }
    }
}
