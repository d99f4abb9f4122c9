//! The rules of the session file, one claim each.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use slipgauge_trace::session::{
    ClockId, Digest, Event, MAX_LINE, MAX_NODES, Pace, Protocol, Reader, Role, Task, Writer, open,
};
use slipgauge_trace::{Nanos, Recording, TraceError};

/// Two boot mice, the second as reference.
const HEADER: &str = r#"{"slipgauge":1,"tool":"t","clock":{"id":"monotonic"},"devices":[{"role":"test","nodes":[{"protocol":"boot"}]},{"role":"reference","nodes":[{"protocol":"boot"}]}]}"#;

fn file(lines: &[&str]) -> String {
    [&[HEADER], lines].concat().join("\n") + "\n"
}

fn read(lines: &[&str]) -> Result<Recording, TraceError> {
    Recording::read(file(lines).as_bytes())
}

/// Line and sentence of the error.
fn refusal(lines: &[&str]) -> (u64, String) {
    match read(lines) {
        Err(TraceError::Line { line, what, .. }) => (line, what),
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_empty_file_and_a_header_without_end_are_told_apart() {
    assert!(matches!(Recording::read(&b""[..]), Err(TraceError::Empty)));
    let cut = Recording::read(HEADER.as_bytes()).unwrap_err().to_string();
    assert!(cut.starts_with("line 1 (byte 0): no whole header line"), "{cut}");
}

#[test]
fn a_header_alone_is_a_session_without_reports() {
    let recording = read(&[]).unwrap();
    assert_eq!(recording.devices.len(), 2);
    assert!(recording.devices.iter().all(|device| device.motion.is_empty()));
    assert!(!recording.ended);
}

#[test]
fn an_unknown_version_is_refused_and_a_missing_one_is_no_session() {
    let later = HEADER.replace("\"slipgauge\":1", "\"slipgauge\":2") + "\n";
    assert!(matches!(Recording::read(later.as_bytes()), Err(TraceError::Version { found: 2 })));
    for other in ["{}\n", "[]\n", "5\n", "\n", "hello\n", "{\"slipgauge\":\"1\"}\n", "{\"slipgauge\":-1}\n"] {
        let error = Recording::read(other.as_bytes()).unwrap_err().to_string();
        assert!(error.contains("no session header"), "{other}: {error}");
    }
}

#[test]
fn unknown_keys_of_the_header_are_kept() {
    let text = r#"{"slipgauge":1,"devices":[{"nodes":[{"protocol":"boot","x-node":1}],"firmware":"1.2","x-device":[1,2]}],"plan":{"x-plan":null},"x-header":{"a":1}}"#;
    let (header, _) = Reader::new(format!("{text}\n").as_bytes()).unwrap();
    let mut writer = Writer::new(Vec::new(), &header).unwrap();
    let (again, _) = Reader::new(&writer.sink()[..]).unwrap();
    assert_eq!(again, header);
    assert_eq!(header.other["x-header"]["a"], 1);
    assert_eq!(header.devices[0].other["firmware"], "1.2");
    assert_eq!(header.devices[0].nodes[0].other["x-node"], 1);
    assert!(header.plan.unwrap().other["x-plan"].is_null());
}

#[test]
fn words_of_a_later_version_are_read_as_unknown() {
    let text = r#"{"slipgauge":1,"clock":{"id":"atomic"},"devices":[{"role":"judge","link":"light","nodes":[{"protocol":"later"}]}]}"#;
    let lines = concat!(
        "\n",
        r#"{"t":0,"phase":{"step":1,"task":"juggle","pace":"breakneck","by":"hand"}}"#,
        "\n",
        r#"{"t":5,"later":true}"#,
        "\n",
        r#"{"later":true}"#,
        "\n"
    );
    let recording = Recording::read((text.to_owned() + lines).as_bytes()).unwrap();
    let device = &recording.header.devices[0];
    assert_eq!(recording.header.clock.id, ClockId::Foreign);
    assert_eq!((device.role, device.link.as_deref()), (Role::Unknown, Some("light")));
    assert_eq!(device.nodes[0].protocol, Some(Protocol::Unknown));
    let phase = &recording.phases[0].phase;
    assert_eq!((&phase.task, phase.pace), (&Task::Unknown("juggle".into()), Some(Pace::Unknown)));
    assert_eq!(phase.other["by"], "hand");
    assert_eq!(recording.unknown_lines, 2);
}

#[test]
fn no_phase_is_told_from_no_key() {
    let lines = [
        r#"{"t":10,"phase":{"step":1,"task":"still"}}"#,
        r#"{"t":20,"phase":null}"#,
        r#"{"t":30,"phase_":null}"#,
    ];
    let recording = read(&lines).unwrap();
    assert_eq!(recording.phases.len(), 1);
    assert_eq!((recording.phases[0].begin, recording.phases[0].end), (Nanos(10), Nanos(20)));
    assert_eq!(recording.unknown_lines, 1);
}

#[test]
fn a_phase_ends_where_the_next_begins_or_past_the_last_line() {
    let lines = [
        r#"{"t":10,"phase":{"step":1,"task":"still"}}"#,
        r#"{"t":20,"phase":{"step":1,"task":"swipes","pace":"slow","swipes":3}}"#,
        r#"{"t":30,"r":"000100"}"#,
    ];
    let recording = read(&lines).unwrap();
    let ends: Vec<(u32, i64, i64)> =
        recording.phases.iter().map(|p| (p.number, p.begin.0, p.end.0)).collect();
    assert_eq!(ends, [(1, 10, 20), (2, 20, 31)]);
    assert_eq!(recording.devices[0].motion.rows(Nanos(20), Nanos(31)), 0..1);
}

#[test]
fn phases_do_not_go_back_in_time_not_even_after_a_pause() {
    let (one, two) =
        (r#"{"t":50,"phase":{"step":1,"task":"still"}}"#, r#"{"t":40,"phase":{"step":1,"task":"still"}}"#);
    assert_eq!(refusal(&[one, two]).0, 3);
    assert_eq!(
        refusal(&[one, r#"{"t":60,"phase":null}"#, r#"{"t":55,"phase":{"step":1,"task":"still"}}"#]).0,
        4
    );
}

#[test]
fn a_break_without_details_is_a_break() {
    let recording = read(&[r#"{"t":5,"resumed":null}"#, r#"{"t":6,"d":0,"back":null}"#]).unwrap();
    assert_eq!((recording.host.breaks, &recording.devices[0].back), (vec![Nanos(5)], &vec![Nanos(6)]));
}

#[test]
fn lines_of_two_devices_may_lie_out_of_order() {
    let recording = read(&[
        r#"{"t":300,"r":"000300"}"#,
        r#"{"t":100,"r":"000100","d":1}"#,
        r#"{"t":400,"r":"000400"}"#,
        r#"{"t":200,"r":"000200","d":1}"#,
    ])
    .unwrap();
    assert_eq!(recording.devices[0].motion.received_ns.to_vec(), [300, 400]);
    assert_eq!(recording.devices[1].motion.x.to_vec(), [1, 2]);
    assert_eq!(recording.span, (Nanos(100), Nanos(400)));
}

#[test]
fn time_that_goes_back_in_one_device_is_refused_with_its_line() {
    let (line, what) = refusal(&[r#"{"t":5,"r":"000100"}"#, "", r#"{"t":4,"r":"000100"}"#]);
    assert_eq!(line, 4);
    assert!(what.contains("earlier"), "{what}");
    // Reports of one batch share their stamp.
    assert!(read(&[r#"{"t":5,"r":"000100"}"#, r#"{"t":5,"r":"000100","q":1}"#]).is_ok());
}

#[test]
fn lines_may_end_as_on_another_system() {
    let text = file(&[r#"{"t":5,"r":"000100"}"#, r#"{"t":6,"end":true}"#]).replace('\n', "\r\n");
    let recording = Recording::read(text.as_bytes()).unwrap();
    assert!(recording.ended && !recording.digest.cut_short);
    assert_eq!(recording.devices[0].motion.len(), 1);
    assert_eq!(recording.digest.bytes, text.len() as u64);
}

#[test]
fn a_last_line_that_was_cut_is_left_out_and_said() {
    let whole = file(&[r#"{"t":5,"r":"000100"}"#]);
    let recording = Recording::read((whole.clone() + r#"{"t":6,"r":"0002"#).as_bytes()).unwrap();
    let without = Recording::read(whole.as_bytes()).unwrap();
    assert!(recording.digest.cut_short && !without.digest.cut_short);
    assert_eq!(recording.digest, Digest { cut_short: true, ..without.digest });
    assert_eq!(recording.devices[0].motion.len(), 1);
}

#[test]
fn a_report_of_no_device_or_no_node_is_refused_with_its_line() {
    assert!(refusal(&[r#"{"t":5,"r":"000100","d":2}"#]).1.contains("device 2"));
    assert!(refusal(&[r#"{"t":5,"r":"000100","n":1}"#]).1.contains("node 1"));
    assert_eq!(refusal(&[r#"{"t":5,"r":"000100","d":18446744073709551615}"#]).0, 2);
    assert_eq!(refusal(&[r#"{"t":5,"d":7,"gone":true}"#]).0, 2);
    assert_eq!(refusal(&[r#"{"t":5,"d":7,"other":1}"#]).0, 2);
}

#[test]
fn hostile_values_are_refused_with_their_line() {
    for line in [
        r#"{"t":1e400,"r":"000100"}"#,
        r#"{"t":0.5,"r":"000100"}"#,
        r#"{"t":99999999999999999999,"r":"000100"}"#,
        r#"{"t":9223372036854775807,"r":"000100"}"#,
        r#"{"t":-9223372036854775808,"r":"000100"}"#,
        r#"{"t":NaN,"r":"000100"}"#,
        r#"{"t":"5","r":"000100"}"#,
        r#"{"r":"000100"}"#,
        r#"{"t":5,"r":"0001"#,
        r#"{"t":5,"r":"00010"}"#,
        r#"{"t":5,"r":"00g100"}"#,
        r#"{"t":5,"r":"0ø100"}"#,
        r#"{"t":5,"r":000100}"#,
        r#"{"t":5,"t":6,"r":"000100"}"#,
        r#"{"t":5,"r":"000100","d":-1}"#,
        r#"{"t":5,"stall":-1}"#,
        r#"{"t":5,"stall":9223372036854775807}"#,
        r#"{"t":5,"phase":{"step":-1,"task":"still"}}"#,
        r#"{"t":5,"phase":{"task":"still"}}"#,
        r#"[5]"#,
        r#"5"#,
        r#"null"#,
    ] {
        assert_eq!(refusal(&[r#"{"t":1,"note":"before"}"#, line]).0, 3, "{line}");
    }
}

#[test]
fn text_that_is_not_utf8_is_refused_with_its_line() {
    let mut bytes = file(&[]).into_bytes();
    bytes.extend(b"{\"t\":1,\"note\":\"\xff\"}\n");
    let error = Recording::read(&bytes[..]).unwrap_err().to_string();
    assert!(error.starts_with("line 2") && error.contains("UTF-8"), "{error}");
}

#[test]
fn deep_json_is_refused_not_followed() {
    let deep = format!(r#"{{"t":1,"live":{}1{}}}"#, "[".repeat(100_000), "]".repeat(100_000));
    assert_eq!(refusal(&[&deep]).0, 2);
}

#[test]
fn a_line_that_is_too_long_is_refused_before_it_is_read_whole() {
    /// Endless: a reader that waited for the line's end would not return.
    struct Endless;
    impl std::io::Read for Endless {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            buffer.fill(b' ');
            Ok(buffer.len())
        }
    }
    let error = Recording::read(std::io::BufReader::new(Endless)).unwrap_err().to_string();
    assert!(error.contains(&format!("longer than {MAX_LINE} bytes")), "{error}");
}

#[test]
fn a_report_that_is_too_long_is_refused_and_the_longest_is_counted_as_malformed() {
    assert_eq!(refusal(&[&format!(r#"{{"t":1,"r":"{}"}}"#, "00".repeat(16_385))]).0, 2);
    // The boot protocol leaves further bytes to the device.
    let longest = format!(r#"{{"t":1,"r":"{}"}}"#, "00".repeat(16_384));
    assert_eq!(read(&[&longest]).unwrap().devices[0].motion.len(), 1);
}

#[test]
fn no_line_is_written_that_would_not_be_read() {
    let (header, _) = Reader::new(file(&[]).as_bytes()).unwrap();
    let mut writer = Writer::new(Vec::new(), &header).unwrap();
    let note = |length| slipgauge_trace::session::Entry {
        t: Nanos(1),
        device: 0,
        event: Event::Note("x".repeat(length)),
    };
    assert!(writer.write(&note(MAX_LINE)).is_err());
    writer.write(&note(MAX_LINE - 100)).unwrap();
    assert_eq!(Recording::read(&writer.sink()[..]).unwrap().notes.len(), 1);
}

#[test]
fn a_header_of_more_devices_than_a_desk_holds_is_refused() {
    let devices = |n: usize| format!("{{\"slipgauge\":1,\"devices\":[{}]}}\n", vec!["{}"; n].join(","));
    assert!(Recording::read(devices(MAX_NODES).as_bytes()).is_ok());
    assert!(Recording::read(devices(MAX_NODES + 1).as_bytes()).is_err());
    let nodes = vec![r#"{"protocol":"boot"}"#; MAX_NODES + 1].join(",");
    let many = format!("{{\"slipgauge\":1,\"devices\":[{{\"nodes\":[{nodes}]}}]}}\n");
    assert!(Recording::read(many.as_bytes()).is_err());
}

#[test]
fn an_archive_that_swells_costs_no_more_than_one_line() {
    use std::io::Write as _;
    // 64 MB of zeros in 64 kB, and cut short.
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    let zeros = vec![0u8; 1 << 20];
    (0..64).for_each(|_| encoder.write_all(&zeros).unwrap());
    let mut archive = encoder.finish().unwrap();
    archive.truncate(archive.len() - 9);
    let path = std::env::temp_dir().join(format!("slipgauge-bomb-{}.gz", std::process::id()));
    std::fs::write(&path, archive).unwrap();
    let error = Recording::open(&path).unwrap_err().to_string();
    std::fs::remove_file(&path).unwrap();
    assert!(error.contains("longer than"), "{error}");
}

#[test]
fn an_archive_with_a_wrong_checksum_is_refused() {
    use std::io::Write as _;
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(file(&[r#"{"t":5,"r":"000100"}"#]).as_bytes()).unwrap();
    let mut archive = encoder.finish().unwrap();
    let last = archive.len() - 5;
    archive[last] ^= 1;
    let path = std::env::temp_dir().join(format!("slipgauge-sum-{}.gz", std::process::id()));
    std::fs::write(&path, archive).unwrap();
    let result = open(&path).map(Recording::read);
    std::fs::remove_file(&path).unwrap();
    assert!(matches!(result, Ok(Err(TraceError::Io { .. }))), "{result:?}");
}

#[test]
fn a_descriptor_that_cannot_be_read_names_device_and_node() {
    let text = r#"{"slipgauge":1,"devices":[{},{"nodes":[{"protocol":"boot"},{"descriptor":"0501090"}]}]}"#;
    let error = Recording::read(format!("{text}\n").as_bytes()).unwrap_err().to_string();
    assert!(error.starts_with("device 1, node 1"), "{error}");
}

#[test]
fn what_cannot_be_meant_is_set_aside_and_said_and_the_rest_stays() {
    let plan = r#""plan":{"travel_um":1000000000000000,"travel_u_um":-5,"steps":[{"id":1,"nominal_counts_per_inch":-800},{"id":2,"nominal_counts_per_inch":800}],"tolerances":{"gain-change":{"limits":[0.02,-0.02],"unit":"relative","source":"x"},"dropout":{"limits":[null,-1],"unit":"x","source":"x"},"drift":{"limits":[null,0.1],"unit":"mm/s","source":"x"}}}"#;
    let header = HEADER.replacen("\"protocol\":\"boot\"", "\"protocol\":\"boot\",\"interval_ns\":-1", 1);
    let header = header.replacen("\"devices\"", &format!("{plan},\"devices\""), 1);
    let phase = r#"{"t":1,"phase":{"step":1,"task":"swipes","travel_um":3}}"#;
    let recording = Recording::read(format!("{header}\n{phase}\n").as_bytes()).unwrap();
    let fields = [
        "line 1, devices[0].nodes[0].interval_ns: -1",
        "line 1, plan.travel_um: 1000000000000000",
        "line 1, plan.travel_u_um: -5",
        "line 1, plan.steps[0].nominal_counts_per_inch: -800",
        "line 1, plan.tolerances.\"dropout\".limits: [null, -1]",
        "line 1, plan.tolerances.\"gain-change\".limits: [0.02, -0.02]",
        "phase 1, travel_um: 3",
    ];
    assert_eq!(recording.set_aside.len(), fields.len(), "{:?}", recording.set_aside);
    for (said, field) in recording.set_aside.iter().zip(fields) {
        assert!(said.starts_with(field) && said.contains(" is set aside, since "), "{said}");
    }
    let plan = recording.header.plan.unwrap();
    assert_eq!((plan.travel(), plan.travel_u_um, plan.steps[0].nominal_counts_per_inch), (None, None, None));
    assert_eq!(plan.steps[1].nominal_counts_per_inch, Some(800.0));
    assert_eq!(plan.tolerances.keys().collect::<Vec<_>>(), ["drift"]);
    assert!(recording.phases[0].phase.other.is_empty());
}
