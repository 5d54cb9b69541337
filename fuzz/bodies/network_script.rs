//! A script of episodes on a small network, drawn from choices.

use std::net::Ipv4Addr;

use arbitrary::Result;
use arbitrary::Unstructured;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::capture_file::Interface;
use crate::support::craft::discovery;
use crate::support::craft::discovery::Speaker;
use crate::support::craft::frame;
use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::Mac;
use crate::support::craft::igmp;
use crate::support::craft::ptp_v1;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft::random::Random;
use crate::support::craft::rtp::RtpPacket;

/// An hour into 2024.
const BEGINNING: i64 = 1_704_070_800_000_000_000;
const MS: i64 = 1_000_000;
/// Frames of a capture and episodes of a script, so that one run takes milliseconds.
const MOST_FRAMES: usize = 700;
const MOST_EPISODES: usize = 24;
const TAPS: [Interface; 2] = [
    Interface { name: "port0", filter: "", snap_octets: 262_144 },
    Interface { name: "port1", filter: "", snap_octets: 90 },
];

/// The capture file that the choices come to.
pub(super) fn capture(choices: &mut Unstructured<'_>) -> Vec<u8> {
    let mut script = Script::default();
    // Choices that end early end the script.
    let _ = script.play(choices);
    script.file(choices).unwrap_or_default()
}

#[derive(Default)]
struct Script {
    frames: Vec<CapturedFrame>,
    /// Nanoseconds since the beginning.
    now: i64,
    sequence: u16,
}

/// How a clock speaks.
struct Voice {
    number: u8,
    mac: Mac,
    ip: Ipv4Addr,
    domain: u8,
    over_ethernet: bool,
    vlan: Option<u16>,
    two_step: bool,
    data: DataSet,
    log_sync: i8,
}

impl Voice {
    fn new(u: &mut Unstructured<'_>) -> Result<Self> {
        let number = u.int_in_range(1..=6)?;
        let mac = [0x02, 0, 0x5E, 0x10, 0, number];
        let grandmaster = if u.ratio(1, 8)? { u.int_in_range(1..=6)? } else { number };
        let kind: u8 = u.arbitrary()?;
        let quality: [u8; 4] = u.arbitrary()?;
        let data = DataSet {
            priority1: 126 + quality[0] % 4,
            clock_class: [6, 7, 52, 135, 187, 248, 255, quality[1]][usize::from(quality[1] % 8)],
            clock_accuracy: 0x20 + quality[2] % 0x12,
            variance: u16::from(quality[3]) << 8 | 0x5D,
            priority2: 128,
            grandmaster: PortIdentity::of_mac([0x02, 0, 0x5E, 0x10, 0, grandmaster]).clock,
            steps_removed: u16::from(grandmaster != number),
            utc_offset_s: 37,
            time_source: [0x20, 0x90, 0xA0, 0x50][usize::from(kind >> 6)],
            time_flags: [0x3C, 0x0C, 0x08, 0x00][usize::from(kind >> 4 & 3)],
        };
        Ok(Self {
            number,
            mac,
            ip: Ipv4Addr::new(192, 168, 20, number),
            domain: [0, 0, 0, 127][usize::from(kind & 3)],
            over_ethernet: kind & 4 != 0,
            vlan: u.ratio(1, 6)?.then_some(20),
            two_step: kind & 8 != 0,
            data,
            log_sync: u.int_in_range(-4..=0)?,
        })
    }

    fn port(&self) -> PortIdentity {
        PortIdentity::of_mac(self.mac)
    }
}

impl Script {
    fn play(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        for _ in 0..MOST_EPISODES {
            if u.is_empty() || self.frames.len() >= MOST_FRAMES {
                break;
            }
            self.now += i64::from(u.int_in_range(-300..=3000)?) * MS;
            self.now = self.now.max(0);
            match u.int_in_range(0..=9)? {
                0..=2 => self.leads(u)?,
                3 | 4 => self.follows(u)?,
                5 => self.media(u)?,
                6 => self.old_clock(u)?,
                7 => self.manners(u)?,
                8 => self.pause(u)?,
                _ => self.noise(u)?,
            }
        }
        Ok(())
    }

