//! A stage for clocks: messages are encoded, decoded and handed to the domains one by one, with the time, the
//! addresses and the VLAN that a scene gives them.

use std::net::IpAddr;
use std::net::Ipv4Addr;

use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Joined;
use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::clock::Clocks;
use downbeat::devices;
use downbeat::devices::Device;
use downbeat::devices::SiteDomain;
use downbeat::domains::ClockId;
use downbeat::domains::Domain;
use downbeat::domains::DomainKey;
use downbeat::domains::DomainName;
use downbeat::domains::Domains;
use downbeat::domains::PortId;
use downbeat::domains::Views;
use downbeat::frame;
use downbeat::observations::Jump;
use downbeat::observations::Observation;
use downbeat::observations::Path;
use downbeat::observations::Place;
use downbeat::observations::Transport;
use downbeat::observations::Watch;
use downbeat::observations::What;
use downbeat::ptp;
use downbeat::ptp::ClockIdentity;
use downbeat::units::CaptureTime;
use downbeat::units::MacAddress;
use downbeat::units::Nanos;
use downbeat::viewpoint::Measured;
use downbeat::viewpoint::Roles;
use downbeat::viewpoint::Scope;
use downbeat::viewpoint::Traffic;
use downbeat::viewpoint::Viewpoint;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::Mac;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::ethernet_tagged;
use crate::support::craft::frame::udp;
use crate::support::craft::ptp_v1;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::PortIdentity;

/// An hour into 2024, so that no instant of a scene is near 0.
pub(crate) const BEGINNING: CaptureTime = CaptureTime(1_704_070_800_000_000_000);

/// A clock and how it is reached.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Actor {
    pub(crate) port: PortIdentity,
    pub(crate) mac: Mac,
    pub(crate) ip: Option<Ipv4Addr>,
    pub(crate) vlan: Option<u16>,
    pub(crate) domain: u8,
    pub(crate) major_sdo_id: u8,
    /// `minorVersionPTP`.
    pub(crate) minor_version: u8,
    pub(crate) flags: [u8; 2],
    /// `logAnnounceInterval`.
    pub(crate) log_interval: i8,
    /// What it announces of itself.
    pub(crate) data: DataSet,
}

/// A clock with the last octet `number` in its addresses, class 248 and `priority1` 128.
pub(crate) fn actor(number: u8) -> Actor {
    let mac = [0x02, 0x00, 0x5E, 0x10, 0x00, number];
    let port = PortIdentity::of_mac(mac);
    Actor {
        port,
        mac,
        ip: Some(Ipv4Addr::new(192, 168, 20, number)),
        vlan: None,
        domain: 0,
        major_sdo_id: 0,
        minor_version: 0,
        flags: [0, 0],
        log_interval: 0,
        data: DataSet {
            priority1: 128,
            clock_class: 248,
            clock_accuracy: 0xFE,
            variance: 0xFFFF,
            priority2: 128,
            grandmaster: port.clock,
            steps_removed: 0,
            utc_offset_s: 37,
            time_source: 0xA0,
            time_flags: 0,
        },
    }
}

impl Actor {
    pub(crate) fn class(mut self, clock_class: u8) -> Self {
        self.data.clock_class = clock_class;
        self
    }

    pub(crate) fn relays(mut self, other: &Self, steps_removed: u16) -> Self {
        self.data = DataSet { steps_removed, ..other.data };
        self
    }

    pub(crate) fn in_domain(mut self, domain: u8) -> Self {
        self.domain = domain;
        self
    }

    pub(crate) fn every(mut self, log_interval: i8) -> Self {
        self.log_interval = log_interval;
        self
    }

    pub(crate) fn id(&self) -> ClockId {
        ClockId::V2(ClockIdentity(self.port.clock))
    }

    pub(crate) fn port_id(&self) -> PortId {
        PortId { clock: self.id(), port: self.port.port }
    }

    pub(crate) fn v1_id(&self) -> ClockId {
        ClockId::V1(MacAddress(self.mac))
    }
}

/// A capture in the making. Times are milliseconds of it.
#[derive(Debug, Default)]
pub(crate) struct Stage {
    observations: Vec<Observation>,
    traffic: Traffic,
    frames: Vec<(Option<CaptureTime>, Vec<u8>)>,
    frame: u64,
    sequence: u16,
}

