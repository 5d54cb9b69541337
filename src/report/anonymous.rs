//! Stand-ins for the addresses in what is written: every text of the document and the series, wherever it stands.
//!
//! Each structure is taken apart whole, so that a new field has to be listed here before this compiles; a text in it is exchanged
//! without more ado. Names never come this far (`analysis::veil`).

use std::sync::Arc;

use super::document::*;
use super::series::{
    DomainSeries, HoleMark, IntervalClass, LoadSeries, LossMark, PeakMark, PortSeries, RivalSpan, Sample,
    SampleSeries, Series, SourceSeries, StepMark,
};
use crate::pseudonyms::Pseudonyms;

/// Something that may hold texts.
pub(super) trait Texts {
    /// Shows every text to `look`.
    fn each(&mut self, look: &dyn Fn(&mut String));
}

/// Exchanges every address, where nobody is to learn those.
pub(super) fn anonymous<T: Texts>(mut written: T, pseudonyms: Option<&Arc<Pseudonyms>>) -> T {
    if let Some(with) = pseudonyms {
        written.each(&|text| *text = with.text(text));
    }
    written
}

impl Texts for String {
    fn each(&mut self, look: &dyn Fn(&mut String)) {
        look(self);
    }
}

impl<T: Texts> Texts for Option<T> {
    fn each(&mut self, look: &dyn Fn(&mut String)) {
        self.iter_mut().for_each(|one| one.each(look));
    }
}

impl<T: Texts> Texts for Vec<T> {
    fn each(&mut self, look: &dyn Fn(&mut String)) {
        self.iter_mut().for_each(|one| one.each(look));
    }
}

impl Texts for serde_json::Value {
    fn each(&mut self, look: &dyn Fn(&mut String)) {
        match self {
            Self::String(text) => look(text),
            Self::Array(values) => values.iter_mut().for_each(|value| value.each(look)),
            Self::Object(values) => values.values_mut().for_each(|value| value.each(look)),
            Self::Null | Self::Bool(_) | Self::Number(_) => {}
        }
    }
}

impl Texts for FrameReference {
    fn each(&mut self, look: &dyn Fn(&mut String)) {
        match self {
            Self::InFile { file, frame: _ } => look(file),
            Self::Number(_) => {}
        }
    }
}

impl Texts for Absent {
    fn each(&mut self, _: &dyn Fn(&mut String)) {}
}

/// What holds numbers, or words of this program alone.
macro_rules! without_texts {
    ($($name:ty),* $(,)?) => {
        $(impl Texts for $name {
            fn each(&mut self, _: &dyn Fn(&mut String)) {}
        })*
    };
}

/// Structures with all of their fields.
macro_rules! with_texts {
    ($($name:ident { $($field:ident),* $(,)? })*) => {
        $(impl Texts for $name {
            fn each(&mut self, look: &dyn Fn(&mut String)) {
                let Self { $($field),* } = self;
                $($field.each(look);)*
            }
        })*
    };
}

without_texts! {
    &'static str, bool, f64, i16, i32, i64, u8, u16, u32, u64, usize,
    StateName, StrengthName, VerdictName, SeverityName, SeatName,
}

