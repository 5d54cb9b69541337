//! Stability measures of the one-way series, at octave-spaced averaging times.

use std::collections::BTreeMap;

use crate::statistics::ALLAN_RECORD_PARTS;
use crate::statistics::EvenSeries;
use crate::statistics::LEAST_TERMS;
use crate::statistics::MODIFIED_RECORD_PARTS;
use crate::statistics::Point;
use crate::statistics::adev;
use crate::statistics::mdev;
use crate::statistics::mtie_octaves;
use crate::statistics::octaves;
use crate::statistics::tdev;
use crate::timing::ScaledNanos;

/// One averaging time. A measure is `None` where the record is too short for it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StabilityRow {
    /// Averaging time, ns.
    pub tau_ns: i64,
    /// Allan deviation (NIST SP 1065), of fractional frequency.
    pub adev: Option<f64>,
    /// Modified Allan deviation.
    pub mdev: Option<f64>,
    /// Time deviation, ns.
    pub tdev_ns: Option<f64>,
    /// Maximum time interval error (ITU-T G.810), ns.
    pub mtie_ns: Option<f64>,
}

/// The measures of a series; empty where it is too uneven to be resampled (more than 5 % missing) or too short.
pub(super) fn rows(points: &[Point]) -> Vec<StabilityRow> {
    let Ok(series) = EvenSeries::resample(points) else { return Vec::new() };
    let mut rows: BTreeMap<i64, StabilityRow> = BTreeMap::new();
    for deviation in octaves(&series, ALLAN_RECORD_PARTS, |series, m| adev(series, m, LEAST_TERMS)) {
        row(&mut rows, deviation.tau_ns).adev = Some(deviation.fractional);
    }
    for deviation in octaves(&series, MODIFIED_RECORD_PARTS, |series, m| mdev(series, m, LEAST_TERMS)) {
        row(&mut rows, deviation.tau_ns).mdev = Some(deviation.fractional);
    }
    for deviation in octaves(&series, MODIFIED_RECORD_PARTS, |series, m| tdev(series, m, LEAST_TERMS)) {
        row(&mut rows, deviation.tau_ns).tdev_ns = Some(deviation.deviation_ns);
    }
    for mtie in mtie_octaves(&series) {
        row(&mut rows, mtie.tau_ns).mtie_ns = Some(ScaledNanos(mtie.scaled_ns).as_ns_f64());
    }
    rows.into_values().collect()
}

fn row(rows: &mut BTreeMap<i64, StabilityRow>, tau_ns: i64) -> &mut StabilityRow {
    rows.entry(tau_ns).or_insert(StabilityRow { tau_ns, ..StabilityRow::default() })
}
