//! The profiles, one file a family. The standards themselves were not opened; where a value was read elsewhere, the
//! row says where.

mod enterprise;
mod gptp;
mod ieee1588;
mod media;
mod power;
mod telecom;
mod version1;

use super::row::Profile;
use super::row::Row;
use super::row::Want;
use super::row::from_memory;
use crate::domains::Mechanism;
use crate::observations::Transport;

/// Every known profile; where two agree equally with a domain, the earlier one is named first.
pub static PROFILES: [Profile; 12] = [
    ieee1588::DEFAULT_E2E,
    ieee1588::DEFAULT_P2P,
    version1::PTP_V1,
    media::AES67,
    media::ST2059_2,
    media::AES67_ST2059_2,
    gptp::GPTP,
    telecom::G8275_1,
    telecom::G8275_2,
    telecom::G8265_1,
    power::C37_238,
    enterprise::ENTERPRISE,
];

const UDP: &[Transport] = &[Transport::Udp4, Transport::Udp6];
const UDP4: &[Transport] = &[Transport::Udp4];
const ETHERNET: &[Transport] = &[Transport::Ethernet];
const ANY_TRANSPORT: &[Transport] = &[Transport::Udp4, Transport::Udp6, Transport::Ethernet];
const E2E: &[Mechanism] = &[Mechanism::EndToEnd];
const P2P: &[Mechanism] = &[Mechanism::PeerToPeer];
const E2E_OR_P2P: &[Mechanism] = &[Mechanism::EndToEnd, Mechanism::PeerToPeer];

/// `versionPTP` 2 and `sdoId` 0: all profiles of IEEE 1588-2008 and -2019 but that of IEEE 802.1AS.
const VERSION_2: Row = from_memory(Want::Version(2), "IEEE 1588-2008 and -2019 clause 13.3, from memory");
const SDO_0: Row = from_memory(Want::SdoId(&[0]), "IEEE 1588-2019 7.1.4, from memory");

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::super::row::Confidence;
    use super::*;

    #[test]
    fn names_are_unique_and_fit_for_a_site_file() {
        let names: BTreeSet<&str> = PROFILES.iter().map(|profile| profile.name).collect();
        assert_eq!(names.len(), PROFILES.len());
        let is_plain = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '-';
        assert!(names.iter().all(|name| name.chars().all(is_plain)), "{names:?}");
    }

    #[test]
    fn rows_say_whence_they_are_known_and_how_surely() {
        for profile in &PROFILES {
            assert!(!profile.signature.is_empty(), "{}", profile.name);
            for row in profile.rows {
                let item = row.want.item();
                assert!(row.source.len() > 10, "{} {item}", profile.name);
                let all_from_memory = row.source.ends_with(", from memory") && !row.source.contains("as ");
                assert!(
                    row.confidence != Confidence::Verified || !all_from_memory,
                    "{} {item}: {}",
                    profile.name,
                    row.source
                );
            }
        }
    }

    #[test]
    fn defaults_lie_in_their_ranges() {
        for profile in &PROFILES {
            for row in profile.rows {
                match row.want {
                    Want::Domain { default, allowed: Some((first, last)) } => {
                        assert!(default.iter().all(|number| (first..=last).contains(number)));
                    }
                    Want::Interval { default: Some(default), allowed: Some((least, most)), .. } => {
                        assert!((least..=most).contains(&default), "{} {:?}", profile.name, row.want);
                    }
                    Want::Announced { default, allowed, .. } if !allowed.is_empty() => {
                        let is_in =
                            |value: &u8| allowed.iter().any(|(first, last)| (*first..=*last).contains(value));
                        assert!(default.iter().all(is_in), "{} {:?}", profile.name, row.want);
                    }
                    _ => {}
                }
            }
        }
    }
}
