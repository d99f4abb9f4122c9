use super::*;
use crate::InputKind;
use crate::scratch::Scratch;
use slipgauge_trace::layout::BOOT_DESCRIPTOR;
use std::fs;
use std::os::unix::fs::symlink;

/// A keyboard and nothing else.
const KEYBOARD: [u8; 23] = [
    0x05, 0x01, 0x09, 0x06, 0xA1, 0x01, 0x05, 0x07, 0x19, 0x00, 0x29, 0xFF, 0x15, 0x00, 0x25, 0x7F, 0x75,
    0x08, 0x95, 0x06, 0x81, 0x00, 0xC0,
];

/// A tree laid out as /sys and /dev are.
struct Tree(Scratch);

impl Tree {
    fn new() -> Tree {
        Tree(Scratch::new())
    }

    fn sysfs(&self) -> Sysfs {
        Sysfs::new(self.0.path().join("sys"))
    }

    fn write(&self, path: &str, content: impl AsRef<[u8]>) {
        let path = self.0.path().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }

    fn usb_device(&self, folder: &str, speed: &str) {
        for (name, content) in [
            ("speed", speed),
            ("bcdDevice", "0213"),
            ("idVendor", "1209"),
            ("idProduct", "0001"),
            ("serial", "NEVER-READ-THIS"),
        ] {
            self.write(&format!("{folder}/{name}"), format!("{content}\n"));
        }
    }

    fn interface(&self, folder: &str, number: u8, b_interval: u8) {
        self.write(&format!("{folder}/bInterfaceNumber"), format!("{number:02x}\n"));
        for (endpoint, attributes, interval) in [("02", "03", 255), ("81", "03", b_interval)] {
            for (name, content) in [
                ("bEndpointAddress", endpoint.to_owned()),
                ("bmAttributes", attributes.to_owned()),
                ("bInterval", format!("{interval:02x}")),
            ] {
                self.write(&format!("{folder}/ep_{endpoint}/{name}"), format!("{content}\n"));
            }
        }
    }

    /// A HID device with its node, whose file is made too.
    fn hid(&self, folder: &str, id: &str, node: u32, descriptor: &[u8]) {
        self.write(&format!("{folder}/report_descriptor"), descriptor);
        let uevent = format!(
            "DRIVER=hid-generic\nHID_ID={id}\nHID_NAME=Bench Pointer\nHID_PHYS=bench/input0\nHID_UNIQ=NEVER-READ-THIS\n"
        );
        self.write(&format!("{folder}/uevent"), uevent);
        let class = self.0.path().join(format!("sys/class/hidraw/hidraw{node}"));
        fs::create_dir_all(&class).unwrap();
        symlink(self.0.path().join(folder), class.join("device")).unwrap();
        self.write(&format!("dev/hidraw{node}"), "");
    }

    /// An event node of a HID device, with its capabilities as the kernel writes them.
    fn input(&self, hid: &str, number: u32, relative: &str, key: &str) {
        let input = format!("{hid}/input/input{}", number + 20);
        self.write(&format!("{input}/capabilities/rel"), format!("{relative}\n"));
        self.write(&format!("{input}/capabilities/key"), format!("{key}\n"));
        self.write(&format!("{input}/event{number}/dev"), "13:64\n");
    }

    fn node(&self, number: u32) -> PathBuf {
        self.0.path().join(format!("dev/hidraw{number}"))
    }

    fn found(&self, nodes: impl IntoIterator<Item = u32>) -> Vec<FoundDevice> {
        describe(&self.sysfs(), nodes.into_iter().map(|n| self.node(n)))
    }
}

const USB: &str = "sys/devices/pci0000:00/usb1/1-2/1-2.3";
const USB_ID: &str = "0003:00001209:00000001";

