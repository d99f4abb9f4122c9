use super::*;
use crate::measured::{self, Known, MeasuredError};
use crate::{Size, Travel, size};
use slipgauge_analysis::verdict::{Family, Verdict};
use slipgauge_sim::Bench;
use slipgauge_trace::session::{Pace, Step};
use slipgauge_trace::{CountsPerMetre, Recording};

fn plan(steps: u32) -> TestPlan {
    let step = |id| Step { id, label: None, nominal_counts_per_inch: Some(800.0 * f64::from(id)) };
    let plan =
        TestPlan::of_size(Size::Screen, Travel::ruler(300_000, None), (1..=steps).map(step).collect(), None);
    TestPlan { straight_edge: true, ..plan }
}

/// Without stillness, for tests that count.
fn quick(steps: u32) -> TestPlan {
    TestPlan { still: Nanos(0), ..plan(steps) }
}

fn verdict(plan: &TestPlan, options: &Options, index: u64) -> Verdict {
    run::judged(plan, &run::bench(plan, options, index, None).unwrap()).unwrap()
}

#[test]
fn a_simulated_session_is_the_plan_itself() {
    let plan = TestPlan { still: Nanos(2_000_000_000), ..plan(2) };
    let verdict = verdict(&plan, &Options::default(), 0);
    let asked: Vec<_> = verdict.steps.iter().map(|s| (s.step, s.swipes.asked, s.swipes.found)).collect();
    assert_eq!(asked, [(1, 33, 33), (2, 33, 33)]);
    let nominals: Vec<_> = verdict.steps.iter().filter_map(|s| s.nominal_counts_per_inch).collect();
    assert_eq!(nominals, [800.0, 1600.0]);
    let read: slipgauge_trace::session::Plan = serde_json::from_value(verdict.plan).unwrap();
    assert_eq!(TestPlan::from_session(&read), Some(plan));
}

/// What [`size`] foretells of gain and resolution is what the analysis says of sessions: mean half widths of six sessions
/// each. Of 20 or so degrees of freedom a standard deviation scatters by a sixth, the mean of six by a fifteenth.
#[test]
fn foretold_half_widths_are_those_of_simulated_sessions() {
    let plan = quick(1);
    let mut over = Vec::new();
    for stops in size::STOPS {
        let options = Options { stops, ..Options::default() };
        let (mut gain, mut resolution) = (0.0, 0.0);
        let sessions = 6;
        for index in 0..sessions {
            let verdict = verdict(&plan, &options, index);
            let step = &verdict.steps[0];
            let change = step.families.iter().find(|f| f.family == Family::GainChange).unwrap();
            let change = change.estimate.unwrap();
            gain += 0.5 * (change.high.unwrap() - change.low.unwrap()) / sessions as f64;
            let found = step.resolution_counts_per_inch.unwrap();
            resolution += 0.5 * (found.high.unwrap() - found.low.unwrap()) / found.value / sessions as f64;
        }
        let foretold = size::at_stops(&plan, stops);
        over.push((gain / foretold.gain.unwrap(), resolution / foretold.resolution.unwrap()));
    }
    let near = |ratio: f64| (0.85..=1.15).contains(&ratio);
    assert!(over.iter().all(|(gain, resolution)| near(*gain) && near(*resolution)), "{over:?}");
}

/// Large faults are always found, none is invented, and the same seed gives the same study.
#[test]
fn finds_what_is_plain_and_nothing_in_a_sound_device() {
    let plan = quick(1);
    let asked =
        [Asked::named("tracking-silent", &[0.8]).unwrap(), Asked::named("dropout-late", &[0.6]).unwrap()];
    let options = Options { sessions: 3, ..Options::default() };
    let mut last = (0, 0);
    let got = study(&plan, &asked, &options, |done, total| last = (done, total)).unwrap();
    assert_eq!(last, (9, 9));
    assert_eq!((got.sound.fails.k, got.sound.named.k, got.sound.seen.k), (0, 0, 0));
    for curve in &got.curves {
        let row = &curve.rows[0];
        assert_eq!((row.fails.k, row.named.k, row.seen.k), (3, 3, 3), "{}", curve.fault);
    }
    let again = study(&plan, &asked[..1], &options, |_, _| {}).unwrap();
    assert_eq!(again.curves[0], got.curves[0]);
}

