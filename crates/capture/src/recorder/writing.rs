//! The writer: merges what the threads tell into the lines of the session file.

use super::attend::Attended;
use super::file::{Resumed, SessionFile};
use super::merge::Merge;
use super::reading::{Closing, Handover, Message};
use super::{Ended, Progress, Summary, Time, Timetable};
use slipgauge_trace::session::{Entry, Event, Phase, Report};
use slipgauge_trace::{Nanos, TraceError};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender};
use std::time::Duration;

/// The writer's rhythm. Live, it sleeps this long and then takes all that has come, so that a reading thread never has
/// to wake it; the display's times are as coarse as this.
const RHYTHM: Duration = Duration::from_millis(10);

/// How long a silent node holds up the others. A reading thread speaks at least every 0.1 s, so a longer silence is the
/// host's doing, and what is written within a second must not wait for it.
const HOLD: Nanos = Nanos(500_000_000);

/// The writer's state.
pub(super) struct Writing<'a> {
    file: SessionFile,
    merge: Merge,
    /// Device and node of each track.
    nodes: Vec<(usize, usize)>,
    /// The way back for each track's buffers.
    returns: Vec<SyncSender<Box<Handover>>>,
    time: Time,
    phases: std::iter::Peekable<std::slice::Iter<'a, (Nanos, Option<Phase>)>>,
    length: Option<Nanos>,
    progress: &'a Progress,
    /// Who is shown each line, and has some written.
    pub(super) attended: Option<Attended>,
    /// Time of the latest report or phase line.
    reached: Nanos,
    /// The timetable came to its end.
    over: bool,
    failed: bool,
    report: Report,
    summary: Summary,
}

