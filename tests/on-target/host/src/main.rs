//! `dosewright-on-target DIR SCENARIO...`: for each scenario writes into DIR its list of
//! events (`NAME.events`) and the host's trace of their replay (`NAME.trace`).

use std::path::Path;
use std::process::ExitCode;

use dosewright_on_target::{compile, replay};

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let Some(dir) = args.next() else {
        eprintln!("usage: dosewright-on-target DIR SCENARIO...");
        return ExitCode::from(2);
    };
    let mut failed = false;
    for file in args {
        if let Err(error) = one(Path::new(&dir), Path::new(&file)) {
            eprintln!("error: {error}");
            failed = true;
        }
    }
    ExitCode::from(u8::from(failed))
}

fn one(dir: &Path, file: &Path) -> Result<(), String> {
    let says = |error: std::io::Error| format!("{}: {error}", file.display());
    let text = std::fs::read_to_string(file).map_err(says)?;
    let name = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let compiled = compile::compile(&name, &text)?;
    let trace = replay::replay(&compiled.list).map_err(|why| format!("{name}: {why}"))?;
    if let Some(difference) = replay::compare(&trace, &compiled) {
        return Err(format!("{name}: the replay differs from the simulator's run:\n{difference}"));
    }
    std::fs::write(dir.join(format!("{name}.events")), &compiled.list).map_err(says)?;
    std::fs::write(dir.join(format!("{name}.trace")), trace).map_err(says)
}
