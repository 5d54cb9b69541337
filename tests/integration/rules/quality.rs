//! Rules about what the leader says of itself and the time it gives: made captures on which each fires, and near misses.

use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

#[test]
fn a_leader_whose_sync_stops_while_it_announces_is_named() {
    let leader = actor(1);
    for (seconds, syncing, expected) in [
        (60, 60, vec![]),
        (60, 30, vec!["critical"]),
        (60, 3, vec!["critical"]),
        (60, 58, vec![]),
        (8, 8, vec![]),
    ] {
        let mut script = Script::default();
        script.announces(seconds, syncing, (&leader, leader.mac));
        script.asks(seconds, &actor(2));
        assert_eq!(said(&script.report(), "announce-without-sync"), expected, "{seconds} {syncing}");
    }
}

/// 9 Announces (chosen) before a Sync that never came is missed.
#[test]
fn a_leader_that_never_sends_sync_is_named_from_nine_announces_on() {
    let leader = actor(1);
    for (seconds, expected) in [(8, vec![]), (9, vec!["critical"])] {
        let mut script = Script::default();
        script.announces(seconds, 0, (&leader, leader.mac));
        script.asks(seconds, &actor(2));
        assert_eq!(said(&script.report(), "announce-without-sync"), expected, "{seconds}");
    }
}
