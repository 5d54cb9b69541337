//! From an analysis and its judgement to the document. Nothing new is computed here.

mod domain;
mod event;
mod fit;
mod interruption;
mod multicast;
mod path;
mod series;
mod stream;

pub use fit::fit_document;
pub use series::series;

use super::anonymous::anonymous;
use super::document::Absent;
use super::document::CaptureDocument;
use super::document::DamageDocument;
use super::document::DeviceDocument;
use super::document::Document;
use super::document::EvidenceDocument;
use super::document::FindingDocument;
use super::document::FrameReference;
use super::document::GapDocument;
use super::document::LeftOutDocument;
use super::document::NotJudgedDocument;
use super::document::ProblemDocument;
use super::document::SCHEMA;
use super::document::SeatName;
use super::document::SeverityName;
use super::document::SiteDomainDocument;
use super::document::SpanDocument;
use super::document::StateName;
use super::document::StrengthName;
use super::document::SwitchPortDocument;
use super::document::Tool;
use super::document::UnreadableDocument;
use super::document::VerdictName;
use super::document::ViewpointDocument;
use super::format::rfc3339;
use super::format::seconds;
use crate::analysis::Analysis;
use crate::analysis::CaptureReport;
use crate::capture::Compression;
use crate::capture::FileFormat;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::LeftOut;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Judgement;
use crate::findings::Severity;
use crate::findings::Verdict;
use crate::observations::Place;
use crate::viewpoint::Seat;

/// What the report asks its reader to keep in mind.
const CAUTION: &str = "This is advice for people who know the site. Changing clock settings, switches or cabling on a \
live system interrupts it and can hurt where sound or machinery depends on it. Local rules and the site's licensed \
staff come first.";

/// The whole document.
#[must_use]
pub fn document(analysis: &Analysis, judgement: &Judgement) -> Document {
    anonymous(plain_document(analysis, judgement), analysis.settings.pseudonyms.as_ref())
}

fn plain_document(analysis: &Analysis, judgement: &Judgement) -> Document {
    Document {
        schema: SCHEMA,
        tool: Tool { name: "downbeat", version: env!("CARGO_PKG_VERSION") },
        captures: analysis.captures.iter().map(|report| capture(analysis, report)).collect(),
        unreadable: analysis
            .unreadable
            .iter()
            .map(|(file, text)| UnreadableDocument { file: file.clone(), text: text.clone() })
            .collect(),
        gaps: gaps(analysis),
        span: SpanDocument {
            first: analysis.start.map(rfc3339),
            last: analysis.end.map(rfc3339),
            duration_s: analysis.duration().map(seconds),
            frames: analysis.frames,
            frames_outside: analysis.frames_outside,
            ptp_messages: analysis.ptp_messages,
            ptp_frames_cut: analysis.cut_ptp.frames,
            ptp_octets_wanted: u64::try_from(analysis.cut_ptp.wanted).ok().filter(|wanted| *wanted > 0),
            mirror_copies: analysis.mirror_copies,
            partial: analysis.is_partial,
            left_out: left_out(analysis),
        },
        verdict: match judgement.verdict {
            Verdict::Sound => VerdictName::Sound,
            Verdict::Watch => VerdictName::Watch,
            Verdict::Fault => VerdictName::Fault,
            Verdict::CannotTell => VerdictName::CannotTell,
        },
        verdict_because: judgement.because.clone(),
        verdict_next: judgement.next.clone(),
        viewpoint: viewpoint(analysis),
        site_domain: SiteDomainDocument {
            site: analysis.settings.site.as_ref().and_then(|site| site.name.clone()),
            keys: analysis.site.keys.iter().map(ToString::to_string).collect(),
            assumed: analysis.site.assumed,
        },
        domains: analysis.domains.iter().map(|domain| domain::document(analysis, domain)).collect(),
        devices: analysis.devices.iter().map(device).collect(),
        streams: analysis.wire.streams.iter().map(|each| stream::document(analysis, each)).collect(),
        sources: stream::sources(analysis),
        multicast: multicast::document(analysis),
        link: stream::link(analysis),
        events: event::documents(analysis),
        findings: judgement.findings.iter().map(|found| finding(analysis, found)).collect(),
        not_judged: judgement
            .not_judged
            .iter()
            .map(|(id, why)| NotJudgedDocument { id, why: why.clone() })
            .collect(),
        caution: CAUTION,
    }
}

fn capture(analysis: &Analysis, report: &CaptureReport) -> CaptureDocument {
    let summary = &report.summary;
    CaptureDocument {
        file: summary.file.clone(),
        format: match summary.format {
            FileFormat::Pcap => "pcap",
            FileFormat::Pcapng => "pcapng",
        },
        compression: summary.compression.map(|compression| match compression {
            Compression::Gzip => "gzip",
            Compression::Zstd => "zstd",
        }),
        packets: summary.packets,
        octets: summary.octets,
        first: summary.first.map(rfc3339),
        last: summary.last.map(rfc3339),
        duration_s: summary.first.zip(summary.last).map(|(first, last)| {
            // Of one file alone it is known how long its clock ran.
            let ran = analysis.duration().filter(|_| {
                !analysis.set_backs.is_empty() && analysis.captures.len() == 1 && analysis.frames_outside == 0
            });
            seconds(ran.unwrap_or_else(|| last.since(first)))
        }),
        resolution_ns: summary.resolution.map(|step| step.0),
        snapped: summary.snapped,
        snapped_to: summary.snapped_to,
        undecodable: report.undecodable,
        problems: report
            .problems
            .iter()
            .map(|(problem, (count, place))| ProblemDocument {
                text: problem.to_string(),
                count: *count,
                first_frame: place.frame,
            })
            .collect(),
        time_backsteps: summary.time_backsteps,
        undeclared_frame_checks: summary.undeclared_checks,
        drops_reported: summary.drops_reported,
        link_types: summary.link_types.iter().map(|link| link.0).collect(),
        damage: summary
            .damage
            .iter()
            .map(|damage| DamageDocument { offset: damage.offset, text: damage.text.clone() })
            .collect(),
    }
}

