//! Reads the check values and takes their frames apart by the vector's own word on the transport.

use std::fs;
use std::path::Path;

use serde_json::Value;

/// One vector: its name, the PTP octets with whatever follows them in the frame, and the fields to compare.
pub(crate) struct Vector {
    pub(crate) id: String,
    pub(crate) octets: Vec<u8>,
    pub(crate) decoded: Value,
}

/// Every vector of `tests/data/check-values/<file>`.
pub(crate) fn read(file: &str) -> Vec<Vector> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/check-values").join(file);
    let text = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let document: Value = serde_json::from_str(&text).unwrap();
    document["vectors"].as_array().unwrap().iter().map(vector).collect()
}

fn vector(value: &Value) -> Vector {
    let octets = match value.get("ptp_hex") {
        Some(ptp) => from_hex(ptp.as_str().unwrap()),
        None => payload(value),
    };
    Vector { id: value["id"].as_str().unwrap().to_owned(), octets, decoded: value["decoded"].clone() }
}

/// What follows the Ethertype, or the UDP header for as long as the UDP length says.
fn payload(vector: &Value) -> Vec<u8> {
    let frame = from_hex(vector["frame_hex"].as_str().unwrap());
    match vector["network"]["transport"].as_str().unwrap() {
        "IEEE 802.3" => frame[14..].to_vec(),
        "UDP/IPv4" => {
            let ip = &frame[14..];
            let udp = &ip[usize::from(ip[0] & 0x0F) * 4..];
            let udp_length = usize::from(u16::from_be_bytes([udp[4], udp[5]]));
            udp[8..udp_length].to_vec()
        }
        other => panic!("transport {other} is not known here"),
    }
}

/// Octets of a hex string without separators.
pub(crate) fn from_hex(hex: &str) -> Vec<u8> {
    assert_eq!(hex.len() % 2, 0, "{hex}");
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

/// A hex string without separators.
pub(crate) fn to_hex(octets: &[u8]) -> String {
    octets.iter().map(|octet| format!("{octet:02x}")).collect()
}
