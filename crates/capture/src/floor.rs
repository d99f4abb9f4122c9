//! How late this computer wakes a program that waits: the floor under all times that it stamps.
//!
//! A thread sleeps for a millisecond, time and again, and sees how much later than that it runs. That is what the
//! scheduler and the timers cost; a report's interrupt takes a similar way. Cost: as long as it is told to take.

use crate::clock;
use slipgauge_trace::Nanos;
use std::time::Duration;

/// Sleep of one try: the report interval of most devices.
const SLEEP: Duration = Duration::from_millis(1);

/// What was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Floor {
    /// Half of the wake-ups were later than this.
    pub median: Nanos,
    /// One in a hundred was later than this.
    pub p99: Nanos,
    /// The latest.
    pub worst: Nanos,
    /// Wake-ups.
    pub n: usize,
}

/// Measures for about this long; at least one wake-up.
pub fn measure(length: Duration) -> Floor {
    let begin = clock::now();
    let end = begin + Nanos(i64::try_from(length.as_nanos()).unwrap_or(i64::MAX));
    let mut late = Vec::new();
    let mut before = begin;
    loop {
        std::thread::sleep(SLEEP);
        let now = clock::now();
        late.push((now - before).0 - SLEEP.as_nanos() as i64);
        if now >= end {
            break;
        }
        before = clock::now();
    }
    late.sort_unstable();
    let at = |share: f64| Nanos(late.get(((late.len() - 1) as f64 * share) as usize).copied().unwrap_or(0));
    Floor { median: at(0.5), p99: at(0.99), worst: at(1.0), n: late.len() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_wake_up_is_early() {
        let floor = measure(Duration::from_millis(20));
        assert!(floor.n >= 1 && floor.median.0 >= 0, "{floor:?}");
        assert!(floor.median <= floor.p99 && floor.p99 <= floor.worst, "{floor:?}");
    }
}
