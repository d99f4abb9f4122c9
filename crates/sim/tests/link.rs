//! Link and host against their definitions, measured from reports.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::{Row, Taken, close, deviation, machine, mean, median, peak, spectrum, sum, take};
use slipgauge_sim::{
    Bench, DeviceModel, Family, Fault, Interference, Link, Missing, Pace, Radio, Script, Stalls, Stretch,
    Wander, What,
};

/// A device that has something to say at each poll: it creeps fast.
fn busy(link: Link, seconds: f64) -> Bench {
    let mut device = DeviceModel { mount_rad: 0.0, ..DeviceModel::default() }.with_steps(&[20_000.0]);
    device.sensor.frame_ns = (link.interval_ns / 3).min(150_000);
    device.sensor.drift.creep_m_s = [0.05, 0.0];
    device.link = link;
    let script = Script::default().still(1, seconds);
    let mut bench = Bench { device, hand: machine(), script, ..Bench::default() };
    (bench.host.delay_ns, bench.host.delay_spread_ns) = (0, 0.0);
    bench
}

fn steady() -> Link {
    Link { jitter_ns: 0.0, clock_error: 0.0, ..Link::default() }
}

fn intervals(rows: &[Row]) -> Vec<f64> {
    rows.windows(2).map(|w| w[1].t - w[0].t).collect()
}

#[test]
fn every_usual_interval_comes_out_as_told() {
    for interval_ns in [8_000_000, 4_000_000, 2_000_000, 1_000_000, 500_000, 250_000, 125_000] {
        let link = Link { interval_ns, clock_error: 1e-3, ..steady() };
        let rows = take(busy(link, 500.0 * interval_ns as f64 * 1e-9)).all(0);
        assert!(rows.len() > 500);
        let whole = (rows[rows.len() - 1].t - rows[0].t) / (rows.len() - 1) as f64;
        close(whole, interval_ns as f64 * 1e-9 * 1.001, 1e-5);
    }
}

#[test]
fn jitter_of_polls_shows_as_scatter_of_intervals_that_does_not_add_up() {
    let rows = take(busy(Link { jitter_ns: 20_000.0, ..steady() }, 20.0)).all(0);
    let intervals = intervals(&rows);
    // Two polls' jitter in one interval; neighbours share one: correlation -1/2.
    close(deviation(&intervals), 20e-6 * 2f64.sqrt(), 0.03);
    let (m, s) = (mean(&intervals), deviation(&intervals));
    let pairs: Vec<f64> = intervals.windows(2).map(|w| (w[0] - m) * (w[1] - m) / (s * s)).collect();
    assert!((mean(&pairs) + 0.5).abs() < 0.03);
    assert!((rows[rows.len() - 1].t - rows[0].t - intervals.len() as f64 * 1e-3).abs() < 1e-4);
}

#[test]
fn wander_has_its_size_and_its_time() {
    let wander = Wander { share: 0.02, time_s: 0.05 };
    let intervals = intervals(&take(busy(Link { wander, ..steady() }, 60.0)).all(0));
    close(deviation(&intervals), 0.02e-3, 0.1);
    let (m, s) = (mean(&intervals), deviation(&intervals));
    let pairs: Vec<f64> = intervals.windows(51).map(|w| (w[0] - m) * (w[50] - m) / (s * s)).collect();
    // One time constant apart: 1/e.
    assert!((mean(&pairs) - (-1f64).exp()).abs() < 0.08, "{}", mean(&pairs));
}

#[test]
fn a_stretched_eighth_interval_is_a_line_in_the_spectrum_at_one_eighth() {
    let stretch = Some(Stretch { every: 8, by_ns: 250_000 });
    let intervals = intervals(&take(busy(Link { stretch, ..steady() }, 5.0)).all(0));
    let (frequency, amplitude) = peak(&spectrum(&intervals[..4096]));
    // A comb of one in eight: lines of equal height at multiples of 1/8, each 2/8 of the step.
    assert!((frequency * 8.0).fract().min(1.0 - (frequency * 8.0).fract()) < 1e-9, "{frequency}");
    close(amplitude, 250e-6 / 4.0, 1e-3);
    let plain = intervals_of_plain();
    assert!(peak(&spectrum(&plain[..4096])).1 < 1e-8);
}

