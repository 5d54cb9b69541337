//! Chosen offsets, delays and rates come back from ideal networks, within the bound that is stated beside each.

use downbeat::clock::Basis;
use downbeat::clock::Clocks;
use downbeat::clock::Path;
use downbeat::clock::PathBasis;
use downbeat::clock::Whose;
use downbeat::devices::State;
use downbeat::domains::Domains;
use downbeat::timing::ScaledNanos;
use downbeat::timing::Timescales;
use downbeat::units::Nanos;
use proptest::prelude::*;

use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::ideal_network::Clock;
use crate::support::ideal_network::Message;
use crate::support::ideal_network::Network;
use crate::support::stage::Actor;
use crate::support::stage::actor;
use crate::support::stage::only;

const SECOND: i64 = 1_000_000_000;

/// A network of one leader and one follower; delays are one way, in ns.
#[derive(Debug, Clone, Copy)]
struct Scene {
    capture: Clock,
    resolution_ns: i64,
    /// Leader to capture point.
    to_capture: i64,
    /// Capture point to leader.
    to_leader: i64,
    /// Every how many Syncs queue, and for how long.
    queue: (i64, i64),
    /// Residence in transparent clocks before the capture point, in Syncs and in requests.
    residence: (i64, i64),
    two_step: bool,
    seconds: i64,
    /// The follower's clock where it fills its stamps.
    follower: Option<Clock>,
    /// One in so many messages of each kind is lost; 0 for none.
    lost: i64,
    /// The leader's time jumps at a second, by ns.
    jump: (i64, i64),
    /// Exchanges, from the first on.
    exchanges: i64,
    /// Whether a boundary clock stands in for a leader out of view.
    relayed: bool,
}

const PLAIN: Scene = Scene {
    capture: Clock { offset_ns: 0, ppb: 0 },
    resolution_ns: 1,
    to_capture: 5_000,
    to_leader: 5_000,
    queue: (0, 0),
    residence: (0, 0),
    two_step: true,
    seconds: 60,
    follower: None,
    lost: 0,
    jump: (i64::MAX, 0),
    exchanges: i64::MAX,
    relayed: false,
};

impl Scene {
    fn network(self) -> Network {
        let (mut leader, follower) = (actor(1).class(6), actor(2));
        if self.relayed {
            leader = leader.relays(&actor(9), 1);
        }
        let mut network = Network::new(self.capture, self.resolution_ns);
        let lost = |index: i64| self.lost > 0 && index % self.lost == self.lost - 1;
        for second in 0..self.seconds {
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            let mut announce = Message::new(u16::try_from(second).unwrap(), &body);
            announce.log_interval = 0;
            network.pass(second * SECOND + 10, &leader, &announce);
        }
        for index in 0..self.seconds * 8 {
            let (sent, sequence) = (index * SECOND / 8 + 1_000, u16::try_from(index % 60_000).unwrap());
            let queued = if self.queue.0 > 0 && index % self.queue.0 == 0 { self.queue.1 } else { 0 };
            let seen = sent + self.to_capture + self.residence.0 + queued;
            let origin_ns = self.leader_shows(sent);
            let body = Body::Sync { origin_ns: if self.two_step { 0 } else { origin_ns } };
            let mut sync = Message::new(sequence, &body);
            sync.two_step = self.two_step;
            sync.correction_scaled_ns = self.residence.0 << 16;
            sync.log_interval = -3;
            if !lost(index) {
                network.pass(seen, &leader, &sync);
            }
            if self.two_step && !lost(index + 3) {
                let body = Body::FollowUp { origin_ns };
                network.pass(seen + 40_000, &leader, &Message::new(sequence, &body));
            }
            if index % 8 == 4 && index / 8 < self.exchanges {
                self.exchange(&mut network, sent + SECOND / 20, sequence, &leader, &follower);
            }
        }
        network
    }

    fn leader_shows(self, true_ns: i64) -> i64 {
        let (second, ns) = self.jump;
        Clock::default().shows(true_ns) + if true_ns / SECOND >= second { ns } else { 0 }
    }

