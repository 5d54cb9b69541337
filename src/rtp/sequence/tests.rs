use proptest::prelude::*;

use super::super::gaps::Burst;
use super::*;

const MS: i64 = 1_000_000;

/// The packet that a steady sender of 48 ticks each millisecond gives this number.
fn packet(place: i64, number: u16) -> Numbered {
    Numbered { number, timestamp: u32::from(number) * 48, time: CaptureTime(place * MS) }
}

fn pass(packets: &[Numbered]) -> Sequence {
    let mut sequence = Sequence::default();
    for packet in packets {
        sequence.push(*packet);
    }
    sequence
}

fn numbered(numbers: impl IntoIterator<Item = u16>) -> Vec<Numbered> {
    (0..).zip(numbers).map(|(place, number)| packet(place, number)).collect()
}

type Outcome = (SequenceCounts, u16, Neighbours, Losses, Option<Place>);

fn result(sequence: &Sequence) -> Outcome {
    let mut core = sequence.core.clone();
    core.settle();
    let place = core.place;
    (sequence.counts(), sequence.longest_gap(), sequence.neighbours(), sequence.losses(), place)
}

fn cuts(packets: &[Numbered], one: usize, two: usize) -> [Sequence; 3] {
    let (one, two) = (one.min(packets.len()), two.min(packets.len()));
    let (low, high) = (one.min(two), one.max(two));
    [pass(&packets[..low]), pass(&packets[low..high]), pass(&packets[high..])]
}

/// A stream with losses, late packets by up to 20 places, duplicates, pauses and outages, through several wraps.
fn stream() -> impl Strategy<Value = Vec<Numbered>> {
    let fate = prop_oneof![
        80 => Just((1_usize, 0_usize)),
        4 => Just((0, 0)),
        2 => Just((2, 0)),
        4 => (Just(1), 1_usize..20),
        1 => Just((3, 0)),
        1 => Just((4, 0)),
    ];
    (any::<u16>(), prop::collection::vec(fate, 0..3000)).prop_map(|(start, fates)| {
        let mut packets: Vec<(usize, Numbered)> = Vec::new();
        let mut number = start;
        let mut at = 0;
        for (place, (copies, late)) in fates.into_iter().enumerate() {
            let skipped = match (copies, late) {
                (3, _) => 200,
                (4, _) => 4000,
                (_, 7) => 300,
                _ => 1,
            };
            at += i64::from(skipped);
            let stamp = Numbered { number, timestamp: u32::from(number) * 48, time: CaptureTime(at * MS) };
            packets.extend(std::iter::repeat_n((place + late, stamp), copies.min(2)));
            number = number.wrapping_add(skipped);
        }
        packets.sort_by_key(|(place, _)| *place);
        let mut latest = CaptureTime(0);
        let arrival = |(_, packet): (usize, Numbered)| {
            latest = latest.max(packet.time);
            Numbered { time: latest, ..packet }
        };
        packets.into_iter().map(arrival).collect()
    })
}

/// Anything at all, near enough to itself that every branch is met.
fn noise() -> impl Strategy<Value = Vec<Numbered>> {
    let number =
        prop_oneof![3 => 0_u16..300, 1 => 65_400_u16..=65_535, 1 => 39_990_u16..40_100, 1 => any::<u16>()];
    let step = prop_oneof![9 => 0_i64..3, 1 => -5_i64..200];
    prop::collection::vec((step, number), 0..1500).prop_map(|steps| {
        let mut at = 0;
        let stamp = |(step, number): (i64, u16)| {
            at += step;
            packet(at, number)
        };
        steps.into_iter().map(stamp).collect()
    })
}

