//! The page that `pulses` prints.

use std::fmt::Write as _;

use super::{Ran, Train, Turndown, turndown};
use crate::diagnose::display;
use crate::plan::passes;
use crate::scenario::show;
use crate::trade::evenness::Error;
use crate::trade::turndown::{ACCURACY_PERCENT, LINEARITY_PERCENT, REPEATABILITY_PERCENT};
use crate::units::{self, Units};
use crate::words::{CELLS, paragraph, tagged};

/// Most lines of a histogram.
const BINS: usize = 8;
/// Cells of its longest bar.
const BAR: usize = 40;

/// Wide enough for what is said of one pulse.
fn ms(ms: u64) -> String {
    if ms < 10_000 { format!("{ms} ms") } else { show::length(ms) }
}

fn range(values: &[u64]) -> String {
    match (values.iter().min(), values.iter().max()) {
        (Some(a), Some(b)) if a == b => ms(*a),
        (Some(a), Some(b)) => format!("{} to {}", ms(*a), ms(*b)),
        _ => "none".to_owned(),
    }
}

/// How often each value comes, in bars; many values are put together.
fn histogram(out: &mut String, title: &str, limit: &str, values: &[u64]) {
    _ = writeln!(out, "\n{title:<40}{limit}");
    let (Some(&low), Some(&high)) = (values.iter().min(), values.iter().max()) else {
        _ = writeln!(out, "  none");
        return;
    };
    let width = (high - low + 1).div_ceil(BINS as u64);
    let mut counts = [0_usize; BINS];
    for value in values {
        counts[((value - low) / width) as usize] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1);
    for (i, count) in counts.iter().enumerate() {
        let from = low + i as u64 * width;
        if from > high {
            break;
        }
        let to = (from + width - 1).min(high);
        let label = if from == to { from.to_string() } else { format!("{from} to {to}") };
        let bar = "#".repeat((count * BAR).div_ceil(most));
        _ = writeln!(out, "{}", format!("  {label:>19} ms {count:>5}  {bar}").trim_end());
    }
}

fn percent(value: f64) -> String {
    let text = format!("{value:+.2} %");
    if text == "-0.00 %" || text == "+0.00 %" { "0.00 %".to_owned() } else { text }
}

fn evenness(out: &mut String, commanded: &[Error], outflow: &[Error]) {
    _ = writeln!(
        out,
        "\nflow error by observation window         commanded              outflow (model)"
    );
    for (c, o) in commanded.iter().zip(outflow) {
        _ = writeln!(
            out,
            "  {:>2} min                        {:>10} {:>10}    {:>10} {:>10}",
            c.window_min,
            percent(c.least_percent),
            percent(c.most_percent),
            percent(o.least_percent),
            percent(o.most_percent)
        );
    }
    if commanded.is_empty() {
        _ = writeln!(out, "  the dose's window is shorter than the shortest, 2 min");
    }
}

fn verdict(entry: &str, train: &Train) -> String {
    let widths: Vec<u64> = train.pulses.iter().map(|pulse| pulse.on_ms).collect();
    let count = train.pulses.len();
    let noun = if count == 1 { "pulse" } else { "pulses" };
    let broken = train.broken_limits();
    let judged = if broken.is_empty() {
        "within the head's limits".to_owned()
    } else {
        format!("LIMITS BROKEN: {}", broken.join("; "))
    };
    format!(
        "{} of \"{}\" goes in {count} {noun} of {} over {}: {judged}.",
        show::dose(train.dose),
        display(entry).0,
        range(&widths),
        show::length(train.window_ms)
    )
}

