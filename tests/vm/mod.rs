//! The real program on a real Linux HID stack, in an emulated machine. Run by `scripts/vm-test`, which brings what is
//! needed and says where it is in `SLIPGAUGE_VM`.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod endings;
mod examine;
mod hold;
mod initramfs;
mod keys;
mod machine;
mod pcap;
mod qmp;
mod recorded;
mod usb;
mod virtual_device;
