//! Golden traces: the whole page and all lines of a few runs, byte for byte. A
//! change of theirs is a change of what the program does; look at the difference,
//! then update with `DOSEWRIGHT_UPDATE_GOLDEN=1 cargo test -p dosewright-sim`.

use std::path::Path;

use crate::support::{Place, shipped};

/// What differs from build to build and from run to run.
fn settled(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        if line.starts_with("simulated ") {
            continue;
        }
        let mut line = line.to_owned();
        for (before, after) in [("\"build\":\"", "\""), (", build ", "\n")] {
            if let Some(at) = line.find(before).map(|at| at + before.len()) {
                let end = line[at..].find(after).map_or(line.len(), |end| at + end);
                line.replace_range(at..end, "BUILD");
            }
        }
        out.push_str(&line);
        out.push('\n');
    }
    out
}

fn compare(name: &str, found: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(name);
    if std::env::var_os("DOSEWRIGHT_UPDATE_GOLDEN").is_some() {
        std::fs::write(&path, found).unwrap();
        return;
    }
    let golden = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let differs = golden.lines().zip(found.lines()).position(|(a, b)| a != b);
    let at = differs.unwrap_or_else(|| golden.lines().count().min(found.lines().count()));
    assert!(
        golden == found,
        "{name} differs from line {}:\n  golden: {:?}\n  found:  {:?}",
        at + 1,
        golden.lines().nth(at),
        found.lines().nth(at)
    );
}

#[test]
fn pages_and_lines_are_the_golden_ones() {
    let place = Place::new("golden");
    place.write("long-cut.toml", &shipped("03-bakery-cellar-long-cut.toml"));
    place.write("holidays.toml", &shipped("04-school-kitchen-holidays.toml"));
    place.write("autumn.toml", &shipped("02-mill-refectory-autumn.toml"));
    place.write("second-edit.toml", &shipped("09-service-visit-second-edit.toml"));
    let example = place.call(&["run"]);
    compare("example.txt", &settled(&example.out));
    compare("example.err", &example.err);
    for name in ["long-cut", "holidays", "autumn", "second-edit"] {
        let file = format!("{name}.toml");
        let page = place.call(&["run", &file]);
        assert_eq!(page.code, 0, "{page:?}");
        compare(&format!("{name}.txt"), &settled(&page.out));
        compare(&format!("{name}.jsonl"), &settled(&place.call(&["run", &file, "--json"]).out));
    }
}
