//! A follower's clock against the leader's, as far as its own messages tell.

use super::path::Path;
use super::path::Rate;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::Mechanism;
use crate::domains::PeerSamples;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::statistics::OrderStatistics;
use crate::statistics::Point;
use crate::statistics::interpolate;
use crate::statistics::order_statistics;
use crate::timing::FollowerOffset;
use crate::timing::HARDWARE_UNCERTAINTY;
use crate::timing::ScaledNanos;
use crate::timing::TIMESCALE_TOLERANCE;
use crate::timing::stamping_uncertainty;
use crate::timing::timescales;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Beyond this, and beyond its uncertainty, a clock that stamps its own messages is off (chosen: a millisecond is
/// hundreds of times what any A/V profile allows, and no latency in the stamps' bound explains it).
pub const STAMP_LIMIT: Nanos = Nanos(1_000_000);

/// Beyond this a clock that says so itself is off: one sample at 48 kHz (AES67's usual target, from memory).
pub const MANAGEMENT_LIMIT: Nanos = Nanos(20_833);

/// Beyond this, and three standard errors, a clock does not run at the leader's rate (chosen; a clock that follows
/// stays within 0.5 ppm, common practice, no source).
pub const RATE_LIMIT_PPM: f64 = 5.0;

/// Answers of a clock about itself from which its word counts against it: one alone may be from before it had settled
/// (chosen).
const LEAST_CLAIMS: usize = 3;

/// Span of samples from which a rate is believed (chosen).
const RATE_SPAN: i64 = 30 * NANOS_PER_SECOND;

/// How far off the `originTimestamp` of a healthy v2 request may be: it is 0 or an estimate no worse than ±1 s of the
/// time of sending (IEEE 1588-2008 11.3.2, from memory). Stamps as steady as hardware's are taken as no mere estimate.
const ESTIMATE: Nanos = Nanos::from_seconds(1);

/// Peer-delay stamps farther than this from the leader's time are those of a counter of their own: only their
/// differences matter, so a transparent clock need not set its clock (IEEE 1588-2008 6.5.5, from memory). Chosen.
const OWN_COUNTER: ScaledNanos = ScaledNanos(1_000_000_000 << 16);

/// What an offset was worked out of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    /// Its own word in management answers (`offsetFromMaster`).
    Management,
    /// Its stamps on peer-delay requests it received.
    PeerDelay,
    /// The Syncs it sends on as a boundary clock.
    DownstreamSync,
    /// `originTimestamp` of its requests.
    RequestOrigin,
}

impl Basis {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Management => "management",
            Self::PeerDelay => "peer-delay",
            Self::DownstreamSync => "downstream-sync",
            Self::RequestOrigin => "request-origin",
        }
    }
}

/// How far a clock is off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OffBy {
    /// At the least, whole leap seconds between UTC and TAI left out.
    pub at_least: ScaledNanos,
    /// Whether it is behind the leader rather than ahead.
    pub is_behind: bool,
}

/// A follower's clock less the leader's.
#[derive(Debug, Clone, PartialEq)]
pub struct FollowerTime {
    /// What it was worked out of.
    pub basis: Basis,
    /// The offset, 2⁻¹⁶ ns.
    pub offset: OrderStatistics<i128>,
    /// How far the truth may be from the median: stamping latency, the path, the capture's clock.
    pub uncertainty: Nanos,
    /// Its clock's rate against the leader's.
    pub rate: Option<Rate>,
    /// The offset beyond which the site calls a clock adrift; `None` where it does not say.
    pub limit: Option<Nanos>,
    /// The boundary clock's port that stood in for the leader: that clock's own error is in the offset.
    pub through: Option<PortId>,
    /// When the first sample was taken.
    at: CaptureTime,
}

impl FollowerTime {
    fn new(basis: Basis, points: &[Point], uncertainty: Option<Nanos>, resolution: Nanos) -> Option<Self> {
        let values: Vec<i128> = points.iter().map(|point| point.value_scaled_ns).collect();
        let offset = order_statistics(&values)?;
        let spread = ScaledNanos(offset.p95.saturating_sub(offset.p5));
        let spread = (offset.count >= 8).then_some(spread);
        let span = points.last()?.time_ns.saturating_sub(points.first()?.time_ns);
        let rate = (span >= RATE_SPAN).then(|| Rate::of(points, resolution)).flatten();
        Some(Self {
            basis,
            offset,
            uncertainty: uncertainty.unwrap_or_else(|| stamping_uncertainty(spread)),
            rate,
            limit: None,
            through: None,
            at: CaptureTime(points.first()?.time_ns),
        })
    }

    /// How far it is off at the least, where that is beyond the limit; what the bound cannot explain.
    #[must_use]
    pub fn off_by_at_least(&self) -> Option<OffBy> {
        let usual = if self.basis == Basis::Management { MANAGEMENT_LIMIT } else { STAMP_LIMIT };
        let limit = self.limit.unwrap_or(usual);
        if self.basis == Basis::Management && self.offset.count < LEAST_CLAIMS {
            return None;
        }
        self.beyond(limit)
    }

