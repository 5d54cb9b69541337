//! What has to be seen over time: the offset in each domain and the link's load, a line each.

use std::io;
use std::io::Write;

use super::super::format::count;
use super::super::format::duration;
use super::super::format::duration_ns;
use super::super::format::plain;
use super::super::format::rate;
use super::super::series::DomainSeries;
use super::super::series::LoadSeries;
use super::super::series::Sample;
use super::super::series::SampleSeries;
use super::super::series::Series;
use super::Paper;
use super::Style;
use super::cell::cut_behind;
use super::cell::padded;
use super::paragraph;
use super::spark;

/// Columns of a row's name.
const NAME: usize = 22;
/// Domains shown; a capture of hundreds has the rest in its exports (chosen).
const DOMAINS_SHOWN: usize = 4;
/// The widest that a line grows (chosen: an eye follows no more).
const LINE_MOST: usize = 160;

/// Median intervals that a column spans at the least (chosen: samples come a little early or late).
const IN_STEP: f64 = 1.5;

/// Writes the lines; nothing where there are none.
pub(super) fn write(series: &Series, out: &mut Paper<'_>) -> io::Result<()> {
    let style = out.style();
    let domains: Vec<&DomainSeries> =
        series.domains.iter().filter(|domain| domain.offset.is_some()).collect();
    let has_load = series.load.link_bps.len() > 1;
    if (domains.is_empty() && !has_load) || series.until_s <= series.from_s {
        return Ok(());
    }
    let ends = format!("{} to {}", duration(series.from_s), duration(series.until_s));
    writeln!(out, "\nOver time, from {ends} (blank: no samples)")?;
    for domain in domains.iter().take(DOMAINS_SHOWN) {
        offset(domain, series, style, out)?;
    }
    let more = domains.len().saturating_sub(DOMAINS_SHOWN);
    if more > 0 {
        writeln!(out, "  and {} more (see downbeat export)", count(u64::try_from(more).unwrap_or(u64::MAX)))?;
    }
    if has_load { load(&series.load, series, style, out) } else { Ok(()) }
}

/// Columns of a line.
fn width(style: Style) -> u16 {
    let width = style.width.saturating_sub(NAME + 4).clamp(10, LINE_MOST);
    u16::try_from(width).unwrap_or(u16::MAX)
}

fn row(name: &str, line: &str, ends: &str, out: &mut Paper<'_>) -> io::Result<()> {
    writeln!(out, "{}", format!("  {}{line}", padded(&cut_behind(&plain(name), NAME), NAME + 2)).trim_end())?;
    paragraph(out, NAME + 4, "", ends)
}

fn offset(domain: &DomainSeries, series: &Series, style: Style, out: &mut Paper<'_>) -> io::Result<()> {
    let Some(offset) = &domain.offset else { return Ok(()) };
    let low = offset.samples.iter().map(|sample| sample.value_ns).fold(f64::INFINITY, f64::min);
    let high = offset.samples.iter().map(|sample| sample.value_ns).fold(f64::NEG_INFINITY, f64::max);
    let columns = width(style).min(filled(offset, series.until_s - series.from_s));
    let line = spark::line(
        offset.samples.iter().map(|sample| (sample.at_s, sample.value_ns)),
        (series.from_s, series.until_s),
        (low, high),
        (columns, style.ascii),
    );
    let line = stretched(&line, width(style));
    let way = if domain.is_one_way { ", with the way from the leader in it" } else { "" };
    // Where others led, what is blank may have samples of them.
    let port = domain.port.as_deref().filter(|_| !domain.others.is_empty());
    let alone = port.map(|port| format!(" (of {} alone)", plain(port))).unwrap_or_default();
    let ends = format!(
        "capture less leader{alone}{way}: {} to {} from the median, {}",
        duration(low / 1e9),
        duration(high / 1e9),
        duration_ns(offset.base_ns)
    );
    row(&format!("offset, {}", domain.domain), &line, &ends, out)
}