fn left_out(analysis: &Analysis) -> Option<LeftOutDocument> {
    let of_domains = analysis.domains.left_out();
    let flows = analysis.wire.folded.flows;
    let memberships = analysis.multicast.left_out;
    let names = analysis.directory.left_out;
    let is_any = of_domains != LeftOut::default() || flows > 0 || memberships > 0 || names > 0;
    is_any.then_some(LeftOutDocument {
        domains: of_domains.domains,
        ports: of_domains.ports,
        ptp_messages: of_domains.messages,
        requesters: of_domains.requesters,
        announces: of_domains.offers,
        events: of_domains.events,
        flows,
        memberships,
        names,
    })
}

fn viewpoint(analysis: &Analysis) -> ViewpointDocument {
    let viewpoint = &analysis.viewpoint;
    let switches = analysis.directory.link_neighbours().filter(|neighbour| neighbour.is_bridge);
    ViewpointDocument {
        kind: match viewpoint.seat {
            Seat::AtLeader => SeatName::AtLeader,
            Seat::AtFollower => SeatName::AtFollower,
            Seat::Mirror => SeatName::Mirror,
            Seat::Access => SeatName::Access,
            Seat::Unknown => SeatName::Unknown,
        },
        strength: strength(viewpoint.strength),
        shown_by: viewpoint.shown_by.clone(),
        cannot_see: viewpoint.cannot_see.clone(),
        switch_ports: switches
            .map(|switch| SwitchPortDocument {
                mac: switch.mac.to_string(),
                system: switch.system.clone(),
                port: switch.port.clone(),
                port_description: switch.port_description.clone(),
            })
            .collect(),
    }
}

fn gaps(analysis: &Analysis) -> Vec<GapDocument> {
    let gaps = analysis.gaps.iter().map(|gap| GapDocument {
        after_file: file_name(analysis, gap.after_file),
        before_file: file_name(analysis, gap.before_file),
        from: rfc3339(gap.from),
        until: rfc3339(gap.until),
        duration_s: seconds(gap.until.since(gap.from)),
    });
    gaps.collect()
}

fn device(device: &Device) -> DeviceDocument {
    DeviceDocument {
        key: device.key.clone(),
        name: device.name.as_ref().map(|name| name.text.clone()),
        named_by: device.name.as_ref().map(|name| name.by.name()),
        vendor_prefix: Absent,
        macs: device.macs.iter().map(ToString::to_string).collect(),
        ips: device.ips.iter().map(ToString::to_string).collect(),
        clocks: device.clocks.iter().map(ToString::to_string).collect(),
        domains: device.domains.iter().map(ToString::to_string).collect(),
        leader: device.leader.map(|leader| leader.to_string()),
        state: match device.state {
            State::Leading => StateName::Leading,
            State::Relaying => StateName::Relaying,
            State::Following => StateName::Following,
            State::StandingBy => StateName::StandingBy,
            State::Rival => StateName::Rival,
            State::Unanswered => StateName::Unanswered,
            State::Astray => StateName::Astray,
            State::Adrift => StateName::Adrift,
            State::Unclocked => StateName::Unclocked,
            State::Unproven => StateName::Unproven,
        },
        strength: strength(device.strength),
        reasons: device.reasons.clone(),
        offset_ns: device.time.as_ref().map(path::device_offset),
        media_rate_ppm: device.media_rate_ppm,
    }
}

const fn strength(strength: Strength) -> StrengthName {
    match strength {
        Strength::Shown => StrengthName::Shown,
        Strength::Inferred => StrengthName::Inferred,
        Strength::CannotTell => StrengthName::CannotTell,
    }
}

fn finding(analysis: &Analysis, finding: &Finding) -> FindingDocument {
    FindingDocument {
        id: finding.id,
        severity: match finding.severity {
            Severity::Info => SeverityName::Info,
            Severity::Minor => SeverityName::Minor,
            Severity::Major => SeverityName::Major,
            Severity::Critical => SeverityName::Critical,
        },
        strength: strength(finding.strength),
        domain: finding.domain.map(|key| key.to_string()),
        device: finding.device.clone(),
        stream: finding.stream.map(|key| key.to_string()),
        title: finding.title.clone(),
        evidence: finding.evidence.iter().map(|evidence| evidence_document(analysis, evidence)).collect(),
        next: finding.next.clone(),
        sources: finding.sources.clone(),
        follows_from: finding.follows_from,
    }
}

fn evidence_document(analysis: &Analysis, evidence: &Evidence) -> EvidenceDocument {
    EvidenceDocument {
        file: evidence.place.map(|place| file_name(analysis, place.file)),
        frame: evidence.place.map(|place| place.frame),
        time: evidence.place.and_then(|place| place.time).map(rfc3339),
        text: evidence.text.clone(),
    }
}

fn file_name(analysis: &Analysis, file: u32) -> String {
    let index = usize::try_from(file).unwrap_or(usize::MAX);
    analysis.captures.get(index).map(|capture| capture.summary.file.clone()).unwrap_or_default()
}

/// A frame as the contract writes it: with its file only where there are several.
fn frame_reference(analysis: &Analysis, place: Place) -> FrameReference {
    if analysis.captures.len() > 1 {
        FrameReference::InFile { file: file_name(analysis, place.file), frame: place.frame }
    } else {
        FrameReference::Number(place.frame)
    }
}
