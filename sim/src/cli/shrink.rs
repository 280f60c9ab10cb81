//! `dosewright shrink`.

use dosewright_sim::digest::digest;
use dosewright_sim::failure::Failure;
use dosewright_sim::judged::Verdict;
use dosewright_sim::shrink::{self, Limits, NotShrunk};

use super::BUILD;
use super::args::{Progress as How, ShrinkArgs};
use super::exit::Exit;
use super::files;
use super::progress::Progress;
use super::run::checked;
use super::terminal::Terminal;
use super::watch;

/// Writes the smallest scenario that fails as a failure file, or a scenario, does.
pub(super) fn shrink(terminal: Terminal, how: How, args: &ShrinkArgs) -> Exit {
    let named = match files::read(&args.file) {
        Ok(named) => named,
        Err(why) => {
            terminal.error(&why);
            return Exit::Usage;
        }
    };
    // any scenario that fails will do
    let (failure, body) = match Failure::read(&named.text) {
        Ok(read) => read,
        Err(_) => (Failure { seed: 1, ..Failure::default() }, named.text.as_str()),
    };
    // what is worth a warning in the scenario was told when it ran
    if checked(terminal.without_warnings(), std::slice::from_ref(&named)).is_none() {
        return Exit::Usage;
    }
    let spared = files::spare_existing(&args.output, args.force);
    if let Err(why) = spared {
        terminal.error(&why);
        return Exit::Usage;
    }
    if !files::can_write(terminal, Some(&args.output)) {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    // a program that panics does so over and over here
    std::panic::set_hook(Box::new(|_| {}));
    let mut progress = Progress::new("shrink", how, terminal);
    let lines = shrink::lines(body);
    let limits = Limits { seed: args.seed.unwrap_or(failure.seed), runs: args.limit };
    let found = shrink::shrink(body, failure.until_ms, limits, &mut |runs, left| {
        let done = f64::from(runs) / f64::from(args.limit);
        progress.tell(done, || format!("{runs} runs, {lines} lines, now {left}"));
        !watch::interrupted()
    });
    progress.clear();
    _ = std::panic::take_hook();
    let shrunk = match found {
        Ok(shrunk) => shrunk,
        Err(NotShrunk::NoScenario) => {
            terminal.error(&format!("{}: this is no scenario", named.name));
            return Exit::Usage;
        }
        Err(NotShrunk::DoesNotFail(verdict)) => {
            terminal.error(&format!(
                "{} does not fail with seed {} and build {BUILD}: there is nothing to shrink",
                named.name, limits.seed
            ));
            // nothing was made smaller, and a step after this one must not think so
            return if verdict == Verdict::Held { Exit::Usage } else { Exit::of(verdict) };
        }
    };
    let smaller = Failure {
        file: if failure.file.is_empty() { named.name.clone() } else { failure.file },
        seed: limits.seed,
        until_ms: None,
        hash: digest(shrunk.text.as_bytes()),
        build: BUILD.to_owned(),
        findings: shrunk.findings.iter().take(1).cloned().collect(),
    };
    if let Err(why) = files::write(terminal, &args.output, &smaller.write(&shrunk.text)) {
        terminal.error(&why);
        return Exit::Usage;
    }
    let (before, after) = shrunk.lines;
    if !terminal.quiet {
        terminal.message(&format!(
            "{}: {before} lines to {after} in {} runs; it still fails:\n  {}\n",
            named.name,
            shrunk.runs,
            shrunk.findings.first().map_or("", String::as_str)
        ));
        if shrunk.stopped && !watch::interrupted() {
            terminal.message("stopped at the limit of runs; --limit takes a larger one\n");
        }
        let shown = files::for_shell(&args.output);
        terminal.message(&format!("replay: dosewright replay {shown}\n"));
    }
    match (watch::interrupted(), shrunk.stopped) {
        (true, _) => Exit::Interrupted,
        (false, true) => Exit::Limit,
        (false, false) => Exit::Held,
    }
}