/// Runs of three or more numbers that no packet had, by a plain set of all of them; for streams without breaks.
fn slow_bursts(packets: &[Numbered]) -> Vec<u64> {
    let mut extended: Vec<i64> = Vec::new();
    let mut newest = 0_i64;
    for packet in packets {
        let step =
            packet.number.wrapping_sub(u16::try_from(newest.rem_euclid(65_536)).unwrap()).cast_signed();
        let at = if extended.is_empty() { i64::from(packet.number) } else { newest + i64::from(step) };
        newest = if extended.is_empty() { at } else { newest.max(at) };
        extended.push(at);
    }
    extended.sort_unstable();
    let between = extended.windows(2).map(|pair| u64::try_from(pair[1] - pair[0]).unwrap().saturating_sub(1));
    between.filter(|missing| *missing >= 3).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]
    #[test]
    fn joined_parts_of_a_stream_equal_one_pass_for_any_cuts(
        packets in stream(), one in 0_usize..3000, two in 0_usize..3000,
    ) {
        let [mut joined, middle, right] = cuts(&packets, one, two);
        prop_assert!(joined.join(&middle));
        prop_assert!(joined.join(&right));
        prop_assert_eq!(result(&joined), result(&pass(&packets)));
    }

    #[test]
    fn the_right_side_may_be_joined_first(packets in stream(), one in 0_usize..3000, two in 0_usize..3000) {
        let [mut joined, mut middle, right] = cuts(&packets, one, two);
        joined.begin();
        prop_assert!(middle.join(&right));
        prop_assert!(joined.join(&middle));
        prop_assert_eq!(result(&joined), result(&pass(&packets)));
    }

    #[test]
    fn a_join_of_noise_is_exact_or_says_that_it_is_not(
        packets in noise(), one in 0_usize..1500, two in 0_usize..1500,
    ) {
        let [mut joined, middle, right] = cuts(&packets, one, two);
        if joined.join(&middle) && joined.join(&right) {
            prop_assert_eq!(result(&joined), result(&pass(&packets)));
        }
    }

    #[test]
    fn every_packet_is_counted_once(packets in noise()) {
        let sequence = pass(&packets);
        let counts = sequence.counts();
        prop_assert_eq!(counts.received, u64::try_from(packets.len()).unwrap());
        prop_assert_eq!(counts.unique + counts.duplicates + counts.strays(), counts.received);
        prop_assert!(counts.expected >= counts.unique);
    }

    /// Numbers left out and packets moved back by up to 60 places: what never came is a burst, what came late none.
    #[test]
    fn bursts_are_the_runs_that_a_set_of_all_numbers_lacks(
        start in any::<u16>(),
        fates in prop::collection::vec(prop_oneof![9 => Just(0_i64), 3 => Just(-1_i64), 1 => 1_i64..60], 0..400),
    ) {
        let numbers = (0_u16..).zip(&fates);
        let kept = numbers.filter(|(_, late)| **late >= 0);
        let mut order: Vec<(i64, u16)> =
            kept.map(|(place, late)| (i64::from(place) + late, start.wrapping_add(place))).collect();
        order.sort_unstable();
        let packets = numbered(order.into_iter().map(|(_, number)| number));
        let losses = pass(&packets).losses();
        let expected = slow_bursts(&packets);
        prop_assert_eq!(losses.burst_count, u64::try_from(expected.len()).unwrap());
        let found: Vec<u64> = losses.bursts.iter().map(|burst| burst.missing).collect();
        prop_assert_eq!(&found[..], &expected[..expected.len().min(16)]);
        let over_time = losses.short.cells().chain(losses.long_rest.cells());
        let long = losses.long.iter().map(|gap| gap.missing).filter(|missing| *missing >= 3);
        let told: u64 = over_time.map(|cell| cell.missing).chain(long).sum();
        prop_assert_eq!(told, expected.iter().sum::<u64>());
    }
}

#[test]
fn a_part_that_never_settles_is_not_called_exact() {
    let left = numbered(0..400);
    let stuck = numbered(std::iter::repeat_n(350, 3000));
    let mut joined = pass(&left);
    assert!(!joined.join(&pass(&stuck)));
}