    /// How far it is off at the least, where that is beyond `limit`.
    #[must_use]
    pub fn beyond(&self, limit: Nanos) -> Option<OffBy> {
        // A clock that stamps in UTC under a leader that counts TAI, or the other way round, is not off by 37 s.
        let median = ScaledNanos(self.offset.median);
        let apparent = timescales(median, self.at, TIMESCALE_TOLERANCE).residual().unwrap_or(median);
        let bound = FollowerOffset { apparent, uncertainty: ScaledNanos::from(self.uncertainty) };
        let at_least = bound.at_least().filter(|off| *off > ScaledNanos::from(limit))?;
        Some(OffBy { at_least, is_behind: apparent < ScaledNanos::ZERO })
    }

    /// Its rate where that is beyond the limit.
    #[must_use]
    pub fn off_rate(&self) -> Option<Rate> {
        self.rate
            .filter(|rate| rate.is_significant() && rate.ppm.abs() > RATE_LIMIT_PPM + 3.0 * rate.sigma_ppm)
    }
}

/// All that is known of a clock's time in a domain that somebody else leads, best basis first.
#[must_use]
pub fn times(domain: &Domain, path: Option<&Path>, clock: ClockId, resolution: Nanos) -> Vec<FollowerTime> {
    if domain.election.leader() == Some(clock) {
        return Vec::new();
    }
    // A boundary clock whose own Syncs stand in for the leader's cannot be measured by them.
    let path = path.filter(|path| path.port.clock != clock);
    let leader = path.and_then(|path| domain.ports.get(&path.port)).and_then(|port| port.samples.as_deref());
    let leader_points = leader.map(|samples| samples.one_way().points()).unwrap_or_default();
    let stand_in = path.filter(|path| path.is_relayed).map(|path| path.port);
    let through = |time: FollowerTime| FollowerTime { through: stand_in, ..time };
    let mut times = Vec::new();
    for port in domain.ports_of(clock) {
        if let Some(claims) = &port.claims.offsets {
            times.extend(FollowerTime::new(
                Basis::Management,
                claims.points(),
                Some(Nanos::ZERO),
                resolution,
            ));
        }
        if let Some(stamps) = port.peer.as_deref().map(PeerSamples::ahead) {
            // Its clock less the capture's, and the capture's less the leader's at the same instant.
            let points = sum(stamps.points(), leader_points);
            let time = FollowerTime::new(Basis::PeerDelay, &points, None, resolution);
            // gPTP stamps peer delay by a free-running LocalClock (802.1AS-2020 8.4.1, from memory).
            let set = |time: &FollowerTime| {
                !domain.key.is_gptp() && ScaledNanos(time.offset.median).abs() <= OWN_COUNTER
            };
            times.extend(time.filter(set).map(through));
        }
        let relays = port.offer.is_some_and(|offer| offer.grandmaster != clock);
        if let Some(samples) = port.samples.as_deref().filter(|_| relays) {
            let points = sum(&negated(samples.one_way().points()), leader_points);
            let time = FollowerTime::new(Basis::DownstreamSync, &points, None, resolution);
            times.extend(time.map(through));
        }
    }
    let asked = domain.requests_of(clock).filter(|(_, how, _)| *how == Mechanism::EndToEnd);
    for (_, _, requester) in asked {
        if let Some(own) = requester.own_time() {
            let time = FollowerTime::new(Basis::RequestOrigin, own.points(), None, resolution);
            let through = answered_by_another(domain, requester);
            times.extend(time.map(|time| match clock {
                ClockId::V2(_) if time.uncertainty > HARDWARE_UNCERTAINTY => {
                    FollowerTime { uncertainty: ESTIMATE, through, ..time }
                }
                _ => FollowerTime { through, ..time },
            }));
        }
    }
    times.sort_by_key(|time| time.basis);
    times
}

/// Who answers a follower most, where that is not the leader itself.
fn answered_by_another(domain: &Domain, requester: &Requester) -> Option<PortId> {
    let (port, _) = requester.responders().iter().max_by_key(|(_, count)| **count)?;
    (domain.election.leader() != Some(port.clock)).then_some(*port)
}

/// The sum of two series at the first one's instants; instants that the other does not cover are left out.
fn sum(points: &[Point], other: &[Point]) -> Vec<Point> {
    let Some((first, last)) = other.first().zip(other.last()) else { return Vec::new() };
    let covered = points.iter().filter(|point| (first.time_ns..=last.time_ns).contains(&point.time_ns));
    let both = |point: &Point| {
        let value_scaled_ns = point.value_scaled_ns.saturating_add(interpolate(other, point.time_ns)?);
        Some(Point { time_ns: point.time_ns, value_scaled_ns })
    };
    covered.filter_map(both).collect()
}

fn negated(points: &[Point]) -> Vec<Point> {
    let turn = |point: &Point| Point { value_scaled_ns: point.value_scaled_ns.saturating_neg(), ..*point };
    points.iter().map(turn).collect()
}
