//! Where X, Y, buttons and wheel lie in a node's input reports, and which reports may be kept.
//!
//! Owns: descriptor → [`Layout`], report → [`Decoded`]. Does not own: descriptors of other kinds of device. The
//! parsing is the `hidreport` crate's; [`canonical`] stands in front of it because it panics on some malformed
//! descriptors and misreads some good ones, and every length is checked here before a field is extracted because it
//! indexes unchecked.
//!
//! **Privacy.** A kernel node may carry a pointer, a keyboard and media keys under different report IDs. A report is
//! *admitted* only if every data field of it lies in a Mouse or Pointer application collection that has relative X
//! and Y, and none is a key of the Keyboard page. Callers drop all other reports unread ([`Layout::admits`]).
//!
//! Source: USB HID 1.11 sections 6.2.2 and 8.4, appendix B.2 (boot mouse); HID Usage Tables 1.5 for the usages.
//! Values outside the logical range are extracted as they are: clipping is judged, not repaired.

mod canonical;
mod fields;
mod items;

use fields::{ButtonField, Value};
use hidreport::{Field, FieldAttributes, Report as _, ReportDescriptor, VariableField};
use hut::{AsUsage as _, Button, GenericDesktop};

/// A descriptor that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LayoutError {
    /// The bytes are not a report descriptor.
    #[error("the report descriptor is malformed at byte {offset}: {what}")]
    Malformed {
        /// Offset in the descriptor.
        offset: usize,
        /// What is wrong.
        what: String,
    },
    /// The bytes are a report descriptor, but nothing in it is a pointing device that may be recorded.
    #[error("no pointer here: {why}")]
    NoPointer {
        /// What it holds instead.
        why: String,
    },
}

/// A report that does not fit the layout. Recorded as it came, never decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    /// No bytes at all.
    #[error("an empty report")]
    Empty,
    /// The first byte is no report ID of a pointer.
    #[error("report ID {0} carries no pointer motion")]
    UnknownId(u8),
    /// Fewer bytes than the descriptor says.
    #[error("{got} bytes where the descriptor says {want}")]
    Short {
        /// Bytes that came.
        got: usize,
        /// Bytes that the descriptor says.
        want: usize,
    },
    /// More bytes than the descriptor says.
    #[error("{got} bytes where the descriptor says {want}")]
    Long {
        /// Bytes that came.
        got: usize,
        /// Bytes that the descriptor says.
        want: usize,
    },
}

/// One axis of motion in a report.
#[derive(Debug, Clone)]
pub struct AxisField {
    /// Field width in bits.
    pub bits: u32,
    /// Smallest value that the descriptor allows.
    pub logical_min: i32,
    /// Largest value that the descriptor allows.
    pub logical_max: i32,
    value: Value,
}

impl AxisField {
    /// The largest magnitude that the field can carry on each side, whatever the descriptor allows: `(low, high)`.
    pub fn field_range(&self) -> (i64, i64) {
        let half = 1i64 << self.bits.saturating_sub(1).min(62);
        if self.logical_min < 0 { (-half, half - 1) } else { (0, 2 * half - 1) }
    }
}

/// One input report that may be kept.
#[derive(Debug, Clone)]
pub struct ReportFormat {
    /// Report ID; `None` where the node uses none.
    pub id: Option<u8>,
    /// Length in bytes, report ID included.
    pub bytes: usize,
    /// Relative X and Y; `None` for a report of the same device that carries buttons or wheel only.
    pub axes: Option<(AxisField, AxisField)>,
    /// True if it has a wheel.
    pub wheel: bool,
    /// Number of buttons.
    pub buttons: usize,
    wheel_value: Option<Value>,
    button_fields: Vec<ButtonField>,
    longer_allowed: bool,
}

/// A decoded report.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Decoded {
    /// Index of its format in [`Layout::formats`].
    pub format: usize,
    /// Relative X in counts; 0 where the report has none.
    pub x: i32,
    /// Relative Y in counts.
    pub y: i32,
    /// Wheel in detents or fractions of one.
    pub wheel: i32,
    /// Bit 0 is button 1, up to 32 buttons.
    pub buttons: u32,
}

/// All reports of a node that may be kept.
#[derive(Debug, Clone)]
pub struct Layout {
    formats: Vec<ReportFormat>,
    numbered: bool,
}

/// The example mouse descriptor of HID 1.11 appendix E.10, 50 bytes: the boot report of appendix B.2.
pub const BOOT_DESCRIPTOR: [u8; 50] = [
    0x05, 0x01, 0x09, 0x02, 0xA1, 0x01, 0x09, 0x01, 0xA1, 0x00, 0x95, 0x03, 0x75, 0x01, 0x05, 0x09, 0x19,
    0x01, 0x29, 0x03, 0x15, 0x00, 0x25, 0x01, 0x81, 0x02, 0x95, 0x01, 0x75, 0x05, 0x81, 0x01, 0x75, 0x08,
    0x95, 0x02, 0x05, 0x01, 0x09, 0x30, 0x09, 0x31, 0x15, 0x81, 0x25, 0x7F, 0x81, 0x06, 0xC0, 0xC0,
];