/// Clopper & Pearson: 0 of 20 up to 16.8 %, 5 of 10 from 18.7 to 81.3 % (scipy 1.17 `binomtest`).
#[test]
fn a_chance_has_its_exact_interval() {
    let none = Chance::of(0, 20);
    assert!(none.low == 0.0 && (none.high - 0.168_433).abs() < 1e-6);
    let half = Chance::of(5, 10);
    assert!((half.low - 0.187_086).abs() < 1e-6 && (half.high - 0.812_914).abs() < 1e-6);
    assert_eq!((half.value(), Chance::of(0, 0).value()), (0.5, 0.0));
}

#[test]
fn what_cannot_be_simulated_is_refused_before_the_first_session() {
    let said = |plan: &TestPlan, asked: &[Asked]| {
        study(plan, asked, &Options::default(), |_, _| panic!("a session was run")).unwrap_err().to_string()
    };
    let asked = Asked::named("creep", &[1e9]).unwrap();
    assert!(said(&quick(1), &[asked]).contains("creep of 1000000000 mm/s"));
    let mut idle = quick(1);
    idle.paces.iter_mut().for_each(|paced| paced.swipes = 0);
    assert!(said(&idle, &[]).contains("no swipe"));
    assert!(Asked::named("dust", &[]).unwrap_err().to_string().contains("tracking-silent, dropout-late"));
}

#[test]
fn tolerated_sizes_are_the_default_tolerances() {
    let tolerated = |name: &str| Asked::named(name, &[]).unwrap().kind.tolerated();
    assert_eq!(tolerated("dropout-late"), Some(0.20));
    assert_eq!(tolerated("creep"), Some(0.1));
    assert_eq!(tolerated("gain-step"), Some(0.02));
    assert_eq!(tolerated("tracking-silent"), None);
    // Every fault of the list can be laid into a session.
    for kind in kinds() {
        run::bench(&quick(1), &Options::default(), 0, Some((&kind, kind.sizes[0]))).unwrap();
    }
}

fn recording(bench: Bench) -> Recording {
    let session = bench.session().unwrap();
    let mut header = session.header();
    // A sound device is recorded without any travel: that is what is sought.
    if let Some(plan) = &mut header.plan {
        (plan.travel_um, plan.travel_u_um, plan.straight_edge) = (None, None, Some(true));
    }
    let mut file = Vec::new();
    let mut writer = slipgauge_trace::session::Writer::new(&mut file, &header).unwrap();
    session.entries().for_each(|entry| writer.write(&entry).unwrap());
    writer.flush().unwrap();
    drop(writer);
    Recording::read(file.as_slice()).unwrap()
}

/// The true travel is 301.3 mm, the device's true resolution its nominal, the stops scatter by 0.15 mm.
#[test]
fn a_sound_device_measures_the_travel_to_one_per_cent_or_as_well_as_it_is_known() {
    let mut bench = Bench::default();
    bench.travel.true_m = Some(0.301_3);
    bench.script = slipgauge_sim::Script::default().swipes(1, Pace::Slow, 12, 0.4);
    let recording = recording(bench);
    let told = measured::travel(&recording, "good.swipes.ndjson", None).unwrap();
    assert!((told.um - 301_300).abs() < 300, "{told:?}");
    // 1 % of the nominal: 3.01 mm, and little else.
    assert!((3_000..3_060).contains(&told.uncertainty_um), "{told:?}");
    assert!(told.sentence().contains("recorded in good.swipes.ndjson"));
    let known = Known { resolution: CountsPerMetre::from_per_inch(1600.0), uncertainty: 0.001 };
    let known = measured::travel(&recording, "good", Some(known)).unwrap();
    assert!((300..400).contains(&known.uncertainty_um), "{known:?}");
    // A resolution that is off by a half is no travel of this desk, but a travel all the same; off by a thousand is none.
    let absurd = Known { resolution: CountsPerMetre::from_per_inch(1e6), uncertainty: 0.001 };
    let error = measured::travel(&recording, "good", Some(absurd)).unwrap_err();
    assert!(matches!(error, MeasuredError::Absurd { .. }), "{error}");
}

#[test]
fn a_device_that_fails_or_says_nothing_measures_no_travel() {
    let bench = Bench::default().with_fault("ceiling-field", Some(8.0)).unwrap();
    let error = measured::travel(&recording(bench), "bad", None).unwrap_err().to_string();
    assert!(error.contains("fails in report ceiling") && error.contains("--travel"), "{error}");
    let script = slipgauge_sim::Script::default().swipes(1, Pace::Fast, 6, 2.5);
    let bench = Bench { script, ..Bench::default() };
    let error = measured::travel(&recording(bench), "fast", None).unwrap_err();
    assert!(matches!(error, MeasuredError::Nothing { .. }), "{error}");
}
