//! Profiles: a network that keeps to each fits it, one that misses a row does not, and captures are told apart.

mod captures;
mod network;
mod table;

use downbeat::domains::Domain;
use downbeat::profiles::Confidence;
use downbeat::profiles::Deviation;
use downbeat::profiles::PROFILES;
use downbeat::profiles::ProfileFit;
use downbeat::profiles::expected;
use downbeat::profiles::score;
use downbeat::profiles::score_against;

use crate::support::craft::octets::Octets;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::SynchronizationMetadata;
use network::Network;
use network::Over;
use network::PEER_GROUP;
use network::organization_tlv;
use network::plain;
use network::tlv;
use network::version_1;

fn against(domain: &Domain, name: &str) -> ProfileFit {
    score_against(domain, expected(name).unwrap())
}

fn items(deviations: &[Deviation]) -> Vec<&str> {
    deviations.iter().map(|deviation| deviation.item.as_str()).collect()
}

fn peer_to_peer() -> Network {
    Network { over: Over::Ethernet, peer_to_peer: true, ..plain() }
}

fn aes67() -> Network {
    Network { sync: -3, dscp: 46, ..plain() }
}

fn overlap() -> Network {
    Network { announce: 0, sync: -3, request: -3, ..plain() }
}

fn st2059() -> Network {
    let metadata = SynchronizationMetadata { frame_rate: (25, 1), locking_status: 4, local_offset_s: 0 };
    Network {
        domain: 127,
        announce: -2,
        sync: -3,
        request: -3,
        management: Some((ptp_v2::ACTION_COMMAND, ptp_v2::synchronization_metadata_tlv(&metadata))),
        ..plain()
    }
}

fn gptp() -> Network {
    let mut network = Network {
        over: Over::Ethernet,
        major_sdo_id: 1,
        announce: 0,
        sync: -3,
        peer_to_peer: true,
        group: PEER_GROUP,
        announce_tlvs: tlv(0x0008, &[2, 0, 0x5e, 0xff, 0xfe, 0x10, 0, 1]),
        follow_up_tlvs: organization_tlv([0x00, 0x80, 0xC2], [0, 0, 1], 22),
        ..plain()
    };
    network.data.priority1 = 246;
    network.data.priority2 = 248;
    network
}

fn phase() -> Network {
    let mut network =
        Network { over: Over::Ethernet, domain: 24, announce: -3, sync: -4, request: -4, ..plain() };
    network.data.clock_class = 6;
    network
}

fn grant(message_type: u8, log: i8, duration_s: u32) -> Vec<u8> {
    tlv(0x0005, &Octets::new().u8(message_type << 4).i8(log).u32(duration_s).u8(0).u8(1).0)
}

fn grants(announce: i8, sync: i8, request: i8, duration_s: u32) -> Option<Vec<u8>> {
    let all =
        [grant(0xB, announce, duration_s), grant(0x0, sync, duration_s), grant(0x9, request, duration_s)];
    Some(all.concat())
}

fn partial() -> Network {
    let mut network = Network {
        domain: 44,
        announce: 0,
        sync: -4,
        request: -4,
        unicast: true,
        signaling: grants(0, -4, -4, 300),
        ..plain()
    };
    network.data.clock_class = 6;
    network
}

fn frequency() -> Network {
    let mut network = Network { domain: 4, announce: 1, signaling: grants(1, -4, -4, 300), ..partial() };
    network.data.clock_class = 84;
    network
}

fn power() -> Network {
    let value = Octets::new().bytes(&[0x1C, 0x12, 0x9D, 0, 0, 1]).u16(3).u32(50).u32(200).u16(0).0;
    // Key, current offset, jump, time of the next jump, a name of three letters.
    let zone = Octets::new().u8(1).i32(3600).i32(0).u48(0).u8(3).bytes(b"CET").u8(0).0;
    Network {
        announce: 0,
        tag: Some((4, 0)),
        announce_tlvs: [tlv(0x0003, &value), tlv(0x0009, &zone)].concat(),
        ..peer_to_peer()
    }
}

fn enterprise() -> Network {
    Network { announce: 0, unicast_requests: true, ..plain() }
}

