//! Reading and writing files, with errors that say which file and why.

use std::fs;
use std::io::{self, BufWriter, Read as _, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use dosewright_sim::units::Units;

use super::args::{Reports, ShownIn};
use super::terminal::Terminal;

/// What this command has read: nothing is written over it.
static READ: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn note_read(path: &Path) {
    if let (Ok(path), Ok(mut read)) = (path.canonicalize(), READ.lock()) {
        read.push(path);
    }
}

fn is_in(list: &Mutex<Vec<PathBuf>>, path: &Path) -> bool {
    path.canonicalize().is_ok_and(|path| list.lock().is_ok_and(|list| list.contains(&path)))
}

/// What this command has written: no second output goes over it. A device, such as
/// a terminal, takes as many as come.
static WRITTEN: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn note_written(path: &Path) {
    if let (true, Ok(path), Ok(mut written)) = (path.is_file(), path.canonicalize(), WRITTEN.lock())
    {
        written.push(path);
    }
}

/// A file's name as a shell takes it: whoever reads a command may paste it.
pub(super) fn for_shell(path: &Path) -> String {
    let name = path.display().to_string();
    // what begins with a dash would be taken for an option
    let name = if name.starts_with('-') && name != "-" { format!("./{name}") } else { name };
    let is_plain = |c: char| c.is_alphanumeric() || "/\\._-+:,@%".contains(c);
    if name.chars().all(is_plain) { name } else { format!("'{}'", name.replace('\'', "'\\''")) }
}

/// A scenario file's name as it was given, and its text.
pub(super) struct Named {
    pub(super) name: String,
    pub(super) text: String,
}

/// The units that were asked for on the command line: what a file says does not matter then.
static ASKED: AtomicBool = AtomicBool::new(false);

/// Shows volumes in what was asked for.
pub(super) fn show_in(units: Option<ShownIn>) {
    ASKED.store(units.is_some(), Ordering::Relaxed);
    let units = units.map(|units| match units {
        ShownIn::Metric => Units::Metric,
        ShownIn::Us => Units::Us,
        ShownIn::Imperial => Units::Imperial,
    });
    units.unwrap_or_default().choose();
}

/// Shows volumes as this scenario or brief has them, where nothing was asked for.
pub(super) fn show_as(text: &str) {
    if !ASKED.load(Ordering::Relaxed) {
        Units::said_in(text).unwrap_or_default().choose();
    }
}

/// What a scenario that came by standard input is called.
pub(super) const STANDARD_INPUT: &str = "standard input";

/// A file as it is, and its name.
pub(super) struct Bytes {
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
}

/// Reads a file; `-` is standard input. One of more than `most` bytes is refused.
pub(super) fn read_bytes(path: &Path, most: u64) -> Result<Bytes, String> {
    let is_in = path == Path::new("-");
    let name = if is_in { STANDARD_INPUT.to_owned() } else { path.display().to_string() };
    if !is_in && path.is_dir() {
        return Err(format!("{name} is a directory; give the files in it"));
    }
    let failed = |error: io::Error| format!("cannot read {name}: {error}");
    let mut bytes = Vec::new();
    // one byte more tells that there are more
    let limit = most.saturating_add(1);
    if is_in {
        io::stdin().take(limit).read_to_end(&mut bytes).map_err(failed)?;
    } else {
        let file = fs::File::open(path).map_err(failed)?;
        file.take(limit).read_to_end(&mut bytes).map_err(failed)?;
        note_read(path);
    }
    if bytes.len() as u64 > most {
        return Err(format!("{name} has more than {most} bytes; at most {most} are read"));
    }
    Ok(Bytes { name, bytes })
}

/// The text of a file. A byte order mark is no part of it: editors put it before what
/// they save, and in the middle of a file that begins with something else it is none.
pub(super) fn text_of(file: Bytes) -> Result<Named, String> {
    let name = file.name;
    match String::from_utf8(file.bytes) {
        Ok(text) => {
            let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
            Ok(Named { name, text })
        }
        Err(error) => {
            let at = error.utf8_error().valid_up_to();
            Err(format!("{name} is not UTF-8 text: byte {at} is not; save it as UTF-8"))
        }
    }
}

/// Reads a text file; `-` is standard input.
pub(super) fn read(path: &Path) -> Result<Named, String> {
    read_bytes(path, u64::MAX).and_then(text_of)
}

/// Reads all of them; every one that cannot be read is told.
pub(super) fn read_all(terminal: Terminal, paths: &[impl AsRef<Path>]) -> Option<Vec<Named>> {
    let mut good = true;
    let mut read_in = Vec::new();
    for path in paths {
        match read(path.as_ref()) {
            Ok(named) => read_in.push(named),
            Err(why) => {
                terminal.error(&why);
                good = false;
            }
        }
    }
    good.then_some(read_in)
}

fn make_parent(path: &Path) -> io::Result<()> {
    match path.parent().filter(|parent| !parent.as_os_str().is_empty()) {
        Some(parent) => fs::create_dir_all(parent),
        None => Ok(()),
    }
}

/// What was read is not written over.
fn spare_read(path: &Path) -> Result<(), String> {
    if is_in(&READ, path) {
        return Err(format!(
            "{} is what was read, and is left as it is; give the output another name",
            path.display()
        ));
    }
    Ok(())
}

/// Whether an output is standard output.
pub(super) fn is_out(path: Option<&PathBuf>) -> bool {
    path.is_some_and(|path| path.as_os_str() == "-")
}

/// Whether each output has a place of its own, standard output among them, and the lines
/// where they are wanted. Else that is told, before anything is written.
pub(super) fn are_apart(terminal: Terminal, json: bool, outputs: &[Option<&PathBuf>]) -> bool {
    let given: Vec<&Path> = outputs.iter().flatten().map(|path| path.as_path()).collect();
    let dashes = given.iter().filter(|path| **path == Path::new("-")).count();
    if usize::from(json) + dashes > 1 {
        terminal.error("two outputs on standard output would be mixed; give one of them a file");
        return false;
    }
    let place = |path: &Path| path.canonicalize().or_else(|_| std::path::absolute(path)).ok();
    let is_file = |path: &Path| path != Path::new("-") && (path.is_file() || !path.exists());
    for (at, path) in given.iter().enumerate() {
        let before = given.iter().take(at).any(|other| place(other) == place(path));
        if before && is_file(path) {
            terminal.error(&format!(
                "{} is given to two outputs; give each a name of its own",
                path.display()
            ));
            return false;
        }
    }
    true
}

/// Whether an output can be written that comes at the end of long work: tried before it,
/// and what is there is left as it is. What it is not is told.
pub(super) fn can_write(terminal: Terminal, path: Option<&PathBuf>) -> bool {
    let Some(path) = path.filter(|path| path.as_path() != Path::new("-")) else { return true };
    let tried = spare_read(path).and_then(|()| {
        let open = if path.exists() {
            fs::OpenOptions::new().append(true).open(path).map(drop)
        } else {
            make_parent(path)
                .and_then(|()| fs::File::create_new(path).map(drop))
                .and_then(|()| fs::remove_file(path))
        };
        open.map_err(|error| format!("cannot write {}: {error}", path.display()))
    });
    if let Err(why) = &tried {
        terminal.error(why);
    }
    tried.is_ok()
}

/// Whether a directory can take files that come in the course of long work, or can be made
/// where it is not there yet: tried before it, and nothing is left behind.
pub(super) fn can_fill(dir: &Path) -> Result<(), String> {
    let failed = |error: io::Error| format!("cannot write in {}: {error}", dir.display());
    let whole = std::path::absolute(dir).map_err(failed)?;
    let Some(there) = whole.ancestors().find(|path| path.exists()) else { return Ok(()) };
    if !there.is_dir() {
        return Err(failed(io::ErrorKind::NotADirectory.into()));
    }
    let probe = there.join(format!(".dosewright-{}", std::process::id()));
    fs::File::create_new(&probe).map(drop).and_then(|()| fs::remove_file(&probe)).map_err(failed)
}

/// Whether work of many runs can leave its reports behind. What keeps it is told.
pub(super) fn can_report(terminal: Terminal, reports: &Reports) -> bool {
    let junit = reports.junit.as_ref();
    are_apart(terminal, reports.json, &[junit]) && can_write(terminal, junit)
}

/// Opens a file to write, its directory made where it is missing; `-` is
/// standard output. A file that was read, or written already, is left as it is.
pub(super) fn create(terminal: Terminal, path: &Path) -> Result<Box<dyn Write>, String> {
    if path == Path::new("-") {
        return Ok(Box::new(BufWriter::new(terminal.out())));
    }
    let failed = |error: io::Error| format!("cannot write {}: {error}", path.display());
    spare_read(path)?;
    if is_in(&WRITTEN, path) {
        return Err(format!(
            "{} has another output of this command already; give each a name of its own",
            path.display()
        ));
    }
    make_parent(path).map_err(failed)?;
    let file = fs::File::create(path).map_err(failed)?;
    note_written(path);
    Ok(Box::new(BufWriter::new(file)))
}

fn exists_already(path: &Path) -> String {
    format!(
        "{} exists already and is left as it is; give another name, or --force to write over it",
        path.display()
    )
}

/// Refuses a file that is there already for an output that comes at the end of long work.
/// What is no file, such as a terminal, takes it.
pub(super) fn spare_existing(path: &Path, force: bool) -> Result<(), String> {
    if force || path == Path::new("-") || !path.is_file() {
        return Ok(());
    }
    // that it is the input says more
    spare_read(path)?;
    Err(exists_already(path))
}

/// Writes a whole file of text that somebody may go on working in: one that is there
/// already is left as it is, unless `force` says otherwise.
pub(super) fn write_new(
    terminal: Terminal,
    path: &Path,
    text: &str,
    force: bool,
) -> Result<(), String> {
    if force || path == Path::new("-") {
        return write(terminal, path, text);
    }
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => exists_already(path),
        _ => format!("cannot write {}: {error}", path.display()),
    };
    make_parent(path).map_err(failed)?;
    let mut file = fs::File::create_new(path).map_err(failed)?;
    file.write_all(text.as_bytes()).map_err(failed)
}

/// Writes a whole file of text.
pub(super) fn write(terminal: Terminal, path: &Path, text: &str) -> Result<(), String> {
    write_bytes(terminal, path, text.as_bytes())
}

/// Writes a whole file.
pub(super) fn write_bytes(terminal: Terminal, path: &Path, bytes: &[u8]) -> Result<(), String> {
    let mut out = create(terminal, path)?;
    out.write_all(bytes)
        .and_then(|()| out.flush())
        .map_err(|error| format!("cannot write {}: {error}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_written_so_that_a_shell_takes_it_as_one() {
        for (name, shown) in [
            ("out/week-1.toml", "out/week-1.toml"),
            ("my site.toml", "'my site.toml'"),
            ("it's.toml", "'it'\\''s.toml'"),
            ("-x.toml", "./-x.toml"),
            ("k\u{fc}che.toml", "k\u{fc}che.toml"),
        ] {
            assert_eq!(for_shell(Path::new(name)), shown);
        }
    }
}
