//! The table of devices in the text report: every device that is not sound, the worst first, in columns that fit.

use crate::support::judged;
use crate::support::judged::said_of;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;

const COLUMNS: usize = 80;

/// The table's lines, its head first.
fn table(text: &str) -> Vec<&str> {
    text.lines()
        .skip_while(|line| !line.starts_with("Devices "))
        .take_while(|line| !line.is_empty())
        .collect()
}

/// One leader, followers that are answered, and askers that are not.
fn site(followers: u8, askers: u8) -> String {
    let leader = actor(1).class(6);
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    for number in 0..followers {
        stage.requests(0..=25, &actor(10 + number), Some(&leader));
    }
    for number in 0..askers {
        stage.requests(0..=25, &actor(100 + number), None);
    }
    said_of(&stage.analysis(31_000)).text
}

#[test]
fn every_device_that_is_not_sound_is_named_however_many_there_are() {
    let text = site(40, 60);
    let table = table(&text);
    // Of many that are alike the first have a row with the reason, and all are named.
    let unanswered: Vec<&&str> = table.iter().filter(|line| line.contains("  unanswered  ")).collect();
    assert_eq!(unanswered.len(), 5, "{text}");
    let words: Vec<&str> = table.iter().flat_map(|line| line.split([' ', ','])).collect();
    for number in 100..160 {
        assert!(words.contains(&format!("192.168.20.{number}").as_str()), "{number}: {text}");
    }
}

#[test]
fn sound_devices_beyond_a_few_are_counted_in_one_line() {
    let text = site(40, 0);
    let rows = table(&text).iter().filter(|line| line.contains("  following  ")).count();
    assert_eq!(rows, 5, "{text}");
    assert!(text.contains("\n  and 35 more following (see --format json)\n"), "{text}");
    // One more than a few is shown: the line that counts it would be as long.
    let text = site(6, 0);
    assert_eq!(table(&text).iter().filter(|line| line.contains("  following  ")).count(), 6, "{text}");
    assert!(!text.contains(" more following"), "{text}");
}

#[test]
fn the_worst_come_first_and_the_columns_stand_under_one_another() {
    let text = judged::demo("playhouse-two-leaders.pcapng").text;
    let table = table(&text);
    let state_at = table[0].find("state").unwrap();
    let order = ["rival", "astray", "unanswered", "adrift", "unproven", "leading", "relaying", "following"];
    let place = |row: &str| {
        let state = row.get(state_at..).and_then(|rest| rest.split("  ").next()).unwrap_or_default();
        order.iter().position(|known| *known == state)
    };
    let places: Vec<usize> =
        table.iter().filter(|row| row.starts_with("10.20.")).filter_map(|row| place(row)).collect();
    assert_eq!(places.len(), 14, "{text}");
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(places[0], 0, "the rival is first: {text}");
    let reason_at = table[0].find("reason").unwrap();
    for row in &table {
        assert!(row.starts_with("  ") || row[..reason_at].ends_with("  "), "{row}");
    }
}

#[test]
fn an_offset_that_is_none_says_why() {
    let leader = actor(1).class(6);
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=25, &actor(2), Some(&leader));
    // Nobody leads there, and it asks one device alone whose answers are not in view.
    let lost = actor(3).in_domain(9);
    for second in 0..=25_u16 {
        let body = crate::support::craft::ptp_v2::Body::DelayReq { origin_ns: 0 };
        stage.send(Some(i64::from(second) * 1000), &lost, actor(4).ip, second, &body);
    }
    let text = said_of(&stage.analysis(31_000)).text;
    let row = |address: &str| {
        let table = table(&text);
        let found = table.iter().find(|line| line.starts_with(address));
        found.unwrap_or_else(|| panic!("{text}")).split_whitespace().map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(row("192.168.20.1 ")[1..4], ["leading", "itself", "leads"]);
    assert_eq!(row("192.168.20.2 ")[1..5], ["following", "192.168.20.1", "not", "told"]);
    assert_eq!(row("192.168.20.3 ")[1..5], ["unproven", "nobody", "no", "leader"]);
    assert!(text.contains("not told: not on the wire"), "{text}");
}

#[test]
fn the_table_fits_with_addresses_that_are_long_and_leaders_that_are_far() {
    let far = actor(77);
    let ethernet = |number: u8| Actor { ip: None, ..actor(number) };
    let mut stage = Stage::default();
    // A boundary clock announces a leader that no device here is.
    let port = ethernet(1).class(6).relays(&far, 3);
    stage.announces(0..=30, &[&port]);
    stage.requests(0..=25, &ethernet(2), Some(&port));
    stage.requests(0..=25, &ethernet(3), None);
    let text = said_of(&stage.analysis(31_000)).text;
    let table = table(&text);
    assert!(table.len() >= 4, "{text}");
    assert!(table.iter().all(|line| line.chars().count() <= COLUMNS), "{text}");
    let row = table.iter().find(|line| line.starts_with("02:00:5e:10:00:02 ")).unwrap();
    assert!(row.contains("  …ff-fe-10-00-4d  "), "the end of the leader's identity tells it: {row}");
}
