//! The golden rule of absence: what rests on something missing is said only where the capture could have shown it.
//! Each scene has a twin that differs in what the capture point sees, and in nothing that the devices do.

use downbeat::analysis::Analysis;
use downbeat::devices::State;
use downbeat::devices::Strength;
use downbeat::findings;
use downbeat::findings::Severity;
use downbeat::viewpoint::Seat;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::udp;
use crate::support::craft::ptp_v2::Body;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::stage::at;
use crate::support::stage::device_of;

const END: i64 = 31_000;

fn leader() -> Actor {
    actor(1).class(6)
}

/// A request to `to` alone, or to the group.
fn asks(stage: &mut Stage, second: i64, asker: &Actor, to: Option<&Actor>) {
    let sequence = u16::try_from(second).unwrap();
    let to = to.and_then(|to| to.ip);
    stage.send(Some(second * 1000 + 500), asker, to, sequence, &Body::DelayReq { origin_ns: 0 });
}

/// Its answer, to the asker alone or to the group.
fn answers(stage: &mut Stage, second: i64, leader: &Actor, asker: &Actor, alone: bool) {
    let sequence = u16::try_from(second).unwrap();
    let body = Body::DelayResp { receipt_ns: 0, requester: asker.port };
    let to = asker.ip.filter(|_| alone);
    stage.send(Some(second * 1000 + 502), leader, to, sequence, &body);
}

fn peer_asks(stage: &mut Stage, second: i64, asker: &Actor) {
    let sequence = u16::try_from(second).unwrap();
    stage.send(Some(second * 1000 + 300), asker, None, sequence, &Body::PdelayReq { origin_ns: 0 });
}

fn peer_answers(stage: &mut Stage, second: i64, responder: &Actor, asker: &Actor) {
    let sequence = u16::try_from(second).unwrap();
    let body = Body::PdelayResp { receipt_ns: 0, requester: asker.port };
    stage.send(Some(second * 1000 + 301), responder, None, sequence, &body);
}

/// Unicast of pairs that have nothing to do with the clock and share no device: what a mirror sees.
fn mirrored(stage: &mut Stage) {
    for (one, other) in [(0x31, 0x32), (0x33, 0x34), (0x35, 0x36)] {
        for second in 0..10 {
            stage.talks(second * 1000 + 700, &actor(one), &actor(other));
            stage.talks(second * 1000 + 701, &actor(other), &actor(one));
        }
    }
}

/// The state of a clock with all that is said for it.
fn state(analysis: &Analysis, who: &Actor) -> (State, String) {
    let device = device_of(&analysis.devices, who.id());
    (device.state, device.reasons.join("; "))
}

fn has(analysis: &Analysis, id: &str) -> bool {
    findings::judge(analysis).findings.iter().any(|finding| finding.id == id)
}

/// Why a rule could not be judged.
fn not_judged(analysis: &Analysis, id: &str) -> Option<String> {
    findings::judge(analysis).not_judged.into_iter().find(|(rule, _)| *rule == id).map(|(_, why)| why)
}

#[track_caller]
fn is_withheld(analysis: &Analysis, who: &Actor, rule: &str, why: &str) {
    let (state, reasons) = state(analysis, who);
    assert_eq!(state, State::Unproven, "{reasons}");
    assert!(reasons.contains(why), "{reasons}");
    assert!(!has(analysis, rule));
    let told = not_judged(analysis, rule).unwrap_or_default();
    assert!(told.contains(why), "{rule}: {told}");
}

#[track_caller]
fn is_said(analysis: &Analysis, who: &Actor, expected: State, rule: &str) {
    let (state, reasons) = state(analysis, who);
    assert_eq!(state, expected, "{reasons}");
    assert!(has(analysis, rule), "{:?}", findings::judge(analysis).not_judged);
}

/// A leader that is heard, and one that asks it alone without an answer in the capture.
fn asks_alone(stage: &mut Stage) -> Actor {
    let asker = actor(3);
    stage.announces(0..=30, &[&leader()]);
    for second in 0..=25 {
        asks(stage, second, &asker, Some(&leader()));
    }
    asker
}

