//! What is on the wire: in brief for the whole report, in full for the command about streams.

use std::io;
use std::io::Write;

use super::super::document::Document;
use super::super::document::IntervalDocument;
use super::super::document::LoadDocument;
use super::super::document::StreamDocument;
use super::super::format::count;
use super::super::format::duration_ns;
use super::super::format::holes;
use super::super::format::per_cent;
use super::super::format::plain;
use super::super::format::plain_short;
use super::super::format::ppm;
use super::super::format::rate;
use super::super::format::things;
use super::Paper;
use super::cell::columns;
use super::cell::padded;
use super::notice;
use super::paragraph;

/// Columns that addresses of sources are lined up in (an IPv4 address, and IPv6 ones as most are written).
const ADDRESS_MOST: usize = 26;
/// Columns that what streams go to is lined up in (an IPv4 group and port).
const TO_MOST: usize = 21;

/// Receivers of a stream that are named.
const RECEIVERS_SHOWN: usize = 4;

/// Octets of tagged Ethernet, IPv4, UDP and RTP headers (IEEE 802.3, RFC 791, RFC 768, RFC 3550; from memory): frames cut
/// to fewer do not show what a stream is.
const TOO_SHORT: u32 = 18 + 20 + 8 + 12;
/// What to keep of a frame at the least (chosen: all headers, and messages of PTP whole).
const AT_LEAST: u32 = 128;

/// Streams in trouble shown in brief.
const TROUBLED_SHOWN: usize = 8;

/// The link's load and who sends most in two lines, and the streams in trouble; the rest is for the command about
/// streams.
pub(super) fn brief(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    if document.sources.is_empty() {
        return Ok(());
    }
    let number = |length: usize| u64::try_from(length).unwrap_or(u64::MAX);
    let mut text = link_words(document);
    let media = media_sources(document);
    let streams =
        document.streams.iter().filter(|stream| stream.kind != "other" && stream.source_ip.is_some());
    let streams = things(number(streams.count()), "stream");
    match media.as_slice() {
        [] => {}
        [one] => text.push_str(&format!("; {streams} from {}", plain(&one.source_ip))),
        [most, ..] => text.push_str(&format!(
            "; {streams} from {}, most from {} ({})",
            things(number(media.len()), "sender"),
            plain(&most.source_ip),
            rate(most.mean_bps)
        )),
    }
    writeln!(out)?;
    paragraph(out, 0, "on the wire  ", &text)?;
    let troubled: Vec<(&StreamDocument, String)> =
        document.streams.iter().filter_map(|stream| Some((stream, trouble(stream)?))).collect();
    for (stream, trouble) in troubled.iter().take(TROUBLED_SHOWN) {
        paragraph(out, 2, "trouble    ", &format!("{}: {trouble}", plain(&stream.key)))?;
    }
    let more = troubled.len().saturating_sub(TROUBLED_SHOWN);
    if more > 0 {
        writeln!(out, "  trouble    and {more} more (see downbeat streams)")?;
    }
    Ok(())
}

/// Every stream under its source, sources with trouble first, then by load.
///
/// # Errors
/// Where `out` cannot be written.
pub(super) fn full(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    notice(&document.span, out)?;
    let files: Vec<String> = document.captures.iter().map(|capture| plain(&capture.file)).collect();
    paragraph(out, 0, "", &format!("{}: {}", files.join(", "), totals(document)))?;
    link(document, out)?;
    let mut sources: Vec<&LoadDocument> = document.sources.iter().collect();
    let troubles = |source: &LoadDocument| {
        let own = streams_of(document, source);
        own.filter(|stream| trouble(stream).is_some()).count()
    };
    sources.sort_by_cached_key(|source| {
        (std::cmp::Reverse((troubles(source), source.mean_bps)), source.source_ip.clone())
    });
    let address = widest(sources.iter().map(|source| source.source_ip.as_str()), ADDRESS_MOST);
    for source in sources {
        writeln!(out)?;
        self::source(document, source, address, out)?;
        let mut streams: Vec<&StreamDocument> = streams_of(document, source).collect();
        streams.sort_by_cached_key(|stream| {
            (std::cmp::Reverse((trouble(stream).is_some(), stream.mean_bps)), stream.key.clone())
        });
        list_of(&streams, out)?;
    }
    let avtp: Vec<&StreamDocument> =
        document.streams.iter().filter(|stream| stream.source_ip.is_none()).collect();
    if !avtp.is_empty() {
        writeln!(out, "\n  without IP")?;
        list_of(&avtp, out)?;
    }
    if document.link.flows_left_out > 0 {
        writeln!(out, "\n{} more flows found no room in the table", count(document.link.flows_left_out))?;
    }
    Ok(())
}

fn totals(document: &Document) -> String {
    let number = |length: usize| u64::try_from(length).unwrap_or(u64::MAX);
    let rtp = document.streams.iter().filter(|stream| stream.rtp.is_some()).count();
    format!(
        "{} ({rtp} of them RTP) from {}",
        things(number(document.streams.len()), "stream"),
        things(number(document.sources.len()), "source")
    )
}

