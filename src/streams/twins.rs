//! One stream on two paths (SMPTE ST 2022-7, from memory): the same packets, told by SSRC, number and timestamp.

use std::collections::BTreeMap;

use super::stream::Stream;
use super::stream::Twin;
use crate::statistics::median;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Packets on both paths from which they are twins, and the share of those that could be compared, in per cent
/// (chosen).
const LEAST_COMPARED: usize = 8;
const LEAST_PER_CENT: usize = 50;
/// Legs of one stream that are compared (chosen).
const MOST_LEGS: usize = 8;

/// Finds the twins among the streams.
pub(super) fn find(streams: &mut [Stream]) {
    let mut by_ssrc: BTreeMap<(Option<u32>, Option<u8>), Vec<usize>> = BTreeMap::new();
    for (index, stream) in streams.iter().enumerate().filter(|(_, stream)| stream.rtp.is_some()) {
        by_ssrc.entry((stream.key.ssrc(), stream.payload_type)).or_default().push(index);
    }
    let mut found = Vec::new();
    for legs in by_ssrc.into_values() {
        for (place, one) in legs.iter().take(MOST_LEGS).enumerate() {
            for other in legs.iter().take(MOST_LEGS).skip(place + 1) {
                let (Some(a), Some(b)) = (streams.get(*one), streams.get(*other)) else { continue };
                if let Some((delay, compared)) = compare(a, b) {
                    found.push((*one, Twin { key: b.key, delay, compared }));
                    found.push((*other, Twin { key: a.key, delay: -delay, compared }));
                }
            }
        }
    }
    for (index, twin) in found {
        if let Some(stream) = streams.get_mut(index) {
            stream.twins.push(twin);
        }
    }
}

/// How much later the packets of `b` come, and how many were compared.
fn compare(a: &Stream, b: &Stream) -> Option<(Nanos, usize)> {
    // Both pick by number; the coarser mask holds for both.
    let mask = a.picked.mask() | b.picked.mask();
    let picked = |stream: &Stream| -> BTreeMap<(u16, u32), CaptureTime> {
        let packets = stream.picked.packets().iter().filter(|(sequence, _)| sequence & mask == 0);
        packets.map(|(sequence, stamp)| ((*sequence, stamp.timestamp), stamp.time)).collect()
    };
    let (ours, theirs) = (picked(a), picked(b));
    let delays: Vec<i64> =
        ours.iter().filter_map(|(packet, time)| Some(theirs.get(packet)?.since(*time).0)).collect();
    let possible = ours.len().min(theirs.len());
    let enough = delays.len() >= LEAST_COMPARED && delays.len() * 100 >= possible * LEAST_PER_CENT;
    enough.then(|| median(&delays)).flatten().map(|delay| (Nanos(delay), delays.len()))
}
