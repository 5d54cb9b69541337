//! Those of them that the bodies need.

#[path = "../../tests/integration/support/craft/capture_file.rs"]
pub(crate) mod capture_file;
#[path = "../../tests/integration/support/craft/discovery.rs"]
pub(crate) mod discovery;
#[path = "../../tests/integration/support/craft/frame.rs"]
pub(crate) mod frame;
#[path = "../../tests/integration/support/craft/igmp.rs"]
pub(crate) mod igmp;
#[path = "../../tests/integration/support/craft/octets.rs"]
pub(crate) mod octets;
#[path = "../../tests/integration/support/craft/ptp_v1.rs"]
pub(crate) mod ptp_v1;
#[path = "../../tests/integration/support/craft/ptp_v2.rs"]
pub(crate) mod ptp_v2;
#[path = "../../tests/integration/support/craft/random.rs"]
pub(crate) mod random;
#[path = "../../tests/integration/support/craft/rtp.rs"]
pub(crate) mod rtp;
