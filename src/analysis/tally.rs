//! What a stretch of records amounts to, joinable with the stretch after it.

use std::collections::BTreeMap;
use std::fmt;

use crate::bytes::DecodeError;
use crate::capture::Record;
use crate::frame;
use crate::frame::Frame;
use crate::frame::Layer;
use crate::frame::Stop;
use crate::frame::StopReason;
use crate::multicast::GroupCounts;
use crate::observations;
use crate::observations::Observation;
use crate::observations::Place;
use crate::observations::Protocol;
use crate::observations::Stamps;
use crate::observations::Trouble;
use crate::observations::What;
use crate::streams::Streams;
use crate::units::CaptureTime;
use crate::viewpoint::Traffic;

/// Kinds of problems told of a file (chosen).
const PROBLEM_LIMIT: usize = 64;

/// Why a frame or its control message could not be read, without the numbers that differ from frame to frame.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Problem {
    /// The frame ends before a header or length field says so, and the capture did not cut it.
    FrameCut(Layer),
    /// A length field that cannot be true.
    FrameLength(Layer, &'static str),
    /// A header field that cannot be read.
    FrameValue(Layer, &'static str),
    /// A link type that is not read.
    LinkType(u16),
    /// Too many encapsulations.
    TooDeep,
    /// A PTP message that ends inside the named field.
    PtpShort(&'static str),
    /// A PTP message whose named field breaks a rule.
    PtpValue(&'static str, &'static str),
    /// A PTP message in fragments.
    PtpFragment,
    /// A message of another control protocol.
    Control(Protocol, Trouble),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FrameCut(layer) => write!(f, "{}: octets missing", layer.name()),
            Self::FrameLength(layer, field) => write!(f, "{}: {field} cannot be true", layer.name()),
            Self::FrameValue(layer, field) => write!(f, "{}: {field} cannot be read", layer.name()),
            Self::LinkType(number) => write!(f, "link type {number} is not read"),
            Self::TooDeep => write!(f, "more encapsulations than are taken off"),
            Self::PtpShort(field) => write!(f, "PTP message ends inside {field}"),
            Self::PtpValue(field, rule) => write!(f, "PTP {field}: {rule}"),
            Self::PtpFragment => write!(f, "PTP message in IP fragments"),
            Self::Control(protocol, Trouble::Short(field)) => {
                write!(f, "{} message ends inside {field}", protocol.name())
            }
            Self::Control(protocol, Trouble::Value(field, rule)) => {
                write!(f, "{} {field}: {rule}", protocol.name())
            }
            Self::Control(protocol, Trouble::Grammar) => {
                write!(f, "{} message whose names or records cannot be read", protocol.name())
            }
            Self::Control(protocol, Trouble::Fragment) => {
                write!(f, "{} message in IP fragments", protocol.name())
            }
        }
    }
}

/// What could not be read of one file's frames.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FileTally {
    /// Frames that are among the problems.
    pub undecodable: u64,
    /// How often each problem was met, and where first.
    pub problems: BTreeMap<Problem, (u64, Place)>,
}

impl FileTally {
    /// Those met first, where there are more than are kept. Only at the end: each may come again.
    pub(super) fn shorten(&mut self) {
        let mut firsts: Vec<Place> = self.problems.values().map(|(_, place)| *place).collect();
        firsts.sort_unstable();
        if let Some(first_left_out) = firsts.get(PROBLEM_LIMIT) {
            self.problems.retain(|_, (_, place)| *place < *first_left_out);
        }
    }
}

/// A stretch of records.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Control messages in capture order.
    pub observations: Vec<Observation>,
    /// Problems by file.
    pub files: BTreeMap<u32, FileTally>,
    /// Frames.
    pub frames: u64,
    /// The records' times.
    pub stamps: Stamps,
    /// Who talks to whom.
    pub traffic: Traffic,
    /// Frames by group, of those that are no flow's.
    pub groups: GroupCounts,
    /// Flows and load.
    pub streams: Streams,
    /// Frames of PTP that the capture kept too little of.
    pub cut_ptp: CutPtp,
}

/// Frames to PTP's ports, or of its Ethertype, of which the capture kept too little to read the message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CutPtp {
    /// How many.
    pub frames: u64,
    /// Octets of each frame that would have let every one of them be read.
    pub wanted: usize,
}

/// Octets up to which a message has to be there: its header and fixed body (1588-2008 13.3 to 13.12; 1588-2002 D.2 for the
/// longest of version 1; from memory). Where nothing tells its type, those of Announce.
const fn octets_of_ptp(first: Option<u8>, second: Option<u8>) -> usize {
    if let Some(version) = second
        && version & 0x0F == 1
    {
        return 124;
    }
    match first {
        Some(octet) => match octet & 0x0F {
            0x0 | 0x1 | 0x8 | 0xC => 44,
            0xD => 48,
            0x2 | 0x3 | 0x9 | 0xA => 54,
            _ => 64,
        },
        None => 64,
    }
}

impl CutPtp {
    /// Adds a frame whose message begins after so many octets.
    fn count(&mut self, before: usize, message: &[u8]) {
        let octets = octets_of_ptp(message.first().copied(), message.get(1).copied());
        self.frames = self.frames.saturating_add(1);
        self.wanted = self.wanted.max(before.saturating_add(octets));
    }