impl<'a> Writing<'a> {
    pub(super) fn new(
        file: SessionFile,
        nodes: Vec<(usize, usize)>,
        returns: Vec<SyncSender<Box<Handover>>>,
        time: Time,
        timetable: &'a Timetable,
        progress: &'a Progress,
    ) -> Writing<'a> {
        let begin = if time.now().is_some() { Nanos(0) } else { Nanos(i64::MIN) };
        let summary = Summary {
            ended: Ended::Stopped,
            length: Nanos(0),
            reports: 0,
            other: 0,
            stalls: 0,
            longest_stall: Nanos(0),
            overruns: 0,
            gone: Vec::new(),
            realtime: None,
        };
        Writing {
            file,
            merge: Merge::new(nodes.len(), begin),
            nodes,
            returns,
            time,
            phases: timetable.phases.iter().peekable(),
            length: timetable.length,
            progress,
            attended: None,
            reached: begin,
            over: false,
            failed: false,
            report: EMPTY,
            summary,
        }
    }

    /// Writes until every track has ended; sets `halt` when the timetable is over.
    pub(super) fn run(
        mut self,
        messages: Receiver<Message>,
        halt: &AtomicBool,
    ) -> Result<Summary, TraceError> {
        while !self.merge.all_ended() {
            self.listen(&messages)?;
            let now = self.time.now();
            let overdue = now.map_or(Nanos(i64::MIN), |now| now - HOLD);
            while let Some((track, batch)) = self.merge.next(overdue) {
                self.batch(track, batch)?;
            }
            let horizon = self.merge.horizon(overdue);
            // A simulated device that says nothing may still say how late it is.
            let told = if self.merge.all_ended() { self.reached } else { horizon };
            let seen = now.map_or(told.max(self.reached), |now| horizon.min(now));
            self.phases_to(seen)?;
            self.gone()?;
            self.orders(seen)?;
            let now = now.unwrap_or(seen);
            self.progress.reached.store(now.0, Ordering::Relaxed);
            self.over |= self.length.is_some_and(|length| now >= length);
            if self.over || self.failed {
                halt.store(true, Ordering::Relaxed);
            }
            self.file.keep()?;
            if let Some(attended) = &mut self.attended {
                attended.show();
            }
        }
        self.close()
    }

    /// Says where an interrupted recording was taken up again, which ends its phase.
    pub(super) fn go_on(&mut self, resumed: &Resumed) -> Result<(), TraceError> {
        let t = resumed.begin();
        self.line(t, 0, Event::Resumed(serde_json::json!({ "at": resumed.at })))?;
        if resumed.in_phase {
            self.line(t, 0, Event::Phase(None))?;
        }
        self.reached = self.reached.max(t);
        Ok(())
    }

    /// Writes what the second party asks for, at the time up to which nothing earlier can come.
    fn orders(&mut self, seen: Nanos) -> Result<(), TraceError> {
        let Some(attended) = &self.attended else { return Ok(()) };
        for event in attended.orders() {
            self.reached = self.reached.max(seen).max(Nanos(0));
            self.line(self.reached, 0, event)?;
        }
        Ok(())
    }

    fn listen(&mut self, messages: &Receiver<Message>) -> Result<(), TraceError> {
        if self.time.now().is_some() {
            std::thread::sleep(RHYTHM);
        } else if let Ok(message) = messages.recv_timeout(RHYTHM) {
            self.message(message)?;
        }
        while let Ok(message) = messages.try_recv() {
            self.message(message)?;
        }
        Ok(())
    }

    fn message(&mut self, message: Message) -> Result<(), TraceError> {
        match message {
            Message::Batch(track, batch) => self.merge.push(track, batch),
            Message::Quiet(track, t) => self.merge.quiet(track, t),
            Message::Closed(track, t, closing) => {
                self.failed |= matches!(closing, Closing::Failed(_));
                self.merge.close(track, t, closing);
            }
            Message::Stall { t, length } => self.stall(t, length)?,
            Message::Suspend { t, length } => self.line(t, 0, Event::Suspend(length))?,
        }
        Ok(())
    }

    /// Host lines stand where they were noticed: a reader sorts them in.
    fn stall(&mut self, t: Nanos, length: Nanos) -> Result<(), TraceError> {
        self.summary.stalls += 1;
        self.summary.longest_stall = self.summary.longest_stall.max(length);
        self.line(t, 0, Event::Stall(length))
    }

    fn batch(&mut self, track: usize, batch: Box<Handover>) -> Result<(), TraceError> {
        if let Some(length) = self.length.filter(|&length| batch.t >= length) {
            self.over = true;
            self.other(length, track, batch.other)?;
        } else {
            self.phases_to(batch.t)?;
            // Only a batch that was given up waiting for can be late; it may not stand before what is written.
            let t = batch.t.max(self.reached);
            if t > batch.t {
                self.stall(t, t - batch.t)?;
            }
            self.reports(track, t, &batch)?;
        }
        if let Some(back) = self.returns.get(track) {
            // A reading thread that has ended needs no buffers.
            let _ = back.send(batch);
        }
        Ok(())
    }

    fn reports(&mut self, track: usize, t: Nanos, batch: &Handover) -> Result<(), TraceError> {
        self.reached = t;
        self.other(t, track, batch.other)?;
        let (device, node) = self.nodes.get(track).copied().unwrap_or_default();
        if batch.overrun {
            self.summary.overruns += 1;
            self.line(t, device, Event::Overrun(1))?;
        }
        for (index, (bytes, &place)) in batch.reports.reports().zip(&batch.places).enumerate() {
            let mut report = std::mem::replace(&mut self.report, EMPTY);
            report.bytes.clear();
            report.bytes.extend_from_slice(bytes);
            (report.node, report.place, report.kernel) = (node, place, batch.reports.kernel(index));
            let entry = Entry { t, device, event: Event::Report(report) };
            self.write(&entry)?;
            if let Event::Report(report) = entry.event {
                self.report = report;
            }
        }
        self.summary.reports += batch.reports.len() as u64;
        self.progress.reports.store(self.summary.reports, Ordering::Relaxed);
        Ok(())
    }

    fn other(&mut self, t: Nanos, track: usize, count: u64) -> Result<(), TraceError> {
        self.summary.other += count;
        let device = self.nodes.get(track).map_or(0, |&(device, _)| device);
        if count > 0 { self.line(t, device, Event::Other(count)) } else { Ok(()) }
    }

    /// Writes the phases that begin at `t` or before, and before the end.
    fn phases_to(&mut self, t: Nanos) -> Result<(), TraceError> {
        let length = self.length.unwrap_or(Nanos(i64::MAX));
        while let Some((begin, phase)) = self.phases.next_if(|(begin, _)| *begin <= t && *begin < length) {
            self.reached = self.reached.max(*begin);
            self.line(*begin, 0, Event::Phase(phase.clone()))?;
        }
        Ok(())
    }

    /// Says which devices went away, each after the last of its nodes.
    fn gone(&mut self) -> Result<(), TraceError> {
        let devices: Vec<usize> = self.nodes.iter().map(|&(device, _)| device).collect();
        for &device in &devices {
            if self.summary.gone.contains(&device) {
                continue;
            }
            let tracks = devices.iter().enumerate().filter(|&(_, &d)| d == device);
            let ends: Option<Vec<_>> = tracks.map(|(track, _)| self.merge.ended(track)).collect();
            let went = ends.into_iter().flatten().filter(|(_, closing)| *closing == Closing::Gone);
            if let Some(t) = went.map(|&(t, _)| t).max() {
                self.summary.gone.push(device);
                self.reached = self.reached.max(t);
                self.line(self.reached, device, Event::Gone)?;
            }
        }
        Ok(())
    }

    fn close(mut self) -> Result<Summary, TraceError> {
        let closings: Vec<_> =
            (0..self.nodes.len()).filter_map(|track| self.merge.ended(track).cloned()).collect();
        let latest = closings.iter().map(|(t, _)| *t).max().unwrap_or_default().max(self.reached);
        // A simulated device that has nothing more to say lies still for the rest of its session.
        let still = matches!(self.time, Time::Simulated(_))
            && closings.iter().all(|(_, closing)| *closing == Closing::Finished);
        let end = match self.length {
            Some(length) if self.over => length,
            Some(length) if still => length.max(latest),
            _ => self.time.now().unwrap_or(latest).max(latest).max(Nanos(0)),
        };
        self.phases_to(end - Nanos(1))?;
        self.line(end, 0, Event::End)?;
        self.file.close()?;
        let failed = closings.iter().find_map(|(_, closing)| match closing {
            Closing::Failed(what) => Some(what.clone()),
            _ => None,
        });
        let any = |wanted| closings.iter().any(|(_, closing)| *closing == wanted);
        self.summary.length = end;
        self.summary.ended = match failed {
            Some(what) => Ended::Failed(what),
            None if self.over => Ended::Timetable,
            None if any(Closing::Told) => Ended::Stopped,
            None if any(Closing::Gone) => Ended::Gone,
            None => Ended::SourceFinished,
        };
        Ok(self.summary)
    }

    fn line(&mut self, t: Nanos, device: usize, event: Event) -> Result<(), TraceError> {
        self.write(&Entry { t, device, event })
    }

    fn write(&mut self, entry: &Entry) -> Result<(), TraceError> {
        if let Some(attended) = &mut self.attended {
            attended.line(entry);
        }
        self.file.write(entry)
    }
}

const EMPTY: Report = Report { bytes: Vec::new(), node: 0, place: 0, kernel: None };
