//! Whether frames end with their check sequence where the file does not say so.
//!
//! The octets tell: the last four of such a frame are the CRC-32 of those before (IEEE 802.3 clause 3.2.9, from memory),
//! which by chance they are once in 2³² times. Switches that mirror and some adapters capture it, and a file that does not
//! declare it makes every frame look four octets longer than it is.

use super::record::LinkType;
use super::walk::Frame;

/// Octets of the check sequence.
const OCTETS: u8 = 4;
/// The shortest Ethernet frame with its check sequence, octets (IEEE 802.3 clause 4.4.2, from memory).
const SHORTEST: usize = 64;
/// Whole frames of an interface that are tested before it counts as known (chosen).
pub(super) const SAMPLE: u8 = 64;
/// Interfaces of a file that are looked at (chosen).
const INTERFACES: usize = 1024;

/// What was found on one interface.
#[derive(Debug, Clone, Copy, Default)]
struct Sample {
    tested: u8,
    right: u8,
}

/// Finds undeclared check sequences.
#[derive(Debug, Clone, Default)]
pub(super) struct FrameChecks {
    samples: Vec<Sample>,
    /// Frames that what is known of an interface was learned from.
    learned: u64,
    /// Frames that end with one.
    pub(super) found: u64,
}

impl FrameChecks {
    /// Those for a part of the same file, which know what these know.
    pub(super) fn for_part(&self) -> Self {
        Self { found: 0, ..self.clone() }
    }

    /// How much was learned: with the same number the next frame is taken alike.
    pub(super) const fn learned(&self) -> u64 {
        self.learned
    }

    /// Takes in what those of a part have found that had nothing to learn.
    pub(super) fn adopt(&mut self, found: u64) {
        self.found = self.found.saturating_add(found);
    }

    /// Fills in that a frame, whose octets these are, ends with a check sequence.
    ///
    /// Each of the first frames is tested itself. Where all of them have it, or none, so do those that follow; where
    /// some have it, as where only what was received does, each is tested further on.
    #[inline]
    pub(super) fn fill_in(&mut self, frame: &mut Frame, octets: &[u8]) {
        if !self.has_nothing_to_say(frame) {
            self.look(frame, octets);
        }
    }

    /// Whether [`Self::fill_in`] would leave a frame as it is and learn nothing.
    #[inline]
    pub(super) fn has_nothing_to_say(&self, frame: &Frame) -> bool {
        let index = usize::try_from(frame.interface).unwrap_or(INTERFACES);
        frame.fcs_octets.is_some()
            || frame.link != LinkType::ETHERNET
            || index >= INTERFACES
            || self.samples.get(index).is_some_and(|sample| sample.tested >= SAMPLE && sample.right == 0)
    }

    fn look(&mut self, frame: &mut Frame, octets: &[u8]) {
        let index = usize::try_from(frame.interface).unwrap_or(INTERFACES);
        if self.samples.len() <= index {
            self.samples.resize(index.saturating_add(1), Sample::default());
        }
        let Some(sample) = self.samples.get_mut(index) else { return };
        let all = sample.tested > 0 && sample.right == sample.tested;
        let is_mixed = sample.right > 0 && !all;
        let is_whole = u32::try_from(octets.len()).is_ok_and(|kept| kept == frame.original_len);
        let has_check = if is_whole && (sample.tested < SAMPLE || is_mixed) {
            let right = ends_with_check(octets);
            if sample.tested < SAMPLE {
                self.learned = self.learned.saturating_add(1);
                sample.tested += 1;
                sample.right += u8::from(right);
            }
            right
        } else {
            all
        };
        if has_check {
            frame.fcs_octets = Some(OCTETS);
            self.found = self.found.saturating_add(1);
        }
    }
}

fn ends_with_check(octets: &[u8]) -> bool {
    let Some((covered, check)) = octets.split_last_chunk::<4>() else { return false };
    // The first octet on the wire holds the lowest bits.
    octets.len() >= SHORTEST && crc32fast::hash(covered) == u32::from_le_bytes(*check)
}