/// One full-speed device behind a hub: a pointer on interface 0, a keyboard on interface 1.
fn wired() -> Tree {
    let tree = Tree::new();
    tree.usb_device(USB, "12");
    for (number, descriptor) in [(0u8, &BOOT_DESCRIPTOR[..]), (1, &KEYBOARD)] {
        let interface = format!("{USB}/1-2.3:1.{number}");
        tree.interface(&interface, number, 2);
        tree.hid(
            &format!("{interface}/0003:1209:0001.000{number}"),
            USB_ID,
            10 - u32::from(number),
            descriptor,
        );
    }
    tree
}

#[test]
fn one_usb_device_with_two_nodes_is_one_device() {
    let found = wired().found([9, 10]);
    let [device] = &found[..] else { panic!("{found:?}") };
    assert_eq!((device.name.as_str(), device.vendor, device.product), ("Bench Pointer", 0x1209, 1));
    assert_eq!((device.release, device.speed_mbit, device.hub_depth), (Some(0x0213), Some(12.0), Some(1)));
    assert_eq!((device.link, device.usb), (None, true));
    let nodes: Vec<_> = device.nodes.iter().map(|n| (n.interface, n.layout.is_ok(), n.access)).collect();
    assert_eq!(nodes, [(Some(1), false, Access::Ok), (Some(0), true, Access::Ok)]);
}

#[test]
fn the_header_holds_pointer_nodes_only_and_no_serial_number() {
    let found = wired().found([9, 10]);
    let described = serde_json::to_string(&found[0].described()).unwrap();
    assert!(!described.contains("NEVER-READ-THIS") && !format!("{found:?}").contains("NEVER-READ-THIS"));
    let [node] = &found[0].described().nodes[..] else { panic!("{described}") };
    assert_eq!(node.interval_ns, Some(Nanos(2_000_000)));
    assert_eq!(node.descriptor, session::hex(&BOOT_DESCRIPTOR));
}

#[test]
fn a_keyboard_alone_is_not_listed() {
    assert!(wired().found([9]).is_empty());
}

#[test]
fn a_device_is_found_by_the_path_of_its_node_or_of_a_link_to_it() {
    let tree = wired();
    let link = tree.0.path().join("dev/bench-pointer");
    symlink(tree.node(10), &link).unwrap();
    for path in [tree.node(10), link] {
        let device = at_in(&tree.sysfs(), &path).unwrap();
        assert_eq!((device.nodes.len(), device.pointers().count()), (1, 1));
    }
    let keyboard = at_in(&tree.sysfs(), &tree.node(9)).unwrap();
    let why = keyboard.nodes[0].layout.clone().unwrap_err().to_string();
    assert!(why.contains("Keyboard"), "{why}");
    let source = crate::HidrawSource::open(&keyboard.nodes[0]).unwrap_err().to_string();
    assert!(source.contains("refused") && source.contains("Keyboard"), "{source}");
}

#[test]
fn what_is_no_node_is_refused_by_path() {
    let tree = wired();
    tree.write("dev/input3", "");
    tree.write("dev/hidraw77", "");
    let at = |path: &str| at_in(&tree.sysfs(), &tree.0.path().join(path)).unwrap_err();
    assert!(matches!(at("dev/hidraw5"), FindError::NoFile { .. }));
    assert!(matches!(at("dev/input3"), FindError::NotHidraw { .. }));
    assert!(matches!(at("dev/hidraw77"), FindError::Undescribed { .. }));
}

#[test]
fn a_node_without_a_file_is_listed_as_missing() {
    let tree = wired();
    fs::remove_file(tree.node(10)).unwrap();
    assert_eq!(tree.found([10])[0].nodes[0].access, Access::Missing);
}

