//! What is made of media frames: their flows, and the groups that frames went to.

use std::ops::Range;

use crate::multicast::GroupCounts;
use crate::streams::Seen;
use crate::streams::Streams;

/// All that stretches of media are taken into. It goes by the order of the capture, but by nothing else that is read, so that
/// it can be done beside everything else.
#[derive(Debug, Default)]
pub(super) struct Media {
    pub(super) streams: Streams,
    /// Frames by group, of those that are no flow's.
    pub(super) groups: GroupCounts,
}

impl Media {
    /// Takes in what was seen in the next stretch, whose octets these are.
    pub(super) fn take_in<'a>(&mut self, seen: &Seen, octets: impl Fn(Range<usize>) -> &'a [u8]) {
        let groups = &mut self.groups;
        self.streams.take_in(seen, octets, |group| groups.record_media(group));
    }
}
