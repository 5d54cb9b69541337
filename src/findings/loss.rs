//! How many of the messages that carry numbers are missing: what is lost alike everywhere, the capture lost.

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::domains::Kind;
use crate::streams::Stream;
use crate::units::MacAddress;

/// Above one missing in so many, a few unnumbered messages may be missing as well (chosen: 5 %).
const MUCH: u64 = 20;

/// Numbers of some series together.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::findings) struct Numbers {
    /// Those that came and those that did not.
    pub(in crate::findings) expected: u64,
    /// Those that did not.
    pub(in crate::findings) missed: u64,
}

impl Numbers {
    const fn add(&mut self, expected: u64, missed: u64) {
        self.expected = self.expected.saturating_add(expected);
        self.missed = self.missed.saturating_add(missed);
    }

    const fn is_much(self) -> bool {
        self.missed.saturating_mul(MUCH) > self.expected
    }
}

/// Of the clocks' own messages.
fn of_clocks(analysis: &Analysis) -> Numbers {
    let mut numbers = Numbers::default();
    let ports = analysis.domains.iter().flat_map(|domain| domain.ports.values());
    for series in ports.flat_map(|port| {
        [Kind::Sync, Kind::FollowUp, Kind::Announce].into_iter().filter_map(|kind| port.series(kind))
    }) {
        numbers.add(series.count().saturating_add(series.missed()), series.missed());
    }
    numbers
}

/// Of all that was captured but one stream.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::findings) struct Others {
    /// All of it.
    pub(in crate::findings) all: Numbers,
    /// The half of it that is wholest, without the sender that lost most: what a capture loses, that half loses as well, and
    /// what one network path loses, it does not.
    pub(in crate::findings) better_half: Numbers,
}

/// Of all that was captured but `stream`.
pub(in crate::findings) fn besides(analysis: &Analysis, stream: &Stream) -> Others {
    let mut senders: BTreeMap<(Option<IpAddr>, Option<MacAddress>), Numbers> = BTreeMap::new();
    for other in analysis.wire.streams.iter().filter(|other| other.key != stream.key) {
        if let Some((expected, lost)) = other.numbered() {
            let sender = (other.source(), other.macs.first().copied().filter(|_| other.source().is_none()));
            senders.entry(sender).or_default().add(expected, lost);
        }
    }
    others(of_clocks(analysis), senders.into_values().collect())
}

fn others(clocks: Numbers, mut senders: Vec<Numbers>) -> Others {
    let mut all = clocks;
    for sender in &senders {
        all.add(sender.expected, sender.missed);
    }
    // Two bad senders must not hide each other; of one alone it cannot be told whether it is bad or the capture is.
    if senders.len() > 1 {
        senders.sort_unstable_by_key(|sender| (sender.missed, sender.expected));
        senders.pop();
    }
    senders.push(clocks);
    Others { all, better_half: better_half(senders) }
}

/// The half of all numbers that is wholest; of the series in its middle a share.
fn better_half(mut series: Vec<Numbers>) -> Numbers {
    let left = |numbers: &Numbers| {
        u128::from(numbers.missed) * u128::from(u32::MAX) / u128::from(numbers.expected.max(1))
    };
    series.sort_unstable_by_key(|numbers| (left(numbers), numbers.expected));
    let all = series.iter().fold(0_u64, |sum, numbers| sum.saturating_add(numbers.expected));
    let mut half = Numbers::default();
    for numbers in series {
        let room = all.div_ceil(2).saturating_sub(half.expected);
        let taken = numbers.expected.min(room);
        let missed = u128::from(numbers.missed) * u128::from(taken) / u128::from(numbers.expected.max(1));
        half.add(taken, u64::try_from(missed).unwrap_or(u64::MAX));
    }
    half
}

/// Whether so much is missing that a query, or a report, may be missing too.
pub(in crate::findings) fn is_much(analysis: &Analysis) -> bool {
    let mut media = Numbers::default();
    for rtp in analysis.wire.streams.iter().filter_map(|stream| stream.rtp.as_ref()) {
        // What went by while nothing was captured is missing too.
        media.add(rtp.expected.saturating_add(rtp.not_captured), rtp.lost.saturating_add(rtp.not_captured));
    }
    of_clocks(analysis).is_much() || media.is_much()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(expected: u64, missed: u64) -> Numbers {
        Numbers { expected, missed }
    }

    fn half(clocks: Numbers, senders: &[Numbers]) -> (u64, u64) {
        let half = others(clocks, senders.to_vec()).better_half;
        (half.expected, half.missed)
    }

    #[test]
    fn a_sender_that_lost_most_does_not_count_beside_another() {
        let (whole, bad) = (numbers(1000, 0), numbers(1000, 300));
        let clocks = numbers(200, 0);
        assert_eq!(half(clocks, &[bad, whole]), (600, 0));
        assert_eq!(half(clocks, &[bad, bad, whole, whole]), (1600, 0));
        // Of one alone it cannot be told: the clocks' few numbers are no half of all.
        assert_eq!(half(clocks, &[bad]), (600, 120));
    }

    #[test]
    fn what_a_capture_lost_alike_the_better_half_lost_as_well() {
        let alike = [numbers(1000, 10), numbers(2000, 20), numbers(3000, 30)];
        assert_eq!(half(numbers(100, 1), &alike), (1550, 15));
        // Little that is whole beside much that is not.
        assert_eq!(
            half(numbers(100, 0), &[numbers(9000, 90), numbers(9000, 90), numbers(500, 0)]),
            (4800, 42)
        );
        assert_eq!(half(Numbers::default(), &[]), (0, 0));
        assert_eq!(others(numbers(100, 1), alike.to_vec()).all.missed, 61);
    }
}
