//! The fold over a capture, and its outcome.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::digest::Span;
use super::outcome::Analysis;
use super::outcome::CaptureReport;
use super::outcome::Remains;
use super::tally::CutPtp;
use super::tally::FileTally;
use super::tally::Tally;
use super::veil;
use crate::capture::CaptureSummary;
use crate::capture::JoinedSummary;
use crate::capture::Record;
use crate::clock::Clocks;
use crate::clock::LeaderTime;
use crate::devices;
use crate::devices::MediaView;
use crate::devices::Owners;
use crate::devices::SiteDomain;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::domains::DomainName;
use crate::domains::Domains;
use crate::domains::Mechanism;
use crate::domains::Views;
use crate::multicast::GroupCounts;
use crate::multicast::GroupUse;
use crate::multicast::Multicast;
use crate::names::Directory;
use crate::observations::MirrorDuplicates;
use crate::observations::Observation;
use crate::observations::Stamps;
use crate::observations::Watch;
use crate::observations::What;
use crate::profiles;
use crate::pseudonyms::Pseudonyms;
use crate::sdp;
use crate::sdp::Session;
use crate::site::Site;
use crate::streams::Context;
use crate::streams::Seen;
use crate::streams::Sessions;
use crate::streams::Streams;
use crate::streams::Windows;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::viewpoint::Measured;
use crate::viewpoint::Roles;
use crate::viewpoint::Scope;
use crate::viewpoint::Traffic;
use crate::viewpoint::Viewpoint;

