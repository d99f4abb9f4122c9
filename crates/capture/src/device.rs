//! Which pointing devices there are, and whether they can be read.
//!
//! The `hidapi` crate lists the nodes, once for each usage; they are grouped here into nodes and devices and described
//! from `/sys`, which needs no right, so that a device that cannot be opened is listed with the reason. Nothing is
//! opened here: opening a node wakes its device. Finding costs up to 0.1 s and reads much of `/sys`: never while
//! recording.

use crate::inputs::FoundInput;
use crate::permission;
use crate::sysfs::{BUS_BLUETOOTH, HidNode, Sysfs};
use rustix::fs::Access as Rights;
use serde_json::json;
use slipgauge_trace::Nanos;
use slipgauge_trace::layout::{Layout, LayoutError};
use slipgauge_trace::session::{self, Device};
use std::collections::{BTreeMap, BTreeSet};
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};

/// A device that was found, with its nodes. No serial number is kept.
#[derive(Debug, Clone, Default)]
pub struct FoundDevice {
    /// What it calls itself. Outside text: pass it through [`slipgauge_trace::outside::harmless`] before showing it.
    pub name: String,
    /// Vendor id.
    pub vendor: u16,
    /// Product id.
    pub product: u16,
    /// Release number (`bcdDevice`).
    pub release: Option<u16>,
    /// `bluetooth`, or `None`: a receiver in a USB port cannot be told from a cable.
    pub link: Option<&'static str>,
    /// True if it hangs on USB, by whatever link beyond.
    pub usb: bool,
    /// USB signalling speed in Mbit/s.
    pub speed_mbit: Option<f64>,
    /// Hubs between the device and the root.
    pub hub_depth: Option<u32>,
    /// The interval that the kernel was told to use for all mice instead of the device's own (`usbhid.mousepoll`).
    pub mousepoll: Option<Nanos>,
    /// Its nodes in order of number; at least one has a pointer, unless the device was asked for by path.
    pub nodes: Vec<FoundNode>,
}

/// One node: what the kernel opens.
#[derive(Debug, Clone)]
pub struct FoundNode {
    /// Its file.
    pub path: PathBuf,
    /// USB interface number.
    pub interface: Option<u8>,
    /// The HID report descriptor.
    pub descriptor: Vec<u8>,
    /// Where its motion lies, or what it is instead of a pointer.
    pub layout: Result<Layout, LayoutError>,
    /// Nominal report interval, from the endpoint descriptor.
    pub interval: Option<Nanos>,
    /// Whether this user may read it.
    pub access: Access,
    /// What to do if not, step by step: the udev rule for this one device.
    pub permit: String,
    /// The rule's lines.
    pub rule: String,
    /// What the input layer, and so the desktop, gets of it.
    pub inputs: Vec<FoundInput>,
}

/// Whether a node can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Yes.
    Ok,
    /// The file is there, this user may not read it.
    Denied,
    /// The kernel knows the node, but it has no file here (a container, or no device manager).
    Missing,
}

