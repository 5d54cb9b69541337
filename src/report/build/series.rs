//! Series from an analysis.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::clock::ClockStep;
use crate::clock::Path;
use crate::clock::Whose;
use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::LeaderSamples;
use crate::domains::Rivalry;
use crate::report::anonymous::anonymous;
use crate::report::format::float;
use crate::report::format::seconds;
use crate::report::series::DomainSeries;
use crate::report::series::HoleMark;
use crate::report::series::IntervalClass;
use crate::report::series::LoadSeries;
use crate::report::series::LossMark;
use crate::report::series::OTHERS_KEPT;
use crate::report::series::PeakMark;
use crate::report::series::PortSeries;
use crate::report::series::RivalSpan;
use crate::report::series::Sample;
use crate::report::series::SampleSeries;
use crate::report::series::Series;
use crate::report::series::SourceSeries;
use crate::report::series::StepMark;
use crate::statistics::Point;
use crate::statistics::RateWidth;
use crate::streams::Silence;
use crate::streams::Stream;
use crate::streams::Trace;
use crate::timing;
use crate::timing::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Every series of an analysis.
#[must_use]
pub fn series(analysis: &Analysis) -> Series {
    anonymous(plain_series(analysis), analysis.settings.pseudonyms.as_ref())
}

fn plain_series(analysis: &Analysis) -> Series {
    let at = |time: Option<CaptureTime>| time.map_or(0.0, |time| at_s(analysis, time));
    let mut losses: Vec<LossMark> = analysis
        .wire
        .streams
        .iter()
        .flat_map(|stream| {
            stream.losses.cells().map(|cell| LossMark {
                at_s: at_s(analysis, cell.first),
                until_s: at_s(analysis, cell.last),
                stream: stream.key.to_string(),
                bursts: cell.bursts,
                missing: cell.missing,
            })
        })
        .collect();
    losses.sort_by(|one, other| one.at_s.total_cmp(&other.at_s).then_with(|| one.stream.cmp(&other.stream)));
    Series {
        from_s: at(analysis.earliest()),
        until_s: at(analysis.end),
        domains: analysis.domains.iter().map(|each| domain(analysis, each)).collect(),
        load: load(analysis),
        losses,
        loss_bursts: of_streams(analysis, |stream| stream.burst_count),
        lost: of_streams(analysis, |stream| stream.rtp.as_ref().map_or(0, |rtp| rtp.lost)),
        holes: analysis.wire.link.holes.iter().map(|hole| hole_mark(analysis, *hole)).collect(),
    }
}

fn of_streams(analysis: &Analysis, number: impl Fn(&Stream) -> u64) -> u64 {
    analysis.wire.streams.iter().map(number).fold(0, u64::saturating_add)
}

fn hole_mark(analysis: &Analysis, hole: Silence) -> HoleMark {
    HoleMark { from_s: at_s(analysis, hole.from), until_s: at_s(analysis, hole.until) }
}

fn at_s(analysis: &Analysis, time: CaptureTime) -> f64 {
    seconds(analysis.since_origin(time))
}

fn domain(analysis: &Analysis, domain: &Domain) -> DomainSeries {
    let path = analysis.clocks.path(&domain.key);
    let port = path.and_then(|path| domain.ports.get(&path.port));
    let steps_of_time = path.map(|path| path.steps.as_slice()).unwrap_or_default();
    let own = port.map(|port| port_series(analysis, port, steps_of_time));
    let others = others(domain, port);
    DomainSeries {
        domain: domain.key.to_string(),
        port: own.as_ref().map(|own| own.port.clone()),
        rivals: domain.election.rivalries().iter().map(|rivalry| rival(analysis, rivalry)).collect(),
        others: others.iter().take(OTHERS_KEPT).map(|port| port_series(analysis, port, &[])).collect(),
        others_left_out: others.iter().skip(OTHERS_KEPT).map(|port| port.port.to_string()).collect(),
        offset: own.as_ref().and_then(|own| own.offset.clone()),
        is_one_way: own.as_ref().is_none_or(|own| own.is_one_way),
        path_delay: own.and_then(|own| own.path_delay),
        steps: path.map(|path| steps(analysis, path)).unwrap_or_default(),
        sync_intervals: port
            .and_then(|port| port.series.get(&Kind::Sync))
            .map(|cadence| cadence.gaps().classes().into_iter().map(interval_class).collect())
            .unwrap_or_default(),
    }
}

