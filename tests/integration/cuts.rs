//! How a capture is cut into stretches, and how those are joined before they are folded, shows nowhere in the report.

use std::sync::LazyLock;

use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Tally;
use proptest::prelude::*;
use proptest::sample::Index;

use crate::support::judged::captures_in;
use crate::support::judged::in_project;
use crate::support::kept::Capture;
use crate::support::kept::Kept;
use crate::traffic;
use crate::traffic::Kind;

impl Capture {
    /// The records with no time on the first `count`, as a file's Simple Packet Blocks have none.
    fn untimed(&self, count: usize) -> Vec<Kept> {
        let mut records = self.records.clone();
        for record in records.iter_mut().take(count) {
            record.time = None;
        }
        records
    }

    /// Record by record, as the program reads.
    fn whole(&self, untimed: usize) -> String {
        let mut reading = Reading::new(Settings::default());
        for record in &self.untimed(untimed) {
            reading.push(0, &record.record());
        }
        self.report(reading)
    }

    /// Cut at `cuts`, with neighbours joined at `joins` one after the other, and what is left folded in order.
    fn in_pieces(&self, untimed: usize, cuts: &[Index], joins: &[Index]) -> String {
        let ends = cuts.iter().map(|cut| cut.index(self.records.len() + 1)).collect();
        self.cut_at(untimed, ends, joins)
    }

    fn cut_at(&self, untimed: usize, mut ends: Vec<usize>, joins: &[Index]) -> String {
        let records = self.untimed(untimed);
        ends.push(records.len());
        ends.sort_unstable();
        let mut from = 0;
        let mut pieces: Vec<Tally> = Vec::new();
        for end in ends {
            let mut piece = Tally::default();
            for record in &records[from..end] {
                piece.record(0, &record.record());
            }
            pieces.push(piece);
            from = end;
        }
        for join in joins {
            if pieces.len() < 2 {
                break;
            }
            let left = join.index(pieces.len() - 1);
            let right = pieces.remove(left + 1);
            let joined = std::mem::take(&mut pieces[left]).join(right);
            pieces[left] = joined;
        }
        let mut reading = Reading::new(Settings::default());
        for piece in pieces {
            reading.absorb(piece);
        }
        self.report(reading)
    }

    /// Says the first line that differs, not both reports.
    fn assert_no_trace(&self, untimed: usize, cuts: &[Index], joins: &[Index]) {
        assert_alike("cuts", &self.whole(untimed), &self.in_pieces(untimed, cuts, joins));
    }

    /// Cut into 1, 5 and 50 pieces of as many records.
    fn assert_no_trace_of_even_cuts(&self, what: &str) {
        let whole = self.whole(0);
        for pieces in [1, 5, 50] {
            let ends = (1..pieces).map(|piece| piece * self.records.len() / pieces).collect();
            assert_alike(&format!("{what} in {pieces}"), &whole, &self.cut_at(0, ends, &[]));
        }
    }
}

/// Says the first line that differs, not both reports.
fn assert_alike(what: &str, whole: &str, pieces: &str) {
    for (number, (whole, pieces)) in whole.lines().zip(pieces.lines()).enumerate() {
        assert_eq!(pieces, whole, "{what}, line {}", number + 1);
    }
    assert_eq!(pieces.lines().count(), whole.lines().count(), "{what}");
}

static LEADER_LOST: LazyLock<Capture> = LazyLock::new(|| Capture::open("playhouse-leader-lost.pcapng"));
static MULTICAST: LazyLock<Capture> = LazyLock::new(|| Capture::open("playhouse-multicast.pcapng"));
static FAILOVER: LazyLock<Capture> = LazyLock::new(|| Capture::open("lab/failover.pcap"));

/// The two would agree on nothing as well.
#[test]
fn the_reports_that_are_compared_hold_an_election() {
    for capture in [&LEADER_LOST, &FAILOVER] {
        let report: serde_json::Value = serde_json::from_str(&capture.whole(0)).unwrap();
        assert_eq!(report["span"]["frames"], capture.records.len());
        let text = report.to_string();
        assert!(text.contains("leader-changed") && text.contains("announce-timeout"));
        assert_ne!(capture.whole(0), capture.whole(100));
    }
}

#[test]
fn the_reports_that_are_compared_hold_members_and_names() {
    let report: serde_json::Value = serde_json::from_str(&MULTICAST.whole(0)).unwrap();
    let text = report.to_string();
    assert!(text.contains("membership-expired") && text.contains("stage-box"));
    assert_ne!(MULTICAST.whole(0), MULTICAST.whole(300));
}

#[test]
fn a_capture_without_any_time_still_shows_who_spoke() {
    let report: serde_json::Value = serde_json::from_str(&FAILOVER.whole(FAILOVER.records.len())).unwrap();
    assert!(report["span"]["ptp_messages"].as_u64().unwrap() > 100);
    assert_eq!(report["span"]["first"], serde_json::Value::Null);
}

#[test]
fn one_five_and_fifty_pieces_make_one_report() {
    for folder in ["", "lab", "media"] {
        for (name, file) in captures_in(&in_project("captures").join(folder)) {
            Capture::of(file).assert_no_trace_of_even_cuts(&name);
        }
    }
    for kind in [Kind::Video, Kind::Audio, Kind::Control] {
        let mut file = Vec::new();
        traffic::generate(kind, 1_000_000, 11, true, &mut file).unwrap();
        let capture = Capture::of(file);
        assert!(capture.records.len() > 500);
        capture.assert_no_trace_of_even_cuts(&format!("{kind:?}"));
    }
}

fn cuts() -> impl Strategy<Value = (Vec<Index>, Vec<Index>, bool)> {
    let places = || proptest::collection::vec(any::<Index>(), 0..12);
    (places(), places(), any::<bool>())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_cut_shows_nowhere_in_the_report_of_the_demo((cuts, joins, untimed) in cuts()) {
        let untimed = if untimed { 700 } else { 0 };
        LEADER_LOST.assert_no_trace(untimed, &cuts, &joins);
    }

    #[test]
    fn a_cut_shows_nowhere_in_the_report_of_members_and_names((cuts, joins, untimed) in cuts()) {
        let untimed = if untimed { 300 } else { 0 };
        MULTICAST.assert_no_trace(untimed, &cuts, &joins);
    }

    #[test]
    fn a_cut_shows_nowhere_in_the_report_of_the_laboratory((cuts, joins, untimed) in cuts()) {
        let untimed = if untimed { 200 } else { 0 };
        FAILOVER.assert_no_trace(untimed, &cuts, &joins);
    }
}
