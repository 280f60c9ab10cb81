//! A brief for `plan`, and a head file.

use dosewright_core::civil::Days;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use super::super::doc::{self, Document, Node};
use super::super::keys;
use super::super::model::{
    Brief, Cleaning, HeadFile, Label, LabelDose, Quiet, SitePlan, Supply, Trading,
};
use super::super::reader::{Context, TableReader};
use super::{SCHEMA, closed, list, product, site};
use crate::diagnose::{Diagnostic, Span, codes};
use crate::trade::keep_clear::CLEAR_MIN;
use crate::units::Units;

/// A whole file by its table of keys: what was read, and every problem.
fn file<T>(
    text: &str,
    table: &'static keys::Table,
    read: fn(TableReader<'_, '_>) -> Option<T>,
) -> (Option<T>, Vec<Diagnostic>) {
    let Document { root, problems, broken } = doc::parse(text);
    let mut cx = Context::new(problems, broken);
    let span = Span::new(0, text.find('\n').unwrap_or(text.len())).clip(text);
    let found = read(cx.open_table(table, &root, span));
    (found, cx.problems)
}

/// A head in a file of its own. A scenario does as well: its head is taken.
pub(in crate::scenario) fn head_file(text: &str) -> (Option<HeadFile>, Vec<Diagnostic>) {
    if doc::parse(text).root.get("clock").is_some() {
        let (scenario, problems) = super::document(text);
        return (scenario.map(|s| HeadFile { title: s.title, head: s.head }), problems);
    }
    file(text, &keys::HEAD_FILE, |mut t| {
        let schema = t.version("schema", SCHEMA);
        let title = t.free_text("title");
        let head = t.inner("head").and_then(site::head);
        t.finish();
        schema.and(head).map(|head| HeadFile { title, head })
    })
}

/// A brief.
pub(in crate::scenario) fn brief(text: &str) -> (Option<Brief>, Vec<Diagnostic>) {
    file(text, &keys::BRIEF, |mut t| {
        let schema = t.version("schema", SCHEMA);
        let title = t.free_text("title");
        let units = t.word("units", &Units::ALL).unwrap_or_default();
        let place = t.inner("site").and_then(site_plan);
        let label = t.inner("label").and_then(label);
        let head = t.inner("head").and_then(site::head);
        let motor = t.inner("motor").and_then(site::motor);
        let supply = t.inner("supply").and_then(site::supply);
        let supply = supply.or((!t.has("supply")).then_some(Supply::Mains));
        let container = t.inner("container").and_then(site::container);
        let tube = t.inner("tube").and_then(product::tube);
        let product = t.inner("product").map(product::product);
        let limits = t.inner("limits").map(site::limits).unwrap_or_default();
        let (closed, _) = closed(&mut t);
        let trading = list(&mut t, "trading", trading);
        let cleaning = list(&mut t, "cleaning", cleaning);
        let quiet = list(&mut t, "quiet", quiet);
        t.finish();
        Some(Brief {
            title,
            units,
            site: schema.and(place)?,
            label: label?,
            head: head?,
            motor,
            supply: supply?,
            container,
            tube,
            product,
            limits,
            closed,
            trading,
            cleaning,
            quiet,
        })
    })
}

/// The defaults of contact, settling time and window are common practice, no
/// source.
fn site_plan(mut t: TableReader) -> Option<SitePlan> {
    let first = t.date("first");
    let zone = t.zone("zone");
    let nights = t.days("nights").unwrap_or(Days::ALL);
    let doses_a_week = t.count("doses_a_week").map(|n| n as u8);
    let contact = t.length("contact").unwrap_or(Duration::from_h(5));
    let settle = t.length("settle").unwrap_or(Duration::from_min(30));
    let window = t.length("window").unwrap_or(Duration::from_min(45));
    let spans = t.finish();
    let (first, zone) = (first?, zone?);
    Some(SitePlan { first, zone, nights, doses_a_week, contact, settle, window, spans })
}

fn label(mut t: TableReader) -> Option<Label> {
    let dose = t.volume("dose").map(LabelDose::Dose);
    let rate = t.quantity_u32("rate").map(LabelDose::Rate);
    let of = t.volume("of");
    let start_up_dose = t.volume("start_up_dose").map(LabelDose::Dose);
    let start_up_rate = t.quantity_u32("start_up_rate").map(LabelDose::Rate);
    let start_up_nights = t.count("start_up_nights");
    let contradiction = |t: &mut TableReader, key: &str, message: &str, help: &str| {
        let found = Diagnostic::new(codes::CONTRADICTION, t.key_place(key), message).help(help);
        t.cx.report(found);
    };
    for key in ["rate", "start_up_rate"] {
        if t.has(key) && !t.has("of") {
            let message = format!("`{key}` says nothing without `of`");
            contradiction(&mut t, key, &message, "give the volume it is for: of = \"1800 l\"");
        }
    }
    if t.has("start_up_dose") && t.has("start_up_rate") {
        contradiction(&mut t, "start_up_rate", "the start-up dose is given twice", "keep one");
    }
    let has_start = t.has("start_up_dose") || t.has("start_up_rate");
    if has_start && !t.has("start_up_nights") {
        let key = if t.has("start_up_dose") { "start_up_dose" } else { "start_up_rate" };
        contradiction(
            &mut t,
            key,
            "the start-up phase has no end",
            "say for how long: start_up_nights = 14",
        );
    }
    if !has_start && t.has("start_up_nights") {
        contradiction(
            &mut t,
            "start_up_nights",
            "`start_up_nights` says nothing without a dose",
            "give start_up_dose or start_up_rate too, or leave it out",
        );
    }
    let spans = t.finish();
    Some(Label {
        maintenance: dose.or(rate)?,
        start_up: start_up_dose.or(start_up_rate).zip(start_up_nights),
        of: of.unwrap_or(Volume::ZERO),
        spans,
    })
}

fn trading(cx: &mut Context, node: &Node) -> Option<Trading> {
    let mut t = cx.open(&keys::TRADING, node)?;
    let days = t.days("days");
    let opens = t.minute_of_day("opens");
    let closes = t.minute_of_day("closes");
    t.finish();
    Some(Trading { days: days?, opens_min: opens?, closes_min: closes? })
}

fn cleaning(cx: &mut Context, node: &Node) -> Option<Cleaning> {
    let mut t = cx.open(&keys::CLEANING, node)?;
    let what = t.free_text("what");
    let days = t.days("days");
    let at = t.minute_of_day("at");
    let lasts = t.length("lasts").unwrap_or(Duration::ZERO);
    let clear = t.length("clear").unwrap_or(Duration::from_min(u64::from(CLEAR_MIN)));
    t.finish();
    Some(Cleaning { what, days: days?, at_min: at?, lasts, clear })
}

fn quiet(cx: &mut Context, node: &Node) -> Option<Quiet> {
    let mut t = cx.open(&keys::QUIET, node)?;
    let nights = t.days("nights");
    let from = t.minute_of_day("from");
    let to = t.minute_of_day("to");
    t.finish();
    Some(Quiet { nights: nights?, from_min: from?, to_min: to? })
}
