//! Words that several rules share: durations, shares, addresses.

use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::PortId;
use crate::timing::ScaledNanos;
use crate::units::MacAddress;
use crate::units::Nanos;

/// `1.250 s`, `1.250 ms` or `0.125 ms`.
pub(in crate::findings) fn duration(value: Nanos) -> String {
    if value >= Nanos::from_seconds(1) {
        return value.as_seconds_text();
    }
    let us = value.0 / 1000;
    format!("{}.{:03} ms", us / 1000, (us % 1000).abs())
}

/// Microseconds with three decimals and a sign where negative.
pub(in crate::findings) fn micros(value: ScaledNanos) -> String {
    let ns = value.abs().nanos().map_or(i64::MAX, |nanos| nanos.0);
    let sign = if value < ScaledNanos::ZERO { "-" } else { "" };
    format!("{sign}{}.{:03} us", ns / 1000, ns % 1000)
}

/// `part` of `whole` in per cent, rounded down.
pub(in crate::findings) fn percent(part: u64, whole: u64) -> u64 {
    part.saturating_mul(100).checked_div(whole).unwrap_or(0)
}

/// The MAC address that a port mostly sends from.
pub(in crate::findings) fn mac_of(domain: &Domain, port: PortId) -> Option<MacAddress> {
    let sent: &ClockPort = domain.ports.get(&port)?;
    let most = sent.addresses.iter().max_by_key(|(_, messages)| **messages);
    most.and_then(|(address, _)| address.mac)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_and_shares_are_written_in_units_that_fit() {
        assert_eq!(duration(Nanos(1_250_000_000)), "1.250 s");
        assert_eq!(duration(Nanos(125_400_000)), "125.400 ms");
        assert_eq!(micros(ScaledNanos(-1_500 << 16)), "-1.500 us");
        assert_eq!((percent(1, 3), percent(1, 0)), (33, 0));
    }
}