fn streams_of<'a>(
    document: &'a Document,
    source: &'a LoadDocument,
) -> impl Iterator<Item = &'a StreamDocument> {
    document.streams.iter().filter(|stream| stream.source_ip.as_ref() == Some(&source.source_ip))
}

/// Sources that send media, the heaviest first.
fn media_sources(document: &Document) -> Vec<&LoadDocument> {
    let sends = |source: &&LoadDocument| streams_of(document, source).any(|stream| stream.kind != "other");
    let mut sources: Vec<&LoadDocument> = document.sources.iter().filter(sends).collect();
    sources.sort_by_key(|source| std::cmp::Reverse(source.mean_bps));
    sources
}

fn link(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    paragraph(out, 2, "link        ", &link_words(document))?;
    // Less does not reach behind the headers (chosen).
    let kept = document.captures.iter().filter_map(|capture| capture.snapped_to).max();
    if let Some(kept) = kept.filter(|kept| *kept < TOO_SHORT) {
        let words = format!(
            "frames had no more than {kept} octets kept: what streams are shows beyond; capture with more (at least {AT_LEAST})"
        );
        paragraph(out, 2, "cut         ", &words)?;
    }
    match holes(&document.link.holes) {
        Some(words) => paragraph(out, 2, "not watched ", &words),
        None => Ok(()),
    }
}

fn link_words(document: &Document) -> String {
    let link = &document.link;
    let known = match link.speed_known_by {
        "settings" => "as given",
        "capture-file" => "by the capture file",
        _ => "assumed",
    };
    let mut text = format!("{} ({known})", rate(link.speed_bps));
    if let (Some(mean), Some(load)) = (link.mean_bps, link.load_mean) {
        text.push_str(&format!(" carries {} ({})", rate(mean), per_cent(load)));
    }
    if let (Some(peak), Some(load)) = (link.peak_1s_bps, link.load_peak_1s) {
        text.push_str(&format!(", peak {} ({})", rate(peak), per_cent(load)));
    }
    text
}

fn source(document: &Document, source: &LoadDocument, address: usize, out: &mut Paper<'_>) -> io::Result<()> {
    let peak = source.peak_1s_bps.map(|peak| format!(", peak {}", rate(peak))).unwrap_or_default();
    let device = document.devices.iter().find(|device| Some(&device.key) == source.device.as_ref());
    let name = device.and_then(|device| device.name.as_deref());
    let name = name.map(|name| format!("\"{}\": ", plain_short(name))).unwrap_or_default();
    let streams = things(source.streams, "stream");
    // Of one packet there is no rate.
    let text = if source.mean_bps == 0 {
        format!("{name}{streams}, no time from packet to packet")
    } else {
        let share = per_cent(source.share_of_link);
        format!("{name}{streams}: {}{peak}, {share} of the link", rate(source.mean_bps))
    };
    paragraph(out, 2, &format!("{}  ", padded(&plain(&source.source_ip), address)), &text)
}

/// Streams of one source, what is said of them under one another.
fn list_of(streams: &[&StreamDocument], out: &mut Paper<'_>) -> io::Result<()> {
    let names: Vec<String> = streams.iter().map(|stream| to(stream)).collect();
    let name = widest(names.iter().map(String::as_str), TO_MOST);
    streams.iter().zip(&names).try_for_each(|(stream, to)| self::stream(stream, &padded(to, name), out))
}

/// How far its packets are apart. The median of those that come in bursts is no rate.
fn pace(interval: &IntervalDocument) -> String {
    let in_bursts = interval.every == interval.median && interval.p95 > interval.median.saturating_mul(2);
    let words = if in_bursts { "in bursts, half of them within" } else { "every" };
    format!("{words} {}", duration_ns(interval.every))
}

/// Columns of the widest text; what is wider than `most` stands out.
fn widest<'a>(texts: impl Iterator<Item = &'a str>, most: usize) -> usize {
    texts.map(columns).filter(|columns| *columns <= most).max().unwrap_or(0)
}

/// Where a stream goes.
fn to(stream: &StreamDocument) -> String {
    match (&stream.group, stream.port) {
        (Some(group), Some(port)) if group.contains(':') => plain(&format!("[{group}]:{port}")),
        (Some(group), Some(port)) => plain(&format!("{group}:{port}")),
        _ => plain(&stream.key),
    }
}

