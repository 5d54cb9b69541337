//! Silences of one series to a group: gaps far beyond its interval, told apart by whether numbers are missing.
//!
//! Memory: at most [`KEPT`] silences a series.

use crate::observations::Place;
use crate::observations::Watched;
use crate::units::Nanos;

/// Intervals beyond which a gap is a silence (802.1AS `syncReceiptTimeout` 3, 1588-2008 `announceReceiptTimeout` 3,
/// from memory; half an interval more for the jitter that 7.7.2.1 allows).
const SILENT_HALVES: i64 = 7;

/// Silences kept (chosen).
const KEPT: usize = 64;

/// Steps by which a number goes back where messages were captured out of order (chosen).
const REORDERED: u16 = 8;

/// A gap between two messages of a series.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Silence {
    /// The last message before it.
    pub before: Place,
    /// The first after it.
    pub after: Place,
    /// How long the network was watched meanwhile.
    pub length: Nanos,
    /// Numbers skipped; `None` where the numbers began anew.
    pub skipped: Option<u16>,
    /// Requests for delay of others in the same domain meanwhile.
    pub asked: u64,
}

impl Silence {
    /// Whether two silences have a time in common.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.before < other.after && other.before < self.after
    }
}

/// How long a series that comes every `interval` may pause before that is a silence.
#[must_use]
pub const fn silence_limit(interval: Nanos) -> Nanos {
    Nanos(interval.0.saturating_mul(SILENT_HALVES) / 2)
}

/// The latest message of a series.
#[derive(Debug, Clone, Copy)]
pub(super) struct Latest {
    pub(super) place: Place,
    pub(super) watched: Watched,
    pub(super) number: u16,
    /// Requests for delay of others so far.
    pub(super) asked: u64,
}

/// The silences of one series.
#[derive(Debug, Clone, Default)]
pub struct Silences {
    latest: Option<Latest>,
    kept: Vec<Silence>,
    count: u64,
}

impl Silences {
    /// Takes in the next message of a series that comes every `interval`.
    pub(super) fn record(&mut self, now: Latest, interval: Option<Nanos>) {
        if let Some(before) = self.latest {
            if (1..=REORDERED).contains(&before.number.wrapping_sub(now.number)) {
                return;
            }
            let length = interval.map(|interval| now.watched.since(&before.watched, interval));
            let limit = interval.map(silence_limit);
            if let (Some(length), Some(limit)) = (length, limit)
                && length > limit
            {
                self.count += 1;
                if self.kept.len() < KEPT {
                    let step = now.number.wrapping_sub(before.number);
                    let skipped = (1..0x8000).contains(&step).then(|| step.saturating_sub(1));
                    let asked = now.asked.saturating_sub(before.asked);
                    let (before, after) = (before.place, now.place);
                    self.kept.push(Silence { before, after, length, skipped, asked });
                }
            }
        }
        self.latest = Some(now);
    }

    /// How many there were.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The first of them, in order of time.
    #[must_use]
    pub fn kept(&self) -> &[Silence] {
        &self.kept
    }
}
