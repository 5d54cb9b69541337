//! The fold over a capture, and its outcome.

mod conclusion;

pub(super) use conclusion::places;

use std::collections::BTreeMap;
use std::sync::Arc;

use super::digest::Span;
use super::media::Media;
use super::outcome::Remains;
use super::tally::CutPtp;
use super::tally::FileTally;
use super::tally::Tally;
use super::veil;
use crate::capture::Record;
use crate::domains::Domains;
use crate::multicast::Multicast;
use crate::names::Directory;
use crate::observations::MirrorDuplicates;
use crate::observations::Observation;
use crate::observations::Stamps;
use crate::observations::Watch;
use crate::observations::What;
use crate::pseudonyms::Pseudonyms;
use crate::sdp;
use crate::sdp::Session;
use crate::site::Site;
use crate::streams::Sessions;
use crate::streams::Streams;
use crate::streams::Windows;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::viewpoint::Traffic;

/// Records gathered before they are folded; bounds the memory that control messages take (chosen).
const BATCH: u64 = 4096;
/// Control messages gathered before they are folded: one may unfold to 64 KiB (SAP) or more (DNS) (chosen).
const MOST_OBSERVATIONS: usize = 512;

/// An end of the span that is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// So long after the first frame of the capture.
    FromStart(Nanos),
    /// At this time of the capture's clock.
    At(CaptureTime),
}

/// The span that is looked at; both ends belong to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Range {
    /// Its beginning; the first frame where `None`.
    pub from: Option<Bound>,
    /// Its end; the last frame where `None`.
    pub until: Option<Bound>,
}

/// What the user expects and asks for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// The site's domain number, if the user gave one; goes before the site file's.
    pub domain: Option<u8>,
    /// What the site file says.
    pub site: Option<Arc<Site>>,
    /// The speed of the link the capture was taken on, if the user gave one.
    pub link_speed: Option<BitsPerSecond>,
    /// The span that is looked at.
    pub range: Range,
    /// What stands for names and addresses, where nobody is to learn those of the site. Names are exchanged as they come in;
    /// addresses in what is written of the outcome.
    pub pseudonyms: Option<Arc<Pseudonyms>>,
}

/// A reading in progress.
#[derive(Debug, Default)]
pub struct Reading {
    settings: Settings,
    batch: Tally,
    domains: Domains,
    mirror: MirrorDuplicates,
    files: BTreeMap<u32, FileTally>,
    traffic: Traffic,
    /// Flows and load of all that was pushed or absorbed.
    media: Media,
    multicast: Multicast,
    directory: Directory,
    sessions: Sessions,
    /// Every window, where they are asked for.
    windows: Option<Windows>,
    /// Time of the capture's very first frame.
    origin: Option<CaptureTime>,
    /// The stamps of what was taken in; their jumps are in `watch` already.
    stamps: Stamps,
    watch: Watch,
    frames: u64,
    outside: u64,
    ptp_messages: u64,
    cut_ptp: CutPtp,
    copies: u64,
}

impl Reading {
    /// A reading with nothing read.
    #[must_use]
    pub fn new(mut settings: Settings) -> Self {
        if let Some(with) = &settings.pseudonyms {
            settings.site = settings.site.map(|site| veil::site(with, &site));
        }
        let media = Media { streams: Streams::from_the_beginning(), ..Media::default() };
        Self { settings, media, ..Self::default() }
    }

    /// Takes in the next record of file number `file`, in capture order.
    pub fn push(&mut self, file: u32, record: &Record<'_>) {
        if let Some(time) = record.time {
            self.origin.get_or_insert(time);
        }
        if !self.span().holds(record.time) {
            self.outside += 1;
            return;
        }
        let frame = self.batch.observe(file, record);
        if let Some(windows) = &mut self.windows {
            windows.record(record, &frame);
        }
        if !self.media.streams.record(record, &frame) {
            self.media.groups.record(&frame);
        }
        if self.batch.frames >= BATCH || self.batch.observations.len() >= MOST_OBSERVATIONS {
            let batch = std::mem::take(&mut self.batch);
            self.absorb(batch);
        }
    }

    /// Keeps every message, sample and exchange, and what each window of `width` holds, from here on until they are taken.
    pub fn keep_journal(&mut self, width: Nanos) {
        self.domains.keep_journal();
        self.windows = Some(Windows::of_width(width));
    }

    /// What was kept since this was asked before. Windows are of the frames that were pushed.
    pub fn take_journal(&mut self) -> Remains {
        Remains {
            journal: self.domains.take_journal(),
            windows: self.windows.as_mut().map(Windows::take).unwrap_or_default(),
        }
    }

    /// Time of the capture's very first frame.
    #[must_use]
    pub const fn origin(&self) -> Option<CaptureTime> {
        self.origin
    }

    /// The instants between which frames are looked at, as far as the beginning is known.
    pub(super) fn span(&self) -> Span {
        let Range { from, until } = self.settings.range;
        let instant = |bound| match bound {
            Bound::FromStart(after) => self.origin.map(|origin| origin.plus(after)),
            Bound::At(time) => Some(time),
        };
        let is_all = from.is_none() && until.is_none();
        Span { is_all, from: from.and_then(instant), until: until.and_then(instant) }
    }

