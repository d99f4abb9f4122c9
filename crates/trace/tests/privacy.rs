//! What may be kept of a node that carries more than a pointer.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

mod common;

use common::descriptors::{MOUSE, X_Y, fixtures, item};
use proptest::prelude::*;
use slipgauge_trace::layout::{Layout, LayoutError};

fn receiver() -> Layout {
    let (_, bytes) = fixtures().into_iter().find(|(name, _)| name == "receiver").unwrap();
    Layout::from_descriptor(&bytes).unwrap()
}

/// An application collection of a keyboard with six key codes, under a report ID if one is given.
fn keyboard(id: Option<u8>) -> Vec<u8> {
    let id: Vec<u8> = id.into_iter().flat_map(|id| [0x85, id]).collect();
    let keys = [
        0x05, 0x07, 0x19, 0x00, 0x29, 0x65, 0x15, 0x00, 0x25, 0x65, 0x75, 0x08, 0x95, 0x06, 0x81, 0x00, 0xC0,
    ];
    [&[0x05, 0x01, 0x09, 0x06, 0xA1, 0x01][..], &id, &keys].concat()
}

fn mouse(id: Option<u8>) -> Vec<u8> {
    let id: Vec<u8> = id.into_iter().flat_map(|id| [0x85, id]).collect();
    [&MOUSE[..], &id, &X_Y, &[0xC0]].concat()
}

#[test]
fn a_report_id_shared_by_mouse_and_keyboard_is_refused_in_either_order() {
    for parts in [[mouse(Some(1)), keyboard(Some(1))], [keyboard(Some(1)), mouse(Some(1))]] {
        assert!(matches!(Layout::from_descriptor(&parts.concat()), Err(LayoutError::NoPointer { .. })));
    }
    for parts in [[mouse(None), keyboard(None)], [keyboard(None), mouse(None)]] {
        assert!(matches!(Layout::from_descriptor(&parts.concat()), Err(LayoutError::NoPointer { .. })));
    }
}

#[test]
fn a_shared_report_id_does_not_take_the_mouses_other_reports_with_it() {
    let parts = [mouse(Some(1)), mouse(Some(2)), keyboard(Some(1))].concat();
    let layout = Layout::from_descriptor(&parts).unwrap();
    assert!(layout.admits(&[2, 0, 0]) && !layout.admits(&[1, 0, 0]));
}

#[test]
fn a_key_among_the_buttons_of_a_mouse_refuses_its_report() {
    // Usage Page (Keyboard), Usage (a), one bit, variable.
    let key = [0x05, 0x07, 0x09, 0x04, 0x15, 0x00, 0x25, 0x01, 0x75, 0x08, 0x95, 0x01, 0x81, 0x02];
    let within = [&MOUSE[..], &X_Y, &key, &[0xC0]].concat();
    assert!(matches!(Layout::from_descriptor(&within), Err(LayoutError::NoPointer { .. })));
}

#[test]
fn a_mouse_collection_without_motion_is_no_pointer() {
    // Two mouse collections: only the one with X and Y opens its reports.
    let wheel = [0x05, 0x01, 0x09, 0x38, 0x15, 0x81, 0x25, 0x7F, 0x75, 0x08, 0x95, 0x01, 0x81, 0x06];
    let lone = [&MOUSE[..], &[0x85, 0x02], &wheel, &[0xC0]].concat();
    let layout = Layout::from_descriptor(&[mouse(Some(1)), lone].concat()).unwrap();
    assert!(layout.admits(&[1, 0, 0]) && !layout.admits(&[2, 0]));
}

proptest! {
    #![proptest_config(common::cases(2000))]

    #[test]
    fn of_a_receiver_only_the_mouses_reports_are_ever_admitted(
        report in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let layout = receiver();
        prop_assert_eq!(layout.admits(&report), report.first() == Some(&2));
        prop_assert!(layout.admits(&report) || layout.decode(&report).is_err());
    }

    #[test]
    fn whatever_stands_beside_it_a_keyboards_report_id_is_never_admitted(
        before in prop::collection::vec(item(), 0..8),
        after in prop::collection::vec(item(), 0..8),
    ) {
        // The keyboard is whole and its ID is set last before its keys: no item around it can make it a mouse's.
        let descriptor =
            [mouse(Some(1)), keyboard(Some(9)), mouse(Some(1)), before.concat(), keyboard(Some(9)), after.concat()];
        if let Ok(layout) = Layout::from_descriptor(&descriptor.concat()) {
            prop_assert!(!layout.admits(&[9, 4, 5, 6, 7, 8, 9]));
        }
    }

    #[test]
    fn keys_put_anywhere_into_a_mouse_close_its_report(place in 0usize..=4, page_in_usage in any::<bool>()) {
        let keys: &[u8] = if page_in_usage {
            &[0x1B, 0x00, 0x00, 0x07, 0x00, 0x2B, 0x65, 0x00, 0x07, 0x00, 0x75, 0x08, 0x95, 0x06, 0x81, 0x00]
        } else {
            &[0x05, 0x07, 0x19, 0x00, 0x29, 0x65, 0x75, 0x08, 0x95, 0x06, 0x81, 0x00]
        };
        let button: &[u8] = &[0x05, 0x09, 0x09, 0x01, 0x15, 0x00, 0x25, 0x01, 0x75, 0x08, 0x95, 0x01, 0x81, 0x02];
        let mut parts: Vec<&[u8]> = vec![&MOUSE, button, &X_Y, button];
        parts.insert(place.clamp(1, parts.len()), keys);
        let descriptor = [parts.concat(), vec![0xC0]].concat();
        let refused = matches!(Layout::from_descriptor(&descriptor), Err(LayoutError::NoPointer { .. }));
        prop_assert!(refused);
    }
}
