//! Clock domains: who announces, who is elected and why, how regularly, and who asks and is answered.
//!
//! Everything here is fed in capture order and says what was seen; whether it is good or bad is said elsewhere.

mod announcer;
mod answer_checks;
mod arrival;
mod by_kind;
mod cadence;
mod candidate;
mod changes;
mod claims;
mod comparison;
mod domain;
mod election;
mod event;
mod folding;
mod impatience;
mod journal;
mod key;
mod leading;
mod leases;
mod marks;
mod orders;
mod pairing;
mod peers;
mod port;
mod replays;
mod requests;
mod samples;
mod set;
mod sightings;
mod silences;
mod stamps;
mod standing;
mod sync_checks;
mod tenure;
mod twins;
mod unheard;
mod views;

pub use announcer::{ANNOUNCE_RECEIPT_TIMEOUT, Announcer, MAX_STEPS_REMOVED, V1_SYNC_RECEIPT_TIMEOUT};
pub use answer_checks::AnswerChecks;
pub use by_kind::{ByKind, KindCounts};
pub use cadence::{Addressee, Cadence};
pub use candidate::{Candidate, DataSet, DataSetV1, DataSetV2};
pub use claims::Claims;
pub use comparison::{Comparison, DecidedBy, Receiver, Verdict, compare};
pub use domain::{Answered, Domain};
pub use election::Election;
pub use event::{AnnouncedField, Event, Happening};
pub use folding::{DOMAINS_KEPT, EVENTS_KEPT, LeftOut, PORTS_KEPT, REQUESTERS_KEPT, TENURES_KEPT};
pub use impatience::Impatience;
pub use journal::{
    ExchangeEntry, Held, JournalEntry, MessageEntry, Noted, OffsetEntry, PeerDelayEntry, Related, SyncEntry,
};
pub use key::{ClockId, DomainKey, DomainName, PortId};
pub use leading::{Asks, is_beyond_chance};
pub use leases::{Lease, LeaseKey, Leases};
pub use marks::{Grant, Marks, TlvKind};
pub use orders::{Order, Orders};
pub use pairing::{Since, SyncPairing, TimedSync};
pub use peers::PeerSamples;
pub use port::{ClockPort, Kind, SourceAddress, TimeProperties};
pub use replays::Replays;
pub use requests::{ANSWER_WINDOW, Mechanism, OUTAGE_RUN, Outage, Requester};
pub use samples::{Exchange, LeaderSamples};
pub use set::Domains;
pub use sightings::Sightings;
pub use silences::{Silence, Silences, silence_limit};
pub use standing::Standing;
pub use sync_checks::{Met, SyncChecks};
pub use tenure::{EndedBy, Rivalry, Tenure};
pub use twins::{OwnSeries, Twins};
pub use unheard::Unheard;
pub use views::Views;