#[test]
fn unicast_requests_are_unanswered_only_where_unicast_passes_both_ways() {
    let mut stage = Stage::default();
    let asker = asks_alone(&mut stage);
    let one_way = stage.analysis(END);
    is_withheld(&one_way, &asker, "delay-response-missing", "captured in one direction only");

    let mut stage = Stage::default();
    let asker = asks_alone(&mut stage);
    // Another device talks with both, both ways: what the leader sends passes here.
    for second in 0..10 {
        stage.talks(second * 1000, &leader(), &actor(0x40));
        stage.talks(second * 1000 + 1, &actor(0x40), &leader());
    }
    let both_ways = stage.analysis(END);
    is_said(&both_ways, &asker, State::Unanswered, "delay-response-missing");
    assert_eq!(device_of(&both_ways.devices, asker.id()).strength, Strength::Inferred);
}

/// Requests go to the group; the leader answers each asker alone; of one asker this port sees the answers.
fn answered_aside(stage: &mut Stage) -> (Actor, Actor) {
    let (own, other) = (actor(2), actor(3));
    stage.announces(0..=30, &[&leader()]);
    for second in 0..=30 {
        let sync = Body::Sync { origin_ns: at(second * 1000 + 50).0 };
        stage.send(Some(second * 1000 + 50), &leader(), None, u16::try_from(second).unwrap(), &sync);
    }
    for second in 0..=25 {
        asks(stage, second, &own, None);
        answers(stage, second, &leader(), &own, true);
        asks(stage, second, &other, None);
    }
    (own, other)
}

#[test]
fn group_requests_that_are_answered_aside_are_unanswered_only_where_that_unicast_passes() {
    let mut stage = Stage::default();
    let (own, other) = answered_aside(&mut stage);
    let at_a_port = stage.analysis(END);
    assert_eq!(state(&at_a_port, &own).0, State::Following);
    let because = findings::judge(&at_a_port).because;
    assert!(because.ends_with(", which asks too: answers to it would not be in view"), "{because}");
    is_withheld(&at_a_port, &other, "delay-response-missing", "where this was captured is not known");

    let mut stage = Stage::default();
    let (own, other) = answered_aside(&mut stage);
    mirrored(&mut stage);
    for second in 0..10 {
        stage.talks(second * 1000 + 800, &leader(), &own);
        stage.talks(second * 1000 + 801, &own, &leader());
    }
    let at_a_mirror = stage.analysis(END);
    assert_eq!(at_a_mirror.viewpoint.seat, Seat::Mirror);
    is_said(&at_a_mirror, &other, State::Unanswered, "delay-response-missing");
}

#[test]
fn group_requests_are_unanswered_where_the_leaders_own_multicast_is_in_view() {
    let asker = actor(3);
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader()]);
    for second in 0..=25 {
        asks(&mut stage, second, &asker, None);
    }
    is_said(&stage.analysis(END), &asker, State::Unanswered, "delay-response-missing");

    // It announces to one device alone, so whether its multicast reaches this port is not known.
    let mut stage = Stage::default();
    for second in 0..=30 {
        let body = Body::Announce { origin_ns: 0, data: leader().data };
        let sequence = u16::try_from(second).unwrap();
        stage.send(Some(second * 1000), &leader(), actor(4).ip, sequence, &body);
    }
    for second in 0..=25 {
        asks(&mut stage, second, &asker, None);
    }
    let why = "no multicast PTP of another device was captured";
    is_withheld(&stage.analysis(END), &asker, "delay-response-missing", why);
}

