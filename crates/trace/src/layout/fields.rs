//! Extraction of one report's fields, with every length checked before the library is asked.

use super::{AxisField, ReportFormat, application, button_bit, usage_is};
use hidreport::{ArrayField, CollectionId, Field, FieldAttributes, Report, VariableField};
use hut::GenericDesktop;

/// The widest field that the library extracts.
const MAX_FIELD_BITS: usize = 32;

/// Button fields kept of one report: each of 32 buttons twice, as where a report repeats in more bits what the boot
/// report says. A button that is named several times is pressed if any of its fields says so.
const MAX_BUTTON_FIELDS: usize = 64;

/// A number in a report.
#[derive(Debug, Clone)]
pub(super) struct Value(VariableField);

impl Value {
    /// `None` for a field that is wider than the library extracts.
    fn new(field: &VariableField) -> Option<Value> {
        // The collections are of no use any more, and a field carries a copy of each.
        let mut field = field.clone();
        field.collections = Vec::new();
        (1..=MAX_FIELD_BITS).contains(&field.bits.len()).then_some(Value(field))
    }

    /// The value, or 0 if the report is too short for it. The caller has compared the report's length with the
    /// format's before; this guards the library's own unchecked indexing all the same.
    pub(super) fn extract(&self, report: &[u8]) -> i32 {
        if self.0.bits.end > report.len() * 8 {
            return 0;
        }
        self.0.extract(report).map_or(0, i32::from)
    }
}

/// One button, or an array that names the pressed ones.
#[derive(Debug, Clone)]
pub(super) enum ButtonField {
    One { field: Value, bit: u32 },
    Array(ArrayField),
}

impl ButtonField {
    /// Mask of the buttons that this field says are pressed.
    pub(super) fn pressed(&self, report: &[u8]) -> u32 {
        match self {
            ButtonField::One { field, bit } => {
                if field.extract(report) == 0 {
                    0
                } else {
                    *bit
                }
            }
            ButtonField::Array(array) => {
                let places =
                    if array.bits.end <= report.len() * 8 { usize::from(array.report_count) } else { 0 };
                let values = (0..places).filter_map(|place| array.extract_one(report, place).ok());
                values.fold(0, |mask, value| mask | array_bit(array, i32::from(value)))
            }
        }
    }

    fn mask(&self) -> u32 {
        match self {
            ButtonField::One { bit, .. } => *bit,
            ButtonField::Array(array) => {
                array.usages().iter().filter_map(button_bit).fold(0, |m, bit| m | bit)
            }
        }
    }
}

/// HID 1.11 section 6.2.2.5: an array holds indices into its usages, from the logical minimum.
fn array_bit(array: &ArrayField, value: i32) -> u32 {
    let index = value.checked_sub(i32::from(array.logical_minimum)).and_then(|i| usize::try_from(i).ok());
    index.and_then(|i| array.usages().get(i)).and_then(button_bit).unwrap_or(0)
}

/// The format of a report, or `None` if it may not be kept.
pub(super) fn format(report: &impl Report, pointers: &[CollectionId]) -> Option<ReportFormat> {
    let data = || report.fields().iter().filter(|f| !matches!(f, Field::Constant(_)));
    if data().next().is_none() || !data().all(|field| may_be_kept(field, pointers)) {
        return None;
    }
    let axis = |wanted| widest(report, wanted);
    let axes = axis(GenericDesktop::X).zip(axis(GenericDesktop::Y));
    let wheel_value = widest(report, GenericDesktop::Wheel).map(|w| w.value);
    let button_fields: Vec<_> = report.fields().iter().filter_map(button).take(MAX_BUTTON_FIELDS).collect();
    let mask = button_fields.iter().fold(0, |mask, field| mask | field.mask());
    Some(ReportFormat {
        id: report.report_id().as_ref().map(|id| u8::from(*id)),
        bytes: report.size_in_bytes(),
        axes,
        wheel: wheel_value.is_some(),
        buttons: mask.count_ones() as usize,
        wheel_value,
        button_fields,
        longer_allowed: false,
    })
}

/// True if the field lies in one of the pointer collections and is no key of the Keyboard page.
fn may_be_kept(field: &Field, pointers: &[CollectionId]) -> bool {
    let keyboard = |usage: &hidreport::Usage| u32::from(*usage) >> 16 == 0x07;
    let keys = match field {
        Field::Variable(v) => keyboard(&v.usage),
        Field::Array(a) => a.usages().iter().any(keyboard),
        Field::Constant(_) => false,
    };
    !keys && application(field.collections()).is_some_and(|c| pointers.contains(c.id()))
}

/// The relative field of this usage; the widest where a report repeats the axis in two widths.
fn widest(report: &impl Report, wanted: GenericDesktop) -> Option<AxisField> {
    let fields = report.fields().iter().filter_map(|field| match field {
        Field::Variable(v) if v.is_relative() && usage_is(&v.usage, wanted) => Some((v, Value::new(v)?)),
        _ => None,
    });
    let (field, value) = fields.max_by_key(|(v, _)| (v.bits.len(), std::cmp::Reverse(v.bits.start)))?;
    Some(AxisField {
        bits: u32::try_from(field.bits.len()).unwrap_or(u32::MAX),
        logical_min: i32::from(field.logical_minimum),
        logical_max: i32::from(field.logical_maximum),
        value,
    })
}

fn button(field: &Field) -> Option<ButtonField> {
    match field {
        Field::Variable(v) => Some(ButtonField::One { bit: button_bit(&v.usage)?, field: Value::new(v)? }),
        Field::Array(a) if a.usages().iter().any(|u| button_bit(u).is_some()) => {
            let places = usize::from(a.report_count).max(1);
            let mut array = a.clone();
            array.collections = Vec::new();
            (a.bits.len() / places <= MAX_FIELD_BITS).then_some(ButtonField::Array(array))
        }
        _ => None,
    }
}
