//! Whatever a file holds: an error with its line, or a session without a key in it.

use super::*;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

const MOUSE: &str = "05 01 09 02 a1 01 85 02 09 01 a1 00 05 09 19 01 29 08 15 00 25 01 75 01 95 08 81 02 05 01 09 30 09 31 \
     15 81 25 7f 75 08 95 02 81 06 c0 c0 05 0c 09 01 a1 01 85 03 19 01 2a 8c 02 15 01 26 8c 02 75 10 95 01 81 00 c0";

fn recording(events: &str) -> String {
    format!("# made up\nR: {} {MOUSE}\nN: Bench Pointer\nI: 3 1234 5678\n{events}", MOUSE.split(' ').count())
}

fn import(text: &str) -> Result<Recording, ImportError> {
    read(text.as_bytes())
}

fn line_of(error: &ImportError) -> u64 {
    match error {
        ImportError::Line { line, .. } => *line,
        other => panic!("{other}"),
    }
}

#[test]
fn reads_name_ids_and_reports() {
    let read =
        import(&recording("E: 000000.000000 4 02 01 05 f9\nE: 000000.001000 4 02 00 01 00\n")).unwrap();
    let device = &read.header.devices[0];
    assert_eq!(device.name.as_deref(), Some("Bench Pointer"));
    assert_eq!((device.vendor, device.product, device.link.as_deref()), (Some(0x1234), Some(0x5678), None));
    let motion = &read.devices[0].motion;
    assert_eq!((motion.x.to_vec(), motion.y.to_vec()), (vec![5, 1], vec![-7, 0]));
    assert_eq!(motion.received_ns.to_vec(), [0, 1_000_000]);
    assert!(read.ended && !read.digest.cut_short);
}

#[test]
fn a_report_of_a_wrong_length_is_kept_as_it_came() {
    let read = import(&recording("E: 0.000000 3 02 01 05\nE: 0.001000 6 02 00 01 00 09 09\n")).unwrap();
    assert_eq!((read.devices[0].malformed, read.devices[0].motion.len()), (2, 0));
}

#[test]
fn media_keys_are_counted_and_their_bytes_dropped() {
    let text =
        recording("E: 0.000000 3 03 e9 00\nE: 0.100000 4 02 00 01 00\nE: 0.200000 3 03 00 00\nE: 1.5 0\n");
    let (_, entries, _) = entries(text.as_bytes()).unwrap();
    let kept = entries.iter().filter(|e| matches!(&e.event, Event::Report(r) if r.bytes.first() != Some(&2)));
    assert_eq!(kept.count(), 0);
    assert_eq!(import(&text).unwrap().devices[0].other, 3);
}

#[test]
fn errors_name_the_line() {
    let late = import(&recording("E: 1.000000 4 02 00 01 00\nE: 0.500000 4 02 00 01 00\n")).unwrap_err();
    assert_eq!(line_of(&late), 6);
    assert!(late.to_string().contains("earlier"), "{late}");
    assert_eq!(line_of(&import("E: 0.000000 1 00\n").unwrap_err()), 1);
    assert_eq!(line_of(&import("R: 2 09 30\nR: 2 09 31\n").unwrap_err()), 2);
    assert!(matches!(import("# nothing\n"), Err(ImportError::NoDescriptor)));
    assert!(matches!(import(""), Err(ImportError::NoDescriptor)));
    let long = format!("N: {}\n", "x".repeat(70_000));
    assert!(import(&long).unwrap_err().to_string().contains("longer than"));
}

#[test]
fn a_device_without_a_pointer_is_refused_by_what_it_is() {
    let media = "R: 23 05 0c 09 01 a1 01 19 01 2a 8c 02 15 01 26 8c 02 75 10 95 01 81 00 c0\n";
    let error = import(media).unwrap_err().to_string();
    assert!(error.contains("Consumer Control"), "{error}");
}

