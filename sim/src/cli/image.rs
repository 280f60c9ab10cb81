//! `dosewright replay` of a ledger image.

use std::path::Path;

use dosewright_core::civil::Local;
use dosewright_sim::failure::Failure;
use dosewright_sim::image::{self, Hints};
use dosewright_sim::units::Units;

use super::exit::Exit;
use super::terminal::Terminal;

/// What is wanted of an image.
#[derive(Clone, Copy)]
pub(super) struct Wanted {
    /// Its layout, where it does not say it.
    pub(super) hints: Hints,
    /// What it tells from then on alone.
    pub(super) since: Option<Local>,
}

pub(super) const fn hints(sector_bytes: Option<u32>, word_bytes: Option<u32>) -> Hints {
    Hints { sector_bytes, word_bytes }
}

/// The bytes of a file that is an image; `None` where it is text, and nothing was
/// said of an image's layout.
pub(super) fn bytes_of(path: &Path, wanted: Wanted) -> Result<Option<Vec<u8>>, String> {
    let hints = wanted.hints;
    let failed = |error: std::io::Error| format!("cannot read {}: {error}", path.display());
    if path.is_dir() {
        return Ok(None);
    }
    let size = std::fs::metadata(path).map_err(failed)?.len();
    if size > image::MOST_BYTES as u64 {
        let most = image::MOST_BYTES;
        return Err(format!("{} has {size} bytes; at most {most} are read", path.display()));
    }
    let bytes = std::fs::read(path).map_err(failed)?;
    if bytes.is_empty() {
        let path = path.display();
        return Err(format!("{path}: it is empty: neither a failure file nor a memory's image"));
    }
    let text = std::str::from_utf8(&bytes).ok().filter(|text| !text.contains('\0'));
    let is_text = text.is_some();
    if hints != Hints::default() && text.is_some_and(|text| Failure::read(text).is_ok()) {
        let path = path.display();
        return Err(format!(
            "{path} is a failure file: --sector-bytes and --word are for a memory's image"
        ));
    }
    if wanted.since.is_some() && is_text && hints == Hints::default() {
        return Err(format!("{}: --since is for a memory's image", path.display()));
    }
    Ok((!is_text || hints != Hints::default()).then_some(bytes))
}

/// Says what this build makes of it.
pub(super) fn tell(
    terminal: Terminal,
    path: &Path,
    bytes: &[u8],
    wanted: Wanted,
    json: bool,
) -> Exit {
    if json {
        // what is in words on lines for machines is so, too
        Units::Metric.choose();
    }
    let report = match image::read(bytes, wanted.hints) {
        Ok(report) => match wanted.since {
            Some(since) => report.from_on(since),
            None => report,
        },
        Err(why) => {
            terminal.error(&format!("{}: {}", path.display(), why.0));
            return Exit::Usage;
        }
    };
    let text = if json { report.json() } else { report.text(terminal.verbose) };
    match super::print(terminal, &text) {
        Exit::Held if report.started.is_err() => Exit::Usage,
        exit => exit,
    }
}
