//! `dosewright operate`: a hand on the front panel.

use std::fmt::Write as _;
use std::io::{IsTerminal, Read as _};
use std::path::{Path, PathBuf};

use clap::Args;
use dosewright_sim::builtin;
use dosewright_sim::judged::Judged;
use dosewright_sim::operate::{self, Condition, Hand, Script, ScriptEnd, ScriptHand};
use dosewright_sim::run::Options;
use dosewright_sim::scenario::Scenario;
use dosewright_sim::trace::stamp::about;

use super::args::Pace;
use super::exit::Exit;
use super::files::{self, Named};
use super::operate_live::Live;
use super::run::checked;
use super::terminal::Terminal;

#[derive(Args, Debug, Clone)]
pub(super) struct OperateArgs {
    /// A scenario file; without one, the built-in example
    pub(super) file: Option<PathBuf>,
    /// Turns, presses and expected screens from a file; - is standard input
    #[arg(long, value_name = "FILE")]
    pub(super) script: Option<PathBuf>,
    /// Print the script with the screens that are found, instead of judging them
    #[arg(long, requires = "script")]
    pub(super) record: bool,
    /// Write the pictures that the script takes (picture NAME) to this folder, as a
    /// display of 128 by 64 dots shows them: NAME.png
    #[arg(long, value_name = "DIR", requires = "script")]
    pub(super) png: Option<PathBuf>,
    /// Pixels of a picture for each dot, 1 to 16
    #[arg(long, default_value_t = 3, value_name = "N", requires = "png",
        value_parser = clap::value_parser!(u8).range(1..=16))]
    pub(super) scale: u8,
    /// The device as it comes from the factory: nothing is set up, no entry
    #[arg(long)]
    pub(super) factory: bool,
    /// Simulated time against real time, live: max (an hour a second), 60x, 1x; a
    /// touch sets it to 1x
    #[arg(long, default_value = "1x", value_parser = super::args::pace)]
    pub(super) pace: Pace,
    /// Seed of everything left to chance
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
}

/// Stands at the panel.
pub(super) fn operate(terminal: Terminal, args: &OperateArgs) -> Exit {
    let named = match &args.file {
        None => Named { name: builtin::NAME.to_owned(), text: builtin::EXAMPLE.to_owned() },
        Some(path) => match files::read(path) {
            Ok(named) => named,
            Err(why) => {
                terminal.error(&why);
                return Exit::Usage;
            }
        },
    };
    let named = std::slice::from_ref(&named);
    // what a scenario is warned of is for whoever runs it
    let Some(scenarios) = checked(terminal.without_warnings(), named) else { return Exit::Usage };
    let Some(scenario) = scenarios.first() else { return Exit::Usage };
    if let Some(path) = &args.script {
        return by_script(terminal, args, scenario, path);
    }
    if std::io::stdin().is_terminal() && std::io::stdout().is_terminal() {
        return live(terminal, args, scenario);
    }
    typed(terminal, args, scenario)
}

/// The run, and whether the promises held in it.
fn go(
    terminal: Terminal,
    args: &OperateArgs,
    scenario: &Scenario,
    hand: &mut dyn Hand,
) -> Result<Judged, Exit> {
    let options = Options { seed: args.seed, ..Options::default() };
    let condition = if args.factory { Condition::Factory } else { Condition::Installed };
    operate::operate(scenario, &options, condition, hand).map_err(|error| {
        terminal.error(&error.to_string());
        Exit::Usage
    })
}

fn script_of(terminal: Terminal, path: &Path) -> Result<(String, Script), Exit> {
    let name = path.display().to_string();
    let text = if path == Path::new("-") {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).map(|_| text).map_err(|error| error.to_string())
    } else {
        files::read(path).map(|named| named.text)
    };
    let text = text.map_err(|why| {
        terminal.error(&why);
        Exit::Usage
    })?;
    let script = Script::read(&text).map_err(|wrong| {
        for (line, what) in &wrong {
            terminal.error(&format!("{name}:{line}: {what}"));
        }
        Exit::Usage
    })?;
    Ok((text, script))
}

