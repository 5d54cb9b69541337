//! What the tests share: makers of octets, written from the layout tables and not from the decoders.

pub(crate) mod craft_frames;
pub(crate) mod reference;

pub(crate) mod capture_writer;
pub(crate) mod craft;
pub(crate) mod group_wire;
pub(crate) mod judged;
pub(crate) mod kept;
pub(crate) mod ring;

pub(crate) mod ideal_network;
pub(crate) mod management_json;
pub(crate) mod media;
pub(crate) mod membership;
pub(crate) mod ptp_v2_json;
pub(crate) mod script;
pub(crate) mod stage;
pub(crate) mod survival;
pub(crate) mod vectors;
pub(crate) mod wire;
