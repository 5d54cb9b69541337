//! What every decoder must bear: each shorter length, each octet changed, and noise.

use super::craft::random::Random;

/// Hands `decode` every beginning of `octets`, and `octets` with each octet set to values that tend to break things.
pub(crate) fn bears_cuts_and_changes(octets: &[u8], decode: impl Fn(&[u8])) {
    for length in 0..octets.len() {
        decode(&octets[..length]);
    }
    let mut changed = octets.to_vec();
    for at in 0..octets.len() {
        for value in [0x00, 0x01, 0x7f, 0x80, 0xff] {
            changed[at] = value;
            decode(&changed);
            decode(&changed[..octets.len() - 1]);
        }
        changed[at] = octets[at];
    }
}

/// Hands `decode` noise of many lengths, behind each of `beginnings` so that it is not refused at once.
pub(crate) fn bears_noise(beginnings: &[&[u8]], decode: impl Fn(&[u8])) {
    let mut random = Random::seeded(20_260_719);
    for round in 0..400 {
        for beginning in beginnings {
            let mut octets = beginning.to_vec();
            for _ in 0..round {
                octets.extend_from_slice(&random.next().to_be_bytes()[..1 + round % 4]);
            }
            decode(&octets);
        }
    }
}
