//! The watch thread: notices when the host itself is held up.
//!
//! It sleeps in short absolute steps, at the reading threads' priority, and sees by how much it wakes too late: a
//! reading thread would have been as late. What it cannot see is a delay on another processor only.

use super::reading::Message;
use super::{Time, priority};
use crate::clock;
use slipgauge_trace::Nanos;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::SyncSender;

/// Length of a step. A stall is seen if it is longer than [`STALL`], and short ones that fall between two wake-ups are
/// not; 1,000 wake-ups a second cost under 1 % of one processor.
const STEP: Nanos = Nanos::MILLISECOND;

/// Lateness that counts as a stall. Ordinary scheduling without real-time priority is late by 0.05 to 1 ms on an idle
/// machine; 2 ms is two report intervals at 1 kHz and a quarter of the kernel's ring at 8 kHz (7.9 ms), so what is
/// noticed is noticed well before reports are lost.
pub(super) const STALL: Nanos = Nanos(2_000_000);

/// Growth of boot time over monotonic time that counts as sleep of the machine. The two clocks are read one after the
/// other, so a delay between the reads looks like a little of it.
const SUSPEND: Nanos = Nanos(100_000_000);

/// Watches until `halt`.
pub(super) fn run(time: Time, halt: &AtomicBool, sender: &SyncSender<Message>) {
    priority::ask_for_real_time();
    let (mut due, mut asleep) = (clock::now(), clock::asleep());
    while !halt.load(Ordering::Relaxed) {
        due = due + STEP;
        clock::sleep_until(due);
        let now = clock::now();
        let t = time.of(now);
        let length = now - due;
        let mut told = Ok(());
        if length > STALL {
            told = sender.send(Message::Stall { t, length });
        }
        if length > STEP {
            due = now;
        }
        let slept = clock::asleep() - asleep;
        if slept > SUSPEND {
            asleep = asleep + slept;
            told = sender.send(Message::Suspend { t, length: slept });
        }
        if told.is_err() {
            return;
        }
    }
}