    fn exchange(self, network: &mut Network, seen: i64, sequence: u16, leader: &Actor, follower: &Actor) {
        let own = self.follower.map_or(0, |clock| clock.shows(seen));
        let body = Body::DelayReq { origin_ns: own };
        let mut request = Message::new(sequence, &body);
        request.correction_scaled_ns = self.residence.1 << 16;
        network.pass(seen, follower, &request);
        let receipt_ns = self.leader_shows(seen + self.to_leader);
        let body = Body::DelayResp { receipt_ns, requester: follower.port };
        let mut answer = Message::new(sequence, &body);
        // The answer repeats what the request had gathered on its way (1588-2008 11.3.2, from memory).
        answer.correction_scaled_ns = self.residence.1 << 16;
        answer.log_interval = 0;
        network.pass(seen + self.to_leader + 200_000, leader, &answer);
    }

    fn domains(self) -> Domains {
        self.network().domains()
    }

    fn path(self) -> Path {
        let domains = self.domains();
        Path::of(&domains, only(&domains), Nanos(self.resolution_ns)).unwrap()
    }
}

fn ns(scaled: i128) -> i64 {
    ScaledNanos(scaled).nanos().unwrap().0
}

#[test]
fn offset_and_delay_come_back_to_the_nanosecond_where_nothing_drifts() {
    for two_step in [true, false] {
        let path = Scene { capture: Clock { offset_ns: 180_000, ppb: 0 }, two_step, ..PLAIN }.path();
        assert_eq!(ns(path.offset.median), 180_000);
        assert_eq!(ns(path.mean_path_delay.unwrap().median), 5_000);
        assert_eq!((ns(path.offset.min), ns(path.offset.max)), (180_000, 180_000));
        assert_eq!(ns(path.offset_at_least_delay.unwrap()), 180_000);
        assert!(path.rate.unwrap().ppm.abs() < 1e-9);
        assert!(path.steps.is_empty() && !path.at_leader);
    }
}

#[test]
fn an_asymmetry_moves_the_offset_by_half_the_difference_and_leaves_the_delay() {
    let path = Scene { to_capture: 60_000, to_leader: 40_000, ..PLAIN }.path();
    assert_eq!((ns(path.offset.median), ns(path.mean_path_delay.unwrap().median)), (10_000, 50_000));
}

#[test]
fn corrections_of_transparent_clocks_before_the_capture_point_are_no_delay() {
    let path = Scene { residence: (70_000, 90_000), ..PLAIN }.path();
    assert_eq!((ns(path.offset.median), ns(path.mean_path_delay.unwrap().median)), (0, 5_000));
}

#[test]
fn thirty_seven_seconds_are_told_for_what_they_are() {
    let path = Scene { capture: Clock { offset_ns: -37 * SECOND + 250, ppb: 0 }, ..PLAIN }.path();
    let Timescales::CaptureInUtc { residual } = path.timescales else { panic!("{:?}", path.timescales) };
    assert_eq!(residual.nanos(), Some(Nanos(250)));
}

#[test]
fn a_path_of_nothing_is_read_as_captured_at_the_leader_and_one_far_below_nothing_is_not() {
    assert!(Scene { to_capture: 100, to_leader: 100, ..PLAIN }.path().at_leader);
    assert!(Scene { to_capture: -3_000, to_leader: -3_780, ..PLAIN }.path().at_leader);
    assert!(!Scene { to_capture: 400, to_leader: 400, ..PLAIN }.path().at_leader);
    assert!(!Scene { to_capture: -5_000_000, to_leader: -5_000_000, ..PLAIN }.path().at_leader);
}

#[test]
fn queueing_moves_neither_rate_nor_the_offset_by_the_shortest_ways() {
    let capture = Clock { offset_ns: 0, ppb: 25_000 };
    let path = Scene { capture, queue: (5, 80_000), ..PLAIN }.path();
    // Every fifth Sync is late by 80 us; the median of pairwise slopes stands up to 29 %.
    assert!((path.rate.unwrap().ppm - 25.0).abs() < 1e-3, "{:?}", path.rate);
    assert!((path.envelope_ppm.unwrap() - 25.0).abs() < 1e-2, "{:?}", path.envelope_ppm);
    let middle = ns(path.offset_at_least_delay.unwrap());
    // At the middle of 60 s the clock has gained 25 ppm of 30 s or, by half an exchange, a little more.
    assert!((middle - 750_000).abs() < 25_000, "{middle}");
    assert!(ns(path.delay_variation.unwrap().max) >= 79_000);
}

