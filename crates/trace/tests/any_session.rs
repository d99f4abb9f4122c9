//! Any bytes as a session file: an answer with its line, never a panic. What is written is read back the same.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod common;

use common::sessions::{entry, good_header, header, line};
use flate2::{Compression, write::GzEncoder};
use proptest::prelude::*;
use slipgauge_trace::session::{Entry, Header, Reader, Writer, open};
use slipgauge_trace::{Recording, TraceError};
use std::io::{BufReader, Write as _};

fn write(header: &Header, entries: &[Entry]) -> Vec<u8> {
    let mut writer = Writer::new(Vec::new(), header).unwrap();
    entries.iter().for_each(|entry| writer.write(entry).unwrap());
    std::mem::take(writer.sink())
}

fn read_back(bytes: &[u8]) -> (Header, Vec<Entry>) {
    let (header, mut reader) = Reader::new(bytes).unwrap();
    let entries = std::iter::from_fn(|| reader.next_entry().unwrap()).collect();
    (header, entries)
}

/// Reads as a session; an error at a line must name a line that is there.
fn survive(bytes: &[u8]) -> Result<(), TestCaseError> {
    let lines = bytes.split(|&b| b == b'\n').count() as u64;
    match Recording::read(bytes) {
        Ok(recording) => {
            for device in &recording.devices {
                let motion = &device.motion;
                let n = motion.len();
                let lengths = [
                    motion.x.len(),
                    motion.y.len(),
                    motion.buttons.len(),
                    motion.place.len(),
                    motion.format.len(),
                ];
                prop_assert_eq!(lengths, [n; 5]);
                prop_assert!(motion.kernel_ns.is_empty() || motion.kernel_ns.len() == n);
                prop_assert!(motion.received_ns.as_slice().unwrap().is_sorted());
                prop_assert!((0..n).all(|row| usize::from(motion.format[row]) < device.formats.len()));
            }
            prop_assert!(recording.phases.iter().all(|phase| phase.begin <= phase.end));
            prop_assert!(recording.phases.is_sorted_by(|a, b| a.end <= b.begin));
            prop_assert!(recording.host.stalls.iter().all(|(begin, end)| begin <= end));
            prop_assert!(recording.span.0 <= recording.span.1);
            prop_assert!(recording.digest.bytes <= bytes.len() as u64);
        }
        Err(TraceError::Line { line, byte, .. }) => {
            prop_assert!((1..=lines).contains(&line), "line {line} of {lines}");
            prop_assert!(byte <= bytes.len() as u64);
        }
        Err(_) => {}
    }
    Ok(())
}

proptest! {
    #![proptest_config(common::cases(400))]

    #[test]
    fn what_is_written_is_read_back_the_same(header in header(), entries in prop::collection::vec(entry(), 0..20)) {
        let (header_back, entries_back) = read_back(&write(&header, &entries));
        prop_assert_eq!(header_back, header);
        prop_assert_eq!(entries_back, entries);
    }

    #[test]
    fn no_panic_on_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        survive(&bytes)?;
    }

    #[test]
    fn no_panic_on_any_lines(lines in prop::collection::vec(line(), 0..25), ends in any::<bool>()) {
        let mut bytes = good_header().into_bytes();
        for line in lines {
            bytes.push(b'\n');
            bytes.extend(line);
        }
        if ends {
            bytes.push(b'\n');
        }
        survive(&bytes)?;
    }

    #[test]
    fn no_panic_on_a_good_file_with_bytes_changed(
        header in header(),
        entries in prop::collection::vec(entry(), 0..8),
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut bytes = write(&header, &entries);
        for (place, byte) in edits {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        survive(&bytes)?;
    }

    #[test]
    fn no_panic_on_a_good_header_with_bytes_changed(
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
    ) {
        let mut bytes = (good_header() + "\n{\"t\":1,\"r\":\"0201000590ff0100\"}\n").into_bytes();
        for (place, byte) in edits {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        survive(&bytes)?;
    }

    #[test]
    fn a_file_cut_anywhere_gives_its_whole_lines(
        entries in prop::collection::vec(entry(), 1..10),
        cut in any::<prop::sample::Index>(),
    ) {
        let header = Header { slipgauge: 1, ..Header::default() };
        let bytes = write(&header, &entries);
        let whole = write(&header, &[]).len();
        let cut = whole + cut.index(bytes.len() - whole + 1);
        let (_, mut reader) = Reader::new(&bytes[..cut]).unwrap();
        let mut read = Vec::new();
        while let Some(entry) = reader.next_entry().unwrap() {
            read.push(entry);
        }
        let ends = bytes[..cut].iter().filter(|&&b| b == b'\n').count() - 1;
        prop_assert_eq!(&read[..], &entries[..ends]);
        prop_assert_eq!(reader.digest().cut_short, bytes[cut - 1] != b'\n');
        prop_assert_eq!(&reader.digest().sha256, &sha(&bytes[..reader.digest().bytes as usize]));
    }

    #[test]
    fn compressed_or_not_the_digest_is_the_same_and_a_cut_archive_is_survived(
        entries in prop::collection::vec(entry(), 0..30),
        cut in any::<prop::sample::Index>(),
    ) {
        let bytes = write(&Header { slipgauge: 1, ..Header::default() }, &entries);
        let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
        encoder.write_all(&bytes).unwrap();
        let archive = encoder.finish().unwrap();
        let folder = std::env::temp_dir().join(format!("slipgauge-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join("session.swipes.ndjson.gz");
        std::fs::write(&path, &archive).unwrap();
        prop_assert_eq!(digest(open(&path).unwrap()), digest(BufReader::new(&bytes[..])));
        std::fs::write(&path, &archive[..cut.index(archive.len())]).unwrap();
        if let Ok((_, mut reader)) = Reader::new(open(&path).unwrap()) {
            while let Ok(Some(_)) = reader.next_entry() {}
            prop_assert!(reader.digest().bytes <= bytes.len() as u64);
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}

fn digest(source: impl std::io::BufRead) -> slipgauge_trace::session::Digest {
    let (_, mut reader) = Reader::new(source).unwrap();
    while reader.next_entry().unwrap().is_some() {}
    reader.digest()
}

fn sha(bytes: &[u8]) -> [u8; 32] {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).into()
}
