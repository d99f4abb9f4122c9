use super::*;
use crate::replay::ReplaySource;
use crate::scratch::Scratch;
use proptest::prelude::*;
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Device, Entry, Event, Node, Protocol, Reader, Report, Task};
use slipgauge_trace::source::{Arrival, Batch, SourceError};
use std::collections::VecDeque;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

/// A pointer with report ID 1 (two bytes of buttons and padding, then X and Y of 8 bits) beside a keyboard with ID 2.
const POINTER_AND_KEYS: [u8; 72] = [
    0x05, 0x01, 0x09, 0x02, 0xA1, 0x01, 0x85, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, 0x05, 0x25, 0x01, 0x75,
    0x01, 0x95, 0x05, 0x81, 0x02, 0x75, 0x03, 0x95, 0x01, 0x81, 0x03, 0x05, 0x01, 0x09, 0x30, 0x09, 0x31,
    0x15, 0x81, 0x25, 0x7F, 0x75, 0x08, 0x95, 0x02, 0x81, 0x06, 0xC0, 0x05, 0x01, 0x09, 0x06, 0xA1, 0x01,
    0x85, 0x02, 0x05, 0x07, 0x19, 0x00, 0x2A, 0xFF, 0x00, 0x15, 0x00, 0x26, 0xFF, 0x00, 0x75, 0x08, 0x95,
    0x06, 0x81, 0x00, 0xC0,
];

#[derive(Clone)]
enum Step {
    /// A wake-up at this stamp (simulated) or now (live).
    Batch(i64, Vec<Vec<u8>>),
    /// The same, with the kernel's own stamps of some by place.
    Stamped(i64, Vec<Vec<u8>>, Vec<(usize, i64)>),
    Silence(Duration),
    Gone,
    Fail,
    Panic,
}

/// A device that does what a test wrote down.
struct Scripted {
    node: Node,
    clock: ClockId,
    script: VecDeque<Step>,
}

impl ReportSource for Scripted {
    fn node(&self) -> &Node {
        &self.node
    }

    fn clock(&self) -> ClockId {
        self.clock
    }

    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError> {
        match self.script.pop_front() {
            None => Ok(Arrival::Finished),
            Some(Step::Batch(t, reports)) => {
                batch.received = if self.clock == ClockId::Monotonic { clock::now() } else { Nanos(t) };
                reports.iter().for_each(|report| batch.push(report));
                Ok(Arrival::Reports)
            }
            Some(Step::Stamped(t, reports, stamps)) => {
                let origin = if self.clock == ClockId::Monotonic { clock::now() } else { Nanos(t) };
                batch.received = origin;
                reports.iter().for_each(|report| batch.push(report));
                stamps.iter().for_each(|&(place, k)| batch.stamp(place, Nanos(origin.0 - t + k)));
                Ok(Arrival::Reports)
            }
            Some(Step::Silence(length)) => {
                // As a device would: no longer than 0.1 s at a time.
                let now = length.min(Duration::from_millis(100));
                if length > now {
                    self.script.push_front(Step::Silence(length - now));
                }
                thread::sleep(now);
                Ok(Arrival::Nothing)
            }
            Some(Step::Gone) => Ok(Arrival::Gone),
            Some(Step::Fail) => Err(SourceError { what: "the bench source failed as told".to_owned() }),
            Some(Step::Panic) => panic!("the bench source panics as told"),
        }
    }
}

fn boot_track(node: usize, clock: ClockId, script: Vec<Step>) -> Track {
    let described = Node { protocol: Some(Protocol::Boot), ..Node::default() };
    let source = Box::new(Scripted { node: described, clock, script: script.into() });
    Track { device: 0, node, layout: Layout::boot().unwrap(), source }
}

fn keys_track(script: Vec<Step>) -> Track {
    let described = Node { descriptor: session::hex(&POINTER_AND_KEYS), ..Node::default() };
    let source = Box::new(Scripted { node: described, clock: ClockId::Simulated, script: script.into() });
    Track { device: 0, node: 0, layout: Layout::from_descriptor(&POINTER_AND_KEYS).unwrap(), source }
}

fn recorder(path: &Path, tracks: Vec<Track>, timetable: Timetable) -> Recorder {
    let nodes = tracks.iter().map(|track| track.source.node().clone()).collect();
    let header = Header { devices: vec![Device { nodes, ..Device::default() }], ..Header::default() };
    Recorder {
        header,
        tracks,
        timetable,
        path: path.to_owned(),
        resumed: None,
        attended: None,
        stop: Arc::default(),
        progress: Arc::default(),
    }
}