#[test]
fn recognises_recordings_and_nothing_else() {
    for text in ["R: 50 05", "# comment\nD: 0\n", "# only a comment so f", "N: x", "E: 0.0 1 00", "\n\nR: 1"]
    {
        assert!(recognise(text.as_bytes()), "{text}");
    }
    for text in ["", "{\"slipgauge\":1}", "\u{1f}\u{8b}", "Q: later", "Rx: 5", "hello", "r: 50"] {
        assert!(!recognise(text.as_bytes()), "{text}");
    }
}

/// Lines that reach deep: mostly well-formed, with numbers at the edges.
fn any_line() -> impl Strategy<Value = String> {
    let number = prop_oneof![Just("0".to_owned()), "[0-9]{1,8}", "[0-9]{9,20}", "-?[0-9]{1,3}"];
    let event = (number.clone(), number.clone(), prop::collection::vec(any::<u8>(), 0..12), -1i64..2);
    let event = event.prop_map(|(s, us, bytes, off)| {
        let pairs: Vec<String> = bytes.iter().map(|b| format!("{b:02x}")).collect();
        let announced = (bytes.len() as i64 + if off == 1 { 1 } else { 0 }).max(0);
        format!("E: {s}.{us} {announced} {}", pairs.join(" "))
    });
    let descriptor = prop_oneof![
        Just(format!("R: {} {MOUSE}", MOUSE.split(' ').count())),
        prop::collection::vec(any::<u8>(), 0..40).prop_map(|bytes| {
            let pairs: Vec<String> = bytes.iter().map(|b| format!("{b:02x}")).collect();
            format!("R: {} {}", bytes.len(), pairs.join(" "))
        }),
    ];
    prop_oneof![
        4 => event,
        2 => descriptor,
        1 => number.prop_map(|n| format!("D: {n}")),
        1 => "[A-Z]: .{0,20}",
        1 => "[ -~]{0,30}",
    ]
}

proptest! {
    #![proptest_config(settings())]

    #[test]
    fn no_panic_on_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = recognise(&bytes);
        let _ = read(bytes.as_slice());
    }

    #[test]
    fn no_panic_on_any_lines(lines in prop::collection::vec(any_line(), 0..30), ends in any::<bool>()) {
        let text = recording(&(lines.join("\n") + if ends { "\n" } else { "" }));
        if let Ok(read) = import(&text) {
            prop_assert!(read.header.devices.len() <= MAX_DEVICES);
        }
    }

    #[test]
    fn no_panic_on_a_good_recording_with_bytes_changed(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let good = recording("E: 000000.000000 4 02 01 05 f9\nD: 0\nE: 000000.001000 4 02 00 01 00\n");
        let mut bytes = good.into_bytes();
        for (place, byte) in changes {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        let _ = read(bytes.as_slice());
    }

    #[test]
    fn no_report_of_another_id_is_ever_kept(
        reports in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..6), 1..40),
    ) {
        let mut events = String::new();
        for (i, report) in reports.iter().enumerate() {
            let pairs: String = report.iter().map(|b| format!(" {b:02x}")).collect();
            events += &format!("E: 0.{:06} {}{pairs}\n", i * 1000, report.len());
        }
        let (_, entries, _) = entries(recording(&events).as_bytes()).unwrap();
        let mut counted = 0;
        let mut kept = 0;
        for entry in entries {
            match entry.event {
                Event::Report(report) => {
                    prop_assert_eq!(report.bytes.first(), Some(&2));
                    kept += 1;
                }
                Event::Other(n) => counted += n,
                _ => {}
            }
        }
        prop_assert_eq!(counted + kept, reports.len() as u64);
    }
}

/// From a fixed seed; or, for a long run, as many cases as `PROPTEST_CASES` says from a seed of the day.
fn settings() -> ProptestConfig {
    let settings = ProptestConfig { failure_persistence: None, ..ProptestConfig::default() };
    match std::env::var_os("PROPTEST_CASES") {
        Some(_) => settings,
        None => ProptestConfig { rng_seed: RngSeed::Fixed(20_261_125), ..settings },
    }
}
