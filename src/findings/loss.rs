//! How many of the messages that carry numbers are missing: what is lost alike everywhere, the capture lost.

use crate::analysis::Analysis;
use crate::domains::Kind;
use crate::streams::Stream;

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

/// Of all that was captured but `stream`.
pub(in crate::findings) fn besides(analysis: &Analysis, stream: &Stream) -> Numbers {
    let mut numbers = of_clocks(analysis);
    for other in analysis.wire.streams.iter().filter(|other| other.key != stream.key) {
        if let Some(rtp) = &other.rtp {
            numbers.add(rtp.expected, rtp.lost);
        }
    }
    numbers
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