/// Ports of other clocks that led or were rivals, those with most samples first.
fn others<'a>(domain: &'a Domain, leading: Option<&ClockPort>) -> Vec<&'a ClockPort> {
    let led: BTreeSet<ClockId> = domain
        .election
        .tenures()
        .map(|tenure| tenure.clock)
        .chain(domain.election.rivalries().iter().map(|rivalry| rivalry.clock))
        .collect();
    let taken = |port: &ClockPort| port.samples.as_deref().map_or(0, |samples| samples.one_way().count());
    let is_other = |port: &&ClockPort| {
        leading.is_none_or(|leading| leading.port.clock != port.port.clock)
            && led.contains(&port.port.clock)
            && taken(port) > 0
    };
    let mut others: Vec<&ClockPort> = domain.ports.values().filter(is_other).collect();
    others.sort_by_key(|port| (std::cmp::Reverse(taken(port)), port.port));
    others
}

fn rival(analysis: &Analysis, rivalry: &Rivalry) -> RivalSpan {
    RivalSpan {
        clock: rivalry.clock.to_string(),
        leader: rivalry.leader.to_string(),
        from_s: at_s(analysis, rivalry.since),
        until_s: at_s(analysis, rivalry.until),
    }
}

fn port_series(analysis: &Analysis, port: &ClockPort, steps: &[ClockStep]) -> PortSeries {
    let samples = port.samples.as_deref();
    let two_way = samples.map(LeaderSamples::offset).filter(|series| series.count() > 0);
    let one_way = samples.map(LeaderSamples::one_way);
    let jumps: Vec<(i64, i64)> = one_way
        .map(|one_way| steps.iter().filter_map(|step| jump(one_way, step)).collect())
        .unwrap_or_default();
    PortSeries {
        port: port.port.to_string(),
        is_one_way: two_way.is_none(),
        offset: match two_way {
            Some(two_way) => sampled(analysis, two_way, &jumps),
            None => one_way.and_then(|one_way| sampled(analysis, one_way, &[])),
        },
        path_delay: samples.and_then(|samples| sampled(analysis, samples.path_delay(), &jumps)),
    }
}

/// From the last Sync before a jump to the first one after it. An exchange in between was weighed against both, so its
/// sample is of neither time.
fn jump(one_way: &timing::Series, step: &ClockStep) -> Option<(i64, i64)> {
    let points = one_way.points();
    let after = points.partition_point(|point| point.time_ns < step.time.0);
    let before = points.get(after.checked_sub(1)?)?;
    Some((before.time_ns, step.time.0))
}

const fn interval_class((from, to, times): (Nanos, Nanos, u64)) -> IntervalClass {
    IntervalClass { from_ns: from.0, to_ns: to.0, times }
}

fn steps(analysis: &Analysis, path: &Path) -> Vec<StepMark> {
    let step = |step: &ClockStep| StepMark {
        at_s: at_s(analysis, step.time),
        size_ns: step.size.as_ns_f64(),
        whose: match step.whose {
            Whose::Leader => "leader",
            Whose::Capture => "capture",
            Whose::CannotTell => "cannot-tell",
        },
    };
    path.steps.iter().map(step).collect()
}

