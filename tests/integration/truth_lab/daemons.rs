//! What the daemons answered to questions and counted themselves against what the report says of them.

use std::collections::BTreeSet;

use serde_json::Value;

use super::Scenario;
use super::list;
use super::scenarios;
use super::seconds;
use super::text;

/// The truth's nodes with a clock, and the report's device for each that has one.
fn seen(scenario: &Scenario) -> impl Iterator<Item = (&str, &Value, &Value)> {
    let nodes = list(&scenario.truth["nodes"]);
    let pairs = scenario.reports.iter().flat_map(|(_, report)| list(&report["devices"]));
    pairs.flat_map(move |device| {
        let is_it = |node: &&Value| list(&device["macs"]).iter().any(|mac| list(&node["macs"]).contains(mac));
        nodes.iter().filter(is_it).map(move |node| (scenario.name.as_str(), node, device))
    })
}

/// A clock identity as `pmc` writes it, in the report's form.
fn identity(by_pmc: &Value) -> String {
    let octets: Vec<char> = text(by_pmc).chars().filter(|char| *char != '.').collect();
    octets.chunks(2).map(String::from_iter).collect::<Vec<_>>().join("-")
}

/// The states a report may give a device whose port is in this state by its own answer at the end of the capture.
fn allowed(port_state: &str) -> &'static [&'static str] {
    match port_state {
        "MASTER" => &["leading", "rival", "astray"],
        "UNCALIBRATED" | "SLAVE" => &["following", "unanswered", "standing-by", "unproven"],
        // It has been silenced or has lost the leader; a report rests on what went before as well.
        "PASSIVE" | "LISTENING" => &["standing-by", "unanswered", "unproven"],
        _ => &[],
    }
}

#[test]
fn device_states_are_those_of_the_daemons_own_ports() {
    let mut compared = BTreeSet::new();
    for (name, node, device) in scenarios().iter().flat_map(seen) {
        let ports: Vec<&str> = list(&node["final_port_states"]).iter().map(text).collect();
        let state = text(&device["state"]);
        match ports.as_slice() {
            [port] => assert!(allowed(port).contains(&state), "{name} {}: {port} and {state}", node["name"]),
            // Each of the captures is of one port.
            [upward, downward] => {
                let is_one = [upward, downward].iter().any(|port| allowed(port).contains(&state));
                assert!(is_one || state == "relaying", "{name} {}: {ports:?} and {state}", node["name"]);
            }
            _ => panic!("{name} {}: {ports:?}", node["name"]),
        }
        compared.insert((name, text(&node["name"])));
    }
    assert!(compared.len() > 45, "{compared:?}");
}

/// Whom each daemon takes for the grandmaster, by its parentDS.
#[test]
fn devices_have_the_leader_that_they_name_themselves() {
    let mut compared = 0;
    for (name, node, device) in scenarios().iter().flat_map(seen) {
        let own = text(&node["clock_identity"]);
        let state = text(&device["state"]);
        let named = identity(&node["grandmaster_by_own_word"]);
        let expected = match (text(&node["final_port_state"]), state) {
            // Between two leaders it follows nobody, for a second or two; and one of class 6 never does.
            ("LISTENING" | "PASSIVE", _) => {
                assert_eq!(named, own, "{name} {}", node["name"]);
                continue;
            }
            // A rival has a leader that it does not know of.
            (_, "rival") => {
                assert_eq!(named, own, "{name} {}", node["name"]);
                text(&node_that_leads(name)["clock_identity"]).to_owned()
            }
            _ => named,
        };
        assert_eq!(text(&device["leader"]), expected, "{name} {} {state}", node["name"]);
        compared += 1;
    }
    assert!(compared > 45, "{compared}");
}

/// The node with the role of the leader.
fn node_that_leads(scenario: &str) -> &'static Value {
    let scenario = scenarios().iter().find(|each| each.name == scenario).unwrap();
    list(&scenario.truth["nodes"]).iter().find(|node| node["role"] == "leader").unwrap()
}

/// How many seconds the daemons' counters run longer or shorter than the capture: what lies between a question and the
/// capture's end on that side. Without the time of the first question it is up to a second (`tests/lab/README.md`); where
/// nobody asked before, the counters begin with the daemon, in the capture.
fn apart(truth: &Value) -> f64 {
    let captures = list(&truth["captures"]);
    let first = captures.iter().map(|capture| seconds(&capture["first"])).fold(f64::MAX, f64::min);
    let last = captures.iter().map(|capture| seconds(&capture["last"])).fold(f64::MIN, f64::max);
    let time = &truth["time"];
    let before = match &time["asked_before_at"] {
        Value::Null => 1.0,
        asked => first - seconds(asked),
    };
    let after = match &time["answered_at"] {
        Value::Null => (seconds(&time["asked_at"]) - last).abs() + 1.0,
        answered => (seconds(answered) - last).abs().max((seconds(&time["asked_at"]) - last).abs()),
    };
    before.abs() + after
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number: {value}"))
}