#[test]
fn where_the_leaders_time_jumps_every_value_is_of_the_longest_stretch_without() {
    let capture = Clock { offset_ns: 180_000, ppb: 0 };
    let whole = Scene { capture, ..PLAIN }.path();
    assert_eq!((whole.stretch, whole.is_jitter_of_all), (None, false));
    // Before the jump are 40 s of the 60; then the offset is 2 ms less.
    for (jump, offset) in [((40, 2_000_000), 180_000), ((20, 2_000_000), -1_820_000)] {
        let path = Scene { capture, jump, ..PLAIN }.path();
        assert_eq!(path.steps.len(), 1);
        assert_eq!((ns(path.offset.min), ns(path.offset.max)), (offset, offset));
        assert_eq!(ns(path.offset_at_least_delay.unwrap()), offset);
        assert_eq!(ns(path.mean_path_delay.unwrap().max), 5_000);
        assert_eq!(path.sync_jitter.unwrap().max, Nanos(0));
        let (from, until) = path.stretch.unwrap();
        assert!((39 * SECOND..=40 * SECOND).contains(&until.since(from).0), "{from:?} {until:?}");
        let PathBasis::TwoWay { exchanges } = path.basis else { panic!("{:?}", path.basis) };
        assert!((39..=40).contains(&exchanges), "{exchanges}");
    }
}

#[test]
fn three_exchanges_without_a_way_are_the_fewest_that_place_the_capture_at_the_leader() {
    for (exchanges, at_leader) in [(1, false), (2, false), (3, true)] {
        let path = Scene { to_capture: 100, to_leader: 100, exchanges, ..PLAIN }.path();
        assert!(path.is_no_way, "{exchanges}");
        assert_eq!(path.at_leader, at_leader, "{exchanges}");
        assert_eq!(path.plausible_delay().is_some(), at_leader, "{exchanges}");
    }
    assert!(!Scene { exchanges: 3, ..PLAIN }.path().is_no_way);
}

#[test]
fn a_jump_is_the_captures_own_only_where_another_clock_shows_it_too() {
    let jump = |with_other: bool, captures: bool| {
        let (leader, other) = (actor(1).class(6), actor(3).class(7));
        let mut network = Network::new(Clock::default(), 1);
        for index in 0..480_i64 {
            let sequence = u16::try_from(index).unwrap();
            let true_ns = index * SECOND / 8;
            let after = true_ns >= 30 * SECOND;
            let clocks: &[&Actor] = if with_other { &[&leader, &other] } else { &[&leader] };
            for (place, clock) in (0_i64..).zip(clocks) {
                // A jump of the capture's clock looks like one of every leader by the same amount.
                let jumped = after && (captures || place == 0);
                let origin_ns = Clock::default().shows(true_ns) + if jumped { 2_000_000 } else { 0 };
                if index % 8 == 0 {
                    let body = Body::Announce { origin_ns: 0, data: clock.data };
                    let mut announce = Message::new(sequence / 8, &body);
                    announce.log_interval = 0;
                    network.pass(true_ns + place * 1_000, clock, &announce);
                }
                let body = Body::Sync { origin_ns };
                network.pass(true_ns + 5_000 + place * 1_000, clock, &Message::new(sequence, &body));
            }
        }
        let domains = network.domains();
        Path::of(&domains, only(&domains), Nanos(1)).unwrap().steps
    };
    for (with_other, captures, whose) in
        [(true, true, Whose::Capture), (true, false, Whose::Leader), (false, false, Whose::CannotTell)]
    {
        let steps = jump(with_other, captures);
        assert_eq!(steps.len(), 1, "{steps:?}");
        assert_eq!((ns(steps[0].size.0), steps[0].whose), (-2_000_000, whose));
    }
}

