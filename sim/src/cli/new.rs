//! `dosewright new`.

use std::fs;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use dosewright_sim::scenario;

use super::exit::Exit;
use super::files;
use super::terminal::Terminal;

/// Writes the template, `-` on standard output; a file that is there already is left
/// alone.
pub(super) fn new(terminal: Terminal, path: &Path) -> Exit {
    if path == Path::new("-") {
        return super::print(terminal, scenario::template());
    }
    let path = target(path);
    let made = path
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .map_or(Ok(()), fs::create_dir_all)
        .and_then(|()| fs::File::create_new(&path))
        .and_then(|mut file| file.write_all(scenario::template().as_bytes()));
    match made {
        Ok(()) => {
            if !terminal.quiet {
                let shown = files::for_shell(&path);
                terminal.message(&format!(
                    "wrote {}; next: dosewright check {shown}, dosewright run {shown}\n",
                    path.display()
                ));
            }
            Exit::Held
        }
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            terminal.error(&format!(
                "{} exists already and is left as it is; give another name",
                path.display()
            ));
            Exit::Usage
        }
        Err(error) => {
            terminal.error(&format!("cannot write {}: {error}", path.display()));
            Exit::Usage
        }
    }
}

/// A name that ends in .toml is the file; everything else is a directory.
fn target(path: &Path) -> PathBuf {
    let is_file = path.extension().is_some_and(|ext| ext == "toml") && !path.is_dir();
    if is_file { path.to_owned() } else { path.join("scenario.toml") }
}
