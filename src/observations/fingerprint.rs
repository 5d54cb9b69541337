//! One number for a frame's content, to know a mirror's copies by.

use std::hash::DefaultHasher;
use std::hash::Hasher;

use crate::frame::Frame;
use crate::ptp;

/// Octets of the common header of a v2 message, the least a `messageLength` may say.
const LEAST_MESSAGE: usize = 34;

/// Hashes the source MAC address and everything from the network header to the end of what it carries.
///
/// SipHash with the standard library's fixed keys: equal octets give equal numbers in every thread and file
/// of a run, it takes 8 octets a step, and unlike FNV it is not easily brought to collide, which would make
/// one message pass for another's copy. Its values may change with the compiler, so none is ever written out.
pub(super) fn fingerprint(frame: &Frame<'_>) -> u64 {
    let mut hasher = DefaultHasher::new();
    match frame.source_mac {
        Some(mac) => {
            hasher.write_u8(1);
            hasher.write(&mac.0);
        }
        None => hasher.write_u8(0),
    }
    hasher.write(without_pads(frame));
    hasher.finish()
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
