//! One page to leave on site: what is set, what it will use, until when things last,
//! what to check, and blanks to fill in and sign.

mod timetable;

use dosewright_core::civil::Date;
use maud::{Markup, html};

use self::timetable::{Fit, timetable};
use super::figure;
use crate::forecast::{self, Forecast};
use crate::scenario::{Scenario, show};
use crate::units;

const STYLE: &str = include_str!("sheet.css");
/// Warnings of the site that are told.
const MOST_WARNINGS: usize = 3;

/// Paper sizes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 x 297 mm.
    A4,
    /// 8.5 x 11 in.
    Letter,
}

impl Paper {
    const fn rule(self) -> &'static str {
        match self {
            Self::A4 => "@page{size:210mm 297mm;margin:10mm 12mm}",
            Self::Letter => "@page{size:8.5in 11in;margin:9mm 12mm}",
        }
    }

    const fn class(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
        }
    }
}

/// What only the people on site know; what is empty is a blank to fill in.
#[derive(Clone, Debug, Default)]
pub struct Site {
    /// Where the product goes in.
    pub dosing_point: Option<String>,
    /// Class of product, such as "bacteria, no surfactants".
    pub product_class: Option<String>,
    /// Reference of the discharge permit.
    pub permit: Option<String>,
    /// Serial number of the pump.
    pub serial: Option<String>,
    /// Date of the calibration.
    pub calibrated: Option<Date>,
    /// Its expanded uncertainty, such as "0.43 ml/min".
    pub uncertainty: Option<String>,
}

/// A line to fill in, or what is known.
fn blank(name: &str, known: Option<&str>) -> Markup {
    html! {
        div class="blank" {
            span class="name" { (name) }
            @match known {
                Some(known) => span class="known" { (known) },
                None => span class="line" { span class="hidden" { "to fill in" } },
            }
        }
    }
}

fn head(scenario: &Scenario, site: &Site, forecast: &Forecast) -> Markup {
    let head = &scenario.head.head;
    let due = forecast.date(forecast.calibrate_days).map(show::date).unwrap_or_default();
    html! {
        section {
            h2 { "Head and calibration" }
            p {
                "Flow " strong { (show::flow(head.flow)) } "; " (head.rollers) " rollers. Pulses of "
                (show::length(u64::from(head.shortest_on_ms))) " to "
                (show::length(u64::from(head.longest_run_ms))) ", at most " (head.starts_per_hour)
                " starts an hour. Calibrate again by " (figure::dated(&due)) " (common practice, six months)."
            }
            (blank("calibrated on", site.calibrated.map(show::date).as_deref()))
            (blank("uncertainty, k = 2", site.uncertainty.as_deref()))
        }
    }
}

fn lasts(forecast: &Forecast) -> Markup {
    let told =
        |days: f64| forecast.date(days).map_or_else(|| "after 10 years".to_owned(), show::date);
    let date = |days: f64| figure::dated(&told(days));
    let (ml, doses) = forecast.year;
    html! {
        section {
            h2 { "How long it lasts" }
            dl {
                dt { "uses" }
                dd { (figure::n(units::much(ml) / 365.0 * 7.0, 2)) " " (units::of_much()) " a week, " (figure::n(units::much(ml), 1)) " " (units::of_much()) " and " (doses) " doses a year" }
                dt { "container" }
                @match &forecast.stock {
                    Some(stock) => dd {
                        @if let Some(past) = stock.out_of_date { "its product is out of date since " (figure::dated(&show::date(past))) }
                        @else if stock.shelf_governs { "to the product's date " (date(stock.until.days)) }
                        @else { "to its heel " (date(stock.until.days)) }
                        "; "
                        @if stock.is_order_late() { "order now" } @else { "order by " (date(stock.reorder_days)) }
                    },
                    None => dd { "not described" },
                }
                dt { "battery" }
                @match &forecast.pack {
                    Some(pack) => dd { "until " (date(pack.until.days)) " (model), at worst " (date(pack.until.least)) },
                    None => dd { "mains" },
                }
                dt { "tube set" }
                dd {
                    (figure::dated(&forecast.tube.due(told)))
                    ", by " (forecast.tube.governs.word())
                }
                @if let Some(separator) = &forecast.separator {
                    dt { "separator" }
                    dd { (figure::dated(&separator.told(told))) }
                }
            }
            p class="next" {
                @match forecast.next() {
                    Some(call) => { "Next visit by " strong { (date(call.days)) } ": " (call.reason) "." },
                    None => "Nothing asks for a visit within 10 years.",
                }
            }
        }
    }
}

