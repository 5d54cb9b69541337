//! Harbour Playhouse, a theatre that does not exist: its devices, and the evenings that are played there.
use std::net::Ipv4Addr;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::capture_file::Interface;
use crate::support::craft::discovery;
use crate::support::craft::discovery::Speaker;
use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft::random::Random;
use crate::support::craft::simulation::Cue;
use crate::support::craft::simulation::Domain;
use crate::support::craft::simulation::MILLISECOND;
use crate::support::craft::simulation::MediaKind;
use crate::support::craft::simulation::NodeSpec;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::PTP_GROUP;
use crate::support::craft::simulation::QuerierSpec;
use crate::support::craft::simulation::SECOND;
use crate::support::craft::simulation::Scenario;
use crate::support::craft::simulation::StreamSpec;
use crate::support::craft::simulation::V2Spec;
use crate::support::craft::simulation::World;
use crate::support::craft::truth::Scene;
use crate::support::craft::truth::Truth;
use crate::support::craft::truth::truth;

const STAGE_AUDIO: Ipv4Addr = Ipv4Addr::new(239, 20, 1, 1);
const FOYER_PICTURE: Ipv4Addr = Ipv4Addr::new(239, 20, 2, 1);
/// Flags of a clock with a reference: UTC offset valid, PTP timescale, time and frequency traceable.
const REFERENCED: u8 = 0x3c;

/// The two taps on the mirror port: everything but media whole, media cut behind the RTP header.
const TAPS: [Interface; 2] = [
    Interface { name: "mirror0", filter: "not udp port 5004", snap_octets: 262_144 },
    Interface { name: "mirror0", filter: "udp port 5004", snap_octets: 60 },
];
const COMMENT: &str = "Harbour Playhouse, an invented theatre: see captures/README.md";

// Places in the cast of every scene.
const HOUSE_CLOCK: usize = 0;
const STANDBY_CLOCK: usize = 1;
const STAGE_LEFT_CAMERA: usize = 2;
const STAGE_BOX: usize = 10;
const STAGE_ENCODER: usize = 5;
const DESK: usize = 14;
const CORE_SWITCH: usize = 15;
const BOUNDARY_CLOCK: usize = 16;

/// Name, last octet of MAC and IP, network segment when the house is cut in two.
const CAST: [(&str, u8, u8, u8); 16] = [
    ("house clock", 0x01, 11, 0),
    ("standby clock", 0x02, 12, 1),
    ("stage left camera", 0x21, 21, 0),
    ("stage right camera", 0x22, 22, 1),
    ("balcony camera", 0x23, 23, 0),
    ("stage encoder", 0x31, 31, 0),
    ("gallery encoder", 0x32, 32, 1),
    ("foyer decoder", 0x41, 41, 1),
    ("green room decoder", 0x42, 42, 0),
    ("mixing desk", 0x61, 61, 0),
    ("stage box", 0x62, 62, 0),
    ("monitor desk", 0x63, 63, 1),
    ("foyer display", 0x51, 51, 1),
    ("bar display", 0x52, 52, 1),
    ("show control desk", 0xf0, 240, 0),
    ("core switch", 0xfe, 1, 0),
];

/// A scene with its script.
pub(crate) struct Evening {
    pub(crate) scene: Scene,
    pub(crate) scenario: Scenario,
}

/// A file and what is true of it.
pub(crate) struct Made {
    pub(crate) octets: Vec<u8>,
    pub(crate) truth: Truth,
}

impl Evening {
    /// Plays the scene and writes the capture in the format that its name asks for, before any compression.
    pub(crate) fn make(self) -> Made {
        let world = World::play(self.scenario);
        let truth = truth(&world, &self.scene);
        let (frames, _) = world.captured();
        let octets = if self.scene.file.ends_with(".pcap") {
            capture_file::pcap(TAPS[0].snap_octets, &frames)
        } else {
            capture_file::pcapng(COMMENT, taps(&frames), &frames)
        };
        Made { octets, truth }
    }
}

