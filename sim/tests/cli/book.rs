//! What the book shows is what the program prints: each block that begins with
//! `$ dosewright` is run, in the folder `docs`, and compared.

use std::path::Path;
use std::process::Command;

use crate::support::Said;

/// Words of a shell line; double quotes hold words together.
fn words(line: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => out.push(String::new()),
            c => out.last_mut().unwrap().push(c),
        }
    }
    out.retain(|word| !word.is_empty());
    out
}

#[test]
fn the_books_examples_are_what_the_program_prints() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs");
    let mut seen = 0;
    for page in ["integrator", "technician"] {
        let path = docs.join(format!("src/users/{page}.md"));
        let text = std::fs::read_to_string(&path).unwrap();
        for block in text.split("```text\n").skip(1) {
            let block = block.split("```").next().unwrap();
            let Some((line, shown)) =
                block.strip_prefix("$ dosewright ").and_then(|rest| rest.split_once('\n'))
            else {
                continue;
            };
            let mut command = Command::new(env!("CARGO_BIN_EXE_dosewright"));
            let said = Said::of(&command.args(words(line)).current_dir(&docs).output().unwrap());
            assert_eq!(said.out, shown, "{page}.md: $ dosewright {line}\n{}", said.err);
            seen += 1;
        }
    }
    assert!(seen >= 6, "{seen}");
}
