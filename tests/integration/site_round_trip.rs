//! A site file written from a capture is met by the same capture, whatever else runs beside the site's domain.

use std::sync::Arc;

use downbeat::analysis::Settings;
use downbeat::site;
use serde_json::Value;

use crate::support::judged;
use crate::support::judged::in_project;
use crate::support::stage::actor;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::referenced;
use crate::support::wire::sound;

/// What is said of a capture by the file that is written from it, and without it.
fn said(octets: Vec<u8>) -> (Value, Value) {
    let alone = judged::files(&[("made.pcap", octets.clone())]);
    let site = site::parse(&alone.site_file).unwrap_or_else(|wrong| panic!("{wrong:?}\n{}", alone.site_file));
    let settings = Settings { site: Some(Arc::new(site)), ..Settings::default() };
    (judged::with(settings, &[("made.pcap", octets)]).value(), alone.value())
}

/// Its followers' requests carry no time of theirs.
#[test]
fn a_limit_that_no_follower_can_be_held_against_accepts_nothing() {
    for (limit, verdict) in [("", "sound"), ("max_offset = \"1ms\"\n", "cannot-tell")] {
        let site = site::parse(&format!("[clock]\ndomain = 0\n{limit}")).unwrap();
        let settings = Settings { site: Some(Arc::new(site)), ..Settings::default() };
        let report = judged::with(settings, &[("made.pcap", sound(60).capture())]).value();
        assert_eq!(report["verdict"], verdict, "{}", report["verdict_because"]);
    }
}

fn faults(report: &Value) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap().iter();
    let faults = findings.filter(|finding| finding["severity"] != "info");
    faults.map(|finding| format!("{}: {}", finding["id"], finding["title"])).collect()
}

#[test]
fn a_domain_of_one_number_on_two_vlans_is_led_by_the_leader_of_either() {
    let tagged = |sender: Sender, vlan| Sender { vlan: Some(vlan), ..sender };
    let mut wire = Wire::default();
    for (vlan, lead, first) in [(10, 1, 20), (20, 2, 30)] {
        let mut leads = tagged(Sender::of(referenced(lead)), vlan);
        leads.actor.ip = Some([10, 77, u8::try_from(vlan).unwrap(), lead].into());
        wire.leads(0..60, &leads);
        for each in first..first + 3 {
            let mut asks = tagged(follower(each), vlan);
            asks.actor.ip = Some([10, 77, u8::try_from(vlan).unwrap(), each].into());
            wire.follows(0..60, &asks, &leads);
        }
    }
    let (held, alone) = said(wire.capture());
    assert_eq!(faults(&held), faults(&alone));
    // A third clock is none of theirs.
    let stranger = "[clock]\ndomain = 0\nleader = \"02-00-5e-ff-fe-10-00-03\"\n";
    let settings = Settings { site: Some(Arc::new(site::parse(stranger).unwrap())), ..Settings::default() };
    let report = judged::with(settings, &[("made.pcap", wire.capture())]).value();
    assert_eq!(faults(&report).iter().filter(|told| told.contains("site-leader-differs")).count(), 2);
}

#[test]
fn devices_of_another_domain_need_not_be_on_the_sites_clock() {
    let mut wire = Wire::default();
    wire.leads(0..60, &leader());
    for each in 20..24 {
        wire.follows(0..60, &follower(each), &leader());
    }
    let other = Sender::of(referenced(2).in_domain(127));
    wire.leads(0..60, &other);
    for each in 40..42 {
        wire.follows(0..60, &Sender::of(actor(each).in_domain(127)), &other);
    }
    let (held, alone) = said(wire.capture());
    assert_eq!(faults(&alone).len(), 1, "{:?}", faults(&alone));
    // By the file they are meant to be elsewhere.
    assert_eq!(faults(&held), Vec::<String>::new());
}

#[test]
fn devices_of_the_other_version_need_not_be_on_the_sites_clock() {
    let octets = std::fs::read(in_project("captures/playhouse-v1-beside-v2.pcap")).unwrap();
    let (held, alone) = said(octets);
    assert_eq!(faults(&held), faults(&alone));
}
