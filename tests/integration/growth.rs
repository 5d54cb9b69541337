//! Captures in which everything is new all the time: what is kept has a limit, what is not is counted, and the report
//! says so. Sizes and counts only; nothing here is timed.

use std::collections::BTreeSet;

use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Tally;
use downbeat::capture::Joined;
use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::domains::DOMAINS_KEPT;
use downbeat::domains::Domains;
use downbeat::domains::EVENTS_KEPT;
use downbeat::domains::PORTS_KEPT;
use downbeat::domains::REQUESTERS_KEPT;
use downbeat::domains::TENURES_KEPT;
use downbeat::findings;
use downbeat::report;
use downbeat::units::CaptureTime;
use serde_json::Value;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::judged;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::wire;
use crate::support::wire::Sender;
use crate::support::wire::Wire;

/// Ports that go at once.
const AT_ONCE: usize = PORTS_KEPT / 4;

/// Seconds of the sound networks beneath.
const SECONDS: i64 = 40;

/// A device that nobody else is, far from those of the stage.
fn invented(number: usize) -> Actor {
    let [.., a, b, c] = u32::try_from(number).unwrap().to_be_bytes();
    let mac = [0x02, 0x00, 0x5E, a | 0x80, b, c];
    let mut stranger = actor(7);
    stranger.mac = mac;
    stranger.port = PortIdentity::of_mac(mac);
    stranger.ip = Some([172, 16 | (a & 0x0F), b, c].into());
    stranger.data.grandmaster = stranger.port.clock;
    stranger
}

/// Microsecond of the sound network at which number `index` of `count` comes.
fn spread(index: usize, count: usize) -> i64 {
    let span = SECONDS * 1_000_000 - 200_000;
    100_000 + span * i64::try_from(index).unwrap() / i64::try_from(count).unwrap()
}

/// A sound network in which so many invented devices ask once each.
fn asked_by(count: usize) -> Wire {
    let mut wire = wire::sound(SECONDS);
    for index in 0..count {
        let body = Body::DelayReq { origin_ns: 0 };
        wire.put(spread(index, count), &Sender::of(invented(index)), 1, &body);
    }
    wire
}

fn left_out<'a>(report: &'a Value, kind: &str) -> Option<&'a Value> {
    report["span"]["left_out"].get(kind)
}

fn count(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}

fn length(value: &Value) -> usize {
    value.as_array().unwrap().len()
}

#[test]
fn a_flood_of_invented_ports_is_summed_up_and_nothing_is_called_sound() {
    let flood = PORTS_KEPT + 3000;
    let report = asked_by(flood).report();
    let domain = &report["domains"][0];
    let kept = length(&domain["clocks"]);
    assert!(kept <= PORTS_KEPT, "{kept}");
    // The leader and its follower are heard all the time and stay.
    assert_eq!(kept + count(left_out(&report, "ports").unwrap()), flood + 2);
    let requesters = length(&domain["requesters"]);
    assert!(requesters <= REQUESTERS_KEPT, "{requesters}");
    assert_eq!(requesters + count(left_out(&report, "requesters").unwrap()), flood + 1);
    // Each of those left out had sent one message.
    assert_eq!(left_out(&report, "ptp_messages"), left_out(&report, "ports"));
    assert!(domain["leader"].is_string());
    let follower =
        domain["requesters"].as_array().unwrap().iter().find(|asker| asker["answered"] != 0).unwrap();
    assert_eq!(count(&follower["answered"]), usize::try_from(SECONDS).unwrap());
    assert_eq!(report["verdict"], "cannot-tell", "{}", report["verdict_because"]);
    assert_eq!(said(&report, "too-many-identities").len(), 1);
}

#[test]
fn a_large_network_is_kept_whole_and_judged_as_ever() {
    let report = asked_by(1000).report();
    assert_eq!(length(&report["domains"][0]["clocks"]), 1002);
    assert!(report["span"]["left_out"].is_null());
    assert!(said(&report, "too-many-identities").is_empty());
    assert_eq!(report["verdict"], "sound", "{}", report["verdict_because"]);
}

