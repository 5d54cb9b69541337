//! The measured series against the document's figures, which are worked out another way.

use downbeat::findings;
use downbeat::report;
use downbeat::report::Document;
use downbeat::report::Series;

use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::stage::actor;

fn of(name: &str, octets: Vec<u8>) -> (Document, Series) {
    let analysis = judged::analysis(&[(name, octets)]);
    let judgement = findings::judge(&analysis);
    (report::document(&analysis, &judgement), report::series(&analysis))
}

fn demo(name: &str) -> (Document, Series) {
    of(name, std::fs::read(judged::in_project("captures").join(name)).unwrap())
}

#[allow(clippy::as_conversions, clippy::cast_precision_loss, reason = "figures of a test")]
fn float(number: u64) -> f64 {
    number as f64
}

#[test]
fn what_the_bins_hold_is_what_the_figures_say() {
    for name in ["playhouse-healthy.pcapng", "playhouse-multicast.pcapng"] {
        let (document, series) = demo(name);
        let load = &series.load;
        let octets = |bps: &[f64]| bps.iter().sum::<f64>() * load.width_s / 8.0;
        let of_streams: u64 = document.streams.iter().map(|stream| stream.octets).sum();
        let of_sources: f64 = load.sources.iter().map(|source| octets(&source.bps)).sum();
        assert!((of_sources - float(of_streams)).abs() < 1.0, "{name}: {of_sources} and {of_streams}");
        for (bin, link) in load.link_bps.iter().enumerate() {
            let told: f64 = load.sources.iter().map(|source| source.bps[bin]).sum();
            assert!(told <= link * (1.0 + 1e-9), "{name}: bin {bin} holds {told} of {link}");
        }
        let peak = load.link_bps.iter().copied().fold(0.0, f64::max);
        let known = float(document.link.peak_1s_bps.unwrap());
        assert!(
            (load.width_s - 1.0).abs() < 1e-9 && (peak - known).abs() <= 8.0,
            "{name}: {peak} and {known}"
        );
    }
}

#[test]
fn samples_have_the_extremes_and_the_percentiles_of_the_document() {
    let (document, series) = demo("playhouse-healthy.pcapng");
    let (path, time) = (document.domains[0].path.as_ref().unwrap(), &series.domains[0]);
    assert_eq!(time.domain, document.domains[0].key);
    for (spread, samples) in
        [(&path.offset_ns, &time.offset), (path.mean_path_delay_ns.as_ref().unwrap(), &time.path_delay)]
    {
        let samples = samples.as_ref().unwrap();
        assert_eq!(samples.base_ns, spread.median);
        let values = || samples.samples.iter().map(|sample| sample.value_ns);
        let near = |value: f64, known: i64| {
            assert!(
                (value - float((known - spread.median).unsigned_abs())).abs() <= 1.0,
                "{value} and {known}"
            );
        };
        near(values().fold(0.0, f64::max), spread.max);
        near(-values().fold(0.0, f64::min), spread.min);
        near(samples.p95_ns, spread.p95);
        assert!(samples.samples.windows(2).all(|pair| pair[0].at_s <= pair[1].at_s));
        assert!(samples.samples.iter().all(|sample| sample.is_drawn), "so few are kept whole");
    }
    let syncs: u64 = time.sync_intervals.iter().map(|class| class.times).sum();
    let leading = document.domains[0]
        .clocks
        .iter()
        .find(|clock| format!("{}/{}", clock.clock, clock.port) == path.port);
    assert_eq!(syncs + 1, leading.unwrap().sync.as_ref().unwrap().count);
}

#[test]
fn a_long_capture_fits_into_its_bins_and_a_page_of_bounded_size() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(2), 1500);
    let (document, series) = of("long.pcap", scene.file(65_535));
    let load = &series.load;
    assert!(load.link_bps.len() <= 128 && load.width_s > 1.0, "{} of {}", load.link_bps.len(), load.width_s);
    let held = load.link_bps.iter().sum::<f64>() * load.width_s / 8.0;
    let mean = float(document.link.mean_bps.unwrap()) * document.span.duration_s.unwrap() / 8.0;
    assert!((held - mean).abs() / mean < 0.001, "{held} and {mean}");
    let mut page = Vec::new();
    report::write_page(&document, &series, &mut page).unwrap();
    assert!(page.len() < 1_000_000, "{}", page.len());
    assert!(String::from_utf8(page).unwrap().contains("20 min"), "the time axis has minutes");
}

