//! Who takes in a stream, by the membership reports of its group.

use std::collections::BTreeSet;
use std::net::IpAddr;

use super::Analysis;
use crate::multicast::Host;
use crate::multicast::is_link_local;
use crate::streams::FlowKey;
use crate::streams::Stream;
use crate::viewpoint::Sight;

impl Analysis {
    /// Hosts that were members of the stream's group, on its VLAN, at any time while it ran; of a unicast stream the
    /// one it goes to. A member that asks for other sources only is none of them (RFC 3376 section 4.2.12). With IGMP
    /// versions 1 and 2 members hold back where another has answered (RFC 2236 section 3), so there may be more.
    ///
    /// `None` where the capture cannot tell: nobody has to ask for link-local groups, AVTP has no groups, and where
    /// others' reports do not pass, silence says nothing.
    #[must_use]
    pub fn receivers_of(&self, stream: &Stream) -> Option<BTreeSet<Host>> {
        let FlowKey::Udp { source, destination, vlan, .. } = stream.key else { return None };
        if !destination.is_multicast() {
            return Some(BTreeSet::from([Host::Ip(destination)]));
        }
        if is_link_local(destination) {
            return None;
        }
        let flow = (source, destination);
        let members = self.multicast.members_during(vlan, flow, stream.first()?, stream.last()?);
        (!members.is_empty() || self.shows_nobody(destination)).then_some(members)
    }

    /// Those of [`Self::receivers_of`] that were members at some time only: by the stream's end they had left, were not
    /// renewed, or asked for other sources.
    #[must_use]
    pub fn receivers_gone(&self, stream: &Stream) -> BTreeSet<Host> {
        let FlowKey::Udp { source, destination, vlan, .. } = stream.key else { return BTreeSet::new() };
        let life = stream.first().zip(stream.last()).filter(|_| destination.is_multicast());
        life.map(|(first, last)| self.multicast.gone_until(vlan, (source, destination), first, last))
            .unwrap_or_default()
    }

    /// Whether no member of a group in view means that there is none.
    fn shows_nobody(&self, group: IpAddr) -> bool {
        if self.group_use.unrequested.contains(&group) {
            self.group_use.unrequested_caveats.is_empty()
        } else {
            matches!(self.scope.sees_igmp_reports(), Sight::Yes)
        }
    }
}