/// Messages in the capture by the report, and by the counters of the port that sent them. They may differ by what was
/// sent between a question and the capture's end on that side.
#[test]
fn ports_have_sent_what_the_report_counts() {
    let mut compared = 0;
    for Scenario { name, truth, reports } in scenarios() {
        let counters = truth["port_counters"].as_object().unwrap();
        let ports = counters.values().filter_map(Value::as_object).flatten();
        for (port, counted) in ports {
            let (clock, port_number) = port.rsplit_once('-').unwrap();
            let (clock, port_number) = (identity(&Value::from(clock)), port_number.parse::<u64>().unwrap());
            let clocks = reports.iter().flat_map(|(_, report)| list(&report["domains"]));
            let is_it = |row: &&Value| row["clock"] == clock && row["port"].as_u64() == Some(port_number);
            let Some(row) = clocks.flat_map(|domain| list(&domain["clocks"])).find(is_it) else { continue };
            for (key, of_report, most_per_s) in [
                ("tx_Announce", "announce", 1.0),
                ("tx_Sync", "sync", 8.0),
                // At random, once a second on average and at most two seconds apart: 4 in a second is rare.
                ("tx_Delay_Req", "delay_req", 4.0),
                ("tx_Pdelay_Req", "pdelay_req", 1.0),
            ] {
                let sent = counted.get(key).map_or(0.0, number);
                let captured = row[of_report]["count"].as_f64().unwrap_or(0.0);
                let tolerance = (apart(truth) * most_per_s).ceil() + 1.0;
                assert!(
                    (sent - captured).abs() <= tolerance,
                    "{name} {port} {key}: {sent}, captured {captured}, {tolerance} may be apart"
                );
                compared += usize::from(sent > 0.0);
            }
        }
    }
    assert!(compared > 40, "{compared}");
}

/// Requests that reached the leader, by its own counter, against those that are answered by the report.
#[test]
fn as_many_requests_are_answered_as_reached_the_leader() {
    let mut compared = 0;
    for name in ["healthy", "deaf-leader", "ipv6", "hybrid", "snooping", "querier-lost", "two-leaders"] {
        let Scenario { truth, reports, .. } = scenarios().iter().find(|each| each.name == name).unwrap();
        let leader = node_that_leads(name);
        let counters = truth["port_counters"][text(&leader["name"])].as_object().unwrap();
        let [(_, counters)] = counters.iter().collect::<Vec<_>>()[..] else { panic!("{name}: {counters:?}") };
        let reached = counters.get("rx_Delay_Req").map_or(0.0, number);
        let requesters = list(&list(&reports[0].1["domains"])[0]["requesters"]);
        let sum = |key: &str| requesters.iter().map(|each| number(&each[key])).sum::<f64>();
        let tolerance =
            (apart(truth) * 4.0).ceil() * f64::from(u8::try_from(requesters.len()).unwrap()) + 1.0;
        let answered = sum("answered");
        assert!((reached - answered).abs() <= tolerance, "{name}: {reached} reached it, {answered} answered");
        if name == "deaf-leader" {
            // The firewall has counted from the daemons' start on.
            let blocked = number(&leader["event_datagrams_blocked"]);
            assert!(reached == 0.0 && answered == 0.0 && blocked >= sum("unanswered"), "{blocked}");
            assert!(sum("unanswered") > 20.0, "{}", sum("unanswered"));
        }
        compared += 1;
    }
    assert_eq!(compared, 7);
}

/// All clocks of the lab are one. What is not zero comes from software time stamps, and how much those are off is in the
/// daemons' own figures: offset and path delay. The capture is taken on the way, so its own may not be further off.
#[test]
fn offsets_and_delays_are_within_those_that_the_daemons_report() {
    let mut compared = 0;
    for Scenario { name, truth, reports } in scenarios() {
        let nodes = list(&truth["nodes"]).iter();
        let said: Vec<&Value> = nodes.map(|node| &node["reported"]).filter(|said| !said.is_null()).collect();
        let most = |figure: &str| {
            let ends = said.iter().flat_map(|said| [&said[figure]["min"], &said[figure]["max"]]);
            ends.map(|end| number(end).abs()).fold(0.0, f64::max)
        };
        let delay = most("path_delay_ns");
        // A daemon that nobody answers has no figures of its own: it says 0 of both.
        if delay == 0.0 {
            assert_eq!(name, "deaf-leader");
            continue;
        }
        let noise = delay + most("offset_ns");
        for (file, report) in reports {
            for domain in list(&report["domains"]).iter().filter(|domain| !domain["path"].is_null()) {
                let path = &domain["path"];
                let offset = number(&path["offset_ns"]["median"]).abs();
                assert!(offset <= noise, "{name} {file}: offset {offset} of at most {noise}");
                if let Some(mean) = path["mean_path_delay_ns"]["median"].as_f64() {
                    assert!((0.0..=noise).contains(&mean), "{name} {file}: delay {mean} of at most {noise}");
                }
                compared += 1;
            }
        }
    }
    assert!(compared >= 12, "{compared}");
}
