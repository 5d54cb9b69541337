//! How the messages of one kind from one port were sent: addressed, marked, and with what behind the fixed body.

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::observations::Path;
use crate::observations::Transport;
use crate::observations::Way;
use crate::ptp::Note;
use crate::ptp::v2;
use crate::ptp::v2::management::ManagementData;
use crate::tables::Few;
use crate::units::LogInterval;
use crate::units::MacAddress;

/// Different values of one mark kept for one series (chosen: a sender that changes them with each message must not
/// grow without bound).
const MARK_LIMIT: usize = 16;

/// A TLV as far as it names itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TlvKind {
    /// A `tlvType` that the standard lists.
    Standard(u16),
    /// An organization extension, of whichever of the three types.
    Organization {
        /// `organizationId`.
        id: [u8; 3],
        /// `organizationSubType`.
        sub_type: [u8; 3],
    },
}

impl TlvKind {
    fn of(tlv: &v2::Tlv) -> Self {
        match tlv {
            v2::Tlv::Organization(extension) => Self::Organization {
                id: extension.organization_id,
                sub_type: extension.organization_sub_type,
            },
            other => Self::Standard(other.tlv_type()),
        }
    }
}

/// A grant of unicast transmission as it was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grant {
    /// `messageType` granted.
    pub message_type: v2::MessageType,
    /// `logInterMessagePeriod`.
    pub log_inter_message_period: LogInterval,
    /// `durationField`, s; never 0, which denies.
    pub duration_s: u32,
}

/// The marks of one series.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Marks {
    /// Messages to a group address.
    pub multicast: u64,
    /// Messages to one receiver.
    pub unicast: u64,
    /// Values of time to live or hop limit, by number of messages.
    pub ttl: Few<u8>,
    /// Differentiated services code points, by number of messages.
    pub dscp: Few<u8>,
    /// Priority code points of the outermost VLAN or priority tag, by number of messages; untagged ones are left out.
    pub pcp: Few<u8>,
    /// Destination MAC addresses over IEEE 802.3, by number of messages.
    pub destinations: Few<MacAddress>,
    /// Groups it was sent to over IP, by number of messages.
    pub groups: Few<IpAddr>,
    /// Messages to a group with `unicastFlag` set.
    pub unicast_flag_to_group: u64,
    /// Messages whose TLVs could all be read, so that an absent one is known to be absent.
    pub whole: u64,
    /// Of those, how many carried each kind of TLV.
    pub tlvs: Few<TlvKind>,
    /// Grants of unicast transmission.
    pub grants: BTreeSet<Grant>,
    run: Option<Run>,
    /// `profileIdentity` values of CLOCK_DESCRIPTION answers.
    pub profile_identities: BTreeSet<[u8; 6]>,
}

/// Messages in a row that came the same way. Of all but the first it is counted together what comes with the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) way: Way,
    pub(super) path: Path,
    /// Messages that are not counted yet.
    pub(super) count: u64,
    /// The number of the latest message.
    pub(super) number: u16,
}

impl Marks {
    /// Takes in a message of the same way as the one before it. `false` where it is not.
    pub(super) fn goes_on(&mut self, way: Way, path: &Path, number: u16) -> bool {
        let Some(run) = self.run.as_mut().filter(|run| run.path == *path && run.way == way) else {
            return false;
        };
        run.count += 1;
        run.number = number;
        true
    }

    /// Takes in a message of another way.
    pub(super) fn begin(&mut self, way: Way, path: &Path, number: u16) {
        self.record_path(path, 1);
        self.run = Some(Run { way, path: *path, count: 0, number });
    }

    /// Counts what is not counted yet.
    pub(super) fn settle(&mut self) -> Option<Run> {
        let run = self.run.as_mut().filter(|run| run.count > 0)?;
        let settled = *run;
        run.count = 0;
        self.record_path(&settled.path, settled.count);
        Some(settled)
    }

    fn record_path(&mut self, path: &Path, messages: u64) {
        let multicast = path.is_multicast();
        if multicast {
            self.multicast += messages;
        } else {
            self.unicast += messages;
        }
        add(&mut self.ttl, path.ttl, messages);
        add(&mut self.dscp, path.dscp, messages);
        add(&mut self.pcp, path.pcp, messages);
        let over_ethernet = path.transport == Transport::Ethernet;
        add(&mut self.destinations, path.destination_mac.filter(|_| over_ethernet), messages);
        add(&mut self.groups, path.destination_ip.filter(|_| multicast), messages);
    }

    /// Takes in the flags of a v2 message.
    pub(super) fn record_flags(&mut self, multicast: bool, flags: v2::Flags) {
        self.unicast_flag_to_group += u64::from(multicast && flags.unicast());
    }

    /// Takes in what a v2 message carries behind its fixed body.
    pub(super) fn record_tlvs(&mut self, message: &v2::Message) {
        let broken = |note: &Note| matches!(note, Note::CutByCapture { .. } | Note::TlvBroken { .. });
        let is_whole = !message.notes.iter().any(broken);
        self.whole += u64::from(is_whole);
        if message.tlvs.is_empty() {
            return;
        }
        if is_whole {
            let kinds: BTreeSet<TlvKind> = message.tlvs.iter().map(TlvKind::of).collect();
            for kind in kinds {
                add(&mut self.tlvs, Some(kind), 1);
            }
        }
        for tlv in &message.tlvs {
            match tlv {
                v2::Tlv::GrantUnicastTransmission(grant) if grant.duration_field_s > 0 => {
                    let grant = Grant {
                        message_type: grant.message_type,
                        log_inter_message_period: grant.log_inter_message_period,
                        duration_s: grant.duration_field_s,
                    };
                    keep(&mut self.grants, grant);
                }
                v2::Tlv::Management(management) => {
                    if let ManagementData::ClockDescription(description) = &management.data {
                        keep(&mut self.profile_identities, description.profile_identity);
                    }
                }
                _ => {}
            }
        }
    }
}

fn add<T: Ord>(counts: &mut Few<T>, value: Option<T>, messages: u64) {
    if let Some(value) = value {
        counts.add(value, messages, MARK_LIMIT);
    }
}

fn keep<T: Ord>(values: &mut BTreeSet<T>, value: T) {
    if values.len() < MARK_LIMIT {
        values.insert(value);
    }
}
