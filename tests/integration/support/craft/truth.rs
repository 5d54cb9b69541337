//! The truth of a played scenario, read off the run itself; `captures/README.md` describes each field.
mod multicast;

use std::cmp::Ordering;
use std::collections::BTreeMap;

use serde::Serialize;

use crate::support::craft::frame::Mac;
use crate::support::craft::simulation::CAPTURE_OFFSET_NS;
use crate::support::craft::simulation::CAPTURE_RATE_PPB;
use crate::support::craft::simulation::Domain;
use crate::support::craft::simulation::MediaKind;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::Spell;
use crate::support::craft::simulation::State;
use crate::support::craft::simulation::World;
use crate::support::craft::simulation::capture_stamp;
use crate::support::craft::simulation::compare;

#[derive(Debug, Serialize)]
pub(crate) struct Truth {
    pub(crate) file: String,
    pub(crate) scene: String,
    pub(crate) frames: usize,
    pub(crate) first: String,
    pub(crate) last: String,
    pub(crate) capture_clock_offset_ns: i64,
    pub(crate) capture_clock_rate_ppb: i64,
    pub(crate) faults: Vec<Fault>,
    pub(crate) cues: Vec<CueTruth>,
    pub(crate) domains: Vec<DomainTruth>,
    pub(crate) devices: Vec<DeviceTruth>,
    pub(crate) streams: Vec<StreamTruth>,
    pub(crate) multicast: MulticastTruth,
}

/// What is wrong on purpose.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Fault {
    pub(crate) id: &'static str,
    pub(crate) mac: String,
}

/// A moment at which the scenario changed something.
#[derive(Debug, Serialize)]
pub(crate) struct CueTruth {
    pub(crate) time: String,
    pub(crate) text: &'static str,
}

#[derive(Debug, Serialize)]
pub(crate) struct DomainTruth {
    pub(crate) ptp_version: &'static str,
    pub(crate) domain: String,
    pub(crate) leader: Option<String>,
    pub(crate) tenures: Vec<Tenure>,
    pub(crate) rivals: Vec<String>,
    pub(crate) messages: BTreeMap<&'static str, usize>,
}

#[derive(Debug, Serialize)]
pub(crate) struct Tenure {
    pub(crate) clock: String,
    pub(crate) from: String,
    pub(crate) until: String,
    pub(crate) from_at_ns: Ns,
    pub(crate) until_at_ns: Ns,
    pub(crate) ended_by: &'static str,
}

#[derive(Debug, Serialize)]
pub(crate) struct DeviceTruth {
    pub(crate) name: &'static str,
    pub(crate) mac: String,
    pub(crate) ip: String,
    pub(crate) called: Option<&'static str>,
    pub(crate) called_by: Option<&'static str>,
    pub(crate) clock: Option<String>,
    pub(crate) state: Option<&'static str>,
    pub(crate) leader: Option<String>,
    pub(crate) offset_ns: Option<Ns>,
    pub(crate) free_rate_ppb: Option<i64>,
    pub(crate) to_tap_ns: Ns,
    pub(crate) from_tap_ns: Ns,
    pub(crate) ptp_frames: usize,
    pub(crate) delay_requests: usize,
    pub(crate) answers_from: BTreeMap<String, usize>,
}

#[derive(Debug, Serialize)]
pub(crate) struct StreamTruth {
    pub(crate) source_ip: String,
    pub(crate) source_mac: String,
    pub(crate) group: String,
    pub(crate) port: u16,
    pub(crate) kind: &'static str,
    pub(crate) ssrc: u32,
    pub(crate) payload_type: u8,
    pub(crate) clock_rate_hz: u32,
    pub(crate) packets: usize,
}

#[derive(Debug, Serialize)]
pub(crate) struct MulticastTruth {
    pub(crate) querier: Option<String>,
    pub(crate) queries: usize,
    pub(crate) last_query_at_ns: Option<Ns>,
    pub(crate) silent_at_ns: Option<Ns>,
    pub(crate) joins: Vec<MembershipTruth>,
    pub(crate) leaves: Vec<MembershipTruth>,
    pub(crate) expiries: Vec<MembershipTruth>,
    pub(crate) unrequested: Vec<String>,
    pub(crate) idle: Vec<String>,
    pub(crate) igmp_frames: usize,
}

/// A change of one host's membership.
#[derive(Debug, Serialize)]
pub(crate) struct MembershipTruth {
    pub(crate) host: String,
    pub(crate) group: String,
    pub(crate) at_ns: Ns,
}

/// What the scenario's author knows beyond the run.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub(crate) file: &'static str,
    pub(crate) text: &'static str,
    pub(crate) faults: Vec<(&'static str, Mac)>,
    pub(crate) cue_texts: Vec<&'static str>,
    pub(crate) site_domain: Domain,
    /// What a device calls itself, and by which protocol, where it does.
    pub(crate) names: Vec<(Mac, &'static str, &'static str)>,
}

