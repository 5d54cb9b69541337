//! Stand-ins for addresses and clock identities.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use super::Pseudonyms;
use crate::units::MacAddress;

/// Beginnings of group MAC addresses that standards give out; they say nothing of a site: bridges (IEEE 802.1Q table 8-1),
/// PTP (1588-2008 Annex F), AVTP and MAAP (IEEE 1722-2016 Annex B); all from memory.
const KNOWN_GROUP_MACS: [[u8; 3]; 3] = [[0x01, 0x80, 0xC2], [0x01, 0x1B, 0x19], [0x91, 0xE0, 0xF0]];

/// Ranges of IPv4 that stay what they are, by their first address and how many bits name them: private (RFC 1918),
/// link-local (RFC 3927), shared (RFC 6598), loopback (RFC 1122 section 3.2.1.3).
const KEPT_RANGES: [(Ipv4Addr, u32); 6] = [
    (Ipv4Addr::new(10, 0, 0, 0), 8),
    (Ipv4Addr::new(172, 16, 0, 0), 12),
    (Ipv4Addr::new(192, 168, 0, 0), 16),
    (Ipv4Addr::new(169, 254, 0, 0), 16),
    (Ipv4Addr::new(100, 64, 0, 0), 10),
    (Ipv4Addr::new(127, 0, 0, 0), 8),
];

/// Low 32 bits of an IPv6 group below which standards give them out (chosen: above all of RFC 4291 section 2.7.1 and PTP's
/// 0x181).
const FIRST_FREE_GROUP: u64 = 0x400;

fn number(octets: &[u8]) -> u64 {
    octets.iter().fold(0, |number, octet| (number << 8) | u64::from(*octet))
}

fn range(address: Ipv4Addr) -> Option<u32> {
    let bits = address.to_bits();
    let of = |(first, named): &(Ipv4Addr, u32)| bits >> (32 - named) == first.to_bits() >> (32 - named);
    KEPT_RANGES.iter().find(|range| of(range)).map(|(_, named)| *named)
}

/// Groups that standards and common practice give out: 224.0.0.0/24 (RFC 5771 section 4), 224.0.1.0/24 with PTP's 129 to 132
/// (section 5), session announcements (RFC 2974 section 3).
fn is_known_group(group: Ipv4Addr) -> bool {
    let [a, b, c, d] = group.octets();
    matches!((a, b, c), (224, 0, 0 | 1)) || matches!((a, b, c, d), (224, 2, 127, 254) | (239, 255, 255, 255))
}

impl Pseudonyms {
    /// A MAC address's stand-in: of no maker (locally administered, IEEE 802 clause 8.4, from memory), the first half the same
    /// for all of one maker. Groups that standards name stay, and those of IP follow the IP group.
    #[must_use]
    pub fn mac(&self, original: MacAddress) -> MacAddress {
        let [a, b, c, d, e, f] = original.0;
        if original.0 == [0; 6] || original.0 == [0xFF; 6] || KNOWN_GROUP_MACS.contains(&[a, b, c]) {
            return original;
        }
        match (a, b, c) {
            (0x01, 0x00, 0x5E) => {
                let group = Ipv4Addr::new(224, d & 0x7F, e, f);
                if is_known_group(group) || (d & 0x7F, e, f) == (0x7F, 0xFF, 0xFF) {
                    return original;
                }
                let [_, x, y, z] = self.low_group(group.to_bits()).to_be_bytes();
                MacAddress([a, b, c, x & 0x7F, y, z])
            }
            (0x33, 0x33, _) => {
                let [w, x, y, z] = self.low_group6([c, d, e, f]);
                MacAddress([a, b, w, x, y, z])
            }
            _ => {
                // Which bit says "locally administered" goes first, so that addresses that differ in it alone share no stand-in.
                let rest = number(&[a >> 2, b, c, d, e, f]);
                let value = (u64::from(a & 2) << 45) | rest;
                let [.., a2, b2, c2, d2, e2, f2] = self.key.exchange("mac", value, 47, 1).to_be_bytes();
                MacAddress([(a2 << 2) | 2 | (a & 1), b2, c2, d2, e2, f2])
            }
        }
    }

