//! The item stream of a report descriptor (HID 1.11 section 6.2.2): where each item begins, its tag, its value.

/// One short item.
pub(super) struct Item<'a> {
    /// Offset of its prefix byte.
    pub(super) offset: usize,
    /// The prefix without the size bits.
    pub(super) tag: u8,
    data: &'a [u8],
}

impl Item<'_> {
    /// True for Input, Output, Feature, Collection, End Collection and the reserved ones; each forgets local items.
    pub(super) fn is_main(&self) -> bool {
        self.tag & 0x0C == 0
    }

    /// True if the item has four bytes of data: a usage then carries its page (6.2.2.8).
    pub(super) fn paged(&self) -> bool {
        self.data.len() == 4
    }

    /// The value; 0 without data, as Linux has it.
    pub(super) fn unsigned(&self) -> u32 {
        self.data.iter().rev().fold(0, |value, &byte| (value << 8) | u32::from(byte))
    }

    /// The value in two's complement of its own width.
    pub(super) fn signed(&self) -> i32 {
        let unused = 32 - 8 * u32::try_from(self.data.len()).unwrap_or(4);
        self.unsigned().checked_shl(unused).map_or(0, |v| v.cast_signed() >> unused)
    }
}

/// The items in order. An error is an offset and a reason; nothing follows it.
pub(super) struct Items<'a> {
    bytes: &'a [u8],
    offset: usize,
}

impl<'a> Items<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Items<'a> {
        Items { bytes, offset: 0 }
    }
}

impl<'a> Iterator for Items<'a> {
    type Item = Result<Item<'a>, (usize, &'static str)>;

    fn next(&mut self) -> Option<Self::Item> {
        let offset = self.offset;
        let (&prefix, rest) = self.bytes.get(offset..)?.split_first()?;
        let stop = |this: &mut Self, why| {
            this.offset = this.bytes.len();
            Some(Err((offset, why)))
        };
        if prefix == 0xFE {
            return stop(self, "a long item; none is defined, and Linux refuses them too");
        }
        let length = if prefix & 3 == 3 { 4 } else { usize::from(prefix & 3) };
        let Some(data) = rest.get(..length) else {
            return stop(self, "the last item is cut short");
        };
        self.offset = offset + 1 + length;
        Some(Ok(Item { offset, tag: prefix & 0xFC, data }))
    }
}
