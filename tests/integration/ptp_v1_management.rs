//! IEEE 1588-2002 Management: parameters placed by hand at the offsets of the layout table, because no
//! vector carries an answer.

use downbeat::ptp::Note;
use downbeat::ptp::v1;
use downbeat::ptp::v1::Body;
use downbeat::units::Nanos;
use downbeat::units::Timestamp;

use crate::ptp_v1_vectors::octets_of;
use crate::ptp_v1_vectors::v1;

/// A Management answer: the vector's header, then key, length and parameters.
fn management(key: u8, parameters: &[u8]) -> Vec<u8> {
    let mut octets = octets_of("S1-mgmt-get-parent");
    octets[55] = key;
    octets[58..60].copy_from_slice(&u16::try_from(parameters.len()).unwrap().to_be_bytes());
    octets.extend(parameters);
    octets
}

/// Parameters of `len` octets with values at offsets that count from the message's first octet.
fn parameters(len: usize, fields: &[(usize, &[u8])]) -> Vec<u8> {
    let mut octets = vec![0; len];
    for (at, value) in fields {
        octets[at - 60..at - 60 + value.len()].copy_from_slice(value);
    }
    octets
}

fn data(key: u8, parameters: &[u8]) -> (v1::ManagementData, Vec<Note>) {
    let message = v1(&management(key, parameters));
    let Body::Management(body) = message.body else { panic!() };
    assert_eq!(body.management_message_key, key);
    assert_eq!(usize::from(body.parameter_length), parameters.len());
    (body.data, message.notes)
}

fn current_data_set() -> Vec<u8> {
    parameters(
        20,
        &[(62, &[0, 2]), (68, &0x8000_04D2_u32.to_be_bytes()), (72, &[0, 0, 0, 1]), (76, &[0, 0, 0, 9])],
    )
}

fn parent_data_set() -> Vec<u8> {
    parameters(
        88,
        &[
            (63, &[1]),
            (64, &[2, 0, 0x5E, 0, 0, 0xB0]),
            (74, &[0, 2]),
            (78, &[0x12, 0x34]),
            (87, &[1]),
            (90, &(-4000_i16).to_be_bytes()),
            (95, &[1]),
            (98, &(-5000_i16).to_be_bytes()),
            (100, &(-1234_i32).to_be_bytes()),
            (107, &[1]),
            (111, &[1]),
            (112, &[2, 0, 0x5E, 0, 0, 0xA1]),
            (122, &[0, 1]),
            (127, &[2]),
            (128, b"NTP\0"),
            (134, &(-6000_i16).to_be_bytes()),
            (139, &[1]),
            (143, &[1]),
            (146, &[0x56, 0x78]),
        ],
    )
}

fn port_data_set() -> Vec<u8> {
    parameters(
        52,
        &[
            (62, &[0, 1]),
            (67, &[8]),
            (70, &[0, 7]),
            (74, &[0, 8]),
            (79, &[1]),
            (80, &[2, 0, 0x5E, 0, 0, 0xF2]),
            (90, &[0, 3]),
            (95, &[1]),
            (97, &[4, 2, 2]),
            (100, &[224, 0, 1, 129]),
            (106, &[0x01, 0x3F]),
            (110, &[0x01, 0x40]),
        ],
    )
}

fn global_time_data_set() -> Vec<u8> {
    parameters(
        24,
        &[(60, &[0x65, 0x53, 0xF1, 0]), (67, &[5]), (70, &[0, 37]), (75, &[1]), (79, &[1]), (82, &[0, 9])],
    )
}