/// `None` without samples, or where they lie beyond what nanoseconds of 64 bits hold. Samples within `jumps` are left out.
fn sampled(analysis: &Analysis, series: &timing::Series, jumps: &[(i64, i64)]) -> Option<SampleSeries> {
    let mut points: Vec<(Point, bool)> = series.points().iter().map(|point| (*point, true)).collect();
    if !series.is_whole() {
        let extremes = series.lowest().into_iter().chain(series.highest());
        points.extend(extremes.map(|point| (point, false)));
    }
    let all = points.len();
    points.retain(|(point, _)| !jumps.iter().any(|(from, to)| (*from..*to).contains(&point.time_ns)));
    // What is no sample counts for no percentile either.
    let told = if points.len() == all {
        series.order_statistics()?
    } else {
        let mut kept = timing::Series::with_limit(points.len());
        for (point, _) in points.iter().filter(|(_, is_drawn)| *is_drawn) {
            kept.push(CaptureTime(point.time_ns), ScaledNanos(point.value_scaled_ns));
        }
        kept.order_statistics()?
    };
    let base = ScaledNanos(told.median).nanos()?;
    let from_base = |value: i128| ScaledNanos(value).minus(ScaledNanos::from(base)).as_ns_f64();
    // Where the capture's clock was set back, times overlap; a plot wants them in order. What is of the draw comes first.
    points.sort_by_key(|(point, is_drawn)| (point.time_ns, point.value_scaled_ns, !is_drawn));
    points.dedup_by_key(|(point, _)| *point);
    let sample = |(point, is_drawn): &(Point, bool)| Sample {
        at_s: at_s(analysis, CaptureTime(point.time_ns)),
        value_ns: from_base(point.value_scaled_ns),
        is_drawn: *is_drawn,
    };
    Some(SampleSeries {
        taken: series.count(),
        base_ns: base.0,
        p5_ns: from_base(told.p5),
        p95_ns: from_base(told.p95),
        samples: points.iter().map(sample).collect(),
    })
}

fn load(analysis: &Analysis) -> LoadSeries {
    let from_s = analysis.earliest().map_or(0.0, |from| at_s(analysis, from));
    let link = &analysis.wire.link;
    let width = link.trace.width();
    let grid: Vec<CaptureTime> = link.trace.bins().map(|(start, _)| start).collect();
    let bps = |octets: u64| float(octets.saturating_mul(8)) / seconds(width).max(f64::MIN_POSITIVE);
    let mut sources: BTreeMap<String, (Option<String>, Vec<u64>)> = BTreeMap::new();
    for stream in &analysis.wire.streams {
        let name = stream.source().map_or_else(|| stream.key.to_string(), |ip| ip.to_string());
        let entry = sources.entry(name).or_insert_with(|| {
            (analysis.sender_of(stream).map(|device| device.key.clone()), vec![0; grid.len()])
        });
        spread(&stream.trace, &analysis.runs, &grid, &mut entry.1);
    }
    let mut sources: Vec<(String, Option<String>, Vec<u64>)> =
        sources.into_iter().map(|(source, (device, bins))| (source, device, bins)).collect();
    sources.sort_by_key(|(_, _, bins)| {
        std::cmp::Reverse(bins.iter().fold(0_u64, |sum, bin| sum.saturating_add(*bin)))
    });
    LoadSeries {
        first_s: grid.first().map_or(0.0, |start| at_s(analysis, *start)),
        width_s: seconds(width),
        speed_bps: float(link.speed.0),
        link_bps: link.trace.bins_run_once(&analysis.runs).map(|(_, octets)| bps(octets)).collect(),
        peak_1s: link
            .rate
            .peak(RateWidth::Second)
            // Seconds are the clock's, so that the first one may have begun before the capture.
            .map(|peak| PeakMark { at_s: at_s(analysis, peak.start).max(from_s), bps: float(peak.rate.0) }),
        sources: sources
            .into_iter()
            .map(|(source, device, bins)| SourceSeries {
                source,
                device,
                bps: bins.into_iter().map(bps).collect(),
            })
            .collect(),
    }
}

/// Adds a stream's bins to those of the link, which are as wide or wider and begin at multiples of their width too.
fn spread(trace: &Trace, runs: &[(CaptureTime, CaptureTime)], grid: &[CaptureTime], into: &mut [u64]) {
    for (start, octets) in trace.bins_run_once(runs) {
        let place = grid.partition_point(|bin| *bin <= start).saturating_sub(1);
        if let Some(bin) = into.get_mut(place) {
            *bin = bin.saturating_add(octets);
        }
    }
}
