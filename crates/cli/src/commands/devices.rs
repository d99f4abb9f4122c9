//! `slipgauge devices`: the pointing devices that are plugged in.

mod permissions;

use super::Status;
use clap::Args;
use slipgauge_capture::device::{self, Access, FoundDevice, FoundNode};
use slipgauge_trace::Nanos;
use slipgauge_trace::layout::{Layout, ReportFormat};
use slipgauge_trace::outside::harmless;
use std::io::Write;
use std::path::Path;

/// Longest line written, in characters.
const WIDTH: usize = 80;

/// Options of `devices`.
#[derive(Debug, Args)]
#[command(after_help = "\
Exit status: 0 listed, or none found; with --permissions: all of it may be
opened; 1 with --permissions: not all of it; 2 wrong usage, or they cannot be
listed.")]
pub struct DevicesArgs {
    /// Say how to get access to a device without being root, and try whether it is there: which of its nodes can be
    /// opened. All devices if none is named.
    #[arg(long, value_name = "NUMBER|PATH", num_args = 0..=1, default_missing_value = "")]
    permissions: Option<String>,
}

pub fn run(args: &DevicesArgs) -> anyhow::Result<Status> {
    if let Some(asked) = &args.permissions {
        return permissions::run(asked);
    }
    let found = device::find()?;
    let mut out = std::io::stdout().lock();
    if found.is_empty() {
        writeln!(out, "{}", why_none(Path::new("/")))?;
    } else {
        list(&mut out, &found)?;
    }
    Ok(Status::Ok)
}

/// One line a device, numbered from 1, and indented below it what stands in its way.
pub fn list(out: &mut impl Write, found: &[FoundDevice]) -> std::io::Result<()> {
    for (number, device) in (1..).zip(found) {
        let mut items = vec![format!("{number}  {}", harmless(&device.name))];
        items.extend(link(device));
        items.push(format!("{:04x}:{:04x}", device.vendor, device.product));
        items.extend(device.pointers().map(|(node, layout)| reports(node, layout)));
        writeln!(out, "{}", wrapped(&items))?;
        for (node, _) in device.pointers() {
            write!(out, "{}", hindrance(node))?;
        }
    }
    Ok(())
}

/// A device's name as it may be shown.
pub fn shown_name(device: &FoundDevice) -> String {
    if device.name.is_empty() { "a device without a name".to_owned() } else { harmless(&device.name) }
}

fn link(device: &FoundDevice) -> Option<String> {
    match (device.link, device.usb, device.speed_mbit) {
        (Some(link), ..) => Some(link.to_owned()),
        (None, true, Some(speed)) => Some(format!("USB {speed} Mbit/s")),
        (None, true, None) => Some("USB".to_owned()),
        (None, false, _) => None,
    }
}

/// `/dev/hidraw3 every 1 ms: X/Y 16 bit, wheel, 5 buttons`.
fn reports(node: &FoundNode, layout: &Layout) -> String {
    let interval = node.interval.map_or_else(String::new, |ns| format!(" every {}", milliseconds(ns)));
    let formats: Vec<_> = layout.formats().iter().map(format).collect();
    format!("{}{interval}: {}", node.path.display(), formats.join("; "))
}

fn milliseconds(ns: Nanos) -> String {
    format!("{} ms", ns.0 as f64 / 1e6)
}

/// `X/Y 16 bit, wheel, 5 buttons`.
fn format(format: &ReportFormat) -> String {
    let mut parts = Vec::new();
    match &format.axes {
        Some((x, y)) if x.bits == y.bits => parts.push(format!("X/Y {} bit", x.bits)),
        Some((x, y)) => parts.push(format!("X {} bit, Y {} bit", x.bits, y.bits)),
        None => {}
    }
    if format.wheel {
        parts.push("wheel".to_owned());
    }
    match format.buttons {
        0 => {}
        1 => parts.push("1 button".to_owned()),
        n => parts.push(format!("{n} buttons")),
    }
    let id = format.id.map_or_else(String::new, |id| format!("report {id} "));
    format!("{id}{}", if parts.is_empty() { "nothing known".to_owned() } else { parts.join(", ") })
}

/// Why a node cannot be read and what to do, indented; empty if it can.
fn hindrance(node: &FoundNode) -> String {
    let path = node.path.display();
    let text = match node.access {
        Access::Ok => return String::new(),
        Access::Denied => format!("cannot be recorded: no right to read {path}. To get it,\n{}", node.permit),
        Access::Missing => format!(
            "cannot be recorded: the kernel knows it, but {path} is not here.\n\
             In a container, hand that node in; else start the device manager (udev)."
        ),
    };
    text.lines().map(|line| format!("     {line}\n")).collect()
}

/// Items side by side, and below each other, indented, where the line is full.
fn wrapped(items: &[String]) -> String {
    let mut text = String::new();
    let mut column = 0;
    for item in items {
        let length = item.chars().count();
        if column > 0 && column + 2 + length > WIDTH {
            text.push_str("\n   ");
            column = 3;
        } else if column > 0 {
            text.push_str("  ");
            column += 2;
        }
        text.push_str(item);
        column += length;
    }
    text
}

/// What was looked at, and why nothing may be there.
pub fn why_none(root: &Path) -> String {
    let nodes = |folder: &str| std::fs::read_dir(root.join(folder)).map(|entries| entries.count());
    match nodes("sys/class/hidraw") {
        Err(_) => "No pointing device found: there is no /sys/class/hidraw. Either this is a container\n\
                   or virtual machine without HID devices, or the kernel lacks hidraw (CONFIG_HIDRAW)."
            .to_owned(),
        Ok(0) => "No pointing device found: /sys/class/hidraw is empty, so the kernel sees no HID device\n\
                  at all. Is one plugged in, and switched on? (A PS/2 device or a touchpad on PS/2 is\n\
                  not a HID device.)"
            .to_owned(),
        Ok(n) => format!(
            "No pointing device found: of the {n} HID nodes in /sys/class/hidraw none reports relative\n\
             X and Y as a mouse or pointer. (A touchpad or tablet reports places, not motion.)"
        ),
    }
}

#[cfg(test)]
mod tests;