/// Records to the end and reads the file back.
fn record(tracks: Vec<Track>, timetable: Timetable) -> (Summary, Vec<Entry>) {
    let scratch = Scratch::new();
    let path = scratch.path().join("session");
    let summary = recorder(&path, tracks, timetable).run().unwrap();
    Recording::open(&path).expect("the trace crate reads what was recorded");
    (summary, entries(&path))
}

fn entries(path: &Path) -> Vec<Entry> {
    let (_, mut reader) = Reader::new(session::open(path).unwrap()).unwrap();
    std::iter::from_fn(|| reader.next_entry().unwrap()).collect()
}

/// Time, node, place and second byte of each report.
fn reports(entries: &[Entry]) -> Vec<(i64, usize, u32, u8)> {
    let reports = entries.iter().filter_map(|entry| match &entry.event {
        Event::Report(report) => Some((entry.t.0, report)),
        _ => None,
    });
    reports.map(|(t, report)| (t, report.node, report.place, report.bytes[1])).collect()
}

/// A wake-up with boot reports of these X.
fn batch(t: i64, xs: &[u8]) -> Step {
    Step::Batch(t, xs.iter().map(|&x| vec![0, x, 0]).collect())
}

fn phase(t: i64, task: Task) -> (Nanos, Option<Phase>) {
    (Nanos(t), Some(Phase { step: 1, task, pace: None, swipes: None, other: Default::default() }))
}

#[test]
fn keeps_every_report_with_time_and_place() {
    let script = vec![batch(10, &[1, 2, 3]), batch(20, &[4]), batch(30, &[5, 6])];
    let (summary, entries) = record(vec![boot_track(0, ClockId::Simulated, script)], Timetable::default());
    let expected = [(10, 0, 0, 1), (10, 0, 1, 2), (10, 0, 2, 3), (20, 0, 0, 4), (30, 0, 0, 5), (30, 0, 1, 6)];
    assert_eq!(reports(&entries), expected);
    assert_eq!((summary.reports, summary.ended), (6, Ended::SourceFinished));
    assert_eq!(entries.last().map(|entry| (entry.t.0, &entry.event)), Some((30, &Event::End)));
}

#[test]
fn phases_stand_before_the_reports_that_they_cover() {
    let script = vec![batch(10, &[1]), batch(20, &[2]), batch(35, &[3])];
    let phases =
        vec![phase(0, Task::Still), phase(20, Task::Swipes), (Nanos(30), None), phase(90, Task::Still)];
    let (_, entries) =
        record(vec![boot_track(0, ClockId::Simulated, script)], Timetable { phases, length: None });
    let lines = entries.iter().map(|entry| match &entry.event {
        Event::Report(_) => (entry.t.0, "report"),
        Event::Phase(Some(_)) => (entry.t.0, "phase"),
        Event::Phase(None) => (entry.t.0, "between"),
        _ => (entry.t.0, "end"),
    });
    let expected =
        [(0, "phase"), (10, "report"), (20, "phase"), (20, "report"), (30, "between"), (35, "report")];
    assert_eq!(lines.collect::<Vec<_>>(), [&expected[..], &[(35, "end")]].concat());
}

#[test]
fn ends_at_its_length_and_keeps_nothing_later() {
    let script = (0..1000).map(|n| batch(n * 10, &[1])).collect();
    let timetable = Timetable { phases: vec![phase(0, Task::Still)], length: Some(Nanos(500)) };
    let (summary, entries) = record(vec![boot_track(0, ClockId::Simulated, script)], timetable);
    assert_eq!((summary.ended, summary.reports, summary.length), (Ended::Timetable, 50, Nanos(500)));
    assert_eq!(entries.last().map(|entry| (entry.t.0, &entry.event)), Some((500, &Event::End)));
}