/// Why there are so many pulses.
fn why(train: &Train) -> String {
    let each = train.dose_ml() / train.pulses.len().max(1) as f64;
    let chose = match train.asked {
        Some(_) => "as the file asks".to_owned(),
        None => {
            let least = show::volume(train.head.least_pulse);
            let count = u32::try_from(train.pulses.len()).unwrap_or(u32::MAX);
            match passes::choose(train.dose, train.window_ms, &train.head) {
                Ok(chosen) if count < chosen.most => format!(
                    "for their whole roller passes, of the {} that the head's limits and a least pulse of {least} allow",
                    chosen.most
                ),
                _ => format!("the most that the head's limits and a least pulse of {least} allow"),
            }
        }
    };
    let passes = train.passes().map_or(String::new(), |(passes, whole)| match whole {
        Some(1) => ", one whole roller pass".to_owned(),
        Some(whole) => format!(", {whole} whole roller passes"),
        None => format!(", {passes:.1} roller passes"),
    });
    let other = match train.whole_instead() {
        Some(other) => format!(
            " With pulses = {} each would be {} whole roller passes and give the same wherever the rotor stands.",
            other.pulses,
            other.whole().unwrap_or(1)
        ),
        None => String::new(),
    };
    format!("pulses: {chose}; {} each{passes}.{other}", units::in_ml(each, 2))
}

fn turndown_lines(out: &mut String, down: &Turndown) {
    _ = writeln!(
        out,
        "\nover the turndown, by API 675's definitions (model; no conformity is claimed)"
    );
    tagged(
        out,
        "  ",
        &format!(
            "largest dose of this window {}; {} of 10 settings from a tenth of it",
            units::in_ml(down.most_ml, 1),
            down.settings
        ),
    );
    let Some(found) = down.found else {
        let why = if down.settings < 2 { "too few settings" } else { "nothing comes out: nothing" };
        _ = writeln!(out, "  {why} to judge");
        return;
    };
    for (name, value, limit, of) in [
        ("accuracy", found.accuracy_percent, ACCURACY_PERCENT, "of the mean"),
        ("linearity", found.linearity_percent, LINEARITY_PERCENT, "of rated"),
        ("repeatability", found.repeatability_percent, REPEATABILITY_PERCENT, "of rated"),
    ] {
        let word = if value <= limit { "within" } else { "above" };
        _ = writeln!(out, "  {name:<14}{value:>7.3} %  {word} {limit:.0} % {of}");
    }
}

/// The whole page for one head.
pub fn page(entry: &str, train: &Train, ran: &Ran) -> String {
    let mut out = String::new();
    paragraph(&mut out, &verdict(entry, train));
    out.push('\n');
    paragraph(&mut out, &why(train));
    paragraph(&mut out, &match ran {
        Ran::Same => "device: the controller, run with this dose alone, gives the same pulses to the millisecond.".to_owned(),
        Ran::Differs(at) => format!("device: the controller's pulse {at} DIFFERS from the plan."),
        Ran::NotRun(why) => format!("device: not run: {why}."),
    });
    let line = train.line();
    paragraph(
        &mut out,
        &format!(
            "commanded: {} of pumping, {}; against the straight line at most {} ahead and {} behind; one pulse is {}.",
            ms(train.on_ms()),
            units::in_ml(train.commanded_ml(), 3),
            units::in_ml(line.lead_ml, 2),
            units::in_ml(line.lag_ml, 2),
            units::in_ml(line.pulse_ml, 2)
        ),
    );
    let model = &train.model;
    paragraph(
        &mut out,
        &format!(
            "outflow (model): {}, {} of the dose. Each start loses {}: spin-up {:.0} ms, coast {:.0} ms, swing {:.0} % at {:.1} roller passes a second.",
            units::in_ml(train.outflow_ml(), 2),
            percent(100.0 * (train.outflow_ml() / train.dose_ml() - 1.0)),
            units::in_ml(model.loss_ml(), 4),
            model.spin_up_s * 1e3,
            model.coast_s * 1e3,
            model.pulsation * 100.0,
            model.rollers * model.turns_s
        ),
    );
    let widths: Vec<u64> = train.pulses.iter().map(|pulse| pulse.on_ms).collect();
    let head = &train.head;
    histogram(
        &mut out,
        "pulse widths",
        &format!(
            "limits {} to {}",
            ms(u64::from(head.shortest_on_ms)),
            ms(u64::from(head.longest_run_ms))
        ),
        &widths,
    );
    let rest = widths
        .iter()
        .map(|on| head.rest_after(dosewright_core::time::Duration::from_ms(*on)).as_ms())
        .max()
        .unwrap_or(0);
    histogram(
        &mut out,
        "gaps",
        &format!("least {} after such a pulse", ms(rest)),
        &train.gaps_ms(),
    );
    let (commanded, outflow) = train.evenness();
    evenness(&mut out, &commanded, &outflow);
    _ = writeln!(
        out,
        "  method of IEC 60601-2-24, over the dose's own window; no conformity claimed"
    );
    turndown_lines(&mut out, &turndown(train.window_ms, head, *model));
    out
}

