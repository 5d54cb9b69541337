//! Paths, profiles and followers' times for the document.

use crate::analysis::Analysis;
use crate::clock::FollowerTime;
use crate::clock::Path;
use crate::clock::PathBasis;
use crate::clock::Peer;
use crate::clock::StabilityRow;
use crate::profiles::ProfileFit;
use crate::report::document::DeviationDocument;
use crate::report::document::DeviceOffsetDocument;
use crate::report::document::PathDocument;
use crate::report::document::PeerDocument;
use crate::report::document::ProfileDocument;
use crate::report::document::SpreadDocument;
use crate::report::document::StabilityDocument;
use crate::report::document::StretchDocument;
use crate::report::format::seconds;
use crate::statistics::OrderStatistics;
use crate::timing::ScaledNanos;
use crate::timing::Timescales;
use crate::units::Nanos;

pub(super) fn path(analysis: &Analysis, path: &Path) -> PathDocument {
    let timescales = match path.timescales {
        Timescales::Same { .. } => "same",
        Timescales::CaptureInUtc { .. } => "capture-utc-leader-tai",
        Timescales::LeaderInUtc { .. } => "capture-tai-leader-utc",
        Timescales::Unrelated => "unrelated",
    };
    PathDocument {
        port: path.port.to_string(),
        is_relayed: path.is_relayed,
        stretch: path.stretch.map(|(from, until)| StretchDocument {
            from_at_s: seconds(analysis.since_origin(from)),
            until_at_s: seconds(analysis.since_origin(until)),
        }),
        exchanges: match path.basis {
            PathBasis::TwoWay { exchanges } => exchanges,
            PathBasis::OneWay { .. } => 0,
        },
        offset_ns: spread(&path.offset),
        offset_at_least_delay_ns: path
            .offset_at_least_delay
            .and_then(|offset| ScaledNanos(offset).nanos())
            .map(|nanos| nanos.0),
        timescales,
        residual_offset_ns: path.timescales.residual().and_then(ScaledNanos::nanos).map(|nanos| nanos.0),
        mean_path_delay_ns: path.mean_path_delay.filter(|_| !path.is_no_way).as_ref().map(spread),
        at_leader: path.at_leader,
        rate_ppm: path.rate.map(|rate| rate.ppm),
        rate_sigma_ppm: path.rate.map(|rate| rate.sigma_ppm),
        rate_is_seen: path.rate.map(|rate| rate.is_significant()),
        envelope_ppm: path.envelope_ppm,
        sync_jitter_ns: path.sync_jitter.map(super::domain::spread_document),
        delay_variation_ns: path.delay_variation.as_ref().map(spread),
        stability: path.stability.iter().map(stability).collect(),
        basis: basis(path),
    }
}

fn basis(path: &Path) -> String {
    let mut text = match path.basis {
        PathBasis::TwoWay { exchanges } => format!(
            "two-way: {exchanges} requests with their answers between the Syncs around them; a path that is not \
             alike both ways is in the offset by half the difference"
        ),
        PathBasis::OneWay { syncs } => format!(
            "one-way: {syncs} Syncs and no request with its answer; the delay from the leader to here is in the offset"
        ),
    };
    if path.is_relayed {
        text.push_str("; measured at a boundary clock's port, so what that clock is off by is in it");
    }
    if path.at_leader {
        text.push_str(
            "; the path is too short to be told from none: captured at that port or right beside it",
        );
    } else if path.is_no_way {
        text.push_str(
            "; the path is too short to be told from none, but too few exchanges were seen to say so",
        );
    }
    if path.stretch.is_some() {
        text.push_str("; time jumped, so all is of the longest stretch without a jump");
        if path.is_jitter_of_all {
            text.push_str(" but the Sync jitter, which is of the whole capture");
        }
    }
    text
}

fn spread(values: &OrderStatistics<i128>) -> SpreadDocument {
    let ns = |scaled: i128| {
        let beyond = if scaled < 0 { i64::MIN } else { i64::MAX };
        ScaledNanos(scaled).nanos().map_or(beyond, |nanos| nanos.0)
    };
    SpreadDocument {
        median: ns(values.median),
        p5: ns(values.p5),
        p95: ns(values.p95),
        min: ns(values.min),
        max: ns(values.max),
        count: u64::try_from(values.count).unwrap_or(u64::MAX),
    }
}

fn stability(row: &StabilityRow) -> StabilityDocument {
    StabilityDocument {
        tau_s: seconds(Nanos(row.tau_ns)),
        adev: row.adev,
        mdev: row.mdev,
        tdev_ns: row.tdev_ns,
        mtie_ns: row.mtie_ns,
    }
}

pub(super) fn peer(peer: &Peer) -> PeerDocument {
    PeerDocument {
        port: peer.port.to_string(),
        exchanges: peer.exchanges,
        turnaround_ns: peer.turnaround.as_ref().map(spread),
        link_delay_ns: peer.link_delay.as_ref().map(spread),
        rate_ppm: peer.rate.map(|rate| rate.ppm),
        rate_sigma_ppm: peer.rate.map(|rate| rate.sigma_ppm),
    }
}

pub(super) fn profiles(fits: &[ProfileFit]) -> Vec<ProfileDocument> {
    fits.iter().map(profile).collect()
}

fn profile(fit: &ProfileFit) -> ProfileDocument {
    let deviations = fit.deviations.iter().map(|deviation| DeviationDocument {
        item: deviation.item.to_string(),
        seen: deviation.seen.clone(),
        expected: deviation.expected.clone(),
        source: deviation.source,
        confidence: deviation.confidence.name(),
    });
    ProfileDocument {
        name: fit.name,
        fits: fit.fits,
        seen_enough: fit.seen_enough,
        deviations: deviations.collect(),
    }
}

pub(super) fn device_offset(time: &FollowerTime) -> DeviceOffsetDocument {
    let offset = spread(&time.offset);
    DeviceOffsetDocument {
        median: offset.median,
        p5: offset.p5,
        p95: offset.p95,
        count: offset.count,
        basis: time.basis.name(),
        uncertainty_ns: time.uncertainty.0,
        rate_ppm: time.rate.map(|rate| rate.ppm),
        rate_sigma_ppm: time.rate.map(|rate| rate.sigma_ppm),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::order_statistics;

    #[test]
    fn a_value_beyond_64_bits_of_ns_keeps_its_sign() {
        let far = spread(&order_statistics(&[i128::MIN / 4, 0, i128::MAX / 4]).unwrap());
        assert_eq!((far.min, far.median, far.max), (i64::MIN, 0, i64::MAX));
    }
}
