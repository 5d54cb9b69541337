//! The capture's clock against a domain's leader.

use super::stability;
use super::stability::StabilityRow;
use super::steps;
use super::steps::ClockStep;
use super::steps::SetBacks;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Domains;
use crate::domains::Kind;
use crate::domains::LeaderSamples;
use crate::domains::PortId;
use crate::statistics::Distribution;
use crate::statistics::OrderStatistics;
use crate::statistics::Point;
use crate::statistics::Slope;
use crate::statistics::Summary;
use crate::statistics::lower_envelope;
use crate::statistics::median;
use crate::statistics::order_statistics;
use crate::statistics::quantile;
use crate::statistics::theil_sen;
use crate::statistics::thin;
use crate::statistics::without_slope;
use crate::timing::ScaledNanos;
use crate::timing::Series;
use crate::timing::TIMESCALE_TOLERANCE;
use crate::timing::Timescales;
use crate::timing::TwoWay;
use crate::timing::timescales;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Samples from which a rate is worked out (chosen: the minimum filter's window in the reference).
const LEAST_FOR_RATE: usize = 16;

/// Points the rate of one series is worked out of, so that hundreds of series stay cheap (chosen).
pub(super) const POINTS_FOR_RATE: usize = 400;

/// A mean path delay below this is no place but stamps that make no sense: software stamps at the leader read a few
/// µs below 0 (−3.4 µs on a real capture), hundreds at the very worst (chosen).
const LEAST_PLAUSIBLE_DELAY: ScaledNanos = ScaledNanos(-(1_000_000 << 16));

/// Exchanges from which the path is said to be none (chosen: a single one may be off by anything).
const LEAST_EXCHANGES: usize = 3;

/// A leader whose stamps gain less than this in a second of the capture stands still (chosen).
const STANDING_STILL: f64 = 1e-3;

/// A rate, and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// How much faster the one clock runs than the other, 10⁻⁶.
    pub ppm: f64,
    /// Standard error for white noise, at least that of the stamps' resolution.
    pub sigma_ppm: f64,
}

impl Rate {
    /// The Theil–Sen slope of a series with stamps of `resolution`, or `None` for too few samples.
    #[must_use]
    pub fn of(points: &[Point], resolution: Nanos) -> Option<Self> {
        if points.len() < LEAST_FOR_RATE {
            return None;
        }
        let slope: Slope = theil_sen(&thin(points, POINTS_FOR_RATE))?;
        let step = u32::try_from(resolution.0).unwrap_or(u32::MAX);
        Some(Self { ppm: slope.ppm, sigma_ppm: slope.standard_error_at_resolution_ppm(step) })
    }

    /// Whether it is more than three standard errors from 0.
    #[must_use]
    pub fn is_significant(&self) -> bool {
        self.ppm.abs() > 3.0 * self.sigma_ppm
    }
}

/// What the offset was worked out of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PathBasis {
    /// Sync one way and requests with answers the other way.
    TwoWay {
        /// Exchanges used.
        exchanges: u64,
    },
    /// Sync only: the offset includes the way from the leader to the capture point.
    OneWay {
        /// Syncs used.
        syncs: u64,
    },
}

/// The capture's clock against the leader.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// The port whose Syncs were used.
    pub port: PortId,
    /// Whether that is a boundary clock's port and not the leader's own: what that clock is off by is in the offset.
    pub is_relayed: bool,
    /// First and last Sync of the longest stretch without a jump, which all values are of; `None` where nothing jumped
    /// and they are of the whole capture.
    pub stretch: Option<(CaptureTime, CaptureTime)>,
    /// Whether the jitter is of the whole capture, jumps included, because not every Sync of the stretch is kept.
    pub is_jitter_of_all: bool,
    /// What it was worked out of.
    pub basis: PathBasis,
    /// θ = capture's clock less the leader's, 2⁻¹⁶ ns; off by the path's asymmetry.
    pub offset: OrderStatistics<i128>,
    /// θ by the exchanges with the shortest way, rate taken out, at the middle of the capture, 2⁻¹⁶ ns: queueing only
    /// adds, so these are the nearest to the truth. `None` below 16 exchanges or without a rate.
    pub offset_at_least_delay: Option<i128>,
    /// How the two timescales stand to each other.
    pub timescales: Timescales,
    /// `meanPathDelay` between leader and capture point, 2⁻¹⁶ ns; `None` where no exchange was seen.
    pub mean_path_delay: Option<OrderStatistics<i128>>,
    /// Whether that delay is too small to be told from none, or a little below 0.
    pub is_no_way: bool,
    /// Whether that was seen often enough to say that the capture was taken at this port.
    pub at_leader: bool,
    /// The capture's clock's rate against the leader's. Which of the two is wrong cannot be told from one pair.
    pub rate: Option<Rate>,
    /// Slope of the lower edge of the one-way delays, 10⁻⁶: the rate as the luckiest Syncs show it.
    pub envelope_ppm: Option<f64>,
    /// |change of the one-way delay from Sync to Sync|.
    pub sync_jitter: Option<Summary>,
    /// One-way delay less the smallest, rate taken out (PDV, RFC 5481), 2⁻¹⁶ ns.
    pub delay_variation: Option<OrderStatistics<i128>>,
    /// Allan and time deviations and MTIE of the one-way series; empty where too little or too much is missing.
    pub stability: Vec<StabilityRow>,
    /// Jumps.
    pub steps: Vec<ClockStep>,
}

