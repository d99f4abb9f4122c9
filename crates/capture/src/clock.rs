//! The host's monotonic clock: the one that stamps every live session.

use rustix::thread::clock_nanosleep_absolute;
use rustix::time::{ClockId, Timespec, clock_getres, clock_gettime};
use slipgauge_trace::Nanos;

/// Now, in nanoseconds since an arbitrary moment (`CLOCK_MONOTONIC`: never set back, stands still while asleep).
pub fn now() -> Nanos {
    nanos(clock_gettime(ClockId::Monotonic))
}

/// The clock's resolution as the system states it.
pub fn resolution() -> Nanos {
    nanos(clock_getres(ClockId::Monotonic))
}

/// For how long the machine has been asleep since it was booted.
pub(crate) fn asleep() -> Nanos {
    nanos(clock_gettime(ClockId::Boottime)) - now()
}

/// Sleeps until the clock shows `moment`, or a little later. A signal may end the sleep early.
pub(crate) fn sleep_until(moment: Nanos) {
    let second = Nanos::SECOND.0;
    let at = Timespec { tv_sec: moment.0.div_euclid(second), tv_nsec: moment.0.rem_euclid(second) };
    let _ = clock_nanosleep_absolute(rustix::thread::ClockId::Monotonic, &at);
}

fn nanos(time: Timespec) -> Nanos {
    Nanos(time.tv_sec.saturating_mul(Nanos::SECOND.0).saturating_add(time.tv_nsec))
}
