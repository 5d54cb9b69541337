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

/// A difference of times in the unit that suits it, with three decimals and a sign where negative.
pub(in crate::findings) fn difference(value: ScaledNanos) -> String {
    let ns = value.abs().nanos().map_or(i64::MAX, |nanos| nanos.0);
    let sign = if value < ScaledNanos::ZERO { "-" } else { "" };
    let (unit, name) = match ns {
        ..1_000_000 => (1_000, "us"),
        1_000_000..1_000_000_000 => (1_000_000, "ms"),
        _ => (1_000_000_000, "s"),
    };
    let thousandths = ns / (unit / 1000);
    format!("{sign}{}.{:03} {name}", thousandths / 1000, thousandths % 1000)
}

/// `once` or `3 times`.
pub(in crate::findings) fn times(number: u64) -> String {
    if number == 1 { "once".to_owned() } else { format!("{number} times") }
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
        for (ns, text) in [
            (-1_500, "-1.500 us"),
            (999_999, "999.999 us"),
            (49_940_000, "49.940 ms"),
            (-1_250_000_000, "-1.250 s"),
        ] {
            assert_eq!(difference(ScaledNanos(ns << 16)), text);
        }
        assert_eq!((times(1).as_str(), times(2).as_str()), ("once", "2 times"));
        assert_eq!((percent(1, 3), percent(1, 0)), (33, 0));
    }
}