/// Step of the stamps where the files do not say (classic pcap's, 1 µs).
const UNKNOWN_RESOLUTION: Nanos = Nanos(1000);

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
    /// Of frames that are no flow's.
    groups: GroupCounts,
    multicast: Multicast,
    directory: Directory,
    /// Flows and load of all that was pushed or absorbed.
    streams: Streams,
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
        Self { settings, streams: Streams::from_the_beginning(), ..Self::default() }
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
        if !self.streams.record(record, &frame) {
            self.groups.record(&frame);
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

    /// Takes in a stretch whose flows were looked at only, with the records outside the span and the first time of any.
    pub(super) fn take_in<'a>(
        &mut self,
        tally: Tally,
        seen: &Seen,
        outside: u64,
        first: Option<CaptureTime>,
        octets: impl Fn(std::ops::Range<usize>) -> &'a [u8],
    ) {
        self.origin = self.origin.or(first);
        self.outside += outside;
        let batch = std::mem::take(&mut self.batch);
        if batch.frames > 0 {
            self.absorb(batch);
        }
        self.absorb(tally);
        let groups = &mut self.groups;
        self.streams.take_in(seen, octets, |group| groups.record_media(group));
    }

    /// Takes in a stretch that follows what was taken in before. How a capture is cut into stretches makes no
    /// difference to the outcome.
    pub fn absorb(&mut self, stretch: Tally) {
        self.frames += stretch.frames;
        self.cut_ptp.add(stretch.cut_ptp);
        let whole = Tally {
            files: std::mem::take(&mut self.files),
            stamps: std::mem::take(&mut self.stamps),
            traffic: std::mem::take(&mut self.traffic),
            groups: std::mem::take(&mut self.groups),
            streams: std::mem::take(&mut self.streams),
            ..Tally::default()
        };
        let observations = stretch.observations;
        let whole = whole.join(Tally { observations: Vec::new(), ..stretch });
        self.files = whole.files;
        self.stamps = whole.stamps;
        self.traffic = whole.traffic;
        self.groups = whole.groups;
        self.streams = whole.streams;
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

    /// Ends the reading with what the files said of themselves.
    #[must_use]
    pub fn finish(mut self, mut files: JoinedSummary) -> Analysis {
        if self.settings.pseudonyms.is_some() {
            veil::files(&mut files);
        }
        let batch = std::mem::take(&mut self.batch);
        self.absorb(batch);
        if let Some(latest) = self.stamps.latest {
            self.watch.see(latest);
        }
        let end = self.watch.latest();
        if let Some((end, place)) = end {
            let views = Views::new(files.captures.iter().map(|file| file.first.zip(file.last)));
            self.domains.finish(end, place, self.watch.watched(), &views);
            self.multicast.finish(end, &self.watch);
        }
        if let Some(windows) = &mut self.windows {
            windows.close();
        }
        let remains = self.take_journal();
        let expected = self.settings.site.as_deref();
        let site = SiteDomain::expected(&self.domains, self.settings.domain, expected);
        let origin = self.origin.unwrap_or(CaptureTime(0));
        let resolution = files.captures.iter().filter_map(|file| file.resolution).max();
        let set_backs: Vec<(CaptureTime, CaptureTime)> =
            self.watch.set_backs().iter().map(|set_back| (set_back.from, set_back.to)).collect();
        let runs = self.stamps.first.map_or_else(Vec::new, |(first, _)| self.watch.runs(first));
        let stamps = resolution.unwrap_or(UNKNOWN_RESOLUTION);
        let mut clocks = Clocks::of_stamps(&self.domains, stamps, &set_backs)
            .limited_to(expected.and_then(|site| site.clock.max_offset));
        let measured = Measured {
            mean_path_delay: path_delay(&clocks, &site),
            resolution,
            ptp_messages: self.ptp_messages,
            copies: self.copies,
            places: places(&files.captures),
        };
        let viewpoint = Viewpoint::judge(&self.traffic, &Roles::of(&self.domains), measured);
        let scope = Scope::new(&self.traffic, &viewpoint);
        let mut devices = devices::devices(&self.domains, &clocks, &site, &scope, origin);
        devices::name(&mut devices, &self.directory);
        let start = self.stamps.first.map(|(time, _)| time);
        let end = end.map(|(time, _)| time);
        let leader = leader_time(&self.domains, &clocks, &site);
        let leaders = leaders(&self.domains);
        let by_domain = leader_times(&self.domains, &clocks, &site);
        let homes = devices::homes(&devices);
        let wire = self.streams.conclude(Context {
            sessions: &self.sessions,
            leader,
            by_domain: &by_domain,
            homes: &homes,
            leaders: &leaders,
            resolution: stamps,
            set_backs: &set_backs,
            runs: &runs,
            link_speed: self.settings.link_speed.or(expected.and_then(|site| site.link.speed)),
            file_speed: file_speed(&files),
        });
        let rates = wire.streams.iter().filter_map(|stream| stream.media_rate.as_ref());
        clocks.capture_went_on_at(&rates.flat_map(|rate| rate.went_on_at.iter().copied()).collect());
        let span = end.zip(start).map_or(Nanos::ZERO, |(end, start)| end.since(start));
        let view = MediaView {
            span: if set_backs.is_empty() { span } else { self.watch.ran() },
            leader_seen: !leaders.is_empty(),
            requests_seen: requests_in_view(&self.domains),
        };
        devices::judge_media(&mut devices, &wire.streams, view);
        // Once more for the senders of media.
        devices::name(&mut devices, &self.directory);
        if let Some(expected) = expected {
            devices::name_listed(&mut devices, &expected.devices);
        }
        let mut on_wire = self.groups.groups();
        on_wire.extend(wire.streams.iter().filter_map(|stream| stream.key.group()));
        let group_use = GroupUse::of(&self.multicast, &on_wire, &scope, end);
        let mut tallies = self.files;
        let captures = files.captures.into_iter().zip(0_u32..).map(|(summary, index)| {
            let mut tally = tallies.remove(&index).unwrap_or_default();
            tally.shorten();
            let FileTally { undecodable, problems } = tally;
            CaptureReport { summary, undecodable, problems }
        });
        Analysis {
            captures: captures.collect(),
            is_partial: files.unreadable.iter().any(|(_, error)| error.is_stop()),
            unreadable: files.unreadable.into_iter().map(|(name, error)| (name, error.to_string())).collect(),
            gaps: files.gaps,
            settings: self.settings,
            origin: self.origin,
            start,
            end,
            watched: *self.watch.watched(),
            set_backs: self.watch.set_backs().to_vec(),
            ran: self.watch.ran(),
            runs,
            stamps_returned: self.watch.returns(),
            stamps_returned_from: self.watch.returned_from(),
            frames: self.frames,
            frames_outside: self.outside,
            ptp_messages: self.ptp_messages,
            cut_ptp: self.cut_ptp,
            mirror_copies: self.copies,
            profiles: self.domains.iter().map(|domain| (domain.key, profiles::score(domain))).collect(),
            domains: self.domains,
            clocks,
            site,
            owners: Owners::of(&devices),
            devices,
            viewpoint,
            scope,
            multicast: self.multicast,
            group_use,
            directory: self.directory,
            wire,
            sessions: self.sessions,
            remains,
        }
    }
}