/// Devices could not be looked for.
#[derive(Debug, thiserror::Error)]
pub enum FindError {
    /// The listing failed.
    #[error("cannot list HID devices: {0}")]
    List(#[from] hidapi::HidError),
    /// No such file.
    #[error("{}: there is no such file; `slipgauge devices` lists what there is", path.display())]
    NoFile {
        /// The path asked for.
        path: PathBuf,
    },
    /// Not a hidraw node.
    #[error("{}: this is no hidraw node; `slipgauge devices` lists what can be recorded", path.display())]
    NotHidraw {
        /// The path asked for.
        path: PathBuf,
    },
    /// The kernel says nothing of it.
    #[error("{}: the kernel's description under /sys/class/hidraw cannot be read: {source}", path.display())]
    Undescribed {
        /// The path asked for.
        path: PathBuf,
        /// The system's answer.
        source: std::io::Error,
    },
}

/// All pointing devices, in the order of their first node. Devices on a bus that `hidapi` does not know are not listed;
/// they can be had [by path](at).
///
/// # Errors
/// [`FindError::List`].
pub fn find() -> Result<Vec<FoundDevice>, FindError> {
    let api = hidapi::HidApi::new()?;
    let paths: BTreeSet<PathBuf> =
        api.device_list().map(|d| std::ffi::OsStr::from_bytes(d.path().to_bytes()).into()).collect();
    Ok(describe(&Sysfs::new("/sys"), paths))
}

/// The device of one node, given by path, with that node only. It may have no pointer.
///
/// # Errors
/// [`FindError`] if the path is no hidraw node.
pub fn at(path: &Path) -> Result<FoundDevice, FindError> {
    at_in(&Sysfs::new("/sys"), path)
}

fn at_in(sysfs: &Sysfs, path: &Path) -> Result<FoundDevice, FindError> {
    // A device manager may have made a link of another name.
    let file = path.canonicalize().map_err(|_| FindError::NoFile { path: path.to_owned() })?;
    let Some(kernel_name) = kernel_name(&file) else {
        return Err(FindError::NotHidraw { path: path.to_owned() });
    };
    let undescribed = |source| FindError::Undescribed { path: path.to_owned(), source };
    let node = sysfs.node(kernel_name).map_err(undescribed)?;
    let mut device = FoundDevice::of(&node, sysfs);
    device.nodes.push(FoundNode::of(node, file));
    Ok(device)
}

/// Groups nodes into devices and keeps those with a pointer.
fn describe(sysfs: &Sysfs, paths: impl IntoIterator<Item = PathBuf>) -> Vec<FoundDevice> {
    let mut devices: BTreeMap<PathBuf, FoundDevice> = BTreeMap::new();
    for path in paths {
        // A node that went away since it was listed is no error.
        let Some(node) = kernel_name(&path).and_then(|name| sysfs.node(name).ok()) else { continue };
        // One USB device is one device. What a receiver's driver made of the devices behind it stays apart.
        let home = match &node.usb {
            Some(usb) if usb.own => usb.folder.clone(),
            _ => node.folder.clone(),
        };
        let device = devices.entry(home).or_insert_with(|| FoundDevice::of(&node, sysfs));
        device.nodes.push(FoundNode::of(node, path));
    }
    let mut devices: Vec<_> = devices.into_values().filter(|d| d.pointers().next().is_some()).collect();
    for device in &mut devices {
        device.nodes.sort_by_key(FoundNode::number);
    }
    devices.sort_by_key(|device| device.nodes.first().map(FoundNode::number));
    devices
}

/// `hidraw3` of `/dev/hidraw3`.
fn kernel_name(path: &Path) -> Option<&str> {
    let name = path.file_name()?.to_str()?;
    name.strip_prefix("hidraw")?.parse::<u32>().is_ok().then_some(name)
}

impl FoundDevice {
    fn of(node: &HidNode, sysfs: &Sysfs) -> FoundDevice {
        let usb = node.usb.as_ref();
        let speed_mbit = usb.and_then(|usb| usb.speed_mbit);
        let mousepoll = sysfs.mousepoll().zip(speed_mbit);
        FoundDevice {
            name: node.name.clone(),
            vendor: node.vendor,
            product: node.product,
            release: usb.and_then(|usb| usb.release),
            link: (node.bus == BUS_BLUETOOTH).then_some("bluetooth"),
            usb: node.bus == crate::sysfs::BUS_USB,
            speed_mbit,
            hub_depth: usb.and_then(|usb| usb.hub_depth),
            mousepoll: mousepoll.and_then(|(n, speed)| crate::sysfs::interval(speed, n)),
            nodes: Vec::new(),
        }
    }

    /// The nodes that carry a pointer, with their layouts: those that a recording reads, in the order in which its
    /// header lists them.
    pub fn pointers(&self) -> impl Iterator<Item = (&FoundNode, &Layout)> {
        self.nodes.iter().filter_map(|node| Some((node, node.layout.as_ref().ok()?)))
    }

    /// Commands for a person to run that give access to it without being root, to all nodes of
    /// [`FoundDevice::pointers`].
    pub fn permission_commands(&self) -> String {
        permission::commands(self)
    }

    /// The device as a session header describes it, with the nodes of [`FoundDevice::pointers`].
    pub fn described(&self) -> Device {
        let mut device = Device {
            name: Some(self.name.clone()),
            vendor: Some(self.vendor),
            product: Some(self.product),
            release: self.release,
            link: self.link.map(str::to_owned),
            speed_mbit: self.speed_mbit,
            hub_depth: self.hub_depth,
            nodes: self.pointers().map(|(node, _)| node.described()).collect(),
            ..Device::default()
        };
        if let Some(interval) = self.mousepoll {
            device.other.insert("mousepoll_ns".to_owned(), json!(interval));
        }
        device
    }
}

impl FoundNode {
    fn of(node: HidNode, path: PathBuf) -> FoundNode {
        let access = match rustix::fs::access(&path, Rights::READ_OK) {
            Ok(()) => Access::Ok,
            Err(rustix::io::Errno::NOENT) => Access::Missing,
            Err(_) => Access::Denied,
        };
        let beside = |name: &str| path.with_file_name("input").join(name);
        let inputs = node.inputs.iter().map(|input| FoundInput {
            path: beside(&input.name),
            kind: input.kind,
            keys: input.keys,
        });
        FoundNode {
            inputs: inputs.collect(),
            path,
            interface: node.usb.as_ref().and_then(|usb| usb.interface),
            layout: Layout::from_descriptor(&node.descriptor),
            interval: node.usb.as_ref().and_then(|usb| usb.interval),
            access,
            permit: permission::advice(&node),
            rule: permission::rule(&node),
            descriptor: node.descriptor,
        }
    }

    fn number(&self) -> u32 {
        let digits = kernel_name(&self.path).and_then(|name| name.strip_prefix("hidraw"));
        digits.and_then(|n| n.parse().ok()).unwrap_or(u32::MAX)
    }

    /// The node as a session header describes it.
    pub fn described(&self) -> session::Node {
        session::Node {
            interface: self.interface,
            interval_ns: self.interval,
            descriptor: session::hex(&self.descriptor),
            ..session::Node::default()
        }
    }
}

#[cfg(test)]
mod tests;