fn intervals_of_plain() -> Vec<f64> {
    intervals(&take(busy(steady(), 5.0)).all(0))
}

/// Lengths of gaps in missing reports, from receive times alone.
fn gaps(rows: &[Row]) -> Vec<f64> {
    intervals(rows).iter().map(|i| (i / 1e-3).round() - 1.0).filter(|&missing| missing > 0.0).collect()
}

#[test]
fn a_radio_link_loses_its_share_in_bursts_of_geometric_length() {
    // Gilbert 1960: mean burst 1/leaves_bad, share of time in bad spells enters/(enters + leaves).
    let radio =
        |counts| Radio { enters_bad: 0.002, leaves_bad: 0.125, loss_in_good: 0.0, loss_in_bad: 1.0, counts };
    let run = |radio| take(busy(Link { radio, ..steady() }, 200.0));
    let sound = run(None);
    let (kept, lost) = (run(Some(radio(Missing::Kept))), run(Some(radio(Missing::Lost))));
    let share = 1.0 - kept.all(0).len() as f64 / sound.all(0).len() as f64;
    close(share, 0.002 / 0.127, 0.15);
    let gaps = gaps(&kept.all(0));
    close(mean(&gaps), 8.0, 0.15);
    // A geometric law: deviation sqrt(1 - p)/p.
    close(deviation(&gaps), 0.875f64.sqrt() * 8.0, 0.2);
    let counts = |taken: &Taken| sum(&taken.all(0)).0;
    close(counts(&kept), counts(&sound), 1e-4);
    close(1.0 - counts(&lost) / counts(&sound), share, 0.02);
    assert_eq!(kept.truth.of(Family::Dropout).count(), gaps.len());
}

#[test]
fn losses_in_bad_spells_only_are_elliotts() {
    // Elliott 1963: loss in both states. Share: 0.001 of good time, half of bad time.
    let radio = Radio {
        enters_bad: 0.01,
        leaves_bad: 0.1,
        loss_in_good: 0.001,
        loss_in_bad: 0.5,
        ..Radio::default()
    };
    let rows = take(busy(Link { radio: Some(radio), ..steady() }, 200.0)).all(0);
    let bad = 0.01 / 0.11;
    let missing: f64 = gaps(&rows).iter().sum();
    close(missing / (missing + rows.len() as f64), 0.001 * (1.0 - bad) + 0.5 * bad, 0.1);
}

#[test]
fn interference_comes_at_its_period() {
    let interference = Some(Interference { period_s: 0.1, length_s: 0.007, counts: Missing::Kept });
    let rows = take(busy(Link { interference, ..steady() }, 20.0)).all(0);
    let begins: Vec<f64> = rows.windows(2).filter(|w| w[1].t - w[0].t > 1.5e-3).map(|w| w[0].t).collect();
    let periods: Vec<f64> = begins.windows(2).map(|w| w[1] - w[0]).collect();
    close(median(periods), 0.1, 1e-3);
    close(median(gaps(&rows)), 7.0, 1e-9);
}

fn swipes(change: impl FnOnce(&mut Bench)) -> Taken {
    let script = Script::default().swipes(1, Pace::Fast, 3, 2.0);
    let mut bench = Bench { hand: machine(), script, ..Bench::default() };
    change(&mut bench);
    take(bench)
}

#[test]
fn receive_delay_has_its_least_value_and_its_mean() {
    let taken = swipes(|bench| {
        bench.host.kernel_stamps = true;
        (bench.host.delay_ns, bench.host.delay_spread_ns) = (50_000, 20_000.0);
    });
    let motion = &taken.recording.devices[0].motion;
    let delays: Vec<f64> =
        motion.received_ns.iter().zip(&motion.kernel_ns).map(|(t, k)| (t - k) as f64).collect();
    assert!(delays.iter().all(|&d| d >= 50_000.0));
    close(mean(&delays), 70_000.0, 0.05);
    close(deviation(&delays), 20_000.0, 0.2);
}