/// The media tap is left out where nothing passes it.
fn taps(frames: &[CapturedFrame]) -> &'static [Interface] {
    if frames.iter().any(|frame| frame.interface == 1) { &TAPS } else { &TAPS[..1] }
}

fn mac(last: u8) -> Mac {
    [0x02, 0x00, 0x5e, 0x10, 0x00, last]
}

fn node(name: &'static str, last: u8, host: u8, segment: u8, random: &mut Random) -> NodeSpec {
    NodeSpec {
        name,
        mac: mac(last),
        ip: Ipv4Addr::new(10, 20, 0, host),
        segment,
        v2: None,
        v1_leads: false,
        v1_follows: false,
        groups: vec![PTP_GROUP],
        starts_at: -20 * SECOND,
        deaf_until: Ns::MIN,
        answers: false,
        offset_ns: random.between(-240, 240),
        rate_ppb: random.between(-20, 20),
        free_time: None,
        to_core_ns: random.between(1_800, 7_500),
        from_core_ns: random.between(1_800, 7_500),
    }
}

/// Class 6 and 7 clocks have a reference; others run on their own oscillator.
fn data_set(last: u8, clock_class: u8, priority2: u8) -> DataSet {
    let referenced = clock_class <= 7;
    DataSet {
        priority1: 128,
        clock_class,
        clock_accuracy: if referenced { 0x21 } else { 0xfe },
        variance: if referenced { 0x4e5d } else { 0xffff },
        priority2,
        grandmaster: PortIdentity::of_mac(mac(last)).clock,
        steps_removed: 0,
        utc_offset_s: 37,
        time_source: if referenced { 0x20 } else { 0xa0 },
        time_flags: if referenced { REFERENCED } else { 0 },
    }
}

/// An AES67-like port: Announce each second, eight Syncs a second, requests once a second on average.
fn media_port(data: DataSet, follower_only: bool, fills_origin: bool) -> V2Spec {
    V2Spec {
        domain: 0,
        log_announce: 0,
        log_sync: -3,
        log_delay: 0,
        data,
        follower_only,
        fills_origin,
        sends_metadata: false,
    }
}

/// The house on a good evening: house clock, standby clock, twelve followers, a desk and the core switch.
fn house(seed: u64, duration_s: i64) -> Scenario {
    let mut random = Random::seeded(seed ^ 0x9e37);
    let mut nodes: Vec<NodeSpec> = CAST
        .iter()
        .map(|&(name, last, host, segment)| node(name, last, host, segment, &mut random))
        .collect();
    for place in 0..DESK {
        let last = CAST[place].1;
        nodes[place].v2 = Some(match place {
            HOUSE_CLOCK => media_port(data_set(last, 6, 127), false, false),
            STANDBY_CLOCK => media_port(data_set(last, 6, 128), false, true),
            _ => media_port(data_set(last, 255, 255), true, place % 3 == 0),
        });
        nodes[place].answers = place % 2 == 0;
    }
    nodes[HOUSE_CLOCK].offset_ns = 14;
    nodes[HOUSE_CLOCK].rate_ppb = 0;
    nodes[STANDBY_CLOCK].offset_ns = -37;
    nodes[STANDBY_CLOCK].rate_ppb = 0;
    nodes[STANDBY_CLOCK].starts_at = -12 * SECOND;
    nodes[CORE_SWITCH].groups.clear();
    nodes[DESK].groups = vec![PTP_GROUP];
    for listener in [9, 11] {
        nodes[listener].groups.push(STAGE_AUDIO);
    }
    for viewer in [7, 8] {
        nodes[viewer].groups.push(FOYER_PICTURE);
    }
    Scenario {
        seed,
        duration: duration_s * SECOND,
        nodes,
        cues: Vec::new(),
        streams: Vec::new(),
        querier: Some(QuerierSpec {
            node: CORE_SWITCH,
            first_at: 17 * SECOND + 412 * MILLISECOND,
            interval: 125 * SECOND,
            until: Ns::MAX,
            version_3: false,
        }),
        polls: Vec::new(),
        utterances: Vec::new(),
        poller: Some(DESK),
        segments_blocked: false,
    }
}

