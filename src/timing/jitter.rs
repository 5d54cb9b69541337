//! Variation of delay from packet to packet.

use super::scaled::ScaledNanos;

/// The interarrival jitter of RFC 3550 §6.4.1 in the integer form of its appendix A.8 (formula from memory):
/// J ← J + (|D| − J) / 16, held in sixteenths and rounded, so two filters fed alike become equal bit for bit.
///
/// The unit is the caller's: RTP timestamp units as in the RFC, or 2⁻¹⁶ ns for a finer result. About 50 octets a
/// stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct InterarrivalJitter {
    last_transit: Option<i128>,
    sixteenths: i128,
}

impl InterarrivalJitter {
    /// Takes in a packet by its transit (arrival − timestamp, same unit), in order of arrival; the first one only
    /// sets the start.
    pub fn push(&mut self, transit: i128) {
        let Some(last) = self.last_transit.replace(transit) else { return };
        let distance = transit.saturating_sub(last).saturating_abs();
        let decay = self.sixteenths.saturating_add(8) >> 4;
        self.sixteenths = self.sixteenths.saturating_add(distance).saturating_sub(decay);
    }

    /// J in whole units, rounded down as the RFC reports it.
    #[must_use]
    pub const fn jitter(&self) -> i128 {
        self.sixteenths >> 4
    }

    /// 16 · J.
    #[must_use]
    pub const fn sixteenths(&self) -> i128 {
        self.sixteenths
    }
}

/// IPDV: each delay less the one before (RFC 3393; RFC 5481 §4.1), one fewer than there are delays.
#[must_use]
pub fn inter_packet_delay_variation(delays: &[ScaledNanos]) -> Vec<ScaledNanos> {
    delays.iter().zip(delays.iter().skip(1)).map(|(before, after)| after.minus(*before)).collect()
}

/// PDV: each delay less the smallest (RFC 5481 §4.2).
#[must_use]
pub fn delay_variation(delays: &[ScaledNanos]) -> Vec<ScaledNanos> {
    let Some(least) = delays.iter().min() else { return Vec::new() };
    delays.iter().map(|delay| delay.minus(*least)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_steady_stream_has_no_jitter_and_one_late_packet_counts_twice() {
        let mut jitter = InterarrivalJitter::default();
        for transit in [500, 500, 500, 660] {
            jitter.push(transit);
        }
        assert_eq!((jitter.jitter(), jitter.sixteenths()), (10, 160));
        jitter.push(500);
        assert_eq!(jitter.sixteenths(), 160 + 160 - 10);
    }

    proptest! {
        #[test]
        fn nothing_makes_them_panic(values in prop::collection::vec(any::<i128>(), 0..30)) {
            let mut jitter = InterarrivalJitter::default();
            for value in &values {
                jitter.push(*value);
                prop_assert!(jitter.sixteenths() >= 0);
            }
            let delays: Vec<ScaledNanos> = values.into_iter().map(ScaledNanos).collect();
            prop_assert_eq!(inter_packet_delay_variation(&delays).len(), delays.len().saturating_sub(1));
            prop_assert!(delay_variation(&delays).iter().all(|one| *one >= ScaledNanos::ZERO));
        }

        /// How long the filter remembers where it started: two that differ only there become equal.
        #[test]
        fn the_filter_forgets_its_start(
            transits in prop::collection::vec(0_i128..10_000, 400..=400), start in 0_i128..10_000
        ) {
            let (mut one, mut other) = (InterarrivalJitter::default(), InterarrivalJitter::default());
            other.push(0);
            other.push(start);
            for transit in transits {
                one.push(transit);
                other.push(transit);
            }
            prop_assert_eq!(one, other);
        }
    }
}
