//! What the book shows is what the program prints, and every command in it works.
//!
//! A block that begins with `$ dosewright` is run and compared. Every other line of a
//! block that begins with `dosewright` is run as well, page by page in its order, in a
//! copy of the folder `docs` where a file of the user's own, such as `week.toml`, is
//! there already unless the page makes it.
#![cfg(unix)]

use std::path::Path;
use std::process::Command;

use crate::support::{Place, Said};

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let name = to.join(path.file_name().unwrap());
        if path.is_dir() { copy(&path, &name) } else { _ = std::fs::copy(&path, &name).unwrap() }
    }
}

/// Runs a line of a shell in a place, with the program on the path.
fn shell(place: &Place, line: &str) -> Said {
    let bin = Path::new(env!("CARGO_BIN_EXE_dosewright")).parent().unwrap();
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap_or_default());
    let mut command = Command::new("sh");
    command
        .args(["-c", line])
        .stdin(std::process::Stdio::null())
        .current_dir(&place.dir)
        .env("PATH", path)
        .env("NO_COLOR", "1");
    Said::of(&command.output().unwrap())
}

/// The pages of the book with commands for users.
const PAGES: [&str; 7] = [
    "users/controller-developer",
    "users/integrator",
    "users/qa",
    "users/technician",
    "outputs",
    "comparison",
    "panel",
];

#[test]
fn the_books_commands_do_what_it_says() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs");
    let (mut compared, mut run) = (0, 0);
    for page in PAGES {
        let place = Place::new(&page.replace('/', "-"));
        for folder in ["scenarios", "failing", "heads", "briefs", "scripts"] {
            copy(&docs.join(folder), &place.dir.join(folder));
        }
        let text = std::fs::read_to_string(docs.join(format!("src/{page}.md"))).unwrap();
        if !text.contains("\ndosewright new week.toml") {
            shell(&place, "dosewright new week.toml");
        }
        // text, then a block behind its language, and so on
        let parts: Vec<&str> = text.split("```").collect();
        for pair in parts.chunks_exact(2) {
            let (before, Some((language, block))) = (pair[0], pair[1].split_once('\n')) else {
                continue;
            };
            if let Some(name) = before.trim_end().strip_suffix("`:").filter(|_| language == "toml")
            {
                let name = name.rsplit('`').next().unwrap();
                if before.trim_end().ends_with(&format!("At the end of `{name}`:")) {
                    let written = place.read(name);
                    place.write(name, &format!("{written}\n{block}"));
                }
                continue;
            }
            if language != "text" {
                continue;
            }
            if let Some((line, shown)) =
                block.strip_prefix("$ ").and_then(|rest| rest.split_once('\n'))
            {
                let said = shell(&place, line);
                assert_eq!(said.out, shown, "{page}.md: $ {line}\n{}", said.err);
                compared += 1;
                continue;
            }
            for line in block.lines().filter(|line| line.starts_with("dosewright ")) {
                let line = line.split("  #").next().unwrap();
                let said = shell(&place, line);
                assert!(
                    said.code == 0 || !line.starts_with("dosewright run edge.toml"),
                    "{page}.md: {line}\n{}",
                    said.out
                );
                // a failure that the page is about is one; a command that is wrong is not
                assert!(
                    matches!(said.code, 0 | 1 | 5),
                    "{page}.md: {line}\nexit code {}\n{}{}",
                    said.code,
                    said.out,
                    said.err
                );
                run += 1;
            }
        }
    }
    assert!(compared >= 6 && run >= 25, "{compared} {run}");
}
