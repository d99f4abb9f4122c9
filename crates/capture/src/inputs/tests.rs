use super::*;

/// Paired stamps of one report after a rest that moved by 5, 0, for these events after a rest.
fn stamped(events: &[(u16, u16, i32)]) -> Option<Nanos> {
    let mut pairing = Pairing::new(Nanos(0));
    let mut cutting = Cutting::default();
    let k = Nanos::SECOND;
    for &event in events {
        cutting.event(k, event, &mut pairing);
    }
    let mut got = None;
    let now = k + Nanos(50_000);
    pairing.batch(&[Moving { place: 0, x: 5, y: 0 }], Some(now), now, |_, k| got = Some(k));
    got
}

const END: (u16, u16, i32) = (EV_SYN, SYN_REPORT, 0);

#[test]
fn a_frame_is_what_lies_before_its_end() {
    assert_eq!(stamped(&[(EV_REL, REL_X, 5), END]), Some(Nanos::SECOND));
    // A scan code, a button, a wheel beside it.
    assert_eq!(
        stamped(&[(4, 4, 0x90001), (1, 0x110, 1), (EV_REL, REL_X, 5), (EV_REL, 8, 1), END]),
        Some(Nanos::SECOND)
    );
    assert_eq!(stamped(&[(EV_REL, REL_X, 5)]), None, "not ended");
    assert_eq!(stamped(&[(1, 0x110, 1), END]), None, "a button is no motion");
    assert_eq!(stamped(&[(1, 0x110, 1), END, (EV_REL, REL_X, 5), END]), Some(Nanos::SECOND));
    assert_eq!(stamped(&[(EV_REL, REL_X, 5), (EV_REL, REL_Y, 1), END]), None, "another report's");
}

#[test]
fn what_was_dropped_is_no_frame_and_gives_no_stamp() {
    assert_eq!(stamped(&[(EV_SYN, SYN_DROPPED, 0), (EV_REL, REL_X, 5), END]), None);
    assert_eq!(stamped(&[(EV_SYN, SYN_DROPPED, 0), END, (EV_REL, REL_X, 5), END]), None);
}

#[test]
fn what_types_is_a_keyboard_whatever_else_it_has() {
    let kind = |relative: &[usize], keys: &[usize]| {
        InputKind::of(|code| relative.contains(&code), |code| keys.contains(&code))
    };
    assert_eq!(kind(&[0, 1, 8], &[0x110, 0x111, 0x112]), InputKind::Pointer);
    // Volume and play are no typing.
    assert_eq!(kind(&[0, 1], &[0x110, 114, 115, 164]), InputKind::Pointer);
    for letter in [16, 25, 30, 38, 44, 50, 57] {
        assert_eq!(kind(&[0, 1], &[0x110, letter]), InputKind::Keyboard);
    }
    assert_eq!(kind(&[8], &[0x110]), InputKind::Other);
    assert_eq!(kind(&[], &[]), InputKind::Other);
}