with_texts! {
    CaptureDocument { file, format, compression, packets, octets, first, last, duration_s, resolution_ns, snapped, snapped_to, undecodable, problems, time_backsteps, undeclared_frame_checks, drops_reported, link_types, damage }
    ProblemDocument { text, count, first_frame }
    DamageDocument { offset, text }
    DeviceDocument { key, name, named_by, vendor_prefix, macs, ips, clocks, domains, leader, state, strength, reasons, offset_ns, media_rate_ppm }
    DomainDocument { key, ptp_version, domain, sdo_id, transports, vlan, messages, leader, tenures, rightful, decided_by, succession, clocks, answers, requesters, peers, notes, path, profiles }
    MessageCounts { sync, follow_up, delay_req, delay_resp, pdelay_req, pdelay_resp, pdelay_resp_follow_up, announce, signaling, management, reserved }
    TenureDocument { clock, from, until, from_at_s, until_at_s, ended_by, sync_went_on, won_on, won_against }
    ClockDocument { clock, port, grandmaster, steps_removed, priority1, priority2, clock_class, clock_accuracy, variance, preferred, stratum, identifier, boundary_clock, time_source, utc_offset_s, flags, announce, sync, delay_req, delay_resp, pdelay_req, two_step, synchronization_metadata, first, last, sources }
    CadenceDocument { declared_s, median_s, count, missed }
    SourceDocument { mac, ip }
    AnswersDocument { requesters, answered, unanswered, response_time_ns }
    RequesterDocument { port, mechanism, seen, multicast, answered, unanswered, response_time_ns, asked_for_s, median_s }
    SynchronizationMetadataDocument { default_system_frame_rate, locking_status, current_local_offset_s, jump_s }
    SpreadDocument { median, p5, p95, min, max, count }
    NoteDocument { text, count, first }
    EventDocument { time, at_s, kind, domain, device, text, frames }
    FindingDocument { id, severity, strength, domain, device, stream, title, evidence, next, sources, follows_from }
    EvidenceDocument { file, frame, time, text }
    NotJudgedDocument { id, why }
    FitDocument { schema, files, link, keep_free, planned, duration_s, is_short, load_now_mean, load_now_peak_1s, load_then_mean, load_then_peak_1s, usable_bps, mean_then_bps, peak_1s_then_bps, free_then, load_then_peak_1ms, answer, arithmetic, caveats }
    PlannedDocument { name, count, rate_bps, direction }
    Document { schema, tool, captures, unreadable, gaps, span, verdict, verdict_because, verdict_next, viewpoint, site_domain, domains, devices, streams, sources, multicast, link, events, findings, not_judged, caution }
    Tool { name, version }
    UnreadableDocument { file, text }
    GapDocument { after_file, before_file, from, until, duration_s }
    SpanDocument { first, last, duration_s, frames, frames_outside, ptp_messages, ptp_frames_cut, ptp_octets_wanted, mirror_copies, partial, left_out }
    LeftOutDocument { domains, ports, ptp_messages, requesters, announces, events, flows, memberships, names }
    SiteDomainDocument { site, keys, assumed }
    MulticastDocument { queriers, memberships, unrequested, unrequested_caveats, idle, reports_of_no_group, no_group, shared_macs }
    QuerierDocument { ip, vlan, version, queries, interval_s, declared_interval_s, last_at_s, patience_s, silent_since_s, elected }
    MembershipDocument { group, vlan, hosts, version, members }
    MemberDocument { host, mac, version, reports, only_from, all_but, first_at_s, last_at_s, ended_by, ended_at_s }
    SharedMacDocument { mac, groups, reserved_for }
    PathDocument { port, is_relayed, stretch, exchanges, offset_ns, offset_at_least_delay_ns, timescales, residual_offset_ns, mean_path_delay_ns, at_leader, rate_ppm, rate_sigma_ppm, rate_is_seen, envelope_ppm, sync_jitter_ns, delay_variation_ns, stability, basis }
    StretchDocument { from_at_s, until_at_s }
    StabilityDocument { tau_s, adev, mdev, tdev_ns, mtie_ns }
    PeerDocument { port, exchanges, turnaround_ns, link_delay_ns, rate_ppm, rate_sigma_ppm }
    ProfileDocument { name, fits, seen_enough, deviations }
    DeviationDocument { item, seen, expected, source, confidence }
    DeviceOffsetDocument { median, p5, p95, count, basis, uncertainty_ns, rate_ppm, rate_sigma_ppm }
    AvtpDocument { subtype, lost, duplicated }
    StreamDocument { key, source_ip, source_mac, source_macs, device, group, port, vlan, ssrc, payload_type, kind, codec, known_by, frames_per_s, packets, octets, first, last, mean_bps, peak_1s_bps, peak_100ms_bps, peak_10ms_bps, peak_1ms_bps, payload_mean_bps, interval_ns, rtp, avtp, clock_rate_hz, media_rate_ppm, media_rate_sigma_ppm, media_rate_against, media_offset_ns, dscp, pcp, ttl, session, receivers, receivers_gone, clocked, twins }
    IntervalDocument { every, median, p5, p95, max, count }
    RtpDocument { lost, duplicated, reordered, not_captured, restarts, unclear_jumps, loss_bursts, jitter_ns }
    SessionDocument { name, reference_clock, reference_domain, agrees, contradictions }
    TwinDocument { key, delay_ns }
    LoadDocument { device, source_ip, streams, mean_bps, peak_1s_bps, share_of_link }
    LinkDocument { speed_bps, speed_known_by, mean_bps, peak_1s_bps, peak_100ms_bps, peak_10ms_bps, peak_1ms_bps, load_mean, load_peak_1s, flows_left_out, fragments_left_out, holes }
    HoleDocument { at_s, length_s }
    ViewpointDocument { kind, strength, shown_by, cannot_see, switch_ports }
    SwitchPortDocument { mac, system, port, port_description }
    Series { from_s, until_s, domains, load, losses, loss_bursts, lost, holes }
    DomainSeries { domain, port, rivals, others, others_left_out, offset, is_one_way, path_delay, steps, sync_intervals }
    HoleMark { from_s, until_s }
    RivalSpan { clock, leader, from_s, until_s }
    PortSeries { port, offset, is_one_way, path_delay }
    PeakMark { at_s, bps }
    SampleSeries { taken, base_ns, p5_ns, p95_ns, samples }
    Sample { at_s, value_ns, is_drawn }
    IntervalClass { from_ns, to_ns, times }
    StepMark { at_s, size_ns, whose }
    LoadSeries { first_s, width_s, speed_bps, link_bps, peak_1s, sources }
    SourceSeries { source, device, bps }
    LossMark { at_s, until_s, stream, bursts, missing }
}