#[test]
fn a_network_that_keeps_to_a_profile_fits_it_best_and_without_deviation() {
    let networks = [
        ("default-e2e", plain().domain()),
        ("default-p2p", peer_to_peer().domain()),
        ("ptp-v1", version_1(1, 120)),
        ("aes67", aes67().domain()),
        ("st2059-2", st2059().domain()),
        ("aes67-st2059-2", overlap().domain()),
        ("gptp", gptp().domain()),
        ("g8275-1", phase().domain()),
        ("g8275-2", partial().domain()),
        ("g8265-1", frequency().domain()),
        ("c37-238", power().domain()),
        ("enterprise", enterprise().domain()),
    ];
    assert_eq!(networks.len(), PROFILES.len());
    for (name, domain) in &networks {
        let scored = score(domain);
        assert_eq!(scored.len(), PROFILES.len());
        let best = &scored[0];
        assert_eq!(best.name, *name, "{scored:#?}");
        assert!(best.fits && best.is_characteristic, "{best:#?}");
        assert_eq!((items(&best.deviations), best.points), (vec![], 0), "{name}");
        assert_eq!(items(&best.off_defaults), Vec::<&str>::new(), "{name}");
        assert_eq!(score(domain), scored, "{name}");
    }
}

/// A network that misses one row of a profile: which item, how surely, and whether it still fits.
struct NearMiss {
    profile: &'static str,
    item: &'static str,
    network: Network,
    confidence: Confidence,
}

fn near_misses() -> Vec<NearMiss> {
    let verified =
        |profile, item, network| NearMiss { profile, item, network, confidence: Confidence::Verified };
    let memory =
        |profile, item, network| NearMiss { profile, item, network, confidence: Confidence::FromMemory };
    let unsure = |profile, item, network| NearMiss { profile, item, network, confidence: Confidence::Unsure };
    let class = |mut network: Network, class| {
        network.data.clock_class = class;
        network
    };
    let identity = |identity: [u8; 6]| {
        // clockType, three empty texts and pads between, as 1588-2008 15.5.3.1.2 lays them out (from memory).
        let description = Octets::new()
            .u16(0x8000)
            .u8(0) // physicalLayerProtocol
            .u16(6)
            .bytes(&[2, 0, 0x5e, 0x10, 0, 1])
            .u16(1)
            .u16(4)
            .bytes(&[10, 20, 0, 1])
            .bytes(&[2, 0, 0x5e])
            .u8(0)
            .zeros(3) // productDescription, revisionData, userDescription
            .bytes(&identity)
            .0;
        let padded = if description.len() % 2 == 1 { [description, vec![0]].concat() } else { description };
        Network {
            management: Some((ptp_v2::ACTION_RESPONSE, ptp_v2::management_tlv(0x0001, &padded))),
            ..plain()
        }
    };
    vec![
        memory("default-e2e", "domainNumber", Network { domain: 128, ..plain() }),
        memory("default-e2e", "profileIdentity", identity([0, 0x1B, 0x19, 0, 2, 0])),
        memory("default-e2e", "delay mechanism", Network { peer_to_peer: true, ..plain() }),
        memory("default-e2e", "logAnnounceInterval", Network { announce: -1, ..plain() }),
        memory("default-e2e", "logSyncInterval", Network { sync: -2, ..plain() }),
        memory("default-e2e", "logSyncInterval", Network { true_sync: Some(-2), ..plain() }),
        memory("default-e2e", "logSyncInterval", Network { true_sync: Some(2), ..plain() }),
        memory("default-e2e", "logMinDelayReqInterval", Network { request: -1, ..plain() }),
        memory("default-e2e", "clockClass", class(plain(), 200)),
        memory("default-p2p", "logMinPdelayReqInterval", Network { request: -1, ..peer_to_peer() }),
        memory("default-p2p", "delay mechanism", Network { peer_to_peer: false, ..peer_to_peer() }),
        verified("aes67", "logAnnounceInterval", Network { announce: -2, ..aes67() }),
        verified("aes67", "logSyncInterval", Network { sync: -5, ..aes67() }),
        memory("aes67", "transport", Network { over: Over::Ethernet, ..aes67() }),
        unsure("aes67", "transport", Network { over: Over::Udp6, ..aes67() }),
        memory("aes67", "addressing of Sync", Network { unicast: true, ..aes67() }),
        unsure("aes67", "clockClass", class(aes67(), 200)),
        verified("st2059-2", "logAnnounceInterval", Network { announce: 2, ..st2059() }),
        unsure("st2059-2", "logAnnounceInterval", Network { announce: 1, ..st2059() }),
        verified("st2059-2", "logSyncInterval", Network { sync: 0, request: 0, ..st2059() }),
        verified(
            "st2059-2",
            "logMinDelayReqInterval beside logSyncInterval",
            Network { request: -4, ..st2059() },
        ),
        verified(
            "st2059-2",
            "logMinDelayReqInterval beside logSyncInterval",
            Network { request: 3, ..st2059() },
        ),
        unsure(
            "st2059-2",
            "synchronization metadata TLV in Management",
            Network { management: None, ..st2059() },
        ),
        verified("aes67-st2059-2", "logAnnounceInterval", Network { announce: 2, ..overlap() }),
        verified("aes67-st2059-2", "logSyncInterval", Network { sync: 0, ..overlap() }),
        unsure("aes67-st2059-2", "logMinDelayReqInterval", Network { request: 2, ..overlap() }),
        verified("gptp", "sdoId", Network { major_sdo_id: 0, ..gptp() }),
        verified("gptp", "destination MAC address", Network { group: plain().group, ..gptp() }),
        memory("gptp", "VLAN tag", Network { tag: Some((6, 0)), ..gptp() }),
        memory("gptp", "VLAN tag", Network { tag: Some((0, 2)), ..gptp() }),
        verified("gptp", "delay mechanism", Network { peer_to_peer: false, ..gptp() }),
        memory("gptp", "PATH_TRACE TLV in Announce", Network { announce_tlvs: vec![], ..gptp() }),
        verified(
            "gptp",
            "Follow_Up information TLV in Follow_Up",
            Network { follow_up_tlvs: vec![], ..gptp() },
        ),
        verified("g8275-1", "logSyncInterval", Network { sync: -3, ..phase() }),
        verified("g8275-1", "logMinDelayReqInterval", Network { request: -3, ..phase() }),
        memory("g8275-1", "domainNumber", Network { domain: 44, ..phase() }),
        memory("g8275-1", "clockClass", class(phase(), 13)),
        verified("g8275-1", "transport", Network { over: Over::Udp4, ..phase() }),
        verified(
            "g8275-2",
            "addressing of Announce",
            Network { unicast: false, signaling: None, ..partial() },
        ),
        memory("g8275-2", "logAnnounceInterval", Network { signaling: grants(1, -4, -4, 300), ..partial() }),
        memory("g8275-2", "logSyncInterval", Network { signaling: grants(0, 1, -4, 300), ..partial() }),
        memory(
            "g8275-2",
            "durationField of unicast grants",
            Network { signaling: grants(0, -4, -4, 30), ..partial() },
        ),
        verified(
            "g8275-2",
            "unicast negotiation TLV in Signaling",
            Network { signaling: Some(tlv(0x8008, &[0, 0])), ..partial() },
        ),
        memory("g8265-1", "clockClass", class(frequency(), 6)),
        memory("g8265-1", "domainNumber", Network { domain: 24, ..frequency() }),
        memory("c37-238", "priority code point", Network { tag: Some((3, 0)), ..power() }),
        memory("c37-238", "logSyncInterval", Network { sync: 1, ..power() }),
        memory("c37-238", "IEEE C37.238 TLV in Announce", Network { one_without_tlvs: true, ..power() }),
        memory("enterprise", "logAnnounceInterval", Network { announce: 1, ..enterprise() }),
        verified("enterprise", "delay mechanism", Network { peer_to_peer: true, ..enterprise() }),
    ]
}

