//! Real-time priority, asked for and not required.

use thread_priority::{
    RealtimeThreadSchedulePolicy, ThreadPriority, ThreadPriorityValue, ThreadSchedulePolicy,
    set_thread_priority_and_policy, thread_native_id,
};

/// Above every ordinary thread, and well below the 50 at which the kernel runs its interrupt threads: those bring the
/// reports. Of 1 to 99 (sched(7)).
const PRIORITY: u8 = 10;

/// Asks for first-in-first-out scheduling for the calling thread. False if it was refused, as it is for most users.
pub(super) fn ask_for_real_time() -> bool {
    let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    let priority = ThreadPriorityValue::try_from(PRIORITY).map(ThreadPriority::Crossplatform);
    priority.is_ok_and(|p| set_thread_priority_and_policy(thread_native_id(), p, policy).is_ok())
}