/// Columns of which each has a sample, as long as these keep their pace: a blank between them would look like an outage.
#[allow(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "0 or more; beyond 16 bits the largest"
)]
fn filled(samples: &SampleSeries, span_s: f64) -> u16 {
    let gap = |pair: &[Sample]| match pair {
        [before, after] => after.at_s - before.at_s,
        _ => 0.0,
    };
    let mut gaps: Vec<f64> = samples.samples.windows(2).map(gap).filter(|gap| *gap > 0.0).collect();
    gaps.sort_by(f64::total_cmp);
    match gaps.get(gaps.len() / 2) {
        Some(median) => (span_s / (median * IN_STEP)) as u16,
        None => u16::MAX,
    }
    .max(1)
}

#[allow(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "bits a second of a link, 0 or more; beyond 64 bits the largest"
)]
fn load(load: &LoadSeries, series: &Series, style: Style, out: &mut Paper<'_>) -> io::Result<()> {
    let high = load.link_bps.iter().copied().fold(0.0, f64::max);
    let middles = (0_u32..).zip(&load.link_bps).map(|(bin, bps)| {
        let middle = load.first_s + (f64::from(bin) + 0.5) * load.width_s;
        (middle.clamp(series.from_s, series.until_s), *bps)
    });
    let wanted = width(style);
    // No more characters than bins, or some would be blank.
    let bins = u16::try_from(load.link_bps.len()).unwrap_or(u16::MAX);
    let line =
        spark::line(middles, (series.from_s, series.until_s), (0.0, high), (wanted.min(bins), style.ascii));
    let line = stretched(&line, wanted);
    let peak = load.peak_1s.filter(|peak| load.width_s > 1.0 && peak.bps > high);
    let peak =
        peak.map(|peak| format!("; the fullest second, at {:.3} s, {}", peak.at_s, rate(peak.bps as u64)));
    let ends = format!(
        "all frames, from bottom to top 0 to {}, means of {}{}",
        rate(high as u64),
        duration(load.width_s),
        peak.unwrap_or_default()
    );
    row("load of the link", &line, &ends, out)
}

/// A line made as wide as the others, each character as often as it takes.
fn stretched(line: &str, width: u16) -> String {
    let letters: Vec<char> = line.chars().collect();
    let place = |column: u16| {
        usize::from(column).saturating_mul(letters.len()).checked_div(usize::from(width)).unwrap_or(0)
    };
    (0..width).filter_map(|column| letters.get(place(column))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(samples: impl Iterator<Item = f64>, width: usize) -> String {
        let samples = samples.map(|at_s| Sample { at_s, value_ns: 0.0, is_drawn: true }).collect();
        let offset = SampleSeries { taken: 0, base_ns: 0, p5_ns: 0.0, p95_ns: 0.0, samples };
        let domain = DomainSeries { domain: "a".to_owned(), offset: Some(offset), ..DomainSeries::default() };
        let series = Series { until_s: 1800.0, domains: vec![domain], ..Series::default() };
        let mut out = Vec::new();
        Paper::of(Style { width, ascii: true }, &mut out, |paper| write(&series, paper)).unwrap();
        let text = String::from_utf8(out).unwrap();
        text.lines().find_map(|line| line.strip_prefix("  offset, a")).unwrap().trim().to_owned()
    }

    #[test]
    fn slow_samples_that_keep_their_pace_leave_no_blank_and_an_outage_does() {
        let slow = || (0..112_u32).map(|n| f64::from(n) * 16.0 + f64::from(n % 3));
        assert!(!told(slow(), 160).contains(' '), "{}", told(slow(), 160));
        let gone = told(slow().filter(|at| !(600.0..900.0).contains(at)), 160);
        assert!(gone.contains("     "), "{gone}");
        assert_eq!(gone.split_whitespace().count(), 2, "{gone}");
    }

    #[test]
    fn the_fullest_second_is_told_where_the_bins_are_wider() {
        let load = LoadSeries {
            width_s: 64.0,
            speed_bps: 1e9,
            link_bps: vec![1e6, 30e6, 1e6],
            peak_1s: Some(super::super::super::series::PeakMark { at_s: 70.0, bps: 950e6 }),
            ..LoadSeries::default()
        };
        let series = Series { until_s: 192.0, load, ..Series::default() };
        let mut out = Vec::new();
        Paper::of(Style::default(), &mut out, |paper| write(&series, paper)).unwrap();
        let text = String::from_utf8(out).unwrap();
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("means of 64 s; the fullest second, at 70.000 s, 950 Mb/s"), "{text}");
    }
}
