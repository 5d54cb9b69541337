//! The page: whole in one file, in the order agreed, and dead to whatever packets and files would write into it. What it does
//! in a browser is tested under `tests/browser`.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;
use std::path::Path;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::craft::discovery;
use crate::support::craft::discovery::Speaker;
use crate::support::craft::frame;
use crate::support::craft::ptp_v1;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::Sender;
use crate::support::media::sender;

/// Elements that the page is made of; whatever else appears was written by somebody else.
const ELEMENTS: [&str; 54] = [
    "html",
    "head",
    "meta",
    "link",
    "title",
    "style",
    "body",
    "a",
    "header",
    "p",
    "nav",
    "ul",
    "ol",
    "li",
    "main",
    "section",
    "div",
    "h1",
    "h2",
    "h3",
    "h4",
    "span",
    "article",
    "code",
    "strong",
    "dl",
    "dt",
    "dd",
    "table",
    "caption",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "label",
    "input",
    "button",
    "figure",
    "figcaption",
    "svg",
    "symbol",
    "use",
    "g",
    "rect",
    "line",
    "polyline",
    "polygon",
    "text",
    "details",
    "summary",
    "footer",
    "script",
    "!DOCTYPE",
];

fn page_of(path: &Path) -> String {
    let output = assert_cmd::Command::cargo_bin("downbeat")
        .unwrap()
        .current_dir(path.parent().unwrap())
        .args(["check", "--format", "html", "--fail-on", "never"])
        .arg(path.file_name().unwrap())
        .output()
        .unwrap();
    assert!(matches!(output.status.code(), Some(0 | 3)), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn demo(name: &str) -> String {
    page_of(&judged::in_project("captures").join(name))
}

fn page_of_octets(name: &str, octets: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, octets).unwrap();
    page_of(&path)
}

/// What is markup: the page without its own style and script, and without its data block.
fn markup(page: &str) -> String {
    let mut rest = page;
    let mut markup = String::new();
    while let Some((before, after)) = ["<style", "<script"]
        .iter()
        .filter_map(|open| rest.split_once(open))
        .min_by_key(|(before, _)| before.len())
    {
        markup.push_str(before);
        let end = if after.contains("</style>") { "</style>" } else { "</script>" };
        rest = after.split_once(end).unwrap().1;
    }
    markup + rest
}

fn element_names(markup: &str) -> BTreeSet<&str> {
    let name = |tag: &'_ str| tag.find(|c: char| !c.is_alphanumeric() && c != '!').unwrap_or(tag.len());
    markup.split('<').skip(1).map(|tag| tag.trim_start_matches('/')).map(|tag| &tag[..name(tag)]).collect()
}

#[test]
fn a_page_says_first_what_is_wrong_and_what_to_do() {
    let page = demo("playhouse-wrong-domain.pcapng");
    let places: Vec<usize> = [
        "id=\"verdict\"",
        "Do this first",
        "id=\"clock\"",
        "id=\"room\"",
        "id=\"timeline\"",
        "id=\"domains\"",
        "id=\"devices\"",
        "id=\"streams\"",
        "id=\"multicast\"",
        "id=\"capture\"",
        "id=\"sources\"",
    ]
    .iter()
    .map(|mark| page.find(mark).unwrap_or_else(|| panic!("{mark} is missing")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    assert!(page.contains("(02:00:5e:10:00:21) is in v2 domain 127"), "the finding is told");
}

#[test]
fn every_demo_capture_gives_a_page_that_needs_nothing_else() {
    for name in judged::DEMO {
        let page = demo(name);
        let markup = markup(&page);
        for reference in markup.split("href=\"").skip(1) {
            assert!(
                reference.starts_with('#') || reference.starts_with("data:,\""),
                "{name}: {}",
                &reference[..40]
            );
        }
        for never in [" src=", " style=", " onclick", " onload", "url(", "@import", "http:", "https:"] {
            assert!(!markup.contains(never), "{name} holds {never}");
        }
        let unknown: Vec<&str> =
            element_names(&markup).into_iter().filter(|element| !ELEMENTS.contains(element)).collect();
        assert!(unknown.is_empty(), "{name}: {unknown:?}");
        assert!(page.contains("default-src 'none'"), "{name}");
        assert_eq!(page.matches("<script").count(), 2, "{name}: the data and the script");
    }
}

#[test]
fn captures_of_a_real_daemon_give_pages_too() {
    let folder = judged::in_project("captures/lab");
    let captures = judged::captures_in(&folder);
    assert!(captures.len() > 5);
    for (name, _) in captures {
        let page = page_of(&folder.join(&name));
        assert!(page.ends_with("</html>"), "{name}");
        assert!(!markup(&page).contains("NaN"), "{name}: a number that is none");
    }
}

#[test]
fn a_page_is_the_same_each_time() {
    assert!(demo("playhouse-two-leaders.pcapng") == demo("playhouse-two-leaders.pcapng"));
}

#[test]
fn plots_show_what_a_capture_holds_and_are_missing_where_it_holds_nothing() {
    let page = demo("playhouse-leader-lost.pcapng");
    for plot in ["leaders", "offset-0", "delay-0", "sync-0", "delays-0", "load"] {
        assert!(page.contains(&format!("data-plot=\"{plot}\"")), "{plot}");
    }
    assert!(page.contains("fell silent"), "why the tenure ended");
    let empty = page_of_octets("no-ptp.pcap", &crate::json_schema::without_ptp());
    assert!(empty.contains("Cannot tell") && empty.contains("No clock is seen to lead"));
    assert!(!empty.contains("data-plot=\"leaders\""));
}

#[test]
fn one_frame_alone_gives_a_page() {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    file.record(1_791_055_680, 0, &announcing(0));
    let page = page_of_octets("one.pcap", &file.octets);
    assert!(page.contains("</html>") && page.contains("No time passes in this capture"));
    assert!(!page.contains("NaN") && !page.contains("inf,"), "a number that is none");
}

/// Ends whatever it is in, and would run where it is let in.
const HOSTILE: &str = "</script><img src=x onerror=alert(1)>'\"&";

/// A v1 Sync of a subdomain that is markup.
fn announcing(sequence: u16) -> Vec<u8> {
    let uuid = [0x02, 0, 0x5e, 0x10, 0, 0x71];
    let clock = ptp_v1::ClockData { uuid, stratum: 2, identifier: *b"<b>\"", variance: -4000 };
    let header = ptp_v1::Header { subdomain: *b"<img src=x>&'\"\0\0", source: uuid, sequence, flags: 0 };
    let body = ptp_v1::SyncBody {
        origin_ns: 1_791_055_717_000_000_000,
        grandmaster_sequence: sequence,
        grandmaster_preferred: true,
        ..ptp_v1::SyncBody::of(clock)
    };
    let group = Ipv4Addr::new(224, 0, 1, 129);
    let source = Ipv4Addr::new(10, 20, 0, 71);
    let way = frame::Ipv4Way { source, destination: group, ttl: 1, dscp: 46, identification: 1 };
    let packet = frame::udp(&way, 319, 319, &ptp_v1::sync(&header, &body));
    frame::ethernet(frame::group_mac(group), uuid, 0x0800, &packet)
}

/// Markup in names by multicast DNS and LLDP, in a session's name, and in a v1 subdomain.
fn hostile_capture() -> Vec<u8> {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 2000, (48, 48_000), 288, 0);
    let sdp = format!(
        "v=0\r\no=- 7 1 IN IP4 192.168.20.1\r\ns={HOSTILE}\r\nt=0 0\r\nm=audio 5004 RTP/AVP 97\r\n\
         c=IN IP4 239.20.1.1/15\r\na=rtpmap:97 L24/48000/2\r\n"
    );
    let mut sap = vec![0x20, 0, 0x12, 0x34, 192, 168, 20, 1];
    sap.extend(b"application/sdp\0");
    sap.extend(sdp.as_bytes());
    let to = Sender { group: Ipv4Addr::new(239, 255, 255, 255), ..sender(1) };
    scene.pass(50_000_000, to.frame_to(9875, &sap));
    let clock = Speaker { mac: [2, 0, 0x5e, 0x10, 0, 0x71], ip: Ipv4Addr::new(10, 20, 0, 71) };
    scene.pass(60_000_000, discovery::mdns_host(clock, HOSTILE, 120));
    scene.pass(
        70_000_000,
        discovery::lldp_switch([2, 0, 0x5e, 0x10, 0, 0xf0], [2; 6], HOSTILE, HOSTILE, HOSTILE),
    );
    for sequence in 0..20_u16 {
        scene.pass(80_000_000 + i64::from(sequence) * 90_000_000, announcing(sequence));
    }
    scene.file(65_535)
}

#[test]
fn markup_in_packets_and_file_names_stays_text() {
    let page = page_of_octets("<img src=x onerror=alert(2)>.pcap", &hostile_capture());
    let markup = markup(&page);
    assert!(!element_names(&markup).contains("img"), "an element came in");
    let unknown: Vec<&str> =
        element_names(&markup).into_iter().filter(|element| !ELEMENTS.contains(element)).collect();
    assert!(unknown.is_empty(), "{unknown:?}");
    assert_eq!((page.matches("<script").count(), page.matches("</script").count()), (2, 2));
    // Each of them is shown, or this would show nothing.
    let escaped = "&lt;/script&gt;&lt;img src=x onerror=alert(1)&gt;";
    assert!(markup.matches(escaped).count() >= 2, "{}", markup.matches(escaped).count());
    assert!(markup.contains("&lt;img src=x&gt;&amp;"), "the subdomain");
    assert!(markup.contains("&lt;img src=x onerror=alert(2)&gt;.pcap"), "the file");
    let data = page.split("id=\"series\">").nth(1).and_then(|rest| rest.split("</script>").next()).unwrap();
    assert!(!data.contains(['<', '>', '&']), "the data block");
    serde_json::from_str::<serde_json::Value>(data).unwrap();
}

#[test]
fn only_check_writes_a_page() {
    for command in [vec!["streams"], vec!["fit", "--add", "camera=8M"]] {
        let output = assert_cmd::Command::cargo_bin("downbeat")
            .unwrap()
            .args(&command)
            .args(["--format", "html"])
            .arg(judged::in_project("captures").join("playhouse-healthy.pcapng"))
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{command:?}");
        assert!(String::from_utf8_lossy(&output.stderr).contains("invalid value 'html'"), "{command:?}");
    }
}

/// Text between tags, in one line.
fn words(page: &str) -> String {
    let text: Vec<&str> =
        page.split('<').filter_map(|part| part.split_once('>')).map(|(_, text)| text).collect();
    text.join(" ").replace('\u{a0}', " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn page_and_text_say_the_same_in_the_same_notation() {
    let both = |name: &str| {
        let path = judged::in_project("captures").join(name);
        let judged = judged::files(&[(name, std::fs::read(&path).unwrap())]);
        (words(&page_of(&path)), judged.text.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    let (page, text) = both("playhouse-two-leaders.pcapng");
    assert!(text.contains("variance 0x4e5d") && page.contains("0x4e5d 127"), "{page}");
    assert!(page.contains("below 0.1 % of 1 Gb/s"), "{page}");
    let (page, text) = both("playhouse-multicast.pcapng");
    assert!(text.contains("silent since 44.859 s"), "{text}");
    assert!(page.contains("silent since 44.859 s, overdue since 87.359 s"), "{page}");
    assert!(text.contains("carries 72.551 kb/s (below 0.1 %)"), "{text}");
    // One packet has no rate, and 0 b/s would be one.
    assert!(page.contains("mixing-desk 10.20.0.61 1 – – –"), "{page}");
    let (page, _) = both("media/media.pcap.gz");
    assert!(page.contains("cannot tell +0.331 ± 0.128 ppm 3"), "{page}");
}

#[test]
fn numbers_of_the_head_do_not_break_over_lines() {
    let page = demo("playhouse-wrong-domain.pcapng");
    assert!(page.contains("5\u{a0}684 frames, 3\u{a0}640 PTP messages"), "the head");
}
