//! The space that sessions are drawn from: device, hand, host, stops and mishaps, all from one seed.
//!
//! Owns the ranges and the draws; places no fault of a device. Ranges: report interval 0.125 to 8 ms; 400 to 6400
//! counts per inch; 8-, 12- or 16-bit fields whose ceiling lies beyond the swipes; stop scatter 0.1 to 1 mm (even in
//! the logarithm); true travel within its uncertainty (drawn by the simulator from the same seed); recorded stalls of
//! the host; hard strikes and bounce; short swipes, rests on the way, knocks; three sessions in four along a straight
//! edge, the others with up to 10 degrees of yaw. They are what a bench and its users may show, not what detectors
//! like: none follows from a threshold.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};
use slipgauge_sim::{
    Bench, Bounce, Course, DeviceModel, Fault, Hand, Host, Link, Pace, Path, ReportFormat, Script, Settling,
    Stalls, StepModel, Tremor, What,
};

/// Phase numbers of every session: still, then slow, medium and fast swipes.
pub const STILL: u32 = 1;
/// See [`STILL`].
pub const SLOW: u32 = 2;
/// See [`STILL`].
pub const MEDIUM: u32 = 3;
/// See [`STILL`].
pub const FAST: u32 = 4;

/// Metres in an inch.
pub const INCH: f64 = 0.0254;

/// Seeded chance, apart from the simulator's own streams.
#[derive(Debug, Clone)]
pub struct Dice(Xoshiro256PlusPlus);

impl Dice {
    /// A stream for a seed and the name of what is drawn (FNV-1a spreads the name over the seed space).
    pub fn new(seed: u64, name: &str) -> Dice {
        let salt = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325, |h: u64, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
        Dice(Xoshiro256PlusPlus::seed_from_u64(seed ^ salt))
    }

    /// Uniform in `[low, high)`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in the logarithm.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// True with this chance.
    pub fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    /// One of some.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.between(0.0, of.len() as f64) as usize).min(of.len() - 1)]
    }
}

/// What is fixed rather than drawn.
#[derive(Debug, Clone, Copy)]
pub struct Fixed {
    /// Fast swipes.
    pub fast: u32,
    /// No mishap of operator or host, and a straight edge.
    pub calm: bool,
    /// Stop scatter in metres.
    pub scatter_m: Option<f64>,
}

impl Default for Fixed {
    /// A screening test.
    fn default() -> Self {
        Fixed { fast: 20, calm: false, scatter_m: None }
    }
}

/// A session to be: a bench, and what the plan says beside it.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The bench.
    pub bench: Bench,
    /// Whether swipes run along a straight edge, and the plan says so.
    pub straight_edge: bool,
    /// Peak speed that fast swipes aim at, m/s.
    pub fast_m_s: f64,
    /// The stream that it was drawn from, for faults.
    pub dice: Dice,
    /// Fast swipes.
    pub fast: u32,
}

impl Scene {
    /// A sound device on a bench drawn from `seed`; `name` keeps studies of the same seed apart.
    pub fn sound(seed: u64, name: &str, fixed: Fixed) -> Scene {
        let mut d = Dice::new(seed, name);
        let interval_ns = d.pick(&[125_000, 250_000, 500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000i64]);
        let nominal = d.pick(&[400.0, 800.0, 1200.0, 1600.0, 3200.0, 6400.0]);
        let (slow, medium, fast_m_s) = (d.between(0.2, 0.5), d.between(0.7, 1.3), d.between(1.5, 3.0));
        let straight_edge = fixed.calm || d.chance(0.75);
        let hand = hand(&mut d, straight_edge, fixed.scatter_m);
        let top_m_s = fast_m_s * (1.0 + 4.0 * hand.peak_scatter);
        let mut device = DeviceModel { mount_rad: d.between(-0.1, 0.1), ..DeviceModel::default() };
        device.steps = vec![StepModel {
            nominal_counts_per_inch: nominal,
            error: d.between(-0.03, 0.03),
            ..StepModel::default()
        }];
        device.link = Link {
            clock_error: d.between(-2e-4, 2e-4),
            jitter_ns: d.between(0.2e3, 0.005 * interval_ns as f64),
            ..Link::default()
        };
        device.sensor.noise = d.between(0.0, 0.02);
        let mut device = device.with_interval_ns(interval_ns);
        let most = 1.3 * top_m_s * nominal / INCH * interval_ns as f64 * 1e-9;
        let wide: Vec<u8> =
            [8u8, 12, 16].into_iter().filter(|bits| f64::from((1 << (bits - 1)) - 1) > most).collect();
        device.report = ReportFormat { bits: d.pick(&wide), ..ReportFormat::default() };
        let script = Script::default().still(1, 10.0).swipes(1, Pace::Slow, 10, slow);
        let script = script.swipes(1, Pace::Medium, 10, medium).swipes(1, Pace::Fast, fixed.fast, fast_m_s);
        let mut host = Host {
            delay_ns: d.between(20e3, 60e3) as i64,
            delay_spread_ns: d.between(2e3, 15e3),
            ..Host::default()
        };
        let faults = if fixed.calm {
            Vec::new()
        } else {
            if d.chance(0.5) {
                host.stalls =
                    Stalls { rate_hz: d.log_between(0.02, 0.5), mean_s: d.between(0.003, 0.015), seen: true };
            }
            mishaps(&mut d, fixed.fast)
        };
        let bench = Bench { seed, hand, script, device, host, faults, ..Bench::default() };
        Scene { bench, straight_edge, fast_m_s, dice: d, fast: fixed.fast }
    }

