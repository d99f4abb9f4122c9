//! One device's whole path, hand to host, run forwards one poll at a time.
//!
//! Each poll: the sensor takes the frames that are due, firmware gathers them and makes a report, the link carries it,
//! the host stamps it. Memory is bounded by what lies between two polls. Cost: one pose and one frame a sensor frame
//! while anything moves, next to nothing while all rests.

use crate::Bench;
use crate::device::DeviceModel;
use crate::fault::{Fault, Missing, What};
use crate::firmware::{ButtonState, FirmwareState};
use crate::hand::{Motion, News};
use crate::host::{HostState, Received};
use crate::ledger::Ledger;
use crate::link::{Fate, LinkState};
use crate::noise::{Noise, Stream};
use crate::report::Values;
use crate::sensor::{Mounting, SensorState};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::{Axis, Entry, Event, Report};
use std::collections::VecDeque;
use std::f64::consts::FRAC_PI_2;

/// A device at work: an iterator of its entries in order of time. The first device's also gives what belongs to none:
/// phases and stalls.
pub(crate) struct Chain {
    model: DeviceModel,
    index: usize,
    motion: Motion,
    /// Angle of the sensor in each phase.
    angles: Vec<f64>,
    sensor: SensorState,
    firmware: FirmwareState,
    buttons: ButtonState,
    link: LinkState,
    host: HostState,
    /// Entries that are ready, and those whose time has not come, each in order.
    out: VecDeque<Entry>,
    marks: VecDeque<Entry>,
    faults: VecDeque<(i64, Fault)>,
    /// Phase in which the device is at another step than the script says.
    changed_step: Option<(u32, u32)>,
    end: Option<i64>,
    finished: bool,
    /// Time of the last poll.
    polled: i64,
    ledger: Ledger,
}

impl Chain {
    pub(crate) fn new(bench: &Bench, travel_m: f64, model: &DeviceModel, index: usize) -> Chain {
        let noise = |stream| Noise::new(bench.seed, stream, index);
        let angle = |axis: Option<Axis>| {
            let turn = if axis.unwrap_or(bench.axis) == Axis::Y { -FRAC_PI_2 } else { 0.0 };
            model.mount_rad + turn
        };
        let mounting = Mounting { angle_rad: angle(None), lever_m: model.lever_m };
        Chain {
            motion: Motion::new(bench, travel_m),
            sensor: SensorState::new(&model.sensor, mounting, bench.seed, index),
            firmware: FirmwareState::new(&model.firmware, &model.report, noise(Stream::Power)),
            buttons: ButtonState::new(&model.firmware.buttons, noise(Stream::Buttons)),
            link: LinkState::new(&model.link, bench.seed, index),
            host: HostState::new(&bench.host, bench.seed, index),
            angles: bench.script.phases.iter().map(|phase| angle(phase.axis)).collect(),
            model: model.clone(),
            index,
            out: VecDeque::new(),
            marks: VecDeque::new(),
            faults: VecDeque::new(),
            changed_step: None,
            end: None,
            finished: false,
            polled: i64::MIN,
            ledger: Ledger::new(index),
        }
    }

    /// One poll of the device.
    fn poll(&mut self) {
        let poll = self.link.next_poll();
        self.polled = poll;
        self.motion.plan_past(poll);
        self.read_news();
        self.take_frames(poll - self.model.lag_ns);
        self.strike_faults(poll, false);
        self.note_stalls(poll);
        if let Some(end) = self.end
            && poll > end
        {
            self.flush_marks(i64::MAX);
            self.close(end);
            return;
        }
        self.flush_marks(self.host.shown(poll));
        self.firmware.press(self.buttons.at(poll));
        let Some(made) = self.firmware.report() else { return };
        let scale = self.model.counts_per_m(self.step());
        if made.excess != [0, 0] {
            let by_field = self.firmware.limited_by_field(&self.model.report);
            let carried = self.model.firmware.excess == crate::Excess::Carried;
            self.ledger.excess(poll, made.excess, scale, (by_field, carried, self.firmware.limit()));
        }
        match self.link.carry(poll) {
            Fate::Arrives => {
                self.ledger.arrived();
                self.receive(poll, made.values);
            }
            Fate::Misses(counts) => {
                if counts == Missing::Kept {
                    self.firmware.take_back(made.values);
                }
                self.ledger.missed(poll, counts, made.values.counts, scale);
            }
        }
    }

    /// Lets the sensor take the frames that are due at `until`.
    fn take_frames(&mut self, until: i64) {
        while self.sensor.next_frame() <= until {
            let t = self.sensor.next_frame();
            if self.sensor.idle()
                && self.firmware.idle()
                && self.faults.is_empty()
                && let Some(rest_end) = self.motion.rests_until(t)
            {
                self.sensor.skip_to(rest_end.min(until + 1));
                continue;
            }
            let pose = self.motion.pose(t);
            self.strike_faults(t, true);
            let segment = self.motion.segment();
            // Between phases, and in phase 0, the device lies as it did.
            let phase = (segment.phase as usize).checked_sub(1);
            if let Some(&angle) = phase.and_then(|phase| self.angles.get(phase)) {
                self.sensor.turn_to(angle);
            }
            if self.ledger.enters(segment.step, segment.phase, segment.swipe) {
                let taken = (
                    self.sensor.take_gain(),
                    self.sensor.take_straightened(),
                    self.firmware.take_truncated(),
                );
                self.ledger.close_swipe(t, taken, self.model.counts_per_m(self.ledger.step()));
            }
            let swiping = segment.moves() && segment.swipe > 0;
            let scale = self.model.sensor_counts_per_m(self.step());
            let counts = self.sensor.frame(pose, swiping, scale);
            if let Some(wake) = self.firmware.gather(counts, t) {
                self.ledger.woke(wake, self.model.counts_per_m(self.step()));
            }
            if let Some(episode) = self.sensor.take_episode() {
                self.ledger.lost_track(&episode);
            }
            if let Some(burst) = self.sensor.take_burst() {
                self.ledger.burst(burst);
            }
        }
    }

