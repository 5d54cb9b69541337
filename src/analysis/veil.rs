//! Exchanges the names that a capture, a site file and file names bring in, before anything is made of them. Addresses stay
//! here, as elections, groups and devices hang on them: the report exchanges those (`report::anonymous`).
//!
//! Every type is taken apart whole, so that a new field has to be looked at before this compiles.

use std::io;
use std::sync::Arc;

use crate::capture::Error;
use crate::capture::JoinedSummary;
use crate::dhcp;
use crate::dns;
use crate::lldp;
use crate::observations::Observation;
use crate::observations::What;
use crate::pseudonyms::Kind;
use crate::pseudonyms::Pseudonyms;
use crate::ptp;
use crate::sdp;
use crate::site::ListedDevice;
use crate::site::PlannedLoad;
use crate::site::Site;
use crate::site::WantedDomain;

fn name(with: &Pseudonyms, text: &mut String) {
    *text = with.name(Kind::Name, text);
}

fn names(with: &Pseudonyms, texts: &mut [String]) {
    texts.iter_mut().for_each(|text| name(with, text));
}

/// A subdomain of version 1, NUL padded.
fn subdomain(with: &Pseudonyms, octets: &mut [u8; 16]) {
    let text = with.subdomain(&ptp::v1::subdomain_text(octets));
    let mut invented = [0; 16];
    invented.iter_mut().zip(text.bytes()).for_each(|(octet, letter)| *octet = letter);
    *octets = invented;
}

/// A copy of an observation without names.
pub(super) fn observation(with: &Pseudonyms, original: &Observation) -> Observation {
    let mut veiled = original.clone();
    match &mut veiled.what {
        What::Ptp(message) => {
            if let ptp::Message::V1(message) = message {
                subdomain(with, &mut message.header.subdomain);
            }
        }
        What::Lldp(message) => link_neighbour(with, message),
        What::Mdns(message) => host_names(with, message),
        What::Dhcp(message) => lease(with, message),
        // Their texts are read into sessions, which are exchanged there.
        What::Sap(_) | What::Description(_) => {}
        What::Undecodable(_)
        | What::Fragment
        | What::Igmp(_)
        | What::Mld(_)
        | What::Neighbour(_)
        | What::Unreadable(..) => {}
    }
    veiled
}

fn link_neighbour(with: &Pseudonyms, message: &mut lldp::Message) {
    let lldp::Message {
        chassis_id,
        port_id,
        time_to_live: _,
        port_description,
        system_name,
        system_description,
        system_capabilities: _,
        management_addresses: _,
        organizationally_specific,
        tlv_types: _,
        notes: _,
    } = message;
    match chassis_id {
        Some(lldp::ChassisId::Text { text, .. }) => name(with, text),
        Some(lldp::ChassisId::Other { octets, .. }) => octets.clear(),
        Some(lldp::ChassisId::Mac(_) | lldp::ChassisId::Network(_)) | None => {}
    }
    match port_id {
        Some(lldp::PortId::Text { text, .. }) => *text = with.name(Kind::Port, text),
        Some(lldp::PortId::Other { octets, .. }) => octets.clear(),
        Some(lldp::PortId::Mac(_) | lldp::PortId::Network(_)) | None => {}
    }
    if let Some(text) = port_description {
        *text = with.name(Kind::Port, text);
    }
    for text in [system_name, system_description].into_iter().flatten() {
        name(with, text);
    }
    organizationally_specific.clear();
}

/// A host's name, with or without the domain of multicast DNS (RFC 6762 section 3).
fn host(with: &Pseudonyms, text: &mut String) {
    let bare = text.strip_suffix('.').unwrap_or(text);
    let bare = bare
        .len()
        .checked_sub(6)
        .and_then(|at| bare.split_at_checked(at))
        .map_or(bare, |(host, domain)| if domain.eq_ignore_ascii_case(".local") { host } else { bare });
    *text = with.name(Kind::Name, bare);
}