#[test]
fn only_admitted_reports_reach_the_file() {
    let typed = vec![2, 0xA5, 0xB6, 0xC7, 0xD8, 0xE9, 0xFA];
    let ms = 1_000_000;
    let script = (0..2500)
        .step_by(250)
        .map(|t| Step::Batch(t * ms, vec![typed.clone(), vec![1, 0, 5, 6], typed.clone(), vec![1, 0, 7, 8]]));
    let scratch = Scratch::new();
    let path = scratch.path().join("session");
    let summary = recorder(&path, vec![keys_track(script.collect())], Timetable::default()).run().unwrap();
    assert_eq!((summary.reports, summary.other), (20, 20));
    let text = fs::read_to_string(&path).unwrap();
    assert!(!text.lines().skip(1).any(|line| line.contains("a5b6") || line.contains("\"r\":\"02")));
    let entries = entries(&path);
    let places: Vec<u32> = reports(&entries).iter().map(|report| report.2).collect();
    assert_eq!(places[..4], [1, 3, 1, 3], "a place counts all reports of the wake-up");
    let others = entries.iter().filter_map(|entry| match entry.event {
        Event::Other(n) => Some((entry.t.0 / ms, n)),
        _ => None,
    });
    assert_eq!(
        others.collect::<Vec<_>>(),
        [(1000, 8), (2000, 8), (2250, 4)],
        "told at whole seconds, and at the end"
    );
}

#[test]
fn counts_other_reports_of_the_last_second_of_a_timetable() {
    let script = (0..300).map(|n| Step::Batch(n * 10_000_000, vec![vec![2, 0, 0, 0, 0, 0, 0]])).collect();
    let timetable = Timetable { phases: Vec::new(), length: Some(Nanos(2_000_000_000)) };
    let (summary, _) = record(vec![keys_track(script)], timetable);
    assert!(summary.other >= 200, "{}", summary.other);
}

#[test]
fn says_overrun_when_a_batch_is_as_long_as_the_ring() {
    let script = vec![batch(10, &[1; 62]), batch(20, &[1; 63]), batch(30, &[1])];
    let (summary, entries) = record(vec![boot_track(0, ClockId::Simulated, script)], Timetable::default());
    let overruns: Vec<_> =
        entries.iter().filter(|e| matches!(e.event, Event::Overrun(_))).map(|e| e.t.0).collect();
    assert_eq!((summary.overruns, overruns), (1, vec![20]));
}

#[test]
fn merges_two_nodes_in_order_of_time() {
    let first = (0..2000).map(|n| batch(n * 20, &[1])).collect();
    let second = (0..1000).map(|n| batch(n * 40 + 7, &[2, 3])).collect();
    let tracks = vec![boot_track(0, ClockId::Simulated, first), boot_track(1, ClockId::Simulated, second)];
    let (summary, entries) = record(tracks, Timetable::default());
    let got = reports(&entries);
    assert_eq!((summary.reports, got.len()), (4000, 4000));
    assert!(got.is_sorted_by_key(|report| report.0));
    assert_eq!(got[..5], [(0, 0, 0, 1), (7, 1, 0, 2), (7, 1, 1, 3), (20, 0, 0, 1), (40, 0, 0, 1)]);
}

#[test]
fn says_gone_after_what_was_queued_and_keeps_the_file() {
    let script = vec![batch(0, &[1]), batch(0, &[2, 3]), Step::Gone];
    let (summary, entries) = record(vec![boot_track(0, ClockId::Monotonic, script)], Timetable::default());
    let kinds: Vec<_> =
        entries.iter().filter(|e| !matches!(e.event, Event::Stall(_))).map(|e| &e.event).collect();
    assert!(matches!(
        kinds[..],
        [Event::Report(_), Event::Report(_), Event::Report(_), Event::Gone, Event::End]
    ));
    assert_eq!((summary.ended, summary.gone), (Ended::Gone, vec![0]));
    assert!(summary.realtime.is_some());
}

#[test]
fn a_device_is_gone_when_its_last_node_is() {
    let alone = |n: i64| vec![batch(n, &[1]), Step::Gone];
    let both = vec![boot_track(0, ClockId::Simulated, alone(1)), boot_track(1, ClockId::Simulated, alone(2))];
    let (summary, entries) = record(both, Timetable::default());
    assert_eq!((entries.iter().filter(|e| e.event == Event::Gone).count(), summary.gone), (1, vec![0]));
    let one = vec![
        boot_track(0, ClockId::Simulated, alone(1)),
        boot_track(1, ClockId::Simulated, vec![batch(2, &[1])]),
    ];
    let (summary, _) = record(one, Timetable::default());
    assert_eq!(summary.ended, Ended::Gone);
}