#[test]
fn a_bluetooth_device_takes_nothing_from_the_radio_that_it_hangs_on() {
    let tree = Tree::new();
    let radio = "sys/devices/pci0000:00/usb1/1-4";
    tree.usb_device(radio, "12");
    tree.interface(&format!("{radio}/1-4:1.0"), 0, 1);
    tree.hid(
        &format!("{radio}/1-4:1.0/bluetooth/hci0/hci0:1/0005:1209:0002.0003"),
        "0005:00001209:00000002",
        0,
        &BOOT_DESCRIPTOR,
    );
    let found = tree.found([0]);
    assert_eq!((found[0].link, found[0].usb, found[0].speed_mbit), (Some("bluetooth"), false, None));
    assert_eq!(found[0].nodes[0].interval, None);
    assert!(found[0].nodes[0].permit.contains(r#"KERNELS=="0005:1209:0002.*""#));
}

#[test]
fn devices_behind_a_receiver_stay_apart() {
    let tree = Tree::new();
    tree.usb_device(USB, "12");
    let interface = format!("{USB}/1-2.3:1.0");
    tree.interface(&interface, 0, 1);
    let receiver = format!("{interface}/0003:1209:0001.0001");
    tree.hid(&receiver, USB_ID, 0, &BOOT_DESCRIPTOR);
    tree.hid(&format!("{receiver}/0003:1209:0004.0002"), "0003:00001209:00000004", 1, &BOOT_DESCRIPTOR);
    let found = tree.found([0, 1]);
    assert_eq!(found.iter().map(|d| d.product).collect::<Vec<_>>(), [1, 4]);
    assert_eq!(found[1].nodes[0].interval, Some(Nanos(1_000_000)), "the receiver's own, for all behind it");
    assert!(found[1].nodes[0].permit.contains(r#"KERNELS=="0003:1209:0004.*""#));
}

#[test]
fn the_rule_is_for_the_pointer_of_that_one_device() {
    let permit = wired().found([10])[0].nodes[0].permit.clone();
    let rule = r#"KERNEL=="hidraw*", ATTRS{modalias}=="usb:v1209p0001*in00", TAG+="uaccess""#;
    assert!(permit.contains(rule), "{permit}");
    assert!(permit.contains("/etc/udev/rules.d/70-slipgauge-1209-0001.rules"), "{permit}");
}

/// The pointer's folder in [`wired`].
const POINTER: &str = "sys/devices/pci0000:00/usb1/1-2/1-2.3/1-2.3:1.0/0003:1209:0001.0000";
/// Capabilities as the kernel writes them: relative X, Y and wheel; three buttons.
const RELATIVE: &str = "103";
const BUTTONS: &str = "70000 0 0 0 0";

#[test]
fn event_nodes_are_told_by_what_they_can_tell() {
    let tree = wired();
    tree.input(POINTER, 12, RELATIVE, BUTTONS);
    tree.input(POINTER, 5, "0", "e080ffdf01cfffff fffffffffffffffe");
    tree.input(POINTER, 7, RELATIVE, "70000 0 0 0 10000");
    tree.input(POINTER, 8, RELATIVE, "70000 0 0 c000000000000 0");
    tree.input(POINTER, 9, "0", BUTTONS);
    // What a driver made below it is another device's.
    tree.input(&format!("{POINTER}/0003:1209:0004.0002"), 6, RELATIVE, BUTTONS);
    let found = tree.found([10]);
    let inputs: Vec<_> =
        found[0].nodes[0].inputs.iter().map(|input| (&input.path, input.kind, input.keys)).collect();
    let event = |n: u32| tree.0.path().join(format!("dev/input/event{n}"));
    let expected = [
        (&event(5), InputKind::Keyboard, true),
        (&event(7), InputKind::Keyboard, true),
        (&event(8), InputKind::Pointer, true),
        (&event(9), InputKind::Other, false),
        (&event(12), InputKind::Pointer, false),
    ];
    assert_eq!(inputs, expected);
}

#[test]
fn what_cannot_be_opened_is_said_and_a_keyboard_is_not_tried() {
    let tree = wired();
    let error = |tree: &Tree| crate::Hold::take(&crate::Inputs::open(&tree.found([10])[0])).unwrap_err();
    assert!(matches!(error(&tree), crate::HoldError::NoNode));
    tree.input(POINTER, 7, RELATIVE, "70000 0 0 0 10000");
    // Its file is not there: whoever tried to open it would say so.
    assert!(matches!(error(&tree), crate::HoldError::Keyboard { .. }));
    tree.input(POINTER, 8, RELATIVE, BUTTONS);
    assert!(matches!(error(&tree), crate::HoldError::Missing { path } if path.ends_with("event8")));
    // What is there and is no event node.
    tree.write("dev/input/event8", "");
    assert!(matches!(error(&tree), crate::HoldError::Io { .. }));
}

#[test]
fn the_rule_opens_the_pointers_event_node_and_no_keyboards() {
    let tree = wired();
    tree.input(POINTER, 5, "0", "fffffffffffffffe");
    let rule = |tree: &Tree| tree.found([10])[0].nodes[0].rule.clone();
    assert!(!rule(&tree).contains("event*"));
    tree.input(POINTER, 6, RELATIVE, BUTTONS);
    let expected = "KERNEL==\"hidraw*\", ATTRS{modalias}==\"usb:v1209p0001*in00\", TAG+=\"uaccess\"\n\
                    KERNEL==\"event*\", ATTRS{modalias}==\"usb:v1209p0001*in00\", \\\n  \
                    ENV{ID_INPUT_MOUSE}==\"1\", ENV{ID_INPUT_KEY}!=\"1\", TAG+=\"uaccess\"";
    assert_eq!(rule(&tree), expected);
    // Media keys on the pointer's own node.
    tree.input(POINTER, 8, RELATIVE, "70000 0 0 c000000000000 0");
    assert!(rule(&tree).contains("ENV{ID_INPUT_KEYBOARD}!=\"1\""));
    let commands = tree.found([9, 10])[0].permission_commands();
    assert!(commands.starts_with("sudo tee /etc/udev/rules.d/70-slipgauge-1209-0001.rules <<'END'\nKERNEL"));
    assert!(commands.ends_with("\"uaccess\"\nEND\nsudo udevadm control --reload\n"), "{commands}");
    assert!(!commands.contains("in01"), "{commands}");
    assert!(commands.lines().all(|line| line.chars().count() <= 80), "{commands}");
}

#[test]
fn devices_come_in_the_order_of_their_nodes_by_number() {
    let tree = wired();
    tree.hid("sys/devices/virtual/bench/0003:1209:0009.0009", "0003:00001209:00000009", 2, &BOOT_DESCRIPTOR);
    let found = tree.found([10, 2, 9]);
    assert_eq!(found.iter().map(|d| d.product).collect::<Vec<_>>(), [9, 1]);
}

#[test]
fn the_kernels_override_of_the_interval_is_told() {
    let tree = wired();
    tree.write("sys/module/usbhid/parameters/mousepoll", "0\n");
    assert_eq!(tree.found([10])[0].mousepoll, None);
    tree.write("sys/module/usbhid/parameters/mousepoll", "4\n");
    let device = tree.found([10])[0].clone();
    assert_eq!(device.mousepoll, Some(Nanos(4_000_000)));
    assert_eq!(device.described().other["mousepoll_ns"], json!(4_000_000));
}

/// USB 2.0 table 9-13: frames of 1 ms at low and full speed, 2^(n-1) microframes of 125 µs at high speed.
#[test]
fn report_intervals_follow_the_usb_standard() {
    for (speed, b_interval, us) in [
        (1.5, 10, Some(10_000)),
        (12.0, 1, Some(1_000)),
        (12.0, 255, Some(255_000)),
        (480.0, 1, Some(125)),
        (480.0, 4, Some(1_000)),
        (480.0, 7, Some(8_000)),
        (5000.0, 1, Some(125)),
        (12.0, 0, None),
        (480.0, 0, None),
        (480.0, 17, None),
    ] {
        let expected = us.map(|us| Nanos(us * 1000));
        assert_eq!(crate::sysfs::interval(speed, b_interval), expected, "{speed} Mbit/s, {b_interval}");
    }
}