#[test]
fn packets_are_told_apart() {
    let numbers = [65_534, 65_535, 2, 1, 1, 65_530, 9000, 3, 20_000, 20_000, 20_001, 20_002];
    let mut sequence = Sequence::default();
    let arrivals: Vec<Arrival> = numbered(numbers).iter().map(|packet| sequence.push(*packet)).collect();
    use Arrival::{AfterGap, Duplicate, First, Held, InOrder, Late, Restart};
    assert_eq!(
        arrivals,
        [
            First,
            InOrder,
            AfterGap { missing: 2 },
            Late,
            Duplicate,
            Late,
            Held,
            InOrder,
            Held,
            Duplicate,
            Restart,
            InOrder
        ]
    );
    let counts = sequence.counts();
    assert_eq!((counts.lost(), counts.strays(), counts.wraps, counts.restarts), (4, 1, 1, 1));
    let losses = sequence.losses();
    assert_eq!(
        (losses.break_count, losses.breaks[0].before.number, losses.breaks[0].after.number),
        (1, 3, 20_000)
    );
    assert_eq!(sequence.longest_gap(), 2);
}

#[test]
fn packets_out_of_order_after_a_break_are_counted_once() {
    let numbers = [1, 2, 3, 9005, 9004, 9006, 9002, 9007];
    let sequence = pass(&numbered(numbers));
    let (counts, losses) = (sequence.counts(), sequence.losses());
    assert_eq!((counts.restarts, counts.strays(), counts.lost(), counts.reordered), (1, 0, 1, 2));
    // Three numbers before 9005 turned out to belong to what follows: 9002 to 9004, of which 9003 is missing.
    let told = losses.breaks[0];
    assert_eq!((told.before.number, told.after.number, told.missing), (3, 9005, 3));
}

#[test]
fn a_burst_that_late_packets_fill_is_none_and_one_they_split_is_two() {
    let bursts = |numbers: &[u16]| -> Vec<(u64, i64)> {
        let losses = pass(&numbered(numbers.iter().copied())).losses();
        losses.bursts.iter().map(|Burst { missing, time, .. }| (*missing, time.0 / MS)).collect()
    };
    // Packet 0 comes after 1 to 4: the old way of looking took the way back and the way forward for losses.
    assert_eq!(bursts(&[10, 15, 11, 12, 13, 14, 16]), []);
    assert_eq!(bursts(&[10, 18, 14, 19]), [(3, 1), (3, 1)]);
    assert_eq!(bursts(&[10, 15, 16]), [(4, 1)]);
    // Below the first number.
    assert_eq!(bursts(&[10, 5, 11]), [(4, 1)]);
    assert_eq!(bursts(&[10, 5, 7, 11]), []);
}

#[test]
fn a_copy_that_comes_100_ms_late_is_a_copy_and_who_begins_anew_there_is_not() {
    for late in [1_u16, 100, 101, 900] {
        let mut order: Vec<(i64, u16)> = Vec::new();
        for number in 0..3000_u16 {
            order.push((i64::from(number) * 2, number));
            order.push(((i64::from(number) + i64::from(late)) * 2 + 1, number));
        }
        order.sort_unstable();
        let sequence = pass(&numbered(order.into_iter().map(|(_, number)| number)));
        let counts = sequence.counts();
        assert_eq!(
            (counts.duplicates, counts.strays(), counts.restarts, counts.lost()),
            (3000, 0, 0, 0),
            "{late}"
        );
    }
    let mut packets = numbered(0..3000);
    packets.extend((0..50).map(|index| Numbered {
        number: 2500 + index,
        timestamp: 3000 * 48 + u32::from(index) * 48,
        time: CaptureTime((3000 + i64::from(index)) * MS),
    }));
    let counts = pass(&packets).counts();
    assert_eq!((counts.restarts, counts.duplicates, counts.lost()), (1, 0, 0));
}

#[test]
fn jumps_and_pauses_leave_the_step_and_the_rate() {
    let mut packets = numbered(0..1000);
    for packet in packets.iter_mut().skip(500) {
        packet.timestamp = packet.timestamp.wrapping_add(1_000_000_007);
    }
    for packet in packets.iter_mut().skip(800) {
        packet.time.0 += 700 * MS;
    }
    let neighbours = pass(&packets).neighbours();
    assert_eq!((neighbours.step(), neighbours.still()), (Some(48), 0));
    assert_ne!(neighbours.rate(), Some(48_000));
    let rate = neighbours.rate_without_jumps(48_000).unwrap();
    assert!(rate.abs_diff(48_000) < 100, "{rate}");
    // Two ways in turn have none that is the stream's own.
    let uneven: Vec<Numbered> = numbered(0..100)
        .into_iter()
        .map(|packet| Numbered { timestamp: packet.timestamp + u32::from(packet.number % 2), ..packet })
        .collect();
    assert_eq!(pass(&uneven).neighbours().step(), None);
}

