//! Smoothing: the mean of the last `n` frames' motion. It delays by `(n - 1)/2` frames and loses nothing.

/// A running mean at work.
pub(super) struct SmoothingState {
    ring: Vec<[f64; 2]>,
    next: usize,
    sum: [f64; 2],
    /// Frames in a row without motion.
    still: usize,
}

impl SmoothingState {
    pub(super) fn new(frames: u32) -> SmoothingState {
        let frames = frames.max(1) as usize;
        SmoothingState { ring: vec![[0.0; 2]; frames], next: 0, sum: [0.0; 2], still: frames }
    }

    pub(super) fn frame(&mut self, moved: [f64; 2]) -> [f64; 2] {
        let frames = self.ring.len();
        if frames == 1 {
            return moved;
        }
        self.still = if moved == [0.0; 2] { self.still + 1 } else { 0 };
        if self.empty() {
            self.sum = [0.0; 2];
            return [0.0; 2];
        }
        if let Some(oldest) = self.ring.get_mut(self.next) {
            for ((sum, old), new) in self.sum.iter_mut().zip(oldest.iter_mut()).zip(moved) {
                *sum += new - *old;
                *old = new;
            }
        }
        self.next = (self.next + 1) % frames;
        self.sum.map(|sum| sum / frames as f64)
    }

    /// True if nothing is left to be handed on.
    pub(super) fn empty(&self) -> bool {
        self.ring.len() == 1 || self.still >= self.ring.len()
    }
}
