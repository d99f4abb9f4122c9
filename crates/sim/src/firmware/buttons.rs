//! A button: its switch bounces, and firmware decides when a press is one.

use crate::noise::Noise;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// How firmware treats a switch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Debounce {
    /// Every edge is taken.
    None,
    /// The first edge is taken at once, later ones are ignored for a while.
    Eager {
        /// How long, in seconds.
        masks_s: f64,
    },
    /// A state is taken once it has lasted a while: later, and never wrong.
    Wait {
        /// How long, in seconds.
        lasts_s: f64,
    },
}

impl Default for Debounce {
    fn default() -> Self {
        Debounce::Eager { masks_s: 0.01 }
    }
}

/// The buttons of a device.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Buttons {
    /// How long a switch bounces at each edge, in seconds; a few milliseconds is common for snap-action switches.
    pub bounce_s: f64,
    /// What firmware makes of it.
    pub debounce: Debounce,
    /// Time from a strike to the switch's first edge, and whatever firmware adds, in seconds.
    pub lag_s: f64,
    /// Standard deviation of that time from strike to strike, in seconds.
    pub lag_spread_s: f64,
}

impl Default for Buttons {
    fn default() -> Self {
        Buttons { bounce_s: 0.001, debounce: Debounce::default(), lag_s: 0.001, lag_spread_s: 0.0001 }
    }
}

/// Button 1 at work.
pub(crate) struct ButtonState {
    model: Buttons,
    noise: Noise,
    /// Edges as firmware takes them: time and state.
    edges: VecDeque<(i64, bool)>,
    down: bool,
}

impl ButtonState {
    pub(crate) fn new(model: &Buttons, noise: Noise) -> ButtonState {
        ButtonState { model: *model, noise, edges: VecDeque::new(), down: false }
    }

    /// A strike: the button is down from one time to the other.
    pub(crate) fn strike(&mut self, down: i64, up: i64) {
        for (t, state) in [(down, true), (up, false)] {
            let lag = self.model.lag_s + self.model.lag_spread_s * self.noise.bounded_normal();
            let first = t + (lag.max(0.0) * 1e9) as i64;
            let edges = self.bounces(first);
            let last = edges.last().copied().unwrap_or(first);
            match self.model.debounce {
                Debounce::None => {
                    // Edges alternate and end in the new state.
                    let states =
                        edges.iter().zip(1..).map(|(&t, n)| (t, if n % 2 == 1 { state } else { !state }));
                    self.edges.extend(states);
                }
                // What still bounces once the mask is over is taken: an odd number of edges brings no change.
                Debounce::Eager { masks_s } => {
                    self.edges.push_back((first, state));
                    let open = first + (masks_s * 1e9) as i64;
                    let late = edges.iter().zip(1..).filter(|(t, _)| **t > open);
                    let states = late.map(|(&t, n)| (t, if n % 2 == 1 { state } else { !state }));
                    self.edges.extend(states);
                }
                Debounce::Wait { lasts_s } => self.edges.push_back((last + (lasts_s * 1e9) as i64, state)),
            }
        }
    }

    /// An odd number of edges from `first` on, within the bouncing time.
    fn bounces(&mut self, first: i64) -> Vec<i64> {
        let mut edges = vec![first];
        if self.model.bounce_s > 0.0 {
            let pairs = (3.0 * self.noise.uniform()) as usize;
            edges.extend(
                (0..2 * pairs).map(|_| first + (self.model.bounce_s * 1e9 * self.noise.uniform()) as i64),
            );
            edges.sort_unstable();
        }
        edges
    }

    /// State of the buttons at `t`, bit 0 for button 1.
    pub(crate) fn at(&mut self, t: i64) -> u16 {
        while let Some(&(edge, state)) = self.edges.front()
            && edge <= t
        {
            self.down = state;
            self.edges.pop_front();
        }
        u16::from(self.down)
    }
}
