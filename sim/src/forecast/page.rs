//! What `forecast` prints.

use std::fmt::Write as _;

use super::{Change, Figures, Forecast, Until};
use crate::scenario::show;
use crate::trade::crystal;
use crate::trade::restate::Drawdown;
use crate::units;
use crate::words::{paragraph, tagged};

fn date(f: &Forecast, days: f64) -> String {
    f.date(days).map_or_else(|| "after 10 years".to_owned(), show::date)
}

fn range(f: &Forecast, until: &Until) -> String {
    format!("{} to {}", date(f, until.least), date(f, until.most))
}

/// `17 days`, `23 weeks`: what people say of such a length.
fn length(days: f64) -> String {
    if !days.is_finite() {
        "over 10 years".to_owned()
    } else if days < 70.0 {
        let days = format!("{days:.0}");
        format!("{days} day{}", if days == "1" { "" } else { "s" })
    } else {
        format!("{:.0} weeks", days / 7.0)
    }
}

fn verdict(name: &str, f: &Forecast, figures: &Figures) -> String {
    let nothing_comes = if f.stock.as_ref().is_some_and(|stock| stock.is_at_heel) {
        Some("the container is at its heel, or below: nothing can be drawn before it is filled")
    } else if figures.suction_m.is_some_and(|(lift, limit)| lift >= limit) {
        Some(
            "lift and friction of the suction line are more than this product can be lifted: nothing will come",
        )
    } else if f.pack.as_ref().is_some_and(|pack| pack.left_ah <= 0.0) {
        Some("the pack cannot give the motor what it takes: no dose will run")
    } else {
        None
    };
    if let Some(why) = nothing_comes {
        return format!("{name}: the timetable fits the head, but {why}.");
    }
    match f.next() {
        Some(call) => {
            format!("{name} fits. Next visit by {}: {}.", date(f, call.days), call.reason)
        }
        None => format!("{name} fits, and nothing asks for a visit within 10 years."),
    }
}

const CAUTIONS: &str = "Batteries, tubes and products age in ways that no model here knows: check the container against the record at every visit. The label and local discharge rules come first; many authorities forbid dosing upstream of a separator, surfactants above all. Not certified for any use.";

