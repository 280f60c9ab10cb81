//! The book's list of tests by promise is made from the tests themselves. Renew it
//! with `DOSEWRIGHT_UPDATE_BOOK=1 cargo test -p dosewright-sim --test cli promises`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// A promise: its letter and number.
type Promise = (char, u32);

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The sources under a folder, build output and vendored pages left out.
fn sources(dir: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !matches!(name.as_str(), "target" | "node_modules") {
            sources(&path, found);
        } else if path.extension().is_some_and(|ext| ext == "rs") {
            found.push(path);
        }
    }
}

fn promise(word: &str) -> Option<Promise> {
    let letter = word.chars().next().filter(|c| "dmop".contains(*c))?;
    let number: u32 = word.get(1..)?.parse().ok().filter(|n| (1..=11).contains(n))?;
    Some((letter.to_ascii_uppercase(), number))
}

/// The promises that the name of a test begins with, and the rest of it in words:
/// `d3_d5_...` names two, `d1_to_d11_...` eleven.
fn named(test: &str) -> (Vec<Promise>, String) {
    let words: Vec<&str> = test.split('_').collect();
    let mut of = Vec::new();
    let mut at = 0;
    while let Some(first) = words.get(at).and_then(|word| promise(word)) {
        let last = words.get(at + 2).and_then(|word| promise(word));
        match last.filter(|last| words.get(at + 1) == Some(&"to") && last.0 == first.0) {
            Some(last) => {
                of.extend((first.1..=last.1).map(|number| (first.0, number)));
                at += 3;
            }
            None => {
                of.push(first);
                at += 1;
            }
        }
    }
    (of, words[at..].join(" "))
}

/// Names of the tests of a file, in its order.
fn tests(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut is_test = false;
    for line in text.lines().map(str::trim_start) {
        if line.starts_with("#[test]") {
            is_test = true;
        } else if let Some(rest) = line.strip_prefix("fn ") {
            let name = rest.split(['(', '<']).next().unwrap_or_default();
            if is_test {
                out.push(name.to_owned());
            }
            is_test = false;
        } else if !line.starts_with("#[") && !line.starts_with("//") && !line.is_empty() {
            is_test = false;
        }
    }
    out
}

fn list() -> (String, BTreeMap<Promise, usize>) {
    let root = root();
    let mut files = Vec::new();
    for room in ["core", "sim", "tests"] {
        sources(&root.join(room), &mut files);
    }
    // by promise: whether the auditor's, where, what
    let mut all: BTreeMap<Promise, Vec<(bool, String, String)>> = BTreeMap::new();
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let place = path.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
        for test in tests(&text) {
            let (of, what) = named(&test);
            for promise in of {
                let audits = place.starts_with("sim/src/audit/");
                all.entry(promise).or_default().push((audits, place.clone(), what.clone()));
            }
        }
    }
    let mut out = String::from(
        "# The tests that keep them\n\n\
         For each promise the tests that are named after it: those that drive the controller, and\n\
         those that show that the auditor finds what breaks it. The auditor itself looks on in every\n\
         simulated run. This list is made from the tests.\n",
    );
    for (promise, mut tests) in all.clone() {
        tests.sort();
        _ = write!(out, "\n## {}{}\n\n", promise.0, promise.1);
        for (audits, place, what) in tests {
            let who = if audits { "auditor: " } else { "" };
            _ = writeln!(out, "- {who}{what}: `{place}`");
        }
    }
    let counts = all.into_iter().map(|(promise, tests)| {
        (promise, tests.into_iter().filter(|(audits, ..)| !audits).count())
    });
    (out, counts.collect())
}

#[test]
fn the_book_lists_the_tests_of_each_promise() {
    let (page, counts) = list();
    let path = root().join("docs/src/promises-tests.md");
    if std::env::var_os("DOSEWRIGHT_UPDATE_BOOK").is_some() {
        std::fs::write(&path, &page).unwrap();
    }
    let book = std::fs::read_to_string(&path).unwrap_or_default().replace('\r', "");
    assert!(
        book == page,
        "docs/src/promises-tests.md is not what the tests are called; renew it with\n  \
         DOSEWRIGHT_UPDATE_BOOK=1 cargo test -p dosewright-sim --test cli promises"
    );
    // every promise of the book has a test that drives the controller, and a test
    // named after a promise names one of the book
    let text = std::fs::read_to_string(root().join("docs/src/promises.md")).unwrap();
    let promised: Vec<Promise> = text
        .lines()
        .filter_map(|line| line.strip_prefix("| "))
        .filter_map(|line| promise(&line.split(' ').next()?.to_lowercase()))
        .collect();
    assert!(promised.len() >= 16, "{promised:?}");
    for promise in &promised {
        let count = counts.get(promise).copied().unwrap_or(0);
        assert!(count > 0, "no test is named after {}{}", promise.0, promise.1);
    }
}

#[test]
fn names_of_tests_are_read() {
    assert_eq!(named("d3_d5_refused"), (vec![('D', 3), ('D', 5)], "refused".to_owned()));
    assert_eq!(named("p4_off").0, [('P', 4)]);
    assert_eq!(named("d1_to_d11_none").0.len(), 11);
    assert_eq!(named("the_name").0, []);
    assert_eq!(named("d12_no").0, []);
    let text = "#[test]\n// why\nfn d1_a() {\nfn d2_b() {}\n#[test]\n#[ignore]\nfn m1_c() {\n";
    assert_eq!(tests(text), ["d1_a", "m1_c"]);
}