/// A leader of domain 0 and one of domain 5, of which the first jumps by 2 ms half way; `asks` makes the second ask the
/// first for delay, as a gateway does that follows it.
fn jump_beside_another_domain(asks: bool) -> Vec<(i64, Whose)> {
    let (leader, other) = (actor(1).class(6), actor(3).in_domain(5));
    let mut network = Network::new(Clock::default(), 1);
    for index in 0..480_i64 {
        let (sequence, true_ns) = (u16::try_from(index).unwrap(), index * SECOND / 8);
        for (place, clock) in [(0, &leader), (1, &other)] {
            let jumped = place == 0 && true_ns >= 30 * SECOND;
            if index % 8 == 0 {
                let body = Body::Announce { origin_ns: 0, data: clock.data };
                let mut announce = Message::new(sequence / 8, &body);
                announce.log_interval = 0;
                network.pass(true_ns + place * 1_000, clock, &announce);
            }
            let origin_ns = Clock::default().shows(true_ns) + if jumped { 2_000_000 } else { 0 };
            let body = Body::Sync { origin_ns };
            network.pass(true_ns + 5_000 + place * 1_000, clock, &Message::new(sequence, &body));
        }
        if asks && index % 8 == 4 {
            let body = Body::DelayReq { origin_ns: 0 };
            network.pass(true_ns + 40_000, &actor(3), &Message::new(sequence, &body));
        }
    }
    let domains = network.domains();
    let domain = domains.iter().find(|domain| domain.key.number() == Some(0)).unwrap();
    let steps = Path::of(&domains, domain, Nanos(1)).unwrap().steps;
    steps.iter().map(|step| (ns(step.size.0), step.whose)).collect()
}

#[test]
fn a_clock_of_another_domain_is_a_second_opinion_unless_it_follows_this_one() {
    assert_eq!(jump_beside_another_domain(false), [(-2_000_000, Whose::Leader)]);
    assert_eq!(jump_beside_another_domain(true), [(-2_000_000, Whose::CannotTell)]);
}

/// The state and the first time of the follower of a scene.
fn follower(scene: Scene) -> (State, Option<(Basis, i64)>) {
    let domains = scene.domains();
    let devices = crate::support::stage::devices_of(domains);
    let device = devices.iter().find(|device| device.key == "02:00:5e:10:00:02").unwrap();
    (device.state, device.time.as_ref().map(|time| (time.basis, ns(time.offset.median))))
}

#[test]
fn a_follower_is_adrift_only_beyond_what_its_stamps_could_be_off_by() {
    let off = |offset_ns, ppb| follower(Scene { follower: Some(Clock { offset_ns, ppb }), ..PLAIN });
    // The way to the leader is in the offset.
    assert_eq!(off(5_000_000, 0), (State::Adrift, Some((Basis::RequestOrigin, 4_995_000))));
    assert_eq!(off(-5_000_000, 0).0, State::Adrift);
    assert_eq!(off(300_000, 0).0, State::Following);
    assert_eq!(off(0, 20_000).0, State::Adrift, "20 ppm over a minute");
    assert_eq!(off(0, 2_000).0, State::Following, "2 ppm is within the limit");
    assert_eq!(off(-37 * SECOND, 0).0, State::Following, "UTC under a leader that counts TAI");
    assert_eq!(off(-37 * SECOND + 5_000_000, 0).0, State::Adrift);
    assert_eq!(follower(PLAIN), (State::Following, None), "stamps that are not filled say nothing");
}

#[test]
fn requests_that_only_estimate_their_time_make_nobody_adrift() {
    let (leader, node) = (actor(1).class(6), actor(3));
    let mut network = PLAIN.network();
    for index in 0..60_i64 {
        // A v2 request's originTimestamp may be up to a second off (1588-2008 11.3.2, from memory).
        let estimate = Clock { offset_ns: -500_000_000 - index * 7 % 10 * 40_000_000, ppb: 0 };
        let scene = Scene { follower: Some(estimate), ..PLAIN };
        let sequence = u16::try_from(index).unwrap();
        scene.exchange(&mut network, index * SECOND + 700_000_000, sequence, &leader, &node);
    }
    let devices = crate::support::stage::devices_of(network.domains());
    let device = devices.iter().find(|device| device.key == "02:00:5e:10:00:03").unwrap();
    assert_eq!(device.state, State::Following, "{:?}", device.reasons);
    assert_eq!(device.time.as_ref().unwrap().uncertainty, Nanos(SECOND));
}

