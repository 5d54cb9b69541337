//! Who takes part in a domain that is not the site's, and is alone there.

use super::device::Device;
use super::device::State;
use super::device::Withheld;
use super::state::Judged;
use super::state::Scene;
use super::state::judged;
use super::state::leads;
use super::state::messages;
use super::state::requests;
use crate::domains::Candidate;
use crate::domains::DataSet;
use crate::domains::Domain;
use crate::strength::Strength;
use crate::viewpoint::Visibility;

/// Messages in a domain from which a device is said to be astray in it (reference: never on a single one).
const ASTRAY_FROM: u64 = 2;

/// `clockClass` from which a clock that leads alone may do so for want of a leader; below are references, and those
/// that were one a short while ago (1588-2008 table 5, from memory).
const MAKESHIFT: u8 = 187;

/// A reference is not set up by accident, and those it serves may be anywhere.
const LEADS_ON_PURPOSE: Visibility = Visibility {
    strength: Strength::CannotTell,
    why: "its leader offers itself as a reference, so the domain may be one on purpose",
};

/// Of a device that neither leads nor asks nothing is known that others would have to answer.
const NOTHING_ASKED: Visibility = Visibility {
    strength: Strength::CannotTell,
    why: "it asks for nothing there that a leader would answer",
};

/// That a device is astray, where the capture bears it out; what it does not goes to `withheld`.
pub(super) fn astray(
    device: &Device,
    own: &[&Domain],
    scene: &Scene<'_>,
    withheld: &mut Vec<Withheld>,
) -> Option<Judged> {
    let site = scene.site;
    let domain = elsewhere(device, own, scene)?;
    let home = site.name();
    if !site.assumed {
        let reason = format!("takes part in {}, the site's is {home}", domain.key);
        return Some(judged(State::Astray, Strength::Shown, domain, reason));
    }
    if !is_lonely(domain, scene) {
        return None;
    }
    let view = company(device, domain, scene);
    if !view.is_in_view() {
        withheld.push(Withheld { state: State::Astray, domain: domain.key, why: view.why });
        return None;
    }
    let what = if leads(device, domain) {
        format!("leads {} alone: nobody there is seen to follow it", domain.key)
    } else {
        format!("takes part in {}, where no leader answers", domain.key)
    };
    let mut judged = judged(State::Astray, Strength::Inferred, domain, what);
    judged.reasons.push(format!("{home} has the most followers and is assumed to be the site's"));
    Some(judged)
}

/// The domain that a device is in where none of its domains hangs on the site's.
fn elsewhere<'a>(device: &Device, own: &[&'a Domain], scene: &Scene<'_>) -> Option<&'a Domain> {
    if own.iter().any(|domain| scene.joined.contains(&domain.key)) {
        return None;
    }
    let domain = own.iter().max_by_key(|domain| messages(device, domain))?;
    (messages(device, domain) >= ASTRAY_FROM).then_some(domain)
}

/// Whether the site's domain is led and nobody is seen to be answered in this one.
fn is_lonely(domain: &Domain, scene: &Scene<'_>) -> bool {
    let mut site = scene.site.keys.iter().filter_map(|key| scene.domains.get(key));
    site.any(|site| site.election.leader().is_some()) && !scene.established.contains(&domain.key)
}

/// Whether those that would keep the device company in a domain would be in view.
fn company(device: &Device, domain: &Domain, scene: &Scene<'_>) -> Visibility {
    if domain.election.leader().is_none() {
        let asked = requests(device, domain);
        let views =
            asked.iter().map(|(port, _, requester)| scene.scope.can_see_leader(domain, *port, requester));
        return views.min_by_key(|view| view.strength).unwrap_or(NOTHING_ASKED);
    }
    let offer = domain.leading_ports().find_map(|port| port.offer);
    let is_reference =
        |offer: Candidate| matches!(offer.data, DataSet::V2(data) if data.clock_class < MAKESHIFT);
    if offer.is_some_and(is_reference) {
        return LEADS_ON_PURPOSE;
    }
    scene.scope.can_see_followers(scene.domains, domain)
}