    /// A clock identity's stand-in; one that shows a MAC address shows that one's.
    #[must_use]
    pub fn clock(&self, original: [u8; 8]) -> [u8; 8] {
        if original == [0; 8] || original == [0xFF; 8] {
            return original;
        }
        if let [a, b, c, 0xFF, y @ (0xFE | 0xFF), d, e, f] = original {
            let [a, b, c, d, e, f] = self.mac(MacAddress([a, b, c, d, e, f])).0;
            return [a, b, c, 0xFF, y, d, e, f];
        }
        let [a, b, c, d, e, f, ..] = original;
        let [a, b, c, d, e, f] = self.mac(MacAddress([a, b, c, d, e, f])).0;
        let [.., g, h] = self.key.exchange("identity", number(&original), 64, 48).to_be_bytes();
        [a, b, c, d, e, f, g, h]
    }

    /// An IP address's stand-in.
    #[must_use]
    pub fn ip(&self, original: IpAddr) -> IpAddr {
        match original {
            IpAddr::V4(address) => self.ipv4(address).into(),
            IpAddr::V6(address) => self.ipv6(address).into(),
        }
    }

    fn ipv4(&self, original: Ipv4Addr) -> Ipv4Addr {
        if original.is_unspecified() || original.is_broadcast() || original.is_loopback() {
            return original;
        }
        if original.is_multicast() {
            return self.group(original);
        }
        let kept = range(original);
        let exchange = |bits: u32| {
            let [.., a, b, c, d] =
                self.key.exchange("ipv4", u64::from(bits), 32, kept.unwrap_or(0)).to_be_bytes();
            Ipv4Addr::new(a, b, c, d)
        };
        let mut address = exchange(original.to_bits());
        // One that can be reached from anywhere stays so: as often as needed, which keeps it one each.
        while kept.is_none() && (range(address).is_some() || !is_usual(address)) {
            address = exchange(address.to_bits());
        }
        address
    }

    /// The low 23 bits of a group exchanged, whatever is before them, so that groups that share a MAC address go on doing so.
    fn low_group(&self, bits: u32) -> u32 {
        let low = self.key.exchange("group", u64::from(bits & 0x7F_FFFF), 23, 0);
        let [.., b, c, d] = low.to_be_bytes();
        (bits & !0x7F_FFFF) | u32::from_be_bytes([0, b, c, d])
    }

    fn group(&self, original: Ipv4Addr) -> Ipv4Addr {
        if is_known_group(original) {
            return original;
        }
        let mut bits = self.low_group(original.to_bits());
        while is_known_group(Ipv4Addr::from_bits(bits)) {
            bits = self.low_group(bits);
        }
        Ipv4Addr::from_bits(bits)
    }

    fn low_group6(&self, original: [u8; 4]) -> [u8; 4] {
        let mut value = number(&original);
        if value < FIRST_FREE_GROUP {
            return original;
        }
        loop {
            value = self.key.exchange("group6", value, 32, 0);
            if value >= FIRST_FREE_GROUP {
                let [.., w, x, y, z] = value.to_be_bytes();
                return [w, x, y, z];
            }
        }
    }

