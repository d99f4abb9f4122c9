//! Sound devices at nine tenths of one tolerance, and sound in all else.

use crate::cases::{coarse_enough, creep, limit, off_nominal, set_contrast};
use crate::run::fast_tops;
use crate::space::{Dice, FAST, MEDIUM, SLOW, Scene};
use slipgauge_analysis::verdict::Family;
use slipgauge_sim::{Bursts, Excess, Fault, Firmware, Loss, Missing, What};
use std::f64::consts::PI;

/// A name, the family whose tolerance it is, and how it is laid into a scene.
type Near = (&'static str, Family, fn(&mut Scene));

/// All of them.
pub const NEAR: &[Near] = &[
    ("dropouts, late, in 18 % of swipes", Family::Dropout, |s| some_drop(s, Missing::Kept)),
    ("dropouts, lost, in 18 % of swipes", Family::Dropout, |s| some_drop(s, Missing::Lost)),
    ("tracking loss in 18 % of fast swipes", Family::TrackingLoss, |s| {
        // The peak speed that 18 % of the fast swipes exceed: normal quantile 0.915.
        let above = 1.0 + 0.915 * s.bench.hand.peak_scatter;
        limit(s, above, Loss::Silent);
    }),
    ("spin-out in 18 % of swipes", Family::SpinOut, |s| {
        in_share_of_swipes(s, |d| {
            let turn_rad = d.between(0.5 * PI, PI);
            What::Lose { loss: Loss::Guess { turn_rad, speed_share: 0.8 }, seconds: 0.015 }
        });
    }),
    ("firmware ceiling in 18 % of fast swipes", Family::ReportCeiling, clips_in_share_of_fast),
    ("creep 0.09 mm/s", Family::Drift, |s| creep(s, 0.09)),
    ("bursts 0.45 a second", Family::Drift, |s| {
        // Small ones, so that what they add up to is no creep beyond its own tolerance.
        let counts = (0.03e-3 * s.counts_per_m()).max(3.0);
        s.bench.device.sensor.drift.bursts = Bursts { rate_hz: 0.45, counts, seconds: 0.02 };
    }),
    ("resolution off by 9 %", Family::Resolution, |s| off_nominal(s, 0.09)),
    ("gain contrast 1.8 %", Family::GainChange, |s| {
        let contrast = 0.018 * s.dice.pick(&[-1.0, 1.0]);
        set_contrast(s, contrast);
    }),
    ("interval off by 4.5 %", Family::ReportInterval, |s| {
        s.bench.device.link.clock_error = 0.045 * s.dice.pick(&[-1.0, 1.0]);
    }),
];

/// The share at nine tenths of the default tolerance for events in swipes.
pub const NEAR_SHARE: f64 = 0.18;

fn in_share_of_swipes(scene: &mut Scene, what: impl Fn(&mut Dice) -> What) {
    for (phase, count) in [(SLOW, 10), (MEDIUM, 10), (FAST, scene.fast)] {
        for swipe in 1..=count {
            if scene.dice.chance(NEAR_SHARE) {
                let (at, what) = (scene.dice.between(0.35, 0.6), what(&mut scene.dice));
                scene.bench.faults.push(Fault::in_swipe(phase, swipe, at, what));
            }
        }
    }
}

/// A limit that this share of the fast swipes goes beyond, by a trial run: by the peak speed that was drawn, which a
/// hand's noise and tremor top in single reports, nearly all of them had clipped.
fn clips_in_share_of_fast(scene: &mut Scene) {
    coarse_enough(scene);
    let mut tops = fast_tops(scene).unwrap_or_default();
    tops.sort_unstable();
    let below = tops.len().saturating_sub(1 + (NEAR_SHARE * tops.len() as f64) as usize);
    let firmware =
        Firmware { limit: tops.get(below).copied(), excess: Excess::Discarded, ..Firmware::default() };
    scene.bench.device.firmware = firmware;
}

fn some_drop(scene: &mut Scene, counts: Missing) {
    scene.bench.device.report.bits = 16;
    let reports = (0.02 / scene.interval_s()).ceil().max(2.0) as u32;
    in_share_of_swipes(scene, |_| What::Dropout { reports, counts });
}
