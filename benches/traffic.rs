//! A day at Harbour Playhouse, made up, as captures of any length. `generate.rs` says what is in them.
#![allow(clippy::indexing_slicing, clippy::as_conversions)]

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::io::{self, Write};

const SECOND: u64 = 1_000_000_000;
/// The capture's beginning, seconds since 1970 in UTC; PTP is [`UTC_OFFSET`] ahead.
const START: u64 = 1_780_000_000;
const UTC_OFFSET: u64 = 37;
/// From the leader to the place of the capture, ns.
const TO_LEADER: u64 = 2_000;

/// splitmix64 (from memory): a stream of numbers from any seed.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut word = self.0;
        word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        word ^ (word >> 31)
    }

    fn below(&mut self, limit: u64) -> u64 {
        self.next() % limit
    }

    fn fill(&mut self, octets: &mut [u8]) {
        for chunk in octets.chunks_mut(8) {
            let word = self.next().to_le_bytes();
            chunk.copy_from_slice(&word[..chunk.len()]);
        }
    }
}

/// Which of the three.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Video,
    Audio,
    Control,
}

/// One RTP flow.
struct Flow {
    source: u8,
    group: u8,
    port: u16,
    vlan: Option<u16>,
    silent: bool,
    payload_type: u8,
    payload: usize,
    period: u64,
    /// Packets that share a timestamp, and how far it moves then.
    packets_a_step: u64,
    ticks_a_step: u32,
    ssrc: u32,
    sequence: u16,
    sent: u64,
    swap: bool,
}

enum Sender {
    Media(Flow),
    Sync,
    Announce,
    Follower(u16),
    /// What follows later: the Follow_Up (number 0) of a Sync, or a follower's answer, with the sequence number and
    /// the time that it tells.
    Second(u16, u16, u64),
    Membership,
    Names,
}

struct Capture<W: Write> {
    out: W,
    is_pcapng: bool,
    octets: u64,
    frames: u64,
    frame: Vec<u8>,
}

impl<W: Write> Capture<W> {
    fn begin(&mut self) -> io::Result<()> {
        let words: &[u32] = if self.is_pcapng {
            &[
                0x0A0D_0D0A,
                28,
                0x1A2B_3C4D,
                1,
                u32::MAX,
                u32::MAX,
                28, // section header
                1,
                32,
                1,
                262_144,
                1 << 16 | 9,
                9,
                0,
                32, // interface: Ethernet, if_tsresol 9, end of options
            ]
        } else {
            &[0xA1B2_3C4D, 4 << 16 | 2, 0, 0, 262_144, 1]
        };
        self.words(words)
    }

    fn words(&mut self, words: &[u32]) -> io::Result<()> {
        for word in words {
            self.out.write_all(&word.to_le_bytes())?;
        }
        self.octets += 4 * words.len() as u64;
        Ok(())
    }

    /// Writes the frame that was built.
    fn record(&mut self, at: u64) -> io::Result<()> {
        let length = self.frame.len() as u32;
        let time = START * SECOND + at;
        if self.is_pcapng {
            let padded = length.next_multiple_of(4);
            self.words(&[6, padded + 32, 0, (time >> 32) as u32, time as u32, length, length])?;
            self.frame.resize(padded as usize, 0);
            self.out.write_all(&self.frame)?;
            self.words(&[padded + 32])?;
        } else {
            self.words(&[(time / SECOND) as u32, (time % SECOND) as u32, length, length])?;
            self.out.write_all(&self.frame)?;
        }
        self.octets += self.frame.len() as u64;
        self.frames += 1;
        Ok(())
    }

    /// Begins a frame with everything up to the IP payload of `length` octets.
    fn ip(&mut self, route: &Route, protocol: u8, options: &[u8], length: usize) {
        let frame = &mut self.frame;
        frame.clear();
        frame.extend(route.to_mac);
        frame.extend(route.from_mac);
        if let Some(vlan) = route.vlan {
            frame.extend([0x81, 0]);
            frame.extend((5 << 13 | vlan).to_be_bytes());
        }
        frame.extend([8, 0]);
        let at = frame.len();
        let header = 20 + options.len();
        frame.extend([0x40 | (header / 4) as u8, route.dscp << 2]);
        frame.extend(((header + length) as u16).to_be_bytes());
        frame.extend([0, 0, 0x40, 0, route.ttl, protocol, 0, 0]);
        frame.extend(route.from);
        frame.extend(route.to);
        frame.extend(options);
        let mut sum: u32 =
            frame[at..].chunks(2).map(|pair| u32::from(u16::from_be_bytes([pair[0], pair[1]]))).sum();
        sum = (sum & 0xFFFF) + (sum >> 16);
        let sum = !((sum & 0xFFFF) + (sum >> 16)) as u16;
        frame[at + 10..at + 12].copy_from_slice(&sum.to_be_bytes());
    }

