//! Session files: headers and entries as a writer may be given them, and hostile lines.

use proptest::prelude::*;
use serde_json::{Map, Value, json};
use slipgauge_trace::session::*;
use slipgauge_trace::{Nanos, session};
use std::collections::BTreeMap;

fn text() -> impl Strategy<Value = String> {
    prop_oneof![Just(String::new()), "[ -~]{0,12}", "\\PC{0,8}", any::<String>()]
}

fn value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        text().prop_map(Value::from),
    ];
    leaf.prop_recursive(3, 12, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::btree_map("[a-z]{1,5}", inner, 0..4)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

/// Keys of a later version; the hyphen keeps them off ours.
fn other() -> impl Strategy<Value = Map<String, Value>> {
    prop::collection::btree_map("x-[a-z]{1,6}", value(), 0..3).prop_map(|map| map.into_iter().collect())
}

fn finite() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, ZERO};
    NORMAL | POSITIVE | NEGATIVE | ZERO
}

fn nanos() -> impl Strategy<Value = Nanos> {
    prop_oneof![(0i64..10_000_000_000).prop_map(Nanos), (-MAX_TIME..=MAX_TIME).prop_map(Nanos)]
}

fn node() -> impl Strategy<Value = Node> {
    let descriptors = super::descriptors::fixtures();
    let good: Vec<String> = descriptors.iter().map(|(_, bytes)| session::hex(bytes)).collect();
    let protocol = prop::option::of(prop_oneof![Just(Protocol::Boot), Just(Protocol::Unknown)]);
    let descriptor = prop_oneof![Just(String::new()), prop::sample::select(good)];
    (prop::option::of(any::<u8>()), prop::option::of(nanos()), descriptor, protocol, other()).prop_map(
        |(interface, interval_ns, descriptor, protocol, other)| Node {
            interface,
            interval_ns,
            descriptor,
            protocol,
            other,
        },
    )
}

fn device() -> impl Strategy<Value = Device> {
    let role = prop_oneof![Just(Role::Test), Just(Role::Reference), Just(Role::Unknown)];
    let texts = prop::array::uniform4(prop::option::of(text()));
    let ids = prop::array::uniform3(prop::option::of(any::<u16>()));
    let place = (prop::option::of(finite()), prop::option::of(any::<u32>()));
    (role, texts, ids, place, prop::collection::vec(node(), 0..3), other()).prop_map(
        |(
            role,
            [label, unit, name, link],
            [vendor, product, release],
            (speed_mbit, hub_depth),
            nodes,
            other,
        )| {
            Device {
                role,
                label,
                unit,
                name,
                vendor,
                product,
                release,
                link,
                speed_mbit,
                hub_depth,
                nodes,
                other,
            }
        },
    )
}

fn plan() -> impl Strategy<Value = Plan> {
    let step = (any::<u32>(), prop::option::of(text()), prop::option::of(finite()))
        .prop_map(|(id, label, nominal_counts_per_inch)| Step { id, label, nominal_counts_per_inch });
    let limit = || prop::option::of(finite());
    let tolerance = (limit(), limit(), text(), text()).prop_map(|(low, high, unit, source)| Tolerance {
        limits: [low, high],
        unit,
        source,
    });
    let lengths = (prop::option::of(any::<i64>()), prop::option::of(any::<i64>()), prop::option::of(text()));
    let axis = prop::option::of(prop_oneof![Just(Axis::X), Just(Axis::Y)]);
    let steps = prop::collection::vec(step, 0..4);
    let tolerances = prop::collection::btree_map(text(), tolerance, 0..3);
    (lengths, axis, prop::option::of(any::<bool>()), steps, tolerances, other(), other(), other()).prop_map(
        |(
            (travel_um, travel_u_um, travel_from),
            axis,
            straight_edge,
            steps,
            tolerances,
            paces,
            need,
            other,
        )| {
            let tolerances: BTreeMap<_, _> = tolerances;
            Plan {
                travel_um,
                travel_u_um,
                travel_from,
                axis,
                straight_edge,
                steps,
                paces,
                tolerances,
                need,
                other,
            }
        },
    )
}

/// Any header that a program may write.
pub fn header() -> impl Strategy<Value = Header> {
    let id = prop_oneof![Just(ClockId::Monotonic), Just(ClockId::Simulated), Just(ClockId::Foreign)];
    let clock = (id, prop::option::of(nanos())).prop_map(|(id, resolution_ns)| Clock { id, resolution_ns });
    let words = (text(), prop::option::of(text()), prop::option::of(text()));
    let devices = prop::collection::vec(device(), 0..3);
    (words, clock, devices, prop::option::of(plan()), other(), other()).prop_map(
        |((tool, started, surface), clock, devices, plan, host, other)| Header {
            slipgauge: VERSION,
            tool,
            started,
            clock,
            devices,
            plan,
            surface,
            host,
            other,
        },
    )
}