    /// Whether [`Self::span`] holds for all that follow.
    pub(super) fn knows_span(&self) -> bool {
        self.origin.is_some() || self.settings.range == Range::default()
    }

    /// Takes in a stretch but for its flows, with the records outside the span and the first time of any.
    pub(super) fn take_in(&mut self, tally: &mut Tally, outside: u64, first: Option<CaptureTime>) {
        self.origin = self.origin.or(first);
        self.outside += outside;
        let batch = std::mem::take(&mut self.batch);
        if batch.frames > 0 {
            self.absorb(batch);
        }
        self.absorb_all(tally);
    }

    /// What flows are taken into.
    pub(super) const fn media(&mut self) -> &mut Media {
        &mut self.media
    }

    /// Gives that away, to be filled beside; nothing may be pushed until it is back.
    pub(super) fn lend_media(&mut self) -> Box<Media> {
        Box::new(std::mem::take(&mut self.media))
    }

    /// Takes it back. Groups were counted meanwhile.
    pub(super) fn return_media(&mut self, media: Box<Media>) {
        let Media { streams, groups } = *media;
        let meanwhile = std::mem::take(&mut self.media.groups);
        self.media = Media { streams, groups: groups.join(meanwhile) };
    }

    /// Takes in a stretch that follows what was taken in before. How a capture is cut into stretches makes no
    /// difference to the outcome.
    pub fn absorb(&mut self, stretch: Tally) {
        let mut stretch = stretch;
        self.absorb_all(&mut stretch);
    }

    /// Takes all out of a stretch that follows, but what it holds room for.
    fn absorb_all(&mut self, stretch: &mut Tally) {
        self.frames += stretch.frames;
        self.cut_ptp.add(stretch.cut_ptp);
        self.traffic.add(&stretch.traffic);
        let whole = Tally {
            files: std::mem::take(&mut self.files),
            stamps: std::mem::take(&mut self.stamps),
            groups: std::mem::take(&mut self.media.groups),
            streams: std::mem::take(&mut self.media.streams),
            ..Tally::default()
        };
        let observations = std::mem::take(&mut stretch.observations);
        let whole = whole.join(Tally {
            files: std::mem::take(&mut stretch.files),
            stamps: std::mem::take(&mut stretch.stamps),
            groups: std::mem::take(&mut stretch.groups),
            streams: std::mem::take(&mut stretch.streams),
            ..Tally::default()
        });
        self.files = whole.files;
        self.stamps = whole.stamps;
        self.media.groups = whole.groups;
        self.media.streams = whole.streams;
        self.origin = self.origin.or(self.stamps.first.map(|(time, _)| time));
        if let Some((first, _)) = self.stamps.first.filter(|_| self.watch.latest().is_none()) {
            self.watch.run_to(first);
        }
        let mut jumps = std::mem::take(&mut self.stamps.jumps).into_iter().peekable();
        for (index, observation) in observations.iter().enumerate() {
            while let Some(jump) = jumps.next_if(|jump| jump.before <= index) {
                self.watch.jump(&jump);
            }
            if let Some(time) = observation.place.time {
                self.watch.run_to(time);
            }
            self.observe(observation);
        }
        for jump in jumps {
            self.watch.jump(&jump);
        }
        stretch.observations = observations;
        stretch.clear();
    }

    fn observe(&mut self, original: &Observation) {
        let veiled = self.settings.pseudonyms.as_deref().map(|with| veil::observation(with, original));
        let observation = veiled.as_ref().unwrap_or(original);
        let is_ptp = matches!(observation.what, What::Ptp(_) | What::Undecodable(_) | What::Fragment);
        if self.mirror.is_copy(observation) {
            self.copies += u64::from(is_ptp);
            return;
        }
        if matches!(observation.what, What::Ptp(_)) {
            self.ptp_messages += 1;
            self.domains.push(observation, self.watch.watched());
            return;
        }
        self.multicast.push(observation, &self.watch);
        self.directory.push(observation);
        self.hear(observation);
    }

    /// Takes in what a session announcement, or an answer that describes a session, says.
    fn hear(&mut self, observation: &Observation) {
        let time = observation.place.time;
        match &observation.what {
            What::Sap(message) => {
                let announcement = (message.origin, message.message_identifier_hash);
                if message.is_deletion {
                    self.sessions.delete(time, announcement);
                } else if let Some(session) = message.sdp().and_then(|octets| sdp::parse(octets).ok()) {
                    let session = self.unnamed(session);
                    self.sessions.announce(session, time, announcement);
                }
            }
            What::Description(text) => {
                if let Ok(session) = sdp::parse(text) {
                    let session = self.unnamed(session);
                    self.sessions.push(session, time);
                }
            }
            _ => {}
        }
    }

    /// Takes in a description of a session that is known otherwise than by the capture.
    pub fn announce(&mut self, session: Session) {
        let session = self.unnamed(session);
        self.sessions.push(session, None);
    }

    /// A session as it is, or without names where nobody is to learn those.
    fn unnamed(&self, session: Session) -> Session {
        match &self.settings.pseudonyms {
            Some(with) => veil::session(with, session),
            None => session,
        }
    }
}
