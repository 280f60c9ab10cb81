//! `dosewright replay` of a ledger image.

use dosewright_core::civil::Local;
use dosewright_sim::failure::Failure;
use dosewright_sim::image::{self, Hints};
use dosewright_sim::units::Units;

use super::exit::Exit;
use super::files::Bytes;
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

/// Whether what was read is an image. Text is none, unless something was said of an
/// image's layout.
pub(super) fn is_image(file: &Bytes, wanted: Wanted) -> Result<bool, String> {
    let hints = wanted.hints;
    let name = &file.name;
    if file.bytes.is_empty() {
        return Err(format!("{name}: it is empty: neither a failure file nor a memory's image"));
    }
    let text = std::str::from_utf8(&file.bytes).ok().filter(|text| !text.contains('\0'));
    let is_text = text.is_some();
    if hints != Hints::default() && text.is_some_and(|text| Failure::read(text).is_ok()) {
        return Err(format!(
            "{name} is a failure file: --sector-bytes and --word are for a memory's image"
        ));
    }
    if wanted.since.is_some() && is_text && hints == Hints::default() {
        return Err(format!("{name}: --since is for a memory's image"));
    }
    Ok(!is_text || hints != Hints::default())
}

/// Says what this build makes of it.
pub(super) fn tell(terminal: Terminal, file: &Bytes, wanted: Wanted, json: bool) -> Exit {
    if json {
        // what is in words on lines for machines is so, too
        Units::Metric.choose();
    }
    let report = match image::read(&file.bytes, wanted.hints) {
        Ok(report) => match wanted.since {
            Some(since) => report.from_on(since),
            None => report,
        },
        Err(why) => {
            terminal.error(&format!("{}: {}", file.name, why.0));
            return Exit::Usage;
        }
    };
    let text = if json { report.json() } else { report.text(terminal.verbose) };
    match super::print(terminal, &text) {
        Exit::Held if report.started.is_err() => Exit::Usage,
        exit => exit,
    }
}