#[test]
fn a_source_that_fails_ends_the_recording_and_keeps_the_file() {
    let script = vec![batch(10, &[1]), Step::Fail];
    let (summary, entries) = record(vec![boot_track(0, ClockId::Simulated, script)], Timetable::default());
    assert_eq!(summary.ended, Ended::Failed("the bench source failed as told".to_owned()));
    assert_eq!(reports(&entries).len(), 1);
}

#[test]
fn a_reading_thread_that_panics_leaves_a_whole_file_and_no_hang() {
    let scratch = Scratch::new();
    let path = scratch.path().join("session");
    let script = vec![batch(10, &[1]), Step::Panic];
    let recorder = recorder(&path, vec![boot_track(0, ClockId::Simulated, script)], Timetable::default());
    assert!(thread::spawn(|| recorder.run()).join().is_err());
    assert_eq!(reports(&entries(&path)).len(), 1);
}

#[test]
fn refuses_to_overwrite() {
    let scratch = Scratch::new();
    let path = scratch.path().join("session");
    fs::write(&path, "precious").unwrap();
    let result = recorder(&path, vec![boot_track(0, ClockId::Simulated, vec![])], Timetable::default()).run();
    assert!(matches!(result, Err(RecordError::Exists { .. })));
    assert_eq!(fs::read_to_string(&path).unwrap(), "precious");
}

#[test]
fn refuses_nodes_on_different_clocks() {
    let scratch = Scratch::new();
    let tracks = vec![boot_track(0, ClockId::Simulated, vec![]), boot_track(1, ClockId::Monotonic, vec![])];
    let result = recorder(&scratch.path().join("session"), tracks, Timetable::default()).run();
    assert!(matches!(result, Err(RecordError::Clocks)));
    assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 0);
}

#[test]
fn a_silent_device_is_recorded_to_the_end_of_the_timetable() {
    let script = vec![Step::Silence(Duration::from_secs(60))];
    let timetable = Timetable {
        phases: vec![phase(0, Task::Still), phase(100_000_000, Task::Swipes)],
        length: Some(Nanos(200_000_000)),
    };
    let begin = Instant::now();
    let (summary, entries) = record(vec![boot_track(0, ClockId::Monotonic, script)], timetable);
    assert!(begin.elapsed() < Duration::from_secs(2));
    assert_eq!((summary.ended, summary.length), (Ended::Timetable, Nanos(200_000_000)));
    let phases: Vec<_> =
        entries.iter().filter(|e| matches!(e.event, Event::Phase(_))).map(|e| e.t.0).collect();
    assert_eq!(phases, [0, 100_000_000]);
}

#[test]
fn what_came_is_in_the_file_within_a_second_and_stop_ends_cleanly() {
    let scratch = Scratch::new();
    let path = scratch.path().join("session");
    let script = vec![batch(0, &[1]), Step::Silence(Duration::from_secs(60))];
    let recorder = recorder(&path, vec![boot_track(0, ClockId::Monotonic, script)], Timetable::default());
    let (stop, progress) = (Arc::clone(&recorder.stop), Arc::clone(&recorder.progress));
    let recording = thread::spawn(|| recorder.run());
    let begin = Instant::now();
    while !fs::read_to_string(&path).is_ok_and(|text| text.contains("\"r\":\"000100\"")) {
        assert!(begin.elapsed() < Duration::from_secs(1), "not in the file yet");
        thread::sleep(Duration::from_millis(5));
    }
    assert_eq!(progress.reports(), 1);
    assert!(progress.reached() > Nanos(0));
    stop.store(true, Ordering::Relaxed);
    let summary = recording.join().unwrap().unwrap();
    assert_eq!(summary.ended, Ended::Stopped);
    assert!(
        entries(&path).last().is_some_and(|entry| entry.event == Event::End && entry.t == summary.length)
    );
}

