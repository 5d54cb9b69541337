//! SAP messages and session descriptions against worked-out values, and what the decoders must bear.

use std::io::Write;
use std::net::IpAddr;

use downbeat::sap;
use downbeat::sap::Note;
use downbeat::sdp;
use downbeat::sdp::MediaClock;
use downbeat::sdp::PtpDomain;
use downbeat::sdp::PtpSource;
use downbeat::sdp::ReferenceClock;
use downbeat::units::MacAddress;
use downbeat::units::Nanos;
use flate2::Compression;
use flate2::write::ZlibEncoder;
use proptest::prelude::*;
use serde_json::json;

use crate::rtp_vectors::octets;
use crate::rtp_vectors::vector;
use crate::support::survival::bears_cuts_and_changes;
use crate::support::survival::bears_noise;
use crate::support::vectors::from_hex;

/// A description of a redundant video stream and an audio stream, with what plants of the kind write.
const SESSION: &str = "v=0\r\n\
    o=- 42 7 IN IP4 10.20.0.21\r\n\
    s=Harbour Playhouse stage camera\r\n\
    i=Stage left\r\n\
    t=0 0\r\n\
    a=group:DUP primary secondary\r\n\
    a=ts-refclk:ptp=IEEE1588-2008:02-00-5E-FF-FE-10-00-01:127\r\n\
    a=mediaclk:direct=0\r\n\
    x=unknown line\r\n\
    m=video 5004 RTP/AVP 96\r\n\
    c=IN IP4 239.20.2.1/64\r\n\
    a=source-filter: incl IN IP4 239.20.2.1 10.20.0.21\r\n\
    a=rtpmap:96 raw/90000\r\n\
    a=fmtp:96 sampling=YCbCr-4:2:2; width=1920; height=1080; exactframerate=60000/1001; depth=10; interlace; PM=2110GPM;\r\n\
    a=mid:primary\r\n\
    m=video 5004 RTP/AVP 96\r\n\
    c=IN IP4 239.20.3.1/64\r\n\
    a=rtpmap:96 raw/90000\r\n\
    a=ts-refclk:localmac=02-00-5e-10-00-21\r\n\
    a=mediaclk:sender\r\n\
    a=mid:secondary\r\n\
    m=audio 5006 RTP/AVP 97 98\r\n\
    c=IN IP6 ff1e::20:101/3\r\n\
    a=rtpmap:97 L24/48000/8\r\n\
    a=rtpmap:98 L16/48000\r\n\
    a=ptime:0.125\r\n\
    a=maxptime:1\r\n\
    a=framecount:6\r\n\
    a=recvonly\r\n";

#[test]
fn an_announcement_has_the_fields_that_were_worked_out() {
    let vector = vector("SAP-1");
    let octets = octets(&vector);
    let expected = &vector["decoded"];
    let message = sap::decode(&octets).unwrap();
    assert_eq!((message.notes.as_slice(), message.authentication_octets), (&[][..], 0));
    assert_eq!((message.is_deletion, message.is_encrypted, message.is_compressed), (false, false, false));
    assert_eq!(format!("{:04x}", message.message_identifier_hash), expected["msgIdHash"].as_str().unwrap());
    assert_eq!(message.origin.to_string(), expected["origin"].as_str().unwrap());
    assert_eq!(message.payload_type.as_deref(), expected["payloadType"].as_str());
    let text = message.sdp().unwrap();
    assert_eq!(std::str::from_utf8(text).unwrap(), expected["sdp"].as_str().unwrap());

    let session = sdp::parse(text).unwrap();
    assert_eq!(session.problems, []);
    let [media] = session.media.as_slice() else { panic!("{:?}", session.media) };
    let [connection] = session.connections_of(media) else { panic!() };
    let [map] = media.rtp_maps.as_slice() else { panic!() };
    let [ReferenceClock::Ptp { version, source }] = session.reference_clocks_of(media) else { panic!() };
    let PtpSource::Grandmaster { grandmaster_identity, domain: Some(PtpDomain::Number(domain)) } = source
    else {
        panic!("{source:?}")
    };
    let Some(MediaClock::Direct { offset: Some(offset), rate: None }) = session.media_clock_of(media) else {
        panic!()
    };
    let gmid: Vec<String> = grandmaster_identity.iter().map(|octet| format!("{octet:02X}")).collect();
    let found = json!({
        "group": connection.address.to_string(),
        "ttl": connection.ttl,
        "port": media.port,
        "pt": map.payload_type,
        "encoding": map.encoding,
        "rate": map.clock_rate,
        "channels": map.channels,
        "ptime_ms": media.packet_time.unwrap().0 / 1_000_000,
        "refclk": { "kind": "ptp", "version": version, "gmid": gmid.join("-"), "domain": domain },
        "mediaclk": { "kind": "direct", "offset": offset },
    });
    for (key, value) in found.as_object().unwrap() {
        assert_eq!(value, &expected[key], "{key}");
    }
    let origin = session.origin.unwrap();
    assert_eq!((origin.session_id.as_str(), origin.session_version), ("1311738121", 1_311_738_121));
    for length in 0..8 {
        assert!(sap::decode(&octets[..length]).is_err(), "{length}");
    }
}

