//! What to do when a device may not be read: the exact rule for that one device, and of it the pointer's nodes only. A
//! receiver's keyboard is another interface, and stays closed; a keyboard's event node on the same one does too.
//!
//! Sources: the form of a USB interface's `modalias` is that of linux drivers/usb/core/sysfs.c; systemd's
//! 73-seat-late.rules hands a node tagged `uaccess` to whoever sits at the machine, so the tag must have been set by a
//! file that sorts before it, and its 50-udev-default.rules has said `ID_INPUT_…` by then (`ID_INPUT_KEY`: keys that
//! are no buttons; `ID_INPUT_KEYBOARD`: all of a keyboard's first ones). A backslash at the end goes on in the next line
//! (udev(7)).

use crate::device::FoundDevice;
use crate::inputs::InputKind;
use crate::sysfs::{HidNode, Usb};

/// The file that a device's rule belongs into.
fn file(vendor: u16, product: u16) -> String {
    format!("/etc/udev/rules.d/70-slipgauge-{vendor:04x}-{product:04x}.rules")
}

/// The rule for a node and for its event node, where that may be opened.
pub(crate) fn rule(node: &HidNode) -> String {
    let (vendor, product) = (node.vendor, node.product);
    let device = match &node.usb {
        Some(Usb { own: true, interface: Some(interface), .. }) => {
            format!("ATTRS{{modalias}}==\"usb:v{vendor:04X}p{product:04X}*in{interface:02X}\"")
        }
        // A HID device's folder is named by bus, vendor, product and a running number.
        _ => format!("KERNELS==\"{:04X}:{vendor:04X}:{product:04X}.*\"", node.bus),
    };
    let mut lines = format!("KERNEL==\"hidraw*\", {device}, TAG+=\"uaccess\"");
    let pointers = || node.inputs.iter().filter(|input| input.kind == InputKind::Pointer);
    if pointers().next().is_some() {
        let no = if pointers().any(|input| input.keys) { "KEYBOARD" } else { "KEY" };
        lines += &format!(
            "\nKERNEL==\"event*\", {device}, \\\n\
             \x20 ENV{{ID_INPUT_MOUSE}}==\"1\", ENV{{ID_INPUT_{no}}}!=\"1\", TAG+=\"uaccess\""
        );
    }
    lines
}

/// Steps for a person: where to put the rule, how to load it.
pub(crate) fn advice(node: &HidNode) -> String {
    let indented: String = rule(node).lines().map(|line| format!("    {line}\n")).collect();
    format!(
        "write this, as root, into {}\n\
         {indented}\
         then run\n\
         \x20   sudo udevadm control --reload\n\
         and plug the device in again. It will be open to whoever sits at this\n\
         machine (over ssh or in a container use MODE=\"0666\" instead of the TAG,\n\
         and remove it afterwards).",
        file(node.vendor, node.product)
    )
}

/// Commands that do the same for all the device's pointers.
pub(crate) fn commands(device: &FoundDevice) -> String {
    let mut rules: Vec<&str> = Vec::new();
    for line in device.pointers().map(|(node, _)| node.rule.as_str()) {
        if !rules.contains(&line) {
            rules.push(line);
        }
    }
    format!(
        "sudo tee {} <<'END'\n{}\nEND\nsudo udevadm control --reload\n",
        file(device.vendor, device.product),
        rules.join("\n")
    )
}
