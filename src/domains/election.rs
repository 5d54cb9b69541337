//! The election as a capture shows it: who announces, who leads, from when to when, and who leads beside a
//! better clock.
//!
//! Invariant: at most one tenure is open, and its clock was the best of the qualified announcers heard within
//! their own receipt timeout. Timers run by how long the network was watched, so that no stray stamp and no setting
//! of the capture's clock ends a lead; no tenure ends before it begins. Memory: at most
//! [`ANNOUNCER_LIMIT`] [`Announcer`]s, [`RIVALRIES_TOLD`] rivalries and one [`Tenure`] a change of leader, of which
//! [`super::Domains`] has the older ones forgotten.

use std::collections::BTreeMap;

use super::announcer::Announcer;
use super::announcer::Moment;
use super::announcer::Offer;
use super::candidate::Candidate;
use super::comparison::DecidedBy;
use super::comparison::compare;
use super::folding::RIVALRIES_TOLD;
use super::key::ClockId;
use super::key::PortId;
use super::tenure::EndedBy;
use super::tenure::Rivalry;
use super::tenure::Tenure;
use super::views::Views;
use crate::observations::Place;
use crate::observations::Watched;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Ports that are followed in one domain; every offer is weighed against all of them (chosen: far beyond what a
/// segment has, few enough that a flood of invented ports does not stop the reading).
const ANNOUNCER_LIMIT: usize = 128;

/// One domain's election.
#[derive(Debug, Clone, Default)]
pub struct Election {
    announcers: BTreeMap<PortId, Announcer>,
    closed: Vec<Tenure>,
    open: Option<Tenure>,
    rivalries: Vec<Rivalry>,
    /// When the last leader's receivers gave it up.
    vacant_since: Option<CaptureTime>,
    /// How long the network was watched in all, once the reading has ended.
    watched: Watched,
    /// Offers of ports beyond those that are followed.
    offers_left_out: u64,
    /// Rivalries that found no room.
    untold: u64,
}

impl Election {
    /// Takes in an offer (v2 Announce, v1 Sync).
    pub(crate) fn hear(&mut self, now: Moment, offer: Offer) {
        self.expire(&now.watched);
        let sender = offer.candidate.sender;
        if let Some(announcer) = self.announcers.get_mut(&sender) {
            announcer.hear(now, offer);
        } else if self.has_room(&now.watched) {
            self.announcers.insert(sender, Announcer::new(now, offer));
        } else {
            self.offers_left_out += 1;
            return;
        }
        self.evaluate(now);
        self.note_better_leader(&now.watched);
        self.watch_rival(now, sender);
    }

    /// Takes in a Sync, which tells whether a clock that announces also gives time.
    pub(crate) fn hear_sync(&mut self, watched: Watched, sender: PortId) {
        if let Some(announcer) = self.announcers.get_mut(&sender) {
            announcer.hear_sync(watched);
        }
    }

    /// Ends the reading at the capture's last instant.
    pub(crate) fn finish(&mut self, end: Moment, views: &Views) {
        for announcer in self.announcers.values_mut() {
            announcer.end_view(views);
        }
        self.expire(&end.watched);
        self.join_tenures();
        if let Some(mut tenure) = self.open.take() {
            tenure.close(end.time, end.place, EndedBy::CaptureEnd);
            self.closed.push(tenure);
        }
        self.watched = end.watched;
    }

    /// Notes of each lead whether its Syncs went on when its Announces had stopped.
    pub(super) fn note_syncs(&mut self, went_on: impl Fn(&Tenure) -> bool) {
        for tenure in &mut self.closed {
            tenure.sync_went_on = went_on(tenure);
        }
    }

    /// Makes room for one more port, at the cost of the one that has been lost for longest.
    fn has_room(&mut self, now: &Watched) -> bool {
        if self.announcers.len() < ANNOUNCER_LIMIT {
            return true;
        }
        let lost =
            self.announcers.iter().filter(|(_, a)| !a.is_alive(now)).max_by_key(|(_, a)| a.lost_for(now));
        let Some(port) = lost.map(|(port, _)| *port) else { return false };
        self.announcers.remove(&port).is_some()
    }

    /// A new tenure, which begins no earlier than the last one ended, however the capture's clock was set meanwhile.
    fn tenure(
        &self,
        candidate: Candidate,
        from: CaptureTime,
        place: Place,
        won: (DecidedBy, Option<ClockId>),
    ) -> Tenure {
        let free_from = self.closed.last().and_then(|before| before.until);
        Tenure::new(candidate, free_from.map_or(from, |free_from| free_from.max(from)), place, won)
    }

    /// When a clock that leads after a vacancy began to: at the first offer of its run, or, where it was offering
    /// beside the lost leader already, when that one was given up.
    fn start_of(&self, announcer: &Announcer) -> CaptureTime {
        match self.closed.last().and_then(|before| before.until) {
            Some(until) if announcer.run_first <= until => {
                self.vacant_since.map_or(until, |vacant| vacant.max(until))
            }
            _ => announcer.run_first,
        }
    }

    /// Offers of ports beyond those that are followed.
    pub(super) const fn offers_left_out(&self) -> u64 {
        self.offers_left_out
    }

    /// Offers beside the leader that found no room among the rivalries.
    pub(super) const fn untold(&self) -> u64 {
        self.untold
    }

    /// Leads that have ended.
    pub(super) const fn ended(&self) -> usize {
        self.closed.len()
    }

    /// Forgets the older half of the leads that have ended; how many that are.
    pub(super) fn forget_older_half(&mut self) -> usize {
        let half = self.closed.len().div_ceil(2);
        self.closed.drain(..half).count()
    }

    /// Tenures in time order; the last is open until the reading ends.
    pub fn tenures(&self) -> impl Iterator<Item = &Tenure> {
        self.closed.iter().chain(self.open.as_ref())
    }

    /// Tenures that follow one another, in time order.
    pub fn hand_overs(&self) -> impl Iterator<Item = (&Tenure, &Tenure)> {
        self.tenures().zip(self.tenures().skip(1))
    }

    /// Whether an announcer still counted when the reading ended.
    #[must_use]
    pub fn alive_at_end(&self, announcer: &Announcer) -> bool {
        announcer.is_alive(&self.watched)
    }

    /// For how long the network was watched at the end without an offer of this clock.
    #[must_use]
    pub fn silence_of(&self, clock: ClockId) -> Nanos {
        let carriers = self.announcers.values().filter(|a| a.candidate.grandmaster == clock);
        let silences = carriers.map(|a| a.silent_for(&self.watched));
        silences.min().unwrap_or(Nanos::ZERO)
    }

    /// The tenure that holds at the end of what was read.
    #[must_use]
    pub fn current(&self) -> Option<&Tenure> {
        self.open.as_ref().or_else(|| self.closed.last().filter(|last| last.ended_by == EndedBy::CaptureEnd))
    }

    /// The elected grandmaster at the end of what was read.
    #[must_use]
    pub fn leader(&self) -> Option<ClockId> {
        self.current().map(|tenure| tenure.clock)
    }

    /// Who leads at `now`: has been heard within its receipt timeout.
    pub(super) fn leads_at(&self, now: &Watched) -> Option<ClockId> {
        let clock = self.open.as_ref()?.clock;
        let mut carriers = self.announcers.values().filter(|a| a.candidate.grandmaster == clock);
        carriers.any(|carrier| carrier.is_alive(now)).then_some(clock)
    }

    /// Ports that have offered a grandmaster.
    #[must_use]
    pub const fn announcers(&self) -> &BTreeMap<PortId, Announcer> {
        &self.announcers
    }

    /// Clocks that went on leading beside a better one, beyond a hand-over.
    #[must_use]
    pub fn rivalries(&self) -> &[Rivalry] {
        &self.rivalries
    }

    /// Ports that announce a worse clock beside the leader when the reading ends, for too short a time to tell whether they
    /// will yield.
    pub fn beside_at_end(&self) -> impl Iterator<Item = &Announcer> {
        let leader = self.leader();
        let carriers =
            move || self.announcers.values().filter(move |a| Some(a.candidate.grandmaster) == leader);
        self.announcers.values().filter(move |announcer| {
            leader.is_some()
                && announcer.beside_since.is_some()
                && announcer.rivalry.is_none()
                && announcer.run_count > 1
                && announcer.yielded()
                && self.alive_at_end(announcer)
                && carriers().any(|carrier| self.alive_at_end(carrier) && carrier.is_captured_with(announcer))
        })
    }

    /// Better clocks than the leader of which no more than one offer was heard, in the last moments: whether they take the
    /// lead is not to be seen.
    pub fn newcomers_at_end(&self) -> impl Iterator<Item = &Announcer> {
        let leader = self.current();
        self.announcers.values().filter(move |announcer| {
            leader.is_some_and(|leader| {
                announcer.candidate.grandmaster != leader.clock
                    && announcer.run_count == 1
                    && !announcer.present_from_start
                    && announcer.can_qualify()
                    && self.alive_at_end(announcer)
                    && !announcer.may_lead_beside(&leader.latest)
                    && compare(&announcer.candidate, &leader.latest, None).verdict.order().is_lt()
            })
        })
    }

    /// The best offer among `ports`, with its runner-up's deciding field.
    #[must_use]
    pub fn best_of<'a>(offers: impl Iterator<Item = &'a Candidate>) -> Option<&'a Candidate> {
        offers.min_by(|a, b| compare(a, b, None).verdict.order())
    }

    /// Closes the tenure of a leader that was not heard for longer than its receipt timeout, and opens that
    /// of the best clock that went on announcing meanwhile.
    fn expire(&mut self, now: &Watched) {
        while let Some(mut tenure) = self.open.take() {
            let carriers = || self.announcers.values().filter(|a| a.candidate.grandmaster == tenure.clock);
            let Some(last) = carriers().min_by_key(|a| a.lost_for(now)).filter(|a| !a.is_alive(now)) else {
                self.open = Some(tenure);
                return;
            };
            let (lost_for, reason) = (last.lost_for(now), last.silence_reason());
            // A clock may lead from another's worsening on and never be heard again.
            let heard_in_it = last.last >= tenure.from;
            let (until, place) =
                if heard_in_it { (last.last, last.last_place) } else { (tenure.from, tenure.from_place) };
            self.vacant_since = Some(last.timeout_at());
            tenure.close(until, place, reason);
            self.closed.push(tenure);
            let survivors = || {
                let left =
                    self.announcers.values().filter(|a| a.lost_for(now) < lost_for && a.is_qualified());
                left.filter(|a| a.last >= self.start_of(a))
            };
            if let Some(best) = Self::best_announcer(survivors()) {
                let against = survivors().filter(|a| a.candidate.grandmaster != best.candidate.grandmaster);
                let won = won_on(&best.candidate, against.map(|a| &a.candidate));
                self.open = Some(self.tenure(best.candidate, self.start_of(best), best.run_first_place, won));
            }
        }
    }

    /// Joins what looked like one clock's losses of the lead and was its own pace: nobody led between, and it was
    /// away for no longer than is waited for a clock of the pace that it was found to keep in the end.
    fn join_tenures(&mut self) {
        let patience = |clock: ClockId| {
            let carriers = self.announcers.values().filter(|a| a.candidate.grandmaster == clock);
            carriers.map(Announcer::timeout).max().unwrap_or(Nanos::ZERO)
        };
        let mut joined: Vec<Tenure> = Vec::new();
        for next in self.closed.drain(..).chain(self.open.take()) {
            match joined.last_mut() {
                Some(before) if before.is_resumed_by(&next, patience(next.clock)) => before.go_on_as(&next),
                _ => joined.push(next),
            }
        }
        self.open = joined.pop_if(|last| last.until.is_none());
        self.closed = joined;
    }

    fn best_announcer<'a>(announcers: impl Iterator<Item = &'a Announcer>) -> Option<&'a Announcer> {
        announcers.min_by(|a, b| compare(&a.candidate, &b.candidate, None).verdict.order())
    }

    fn evaluate(&mut self, now: Moment) {
        let Moment { time, place, watched, .. } = now;
        let alive = || self.announcers.values().filter(|a| a.is_alive(&watched));
        let Some(mut tenure) = self.open.take() else {
            if let Some(best) = Self::best_announcer(alive().filter(|a| a.is_qualified())) {
                let from = self.start_of(best);
                let against = alive().filter(|a| a.candidate.grandmaster != best.candidate.grandmaster);
                let won = won_on(&best.candidate, against.map(|a| &a.candidate));
                let mut tenure = self.tenure(best.candidate, from, best.run_first_place, won);
                tenure.counted_on = best.counted_on();
                self.open = Some(tenure);
            }
            return;
        };
        let carrier = Self::best_announcer(alive().filter(|a| a.candidate.grandmaster == tenure.clock));
        let Some(carrier) = carrier else {
            // Its announcers are alive and now offer another grandmaster.
            let best = Self::best_announcer(alive().filter(|a| a.is_qualified()));
            self.vacant_since = Some(time);
            let Some(best) = best else {
                tenure.close(time, place, EndedBy::AnnounceTimeout);
                self.closed.push(tenure);
                return;
            };
            let better = compare(&best.candidate, &tenure.candidate, None);
            let reason =
                if better.verdict.order().is_lt() { EndedBy::BetterClock } else { EndedBy::AnnounceTimeout };
            let won = (better.decided_by, Some(tenure.candidate.grandmaster));
            tenure.close(time, place, reason);
            let next = Tenure::new(best.candidate, tenure.until.unwrap_or(time), place, won);
            self.closed.push(tenure);
            self.open = Some(next);
            return;
        };
        let leading = carrier.candidate;
        let best = Self::best_announcer(alive().filter(|a| a.is_qualified()));
        match best.filter(|best| best.candidate.grandmaster != tenure.clock) {
            Some(best) if compare(&best.candidate, &leading, None).verdict.order().is_lt() => {
                let decided = compare(&best.candidate, &leading, None).decided_by;
                let won = (decided, Some(tenure.clock));
                if best.present_from_start && best.run_count == 1 && self.closed.is_empty() {
                    // Both were announcing when the capture began; the worse one was only heard first.
                    self.open = Some(self.tenure(best.candidate, best.run_first, best.run_first_place, won));
                    return;
                }
                let was_better = compare(&tenure.candidate, &best.candidate, None).verdict.order().is_lt();
                let reason = if carrier.sync_stopped() {
                    EndedBy::SyncStopped
                } else if was_better {
                    EndedBy::QualityChange
                } else {
                    EndedBy::BetterClock
                };
                tenure.close(time, place, reason);
                let next = Tenure::new(best.candidate, tenure.until.unwrap_or(time), place, won);
                self.closed.push(tenure);
                self.open = Some(next);
            }
            _ => {
                tenure.latest = leading;
                // Whoever appears when the leader is silent already is not beaten by it.
                let leads_on = carrier.heard_at() == watched;
                if tenure.won_on == DecidedBy::OnlyCandidate && leads_on {
                    // A better clock that is about to take over is nobody the leader has won against.
                    let beaten = alive().filter(|a| {
                        a.candidate.grandmaster != tenure.clock
                            && compare(&leading, &a.candidate, None).verdict.order().is_lt()
                    });
                    (tenure.won_on, tenure.won_against) = won_on(&leading, beaten.map(|a| &a.candidate));
                }
                self.open = Some(tenure);
            }
        }
    }

    /// Tells every port that still counts whether a better clock leads: if it is silent from here on, it yielded.
    fn note_better_leader(&mut self, watched: &Watched) {
        let Some(tenure) = &self.open else { return };
        for announcer in self.announcers.values_mut().filter(|announcer| announcer.is_alive(watched)) {
            let leads = announcer.candidate.grandmaster == tenure.clock;
            announcer.better_leads |=
                !leads && compare(&tenure.latest, &announcer.candidate, None).verdict.order().is_lt();
        }
    }

    fn watch_rival(&mut self, now: Moment, sender: PortId) {
        let Some(tenure) = &self.open else { return };
        let Some(announcer) = self.announcers.get_mut(&sender) else { return };
        let compared = compare(&tenure.latest, &announcer.candidate, None);
        let leads_too = announcer.candidate.grandmaster == tenure.clock;
        let allowed = announcer.may_lead_beside(&tenure.latest);
        if leads_too || allowed || compared.verdict.order().is_ge() || !announcer.can_qualify() {
            announcer.beside_since = None;
            announcer.rivalry = None;
            return;
        }
        let since = *announcer.beside_since.get_or_insert(now);
        if now.watched.since(&since.watched, announcer.interval()) < announcer.hand_over() {
            return;
        }
        let apart = {
            let rival = self.announcers.get(&sender);
            let carriers = self.announcers.values().filter(|a| a.candidate.grandmaster == tenure.clock);
            !rival.is_some_and(|rival| carriers.into_iter().any(|carrier| carrier.is_captured_with(rival)))
        };
        let Some(announcer) = self.announcers.get_mut(&sender) else { return };
        let known = announcer.rivalry.and_then(|index| self.rivalries.get_mut(index));
        if let Some(rivalry) = known {
            rivalry.until = now.time.max(rivalry.since);
            rivalry.until_place = now.place;
            rivalry.count += 1;
            rivalry.apart &= apart;
        } else {
            if self.rivalries.len() >= RIVALRIES_TOLD {
                self.untold += 1;
                return;
            }
            announcer.rivalry = Some(self.rivalries.len());
            self.rivalries.push(Rivalry {
                port: sender,
                clock: announcer.candidate.grandmaster,
                leader: tenure.clock,
                decided_by: compared.decided_by,
                since: since.time,
                since_place: since.place,
                until: now.time.max(since.time),
                until_place: now.place,
                count: 1,
                apart,
            });
        }
    }
}

/// The field on which `winner` beats the best of `others`, and that one's grandmaster.
fn won_on<'a>(
    winner: &Candidate,
    others: impl Iterator<Item = &'a Candidate>,
) -> (DecidedBy, Option<ClockId>) {
    match Election::best_of(others) {
        Some(second) => (compare(winner, second, None).decided_by, Some(second.grandmaster)),
        None => (DecidedBy::OnlyCandidate, None),
    }
}
