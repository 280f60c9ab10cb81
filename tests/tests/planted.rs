//! The bugs that `tests/planted/run` plants still have their place in the logic:
//! each text to be replaced stands in its file exactly once.

use std::path::PathBuf;

use toml_edit::{DocumentMut, Item};

#[test]
fn every_bug_can_still_be_planted() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..");
    let text = std::fs::read_to_string(root.join("tests/planted/bugs.toml")).unwrap();
    let list: DocumentMut = text.parse().unwrap();
    let bugs = list["bug"].as_array_of_tables().unwrap();
    assert!(bugs.len() >= 12, "{} bugs", bugs.len());
    for bug in bugs {
        let word = |key: &str| bug.get(key).and_then(Item::as_str).unwrap_or_default();
        let source = std::fs::read_to_string(root.join(word("file"))).unwrap();
        let places = source.matches(word("find")).count();
        assert_eq!(places, 1, "{}: stands {places} times in {}", word("name"), word("file"));
        assert_ne!(word("find"), word("replace"), "{}", word("name"));
    }
}
