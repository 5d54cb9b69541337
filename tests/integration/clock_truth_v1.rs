//! Version 1: chosen offsets, delays, rates and jitter come back from ideal networks, within the bound stated beside each.

use downbeat::clock::Basis;
use downbeat::clock::Path;
use downbeat::devices::Device;
use downbeat::devices::State;
use downbeat::domains::Domains;
use downbeat::timing::ScaledNanos;
use downbeat::units::Nanos;

use crate::support::craft::ptp_v1;
use crate::support::ideal_network::Clock;
use crate::support::ideal_network::Network;
use crate::support::stage::Actor;
use crate::support::stage::actor;
use crate::support::stage::devices_of;
use crate::support::stage::only;

const SECOND: i64 = 1_000_000_000;

/// A network of one leader and one follower; delays are one way, in ns.
#[derive(Debug, Clone, Copy)]
struct Scene {
    capture: Clock,
    /// Leader to capture point, and capture point to leader.
    to_capture: i64,
    to_leader: i64,
    /// Every other Sync is late by so much.
    late: i64,
    /// `PTP_ASSIST`: the time comes in a Follow_Up.
    assist: bool,
    follower: Follower,
}

/// How the follower stamps its requests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Follower {
    Silent,
    Stamps { offset_ns: i64 },
    WholeSeconds,
}

const PLAIN: Scene = Scene {
    capture: Clock { offset_ns: 0, ppb: 0 },
    to_capture: 5_000,
    to_leader: 5_000,
    late: 0,
    assist: true,
    follower: Follower::Silent,
};

fn header(actor: &Actor, sequence: u16, flags: u16) -> ptp_v1::Header {
    ptp_v1::Header { subdomain: ptp_v1::DEFAULT_SUBDOMAIN, source: actor.mac, sequence, flags }
}

fn body(leader: &Actor, origin_ns: i64) -> ptp_v1::SyncBody {
    let clock = ptp_v1::ClockData { uuid: leader.mac, stratum: 1, identifier: *b"GPS\0", variance: -4000 };
    ptp_v1::SyncBody { origin_ns, grandmaster_preferred: true, ..ptp_v1::SyncBody::of(clock) }
}

impl Scene {
    /// A Sync a second for two minutes, and an exchange between each two.
    fn domains(self) -> Domains {
        let (leader, follower) = (actor(1), actor(2));
        let mut network = Network::new(self.capture, 1);
        let truth = Clock::default();
        for index in 0..120_i64 {
            let sequence = u16::try_from(index).unwrap();
            let sent = index * SECOND + 1_000;
            let seen = sent + self.to_capture + index % 2 * self.late;
            let (flags, origin_ns) =
                if self.assist { (ptp_v1::ASSIST, truth.shows(sent) + 77) } else { (0, truth.shows(sent)) };
            // With assist the Sync's own stamp is an estimate.
            let sync = ptp_v1::sync(&header(&leader, sequence, flags), &body(&leader, origin_ns));
            network.pass_octets(seen, &leader, sync);
            if self.assist {
                let follow_up = ptp_v1::follow_up(&header(&leader, sequence, 0), sequence, truth.shows(sent));
                network.pass_octets(seen + 40_000, &leader, follow_up);
            }
            let asked = sent + SECOND / 2;
            let own = match self.follower {
                Follower::Silent => 0,
                Follower::Stamps { offset_ns } => truth.shows(asked) + offset_ns,
                Follower::WholeSeconds => truth.shows(asked) / SECOND * SECOND,
            };
            let request = ptp_v1::delay_req(&header(&follower, sequence, 0), &body(&leader, own));
            network.pass_octets(asked, &follower, request);
            let receipt = truth.shows(asked + self.to_leader);
            let answer = ptp_v1::delay_resp(&header(&leader, sequence, 0), receipt, follower.mac, sequence);
            network.pass_octets(asked + self.to_leader + 200_000, &leader, answer);
        }
        network.domains()
    }

    fn path(self) -> Path {
        let domains = self.domains();
        assert!(only(&domains).key.is_v1());
        Path::of(&domains, only(&domains), Nanos(1)).unwrap()
    }

    fn follower(self) -> Device {
        let devices = devices_of(self.domains());
        devices.into_iter().find(|device| device.has_clock(actor(2).v1_id())).unwrap()
    }
}

fn ns(scaled: i128) -> i64 {
    ScaledNanos(scaled).nanos().unwrap().0
}

#[test]
fn offset_and_delay_come_back_to_the_nanosecond_with_and_without_a_follow_up() {
    for assist in [true, false] {
        let path = Scene { capture: Clock { offset_ns: 180_000, ppb: 0 }, assist, ..PLAIN }.path();
        assert_eq!((ns(path.offset.min), ns(path.offset.max)), (180_000, 180_000), "{assist}");
        assert_eq!(ns(path.mean_path_delay.unwrap().median), 5_000);
        assert!(path.rate.unwrap().ppm.abs() < 1e-9);
    }
}

#[test]
fn an_asymmetry_moves_the_offset_by_half_the_difference_and_leaves_the_delay() {
    let path = Scene { to_capture: 60_000, to_leader: 40_000, ..PLAIN }.path();
    assert_eq!((ns(path.offset.median), ns(path.mean_path_delay.unwrap().median)), (10_000, 50_000));
}

#[test]
fn a_rate_comes_back_to_a_thousandth_of_a_ppm() {
    for ppb in [-40_000, 2_500, 100_000] {
        let path = Scene { capture: Clock { offset_ns: 0, ppb }, ..PLAIN }.path();
        let rate = path.rate.unwrap();
        #[allow(clippy::cast_precision_loss, reason = "a few thousand")]
        let truth = ppb as f64 / 1000.0;
        assert!((rate.ppm - truth).abs() < 1e-3, "{rate:?} for {truth}");
        assert!(rate.is_significant());
        // Exchanges lie on the line between the Syncs, so the rate makes no delay, to the rounding of the stamps.
        assert!((ns(path.mean_path_delay.unwrap().median) - 5_000).abs() <= 2);
    }
}

#[test]
fn jitter_is_what_every_other_sync_is_late_by() {
    let path = Scene { late: 30_000, ..PLAIN }.path();
    let jitter = path.sync_jitter.unwrap();
    for value in [jitter.median, jitter.p5, jitter.p95, jitter.min, jitter.max] {
        assert_eq!(value, Nanos(30_000), "{jitter:?}");
    }
    assert_eq!(ns(path.delay_variation.unwrap().max), 30_000);
}

#[test]
fn a_followers_stamps_are_judged_only_where_they_tell_more_than_whole_seconds() {
    let off = Scene { follower: Follower::Stamps { offset_ns: 5_000_000 }, ..PLAIN }.follower();
    assert_eq!(off.state, State::Adrift);
    assert_eq!(off.time.as_ref().map(|time| time.basis), Some(Basis::RequestOrigin));
    // Read to the nanosecond, these would be half a second behind.
    let coarse = Scene { follower: Follower::WholeSeconds, ..PLAIN }.follower();
    assert_eq!((coarse.state, coarse.time), (State::Following, None), "{:?}", coarse.reasons);
}