/// The whole page.
pub fn page(
    name: &str,
    f: &Forecast,
    changes: &[Change],
    figures: &Figures,
    warnings: &[String],
) -> String {
    let mut out = String::new();
    paragraph(&mut out, &verdict(name, f, figures));
    out.push('\n');
    const TAG: usize = 12;
    let tag = |word: &str| format!("{word:TAG$}");
    tagged(
        &mut out,
        &tag("timetable"),
        &format!("{} doses and {} in the first 365 days", f.year.1, units::in_l(f.year.0, 2)),
    );
    if let Some(pack) = &f.pack {
        let cells = pack.cells.map_or(String::new(), |cells| format!("{cells} x "));
        tagged(
            &mut out,
            &tag("battery"),
            &format!(
                "until {} (model), {}; range {}. {cells}{}, {:.2} Ah usable{}{}. A week takes {:.0} mAh: pumping {:.1}, starts {:.1}, sleep {:.1}, display {:.1}, self-discharge {:.1}",
                date(f, pack.until.days),
                length(pack.until.days),
                range(f, &pack.until),
                pack.cell.name,
                pack.usable_ah,
                if pack.left_ah < pack.usable_ah {
                    format!(", {:.2} Ah of it left", pack.left_ah)
                } else {
                    String::new()
                },
                if pack.is_cool { " in a cool cellar, for want of its temperature" } else { "" },
                1e3 * (pack.drain.total_ah() + pack.lost_ah),
                1e3 * pack.drain.pumping_ah,
                1e3 * pack.drain.starts_ah,
                1e3 * pack.drain.sleep_ah,
                1e3 * pack.drain.display_ah,
                1e3 * pack.lost_ah,
            ),
        );
    } else {
        tagged(&mut out, &tag("supply"), "mains");
    }
    match &f.stock {
        Some(stock) if stock.is_at_heel => tagged(
            &mut out,
            &tag("container"),
            "nothing can be drawn: it is at its heel already, or below. Order now",
        ),
        Some(stock) => {
            let low = stock
                .low_days
                .map_or(String::new(), |days| format!("; low-level contact {}", date(f, days)));
            let shelf = if stock.shelf_governs { ", by the product's date" } else { "" };
            let text = if let Some(out_of_date) = stock.out_of_date {
                format!("the product is out of date since {}. Order now", show::date(out_of_date))
            } else if stock.until.least.is_finite() {
                format!(
                    "until {}, {}{shelf}; range {} (flow within 5 %){low}. {}",
                    date(f, stock.until.days),
                    length(stock.until.days),
                    range(f, &stock.until),
                    stock.order(|days| date(f, days))
                )
            } else {
                format!("lasts {}{low}", length(stock.until.days))
            };
            tagged(&mut out, &tag("container"), &text);
        }
        None => tagged(&mut out, &tag("container"), "not described: [container]"),
    }
    tagged(
        &mut out,
        &tag("tube set"),
        &format!(
            "{}, by {} ({:.1} h of pumping a year)",
            f.tube.due(|days| date(f, days)),
            f.tube.governs.word(),
            f.tube.hours_a_year
        ),
    );
    if let Some(separator) = &f.separator {
        tagged(&mut out, &tag("separator"), &separator.row(|days| date(f, days)));
    }
    tagged(
        &mut out,
        &tag("memory"),
        &format!(
            "{:.0} years to {} erases of each of {} sectors: {:.0} records a day, {:.1} erases a year (M3); a record is kept for {:.0} days at least",
            f.wear.years.floor(),
            super::memory::RATED_ERASES,
            f.wear.sectors,
            f.wear.records_a_day,
            f.wear.erases_a_year,
            f.wear.kept_days.floor()
        ),
    );
    if let Some(call) = f.next() {
        let s = crystal::seconds(figures.clock_ppm, call.days);
        tagged(
            &mut out,
            &tag("clock"),
            &format!("{:+.1} ppm: {:+.1} min until then", figures.clock_ppm, s / 60.0),
        );
    }
    if let (Some(prime), Some(flush)) = (figures.prime_ml, figures.flush_ml) {
        let suction = figures.suction_m.map_or(String::new(), |(lift, limit)| {
            format!("; suction {lift:.2} m of {limit:.1} m")
        });
        tagged(
            &mut out,
            &tag("lines"),
            &format!(
                "prime {}; a change of product flushes {} into a vessel, and the old calibration is void{suction}",
                units::in_ml(prime, 0),
                units::in_ml(flush, 0)
            ),
        );
    }
    if let Some(d) = &figures.discharge {
        tagged(
            &mut out,
            &tag("discharge"),
            &format!(
                "on the fullest day {:.2} g active, {:.1} mg/l of the day's water; COD {:.1} mg/l",
                d.active_g(),
                d.active_mg_l(),
                d.cod_mg_l()
            ),
        );
    }
    if !warnings.is_empty() {
        out.push('\n');
        for warning in warnings {
            tagged(&mut out, "warning: ", warning);
        }
    }
    _ = writeln!(out, "\nwhat would help, one change at a time (days gained)");
    if changes.is_empty() {
        _ = writeln!(out, "  nothing that was tried gains a day");
    } else {
        _ = writeln!(out, "  {:<48}{:>8}{:>10}{:>11}", "", "visit", "battery", "container");
        for change in changes {
            let cell = |days: Option<f64>| match days {
                None => "-".to_owned(),
                Some(days) if days.is_infinite() => "years".to_owned(),
                Some(days) => format!("{days:+.0}"),
            };
            _ = writeln!(
                out,
                "  {:<48}{:>8}{:>10}{:>11}",
                change.what,
                cell(Some(change.visit_days)),
                cell(change.pack_days),
                cell(change.stock_days)
            );
        }
    }
    out.push('\n');
    paragraph(&mut out, CAUTIONS);
    out
}

/// What weighing the container says, with the product's density in kg/l.
pub fn drawdown_page(found: &Drawdown, density: f64) -> String {
    let mut out = String::new();
    let judged = if found.error_percent.abs() <= found.expanded_percent {
        "within the doubt of the weighing"
    } else {
        "more than the doubt of the weighing"
    };
    tagged(
        &mut out,
        &format!("{:12}", "drawdown"),
        &format!(
            "{} drawn by weight at {density:.3} kg/l, {:.2} % {} than the account has, {judged} (U {:.2} %, k = 2)",
            units::in_l(found.drawn_ml, 3),
            found.error_percent.abs(),
            if found.error_percent < 0.0 { "less" } else { "more" },
            found.expanded_percent
        ),
    );
    if found.error_percent.abs() > found.expanded_percent {
        tagged(
            &mut out,
            &format!("{:12}", ""),
            if found.error_percent > 0.0 {
                "More went out than the pump logged: look for a leak, a siphon, a flow that has risen. The dates above go by the account, and may come sooner."
            } else {
                "Less went out than the pump logged: look for a worn tube, air, a leaking foot valve, a blocked line or a rotor that does not turn, and calibrate. The doses are smaller than they say."
            },
        );
    }
    out
}
