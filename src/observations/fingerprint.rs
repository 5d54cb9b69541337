//! One number for a frame's content, to know a mirror's copies by.

use std::sync::LazyLock;

use crate::frame::Frame;
use crate::ptp;
use crate::tables::Keyed;
use crate::units::MacAddress;

/// Octets of the common header of a v2 message, the least a `messageLength` may say.
const LEAST_MESSAGE: usize = 34;

/// Hashes the source MAC address and everything from the network header to the end of what it carries.
///
/// By two secrets that are drawn once a run: equal octets give equal numbers in every thread and file of it, and nobody can
/// send two messages of which one passes for the other's copy. Its values are other ones in the next run, so none is ever
/// written out.
pub(super) fn fingerprint(frame: &Frame<'_>) -> u64 {
    static OF_THIS_RUN: LazyLock<Keyed> = LazyLock::new(Keyed::default);
    let mac = frame
        .source_mac
        .map_or(1 << 48, |MacAddress([a, b, c, d, e, f])| u64::from_be_bytes([0, 0, a, b, c, d, e, f]));
    OF_THIS_RUN.hash(mac, without_pads(frame))
}

/// IP octets end with the packet already; over IEEE 802.3 only `messageLength` tells pads and a frame check
/// sequence from the message, and a copy need not have the same ones.
fn without_pads<'a>(frame: &Frame<'a>) -> &'a [u8] {
    let octets = frame.fingerprint_octets;
    if frame.network.is_some() || frame.ethertype != Some(ptp::ETHERTYPE) {
        return octets;
    }
    let Some(([_, version, high, low], _)) = octets.split_first_chunk::<4>() else { return octets };
    let length = usize::from(u16::from_be_bytes([*high, *low]));
    if version & 0x0F != 2 || length < LEAST_MESSAGE {
        return octets;
    }
    octets.get(..length).unwrap_or(octets)
}