pub(crate) fn at(ms: i64) -> CaptureTime {
    CaptureTime(BEGINNING.0 + ms * 1_000_000)
}

/// Milliseconds of the capture.
pub(crate) fn ms(time: CaptureTime) -> i64 {
    (time.0 - BEGINNING.0) / 1_000_000
}

impl Stage {
    /// Octets that stand at `time`, sent by `actor` to a group or to one receiver.
    pub(crate) fn octets(&mut self, time: Option<i64>, actor: &Actor, to: Option<Ipv4Addr>, octets: &[u8]) {
        self.frame += 1;
        let time = time.map(at);
        let place = Place { file: 0, frame: self.frame, time };
        let is_ip = actor.ip.is_some();
        let group_mac = if is_ip { [0x01, 0, 0x5E, 0, 1, 129] } else { [0x01, 0x80, 0xC2, 0, 0, 0x0E] };
        let path = Path {
            interface: 0,
            source_mac: Some(MacAddress(actor.mac)),
            destination_mac: Some(MacAddress(to.map_or(group_mac, mac_of))),
            vlan: actor.vlan,
            transport: if is_ip { Transport::Udp4 } else { Transport::Ethernet },
            source_ip: actor.ip.map(IpAddr::V4),
            destination_ip: is_ip.then(|| IpAddr::V4(to.unwrap_or(Ipv4Addr::new(224, 0, 1, 129)))),
            destination_port: is_ip.then(|| port_of(octets)),
            ttl: is_ip.then_some(1),
            dscp: is_ip.then_some(0),
            pcp: None,
        };
        self.pass(time, &path, octets);
        let message = ptp::decode(octets).unwrap();
        let what = What::Ptp(message);
        self.observations.push(Observation { place, path, fingerprint: self.frame, what });
    }

    /// The frame among the traffic that the capture point sees.
    fn pass(&mut self, time: Option<CaptureTime>, path: &Path, octets: &[u8]) {
        let (to, from) = (path.destination_mac.unwrap().0, path.source_mac.unwrap().0);
        let (ether_type, payload) = match (path.source_ip, path.destination_ip) {
            (Some(IpAddr::V4(source)), Some(IpAddr::V4(destination))) => {
                let way = Ipv4Way { source, destination, ttl: 1, dscp: 0, identification: 0 };
                let port = path.destination_port.unwrap();
                (0x0800, udp(&way, port, port, octets))
            }
            _ => (ptp::ETHERTYPE, octets.to_vec()),
        };
        let octets = match path.vlan {
            Some(vlan) => ethernet_tagged(to, from, (0, vlan), ether_type, &payload),
            None => ethernet(to, from, ether_type, &payload),
        };
        self.frame_passes(time, octets);
    }

    /// Any frame that the capture point sees.
    pub(crate) fn frame_passes(&mut self, time: Option<CaptureTime>, octets: Vec<u8>) {
        let record = record(time, &octets);
        self.traffic.record(&record, &frame::decode(&record));
        self.frames.push((time, octets));
    }

    /// A datagram that is no PTP, to one receiver.
    pub(crate) fn talks(&mut self, time: i64, actor: &Actor, to: &Actor) {
        let (source, destination) = (actor.ip.unwrap(), to.ip.unwrap());
        let way = Ipv4Way { source, destination, ttl: 64, dscp: 0, identification: 0 };
        self.frame_passes(
            Some(at(time)),
            ethernet(to.mac, actor.mac, 0x0800, &udp(&way, 9000, 9000, b"level")),
        );
    }

    /// The same capture through the whole library.
    pub(crate) fn analysis(mut self, end: i64) -> Analysis {
        // A neighbour's frame of no interest holds the end.
        self.frame_passes(
            Some(at(end)),
            ethernet([1, 0x80, 0xC2, 0, 0, 0x0E], [2, 0, 0x5E, 9, 9, 9], 0x88CC, &[]),
        );
        self.frames.sort_by_key(|(time, _)| *time);
        let mut reading = Reading::new(Settings::default());
        for (time, octets) in &self.frames {
            reading.push(0, &record(*time, octets));
        }
        reading.finish(Joined::new(Vec::new()).finish())
    }