#[test]
fn a_stall_delays_reports_into_one_batch_and_loses_none() {
    let stall =
        |bench: &mut Bench| bench.faults = vec![Fault::in_swipe(1, 2, 0.5, What::Stall { seconds: 0.02 })];
    let (held, twin) = (swipes(stall), swipes(|_| {}));
    assert_eq!(sum(&held.all(0)), sum(&twin.all(0)));
    assert_eq!(held.all(0).len(), twin.all(0).len());
    let motion = &held.recording.devices[0].motion;
    let deepest = *motion.place.iter().max().unwrap();
    assert!((18..=20).contains(&deepest), "{deepest}");
    let (begin, end) = held.recording.host.stalls[0];
    close((end - begin).seconds(), 0.02, 1e-6);
    let batch = motion.place.iter().position(|&p| p == deepest).unwrap();
    assert_eq!(motion.received_ns[batch], end.0);
}

#[test]
fn a_stall_longer_than_the_ring_loses_what_came_after_and_says_so() {
    let change = |seen| {
        move |bench: &mut Bench| {
            bench.faults = vec![Fault::in_swipe(1, 2, 0.5, What::Stall { seconds: 0.02 })];
            bench.host.ring = 8;
            bench.host.stalls.seen = seen;
        }
    };
    let (short, twin) = (swipes(change(true)), swipes(|_| {}));
    let lost = twin.all(0).len() - short.all(0).len();
    assert!((11..=13).contains(&lost), "{lost}");
    assert_eq!(short.recording.host.overruns.len(), 1);
    let label = short.truth.of(Family::Dropout).next().unwrap();
    close((sum(&twin.all(0)).0 - sum(&short.all(0)).0).abs() * 25.4 / 1600.0, label.size, 0.01);
    assert!(swipes(change(false)).recording.host.stalls.is_empty());
}

#[test]
fn stalls_by_chance_come_at_their_rate_with_their_length() {
    let bench = |stalls| {
        let mut bench = busy(steady(), 300.0);
        bench.host.stalls = stalls;
        bench
    };
    let taken = take(bench(Stalls { rate_hz: 2.0, mean_s: 0.01, seen: true }));
    let stalls = &taken.recording.host.stalls;
    // Poisson: 600 expected, within 4 sigma.
    assert!((500..700).contains(&stalls.len()), "{}", stalls.len());
    close(mean(&stalls.iter().map(|(a, b)| (*b - *a).seconds()).collect::<Vec<_>>()), 0.01, 0.15);
    // None received while held up.
    let t = &taken.recording.devices[0].motion.received_ns;
    for (begin, end) in stalls {
        assert!(!t.iter().any(|&t| t > begin.0 && t < end.0));
    }
}

#[test]
fn a_coarse_clock_stamps_in_its_own_steps() {
    let taken = swipes(|bench| bench.host.resolution_ns = 15_600_000);
    let t = &taken.recording.devices[0].motion.received_ns;
    assert!(t.iter().all(|t| t % 15_600_000 == 0));
    assert!(t.iter().zip(t.iter().skip(1)).any(|(a, b)| a == b));
    assert_eq!(taken.recording.header.clock.resolution_ns.unwrap().0, 15_600_000);
}

#[test]
fn a_device_that_goes_away_says_nothing_and_comes_back() {
    let taken = swipes(|bench| {
        bench.faults = vec![Fault::in_swipe(1, 2, 0.3, What::Disconnect { seconds: 0.4 })];
    });
    let gone = taken.recording.devices[0].gone[0].0;
    let back = taken.recording.devices[0].back[0].0;
    close((back - gone) as f64, 0.4e9, 0.01);
    assert!(taken.rows(0, gone + 1_000_000, back).is_empty());
    assert!(!taken.rows(0, back, i64::MAX).is_empty());
}
