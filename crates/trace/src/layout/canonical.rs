//! A descriptor said again in the few items that the parser reads rightly.
//!
//! `hidreport` 0.6 panics, asks for unbounded memory, or departs from the standard on descriptors that real kernels
//! take: it reads the data of long items as items, saves local items with Push, copies all usages of all collections
//! into every field, drops the page of a four-byte usage range, and refuses fields without usages. So the item stream
//! is read here, as HID 1.11 section 6.2.2 and the Linux kernel (drivers/hid/hid-core.c) read it, and what it means for
//! *input* reports is written again without globals that outlive an item: for each Input item its usages (four bytes
//! each, page included), logical range, size, count, report ID and flags; for each collection its first usage.
//! Output and Feature items are left out. Cost: linear in the descriptor, at most [`MAX_WORK`] fields and usages.

use super::LayoutError;
use super::items::{Item, Items};

/// `HID_MAX_DESCRIPTOR_SIZE`.
const MAX_DESCRIPTOR: usize = 4096;
/// `HID_MAX_USAGES`: usages in one main item. Linux cuts a longer range there and goes on; so do we.
const MAX_USAGES: u32 = 12_288;
/// Bits in one report (`HID_MAX_BUFFER_SIZE` bytes).
const MAX_BITS: u64 = 16_384 * 8;
/// Nested collections, and nested Push items; real descriptors have three, Linux allows four Push items.
const MAX_DEPTH: usize = 32;
/// Usages of all arrays, and fields times their depth: bounds what the parser allocates to about 30 MB. The largest
/// real reports (4 KiB of sensor data, two collections deep) need a tenth of it.
const MAX_WORK: u64 = 1 << 17;
/// Stands in a data field that has no usage, which Linux takes for padding: a vendor-defined page, undefined usage.
const NO_USAGE: u32 = 0xFF00_0000;

#[derive(Clone, Copy, Default)]
struct Globals {
    page: u32,
    minimum: i32,
    maximum: i32,
    size: u32,
    count: u32,
    id: Option<u8>,
}

/// Usages named since the last main item: inclusive ranges, with the page in the upper half where `paged`.
#[derive(Clone, Copy)]
struct Named {
    low: u32,
    high: u32,
    paged: bool,
}

#[derive(Default)]
struct Locals {
    named: Vec<Named>,
    minimum: Option<(u32, bool)>,
    maximum: Option<(u32, bool)>,
    /// Within a delimited set, only the first usage counts (6.2.2.8: the preferred one).
    in_set: bool,
    set_has_one: bool,
}

struct Writer {
    out: Vec<u8>,
    globals: Globals,
    stack: Vec<Globals>,
    locals: Locals,
    depth: usize,
    work: u64,
    /// Bits of each report: index 0 for reports without ID.
    bits: [u64; 256],
}

/// Rewrites a descriptor.
///
/// # Errors
/// [`LayoutError::Malformed`] with the offset in the original.
pub(super) fn canonical(bytes: &[u8]) -> Result<Vec<u8>, LayoutError> {
    let bad = |offset: usize, what: &str| LayoutError::Malformed { offset, what: what.to_owned() };
    if bytes.is_empty() {
        return Err(bad(0, "it is empty"));
    }
    if bytes.len() > MAX_DESCRIPTOR {
        return Err(bad(MAX_DESCRIPTOR, "longer than 4096 bytes, the most that a kernel accepts"));
    }
    let mut writer = Writer {
        // The parser refuses an empty descriptor; one without input reports is none.
        out: vec![0x05, 0x00],
        globals: Globals::default(),
        stack: Vec::new(),
        locals: Locals::default(),
        depth: 0,
        work: 0,
        bits: [0; 256],
    };
    for item in Items::new(bytes) {
        let item = item.map_err(|(offset, what)| bad(offset, what))?;
        writer.take(&item).map_err(|what| bad(item.offset, what))?;
    }
    Ok(writer.out)
}

