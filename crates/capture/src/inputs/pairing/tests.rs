use super::*;
use proptest::prelude::*;

const US: i64 = 1_000;
const MS: i64 = 1_000_000;

/// A kernel and a reader, played by hand: what lies in both queues.
struct Bench {
    pairing: Pairing,
    ring: Vec<Moving>,
    /// Frames that the reader finds; those behind are made and not handed over yet.
    frames: Vec<Frame>,
    late: Vec<Frame>,
    got: Vec<(usize, i64)>,
}

impl Bench {
    fn new() -> Bench {
        let (ring, frames, late, got) = Default::default();
        Bench { pairing: Pairing::new(Nanos(0)), ring, frames, late, got }
    }

    /// A report comes, and its frame is stamped 2 µs later.
    fn report(&mut self, t: i64, x: i32, y: i32) {
        self.without_frame(x, y);
        if (x, y) != (0, 0) {
            self.frames.push(frame(t, x, y));
        }
    }

    fn without_frame(&mut self, x: i32, y: i32) {
        self.ring.push(Moving { place: self.ring.len(), x, y });
    }

    /// The reader wakes up, reads all of both, and is done at `now`. The stamps of this batch.
    fn read(&mut self, now: i64) -> Vec<(usize, i64)> {
        self.frames.drain(..).for_each(|frame| self.pairing.frame(frame));
        let moving: Vec<_> = self.ring.drain(..).filter(|m| (m.x, m.y) != (0, 0)).collect();
        let before = self.got.len();
        let (empty, now) = (Some(Nanos(now - US)), Nanos(now));
        self.pairing.batch(&moving, empty, now, |place, k| self.got.push((place, k.0)));
        self.frames.append(&mut self.late);
        self.got[before..].to_vec()
    }
}

fn frame(t: i64, x: i32, y: i32) -> Frame {
    Frame { k: Nanos((t + 2 * US) / US * US), x: x.into(), y: y.into() }
}

/// A bench in step: it has rested, and a report was paired.
fn in_step() -> (Bench, i64) {
    let mut bench = Bench::new();
    bench.report(100 * MS, 5, 0);
    assert_eq!(bench.read(100 * MS + 50 * US), [(0, 100 * MS + 2 * US)]);
    (bench, 100 * MS)
}

#[test]
fn after_a_rest_reports_and_frames_go_in_step() {
    let (mut bench, mut t) = in_step();
    for _ in 0..5 {
        t += MS;
        bench.report(t, 5, -3);
        assert_eq!(bench.read(t + 40 * US), [(0, t + 2 * US)]);
    }
    // A batch, with a report in it that moves nothing.
    for (offset, x) in [(1, 4), (2, 0), (3, 4)] {
        bench.report(t + offset * MS, x, 0);
    }
    assert_eq!(bench.read(t + 5 * MS), [(0, t + MS + 2 * US), (2, t + 3 * MS + 2 * US)]);
}

#[test]
fn motion_that_was_on_when_the_node_was_opened_is_not_stamped() {
    let mut bench = Bench::new();
    for t in (1..100).map(|n| n * MS) {
        bench.report(t, 5, 0);
        assert_eq!(bench.read(t + 40 * US), []);
    }
    bench.report(120 * MS, 5, 0);
    assert_eq!(bench.read(120 * MS + 40 * US), [(0, 120 * MS + 2 * US)], "20 ms of rest");
}

#[test]
fn a_report_ahead_of_its_frame_has_none_and_the_next_has_its_own() {
    let (mut bench, t) = in_step();
    bench.without_frame(5, 0);
    bench.late.push(frame(t + MS, 5, 0));
    assert_eq!(bench.read(t + MS + 2 * US), []);
    bench.report(t + 2 * MS, 5, 0);
    assert_eq!(bench.read(t + 2 * MS + 40 * US), [(0, t + 2 * MS + 2 * US)]);
}

#[test]
fn a_frame_whose_report_is_still_to_be_read_is_kept_for_it() {
    let (mut bench, t) = in_step();
    bench.report(t + MS, 5, 0);
    // Came after the queue was seen empty, and before the frames were read.
    bench.frames.push(frame(t + MS + 40 * US, 5, 0));
    assert_eq!(bench.read(t + MS + 41 * US), [(0, t + MS + 2 * US)]);
    bench.without_frame(5, 0);
    assert_eq!(bench.read(t + MS + 60 * US), [(0, t + MS + 42 * US)]);
}

