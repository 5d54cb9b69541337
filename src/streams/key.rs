//! What makes packets one flow.

use std::fmt;
use std::net::IpAddr;

/// What the packets of a flow have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FlowKey {
    /// UDP over IP.
    Udp {
        /// Who sends.
        source: IpAddr,
        /// The group, or one receiver.
        destination: IpAddr,
        /// Destination port.
        port: u16,
        /// The innermost VLAN.
        vlan: Option<u16>,
        /// `SSRC`, where the payload can begin an RTP packet.
        ssrc: Option<u32>,
    },
    /// AVTP stream data (IEEE 1722, from memory).
    Avtp {
        /// `stream_id`.
        stream_id: u64,
        /// The innermost VLAN.
        vlan: Option<u16>,
    },
}

impl FlowKey {
    /// The same flow without its SSRC.
    #[must_use]
    pub const fn without_ssrc(self) -> Self {
        match self {
            Self::Udp { source, destination, port, vlan, .. } => {
                Self::Udp { source, destination, port, vlan, ssrc: None }
            }
            avtp @ Self::Avtp { .. } => avtp,
        }
    }

    /// `SSRC`.
    #[must_use]
    pub const fn ssrc(&self) -> Option<u32> {
        match self {
            Self::Udp { ssrc, .. } => *ssrc,
            Self::Avtp { .. } => None,
        }
    }

    /// The IP group it goes to.
    #[must_use]
    pub const fn group(&self) -> Option<IpAddr> {
        match self {
            Self::Udp { destination, .. } if destination.is_multicast() => Some(*destination),
            Self::Udp { .. } | Self::Avtp { .. } => None,
        }
    }

    /// Whether it goes to a group.
    #[must_use]
    pub const fn is_multicast(&self) -> bool {
        match self {
            Self::Udp { destination, .. } => destination.is_multicast(),
            Self::Avtp { .. } => true,
        }
    }
}

impl fmt::Display for FlowKey {
    /// Source, group and port; VLAN and SSRC where there are any.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let vlan = match self {
            Self::Udp { source, destination, port, vlan, .. } => {
                match destination {
                    IpAddr::V4(_) => write!(f, "{source}>{destination}:{port}")?,
                    IpAddr::V6(_) => write!(f, "{source}>[{destination}]:{port}")?,
                }
                vlan
            }
            Self::Avtp { stream_id, vlan } => {
                write!(f, "avtp {stream_id:016x}")?;
                vlan
            }
        };
        if let Some(vlan) = vlan {
            write!(f, " vlan {vlan}")?;
        }
        if let Some(ssrc) = self.ssrc() {
            write!(f, " ssrc {ssrc:08x}")?;
        }
        Ok(())
    }
}
