//! What happened in a domain, as data; words are found in the report.

use super::comparison::DecidedBy;
use super::key::ClockId;
use super::key::PortId;
use super::requests::Mechanism;
use super::tenure::EndedBy;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Something that happened at an instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When.
    pub time: CaptureTime,
    /// What.
    pub what: Happening,
    /// Frames that show it.
    pub places: Vec<Place>,
}

/// A field of the announced data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AnnouncedField {
    /// `grandmasterPriority1`.
    Priority1,
    /// `clockClass`.
    ClockClass,
    /// `clockAccuracy`.
    ClockAccuracy,
    /// `offsetScaledLogVariance`.
    Variance,
    /// `grandmasterPriority2`.
    Priority2,
    /// v1 `grandmasterPreferred`.
    Preferred,
    /// v1 `grandmasterClockStratum`.
    Stratum,
    /// `stepsRemoved`.
    StepsRemoved,
    /// `currentUtcOffset`.
    UtcOffset,
    /// `timeSource`.
    TimeSource,
    /// `flagField`.
    Flags,
}

impl AnnouncedField {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Priority1 => "priority1",
            Self::ClockClass => "clock_class",
            Self::ClockAccuracy => "clock_accuracy",
            Self::Variance => "variance",
            Self::Priority2 => "priority2",
            Self::Preferred => "preferred",
            Self::Stratum => "stratum",
            Self::StepsRemoved => "steps_removed",
            Self::UtcOffset => "utc_offset_s",
            Self::TimeSource => "time_source",
            Self::Flags => "flags",
        }
    }
}

/// What happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Happening {
    /// A clock began to lead; `gap` is the time without a leader before it, `None` for the first.
    LeaderBegan {
        /// The clock.
        clock: ClockId,
        /// The leader before it.
        after: Option<ClockId>,
        /// Why that one's lead had ended.
        because: Option<EndedBy>,
        /// From the last offer of the one before to the first of this one.
        gap: Option<Nanos>,
        /// The field it won on.
        won_on: DecidedBy,
    },
    /// The leader fell silent; nobody had taken over yet.
    LeaderLost {
        /// The clock.
        clock: ClockId,
        /// Why.
        because: EndedBy,
        /// Whether its Syncs went on.
        sync_went_on: bool,
    },
    /// The leader was not heard for a while and went on; nobody led meanwhile.
    LeaderNotHeard {
        /// Its port.
        port: PortId,
        /// The clock.
        clock: ClockId,
        /// For how long.
        lasted: Nanos,
    },
    /// A clock went on leading beside a better one.
    RivalBegan {
        /// The port that does.
        port: PortId,
        /// The better clock.
        leader: ClockId,
        /// The field on which that one is better.
        decided_by: DecidedBy,
    },
    /// It stopped.
    RivalEnded {
        /// The port that did.
        port: PortId,
    },
    /// A port announced other data than before for the same grandmaster.
    DataChanged {
        /// The port.
        port: PortId,
        /// The grandmaster.
        clock: ClockId,
        /// Field, value before, value after.
        changes: Vec<(AnnouncedField, i64, i64)>,
    },
    /// Requests of a port stopped being answered.
    AnswersStopped {
        /// The port.
        port: PortId,
        /// How it asks.
        mechanism: Mechanism,
    },
    /// They are answered again.
    AnswersResumed {
        /// The port.
        port: PortId,
        /// How it asks.
        mechanism: Mechanism,
    },
}

impl Happening {
    /// The `kind` in the JSON report.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::LeaderBegan { after: None, .. } => "leader-elected",
            Self::LeaderBegan { .. } => "leader-changed",
            Self::LeaderLost { .. } => "leader-lost",
            Self::LeaderNotHeard { .. } => "leader-not-heard",
            Self::RivalBegan { .. } => "rival-began",
            Self::RivalEnded { .. } => "rival-ended",
            Self::DataChanged { .. } => "announced-data-changed",
            Self::AnswersStopped { .. } => "answers-stopped",
            Self::AnswersResumed { .. } => "answers-resumed",
        }
    }
}
