//! Where tracking ends: a limit in speed and one in acceleration, and what the sensor reports beyond.
//!
//! Data sheets give 12 to 400 in/s (0.3 to 10 m/s) and 8 to 70 g. Once lost, track is found again when the speed has
//! fallen below a share of the limit and a least time has gone by.

use crate::noise::Noise;
use serde::{Deserialize, Serialize};

/// What a sensor reports while it does not see the motion.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Loss {
    /// Nothing.
    #[default]
    Silent,
    /// A share of the motion.
    Partial {
        /// The share, 0 to 1.
        share: f64,
    },
    /// Motion in its direction, but no faster than the limit; it ends where the hand is slower than that.
    Saturated,
    /// Steady motion in a direction that was guessed once: *spin-out*.
    Guess {
        /// Angle of the guess against the true direction at the onset, in radians.
        turn_rad: f64,
        /// Its speed over the true speed at the onset.
        speed_share: f64,
    },
    /// The last motion seen, over and over.
    Repeat {
        /// Time constant of its fading in seconds; 0 for no fading.
        fade_s: f64,
    },
}

impl Loss {
    pub(crate) fn kind(self) -> &'static str {
        match self {
            Loss::Silent => "silent",
            Loss::Partial { .. } => "partial",
            Loss::Saturated => "saturated",
            Loss::Guess { .. } => "guess",
            Loss::Repeat { .. } => "repeat",
        }
    }
}

/// Limits of tracking.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Tracking {
    /// Highest speed in metres per second.
    pub max_speed_m_s: f64,
    /// Highest acceleration in metres per second squared.
    pub max_acceleration_m_s2: f64,
    /// Standard deviation of the logarithm of the speed limit, drawn anew for each movement.
    pub scatter: f64,
    /// Share of the speed limit below which track is found again.
    pub recovers_at: f64,
    /// Least time without track in seconds.
    pub hold_s: f64,
    /// What is reported meanwhile.
    pub loss: Loss,
}

impl Default for Tracking {
    /// A good sensor: 10 m/s (400 in/s) and 70 g, both beyond a hand.
    fn default() -> Self {
        Tracking {
            max_speed_m_s: 10.0,
            max_acceleration_m_s2: 687.0,
            scatter: 0.0,
            recovers_at: 0.9,
            hold_s: 0.0,
            loss: Loss::Silent,
        }
    }
}

/// A spell of lost track.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Episode {
    pub(crate) begin: i64,
    pub(crate) end: i64,
    pub(crate) loss: Loss,
    /// True speed at the onset, metres per second.
    pub(crate) onset_m_s: f64,
    /// True and reported motion of the sensor while the hand swiped, in metres.
    pub(crate) moved: [f64; 2],
    pub(crate) told: [f64; 2],
    /// Reported with the body at the stop, and true motion there.
    pub(crate) told_after: [f64; 2],
    pub(crate) moved_after: [f64; 2],
    /// When the swipe ended, if the spell outlasted it.
    pub(crate) outlasted: Option<i64>,
    until: i64,
    placed: bool,
    guess: [f64; 2],
}

/// Time constant of the speed that acceleration is reckoned from, in seconds.
const ACCELERATION_OVER_S: f64 = 0.004;
/// Below this speed a movement counts as over, and the limit is drawn anew; metres per second.
const REST_M_S: f64 = 0.01;

/// Tracking at work.
pub(super) struct TrackingState {
    model: Tracking,
    limit: f64,
    moving: bool,
    slow_speed: f64,
    last: [f64; 2],
    last_speed: f64,
    lost: Option<Episode>,
    over: Option<Episode>,
    last_t: i64,
}

impl TrackingState {
    pub(super) fn new(model: &Tracking, noise: &mut Noise) -> TrackingState {
        let mut state = TrackingState {
            model: *model,
            limit: model.max_speed_m_s,
            moving: false,
            slow_speed: 0.0,
            last: [0.0; 2],
            last_speed: 0.0,
            lost: None,
            over: None,
            last_t: 0,
        };
        state.draw_limit(noise);
        state
    }