#[test]
fn peer_delay_stamps_of_a_counter_that_nobody_set_are_no_offset() {
    let (asker, responder) = (actor(2), actor(3));
    let counter = Clock { offset_ns: -1_700_000_000 * SECOND, ppb: 30_000 };
    let mut network = PLAIN.network();
    for index in 0..60_i64 {
        let sequence = u16::try_from(index).unwrap();
        let seen = index * SECOND + 333_000;
        network.pass(seen, &asker, &Message::new(sequence, &Body::PdelayReq { origin_ns: 0 }));
        let body = Body::PdelayResp { receipt_ns: counter.shows(seen + 400), requester: asker.port };
        network.pass(seen + 900_000, &responder, &Message::new(sequence, &body));
    }
    let domains = network.domains();
    let clocks = Clocks::of(&domains, Nanos(1));
    assert_eq!(clocks.peers(&only(&domains).key).len(), 1);
    assert_eq!(clocks.times_of(responder.id(), only(&domains).key), []);
}

#[test]
fn a_leader_whose_stamps_stand_still_has_no_rate() {
    let leader = actor(1).class(6);
    let mut network = Network::new(Clock::default(), 1);
    for index in 0..480_i64 {
        let sequence = u16::try_from(index).unwrap();
        if index % 8 == 0 {
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            network.pass(index * SECOND / 8, &leader, &Message::new(sequence / 8, &body));
        }
        let body = Body::Sync { origin_ns: Clock::default().shows(0) };
        network.pass(index * SECOND / 8 + 5_000, &leader, &Message::new(sequence, &body));
    }
    let domains = network.domains();
    let path = Path::of(&domains, only(&domains), Nanos(1)).unwrap();
    assert_eq!((path.rate, path.envelope_ppm), (None, None));
}

#[test]
fn a_clock_measured_at_a_boundary_clocks_port_is_off_against_that() {
    let follower = Some(Clock { offset_ns: 9_000_000, ppb: 0 });
    for (relayed, against) in [
        (false, "ahead of the leader,"),
        (true, "ahead of 02-00-5e-ff-fe-10-00-01/1, a boundary clock whose own error is in it,"),
    ] {
        let devices = crate::support::stage::devices_of(Scene { follower, relayed, ..PLAIN }.domains());
        let device = devices.iter().find(|device| device.key == "02:00:5e:10:00:02").unwrap();
        assert_eq!(device.state, State::Adrift);
        assert!(device.reasons[0].contains(against), "{:?}", device.reasons);
    }
}

#[test]
fn a_clock_thirty_seven_seconds_apart_is_ahead_where_what_is_left_is_ahead() {
    let clock = Clock { offset_ns: -37 * SECOND + 5_000_000, ppb: 0 };
    let domains = Scene { follower: Some(clock), ..PLAIN }.domains();
    let devices = crate::support::stage::devices_of(domains);
    let device = devices.iter().find(|device| device.key == "02:00:5e:10:00:02").unwrap();
    assert_eq!(device.state, State::Adrift);
    assert!(device.reasons[0].contains("ahead of the leader"), "{:?}", device.reasons);
}

#[test]
fn a_clock_that_says_itself_that_it_is_off_is_adrift() {
    let with_claims = |offset_ns: i64, answers: i64| {
        let mut network = PLAIN.network();
        let node = actor(2);
        for index in 0..answers {
            let tlvs = ptp_v2::management_tlv(
                ptp_v2::CURRENT_DATA_SET,
                &ptp_v2::current_data_set(1, offset_ns, 5_000),
            );
            let target = actor(9).port;
            let action = ptp_v2::ACTION_RESPONSE;
            let body = Body::Management { target, hops: (0, 0), action, tlvs };
            let sequence = u16::try_from(index).unwrap();
            network.pass(index * SECOND + 77, &node, &Message::new(sequence, &body));
        }
        let domains = network.domains();
        let devices = crate::support::stage::devices_of(domains);
        devices.iter().find(|device| device.key == "02:00:5e:10:00:02").unwrap().state
    };
    let with_claim = |offset_ns| with_claims(offset_ns, 3);
    assert_eq!(with_claims(200_000, 2), State::Following, "two answers may be from before it had settled");
    assert_eq!(with_claim(200_000), State::Adrift);
    assert_eq!(with_claim(-200_000), State::Adrift);
    assert_eq!(with_claim(5_000), State::Following);
}