#[test]
fn recording_a_replay_gives_the_same_report_lines() {
    let scratch = Scratch::new();
    let (first, second) = (scratch.path().join("first"), scratch.path().join("second"));
    let script = (0..500).map(|n| batch(n * 125_000, &[(n % 100) as u8, 1][..1 + (n % 2) as usize]));
    let stamped = Step::Stamped(70_000_000, vec![vec![0, 9, 9], vec![0, 8, 8]], vec![(1, 69_990_000)]);
    let script: Vec<_> = script.chain([stamped]).collect();
    recorder(&first, vec![boot_track(0, ClockId::Simulated, script)], Timetable::default()).run().unwrap();
    let (header, source) = ReplaySource::open(&first, 0, 0).unwrap();
    let track = Track { device: 0, node: 0, layout: Layout::boot().unwrap(), source: Box::new(source) };
    let again = Recorder { header, ..recorder(&second, vec![track], Timetable::default()) };
    again.run().unwrap();
    assert_eq!(fs::read_to_string(first).unwrap(), fs::read_to_string(second).unwrap());
}

/// Stamp of each report and whether it has one, in the file's order.
fn stamps(entries: &[Entry]) -> Vec<Option<i64>> {
    let reports = entries.iter().filter_map(|entry| match &entry.event {
        Event::Report(report) => Some(report.kernel.map(|k| entry.t.0 - k.0)),
        _ => None,
    });
    reports.collect()
}

#[test]
fn the_kernels_stamps_stay_with_their_reports() {
    let key = || vec![2, 0, 0, 0, 0, 0, 0];
    let (a, b, c) = (vec![1, 0, 5, 6], vec![1, 0, 7, 8], vec![1, 0, 0, 0]);
    let script = vec![
        Step::Stamped(5000, vec![key(), a, key(), b, c], vec![(1, 4700), (3, 4900)]),
        Step::Batch(6000, vec![vec![1, 0, 5, 6]]),
    ];
    let (_, entries) = record(vec![keys_track(script)], Timetable::default());
    assert_eq!(stamps(&entries), [Some(300), Some(100), None, None]);
}

#[test]
fn a_stamp_is_on_the_sessions_clock_and_left_out_if_it_is_older() {
    let second = 1_000_000_000;
    let report = || vec![vec![0, 1, 0]];
    let script = vec![
        Step::Stamped(0, report(), vec![(0, -100 * second)]),
        Step::Silence(Duration::from_millis(2)),
        Step::Stamped(0, report(), vec![(0, -1000)]),
    ];
    let (_, entries) = record(vec![boot_track(0, ClockId::Monotonic, script)], Timetable::default());
    assert_eq!(stamps(&entries), [None, Some(1000)]);
}

#[test]
fn a_reader_without_buffers_waits_and_says_for_how_long() {
    let (sender, receiver) = sync_channel(16);
    let (back, pool) = reading::pool_of(0);
    let flag = AtomicBool::new(false);
    let told = reading::Told { stop: &flag, halt: &flag };
    let track = boot_track(0, ClockId::Monotonic, vec![batch(0, &[1])]);
    let reader = reading::Reader::new(0, track, Time::Live(clock::now()), told, sender, pool);
    let held = Duration::from_millis(30);
    thread::scope(|scope| {
        scope.spawn(|| reader.run());
        thread::sleep(held);
        back.send(Box::default()).unwrap();
    });
    let messages: Vec<_> = receiver.iter().collect();
    let [
        reading::Message::Stall { length, .. },
        reading::Message::Batch(0, batch),
        reading::Message::Closed(..),
    ] = &messages[..]
    else {
        panic!("a stall, the batch, the end")
    };
    assert!(length.0 > 10_000_000, "{length:?}");
    assert_eq!(batch.reports.len(), 1);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn loses_and_invents_nothing(script in prop::collection::vec((0i64..3, prop::collection::vec((1u8..4, 0usize..5), 1..5)), 0..60)) {
        let mut t = 0;
        let steps: Vec<_> = script.iter().map(|(gap, batch)| {
            t += gap * 400_000_000;
            let report = |&(id, length): &(u8, usize)| [&[id][..], &[0xEE; 4][..length]].concat();
            Step::Batch(t, batch.iter().map(report).collect())
        }).collect();
        let sent: Vec<u8> = script.iter().flat_map(|(_, batch)| batch.iter().map(|(id, _)| *id)).collect();
        let motion = sent.iter().filter(|&&id| id == 1).count() as u64;
        let (summary, entries) = record(vec![keys_track(steps)], Timetable::default());
        let kept = entries.iter().filter(|e| matches!(&e.event, Event::Report(Report { bytes, .. }) if bytes[0] == 1));
        prop_assert_eq!(kept.count() as u64, motion);
        prop_assert_eq!((summary.reports, summary.other), (motion, sent.len() as u64 - motion));
    }
}
