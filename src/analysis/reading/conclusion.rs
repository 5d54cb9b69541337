//! What a reading amounts to once all is read.

use super::super::outcome::Analysis;
use super::super::outcome::CaptureReport;
use super::super::tally::FileTally;
use super::super::veil;
use super::Reading;
use crate::capture::CaptureSummary;
use crate::capture::JoinedSummary;
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
use crate::multicast::GroupUse;
use crate::profiles;
use crate::streams::Context;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::viewpoint::Measured;
use crate::viewpoint::Roles;
use crate::viewpoint::Scope;
use crate::viewpoint::Viewpoint;

/// Step of the stamps where the files do not say (classic pcap's, 1 µs).
const UNKNOWN_RESOLUTION: Nanos = Nanos(1000);

impl Reading {
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
        let wire = self.media.streams.conclude(Context {
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
        let mut on_wire = self.media.groups.groups();
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
pub(in crate::analysis) fn places<'a>(files: impl IntoIterator<Item = &'a CaptureSummary>) -> usize {
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
