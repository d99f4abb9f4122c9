//! How far the device moves from stop to stop, and how that is known.
//!
//! Three lengths lie on the bench, and only one of them is the travel: the gap between the stops, the body's length along
//! the swipe, and the way that one edge of the body goes, which is gap less body. The gap taken for the travel is wrong
//! by the body's length: 20 to 40 % of usual travels. So nothing begins before it is said which was measured, and it is
//! said back with a drawing.

use slipgauge_trace::Metres;
use std::fmt::Write as _;

/// Standard uncertainty of a length read off a ruler at both ends, 0.5 mm, and of the difference of two such lengths
/// (common practice, no source).
const READ_UM: i64 = 500;

/// The travel as told.
#[derive(Clone, Debug, PartialEq)]
pub struct Travel {
    /// Travel in micrometres.
    pub um: i64,
    /// Standard uncertainty in micrometres.
    pub uncertainty_um: i64,
    /// How it is known.
    pub from: From,
}

/// How a travel is known.
#[derive(Clone, Debug, PartialEq)]
pub enum From {
    /// Read off a ruler at one edge of the device.
    Ruler,
    /// The gap between the stops less the body's length, both in micrometres.
    GapBody {
        /// Between the faces of the stops.
        gap_um: i64,
        /// Of the body along the swipe.
        body_um: i64,
    },
    /// Measured with a sound device of known resolution on the same stops: the name of that session's file.
    File(String),
}

/// A travel that cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TravelError {
    /// The body does not fit between the stops.
    #[error(
        "a body of {body} mm has no room to travel in a gap of {gap} mm: --gap is the distance between the faces of the \
         stops, --body the device's length along the swipe"
    )]
    NoRoom {
        /// Gap in millimetres.
        gap: String,
        /// Body in millimetres.
        body: String,
    },
}

impl Travel {
    /// Read off a ruler at one edge; `uncertainty_um` if it is known better or worse than 0.5 mm.
    pub fn ruler(um: i64, uncertainty_um: Option<i64>) -> Travel {
        Travel { um, uncertainty_um: uncertainty_um.unwrap_or(READ_UM), from: From::Ruler }
    }

    /// From the gap and the body's length.
    ///
    /// # Errors
    /// [`TravelError::NoRoom`] if the body is as long as the gap.
    pub fn gap_body(gap_um: i64, body_um: i64, uncertainty_um: Option<i64>) -> Result<Travel, TravelError> {
        if body_um >= gap_um {
            return Err(TravelError::NoRoom { gap: millimetres(gap_um), body: millimetres(body_um) });
        }
        // Both are read at both ends, so that the difference is √2 less sure.
        let both = (READ_UM as f64 * std::f64::consts::SQRT_2).round() as i64;
        let from = From::GapBody { gap_um, body_um };
        Ok(Travel { um: gap_um - body_um, uncertainty_um: uncertainty_um.unwrap_or(both), from })
    }

    /// The travel.
    pub fn metres(&self) -> Metres {
        Metres::from_micrometres(self.um)
    }

    /// As `travel_from` in a session's plan.
    pub fn source(&self) -> String {
        match &self.from {
            From::Ruler => "ruler".to_owned(),
            From::GapBody { .. } => "gap-body".to_owned(),
            From::File(name) => name.clone(),
        }
    }

    /// What was understood, as a sentence.
    pub fn sentence(&self) -> String {
        let (travel, u) = (millimetres(self.um), millimetres(self.uncertainty_um));
        match &self.from {
            From::Ruler => {
                format!(
                    "One edge of the device moves {travel} mm from stop to stop (± {u} mm, one standard deviation)."
                )
            }
            From::GapBody { gap_um, body_um } => format!(
                "The gap between the stops is {} mm and the body {} mm long, so the device moves {travel} mm \
                 (± {u} mm, one standard deviation).",
                millimetres(*gap_um),
                millimetres(*body_um)
            ),
            From::File(name) => format!(
                "A sound device, recorded in {name}, moved {travel} mm between these stops (± {u} mm, one standard \
                 deviation)."
            ),
        }
    }

    /// The same as a drawing in characters, seven lines of less than 80 columns: both places of the device, and which
    /// length is the travel. The name of a file is not in it.
    pub fn drawing(&self) -> String {
        const INSIDE: usize = 60;
        // A ruler tells nothing of the body: then it is drawn as usual, a fifth of the gap.
        let share = match self.from {
            From::GapBody { gap_um, body_um } => body_um as f64 / gap_um.max(1) as f64,
            _ => 0.2,
        };
        let body = ((share * INSIDE as f64).round() as usize).clamp(5, 40);
        let free = INSIDE - 2 * body.min(INSIDE / 2 - 6);
        let body = (INSIDE - free) / 2;
        let travel = body + free;
        let mut text = String::new();
        let edge = "═".repeat(body - 2);
        let _ = writeln!(text, "  stop{}stop", " ".repeat(INSIDE));
        let _ = writeln!(text, "  ███ ╔{edge}╗{}┌{}┐ ███", " ".repeat(free), "╌".repeat(body - 2));
        let _ = writeln!(
            text,
            "  ███ ║{}║{}╎{}╎ ███",
            " ".repeat(body - 2),
            " ".repeat(free),
            " ".repeat(body - 2)
        );
        let _ = writeln!(text, "  ███ ╚{edge}╝{}└{}┘ ███", " ".repeat(free), "╌".repeat(body - 2));
        let arrow = dimension(travel, &format!("travel {} mm", millimetres(self.um)));
        let _ = writeln!(text, "      {arrow}");
        if let From::GapBody { gap_um, body_um } = self.from {
            let gap = dimension(INSIDE, &format!("gap {} mm", millimetres(gap_um)));
            let _ = writeln!(text, "      {gap}");
            let _ = writeln!(text, "      body {} mm", millimetres(body_um));
        }
        text
    }
}

/// `|<---- words ---->|` of this many columns.
fn dimension(width: usize, words: &str) -> String {
    let free = width.saturating_sub(words.chars().count() + 6);
    let left = free / 2;
    format!("|<{} {words} {}>|", "─".repeat(left), "─".repeat(free - left))
}

/// Whole micrometres as millimetres, without trailing zeros.
pub fn millimetres(um: i64) -> String {
    let text = format!("{:.3}", um as f64 * 1e-3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn travel_is_the_gap_less_the_body() {
        let travel = Travel::gap_body(365_000, 64_200, None).unwrap();
        assert_eq!((travel.um, travel.uncertainty_um), (300_800, 707));
        assert!(travel.sentence().contains("so the device moves 300.8 mm"), "{}", travel.sentence());
        let error = Travel::gap_body(60_000, 64_200, None).unwrap_err().to_string();
        assert!(error.contains("no room") && error.contains("64.2 mm"), "{error}");
    }

    #[test]
    fn drawings_fit_80_columns_and_show_what_is_what() {
        for travel in [
            Travel::ruler(300_000, None),
            Travel::gap_body(365_000, 64_200, None).unwrap(),
            Travel::gap_body(100_000, 99_000, None).unwrap(),
            Travel::gap_body(1_000_000, 1_000, None).unwrap(),
        ] {
            let drawing = travel.drawing();
            assert!(drawing.lines().all(|line| line.chars().count() < 80), "{drawing}");
            assert!(drawing.contains(&format!("travel {} mm", millimetres(travel.um))), "{drawing}");
        }
    }
}