fn place(site: &Site) -> Markup {
    let missing: Vec<&str> = [
        ("dosing point", &site.dosing_point),
        ("product class", &site.product_class),
        ("permit reference", &site.permit),
    ]
    .into_iter()
    .filter(|(_, known)| known.is_none())
    .map(|(name, _)| name)
    .collect();
    html! {
        section {
            h2 { "Where it goes" }
            (blank("dosing point", site.dosing_point.as_deref()))
            (blank("product class", site.product_class.as_deref()))
            (blank("permit reference", site.permit.as_deref()))
            @if !missing.is_empty() {
                p class="warning" {
                    strong { "Warning: " } (missing.join(", ")) " not given. Many authorities forbid dosing upstream of a separator, surfactants above all: ask before the pump is switched on."
                }
            }
        }
    }
}

const MOUNTING: [&str; 8] = [
    "container stands level, labelled, in a tray",
    "foot valve and strainer upright, off the bottom",
    "lines fixed, no kink, clear of heat and traffic",
    "anti-siphon valve or air gap fitted",
    "non-return valve at the dosing point",
    "no way back into drinking water",
    "primed until product reaches the outlet",
    "leak or tube-burst detector tried",
];

const ELECTRICAL: [&str; 5] = [
    "supply by a licensed electrician, where it is mains",
    "isolator within reach, labelled",
    "cable entries tight, no strain on cables",
    "remote stop tried",
    "clock and zone set, timetable read back",
];

fn checklist() -> Markup {
    html! {
        section {
            h2 { "Mounting" }
            ul class="check" { @for item in MOUNTING { li { (item) } } }
        }
        section {
            h2 { "Electrical and settings" }
            ul class="check" { @for item in ELECTRICAL { li { (item) } } }
        }
    }
}

fn signing(site: &Site) -> Markup {
    html! {
        section class="wide sign" {
            h2 { "On the visit" }
            div class="blanks" {
                (blank("pump serial number", site.serial.as_deref()))
                (blank("product and batch", None))
                (blank("as found: run, s", None))
                (blank(&units::headed("measured, ml"), None))
                (blank("as left: run, s", None))
                (blank(&units::headed("measured, ml"), None))
                (blank("container, kg", None))
                (blank("date", None))
                (blank("name", None))
                (blank("signature", None))
            }
            p { "Measure before you touch anything. The measured volume is never pre-filled: write down what the vessel shows." }
        }
    }
}

const CAUTIONS: &str = "Read the product's safety data sheet and wear what it asks for. Never mix products. Isolate the supply before you open the pump head. Prevent back-siphoning into drinking water. The label, local codes, discharge rules and licensed trades come first. Check the container against the record at every visit. The programme was simulated; pump, tube, battery and product were not tried. Not certified for any use: the owner of the installation decides.";

/// The sheet of a scenario whose timetable the device accepts.
pub fn sheet(file: &str, hash: &str, scenario: &Scenario, site: &Site, paper: Paper) -> String {
    let forecast = match site.calibrated {
        Some(date) => forecast::forecast_of(scenario, date),
        None => forecast::forecast(scenario),
    };
    let largest = forecast::days(scenario, 365).iter().map(|day| day.volume_ml).fold(0.0, f64::max);
    let warnings = forecast::warnings(scenario, &forecast::figures(scenario, largest));
    // whoever reads it on site has no use for the folders of the one who wrote it
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let title = scenario.title.as_deref().unwrap_or(name);
    let fit = Fit::of(scenario);
    let class = format!("{} {}", paper.class(), fit.class);
    let body = html! {
        main class=(class.trim_end()) {
            header {
                h1 { (title) }
                p { "Dosing pump, sheet to leave on site. Planned from " (figure::dated(&show::date(forecast.start))) ". File " (name) ", " code { (hash) } "." }
            }
            div class="columns" {
                (timetable(scenario, &fit))
                (head(scenario, site, &forecast))
                (lasts(&forecast))
                (place(site))
                @if warnings.is_empty() {
                    section {
                        h2 { "Of this site" }
                        p {
                            @if scenario.tube.is_some() {
                                "The lines and the product ask for no warning."
                            } @else {
                                "The file does not describe the lines: suction, siphon and drain-back were not looked at."
                            }
                        }
                    }
                } @else {
                    section {
                        h2 { "Of this site" }
                        ul { @for warning in warnings.iter().take(MOST_WARNINGS) { li { (warning) } } }
                        @if warnings.len() > MOST_WARNINGS {
                            p { strong { "And " (warnings.len() - MOST_WARNINGS) " more: " code { "dosewright forecast" } " tells them." } }
                        }
                    }
                }
                (checklist())
                (signing(site))
                section class="wide caution" { h2 { "Cautions" } p { (CAUTIONS) } }
            }
        }
    };
    figure::page(&format!("Sheet: {title}"), &format!("{}{STYLE}", paper.rule()), &body)
}