impl Path {
    /// The median delay between the port and the capture point; `None` for fewer than three exchanges, or where it is so
    /// far below 0 that the stamps make no sense.
    #[must_use]
    pub fn plausible_delay(&self) -> Option<Nanos> {
        let makes_sense = |delay: &OrderStatistics<i128>| {
            delay.count >= LEAST_EXCHANGES && delay.median >= LEAST_PLAUSIBLE_DELAY.0
        };
        ScaledNanos(self.mean_path_delay.filter(makes_sense)?.median).nanos()
    }

    /// The path of a domain whose leader gives time in view; `resolution` is the coarsest step of a stamp.
    /// The clocks of the other `domains` tell whose time jumped.
    #[must_use]
    pub fn of(domains: &Domains, domain: &Domain, resolution: Nanos) -> Option<Self> {
        Self::of_stamps(domains, domain, resolution, &[])
    }

    /// The same where the capture's clock was set back between.
    #[must_use]
    pub fn of_stamps(
        domains: &Domains,
        domain: &Domain,
        resolution: Nanos,
        set_backs: SetBacks<'_>,
    ) -> Option<Self> {
        let (port, samples) = leader_port(domain)?;
        let points = samples.one_way().points();
        let steps = steps::find(domains, domain, port, points, set_backs);
        let calm = steps::longest_calm(points, &steps);
        let stretch = calm
            .first()
            .zip(calm.last())
            .filter(|_| !steps.is_empty())
            .map(|(first, last)| (CaptureTime(first.time_ns), CaptureTime(last.time_ns)));
        let one_way = statistics(samples.one_way(), stretch)?;
        let rate = Rate::of(calm, resolution);
        let flat = rate.map(|rate| without_slope(calm, rate.ppm));
        let two_way = statistics(samples.offset(), stretch);
        let delay = statistics(samples.path_delay(), stretch);
        let basis = match (two_way, stretch) {
            (None, None) => PathBasis::OneWay { syncs: samples.one_way().count() },
            (None, Some(_)) => PathBasis::OneWay { syncs: number(one_way.count) },
            (Some(_), None) => PathBasis::TwoWay { exchanges: samples.offset().count() },
            (Some(some), Some(_)) => PathBasis::TwoWay { exchanges: number(some.count) },
        };
        let offset = two_way.unwrap_or(one_way);
        let at = calm.first().map_or(CaptureTime(0), |point| CaptureTime(point.time_ns));
        let is_no_way = delay.is_some_and(|delay| is_no_way(delay.median, resolution));
        let is_jitter_of_all = stretch.is_some() && !samples.one_way().is_whole();
        Some(Self {
            port: port.port,
            is_relayed: domain.election.leader() != Some(port.port.clock),
            stretch,
            basis,
            timescales: timescales(ScaledNanos(offset.median), at, TIMESCALE_TOLERANCE),
            offset,
            offset_at_least_delay: rate.and_then(|rate| at_least_delay(samples, stretch, rate)),
            mean_path_delay: delay,
            is_no_way,
            at_leader: is_no_way && delay.is_some_and(|delay| delay.count >= LEAST_EXCHANGES),
            rate: rate.and_then(|rate| Some(Rate { ppm: per_leader_second(rate.ppm)?, ..rate })),
            envelope_ppm: (calm.len() >= LEAST_FOR_RATE)
                .then(|| lower_envelope(calm).and_then(|envelope| per_leader_second(envelope.ppm)))
                .flatten(),
            sync_jitter: if stretch.is_none() || is_jitter_of_all {
                samples.jitter().summary()
            } else {
                jitter(calm).summary()
            },
            is_jitter_of_all,
            delay_variation: flat.as_deref().and_then(variation),
            stability: stability::rows(calm),
            steps,
        })
    }
}

