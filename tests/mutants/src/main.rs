//! Puts the mistakes of a list into a copy of the crate, all in one build; `DOWNBEAT_MUTANT=N` switches on the one of that
//! number, which is its place in the list, counted from 1. `run.py` makes the list, copies, builds and runs the tests.
//!
//! `downbeat-mutants LIST WITHOUT PLACED LIBRARY_FILE`, run where the copy is. Numbers named in the file WITHOUT are left out.
//! PLACED gets the numbers that were put in, and where in the written files each stands.

mod list;
mod put;
mod written;

use std::collections::BTreeMap;
use std::collections::HashSet;
use std::env;
use std::error::Error;
use std::fs;

use list::Listed;
use put::Put;
use syn::visit_mut::VisitMut;

/// What a build asks to know which mistake is on. With `DOWNBEAT_REACHED=FILE` it writes there which ones are come past.
///
/// A constant that is worked out while the crate is built has no mistakes in it.
const SWITCH: &str = include_str!("switch.in");

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let mut next = || arguments.next().ok_or("an argument is missing");
    let (list, without, placed, library) = (next()?, next()?, next()?, next()?);
    let listed: Vec<Listed> = serde_json::from_str(&fs::read_to_string(list)?)?;
    let without: HashSet<usize> =
        fs::read_to_string(without)?.lines().map(str::parse).collect::<Result<_, _>>()?;
    let mut files: BTreeMap<&str, Vec<(usize, &Listed)>> = BTreeMap::new();
    for (index, mistake) in listed.iter().enumerate() {
        if !without.contains(&(index + 1)) {
            files.entry(&mistake.file).or_default().push((index + 1, mistake));
        }
    }
    let mut stands = Vec::new();
    for (file, mistakes) in files {
        let mut parsed = syn::parse_file(&fs::read_to_string(file)?)?;
        let mut put = Put::new(mistakes);
        put.visit_file_mut(&mut parsed);
        for left in put.left() {
            eprintln!("{file}: number {left} has no place");
        }
        let text = prettyplease::unparse(&parsed);
        stands.extend(written::places(file, &text)?);
        fs::write(file, text)?;
    }
    fs::write(placed, serde_json::to_string(&stands)?)?;
    let root = fs::read_to_string(&library)?;
    // What a constant function asks while it runs is for the compiler's own use, and has to be named first.
    fs::write(library, format!("#![feature(core_intrinsics, const_eval_select)]\n{root}\n{SWITCH}"))?;
    Ok(())
}
