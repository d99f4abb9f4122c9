//! The input report: its descriptor, and how values are laid into its bytes.
//!
//! Order of fields: report ID if any, buttons padded to a whole byte, X, Y, wheel if any, padding. Values are packed
//! from the lowest bit up, as HID 1.11 section 8.4 lays fields out, so X and Y of 12 bits share three bytes. The
//! descriptor is made with the `hidreport` crate's builder; nothing here reads one.

use hidreport::hid::{CollectionItem, ItemBuilder, ItemType, MainItem, ReportDescriptorBuilder};
use hidreport::types::{
    LogicalMaximum, LogicalMinimum, ReportCount, ReportId, ReportSize, UsageId, UsageMaximum, UsageMinimum,
    UsagePage,
};
use serde::{Deserialize, Serialize};

/// Layout of a device's reports.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ReportFormat {
    /// Width of X and of Y in bits, 2 to 32.
    pub bits: u8,
    /// Largest count that the descriptor allows, the smallest being its negative; the field's own largest if absent.
    pub logical_max: Option<i32>,
    /// Report ID; none if absent.
    pub id: Option<u8>,
    /// Number of buttons, 1 to 16.
    pub buttons: u8,
    /// True if there is an 8-bit wheel.
    pub wheel: bool,
}

impl Default for ReportFormat {
    /// 16-bit axes, five buttons and a wheel.
    fn default() -> Self {
        ReportFormat { bits: 16, logical_max: None, id: None, buttons: 5, wheel: true }
    }
}

/// What one report says.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Values {
    pub(crate) counts: [i32; 2],
    pub(crate) buttons: u16,
}

impl ReportFormat {
    /// Largest count that the descriptor allows.
    pub fn largest(&self) -> i32 {
        let field = i32::try_from((1i64 << (self.bits.clamp(2, 32) - 1)) - 1).unwrap_or(i32::MAX);
        self.logical_max.map_or(field, |max| max.clamp(1, field))
    }

    /// Length of a report in bytes.
    pub fn bytes(&self) -> usize {
        let id = usize::from(self.id.is_some());
        let axes = (2 * usize::from(self.bits)).div_ceil(8);
        id + usize::from(self.buttons).div_ceil(8) + usize::from(self.wheel) + axes
    }

    /// The HID report descriptor.
    pub fn descriptor(&self) -> Vec<u8> {
        let mut items: Vec<ItemType> = Vec::new();
        if let Some(id) = self.id {
            items.push(ReportId::from(id).into());
        }
        // Buttons.
        items.push(UsagePage::from(0x09).into());
        items.push(UsageMinimum::from(1).into());
        items.push(UsageMaximum::from(u32::from(self.buttons)).into());
        items.extend(range(0, 1));
        items.extend(field(1, usize::from(self.buttons)));
        items.push(data(false));
        items.extend(padding(usize::from(self.buttons)));
        // Axes.
        items.push(UsagePage::from(0x01).into());
        items.push(UsageId::from(0x30).into());
        items.push(UsageId::from(0x31).into());
        items.extend(range(-self.largest(), self.largest()));
        items.extend(field(self.bits, 2));
        items.push(data(true));
        items.extend(padding(2 * usize::from(self.bits)));
        if self.wheel {
            items.push(UsageId::from(0x38).into());
            items.extend(range(-127, 127));
            items.extend(field(8, 1));
            items.push(data(true));
        }
        let open = ReportDescriptorBuilder::new()
            .append(UsagePage::from(0x01).into())
            .append(UsageId::from(0x02).into())
            .open_collection(CollectionItem::Application)
            .append(UsageId::from(0x01).into())
            .open_collection(CollectionItem::Physical);
        items
            .into_iter()
            .fold(open, |builder, item| builder.append(item))
            .close_collection()
            .close_collection()
            .build()
    }

    /// Lays values into bytes. Values are expected within the field; higher bits are cut off.
    pub(crate) fn encode(&self, values: Values) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(self.bytes());
        bytes.extend(self.id);
        let mut put = |field: &[u8], bits: usize| bytes.extend_from_slice(&field[..bits.div_ceil(8)]);
        put(&values.buttons.to_le_bytes(), usize::from(self.buttons));
        let mask = (1u64 << self.bits) - 1;
        let [x, y] = values.counts.map(|v| i64::from(v) as u64 & mask);
        put(&(x | (y << self.bits)).to_le_bytes(), 2 * usize::from(self.bits));
        if self.wheel {
            bytes.push(0);
        }
        bytes
    }
}

fn range(low: i32, high: i32) -> [ItemType; 2] {
    [LogicalMinimum::from(low).into(), LogicalMaximum::from(high).into()]
}

fn field(bits: u8, count: usize) -> [ItemType; 2] {
    [ReportSize::from(usize::from(bits)).into(), ReportCount::from(count).into()]
}

fn data(relative: bool) -> ItemType {
    let input = ItemBuilder::new().data().variable();
    MainItem::Input(if relative { input.relative().input() } else { input.absolute().input() }).into()
}

/// Constant bits up to the next whole byte.
fn padding(bits: usize) -> Vec<ItemType> {
    let missing = bits.next_multiple_of(8) - bits;
    if missing == 0 {
        return Vec::new();
    }
    let [size, count] = field(u8::try_from(missing).unwrap_or(0), 1);
    vec![size, count, MainItem::Input(ItemBuilder::new().constant().input()).into()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_trace::layout::Layout;

    #[test]
    fn every_width_reads_back_through_the_published_layout() {
        for bits in [8, 10, 12, 14, 16, 24, 32] {
            for (id, wheel, buttons) in [(None, true, 5), (Some(3), false, 3), (Some(1), true, 16)] {
                let format = ReportFormat { bits, id, wheel, buttons, logical_max: None };
                let layout = Layout::from_descriptor(&format.descriptor()).unwrap();
                let (x, _) = layout.formats()[0].axes.as_ref().unwrap();
                assert_eq!((x.bits, x.logical_max), (u32::from(bits), format.largest()));
                for counts in [[1, -1], [-format.largest(), format.largest()], [0, 7], [100, -100]] {
                    let bytes = format.encode(Values { counts, buttons: 0b101 });
                    assert_eq!(bytes.len(), format.bytes());
                    let decoded = layout.decode(&bytes).unwrap();
                    assert_eq!(([decoded.x, decoded.y], decoded.buttons), (counts, 0b101), "{bits} bits");
                }
            }
        }
    }

    #[test]
    fn a_descriptor_may_allow_less_than_its_field_holds() {
        let format = ReportFormat { logical_max: Some(255), ..ReportFormat::default() };
        let layout = Layout::from_descriptor(&format.descriptor()).unwrap();
        let (x, _) = layout.formats()[0].axes.as_ref().unwrap();
        assert_eq!((x.logical_min, x.logical_max, x.bits), (-255, 255, 16));
    }
}
