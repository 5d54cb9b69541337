//! All integration tests in one binary; each module says what belongs in it.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::as_conversions
)]
#![allow(clippy::print_stdout)]
#![allow(missing_docs)]

mod absence;
mod allantools_agreement;
mod announcements;
mod anonymity;
mod avtp_streams;
mod bmca_vectors;
mod by_hand;
mod capture_clock;
mod capture_damage;
mod capture_files;
mod capture_joining;
mod captured_frames;
mod cli;
mod cli_help;
mod cli_site;
mod clock_captures;
mod clock_truth;
mod clock_truth_v1;
mod compare;
mod corruption;
mod cuts;
mod demo_captures;
mod descriptions;
mod device_names;
mod device_states;
mod device_table;
mod elections;
mod explain;
mod export;
mod fit;
mod frame_checks;
mod frames;
#[allow(unreachable_pub, reason = "the fuzzer calls them from outside")]
#[path = "../../fuzz/bodies/mod.rs"]
mod fuzz_bodies;
mod fuzz_corpus;
mod group_membership;
mod group_watch;
mod growth;
mod healthy_pieces;
mod hostile_names;
mod interruptions;
mod json_schema;
mod layering;
mod licences;
mod meanings;
mod media_lab;
mod neighbours;
mod no_network;
mod observations;
mod page;
mod payload_formats;
mod peer_delay;
mod plots;
mod profiles;
mod ptp_v1_management;
mod ptp_v1_vectors;
mod ptp_v2_management;
mod ptp_v2_vectors;
mod rates;
mod readme;
mod receivers;
mod request_pairing;
mod rtp_vectors;
mod rules;
mod scapy_agreement;
mod second_opinion;
mod series;
mod set_clock;
mod site_file;
mod site_round_trip;
mod snapshots;
mod stability_vectors;
mod stray_messages;
mod stream_losses;
mod streams;
mod support;
mod terminal_text;
mod threads;
mod timeline;
mod timing_vectors;
mod told_of_ports;
#[path = "../../benches/traffic.rs"]
mod traffic;
mod truth_demo;
mod truth_lab;
mod viewpoint;
