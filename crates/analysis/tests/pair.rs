//! Lag and strike lag against a reference device, on simulated pairs whose truth is known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, FamilyVerdict, Outcome, Verdict};
use slipgauge_sim::{Bench, Buttons, DeviceModel, Doing, Pace, Script};
use slipgauge_trace::session::{Digest, Entry, Event, Header, Task, Tolerance};
use slipgauge_trace::{Nanos, Recording};

const MS: i64 = 1_000_000;

fn judged(bench: Bench, change: impl FnOnce(&mut Header)) -> Verdict {
    judged_with(bench, change, |_| {})
}

fn judged_with(
    bench: Bench,
    change: impl FnOnce(&mut Header),
    redo: impl FnOnce(&mut Vec<Entry>),
) -> Verdict {
    let session = bench.session().unwrap();
    let mut header = session.header();
    change(&mut header);
    let mut entries: Vec<Entry> = session.entries().collect();
    redo(&mut entries);
    let recording = Recording::from_entries(header, entries, Digest::default()).unwrap();
    judge(&recording, "pair").verdict
}

/// At most so many milliseconds.
fn within(families: &[&'static str], ms: f64) -> impl FnOnce(&mut Header) {
    let tolerance =
        Tolerance { limits: [None, Some(ms)], unit: "ms".to_owned(), source: "the user".to_owned() };
    let own: Vec<(String, Tolerance)> =
        families.iter().map(|f| ((*f).to_owned(), tolerance.clone())).collect();
    move |header| header.plan.as_mut().unwrap().tolerances.extend(own)
}

/// Delays or drops (`None`) what the device under test reports during a task, by the number of the swipe or strike, from 0, over
/// all phases of the task. A swipe begins with motion after `rest`, a strike with a press after it.
fn redo(entries: &mut Vec<Entry>, task: Task, rest: i64, shift: impl Fn(usize) -> Option<i64>) {
    let (mut inside, mut begun, mut last) = (false, 0, i64::MIN / 2);
    entries.retain_mut(|entry| match &entry.event {
        Event::Phase(phase) => {
            inside = phase.as_ref().is_some_and(|p| p.task == task);
            true
        }
        Event::Report(report) if inside && entry.device == 0 => {
            let tells = task == Task::Swipes || report.bytes[0] & 1 != 0;
            begun += usize::from(tells && entry.t.0 - last > rest);
            if tells {
                last = entry.t.0;
            }
            let Some(by) = begun.checked_sub(1).map_or(Some(0), &shift) else { return false };
            entry.t = Nanos(entry.t.0 + by);
            true
        }
        _ => true,
    });
    entries.sort_by_key(|e| e.t);
}

fn paired(script: Script) -> Bench {
    Bench { seed: 3, script, reference: Some(DeviceModel::default()), ..Bench::default() }
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

fn script() -> Script {
    Script::default().swipes(1, Pace::Slow, 4, 0.4).swipes(1, Pace::Fast, 12, 2.0)
}

fn with(interval_ns: i64, mount_rad: f64) -> DeviceModel {
    DeviceModel { mount_rad, ..DeviceModel::default() }.with_interval_ns(interval_ns)
}

#[test]
fn a_lag_is_told_to_a_tenth_of_a_millisecond_whatever_intervals_and_mounting() {
    for (own, other, mount) in
        [(1_000_000, 1_000_000, 0.0), (125_000, 1_000_000, 3.1), (2_000_000, 500_000, -0.3)]
    {
        for lag_ns in [0, 700_000, 4_000_000, -1_500_000] {
            let mut device = with(own, 0.05);
            let mut reference = with(other, mount);
            (device.lag_ns, reference.lag_ns) = (lag_ns.max(0), (-lag_ns).max(0));
            let bench =
                Bench { seed: 3, device, reference: Some(reference), script: script(), ..Bench::default() };
            let verdict = judged(bench, |_| {});
            let pair = verdict.pair.unwrap();
            let found = pair.lag_ns.unwrap();
            assert!((found.value - lag_ns as f64).abs() < 1e5, "{own} {other} {lag_ns}: {found:?}");
            assert_eq!(pair.swipes, 16);
            let said = family(&verdict, Family::Lag);
            assert_eq!(said.verdict, Outcome::NotExamined, "no tolerance was asked for");
            assert!((said.estimate.unwrap().value - found.value * 1e-6).abs() < 1e-9);
        }
    }
}

#[test]
fn a_plan_that_says_how_late_is_too_late_is_decided() {
    for (lag_ms, wanted) in [(0.5, Outcome::Pass), (6.0, Outcome::Fail)] {
        let bench = Bench { script: script(), ..Bench::default() }.with_fault("lag", Some(lag_ms)).unwrap();
        let verdict = judged(bench, |header| {
            let tolerance =
                Tolerance { limits: [None, Some(2.0)], unit: "ms".to_owned(), source: "the user".to_owned() };
            header.plan.as_mut().unwrap().tolerances.insert("lag".to_owned(), tolerance);
        });
        assert_eq!(
            family(&verdict, Family::Lag).verdict,
            wanted,
            "{}",
            family(&verdict, Family::Lag).because
        );
    }
}

#[test]
fn strikes_are_paired_and_their_lag_and_spread_told() {
    let mut script = script();
    script = script.then(1, Doing::Strikes { count: 60 });
    let (mut device, mut reference) = (with(1_000_000, 0.0), with(2_000_000, 0.0));
    device.firmware.buttons = Buttons { lag_s: 0.009, lag_spread_s: 0.001, ..Buttons::default() };
    reference.firmware.buttons = Buttons { lag_s: 0.001, lag_spread_s: 0.0, ..Buttons::default() };
    let verdict = judged(Bench { device, reference: Some(reference), script, ..Bench::default() }, |_| {});
    let pair = verdict.pair.unwrap();
    let found = pair.strike_lag_ns.unwrap();
    assert_eq!(pair.strikes, 60);
    assert!(found.low.unwrap() < 8e6 && 8e6 < found.high.unwrap(), "{found:?}");
    assert!((found.value - 8e6).abs() < 0.6e6, "{found:?}");
    // 1 ms of its own, 1/√12 and 2/√12 ms of the two polls: 1.19 ms.
    let spread = pair.strike_lag_spread_ns.unwrap();
    assert!((0.9e6..1.5e6).contains(&spread), "{spread}");
    assert!(pair.strike_lag_most_ns.unwrap() > found.value + spread);
}

#[test]
fn without_a_reference_nothing_is_said() {
    let verdict = judged(Bench { script: script(), ..Bench::default() }, |_| {});
    assert_eq!(verdict.pair, None);
    for name in [Family::Lag, Family::StrikeLag] {
        assert_eq!(family(&verdict, name).verdict, Outcome::NotExamined);
        assert_eq!(family(&verdict, name).because, "no reference device");
    }
}

#[test]
fn a_reference_that_lay_still_or_is_missing_from_the_file_gives_no_lag() {
    let mut still = DeviceModel::default();
    still.steps[0].nominal_counts_per_inch = 1.0;
    let bench = Bench { reference: Some(still), script: script(), ..Bench::default() };
    assert_eq!(judged(bench, |_| {}).pair, None);
}

#[test]
fn a_tolerance_that_cannot_be_held_against_anything_keeps_the_session_from_passing() {
    let mut still = DeviceModel::default();
    still.steps[0].nominal_counts_per_inch = 1.0;
    let bench = || Bench { reference: Some(still.clone()), ..paired(Script::screen(1)) };
    assert_eq!(judged(bench(), |_| {}).verdict, Outcome::Pass, "nothing was asked for");
    for name in ["lag", "strike-lag"] {
        assert_eq!(judged(bench(), within(&[name], 10.0)).verdict, Outcome::Inconclusive, "{name}");
    }
}

#[test]
fn a_lag_of_up_to_a_third_of_a_second_is_told() {
    for lag_ms in [-200, 110, 150, 300] {
        let mut bench = paired(script());
        bench.device.lag_ns = MS * lag_ms.max(0);
        bench.reference.as_mut().unwrap().lag_ns = MS * (-lag_ms).max(0);
        let verdict = judged(bench, |_| {});
        let pair = verdict.pair.unwrap();
        assert_eq!(pair.swipes, 16, "{lag_ms} ms");
        assert!((pair.lag_ns.unwrap().value - (MS * lag_ms) as f64).abs() < 1e5, "{lag_ms} ms: {pair:?}");
    }
}

#[test]
fn late_swipes_enter_the_mean() {
    let late = |entries: &mut Vec<Entry>| {
        redo(entries, Task::Swipes, 100 * MS, |i| Some(if i % 4 == 1 { 150 * MS } else { 0 }));
    };
    let verdict = judged_with(paired(script()), within(&["lag"], 10.0), late);
    let said = family(&verdict, Family::Lag);
    let pair = verdict.pair.unwrap();
    assert_eq!(pair.swipes, 16, "{}", said.because);
    assert!((pair.lag_ns.unwrap().value - 37.5e6).abs() < 1e6, "{}", said.because);
    assert_eq!(said.verdict, Outcome::Inconclusive, "{}", said.because);
    assert!(said.because.contains("to +150."), "{}", said.because);
}

/// Ten lags about none, ±1 ms, in an order that no neighbours share: noise by their differences, and not by what each tells of itself.
#[test]
fn a_lag_that_scatters_by_a_millisecond_shows_beside_the_noise_of_the_measurement() {
    let script = Script::default().swipes(1, Pace::Fast, 20, 2.0);
    let told = |late_us: fn(usize) -> i64| {
        let late =
            |entries: &mut Vec<Entry>| redo(entries, Task::Swipes, 100 * MS, |i| Some(1_000 * late_us(i)));
        judged_with(paired(script.clone()), |_| {}, late)
    };
    let same = told(|_| 0).pair.unwrap();
    let verdict = told(|i| [0, 2_000, 1_000, 2_500, 100, 900, 2_900, 1_500, 300, 2_200][7 * i % 10]);
    let (pair, said) = (verdict.pair.unwrap(), family(&verdict, Family::Lag));
    let (spread, noise) = (pair.lag_spread_ns.unwrap(), pair.lag_noise_ns.unwrap());
    assert!((0.9e6..1.2e6).contains(&spread) && noise < 0.1e6, "{}", said.because);
    assert!(same.lag_spread_ns.unwrap() < 0.1e6 && same.lag_noise_ns.unwrap() < 0.1e6, "{same:?}");
    let [least, largest] = pair.lag_range_ns.unwrap();
    assert!((largest - least - 2.9e6).abs() < 0.2e6, "{}", said.because);
    assert!(said.because.contains("half a report interval of either taken off"), "{}", said.because);
}

/// 30 ms of each third swipe, soon after its begin: the rest is later than what the device tells.
#[test]
fn swipes_in_which_the_reference_loses_reports_are_left_out_of_the_lag() {
    let (mut begun, mut from, mut last) = (0, 0, i64::MIN / 2);
    let lose = |entries: &mut Vec<Entry>| {
        entries.retain(|entry| {
            let t = entry.t.0;
            if entry.device != 1 || !matches!(entry.event, Event::Report(_)) {
                return true;
            }
            if t - last > 100 * MS {
                (begun, from) = (begun + 1, t);
            }
            last = t;
            begun % 3 != 0 || !(50 * MS..80 * MS).contains(&(t - from))
        });
    };
    let mut bench = paired(Script::default().swipes(1, Pace::Fast, 15, 2.0));
    bench.device.lag_ns = 4 * MS;
    let verdict = judged_with(bench, |_| {}, lose);
    let said = family(&verdict, Family::Lag);
    let lag = verdict.pair.unwrap().lag_ns.unwrap();
    assert!((lag.value - 4e6).abs() < 1e5, "{}", said.because);
    assert!(lag.high.unwrap() - lag.low.unwrap() < 2e5, "{}", said.because);
    assert!(said.because.contains("left out: 5 in which the two did not count"), "{}", said.because);
}

#[test]
fn lags_that_depend_on_pace_are_told_as_the_plain_mean_and_by_pace() {
    let script = Script::default().swipes(1, Pace::Slow, 8, 0.4).swipes(1, Pace::Fast, 12, 2.0);
    let late = |entries: &mut Vec<Entry>| {
        redo(entries, Task::Swipes, 100 * MS, |i| Some(if i < 8 { 15 * MS } else { 0 }));
    };
    let verdict = judged_with(paired(script), |_| {}, late);
    let said = family(&verdict, Family::Lag);
    let lag = verdict.pair.unwrap().lag_ns.unwrap();
    assert!((lag.value - 6e6).abs() < 0.2e6, "{}", said.because);
    assert!(lag.low.unwrap() < 5e6 && lag.high.unwrap() > 7e6, "{lag:?}");
    assert!(said.because.contains("of slow ones +15.") || said.because.contains("of slow ones +14.9"));
}

#[test]
fn late_and_missing_strikes_are_counted_and_the_largest_is_told() {
    let told = |shift: fn(usize) -> Option<i64>| {
        let script = script().then(1, Doing::Strikes { count: 20 });
        let redo = |entries: &mut Vec<Entry>| redo(entries, Task::Strikes, 150 * MS, shift);
        judged_with(paired(script), within(&["strike-lag"], 10.0), redo)
    };
    for (shift, count, mean_ms, says) in [
        (
            (|i| Some(if i.is_multiple_of(4) { 75 * MS } else { 0 })) as fn(usize) -> Option<i64>,
            20,
            18.75,
            "to +7",
        ),
        (|i| Some(if i < 11 { 120 * MS } else { 0 }), 20, 66.0, "to +12"),
        (|i| Some(if i == 11 { 50 * MS } else { 0 }), 20, 2.5, "to +5"),
        (|i| (![4, 9, 15].contains(&i)).then_some(0), 17, 0.0, "; of 20 strikes, 3 without a partner"),
    ] {
        let verdict = told(shift);
        let said = family(&verdict, Family::StrikeLag);
        let pair = verdict.pair.unwrap();
        assert_eq!(pair.strikes, count, "{}", said.because);
        assert_eq!((pair.strikes_alone, pair.reference_strikes_alone), (Some(0), Some(20 - count)));
        assert_eq!((pair.swipes, pair.swipes_alone), (16, Some(0)));
        assert!((pair.strike_lag_ns.unwrap().value * 1e-6 - mean_ms).abs() < 0.5, "{}", said.because);
        assert!(said.because.contains(says), "{}", said.because);
        assert!(!said.because.contains("95 % at most"), "20 bound no 95 %: {}", said.because);
        assert_eq!(said.verdict == Outcome::Pass, mean_ms == 2.5, "{}", said.because);
    }
}