#[test]
fn a_near_miss_names_the_row_and_only_a_doubtful_row_lets_it_fit() {
    for NearMiss { profile, item, network, confidence } in near_misses() {
        let fit = against(&network.domain(), profile);
        let found = fit.deviations.iter().find(|deviation| deviation.item == item);
        let Some(found) = found else { panic!("{profile} {item}: {fit:#?}") };
        assert!(fit.points > 0 && !found.seen.is_empty() && !found.expected.is_empty(), "{found:?}");
        let surest = fit.deviations.iter().map(|deviation| deviation.confidence).min().unwrap();
        assert!(fit.deviations.iter().any(|other| other.item == item && other.confidence == confidence));
        assert_eq!(fit.fits, surest == Confidence::Unsure, "{fit:#?}");
        if confidence == Confidence::Unsure {
            assert!(fit.fits, "{fit:#?}");
        }
    }
}

#[test]
fn either_version_speaks_against_the_profiles_of_the_other() {
    let fit = against(&version_1(1, 120), "default-e2e");
    assert_eq!(fit.deviations[0].item, "versionPTP");
    assert_eq!((fit.deviations[0].seen.as_str(), fit.deviations[0].expected.as_str()), ("1", "2"));
    assert!(!fit.fits);
    let fit = against(&plain().domain(), "ptp-v1");
    assert_eq!(items(&fit.deviations), ["versionPTP"]);
    assert!(!fit.fits);
}

