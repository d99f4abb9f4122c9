//! `slipgauge record`: a session of one device to a file, phase by phase.

use super::{Status, devices, now, shown};
use crate::args::{RecordArgs, numbered_steps};
use anyhow::{Context as _, bail};
use indicatif::{ProgressBar, ProgressStyle};
use slipgauge_capture::device::{self, FoundDevice};
use slipgauge_capture::hidraw;
use slipgauge_capture::{
    Ended, HidrawSource, Hold, HoldError, Inputs, Progress, Recorder, Summary, Timetable, Track,
};
use slipgauge_trace::Nanos;
use slipgauge_trace::outside::harmless;
use slipgauge_trace::session::{Header, Pace, Phase, Plan, Role, Step, Task};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How often the display looks at the recording. Prompts come at most this late.
const LOOK: Duration = Duration::from_millis(50);

/// How long a button that is down is waited for.
const BUTTONS: Duration = Duration::from_secs(3);

const CAUTION: &str = "\
Before the fast swipes: clear the desk's edge and the cable's way, and stop if anything hurts.
The rules of the place and the advice of professionals come before this program's prompts.";

pub fn run(args: &RecordArgs) -> anyhow::Result<Status> {
    let steps = numbered_steps(&args.steps).map_err(anyhow::Error::msg)?;
    let timetable = timetable(args, &steps)?;
    let mut devices = vec![choose(args.device.as_deref())?];
    if let Some(asked) = args.reference.as_deref() {
        let reference = choose(Some(asked))?;
        if reference
            .nodes
            .iter()
            .any(|node| devices.iter().flat_map(|d| &d.nodes).any(|n| n.path == node.path))
        {
            bail!("--device and --reference are the same device; a reference is a second one");
        }
        devices.push(reference);
    }
    let header = header(args, &devices, &steps);
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    ctrlc::set_handler(move || told.store(true, Ordering::Relaxed))
        .context("Ctrl-C cannot be caught, so a recording could not be ended cleanly")?;

    // What nobody reads any more is no reason to end a recording.
    let mut out = std::io::stdout();
    let _ = write!(out, "{}", announcement(args, &devices, &timetable));
    // Everything that takes time is done: from its opening on the device's reports are queued.
    let inputs: Vec<Inputs> = devices.iter().map(Inputs::open).collect();
    let mut tracks = Vec::new();
    for (device, (described, inputs)) in devices.iter().zip(&inputs).enumerate() {
        tracks.append(&mut open(device, described, inputs)?);
    }
    let mut holds = Vec::new();
    if args.hold {
        for (device, inputs) in devices.iter().zip(&inputs) {
            let name = devices::shown_name(device);
            let ask = || {
                let _ = writeln!(out, "Let go of all buttons.").and_then(|()| out.flush());
            };
            match hold(inputs, &stop, ask) {
                Ok(hold) => {
                    holds.push(hold);
                    let _ = writeln!(out, "Held: the desktop gets nothing of {name}. End it by keyboard.");
                }
                Err(why) => {
                    let _ = writeln!(out, "The desktop gets the motion of {name}: it is not held.\n{why}");
                }
            }
        }
    }
    let progress = Arc::new(Progress::default());
    let recorder = Recorder {
        header,
        tracks,
        timetable: timetable.clone(),
        path: args.output.clone(),
        resumed: None,
        attended: None,
        stop,
        progress: Arc::clone(&progress),
    };
    let recording = std::thread::Builder::new().name("record".to_owned()).spawn(move || recorder.run())?;
    let mut display = Display::new(timetable, &steps);
    while !recording.is_finished() {
        display.look(&progress, &mut out);
        if holds.iter().any(|hold| !hold.lasts()) {
            holds.clear();
            let _ =
                writeln!(out, "{} s are over: the desktop gets the motion again.", Hold::LONGEST.as_secs());
        }
        std::thread::sleep(LOOK);
    }
    drop(holds);
    display.bar.finish_and_clear();
    let summary =
        recording.join().map_err(|_| anyhow::anyhow!("the recorder broke off; please report this"))??;
    out.write_all(told_at_the_end(&summary, &args.output).as_bytes())?;
    let gone = matches!(summary.ended, Ended::Gone | Ended::Failed(_)) || !summary.gone.is_empty();
    Ok(if gone { Status::Gone } else { Status::Ok })
}

/// Opens the pointers of the header's device of this index: from now on its reports are queued.
pub(super) fn open(device: usize, found: &FoundDevice, inputs: &Inputs) -> anyhow::Result<Vec<Track>> {
    let pointers = found.pointers().enumerate().map(|(node, (found, layout))| {
        let source = Box::new(HidrawSource::open(found)?.stamped(found, inputs));
        Ok(Track { device, node, layout: layout.clone(), source })
    });
    pointers.collect()
}

