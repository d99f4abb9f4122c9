//! A session as a whole: bytes, streaming, phases, counts.

#![allow(clippy::unwrap_used)]

use slipgauge_sim::{Bench, DeviceModel, Fault, Missing, Pace, Pacing, Script, SimulatedSource, What};
use slipgauge_trace::Recording;
use slipgauge_trace::source::{Arrival, Batch, ReportSource};

fn bytes(bench: Bench) -> Vec<u8> {
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    file
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let bench = |seed| Bench { seed, ..Bench::default() };
    assert!(bytes(bench(3)) == bytes(bench(3)));
    assert!(bytes(bench(3)) != bytes(bench(4)));
}

#[test]
fn summed_counts_of_a_sound_device_are_travel_times_resolution() {
    // Displacement in, counts out: any swipe may differ by the rounding at its two ends and the frame noise.
    for counts_per_inch in [400.0, 1600.0, 12_000.0] {
        let device = DeviceModel { mount_rad: 0.0, ..DeviceModel::default() }.with_steps(&[counts_per_inch]);
        let bench = Bench { device, ..Bench::default() };
        let session = bench.session().unwrap();
        let mut file = Vec::new();
        let truth = session.write_to(&mut file).unwrap();
        let recording = Recording::read(file.as_slice()).unwrap();
        let motion = &recording.devices[0].motion;
        for swipe in &truth.swipes {
            let rows = motion.rows(
                slipgauge_trace::Nanos(swipe.begin_ns),
                slipgauge_trace::Nanos(swipe.end_ns + 20_000_000),
            );
            let counts: i64 = motion.x.as_slice().unwrap()[rows].iter().map(|&x| i64::from(x)).sum();
            let expected = swipe.travel_m / 0.0254 * counts_per_inch;
            let off = counts.unsigned_abs() as f64 - expected;
            assert!(off.abs() < 1.5 + 2e-3 * expected, "{counts_per_inch}: {counts} for {expected}");
        }
    }
}

#[test]
fn phases_and_swipes_stand_in_the_file_as_in_the_truth() {
    let script = Script::default().still(1, 2.0).swipes(1, Pace::Fast, 5, 3.0).swipes(1, Pace::Slow, 2, 0.4);
    let session = Bench { script, ..Bench::default() }.session().unwrap();
    let mut file = Vec::new();
    let truth = session.write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    assert!(recording.ended);
    assert_eq!(recording.phases.len(), 3);
    for (read, known) in recording.phases.iter().zip(&truth.phases) {
        assert_eq!((read.begin.0, read.end.0, read.number), (known.begin_ns, known.end_ns, known.number));
    }
    assert_eq!(truth.swipes.len(), 7);
    assert!(truth.swipes.iter().all(|s| s.end_ns > s.begin_ns));
    assert_eq!(recording.header.other["seed"], 1);
    assert!((truth.travel_m - 0.3).abs() < 0.0015);
}

#[test]
fn a_late_dropout_keeps_the_counts_and_a_lost_one_does_not() {
    let run = |faults: Vec<Fault>| {
        let script = Script::default().swipes(1, Pace::Fast, 1, 2.0);
        let session = Bench { faults, script, ..Bench::default() }.session().unwrap();
        let mut file = Vec::new();
        let truth = session.write_to(&mut file).unwrap();
        let recording = Recording::read(file.as_slice()).unwrap();
        let motion = &recording.devices[0].motion;
        // While the device is fast; slow motion has gaps of its own.
        let fast = |x: &i32| x.abs() > 40;
        let x = motion.x.as_slice().unwrap();
        let span = x.iter().position(fast).unwrap()..x.iter().rposition(fast).unwrap();
        let stamps = &motion.received_ns.as_slice().unwrap()[span];
        let gap = stamps.windows(2).map(|w| w[1] - w[0]).max().unwrap();
        (motion.x.iter().map(|&x| i64::from(x)).sum::<i64>(), motion.len(), gap, truth)
    };
    let drop = |counts| vec![Fault::in_swipe(1, 1, 0.5, What::Dropout { reports: 10, counts })];
    let (sound, reports, gap, truth) = run(Vec::new());
    assert!(truth.labels.is_empty() && gap < 1_200_000, "{gap}");
    let (late, late_reports, late_gap, _) = run(drop(Missing::Kept));
    let (lost, lost_reports, _, truth) = run(drop(Missing::Lost));
    assert_eq!((late, late_reports, lost_reports), (sound, reports - 10, reports - 10));
    assert!((late_gap - 11_000_000).abs() < 100_000);
    // 10 ms at 2 m/s are 20 mm, 1260 counts at 1600 counts per inch.
    let label = &truth.labels[0];
    assert!(((sound - lost) as f64 * 25.4 / 1600.0 - label.size).abs() < 0.1);
    assert!((label.size - 20.0).abs() < 1.0, "{label:?}");
}

#[test]
fn the_source_gives_the_reports_of_the_file() {
    let script = Script::default().swipes(1, Pace::Fast, 3, 2.0);
    let session = Bench { script, ..Bench::default() }.session().unwrap();
    let recording = Recording::read(bytes(session.bench().clone()).as_slice()).unwrap();
    let mut source = SimulatedSource::new(&session, 0, Pacing::Flat).unwrap();
    let (mut batch, mut stamps) = (Batch::default(), Vec::new());
    while source.wait(&mut batch).unwrap() == Arrival::Reports {
        stamps.extend(batch.reports().map(|_| batch.received.0));
        batch.clear();
    }
    assert_eq!(stamps, recording.devices[0].motion.received_ns.to_vec());
}

#[test]
fn a_paced_source_gives_each_report_no_sooner_than_its_time() {
    let script = Script::default().swipes(1, Pace::Fast, 1, 3.0);
    let session = Bench { script, ..Bench::default() }.session().unwrap();
    let mut source = SimulatedSource::new(&session, 0, Pacing::RealTime).unwrap();
    let (mut batch, mut waits, mut reports) = (Batch::default(), 0, 0);
    let started = std::time::Instant::now();
    loop {
        match source.wait(&mut batch).unwrap() {
            Arrival::Reports => {
                assert!(started.elapsed().as_nanos() as i64 >= batch.received.0);
                reports += batch.len();
                batch.clear();
            }
            Arrival::Nothing => waits += 1,
            Arrival::Finished | Arrival::Gone => break,
        }
    }
    // Nothing happens for the first 1.4 s, and a wait lasts 0.1 s.
    assert!(reports > 100 && waits >= 13, "{reports} reports, {waits} waits");
}

#[test]
fn the_simulator_depends_on_nothing_that_judges() {
    // Truth stays independent: of this program's own crates, only the session format is known here.
    let manifest = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
    let own: Vec<&str> = manifest.lines().filter(|line| line.starts_with("slipgauge-")).collect();
    assert_eq!(own, ["slipgauge-trace.workspace = true"]);
}
