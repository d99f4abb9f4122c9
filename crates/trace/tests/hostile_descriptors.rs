//! Descriptors that made the parser panic, ask for unbounded memory, or read something else than a kernel reads.
//!
//! Each was found by reading the parser; the claim of each test is what must hold instead.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

use slipgauge_trace::layout::{Layout, LayoutError};

/// Page, Usage(Mouse), Collection(Application): how a mouse begins.
const MOUSE: [u8; 6] = [0x05, 0x01, 0x09, 0x02, 0xA1, 0x01];
/// X and Y, 8 bits, relative.
const X_Y: [u8; 16] =
    [0x05, 0x01, 0x09, 0x30, 0x09, 0x31, 0x15, 0x81, 0x25, 0x7F, 0x75, 0x08, 0x95, 0x02, 0x81, 0x06];
const END: [u8; 1] = [0xC0];

fn layout(parts: &[&[u8]]) -> Result<Layout, LayoutError> {
    Layout::from_descriptor(&parts.concat())
}

#[test]
fn refuses_a_long_item_instead_of_reading_its_data_as_items() {
    // The parser takes the long item's data for items: here a usage with no page, on which it panics.
    let result = layout(&[&[0xFE, 0x08, 0x00, 0x09, 0x30, 0x75, 0x08, 0x95, 0x01, 0x81, 0x02]]);
    assert!(matches!(result, Err(LayoutError::Malformed { offset: 0, .. })), "{result:?}");
}

#[test]
fn a_usage_maximum_kept_across_push_and_pop_asks_for_no_memory() {
    // The parser saves local items with Push: the maximum comes back after Pop and meets a minimum of 0.
    let trap = [
        0x05, 0x01, 0x2B, 0xFF, 0xFF, 0xFF, 0xFF, 0xA4, 0x75, 0x08, 0x95, 0x01, 0x81, 0x01, 0xB4, 0x75, 0x08,
        0x95, 0x01, 0x19, 0x00, 0x81, 0x02,
    ];
    let _ = layout(&[&trap, &MOUSE, &X_Y, &END]);
}

#[test]
fn usages_of_a_collection_are_not_copied_for_every_field() {
    // 12,288 usages on a collection, 100,000 one-bit fields within: 5 GB if each field carries them.
    let trap = [0x1A, 0x00, 0x00, 0x2A, 0xFF, 0x2F, 0xA1, 0x01, 0x75, 0x01, 0x97, 0xA0, 0x86, 0x01, 0x00];
    let _ = layout(&[&[0x05, 0x01], &trap, &[0x09, 0x01, 0x81, 0x02], &END]);
}

#[test]
fn a_field_wider_than_32_bits_elsewhere_does_not_refuse_the_mouse() {
    // 64-bit vendor data under an ID of its own.
    let vendor = [
        0x06, 0x00, 0xFF, 0x09, 0x01, 0xA1, 0x01, 0x85, 0x02, 0x09, 0x02, 0x75, 0x40, 0x95, 0x01, 0x81, 0x02,
        0xC0,
    ];
    let found = layout(&[&MOUSE, &[0x85, 0x01], &X_Y, &END, &vendor]).unwrap();
    assert_eq!(found.formats().len(), 1);
    assert!(!found.admits(&[2, 0, 0, 0, 0, 0, 0, 0, 0]));
}

#[test]
fn an_axis_wider_than_32_bits_is_not_an_axis() {
    let wide =
        [0x05, 0x01, 0x09, 0x30, 0x09, 0x31, 0x15, 0x81, 0x25, 0x7F, 0x75, 0x40, 0x95, 0x02, 0x81, 0x06];
    assert!(matches!(layout(&[&MOUSE, &wide, &END]), Err(LayoutError::NoPointer { .. })));
}

#[test]
fn a_usage_range_up_to_32767_does_not_refuse_the_mouse() {
    // Seen in a real device's media-key collection. Linux cuts such a range at 12,288 usages and goes on.
    let media = [
        0x05, 0x0C, 0x09, 0x01, 0xA1, 0x01, 0x85, 0x03, 0x19, 0x00, 0x2A, 0xFF, 0x7F, 0x15, 0x00, 0x26, 0xFF,
        0x7F, 0x75, 0x10, 0x95, 0x03, 0x81, 0x00, 0xC0,
    ];
    let found = layout(&[&MOUSE, &[0x85, 0x01], &X_Y, &END, &media]).unwrap();
    assert!(found.admits(&[1, 0, 0]) && !found.admits(&[3, 0, 0]));
}

