//! What the plots of the page say of captures whose truth is known: who is drawn, what is not, and what says so.

use std::collections::BTreeSet;
use std::sync::Arc;

use downbeat::analysis::Settings;
use downbeat::findings;
use downbeat::report;
use downbeat::report::Document;
use downbeat::report::Series;
use serde_json::Value;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::Interface;
use crate::support::craft::ptp_v2::Body;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::script::Script;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

/// A report with its page.
struct Seen {
    document: Document,
    series: Series,
    page: String,
}

impl Seen {
    fn of(settings: Settings, name: &str, octets: Vec<u8>) -> Self {
        let analysis = judged::analysis_with(settings, &[(name, octets)]);
        let document = report::document(&analysis, &findings::judge(&analysis));
        let series = report::series(&analysis);
        let mut page = Vec::new();
        report::write_page(&document, &series, &mut page).unwrap();
        Self { document, series, page: String::from_utf8(page).unwrap() }
    }

    fn demo(settings: Settings, name: &str) -> Self {
        Self::of(settings, name, std::fs::read(judged::in_project("captures").join(name)).unwrap())
    }

    fn script(mut script: Script) -> Self {
        script.0.sort_by_key(|frame| frame.stamp_ns);
        let interfaces = [Interface { name: "port0", filter: "", snap_octets: 262_144 }];
        Self::of(Settings::default(), "made.pcapng", capture_file::pcapng("", &interfaces, &script.0))
    }

    /// What the script of the page knows of a plot.
    fn plot(&self, id: &str) -> Value {
        let data = self.page.split("id=\"series\">").nth(1).and_then(|rest| rest.split("</script>").next());
        let data: Value = serde_json::from_str(data.unwrap()).unwrap();
        data["plots"][id].clone()
    }

    /// Names in a part of a plot's data, at `place` of each entry.
    fn texts(&self, id: &str, part: &str, place: usize) -> Vec<String> {
        let entries = self.plot(id)[part].as_array().cloned().unwrap_or_default();
        entries.iter().map(|entry| entry[place].as_str().unwrap_or_default().to_owned()).collect()
    }

    /// The cards under "who leads", in order.
    fn cards(&self) -> Vec<&str> {
        let clock = self.page.split("id=\"clock\"").nth(1).unwrap().split("</section>").next().unwrap();
        clock.split("class=\"card\"").skip(1).collect()
    }
}

#[test]
fn of_two_leaders_both_have_a_bar() {
    let seen = Seen::demo(Settings::default(), "playhouse-two-leaders.pcapng");
    let blocks = seen.texts("leaders", "blocks", 4);
    let beside: Vec<&String> = blocks.iter().filter(|text| text.contains("beside the leader")).collect();
    assert_eq!(beside.len(), 1, "{blocks:?}");
    assert!(blocks.iter().any(|text| text.contains(" leads ")), "{blocks:?}");
    let rows = seen.texts("leaders", "labels", 2);
    assert!(rows.iter().any(|name| name == "v2 domain 0: offers itself beside the leader"), "{rows:?}");
    let alone = Seen::demo(Settings::default(), "playhouse-healthy.pcapng");
    assert!(!alone.page.contains("offers itself beside"), "nobody does");
}

#[test]
fn a_plot_against_the_leader_names_it_and_draws_the_one_that_took_over() {
    let seen = Seen::demo(Settings::default(), "playhouse-leader-lost.pcapng");
    let domain = &seen.document.domains[0];
    let led: BTreeSet<&str> = domain.tenures.iter().map(|tenure| tenure.clock.as_str()).collect();
    assert_eq!(led.len(), 2, "{:?}", domain.tenures);
    let drawn: BTreeSet<String> = seen.texts("offset-0", "lines", 0).into_iter().collect();
    for clock in &led {
        assert!(drawn.iter().any(|name| name.contains(clock)), "{clock} of {drawn:?}");
    }
    // Each where it led: the last samples are of the last leader.
    let lines = seen.plot("offset-0")["lines"].as_array().unwrap().clone();
    let last = lines.iter().max_by(|one, other| {
        let end = |line: &Value| line[1].as_array().unwrap().last().unwrap()[0].as_f64().unwrap();
        end(one).total_cmp(&end(other))
    });
    let leader = domain.leader.as_deref().unwrap();
    assert!(last.unwrap()[0].as_str().unwrap().contains(leader), "{leader} leads at the end");
    assert!(seen.page.contains("Against "), "the first one is named");
}

#[test]
fn the_domain_that_was_asked_for_comes_first() {
    let first = |settings: Settings| {
        let seen = Seen::demo(settings, "playhouse-wrong-domain.pcapng");
        let row = seen.texts("leaders", "labels", 2).into_iter().next().unwrap();
        let card = seen.cards()[0].split("</h3>").next().unwrap().rsplit('>').next().unwrap().to_owned();
        (card, row)
    };
    let (card, row) = first(Settings::default());
    assert_eq!((card.as_str(), row.as_str()), ("v2 domain 0", "v2 domain 0"));
    let (card, _) = first(Settings { domain: Some(127), ..Settings::default() });
    assert_eq!(card, "v2 domain 127");
}