fn host_names(with: &Pseudonyms, message: &mut dns::Message) {
    let dns::Message { is_response: _, questions, records, is_cut: _ } = message;
    questions.iter_mut().for_each(|text| host(with, text));
    for record in records {
        let dns::Record { name: about, time_to_live: _, data } = record;
        host(with, about);
        match data {
            dns::RecordData::Address(_) => {}
            dns::RecordData::Pointer(text) | dns::RecordData::Service { port: _, target: text } => {
                host(with, text)
            }
            dns::RecordData::Text(texts) => names(with, texts),
        }
    }
}

fn lease(with: &Pseudonyms, message: &mut dhcp::Message) {
    let dhcp::Message {
        op: _,
        xid: _,
        client_address: _,
        your_address: _,
        client_mac: _,
        message_type: _,
        host_name,
        requested_address: _,
        server_identifier: _,
        client_identifier,
        options_end: _,
    } = message;
    if let Some(text) = host_name {
        name(with, text);
    }
    *client_identifier = None;
}

/// Ways to pack media that standards name, in small letters (IANA "RTP Payload Format media types", from memory). What is in
/// no list may be anything.
const KNOWN_ENCODINGS: [&str; 29] = [
    "l8",
    "l16",
    "l20",
    "l24",
    "l32",
    "am824",
    "pcmu",
    "pcma",
    "g722",
    "gsm",
    "dvi4",
    "opus",
    "mpa",
    "mpeg4-generic",
    "mp4a-latm",
    "raw",
    "smpte291",
    "h261",
    "h263",
    "h264",
    "h265",
    "h266",
    "jpeg",
    "jpeg2000",
    "jxsv",
    "vc2",
    "mp2t",
    "mpv",
    "av1",
];

/// What sessions say that they are of (RFC 8866 section 5.14).
const KNOWN_MEDIA: [&str; 6] = ["audio", "video", "text", "application", "message", "image"];

/// Kinds of reference clock (RFC 7273 section 4.8).
const KNOWN_CLOCKS: [&str; 5] = ["gps", "gal", "glonass", "local", "private"];

fn known_or_other(text: &mut String, known: &[&str]) {
    if !known.contains(&text.to_ascii_lowercase().as_str()) {
        "other".clone_into(text);
    }
}

/// A session without names.
pub(super) fn session(with: &Pseudonyms, mut session: sdp::Session) -> sdp::Session {
    let sdp::Session {
        origin,
        name: called,
        connection: _,
        times: _,
        duplication_groups,
        reference_clocks,
        media_clock,
        source_filters: _,
        media,
        problems,
    } = &mut session;
    *called = with.name(Kind::Session, called);
    if let Some(sdp::Origin { username, session_id, session_version: _, address }) = origin {
        username.iter_mut().for_each(|text| name(with, text));
        name(with, session_id);
        if address.parse::<std::net::IpAddr>().is_err() {
            name(with, address);
        }
    }
    duplication_groups.iter_mut().for_each(|group| names(with, &mut group.mids));
    reference_clocks.iter_mut().for_each(|clock| reference(with, clock));
    media_clock.iter_mut().for_each(rate_of_media);
    problems.iter_mut().for_each(|problem| "a value that cannot be read".clone_into(&mut problem.reason));
    media.iter_mut().for_each(|media| section(with, media));
    session
}

