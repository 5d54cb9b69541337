//! Version 2 behaviour: election (1588-2008 clause 9.3, from memory), synchronization, delay requests.
use std::cmp::Ordering;

use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::Header;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft::simulation::Domain;
use crate::support::craft::simulation::Event;
use crate::support::craft::simulation::Foreign;
use crate::support::craft::simulation::MILLISECOND;
use crate::support::craft::simulation::Message;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::SECOND;
use crate::support::craft::simulation::Spell;
use crate::support::craft::simulation::State;
use crate::support::craft::simulation::V2Spec;
use crate::support::craft::simulation::World;
use crate::support::craft::simulation::interval;

/// FOREIGN_MASTER_THRESHOLD and the window in announce intervals (1588-2008 9.3.2.4.4, from memory).
const QUALIFIED_BY: usize = 2;
const WINDOW_INTERVALS: i64 = 4;
/// announceReceiptTimeout, the default of every profile in use here.
const TIMEOUT_INTERVALS: i64 = 3;

/// Part 1 of the data set comparison (1588-2008 figure 27): less is better. Two paths to one grandmaster do not occur.
pub(crate) fn compare(a: &DataSet, b: &DataSet) -> Ordering {
    let order =
        |d: &DataSet| (d.priority1, d.clock_class, d.clock_accuracy, d.variance, d.priority2, d.grandmaster);
    order(a).cmp(&order(b))
}

impl World {
    pub(super) fn start_v2(&mut self, node: usize, at: Ns) {
        let this = &mut self.nodes[node];
        this.state = State::Listening;
        this.foreign.clear();
        this.sequences.clear();
        this.requesting = false;
        self.arm_timeout(node, at);
    }

    fn v2(&self, node: usize) -> V2Spec {
        self.nodes[node].spec.v2.expect("only nodes with a version 2 port come here")
    }

    fn arm_timeout(&mut self, node: usize, at: Ns) {
        let one = interval(self.v2(node).log_announce);
        let wait = TIMEOUT_INTERVALS * one + self.random.between(0, one);
        self.nodes[node].armed += 1;
        self.schedule(at + wait, Event::AnnounceTimeout { node, armed: self.nodes[node].armed });
    }

    pub(super) fn announce_timeout(&mut self, node: usize, armed: u32, at: Ns) {
        let this = &mut self.nodes[node];
        if !this.on || this.armed != armed || this.state == State::Leading {
            return;
        }
        // What was heard before the silence counts no more.
        this.foreign.clear();
        if self.v2(node).follower_only {
            self.take_role(node, State::Listening, at);
            self.arm_timeout(node, at);
        } else {
            self.take_role(node, State::Leading, at);
        }
    }

    fn hear_announce(&mut self, node: usize, source: PortIdentity, data: DataSet, at: Ns) {
        let window = WINDOW_INTERVALS * interval(self.v2(node).log_announce);
        let foreign = &mut self.nodes[node].foreign;
        let entry = foreign.entry(source).or_insert(Foreign { data, heard: Vec::new() });
        entry.data = data;
        entry.heard.push(at);
        for other in foreign.values_mut() {
            other.heard.retain(|&heard| at - heard < window);
        }
        let qualified = foreign.iter().filter(|(_, other)| other.heard.len() >= QUALIFIED_BY);
        let best =
            qualified.min_by(|a, b| compare(&a.1.data, &b.1.data)).map(|(id, other)| (*id, other.data));
        if let Some((best_source, best_data)) = best {
            let next = self.decide(node, best_source, &best_data);
            self.take_role(node, next, at);
            if source == best_source && next != State::Leading {
                self.arm_timeout(node, at);
            }
        } else if self.nodes[node].state == State::Listening {
            self.arm_timeout(node, at);
        }
    }

    /// The state decision (1588-2008 figure 26) for one port.
    fn decide(&self, node: usize, best: PortIdentity, best_data: &DataSet) -> State {
        let own = self.v2(node);
        let own_is_better = compare(&own.data, best_data) == Ordering::Less;
        match (own.follower_only, own_is_better, own.data.clock_class) {
            (false, true, _) => State::Leading,
            (false, false, 1..=127) => State::Passive,
            _ => State::Following(best),
        }
    }

