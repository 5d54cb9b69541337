//! Captures as a network might give them, made from choices: several clocks, domains and streams, times that go back, frames
//! and files that are cut. Whatever the choices, the report of one thread is that of several and of pieces joined.

use std::io::Cursor;

use arbitrary::Unstructured;
use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Tally;
use downbeat::capture::Input;
use downbeat::capture::Joined;

use super::network_script;
use super::reports::alike;
use super::reports::judge;
use super::reports::read;

/// Choices to a capture to its reports.
pub fn networks(data: &[u8]) {
    let mut choices = Unstructured::new(data);
    let cuts: [u16; 3] = choices.arbitrary().unwrap_or_default();
    let part = 300 + usize::from(choices.arbitrary::<u8>().unwrap_or_default()) * 20;
    let file = network_script::capture(&mut choices);
    let Some(alone) = read(&file, 1, usize::MAX) else { return };
    let said = judge(&alone);
    let together = read(&file, 3, part).expect("what one thread reads three read too");
    alike("three threads", &said, &judge(&together));
    alike("pieces", &said, &judge(&in_pieces(&file, cuts)));
}

/// The same capture in four stretches, the middle ones joined before they are folded.
fn in_pieces(file: &[u8], cuts: [u16; 3]) -> Analysis {
    let mut joined = Joined::new(vec![Input::once("capture", Cursor::new(file.to_vec()))]);
    let mut pieces: [Tally; 4] = Default::default();
    let mut cuts = cuts.map(|cut| u64::from(cut) % 700);
    cuts.sort_unstable();
    while let Some((number, record)) = joined.next_record() {
        let piece = cuts.iter().filter(|cut| record.number > **cut).count();
        pieces[piece].record(number, &record);
    }
    let mut reading = Reading::new(Settings::default());
    let [first, second, third, fourth] = pieces;
    reading.absorb(first);
    reading.absorb(second.join(third));
    reading.absorb(fourth);
    reading.finish(joined.finish())
}