    /// Begins a UDP datagram; without a checksum, as much media equipment sends it.
    fn udp(&mut self, route: &Route, port: u16, length: usize) {
        self.ip(route, 17, &[], 8 + length);
        self.frame.extend(port.to_be_bytes());
        self.frame.extend(port.to_be_bytes());
        self.frame.extend(((8 + length) as u16).to_be_bytes());
        self.frame.extend([0, 0]);
    }
}

struct Route {
    from_mac: [u8; 6],
    to_mac: [u8; 6],
    from: [u8; 4],
    to: [u8; 4],
    vlan: Option<u16>,
    dscp: u8,
    ttl: u8,
}

impl Route {
    fn to_group(from_mac: [u8; 6], from: [u8; 4], to: [u8; 4], ttl: u8, dscp: u8) -> Self {
        let to_mac = [1, 0, 0x5e, to[1] & 0x7F, to[2], to[3]];
        Self { from_mac, to_mac, from, to, vlan: None, dscp, ttl }
    }

    fn of_leader() -> Self {
        Self::to_group([2, 0, 0x5e, 0x10, 0, 1], [10, 20, 0, 1], [224, 0, 1, 129], 1, 46)
    }

    fn of_follower(number: u16) -> Self {
        let [high, low] = number.to_be_bytes();
        Self::to_group([2, 0, 0x5e, 0x20, high, low], [10, 20, 1 + high, low], [224, 0, 1, 129], 1, 46)
    }

    fn of_source(source: u8) -> Self {
        Self::to_group([2, 0, 0x5e, 0x30, 0, source], [10, 20, 100, source], [0; 4], 32, 34)
    }
}

/// A version 2 message: its header, then its body.
fn ptp<W: Write>(capture: &mut Capture<W>, route: &Route, message: &Message<'_>) {
    let length = 34 + message.body.len();
    capture.udp(route, if message.kind < 8 { 319 } else { 320 }, length);
    let frame = &mut capture.frame;
    frame.extend([message.kind, 2]);
    frame.extend((length as u16).to_be_bytes());
    frame.extend([0, 0, message.flags[0], message.flags[1]]);
    frame.extend([0; 12]);
    frame.extend(message.clock);
    frame.extend([0, 1]);
    frame.extend(message.sequence.to_be_bytes());
    frame.extend([message.control, message.interval]);
    frame.extend(message.body);
}

struct Message<'a> {
    kind: u8,
    flags: [u8; 2],
    clock: [u8; 8],
    sequence: u16,
    control: u8,
    interval: u8,
    body: &'a [u8],
}

const LEADER: [u8; 8] = [2, 0, 0x5e, 0xff, 0xfe, 0x10, 0, 1];

fn follower_clock(number: u16) -> [u8; 8] {
    let [high, low] = number.to_be_bytes();
    [2, 0, 0x5e, 0xff, 0xfe, 0x20, high, low]
}

/// A time of the capture's clock as a PTP timestamp.
fn timestamp(at: u64) -> Vec<u8> {
    let mut octets = (START + UTC_OFFSET + at / SECOND).to_be_bytes()[2..].to_vec();
    octets.extend(((at % SECOND) as u32).to_be_bytes());
    octets
}

fn flows(kind: Kind, random: &mut Random) -> Vec<Flow> {
    let count = if kind == Kind::Video { 12 } else { 40 };
    (0..count)
        .map(|index: u8| {
            // Payload octets, packets a second, and ticks of 48 kHz a packet.
            let (payload, rate, ticks) = match (kind, index % 5) {
                (Kind::Video, _) => (1400, 5000, 0),
                (Kind::Audio, 0) => (36, 4000, 12),
                (Kind::Audio, 1) => (96, 1000, 48),
                (Kind::Audio, 2) => (144, 1000, 48),
                (Kind::Audio, 3) => (216, 2000, 24),
                (Kind::Audio, _) => (192, 1000, 48),
                (Kind::Control, 0) => (36, 4000, 12),
                (Kind::Control, 1) => (96, 1000, 48),
                (Kind::Control, 2) => (144, 1000, 48),
                (Kind::Control, _) => (192, 1000, 48),
            };
            let is_video = kind == Kind::Video;
            Flow {
                source: if is_video { 1 + index / 2 } else { 1 + index },
                group: 1 + index,
                port: 5004,
                vlan: (kind == Kind::Control && index < 4).then_some(20),
                silent: kind == Kind::Control && index % 4 == 3,
                payload_type: if is_video { 96 } else { 97 },
                payload,
                period: SECOND / rate,
                packets_a_step: if is_video { 100 } else { 1 },
                ticks_a_step: if is_video { 1800 } else { ticks },
                ssrc: random.next() as u32,
                sequence: random.next() as u16,
                sent: 0,
                swap: false,
            }
        })
        .collect()
}

