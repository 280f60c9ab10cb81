//! Weaves mutants into a copy of the sources, each behind a switch that the variable
//! `DOSEWRIGHT_MUTANT` turns on at run time, so that one build holds them all.
//!
//!     dosewright-weave FROM TO LIST SKIP > STRETCHES
//!
//! FROM and TO are the roots of two trees; LIST is what `cargo mutants --list --json`
//! prints; SKIP is a JSON array of the numbers, from 0 in the list, that are not to be
//! woven. Prints where each mutant stands, and which have no place.

mod cloth;
mod find;
mod list;

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::path::Path;

use syn::visit::Visit as _;

use crate::find::{ByPlace, Finder, Wanted};
use crate::list::Mutant;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [from, to, list, skip] = args.as_slice() else {
        return Err("usage: dosewright-weave FROM TO LIST SKIP".into());
    };
    let mutants: Vec<Mutant> = serde_json::from_str(&std::fs::read_to_string(list)?)?;
    let skip: BTreeSet<usize> = serde_json::from_str(&std::fs::read_to_string(skip)?)?;
    let mut files: BTreeMap<&str, ByPlace> = BTreeMap::new();
    let mut lost: Vec<usize> = Vec::new();
    let mut sources: BTreeMap<&str, String> = BTreeMap::new();
    for (id, mutant) in mutants.iter().enumerate() {
        let file = mutant.file.as_str();
        if !sources.contains_key(file) {
            sources.insert(file, std::fs::read_to_string(Path::new(from).join(file))?);
        }
        let places = files.entry(file).or_default();
        match mutant.span.start.byte_of(&sources[file]) {
            _ if skip.contains(&id) => {}
            Some(byte) => {
                let (genre, replacement) = (mutant.genre, mutant.replacement.clone());
                places.entry(byte).or_default().push(Wanted { id, genre, replacement });
            }
            None => lost.push(id),
        }
    }
    let mut stretches = BTreeMap::new();
    for (file, wanted) in &files {
        let source = &sources[file];
        let mut finder = Finder { source, wanted, wraps: Vec::new() };
        finder.values();
        finder.visit_file(&syn::parse_file(source)?);
        let found: BTreeSet<usize> =
            finder.wraps.iter().flat_map(|wrap| wrap.mutants.iter().copied()).collect();
        lost.extend(wanted.values().flatten().map(|w| w.id).filter(|id| !found.contains(id)));
        let (text, places, inside) = cloth::weave(source, &finder.wraps);
        lost.extend(inside);
        // left alone where nothing changed, so that nothing is built again
        let path = Path::new(to).join(file);
        if std::fs::read_to_string(&path).ok().as_deref() != Some(&text) {
            std::fs::write(&path, text)?;
        }
        stretches.insert(*file, places);
    }
    println!("{}", serde_json::json!({ "files": stretches, "lost": lost }));
    Ok(())
}
