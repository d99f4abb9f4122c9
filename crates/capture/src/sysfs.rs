//! What the kernel says of a hidraw node under `/sys`, readable without any right.
//!
//! Owns the walk from `/sys/class/hidraw/hidrawN` to the HID device, the USB interface and the USB device above it, and
//! the report interval. Serial numbers (`serial`, `HID_UNIQ`) lie beside what is read here and are left alone.
//!
//! Sources: linux Documentation/ABI/testing/sysfs-bus-usb, sysfs-driver-hid; USB 2.0 table 9-13 (`bInterval`).

use crate::inputs::InputKind;
use slipgauge_trace::Nanos;
use std::fs;
use std::path::{Path, PathBuf};

/// Bus number of USB in a HID device's id (linux/input.h).
pub(crate) const BUS_USB: u16 = 0x03;
/// Bus number of Bluetooth.
pub(crate) const BUS_BLUETOOTH: u16 = 0x05;

/// One HID node and what lies above it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HidNode {
    /// Folder of the HID device.
    pub folder: PathBuf,
    pub bus: u16,
    pub vendor: u16,
    pub product: u16,
    pub name: String,
    pub descriptor: Vec<u8>,
    pub usb: Option<Usb>,
    /// Event nodes that the input layer made of it.
    pub inputs: Vec<InputNode>,
}

/// An event node, by kernel name, and what it can tell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct InputNode {
    /// `event5`.
    pub name: String,
    pub kind: InputKind,
    /// Has keys that are no buttons.
    pub keys: bool,
}

/// The USB device that a node is an interface of.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Usb {
    /// Folder of the USB device.
    pub folder: PathBuf,
    /// True if the HID device is the interface's own, false if a driver made it below another HID device (the
    /// devices behind a receiver).
    pub own: bool,
    pub interface: Option<u8>,
    pub release: Option<u16>,
    pub speed_mbit: Option<f64>,
    pub hub_depth: Option<u32>,
    pub interval: Option<Nanos>,
}

/// A tree laid out as `/sys` is.
#[derive(Debug, Clone)]
pub(crate) struct Sysfs {
    root: PathBuf,
}

impl Sysfs {
    pub(crate) fn new(root: impl Into<PathBuf>) -> Sysfs {
        Sysfs { root: root.into() }
    }

    /// Describes the node of this kernel name (`hidraw0`).
    pub(crate) fn node(&self, kernel_name: &str) -> std::io::Result<HidNode> {
        let folder = fs::canonicalize(self.root.join("class/hidraw").join(kernel_name).join("device"))?;
        let descriptor = fs::read(folder.join("report_descriptor"))?;
        let uevent = String::from_utf8_lossy(&fs::read(folder.join("uevent"))?).into_owned();
        let value = |key: &str| uevent.lines().find_map(|line| line.strip_prefix(key)?.strip_prefix('='));
        let (bus, vendor, product) = value("HID_ID").and_then(hid_id).unwrap_or_default();
        let name = value("HID_NAME").unwrap_or_default().to_owned();
        // A Bluetooth device's folder lies below the USB device that is its host's radio: not its own cable.
        let usb = if bus == BUS_USB { self.usb(&folder) } else { None };
        let inputs = inputs(&folder);
        Ok(HidNode { folder, bus, vendor, product, name, descriptor, usb, inputs })
    }

    /// The kernel's own override of the report interval of mice (`usbhid.mousepoll`), in the unit of `bInterval`.
    pub(crate) fn mousepoll(&self) -> Option<u8> {
        number(&self.root.join("module/usbhid/parameters"), "mousepoll", 10).filter(|&n| n != 0)
    }

    fn usb(&self, hid: &Path) -> Option<Usb> {
        let interface = hid.ancestors().skip(1).find(|folder| folder.join("bInterfaceNumber").exists())?;
        let folder = interface.parent()?;
        let speed_mbit = text(folder, "speed").and_then(|s| s.parse().ok());
        let interval = speed_mbit.zip(interrupt_in(interface)).and_then(|(speed, n)| interval(speed, n));
        Some(Usb {
            own: hid.parent() == Some(interface),
            interface: number(interface, "bInterfaceNumber", 16),
            release: number(folder, "bcdDevice", 16),
            speed_mbit,
            hub_depth: hub_depth(folder),
            interval,
            folder: folder.to_owned(),
        })
    }
}