/// Packets of 125 µs and what came of them at another time.
fn moved(count: i64, late: impl Fn(i64) -> Vec<i64>) -> Vec<Numbered> {
    let mut packets: Vec<Numbered> = Vec::new();
    for at in 0..count {
        let number = u16::try_from((at + 65_000).rem_euclid(65_536)).unwrap();
        let timestamp = u32::try_from(at * 6).unwrap();
        packets.extend(late(at).into_iter().map(|by| Numbered {
            number,
            timestamp,
            time: CaptureTime(at * 125_000 + by),
        }));
    }
    packets.sort_by_key(|packet| packet.time);
    packets
}

fn told(packets: &[Numbered]) -> (u64, u64, u64, u64, u64) {
    let sequence = pass(packets);
    let (counts, losses) = (sequence.counts(), sequence.losses());
    // A part that begins with copies farther behind follows those at first.
    let nearest =
        packets.windows(2).map(|pair| pair[0].timestamp.wrapping_sub(pair[1].timestamp).cast_signed());
    let is_far = nearest.max().is_some_and(|ticks| ticks > 6 * 2900);
    for cut in [1, packets.len() / 3, packets.len() / 2, packets.len() - 700] {
        if is_far && counts.duplicates > 100 {
            break;
        }
        let [mut joined, middle, right] = cuts(packets, cut, cut + 1500);
        assert!(joined.join(&middle) && joined.join(&right), "{cut}");
        assert_eq!(result(&joined), result(&sequence), "{cut}");
    }
    (counts.lost(), counts.restarts, counts.duplicates, counts.reordered, losses.burst_count)
}

#[test]
fn packets_far_behind_are_late_and_no_restart() {
    for behind in [90, 99, 100, 101, 150, 1023, 1024, 1500, 12_000] {
        let by = behind * 125_000 + 1000;
        let is_late = |at: i64| (9000..9010).contains(&at) || at == 12_000;
        let packets = moved(30_000, |at| vec![if is_late(at) { by + (at - 9000) * 10 } else { 0 }]);
        assert_eq!(told(&packets), (0, 0, 0, 11, 0), "{behind}");
        // One of them never comes.
        let some: Vec<Numbered> = packets.into_iter().filter(|packet| packet.timestamp != 9004 * 6).collect();
        assert_eq!(told(&some), (1, 0, 0, 10, 0), "{behind}");
    }
}

#[test]
fn copies_far_behind_are_copies() {
    for behind in [150, 1023, 1024, 1600, 8000] {
        let by = |at: i64| behind * 125_000 + at * 7919 % 400_000;
        let packets = moved(20_000, |at| if at < 2000 { vec![0] } else { vec![0, by(at)] });
        assert_eq!(told(&packets), (0, 0, 18_000, 0, 0), "{behind}");
    }
}

#[test]
fn who_begins_anew_with_older_numbers_or_older_times_is_no_late_packet() {
    let whole = moved(20_000, |_| vec![0]);
    let last = *whole.last().unwrap();
    let anew = |number: u16, stamp: u32, of: &[Numbered]| {
        let follow = (0..2000_u16).map(|at| Numbered {
            number: last.number.wrapping_sub(number).wrapping_add(at),
            timestamp: last.timestamp.wrapping_add(stamp).wrapping_add(u32::from(at) * 6),
            time: CaptureTime(last.time.0 + 125_000 * (i64::from(at) + 1)),
        });
        let packets: Vec<Numbered> = of.iter().copied().chain(follow).collect();
        pass(&packets).counts().restarts
    };
    // Numbers behind by 300 and a timestamp that goes on; both as far back as only a new beginning is.
    assert_eq!(anew(300, 6, &whole), 1);
    assert_eq!(anew(19_000, (19_000_u32 * 6).wrapping_neg(), &whole), 1);
    assert_eq!(anew(3000, 1 << 30, &whole), 1);
}
