//! How many frames go to each group.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use super::is_link_local;
use crate::frame::Frame;

/// Groups whose frames are counted (chosen: a large house has some hundreds).
pub const GROUPS_KEPT: usize = 4096;

/// IANA protocol numbers: membership messages go to the groups they speak of and are no traffic of them.
const IGMP: u8 = 2;
const ICMPV6: u8 = 58;

/// Frames by group, without membership messages and link-local groups. What belongs to a flow is counted there and
/// not pushed here. At most [`GROUPS_KEPT`] groups: where there
/// are more, the smallest addresses keep their counts, so that it joins as if it had seen everything in one pass.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GroupCounts {
    frames: BTreeMap<IpAddr, u64>,
    /// Groups from here on were dropped.
    ceiling: Option<IpAddr>,
}

impl GroupCounts {
    /// Takes in a frame.
    pub fn record(&mut self, frame: &Frame<'_>) {
        let Some(network) = frame.network else { return };
        if !matches!(network.protocol, IGMP | ICMPV6) {
            self.record_media(network.destination);
        }
    }

    /// Takes in a frame to `destination` that is no membership message.
    pub fn record_media(&mut self, destination: IpAddr) {
        if destination.is_multicast() && !is_link_local(destination) {
            self.add(destination, 1);
        }
    }

    fn add(&mut self, group: IpAddr, count: u64) {
        if let Some(frames) = self.frames.get_mut(&group) {
            *frames = frames.saturating_add(count);
        } else if self.ceiling.is_none_or(|ceiling| group < ceiling) {
            self.frames.insert(group, count);
            if self.frames.len() > GROUPS_KEPT
                && let Some((largest, _)) = self.frames.pop_last()
            {
                self.ceiling = Some(largest);
            }
        }
    }

    /// These counts and those of the stretch after as one.
    #[must_use]
    pub fn join(mut self, right: Self) -> Self {
        self.ceiling = match (self.ceiling, right.ceiling) {
            (Some(left), Some(right)) => Some(left.min(right)),
            (left, right) => left.or(right),
        };
        if let Some(ceiling) = self.ceiling {
            self.frames.split_off(&ceiling);
        }
        for (group, count) in right.frames {
            self.add(group, count);
        }
        self
    }

    /// Frames by group.
    pub fn iter(&self) -> impl Iterator<Item = (IpAddr, u64)> {
        self.frames.iter().map(|(group, frames)| (*group, *frames))
    }

    /// The groups.
    #[must_use]
    pub fn groups(&self) -> BTreeSet<IpAddr> {
        self.frames.keys().copied().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::net::Ipv4Addr;

    fn counted(groups: &[u32]) -> GroupCounts {
        let mut counts = GroupCounts::default();
        for group in groups {
            counts.add(IpAddr::V4(Ipv4Addr::from(0xEF00_0000 + group)), 1);
        }
        counts
    }

    #[test]
    fn more_groups_than_are_kept_leave_the_smallest_with_exact_counts() {
        let kept = u32::try_from(GROUPS_KEPT).unwrap();
        let all: Vec<u32> = (0..kept + 50).rev().chain(0..kept + 50).collect();
        let (left, right) = all.split_at(all.len() / 3);
        for counts in [counted(&all), counted(left).join(counted(right))] {
            assert_eq!(counts.groups().len(), GROUPS_KEPT);
            assert!(
                counts.iter().all(|(group, frames)| group < IpAddr::from([239, 0, 16, 0]) && frames == 2)
            );
        }
    }

    proptest! {
        #[test]
        fn cut_anywhere_it_counts_as_in_one_pass(
            groups in proptest::collection::vec(0_u32..9, 0..60), at in 0_usize..60,
        ) {
            let (left, right) = groups.split_at(at.min(groups.len()));
            prop_assert_eq!(counted(left).join(counted(right)), counted(&groups));
        }
    }
}