pub(crate) fn mac_text(mac: Mac) -> String {
    mac.map(|octet| format!("{octet:02x}")).join(":")
}

fn identity_text(clock: [u8; 8]) -> String {
    clock.map(|octet| format!("{octet:02x}")).join("-")
}

fn time_text(stamp_ns: Ns) -> String {
    let time = jiff::Timestamp::from_nanosecond(i128::from(stamp_ns)).expect("a time of our age");
    format!("{time:.9}")
}

/// Reads the truth off the run.
pub(crate) fn truth(world: &World, scene: &Scene) -> Truth {
    let (frames, stamps) = world.captured();
    let first = frames.first().expect("a scene is never empty").stamp_ns;
    let last = frames.last().expect("a scene is never empty").stamp_ns;
    let view = View { world, stamps, first, last };
    let mut domains: Vec<Domain> = view.in_capture().filter_map(|logged| logged.domain).collect();
    domains.sort();
    domains.dedup();
    let domains: Vec<(Domain, DomainTruth)> = domains.into_iter().map(|d| (d, view.domain(d))).collect();
    let devices = (0..world.nodes.len()).map(|node| view.device(node, &domains, scene)).collect();
    Truth {
        file: scene.file.to_owned(),
        scene: scene.text.to_owned(),
        frames: frames.len(),
        first: time_text(first),
        last: time_text(last),
        capture_clock_offset_ns: CAPTURE_OFFSET_NS,
        capture_clock_rate_ppb: CAPTURE_RATE_PPB,
        faults: scene.faults.iter().map(|&(id, mac)| Fault { id, mac: mac_text(mac) }).collect(),
        cues: world
            .scenario
            .cues
            .iter()
            .zip(&scene.cue_texts)
            .map(|(cue, text)| CueTruth { time: time_text(capture_stamp(cue.0)), text })
            .collect(),
        domains: domains.into_iter().map(|(_, domain)| domain).collect(),
        devices,
        streams: (0..world.scenario.streams.len()).map(|stream| view.stream(stream)).collect(),
        multicast: multicast::truth(&view),
    }
}

pub(super) struct View<'a> {
    pub(super) world: &'a World,
    pub(super) stamps: BTreeMap<usize, Ns>,
    pub(super) first: Ns,
    pub(super) last: Ns,
}