fn number(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

/// The points within a stretch; all where there is none.
fn within(
    points: &[Point],
    stretch: Option<(CaptureTime, CaptureTime)>,
) -> impl Iterator<Item = &Point> + Clone {
    let inside =
        move |point: &&Point| stretch.is_none_or(|(first, last)| (first.0..=last.0).contains(&point.time_ns));
    points.iter().filter(inside)
}

fn statistics(series: &Series, stretch: Option<(CaptureTime, CaptureTime)>) -> Option<OrderStatistics<i128>> {
    if stretch.is_none() {
        return series.order_statistics();
    }
    order_statistics(&within(series.points(), stretch).map(|point| point.value_scaled_ns).collect::<Vec<_>>())
}

/// |change from each point to the next|.
fn jitter(points: &[Point]) -> Distribution {
    let mut jitter = Distribution::default();
    for pair in points.windows(2) {
        if let [before, after] = pair
            && let Some(step) =
                ScaledNanos(after.value_scaled_ns.saturating_sub(before.value_scaled_ns)).abs().nanos()
        {
            jitter.record(step);
        }
    }
    jitter
}

/// A slope over the capture's time as one over the leader's: with x = C − G, dx/dG = s / (1 − s) for s = dx/dC. At
/// 100 ppm the two differ by 0.01 ppm. `None` where the leader's stamps stand still or go back, which is no rate.
fn per_leader_second(ppm: f64) -> Option<f64> {
    let leader_seconds = 1.0 - ppm * 1e-6;
    (leader_seconds > STANDING_STILL).then(|| ppm / leader_seconds)
}

/// The leader's time as its Syncs show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeaderTime<'a> {
    /// θ = capture's clock less the leader's, one way, in order of time: the way from the leader to here is in it.
    pub points: &'a [Point],
    /// `meanPathDelay` between leader and capture point, where it is known: what is in θ too much.
    pub delay: Option<ScaledNanos>,
    /// Jumps of θ.
    pub steps: &'a [ClockStep],
}

impl<'a> LeaderTime<'a> {
    /// Of a domain whose path has a rate; stamps that stand still give none.
    #[must_use]
    pub fn of(domain: &'a Domain, path: &'a Path) -> Option<Self> {
        path.rate?;
        let (_, samples) = leader_port(domain)?;
        let delay = path.plausible_delay().map(ScaledNanos::from);
        Some(Self { points: samples.one_way().points(), delay, steps: &path.steps })
    }
}

/// The port that announces the leader with the fewest steps and whose Syncs are in view.
fn leader_port(domain: &Domain) -> Option<(&ClockPort, &LeaderSamples)> {
    let offers = domain.leading_ports().filter_map(|port| {
        let offer = port.offer?;
        let samples = port.samples.as_deref().filter(|samples| samples.one_way().count() > 0)?;
        Some((offer.steps_removed, std::cmp::Reverse(port.count(Kind::Sync)), port, samples))
    });
    let best = offers.min_by_key(|(steps, syncs, port, _)| (*steps, *syncs, port.port))?;
    Some((best.2, best.3))
}

fn is_no_way(delay_scaled_ns: i128, resolution: Nanos) -> bool {
    if delay_scaled_ns < LEAST_PLAUSIBLE_DELAY.0 {
        return false;
    }
    let both =
        TwoWay { to_capture: ScaledNanos(delay_scaled_ns), from_request: ScaledNanos(delay_scaled_ns) };
    both.is_at_leader(ScaledNanos::from(resolution))
}

/// The median offset of the twentieth of exchanges with the shortest way, moved along the rate to the series' middle.
fn at_least_delay(
    samples: &LeaderSamples,
    stretch: Option<(CaptureTime, CaptureTime)>,
    rate: Rate,
) -> Option<i128> {
    // Both series took in the same exchanges in the same order, so they are thinned alike.
    let both: Vec<(&Point, &Point)> = within(samples.offset().points(), stretch)
        .zip(within(samples.path_delay().points(), stretch))
        .collect();
    if both.len() < LEAST_FOR_RATE {
        return None;
    }
    let middle = both.get(both.len() / 2)?.0.time_ns;
    let short = quantile(&both.iter().map(|(_, delay)| delay.value_scaled_ns).collect::<Vec<_>>(), 50)?;
    // The line is taken out through the first point's time, so that is the middle.
    let middle = Point { time_ns: middle, value_scaled_ns: 0 };
    let near = both.iter().filter(|(_, delay)| delay.value_scaled_ns <= short);
    let points: Vec<Point> = [middle].into_iter().chain(near.map(|(offset, _)| **offset)).collect();
    let flat = without_slope(&points, rate.ppm);
    median(&flat.iter().skip(1).map(|point| point.value_scaled_ns).collect::<Vec<_>>())
}

fn variation(flat: &[Point]) -> Option<OrderStatistics<i128>> {
    let least = flat.iter().map(|point| point.value_scaled_ns).min()?;
    let above: Vec<i128> = flat.iter().map(|point| point.value_scaled_ns.saturating_sub(least)).collect();
    order_statistics(&above)
}
