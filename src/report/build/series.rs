//! Series from an analysis.

use std::collections::BTreeMap;

use crate::analysis::Analysis;
use crate::clock::Path;
use crate::clock::Whose;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::report::anonymous::anonymous;
use crate::report::format::seconds;
use crate::report::series::DomainSeries;
use crate::report::series::LoadSeries;
use crate::report::series::LossMark;
use crate::report::series::Sample;
use crate::report::series::SampleSeries;
use crate::report::series::Series;
use crate::report::series::SourceSeries;
use crate::report::series::StepMark;
use crate::statistics::Point;
use crate::streams::Trace;
use crate::timing;
use crate::timing::ScaledNanos;
use crate::units::CaptureTime;

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
            stream.bursts.iter().map(|burst| LossMark {
                at_s: at_s(analysis, burst.time),
                stream: stream.key.to_string(),
                missing: burst.missing,
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
    }
}

fn at_s(analysis: &Analysis, time: CaptureTime) -> f64 {
    seconds(analysis.since_origin(time))
}

fn domain(analysis: &Analysis, domain: &Domain) -> DomainSeries {
    let path = analysis.clocks.path(&domain.key);
    let port = path.and_then(|path| domain.ports.get(&path.port));
    let samples = port.and_then(|port| port.samples.as_deref());
    let two_way = samples.map(|samples| samples.offset()).filter(|series| series.count() > 0);
    let one_way = samples.map(|samples| samples.one_way());
    DomainSeries {
        domain: domain.key.to_string(),
        offset: two_way.or(one_way).and_then(|series| sampled(analysis, series)),
        is_one_way: two_way.is_none(),
        path_delay: samples.and_then(|samples| sampled(analysis, samples.path_delay())),
        steps: path.map(|path| steps(analysis, path)).unwrap_or_default(),
        sync_intervals: port
            .and_then(|port| port.series.get(&Kind::Sync))
            .map(|cadence| cadence.gaps().counts().iter().map(|(gap, count)| (gap.0, *count)).collect())
            .unwrap_or_default(),
    }
}

fn steps(analysis: &Analysis, path: &Path) -> Vec<StepMark> {
    let step = |step: &crate::clock::ClockStep| StepMark {
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

/// `None` without samples, or where they lie beyond what nanoseconds of 64 bits hold.
fn sampled(analysis: &Analysis, series: &timing::Series) -> Option<SampleSeries> {
    let told = series.order_statistics()?;
    let base = ScaledNanos(told.median).nanos()?;
    let from_base = |value: i128| ScaledNanos(value).minus(ScaledNanos::from(base)).as_ns_f64();
    let mut points: Vec<(Point, bool)> = series.points().iter().map(|point| (*point, true)).collect();
    if !series.is_whole() {
        let extremes = series.lowest().into_iter().chain(series.highest());
        points.extend(extremes.map(|point| (point, false)));
    }
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

#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
fn float(number: u64) -> f64 {
    number as f64
}
