//! One identity sent from two places: whether two senders share a port's identity, each with numbers of its own.
//!
//! One device that is seen by two addresses (routed copies, redundant legs) counts on in one series; two devices
//! with one identity count each in their own, and the series alternate.

use super::port::Kind;
use super::port::SourceAddress;
use crate::observations::Place;
use crate::observations::Way;
use crate::units::MacAddress;

/// Messages from each of two sources before they are called two (reference: 10 from each).
const MESSAGES: u64 = 10;

/// Times each must have gone on with its own numbers after the other spoke (chosen: one hand-over back and forth is
/// one device that moves).
const RETURNS: u64 = 5;

/// Times the owner of an identity must have gone on after a stranger's message (chosen: once may be a device that was
/// replaced and put back).
const STRANGER_RETURNS: u64 = 2;

/// Numbers this close are taken for one series: a few may be lost or captured out of order (chosen).
const NEAR: u16 = 8;

/// Sources followed of one kind of message (chosen).
const SOURCES: usize = 8;

/// What one source sent of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OwnSeries {
    kind: Kind,
    /// Where it was sent from.
    pub source: SourceAddress,
    /// Where its latest message was captured.
    pub way: Way,
    /// Messages.
    pub count: u64,
    /// Times it went on with its own numbers after another source had spoken with other ones.
    pub returns: u64,
    /// Its first message.
    pub first: Place,
    /// The latest of its messages that came after another source's.
    pub returned: Option<Place>,
    latest: u16,
}

/// Who sends under one port identity.
#[derive(Debug, Clone, Default)]
pub struct Twins {
    series: Vec<OwnSeries>,
    /// The source of the latest message of each kind, and its number.
    latest: Vec<(Kind, SourceAddress, u16)>,
}

impl Twins {
    pub(super) fn record(
        &mut self,
        kind: Kind,
        source: SourceAddress,
        number: u16,
        place: Place,
        interface: u32,
    ) {
        if !matches!(kind, Kind::Announce | Kind::Sync | Kind::DelayReq | Kind::PdelayReq) {
            return;
        }
        let source = identity(source);
        let way = Way { file: place.file, interface };
        let before = match self.latest.iter_mut().find(|(of, ..)| *of == kind) {
            Some(latest) => Some(std::mem::replace(latest, (kind, source, number))),
            None => {
                self.latest.push((kind, source, number));
                None
            }
        };
        let known = self.series.iter_mut().find(|series| series.kind == kind && series.source == source);
        if let Some(series) = known {
            let others = before.filter(|(_, other, _)| *other != source).map(|(.., number)| number);
            let goes_on = (1..=NEAR).contains(&number.wrapping_sub(series.latest));
            if others.is_some_and(|theirs| goes_on && !is_near(number, theirs)) {
                series.returns += 1;
                series.returned = Some(place);
            }
            series.count += 1;
            series.way = way;
            series.latest = number;
        } else if self.series.iter().filter(|series| series.kind == kind).count() < SOURCES {
            let latest = number;
            self.series.push(OwnSeries {
                kind,
                source,
                way,
                count: 1,
                returns: 0,
                first: place,
                returned: None,
                latest,
            });
        }
    }

    /// Takes in so many more messages of the source that sent the latest of a kind, by its way; the number of the latest.
    pub(super) fn go_on(
        &mut self,
        kind: Kind,
        source: SourceAddress,
        messages: u64,
        (number, way): (u16, Way),
    ) {
        let source = identity(source);
        if let Some((.., latest)) = self.latest.iter_mut().find(|(of, ..)| *of == kind) {
            *latest = number;
        }
        let known = self.series.iter_mut().find(|series| series.kind == kind && series.source == source);
        if let Some(series) = known {
            series.count += messages;
            series.way = way;
            series.latest = number;
        }
    }

    /// The owner of an address and a stranger that sent under the owner's identity with numbers of its own while the
    /// owner went on. `None` where both are regular enough to be [`Self::two`].
    #[must_use]
    pub fn stranger(&self, owner: MacAddress) -> Option<(Kind, OwnSeries, OwnSeries)> {
        if self.two().is_some() {
            return None;
        }
        let owns =
            |series: &&OwnSeries| series.source.mac == Some(owner) && series.returns >= STRANGER_RETURNS;
        self.series.iter().filter(owns).find_map(|own| {
            let strange =
                |series: &&OwnSeries| series.kind == own.kind && series.source.mac != own.source.mac;
            Some((own.kind, *own, *self.series.iter().find(strange)?))
        })
    }