    fn draw_limit(&mut self, noise: &mut Noise) {
        if self.model.scatter > 0.0 {
            self.limit = self.model.max_speed_m_s * libm::exp(self.model.scatter * noise.bounded_normal());
        }
    }

    /// What is reported in place of the motion, or `None` while track is kept.
    pub(super) fn frame(
        &mut self,
        t: i64,
        moved: [f64; 2],
        speed: f64,
        swiping: bool,
        noise: &mut Noise,
    ) -> Option<[f64; 2]> {
        let frame_s = (t - self.last_t) as f64 * 1e-9;
        self.last_t = t;
        let share = (frame_s / ACCELERATION_OVER_S).min(1.0);
        let acceleration = (speed - self.slow_speed).abs() / ACCELERATION_OVER_S;
        self.slow_speed += share * (speed - self.slow_speed);
        if speed > REST_M_S {
            self.moving = true;
        } else if self.moving && self.slow_speed < REST_M_S {
            self.moving = false;
            self.draw_limit(noise);
        }
        let beyond = speed > self.limit || acceleration > self.model.max_acceleration_m_s2;
        if self.lost.is_none() && beyond {
            let hold = (self.model.hold_s * 1e9) as i64;
            self.lost = Some(self.episode(t, self.model.loss, hold, speed, false));
        }
        let recovers_at = if self.model.loss == Loss::Saturated { 1.0 } else { self.model.recovers_at };
        let slow = speed < recovers_at * self.limit;
        if let Some(lost) = &self.lost
            && t >= lost.until
            && (lost.placed || (slow && !beyond))
        {
            self.over = self.lost.take().map(|lost| Episode { end: t, ..lost });
        }
        let Some(lost) = &mut self.lost else {
            (self.last, self.last_speed) = (moved, speed);
            return None;
        };
        let told = match lost.loss {
            Loss::Silent => [0.0; 2],
            Loss::Partial { share } => moved.map(|d| share * d),
            Loss::Saturated => moved.map(|d| d * (self.limit / speed).min(1.0)),
            Loss::Guess { .. } => lost.guess,
            Loss::Repeat { fade_s } => {
                let told = lost.guess;
                if fade_s > 0.0 {
                    lost.guess = told.map(|d| d * libm::exp(-frame_s / fade_s));
                }
                told
            }
        };
        let (true_sum, told_sum) = if swiping {
            (&mut lost.moved, &mut lost.told)
        } else {
            lost.outlasted.get_or_insert(t);
            (&mut lost.moved_after, &mut lost.told_after)
        };
        for axis in 0..2 {
            true_sum[axis] += moved[axis];
            told_sum[axis] += told[axis];
        }
        Some(told)
    }

    fn episode(&self, t: i64, loss: Loss, hold: i64, onset_m_s: f64, placed: bool) -> Episode {
        let [x, y] = self.last;
        let guess = match loss {
            Loss::Guess { turn_rad, speed_share } => {
                let (sine, cosine) = libm::sincos(turn_rad);
                [speed_share * (x * cosine - y * sine), speed_share * (x * sine + y * cosine)]
            }
            _ => [x, y],
        };
        let zero = [0.0; 2];
        Episode {
            begin: t,
            end: t,
            loss,
            onset_m_s,
            moved: zero,
            told: zero,
            told_after: zero,
            moved_after: zero,
            outlasted: None,
            until: t + hold,
            placed,
            guess,
        }
    }

    pub(super) fn force(&mut self, t: i64, loss: Loss, length_ns: i64) {
        // A spell that is going on ends where this one begins.
        self.over = self.take_unfinished();
        self.lost = Some(self.episode(t, loss, length_ns, self.last_speed, true));
    }

    /// True if nothing goes on that frames at rest would change.
    pub(super) fn settled(&self) -> bool {
        self.lost.is_none() && !self.moving && self.slow_speed < REST_M_S
    }

    pub(super) fn take_over(&mut self) -> Option<Episode> {
        self.over.take()
    }

    pub(super) fn take_unfinished(&mut self) -> Option<Episode> {
        let end = self.last_t;
        self.lost.take().map(|lost| Episode { end, ..lost })
    }
}