    /// The step that the device is really at.
    fn step(&self) -> u32 {
        let segment = self.motion.segment();
        match self.changed_step {
            Some((phase, step)) if phase == segment.phase => step,
            _ => segment.step,
        }
    }

    fn receive(&mut self, poll: i64, values: Values) {
        match self.host.receive(poll) {
            Received::Stamped { t, place, kernel } => {
                self.flush_marks(t);
                let bytes = self.model.report.encode(values);
                let report = Report { bytes, node: 0, place, kernel: kernel.map(Nanos) };
                self.out.push_back(Entry { t: Nanos(t), device: self.index, event: Event::Report(report) });
            }
            Received::Overrun { t, first } => {
                if first {
                    self.flush_marks(t);
                    self.out.push_back(Entry { t: Nanos(t), device: self.index, event: Event::Overrun(1) });
                }
                let scale = self.model.counts_per_m(self.step());
                self.ledger.overrun(poll, values.counts, scale);
            }
        }
    }

    fn read_news(&mut self) {
        while let Some(news) = self.motion.take_news() {
            match news {
                News::Fault(t, fault) if fault.concerns(self.index) => {
                    let place = self.faults.partition_point(|(other, _)| *other <= t);
                    self.faults.insert(place, (t, fault));
                }
                News::Fault(..) => {}
                News::End(t) => self.end = Some(t),
                News::Mark(t, phase) => {
                    if phase.is_none() {
                        self.ledger.phase_ends(t);
                    }
                    self.mark(t, 0, Event::Phase(phase));
                }
                News::Phase(phase) => self.ledger.phase_begins(phase),
                News::Swipe(swipe) => self.ledger.swipe(swipe),
                News::Label(label) => self.ledger.label(label),
                News::Strike(down, up) => self.buttons.strike(down, up),
            }
        }
    }

    /// Adds an entry that is due at `t`; those of no device come from the first one's chain only.
    fn mark(&mut self, t: i64, device: usize, event: Event) {
        if self.index == 0 || device == self.index {
            let t = Nanos(self.host.shown(t));
            let place = self.marks.partition_point(|mark| mark.t <= t);
            self.marks.insert(place, Entry { t, device, event });
        }
    }

    /// Lets placed faults strike that are due: the sensor's and the step's in its frames, the others at polls.
    fn strike_faults(&mut self, now: i64, frames: bool) {
        while let Some(&(t, fault)) = self.faults.front()
            && t <= now
            && frames == matches!(fault.what, What::Lose { .. } | What::StepChange { .. })
        {
            self.faults.pop_front();
            let length = |seconds: f64| (seconds * 1e9) as i64;
            match fault.what {
                What::Dropout { reports, counts } => self.link.force(reports, counts),
                What::Disconnect { seconds } => {
                    let back = t + length(seconds);
                    self.link.cut_until(back);
                    self.mark(now, self.index, Event::Gone);
                    self.mark(back, self.index, Event::Back(serde_json::json!({ "descriptor": "same" })));
                    self.ledger.disconnected(t, back);
                }
                What::Lose { loss, seconds } => self.sensor.lose(t, loss, length(seconds)),
                What::Stall { seconds } => self.host.stall(t, length(seconds)),
                What::StepChange { to } => {
                    let segment = self.motion.segment();
                    self.changed_step = Some((segment.phase, to));
                    self.ledger.step_changed(t, to, &self.model);
                }
                // The hand has done these.
                What::StopShort { .. }
                | What::StopHalfway { .. }
                | What::Lift { .. }
                | What::Knock { .. } => {}
            }
        }
    }

    fn note_stalls(&mut self, poll: i64) {
        while let Some((begin, end)) = self.host.take_stall(poll) {
            if self.index == 0 {
                if self.host.stalls_are_seen() {
                    self.mark(end, 0, Event::Stall(Nanos(end - begin)));
                }
                self.ledger.stalled(begin, end);
            }
        }
    }

    fn flush_marks(&mut self, until: i64) {
        while self.marks.front().is_some_and(|mark| mark.t.0 <= until) {
            self.out.extend(self.marks.pop_front());
        }
    }

    fn close(&mut self, end: i64) {
        self.finished = true;
        if let Some(episode) = self.sensor.take_unfinished() {
            self.ledger.lost_track(&episode);
        }
        self.ledger.finish(end, &self.model);
    }

    /// When the script ended; known once the chain is at its end.
    pub(crate) fn end(&self) -> Option<Nanos> {
        self.end.map(Nanos)
    }

    /// From now on the hand does what an operator is asked for. Nothing may have been taken yet.
    pub(crate) fn lead(&mut self, operator: crate::Operator) {
        self.motion.lead(operator);
    }

    /// Goes on to `t`: the entries that came of it, in order. Their stamps may lie a little beyond.
    pub(crate) fn run_to(&mut self, t: i64) -> impl Iterator<Item = Entry> {
        while self.polled < t && !self.finished {
            self.poll();
        }
        self.out.drain(..)
    }

    /// True once the session is over.
    pub(crate) fn finished(&self) -> bool {
        self.finished
    }

    /// Time of the next entry.
    pub(crate) fn front(&mut self) -> Option<Nanos> {
        while self.out.is_empty() && !self.finished {
            self.poll();
        }
        self.out.front().map(|entry| entry.t)
    }

    /// Truth gathered so far.
    pub(crate) fn into_ledger(self) -> Ledger {
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
