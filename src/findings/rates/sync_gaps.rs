//! `sync-gaps`

use std::cell::LazyCell;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Silence;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::transmit_cycle;
use crate::findings::words::duration;

/// Syncs before gaps are judged (reference: 100 intervals).
const SYNCS: u64 = 100;

/// Gaps from which it happens again and again (chosen).
const AGAIN_AND_AGAIN: usize = 3;

/// A sender whose every tenth interval is a gap keeps another pace than it declares, which is told instead (chosen).
const PACE: u64 = 10;

/// Messages of other series that are needed to tell loss of Syncs from loss of everything (chosen).
const OTHERS: u64 = 20;

/// Loss among other series, per mille, up to which the capture is taken to be whole (chosen).
const WHOLE_PER_MILLE: u64 = 2;

/// Gaps shown (chosen).
const SHOWN: usize = 8;

/// Sync pauses for longer than followers wait, while Announce goes on.
pub(super) struct SyncGaps;

impl Rule for SyncGaps {
    fn id(&self) -> &'static str {
        "sync-gaps"
    }

    fn summary(&self) -> &'static str {
        "Sync pauses or is lost for more than three intervals, while the leader's Announces go on"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "where numbers are skipped: look for loss between the leader and this place (queues, a bad link, its counters)",
            "where they are not: the leader paused; look at its load and log",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "syncReceiptTimeout 3: IEEE 802.1AS (from memory); half an interval more for jitter (chosen)",
            "100 Syncs; 3 gaps are major (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter() {
            let all = LazyCell::new(|| all_series(domain));
            for port in domain.leading_ports() {
                match gaps(analysis, port, || others(*all, port)) {
                    Gaps::None => {}
                    Gaps::CannotTell(why) => cannot_tell = Some(format!("{}: {why}", domain.key)),
                    Gaps::Some(gaps) => findings.push(self.finding(analysis, domain, port, &gaps)),
                }
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

enum Gaps {
    None,
    Some(Vec<Silence>),
    CannotTell(&'static str),
}

fn gaps(analysis: &Analysis, port: &ClockPort, others: impl Fn() -> (u64, u64)) -> Gaps {
    let all = port.silences(Kind::Sync);
    let syncs = port.count(Kind::Sync);
    let count = port.silences.get(&Kind::Sync).map_or(0, |silences| silences.count());
    let is_told = port.twins.two().is_some() || transmit_cycle::of(port).is_some();
    if all.is_empty() || syncs < SYNCS || count.saturating_mul(PACE) > syncs || is_told {
        return Gaps::None;
    }
    // A leader that is silent altogether is lost, which is told by `leader-not-heard` or as a change of leader.
    // What falls into a hole of the capture was not there to be captured.
    let beside: Vec<Silence> = port.sync_pauses().filter(|gap| !analysis.is_in_hole(gap)).copied().collect();
    let paused: Vec<Silence> = beside.iter().filter(|gap| gap.skipped == Some(0)).copied().collect();
    let is_loss = |gap: &Silence| gap.skipped.is_some_and(|skipped| skipped > 0);
    if !beside.iter().any(is_loss) {
        return if paused.is_empty() { Gaps::None } else { Gaps::Some(paused) };
    }
    let (seen, missed) = others();
    let drops = analysis.captures.iter().filter_map(|capture| capture.summary.drops_reported).sum::<u64>();
    let whole = missed.saturating_mul(1000) <= seen.saturating_mul(WHOLE_PER_MILLE);
    match () {
        () if drops == 0 && whole && seen >= OTHERS => {
            Gaps::Some(beside.into_iter().filter(|gap| gap.skipped.is_some()).collect())
        }
        () if !paused.is_empty() => Gaps::Some(paused),
        () if seen < OTHERS => {
            Gaps::CannotTell("Syncs are missing, and no other series shows whether the capture lost them")
        }
        () => {
            Gaps::CannotTell("Syncs are missing, and so are other messages: the capture may have lost them")
        }
    }
}

/// Messages of all series that have numbers, and how many of those are missing.
fn all_series(domain: &Domain) -> (u64, u64) {
    let counts = |kind: &Kind| matches!(kind, Kind::Announce | Kind::Sync | Kind::DelayReq | Kind::PdelayReq);
    let series = domain.ports.values().flat_map(|port| port.series.iter()).filter(|(kind, _)| counts(kind));
    series.fold((0, 0), |(seen, missed), (_, series)| (seen + series.count(), missed + series.missed()))
}

/// The same of all but the Syncs of `port`.
fn others((seen, missed): (u64, u64), port: &ClockPort) -> (u64, u64) {
    let own = port.series(Kind::Sync);
    let own = own.map_or((0, 0), |syncs| (syncs.count(), syncs.missed()));
    (seen.saturating_sub(own.0), missed.saturating_sub(own.1))
}

impl SyncGaps {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, gaps: &[Silence]) -> Finding {
        let longest = gaps.iter().map(|gap| gap.length).max().unwrap_or_default();
        let severity = if gaps.len() >= AGAIN_AND_AGAIN { Severity::Major } else { Severity::Minor };
        let strength =
            if gaps.iter().all(|gap| gap.skipped == Some(0)) { Strength::Shown } else { Strength::Inferred };
        let times = if gaps.len() == 1 { "once".to_owned() } else { format!("{} times", gaps.len()) };
        let title = format!(
            "{}: Sync of {} stays away {times}, for up to {}",
            domain.key,
            port.port,
            duration(longest)
        );
        let evidence = gaps.iter().take(SHOWN).map(|gap| {
            let why = match gap.skipped {
                Some(0) => "no number is skipped: the sender paused".to_owned(),
                Some(skipped) => format!(
                    "{skipped} numbers are skipped: they were lost on the way here, or by the capture"
                ),
                None => "its numbers began anew".to_owned(),
            };
            let from = gap.before.time.map(|time| at(analysis, time)).unwrap_or_default();
            Evidence::at(Some(gap.after), format!("no Sync for {} from {from}; {why}", duration(gap.length)))
        });
        let finding = Finding::of(self, (severity, strength), title, evidence.collect());
        finding.in_domain(domain.key).about_clock(analysis, port.port.clock)
    }
}