/// Two ask the group in vain, and one asks alone whose answers are out of view: "nobody" would be too much to say.
#[test]
fn a_leader_is_said_to_answer_nobody_only_where_all_answers_would_be_in_view() {
    let title = |with_hidden: bool| {
        let mut stage = Stage::default();
        stage.announces(0..=30, &[&leader()]);
        for second in 0..=25 {
            asks(&mut stage, second, &actor(2), None);
            asks(&mut stage, second, &actor(3), None);
            if with_hidden {
                asks(&mut stage, second, &actor(4), Some(&leader()));
            }
        }
        let judgement = findings::judge(&stage.analysis(END));
        judgement.findings.into_iter().find(|finding| finding.id == "delay-response-missing").unwrap().title
    };
    assert!(title(false).contains("answers nobody; 2 devices ask in vain"), "{}", title(false));
    assert!(
        title(true).contains("answers none of the 2 devices whose answers would be in view"),
        "{}",
        title(true)
    );
}

/// Version 1: Syncs and requests are event messages, the answers are general ones.
fn version_one(with_general: bool) -> (Analysis, Actor) {
    let asker = actor(3);
    let mut stage = Stage::default();
    for second in 0..=30_u16 {
        let time = i64::from(second) * 1000;
        stage.v1_sync(time, &leader(), true, 1);
        stage.v1_request(time + 500, &asker, None, second);
        if with_general {
            stage.v1_request(time + 600, &actor(4), Some(&leader()), second);
        }
    }
    (stage.analysis(END + 2000), asker)
}

#[test]
fn a_capture_of_event_messages_alone_shows_no_answer_to_be_missing() {
    let of_asker = |analysis: &Analysis, asker: &Actor| {
        let device = device_of(&analysis.devices, asker.v1_id());
        (device.state, device.reasons.join("; "))
    };
    let (events_only, asker) = version_one(false);
    let (state, reasons) = of_asker(&events_only, &asker);
    assert_eq!(state, State::Unproven, "{reasons}");
    assert!(reasons.contains("no general message: a capture filter"), "{reasons}");
    assert!(not_judged(&events_only, "delay-response-missing").unwrap().contains("no general message"));

    let (whole, asker) = version_one(true);
    assert_eq!(of_asker(&whole, &asker).0, State::Unanswered);
    assert!(has(&whole, "delay-response-missing"));
}

/// Over Ethernet: an asker on one link, and the links that a mirror shows.
fn on_ethernet(number: u8) -> Actor {
    Actor { ip: None, ..actor(number) }
}

#[test]
fn peer_delay_requests_are_unanswered_only_on_a_link_that_is_seen_whole() {
    let (near, far) = (on_ethernet(1).class(6), on_ethernet(3));
    let link = |others: &[Actor]| {
        let mut stage = Stage::default();
        stage.announces(0..=30, &[&near]);
        for second in 0..=25 {
            peer_asks(&mut stage, second, &far);
            peer_asks(&mut stage, second, &near);
            peer_answers(&mut stage, second, &far, &near);
            for other in others {
                peer_asks(&mut stage, second, other);
            }
        }
        stage.analysis(END)
    };
    let one_link = link(&[]);
    assert_eq!(state(&one_link, &far).0, State::Unanswered);
    assert!(has(&one_link, "delay-response-missing"));
    // Three that speak on one link each: a mirror of several, and not of all their ends.
    let several = link(&[on_ethernet(5)]);
    is_withheld(&several, &far, "delay-response-missing", "peer-delay messages stay on one link");
}

/// The site with one leader and two followers that ask as given, and a clock alone in domain 5.
fn alone_in_five(stage: &mut Stage, by_group: bool, class: u8) -> Actor {
    let alone = actor(5).class(class).in_domain(5);
    stage.announces(0..=30, &[&leader(), &alone]);
    for second in 0..=25 {
        for follower in [actor(2), actor(3)] {
            let to = leader();
            asks(stage, second, &follower, (!by_group).then_some(&to));
            answers(stage, second, &leader(), &follower, !by_group);
        }
    }
    alone
}

