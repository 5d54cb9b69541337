//! How long packets went on where the capture's clock was set back between.

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Stamps that go back by no more may be of another interface's clock, or out of order (chosen).
const FAR_BACK: Nanos = Nanos(NANOS_PER_SECOND);

/// From the first packet to the latest of those between which stamps did not go far back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stretch {
    first: CaptureTime,
    latest: CaptureTime,
}

impl Stretch {
    fn length(self) -> Nanos {
        self.latest.since(self.first)
    }
}

/// The stretches of one flow, joinable.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Stretches {
    current: Option<Stretch>,
    /// The first of those that are over.
    first: Option<Stretch>,
    /// The sum of those that are over.
    over: Nanos,
    count: u64,
}

impl Stretches {
    /// Takes in the time of a packet; it is enough to tell one in each millisecond.
    #[inline]
    pub(super) fn follow(&mut self, at: CaptureTime) {
        match &mut self.current {
            None => self.current = Some(Stretch { first: at, latest: at }),
            Some(current) if current.latest.since(at) > FAR_BACK => {
                let over = *current;
                self.end(over);
                self.current = Some(Stretch { first: at, latest: at });
            }
            Some(current) => current.latest = current.latest.max(at),
        }
    }

    #[cold]
    fn end(&mut self, over: Stretch) {
        self.first.get_or_insert(over);
        self.over = self.over.saturating_add(over.length());
        self.count += 1;
    }

    /// Adds those of what followed.
    pub(super) fn join(&mut self, right: &Self) {
        let Some(first) = right.first.or(right.current) else { return };
        self.follow(first.first);
        self.follow(first.latest);
        if right.count > 0
            && let Some(current) = self.current
        {
            self.end(current);
            self.over = self.over.saturating_add(Nanos(right.over.0.saturating_sub(first.length().0)));
            self.count += right.count - 1;
            self.current = right.current;
        }
    }

    /// How often stamps went far back.
    pub(super) const fn far_back(&self) -> u64 {
        self.count
    }

    /// All stretches together.
    pub(super) fn length(&self) -> Nanos {
        self.over.saturating_add(self.current.map_or(Nanos::ZERO, Stretch::length))
    }
}
