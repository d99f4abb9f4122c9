//! Any bytes as a descriptor, any bytes as a report: an answer, never a panic, within bounds.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod common;

use common::descriptors::{any_descriptor, fixtures, stream};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use slipgauge_trace::layout::{Layout, ReportError};
use std::cell::Cell;

/// A report for a format: right, short or long by some bytes, or anything.
fn check_reports(layout: &Layout, bytes: &[u8]) -> Result<(), TestCaseError> {
    let mut reports = vec![bytes.to_vec(), Vec::new()];
    for format in layout.formats() {
        for length in [format.bytes.saturating_sub(1), format.bytes, format.bytes + 1] {
            let mut report: Vec<u8> = bytes.iter().copied().cycle().take(length).collect();
            report.resize(length, 0xA5);
            if let (Some(id), Some(first)) = (format.id, report.first_mut()) {
                *first = id;
            }
            reports.push(report);
        }
    }
    for report in reports {
        let known = |id: u8| layout.formats().iter().any(|f| f.id == Some(id));
        let admitted = !layout.numbered() || report.first().is_some_and(|&id| known(id));
        prop_assert_eq!(layout.admits(&report), admitted);
        match layout.decode(&report) {
            Ok(decoded) => {
                let format = &layout.formats()[decoded.format];
                prop_assert_eq!(report.len(), format.bytes);
                prop_assert!(admitted);
                if let Some((x, y)) = &format.axes {
                    let within = |axis: &slipgauge_trace::layout::AxisField, value: i32| {
                        let (low, high) = axis.field_range();
                        // A field of 32 bits without sign comes as the i32 of the same bits.
                        axis.bits == 32 || (low..=high).contains(&i64::from(value))
                    };
                    prop_assert!(within(x, decoded.x) && within(y, decoded.y));
                }
            }
            Err(ReportError::Short { got, want }) => prop_assert!(got == report.len() && got < want),
            Err(ReportError::Long { got, want }) => prop_assert!(got == report.len() && got > want),
            Err(ReportError::Empty) => prop_assert!(report.is_empty()),
            Err(ReportError::UnknownId(id)) => prop_assert!(layout.numbered() && !known(id)),
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(common::cases(1000))]

    #[test]
    fn no_descriptor_and_no_report_panics(
        descriptor in any_descriptor(),
        report in prop::collection::vec(any::<u8>(), 0..80),
    ) {
        if let Ok(layout) = Layout::from_descriptor(&descriptor) {
            prop_assert!(layout.formats().len() <= 255);
            prop_assert!(layout.formats().iter().any(|f| f.axes.is_some()));
            check_reports(&layout, &report)?;
        }
    }

    #[test]
    fn long_streams_of_items_do_not_panic(streams in prop::collection::vec(stream(), 1..20)) {
        let _ = Layout::from_descriptor(&streams.concat());
    }
}

#[test]
fn the_random_descriptors_reach_the_decoder() {
    // Otherwise the test above proves nothing: of its descriptors a good part must parse.
    let (all, parsed) = (Cell::new(0u32), Cell::new(0u32));
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    for _ in 0..2000 {
        let descriptor = any_descriptor().new_tree(&mut runner).unwrap().current();
        all.set(all.get() + 1);
        parsed.set(parsed.get() + u32::from(Layout::from_descriptor(&descriptor).is_ok()));
    }
    assert!(parsed.get() * 10 > all.get(), "{} of {} parse", parsed.get(), all.get());
}

#[test]
fn every_cut_of_every_good_descriptor_is_survived() {
    for (_, bytes) in fixtures().into_iter().filter(|(name, _)| !name.starts_with("hostile")) {
        for end in 0..bytes.len() {
            let _ = Layout::from_descriptor(&bytes[..end]);
        }
        for bit in 0..bytes.len() * 8 {
            let mut flipped = bytes.clone();
            flipped[bit / 8] ^= 1 << (bit % 8);
            let _ = Layout::from_descriptor(&flipped);
        }
    }
}
