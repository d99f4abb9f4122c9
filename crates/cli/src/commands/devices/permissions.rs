//! `slipgauge devices --permissions`: how to get access without being root, and whether it is there.

use super::{Status, shown_name};
use crate::commands::record;
use slipgauge_capture::device::{self, FoundDevice, FoundNode};
use slipgauge_capture::{FoundInput, HidrawSource, HoldError, InputKind, inputs};
use std::io::Write;
use std::path::Path;

/// Says it of the device asked for, or of all.
pub fn run(asked: &str) -> anyhow::Result<Status> {
    let mut out = std::io::stdout().lock();
    let devices = if asked.is_empty() { device::find()? } else { vec![record::choose(Some(asked))?] };
    if devices.is_empty() {
        writeln!(out, "{}", super::why_none(Path::new("/")))?;
    }
    let mut open = true;
    for (number, device) in devices.iter().enumerate() {
        if number > 0 {
            writeln!(out)?;
        }
        let nodes = checked(device);
        open &= nodes.iter().all(|node| node.state != State::Closed);
        write!(out, "{}", told(device, &nodes))?;
    }
    Ok(if open { Status::Ok } else { Status::Fail })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Open,
    Closed,
    /// Is to stay closed.
    Kept,
}

/// A node, and what came of opening it.
struct Checked {
    path: String,
    use_of_it: &'static str,
    state: State,
    why: String,
}

/// Opens every node once and closes it again; what types is left alone.
fn checked(device: &FoundDevice) -> Vec<Checked> {
    let mut nodes = Vec::new();
    for (node, _) in device.pointers() {
        nodes.push(hidraw(node));
        nodes.extend(node.inputs.iter().map(|input| event(input, node)));
    }
    nodes
}

fn hidraw(node: &FoundNode) -> Checked {
    use slipgauge_capture::hidraw::OpenError;
    let (state, why) = match HidrawSource::open(node) {
        Ok(_) => (State::Open, String::new()),
        Err(OpenError::Denied { .. }) => (State::Closed, RIGHT.to_owned()),
        Err(OpenError::Missing { .. }) => (State::Closed, MISSING.to_owned()),
        Err(other) => (State::Closed, other.to_string()),
    };
    Checked { path: node.path.display().to_string(), use_of_it: "the recording", state, why }
}

fn event(input: &FoundInput, node: &FoundNode) -> Checked {
    let (state, why) = match input.kind {
        InputKind::Keyboard => (State::Kept, "it has typing keys".to_owned()),
        InputKind::Other => (State::Kept, "no motion comes from it".to_owned()),
        InputKind::Pointer => match inputs::check(input, node) {
            Ok(()) => (State::Open, String::new()),
            Err(HoldError::Denied { .. }) => (State::Closed, RIGHT.to_owned()),
            Err(HoldError::Missing { .. }) => (State::Closed, MISSING.to_owned()),
            Err(other) => (State::Closed, other.to_string()),
        },
    };
    let use_of_it = if state == State::Kept { "nothing" } else { "stamps and hold" };
    Checked { path: input.path.display().to_string(), use_of_it, state, why }
}

const RIGHT: &str = "no right to read it";
const MISSING: &str = "it is not here; is a device manager (udev) at work?";

/// The check first, then the steps.
fn told(device: &FoundDevice, nodes: &[Checked]) -> String {
    let mut text = format!("{}  {:04x}:{:04x}\n", shown_name(device), device.vendor, device.product);
    for Checked { path, use_of_it, state, why } in nodes {
        let said = match state {
            State::Open => "can be opened".to_owned(),
            State::Closed => format!("cannot be opened: {why}"),
            State::Kept => format!("stays closed: {why}"),
        };
        text += &format!("  {path}, for {use_of_it}:\n      {said}\n");
    }
    if nodes.iter().all(|node| node.state != State::Closed) {
        text += "Nothing is to be done. For a user who is not root:\n\n";
    } else {
        text += "To get access without being root, run\n\n";
    }
    text += &device.permission_commands();
    text += "\n\
        and plug the device in again. It is then open to whoever sits at this\n\
        machine. Over ssh or in a container write MODE=\"0666\" instead of\n\
        TAG+=\"uaccess\", and remove the file afterwards.\n\
        Then try it: slipgauge devices --permissions\n";
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_capture::Access;
    use slipgauge_trace::layout::{BOOT_DESCRIPTOR, Layout};

    fn bench(inputs: Vec<FoundInput>) -> FoundDevice {
        let node = FoundNode {
            path: "/dev/no-such-hidraw3".into(),
            interface: Some(0),
            descriptor: BOOT_DESCRIPTOR.to_vec(),
            layout: Layout::from_descriptor(&BOOT_DESCRIPTOR),
            interval: None,
            access: Access::Denied,
            permit: "write the rule".to_owned(),
            rule: "KERNEL==\"hidraw*\", TAG+=\"uaccess\"".to_owned(),
            inputs,
        };
        FoundDevice { vendor: 0x1209, product: 1, nodes: vec![node], ..FoundDevice::default() }
    }

    #[test]
    fn what_cannot_be_opened_is_said_before_the_steps() {
        let event = |name: &str, kind| FoundInput { path: name.into(), kind, keys: false };
        let device = bench(vec![
            event("/dev/no-such-event1", InputKind::Pointer),
            event("/dev/no-such-event2", InputKind::Keyboard),
        ]);
        let nodes = checked(&device);
        let states: Vec<_> = nodes.iter().map(|node| node.state).collect();
        assert_eq!(states, [State::Closed, State::Closed, State::Kept]);
        let text = told(&device, &nodes);
        let expected = "a device without a name  1209:0001\n  \
                        /dev/no-such-hidraw3, for the recording:\n      \
                        cannot be opened: no right to read it\n  \
                        /dev/no-such-event1, for stamps and hold:\n      \
                        cannot be opened: it is not here; is a device manager (udev) at work?\n  \
                        /dev/no-such-event2, for nothing:\n      \
                        stays closed: it has typing keys\n\
                        To get access without being root, run\n\n\
                        sudo tee /etc/udev/rules.d/70-slipgauge-1209-0001.rules <<'END'\n\
                        KERNEL==\"hidraw*\", TAG+=\"uaccess\"\nEND\n";
        assert!(text.starts_with(expected), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }

    #[test]
    fn with_everything_open_there_is_nothing_to_be_done() {
        let text = told(&bench(Vec::new()), &[]);
        assert!(text.contains("Nothing is to be done. For a user who is not root:\n\nsudo tee"), "{text}");
    }
}