/// What the file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Planted {
    pub(crate) frames: u64,
    pub(crate) octets: u64,
    /// RTP packets that are missing.
    pub(crate) lost: u64,
    /// RTP packets that come after their next.
    pub(crate) reordered: u64,
}

fn media<W: Write>(
    capture: &mut Capture<W>,
    random: &mut Random,
    planted: &mut Planted,
    flow: &mut Flow,
    at: u64,
) -> io::Result<()> {
    let mut number = flow.sent;
    flow.sent += 1;
    let chance = random.below(50_000);
    if flow.swap {
        number -= 1;
        flow.swap = false;
    } else if chance == 0 && number > 1000 {
        number += 1;
        flow.swap = true;
        planted.reordered += 1;
    } else if chance < 10 && number > 1000 {
        planted.lost += 1;
        return Ok(());
    }
    let mut route = Route::of_source(flow.source);
    route.to = [239, 20, 0, flow.group];
    route.to_mac = [1, 0, 0x5e, 20, 0, flow.group];
    route.vlan = flow.vlan;
    capture.udp(&route, flow.port, 12 + flow.payload);
    let step = number / flow.packets_a_step;
    let is_last = flow.packets_a_step > 1 && number % flow.packets_a_step == flow.packets_a_step - 1;
    let stamp = (step as u32).wrapping_mul(flow.ticks_a_step);
    let frame = &mut capture.frame;
    frame.extend([0x80, flow.payload_type | if is_last { 0x80 } else { 0 }]);
    frame.extend(flow.sequence.wrapping_add(number as u16).to_be_bytes());
    frame.extend(stamp.to_be_bytes());
    frame.extend(flow.ssrc.to_be_bytes());
    let from = frame.len();
    frame.resize(from + flow.payload, 0);
    if !flow.silent {
        random.fill(&mut frame[from..]);
    }
    capture.record(at)
}

fn control<W: Write>(capture: &mut Capture<W>, sender: &Sender, count: u64, at: u64) -> io::Result<()> {
    let sequence = count as u16;
    match sender {
        Sender::Sync => {
            let message = Message {
                kind: 0,
                flags: [2, 0],
                clock: LEADER,
                sequence,
                control: 0,
                interval: 0xFD,
                body: &[0; 10],
            };
            ptp(capture, &Route::of_leader(), &message);
            capture.record(at)
        }
        Sender::Second(0, sequence, origin) => {
            let (sequence, body) = (*sequence, &timestamp(*origin));
            let message =
                Message { kind: 8, flags: [0, 0], clock: LEADER, sequence, control: 2, interval: 0xFD, body };
            ptp(capture, &Route::of_leader(), &message);
            capture.record(at)
        }
        Sender::Announce => {
            let mut body = vec![0; 10];
            body.extend([0, UTC_OFFSET as u8, 0, 128, 6, 0x21, 0x4e, 0x5d, 128]);
            body.extend(LEADER);
            body.extend([0, 0, 0x20]);
            let message = Message {
                kind: 11,
                flags: [0, 0x3C],
                clock: LEADER,
                sequence,
                control: 5,
                interval: 0,
                body: &body,
            };
            ptp(capture, &Route::of_leader(), &message);
            capture.record(at)
        }
        Sender::Follower(number) => {
            let clock = follower_clock(*number);
            let message = Message {
                kind: 1,
                flags: [0, 0],
                clock,
                sequence,
                control: 1,
                interval: 0x7F,
                body: &[0; 10],
            };
            ptp(capture, &Route::of_follower(*number), &message);
            capture.record(at)
        }
        Sender::Second(number, asked, received) => {
            let mut body = timestamp(*received);
            body.extend(follower_clock(*number));
            body.extend([0, 1]);
            let message = Message {
                kind: 9,
                flags: [0, 0],
                clock: LEADER,
                sequence: *asked,
                control: 3,
                interval: 0xFD,
                body: &body,
            };
            ptp(capture, &Route::of_leader(), &message);
            capture.record(at)
        }
        Sender::Membership => {
            // IGMP version 2: a query every 64th time, else a host's report.
            let host = 1 + (count % 40) as u8;
            let (kind, group) =
                if count.is_multiple_of(64) { (0x11, [224, 0, 0, 1]) } else { (0x16, [239, 20, 0, host]) };
            let from = if kind == 0x11 { 254 } else { host };
            let mut route = Route::of_source(from);
            let asked = if kind == 0x11 { [0; 4] } else { group };
            route.to = group;
            route.to_mac = [1, 0, 0x5e, group[1] & 0x7F, group[2], group[3]];
            route.ttl = 1;
            capture.ip(&route, 2, &[0x94, 4, 0, 0], 8);
            let words = [u16::from_be_bytes([kind, 100]), u16::from_be_bytes([asked[0], asked[1]])];
            let mut sum = u32::from(words[0])
                + u32::from(words[1])
                + u32::from(u16::from_be_bytes([asked[2], asked[3]]));
            sum = (sum & 0xFFFF) + (sum >> 16);
            let sum = (!sum as u16).to_be_bytes();
            capture.frame.extend([kind, 100, sum[0], sum[1]]);
            capture.frame.extend(asked);
            capture.frame.resize(60, 0);
            capture.record(at)
        }
        Sender::Names => {
            let host = 1 + (count % 40) as u8;
            let mut route = Route::of_source(host);
            route.to = [224, 0, 0, 251];
            route.to_mac = [1, 0, 0x5e, 0, 0, 251];
            let mut answer = vec![0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0];
            let name = format!("stage-{host:02}");
            answer.push(name.len() as u8);
            answer.extend(name.bytes());
            answer.extend(b"\x05local\0");
            answer.extend([0, 1, 0x80, 1, 0, 0, 0, 120, 0, 4, 10, 20, 100, host]);
            capture.udp(&route, 5353, answer.len());
            capture.frame.extend(answer);
            capture.record(at)
        }
        Sender::Media(_) => Ok(()),
    }
}

