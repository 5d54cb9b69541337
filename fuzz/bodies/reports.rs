//! A whole file to every report: each is well formed, agrees with the others and with the file.

use std::io::Cursor;
use std::num::NonZeroUsize;
use std::sync::LazyLock;

use downbeat::analysis;
use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Threads;
use downbeat::capture::Input;
use downbeat::compare;
use downbeat::compare::Report;
use downbeat::findings;
use downbeat::report;
use downbeat::timeline;
use downbeat::timeline::Filter;
use jsonschema::Validator;
use serde_json::Value;

static SCHEMA: LazyLock<Validator> = LazyLock::new(|| {
    let schema: Value = serde_json::from_str(&report::schema()).expect("the schema is JSON");
    jsonschema::validator_for(&schema).expect("the schema is one")
});

/// What is written of a capture.
#[derive(Debug, PartialEq)]
pub(super) struct Said {
    pub(super) json: String,
    pub(super) text: String,
}

/// A capture file of any kind, or octets that are none. The first octet says in what parts it is read.
pub fn reports(data: &[u8]) {
    let Some((way, file)) = super::choice(data) else { return };
    let Some(alone) = read(file, 1, usize::MAX) else {
        assert!(read(file, 2, 64 + usize::from(way) * 9).is_none());
        return;
    };
    let said = judge(&alone);
    let together = read(file, 2, 64 + usize::from(way) * 9).expect("what one thread reads two read too");
    alike("two threads", &said, &judge(&together));
}

/// A file once, to every report.
pub fn whole(file: &[u8]) {
    if let Some(analysis) = read(file, 1, usize::MAX) {
        judge(&analysis);
    }
}

/// Reads a file on so many threads; `None` where it is no capture.
pub(super) fn read(file: &[u8], threads: usize, part: usize) -> Option<Analysis> {
    let octets = file.to_vec();
    let input = Input::seekable("capture", move || Ok(Box::new(Cursor::new(octets.clone()))));
    let mut reading = Reading::new(Settings::default());
    let threads = Threads { count: NonZeroUsize::new(threads)?, part };
    let files = analysis::read(&mut reading, vec![input], threads);
    (!files.captures.is_empty()).then(|| reading.finish(files))
}

/// Says the first line that differs.
pub(super) fn alike(what: &str, one: &Said, other: &Said) {
    for (one, other) in [(&one.json, &other.json), (&one.text, &other.text)] {
        for (number, (one, other)) in one.lines().zip(other.lines()).enumerate() {
            assert_eq!(one, other, "{what}: line {}", number + 1);
        }
        assert_eq!(one.lines().count(), other.lines().count(), "{what}");
    }
}

/// Writes every report and holds them against one another.
pub(super) fn judge(analysis: &Analysis) -> Said {
    let judgement = findings::judge(analysis);
    let document = report::document(analysis, &judgement);
    let series = report::series(analysis);
    let json = written(|out| report::write_json(&document, out));
    let text = written(|out| report::write_text(&document, out));
    let page = written(|out| report::write_page(&document, &series, out));
    let streams = written(|out| report::write_streams(&document, report::Style::default(), out));
    for shown in [&text, &page, &streams] {
        let control = shown.chars().find(|c| c.is_control() && *c != '\n');
        assert_eq!(control, None, "a control code reaches whoever reads");
    }
    let value: Value = serde_json::from_str(&json).expect("the report is JSON");
    if let Err(error) = SCHEMA.validate(&value) {
        panic!("{}: {error}", error.instance_path());
    }
    adds_up(&value, analysis);

    let events = timeline::timeline(&document, &Filter::default()).expect("no filter, no wrong filter");
    written(|out| timeline::write(&events, report::Style::default(), out));
    let saved = Report::parse(&json).expect("a report that was written can be read back");
    // Keys of streams and domains are not unique where addresses or names are forged, so nothing more is asked (docs/TRUST.md).
    written(|out| compare::write(&compare::compare(&saved, &saved), report::Style::default(), out));
    written(|out| report::write_site_file(&document, out));
    Said { json, text }
}

/// Frames and octets of the report against those of the files.
fn adds_up(report: &Value, analysis: &Analysis) {
    let number = |value: &Value| value.as_u64().expect("a count");
    let captures = report["captures"].as_array().expect("a list");
    let packets: u64 = captures.iter().map(|capture| number(&capture["packets"])).sum();
    let span = &report["span"];
    assert_eq!(packets, number(&span["frames"]) + number(&span["frames_outside"]));
    assert!(captures.iter().all(|capture| number(&capture["undecodable"]) <= number(&capture["packets"])));
    let wire: u64 =
        captures.iter().map(|capture| number(&capture["octets"]) + 24 * number(&capture["packets"])).sum();
    let streams = report["streams"].as_array().expect("a list");
    let in_streams: u64 = streams.iter().map(|stream| number(&stream["packets"])).sum();
    assert!(in_streams <= packets, "{in_streams} packets of streams, {packets} in all");
    let octets: u64 = streams.iter().map(|stream| number(&stream["octets"])).sum();
    assert!(octets <= wire, "{octets} octets of streams, {wire} in all");
    let messages: u64 = report["domains"]
        .as_array()
        .expect("a list")
        .iter()
        .flat_map(|domain| domain["messages"].as_object().expect("counts").values())
        .map(number)
        .sum();
    let decoded = analysis.ptp_messages;
    assert!(messages <= decoded, "{messages} messages of domains, {decoded} decoded");
    if span["left_out"].is_null() {
        assert_eq!(messages, decoded, "messages of the domains");
    }
}

fn written(write: impl FnOnce(&mut Vec<u8>) -> std::io::Result<()>) -> String {
    let mut out = Vec::new();
    write(&mut out).expect("memory");
    String::from_utf8(out).expect("reports are UTF-8")
}
