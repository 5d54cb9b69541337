//! Requests with their answers: Delay_Req and Pdelay_Req are answered where an answer names the requester's port
//! and its sequenceId (1588-2008 11.3 and 11.4, from memory).

use downbeat::domains::Domain;
use downbeat::domains::Mechanism;
use downbeat::domains::PortId;
use downbeat::domains::Requester;
use downbeat::units::Nanos;

use crate::support::craft::ptp_v2::Body;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::stage::at;
use crate::support::stage::ms;
use crate::support::stage::only;

fn requester<'a>(domain: &'a Domain, actor: &Actor, mechanism: Mechanism) -> &'a Requester {
    &domain.requesters[&(PortId { clock: actor.id(), port: actor.port.port }, mechanism)]
}

#[test]
fn each_answer_belongs_to_the_request_of_its_port_and_number() {
    let (leader, first, second) = (actor(1), actor(2), actor(3));
    let mut stage = Stage::default();
    for sequence in 0..10_u16 {
        let time = i64::from(sequence) * 1000;
        stage.ask(time, &first, sequence);
        stage.ask(time + 1, &second, sequence);
        stage.answer(time + 3, &leader, &second, sequence);
        // A number that was never asked for.
        stage.answer(time + 4, &leader, &first, sequence + 100);
    }
    let domains = stage.finish(20_000);
    let domain = only(&domains);
    let first = requester(domain, &first, Mechanism::EndToEnd);
    assert_eq!((first.seen(), first.answered(), first.unanswered()), (10, 0, 10));
    let second = requester(domain, &second, Mechanism::EndToEnd);
    assert_eq!((second.seen(), second.answered(), second.unanswered()), (10, 10, 0));
    assert_eq!(second.response_time().summary().unwrap().max, Nanos(2_000_000));
    assert_eq!((second.answered_multicast(), second.multicast()), (10, 10));
}

#[test]
fn an_outage_begins_at_its_first_lost_request_and_ends_at_the_next_answered_one() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..10, &asker, Some(&leader));
    stage.requests(10..16, &asker, None);
    stage.requests(16..=25, &asker, Some(&leader));
    let domains = stage.finish(30_000);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    let [outage] = found.outages() else { panic!("{:?}", found.outages()) };
    assert_eq!((ms(outage.from.time.unwrap()), ms(outage.until.unwrap().time.unwrap())), (10_500, 16_500));
    assert_eq!((found.answered(), found.unanswered(), found.in_vain()), (20, 6, 0));
    let kinds: Vec<_> =
        only(&domains).events.iter().map(|event| (ms(event.time), event.what.kind())).collect();
    assert!(kinds.contains(&(10_500, "answers-stopped")) && kinds.contains(&(16_500, "answers-resumed")));
}

#[test]
fn three_lost_requests_are_no_outage() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.requests(0..10, &asker, Some(&leader));
    stage.requests(10..13, &asker, None);
    stage.requests(13..=25, &asker, Some(&leader));
    let domains = stage.finish(30_000);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    assert_eq!((found.outages(), found.unanswered()), (&[][..], 3));
}

#[test]
fn peer_delay_is_paired_apart_from_end_to_end_delay() {
    let (near, far) = (actor(1), actor(2));
    let mut stage = Stage::default();
    for sequence in 0..8_u16 {
        let time = i64::from(sequence) * 1000;
        stage.send(Some(time), &near, None, sequence, &Body::PdelayReq { origin_ns: 0 });
        let answer = Body::PdelayResp { receipt_ns: 0, requester: near.port };
        stage.send(Some(time + 1), &far, None, sequence, &answer);
        let rest = Body::PdelayRespFollowUp { origin_ns: 0, requester: near.port };
        stage.send(Some(time + 2), &far, None, sequence, &rest);
        // A Delay_Resp with the same number answers no Pdelay_Req.
        stage.send(Some(time + 10), &far, None, sequence, &Body::PdelayReq { origin_ns: 0 });
        stage.answer(time + 11, &near, &far, sequence);
    }
    let domains = stage.finish(20_000);
    let domain = only(&domains);
    let near = requester(domain, &near, Mechanism::PeerToPeer);
    assert_eq!((near.seen(), near.answered(), near.unanswered()), (8, 8, 0));
    let silent = requester(domain, &far, Mechanism::PeerToPeer);
    assert_eq!((silent.seen(), silent.answered(), silent.unanswered()), (8, 0, 8));
    assert_eq!(requester(domain, &far, Mechanism::EndToEnd).unseen_requests(), 8);
}

#[test]
fn of_two_clocks_that_answer_one_request_both_are_kept() {
    let (first, second, asker) = (actor(1), actor(2), actor(3));
    let mut stage = Stage::default();
    for sequence in 0..10_u16 {
        let time = i64::from(sequence) * 1000;
        stage.ask(time, &asker, sequence);
        stage.answer(time + 1, &first, &asker, sequence);
        stage.answer(time + 2, &second, &asker, sequence);
    }
    let domains = stage.finish(20_000);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    assert_eq!((found.seen(), found.answered(), found.unanswered()), (10, 10, 0));
    let responders: Vec<_> = found.responders().iter().map(|(port, count)| (port.clock, *count)).collect();
    assert_eq!(responders, [(first.id(), 10), (second.id(), 10)]);
}

#[test]
fn an_answer_captured_before_its_request_counts_once() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    for sequence in 0..10_u16 {
        let time = i64::from(sequence) * 1000;
        stage.answer(time, &leader, &asker, sequence);
        stage.ask(time + 1, &asker, sequence);
    }
    let domains = stage.finish(20_000);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    assert_eq!((found.seen(), found.answered(), found.unanswered()), (10, 10, 0));
    assert_eq!(found.responders().values().sum::<u64>(), 10);
    assert_eq!(found.response_time().count(), 0, "a request after its answer has no response time");
}

#[test]
fn requests_at_the_very_end_are_left_open() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.requests(0..10, &asker, Some(&leader));
    stage.ask(10_500, &asker, 10);
    stage.ask(11_500, &asker, 11);
    let domains = stage.finish(12_400);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    assert_eq!((found.seen(), found.answered(), found.unanswered()), (12, 10, 0));
    assert_eq!(found.last_request().unwrap().time, Some(at(11_500)));
}

#[test]
fn an_answer_after_two_seconds_is_none() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.ask(0, &asker, 1);
    stage.answer(2_000, &leader, &asker, 1);
    stage.ask(5_000, &asker, 2);
    stage.answer(7_001, &leader, &asker, 2);
    let domains = stage.finish(20_000);
    let found = requester(only(&domains), &asker, Mechanism::EndToEnd);
    assert_eq!((found.answered(), found.unanswered()), (1, 1));
}

#[test]
fn requests_without_a_time_are_not_judged() {
    let asker = actor(2);
    let mut stage = Stage::default();
    for sequence in 0..10 {
        stage.send(None, &asker, None, sequence, &Body::DelayReq { origin_ns: 0 });
    }
    assert!(only(&stage.finish(20_000)).requesters.is_empty());
}

#[test]
fn v1_answers_name_the_request_in_their_body() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    for sequence in 0..10 {
        stage.v1_request(i64::from(sequence) * 1000, &asker, Some(&leader), sequence);
    }
    let domains = stage.finish(20_000);
    let key = (PortId { clock: asker.v1_id(), port: 1 }, Mechanism::EndToEnd);
    let found = &only(&domains).requesters[&key];
    assert_eq!((found.seen(), found.answered(), found.unanswered()), (10, 10, 0));
}