fn phase() -> impl Strategy<Value = Phase> {
    let task = prop_oneof![
        Just(Task::Identify),
        Just(Task::Still),
        Just(Task::Swipes),
        Just(Task::Strikes),
        Just(Task::Floor),
        "x-[a-z]{0,6}".prop_map(Task::Unknown),
    ];
    let pace = prop_oneof![Just(Pace::Slow), Just(Pace::Medium), Just(Pace::Fast), Just(Pace::Unknown)];
    (any::<u32>(), task, prop::option::of(pace), prop::option::of(any::<u32>()), other())
        .prop_map(|(step, task, pace, swipes, other)| Phase { step, task, pace, swipes, other })
}

fn event() -> impl Strategy<Value = Event> {
    let report =
        (prop::collection::vec(any::<u8>(), 0..20), 0usize..4, any::<u32>(), prop::option::of(nanos()))
            .prop_map(|(bytes, node, place, kernel)| Event::Report(Report { bytes, node, place, kernel }));
    prop_oneof![
        8 => report,
        2 => prop::option::of(phase()).prop_map(Event::Phase),
        1 => (0..=i64::MAX).prop_map(|ns| Event::Stall(Nanos(ns))),
        1 => any::<u64>().prop_map(Event::Overrun),
        1 => any::<u64>().prop_map(Event::Other),
        1 => Just(Event::Gone),
        1 => value().prop_map(Event::Back),
        1 => nanos().prop_map(Event::Suspend),
        1 => value().prop_map(Event::Resumed),
        1 => other().prop_map(Event::Meta),
        1 => text().prop_map(Event::Note),
        1 => value().prop_map(Event::Live),
        1 => Just(Event::End),
    ]
}

/// Any entry that a program may write.
pub fn entry() -> impl Strategy<Value = Entry> {
    (nanos(), 0usize..3, event()).prop_map(|(t, device, event)| Entry { t, device, event })
}

/// A file of two mice: one with report ID 2 in 12 bits, one that speaks the boot protocol.
pub fn good_header() -> String {
    let receiver = super::descriptors::fixtures().into_iter().find(|(name, _)| name == "receiver").unwrap();
    json!({"slipgauge": 1, "tool": "test", "clock": {"id": "monotonic", "resolution_ns": 1}, "devices": [
        {"role": "test", "nodes": [{"descriptor": session::hex(&receiver.1)}]},
        {"role": "reference", "nodes": [{"protocol": "boot"}]},
    ]})
    .to_string()
}

/// Lines that a file of ours may hold, good and hostile.
pub fn line() -> impl Strategy<Value = Vec<u8>> {
    let number = prop_oneof![
        5 => (0i64..5_000_000_000).prop_map(|n| n.to_string()),
        1 => any::<i64>().prop_map(|n| n.to_string()),
        1 => prop::sample::select(vec![
            "-1", "1e400", "-0", "0.5", "1e3", "99999999999999999999999999", "null", "true", "\"5\"", "NaN", "[]",
            "{}", "18446744073709551615",
        ])
        .prop_map(str::to_owned),
    ];
    let report = prop_oneof![
        prop::collection::vec(any::<u8>(), 0..9).prop_map(|bytes| session::hex(&bytes)),
        Just("0201000590ff0100".to_owned()),
        "[0-9a-gA-F]{0,9}",
        Just("ab".repeat(9000)),
    ];
    let key = prop::sample::select(vec![
        "t", "r", "d", "n", "q", "k", "phase", "stall", "overrun", "other", "gone", "back", "suspend",
        "resumed", "meta", "note", "live", "end", "later",
    ]);
    let phase = prop::sample::select(vec![
        "null",
        "{}",
        "{\"step\":1,\"task\":\"still\"}",
        "{\"step\":1,\"task\":\"later\"}",
        "{\"step\":1,\"task\":\"swipes\",\"pace\":\"later\",\"swipes\":3}",
        "{\"step\":-1,\"task\":\"still\"}",
        "[1]",
    ]);
    prop_oneof![
        6 => (number.clone(), report, 0u32..3, 0u32..3)
            .prop_map(|(t, r, d, n)| format!("{{\"t\":{t},\"r\":\"{r}\",\"d\":{d},\"n\":{n}}}").into_bytes()),
        2 => (number.clone(), phase).prop_map(|(t, p)| format!("{{\"t\":{t},\"phase\":{p}}}").into_bytes()),
        4 => prop::collection::vec((key, number), 0..5).prop_map(|pairs| {
            let pairs: Vec<String> = pairs.into_iter().map(|(k, v)| format!("\"{k}\":{v}")).collect();
            format!("{{{}}}", pairs.join(",")).into_bytes()
        }),
        1 => prop::collection::vec(any::<u8>(), 0..40),
        1 => (1usize..400).prop_map(|depth| [b"{\"live\":".repeat(depth), b"}".repeat(depth)].concat()),
        1 => Just(b"{\"t\":1,\"note\":\"\xff\xfe\"}".to_vec()),
        1 => Just(Vec::new()),
    ]
}