    /// Report interval in seconds.
    pub fn interval_s(&self) -> f64 {
        self.bench.device.link.interval_ns as f64 * 1e-9
    }

    /// Counts per metre.
    pub fn counts_per_m(&self) -> f64 {
        self.bench.device.counts_per_m(1)[0]
    }

    /// Sets another report interval and nominal resolution with a 16-bit field.
    pub fn with_rates(&mut self, interval_ns: i64, nominal: f64) {
        self.bench.device = self.bench.device.clone().with_interval_ns(interval_ns);
        self.bench.device.report.bits = 16;
        self.bench.device.steps[0].nominal_counts_per_inch = nominal;
    }

    /// Puts something into one fast swipe.
    pub fn in_fast(&mut self, swipe: u32, at: f64, what: What) {
        self.bench.faults.push(Fault::in_swipe(FAST, swipe, at, what));
    }

    /// Fast swipes that no mishap was put into: those whose number leaves 2 or 3 when divided by 5.
    pub fn free_fast(&self) -> Vec<u32> {
        (1..=self.fast).filter(|n| matches!(n % 5, 2 | 3)).collect()
    }
}

fn hand(d: &mut Dice, straight_edge: bool, scatter_m: Option<f64>) -> Hand {
    let course = match d.pick(&[0, 0, 0, 1, 2, 3]) {
        0 => Course::Natural,
        1 => Course::Aimed,
        2 => Course::MinimumJerk,
        _ => Course::Skewed { time_to_peak: d.between(0.35, 0.65) },
    };
    Hand {
        peak_scatter: d.between(0.03, 0.12),
        placement_scatter_m: scatter_m.unwrap_or_else(|| d.log_between(0.1e-3, 1e-3)),
        dwell_s: d.between(0.2, 0.5),
        course,
        // Up to a strike at half the peak speed.
        arrival: d.between(0.0, 0.5),
        // A contact at 1 m/s leaves by 1 to 4 mm, one at 1.5 m/s by up to 9 mm.
        bounce: Bounce { restitution: d.between(0.1, 0.4), push_m_s2: d.between(20.0, 40.0) },
        path: Path {
            yaw_rad: if straight_edge { 0.0 } else { d.between(-0.17, 0.17) },
            wobble_rad: if straight_edge { 0.0035 } else { 0.02 },
            ..Path::default()
        },
        tremor: Tremor { amplitude_m: d.between(0.0, 30e-6), ..Tremor::default() },
        settling: Settling { distance_m: d.between(0.0, 0.2e-3), time_s: d.between(0.3, 1.0) },
        ..Hand::default()
    }
}

/// What an operator does, in swipes whose number is a multiple of 5 and in the still phase.
fn mishaps(d: &mut Dice, fast: u32) -> Vec<Fault> {
    let mut faults = Vec::new();
    let fives: Vec<u32> = (1..=fast / 5).map(|n| 5 * n).collect();
    for phase in [SLOW, MEDIUM, FAST] {
        let swipe = if phase == FAST && !fives.is_empty() { d.pick(&fives) } else { d.pick(&[5, 10]) };
        if d.chance(0.2) {
            let by_m = d.between(0.005, 0.03);
            faults.push(Fault::in_swipe(phase, swipe, 1.0, What::StopShort { by_m }));
        } else if d.chance(0.1) {
            let what = What::StopHalfway { seconds: d.between(0.1, 0.5) };
            faults.push(Fault::in_swipe(phase, swipe, d.between(0.3, 0.7), what));
        }
        if d.chance(0.15) {
            let what = What::Knock { amplitude_m: d.between(0.05e-3, 0.5e-3) };
            faults.push(Fault::in_phase(phase, d.between(0.2, 3.0), what));
        }
    }
    if d.chance(0.2) {
        let what = What::Knock { amplitude_m: d.between(0.05e-3, 0.5e-3) };
        faults.push(Fault::in_phase(STILL, d.between(1.0, 9.0), what));
    }
    faults
}