    pub(crate) fn send(
        &mut self,
        time: Option<i64>,
        actor: &Actor,
        to: Option<Ipv4Addr>,
        sequence: u16,
        body: &Body,
    ) {
        let log_interval = if matches!(body, Body::Announce { .. }) { actor.log_interval } else { 0x7F };
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: actor.flags,
            correction: 0,
            source: actor.port,
            sequence,
            log_interval,
        };
        let mut octets = ptp_v2::encode(&header, body);
        octets[0] |= actor.major_sdo_id << 4;
        octets[1] |= actor.minor_version << 4;
        self.octets(time, actor, to, &octets);
    }

    pub(crate) fn announce(&mut self, time: i64, actor: &Actor) {
        self.sequence = self.sequence.wrapping_add(1);
        let body = Body::Announce { origin_ns: 0, data: actor.data };
        self.send(Some(time), actor, None, self.sequence, &body);
    }

    /// Announces at each of `seconds`, of each of `actors` in turn.
    pub(crate) fn announces(&mut self, seconds: impl IntoIterator<Item = i64>, actors: &[&Actor]) {
        for second in seconds {
            for (index, actor) in (0_i64..).zip(actors) {
                self.announce(second * 1000 + index * 10, actor);
            }
        }
    }

    /// A Sync of v1, which also announces; `preferred` and the stratum are what v1 elects by.
    pub(crate) fn v1_sync(&mut self, time: i64, actor: &Actor, preferred: bool, stratum: u8) {
        self.sequence = self.sequence.wrapping_add(1);
        let clock = ptp_v1::ClockData { uuid: actor.mac, stratum, identifier: *b"DFLT", variance: -4000 };
        let body = v1_body(clock, preferred);
        let octets = ptp_v1::sync(&v1_header(actor, self.sequence), &body);
        self.octets(Some(time), actor, None, &octets);
    }

    /// A v1 Delay_Req to the group, and its answer by `leader` a millisecond later.
    pub(crate) fn v1_request(&mut self, time: i64, actor: &Actor, leader: Option<&Actor>, sequence: u16) {
        let clock =
            ptp_v1::ClockData { uuid: actor.mac, stratum: 255, identifier: *b"DFLT", variance: -4000 };
        let octets = ptp_v1::delay_req(&v1_header(actor, sequence), &v1_body(clock, false));
        self.octets(Some(time), actor, None, &octets);
        if let Some(leader) = leader {
            let octets = ptp_v1::delay_resp(&v1_header(leader, sequence), 0, actor.mac, sequence);
            self.octets(Some(time + 1), leader, None, &octets);
        }
    }

    /// A Delay_Req to the group.
    pub(crate) fn ask(&mut self, time: i64, actor: &Actor, sequence: u16) {
        self.send(Some(time), actor, None, sequence, &Body::DelayReq { origin_ns: 0 });
    }

    /// A Delay_Resp to the group.
    pub(crate) fn answer(&mut self, time: i64, leader: &Actor, asker: &Actor, sequence: u16) {
        let body = Body::DelayResp { receipt_ns: 0, requester: asker.port };
        self.send(Some(time), leader, None, sequence, &body);
    }

    /// A Delay_Req at each of `seconds`, answered 2 ms later by `leader` where there is one.
    pub(crate) fn requests(
        &mut self,
        seconds: impl IntoIterator<Item = i64>,
        actor: &Actor,
        leader: Option<&Actor>,
    ) {
        for second in seconds {
            let sequence = u16::try_from(second).unwrap();
            self.ask(second * 1000 + 500, actor, sequence);
            if let Some(leader) = leader {
                self.answer(second * 1000 + 502, leader, actor, sequence);
            }
        }
    }

    /// Ends the capture at `end`, with a frame of no interest where nothing stands so late. Its messages stand in the
    /// order of their times, on a network so busy that something is captured at any time.
    pub(crate) fn finish(self, end: i64) -> Domains {
        self.scene(end).domains
    }

    /// The same, with what was seen of whom.
    pub(crate) fn scene(mut self, end: i64) -> Scene {
        self.observations.sort_by_key(|observation| observation.place.time);
        let domains = self.play(end, |watch, _, to| watch.run_to(to.0));
        Scene::new(domains, &self.traffic)
    }

    /// Ends the capture at `end`. Its messages stand in the order they were sent in, whatever their stamps, and
    /// nothing else was captured.
    pub(crate) fn finish_as_stamped(self, end: i64) -> Domains {
        self.play(end, |watch, from, to| watch.jump(&Jump { before: 0, from, to }))
    }

    fn play(
        &self,
        end: i64,
        wind: impl Fn(&mut Watch, (CaptureTime, Place), (CaptureTime, Place)),
    ) -> Domains {
        let mut domains = Domains::default();
        let mut watch = Watch::default();
        let beginning = Place { file: 0, frame: 0, time: Some(BEGINNING) };
        let mut before = (BEGINNING, beginning);
        let mut latest = before;
        watch.run_to(BEGINNING);
        for observation in &self.observations {
            if let Some(time) = observation.place.time {
                let here = (time, observation.place);
                wind(&mut watch, before, here);
                before = here;
                latest = if time > latest.0 { here } else { latest };
            }
            domains.push(observation, watch.watched());
        }
        let last = (at(end), Place { file: 0, frame: self.frame + 1, time: Some(at(end)) });
        wind(&mut watch, before, last);
        let (end, place) = if last.0 >= latest.0 { last } else { latest };
        domains.finish(end, place, watch.watched(), &Views::default());
        domains
    }
}