fn stage_audio(from_s: i64, until_s: i64) -> StreamSpec {
    StreamSpec {
        node: STAGE_BOX,
        group: STAGE_AUDIO,
        kind: MediaKind::Audio,
        payload_type: 97,
        from: from_s * SECOND,
        until: until_s * SECOND,
    }
}

fn foyer_picture(from_s: i64, until_s: i64) -> StreamSpec {
    StreamSpec {
        node: STAGE_ENCODER,
        group: FOYER_PICTURE,
        kind: MediaKind::Video,
        payload_type: 96,
        from: from_s * SECOND,
        until: until_s * SECOND,
    }
}

fn scene(file: &'static str, text: &'static str) -> Scene {
    Scene {
        file,
        text,
        faults: Vec::new(),
        cue_texts: Vec::new(),
        site_domain: Domain::V2(0),
        names: Vec::new(),
    }
}

/// Every evening, in the order of the captures' names.
pub(crate) fn evenings() -> Vec<Evening> {
    vec![healthy(), leader_lost(), multicast(), quality_drop(), two_leaders(), v1_beside_v2(), wrong_domain()]
}

fn healthy() -> Evening {
    let mut scenario = house(1, 90);
    // The standby clock was restarted; multicast reaches it only some seconds later, so it leads for a moment.
    scenario.nodes[STANDBY_CLOCK].starts_at = -2 * SECOND;
    scenario.nodes[STANDBY_CLOCK].deaf_until = 3 * SECOND + SECOND / 2;
    scenario.polls = vec![25 * SECOND, 55 * SECOND, 85 * SECOND];
    scenario.streams = vec![stage_audio(42, 62), foyer_picture(-1, 90)];
    let text = "All is well. The standby clock was restarted just before, announces a few times and yields.";
    Evening { scene: scene("playhouse-healthy.pcapng", text), scenario }
}

fn leader_lost() -> Evening {
    let mut scenario = house(2, 120);
    scenario.cues = vec![
        (40 * SECOND + 300 * MILLISECOND, Cue::PowerOff(HOUSE_CLOCK)),
        (82 * SECOND, Cue::PowerOn(HOUSE_CLOCK)),
    ];
    scenario.streams = vec![foyer_picture(30, 60)];
    let text =
        "The house clock loses power; the standby clock takes over; the house clock returns and takes back.";
    let cue_texts = vec!["house clock loses power", "house clock starts again, its reference locked"];
    Evening { scene: Scene { cue_texts, ..scene("playhouse-leader-lost.pcapng", text) }, scenario }
}

// Places in the small house of the multicast evening.
const SMALL_CAMERA: usize = 1;
const SMALL_ENCODER: usize = 2;
const SMALL_DECODER: usize = 3;
const SMALL_MIXER: usize = 4;
const SMALL_BOX: usize = 5;
const SMALL_SWITCH: usize = 6;

/// Same MAC address as [`STAGE_AUDIO`]: 20 and 148 differ in the bit that the address leaves out.
const LOBBY_PICTURE: Ipv4Addr = Ipv4Addr::new(239, 148, 1, 1);
/// Nobody asks for it.
const STRAY_PICTURE: Ipv4Addr = Ipv4Addr::new(239, 20, 7, 7);
/// Nobody sends it.
const RETURN_AUDIO: Ipv4Addr = Ipv4Addr::new(239, 20, 8, 8);
/// Clears a screen and looks like a verdict.
const HOSTILE_NAME: &str = "camera\u{1b}[2J\r\nSOUND: all is well";