fn by_script(terminal: Terminal, args: &OperateArgs, scenario: &Scenario, path: &Path) -> Exit {
    let (text, script) = match script_of(terminal, path) {
        Ok(read) => read,
        Err(exit) => return exit,
    };
    if script.is_empty() {
        terminal
            .error(&format!("{}: the script has no step: nothing would be tried", path.display()));
        return Exit::Usage;
    }
    let mut hand = ScriptHand::new(script);
    if args.record {
        hand = hand.recording();
    }
    let judged = match go(terminal, args, scenario, &mut hand) {
        Ok(judged) => judged,
        Err(exit) => return exit,
    };
    let end = hand.finish();
    if args.png.is_none() && !end.pictures.is_empty() && !terminal.quiet {
        terminal.message("note: without --png DIR the pictures of the script are not kept\n");
    }
    if let Some(dir) = &args.png
        && let Err(why) = write_pictures(terminal, dir, &end, args.scale)
    {
        terminal.error(&why);
        return Exit::Usage;
    }
    if args.record {
        return match super::print(terminal, &operate::renewed(&text, &end.transcript)) {
            Exit::Held => verdict(terminal, &path.display().to_string(), &end, &judged, true),
            other => other,
        };
    }
    if !terminal.quiet && !end.transcript.is_empty() {
        let exit = super::print(terminal, &end.transcript);
        if exit != Exit::Held {
            return exit;
        }
    }
    verdict(terminal, &path.display().to_string(), &end, &judged, false)
}

/// Each picture that the script took to a file of its name.
fn write_pictures(
    terminal: Terminal,
    dir: &Path,
    end: &ScriptEnd,
    scale: u8,
) -> Result<(), String> {
    if end.pictures.is_empty() {
        return Err("the script takes no picture; write a line such as: picture next-dose".into());
    }
    for (name, dots) in &end.pictures {
        files::write_bytes(terminal, &dir.join(format!("{name}.png")), &dots.png(scale))?;
    }
    Ok(())
}

/// Standard input as a script, the screen shown after each of its lines.
fn typed(terminal: Terminal, args: &OperateArgs, scenario: &Scenario) -> Exit {
    let (_, script) = match script_of(terminal, Path::new("-")) {
        Ok(read) => read,
        Err(exit) => return exit,
    };
    let mut hand = ScriptHand::new(script.shown());
    let judged = match go(terminal, args, scenario, &mut hand) {
        Ok(judged) => judged,
        Err(exit) => return exit,
    };
    let end = hand.finish();
    match super::print(terminal, &end.transcript) {
        Exit::Held => verdict(terminal, "standard input", &end, &judged, false),
        other => other,
    }
}

/// Says how it went: on standard error, for what was shown is the data.
fn verdict(
    terminal: Terminal,
    name: &str,
    end: &ScriptEnd,
    judged: &Judged,
    is_recorded: bool,
) -> Exit {
    let mut exit = Exit::Held;
    if let Some((line, what)) = &end.failure {
        terminal.error(&format!("{name}:{line}: {what}"));
        exit = Exit::Failed;
    }
    if end.is_short {
        terminal.error(&format!(
            "{name}: the run ended before the script did; make run_for of the scenario longer"
        ));
        exit = Exit::Limit;
    }
    if broken(terminal, judged) {
        exit = Exit::Failed;
    }
    if exit == Exit::Held {
        let counts = end.counts;
        let many = |count: u32, one: &str, more: &str| {
            format!("{count} {}", if count == 1 { one } else { more })
        };
        let mut text = "held: ".to_owned();
        if counts.screens > 0 {
            let screens = many(counts.screens, "screen", "screens");
            let what = if is_recorded { "taken down" } else { "as expected" };
            _ = write!(text, "{screens} {what}, ");
        }
        _ = write!(
            text,
            "{}, {}, {}, {} of simulated time",
            many(counts.turns, "turn", "turns"),
            many(counts.presses, "press", "presses"),
            many(counts.holds, "hold", "holds"),
            about(end.ended_ms)
        );
        terminal.message(&format!("{text}\n"));
    }
    exit
}

/// Tells of promises that did not hold.
fn broken(terminal: Terminal, judged: &Judged) -> bool {
    for violation in &judged.audit.violations {
        terminal.error(&format!("{}: {}", violation.promise, violation.what));
    }
    if let Some(refusal) = &judged.end.install_refused {
        terminal.error(&format!("the installation was refused: {refusal:?}"));
    }
    !judged.audit.held() || judged.end.install_refused.is_some()
}

fn live(terminal: Terminal, args: &OperateArgs, scenario: &Scenario) -> Exit {
    let mut hand = match Live::new(args.pace) {
        Ok(hand) => hand,
        Err(why) => {
            terminal.error(&why);
            return Exit::Usage;
        }
    };
    let judged = go(terminal, args, scenario, &mut hand);
    drop(hand);
    match judged {
        Ok(judged) if broken(terminal, &judged) => Exit::Failed,
        Ok(_) => Exit::Held,
        Err(exit) => exit,
    }
}