impl Layout {
    /// Reads a HID report descriptor.
    ///
    /// # Errors
    /// [`LayoutError::Malformed`] with the offset, or [`LayoutError::NoPointer`] if no report may be kept.
    pub fn from_descriptor(bytes: &[u8]) -> Result<Layout, LayoutError> {
        let canonical = canonical::canonical(bytes)?;
        // The parser has no complaint left about what the canonical form can say; its offsets would be of that form.
        let descriptor = ReportDescriptor::try_from(&canonical)
            .map_err(|e| LayoutError::Malformed { offset: 0, what: e.to_string() })?;
        let reports = descriptor.input_reports();
        let numbered = reports.iter().any(|r| r.report_id().is_some());
        let pointers: Vec<_> = reports.iter().flat_map(pointer_collections).collect();
        let formats: Vec<_> = reports.iter().filter_map(|r| fields::format(r, &pointers)).collect();
        if formats.iter().all(|f| f.axes.is_none()) {
            return Err(LayoutError::NoPointer { why: why_none(reports) });
        }
        Ok(Layout { formats, numbered })
    }

    /// The boot mouse report (HID 1.11 appendix B.2): three bytes or more, the further ones device-specific.
    ///
    /// # Errors
    /// None in practice: the descriptor is the standard's own.
    pub fn boot() -> Result<Layout, LayoutError> {
        let mut layout = Layout::from_descriptor(&BOOT_DESCRIPTOR)?;
        layout.formats.iter_mut().for_each(|f| f.longer_allowed = true);
        Ok(layout)
    }

    /// The reports that may be kept.
    pub fn formats(&self) -> &[ReportFormat] {
        &self.formats
    }

    /// True if the first byte of each report is its ID.
    pub fn numbered(&self) -> bool {
        self.numbered
    }

    /// True if this report may be kept. On a node with report IDs an empty report cannot be told from a key's and is
    /// not admitted.
    pub fn admits(&self, report: &[u8]) -> bool {
        !self.numbered || report.first().is_some_and(|&id| self.formats.iter().any(|f| f.id == Some(id)))
    }

    /// Decodes one report.
    ///
    /// # Errors
    /// [`ReportError`] if it does not fit the descriptor.
    pub fn decode(&self, report: &[u8]) -> Result<Decoded, ReportError> {
        let first = *report.first().ok_or(ReportError::Empty)?;
        let found = self.formats.iter().enumerate().find(|(_, f)| !self.numbered || f.id == Some(first));
        let (index, format) = found.ok_or(ReportError::UnknownId(first))?;
        let (got, want) = (report.len(), format.bytes);
        if got < want {
            return Err(ReportError::Short { got, want });
        }
        if got > want && !format.longer_allowed {
            return Err(ReportError::Long { got, want });
        }
        let mut decoded = Decoded { format: index, ..Decoded::default() };
        if let Some((x, y)) = &format.axes {
            decoded.x = x.value.extract(report);
            decoded.y = y.value.extract(report);
        }
        decoded.wheel = format.wheel_value.as_ref().map_or(0, |w| w.extract(report));
        decoded.buttons = format.button_fields.iter().fold(0, |mask, b| mask | b.pressed(report));
        Ok(decoded)
    }
}

fn usage_is(usage: &hidreport::Usage, is: impl hut::AsUsage) -> bool {
    u32::from(*usage) == is.usage_value()
}

/// Ids of the Mouse and Pointer application collections of a report that have both relative X and relative Y.
fn pointer_collections(report: &impl hidreport::Report) -> Vec<hidreport::CollectionId> {
    let relative = |wanted: GenericDesktop| {
        let axes = report.fields().iter().filter_map(move |field| match field {
            Field::Variable(v) if v.is_relative() && usage_is(&v.usage, wanted) => Some(v),
            _ => None,
        });
        axes.filter_map(|v: &VariableField| application(&v.collections))
            .filter(|c| is_pointer(c))
            .collect::<Vec<_>>()
    };
    let with_y = relative(GenericDesktop::Y);
    relative(GenericDesktop::X).iter().filter(|c| with_y.contains(c)).map(|c| c.id().clone()).collect()
}

/// The innermost application collection around a field: its owner, as Linux has it (`hid_lookup_collection`).
fn application(collections: &[hidreport::Collection]) -> Option<&hidreport::Collection> {
    collections.iter().rfind(|c| c.collection_type() == hidreport::CollectionType::Application)
}

fn is_pointer(collection: &hidreport::Collection) -> bool {
    let kinds = [GenericDesktop::Mouse, GenericDesktop::Pointer];
    collection.usages().iter().any(|usage| kinds.iter().any(|&kind| usage_is(usage, kind)))
}

/// One clause for a person: what the node holds instead of a pointer.
fn why_none(reports: &[impl hidreport::Report]) -> String {
    let mut kinds: Vec<String> = Vec::new();
    for field in reports.iter().flat_map(|r| r.fields()) {
        for usage in application(field.collections()).iter().flat_map(|c| c.usages()) {
            let name = hut::Usage::try_from(u32::from(*usage))
                .map_or_else(|_| format!("usage {:#010x}", u32::from(*usage)), |known| known.to_string());
            if !kinds.contains(&name) {
                kinds.push(name);
            }
        }
    }
    match kinds.as_slice() {
        [] => "its descriptor has no input fields".to_owned(),
        some => format!("it reports {} without relative X and Y of its own", some.join(", ")),
    }
}

/// Bit of a button usage: button 1 is bit 0.
fn button_bit(usage: &hidreport::Usage) -> Option<u32> {
    let page_is_button = u32::from(*usage) >> 16 == Button::Button(1).usage_value() >> 16;
    let number = u32::from(*usage) & 0xffff;
    (page_is_button && (1..=32).contains(&number)).then(|| 1u32 << (number - 1))
}