/// One clock that leads two domains, and two devices that follow in the first.
#[test]
fn followers_are_counted_in_their_own_domain_alone() {
    let (one, five) = (actor(1), actor(1).in_domain(5));
    let mut script = Script::default();
    for who in [&one, &five] {
        script.leads(0, 20, (who, who.mac), 0);
    }
    for number in [2, 3] {
        script.follows(19, &actor(number), &one);
    }
    let seen = Seen::script(script);
    assert_eq!(seen.document.domains.len(), 2);
    let told: Vec<bool> = seen.cards().iter().map(|card| card.contains("<dd>2 devices</dd>")).collect();
    assert_eq!(told, [true, false], "{:?}", seen.cards());
    assert!(seen.cards()[1].contains("<dd>0 devices</dd>"), "{:?}", seen.cards()[1]);
}

#[test]
fn nothing_is_green_where_nothing_is_proven() {
    let mut script = Script::default();
    script.announces(0, (1, 1000), &actor(1), 0);
    let seen = Seen::script(script);
    let clock = seen.page.split("id=\"clock\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(!clock.contains("class=\"good\""), "{clock}");
    assert!(clock.contains("none was seen to be proven on it"), "{clock}");
    let proven = Seen::demo(Settings::default(), "playhouse-leader-lost.pcapng");
    let clock = proven.page.split("id=\"clock\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(clock.contains("class=\"good\">No device that was seen is off the clock: "), "{clock}");
    assert!(!clock.contains("are on the clock"), "who stands by is not on it");
}

/// A leader whose time jumps by 5 ms in the middle of 20 s, while a device asks every tenth of a second.
fn jumping() -> Script {
    let (leader, asker): (Actor, Actor) = (actor(1), actor(2));
    let mut script = Script::default();
    let ahead = |ms: i64| BEGINNING.0 + ms * 1_000_000 + if ms >= 10_000 { 5_000_000 } else { 0 };
    for number in 0..160_u16 {
        let ms = 5 + i64::from(number) * 125;
        if number.is_multiple_of(8) {
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(ms - 5, (&leader, leader.mac), number / 8, 0, &body);
        }
        script.send(ms, (&leader, leader.mac), number, -3, &Body::Sync { origin_ns: ahead(ms) });
    }
    for sequence in 1..198_u16 {
        let ms = i64::from(sequence) * 100 + 50;
        script.send(ms, (&asker, asker.mac), sequence, 0x7F, &Body::DelayReq { origin_ns: 0 });
        let body = Body::DelayResp { receipt_ns: ahead(ms) + 2000, requester: asker.port };
        script.send(ms + 1, (&leader, leader.mac), sequence, 0, &body);
    }
    script
}

#[test]
fn an_exchange_across_a_jump_of_time_is_no_sample() {
    let seen = Seen::script(jumping());
    let time = &seen.series.domains[0];
    assert_eq!(time.steps.len(), 1, "{:?}", time.steps);
    let delay = time.path_delay.as_ref().unwrap();
    let way: Vec<f64> = delay.samples.iter().map(|sample| sample.value_ns).collect();
    assert!(way.iter().all(|value| value.abs() < 1000.0), "no way but the one there is: {way:?}");
    let offset: Vec<f64> =
        time.offset.as_ref().unwrap().samples.iter().map(|sample| sample.value_ns).collect();
    // Either as before the jump, or by its 5 ms lower.
    let fallen: Vec<f64> = offset.iter().map(|value| offset[0] - value).collect();
    let is_near = |value: &f64, level: f64| (value - level).abs() < 1e4;
    assert!(fallen.iter().all(|fall| is_near(fall, 0.0) || is_near(fall, 5e6)), "{fallen:?}");
    assert!(fallen.iter().any(|fall| is_near(fall, 5e6)), "after it there are samples too");
    let lines = seen.plot("offset-0")["lines"].as_array().unwrap().clone();
    assert_eq!(lines.len(), 2, "no line leads across: {lines:?}");
    assert!(seen.page.contains("figures in words are of the longest stretch"), "two medians are told apart");
}

#[test]
fn a_hole_of_the_capture_is_told_in_every_plot_over_time_and_beside_the_load() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(2), 60);
    scene.audio(&sender(1), 60_000, (48, 48_000), 288, 0);
    let mut script = scene.file(65_535);
    let whole = Seen::of(Settings::default(), "whole.pcap", script.clone());
    assert!(whole.series.holes.is_empty() && !whole.page.contains("Not watched throughout"));
    // What passed from 20 s to 30 s is not in the file.
    script = without(&script, 20, 30);
    let seen = Seen::of(Settings::default(), "cut.pcap", script);
    assert_eq!(seen.series.holes.len(), 1, "{:?}", seen.series.holes);
    for plot in ["load", "leaders", "offset-0"] {
        let unwatched = seen.plot(plot)["unwatched"].as_array().unwrap().clone();
        assert_eq!(unwatched.len(), 1, "{plot}");
        assert!(unwatched[0][2].as_str().unwrap().contains("nothing was captured for 1"), "{unwatched:?}");
    }
    let room = seen.page.split("id=\"room\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(room.contains("Not watched throughout: nothing at all was captured for"), "{room}");
}

