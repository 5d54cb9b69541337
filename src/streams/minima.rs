//! The media clock against the capture's: of each window the packet that was under way for the shortest time.
//!
//! Windows begin at multiples of their width, and the width doubles where there are too many, so what is kept
//! depends on the packets alone and not on where the capture was cut.

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;

/// Windows kept of one stream (chosen: 12 KiB).
const MOST: usize = 512;
/// The narrowest window (chosen), ns.
const NARROWEST: i64 = 100_000_000;

/// A packet: when it came and what its timestamp says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    pub(super) time: CaptureTime,
    pub(super) timestamp: u32,
}

impl Stamp {
    /// Whether this packet was under way for less time than `other`, by a clock of `rate` Hz.
    #[inline]
    fn is_faster(self, other: Self, rate: u32) -> bool {
        let later = self.time.0.saturating_sub(other.time.0).saturating_mul(i64::from(rate));
        let media = i64::from(self.timestamp.wrapping_sub(other.timestamp).cast_signed());
        later < media.saturating_mul(NANOS_PER_SECOND)
    }
}

/// The fastest packet of each window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Minima {
    rate: u32,
    width: i64,
    windows: Vec<(i64, Stamp)>,
    /// From where to where the window of the last packet reaches, ns; empty before the first.
    current: (i64, i64),
}

impl Minima {
    pub(super) const fn new(rate: u32) -> Self {
        Self { rate, width: NARROWEST, windows: Vec::new(), current: (0, 0) }
    }

    #[inline]
    pub(super) fn push(&mut self, stamp: Stamp) {
        let (from, until) = self.current;
        if (from..until).contains(&stamp.time.0)
            && let Some((_, fastest)) = self.windows.last_mut()
        {
            if stamp.is_faster(*fastest, self.rate) {
                *fastest = stamp;
            }
            return;
        }
        self.begin(stamp);
    }

    /// Takes in a packet of another window than the last one's.
    fn begin(&mut self, stamp: Stamp) {
        self.insert(stamp.time.0.div_euclid(self.width), stamp);
        while self.windows.len() > MOST {
            self.widen();
        }
        self.mark();
    }

    /// Notes where the last window reaches.
    fn mark(&mut self) {
        let last = self.windows.last().map(|(index, _)| index.saturating_mul(self.width));
        self.current = last.map_or((0, 0), |from| (from, from.saturating_add(self.width)));
    }

    fn insert(&mut self, index: i64, stamp: Stamp) {
        match self.windows.binary_search_by_key(&index, |(index, _)| *index) {
            Ok(place) => {
                if let Some((_, fastest)) = self.windows.get_mut(place)
                    && stamp.is_faster(*fastest, self.rate)
                {
                    *fastest = stamp;
                }
            }
            Err(place) => self.windows.insert(place, (index, stamp)),
        }
    }

    fn widen(&mut self) {
        let before = std::mem::take(&mut self.windows);
        self.width = self.width.saturating_mul(2);
        for (_, stamp) in before {
            self.insert(stamp.time.0.div_euclid(self.width), stamp);
        }
    }

    /// Adds what followed, of the same clock rate.
    pub(super) fn join(&mut self, right: &Self) {
        while self.width < right.width {
            self.widen();
        }
        for (_, stamp) in &right.windows {
            self.insert(stamp.time.0.div_euclid(self.width), *stamp);
        }
        while self.windows.len() > MOST {
            self.widen();
        }
        self.mark();
    }

    /// The fastest packets in time order.
    pub(super) fn stamps(&self) -> impl Iterator<Item = Stamp> {
        self.windows.iter().map(|(_, stamp)| *stamp)
    }
}
