//! What to do when a device may not be read: the exact rule for that one device, and of it the pointer's node only. A
//! receiver's keyboard is another interface, and stays closed.
//!
//! Sources: the form of a USB interface's `modalias` is that of linux drivers/usb/core/sysfs.c; systemd's 73-seat-late.rules hands a node tagged `uaccess` to whoever sits at the machine, so the tag must
//! have been set by a file that sorts before it.

use crate::sysfs::{HidNode, Usb};

/// Steps for a person, one a line: a udev rule that opens this device and no other, where to put it, how to load it.
pub(crate) fn advice(node: &HidNode) -> String {
    let (vendor, product) = (node.vendor, node.product);
    let device = match &node.usb {
        Some(Usb { own: true, interface: Some(interface), .. }) => {
            format!("ATTRS{{modalias}}==\"usb:v{vendor:04X}p{product:04X}*in{interface:02X}\"")
        }
        // A HID device's folder is named by bus, vendor, product and a running number.
        _ => format!("KERNELS==\"{:04X}:{vendor:04X}:{product:04X}.*\"", node.bus),
    };
    format!(
        "write this line, as root, into /etc/udev/rules.d/70-slipgauge-{vendor:04x}-{product:04x}.rules\n\
         \x20   KERNEL==\"hidraw*\", {device}, TAG+=\"uaccess\"\n\
         then run\n\
         \x20   sudo udevadm control --reload\n\
         and plug the device in again. It will be open to whoever sits at this machine (over ssh\n\
         or in a container use MODE=\"0666\" instead of the TAG, and remove it afterwards)."
    )
}