#[test]
fn a_short_sync_interval_of_version_1_is_only_doubtful() {
    let fit = against(&version_1(-2, 60), "ptp-v1");
    assert!(fit.fits, "{fit:#?}");
    assert_eq!(items(&fit.deviations), ["logSyncInterval"]);
    assert!(!against(&version_1(-3, 60), "ptp-v1").fits);
}

#[test]
fn values_beside_the_default_are_told_and_are_no_deviations() {
    let mut network = Network { two_step: false, dscp: 0, ttl: 16, domain: 5, ..aes67() };
    network.data.priority1 = 100;
    network.data.priority2 = 101;
    let fit = against(&network.domain(), "aes67");
    assert!(fit.fits && fit.deviations.is_empty(), "{fit:#?}");
    assert_eq!(
        items(&fit.off_defaults),
        ["domainNumber", "priority1", "priority2", "DSCP of Sync and Delay_Req"]
    );
    assert_eq!(fit.off_defaults[3].seen, "0");
    assert_eq!(fit.off_defaults[3].expected, "46");
    let fit = against(&network.domain(), "default-e2e");
    assert!(items(&fit.off_defaults).contains(&"time to live"), "{fit:#?}");
    let fit = against(&Network { two_step: false, ..gptp() }.domain(), "gptp");
    assert!(items(&fit.off_defaults).contains(&"step mode"), "{fit:#?}");
}

#[test]
fn measured_intervals_may_wander_by_thirty_percent_and_requests_may_be_rarer() {
    // Sync at half the pace declared is told, however well the declared one fits.
    let fit = against(&Network { true_sync: Some(-2), ..aes67() }.domain(), "aes67");
    assert!(fit.fits, "-2 lies in the range");
    assert_eq!(items(&fit.off_defaults), ["logSyncInterval"]);
    assert_eq!(fit.off_defaults[0].seen, "declared -3 (125 ms), measured 250 ms");
    // A follower that asks each 16 s keeps to a minimum of 1 s.
    let slow = Network { over: Over::Ethernet, peer_to_peer: true, request: 4, seconds: 300, ..plain() };
    assert!(against(&slow.domain(), "default-p2p").fits);
    assert!(
        against(&slow.domain(), "c37-238").deviations.iter().all(|d| d.item != "logMinPdelayReqInterval")
    );
}

#[test]
fn what_a_capture_does_not_show_is_no_deviation_and_too_little_fits_nothing() {
    // Two seconds: no interval can be measured, no metadata message need have come yet.
    let short = Network { seconds: 2, management: None, ..st2059() }.domain();
    let fit = against(&short, "st2059-2");
    assert_eq!(items(&fit.deviations), Vec::<&str>::new());
    assert!(fit.not_seen.contains(&"synchronization metadata TLV in Management".to_owned()));
    // Less than one Announce or Sync: what is left agrees with everything and says nothing.
    let requests = Network { announce: 3, sync: 3, seconds: 4, ..plain() }.domain();
    for fit in score(&requests) {
        assert!(!fit.fits && !fit.seen_enough, "{fit:#?}");
    }
}

#[test]
fn a_tlv_that_the_capture_cut_off_is_not_called_absent() {
    // 80 octets hold every fixed body: Announce ends at 78, Follow_Up at 58.
    let fit = against(&Network { kept_octets: 80, ..gptp() }.domain(), "gptp");
    assert!(fit.fits && fit.deviations.is_empty(), "{fit:#?}");
    for item in ["Follow_Up information TLV in Follow_Up", "PATH_TRACE TLV in Announce"] {
        assert!(fit.not_seen.iter().any(|other| other == item), "{fit:#?}");
    }
}

#[test]
fn unicast_sync_is_told_and_its_interval_is_not_guessed() {
    let all_unicast = Network { unicast: true, ..aes67() }.domain();
    let fit = against(&all_unicast, "aes67");
    let sync = fit.deviations.iter().find(|deviation| deviation.item == "addressing of Sync").unwrap();
    assert_eq!((sync.seen.as_str(), sync.expected.as_str()), ("unicast", "multicast"));
    // Intervals of unicast Sync are neither declared nor measured, so they are not seen.
    assert!(fit.not_seen.iter().any(|item| item == "logSyncInterval"), "{fit:#?}");
}
