//! Which MAC address a multicast group is sent to.

use std::net::IpAddr;

use super::address::MacAddress;

/// The MAC address of a multicast group, or `None` where the address is not multicast.
///
/// IPv4: 01:00:5e and the low 23 bits, so 32 groups share each address (RFC 1112 section 6.4).
/// IPv6: 33:33 and the low 32 bits (RFC 2464 section 7).
#[must_use]
pub fn multicast_mac(group: IpAddr) -> Option<MacAddress> {
    match group {
        IpAddr::V4(group) if group.is_multicast() => {
            let [_, b, c, d] = group.octets();
            Some(MacAddress([0x01, 0x00, 0x5e, b & 0x7F, c, d]))
        }
        IpAddr::V6(group) if group.is_multicast() => {
            let [.., w, x, y, z] = group.octets();
            Some(MacAddress([0x33, 0x33, w, x, y, z]))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unicast_address_has_no_group_mac() {
        assert_eq!(multicast_mac("10.20.0.1".parse().unwrap()), None);
        assert_eq!(multicast_mac("fe80::1".parse().unwrap()), None);
        let mac = multicast_mac("239.129.0.1".parse().unwrap()).unwrap();
        assert_eq!(mac.to_string(), "01:00:5e:01:00:01");
    }
}