    /// Adds those of what followed.
    pub(super) fn add(&mut self, right: Self) {
        self.frames = self.frames.saturating_add(right.frames);
        self.wanted = self.wanted.max(right.wanted);
    }
}

impl Tally {
    /// Takes in the next record of file number `file`.
    pub fn record(&mut self, file: u32, record: &Record<'_>) {
        let frame = self.observe(file, record);
        if !self.streams.record(record, &frame) {
            self.groups.record(&frame);
        }
    }

    /// All of [`Self::record`] but flows and groups, which whoever reads in order keeps in one place.
    pub(super) fn observe<'a>(&mut self, file: u32, record: &Record<'a>) -> Frame<'a> {
        let place = Place { file, frame: record.number, time: record.time };
        match record.time {
            Some(time) => self.stamp(time, place),
            None => self.frames += 1,
        }
        let frame = frame::decode(record);
        self.traffic.record(record, &frame);
        let observation = observations::from_frame(file, record, &frame);
        let snapped = u32::try_from(record.octets.len()).is_ok_and(|kept| kept < record.original_len);
        let problem = match &observation {
            Some(observation) => message_problem(&observation.what),
            None => frame.stop.filter(|stop| !(snapped && stop.is_cut())).map(frame_problem),
        };
        let is_short_ptp = matches!(
            observation.as_ref().map(|observation| &observation.what),
            Some(What::Undecodable(DecodeError::Short { .. }))
        );
        if snapped && is_short_ptp {
            let before = record.octets.len().saturating_sub(frame.payload.len());
            self.cut_ptp.count(before, frame.payload);
        }
        if let Some(problem) = problem {
            let tally = self.files.entry(file).or_default();
            tally.undecodable += 1;
            tally.problems.entry(problem).or_insert((0, place)).0 += 1;
        }
        self.observations.extend(observation);
        frame
    }

    /// Counts a frame with its time.
    #[inline]
    pub(super) fn stamp(&mut self, time: CaptureTime, place: Place) {
        self.frames += 1;
        self.stamps.record(time, place, self.observations.len());
    }

    /// Counts so many frames in line after the one before, of which the last has this time.
    pub(super) fn stamp_more(&mut self, frames: u64, time: CaptureTime, place: Place) {
        self.frames += frames;
        self.stamps.run_to(time, place);
    }

    /// Tells the file and number of each frame, where they were counted from 1 in this stretch.
    pub(super) fn number(&mut self, number: impl Fn(u64) -> (u32, u64)) {
        let move_on = |place: &mut Place| (place.file, place.frame) = number(place.frame);
        for observation in &mut self.observations {
            move_on(&mut observation.place);
        }
        for (_, place) in self.files.values_mut().flat_map(|file| file.problems.values_mut()) {
            move_on(place);
        }
        self.stamps.move_places(move_on);
    }

    /// Forgets everything, and keeps the room for as many messages and stations.
    pub(super) fn clear(&mut self) {
        let mut observations = std::mem::take(&mut self.observations);
        let mut traffic = std::mem::take(&mut self.traffic);
        observations.clear();
        traffic.clear();
        *self = Self { observations, traffic, ..Self::default() };
    }

    /// This stretch and the one after it as one.
    #[must_use]
    pub fn join(mut self, right: Self) -> Self {
        self.frames += right.frames;
        self.stamps = self.stamps.join(right.stamps, self.observations.len());
        for (file, theirs) in right.files {
            let ours = self.files.entry(file).or_default();
            ours.undecodable += theirs.undecodable;
            for (problem, (count, place)) in theirs.problems {
                ours.problems.entry(problem).or_insert((0, place)).0 += count;
            }
        }
        self.observations.extend(right.observations);
        self.traffic.add(&right.traffic);
        self.groups = self.groups.join(right.groups);
        self.streams = self.streams.join(right.streams);
        self.cut_ptp.add(right.cut_ptp);
        self
    }
}

fn frame_problem(stop: Stop) -> Problem {
    match stop.reason {
        StopReason::Cut { .. } => Problem::FrameCut(stop.layer),
        StopReason::Length { field, .. } => Problem::FrameLength(stop.layer, field),
        StopReason::Value { field, .. } => Problem::FrameValue(stop.layer, field),
        StopReason::LinkType(number) => Problem::LinkType(number),
        StopReason::TooDeep => Problem::TooDeep,
    }
}

fn message_problem(what: &What) -> Option<Problem> {
    match what {
        What::Ptp(_) => None,
        What::Undecodable(DecodeError::Short { field, .. }) => Some(Problem::PtpShort(field)),
        What::Undecodable(DecodeError::Value { field, rule, .. }) => Some(Problem::PtpValue(field, rule)),
        What::Fragment => Some(Problem::PtpFragment),
        What::Unreadable(protocol, trouble) => Some(Problem::Control(*protocol, *trouble)),
        What::Igmp(_)
        | What::Mld(_)
        | What::Sap(_)
        | What::Description(_)
        | What::Lldp(_)
        | What::Mdns(_)
        | What::Dhcp(_)
        | What::Neighbour(_) => None,
    }
}
