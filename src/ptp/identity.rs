//! Who a clock is: `ClockIdentity` and `PortIdentity`.

use std::fmt;
use std::hash::Hash;
use std::hash::Hasher;

use crate::units::MacAddress;

/// `clockIdentity`, 8 octets, shown as `02-00-5e-ff-fe-10-00-01` (1588-2008 7.5.2.2, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct ClockIdentity(pub [u8; 8]);

impl Hash for ClockIdentity {
    /// As one word: with every message it is a key.
    #[inline]
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(u64::from_be_bytes(self.0));
    }
}

impl ClockIdentity {
    /// The MAC address this identity was made from, where its form shows one: `ff-fe` in the middle
    /// (1588-2008 7.5.2.2.2) or `ff-ff` (older text, still seen in real captures).
    #[must_use]
    pub fn embedded_mac(self) -> Option<MacAddress> {
        let [a, b, c, x, y, d, e, f] = self.0;
        (x == 0xFF && (y == 0xFE || y == 0xFF)).then_some(MacAddress([a, b, c, d, e, f]))
    }

    /// The first six octets, which are the MAC address in the 2019 form (1588-2019 7.5.2.2.2.2, secondary
    /// source). Only to be believed where a frame's source address agrees.
    #[must_use]
    pub const fn leading_mac(self) -> MacAddress {
        let [a, b, c, d, e, f, ..] = self.0;
        MacAddress([a, b, c, d, e, f])
    }
}

impl fmt::Display for ClockIdentity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d, e, g, h, i] = self.0;
        write!(f, "{a:02x}-{b:02x}-{c:02x}-{d:02x}-{e:02x}-{g:02x}-{h:02x}-{i:02x}")
    }
}

/// `portIdentity`: a clock and one of its ports, shown as `02-00-5e-ff-fe-10-00-01/1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct PortIdentity {
    /// `clockIdentity`.
    pub clock_identity: ClockIdentity,
    /// `portNumber`, from 1; 0 and 65535 are special.
    pub port_number: u16,
}

impl PortIdentity {
    /// All ones: every port (1588-2008 7.5.2.3 and 13.12.1, from memory; seen in a real capture).
    pub const ALL: Self = Self { clock_identity: ClockIdentity([0xFF; 8]), port_number: 0xFFFF };
}

impl fmt::Display for PortIdentity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.clock_identity, self.port_number)
    }
}
