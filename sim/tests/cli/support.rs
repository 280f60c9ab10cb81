//! Calling the program in a directory of its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// A directory that is gone when the test is over.
pub(crate) struct Place {
    pub(crate) dir: PathBuf,
}

impl Place {
    pub(crate) fn new(test: &str) -> Self {
        // inside the build's own directory: a test that is killed leaves nothing elsewhere
        let dir = Path::new(env!("CARGO_TARGET_TMPDIR"))
            .join(format!("cli-{}-{test}", std::process::id()));
        _ = std::fs::remove_dir_all(&dir);
        std::fs::create_dir_all(&dir).unwrap();
        Self { dir }
    }

    pub(crate) fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.dir.join(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.dir.join(name))
            .unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_dosewright"));
        command.args(args).current_dir(&self.dir);
        for name in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "FORCE_COLOR"] {
            command.env_remove(name);
        }
        command
    }

    pub(crate) fn call(&self, args: &[&str]) -> Said {
        Said::of(&self.command(args).output().unwrap())
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        _ = std::fs::remove_dir_all(&self.dir);
    }
}

/// What the program said and how it ended.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Said {
    pub(crate) fn of(output: &Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout.clone()).unwrap(),
            err: String::from_utf8(output.stderr.clone()).unwrap(),
        }
    }
}

/// A scenario of the book.
pub(crate) fn shipped(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/scenarios").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Three nights with a dose each; `more` is put at the end.
pub(crate) fn nights(more: &str) -> String {
    format!(
        r#"schema = 1

[clock]
start = 2026-10-05T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "4 days"

[head]
flow = "26.5 ml/min"

[[entry]]
name = "night"
weekly = {{ nights = ["mon", "tue", "wed"], at = "00:45" }}
volume = "120 ml"
window = "45 min"
pulses = 30

{more}"#
    )
}

/// All of it holds.
pub(crate) fn good() -> String {
    nights(
        "[[expect]]\noutcomes = { entry = \"night\", dosed = 3, part = 0, skipped = 0, open = 0 }\n",
    )
}

/// One expectation does not hold.
pub(crate) fn failing() -> String {
    nights("[[expect]]\noutcomes = { entry = \"night\", dosed = 4 }\n")
}

/// A text without its line breaks and indents.
pub(crate) fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// No line is wider than a terminal of 80 cells.
#[track_caller]
pub(crate) fn wide(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{}: {line}", line.chars().count());
    }
}

/// The lines that a command prints.
pub(crate) fn lines(place: &Place, args: &[&str]) -> Vec<Value> {
    let said = place.call(args);
    said.out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}")))
        .collect()
}

/// Those of an event.
pub(crate) fn of<'a>(lines: &'a [Value], event: &str) -> Vec<&'a Value> {
    lines.iter().filter(|line| line["event"] == event).collect()
}
