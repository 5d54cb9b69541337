//! RTP packets (RFC 3550 section 5.1) with a random payload that stands for media.
use crate::support::craft::octets::Octets;
use crate::support::craft::random::Random;

/// The fixed header's fields that change from packet to packet, and the payload's length in octets.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RtpPacket {
    pub(crate) marker: bool,
    pub(crate) payload_type: u8,
    pub(crate) sequence: u16,
    pub(crate) timestamp: u32,
    pub(crate) ssrc: u32,
    pub(crate) payload_octets: usize,
}

impl RtpPacket {
    pub(crate) fn encode(&self, random: &mut Random) -> Vec<u8> {
        let mut packet = Octets::new()
            .u8(0x80)
            .u8(u8::from(self.marker) << 7 | self.payload_type)
            .u16(self.sequence)
            .u32(self.timestamp)
            .u32(self.ssrc)
            .0;
        while packet.len() < 12 + self.payload_octets {
            packet.extend_from_slice(&random.next().to_be_bytes());
        }
        packet.truncate(12 + self.payload_octets);
        packet
    }
}