fn section(with: &Pseudonyms, media: &mut sdp::Media) {
    let sdp::Media {
        kind,
        port: _,
        port_count: _,
        protocol,
        formats,
        connections: _,
        rtp_maps,
        format_parameters,
        packet_time: _,
        max_packet_time: _,
        frame_count: _,
        reference_clocks,
        media_clock,
        source_filters: _,
        mid,
    } = media;
    known_or_other(kind, &KNOWN_MEDIA);
    known_or_other(protocol, &["udp", "rtp/avp", "rtp/avpf", "rtp/savp", "rtp/savpf", "tcp/rtp/avp"]);
    for format in formats.iter_mut().filter(|format| format.parse::<u8>().is_err()) {
        "other".clone_into(format);
    }
    for map in rtp_maps {
        let sdp::RtpMap { payload_type: _, encoding, clock_rate: _, channels: _ } = map;
        if !KNOWN_ENCODINGS.contains(&encoding.to_ascii_lowercase().as_str()) {
            *encoding = with.name(Kind::Encoding, encoding);
        }
    }
    // Nothing of them is told.
    format_parameters.clear();
    reference_clocks.iter_mut().for_each(|clock| reference(with, clock));
    media_clock.iter_mut().for_each(rate_of_media);
    mid.iter_mut().for_each(|text| name(with, text));
}

fn reference(with: &Pseudonyms, clock: &mut sdp::ReferenceClock) {
    match clock {
        sdp::ReferenceClock::Ptp { version, source } => {
            let is_known = ["ieee1588-", "ieee802.1as-"].iter().any(|standard| {
                let year = version.to_ascii_lowercase();
                year.strip_prefix(standard).is_some_and(|year| year.len() == 4 && year.parse::<u16>().is_ok())
            });
            if !is_known {
                "other".clone_into(version);
            }
            if let sdp::PtpSource::Grandmaster { domain: Some(sdp::PtpDomain::Name(text)), .. } = source {
                *text = with.subdomain(text);
            }
        }
        sdp::ReferenceClock::LocalMac(_) => {}
        sdp::ReferenceClock::Ntp(server) => {
            if server != "/traceable/" && server.parse::<std::net::IpAddr>().is_err() {
                name(with, server);
            }
        }
        sdp::ReferenceClock::Other(text) => known_or_other(text, &KNOWN_CLOCKS),
    }
}

fn rate_of_media(clock: &mut sdp::MediaClock) {
    if let sdp::MediaClock::Other(text) = clock {
        "other".clone_into(text);
    }
}

/// What a site file says, without names.
pub(super) fn site(with: &Pseudonyms, original: &Site) -> Arc<Site> {
    let mut site = original.clone();
    let Site { name: called, clock, link: _, devices, planned } = &mut site;
    called.iter_mut().for_each(|text| *text = with.name(Kind::Site, text));
    if let Some(WantedDomain::Subdomain(octets)) = &mut clock.domain {
        subdomain(with, octets);
    }
    for ListedDevice { name: called, mac: _, ip: _, clock: _, needs_clock: _, line: _ } in devices {
        name(with, called);
    }
    for PlannedLoad { name: called, count: _, rate: _, direction: _ } in planned {
        *called = with.name(Kind::Plan, called);
    }
    Arc::new(site)
}

/// Files by number instead of by name, in the order of the report; also where they cannot be read.
pub(super) fn files(files: &mut JoinedSummary) {
    let originals: Vec<String> = files.captures.iter().map(|capture| capture.file.clone()).collect();
    let called = |number: usize| format!("capture-{}", number.saturating_add(1));
    for (number, capture) in files.captures.iter_mut().enumerate() {
        capture.file = called(number);
    }
    let mut unknown = originals.len();
    for (file, error) in &mut files.unreadable {
        let number = originals.iter().position(|original| original == file).unwrap_or_else(|| {
            unknown = unknown.saturating_add(1);
            unknown.saturating_sub(1)
        });
        *file = called(number);
        without_contents(error);
    }
}

/// Takes out of an error what it quotes of the file or says of its name.
fn without_contents(error: &mut Error) {
    match error {
        Error::Io { source, .. }
            if !source.get_ref().is_some_and(|inner| inner.is::<crate::capture::Stopped>()) =>
        {
            *source = io::Error::from(source.kind());
        }
        Error::NotACapture { looks_like, first } => {
            looks_like.get_or_insert("something else");
            first.clear();
        }
        _ => {}
    }
}