#[test]
fn a_clock_that_leads_alone_is_astray_only_where_its_followers_would_be_seen() {
    let rule = "wrong-domain-follower";
    let mut stage = Stage::default();
    let alone = alone_in_five(&mut stage, true, 248);
    is_said(&stage.analysis(END), &alone, State::Astray, rule);

    let leads_on = |analysis: &Analysis, alone: &Actor, why: &str| {
        let (state, reasons) = state(analysis, alone);
        assert_eq!(state, State::Leading, "{reasons}");
        assert!(reasons.contains(why), "{reasons}");
        assert!(!has(analysis, rule));
        assert!(not_judged(analysis, rule).unwrap().contains(why));
    };
    let mut stage = Stage::default();
    let alone = alone_in_five(&mut stage, false, 248);
    leads_on(&stage.analysis(END), &alone, "followers that ask by unicast would not be seen from here");
    let mut stage = Stage::default();
    let alone = alone_in_five(&mut stage, true, 6);
    leads_on(&stage.analysis(END), &alone, "its leader offers itself as a reference");

    // At a mirror that shows the clock's own unicast, nobody follows it.
    let mut stage = Stage::default();
    let alone = alone_in_five(&mut stage, false, 248);
    mirrored(&mut stage);
    for second in 0..10 {
        stage.talks(second * 1000 + 800, &alone, &actor(0x40));
        stage.talks(second * 1000 + 801, &actor(0x40), &alone);
    }
    is_said(&stage.analysis(END), &alone, State::Astray, rule);
}

#[test]
fn a_device_that_asks_where_nobody_leads_is_astray_only_where_a_leader_would_be_heard() {
    let rule = "wrong-domain-follower";
    let asker = actor(5).in_domain(5);
    let lost = |to: Option<Actor>| {
        let mut stage = Stage::default();
        stage.announces(0..=30, &[&leader()]);
        for second in 0..=25 {
            asks(&mut stage, second, &actor(2), None);
            answers(&mut stage, second, &leader(), &actor(2), false);
            asks(&mut stage, second, &asker, to.as_ref());
        }
        stage.analysis(END)
    };
    is_said(&lost(None), &asker, State::Astray, rule);
    // It asks one receiver, which may announce itself to it alone.
    is_withheld(&lost(Some(actor(6))), &asker, rule, "captured in one direction only");
}

#[test]
fn a_clock_that_fell_silent_has_yielded_only_where_its_announces_would_be_seen() {
    let quiet = actor(2);
    let yields = |to: Option<Actor>| {
        let mut stage = Stage::default();
        for second in 0..=10_u16 {
            let body = Body::Announce { origin_ns: 0, data: quiet.data };
            let to = to.as_ref().and_then(|to| to.ip);
            stage.send(Some(i64::from(second) * 1000 + 20), &quiet, to, second, &body);
        }
        stage.announces(9..=30, &[&leader()]);
        stage.analysis(END)
    };
    assert_eq!(state(&yields(None), &quiet).0, State::StandingBy);
    let (hidden, reasons) = state(&yields(Some(actor(4))), &quiet);
    assert_eq!(hidden, State::Unproven, "{reasons}");
    assert!(reasons.contains("it announced to single receivers"), "{reasons}");
}

/// Two devices ask for a minute and a half, the group or one receiver; with general messages in the capture or without.
fn leaderless(with_general: bool, by_group: bool) -> Analysis {
    let mut stage = Stage::default();
    for second in 0..=90 {
        for asker in [actor(2), actor(3)] {
            let to = actor(1);
            asks(&mut stage, second, &asker, (!by_group).then_some(&to));
        }
        if with_general {
            // A desk asks for nothing that makes it a clock.
            let body = Body::Management { target: actor(2).port, hops: (1, 1), action: 0, tlvs: Vec::new() };
            stage.send(Some(second * 1000), &actor(9), None, u16::try_from(second).unwrap(), &body);
        }
    }
    stage.analysis(91_000)
}

#[test]
fn nobody_leads_only_where_a_leader_would_be_heard() {
    let rule = "no-grandmaster";
    let whole = leaderless(true, true);
    assert!(has(&whole, rule), "{:?}", not_judged(&whole, rule));
    for (with_general, by_group, why) in [
        (false, true, "no general message: a capture filter may have taken them out"),
        (true, false, "captured in one direction only"),
    ] {
        let analysis = leaderless(with_general, by_group);
        assert!(!has(&analysis, rule));
        let told = not_judged(&analysis, rule).unwrap();
        assert!(told.contains(why), "{told}");
    }
}