/// Several heads side by side: a row a figure, a column a head.
pub fn side_by_side(entry: &str, heads: &[(String, Result<Train, String>)]) -> String {
    let fits = heads.iter().filter(|(_, train)| train.is_ok()).count();
    let mut out = String::new();
    paragraph(
        &mut out,
        &format!(
            "{fits} of {} heads can deliver a dose of \"{}\" within their limits.",
            heads.len(),
            display(entry).0
        ),
    );
    out.push('\n');
    // what does not fit the page comes below it
    let names = if Units::chosen() == Units::Metric { 22 } else { 28 };
    let columns = ((CELLS - names) / 19).max(1);
    for group in heads.chunks(columns) {
        let mut line = " ".repeat(names);
        for (name, _) in group {
            let name = short(name);
            let pad = 18_usize.saturating_sub(display(&name).1);
            _ = write!(line, " {}{name}", " ".repeat(pad));
        }
        _ = writeln!(out, "{line}");
        let mut row = |name: &str, cell: &dyn Fn(&Train) -> String| {
            let mut line = format!("{name:<names$}");
            for (_, train) in group {
                let text = train.as_ref().map_or_else(|_| "-".to_owned(), cell);
                _ = write!(line, " {text:>18}");
            }
            _ = writeln!(out, "{}", line.trim_end());
        };
        let unit = units::of_little();
        let of = |name: &str| format!("{name}, {unit}");
        let number = |ml: f64| units::bare(units::in_ml(ml, 2));
        row(&format!("{}/min", of("flow")), &|t| {
            number(f64::from(t.head.flow.as_nl_per_min()) / 1e6)
        });
        row("pulses", &|t| t.pulses.len().to_string());
        row(&of("pulse"), &|t| number(t.line().pulse_ml));
        row("pumping, s", &|t| format!("{:.1}", t.on_ms() as f64 / 1e3));
        row(&of("outflow (model)"), &|t| number(t.outflow_ml()));
        row(&of("ahead of the line"), &|t| number(t.line().lead_ml));
        for window in crate::trade::evenness::WINDOWS_MIN {
            row(&format!("error in {window} min"), &|t| {
                let (_, outflow) = t.evenness();
                outflow.iter().find(|e| e.window_min == window).map_or("-".to_owned(), |e| {
                    format!("{:+.1} to {:+.1} %", e.least_percent, e.most_percent)
                })
            });
        }
        let figure = |pick: fn(&crate::trade::turndown::Found) -> f64| {
            move |t: &Train| {
                let down = turndown(t.window_ms, &t.head, t.model);
                down.found.map_or("-".to_owned(), |found| format!("{:.3} %", pick(&found)))
            }
        };
        row("accuracy", &figure(|f| f.accuracy_percent));
        row("linearity", &figure(|f| f.linearity_percent));
        row("repeatability", &figure(|f| f.repeatability_percent));
        out.push('\n');
    }
    for (name, train) in heads {
        if let Err(why) = train {
            paragraph(&mut out, &format!("{}: {why}", short(name)));
        }
    }
    paragraph(
        &mut out,
        "Outflow and what follows from it are of a model. The yardsticks are IEC 60601-2-24's and API 675's; no conformity is claimed.",
    );
    out
}

/// A file's name without its folders, short enough for a column.
fn short(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let (text, width) = display(last);
    if width <= 18 { text } else { text.chars().take(17).chain(['~']).collect() }
}
