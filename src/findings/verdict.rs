//! All rules over one capture, and the verdict they add up to.

use std::collections::BTreeSet;

use super::causes;
use super::finding::Finding;
use super::finding::Severity;
use super::rule::Outcome;
use super::rules;
use super::site::site_offset_exceeded;
use super::site::view;
use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Announcer;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::silence_limit;
use crate::units::Nanos;

/// The answer in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// A leader leads, followers are shown to follow, and no rule above info applies.
    Sound,
    /// Only minor findings.
    Watch,
    /// A major or critical finding.
    Fault,
    /// No PTP, too short, more senders than can be kept, nobody could be shown to follow, or a second clock announces at
    /// the end.
    CannotTell,
}

impl Verdict {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Watch => "watch",
            Self::Fault => "fault",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// What the rules say of a capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judgement {
    /// In one word.
    pub verdict: Verdict,
    /// Why, in one sentence.
    pub because: String,
    /// What to do where nothing could be told.
    pub next: Vec<&'static str>,
    /// Findings, each behind the one that it likely follows from; else the gravest first.
    pub findings: Vec<Finding>,
    /// Rules that could not be decided, and why.
    pub not_judged: Vec<(&'static str, String)>,
}

/// Applies every rule.
#[must_use]
pub fn judge(analysis: &Analysis) -> Judgement {
    let mut findings = Vec::new();
    let mut not_judged = Vec::new();
    for rule in rules() {
        match rule.judge(analysis) {
            Outcome::Quiet => {}
            Outcome::Broken(found) => findings.extend(found),
            Outcome::PartlyBroken(found, why) => {
                findings.extend(found);
                not_judged.push((rule.id(), why));
            }
            Outcome::CannotTell(why) => not_judged.push((rule.id(), why)),
        }
    }
    // Stable, so the register's order holds within a severity.
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let findings = causes::fold(analysis, findings);
    let (verdict, because, next) = verdict(analysis, &findings);
    Judgement { verdict, because, next, findings, not_judged }
}

/// The rule that says that two clocks lead, or that it is too early to say.
const TWO_AT_ONCE: &str = "two-masters-one-domain";

type Answer = (Verdict, String, Vec<&'static str>);

fn verdict(analysis: &Analysis, findings: &[Finding]) -> Answer {
    if let Some(because) = faults(findings) {
        return (Verdict::Fault, because, Vec::new());
    }
    if analysis.frames == 0 {
        return no_frames(analysis);
    }
    if analysis.ptp_messages == 0 {
        return no_ptp(analysis);
    }
    if analysis.domains.left_out().is_of_senders() {
        return flooded();
    }
    if let Some(unproven) = unproven(analysis) {
        return unproven;
    }
    if let Some(limit) = site_offset_exceeded::nobody_shows(analysis) {
        return undecided(&limit);
    }
    let Some(domain) = led_domain(analysis) else { return leaderless(analysis) };
    if let Some(short) = too_short(analysis, domain) {
        return (Verdict::CannotTell, short, vec!["capture for a minute or longer"]);
    }
    if let Some(because) = silent_at_the_end(analysis, domain) {
        let next =
            vec!["capture again: if its Sync does not come back, look at the leader's power, link and log"];
        return (Verdict::CannotTell, because, next);
    }
    if let Some(newcomer) = domain.election.newcomers_at_end().next() {
        let because = format!(
            "{}, better than the leader, announced itself once at the capture's end: whether it takes the lead cannot be told",
            newcomer.candidate.grandmaster
        );
        let next = vec!["capture again for a minute or longer: which clock leads then?"];
        return (Verdict::CannotTell, because, next);
    }
    let followers = analysis.devices.iter().filter(|device| {
        matches!(device.state, State::Following | State::Relaying) && device.strength != Strength::CannotTell
    });
    let followers = followers.count();
    // What is untidy does not show that the clock is well: that comes first.
    if followers > 0 && findings.iter().any(|finding| finding.severity == Severity::Minor) {
        let because = "nothing is broken now; something happened or is untidy".to_owned();
        return (Verdict::Watch, because, Vec::new());
    }
    if followers > 0
        && let Some(finding) = findings.iter().find(|finding| finding.id == TWO_AT_ONCE)
    {
        let next = vec!["capture again for a minute or longer: if two still announce, two clocks lead"];
        let domain = finding.domain.map(|key| format!(" of {key}")).unwrap_or_default();
        let because = format!(
            "a second clock{domain} announces in the capture's last seconds: a hand-over, or two that lead"
        );
        return (Verdict::CannotTell, because, next);
    }
    let hidden = hidden(analysis);
    match followers {
        0 => {
            let next = vec![
                "capture where followers' requests and their answers pass: a mirror of the leader's port, both directions",
            ];
            (Verdict::CannotTell, "a clock leads, but nobody is shown to follow it".to_owned(), next)
        }
        1 => {
            let because = format!("one clock leads, and the one device that follows is answered{hidden}");
            (Verdict::Sound, because, Vec::new())
        }
        n => {
            let because = format!("one clock leads, and the {n} devices that follow are answered{hidden}");
            (Verdict::Sound, because, Vec::new())
        }
    }
}

/// Nobody was seen to lead. Where devices ask, two things look alike, and the clock is the first to look for.
fn leaderless(analysis: &Analysis) -> Answer {
    if analysis.domains.iter().any(|domain| domain.election.tenures().next().is_some()) {
        let because = "a clock led in this capture, and none leads at its end".to_owned();
        let next = vec![
            "look whether the capture lost frames at its end; if not, at that clock: power, link, switch port",
            "capture again for a minute at the same place",
        ];
        return (Verdict::CannotTell, because, next);
    }
    let asks = analysis.domains.iter().any(|domain| domain.requesters.values().any(|asker| asker.seen() > 0));
    let mut next = vec![
        "capture for a minute where the leader's multicast passes: a mirror of its port or of an uplink",
    ];
    let because = if asks {
        next.insert(0, "find the clock that should lead: power, link, VLAN, domain number");
        "devices ask and no leader was seen: either no clock leads, or the leader's direction is missing from this \
         capture"
    } else {
        "no leader was seen, and nothing shows why"
    };
    (Verdict::CannotTell, because.to_owned(), next)
}

/// Devices that ask, and whose answers would not be in view: they are not shown to be well.
fn hidden(analysis: &Analysis) -> String {
    let hidden = analysis.devices.iter().filter(|device| {
        device.state == State::Unproven && device.withheld.iter().any(|held| held.state == State::Unanswered)
    });
    let hidden: Vec<&str> = hidden.map(|device| device.key.as_str()).collect();
    match hidden.as_slice() {
        [] => String::new(),
        [one] => format!("; not shown of {one}, which asks too: answers to it would not be in view"),
        more => format!("; not shown of {} more that ask: answers to them would not be in view", more.len()),
    }
}

/// How many findings need attention: a cause whose effects do is one of them.
fn faults(findings: &[Finding]) -> Option<String> {
    let is_grave = |finding: &&Finding| finding.severity >= Severity::Major;
    let roots: BTreeSet<usize> = findings
        .iter()
        .enumerate()
        .filter(|(_, finding)| is_grave(finding))
        .map(|(index, finding)| finding.follows_from.unwrap_or(index))
        .collect();
    let effects = findings.iter().filter(is_grave).filter(|finding| finding.follows_from.is_some()).count();
    let (roots, of_them) = match roots.len() {
        0 => return None,
        1 => ("1 finding needs attention now".to_owned(), "it"),
        n => (format!("{n} findings need attention now"), "them"),
    };
    Some(match effects {
        0 => roots,
        1 => format!("{roots}; 1 more likely follows from {of_them}"),
        n => format!("{roots}; {n} more likely follow from {of_them}"),
    })
}

/// Where the site file lists devices that need the clock, a capture that does not show them on it accepts nothing.
fn unproven(analysis: &Analysis) -> Option<Answer> {
    let unproven = view::unproven_devices(analysis);
    let names: Vec<&str> = unproven.iter().map(|(name, _)| *name).collect();
    let because = match names.as_slice() {
        [] => return None,
        [one] => format!("{one} needs the clock, and this capture does not show whether it has it"),
        [first, ..] => format!(
            "{first} and {} more need the clock, and this capture does not show whether they have it",
            names.len() - 1
        ),
    };
    let next = vec!["capture at a mirror of the leader's port, or of the device's own, both directions"];
    Some((Verdict::CannotTell, because, next))
}

/// Where the site file sets a limit that no follower can be held against, nothing is accepted either.
fn undecided(limit: &str) -> Answer {
    let because = format!("the site file allows {limit}, and no follower shows its time to within that");
    let next = vec![
        "ask the devices themselves for their offset, or capture where they tell it: management answers, or \
         peer-delay exchanges with hardware stamps",
        "or take max_offset out of the site file: nothing on this wire can be held against it",
    ];
    (Verdict::CannotTell, because, next)
}

fn no_frames(analysis: &Analysis) -> Answer {
    let (because, next) = if analysis.frames_outside > 0 {
        ("no frame lies in the span asked for", "widen the span: --from and --until")
    } else {
        ("there is no frame in this capture", "capture for a minute or longer")
    };
    (Verdict::CannotTell, because.to_owned(), vec![next])
}

fn no_ptp(analysis: &Analysis) -> Answer {
    let cut = analysis.cut_ptp;
    let too_short = if cut.frames > 0 {
        let kept = analysis.captures.iter().filter_map(|capture| capture.summary.snapped_to).max();
        let frames = if cut.frames == 1 { "1 frame".to_owned() } else { format!("{} frames", cut.frames) };
        Some(format!(
            "{frames} to PTP's ports, or of its Ethertype, had no more than {} octets kept, too few to read them: {} octets of \
             each would do",
            kept.unwrap_or_default(),
            cut.wanted
        ))
    } else {
        analysis.cut_before_ptp().map(|kept| {
            format!(
                "frames had no more than {kept} octets kept, too few to read a PTP message: this capture does not show \
                 whether there is PTP"
            )
        })
    };
    if let Some(because) = too_short {
        return (
            Verdict::CannotTell,
            because,
            vec!["capture again with 128 octets of each frame at the least (chosen)"],
        );
    }
    let next = vec![
        "capture at a mirror port, or at a port that has joined group 224.0.1.129: a switch with IGMP snooping \
         sends PTP to members only",
        "check the capture filter: PTP is UDP ports 319 and 320, or Ethertype 0x88f7, with or without a VLAN tag",
    ];
    (Verdict::CannotTell, "there is no PTP message in this capture".to_owned(), next)
}

/// Where senders were left out, one of them may be who matters.
fn flooded() -> Answer {
    let because = "more senders were heard than can be kept, so what is said of the rest is not the whole";
    let next = vec!["see to the flood first (too-many-identities), then capture again"];
    (Verdict::CannotTell, because.to_owned(), next)
}

/// The site's domain if it is led, else the first that is.
fn led_domain(analysis: &Analysis) -> Option<&Domain> {
    let led = || analysis.domains.iter().filter(|domain| domain.election.leader().is_some());
    led().find(|domain| analysis.site.is(&domain.key)).or_else(|| led().next())
}

/// Syncs from which a leader's pace is known, and the shortest silence that is told (chosen).
const SYNCS: u64 = 20;
const SILENT: Nanos = Nanos(1_000_000_000);

/// Whoever leads has sent no Sync for long enough to be silent at the end ([`silence_limit`]), though its
/// Announces are not missed for long enough yet to call it lost.
fn silent_at_the_end(analysis: &Analysis, domain: &Domain) -> Option<String> {
    let link = &analysis.wire.link;
    // By stamps that went back, or of clocks that disagree, nothing was before anything.
    let is_in_order = analysis.clocks_disagree().is_none() && !link.rate.went_far_back();
    let end = analysis.end.filter(|_| is_in_order)?;
    let mut shortest: Option<Nanos> = None;
    for port in domain.leading_ports() {
        let syncs = port.series(Kind::Sync).filter(|syncs| syncs.count() >= SYNCS)?;
        // Where it was heard in a file that ends before others do.
        let announcer = domain.election.announcers().get(&port.port);
        let end = announcer.and_then(Announcer::view_ends).map_or(end, |view| view.min(end));
        let silent = link.watched_between(syncs.last()?.time?, end);
        if silent <= silence_limit(syncs.pace()?).max(SILENT) {
            return None;
        }
        shortest = Some(shortest.map_or(silent, |shortest| shortest.min(silent)));
    }
    let silent = shortest?.as_seconds_text();
    Some(format!("no Sync of the leader in the capture's last {silent}: whether it goes on cannot be told"))
}

/// A capture shorter than the leader's receipt timeout cannot show that the leader is steady.
fn too_short(analysis: &Analysis, domain: &Domain) -> Option<String> {
    let leader = domain.election.leader()?;
    let announcers = domain.election.announcers().values();
    let quickest = announcers
        .filter(|announcer| announcer.candidate.grandmaster == leader)
        .min_by_key(|announcer| announcer.timeout())?;
    let timeout = quickest.timeout();
    let length = analysis.watched_for(quickest.interval());
    let tenths =
        |duration: Nanos| format!("{}.{} s", duration.0 / 1_000_000_000, duration.0 / 100_000_000 % 10);
    (length < timeout).then(|| {
        format!(
            "{} are too short to judge: followers wait {} for the leader before they give it up",
            tenths(length),
            tenths(timeout)
        )
    })
}