fn stream(stream: &StreamDocument, to: &str, out: &mut Paper<'_>) -> io::Result<()> {
    let mut parts = vec![what(stream)];
    if let Some(mean) = stream.mean_bps {
        let peak = stream.peak_1ms_bps.map(|peak| format!(" ({} in 1 ms)", rate(peak))).unwrap_or_default();
        parts.push(format!("{}{peak}", rate(mean)));
    }
    parts.push(things(stream.packets, "packet"));
    if let Some(interval) = &stream.interval_ns {
        parts.push(pace(interval));
    }
    if let Some(jitter) = stream.rtp.as_ref().and_then(|rtp| rtp.jitter_ns) {
        parts.push(format!("jitter {}", duration_ns(jitter)));
    }
    if !stream.dscp.is_empty() {
        parts.push(format!("DSCP {}", list(&stream.dscp)));
    }
    if !stream.pcp.is_empty() {
        parts.push(format!("PCP {}", list(&stream.pcp)));
    }
    if !stream.ttl.is_empty() {
        parts.push(format!("TTL {}", list(&stream.ttl)));
    }
    if let Some(vlan) = stream.vlan {
        parts.push(format!("VLAN {vlan}"));
    }
    if let Some(ppm) = stream.media_rate_ppm {
        let against = if stream.media_rate_against == Some("leader") { "leader" } else { "capture's clock" };
        let sigma = stream.media_rate_sigma_ppm.unwrap_or_default();
        parts.push(format!("media clock {} ± {sigma:.3} ppm against the {against}", self::ppm(ppm)));
    }
    if let Some(hosts) = &stream.receivers {
        let is_gone = |host: &&String| stream.receivers_gone.contains(host);
        let (gone, there): (Vec<&String>, Vec<&String>) = hosts.iter().partition(is_gone);
        if hosts.is_empty() {
            parts.push("nobody asked for it".to_owned());
        }
        if !there.is_empty() {
            parts.push(format!("taken by {}", receivers(&there)));
        }
        if !gone.is_empty() {
            parts.push(format!("at some time only by {}", receivers(&gone)));
        }
    }
    if let Some(session) = &stream.session {
        let but = if session.contradictions.is_empty() { "" } else { ", which its packets contradict" };
        parts.push(format!("described as `{}`{but}", plain_short(&session.name)));
    }
    for twin in &stream.twins {
        let (delay, later) =
            (twin.delay_ns.saturating_abs(), if twin.delay_ns < 0 { "earlier" } else { "later" });
        parts.push(format!("also as {}, {} {later}", plain(&twin.key), duration_ns(delay)));
    }
    if let Some(trouble) = trouble(stream) {
        parts.push(format!("TROUBLE: {trouble}"));
    }
    paragraph(out, 4, &format!("{to} "), &parts.join(", "))
}

fn receivers(hosts: &[&String]) -> String {
    if hosts.len() > RECEIVERS_SHOWN {
        return format!("{} receivers", count(u64::try_from(hosts.len()).unwrap_or(u64::MAX)));
    }
    hosts.iter().map(|host| host.as_str()).collect::<Vec<_>>().join(" ")
}

fn what(stream: &StreamDocument) -> String {
    let codec = stream.codec.as_deref().map(|codec| format!(" {}", plain(codec))).unwrap_or_default();
    let clock = stream.clock_rate_hz.map(|rate| format!(" {rate} Hz")).unwrap_or_default();
    let frames = stream.frames_per_s.map(|frames| format!(", {frames:.2} pictures/s")).unwrap_or_default();
    let known = match stream.known_by {
        "sdp" => " (described)",
        "payload-type" => " (by payload type)",
        "payload-header" => " (by payload headers)",
        "inferred" => " (inferred)",
        _ => "",
    };
    let kind = if stream.kind == "unknown" && stream.rtp.is_some() { "RTP" } else { stream.kind };
    format!("{kind}{codec}{clock}{frames}{known}")
}

/// What is wrong with a stream.
fn trouble(stream: &StreamDocument) -> Option<String> {
    let mut parts = Vec::new();
    if let Some(rtp) = &stream.rtp {
        let mut say = |number: u64, words: &str| {
            if number > 0 {
                parts.push(format!("{} {words}", count(number)));
            }
        };
        say(rtp.lost, "lost");
        // Of packets that come twice half are doubles.
        let twice = rtp.duplicated.saturating_mul(5) >= stream.packets.saturating_mul(2);
        say(
            rtp.duplicated,
            if twice { "doubled: captured twice, as by a mirror of both directions" } else { "doubled" },
        );
        say(rtp.reordered, "out of order");
        say(rtp.not_captured, "missing while nothing at all was captured");
        say(rtp.restarts, "restarts");
        say(rtp.unclear_jumps, "jumps of the sequence, losses or restarts");
    }
    if let Some(avtp) = stream.avtp.as_ref().filter(|avtp| avtp.lost > 0) {
        parts.push(format!("{} lost or more", count(avtp.lost)));
    }
    // Compressed pictures often keep an encoder's own time, by design.
    let raw = stream.codec.as_ref().is_some_and(|codec| codec.eq_ignore_ascii_case("raw"));
    if stream.clocked == Some(false) && (stream.kind == "audio" || raw) {
        let ppm = stream.media_rate_ppm.unwrap_or_default();
        parts.push(format!("media clock {} ppm off the leader's", self::ppm(ppm)));
    }
    if stream.dscp.len() > 1 {
        parts.push(format!("mixed DSCP {}", list(&stream.dscp)));
    }
    if stream.session.as_ref().and_then(|session| session.agrees) == Some(false) {
        parts.push("its description names another clock".to_owned());
    }
    parts.extend(stream.session.iter().flat_map(|session| &session.contradictions).map(|text| plain(text)));
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn list(values: &[u8]) -> String {
    let values: Vec<String> = values.iter().map(ToString::to_string).collect();
    if values.is_empty() { "-".to_owned() } else { values.join("+") }
}
