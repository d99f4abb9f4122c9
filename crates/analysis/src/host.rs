//! This computer's own part: when it was held up, and when it may have lost reports.
//!
//! A stall delays reports; an overrun or a break of the recording may lose them. A swipe in which counts may have been lost
//! here says nothing of the device, neither for it nor against it.

use slipgauge_trace::recording::HostLog;

/// A stall explains a silence that lies this near to it: the reader's own wake-up and one report interval.
pub const STALL_MARGIN: i64 = 4_000_000;
/// An overrun is stamped when the queue is drained; what it lost came before, since the drain before it.
const OVERRUN_REACH: i64 = 100_000_000;

/// Spans of time in which this computer, not the device, explains what is missing: stalls, overruns (the queue was
/// full some time before it was drained) and breaks of the recording. Merged and sorted, so that a look-up is O(log n).
#[derive(Clone, Debug, Default)]
pub struct HostSpans {
    all: Vec<(i64, i64)>,
    /// Those in which it loses reports, where a stall alone delays them.
    losing: Vec<(i64, i64)>,
}

impl HostSpans {
    /// Collects them from the host's log.
    pub fn new(log: &HostLog) -> HostSpans {
        let point = |t: i64| (t.saturating_sub(OVERRUN_REACH), t);
        let stalls = log.stalls.iter().map(|(begin, end)| (begin.0, end.0));
        let losing: Vec<(i64, i64)> = log.overruns.iter().chain(&log.breaks).map(|t| point(t.0)).collect();
        HostSpans {
            all: merged(stalls.chain(losing.iter().copied())),
            losing: merged(losing.iter().copied()),
        }
    }

    /// True if reports of a span may have been lost in this computer.
    pub fn may_lose(&self, begin: i64, end: i64) -> bool {
        let first = self.losing.partition_point(|span| span.1 < begin);
        self.losing.get(first).is_some_and(|span| span.0 <= end)
    }

    /// True if one of them lies on or next to the span.
    pub fn explain(&self, begin: i64, end: i64) -> bool {
        let (from, to) = (begin.saturating_sub(STALL_MARGIN), end.saturating_add(STALL_MARGIN));
        let first = self.all.partition_point(|span| span.1 < from);
        self.all.get(first).is_some_and(|span| span.0 <= to)
    }

    /// True if they make up a half of a silence and more, or reports of it may have been lost here. A stall alone delays: what
    /// comes while it lasts is there after it, and a device that says nothing before it and after it was silent meanwhile. (Added
    /// after losses of 180 ms had been seen not to be told for a stall of 20 ms in the middle.)
    pub fn explain_most(&self, begin: i64, end: i64) -> bool {
        let seconds = end.saturating_sub(begin) as f64 * 1e-9;
        self.may_lose(begin, end) || (self.explain(begin, end) && 2.0 * self.seconds(begin, end) >= seconds)
    }

    /// Time within a span that may be lost to them, seconds.
    pub fn seconds(&self, begin: i64, end: i64) -> f64 {
        let (from, to) = (begin.saturating_sub(STALL_MARGIN), end.saturating_add(STALL_MARGIN));
        let first = self.all.partition_point(|span| span.1 < from);
        let near = self.all.iter().skip(first).take_while(|span| span.0 <= to);
        let part = |span: &(i64, i64)| {
            let (a, b) = (span.0.saturating_sub(STALL_MARGIN), span.1.saturating_add(STALL_MARGIN));
            b.min(end).saturating_sub(a.max(begin)).max(0) as f64 * 1e-9
        };
        near.map(part).sum()
    }
}

fn merged(spans: impl Iterator<Item = (i64, i64)>) -> Vec<(i64, i64)> {
    let mut spans: Vec<(i64, i64)> = spans.collect();
    spans.sort_unstable();
    let mut merged: Vec<(i64, i64)> = Vec::new();
    for (begin, end) in spans {
        match merged.last_mut() {
            Some(last) if begin <= last.1 => last.1 = last.1.max(end),
            _ => merged.push((begin, end)),
        }
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_trace::Nanos;

    #[test]
    fn a_stall_explains_a_silence_of_twice_its_length_and_an_overrun_a_longer_one() {
        let ms = |t: i64| Nanos(t * 1_000_000);
        let stall = HostLog { stalls: vec![(ms(100), ms(120))], ..HostLog::default() };
        let stall = HostSpans::new(&stall);
        // The reader's own wake-up comes on top of it on either side.
        assert!(stall.explain_most(ms(80).0, ms(130).0));
        assert!(!stall.explain_most(ms(50).0, ms(230).0), "160 ms of it were silent without it");
        assert!(stall.explain(ms(50).0, ms(230).0));
        let full = HostLog { overruns: vec![ms(120)], ..HostLog::default() };
        assert!(HostSpans::new(&full).explain_most(ms(50).0, ms(230).0));
    }
}
