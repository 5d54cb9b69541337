//! Frames with the same headers, counted in a few steps.

use super::traffic::Sort;
use super::traffic::is_unfinished;
use super::traffic::pseudo_sum;
use super::traffic::sort;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::units::CaptureTime;
use crate::units::MacAddress;

/// Frames of Ethernet with the same addresses, tags and IP header, UDP that is no PTP: counted apart, as nothing else about them
/// matters here.
#[derive(Debug, Clone, Copy)]
pub struct Alike {
    pub(super) source: MacAddress,
    pub(super) destination: MacAddress,
    pub(super) is_tagged: bool,
    /// The sum of the pseudo-header, but for the length.
    pub(super) pseudo_sum: u32,
    pub(super) frames: u64,
    pub(super) latest: CaptureTime,
    pub(super) checksums: u64,
    pub(super) unfinished_checksums: u64,
}

impl Alike {
    /// None yet of those that are like this one; `None` where it is not of the kind.
    #[must_use]
    pub fn none_like(frame: &Frame<'_>) -> Option<Self> {
        let network = frame.network?;
        let is_kind = sort(frame) == Sort::OtherUdp && frame.tunnels.is_empty();
        (is_kind && network.fragment == Fragment::None).then_some(())?;
        Some(Self {
            source: frame.source_mac?,
            destination: frame.destination_mac?,
            is_tagged: !frame.vlans.tags().is_empty(),
            pseudo_sum: pseudo_sum(&network)?,
            frames: 0,
            latest: CaptureTime(i64::MIN),
            checksums: 0,
            unfinished_checksums: 0,
        })
    }

    /// None yet, of the same.
    pub const fn clear(&mut self) {
        self.frames = 0;
        self.latest = CaptureTime(i64::MIN);
        self.checksums = 0;
        self.unfinished_checksums = 0;
    }

    /// Counts one, with what its UDP header says.
    #[inline]
    pub fn count(&mut self, time: CaptureTime, udp_length: u16, checksum: u16) {
        self.frames += 1;
        self.latest = self.latest.max(time);
        if checksum != 0 {
            self.checksums += 1;
            self.unfinished_checksums += u64::from(is_unfinished(checksum, udp_length, self.pseudo_sum));
        }
    }
}