    /// PRE_MASTER lasts (stepsRemoved + 1) intervals only for M3; M1 and M2, all there is here, wait none (9.2.6.10).
    fn take_role(&mut self, node: usize, next: State, at: Ns) {
        if self.nodes[node].state == next {
            return;
        }
        self.leave_role(node);
        self.nodes[node].state = next;
        if next == State::Leading {
            let role = self.nodes[node].role;
            let spec = self.v2(node);
            self.nodes[node].spell = Some(self.spells.len());
            self.spells.push(Spell {
                node,
                domain: Domain::V2(spec.domain),
                data: Some(spec.data),
                worsened: false,
                ended: false,
                announces: Vec::new(),
            });
            let (soon, phase) = (self.random.between(1, 20), self.random.between(0, interval(spec.log_sync)));
            self.schedule(at + soon * MILLISECOND, Event::Announce { node, role });
            self.schedule(at + 25 * MILLISECOND + phase, Event::Sync { node, role });
            if spec.sends_metadata {
                self.schedule(at + SECOND / 3, Event::Metadata { node, role });
            }
        }
    }

    pub(super) fn leave_role(&mut self, node: usize) {
        let this = &mut self.nodes[node];
        this.role += 1;
        this.requesting = false;
        if let Some(spell) = this.spell.take() {
            self.spells[spell].ended = true;
        }
    }

    pub(super) fn set_quality(&mut self, node: usize, clock_class: u8, clock_accuracy: u8) {
        let spec = self.nodes[node].spec.v2.as_mut().expect("a version 2 clock");
        let before = spec.data;
        spec.data.clock_class = clock_class;
        spec.data.clock_accuracy = clock_accuracy;
        if clock_class > 7 {
            // Traceable to nothing any more: UTC offset valid and PTP timescale stay.
            spec.data.time_flags &= 0x0f;
            spec.data.time_source = 0xa0;
        }
        let data = spec.data;
        if let Some(spell) = self.nodes[node].spell {
            self.spells[spell].data = Some(data);
            self.spells[spell].worsened |= compare(&before, &data) == Ordering::Less;
        }
    }

    fn header(&mut self, node: usize, kind: &'static str, flags: [u8; 2], log_interval: i8) -> Header {
        Header {
            domain: self.v2(node).domain,
            flags,
            correction: 0,
            source: self.nodes[node].identity(),
            sequence: self.nodes[node].next_sequence(kind),
            log_interval,
        }
    }

    pub(super) fn send_v2(&mut self, node: usize, header: Header, body: Body, at: Ns) -> usize {
        let kind = match &body {
            Body::Sync { .. } => "sync",
            Body::DelayReq { .. } => "delay_req",
            Body::FollowUp { .. } => "follow_up",
            Body::DelayResp { .. } => "delay_resp",
            Body::Announce { .. } => "announce",
            Body::Management { .. } => "management",
            _ => panic!("no scenario sends this message"),
        };
        let payload = ptp_v2::encode(&header, &body);
        let domain = Domain::V2(header.domain);
        let port = body.udp_port();
        self.send_ptp(node, (domain, kind), (port, &payload), Some(Message::V2(header, body)), at)
    }

    pub(super) fn announce(&mut self, node: usize, role: u32, at: Ns) {
        if self.nodes[node].role != role {
            return;
        }
        let spec = self.v2(node);
        let header = self.header(node, "announce", [0, spec.data.time_flags], spec.log_announce);
        let entry = self.send_v2(node, header, Body::Announce { origin_ns: 0, data: spec.data }, at);
        let spell = self.nodes[node].spell.expect("a leader has a spell");
        self.spells[spell].announces.push(entry);
        let wander = self.random.between(-1_500_000, 1_500_000);
        self.schedule(at + interval(spec.log_announce) + wander, Event::Announce { node, role });
    }

    pub(super) fn sync(&mut self, node: usize, role: u32, at: Ns) {
        if self.nodes[node].role != role {
            return;
        }
        let spec = self.v2(node);
        let sent = self.nodes[node].clock(at);
        let rough_ns = sent - self.random.between(20_000, 90_000);
        let origin_ns = if spec.fills_origin { rough_ns } else { 0 };
        let header = self.header(node, "sync", [ptp_v2::TWO_STEP, 0], spec.log_sync);
        self.send_v2(node, header, Body::Sync { origin_ns }, at);
        let later = self.random.between(150_000, 700_000);
        let follow_up = Header { flags: [0, 0], ..header };
        let body = Body::FollowUp { origin_ns: sent };
        self.schedule(at + later, Event::Send { node, role, header: follow_up, body });
        let wander = self.random.between(-400_000, 400_000);
        self.schedule(at + interval(spec.log_sync) + wander, Event::Sync { node, role });
    }