impl Writer {
    fn take(&mut self, item: &Item) -> Result<(), &'static str> {
        let globals = &mut self.globals;
        match item.tag {
            0x04 => globals.page = item.unsigned() & 0xFFFF,
            0x14 => globals.minimum = item.signed(),
            // 5.8: signed or not as the minimum is.
            0x24 if globals.minimum < 0 => globals.maximum = item.signed(),
            0x24 => globals.maximum = i32::try_from(item.unsigned()).unwrap_or(i32::MAX),
            0x74 => globals.size = item.unsigned(),
            0x94 => globals.count = item.unsigned(),
            0x84 => match u8::try_from(item.unsigned()) {
                Ok(id) if id != 0 => globals.id = Some(id),
                _ => return Err("a report ID outside 1..255"),
            },
            0xA4 if self.stack.len() >= MAX_DEPTH => return Err("too many nested Push items"),
            0xA4 => self.stack.push(self.globals),
            0xB4 => self.globals = self.stack.pop().ok_or("a Pop without a Push")?,
            0x08 => self.locals.usage(item.unsigned(), item.paged()),
            0x18 => self.locals.bound(item, true)?,
            0x28 => self.locals.bound(item, false)?,
            0xA8 => self.locals.delimiter(item.unsigned() != 0),
            0xA0 => self.collection(item)?,
            0xC0 => {
                self.depth = self.depth.checked_sub(1).ok_or("an End Collection too many")?;
                self.out.push(0xC0);
            }
            0x80 => self.input(item)?,
            _ => {}
        }
        if item.is_main() {
            self.locals = Locals::default();
        }
        Ok(())
    }

    fn collection(&mut self, item: &Item) -> Result<(), &'static str> {
        self.depth += 1;
        if self.depth > MAX_DEPTH {
            return Err("collections nested deeper than 32");
        }
        if let Some(&(first, _)) = self.locals.usages(self.globals.page).first() {
            self.put(0x0B, first);
        }
        self.out.extend([0xA1, item.unsigned().to_le_bytes()[0]]);
        Ok(())
    }

    fn input(&mut self, item: &Item) -> Result<(), &'static str> {
        let Globals { page, minimum, maximum, size, count, id } = self.globals;
        if size == 0 || count == 0 {
            return Ok(());
        }
        let total = u64::from(size) * u64::from(count);
        let [bare, numbered @ ..] = &mut self.bits;
        let bits = match id {
            None => bare,
            Some(id) => numbered.get_mut(usize::from(id) - 1).ok_or("a report ID outside 1..255")?,
        };
        *bits = bits.saturating_add(total);
        if *bits > MAX_BITS {
            return Err("a report of more than 16384 bytes");
        }
        let [bare, numbered @ ..] = &self.bits;
        if *bare > 0 && numbered.iter().any(|&bits| bits > 0) {
            return Err("some input reports have a report ID and some have none");
        }
        let flags = item.unsigned();
        let (constant, variable) = (flags & 1 != 0, flags & 2 != 0);
        let depth = self.depth as u64 + 1;
        if !constant {
            let usages = self.locals.usages(page);
            let named: u64 = usages.iter().map(|&(low, high)| u64::from(high - low) + 1).sum();
            self.work += if variable { u64::from(count) * depth } else { named + depth };
            if self.work > MAX_WORK {
                return Err("more than 131072 fields and usages");
            }
            self.usages(&usages, if variable { count } else { MAX_USAGES }, variable);
        }
        for (tag, value) in [(0x17, minimum), (0x27, maximum)] {
            self.put(tag, value.cast_unsigned());
        }
        self.put(0x77, size);
        self.put(0x97, count);
        if let Some(id) = id {
            self.out.extend([0x85, id]);
        }
        self.out.push(0x82);
        self.out.extend(flags.to_le_bytes().iter().take(2));
        Ok(())
    }

    /// A variable item takes one usage a field, so more than `most` are of no effect. An array of one range is written
    /// as a range, which costs the parser nothing but the usages themselves.
    fn usages(&mut self, usages: &[(u32, u32)], most: u32, variable: bool) {
        match usages {
            [] => self.put(0x0B, NO_USAGE),
            &[(low, high)] if !variable => {
                self.out.extend([0x06]);
                self.out.extend((low >> 16).to_le_bytes().iter().take(2));
                self.put(0x1B, low & 0xFFFF);
                self.put(0x2B, high & 0xFFFF);
            }
            several => {
                let each = several.iter().flat_map(|&(low, high)| low..=high).take(most as usize);
                each.for_each(|usage| self.put(0x0B, usage));
            }
        }
    }

    fn put(&mut self, prefix: u8, value: u32) {
        self.out.push(prefix);
        self.out.extend(value.to_le_bytes());
    }
}

impl Locals {
    fn usage(&mut self, value: u32, paged: bool) {
        let alias = self.in_set && self.set_has_one;
        self.set_has_one = true;
        if !alias {
            self.named.push(Named { low: value, high: value, paged });
        }
    }

    fn bound(&mut self, item: &Item, minimum: bool) -> Result<(), &'static str> {
        let bound = Some((item.unsigned(), item.paged()));
        if minimum {
            self.minimum = bound
        } else {
            self.maximum = bound
        }
        if let (Some((low, low_paged)), Some((high, high_paged))) = (self.minimum, self.maximum) {
            if low_paged && high_paged && low >> 16 != high >> 16 {
                return Err("a usage range across two usage pages");
            }
            let page = if low_paged { low & 0xFFFF_0000 } else { high & 0xFFFF_0000 };
            let (low, high) = (page | (low & 0xFFFF), page | (high & 0xFFFF));
            if low <= high {
                self.named.push(Named { low, high, paged: low_paged || high_paged });
            }
            (self.minimum, self.maximum) = (None, None);
        }
        Ok(())
    }

    fn delimiter(&mut self, open: bool) {
        (self.in_set, self.set_has_one) = (open, false);
    }

    /// Inclusive ranges with their page; one without takes the page in force at the main item, as Linux has it.
    fn usages(&self, page: u32) -> Vec<(u32, u32)> {
        let mut left = MAX_USAGES;
        let ranges = self.named.iter().map_while(|named| {
            let page = if named.paged { 0 } else { page << 16 };
            let last = named.high.min(named.low.saturating_add(left.checked_sub(1)?));
            left -= last - named.low + 1;
            Some((page | named.low, page | last))
        });
        ranges.collect()
    }
}
