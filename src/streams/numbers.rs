//! What AVTP's numbers of eight bits say.

use crate::avtp;

/// What a stream's numbers say. They run over each 256 packets, so of a longer outage only the rest is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AvtpCounts {
    /// The subtype of the first packet.
    pub subtype: Option<u8>,
    /// Packets, and those missing between them.
    pub expected: u64,
    /// Numbers that never came, at the least.
    pub lost: u64,
    /// Packets with the number of the one before.
    pub duplicated: u64,
}

impl AvtpCounts {
    /// The subtype's name, else its number.
    #[must_use]
    pub fn subtype_name(&self) -> String {
        let named =
            |subtype: u8| avtp::subtype_name(subtype).map_or_else(|| subtype.to_string(), str::to_owned);
        self.subtype.map_or_else(String::new, named)
    }
}

/// The numbers of a flow, joinable: each is held against the one before it alone.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Numbers {
    /// The first and the last.
    ends: Option<(u8, u8)>,
    /// How far they went, those that came late taken back.
    went: i64,
    packets: u64,
    duplicated: u64,
}

impl Numbers {
    pub(super) fn push(&mut self, number: u8) {
        let first = match self.ends {
            Some((first, last)) => {
                self.step(last, number);
                first
            }
            None => number,
        };
        self.packets += 1;
        self.ends = Some((first, number));
    }

    fn step(&mut self, from: u8, to: u8) {
        let ahead = to.wrapping_sub(from);
        self.duplicated += u64::from(ahead == 0);
        let ahead = i64::from(ahead);
        // More than half way round is a way back.
        self.went += if ahead > 128 { ahead - 256 } else { ahead };
    }

    /// Adds those of what followed.
    pub(super) fn join(&mut self, right: &Self) {
        let Some((right_first, right_last)) = right.ends else { return };
        let first = match self.ends {
            Some((first, last)) => {
                self.step(last, right_first);
                first
            }
            None => right_first,
        };
        self.went += right.went;
        self.packets += right.packets;
        self.duplicated += right.duplicated;
        self.ends = Some((first, right_last));
    }

    /// What they say; `None` where none came.
    pub(super) fn counts(&self, subtype: Option<u8>) -> Option<AvtpCounts> {
        self.ends?;
        let came = self.packets.saturating_sub(self.duplicated);
        let went = u64::try_from(self.went).unwrap_or(0).saturating_add(1);
        let lost = went.saturating_sub(came);
        Some(AvtpCounts { subtype, expected: came.saturating_add(lost), lost, duplicated: self.duplicated })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pass(numbers: &[u8]) -> Numbers {
        let mut all = Numbers::default();
        for number in numbers {
            all.push(*number);
        }
        all
    }

    fn told(numbers: &[u8]) -> (u64, u64, u64) {
        let counts = pass(numbers).counts(None).unwrap();
        (counts.expected, counts.lost, counts.duplicated)
    }

    #[test]
    fn missing_numbers_are_counted_over_the_turn_and_late_ones_are_not() {
        assert_eq!(told(&[250, 251, 252, 253, 254, 255, 0, 1]), (8, 0, 0));
        assert_eq!(told(&[254, 255, 3, 4]), (7, 3, 0));
        assert_eq!(told(&[1, 3, 2, 4, 4, 5]), (5, 0, 1));
        assert_eq!(told(&[0, 128]), (129, 127, 0));
        assert_eq!(told(&[7]), (1, 0, 0));
        assert_eq!(Numbers::default().counts(None), None);
    }

    proptest! {
        #[test]
        fn cut_anywhere_they_are_the_same(numbers in prop::collection::vec(any::<u8>(), 0..80), cut in 0_usize..80) {
            let (left, right) = numbers.split_at(cut.min(numbers.len()));
            let mut joined = pass(left);
            joined.join(&pass(right));
            prop_assert_eq!(joined, pass(&numbers));
        }
    }
}
