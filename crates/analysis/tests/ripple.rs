//! Ripple in speed, on simulated sessions whose frames, reports and gain are known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Ripple, RippleLine, RippleSource, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Pace, Script, Stretch};
use slipgauge_trace::Recording;
use slipgauge_trace::session::Digest;

fn judged(bench: Bench) -> Verdict {
    let session = bench.session().unwrap();
    let digest = Digest::default();
    let recording = Recording::from_entries(session.header(), session.entries(), digest).unwrap();
    judge(&recording, "ripple").verdict
}

fn ripple(bench: Bench) -> Ripple {
    judged(bench).steps.remove(0).ripple
}

/// Slow and medium swipes of a device with this report interval.
fn bench(seed: u64, swipes: u32, interval_ns: i64) -> Bench {
    let script = Script::default().swipes(1, Pace::Slow, swipes, 0.4).swipes(1, Pace::Medium, swipes, 1.2);
    Bench { seed, script, device: DeviceModel::default().with_interval_ns(interval_ns), ..Bench::default() }
}

/// Four frames to each report, in step with it: no beat.
fn in_step(mut bench: Bench) -> Bench {
    bench.device.sensor.frame_ns = bench.device.link.interval_ns / 4;
    bench
}

fn lines(ripple: &Ripple) -> impl Iterator<Item = &RippleLine> {
    ripple.paces.iter().flat_map(|p| &p.lines)
}

fn holds(q: &slipgauge_analysis::verdict::Quantity, truth: f64) -> bool {
    q.low.unwrap() <= truth && truth <= q.high.unwrap()
}

/// A sum of four frames a report: what is left of a ripple is sin(4x) / (4 sin x), x half a turn a frame.
fn of_four_frames(hz: f64, interval_s: f64) -> f64 {
    let x = std::f64::consts::PI * hz * interval_s / 4.0;
    (4.0 * x).sin() / (4.0 * x.sin())
}

/// 95 % intervals of 2 × 60 lines: 0.1 % of such trials hold the truth in fewer than 106, if all cover as they say.
#[test]
fn a_ripple_is_told_at_both_paces_and_its_intervals_cover() {
    for (hz, share) in [(137.3, 0.01), (401.0, 0.03)] {
        let (mut frequency, mut amplitude, mut told) = (0, 0, 0);
        for seed in 0..60 {
            let mut bench = in_step(bench(seed, 10, 1_000_000));
            (bench.device.sensor.ripple.hz, bench.device.sensor.ripple.share) = (hz, share);
            let got = ripple(bench);
            assert_eq!(got.paces.len(), 2);
            for pace in &got.paces {
                let near = |l: &&RippleLine| (l.frequency_hz.value - hz).abs() < pace.bin_hz;
                let Some(line) = pace.lines.iter().find(near) else { continue };
                told += 1;
                assert_eq!((line.source, line.p_false < 1e-3), (RippleSource::Unknown, true));
                let percent = line.amplitude_percent.value;
                assert!((line.mm_s_rms / (10.0 * percent * pace.speed_m_s / 2f64.sqrt()) - 1.0).abs() < 1e-9);
                frequency += usize::from(holds(&line.frequency_hz, hz));
                amplitude +=
                    usize::from(holds(&line.amplitude_percent, 100.0 * share * of_four_frames(hz, 1e-3)));
            }
        }
        assert_eq!(told, 120);
        assert!(frequency >= 106 && amplitude >= 106, "{hz} Hz: {frequency} and {amplitude} of 120");
    }
}

/// At 1 in 1000 for each pace, 200 sessions of two paces hold more than three alarms once in 1,000 trials.
#[test]
fn sound_sessions_have_no_ripple_but_the_beat_of_their_frames() {
    let (mut alarms, mut sessions, mut beats) = (0, 0, 0);
    let kinds =
        [(1_000_000, 1600.0), (8_000_000, 800.0), (1_000_000, 400.0), (2_000_000, 3200.0), (500_000, 6400.0)];
    for (interval_ns, per_inch) in kinds {
        for seed in 0..20 {
            for beating in [false, true] {
                let mut bench = bench(seed, 6, interval_ns);
                bench.device.steps[0].nominal_counts_per_inch = per_inch;
                let got = ripple(if beating { bench } else { in_step(bench) });
                let of = |source| lines(&got).filter(|l| l.source == source).count();
                alarms += usize::from(of(RippleSource::Unknown) + of(RippleSource::ReportInterval) > 0);
                beats += usize::from(beating && of(RippleSource::Frames) > 0);
                sessions += 1;
            }
        }
    }
    assert_eq!(sessions, 200);
    assert!(alarms <= 3, "{alarms} of {sessions}");
    assert!(beats >= 60, "the frames' own beat shows at 1 and 2 ms: {beats}");
}

#[test]
fn frames_that_beat_are_told_from_a_ripple_beside_them() {
    let mut bench = bench(3, 10, 1_000_000);
    (bench.device.sensor.ripple.hz, bench.device.sensor.ripple.share) = (120.0, 0.04);
    let got = ripple(bench);
    for pace in &got.paces {
        let at =
            |hz: f64| pace.lines.iter().find(|l| (l.frequency_hz.value - hz).abs() < pace.bin_hz).unwrap();
        // 6,480 frames a second: 6.48 a report, folded to 480 Hz; 2 sin(0.48 π) / (6.48 π) = 9.8 %.
        let beat = at(479.9);
        assert_eq!(beat.source, RippleSource::Frames);
        assert!((beat.amplitude_percent.value - 9.8).abs() < 0.3 && holds(&beat.frames_hz.unwrap(), 6480.0));
        assert_eq!(at(120.0).source, RippleSource::Unknown, "{:?}", pace.lines);
    }
    assert!(got.because.contains("120.0 Hz, of unknown source"), "{}", got.because);
}

#[test]
fn reports_at_uneven_intervals_are_named_as_such() {
    let mut bench = in_step(bench(3, 10, 1_000_000));
    bench.device.link.stretch = Some(Stretch { every: 8, by_ns: 250_000 });
    let got = ripple(bench);
    let named = lines(&got).filter(|l| l.source == RippleSource::ReportInterval).count();
    assert!(named >= 1, "{}", got.because);
}

#[test]
fn too_few_swipes_are_not_looked_at_and_that_is_said() {
    let got = ripple(bench(1, 2, 1_000_000));
    assert!(got.paces.is_empty() && got.because.starts_with("fewer than three clean"), "{}", got.because);
}