/// A leader that announces and sends no Sync, and followers that ask it as given.
fn without_sync(asked: Option<bool>) -> Analysis {
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader()]);
    for second in 0..=25 {
        let to = leader();
        match asked {
            None => stage.talks(second * 1000, &actor(8), &actor(9)),
            Some(by_group) => asks(&mut stage, second, &actor(2), (!by_group).then_some(&to)),
        }
    }
    stage.analysis(END)
}

#[test]
fn syncs_are_missing_only_where_they_would_be_seen() {
    let rule = "announce-without-sync";
    assert!(has(&without_sync(Some(true)), rule));
    for (asked, why) in [
        (None, "no event message: a capture filter may have taken them out"),
        (Some(false), "unicast of the two was captured in one direction only"),
    ] {
        let analysis = without_sync(asked);
        assert!(!has(&analysis, rule));
        let told = not_judged(&analysis, rule).unwrap();
        assert!(told.contains(why), "{told}");
    }
}

/// A version 1 domain beside one of version 2, whose followers ask as given, and nobody who joins them.
fn two_versions(by_group: bool) -> Analysis {
    beside_one_another(by_group, None)
}

/// The same with a stream between these devices.
fn beside_one_another(by_group: bool, stream: Option<(u8, u8)>) -> Analysis {
    let mut stage = Stage::default();
    if let Some((from, to)) = stream {
        streams(&mut stage, &actor(from), &actor(to));
    }
    let old = actor(7);
    stage.announces(0..=30, &[&leader()]);
    for second in 0..=25_u16 {
        let time = i64::from(second) * 1000;
        stage.v1_sync(time, &old, true, 1);
        stage.v1_request(time + 100, &actor(8), Some(&old), second);
        let to = leader();
        asks(&mut stage, second.into(), &actor(2), (!by_group).then_some(&to));
        answers(&mut stage, second.into(), &leader(), &actor(2), !by_group);
    }
    stage.analysis(END)
}

/// RTP to one receiver, 50 packets a second.
fn streams(stage: &mut Stage, from: &Actor, to: &Actor) {
    let way = Ipv4Way {
        source: from.ip.unwrap(),
        destination: to.ip.unwrap(),
        ttl: 64,
        dscp: 34,
        identification: 0,
    };
    for number in 0..1000_u16 {
        let mut packet = vec![0x80, 97];
        packet.extend(number.to_be_bytes());
        packet.extend((u32::from(number) * 960).to_be_bytes());
        packet.extend([0, 0, 0, 7]);
        packet.extend([0; 288]);
        let datagram = udp(&way, 5004, 5004, &packet);
        stage.frame_passes(
            Some(at(i64::from(number) * 20 + 7)),
            ethernet(to.mac, from.mac, 0x0800, &datagram),
        );
    }
}

#[test]
fn two_versions_side_by_side_are_a_fault_only_where_a_stream_crosses() {
    let rows = [
        (None, Severity::Info, "no stream is seen to cross"),
        (Some((2, 3)), Severity::Info, "no stream is seen to cross"),
        (Some((2, 8)), Severity::Critical, "a stream crosses between them"),
    ];
    for (stream, severity, words) in rows {
        let judgement = findings::judge(&beside_one_another(true, stream));
        let own = judgement.findings.iter().find(|finding| finding.id == "version-mix").unwrap();
        assert_eq!(own.severity, severity, "{stream:?} {}", own.title);
        assert!(own.title.contains(words), "{}", own.title);
    }
}

#[test]
fn two_versions_are_called_unjoined_only_where_the_joining_device_would_be_seen() {
    let joined = two_versions(true);
    let judgement = findings::judge(&joined);
    assert!(judgement.findings.iter().any(|f| f.id == "version-mix" && f.severity == Severity::Info));
    let hidden = two_versions(false);
    assert!(!has(&hidden, "version-mix"));
    assert!(not_judged(&hidden, "version-mix").unwrap().contains("ask by unicast"));
}
