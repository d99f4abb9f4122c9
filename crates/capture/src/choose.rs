//! Which device is meant: the one that is moved.

use crate::device::FoundDevice;
use crate::hidraw::HidrawSource;
use slipgauge_trace::source::{Arrival, Batch, ReportSource as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

/// Counts that a hand makes in no time and a device at rest does not.
const MOVED: u64 = 200;

/// Index of the first device that is moved by some [`MOVED`] counts; `None` if none is within `wait`, or `stop` is set.
/// Those that cannot be opened are passed over. Nothing is kept of what they send.
pub fn moved(devices: &[FoundDevice], wait: Duration, stop: &AtomicBool) -> Option<usize> {
    let over = AtomicBool::new(false);
    let end = Instant::now() + wait;
    std::thread::scope(|scope| {
        let (sender, receiver) = channel();
        for (index, device) in devices.iter().enumerate() {
            for (node, layout) in device.pointers() {
                let Ok(mut source) = HidrawSource::open(node) else { continue };
                let (sender, over) = (sender.clone(), &over);
                let watch = move || {
                    let (mut batch, mut counts) = (Batch::default(), 0u64);
                    while !over.load(Ordering::Relaxed) && counts < MOVED {
                        batch.clear();
                        match source.wait(&mut batch) {
                            Ok(Arrival::Reports | Arrival::Nothing) => {}
                            _ => return,
                        }
                        let motion = batch.reports().filter_map(|report| layout.decode(report).ok());
                        let path =
                            motion.map(|m| u64::from(m.x.unsigned_abs()) + u64::from(m.y.unsigned_abs()));
                        counts = counts.saturating_add(path.fold(0, u64::saturating_add));
                    }
                    if counts >= MOVED {
                        let _ = sender.send(index);
                    }
                };
                let named = std::thread::Builder::new().name(format!("choose-{index}"));
                // One that cannot be watched is not chosen.
                let _ = named.spawn_scoped(scope, watch);
            }
        }
        drop(sender);
        let mut chosen = None;
        while chosen.is_none() && Instant::now() < end && !stop.load(Ordering::Relaxed) {
            use std::sync::mpsc::RecvTimeoutError;
            match receiver.recv_timeout(Duration::from_millis(50)) {
                Ok(index) => chosen = Some(index),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        over.store(true, Ordering::Relaxed);
        chosen
    })
}