#[test]
fn management_answers_are_read_at_the_offsets_of_their_layout() {
    let (current, notes) = data(11, &current_data_set());
    assert_eq!(notes, []);
    assert_eq!(
        current,
        v1::ManagementData::Current(v1::CurrentDataSet {
            steps_removed: 2,
            offset_from_master: Nanos(-1234),
            one_way_delay: Nanos(1_000_000_009),
        })
    );

    let (parent, notes) = data(13, &parent_data_set());
    assert_eq!(notes, []);
    let v1::ManagementData::Parent(parent) = parent else { panic!() };
    assert_eq!(parent.parent_communication_technology, 1);
    assert_eq!(parent.parent.to_string(), "02:00:5e:00:00:b0/2");
    assert_eq!(parent.parent_last_sync_sequence_number, 0x1234);
    assert_eq!((parent.parent_external_timing, parent.parent_stats), (true, true));
    assert_eq!(parent.parent_variance, -4000);
    assert_eq!(parent.observed_variance, -5000);
    assert_eq!(parent.observed_drift, -1234);
    assert!(parent.utc_reasonable);
    assert_eq!(parent.grandmaster_communication_technology, 1);
    assert_eq!(parent.grandmaster.to_string(), "02:00:5e:00:00:a1/1");
    assert_eq!(parent.grandmaster_stratum, 2);
    assert_eq!(&parent.grandmaster_identifier, b"NTP\0");
    assert_eq!(parent.grandmaster_variance, -6000);
    assert!(parent.grandmaster_preferred);
    assert!(parent.grandmaster_is_boundary_clock);
    assert_eq!(parent.grandmaster_sequence_number, 0x5678);

    let (port, notes) = data(15, &port_data_set());
    assert_eq!(notes, []);
    let v1::ManagementData::Port(port) = port else { panic!() };
    assert_eq!(port.port_number, 1);
    assert_eq!(port.port_state, v1::PortState::Slave);
    assert_eq!(port.last_sync_event_sequence_number, 7);
    assert_eq!(port.last_general_event_sequence_number, 8);
    assert_eq!(port.port_communication_technology, 1);
    assert_eq!(port.port.to_string(), "02:00:5e:00:00:f2/3");
    assert!(port.burst_enabled);
    assert_eq!(port.subdomain_address, [224, 0, 1, 129]);
    assert_eq!((port.event_port, port.general_port), (319, 320));

    let (time, notes) = data(17, &global_time_data_set());
    assert_eq!(notes, []);
    assert_eq!(
        time,
        v1::ManagementData::GlobalTime(v1::GlobalTimeDataSet {
            local_time: Some(Timestamp { seconds: 1_700_000_000, nanoseconds: 5 }),
            current_utc_offset: 37,
            leap59: true,
            leap61: true,
            epoch_number: 9,
        })
    );
}

#[test]
fn management_parameters_too_short_or_too_long_for_their_key_are_noted() {
    for (key, whole) in [
        (11, current_data_set()),
        (13, parent_data_set()),
        (15, port_data_set()),
        (17, global_time_data_set()),
    ] {
        for len in 0..whole.len() {
            let (data, notes) = data(key, &whole[..len]);
            assert_eq!(data, v1::ManagementData::Undecoded, "key {key} cut at {len}");
            let length = u16::try_from(len).unwrap();
            assert_eq!(notes, [Note::ParametersTooShort { key, length }], "key {key} cut at {len}");
        }
        let mut longer = whole.clone();
        longer.extend([0xA5; 4]);
        let (decoded, notes) = data(key, &longer);
        assert_eq!(decoded, data(key, &whole).0);
        assert_eq!(notes, [Note::ParametersExtended { key, extra_octets: 4 }]);
    }
}

#[test]
fn other_management_keys_keep_their_length_and_have_names_up_to_27() {
    for key in (0..=27).filter(|key| ![11, 13, 15, 17].contains(key)) {
        assert!(v1::management_key_name(key).is_some());
        assert_eq!(data(key, &[1, 2, 3, 4]), (v1::ManagementData::Undecoded, vec![]), "key {key}");
    }
    let names = [(0, "NULL"), (11, "CURRENT_DATA_SET"), (17, "GLOBAL_TIME_DATA_SET"), (27, "SET_TIME")];
    for (key, name) in names {
        assert_eq!(v1::management_key_name(key), Some(name));
    }
    let (_, notes) = data(28, &[]);
    assert_eq!(notes, [Note::ReservedValue { field: "managementMessageKey", value: 28 }]);
}

#[test]
fn v1_port_states_begin_at_0() {
    let names: Vec<_> = (0..=9).map(|code| v1::PortState::from_wire(code).name()).collect();
    let expected = [
        "INITIALIZING",
        "FAULTY",
        "DISABLED",
        "LISTENING",
        "PRE_MASTER",
        "MASTER",
        "PASSIVE",
        "UNCALIBRATED",
        "SLAVE",
    ];
    assert_eq!(names[..9], expected.map(Some));
    assert_eq!(names[9], None);
    assert_eq!(v1::PortState::from_wire(9), v1::PortState::Reserved(9));
}