/// A capture that has ended.
#[derive(Debug)]
pub(crate) struct Scene {
    domains: Domains,
    scope: Scope,
}

impl Scene {
    fn new(domains: Domains, traffic: &Traffic) -> Self {
        let viewpoint = Viewpoint::judge(traffic, &Roles::of(&domains), Measured::default());
        let scope = Scope::new(traffic, &viewpoint);
        Self { domains, scope }
    }

    /// The devices, with the site's domain as given or found.
    pub(crate) fn devices(&self, asked_for: Option<u8>) -> Vec<Device> {
        let clocks = Clocks::of(&self.domains, Nanos(1000));
        let site = SiteDomain::find(&self.domains, asked_for);
        devices::devices(&self.domains, &clocks, &site, &self.scope, BEGINNING)
    }
}

fn record(time: Option<CaptureTime>, octets: &[u8]) -> Record<'_> {
    Record {
        number: 1,
        time,
        link: LinkType::ETHERNET,
        interface: 0,
        original_len: u32::try_from(octets.len()).unwrap(),
        fcs_octets: None,
        octets,
    }
}

/// The address of the actor with this IP address.
fn mac_of(ip: Ipv4Addr) -> Mac {
    let [.., last] = ip.octets();
    [0x02, 0x00, 0x5E, 0x10, 0x00, last]
}

/// 319 for event messages, else 320: by the message type, in v1 by the control field.
fn port_of(octets: &[u8]) -> u16 {
    let is_event = if octets[1] & 0x0F == 1 { octets[32] < 2 } else { octets[0] & 0x0F < 8 };
    if is_event { 319 } else { 320 }
}

fn v1_header(actor: &Actor, sequence: u16) -> ptp_v1::Header {
    ptp_v1::Header { subdomain: ptp_v1::DEFAULT_SUBDOMAIN, source: actor.mac, sequence, flags: 0 }
}

fn v1_body(clock: ptp_v1::ClockData, preferred: bool) -> ptp_v1::SyncBody {
    ptp_v1::SyncBody { grandmaster_preferred: preferred, ..ptp_v1::SyncBody::of(clock) }
}

/// The key of untagged v2 domain `number`.
pub(crate) const fn key(number: u8) -> DomainKey {
    DomainKey { name: DomainName::Number { sdo_id: 0, number }, vlan: None }
}

/// The only domain there is.
pub(crate) fn only(domains: &Domains) -> &Domain {
    assert_eq!(domains.iter().count(), 1);
    domains.iter().next().unwrap()
}

/// The devices of a capture of which nothing is known but its domains.
pub(crate) fn devices_of(domains: Domains) -> Vec<Device> {
    Scene::new(domains, &Traffic::default()).devices(None)
}

/// The one device that has the clock.
pub(crate) fn device_of(devices: &[Device], clock: ClockId) -> &Device {
    let found: Vec<_> = devices.iter().filter(|device| device.has_clock(clock)).collect();
    assert_eq!(found.len(), 1, "{clock}");
    found[0]
}