/// Writes a capture of at least so many octets.
pub(crate) fn generate<W: Write>(
    kind: Kind,
    octets: u64,
    seed: u64,
    is_pcapng: bool,
    out: W,
) -> io::Result<Planted> {
    let mut random = Random(seed);
    let mut capture = Capture { out, is_pcapng, octets: 0, frames: 0, frame: Vec::with_capacity(2048) };
    capture.begin()?;
    // Sixteen messages a second and follower: a request and its answer, eight times.
    let followers = match kind {
        Kind::Video => 198,
        Kind::Audio => 230,
        Kind::Control => 940,
    };
    let mut senders: Vec<(Sender, u64, u64)> = Vec::new();
    for flow in flows(kind, &mut random) {
        let period = flow.period;
        senders.push((Sender::Media(flow), period, 0));
    }
    senders.push((Sender::Sync, SECOND / 8, 0));
    senders.push((Sender::Announce, SECOND, 0));
    for number in 1..=followers {
        senders.push((Sender::Follower(number), SECOND / 8, 0));
    }
    senders.push((Sender::Membership, SECOND / 120, 0));
    senders.push((Sender::Names, SECOND / 60, 0));
    let mut due: BinaryHeap<Reverse<(u64, usize)>> = BinaryHeap::new();
    for (index, (_, period, _)) in senders.iter().enumerate() {
        due.push(Reverse((TO_LEADER + random.below(*period), index)));
    }
    // Answers come once: they take a place behind the senders for as long as they wait.
    let mut answers: BinaryHeap<Reverse<(u64, u16, u16, u64)>> = BinaryHeap::new();
    let mut planted = Planted::default();
    while capture.octets < octets {
        let Some(Reverse((at, index))) = due.pop() else { break };
        while let Some(Reverse((when, number, asked, received))) = answers.peek().copied() {
            if when > at {
                break;
            }
            answers.pop();
            control(&mut capture, &Sender::Second(number, asked, received), 0, when)?;
        }
        let (sender, period, count) = &mut senders[index];
        match &mut *sender {
            Sender::Media(flow) => media(&mut capture, &mut random, &mut planted, flow, at)?,
            other => control(&mut capture, other, *count, at)?,
        }
        match sender {
            Sender::Follower(number) => {
                let received = at + TO_LEADER;
                answers.push(Reverse((received + TO_LEADER + 30_000, *number, *count as u16, received)));
            }
            Sender::Sync => answers.push(Reverse((at + 20_000, 0, *count as u16, at - TO_LEADER))),
            _ => {}
        }
        *count += 1;
        let jitter = random.below(*period / 16);
        // Every sender keeps to its beat; only the place within it wanders.
        let beat = at - at % *period + *period;
        let phase = (index as u64).wrapping_mul(7919) * 64 % (*period * 7 / 8);
        due.push(Reverse((beat + phase + jitter, index)));
    }
    capture.out.flush()?;
    Ok(Planted { frames: capture.frames, octets: capture.octets, ..planted })
}