/// Takes hold of a device, once its buttons are up; `ask` is called once if they are not.
pub(super) fn hold(inputs: &Inputs, stop: &AtomicBool, ask: impl FnOnce()) -> Result<Hold, HoldError> {
    let begin = Instant::now();
    let mut ask = Some(ask);
    loop {
        match Hold::take(inputs) {
            Err(HoldError::ButtonDown { .. })
                if begin.elapsed() < BUTTONS && !stop.load(Ordering::Relaxed) =>
            {
                if let Some(ask) = ask.take() {
                    ask();
                }
                std::thread::sleep(LOOK);
            }
            other => return other,
        }
    }
}

/// Phases one after the other, and the length of the whole.
fn timetable(args: &RecordArgs, steps: &[Step]) -> anyhow::Result<Timetable> {
    let mut end = Nanos(0);
    let mut phases = Vec::new();
    for arg in &args.phases {
        let step = arg.phase.step;
        if !steps.is_empty() && !steps.iter().any(|known| known.id == step) {
            bail!("--phase asks for step {step}, but there are only {} (see --step)", steps.len());
        }
        phases.push((end, Some(arg.phase.clone())));
        end = end + arg.length.0;
    }
    let length = args.length.map(|span| span.0);
    if let Some(length) = length.filter(|&length| length < end) {
        bail!("--for {} ends before the phases, which take {}", seconds(length), seconds(end));
    }
    if phases.is_empty() {
        return Ok(Timetable { phases, length });
    }
    if length.is_some_and(|length| length > end) {
        phases.push((end, None));
    }
    Ok(Timetable { phases, length: length.or(Some(end)) })
}

/// The device asked for, or the only one there is. One that cannot be recorded is refused here, before anything is said
/// or made.
pub(super) fn choose(asked: Option<&str>) -> anyhow::Result<FoundDevice> {
    let by_number = asked.map(str::parse::<usize>);
    if let (Some(path), Some(Err(_))) = (asked, &by_number) {
        let device = device::at(Path::new(path))?;
        device.nodes.iter().try_for_each(hidraw::check).with_context(|| devices::shown_name(&device))?;
        return Ok(device);
    }
    let mut found = device::find()?;
    let index = match (by_number.and_then(Result::ok), found.len()) {
        (_, 0) => bail!("{}", devices::why_none(Path::new("/"))),
        (Some(number), n) if (1..=n).contains(&number) => number - 1,
        (None, 1) => 0,
        (number, n) => {
            let mut listed = Vec::new();
            devices::list(&mut listed, &found)?;
            let listed = String::from_utf8_lossy(&listed);
            match number {
                Some(number) => bail!("there is no device {number}; there are:\n{listed}"),
                None => bail!("{n} pointing devices are plugged in; say which by --device NUMBER:\n{listed}"),
            }
        }
    };
    let device = found.swap_remove(index);
    device
        .pointers()
        .try_for_each(|(node, _)| hidraw::check(node))
        .with_context(|| devices::shown_name(&device))?;
    Ok(device)
}

fn header(args: &RecordArgs, devices: &[FoundDevice], steps: &[Step]) -> Header {
    let mut described: Vec<_> = devices.iter().map(FoundDevice::described).collect();
    for (index, device) in described.iter_mut().enumerate() {
        if index == 0 {
            device.label.clone_from(&args.label);
            device.unit.clone_from(&args.unit);
        } else {
            device.role = Role::Reference;
        }
    }
    let plan = Plan {
        travel_um: args.travel.map(|length| length.0),
        travel_u_um: args.travel_uncertainty.map(|length| length.0),
        axis: args.axis.map(Into::into),
        straight_edge: args.straight_edge.then_some(true),
        steps: steps.to_vec(),
        ..Plan::default()
    };
    let planned = plan != Plan::default() || !args.phases.is_empty();
    let header = header_of(described);
    Header { plan: planned.then_some(plan), surface: args.surface.clone(), ..header }
}

/// A header with what is known of this program, this computer and the time.
pub(super) fn header_of(devices: Vec<slipgauge_trace::session::Device>) -> Header {
    let mut header = Header {
        tool: concat!("slipgauge ", env!("CARGO_PKG_VERSION")).to_owned(),
        started: Some(now()),
        devices,
        ..Header::default()
    };
    if let Ok(release) = std::fs::read_to_string("/proc/sys/kernel/osrelease") {
        header.host.insert("os".to_owned(), format!("linux {}", release.trim()).into());
    }
    header
}

/// What is said before anything is opened. A name is shown here before it is stored.
fn announcement(args: &RecordArgs, devices: &[FoundDevice], timetable: &Timetable) -> String {
    let length = match timetable.length {
        Some(length) => format!("for {}, or until Ctrl-C", seconds(length)),
        None => "until Ctrl-C".to_owned(),
    };
    let names: Vec<_> = devices.iter().map(devices::shown_name).collect();
    let (name, file) = (names.join(", and for reference "), shown(&args.output));
    let mut text = format!("Recording {name} to {file}, {length}.\n");
    let fast = |phase: &Phase| phase.pace == Some(Pace::Fast);
    if timetable.phases.iter().any(|(_, phase)| phase.as_ref().is_some_and(fast)) {
        text.push_str(CAUTION);
        text.push('\n');
    }
    text
}

