//! One device's whole path, hand to host, run forwards one poll at a time.
//!
//! Each poll: the sensor takes the frames that are due, firmware gathers them and makes a report, the link carries it,
//! the host stamps it. Memory is bounded by what lies between two polls. Cost: one pose and one frame a sensor frame.

use crate::Bench;
use crate::device::DeviceModel;
use crate::fault::{Missing, Placed, What};
use crate::firmware::FirmwareState;
use crate::hand::{Motion, News};
use crate::host::HostState;
use crate::link::{Fate, LinkState};
use crate::sensor::SensorState;
use crate::truth::{Label, PhaseTruth, SwipeTruth};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::{Entry, Event, Report};
use std::collections::VecDeque;

/// Truth gathered so far.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ledger {
    pub(crate) phases: Vec<PhaseTruth>,
    pub(crate) swipes: Vec<SwipeTruth>,
    pub(crate) labels: Vec<Label>,
}

/// A device at work: an iterator of its entries in order of time. The first device's also gives the phases and the end.
pub(crate) struct Chain {
    model: DeviceModel,
    index: usize,
    motion: Motion,
    sensor: SensorState,
    firmware: FirmwareState,
    link: LinkState,
    host: HostState,
    out: VecDeque<Entry>,
    marks: VecDeque<Entry>,
    faults: VecDeque<(i64, Placed)>,
    end: Option<i64>,
    finished: bool,
    ledger: Ledger,
    missing: Option<Label>,
}

impl Chain {
    pub(crate) fn new(bench: &Bench, travel_m: f64, model: &DeviceModel, index: usize) -> Chain {
        Chain {
            motion: Motion::new(bench, travel_m),
            sensor: SensorState::new(&model.sensor, model.mount_rad, bench.seed, index),
            firmware: FirmwareState::new(&model.firmware, &model.report),
            link: LinkState::new(&model.link, bench.seed, index),
            host: HostState::new(&bench.host, bench.seed, index),
            model: model.clone(),
            index,
            out: VecDeque::new(),
            marks: VecDeque::new(),
            faults: VecDeque::new(),
            end: None,
            finished: false,
            ledger: Ledger::default(),
            missing: None,
        }
    }

    /// One poll of the device.
    fn poll(&mut self) {
        let poll = self.link.next_poll();
        while self.sensor.next_frame() + self.model.lag_ns <= poll {
            let pose = self.motion.pose(self.sensor.next_frame());
            let scale = self.model.counts_per_m(self.motion.segment().step);
            let counts = self.sensor.frame(pose, scale);
            self.firmware.gather(counts);
        }
        self.read_news();
        self.strike_faults(poll);
        self.flush_marks(poll);
        if let Some(end) = self.end
            && poll > end
        {
            self.flush_marks(i64::MAX);
            self.finished = true;
            return;
        }
        let Some(made) = self.firmware.report() else { return };
        match self.link.carry() {
            Fate::Arrives => {
                self.ledger.labels.extend(self.missing.take());
                let (t, place) = self.host.receive(poll);
                self.flush_marks(t);
                let bytes = self.model.report.encode(made.values);
                let report = Report { bytes, node: 0, place, kernel: None };
                self.out.push_back(Entry { t: Nanos(t), device: self.index, event: Event::Report(report) });
            }
            Fate::Misses(counts) => {
                if counts == Missing::Kept {
                    self.firmware.take_back(made.values);
                }
                self.note_missing(poll, counts, made.values.counts);
            }
        }
    }

    /// Adds a missing report to the dropout that is going on.
    fn note_missing(&mut self, poll: i64, fate: Missing, counts: [i32; 2]) {
        let segment = self.motion.segment();
        let scale = self.model.counts_per_m(segment.step);
        let moved = [f64::from(counts[0]) / scale[0], f64::from(counts[1]) / scale[1]];
        let moved_mm = 1e3 * (moved[0] * moved[0] + moved[1] * moved[1]).sqrt();
        let label = self.missing.get_or_insert_with(|| Label {
            family: "dropout".to_owned(),
            kind: if fate == Missing::Kept { "late" } else { "lost" }.to_owned(),
            cause: "link".to_owned(),
            device: self.index,
            step: segment.step,
            phase: segment.phase,
            swipe: (segment.swipe > 0).then_some(segment.swipe),
            begin_ns: poll,
            end_ns: poll,
            size: 0.0,
            unit: "mm".to_owned(),
        });
        label.end_ns = poll;
        // Kept counts are offered again with each report that misses, so the last one holds them all.
        label.size = if fate == Missing::Kept { moved_mm } else { label.size + moved_mm };
    }

    fn read_news(&mut self) {
        while let Some(news) = self.motion.take_news() {
            match news {
                News::Fault(t, placed) if placed.device == self.index => self.faults.push_back((t, placed)),
                News::Fault(..) => {}
                News::End(t) => {
                    self.end = Some(t);
                    self.mark(t, Event::End);
                }
                News::Mark(t, phase) => {
                    if let (None, Some(last)) = (&phase, self.ledger.phases.last_mut()) {
                        last.end_ns = t;
                    }
                    self.mark(t, Event::Phase(phase));
                }
                News::Phase(phase) => self.ledger.phases.push(phase),
                News::Swipe(swipe) => self.ledger.swipes.push(swipe),
            }
        }
    }

    fn mark(&mut self, t: i64, event: Event) {
        if self.index == 0 {
            self.marks.push_back(Entry { t: Nanos(t), device: 0, event });
        }
    }

    fn strike_faults(&mut self, now: i64) {
        while self.faults.front().is_some_and(|(t, _)| *t <= now) {
            let Some((_, placed)) = self.faults.pop_front() else { return };
            match placed.what {
                What::Dropout { reports, counts } => self.link.force(reports, counts),
            }
        }
    }

    fn flush_marks(&mut self, until: i64) {
        while self.marks.front().is_some_and(|mark| mark.t.0 <= until) {
            self.out.extend(self.marks.pop_front());
        }
    }
}

impl Chain {
    /// Time of the next entry.
    pub(crate) fn front(&mut self) -> Option<Nanos> {
        while self.out.is_empty() && !self.finished {
            self.poll();
        }
        self.out.front().map(|entry| entry.t)
    }

    /// Truth gathered so far.
    pub(crate) fn into_ledger(mut self) -> Ledger {
        self.ledger.labels.extend(self.missing.take());
        self.ledger
    }
}

impl Iterator for Chain {
    type Item = Entry;

    fn next(&mut self) -> Option<Entry> {
        self.front()?;
        self.out.pop_front()
    }
}