    /// Two sources that share the identity and count apart, with the kind of message that shows it.
    #[must_use]
    pub fn two(&self) -> Option<(Kind, OwnSeries, OwnSeries)> {
        let own = |series: &&OwnSeries| series.count >= MESSAGES && series.returns >= RETURNS;
        self.series.iter().filter(own).enumerate().find_map(|(index, one)| {
            let later = self.series.iter().filter(own).skip(index + 1);
            let other = later.into_iter().find(|other| other.kind == one.kind)?;
            Some((one.kind, *one, *other))
        })
    }
}

/// What tells a sender: its MAC address, or where the capture has none, its IP address. One device may well send
/// over IPv4 and IPv6.
fn identity(source: SourceAddress) -> SourceAddress {
    if source.mac.is_some() { SourceAddress { ip: None, ..source } } else { source }
}

fn is_near(one: u16, other: u16) -> bool {
    one.wrapping_sub(other).min(other.wrapping_sub(one)) <= NEAR
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLACE: Place = Place { file: 0, frame: 1, time: None };

    fn from(number: u8) -> SourceAddress {
        SourceAddress { mac: Some(MacAddress([2, 0, 0x5E, 0, 0, number])), ip: None }
    }

    fn twins(messages: impl IntoIterator<Item = (u8, u16)>) -> Twins {
        let mut twins = Twins::default();
        for (source, number) in messages {
            twins.record(Kind::Announce, from(source), number, PLACE, 0);
        }
        twins
    }

    #[test]
    fn two_series_that_alternate_are_two_senders() {
        let twins = twins((0..10).flat_map(|n| [(1, 500 + n), (2, 40_000 + n)]));
        let (kind, one, other) = twins.two().unwrap();
        assert_eq!((kind, one.source, other.source), (Kind::Announce, from(1), from(2)));
        assert_eq!((one.count, one.returns, other.returns), (10, 9, 9));
    }

    #[test]
    fn nine_messages_of_one_of_them_are_too_few() {
        assert!(twins((0..9).flat_map(|n| [(1, 500 + n), (2, 40_000 + n)])).two().is_none());
    }

    #[test]
    fn copies_of_one_series_by_two_addresses_are_one_sender() {
        assert!(twins((0..40).flat_map(|n| [(1, n), (2, n)])).two().is_none());
        assert!(twins((0..40).map(|n| (if n % 2 == 0 { 1 } else { 2 }, n))).two().is_none());
    }

    #[test]
    fn a_device_that_was_swapped_for_another_is_no_pair() {
        let swapped = (0..40).map(|n| (1, n)).chain((0..40).map(|n| (2, 9000 + n)));
        assert!(twins(swapped).two().is_none());
    }

    #[test]
    fn one_hand_over_back_and_forth_is_no_pair() {
        let first = (0..20).map(|n| (1, n)).chain((0..20).map(|n| (2, 9000 + n)));
        let again = (20..40).map(|n| (1, n)).chain((20..40).map(|n| (2, 9000 + n)));
        assert!(twins(first.chain(again)).two().is_none());
    }

    #[test]
    fn one_mac_over_two_transports_is_one_sender() {
        let mut twins = Twins::default();
        for n in 0..40 {
            for (ip, number) in [("10.20.0.1", n), ("fe80::1", 9000 + n)] {
                let source = SourceAddress { ip: Some(ip.parse().unwrap()), ..from(1) };
                twins.record(Kind::Announce, source, number, PLACE, 0);
            }
        }
        assert!(twins.two().is_none());
    }

    #[test]
    fn each_kind_of_message_counts_for_itself() {
        let mut twins = Twins::default();
        for n in 0..40 {
            twins.record(Kind::Announce, from(1), n, PLACE, 0);
            twins.record(Kind::Sync, from(2), 9000 + n, PLACE, 0);
        }
        assert!(twins.two().is_none());
    }
}
