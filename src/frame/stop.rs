//! Where and why the reading of a frame ended early.

use std::fmt;

use crate::bytes::DecodeError;

/// A layer of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Layer {
    /// What the capture format puts in front (null, loop) or the link type itself.
    Link,
    /// Linux cooked capture header, either version.
    LinuxCooked,
    /// IEEE 802.3 addresses and type or length.
    Ethernet,
    /// An IEEE 802.1Q tag.
    Vlan,
    /// IEEE 802.2 LLC and SNAP.
    Llc,
    /// IPv4 header.
    Ipv4,
    /// IPv6 header.
    Ipv6,
    /// An IPv6 extension header.
    Ipv6Extension,
    /// IP Authentication Header.
    Authentication,
    /// UDP header.
    Udp,
    /// GRE header.
    Gre,
    /// ERSPAN header.
    Erspan,
    /// VXLAN header.
    Vxlan,
}

impl Layer {
    /// The layer's name in running text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Link => "link",
            Self::LinuxCooked => "Linux cooked header",
            Self::Ethernet => "Ethernet",
            Self::Vlan => "VLAN tag",
            Self::Llc => "LLC",
            Self::Ipv4 => "IPv4",
            Self::Ipv6 => "IPv6",
            Self::Ipv6Extension => "IPv6 extension header",
            Self::Authentication => "IP authentication header",
            Self::Udp => "UDP",
            Self::Gre => "GRE",
            Self::Erspan => "ERSPAN",
            Self::Vxlan => "VXLAN",
        }
    }
}

/// Why the reading ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum StopReason {
    /// Fewer octets are there than the layer takes or its length field says.
    Cut {
        /// Octets wanted.
        needed: usize,
        /// Octets that are there.
        available: usize,
    },
    /// A length field that cannot be true; everything that is there was taken instead.
    Length {
        /// The field.
        field: &'static str,
        /// What it holds.
        value: u64,
    },
    /// A field holds a value the rest cannot be read with.
    Value {
        /// The field.
        field: &'static str,
        /// What it holds.
        value: u64,
        /// The rule it breaks.
        rule: &'static str,
    },
    /// The capture's link type is none of those read here.
    LinkType(u16),
    /// More encapsulations than are taken off.
    TooDeep,
}

/// Where and why the reading of a frame ended early. An Ethertype or IP protocol that is not known is
/// no stop: what it carries is then the payload.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stop {
    /// The layer that could not be read (to its end).
    pub layer: Layer,
    /// What was wrong.
    pub reason: StopReason,
}

impl Stop {
    pub(super) const fn cut(layer: Layer, needed: usize, available: usize) -> Self {
        Self { layer, reason: StopReason::Cut { needed, available } }
    }

    pub(super) const fn length(layer: Layer, field: &'static str, value: u64) -> Self {
        Self { layer, reason: StopReason::Length { field, value } }
    }

    pub(super) const fn value(layer: Layer, field: &'static str, value: u64, rule: &'static str) -> Self {
        Self { layer, reason: StopReason::Value { field, value, rule } }
    }

    /// A cursor's error, seen from `layer`.
    pub(super) fn from_error(layer: Layer, error: &DecodeError) -> Self {
        match *error {
            DecodeError::Short { needed, available, .. } => Self::cut(layer, needed, available),
            DecodeError::Value { field, value, rule, .. } => Self::value(layer, field, value, rule),
        }
    }

    /// Whether octets are missing, as opposed to octets that make no sense.
    #[must_use]
    pub const fn is_cut(&self) -> bool {
        matches!(self.reason, StopReason::Cut { .. })
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let layer = self.layer.name();
        match self.reason {
            StopReason::Cut { needed, available } => {
                write!(f, "{layer}: {needed} octets wanted, {available} there")
            }
            StopReason::Length { field, value } => write!(f, "{layer}: {field} {value} cannot be"),
            StopReason::Value { field, value, rule } => write!(f, "{layer}: {field} is {value}: {rule}"),
            StopReason::LinkType(number) => write!(f, "link type {number} is not read"),
            StopReason::TooDeep => write!(f, "{layer}: more encapsulations than are taken off"),
        }
    }
}
