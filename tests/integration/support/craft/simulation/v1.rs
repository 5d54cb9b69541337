//! Version 1 behaviour: one leader (the boundary clock) and its followers (1588-2002 clause 7, from memory).
use crate::support::craft::ptp_v1;
use crate::support::craft::ptp_v1::ClockData;
use crate::support::craft::ptp_v1::Header;
use crate::support::craft::ptp_v1::SyncBody;
use crate::support::craft::simulation::Domain;
use crate::support::craft::simulation::Event;
use crate::support::craft::simulation::MILLISECOND;
use crate::support::craft::simulation::Message;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::Spell;
use crate::support::craft::simulation::TAI_MINUS_UTC_S;
use crate::support::craft::simulation::World;
use crate::support::craft::simulation::interval;

/// Four Syncs a second, as deployed audio systems do (common practice, no source); the standard starts at one.
const LOG_SYNC_INTERVAL: i8 = -2;
const LEADER_STRATUM: u8 = 2;
const FOLLOWER_STRATUM: u8 = 4;

impl World {
    pub(super) fn start_v1_leader(&mut self, node: usize, at: Ns) {
        self.nodes[node].v1_spell = Some(self.spells.len());
        self.spells.push(Spell {
            node,
            domain: Domain::V1,
            data: None,
            worsened: false,
            ended: false,
            announces: Vec::new(),
        });
        let phase = self.random.between(0, interval(LOG_SYNC_INTERVAL));
        self.schedule(at + phase, Event::V1Sync { node });
    }

    fn v1_header(&mut self, node: usize, kind: &'static str, flags: u16) -> Header {
        Header {
            subdomain: ptp_v1::DEFAULT_SUBDOMAIN,
            source: self.nodes[node].spec.mac,
            sequence: self.nodes[node].next_sequence(kind),
            flags,
        }
    }

    pub(super) fn v1_sync(&mut self, node: usize, at: Ns) {
        let flags = ptp_v1::ASSIST | ptp_v1::BOUNDARY_CLOCK;
        let header = self.v1_header(node, "v1 sync", flags);
        let own = self.v1_leader_data(node);
        let sent = self.nodes[node].clock(at);
        let body = SyncBody {
            origin_ns: sent - self.random.between(20_000, 90_000),
            utc_offset_s: TAI_MINUS_UTC_S,
            grandmaster: own,
            grandmaster_sequence: header.sequence,
            grandmaster_preferred: true,
            grandmaster_is_boundary_clock: true,
            log_sync_interval: LOG_SYNC_INTERVAL,
            local: own,
            steps_removed: 0,
            parent: own.uuid,
            estimated_variance: 0,
            estimated_drift: 0,
            utc_reasonable: true,
        };
        let message = Message::V1Sync { sequence: header.sequence };
        let payload = ptp_v1::sync(&header, &body);
        let entry = self.send_ptp(node, (Domain::V1, "sync"), (319, &payload), Some(message), at);
        let spell = self.nodes[node].v1_spell.expect("the leader has a spell");
        self.spells[spell].announces.push(entry);
        let later = self.random.between(150_000, 700_000);
        self.schedule(at + later, Event::V1FollowUp { node, associated: header.sequence, origin_ns: sent });
        let wander = self.random.between(-400_000, 400_000);
        self.schedule(at + interval(LOG_SYNC_INTERVAL) + wander, Event::V1Sync { node });
    }

    fn v1_leader_data(&self, node: usize) -> ClockData {
        ClockData {
            uuid: self.nodes[node].spec.mac,
            stratum: LEADER_STRATUM,
            identifier: *b"GPS\0",
            variance: -4000,
        }
    }

    pub(super) fn v1_follow_up(&mut self, node: usize, associated: u16, origin_ns: i64, at: Ns) {
        let header = self.v1_header(node, "v1 general", 0);
        let payload = ptp_v1::follow_up(&header, associated, origin_ns);
        self.send_ptp(node, (Domain::V1, "follow_up"), (320, &payload), Some(Message::V1FollowUp), at);
    }

    /// A follower asks after a random count of Syncs in 2 to 29 (1588-2002 7.5.11, from an open implementation).
    pub(super) fn hear_v1_sync(&mut self, node: usize, _leader: usize, sequence: u16, at: Ns) {
        if !self.nodes[node].spec.v1_follows {
            return;
        }
        self.nodes[node].v1_last_sync = sequence;
        self.nodes[node].v1_syncs_until_request -= 1;
        if self.nodes[node].v1_syncs_until_request <= 0 {
            self.nodes[node].v1_syncs_until_request = self.random.between(2, 29);
            let after = self.random.between(1, 30) * MILLISECOND;
            self.schedule(at + after, Event::V1DelayReq { node });
        }
    }

    pub(super) fn v1_delay_req(&mut self, node: usize, at: Ns) {
        let Some(leader) = self.nodes.iter().position(|other| other.spec.v1_leads) else { return };
        let grandmaster = self.v1_leader_data(leader);
        let header = self.v1_header(node, "v1 delay_req", ptp_v1::PARENT_STATS);
        let body = SyncBody {
            origin_ns: self.nodes[node].clock(at),
            utc_offset_s: TAI_MINUS_UTC_S,
            grandmaster,
            grandmaster_sequence: self.nodes[node].v1_last_sync,
            grandmaster_preferred: true,
            grandmaster_is_boundary_clock: true,
            log_sync_interval: LOG_SYNC_INTERVAL,
            local: ClockData {
                uuid: self.nodes[node].spec.mac,
                stratum: FOLLOWER_STRATUM,
                identifier: *b"DFLT",
                variance: -3072,
            },
            steps_removed: 1,
            parent: grandmaster.uuid,
            estimated_variance: -5000,
            estimated_drift: 0,
            utc_reasonable: true,
        };
        let message = Message::V1DelayReq { sequence: header.sequence };
        let payload = ptp_v1::delay_req(&header, &body);
        self.send_ptp(node, (Domain::V1, "delay_req"), (319, &payload), Some(message), at);
    }

    pub(super) fn hear_v1_delay_req(&mut self, node: usize, requester: usize, sequence: u16, at: Ns) {
        if !self.nodes[node].spec.v1_leads {
            return;
        }
        let after = self.random.between(60_000, 400_000);
        let receipt_ns = self.nodes[node].clock(at);
        self.schedule(at + after, Event::V1DelayResp { node, requester, associated: sequence, receipt_ns });
    }

    pub(super) fn v1_delay_resp(
        &mut self,
        node: usize,
        requester: usize,
        associated: u16,
        receipt_ns: i64,
        at: Ns,
    ) {
        let header = self.v1_header(node, "v1 general", 0);
        let to = self.nodes[requester].spec.mac;
        let payload = ptp_v1::delay_resp(&header, receipt_ns, to, associated);
        self.send_ptp(node, (Domain::V1, "delay_resp"), (320, &payload), None, at);
    }
}