/// A small house with short timers: IGMPv3, a query each 20 s that is answered within 5 s.
fn multicast() -> Evening {
    let mut scenario = house(8, 120);
    let places = [HOUSE_CLOCK, STAGE_LEFT_CAMERA, STAGE_ENCODER, 7, 9, STAGE_BOX, CORE_SWITCH];
    scenario.nodes = places.map(|place| scenario.nodes[place].clone()).to_vec();
    for node in &mut scenario.nodes[..SMALL_SWITCH] {
        let port = node.v2.as_mut().expect("all but the switch have a clock");
        (port.log_sync, port.log_delay) = (0, 1);
        node.groups = vec![PTP_GROUP];
    }
    scenario.nodes[SMALL_MIXER].groups.push(STAGE_AUDIO);
    scenario.nodes[SMALL_BOX].groups.push(RETURN_AUDIO);
    scenario.poller = None;
    scenario.querier = Some(QuerierSpec {
        node: SMALL_SWITCH,
        first_at: 5 * SECOND,
        interval: 20 * SECOND,
        until: 50 * SECOND,
        version_3: true,
    });
    scenario.cues = vec![
        (32 * SECOND, Cue::Join { node: SMALL_DECODER, group: LOBBY_PICTURE }),
        (55 * SECOND, Cue::Leave { node: SMALL_MIXER, group: STAGE_AUDIO }),
    ];
    let picture = |group, from_s: i64, until_s: i64| StreamSpec {
        node: SMALL_ENCODER,
        group,
        kind: MediaKind::Video,
        payload_type: 96,
        from: from_s * SECOND,
        until: until_s * SECOND,
    };
    scenario.streams = vec![
        StreamSpec { node: SMALL_BOX, ..stage_audio(40, 41) },
        picture(LOBBY_PICTURE, 36, 40),
        picture(STRAY_PICTURE, 60, 64),
    ];
    let speaker = |node: usize| {
        let spec = &scenario.nodes[node];
        Speaker { mac: spec.mac, ip: spec.ip }
    };
    let second_address = Speaker { ip: Ipv4Addr::new(10, 20, 0, 131), ..speaker(SMALL_ENCODER) };
    let switch = speaker(SMALL_SWITCH);
    let core_port = || discovery::lldp_switch(switch.mac, switch.mac, "core switch", "ge-24", "mirror");
    scenario.utterances = vec![
        (2 * SECOND, SMALL_SWITCH, core_port()),
        (
            7 * SECOND,
            SMALL_BOX,
            discovery::mdns_service(speaker(SMALL_BOX), "Stage box", "_stage", "box-host"),
        ),
        (8 * SECOND, SMALL_BOX, discovery::mdns_host(speaker(SMALL_BOX), "stage-box", 120)),
        (9 * SECOND, SMALL_MIXER, discovery::mdns_host(speaker(SMALL_MIXER), "mixing-desk", 120)),
        (12 * SECOND, SMALL_MIXER, discovery::dhcp_request(speaker(SMALL_MIXER), "DESK-0017")),
        (14 * SECOND, SMALL_CAMERA, discovery::dhcp_request(speaker(SMALL_CAMERA), HOSTILE_NAME)),
        (20 * SECOND, SMALL_ENCODER, discovery::arp_request(speaker(SMALL_ENCODER), switch.ip)),
        (21 * SECOND, SMALL_ENCODER, discovery::arp_request(second_address, switch.ip)),
        (32 * SECOND, SMALL_SWITCH, core_port()),
        (62 * SECOND, SMALL_SWITCH, core_port()),
        (92 * SECOND, SMALL_SWITCH, core_port()),
    ];
    let names = vec![
        (mac(0x62), "stage-box", "mdns"),
        (mac(0x61), "mixing-desk", "mdns"),
        (mac(0x21), HOSTILE_NAME, "dhcp"),
    ];
    let text = "The core switch stops asking for group members after 45 s, and memberships run out. One group comes \
                that nobody asked for, one is asked for and empty, two share a MAC address. Devices say their names.";
    let cue_texts = vec!["foyer decoder joins 239.148.1.1", "mixing desk leaves 239.20.1.1"];
    let faults = vec![("no-querier", mac(0xFE)), ("multicast-mac-overlap", mac(0x31))];
    Evening {
        scene: Scene { cue_texts, names, faults, ..scene("playhouse-multicast.pcapng", text) },
        scenario,
    }
}

