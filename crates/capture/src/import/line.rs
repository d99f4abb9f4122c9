//! One line of a HID text recording: what it says.

use slipgauge_trace::Nanos;
use slipgauge_trace::session::MAX_REPORT;

/// A line that says something.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Line<'a> {
    /// `D: 1`: what follows is of this device.
    Device(u32),
    /// `R: 50 05 01 …`: the report descriptor.
    Descriptor(Vec<u8>),
    /// `N: …`: what the device calls itself.
    Name(&'a str),
    /// `I: 3 1234 5678`: bus, vendor id, product id, in hexadecimal.
    Ids { bus: u16, vendor: u16, product: u16 },
    /// `E: 000001.002345 3 00 05 f9`: a report and when it came.
    Event(Nanos, Vec<u8>),
    /// `P: …`, where the device was plugged in: of no use here and nobody's business.
    Place,
    /// A key of a later version.
    Unknown,
}

/// Reads a line without its line end; `None` for comments and blank lines. The error is a sentence without a place.
pub(super) fn parse(line: &str) -> Result<Option<Line<'_>>, String> {
    let line = line.trim();
    if line.is_empty() || line.starts_with('#') {
        return Ok(None);
    }
    let Some((key, rest)) = key_of(line) else {
        return Err(format!(
            "not a line of a HID recording: \"{}\"",
            line.chars().take(40).collect::<String>()
        ));
    };
    let rest = rest.trim();
    Ok(Some(match key {
        'D' => Line::Device(rest.parse().map_err(|_| format!("no device number: \"{rest}\""))?),
        'R' => Line::Descriptor(counted(rest.split_ascii_whitespace())?),
        'N' => Line::Name(rest),
        'P' => Line::Place,
        'I' => ids(rest)?,
        'E' => {
            let mut words = rest.split_ascii_whitespace();
            let time = time(words.next().ok_or("an event without a time")?)?;
            Line::Event(time, counted(words)?)
        }
        _ => Line::Unknown,
    }))
}

/// The key of `K: …`, one capital letter, and what follows the colon.
pub(super) fn key_of(line: &str) -> Option<(char, &str)> {
    let (key, rest) = line.split_once(':')?;
    let mut letters = key.chars();
    let letter = letters.next().filter(char::is_ascii_uppercase)?;
    letters.next().is_none().then_some((letter, rest))
}

/// A decimal number, and as many bytes in hexadecimal.
fn counted<'a>(mut words: impl Iterator<Item = &'a str>) -> Result<Vec<u8>, String> {
    let length: usize =
        words.next().and_then(|word| word.parse().ok()).ok_or("no decimal length before the bytes")?;
    if length > MAX_REPORT {
        return Err(format!("{length} bytes announced; a report has {MAX_REPORT} at most"));
    }
    let byte = |word: &str| {
        let digits = matches!(word.len(), 1 | 2) && word.bytes().all(|c| c.is_ascii_hexdigit());
        digits.then(|| u8::from_str_radix(word, 16).ok()).flatten()
    };
    let bytes: Vec<u8> = words
        .map(|word| byte(word).ok_or_else(|| format!("\"{word}\" is no byte in hexadecimal")))
        .collect::<Result<_, _>>()?;
    if bytes.len() == length {
        Ok(bytes)
    } else {
        Err(format!("{length} bytes announced, {} there; was the file damaged?", bytes.len()))
    }
}

fn ids(rest: &str) -> Result<Line<'_>, String> {
    let mut words = rest.split_ascii_whitespace().map(|word| u16::from_str_radix(word, 16).ok());
    match (words.next(), words.next(), words.next()) {
        (Some(Some(bus)), Some(Some(vendor)), Some(Some(product))) => Ok(Line::Ids { bus, vendor, product }),
        _ => Err(format!("no bus, vendor id and product id in hexadecimal: \"{rest}\"")),
    }
}

/// Seconds, a point, microseconds. The recorder writes two whole numbers, six digits of microseconds; one that does not
/// pad them writes 5 s and 123 µs as `5.123`, and its own replayer reads it so. A fraction that starts with 0 and has
/// fewer than six digits can be no such number, and is refused rather than guessed at.
fn time(word: &str) -> Result<Nanos, String> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|c| c.is_ascii_digit());
    let parts = word.split_once('.').filter(|(s, us)| digits(s) && digits(us));
    let (seconds, micros) =
        parts.ok_or_else(|| format!("no time in seconds and microseconds: \"{word}\""))?;
    let padded = micros.len() == 6;
    if micros.len() > 6 || (!padded && micros.len() > 1 && micros.starts_with('0')) {
        return Err(format!(
            "the time \"{word}\" has neither six digits of microseconds nor a count of them without zeros before it; \
             write it with six digits"
        ));
    }
    let nanos = |s: i64, us: i64| s.checked_mul(1_000_000_000)?.checked_add(us.checked_mul(1_000)?);
    let sum = seconds.parse().ok().zip(micros.parse().ok()).and_then(|(s, us)| nanos(s, us));
    sum.map(Nanos).ok_or_else(|| format!("the time \"{word}\" is too large"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event_time(text: &str) -> Result<i64, String> {
        match parse(&format!("E: {text} 1 00"))? {
            Some(Line::Event(t, _)) => Ok(t.0),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn reads_padded_and_unpadded_microseconds() {
        assert_eq!(event_time("000005.000123"), Ok(5_000_123_000));
        assert_eq!(event_time("5.000123"), Ok(5_000_123_000));
        assert_eq!(event_time("5.123"), Ok(5_000_123_000));
        assert_eq!(event_time("5.123000"), Ok(5_123_000_000));
        assert_eq!(event_time("0.0"), Ok(0));
    }

    #[test]
    fn refuses_a_fraction_that_could_be_read_in_two_ways() {
        for text in ["5.012", "5.00", "5.0001234", "5", "5.", ".5", "-1.000000", "1e3.0", "5.+12"] {
            assert!(event_time(text).is_err(), "{text}");
        }
        assert!(event_time("99999999999.000000").unwrap_err().contains("too large"));
    }

    #[test]
    fn reads_each_kind_of_line() {
        assert_eq!(parse("# N: a comment"), Ok(None));
        assert_eq!(parse("  "), Ok(None));
        assert_eq!(parse("D: 1"), Ok(Some(Line::Device(1))));
        assert_eq!(parse("D:1"), Ok(Some(Line::Device(1))));
        assert_eq!(parse("R: 3 05 1 fF"), Ok(Some(Line::Descriptor(vec![5, 1, 255]))));
        assert_eq!(parse("N: Bench: Pointer"), Ok(Some(Line::Name("Bench: Pointer"))));
        assert_eq!(parse("I: 3 1234 abcd"), Ok(Some(Line::Ids { bus: 3, vendor: 0x1234, product: 0xabcd })));
        assert_eq!(parse("P: somewhere"), Ok(Some(Line::Place)));
        assert_eq!(parse("Q: later"), Ok(Some(Line::Unknown)));
    }

    #[test]
    fn says_what_is_wrong_with_a_line() {
        for (line, words) in [
            ("hello", "not a line"),
            ("R: 3 05 01", "3 bytes announced, 2 there"),
            ("R: x", "no decimal length"),
            ("E: 0.000000 2 00 0g", "\"0g\" is no byte"),
            ("E: 0.000000 99999 00", "at most"),
            ("E:", "without a time"),
            ("I: 3", "no bus"),
            ("D: one", "no device number"),
        ] {
            let said = parse(line).unwrap_err();
            assert!(said.contains(words), "{line}: {said}");
        }
    }
}