/// The delay from the capture point to the site's leader, where exchanges show it.
fn path_delay(clocks: &Clocks, site: &SiteDomain) -> Option<Nanos> {
    // The way to a boundary clock's port is none to the leader.
    let paths = clocks.paths().filter(|(key, path)| site.is(key) && !path.is_relayed);
    paths.filter_map(|(_, path)| path.plausible_delay()).min()
}

/// How many places the files may be of: pieces that follow one another are of one, files of the same time may be
/// of as many as there are.
pub(super) fn places<'a>(files: impl IntoIterator<Item = &'a CaptureSummary>) -> usize {
    let mut spans: Vec<(CaptureTime, CaptureTime)> =
        files.into_iter().filter_map(|file| file.first.zip(file.last)).collect();
    spans.sort_unstable();
    let overlap = spans.windows(2).any(|pair| matches!(pair, [before, after] if after.0 < before.1));
    if overlap { spans.len() } else { 1 }
}

/// The leaders of the version 2 domains.
fn leaders(domains: &Domains) -> Vec<(Option<u8>, [u8; 8])> {
    let leader = |domain: &Domain| match (domain.election.leader()?, domain.key.name) {
        (ClockId::V2(identity), DomainName::Number { number, .. }) => Some((Some(number), identity.0)),
        (ClockId::V2(identity), _) => Some((None, identity.0)),
        _ => None,
    };
    domains.iter().filter_map(leader).collect()
}

/// Whether requests of followers pass here: then those of others would as well.
fn requests_in_view(domains: &Domains) -> bool {
    let mut requesters = domains.iter().flat_map(|domain| domain.requesters.iter());
    requesters.any(|((_, mechanism), requester)| *mechanism == Mechanism::EndToEnd && requester.seen() > 0)
}

/// The time of the site's leader, else of any there is.
fn leader_time<'a>(domains: &'a Domains, clocks: &'a Clocks, site: &SiteDomain) -> Option<LeaderTime<'a>> {
    let of = |key: &DomainKey| LeaderTime::of(domains.get(key)?, clocks.path(key)?);
    site.keys.iter().find_map(of).or_else(|| domains.iter().find_map(|domain| of(&domain.key)))
}

/// The time of each numbered domain's leader, the site's first.
fn leader_times<'a>(
    domains: &'a Domains,
    clocks: &'a Clocks,
    site: &SiteDomain,
) -> Vec<(u8, LeaderTime<'a>)> {
    let of = |key: &DomainKey| {
        let DomainName::Number { number, .. } = key.name else { return None };
        Some((number, LeaderTime::of(domains.get(key)?, clocks.path(key)?)?))
    };
    site.keys.iter().chain(domains.iter().map(|domain| &domain.key)).filter_map(of).collect()
}

/// The link's speed, where the files that tell one tell the same.
fn file_speed(files: &JoinedSummary) -> Option<BitsPerSecond> {
    let mut speeds = files.captures.iter().filter_map(|file| file.link_speed);
    let first = speeds.next()?;
    speeds.all(|speed| speed == first).then_some(first)
}
