//! Frames whose headers are those of one that was met before: nearly every frame of a capture is the next packet of a stream,
//! and a few comparisons then say of it what decoding says.
//!
//! Of the common kind alone (see [`super::fast`]), whole, and with what may be an RTP header (RFC 3550 section 5.1). All octets
//! of the headers are compared but those that differ from packet to packet: lengths, identification, checksums, the source
//! port, "do not fragment", the marker, sequence number and timestamp.

use super::fast;
use super::without_frame_check;
use crate::capture::LinkType;
use crate::capture::Record;

/// Bits of hash that find a place.
const PLACE_BITS: u32 = 10;
/// Places for headers (chosen: two streams of a hundred seldom want the same two).
const PLACES: usize = 1 << PLACE_BITS;
/// A place with nothing in it.
const NOTHING: u16 = u16::MAX;

/// Octets of the IPv4, UDP and RTP headers without options.
const HEADERS: usize = 40;
/// Octets of the IPv4 header without options, and of the UDP header.
const IPV4: usize = 20;
const UDP: usize = 8;
/// The shortest UDP length with an RTP header.
const SHORTEST: u16 = 20;

/// What of the five words of those headers is the same in all packets of a stream.
const MASKS: [u64; 5] = [
    // Version, type of service; length and identification; more fragments and the fragment's offset.
    u64::from_le_bytes([0xFF, 0xFF, 0, 0, 0, 0, 0x3F, 0xFF]),
    // Time to live, protocol; checksum; source.
    u64::from_le_bytes([0xFF, 0xFF, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]),
    // Destination; source port; destination port.
    u64::from_le_bytes([0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF]),
    // Length and checksum; version and flags, payload type; marker and sequence number.
    u64::from_le_bytes([0, 0, 0, 0, 0xFF, 0x7F, 0, 0]),
    // Timestamp; SSRC.
    u64::from_le_bytes([0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]),
];

/// Both MAC addresses, what follows them, and the five words.
type Words = [u64; 7];

/// Headers that were met.
#[derive(Debug, Default)]
pub struct Headers {
    known: Vec<Words>,
    places: Vec<u16>,
}

/// A frame whose headers were met before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Alike<'a> {
    /// Which of the headers that were met, counted from 0.
    pub index: usize,
    /// UDP's length field.
    pub udp_length: u16,
    /// UDP's checksum.
    pub checksum: u16,
    /// The UDP datagram's payload, which begins with the RTP header.
    pub payload: &'a [u8],
    /// Where in the frame that begins.
    pub payload_at: usize,
    /// That header's marker.
    pub marker: bool,
    /// Its `sequence number`.
    pub sequence: u16,
    /// Its `timestamp`.
    pub timestamp: u32,
}

/// A frame cut into what is compared.
struct Cut<'a> {
    words: Words,
    packet: &'a [u8],
    /// Where in the frame the packet begins.
    packet_at: usize,
    headers: &'a [u8; HEADERS],
}

/// `None` where the frame is too short, or tagged more than once.
#[inline]
fn cut(octets: &[u8]) -> Option<Cut<'_>> {
    let (&[a, b, c, d, e, f, g, h, i, j, k, l, t0, t1, m, n], _) = octets.split_first_chunk::<16>()?;
    let packet_at = if [t0, t1] == [0x81, 0] {
        let (&[_, _, 8, 0], _) = octets.get(14..)?.split_first_chunk::<4>()? else { return None };
        18
    } else {
        14
    };
    let packet = octets.get(packet_at..)?;
    let headers = packet.first_chunk::<HEADERS>()?;
    let (&[w0, w1, w2, w3, w4], _) = headers.as_chunks::<8>().0.split_first_chunk::<5>()?;
    let [m0, m1, m2, m3, m4] = MASKS;
    let words = [
        u64::from_le_bytes([a, b, c, d, e, f, g, h]),
        u64::from_le_bytes([i, j, k, l, t0, t1, m, n]),
        u64::from_le_bytes(w0) & m0,
        u64::from_le_bytes(w1) & m1,
        u64::from_le_bytes(w2) & m2,
        u64::from_le_bytes(w3) & m3,
        u64::from_le_bytes(w4) & m4,
    ];
    Some(Cut { words, packet, packet_at, headers })
}

impl Cut<'_> {
    /// Where in the cache these headers are looked for; the other place is the one beside.
    #[inline]
    fn place(&self) -> usize {
        let [.., source, destination, _, ssrc] = self.words;
        let mixed = (destination ^ source.rotate_left(24) ^ ssrc).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        usize::try_from(mixed >> (u64::BITS - PLACE_BITS)).unwrap_or_default()
    }
}