    fn push(&mut self, at: i64, octets: Vec<u8>) {
        self.frames.push(CapturedFrame { stamp_ns: BEGINNING + at, interface: 0, octets });
    }

    fn number(&mut self) -> u16 {
        self.sequence = self.sequence.wrapping_add(1);
        self.sequence
    }

    fn say(&mut self, at: i64, voice: &Voice, sequence: u16, log: i8, body: &Body) {
        let two_step = matches!(body, Body::Sync { .. } | Body::PdelayResp { .. }) && voice.two_step;
        let announces = matches!(body, Body::Announce { .. });
        let header = ptp_v2::Header {
            domain: voice.domain,
            flags: [
                if two_step { ptp_v2::TWO_STEP } else { 0 },
                if announces { voice.data.time_flags } else { 0 },
            ],
            correction: 0,
            source: voice.port(),
            sequence,
            log_interval: log,
        };
        let message = ptp_v2::encode(&header, body);
        self.carry(at, voice, body.udp_port(), &message);
    }

    fn carry(&mut self, at: i64, voice: &Voice, port: u16, message: &[u8]) {
        let group = Ipv4Addr::new(224, 0, 1, 129);
        let (to, ether_type, packet) = if voice.over_ethernet {
            ([0x01, 0x1B, 0x19, 0, 0, 0], 0x88F7, message.to_vec())
        } else {
            let way = Ipv4Way { source: voice.ip, destination: group, ttl: 1, dscp: 46, identification: 0 };
            (frame::group_mac(group), 0x0800, frame::udp(&way, port, port, message))
        };
        let octets = match voice.vlan {
            Some(vlan) => frame::ethernet_tagged(to, voice.mac, (6, vlan), ether_type, &packet),
            None => frame::ethernet(to, voice.mac, ether_type, &packet),
        };
        self.push(at, octets);
    }

    /// Announce and Sync for some time, with lateness, losses and a clock that may be off.
    fn leads(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let voice = Voice::new(u)?;
        let seconds = i64::from(u.int_in_range(1..=9_u8)?);
        let loses = u.int_in_range(0..=7_u8)?;
        let off_ns = i64::from(u.arbitrary::<i16>()?)
            * [1, 1000, 1_000_000, 0][usize::from(u.int_in_range(0..=3_u8)?)];
        let late = i64::from(u.arbitrary::<u8>()?) * 1000;
        let interval = (1000 * MS) >> voice.log_sync.unsigned_abs();
        let from = self.now;
        let tai = if voice.data.time_flags & 0x08 != 0 { 37_000 * MS } else { 0 };
        for second in 0..seconds {
            let sequence = self.number();
            self.say(
                from + second * 1000 * MS,
                &voice,
                sequence,
                0,
                &Body::Announce { origin_ns: 0, data: voice.data },
            );
            let mut at = second * 1000 * MS + 5 * MS;
            while at < (second + 1) * 1000 * MS && self.frames.len() < MOST_FRAMES {
                let sequence = self.number();
                let origin_ns = BEGINNING + from + at + tai + off_ns;
                if loses == 0 || !sequence.is_multiple_of(u16::from(loses + 2)) {
                    let sent = Body::Sync { origin_ns: if voice.two_step { 0 } else { origin_ns } };
                    self.say(from + at + late, &voice, sequence, voice.log_sync, &sent);
                }
                if voice.two_step {
                    self.say(
                        from + at + late + MS,
                        &voice,
                        sequence,
                        voice.log_sync,
                        &Body::FollowUp { origin_ns },
                    );
                }
                at += interval;
            }
        }
        self.now = from + seconds * 1000 * MS;
        Ok(())
    }

