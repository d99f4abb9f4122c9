//! A USB mouse, all the way from the wire: the emulator moves it and keeps its own record of the traffic.

use std::fs;
use std::time::Duration;

use super::machine::{Kernel, Parts, Time};
use super::pcap::interrupt_reports;
use super::recorded::recorded;

/// Movements of both signs on both axes, some more than the report's 8 bits can tell at once.
fn movements() -> impl Iterator<Item = (i32, i32)> {
    (0..150).map(|k| (k * 37 % 301 - 120, k * 53 % 277 - 150))
}

#[test]
#[ignore = "needs a virtual machine: scripts/vm-test"]
fn usb_counts_arrive_to_the_count() {
    let parts = Parts {
        name: "usb".to_owned(),
        kernel: Kernel::Full,
        time: Time::Host,
        scenario: include_str!("guest/usb.sh"),
        files: vec![],
        devices: vec!["qemu-xhci", "usb-mouse,pcap=usb.pcap"],
    };
    let mut machine = parts.boot();
    machine.wait_for("ready");
    let mut control = machine.control();
    for (x, y) in movements() {
        control.move_by(x, y);
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(!machine.has_said("moved"), "this host is too busy: the recording ended before the movement");
    let files = machine.finish();

    let session = recorded(&files, 0);
    assert_eq!(session.with("end").count(), 1, "closed properly on SIGINT");
    let reports: Vec<_> = session.reports().into_iter().map(|report| report.bytes).collect();
    let sum = |byte: usize| reports.iter().map(|report| i32::from(report[byte] as i8)).sum::<i32>();
    let moved = movements().fold((0, 0), |sum, step| (sum.0 + step.0, sum.1 + step.1));
    assert_eq!((sum(1), sum(2)), moved, "counts of X and Y over {} reports", reports.len());

    let on_the_wire = interrupt_reports(&fs::read(files.of_host("usb.pcap")).unwrap());
    assert!(on_the_wire == reports, "{} reports recorded, {} on the wire", reports.len(), on_the_wire.len());
}
