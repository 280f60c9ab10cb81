//! The cases on disk: a scenario and a table each.

use std::collections::BTreeSet;
use std::path::PathBuf;

use dosewright_sim::scenario::{self, Scenario};

use crate::table::{self, Table};

/// A case.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) scenario: Scenario,
    pub(crate) table: Table,
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("conformance")
}

/// All the cases in the order of their names, or everything that is wrong with
/// their files.
pub(crate) fn all() -> Result<Vec<Case>, Vec<String>> {
    let mut names = BTreeSet::new();
    let mut problems = Vec::new();
    let files = std::fs::read_dir(folder()).map_err(|error| vec![error.to_string()])?;
    for file in files {
        let path = file.map_err(|error| vec![error.to_string()])?.path();
        let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
        match (stem, path.extension().and_then(|extension| extension.to_str())) {
            (Some(stem), Some("toml" | "dues")) => _ = names.insert(stem),
            (_, Some("md")) => {}
            _ => problems.push(format!("{} is no part of a case", path.display())),
        }
    }
    let mut cases = Vec::new();
    for name in names {
        match case(&name) {
            Ok(case) => cases.push(case),
            Err(mut found) => problems.append(&mut found),
        }
    }
    if problems.is_empty() { Ok(cases) } else { Err(problems) }
}

fn case(name: &str) -> Result<Case, Vec<String>> {
    let read = |extension: &str| {
        let file = format!("{name}.{extension}");
        std::fs::read_to_string(folder().join(&file))
            .map_err(|error| vec![format!("{file}: {error}")])
    };
    let (scenario_text, table_text) = (read("toml")?, read("dues")?);
    let (scenario, _warnings) =
        scenario::read(&format!("{name}.toml"), &scenario_text).map_err(|found| {
            found.iter().map(|problem| format!("{name}.toml: {problem:?}")).collect::<Vec<_>>()
        })?;
    let table = table::read(&table_text).map_err(|error| vec![format!("{name}.dues: {error}")])?;
    Ok(Case { name: name.to_owned(), scenario, table })
}