fn quality_drop() -> Evening {
    let mut scenario = house(3, 80);
    scenario.cues = vec![
        (20 * SECOND, Cue::Quality { node: STANDBY_CLOCK, clock_class: 7, clock_accuracy: 0x21 }),
        (20 * SECOND, Cue::Quality { node: HOUSE_CLOCK, clock_class: 7, clock_accuracy: 0x21 }),
        (50 * SECOND, Cue::Quality { node: HOUSE_CLOCK, clock_class: 187, clock_accuracy: 0x23 }),
    ];
    let text = "The antenna fails: both clocks go into holdover; later the house clock leaves its holdover \
                specification and the standby clock, with the better oscillator, takes over.";
    let cue_texts = vec![
        "standby clock loses its reference: class 7",
        "house clock loses its reference: class 7",
        "house clock out of holdover specification: class 187",
    ];
    let faults = vec![("grandmaster-in-holdover", mac(0x01)), ("grandmaster-in-holdover", mac(0x02))];
    Evening {
        scene: Scene { cue_texts, faults, ..scene("playhouse-quality-drop.pcapng.gz", text) },
        scenario,
    }
}

fn two_leaders() -> Evening {
    let mut scenario = house(7, 60);
    scenario.segments_blocked = true;
    scenario.querier = None;
    let text =
        "Multicast does not pass between two switches: each side has its own leader for the whole time.";
    let faults = vec![("two-masters-one-domain", mac(0x02))];
    Evening { scene: Scene { faults, ..scene("playhouse-two-leaders.pcapng", text) }, scenario }
}

fn v1_beside_v2() -> Evening {
    let mut scenario = house(5, 75);
    let mut random = Random::seeded(55);
    let mut boundary_clock = node("audio bridge", 0x71, 71, 0, &mut random);
    boundary_clock.v2 = Some(media_port(data_set(0x71, 248, 200), false, true));
    boundary_clock.v1_leads = true;
    scenario.nodes.push(boundary_clock);
    assert_eq!(scenario.nodes[BOUNDARY_CLOCK].name, "audio bridge");
    let v1_devices = [
        ("left amplifier rack", 0x81, 81),
        ("right amplifier rack", 0x82, 82),
        ("wireless receiver", 0x83, 83),
        ("paging console", 0x84, 84),
    ];
    for (name, last, host) in v1_devices {
        let mut device = node(name, last, host, 0, &mut random);
        device.v1_follows = true;
        device.offset_ns = random.between(-1_500, 1_500);
        scenario.nodes.push(device);
    }
    // The bridge follows before it leads; the version 1 devices then find it.
    scenario.nodes[BOUNDARY_CLOCK].starts_at = -8 * SECOND;
    let text = "Version 1 audio devices beside version 2: one boundary clock follows the house clock and leads them.";
    Evening { scene: scene("playhouse-v1-beside-v2.pcap", text), scenario }
}

fn wrong_domain() -> Evening {
    let mut scenario = house(6, 60);
    let camera = &mut scenario.nodes[STAGE_LEFT_CAMERA];
    // Back at its factory settings: ST 2059-2 defaults, able to lead, time counted from power-up.
    camera.v2 = Some(V2Spec {
        domain: 127,
        log_announce: -2,
        log_sync: -3,
        log_delay: -3,
        data: data_set(0x21, 248, 128),
        follower_only: false,
        fills_origin: false,
        sends_metadata: true,
    });
    camera.answers = false;
    camera.free_time = Some(11_820 * SECOND);
    camera.rate_ppb = 4_300;
    scenario.streams = vec![foyer_picture(10, 40)];
    let text = "The stage left camera is back at its factory settings, domain 127: it leads there, and nobody asks it.";
    let faults = vec![("wrong-domain-follower", mac(0x21))];
    Evening { scene: Scene { faults, ..scene("playhouse-wrong-domain.pcapng", text) }, scenario }
}