    /// Requests, and answers to some of them.
    fn follows(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let (follower, leader) = (Voice::new(u)?, Voice::new(u)?);
        let count = u.int_in_range(1..=12_u8)?;
        let answered: u16 = u.arbitrary()?;
        let (peer, back) = (u.arbitrary()?, u.ratio(3, 4)?);
        let from = self.now - if back { 4000 * MS } else { 0 };
        for index in 0..i64::from(count) {
            let sequence = self.number();
            let at = (from + index * 400 * MS).max(0);
            let receipt_ns = BEGINNING + at + 37_000 * MS + 10_000;
            let requester = follower.port();
            let (ask, answer) = if peer {
                (Body::PdelayReq { origin_ns: 0 }, Body::PdelayResp { receipt_ns, requester })
            } else {
                (Body::DelayReq { origin_ns: 0 }, Body::DelayResp { receipt_ns, requester })
            };
            self.say(at, &follower, sequence, ptp_v2::NOT_STATED, &ask);
            if answered >> (index % 16) & 1 != 0 {
                self.say(at + MS / 2, &leader, sequence, 0, &answer);
                if peer && leader.two_step {
                    let body = Body::PdelayRespFollowUp { origin_ns: receipt_ns, requester };
                    self.say(at + MS, &leader, sequence, 0, &body);
                }
            }
        }
        Ok(())
    }

    /// A stream of RTP.
    fn media(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let voice = Voice::new(u)?;
        let group = Ipv4Addr::new(239, 69, u.int_in_range(0..=1)?, u.int_in_range(1..=3)?);
        let count = u16::from(u.int_in_range(10..=120_u8)?);
        let (hole, swap): (u8, bool) = (u.arbitrary()?, u.arbitrary()?);
        let mut random = Random::seeded(u64::from(voice.number));
        let first: u16 = u.arbitrary()?;
        for index in 0..count {
            if index % 40 == u16::from(hole % 80) || self.frames.len() >= MOST_FRAMES {
                continue;
            }
            let number = if swap && index % 10 == 3 { index + 1 } else { index };
            let packet = RtpPacket {
                marker: index % 20 == 0,
                payload_type: 96 + voice.number % 3,
                sequence: first.wrapping_add(number),
                timestamp: u32::from(number) * 48,
                ssrc: u32::from(voice.number) << 8,
                payload_octets: 48 * 3 * usize::from(voice.number),
            };
            let way =
                Ipv4Way { source: voice.ip, destination: group, ttl: 15, dscp: 34, identification: index };
            let datagram = frame::udp(&way, 5004, 5004, &packet.encode(&mut random));
            self.push(
                self.now + i64::from(index) * MS,
                frame::ethernet(frame::group_mac(group), voice.mac, 0x0800, &datagram),
            );
        }
        Ok(())
    }

    /// A clock of version 1.
    fn old_clock(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let mut voice = Voice::new(u)?;
        voice.over_ethernet = false;
        let data = ptp_v1::ClockData {
            uuid: voice.mac,
            stratum: u.int_in_range(1..=4)?,
            identifier: *b"DFLT",
            variance: -4000,
        };
        let count = u.int_in_range(1..=8_u8)?;
        for index in 0..i64::from(count) {
            let at = self.now + index * 1000 * MS;
            let sequence = self.number();
            let head = ptp_v1::Header {
                subdomain: ptp_v1::DEFAULT_SUBDOMAIN,
                source: voice.mac,
                sequence,
                flags: if voice.two_step { ptp_v1::ASSIST } else { 0 },
            };
            let body = ptp_v1::SyncBody {
                origin_ns: BEGINNING + at,
                grandmaster_sequence: sequence,
                ..ptp_v1::SyncBody::of(data)
            };
            let asks = index % 4 == 3;
            let message = if asks { ptp_v1::delay_req(&head, &body) } else { ptp_v1::sync(&head, &body) };
            self.carry(at, &voice, 319, &message);
            if voice.two_step && !asks {
                self.carry(at + MS, &voice, 320, &ptp_v1::follow_up(&head, sequence, BEGINNING + at));
            }
        }
        self.now += i64::from(count) * 1000 * MS;
        Ok(())
    }

