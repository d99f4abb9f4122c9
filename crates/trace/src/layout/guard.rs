//! What must hold of a descriptor before it is handed to the parser.
//!
//! `hidreport` 0.6 panics or asks for unbounded memory on: a usage before any usage page, a report count or usage
//! range of four billion, a field wider than 32 bits. The item stream is walked here first (HID 1.11 section 6.2.2:
//! short items of 0, 1, 2 or 4 data bytes, long items with a length byte), with the limits that the Linux kernel
//! sets (linux/hid.h, drivers/hid/hid-core.c).

use super::LayoutError;

/// `HID_MAX_DESCRIPTOR_SIZE`.
const MAX_DESCRIPTOR: usize = 4096;
/// `HID_MAX_USAGES`: usages in one main item.
const MAX_USAGES: u64 = 12_288;
/// Fields in one main item, and bits in a whole report (`HID_MAX_BUFFER_SIZE` bytes).
const MAX_BITS: u64 = 16_384 * 8;
/// Nested collections; the kernel's own stack grows, real descriptors have three.
const MAX_DEPTH: usize = 32;
/// All fields of a descriptor times their depth: bounds what the parser copies.
const MAX_WORK: u64 = 1 << 20;

#[derive(Clone, Copy, Default)]
struct Globals {
    page: bool,
    size: u64,
    count: u64,
}

#[derive(Default)]
struct Locals {
    usages: u64,
    page_in_usage: bool,
    minimum: Option<u64>,
    maximum: Option<u64>,
}

/// Walks the items.
///
/// # Errors
/// [`LayoutError::Malformed`] at the first item that the parser could not survive.
pub(super) fn check(bytes: &[u8]) -> Result<(), LayoutError> {
    let bad = |offset: usize, what: &str| Err(LayoutError::Malformed { offset, what: what.to_owned() });
    if bytes.is_empty() {
        return bad(0, "it is empty");
    }
    if bytes.len() > MAX_DESCRIPTOR {
        return bad(MAX_DESCRIPTOR, "longer than 4096 bytes, the most that a kernel accepts");
    }
    let (mut globals, mut locals) = (Globals::default(), Locals::default());
    let mut stack: Vec<Globals> = Vec::new();
    let mut bits = 0u64;
    let mut work = 0u64;
    let mut depth = 0usize;
    let mut offset = 0usize;
    while let Some(&prefix) = bytes.get(offset) {
        let length = match (prefix, prefix & 3) {
            // A long item: size byte, tag byte, data.
            (0xFE, _) => 2 + bytes.get(offset + 1).map_or(usize::MAX >> 1, |&n| usize::from(n)),
            (_, 3) => 4,
            (_, n) => usize::from(n),
        };
        let Some(data) = bytes.get(offset + 1..offset + 1 + length) else {
            return bad(offset, "the last item is cut short");
        };
        let value = data.iter().rev().fold(0u64, |v, &b| (v << 8) | u64::from(b));
        match prefix & 0xFC {
            0x04 => globals.page = true,
            0x74 => globals.size = value,
            0x94 => globals.count = value,
            // A report ID of 0 is reserved (6.2.2.7); the parser would take it for a real one.
            0x84 if value == 0 || value > 255 => return bad(offset, "a report ID outside 1..255"),
            0xA4 if stack.len() >= MAX_DEPTH => return bad(offset, "too many nested Push items"),
            0xA4 => stack.push(globals),
            0xB4 => match stack.pop() {
                Some(saved) => globals = saved,
                None => return bad(offset, "a Pop without a Push"),
            },
            0x08 => {
                locals.usages += 1;
                locals.page_in_usage = length == 4;
                if !locals.page_in_usage && !globals.page {
                    return bad(offset, "a usage before any usage page");
                }
            }
            0x18 => locals.minimum = Some(value),
            0x28 => locals.maximum = Some(value),
            main @ (0x80 | 0x90 | 0xB0 | 0xA0 | 0xC0) => {
                if let (Some(low), Some(high)) = (locals.minimum, locals.maximum) {
                    if high.saturating_sub(low) >= MAX_USAGES {
                        return bad(offset, "a usage range of more than 12288 usages");
                    }
                    locals.usages = high.saturating_sub(low) + 1;
                }
                if locals.usages > MAX_USAGES {
                    return bad(offset, "more than 12288 usages in one item");
                }
                match main {
                    0xA0 => depth += 1,
                    0xC0 => depth = depth.saturating_sub(1),
                    _ => {
                        if globals.size > 32 && globals.count > 0 && value & 1 == 0 {
                            return bad(offset, "a data field wider than 32 bits");
                        }
                        bits = bits.saturating_add(globals.size.saturating_mul(globals.count));
                        work = work.saturating_add(globals.count.saturating_mul(depth as u64 + 1));
                    }
                }
                if depth > MAX_DEPTH {
                    return bad(offset, "collections nested deeper than 32");
                }
                work = work.saturating_add(locals.usages);
                if bits > MAX_BITS || work > MAX_WORK {
                    return bad(offset, "reports of more than 16384 bytes");
                }
                locals = Locals::default();
            }
            _ => {}
        }
        offset += 1 + length;
    }
    Ok(())
}
