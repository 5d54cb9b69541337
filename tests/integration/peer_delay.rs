//! Peer delay beside a link whose delay, turnaround and rate are chosen: in gPTP and in plain PTP, with one step and two.

use downbeat::clock::Basis;
use downbeat::clock::Clocks;
use downbeat::clock::Peer;
use downbeat::domains::Domains;
use downbeat::timing::ScaledNanos;
use downbeat::units::Nanos;

use crate::support::craft::ptp_v2::Body;
use crate::support::ideal_network::Clock;
use crate::support::ideal_network::Message;
use crate::support::ideal_network::Network;
use crate::support::stage::Actor;
use crate::support::stage::actor;
use crate::support::stage::only;

const SECOND: i64 = 1_000_000_000;
/// Capture point to responder, one way.
const LINK: i64 = 300;
/// How long the responder holds an exchange, in true time.
const HELD: i64 = 3_000_000;
/// The responder's clock: a minute ahead, 20 ppm fast; and the capture's: 3 ppm slow.
const RESPONDER: Clock = Clock { offset_ns: 60 * SECOND, ppb: 20_000 };
const CAPTURE: Clock = Clock { offset_ns: 5_000, ppb: -3_000 };

/// Where the responder puts its times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Steps {
    One,
    Two,
    /// Two steps, all in the corrections (1588-2008 11.4.3, from memory).
    TwoWithoutStamps,
}

/// Over Ethernet; majorSdoId 1 is gPTP.
fn on_link(number: u8, major_sdo_id: u8) -> Actor {
    Actor { ip: None, major_sdo_id, ..actor(number) }
}

/// A minute of exchanges, one a second, with a leader's Announces and Syncs beside.
fn link(major_sdo_id: u8, responder: Clock, steps: Steps) -> Domains {
    let (asker, peer) = (on_link(2, major_sdo_id), on_link(3, major_sdo_id));
    let leader = on_link(1, major_sdo_id).class(6);
    let mut network = Network::new(CAPTURE, 1);
    for index in 0..60_i64 {
        let sequence = u16::try_from(index).unwrap();
        let announce = Body::Announce { origin_ns: 0, data: leader.data };
        let sync = Body::Sync { origin_ns: Clock::default().shows(index * SECOND) };
        let mut announced = Message::new(sequence, &announce);
        announced.log_interval = 0;
        network.pass(index * SECOND + 10, &leader, &announced);
        network.pass(index * SECOND + LINK, &leader, &Message::new(sequence, &sync));

        let asked = index * SECOND + SECOND / 2;
        let (received, sent) = (asked + LINK, asked + LINK + HELD);
        let (receipt, origin) = (responder.shows(received), responder.shows(sent));
        let request = Body::PdelayReq { origin_ns: 0 };
        network.pass(asked, &asker, &Message::new(sequence, &request));
        let stamped = steps == Steps::Two;
        let body = Body::PdelayResp { receipt_ns: if stamped { receipt } else { 0 }, requester: asker.port };
        let mut response = Message::new(sequence, &body);
        response.two_step = steps != Steps::One;
        if steps == Steps::One {
            response.correction_scaled_ns = (origin - receipt) << 16;
        }
        network.pass(sent + LINK, &peer, &response);
        if steps != Steps::One {
            let origin_ns = if stamped { origin } else { 0 };
            let body = Body::PdelayRespFollowUp { origin_ns, requester: asker.port };
            let mut follow_up = Message::new(sequence, &body);
            if !stamped {
                follow_up.correction_scaled_ns = (origin - receipt) << 16;
            }
            network.pass(sent + LINK + 500_000, &peer, &follow_up);
        }
    }
    network.domains()
}

/// The only peer: median turnaround and link delay, and its rate.
fn peer(domains: &Domains) -> (i64, i64, Option<f64>) {
    let peers = Peer::all(only(domains), Nanos(1));
    assert_eq!(peers.len(), 1);
    assert_eq!((peers[0].exchanges, peers[0].port), (60, on_link(3, 0).port_id()));
    let ns = |scaled: i128| ScaledNanos(scaled).nanos().unwrap().0;
    let median = |values: Option<downbeat::statistics::OrderStatistics<i128>>| ns(values.unwrap().median);
    (median(peers[0].turnaround), median(peers[0].link_delay), peers[0].rate.map(|rate| rate.ppm))
}

#[test]
fn two_steps_give_turnaround_link_delay_and_rate_in_gptp_and_in_plain_ptp() {
    for major_sdo_id in [0, 1] {
        let domains = link(major_sdo_id, RESPONDER, Steps::Two);
        assert_eq!(only(&domains).key.is_gptp(), major_sdo_id == 1);
        let (turnaround, delay, rate) = peer(&domains);
        // 3 ms by a clock that is 20 ppm fast; stamps are whole nanoseconds.
        assert!((turnaround - 3_000_060).abs() <= 1, "{turnaround}");
        // The round trip is the capture's and the turnaround the responder's: 23 ppm of 3 ms, halved, would be 34 ns.
        assert!((delay - LINK).abs() <= 2, "{delay}");
        // (1 + 20e-6) / (1 - 3e-6) - 1, to a thousandth: stamps of 1 ns over a minute.
        assert!((rate.unwrap() - 23.000_07).abs() < 1e-3, "{rate:?}");
    }
}

#[test]
fn a_responder_that_puts_all_into_corrections_says_the_same_but_its_rate() {
    for steps in [Steps::One, Steps::TwoWithoutStamps] {
        let (turnaround, delay, rate) = peer(&link(1, RESPONDER, steps));
        assert!((turnaround - 3_000_060).abs() <= 1, "{steps:?}: {turnaround}");
        // Without stamps the rate is not on the wire, and half its share of the round trip stays in the delay.
        assert!((delay - (LINK - 34)).abs() <= 2, "{steps:?}: {delay}");
        assert_eq!(rate, None, "{steps:?}");
        let alike = Clock { ppb: CAPTURE.ppb, ..RESPONDER };
        let (_, delay, _) = peer(&link(1, alike, steps));
        assert!((delay - LINK).abs() <= 1, "{steps:?}: {delay}");
    }
}

#[test]
fn gptp_stamps_peer_delay_by_a_clock_that_nobody_sets_and_plain_ptp_by_the_one_that_is_judged() {
    // 40 ms ahead: a clock that was set, and is off.
    let off = Clock { offset_ns: 40_000_000, ppb: 0 };
    let bases = |major_sdo_id: u8| {
        let domains = link(major_sdo_id, off, Steps::Two);
        let clocks = Clocks::of(&domains, Nanos(1));
        let times = clocks.times_of(on_link(3, 0).id(), only(&domains).key);
        times
            .iter()
            .map(|time| (time.basis, ScaledNanos(time.offset.median).nanos().unwrap().0))
            .collect::<Vec<_>>()
    };
    let plain = bases(0);
    // The way to it counts twice over: the request's is in the stamp, the Sync's in the capture's time.
    assert_eq!(plain.len(), 1);
    assert_eq!(plain[0].0, Basis::PeerDelay);
    assert!((plain[0].1 - 40_000_000).abs() <= 2 * LINK + 10, "{plain:?}");
    assert_eq!(bases(1), []);
}
