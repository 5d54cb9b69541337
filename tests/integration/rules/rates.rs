//! Rules about how often messages are sent: made captures on which each fires, and near misses.

use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

#[test]
fn a_leader_that_announces_slower_than_it_declares_is_named_and_never_lost() {
    let leader = actor(1);
    for (every, expected) in [(1000, vec![]), (1250, vec![]), (1400, vec!["major"]), (4000, vec!["major"])] {
        let mut script = Script::default();
        for number in 0..30_u16 {
            let ms = i64::from(number) * every;
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(ms, (&leader, leader.mac), number, 0, &body);
        }
        let report = script.report();
        assert_eq!(said(&report, "declared-interval-differs"), expected, "{every}");
        assert_eq!(report["domains"][0]["tenures"].as_array().unwrap().len(), 1, "{every}");
    }
}

#[test]
fn a_flood_of_announces_is_named() {
    let leader = actor(1);
    let mut script = Script::default();
    for number in 0..5000_u16 {
        let body = Body::Announce { origin_ns: 0, data: leader.data };
        script.send(i64::from(number) * 4, (&leader, leader.mac), number, 0, &body);
    }
    assert_eq!(said(&script.report(), "declared-interval-differs"), ["major"]);
}