impl View<'_> {
    fn in_capture(&self) -> impl Iterator<Item = &crate::support::craft::simulation::Logged> {
        self.stamps.keys().map(|&entry| &self.world.log[entry])
    }

    fn clock_text(&self, node: usize, domain: Domain) -> String {
        match domain {
            Domain::V1 => mac_text(self.world.nodes[node].spec.mac),
            Domain::V2(_) => identity_text(self.world.nodes[node].identity().clock),
        }
    }

    fn announced(&self, spell: &Spell) -> Vec<Ns> {
        spell.announces.iter().filter_map(|entry| self.stamps.get(entry).copied()).collect()
    }

    fn tenure(&self, spell: &Spell, from: Ns, until: Ns, ended_by: &'static str) -> Tenure {
        Tenure {
            clock: self.clock_text(spell.node, spell.domain),
            from: time_text(from),
            until: time_text(until),
            from_at_ns: from - self.first,
            until_at_ns: until - self.first,
            ended_by,
        }
    }

    fn domain(&self, domain: Domain) -> DomainTruth {
        let mut spells: Vec<(&Spell, Vec<Ns>)> = self
            .world
            .spells
            .iter()
            .filter(|spell| spell.domain == domain)
            .map(|spell| (spell, self.announced(spell)))
            .filter(|(_, stamps)| !stamps.is_empty())
            .collect();
        spells.sort_by_key(|(_, stamps)| stamps[0]);
        let mut tenures = Vec::new();
        let mut rivals = Vec::new();
        let mut current: Option<(&Spell, &Vec<Ns>, Ns)> = None;
        for (spell, stamps) in &spells {
            let Some((leader, leader_stamps, from)) = current else {
                current = Some((spell, stamps, stamps[0]));
                continue;
            };
            let silent_since = *leader_stamps.last().expect("it announced");
            if leader.ended && silent_since < stamps[0] {
                tenures.push(self.tenure(leader, from, silent_since, "announce-timeout"));
                current = Some((spell, stamps, stamps[0]));
            } else if better(spell, leader) {
                let qualified = stamps[1];
                let why = if leader.worsened { "quality-change" } else { "better-clock" };
                tenures.push(self.tenure(leader, from, qualified, why));
                current = Some((spell, stamps, qualified));
            } else if !spell.ended {
                rivals.push(self.clock_text(spell.node, domain));
            }
        }
        let leader = current.map(|(leader, _, from)| {
            tenures.push(self.tenure(leader, from, self.last, "capture-end"));
            self.clock_text(leader.node, domain)
        });
        let mut messages = BTreeMap::new();
        for logged in self.in_capture().filter(|logged| logged.domain == Some(domain)) {
            *messages.entry(logged.kind).or_insert(0) += 1;
        }
        let (ptp_version, name) = match domain {
            Domain::V1 => ("1", "_DFLT".to_owned()),
            Domain::V2(number) => ("2.0", number.to_string()),
        };
        DomainTruth { ptp_version, domain: name, leader, tenures, rivals, messages }
    }

    fn device(&self, node: usize, domains: &[(Domain, DomainTruth)], scene: &Scene) -> DeviceTruth {
        let this = &self.world.nodes[node];
        let site = scene.site_domain;
        let name = scene.names.iter().find(|(mac, ..)| *mac == this.spec.mac);
        let leader_of = |domain: Domain| {
            domains.iter().find(|(key, _)| *key == domain).and_then(|(_, truth)| truth.leader.clone())
        };
        let (state, leader, offset_ns) = match this.spec.v2 {
            _ if this.spec.v1_follows => {
                (Some("following"), leader_of(Domain::V1), Some(this.spec.offset_ns))
            }
            None => (None, None, None),
            Some(v2) => {
                let domain = Domain::V2(v2.domain);
                let own = self.clock_text(node, domain);
                match this.state {
                    State::Leading if domain != site => (Some("astray"), Some(own), None),
                    State::Leading if leader_of(domain).as_ref() == Some(&own) => {
                        (Some("leading"), Some(own), None)
                    }
                    State::Leading => (Some("rival"), Some(own), None),
                    State::Passive => (Some("standing-by"), leader_of(domain), None),
                    State::Listening => (Some("unproven"), None, None),
                    State::Following(port) => {
                        let state = if this.spec.v1_leads { "relaying" } else { "following" };
                        (Some(state), Some(identity_text(port.clock)), Some(this.spec.offset_ns))
                    }
                }
            }
        };
        DeviceTruth {
            name: this.spec.name,
            mac: mac_text(this.spec.mac),
            ip: this.spec.ip.to_string(),
            called: name.map(|(_, name, _)| *name),
            called_by: name.map(|(.., by)| *by),
            clock: this.spec.v2.map(|_| identity_text(this.identity().clock)),
            state,
            leader,
            offset_ns,
            free_rate_ppb: this.spec.free_time.map(|_| this.spec.rate_ppb),
            to_tap_ns: this.spec.to_core_ns,
            from_tap_ns: this.spec.from_core_ns,
            ptp_frames: self
                .in_capture()
                .filter(|logged| logged.node == node && logged.domain.is_some())
                .count(),
            delay_requests: self
                .in_capture()
                .filter(|logged| logged.node == node && logged.kind == "delay_req")
                .count(),
            answers_from: self.answers(node),
        }
    }

    /// Delay_Resp in the capture that name this device, by the clock that sent them.
    fn answers(&self, node: usize) -> BTreeMap<String, usize> {
        let mut answers = BTreeMap::new();
        for logged in self.in_capture().filter(|logged| logged.kind == "delay_resp") {
            let domain = logged.domain.expect("a PTP message has a domain");
            // requestingPortIdentity: octets 44 to 53 of version 2, UUID at 50 of version 1, behind 42 of headers.
            let named = match domain {
                Domain::V2(_) => logged.octets[42 + 44..42 + 52] == self.world.nodes[node].identity().clock,
                Domain::V1 => logged.octets[42 + 50..42 + 56] == self.world.nodes[node].spec.mac,
            };
            if named {
                *answers.entry(self.clock_text(logged.node, domain)).or_insert(0) += 1;
            }
        }
        answers
    }

    fn stream(&self, stream: usize) -> StreamTruth {
        let spec = &self.world.scenario.streams[stream];
        let source = &self.world.nodes[spec.node].spec;
        let (ssrc, packets) = self.world.stream_facts(stream);
        let (kind, clock_rate_hz) = match spec.kind {
            MediaKind::Audio => ("audio", 48_000),
            MediaKind::Video => ("video", 90_000),
        };
        StreamTruth {
            source_ip: source.ip.to_string(),
            source_mac: mac_text(source.mac),
            group: spec.group.to_string(),
            port: 5004,
            kind,
            ssrc,
            payload_type: spec.payload_type,
            clock_rate_hz,
            packets,
        }
    }
}

/// Whether `a` wins over `b` by the data they announced last; version 1 has one leader here.
fn better(a: &Spell, b: &Spell) -> bool {
    match (&a.data, &b.data) {
        (Some(a), Some(b)) => compare(a, b) == Ordering::Less,
        _ => false,
    }
}
