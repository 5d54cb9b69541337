//! Later fragments of datagrams, which carry no ports: they belong to the flow that their first fragment belongs to.

use std::collections::VecDeque;
use std::net::IpAddr;

use super::key::FlowKey;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::units::CaptureTime;

/// Datagrams remembered (chosen: the fragments of one come close together).
const REMEMBERED: usize = 64;
/// Fragments kept whose datagram may have begun in the part before (chosen: one datagram of 64 KiB has 45).
const EARLY_KEPT: usize = 256;
/// Octets of an IPv6 header (RFC 8200 section 3), its `next header`, and the number of a fragment header (section 4.5).
const IPV6_HEADER: usize = 40;
const IPV6_NEXT: usize = 6;
const IPV6_FRAGMENT: u8 = 44;
/// UDP (IANA protocol numbers).
const UDP: u8 = 17;

/// What the fragments of one datagram have in common (RFC 791 section 3.2, RFC 8200 section 4.5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Datagram {
    source: IpAddr,
    pub(super) destination: IpAddr,
    vlan: Option<u16>,
    id: u32,
}

/// Which fragment a frame is, and of what datagram; `None` where it is none, or none of UDP to a group.
pub(super) fn of(frame: &Frame<'_>) -> Option<(Fragment, Datagram)> {
    let network = frame.network.filter(|network| network.fragment != Fragment::None)?;
    if network.protocol != UDP {
        return None;
    }
    let octets = frame.fingerprint_octets;
    let id = match network.source {
        IpAddr::V4(_) => {
            let [_, _, _, _, high, low] = *octets.first_chunk::<6>()?;
            u32::from_be_bytes([0, 0, high, low])
        }
        IpAddr::V6(_) => {
            // A fragment header behind other headers is left out.
            octets.get(IPV6_NEXT).filter(|next| **next == IPV6_FRAGMENT)?;
            let [_, _, _, _, a, b, c, d] = *octets.get(IPV6_HEADER..)?.first_chunk::<8>()?;
            u32::from_be_bytes([a, b, c, d])
        }
    };
    let (source, destination) = (network.source, network.destination);
    Some((network.fragment, Datagram { source, destination, vlan: frame.vlans.inner_id(), id }))
}

/// A later fragment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) time: CaptureTime,
    /// Octets on the wire.
    pub(super) wire: u32,
}

/// Where a later fragment belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Belongs {
    /// To this flow; `None` where its datagram is no flow's.
    To(Option<FlowKey>),
    /// That is not known, or not yet.
    Nowhere,
}

/// One whose datagram did not begin in this part of the capture.
#[derive(Debug, Clone, Copy)]
struct Early {
    datagram: Datagram,
    part: Part,
    /// First fragments in this part before it.
    after: usize,
}

/// The datagrams that are under way.
#[derive(Debug, Clone, Default)]
pub(super) struct Fragments {
    /// The newest last.
    recent: VecDeque<(Datagram, Option<FlowKey>)>,
    firsts: usize,
    early: Vec<Early>,
    /// Whether no part comes before.
    pub(super) is_beginning: bool,
    /// Frames whose datagram's first fragment was not seen.
    left_out: u64,
}

impl Fragments {
    pub(super) fn first(&mut self, datagram: Datagram, key: Option<FlowKey>) {
        if self.recent.len() >= REMEMBERED {
            self.recent.pop_front();
        }
        self.recent.push_back((datagram, key));
        self.firsts += 1;
    }

    pub(super) fn later(&mut self, datagram: Datagram, part: Part) -> Belongs {
        let found = self.find(datagram, 0);
        if found == Belongs::Nowhere {
            self.keep(Early { datagram, part, after: self.firsts });
        }
        found
    }

    /// Looks among those that are remembered still once `since` more have begun.
    fn find(&self, datagram: Datagram, since: usize) -> Belongs {
        let kept = self.recent.iter().rev().take(REMEMBERED.saturating_sub(since));
        kept.into_iter()
            .find(|(known, _)| *known == datagram)
            .map_or(Belongs::Nowhere, |(_, key)| Belongs::To(*key))
    }

    fn keep(&mut self, early: Early) {
        if self.is_beginning || early.after >= REMEMBERED || self.early.len() >= EARLY_KEPT {
            self.left_out += u64::from(early.datagram.destination.is_multicast());
        } else {
            self.early.push(early);
        }
    }

    /// Adds what followed; the fragments there that belong to flows from here.
    pub(super) fn join(&mut self, right: Self) -> Vec<(FlowKey, Part)> {
        let mut found = Vec::new();
        for early in right.early {
            match self.find(early.datagram, early.after) {
                Belongs::To(Some(key)) => found.push((key, early.part)),
                Belongs::To(None) => {}
                Belongs::Nowhere => {
                    self.keep(Early { after: early.after.saturating_add(self.firsts), ..early })
                }
            }
        }
        self.recent.extend(right.recent);
        let over = self.recent.len().saturating_sub(REMEMBERED);
        self.recent.drain(..over);
        self.firsts = self.firsts.saturating_add(right.firsts);
        self.left_out += right.left_out;
        found
    }

    /// Fragments of UDP to groups whose datagram did not begin in view.
    pub(super) fn left_out(&self) -> u64 {
        let early = self.early.iter().filter(|early| early.datagram.destination.is_multicast()).count();
        self.left_out.saturating_add(u64::try_from(early).unwrap_or(u64::MAX))
    }
}
