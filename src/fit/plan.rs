//! What is planned, and what has to stay free.

use crate::units::BitsPerSecond;

/// Which way planned streams cross the link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// Towards the place of the capture.
    In,
    /// Away from it.
    Out,
}

impl Direction {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::In => "in",
            Self::Out => "out",
        }
    }
}

/// Streams that are planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// What they are called.
    pub name: String,
    /// How many.
    pub count: u32,
    /// What each takes on the wire.
    pub rate: BitsPerSecond,
    /// Which way; `None` counts for both.
    pub direction: Option<Direction>,
}

impl Planned {
    /// What all of them take, saturating.
    #[must_use]
    pub fn total(&self) -> BitsPerSecond {
        BitsPerSecond(self.rate.0.saturating_mul(u64::from(self.count)))
    }
}

/// What several plans add to the fuller direction.
pub(super) fn added(planned: &[Planned]) -> BitsPerSecond {
    let sum = |direction| {
        let own = planned.iter().filter(|planned| planned.direction == direction);
        own.map(Planned::total).fold(BitsPerSecond(0), BitsPerSecond::saturating_add)
    };
    sum(None).saturating_add(sum(Some(Direction::In)).max(sum(Some(Direction::Out))))
}

/// Millionths of a whole.
const WHOLE: u32 = 1_000_000;

/// The part of a link that has to stay free, in millionths; a million at the most.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct KeepFree(u32);

impl KeepFree {
    /// A quarter: continuous media on 70 to 80 % of a link at the most (common practice, no source).
    pub const USUAL: Self = Self(250_000);

    /// `None` above the whole.
    #[must_use]
    pub const fn from_millionths(millionths: u32) -> Option<Self> {
        if millionths <= WHOLE { Some(Self(millionths)) } else { None }
    }

    /// In millionths.
    #[must_use]
    pub const fn millionths(self) -> u32 {
        self.0
    }

    /// What may be used of a link, rounded down.
    #[must_use]
    pub fn usable(self, speed: BitsPerSecond) -> BitsPerSecond {
        let used = u128::from(WHOLE.saturating_sub(self.0));
        let bits = u128::from(speed.0).saturating_mul(used) / u128::from(WHOLE);
        BitsPerSecond(u64::try_from(bits).unwrap_or(u64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn planned(mega: u64, count: u32, direction: Option<Direction>) -> Planned {
        Planned { name: String::new(), count, rate: BitsPerSecond(mega * 1_000_000), direction }
    }

    #[test]
    fn one_direction_does_not_fill_the_other() {
        let plans = [
            planned(100, 2, Some(Direction::In)),
            planned(300, 1, Some(Direction::Out)),
            planned(8, 10, None),
        ];
        assert_eq!(added(&plans), BitsPerSecond(380_000_000));
        assert_eq!(added(&[planned(u64::MAX / 1_000_000, u32::MAX, None)]), BitsPerSecond(u64::MAX));
    }

    #[test]
    fn what_stays_free_is_at_most_all() {
        assert_eq!(KeepFree::USUAL.usable(BitsPerSecond(1_000_000_000)), BitsPerSecond(750_000_000));
        assert_eq!(
            KeepFree::from_millionths(WHOLE).unwrap().usable(BitsPerSecond(u64::MAX)),
            BitsPerSecond(0)
        );
        assert_eq!(KeepFree::from_millionths(0).unwrap().usable(BitsPerSecond(7)), BitsPerSecond(7));
        assert_eq!(KeepFree::from_millionths(WHOLE + 1), None);
    }
}