#[test]
fn twice_the_flood_is_folded_twice_as_often() {
    // A fold looks at every entry, so it must make room for many at once.
    let folded = |flood: usize| {
        let mut stage = Stage::default();
        for index in 0..flood {
            let ms = i64::try_from(index).unwrap();
            stage.ask(ms, &invented(index), 1);
        }
        let left_out = stage.finish(i64::try_from(flood).unwrap()).left_out();
        assert_eq!((left_out.ports, left_out.messages), (left_out.requesters, left_out.ports));
        let ports = usize::try_from(left_out.ports).unwrap();
        assert_eq!(ports % AT_ONCE, 0, "{ports}");
        ports / AT_ONCE
    };
    assert_eq!(
        (folded(PORTS_KEPT + 1), folded(PORTS_KEPT + AT_ONCE), folded(PORTS_KEPT + AT_ONCE + 1)),
        (1, 1, 2)
    );
}

/// Requests over Ethernet, which are no flows: those in the table of streams are folded as they come.
fn invented_requests(count: usize) -> Vec<CapturedFrame> {
    let mut wire = Wire::default();
    for index in 0..count {
        let body = Body::DelayReq { origin_ns: 0 };
        wire.ethernet(spread(index, count), &Sender::of(invented(index)), 1, &body);
    }
    wire.0
}

/// The report of frames that are read one by one, or cut at `cuts` and joined.
fn flooded(frames: &[CapturedFrame], cuts: &[usize]) -> Value {
    let records: Vec<Record<'_>> = (1..).zip(frames).map(|(number, frame)| record(number, frame)).collect();
    let mut reading = Reading::new(Settings::default());
    let mut from = 0;
    for until in cuts {
        let mut piece = Tally::default();
        records[from..*until].iter().for_each(|record| piece.record(0, record));
        reading.absorb(piece);
        from = *until;
    }
    records[from..].iter().for_each(|record| reading.push(0, record));
    let analysis = reading.finish(Joined::new(Vec::new()).finish());
    let mut json = Vec::new();
    report::write_json(&report::document(&analysis, &findings::judge(&analysis)), &mut json).unwrap();
    serde_json::from_slice(&json).unwrap()
}

fn record(number: u64, frame: &CapturedFrame) -> Record<'_> {
    Record {
        number,
        time: Some(CaptureTime(frame.stamp_ns)),
        link: LinkType::ETHERNET,
        interface: 0,
        original_len: u32::try_from(frame.octets.len()).unwrap(),
        fcs_octets: None,
        octets: &frame.octets,
    }
}

#[test]
fn where_a_flood_is_cut_shows_nowhere() {
    let frames = invented_requests(PORTS_KEPT + 2500);
    let whole = flooded(&frames, &[]);
    assert!(left_out(&whole, "ports").is_some());
    assert_eq!(flooded(&frames, &[1, 9000, PORTS_KEPT, PORTS_KEPT + 1]), whole);
}

/// Domains on ever new VLANs beneath one that goes on.
fn domains_beside_one(count: usize) -> Domains {
    let mut stage = Stage::default();
    let leader = actor(1).class(6);
    for index in 0..count {
        let mut stranger = invented(index);
        stranger.domain = u8::try_from(1 + index % 100).unwrap();
        stranger.vlan = Some(u16::try_from(10 + index / 100).unwrap());
        let ms = i64::try_from(index * 50).unwrap();
        stage.announce(ms, &stranger);
        if index % 20 == 0 {
            stage.announce(ms, &leader);
        }
    }
    stage.finish(i64::try_from(count * 50).unwrap())
}

