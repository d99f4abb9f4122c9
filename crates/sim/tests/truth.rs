//! The truth, the catalogue, and bytes that must not change by accident.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::take;
use slipgauge_sim::{Bench, DeviceModel, Family, Label, Pace, Script, SimError, Truth, catalogue};
use slipgauge_trace::session::hex;

fn bench() -> Bench {
    let script = Script::default()
        .still(1, 12.0)
        .swipes(1, Pace::Slow, 6, 0.4)
        .swipes(1, Pace::Fast, 8, 2.5)
        .strikes(1, 4);
    let device = DeviceModel::default().with_steps(&[1600.0, 3200.0]);
    Bench { seed: 11, device, script, ..Bench::default() }
}

#[test]
fn every_fault_of_the_catalogue_leaves_a_label_of_its_family_in_a_readable_session() {
    // Changes of the bench itself, which label nothing: they are in the truth as parameters.
    let unlabelled = ["coarse-clock", "settling", "yaw", "arc", "placement"];
    for entry in catalogue() {
        // The usual bench has 8-bit reports at a millisecond; an office interval shows the ceiling.
        let mut bench = bench();
        if entry.name == "ceiling-field" {
            bench.device.link.interval_ns = 8_000_000;
        }
        let taken = take(bench.with_fault(entry.name, None).unwrap());
        assert!(taken.recording.ended && taken.recording.devices[0].malformed == 0, "{}", entry.name);
        let labelled = taken.truth.of(entry.family).next().is_some();
        assert_eq!(labelled, !unlabelled.contains(&entry.name), "{}: {:?}", entry.name, taken.truth.labels);
        let foreign = |label: &&Label| label.family != entry.family;
        let allowed: &[Family] = match entry.name {
            // What is repeated goes on past the stop, and what is lost by the ring is a stall's doing.
            "repeat" | "spin-out" => &[Family::CarryOn],
            "carry-on" | "carry-on-fading" => &[Family::SpinOut],
            "overrun" => &[Family::Dropout],
            _ => &[],
        };
        let others: Vec<_> = taken.truth.labels.iter().filter(foreign).collect();
        assert!(others.iter().all(|l| allowed.contains(&l.family)), "{}: {others:?}", entry.name);
    }
}

#[test]
fn a_sound_session_has_no_labels() {
    for seed in 0..5 {
        let truth = Bench { seed, ..bench() }.session().unwrap().truth();
        assert_eq!(truth.labels, []);
        assert!(truth.swipes.iter().all(|swipe| swipe.gain == 1.0));
    }
}

#[test]
fn a_truth_file_is_one_json_object_that_reads_back_and_makes_its_session_again() {
    let bench = bench().with_fault("dropout-lost", Some(9.0)).unwrap().with_fault("creep", None).unwrap();
    let taken = take(bench);
    let mut file = Vec::new();
    taken.truth.write_to(&mut file).unwrap();
    assert_eq!(file.iter().filter(|&&b| b == b'\n').count(), 1);
    let read: Truth = serde_json::from_slice(&file).unwrap();
    assert!(read == taken.truth);
    assert_eq!(take(read.bench).recording.digest, taken.recording.digest);
}

#[test]
fn a_part_left_out_of_a_bench_file_is_a_sound_one() {
    let bench: Bench = serde_json::from_str(r#"{"seed":5,"device":{"sensor":{"noise":0.0}}}"#).unwrap();
    assert_eq!((bench.seed, bench.device.sensor.noise), (5, 0.0));
    assert_eq!(bench.device.link, DeviceModel::default().link);
}

#[test]
fn nonsense_is_refused_with_the_name_of_the_parameter() {
    let mut bench = bench();
    bench.device.sensor.tracking.max_speed_m_s = f64::NAN;
    let refused = bench.session().unwrap_err();
    assert!(refused.to_string().starts_with("sensor.tracking.max_speed_m_s is NaN"), "{refused}");
    assert!(matches!(Bench::default().with_fault("no such", None), Err(SimError::Unknown { .. })));
}

#[test]
fn the_true_travel_scatters_about_the_told_one_by_its_uncertainty() {
    let travel = |seed| {
        let script = Script::default();
        Bench { seed, script, ..Bench::default() }.session().unwrap().truth().travel_m * 1e3
    };
    let travels: Vec<f64> = (0..400).map(travel).collect();
    measure::close(measure::mean(&travels), 300.0, 3e-4);
    measure::close(measure::deviation(&travels), 0.5, 0.12);
}

#[test]
fn frames_that_are_left_out_at_rest_would_have_given_nothing() {
    // A creep of 1e-30 m/s makes no count, and keeps the sensor from resting.
    let mut awake = bench();
    awake.device.sensor.drift.creep_m_s = [1e-30, 0.0];
    assert_eq!(take(awake).recording.digest, take(bench()).recording.digest);
}

#[test]
fn bytes_are_the_same_on_every_machine_and_in_every_version() {
    // SHA-256 of sessions with nearly every part at work, from this program's own first run. If this fails on another
    // machine, some arithmetic is not portable; if it fails here after a change, all seeds now mean other sessions:
    // say so in the commit that changes these.
    let mut busy = bench();
    busy.reference = Some(DeviceModel { mount_rad: -0.03, lag_ns: 300_000, ..DeviceModel::default() });
    for name in
        ["radio-late", "tracking-scattered", "gain-curve", "tremble", "flicker", "bursts", "interval-wander"]
    {
        busy = busy.with_fault(name, None).unwrap();
    }
    busy.hand.path.arm_m = Some(0.5);
    let hash = |bench| hex(&take(bench).recording.digest.sha256)[..16].to_owned();
    assert_eq!([hash(bench()), hash(busy)], ["e0376bdc85a247db", "990598e24e79154f"]);
}
