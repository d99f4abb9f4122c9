//! The test itself: lines of the recording and keys to the guide, what it says to the screen, what it writes to the file.

use super::bench::Bench;
use super::keys::Keys;
use super::now;
use super::screen::Screen;
use crate::commands::record;
use slipgauge_capture::{
    Attendant, Ended, Hold, Inputs, Progress, Recorder, Resumed, Summary, Timetable, attend,
};
use slipgauge_guide::{Guide, Out};
use slipgauge_trace::session::{Event, Header};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How often keys and clock are looked at, if no line comes before.
const LOOK: Duration = Duration::from_millis(20);

/// How it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The plan is done.
    Whole,
    /// Somebody ended it before.
    Early,
    /// The device went away, and did not come back.
    Gone,
}

/// One test.
pub struct Sitting {
    pub bench: Bench,
    pub guide: Guide,
    pub header: Header,
    pub path: PathBuf,
    pub stop: Arc<AtomicBool>,
    /// The file is there and is gone on with.
    pub resume: bool,
    /// The device is to be kept from the desktop.
    pub hold: bool,
}

impl Sitting {
    /// Goes through it, with as many recordings as the device takes breaks.
    pub fn hold_it(&mut self, screen: &mut Screen, keys: &mut Keys) -> anyhow::Result<End> {
        loop {
            let summary = self.record(screen, keys)?;
            screen.clear();
            // What happens after the last swipe is no matter any more.
            if self.guide.over() {
                return Ok(if self.guide.whole() { End::Whole } else { End::Early });
            }
            if !matches!(summary.ended, Ended::Gone | Ended::Failed(_)) {
                return Ok(End::Early);
            }
            if let Ended::Failed(what) = &summary.ended {
                screen.line(&format!("The recording broke off: {what}"))?;
            }
            screen.line("The device went away. Plug it in again to go on, or end here with Ctrl-C.")?;
            self.stop.store(false, Ordering::Relaxed);
            let described = self.header.devices.first().cloned().unwrap_or_default();
            if self.bench.wait_for(&described, &self.stop).is_none() {
                return Ok(End::Gone);
            }
            screen.line("It is back.")?;
            self.resume = true;
        }
    }

    /// One recording, to its end.
    fn record(&mut self, screen: &mut Screen, keys: &mut Keys) -> anyhow::Result<Summary> {
        let resumed = match (self.resume, self.header.devices.first()) {
            (true, Some(device)) => Some(Resumed::read(&self.path, device, now())?),
            _ => None,
        };
        let (tracks, inputs) = self.bench.open()?;
        let (attendant, attended) = attend();
        let progress = Arc::new(Progress::default());
        let halt = Arc::new(AtomicBool::new(false));
        let recorder = Recorder {
            header: self.header.clone(),
            tracks,
            timetable: Timetable::default(),
            path: self.path.clone(),
            resumed,
            attended: Some(attended),
            stop: Arc::clone(&halt),
            progress: Arc::clone(&progress),
        };
        let recording =
            std::thread::Builder::new().name("record".to_owned()).spawn(move || recorder.run())?;
        let mut stopping = false;
        let mut desk =
            Desk { held: None, inputs, wanted: self.hold, told: false, stop: Arc::clone(&self.stop) };
        while let Some(lines) = attendant.written(LOOK) {
            for line in &lines {
                self.guide.entry(line);
            }
            self.guide.tick(progress.reached());
            for key in keys.pressed() {
                self.guide.key(key);
            }
            self.act(&attendant, &mut desk, screen)?;
            screen.progress(self.guide.done(), self.guide.pace());
            if self.stop.swap(false, Ordering::Relaxed) {
                // The phase is closed first, so that nothing of it is in doubt; whoever asks twice does not wait for it.
                halt.store(std::mem::replace(&mut stopping, true), Ordering::Relaxed);
                self.guide.stop();
                self.act(&attendant, &mut desk, screen)?;
            }
            if self.guide.over() {
                halt.store(true, Ordering::Relaxed);
            }
        }
        drop(desk);
        let summary =
            recording.join().map_err(|_| anyhow::anyhow!("the recorder broke off; please report this"))??;
        if attendant.fell_behind() {
            screen.line("The display could not keep up with the recording; the file has everything.")?;
        }
        Ok(summary)
    }

    fn act(&mut self, attendant: &Attendant, desk: &mut Desk, screen: &mut Screen) -> anyhow::Result<()> {
        let outs: Vec<Out> = self.guide.take().collect();
        for out in outs {
            match out {
                Out::Say(say) => screen.say(&say)?,
                Out::Write(event) => {
                    if event == Event::Phase(None) {
                        self.bench.phase_ends();
                    }
                    attendant.write(event);
                }
                Out::Hold(wanted) => desk.hold(wanted, screen)?,
                Out::Bell => screen.bell(),
                Out::Do(doing) => self.bench.ask(&doing),
            }
        }
        Ok(())
    }
}

/// The desktop, from which the device is kept while it is swiped.
struct Desk {
    held: Option<Hold>,
    inputs: Option<Inputs>,
    wanted: bool,
    told: bool,
    stop: Arc<AtomicBool>,
}

impl Desk {
    fn hold(&mut self, wanted: bool, screen: &mut Screen) -> anyhow::Result<()> {
        self.held = None;
        let Some(inputs) = self.inputs.as_ref().filter(|_| wanted && self.wanted) else { return Ok(()) };
        let ask = || {
            let _ = screen.line("Let go of all buttons.");
        };
        match record::hold(inputs, &self.stop, ask) {
            Ok(held) => self.held = Some(held),
            Err(why) => {
                if !std::mem::replace(&mut self.told, true) {
                    screen.line("The desktop gets the motion as well: mind what is clicked.")?;
                    screen.lines(&why.to_string())?;
                }
            }
        }
        Ok(())
    }
}