#[test]
fn domains_on_ever_new_vlans_are_summed_up_and_the_one_that_goes_on_is_kept() {
    let all = DOMAINS_KEPT + 200;
    let domains = domains_beside_one(all);
    let left_out = domains.left_out();
    assert!(domains.iter().count() <= DOMAINS_KEPT);
    assert_eq!(domains.iter().count() + usize::try_from(left_out.domains).unwrap(), all + 1);
    assert_eq!((left_out.ports, left_out.messages), (left_out.domains, left_out.domains));
    let whole = domains.iter().find(|domain| domain.key.vlan.is_none()).unwrap();
    assert_eq!(whole.election.leader(), Some(actor(1).id()));
    assert!(left_out.is_of_senders());
    let few = domains_beside_one(DOMAINS_KEPT - 1);
    assert_eq!((few.iter().count(), few.left_out().domains), (DOMAINS_KEPT, 0));
}

#[test]
fn a_port_that_announces_other_data_all_the_time_takes_no_others_room() {
    let mut stage = Stage::default();
    let mut restless = actor(1);
    for index in 0..1500 {
        restless.data.priority1 = 100 + u8::from(index % 2 == 0);
        stage.announce(index * 100, &restless);
    }
    let mut other = actor(2);
    for index in 0..10 {
        other.data.priority2 = 100 + u8::from(index % 2 == 0);
        stage.announce(index * 1000 + 50, &other);
    }
    let domains = stage.finish(150_000);
    let domain = domains.iter().next().unwrap();
    let of = |kind: &str| domain.events.iter().filter(|event| event.what.kind() == kind).count();
    assert_eq!(of("announced-data-changed"), 1024 + 9);
    assert_eq!(domains.left_out().events, 1499 - 1024);
    assert!(!domains.left_out().is_of_senders() && domain.events.len() <= EVENTS_KEPT);
}

#[test]
fn leads_that_change_all_the_time_are_forgotten_from_the_first_and_counted() {
    let mut stage = Stage::default();
    let (mut restless, steady) = (actor(1), actor(2));
    let changes = i64::try_from(TENURES_KEPT + 100).unwrap();
    for index in 0..changes {
        restless.data.priority1 = if index % 2 == 0 { 1 } else { 200 };
        stage.announce(index * 100, &restless);
        if index % 10 == 0 {
            stage.announce(index * 100 + 1, &steady);
        }
    }
    let domains = stage.finish(changes * 100);
    let domain = domains.iter().next().unwrap();
    let tenures = domain.election.tenures().count();
    assert!(tenures <= TENURES_KEPT + 1 && tenures > TENURES_KEPT / 2, "{tenures}");
    assert!(domains.left_out().events > 0 && !domains.left_out().is_of_senders());
    assert!(domain.events.len() <= EVENTS_KEPT);
    let whole = domain.election.tenures().zip(domain.election.tenures().skip(1));
    assert!(whole.into_iter().all(|(before, after)| before.until == Some(after.from)));
}

#[test]
fn announcers_beyond_those_an_election_follows_are_counted() {
    let mut stage = Stage::default();
    for second in 0..4 {
        for index in 0..150 {
            stage.announce(second * 1000 + i64::try_from(index).unwrap(), &invented(index));
        }
    }
    let domains = stage.finish(4000);
    assert_eq!(domains.left_out().offers, 22 * 4);
    assert!(domains.left_out().is_of_senders());
}

#[test]
fn the_text_says_what_was_left_out() {
    let mut wire = wire::sound(5);
    for index in 0..DOMAINS_KEPT + 10 {
        let mut stranger = invented(index);
        stranger.domain = u8::try_from(1 + index % 100).unwrap();
        let vlan = Some(u16::try_from(10 + index / 100).unwrap());
        let body = Body::Announce { origin_ns: 0, data: stranger.data };
        wire.put(i64::try_from(index).unwrap() * 5000, &Sender { vlan, ..Sender::of(stranger) }, 1, &body);
    }
    wire.0.sort_by_key(|frame| frame.stamp_ns);
    let judged = judged::files(&[("flood.pcap", capture_file::pcap(262_144, &wire.0))]);
    let text: BTreeSet<&str> = judged.text.split_whitespace().collect();
    assert!(
        text.contains("too-many-identities") || judged.text.contains("more senders were heard"),
        "{}",
        judged.text
    );
    let words = judged.text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("left out, as there is no room for more: 128 domains, 128 ports"), "{words}");
}