    fn ipv6(&self, original: Ipv6Addr) -> Ipv6Addr {
        if original.is_unspecified() || original.is_loopback() {
            return original;
        }
        if let Some(inner) = original.to_ipv4_mapped() {
            return self.ipv4(inner).to_ipv6_mapped();
        }
        let [a, b, c, d, e, f, g, h, i, j, k, l, w, x, y, z] = original.octets();
        if original.is_multicast() {
            let middle = [c, d, e, f, g, h, i, j, k, l];
            let [w, x, y, z] = self.low_group6([w, x, y, z]);
            let middle = if middle == [0; 10] { middle } else { self.middle(middle) };
            let [c, d, e, f, g, h, i, j, k, l] = middle;
            return Ipv6Addr::from([a, b, c, d, e, f, g, h, i, j, k, l, w, x, y, z]);
        }
        let network = number(&[a, b, c, d, e, f, g, h]);
        // Link-local (RFC 4291 section 2.5.6), unique local (RFC 4193 section 3.1), global (RFC 4291 section 2.4).
        let network = match a {
            0xFE => network,
            0xFC | 0xFD => self.key.exchange("ipv6", network, 64, 8),
            _ => self.key.exchange("ipv6", network, 64, 3),
        };
        let [a, b, c, d, e, f, g, h] = network.to_be_bytes();
        let [i, j, k, l, w, x, y, z] = self.interface([i, j, k, l, w, x, y, z]);
        Ipv6Addr::from([a, b, c, d, e, f, g, h, i, j, k, l, w, x, y, z])
    }

    /// An interface identifier; one made of a MAC address (RFC 4291 Appendix A) is made of that one's stand-in.
    fn interface(&self, original: [u8; 8]) -> [u8; 8] {
        let [i, j, k, l, w, x, y, z] = original;
        if (l, w) == (0xFF, 0xFE) {
            let [a, b, c, d, e, f] = self.mac(MacAddress([i ^ 2, j, k, x, y, z])).0;
            return [a ^ 2, b, c, l, w, d, e, f];
        }
        self.key.exchange("interface", number(&original), 64, 0).to_be_bytes()
    }

    /// What stands before the low 32 bits of an IPv6 group, such as the network of a solicited-node group.
    fn middle(&self, original: [u8; 10]) -> [u8; 10] {
        // Solicited-node groups (RFC 4291 section 2.7.1).
        if original.get(..7) == Some(&[0; 7]) {
            return original;
        }
        let [c, d, rest @ ..] = original;
        let [e, f, g, h, i, j, k, l] = self.key.exchange("middle", number(&rest), 64, 0).to_be_bytes();
        [c, d, e, f, g, h, i, j, k, l]
    }
}