/// A little-endian pcap without the records of so many seconds after its first one.
fn without(pcap: &[u8], from: u32, until: u32) -> Vec<u8> {
    let word = |at: usize| u32::from_le_bytes(pcap[at..at + 4].try_into().unwrap());
    let (mut kept, mut at) = (pcap[..24].to_vec(), 24);
    let first = word(at);
    while at < pcap.len() {
        let end = at + 16 + usize::try_from(word(at + 8)).unwrap();
        if !(from..until).contains(&(word(at) - first)) {
            kept.extend(&pcap[at..end]);
        }
        at = end;
    }
    kept
}

/// Colours as the pictures write them.
fn fills(svg: &str) -> Vec<&str> {
    svg.split(['"', ' ']).filter(|part| part.len() == 7 && part.starts_with('#')).collect()
}

#[test]
fn what_a_legend_names_is_in_its_picture() {
    for name in judged::DEMO {
        let seen = Seen::demo(Settings::default(), name);
        for picture in report::pictures(&seen.document, &seen.series) {
            // The legend's squares are drawn last, in front of their names.
            let (drawn, legend) = picture.svg.split_at(picture.svg.len() - foot(&picture.svg).len());
            let used: BTreeSet<&str> = fills(drawn).into_iter().collect();
            for colour in fills(legend).into_iter().filter(|colour| *colour != INK) {
                assert!(used.contains(colour), "{name}: {} has no {colour}", picture.name);
            }
        }
    }
}

const INK: &str = "#1B2430";

/// What stands below the plot: from the first square on.
fn foot(svg: &str) -> &str {
    let is_square = |line: &str| line.contains("width=\"12\" height=\"12\"");
    let before: usize = svg.split_inclusive('\n').take_while(|line| !is_square(line)).map(str::len).sum();
    &svg[before..]
}

#[test]
fn bars_hold_their_letter_and_the_name_where_it_fits() {
    let site = "[[device]]\nname = \"Front of house clock\"\nmac = \"02:00:5e:10:00:01\"\n";
    let settings =
        Settings { site: Some(Arc::new(downbeat::site::parse(site).unwrap())), ..Settings::default() };
    let seen = Seen::demo(settings, "playhouse-leader-lost.pcapng");
    let picture = report::pictures(&seen.document, &seen.series).remove(0);
    assert_eq!(picture.name, "leaders");
    let lines: Vec<&str> = picture.svg.lines().map(str::trim).collect();
    let named = lines.iter().filter(|line| **line == "A Front of house clock").count();
    assert_eq!(named, 2, "two tenures, each with room: {}", picture.svg);
    assert!(lines.contains(&"B 02-00-5e-ff-fe-10-00-02"), "what has no name has its identity");
    // Dark letters on a dark bar are not read.
    let outlined = picture.svg.split("paint-order=\"stroke\">").nth(1).unwrap();
    assert!(outlined.split("</g>").next().unwrap().contains("A Front of house clock"), "{outlined}");
    // The narrow drawing of the page has room for letters alone.
    let stage = seen.page.split("data-plot=\"leaders\"").nth(1).unwrap().split("</figure>").next().unwrap();
    let (wide, narrow) = stage.split_once("class=\"plot narrow\"").unwrap();
    assert!(wide.contains("A Front of house clock"), "{wide}");
    let narrow = narrow.split("</svg>").next().unwrap();
    assert!(!narrow.contains("Front of house"), "{narrow}");
}

/// So many clocks that lead one after the other for ten seconds each, each better than the one before.
fn staircase(clocks: u8) -> Script {
    let mut script = Script::default();
    for number in 0..clocks {
        let leader = actor(number + 1).class(250 - 10 * number);
        script.leads(i64::from(number) * 10_000, 10, (&leader, leader.mac), 0);
    }
    script
}

#[test]
fn clocks_beyond_those_that_are_drawn_are_named() {
    let seen = Seen::script(staircase(6));
    let time = &seen.series.domains[0];
    assert_eq!((time.others.len(), time.others_left_out.len()), (3, 2));
    let figure =
        seen.page.split("<figure id=\"offset-0\">").nth(1).unwrap().split("</figure>").next().unwrap();
    assert!(figure.contains("Not drawn, as more lines could not be told apart: "), "{figure}");
    for port in &time.others_left_out {
        assert!(figure.contains(port.as_str()), "{port}: {figure}");
    }
    assert!(!figure.contains("No samples of"), "they have some: {figure}");
    let few = Seen::script(staircase(4));
    assert!(few.series.domains[0].others_left_out.is_empty());
    assert!(!few.page.contains("could not be told apart"), "all are drawn");
}