#[test]
fn a_usage_before_push_does_not_come_back_after_pop() {
    // Push and Pop save global items only (HID 1.11, 6.2.2.7). If the X came back with Pop, Y would be read as X.
    let split = [
        0x15, 0x81, 0x25, 0x7F, 0x75, 0x08, 0x95, 0x01, 0x09, 0x30, 0xA4, 0x81, 0x06, 0xB4, 0x09, 0x31, 0x81,
        0x06,
    ];
    let decoded = layout(&[&MOUSE, &split, &END]).unwrap().decode(&[3, 0xFC]).unwrap();
    assert_eq!((decoded.x, decoded.y), (3, -4));
}

#[test]
fn a_usage_range_with_a_page_of_its_own_keeps_it() {
    // Usage Minimum and Maximum of four bytes carry the page (6.2.2.8): three buttons on the Generic Desktop page.
    let buttons = [
        0x1B, 0x01, 0x00, 0x09, 0x00, 0x2B, 0x03, 0x00, 0x09, 0x00, 0x15, 0x00, 0x25, 0x01, 0x75, 0x01, 0x95,
        0x03, 0x81, 0x02, 0x75, 0x05, 0x95, 0x01, 0x81, 0x03,
    ];
    let found = layout(&[&MOUSE, &buttons, &X_Y, &END]).unwrap();
    assert_eq!(found.formats()[0].buttons, 3);
    assert_eq!(found.decode(&[5, 0, 0]).unwrap().buttons, 5);
}

#[test]
fn keys_named_by_a_four_byte_range_are_seen_as_keys() {
    // Keyboard page in the range itself while the global page says Button: still keys, so still refused.
    let keys = [
        0x05, 0x09, 0x1B, 0x04, 0x00, 0x07, 0x00, 0x2B, 0x1D, 0x00, 0x07, 0x00, 0x15, 0x00, 0x25, 0x1A, 0x75,
        0x08, 0x95, 0x06, 0x81, 0x00,
    ];
    assert!(matches!(layout(&[&MOUSE, &keys, &X_Y, &END]), Err(LayoutError::NoPointer { .. })));
}

#[test]
fn padding_written_as_data_without_usages_is_padding() {
    // Linux ignores a field without usages; the parser refuses the whole descriptor.
    let padding = [0x75, 0x08, 0x95, 0x01, 0x81, 0x02];
    let found = layout(&[&MOUSE, &padding, &X_Y, &END]).unwrap();
    let decoded = found.decode(&[0x55, 1, 2]).unwrap();
    assert_eq!((decoded.x, decoded.y, decoded.buttons), (1, 2, 0));
}

#[test]
fn refuses_a_field_without_report_id_after_pop_restored_none() {
    // The parser adds it to the first report, whatever its ID, and shifts what follows.
    let mixed = [0xA4, 0x85, 0x01];
    let after = [0xB4, 0x75, 0x08, 0x95, 0x01, 0x09, 0x38, 0x81, 0x06];
    let result = layout(&[&MOUSE, &mixed, &X_Y, &after, &END]);
    assert!(matches!(result, Err(LayoutError::Malformed { .. })), "{result:?}");
}

#[test]
fn a_logical_maximum_of_one_byte_is_unsigned_where_the_minimum_is_not_negative() {
    // `15 00 25 FF` is how many devices write 0..255.
    let wheel = [0x09, 0x38, 0x15, 0x00, 0x25, 0xFF, 0x75, 0x08, 0x95, 0x01, 0x81, 0x06];
    let decoded = layout(&[&MOUSE, &X_Y, &wheel, &END]).unwrap().decode(&[0, 0, 0xFF]).unwrap();
    assert_eq!(decoded.wheel, 255);
}

#[test]
fn media_keys_nested_in_a_mouse_collection_are_refused() {
    // The innermost application collection owns a field, as Linux has it.
    let nested = [
        0x05, 0x0C, 0x09, 0x01, 0xA1, 0x01, 0x85, 0x02, 0x09, 0xE9, 0x15, 0x00, 0x25, 0x01, 0x75, 0x08, 0x95,
        0x01, 0x81, 0x02, 0xC0,
    ];
    let found = layout(&[&MOUSE, &[0x85, 0x01], &X_Y, &nested, &END]).unwrap();
    assert!(found.admits(&[1, 0, 0]) && !found.admits(&[2, 1]));
}

#[test]
fn large_output_and_feature_reports_do_not_refuse_the_mouse() {
    // Six feature reports of 4 KiB, as for updating firmware: more than 16 KiB together.
    let mut features = vec![0x06, 0x00, 0xFF, 0x75, 0x08];
    for id in 2..8 {
        features.extend([0x85, id, 0x96, 0x00, 0x10, 0x09, 0x01, 0xB1, 0x02]);
    }
    let found = layout(&[&MOUSE, &[0x85, 0x01], &X_Y, &features, &END]).unwrap();
    assert_eq!(found.formats().len(), 1);
}
