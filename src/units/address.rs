//! Layer-2 addresses.

use std::fmt;
use std::hash::Hash;
use std::hash::Hasher;

/// A 48-bit MAC address, shown as `02:00:5e:10:00:01`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct MacAddress(pub [u8; 6]);

impl Hash for MacAddress {
    /// As one word: with every frame it is a key.
    #[inline]
    fn hash<H: Hasher>(&self, state: &mut H) {
        let [a, b, c, d, e, f] = self.0;
        state.write_u64(u64::from_be_bytes([0, 0, a, b, c, d, e, f]));
    }
}

impl MacAddress {
    /// Whether the group bit is set (multicast or broadcast).
    #[must_use]
    pub const fn is_group(self) -> bool {
        let [first, ..] = self.0;
        first & 1 == 1
    }
}

impl fmt::Display for MacAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d, e, g] = self.0;
        write!(f, "{a:02x}:{b:02x}:{c:02x}:{d:02x}:{e:02x}:{g:02x}")
    }
}