#[test]
fn another_value_ends_it_until_a_rest() {
    let (mut bench, t) = in_step();
    bench.without_frame(6, 0);
    bench.frames.push(frame(t + MS, 5, 0));
    assert_eq!(bench.read(t + MS + 40 * US), []);
    bench.report(t + 2 * MS, 5, 0);
    assert_eq!(bench.read(t + 2 * MS + 40 * US), []);
    bench.report(t + 30 * MS, 5, 0);
    assert_eq!(bench.read(t + 30 * MS + 40 * US).len(), 1);
}

#[test]
fn a_frame_that_is_missing_never_shifts_the_others() {
    let (mut bench, mut t) = in_step();
    // Somebody else held the node for three reports; all reports are alike.
    for _ in 0..3 {
        t += MS;
        bench.without_frame(5, 0);
        assert_eq!(bench.read(t + 40 * US), []);
    }
    for _ in 0..10 {
        t += MS;
        bench.report(t, 5, 0);
        assert_eq!(bench.read(t + 40 * US), []);
    }
}

#[test]
fn dropped_frames_end_it_until_a_rest() {
    let (mut bench, t) = in_step();
    bench.pairing.lost();
    bench.report(t + MS, 5, 0);
    assert_eq!(bench.read(t + MS + 40 * US), []);
    bench.report(t + 30 * MS, 5, 0);
    assert_eq!(bench.read(t + 30 * MS + 40 * US).len(), 1);
}

#[test]
fn a_rest_of_the_reader_is_no_rest_of_the_device() {
    let (mut bench, t) = in_step();
    bench.pairing.lost();
    bench.report(t + MS, 5, 0);
    assert_eq!(bench.read(t + MS + 40 * US), []);
    // The reader is held up for 30 ms; the first frames were somebody else's.
    (0..20).for_each(|_| bench.without_frame(5, 0));
    (20..30).for_each(|n| bench.report(t + n * MS, 5, 0));
    assert_eq!(bench.read(t + 31 * MS), []);
}

#[test]
fn memory_is_bounded() {
    let mut pairing = Pairing::new(Nanos(0));
    (0..100_000).for_each(|n| pairing.frame(frame(n * MS, 1, 0)));
    assert!(pairing.frames.len() <= MOST && pairing.frames.capacity() <= 2 * MOST);
}

/// What may happen to one report.
#[derive(Debug, Clone, Copy)]
enum Fate {
    Sound,
    /// Its frame comes to the next wake-up.
    Late,
    /// Its frame goes to somebody who holds the node, and nobody says so.
    Taken,
    /// The input layer's queue ran full, and says so with the next frame.
    Dropped,
    /// The reader sleeps over it.
    Unread,
}

fn fates() -> impl Strategy<Value = (Fate, i64, i32)> {
    let fate = prop_oneof![
        60 => Just(Fate::Sound), 3 => Just(Fate::Late), 3 => Just(Fate::Taken), 2 => Just(Fate::Dropped), 8 => Just(Fate::Unread)
    ];
    // Gaps of a report interval mostly, sometimes rests; few values, so that values tell little.
    let gap = prop_oneof![20 => Just(MS), 4 => Just(MS / 8), 2 => 15 * MS..40 * MS];
    (fate, gap, 0i32..3)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn a_stamp_is_never_another_reports(script in prop::collection::vec(fates(), 1..200)) {
        let mut bench = Bench::new();
        let (mut t, mut dropped) = (50 * MS, false);
        // True stamp of each report in the ring, by place.
        let mut truth: Vec<i64> = Vec::new();
        for (fate, gap, x) in script {
            t += gap;
            let own = frame(t, x, 0);
            bench.without_frame(x, 0);
            truth.push(own.k.0);
            if x != 0 {
                match fate {
                    Fate::Late => bench.late.push(own),
                    Fate::Taken => {}
                    Fate::Dropped => dropped = true,
                    Fate::Sound | Fate::Unread => {
                        if std::mem::take(&mut dropped) {
                            bench.pairing.lost();
                        }
                        let late = std::mem::take(&mut bench.late);
                        bench.frames.extend(late);
                        bench.frames.push(own);
                    }
                }
            }
            if !matches!(fate, Fate::Unread) {
                for (place, k) in bench.read(t + 30 * US) {
                    prop_assert_eq!(truth[place], k);
                }
                truth.clear();
            }
        }
    }

    #[test]
    fn a_sound_device_is_stamped_from_its_first_rest_on(xs in prop::collection::vec((0i32..3, prop::bool::ANY), 1..300)) {
        let mut bench = Bench::new();
        let (mut t, mut due) = (50 * MS, 0);
        for (x, read) in xs {
            t += MS;
            bench.report(t, x, 0);
            due += usize::from(x != 0);
            if read {
                bench.read(t + 30 * US);
            }
        }
        bench.read(t + 40 * US);
        prop_assert_eq!(bench.got.len(), due);
    }
}
