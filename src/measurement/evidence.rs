//! The raw bytes behind a reading: the frames and samples a capture was decided on.

use std::collections::VecDeque;

use super::sample::Sample;

/// Longest window kept for one channel, in seconds.
const LONGEST_S: f64 = 30.0;
/// Most raw bytes kept for one channel.
const MOST_BYTES: usize = 128 * 1024;
/// How much before the first sample of the mean is stored with it, in seconds, so that despiking and block means
/// of the settling can be repeated.
const LEAD_S: f64 = 1.0;
/// How many frames before it, at least.
const LEAD_FRAMES: usize = 16;

/// One frame as it came from the wire.
#[derive(Debug, Clone, PartialEq)]
pub struct RawFrame {
    /// When its last byte came, in seconds of the session.
    pub t_s: f64,
    /// Its bytes.
    pub bytes: Box<[u8]>,
}

/// Frames and samples of a window.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Evidence {
    /// Frames, oldest first.
    pub frames: Vec<RawFrame>,
    /// Samples made from them, oldest first.
    pub samples: Vec<Sample>,
}

impl Evidence {
    /// This and what came later, each frame once.
    #[must_use]
    pub fn and_later(mut self, later: &Self) -> Self {
        let last_s = self.frames.last().map_or(f64::NEG_INFINITY, |frame| frame.t_s);
        let first = later.frames.partition_point(|frame| frame.t_s <= last_s);
        self.frames.extend(later.frames.iter().skip(first).cloned());
        self.samples.extend(later.samples.iter().skip(first));
        self
    }
}

/// The last seconds of one channel, bounded in time and bytes.
#[derive(Debug, Default)]
pub struct RecentFrames {
    kept: VecDeque<(RawFrame, Sample)>,
    bytes: usize,
}

impl RecentFrames {
    /// Takes one frame and its sample in; the oldest go when the window is full.
    pub fn push(&mut self, frame: RawFrame, sample: Sample) {
        self.bytes += frame.bytes.len();
        let newest_s = frame.t_s;
        self.kept.push_back((frame, sample));
        while let Some((oldest, _)) = self.kept.front()
            && (newest_s - oldest.t_s > LONGEST_S || self.bytes > MOST_BYTES)
        {
            self.bytes -= oldest.bytes.len();
            self.kept.pop_front();
        }
    }

    /// The newest sample.
    #[must_use]
    pub fn newest(&self) -> Option<Sample> {
        self.kept.back().map(|(_, sample)| *sample)
    }

    /// The samples at or after `start_s`, oldest first.
    pub fn samples_since(&self, start_s: f64) -> impl Iterator<Item = Sample> {
        let first = self.kept.partition_point(|(frame, _)| frame.t_s < start_s);
        self.kept.range(first..).map(|(_, sample)| *sample)
    }

    /// The frames and samples from a little before `start_s` up to `end_s`.
    #[must_use]
    pub fn cut(&self, start_s: f64, end_s: f64) -> Evidence {
        // After a pause of the line a second holds nothing: the neighbours that despiking heard count by number too.
        let before = self.kept.partition_point(|(frame, _)| frame.t_s < start_s);
        let in_time = self.kept.partition_point(|(frame, _)| frame.t_s < start_s - LEAD_S);
        let first = in_time.min(before.saturating_sub(LEAD_FRAMES));
        let (frames, samples) = self
            .kept
            .iter()
            .skip(first)
            .filter(|(frame, _)| frame.t_s <= end_s)
            .map(|(frame, sample)| (frame.clone(), *sample))
            .unzip();
        Evidence { frames, samples }
    }

    /// From a little before `start_s` to the newest.
    #[must_use]
    pub fn from(&self, start_s: f64) -> Evidence {
        self.cut(start_s, f64::INFINITY)
    }

    /// Forgets everything, as after a replug.
    pub fn clear(&mut self) {
        self.kept.clear();
        self.bytes = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_a_pause_of_the_line_the_neighbours_are_kept_by_number() {
        let mut recent = RecentFrames::default();
        let times = (0..40).map(|n| f64::from(n) * 0.1).chain((0..12).map(|n| 6.0 + f64::from(n) * 0.1));
        for t_s in times {
            recent.push(RawFrame { t_s, bytes: vec![0; 10].into() }, Sample { t_s, values: [0.0, 0.0] });
        }
        let evidence = recent.cut(6.0, 7.1);
        assert_eq!(evidence.frames.len(), LEAD_FRAMES + 12);
    }

    #[test]
    fn the_window_is_bounded_in_time_and_bytes() {
        let mut recent = RecentFrames::default();
        for n in 0..20_000 {
            let t_s = f64::from(n) * 0.01;
            let frame = RawFrame { t_s, bytes: vec![0; 100].into() };
            recent.push(frame, Sample { t_s, values: [0.0, 0.0] });
        }
        assert!(recent.bytes <= MOST_BYTES);
        let evidence = recent.cut(198.0, 199.0);
        let first = evidence.frames.first().unwrap().t_s;
        assert!((first - 197.0).abs() < 0.02, "{first}");
        assert_eq!(evidence.frames.len(), evidence.samples.len());
    }
}