    /// Groups and names.
    fn manners(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let voice = Voice::new(u)?;
        let speaker = Speaker { mac: voice.mac, ip: voice.ip };
        let group = Ipv4Addr::new(239, 69, 0, u.int_in_range(1..=3)?);
        let text: [char; 3] = u.arbitrary()?;
        let name: String = text.into_iter().collect();
        let packet = |packet: Vec<u8>| frame::ethernet(frame::group_mac(group), voice.mac, 0x0800, &packet);
        let octets = match u.int_in_range(0..=8)? {
            0 => packet(igmp::general_query(voice.ip, 100, 0)),
            1 => packet(igmp::report(voice.ip, group, 0)),
            2 => packet(igmp::leave(voice.ip, group, 0)),
            3 => packet(igmp::report_v3(voice.ip, u.int_in_range(1..=6)?, group, 0)),
            4 => packet(igmp::general_query_v3(voice.ip, 100, 125, 0)),
            5 => discovery::mdns_host(speaker, &name, u.int_in_range(0..=120)?),
            6 => discovery::lldp_switch(voice.mac, voice.mac, &name, "1/0/1", &name),
            7 => discovery::dhcp_request(speaker, &name),
            _ => discovery::arp_request(speaker, Ipv4Addr::new(192, 168, 20, 1)),
        };
        self.push(self.now, octets);
        Ok(())
    }

    /// Time passes, or is set back.
    fn pause(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let seconds = i64::from(u.int_in_range(-20..=200_i16)?);
        self.now = (self.now + seconds * 1000 * MS).max(0);
        Ok(())
    }

    /// A frame of the choices' own octets, or an earlier one once more.
    fn noise(&mut self, u: &mut Unstructured<'_>) -> Result<()> {
        let octets = if u.arbitrary()? || self.frames.is_empty() {
            let length = u.int_in_range(0..=60_usize)?;
            u.bytes(length.min(u.len()))?.to_vec()
        } else {
            let mut octets = u.choose(&self.frames)?.octets.clone();
            if let Some(place) = octets.len().checked_sub(1) {
                let place = u.int_in_range(0..=place)?;
                octets[place] ^= u.arbitrary::<u8>()?;
            }
            octets
        };
        self.push(self.now, octets);
        Ok(())
    }

    /// The frames as a file: in order but for some, at one tap or two, whole or cut.
    fn file(mut self, u: &mut Unstructured<'_>) -> Result<Vec<u8>> {
        self.frames.sort_by_key(|frame| frame.stamp_ns);
        self.frames.truncate(MOST_FRAMES);
        let way: u8 = u.arbitrary().unwrap_or_default();
        let step = usize::from(u.arbitrary::<u8>().unwrap_or_default());
        let back = i64::from(u.arbitrary::<i16>().unwrap_or_default()) * MS;
        if way & 1 != 0 {
            // From some place on, the capture's clock is set.
            let from = step * self.frames.len() / 256;
            for frame in self.frames.iter_mut().skip(from) {
                frame.stamp_ns = (frame.stamp_ns + back).max(0);
            }
        }
        if way & 2 != 0 {
            for pair in self.frames.chunks_exact_mut(2).step_by(step + 1) {
                pair.swap(0, 1);
            }
        }
        if way & 4 != 0 {
            for frame in self.frames.iter_mut().skip(step % 7).step_by(3) {
                frame.interface = 1;
            }
        }
        let mut file = if way & 8 != 0 {
            capture_file::pcap(if way & 16 != 0 { 70 } else { 262_144 }, &self.frames)
        } else {
            capture_file::pcapng("", &TAPS, &self.frames)
        };
        if way & 32 != 0 {
            file.truncate(file.len() - file.len() * step / 512);
        }
        if way & 64 != 0 && !file.is_empty() {
            let at = file.len() * step / 256;
            file[at] ^= way;
        }
        Ok(file)
    }
}
