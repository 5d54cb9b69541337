//! What people call a device, put before the addresses and identities that findings speak of.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::super::document::DeviceDocument;
use super::super::document::Document;
use super::super::format::plain;
use super::super::format::plain_short;

/// Names of devices by their keys and clocks, all escaped.
pub(in crate::report) struct Labels<'a>(BTreeMap<&'a str, String>);

impl<'a> Labels<'a> {
    pub(in crate::report) fn of(document: &'a Document) -> Self {
        let named = document.devices.iter().filter_map(|device| Some((device, label(device)?)));
        Self(
            named
                .flat_map(|(device, label)| {
                    let ids = device.clocks.iter().chain([&device.key]).map(String::as_str);
                    ids.map(move |id| (id, label.clone()))
                })
                .collect(),
        )
    }

    /// The text, escaped, with each device's name or address before the first of its identities, which follows in
    /// brackets.
    pub(in crate::report) fn put_into(&self, text: &str) -> String {
        let text = plain(text);
        let mut told = BTreeSet::new();
        let words = text.split(' ').map(|word| {
            let id = word.trim_matches(|c: char| matches!(c, ',' | ';' | ':' | '(' | ')' | '.'));
            // A port is its clock and a number.
            let owner = id.split_once('/').map_or(id, |(clock, _)| clock);
            let bare = word.starts_with(id);
            match self.0.get(owner).filter(|label| bare && !text.contains(label.as_str())) {
                Some(label) if told.insert(owner.to_owned()) => {
                    word.replacen(id, &format!("{label} ({id})"), 1)
                }
                _ => word.to_owned(),
            }
        });
        words.collect::<Vec<_>>().join(" ")
    }
}

/// Its name, else the IPv4 address by which the table of devices lists it.
fn label(device: &DeviceDocument) -> Option<String> {
    let ipv4 = || device.ips.iter().find(|ip| !ip.contains(':')).cloned();
    device.name.as_deref().map(plain_short).or_else(ipv4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_stands_before_the_identity_and_once() {
        let labels = Labels(BTreeMap::from([
            ("02:00:5e:10:00:21", "balcony".to_owned()),
            ("02-00-5e-ff-fe-10-00-01", "10.77.0.1".to_owned()),
        ]));
        for (text, put) in [
            (
                "domain 0: 02:00:5e:10:00:21 asks 02-00-5e-ff-fe-10-00-01/1: 02:00:5e:10:00:21",
                "domain 0: balcony (02:00:5e:10:00:21) asks 10.77.0.1 (02-00-5e-ff-fe-10-00-01/1): 02:00:5e:10:00:21",
            ),
            ("nobody leads", "nobody leads"),
            ("balcony (02:00:5e:10:00:21) is off", "balcony (02:00:5e:10:00:21) is off"),
            ("of 02:00:5e:10:00:21,", "of balcony (02:00:5e:10:00:21),"),
        ] {
            assert_eq!(labels.put_into(text), put);
        }
    }
}