/// The octets that count, of Ethernet alone.
#[inline]
fn octets_of<'a>(record: &Record<'a>) -> Option<&'a [u8]> {
    (record.link == LinkType::ETHERNET).then(|| without_frame_check(record))
}

impl Headers {
    /// What the frame is, where its headers were met and all of its datagram was captured.
    #[inline(always)]
    #[must_use]
    pub fn find<'a>(&self, record: &Record<'a>) -> Option<Alike<'a>> {
        let cut = cut(octets_of(record)?)?;
        let place = cut.place();
        let index = self.at(place, &cut.words).or_else(|| self.at(place ^ 1, &cut.words))?;
        let [_, _, l0, l1, ..] = *cut.headers;
        let [.., u0, u1, c0, c1, _, kind, s0, s1, t0, t1, t2, t3, _, _, _, _] = *cut.headers;
        let total = usize::from(u16::from_be_bytes([l0, l1]));
        let udp_length = u16::from_be_bytes([u0, u1]);
        let until = usize::from(udp_length).saturating_add(IPV4);
        if udp_length < SHORTEST || total < until || cut.packet.len() < total {
            return None;
        }
        Some(Alike {
            index,
            udp_length,
            checksum: u16::from_be_bytes([c0, c1]),
            payload: cut.packet.get(IPV4 + UDP..until)?,
            payload_at: cut.packet_at + IPV4 + UDP,
            marker: kind & 0x80 != 0,
            sequence: u16::from_be_bytes([s0, s1]),
            timestamp: u32::from_be_bytes([t0, t1, t2, t3]),
        })
    }

    #[inline]
    fn at(&self, place: usize, words: &Words) -> Option<usize> {
        let index = usize::from(*self.places.get(place)?);
        let known = self.known.get(index)?;
        let ([a, b, c, d, e, f, g], [m, n, o, p, q, r, s]) = (known, words);
        let differ = (a ^ m) | (b ^ n) | (c ^ o) | (d ^ p) | (e ^ q) | (f ^ r) | (g ^ s);
        (differ == 0).then_some(index)
    }

    /// Notes the headers of a frame that carries RTP, and says by which number they are found from here on. `None` where the
    /// frame is not of the kind, or there is no room.
    pub fn learn(&mut self, record: &Record<'_>) -> Option<usize> {
        let octets = octets_of(record)?;
        let is_whole = fast::decode(octets).is_some_and(|frame| frame.stop.is_none());
        let cut = cut(octets).filter(|_| is_whole)?;
        if self.places.is_empty() {
            self.places = vec![NOTHING; PLACES];
        }
        let place = cut.place();
        let free = [place, place ^ 1].into_iter().find(|place| self.places.get(*place) == Some(&NOTHING))?;
        let index = self.known.len();
        *self.places.get_mut(free)? = u16::try_from(index).ok()?;
        self.known.push(cut.words);
        Some(index)
    }

    /// Forgets all of them.
    pub fn clear(&mut self) {
        self.known.clear();
        self.places.fill(NOTHING);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PACKET: [u8; 70] = [
        0x01, 0x00, 0x5e, 0x14, 0x00, 0x01, 0x02, 0x00, 0x5e, 0x30, 0x00, 0x01, 0x08, 0x00, // Ethernet
        0x45, 0x88, 0x00, 0x34, 0x12, 0x34, 0x40, 0x00, 0x20, 17, 0, 0, 10, 20, 100, 1, 239, 20, 0,
        1, // IPv4
        0x13, 0x8c, 0x13, 0x8c, 0x00, 0x20, 0xaa, 0xbb, // UDP
        0x80, 0x60, 0x00, 0x01, 0, 0, 0, 48, 0xde, 0xad, 0xbe, 0xef, // RTP
        1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 0, 0, 0, 0, // payload and pads
    ];

    fn record(octets: &[u8], fcs_octets: Option<u8>) -> Record<'_> {
        Record {
            number: 1,
            time: None,
            link: LinkType::ETHERNET,
            interface: 0,
            original_len: u32::try_from(octets.len()).unwrap(),
            fcs_octets,
            octets,
        }
    }

    fn tagged(tci: [u8; 2]) -> Vec<u8> {
        [&PACKET[..12], &[0x81, 0x00], &tci, &PACKET[12..]].concat()
    }

    #[test]
    fn the_next_packet_is_found_and_what_is_no_packet_of_the_stream_is_not() {
        for first in [PACKET.to_vec(), tagged([0xa0, 0x14])] {
            let mut headers = Headers::default();
            assert_eq!(headers.find(&record(&first, None)), None);
            assert_eq!(headers.learn(&record(&first, None)), Some(0));
            let at = first.len() - PACKET.len();
            let mut next = first.clone();
            // Identification, "do not fragment", header checksum, source port, checksum, marker, number, timestamp.
            for place in [18, 20, 24, 34, 40, 43, 45, 46] {
                next[at + place] ^= 0x40;
            }
            next[at + 43] = 0xE0;
            let found = headers.find(&record(&next, None)).unwrap();
            assert_eq!((found.index, found.udp_length, found.checksum), (0, 32, 0xEABB));
            assert_eq!((found.marker, found.sequence, found.timestamp), (true, 0x41, 48 ^ 0x4000_0000));
            assert_eq!(found.payload, &next[at + 42..at + 66]);
            // Addresses, Ethertype, header length, service, fragment, life, protocol, addresses, port, version, type, SSRC.
            for place in [0, 6, 12, 14, 15, 20, 21, 22, 23, 26, 30, 36, 42, 43, 50] {
                let mut other = first.clone();
                other[if place < 12 { place } else { at + place }] ^= 0x01;
                if place == 20 {
                    other[at + place] = 0x20;
                }
                assert_eq!(headers.find(&record(&other, None)), None, "octet {place}");
            }
            for length in 0..first.len() - 4 {
                assert_eq!(headers.find(&record(&first[..length], None)), None, "cut at {length}");
            }
            // The last four are its check sequence.
            assert!(headers.find(&record(&first[..first.len() - 4], Some(4))).is_none());
            assert!(headers.find(&record(&first, Some(4))).is_some());
            headers.clear();
            assert_eq!(headers.find(&record(&next, None)), None);
        }
    }

    #[test]
    fn other_kinds_of_frames_are_not_learned() {
        let mut twice = tagged([0, 1]);
        twice.splice(12..12, [0x88, 0xa8, 0, 2]);
        let mut overlay = PACKET;
        (overlay[36], overlay[37]) = (0x12, 0xb5);
        let mut longer = PACKET;
        longer[39] = 0x30;
        let mut headers = Headers::default();
        for octets in [&twice[..], &overlay, &longer, &PACKET[..60], &[]] {
            assert_eq!(headers.learn(&record(octets, None)), None);
        }
        let cooked = Record { link: LinkType::LINUX_SLL, ..record(&PACKET, None) };
        assert_eq!((headers.learn(&cooked), headers.find(&cooked)), (None, None));
    }

    #[test]
    fn there_is_room_for_so_many_and_no_more() {
        let mut headers = Headers::default();
        let mut learned = 0;
        for ssrc in 0..3000_u16 {
            let mut octets = PACKET;
            octets[50..52].copy_from_slice(&ssrc.to_be_bytes());
            let index = headers.learn(&record(&octets, None));
            learned += usize::from(index.is_some());
            let found = headers.find(&record(&octets, None)).map(|found| found.index);
            assert_eq!(found, index);
        }
        assert!(learned > 500 && learned <= PLACES, "{learned}");
        assert_eq!(headers.known.len(), learned);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]
        #[test]
        fn what_is_found_is_what_decoding_says(
            with_tag: bool,
            tci: [u8; 2],
            changes in proptest::collection::vec((0_usize..58, any::<u8>()), 0..4),
            again in proptest::collection::vec(
                prop_oneof![4 => 16_usize..24, 4 => 34_usize..50, 1 => 0_usize..62], 0..5),
            values in proptest::collection::vec(any::<u8>(), 5),
            length in 40_usize..=74,
        ) {
            let mut first = if with_tag { tagged(tci) } else { PACKET.to_vec() };
            for (place, value) in changes {
                first[place] = value;
            }
            let mut headers = Headers::default();
            if headers.learn(&record(&first, None)).is_none() {
                return Ok(());
            }
            let mut next = first.clone();
            for (place, value) in again.into_iter().zip(values) {
                next[place] = value;
            }
            next.truncate(length);
            let Some(found) = headers.find(&record(&next, None)) else { return Ok(()) };
            let (one, other) = (super::super::decode(&record(&first, None)), super::super::decode(&record(&next, None)));
            prop_assert_eq!((one.source_mac, one.destination_mac, one.vlans), (other.source_mac, other.destination_mac, other.vlans));
            prop_assert_eq!((one.ethertype, one.network, one.stop), (other.ethertype, other.network, other.stop));
            prop_assert_eq!(one.udp.unwrap().destination_port, other.udp.unwrap().destination_port);
            prop_assert_eq!((found.udp_length, found.checksum), (other.udp.unwrap().length, other.udp.unwrap().checksum));
            prop_assert_eq!(found.payload, other.payload);
            prop_assert_eq!(found.payload, &next[found.payload_at..found.payload_at + found.payload.len()]);
            prop_assert_eq!((found.payload[0], found.payload[1] & 0x7F), (one.payload[0], one.payload[1] & 0x7F));
            prop_assert_eq!(found.sequence.to_be_bytes(), [found.payload[2], found.payload[3]]);
        }
    }
}
