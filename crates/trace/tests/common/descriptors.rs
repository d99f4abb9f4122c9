//! Report descriptors: item streams that reach deep into a parser, and good ones with bytes changed.

use proptest::prelude::*;
use proptest::sample::Index;
use std::path::Path;

/// Page, Usage(Mouse), Collection(Application).
pub const MOUSE: [u8; 6] = [0x05, 0x01, 0x09, 0x02, 0xA1, 0x01];
/// X and Y, 8 bits, relative.
pub const X_Y: [u8; 16] =
    [0x05, 0x01, 0x09, 0x30, 0x09, 0x31, 0x15, 0x81, 0x25, 0x7F, 0x75, 0x08, 0x95, 0x02, 0x81, 0x06];

/// A short item with 0, 1, 2 or 4 bytes of data; the value is cut to fit.
pub fn short(tag: u8, value: u32, bytes: usize) -> Vec<u8> {
    let mut item = vec![tag | if bytes == 4 { 3 } else { bytes as u8 }];
    item.extend(&value.to_le_bytes()[..bytes]);
    item
}

fn width() -> impl Strategy<Value = usize> {
    prop_oneof![1 => Just(0usize), 8 => Just(1), 4 => Just(2), 3 => Just(4)]
}

/// Small numbers mostly, all others too.
fn number() -> impl Strategy<Value = u32> {
    prop_oneof![
        6 => 0u32..9,
        4 => 0u32..64,
        2 => 0u32..0x400,
        1 => prop::sample::select(vec![127, 128, 255, 256, 0x7FFF, 0x8000, 0xFFFF, 0x1_0000, u32::MAX - 1, u32::MAX]),
        1 => any::<u32>(),
    ]
}

fn usage() -> impl Strategy<Value = u32> {
    let known = vec![
        1,
        2,
        0x30,
        0x31,
        0x38,
        0x48,
        0x238,
        0x0001_0002,
        0x0001_0030,
        0x0001_0031,
        0x0009_0001,
        0x0007_0004,
    ];
    prop_oneof![4 => prop::sample::select(known), 1 => number()]
}

/// One item, whole: of every kind that a parser treats in its own way.
pub fn item() -> impl Strategy<Value = Vec<u8>> {
    let page = prop::sample::select(vec![1u32, 1, 1, 9, 7, 8, 0xC, 0xD, 0xFF00, 0]);
    let flags = prop_oneof![Just(2u32), Just(6), Just(6), Just(0), Just(1), Just(3), any::<u32>()];
    let kind = prop_oneof![Just(0u32), Just(1), Just(1), Just(2), any::<u32>()];
    let main = prop::sample::select(vec![0x80u8, 0x80, 0x80, 0x90, 0xB0]);
    let of = |tag: u8| (number(), width()).prop_map(move |(v, w)| short(tag, v, w));
    prop_oneof![
        3 => (page, width()).prop_map(|(v, w)| short(0x04, v, w)),
        6 => (usage(), width()).prop_map(|(v, w)| short(0x08, v, w)),
        2 => of(0x18),
        2 => of(0x28),
        2 => of(0x14),
        2 => of(0x24),
        3 => of(0x74),
        3 => of(0x94),
        1 => of(0x84),
        1 => Just(vec![0xA4]),
        1 => Just(vec![0xB4]),
        1 => of(0xA8),
        2 => (kind, width()).prop_map(|(v, w)| short(0xA0, v, w)),
        2 => Just(vec![0xC0]),
        6 => (main, flags, width()).prop_map(|(tag, v, w)| short(tag, v, w)),
        1 => (any::<u8>(), prop::collection::vec(any::<u8>(), 4)).prop_map(|(prefix, data)| {
            let bytes = [0, 1, 2, 4][usize::from(prefix & 3)];
            [&[prefix][..], &data[..bytes]].concat()
        }),
        1 => prop::collection::vec(any::<u8>(), 0..6)
            .prop_map(|data| [&[0xFE, data.len() as u8, 0x10][..], &data].concat()),
    ]
}

/// A stream of items; often around a mouse, so that what follows the parser is reached too.
pub fn stream() -> impl Strategy<Value = Vec<u8>> {
    let items = || prop::collection::vec(item(), 0..24).prop_map(|items| items.concat());
    prop_oneof![
        2 => items(),
        2 => (items(), items()).prop_map(|(a, b)| [&MOUSE[..], &a, &X_Y, &b, &[0xC0]].concat()),
        2 => (items(), items(), 1u8..4, 1u8..4).prop_map(|(a, b, id, other)| {
            [&MOUSE[..], &[0x85, id], &X_Y, &[0x85, other], &a, &[0xC0, 0x05, 0x01, 0x09, 0x06, 0xA1, 0x01], &b, &[0xC0]]
                .concat()
        }),
    ]
}

/// The good fixtures, by name.
pub fn fixtures() -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/descriptors");
    let mut found: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            let text = std::fs::read_to_string(path.join("descriptor.hex")).unwrap();
            let pairs = text.lines().flat_map(|line| line.split('#').next().unwrap().split_whitespace());
            let bytes = pairs.map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect();
            (path.file_name().unwrap().to_string_lossy().into_owned(), bytes)
        })
        .collect();
    found.sort();
    found
}

/// A good descriptor with some bytes changed, taken out, or put in.
pub fn mutated() -> impl Strategy<Value = Vec<u8>> {
    let good = prop::sample::select(fixtures().into_iter().map(|(_, bytes)| bytes).collect::<Vec<_>>());
    let edits = prop::collection::vec((any::<Index>(), any::<u8>(), 0u8..4), 1..6);
    (good, edits).prop_map(|(mut bytes, edits)| {
        for (place, byte, what) in edits {
            if bytes.is_empty() {
                break;
            }
            let place = place.index(bytes.len());
            match what {
                0 => bytes[place] ^= 1 << (byte & 7),
                1 => bytes[place] = byte,
                2 => drop(bytes.remove(place)),
                _ => bytes.insert(place, byte),
            }
        }
        bytes
    })
}

/// Anything that may be given as a descriptor.
pub fn any_descriptor() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![1 => prop::collection::vec(any::<u8>(), 0..200), 4 => stream(), 3 => mutated()]
}