/// What the operator sees meanwhile: prompts on stdout, and progress on stderr if that is a terminal.
struct Display {
    timetable: Timetable,
    steps: Vec<Step>,
    next: usize,
    step: Option<u32>,
    bar: ProgressBar,
}

impl Display {
    fn new(timetable: Timetable, steps: &[Step]) -> Display {
        let bar = ProgressBar::new(timetable.length.map_or(0, |length| length.0.unsigned_abs() / 1_000_000));
        let template = if timetable.length.is_some() { "{bar:30} {msg}" } else { "{spinner} {msg}" };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Display { timetable, steps: steps.to_vec(), next: 0, step: None, bar }
    }

    fn look(&mut self, progress: &Progress, out: &mut impl Write) {
        let reached = progress.reached();
        while let Some((begin, phase)) = self.timetable.phases.get(self.next).filter(|(t, _)| *t <= reached) {
            let end = self.timetable.phases.get(self.next + 1).map(|(t, _)| *t).or(self.timetable.length);
            let text = prompt(phase.as_ref(), end.map(|end| end - *begin), self.step, &self.steps);
            self.step = phase.as_ref().map(|phase| phase.step).or(self.step);
            self.next += 1;
            self.bar.suspend(|| {
                let _ = writeln!(out, "{text}").and_then(|()| out.flush());
            });
        }
        self.bar.set_position(reached.0.unsigned_abs() / 1_000_000);
        self.bar.set_message(format!("{:.0} s, {} reports", reached.seconds(), progress.reports()));
    }
}

/// The sentence that begins a phase; `before` is the step of the phase before.
fn prompt(phase: Option<&Phase>, length: Option<Nanos>, before: Option<u32>, steps: &[Step]) -> String {
    let length = length.map_or_else(String::new, |length| format!(", {}", seconds(length)));
    let Some(phase) = phase else { return format!("Now: nothing more is asked{length}.") };
    let swipes = |pace: &str| match phase.swipes {
        Some(n) => format!("{n} {pace} swipes from stop to stop"),
        None => format!("{pace} swipes from stop to stop"),
    };
    let what = match (&phase.task, phase.pace) {
        (Task::Still, _) => "leave it still, hands off".to_owned(),
        (Task::Identify, _) if phase.swipes.is_none() => "a few slow swipes from stop to stop".to_owned(),
        (_, Some(Pace::Fast)) => format!("{}, as fast as is comfortable", swipes("fast")),
        (_, Some(Pace::Medium)) => swipes("medium"),
        _ => swipes("slow"),
    };
    let change = match before {
        Some(step) if step != phase.step => format!("switch to {}, then ", step_name(phase.step, steps)),
        _ => String::new(),
    };
    format!("Now: {change}{what}{length}.")
}

fn step_name(id: u32, steps: &[Step]) -> String {
    let label = steps.iter().find(|step| step.id == id).and_then(|step| step.label.as_deref());
    label.map_or_else(|| format!("step {id}"), |label| format!("step {id} ({})", harmless(label)))
}

fn told_at_the_end(summary: &Summary, file: &Path) -> String {
    let mut text = String::new();
    let mut say = |line: String| {
        text.push_str(&line);
        text.push('\n');
    };
    let (length, file) = (seconds(summary.length), shown(file));
    match &summary.ended {
        Ended::Gone => say(format!("The device went away after {length}. What it sent until then is kept.")),
        Ended::Failed(what) => {
            say(format!("The recording broke off after {length}: {what}. What came before is kept."));
        }
        Ended::Stopped => say(format!("Ended after {length}, when told to.")),
        Ended::Timetable | Ended::SourceFinished => {}
    }
    say(format!("Recorded {} reports in {length} to {file}", summary.reports));
    if summary.other > 0 {
        say(format!(
            "Not recorded: {} reports of keys or other controls, which were only counted",
            summary.other
        ));
    }
    say(match summary.stalls {
        0 => "This computer: never held up for more than 2 ms".to_owned(),
        n => format!(
            "This computer: held up {}, {:.1} ms at the most; the file says when",
            times(n),
            summary.longest_stall.seconds() * 1e3
        ),
    });
    if summary.overruns > 0 {
        say(format!(
            "The kernel's queue was full {}: reports may have been lost in this computer",
            times(summary.overruns)
        ));
    }
    match summary.realtime {
        Some(true) => say("Real-time priority: given".to_owned()),
        Some(false) => {
            say("Real-time priority: not given, which matters only if the computer was held up".to_owned())
        }
        None => {}
    }
    if summary.reports == 0 {
        say("Nothing came: is this the right device, is it switched on, and was it moved?".to_owned());
    }
    say(format!("Next: slipgauge judge {file}"));
    text
}

fn times(n: u64) -> String {
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

fn seconds(time: Nanos) -> String {
    let rounded = (time.seconds() * 10.0).round() / 10.0;
    format!("{rounded} s")
}

#[cfg(test)]
mod tests;
