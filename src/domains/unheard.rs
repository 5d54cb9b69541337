//! Spans in which a leader was not heard while others went on asking, and nobody else led.

use super::cadence::Cadence;
use super::domain::Domain;
use super::key::ClockId;
use super::key::PortId;
use super::port::ClockPort;
use super::port::Kind;
use super::silences::Silence;
use crate::observations::Place;
use crate::units::Nanos;

/// Requests of others in the span from which the network is known to have been watched meanwhile (chosen).
const ASKED: u64 = 2;

/// How many messages must be missing in a row, all of them lost by chance: with a share p lost, n in a row come once in
/// more than exp(n·(1 − p)), and that must be above exp(20) (chosen: once in 10⁸).
const BEYOND_CHANCE: i128 = 20;

/// The same where Announces alone are missing: exp(8), beyond twice the receipt timeout (chosen).
const ANNOUNCES_BEYOND_CHANCE: i128 = 8;

/// Silences of which a sender that keeps another pace than it declares has more: one in so many messages (chosen).
const PACE: u64 = 4;

/// A span without the leader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unheard {
    /// The port that was not heard.
    pub port: PortId,
    /// The clock it announces.
    pub clock: ClockId,
    /// Its last message before.
    pub before: Place,
    /// Its first after it.
    pub after: Place,
    /// How long the network was watched meanwhile.
    pub length: Nanos,
    /// Requests of others meanwhile.
    pub asked: u64,
    /// Whether those are enough to show that the network was watched.
    pub asked_on: bool,
    /// Numbers skipped; `None` where they began anew.
    pub skipped: Option<u16>,
    /// Whether Announces alone were missing, while Sync went on.
    pub syncs_went_on: bool,
    /// Whether the lead counts as ended then.
    pub ended_lead: bool,
}

impl Domain {
    /// Spans of the capture without a message of the leader, in order of ports and time; none until the reading has ended.
    #[must_use]
    pub fn unheard(&self) -> Vec<Unheard> {
        self.ports.values().flat_map(|port| self.unheard_of(port)).collect()
    }

    fn unheard_of(&self, port: &ClockPort) -> Vec<Unheard> {
        let Some(clock) = port.offer.map(|offer| offer.grandmaster) else { return Vec::new() };
        let offers = if self.key.is_v1() { Kind::Sync } else { Kind::Announce };
        if port.twins.two().is_some() || keeps_another_pace(port, offers) {
            return Vec::new();
        }
        let spans = port.silences(offers).iter();
        spans.filter_map(|span| self.unheard_in(port, clock, (offers, span))).collect()
    }

    fn unheard_in(
        &self,
        port: &ClockPort,
        clock: ClockId,
        (offers, span): (Kind, &Silence),
    ) -> Option<Unheard> {
        let led = self.election.tenures().find(|tenure| {
            let until = tenure.until_place;
            tenure.clock == clock
                && tenure.from_place <= span.before
                && until.is_none_or(|until| until >= span.before)
        })?;
        let another_led = self.election.tenures().any(|tenure| {
            let until = tenure.until_place;
            tenure.clock != clock
                && tenure.from_place < span.after
                && until.is_none_or(|until| until > span.before)
        });
        let carried_on = self.ports.values().filter(|other| other.port != port.port).any(|other| {
            let offers_it = other.offers(clock);
            let series = other.series(offers);
            let ends = series.and_then(|series| series.first().zip(series.last()));
            let spans_it = ends.is_some_and(|(first, last)| first < span.after && last > span.before);
            offers_it && spans_it && !other.silences(offers).iter().any(|silence| silence.overlaps(span))
        });
        // Each may ask once more at either end of the span.
        let askers = u64::try_from(self.requesters.len()).unwrap_or(u64::MAX);
        let least = ASKED.max(askers.saturating_mul(2).saturating_add(1));
        if another_led || carried_on {
            return None;
        }
        let found = Unheard {
            port: port.port,
            clock,
            before: span.before,
            after: span.after,
            length: span.length,
            asked: span.asked,
            asked_on: span.asked >= least,
            skipped: span.skipped,
            syncs_went_on: false,
            ended_lead: led.until_place == Some(span.before),
        };
        let offered = port.series(offers)?;
        if offers == Kind::Sync {
            return (weight(offered, span) >= BEYOND_CHANCE).then_some(found);
        }
        let syncs = port.series(Kind::Sync);
        // The Syncs of a leader that is away are missing for as long as its Announces, but for one at either end. By the
        // stamps: of pauses between others' messages no more than an interval of Sync counts as watched.
        let interval = offered.declared_interval().or_else(|| offered.pace())?;
        let away = stamped(span)?;
        let least = Nanos(away.0.saturating_sub(interval.0.saturating_mul(2)).max(away.0 / 2));
        let missing = port
            .silences(Kind::Sync)
            .iter()
            .filter(|sync| sync.overlaps(span) && stamped(sync) >= Some(least))
            .max_by_key(|sync| sync.length);
        match (syncs, missing) {
            (Some(syncs), Some(missing)) => {
                let all = weight(syncs, missing).saturating_add(weight(offered, span));
                (all >= BEYOND_CHANCE).then_some(found)
            }
            (Some(_), None) if !found.ended_lead => {
                let by_chance = weight(offered, span) < ANNOUNCES_BEYOND_CHANCE;
                (!by_chance).then_some(Unheard { syncs_went_on: true, ..found })
            }
            _ => None,
        }
    }
}

fn stamped(silence: &Silence) -> Option<Nanos> {
    Some(silence.after.time?.since(silence.before.time?))
}

fn keeps_another_pace(port: &ClockPort, kind: Kind) -> bool {
    let silences = port.silences.get(&kind).map_or(0, |silences| silences.count());
    silences.saturating_mul(PACE) > port.count(kind)
}

/// Messages due in a silence times the share of those that come otherwise.
fn weight(series: &Cadence, silence: &Silence) -> i128 {
    let interval = series.pace().unwrap_or_default().0.max(1);
    let due = i128::from(silence.length.0 / interval);
    let missed = series.missed().saturating_sub(silence.skipped.map_or(0, u64::from));
    let came = i128::from(series.count());
    (due * came).checked_div(came + i128::from(missed)).unwrap_or(0)
}