    pub(super) fn metadata(&mut self, node: usize, role: u32, at: Ns) {
        if self.nodes[node].role != role {
            return;
        }
        let metadata = ptp_v2::SynchronizationMetadata {
            frame_rate: (50, 1),
            locking_status: 1,
            local_offset_s: -i32::from(self.v2(node).data.utc_offset_s),
        };
        let header = self.header(node, "management", [0, 0], ptp_v2::NOT_STATED);
        let body = Body::Management {
            target: PortIdentity::ALL,
            hops: (1, 1),
            action: ptp_v2::ACTION_COMMAND,
            tlvs: ptp_v2::synchronization_metadata_tlv(&metadata),
        };
        self.send_v2(node, header, body, at);
        self.schedule(at + SECOND, Event::Metadata { node, role });
    }

    /// The next request lies anywhere in 0 to 2 intervals, so that the mean is what the leader asks for (9.5.11.2).
    fn schedule_request(&mut self, node: usize, at: Ns) {
        let spread = self.random.between(MILLISECOND, 2 * interval(self.v2(node).log_delay));
        let role = self.nodes[node].role;
        self.schedule(at + spread, Event::DelayReq { node, role });
    }

    pub(super) fn delay_req(&mut self, node: usize, role: u32, at: Ns) {
        if self.nodes[node].role != role {
            return;
        }
        let origin_ns = if self.v2(node).fills_origin { self.nodes[node].clock(at) } else { 0 };
        let header = self.header(node, "delay_req", [0, 0], ptp_v2::NOT_STATED);
        self.send_v2(node, header, Body::DelayReq { origin_ns }, at);
        self.schedule_request(node, at);
    }

    pub(super) fn hear_v2(&mut self, to: usize, from: usize, header: &Header, body: &Body, at: Ns) {
        let Some(own) = self.nodes[to].spec.v2 else { return };
        if own.domain != header.domain {
            return;
        }
        match body {
            Body::Announce { data, .. } => self.hear_announce(to, header.source, *data, at),
            Body::Sync { .. } if self.nodes[to].follows(from, &self.nodes) && !self.nodes[to].requesting => {
                self.nodes[to].requesting = true;
                self.schedule_request(to, at);
            }
            Body::FollowUp { .. } => self.discipline(to, from, at),
            Body::DelayReq { .. } if self.nodes[to].state == State::Leading => {
                let answer =
                    Header { source: self.nodes[to].identity(), log_interval: own.log_delay, ..*header };
                let receipt_ns = self.nodes[to].clock(at);
                let body = Body::DelayResp { receipt_ns, requester: header.source };
                let after = self.random.between(60_000, 400_000);
                let role = self.nodes[to].role;
                self.schedule(at + after, Event::Send { node: to, role, header: answer, body });
            }
            Body::Management { action: ptp_v2::ACTION_GET, .. } => self.answer_poll(to, from, header, at),
            _ => {}
        }
    }

    fn answer_poll(&mut self, node: usize, asker: usize, asked: &Header, at: Ns) {
        let this = &self.nodes[node];
        if !this.spec.answers {
            return;
        }
        let leader = match this.state {
            State::Leading => Some((0, node)),
            State::Following(leader) => {
                self.nodes.iter().position(|other| other.identity() == leader).map(|found| (1, found))
            }
            _ => None,
        };
        let Some((steps, leader)) = leader else { return };
        let offset_ns = self.nodes[node].phase(at) - self.nodes[leader].phase(at);
        let delay_ns = if steps == 0 {
            0
        } else {
            (this.spec.to_core_ns
                + this.spec.from_core_ns
                + self.nodes[leader].spec.to_core_ns
                + self.nodes[leader].spec.from_core_ns)
                / 2
        };
        let data = ptp_v2::current_data_set(steps, offset_ns, delay_ns);
        let body = Body::Management {
            target: self.nodes[asker].identity(),
            hops: (0, 0),
            action: ptp_v2::ACTION_RESPONSE,
            tlvs: ptp_v2::management_tlv(ptp_v2::CURRENT_DATA_SET, &data),
        };
        let header = Header { source: self.nodes[node].identity(), ..*asked };
        let after = self.random.between(2, 120) * MILLISECOND;
        let role = self.nodes[node].role;
        self.schedule(at + after, Event::Send { node, role, header, body });
    }
}