/// Whether an address can be one host's.
fn is_usual(address: Ipv4Addr) -> bool {
    let [a, ..] = address.octets();
    a != 0 && a < 224
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::pseudonyms::Key;
    use crate::units::multicast_mac;

    fn ours() -> Pseudonyms {
        Pseudonyms::new(Key::of("some text"))
    }

    fn v4(text: &str) -> Ipv4Addr {
        text.parse().unwrap()
    }

    #[test]
    fn addresses_of_one_subnet_stay_of_one_and_of_their_range() {
        let ours = ours();
        for (one, other, shared) in [
            ("10.20.30.1", "10.20.30.200", 24),
            ("192.168.1.5", "192.168.1.6", 24),
            ("172.20.0.1", "172.20.255.9", 16),
        ] {
            let (first, second) = (ours.ipv4(v4(one)), ours.ipv4(v4(other)));
            assert_ne!(first, v4(one));
            assert_eq!(
                first.to_bits() >> (32 - shared),
                second.to_bits() >> (32 - shared),
                "{first} {second}"
            );
            assert_eq!(range(first), range(v4(one)));
        }
        let public = ours.ipv4(v4("203.0.113.7"));
        assert!(range(public).is_none() && is_usual(public), "{public}");
        for same in
            ["0.0.0.0", "255.255.255.255", "127.0.0.1", "224.0.0.22", "224.0.1.129", "239.255.255.255"]
        {
            assert_eq!(ours.ipv4(v4(same)), v4(same));
        }
    }

    #[test]
    fn no_two_addresses_share_a_stand_in() {
        let ours = ours();
        let all: BTreeSet<_> = (0..5000_u32)
            .flat_map(|n| {
                [0x0A00_0000, 0xC0A8_0000, 0x0800_0000, 0xEF00_0000, 0xE100_0000].map(|base| base + n)
            })
            .map(|bits| ours.ipv4(Ipv4Addr::from_bits(bits)))
            .collect();
        assert_eq!(all.len(), 25_000);
        let macs: BTreeSet<_> = (0..=u16::MAX)
            .flat_map(|n| {
                let [x, y] = n.to_be_bytes();
                [MacAddress([0, 0x1D, 0xC1, 0, x, y]), MacAddress([2, 0x1D, 0xC1, 0, x, y])]
            })
            .map(|mac| ours.mac(mac))
            .collect();
        assert_eq!(macs.len(), 2 * 65_536);
    }

    #[test]
    fn a_group_keeps_its_mac_address_and_what_shares_it() {
        let ours = ours();
        for group in ["239.69.1.2", "239.197.1.2", "232.5.6.7"] {
            let invented = ours.ipv4(v4(group));
            assert!(invented.is_multicast() && invented != v4(group));
            let mac = multicast_mac(v4(group).into()).unwrap();
            assert_eq!(multicast_mac(invented.into()), Some(ours.mac(mac)), "{group}");
        }
        for group in ["ff0e::4512:1234", "ff02::1:ff10:1"] {
            let group: Ipv6Addr = group.parse().unwrap();
            let invented = ours.ipv6(group);
            assert!(invented.is_multicast() && invented != group);
            let mac = multicast_mac(group.into()).unwrap();
            assert_eq!(multicast_mac(invented.into()), Some(ours.mac(mac)), "{group}");
        }
        for same in ["ff02::1", "ff0e::181", "ff02::6b", "::", "::1"] {
            let same: Ipv6Addr = same.parse().unwrap();
            assert_eq!(ours.ipv6(same), same);
        }
    }

    #[test]
    fn one_box_stays_one_box() {
        let ours = ours();
        let mac = MacAddress([0x02, 0x00, 0x5E, 0x10, 0x00, 0x01]);
        let [a, b, c, d, e, f] = ours.mac(mac).0;
        assert_ne!(MacAddress([a, b, c, d, e, f]), mac);
        assert_eq!(a & 3, 2, "of no maker");
        assert_eq!(ours.clock([2, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1]), [a, b, c, 0xFF, 0xFE, d, e, f]);
        assert_eq!(ours.clock([2, 0, 0x5E, 0x10, 0, 1, 0, 7]).get(..6), Some(&[a, b, c, d, e, f][..]));
        let local: Ipv6Addr = "fe80::5eff:fe10:1".parse().unwrap();
        let invented = ours.ipv6(local).octets();
        assert_eq!(invented, [0xFE, 0x80, 0, 0, 0, 0, 0, 0, a ^ 2, b, c, 0xFF, 0xFE, d, e, f]);
        // Of one maker, and no more than that.
        let other = ours.mac(MacAddress([0x02, 0x00, 0x5E, 0x90, 0x00, 0x01])).0;
        assert_eq!(other.get(..3), Some(&[a, b, c][..]));
        assert_ne!(other, [a, b, c, d, e, f]);
        assert_eq!(ours.mac(MacAddress([1, 0x1B, 0x19, 0, 0, 0])), MacAddress([1, 0x1B, 0x19, 0, 0, 0]));
        assert_eq!(ours.clock([0xFF; 8]), [0xFF; 8]);
    }

    #[test]
    fn networks_of_ipv6_stay_networks() {
        let ours = ours();
        let v6 = |text: &str| text.parse::<Ipv6Addr>().unwrap();
        let (one, other) = (ours.ipv6(v6("2001:db8:1:2::5")), ours.ipv6(v6("2001:db8:1:2::6")));
        assert_eq!(one.segments().get(..4), other.segments().get(..4));
        assert_ne!(one, other);
        assert_eq!(one.octets().first().map(|first| first >> 5), Some(1));
        assert_eq!(ours.ipv6(v6("fd12:3456::1")).octets().first(), Some(&0xFD));
        assert_eq!(ours.ipv6(v6("::ffff:10.1.2.3")).to_ipv4_mapped(), Some(ours.ipv4(v4("10.1.2.3"))));
    }
}