#[test]
fn a_loss_is_marked_when_it_is_noticed() {
    let mut scene = Scene::default();
    let from = sender(1);
    for packet in (0..4000_u16).filter(|packet| !(2000..2010).contains(packet)) {
        let payload = from.rtp(packet, u32::from(packet) * 48, false, 288);
        scene.pass(i64::from(packet) * 1_000_000, from.frame(&payload));
    }
    let (_, series) = of("loss.pcap", scene.file(65_535));
    let losses: Vec<(f64, u64)> = series.losses.iter().map(|loss| (loss.at_s, loss.missing)).collect();
    assert_eq!(losses.len(), 1, "{losses:?}");
    assert!((losses[0].0 - 2.010).abs() < 1e-6 && losses[0].1 == 10, "{losses:?}");
}

#[test]
fn a_loss_late_in_a_capture_of_many_is_marked_too() {
    let mut scene = Scene::default();
    let from = sender(1);
    // Four of each forty in the first ten seconds, then eight more after fifty.
    let is_lost = |packet: u32| (packet < 10_000 && packet % 40 >= 36) || (50_000..50_008).contains(&packet);
    for packet in (0..60_000_u32).filter(|packet| !is_lost(*packet)) {
        let payload = from.rtp(u16::try_from(packet % 65_536).unwrap(), packet.wrapping_mul(48), false, 96);
        scene.pass(i64::from(packet) * 1_000_000, from.frame(&payload));
    }
    let (document, series) = of("losses.pcap", scene.file(65_535));
    let rtp = document.streams[0].rtp.as_ref().unwrap();
    assert_eq!((rtp.loss_bursts, series.loss_bursts, rtp.lost), (251, 251, 1008));
    assert_eq!(series.losses.iter().map(|loss| loss.bursts).sum::<u64>(), 251);
    assert_eq!(series.losses.iter().map(|loss| loss.missing).sum::<u64>(), 1008);
    let last = series.losses.last().unwrap();
    assert!((last.at_s - 50.008).abs() < 1e-6 && (last.bursts, last.missing) == (1, 8), "{last:?}");
    let mut page = Vec::new();
    report::write_page(&document, &series, &mut page).unwrap();
    let page = String::from_utf8(page).unwrap().replace('\u{a0}', " ");
    assert!(page.contains("8 packets missing in a row"), "the late one has a mark of its own");
    assert!(page.contains("251 losses of three packets in a row or more; 1 008 packets were lost in all"));
}

#[test]
fn the_fullest_second_does_not_begin_before_the_capture() {
    // The first frames come half a second after a second of the clock began, and are the most.
    let mut scene = Scene::default();
    let from = sender(1);
    for packet in (0..2000_u16).filter(|packet| *packet < 400 || packet % 50 == 0) {
        let payload = from.rtp(packet, u32::from(packet) * 48, false, 288);
        scene.pass(500_000_000 + i64::from(packet) * 1_000_000, from.frame(&payload));
    }
    let (_, series) = of("first.pcap", scene.file(65_535));
    let peak = series.load.peak_1s.unwrap();
    assert!(peak.at_s.abs() < 1e-9, "{peak:?}");
}

#[test]
fn nothing_gives_series_of_nothing() {
    let (document, series) = of("no-ptp.pcap", crate::json_schema::without_ptp());
    assert!(series.domains.is_empty() && series.losses.is_empty());
    let mut page = Vec::new();
    report::write_page(&document, &series, &mut page).unwrap();
    assert!(!page.is_empty());
}

#[test]
fn every_plot_is_a_picture_of_its_own_too() {
    let (document, series) = demo("playhouse-leader-lost.pcapng");
    let pictures = report::pictures(&document, &series);
    let names: Vec<&str> = pictures.iter().map(|picture| picture.name.as_str()).collect();
    for name in ["leaders", "load", "offset-0", "delay-0", "sync-0", "delays-0"] {
        assert!(names.contains(&name), "{names:?}");
    }
    for picture in &pictures {
        assert!(
            picture.svg.starts_with("<svg") && picture.svg.trim_end().ends_with("</svg>"),
            "{}",
            picture.name
        );
        assert!(picture.svg.matches("<text").count() > 2, "{} has labels", picture.name);
    }
}