/// The event nodes of a HID device's own input devices; those of HID devices below it are theirs.
fn inputs(hid: &Path) -> Vec<InputNode> {
    let names = |folder: &Path, start: &str| -> Vec<String> {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
        names.filter(|name| name.strip_prefix(start).is_some_and(|n| n.parse::<u32>().is_ok())).collect()
    };
    let folder = hid.join("input");
    let mut found = Vec::new();
    for input in names(&folder, "input").into_iter().map(|name| folder.join(name)) {
        let (relative, keys) = (bits(&input, "rel"), bits(&input, "key"));
        let kind = InputKind::of(|code| bit(&relative, code), |code| bit(&keys, code));
        let keys = (0..FIRST_BUTTON).any(|code| bit(&keys, code));
        found.extend(names(&input, "event").into_iter().map(|name| InputNode { name, kind, keys }));
    }
    found.sort_by_key(|input| input.name.get(5..).and_then(|n| n.parse::<u32>().ok()));
    found
}

/// `BTN_MISC` of linux/input-event-codes.h: lower codes are keys.
const FIRST_BUTTON: usize = 0x100;

/// The words of a capability, lowest first. The kernel writes them highest first, each as wide as a `long` of ours.
fn bits(input: &Path, capability: &str) -> Vec<usize> {
    let text = text(&input.join("capabilities"), capability).unwrap_or_default();
    text.split_whitespace().rev().map(|word| usize::from_str_radix(word, 16).unwrap_or(0)).collect()
}

fn bit(words: &[usize], code: usize) -> bool {
    let width = usize::BITS as usize;
    words.get(code / width).is_some_and(|word| word >> (code % width) & 1 == 1)
}

/// The report interval that a `bInterval` means at this signalling speed (USB 2.0 table 9-13; USB 3.2 keeps the
/// high-speed rule): frames of 1 ms at low and full speed, 2^(n−1) microframes of 125 µs above. `None` for a value that
/// the standard forbids.
pub(crate) fn interval(speed_mbit: f64, b_interval: u8) -> Option<Nanos> {
    if speed_mbit <= 12.0 {
        (b_interval > 0).then(|| Nanos(i64::from(b_interval) * 1_000_000))
    } else {
        (1..=16).contains(&b_interval).then(|| Nanos(125_000 << (b_interval - 1)))
    }
}

/// `bInterval` of the interface's interrupt-IN endpoint.
fn interrupt_in(interface: &Path) -> Option<u8> {
    let endpoints = fs::read_dir(interface).ok()?.filter_map(|entry| Some(entry.ok()?.path()));
    let mut endpoints: Vec<_> = endpoints
        .filter(|p| p.file_name().is_some_and(|n| n.as_encoded_bytes().starts_with(b"ep_")))
        .collect();
    endpoints.sort();
    let wanted = |folder: &&PathBuf| {
        let address: Option<u8> = number(folder, "bEndpointAddress", 16);
        let attributes: Option<u8> = number(folder, "bmAttributes", 16);
        // Bit 7 of the address is IN; transfer type 3 is interrupt (USB 2.0 table 9-13).
        address.is_some_and(|a| a & 0x80 != 0) && attributes.is_some_and(|a| a & 3 == 3)
    };
    endpoints.iter().find(wanted).and_then(|folder| number(folder, "bInterval", 16))
}

/// Hubs between the device and the root: the kernel names a device by its ports, `1-2.3` is port 3 of the hub in port 2.
fn hub_depth(usb_device: &Path) -> Option<u32> {
    let (_, ports) = usb_device.file_name()?.to_str()?.split_once('-')?;
    u32::try_from(ports.matches('.').count()).ok()
}

/// Bus, vendor and product of `0003:00001209:00000001`.
fn hid_id(text: &str) -> Option<(u16, u16, u16)> {
    let mut parts = text.split(':').map(|part| u32::from_str_radix(part, 16).ok());
    let mut next = || parts.next().flatten().and_then(|n| u16::try_from(n).ok());
    Some((next()?, next()?, next()?))
}

fn text(folder: &Path, name: &str) -> Option<String> {
    fs::read_to_string(folder.join(name)).ok().map(|text| text.trim().to_owned())
}

fn number<N: TryFrom<u32>>(folder: &Path, name: &str, radix: u32) -> Option<N> {
    let text = text(folder, name)?;
    u32::from_str_radix(&text, radix).ok().and_then(|n| N::try_from(n).ok())
}