#[test]
fn peer_delay_gives_link_turnaround_offset_and_rate_of_the_responder() {
    let responder_clock = Clock { offset_ns: 3_000_000, ppb: 12_000 };
    let (leader, asker, responder) = (actor(1).class(6), actor(2), actor(3));
    let mut network = PLAIN.network();
    for index in 0..60_i64 {
        let sequence = u16::try_from(index).unwrap();
        // 400 ns from the capture point to the responder, which holds the exchange for 2 ms.
        let (seen, link, held) = (index * SECOND + 333_000, 400, 2_000_000);
        let body = Body::PdelayReq { origin_ns: 0 };
        network.pass(seen, &asker, &Message::new(sequence, &body));
        let (received, sent) = (seen + link, seen + link + held);
        let body = Body::PdelayResp { receipt_ns: responder_clock.shows(received), requester: asker.port };
        let mut answer = Message::new(sequence, &body);
        answer.two_step = true;
        network.pass(sent + link, &responder, &answer);
        let body = Body::PdelayRespFollowUp { origin_ns: responder_clock.shows(sent), requester: asker.port };
        network.pass(sent + link + 50_000, &responder, &Message::new(sequence, &body));
    }
    let domains = network.domains();
    let domain = only(&domains);
    let clocks = Clocks::of(&domains, Nanos(1));
    let peers = clocks.peers(&domain.key);
    assert_eq!(peers.len(), 1);
    // The responder's clock stretches its 2 ms by 12 ppm, 24 ns; its rate is seen, so none of that comes off the link.
    let delay = ns(peers[0].link_delay.unwrap().median);
    assert!((delay - 400).abs() <= 1, "{delay}");
    assert!((ns(peers[0].turnaround.unwrap().median) - 2_000_024).abs() <= 1);
    assert!((peers[0].rate.unwrap().ppm - 12.0).abs() < 1e-3);
    let time = &clocks.times_of(responder.id(), domain.key)[0];
    assert_eq!(time.basis, Basis::PeerDelay);
    // At half time it is 3 ms and 30 s of 12 ppm ahead, and the ways to it and from the leader are in that.
    let offset = ns(time.offset.median);
    assert!((offset - 3_360_000 - 400 - 5_000).abs() < 12_000, "{offset}");
    assert!(time.off_by_at_least().is_some());
    assert!(clocks.times_of(leader.id(), domain.key).is_empty(), "the leader is its own measure");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Any clock at any rate within ±100 ppm, with stamps of 1 ns or 1 µs and lost messages: rate within rounding and
    /// its standard error, delay and offset within the stamps' rounding and what is gained between two exchanges.
    #[test]
    fn any_capture_clock_comes_back(
        offset_ns in -3_000_000_000_i64..3_000_000_000, ppb in -100_000_i64..100_000,
        coarse in any::<bool>(), two_step in any::<bool>(), delay in 2_000_i64..500_000, lost in 0_i64..9
    ) {
        let resolution_ns = if coarse { 1_000 } else { 1 };
        let capture = Clock { offset_ns, ppb };
        let lost = if lost < 5 { 0 } else { lost };
        let scene = Scene {
            capture, resolution_ns, to_capture: delay, to_leader: delay, two_step, lost, ..PLAIN
        };
        let path = scene.path();
        let rate = path.rate.unwrap();
        let truth = f64::from(i32::try_from(ppb).unwrap()) / 1000.0;
        // Rounding down by up to one step at either end of 60 s, and the stated error.
        let bound = 4.0 * rate.sigma_ppm + 2e-3 * f64::from(i32::try_from(resolution_ns).unwrap()) / 60.0 + 1e-6;
        prop_assert!((rate.ppm - truth).abs() <= bound, "{} for {truth}, bound {bound}", rate.ppm);
        // Each of the two stamps is rounded down by less than one step, the line between Syncs by another; the
        // capture's clock stretches the delay itself by its rate.
        let found = ns(path.mean_path_delay.unwrap().median);
        let stretch = delay * ppb.abs() / 1_000_000_000 + 2;
        prop_assert!((found - delay).abs() <= 2 * resolution_ns + stretch, "{found} for {delay}");
        // The offset is a line from one end of the capture to the other, and the median lies on it.
        let gained = |ns: i64| offset_ns + ns * (ppb / 1000) / 1_000_000;
        let (one, other) = (gained(0), gained(60 * SECOND));
        let slack = 2 * resolution_ns + 60_000 + stretch;
        let median = ns(path.offset.median);
        prop_assert!(median >= one.min(other) - slack && median <= one.max(other) + slack, "{median}");
    }
}
