//! Clock domains: who announces, who is elected and why, how regularly, and who asks and is answered.
//!
//! Everything here is fed in capture order and says what was seen; whether it is good or bad is said elsewhere.

mod announcer;
mod cadence;
mod candidate;
mod changes;
mod claims;
mod comparison;
mod domain;
mod election;
mod event;
mod impatience;
mod key;
mod marks;
mod orders;
mod pairing;
mod peers;
mod port;
mod replays;
mod requests;
mod samples;
mod set;
mod stamps;
mod standing;
mod tenure;
mod twins;

pub use announcer::{ANNOUNCE_RECEIPT_TIMEOUT, Announcer, MAX_STEPS_REMOVED, V1_SYNC_RECEIPT_TIMEOUT};
pub use cadence::{Addressee, Cadence};
pub use candidate::{Candidate, DataSet, DataSetV1, DataSetV2};
pub use claims::Claims;
pub use comparison::{Comparison, DecidedBy, Receiver, Verdict, compare};
pub use domain::{Answered, Domain};
pub use election::Election;
pub use event::{AnnouncedField, Event, Happening};
pub use impatience::Impatience;
pub use key::{ClockId, DomainKey, DomainName, PortId};
pub use marks::{Grant, Marks, TlvKind};
pub use orders::{Order, Orders};
pub use pairing::{SyncPairing, TimedSync};
pub use peers::PeerSamples;
pub use port::{ClockPort, Kind, SourceAddress, TimeProperties};
pub use replays::Replays;
pub use requests::{ANSWER_WINDOW, Mechanism, OUTAGE_RUN, Outage, Requester};
pub use samples::{Exchange, LeaderSamples};
pub use set::Domains;
pub use standing::Standing;
pub use tenure::{EndedBy, Rivalry, Tenure};
pub use twins::{OwnSeries, Twins};