#[test]
fn a_deletion_is_told_from_an_announcement() {
    let vector = vector("SAP-2-delete");
    let message = sap::decode(&octets(&vector)).unwrap();
    assert!(message.is_deletion);
    assert_eq!(
        format!("{:04x}", message.message_identifier_hash),
        vector["decoded"]["msgIdHash"].as_str().unwrap()
    );
}

/// RFC 2974 section 6: V 1, A, then authentication data, then the type.
fn header(flags: u8, authentication_words: u8) -> Vec<u8> {
    let mut octets = vec![0x20 | flags, authentication_words, 0xbe, 0xef];
    octets.extend(if flags & 0x10 == 0 { vec![10, 20, 0, 21] } else { vec![0xfd; 16] });
    octets.extend(vec![0; usize::from(authentication_words) * 4]);
    octets
}

fn compressed(octets: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(octets).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn every_kind_of_payload_is_read_or_noted() {
    let typed = [b"application/sdp\0".as_slice(), SESSION.as_bytes()].concat();
    let with = |flags, words, payload: &[u8]| {
        sap::decode(&[header(flags, words).as_slice(), payload].concat()).unwrap()
    };

    let untyped = with(0x10, 2, SESSION.as_bytes());
    assert_eq!(untyped.origin, "fdfd:fdfd:fdfd:fdfd:fdfd:fdfd:fdfd:fdfd".parse::<IpAddr>().unwrap());
    assert_eq!((untyped.authentication_octets, untyped.payload_type.as_ref()), (8, None));
    assert_eq!(untyped.sdp(), Some(SESSION.as_bytes()));

    let inflated = with(0x01, 0, &compressed(&typed));
    assert_eq!((inflated.is_compressed, inflated.sdp()), (true, Some(SESSION.as_bytes())));
    let clear = [b"application/sdp\0".as_slice(), &compressed(SESSION.as_bytes())].concat();
    assert_eq!(with(0x01, 0, &clear).sdp(), Some(SESSION.as_bytes()));
    let broken = with(0x01, 0, &compressed(&typed)[..40]);
    assert_eq!((broken.notes.as_slice(), broken.sdp()), (&[Note::CompressionBroken][..], None));
    let bomb = with(0x01, 0, &compressed(&vec![0; 1 << 20]));
    assert_eq!((bomb.notes.as_slice(), bomb.sdp()), (&[Note::InflatesTooFar][..], None));

    let encrypted = with(0x02, 0, &[1, 2, 3]);
    assert_eq!((encrypted.sdp(), encrypted.payload.as_slice()), (None, &[1, 2, 3][..]));
    let other = with(0, 0, b"text/plain\0hello");
    assert_eq!((other.payload_type.as_deref(), other.sdp()), (Some("text/plain"), None));
    assert_eq!(with(0, 0, b"hello").notes, [Note::PayloadTypeNotEnded]);
    assert_eq!(with(0x04, 0, b"o=- 42 7 IN IP4 10.20.0.21\r\n").payload_type, None);

    let mut no_hash = header(0, 0);
    no_hash[2..4].fill(0);
    assert_eq!(sap::decode(&no_hash).unwrap().notes, [Note::NoHash]);
    assert!(sap::decode(&[0x40, 0, 0, 1, 10, 20, 0, 21]).is_err());
    assert!(sap::decode(&header(0, 3)[..19]).is_err());
}

#[test]
fn a_description_of_pairs_and_clocks_is_read() {
    let session = sdp::parse(SESSION.as_bytes()).unwrap();
    assert_eq!(session.problems, []);
    assert_eq!(
        (session.name.as_str(), session.times.as_slice()),
        ("Harbour Playhouse stage camera", &[(0, 0)][..])
    );
    assert_eq!(session.duplication_groups[0].mids, ["primary", "secondary"]);
    let [primary, secondary, audio] = session.media.as_slice() else { panic!() };
    assert_eq!((primary.mid.as_deref(), secondary.mid.as_deref()), (Some("primary"), Some("secondary")));

    let parameters = &primary.format_parameters[0];
    assert_eq!((parameters.format.as_str(), parameters.value("exactframerate")), ("96", Some("60000/1001")));
    assert_eq!((parameters.value("Width"), parameters.value("interlace")), (Some("1920"), None));
    assert_eq!(parameters.parameters.len(), 7);
    assert_eq!(session.source_filters_of(primary)[0].sources, ["10.20.0.21".parse::<IpAddr>().unwrap()]);
    assert!(matches!(session.reference_clocks_of(primary), [ReferenceClock::Ptp { .. }]));

    let mac = MacAddress([0x02, 0x00, 0x5e, 0x10, 0x00, 0x21]);
    assert_eq!(session.reference_clocks_of(secondary), [ReferenceClock::LocalMac(mac)]);
    assert_eq!(session.media_clock_of(secondary), Some(&MediaClock::Sender));

    assert_eq!(audio.formats, ["97", "98"]);
    assert_eq!((audio.packet_time, audio.max_packet_time), (Some(Nanos(125_000)), Some(Nanos(1_000_000))));
    assert_eq!((audio.frame_count, audio.rtp_maps[1].channels), (Some(6), None));
    let connection = audio.connections[0];
    assert_eq!((connection.ttl, connection.count), (None, Some(3)));
}

#[test]
fn line_ends_without_return_and_nuls_at_the_end_are_taken() {
    let bare = SESSION.replace("\r\n", "\n");
    let ended = format!("{SESSION}\0\0");
    let expected = sdp::parse(SESSION.as_bytes()).unwrap();
    assert_eq!(sdp::parse(bare.as_bytes()), Ok(expected.clone()));
    assert_eq!(sdp::parse(ended.as_bytes()), Ok(expected));
}

#[test]
fn a_value_that_cannot_be_read_is_left_out_with_its_line() {
    for (line, from, to) in [
        (7, "ptp=IEEE1588-2008:02-00-5E", "ptp=IEEE1588-2008:02-00"),
        (8, "direct=0", "direct=now"),
        (11, "239.20.2.1/64", "239.20.2.1/many"),
        (12, "incl IN", "some IN"),
        (13, "rtpmap:96 raw/90000", "rtpmap:200 raw/90000"),
        (26, "ptime:0.125", "ptime:short"),
        (28, "framecount:6", "framecount:-6"),
    ] {
        assert!(SESSION.contains(from), "{from}");
        let session = sdp::parse(SESSION.replacen(from, to, 1).as_bytes()).unwrap();
        let lines: Vec<usize> = session.problems.iter().map(|problem| problem.line).collect();
        assert_eq!(lines, [line], "{to}: {:?}", session.problems);
    }
}

#[test]
fn a_broken_line_is_an_error_with_its_line() {
    for (line, from, to) in [
        (Some(1), "v=0", "v=1"),
        (Some(2), "o=- 42 7", "o=- 42 x"),
        (Some(4), "i=Stage left", "Stage left"),
        (Some(4), "i=Stage left", "s=Stage left"),
        (Some(10), "m=video 5004", "m=video many"),
        (None, "v=0\r\n", ""),
    ] {
        assert!(SESSION.contains(from), "{from}");
        let error = sdp::parse(SESSION.replacen(from, to, 1).as_bytes()).unwrap_err();
        assert_eq!(error.line, line, "{to}: {error}");
        assert!(error.to_string().contains("session description"), "{error}");
    }
}

fn every_decoder(octets: &[u8]) {
    if let Ok(message) = sap::decode(octets) {
        assert!(message.payload.len() <= 65_536);
        if let Some(text) = message.sdp() {
            read(text);
        }
    }
    read(octets);
}

fn read(text: &[u8]) {
    let lines = text.split(|octet| *octet == b'\n').count();
    match sdp::parse(text) {
        Ok(session) => assert!(session.problems.iter().all(|problem| (1..=lines).contains(&problem.line))),
        Err(error) => assert!(error.line.is_none_or(|line| line <= lines), "{error}"),
    }
}

#[test]
fn cuts_changes_and_noise_are_borne() {
    bears_cuts_and_changes(&octets(&vector("SAP-1")), every_decoder);
    bears_cuts_and_changes(SESSION.as_bytes(), read);
    bears_cuts_and_changes(&[header(0x01, 0), compressed(b"v=0\r\ns=x\r\n")].concat(), every_decoder);
    bears_noise(
        &[&[], &from_hex("2000beef0a140015"), b"v=0\r\na=", b"v=0\r\nm=audio 1 RTP/AVP 97\r\na=rtpmap:"],
        every_decoder,
    );
}

proptest! {
    #[test]
    fn any_lines_are_borne(lines in prop::collection::vec("[vosctmabrzk]=[ -~]{0,40}", 0..20)) {
        read(format!("v=0\r\n{}", lines.join("\r\n")).as_bytes());
    }

    #[test]
    fn any_attributes_are_borne(lines in prop::collection::vec(
        "(rtpmap|fmtp|ptime|ts-refclk|mediaclk|source-filter|group|mid|framecount):[a-zA-Z0-9 =:;/.*-]{0,40}", 0..20,
    )) {
        let attributes: String = lines.iter().map(|line| format!("a={line}\n")).collect();
        let text = format!("v=0\n{attributes}m=audio 5004 RTP/AVP 97\n{attributes}");
        prop_assert!(sdp::parse(text.as_bytes()).is_ok());
        read(text.as_bytes());
    }

    #[test]
    fn any_octets_are_borne(octets in prop::collection::vec(any::<u8>(), 0..200)) {
        every_decoder(&octets);
    }
}
