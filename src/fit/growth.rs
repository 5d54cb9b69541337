//! How PTP's own messages grow with the followers: each asks, and each request is answered.

use crate::analysis::Analysis;
use crate::domains::Domain;
use crate::domains::Mechanism;
use crate::observations::Transport;
use crate::units::BitsPerSecond;
use crate::units::Nanos;
use crate::units::wire_octets;

/// Octets of Delay_Req and Delay_Resp without TLVs (1588-2008 13.6 and 13.8, from memory).
const DELAY_REQ: u32 = 44;
const DELAY_RESP: u32 = 54;
/// Octets of the Ethernet header.
const ETHERNET: u32 = 14;
/// Octets of UDP with IPv4 (RFC 791, RFC 768), and with IPv6 (RFC 8200).
const UDP4: u32 = 8 + 20;
const UDP6: u32 = 8 + 40;

/// Requests and answers of the followers of the site's domain. With peer delay each link has its own, and nothing grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Growth {
    /// Ports that ask now.
    pub followers: u64,
    /// Ports that come: one for each planned stream.
    pub more: u64,
    /// Requests of all ports now, in 1000 s.
    pub requests_per_1000_s: u64,
    /// What one follower's requests and their answers take on the wire; both, since by multicast all see both.
    pub each: BitsPerSecond,
}

impl Growth {
    /// Of the site's domain; `None` where nobody's requests are in view or no time passed.
    #[must_use]
    pub fn of(analysis: &Analysis, more: u64) -> Option<Self> {
        let domains = analysis.site.keys.iter().filter_map(|key| analysis.domains.get(key));
        domains
            .filter_map(|domain| Self::of_domain(analysis, domain, more))
            .max_by_key(|growth| growth.followers)
    }

    fn of_domain(analysis: &Analysis, domain: &Domain, more: u64) -> Option<Self> {
        let span = if analysis.set_backs.is_empty() {
            analysis.wire.link.watched_between(domain.first.time?, domain.last.time?)
        } else {
            analysis.ran
        };
        let asking = domain
            .requesters
            .iter()
            .filter(|((_, mechanism), requester)| *mechanism == Mechanism::EndToEnd && requester.seen() > 0);
        let (followers, requests) =
            asking.fold((0_u64, 0_u64), |(ports, all), (_, requester)| (ports + 1, all + requester.seen()));
        let octets = requests.checked_div(followers).map(|own| own.saturating_mul(exchange(domain)))?;
        Some(Self {
            followers,
            more,
            requests_per_1000_s: per_1000_s(requests, span)?,
            each: BitsPerSecond::from_octets(octets, span)?,
        })
    }

    /// What the planned followers add, saturating.
    #[must_use]
    pub const fn added(&self) -> BitsPerSecond {
        BitsPerSecond(self.each.0.saturating_mul(self.more))
    }

    /// Requests of all ports then, in 1000 s.
    #[must_use]
    pub fn requests_then_per_1000_s(&self) -> u64 {
        let all = u128::from(self.requests_per_1000_s) * u128::from(self.followers.saturating_add(self.more));
        let then = all.checked_div(u128::from(self.followers)).unwrap_or_default();
        u64::try_from(then).unwrap_or(u64::MAX)
    }
}

/// Octets on the wire of a request and its answer, by the longest of the domain's transports.
fn exchange(domain: &Domain) -> u64 {
    let headers = domain.transports.iter().map(|transport| match transport {
        Transport::Udp6 => ETHERNET + UDP6,
        Transport::Udp4 => ETHERNET + UDP4,
        Transport::Ethernet | Transport::Ip => ETHERNET,
    });
    let headers = headers.max().unwrap_or(ETHERNET + UDP4);
    wire_octets(DELAY_REQ + headers, false) + wire_octets(DELAY_RESP + headers, false)
}

fn per_1000_s(count: u64, span: Nanos) -> Option<u64> {
    let span = u128::try_from(span.0).ok().filter(|span| *span > 0)?;
    u64::try_from(u128::from(count) * 1_000_000_000_000 / span).ok()
}
