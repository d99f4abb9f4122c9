use super::*;
use slipgauge_trace::layout::BOOT_DESCRIPTOR;

fn bench(access: Access) -> FoundDevice {
    let node = FoundNode {
        path: "/dev/hidraw3".into(),
        interface: Some(0),
        descriptor: BOOT_DESCRIPTOR.to_vec(),
        layout: Layout::from_descriptor(&BOOT_DESCRIPTOR),
        interval: Some(Nanos(1_000_000)),
        access,
        permit: "write the rule\nand plug it in again".to_owned(),
        rule: "KERNEL==\"hidraw*\"".to_owned(),
        inputs: Vec::new(),
    };
    FoundDevice {
        name: "Bench\u{1b}[2J Pointer".to_owned(),
        vendor: 0x1209,
        product: 1,
        usb: true,
        speed_mbit: Some(12.0),
        nodes: vec![node],
        ..FoundDevice::default()
    }
}

fn listed(devices: &[FoundDevice]) -> String {
    let mut out = Vec::new();
    list(&mut out, devices).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn a_device_is_told_on_lines_that_fit_and_its_name_harmlessly() {
    let text = listed(&[bench(Access::Ok)]);
    let expected = "1  Bench\\u{1b}[2J Pointer  USB 12 Mbit/s  1209:0001\n   \
                    /dev/hidraw3 every 1 ms: X/Y 8 bit, 3 buttons\n";
    assert_eq!(text, expected);
    assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
}

#[test]
fn a_device_that_cannot_be_read_is_listed_with_the_way_out() {
    let denied = listed(&[bench(Access::Denied)]);
    assert!(
        denied.contains("no right to read /dev/hidraw3") && denied.contains("     and plug it in again\n")
    );
    let missing = listed(&[bench(Access::Missing)]);
    assert!(missing.contains("/dev/hidraw3 is not here"), "{missing}");
}

#[test]
fn intervals_below_a_millisecond_are_exact() {
    assert_eq!(milliseconds(Nanos(125_000)), "0.125 ms");
}

#[test]
fn no_device_is_told_with_what_was_looked_at() {
    let root = std::env::temp_dir().join(format!("slipgauge-devices-{}", std::process::id()));
    assert!(why_none(&root).contains("there is no /sys/class/hidraw"));
    std::fs::create_dir_all(root.join("sys/class/hidraw")).unwrap();
    assert!(why_none(&root).contains("is empty"));
    std::fs::create_dir(root.join("sys/class/hidraw/hidraw0")).unwrap();
    assert!(why_none(&root).contains("1 HID node"));
    std::fs::remove_dir_all(root).unwrap();
}
