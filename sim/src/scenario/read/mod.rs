//! From the tree of a file to a [`Scenario`]: each table read, then what only
//! the whole can tell.

mod acts;
mod brief;
mod edits;
mod entry;
mod expect;
mod faults;
mod product;
mod separator;
mod site;

pub(super) use brief::{brief, head_file};

use std::collections::BTreeMap;

use dosewright_core::civil::{Date, Local};
use dosewright_core::entry::{ClosedDates, GapRule};
use dosewright_core::time::Utc;
use dosewright_core::zone::Zone;

use super::bounds::RunBounds;
use super::doc::{self, Node, Table as DocTable, Value};
use super::keys;
use super::model::{
    Act, Claim, ClockPlan, Container, Expectation, Fault, FaultKind, Memory, OperatorAct, Scenario,
    Supply, Tube,
};
use super::nearest::nearest;
use super::quantity::show;
use super::reader::{Context, TableReader};
use super::zones;
use crate::diagnose::{Diagnostic, Span, Spans, codes};
use crate::units::Units;

/// The version of the format that is read.
pub(super) const SCHEMA: u32 = 1;

/// Reads the text of a file; the problems are in the order they were found and
/// have no file name yet. Where there are errors the scenario, if any, is what
/// could be read beside them.
pub(super) fn document(text: &str) -> (Option<Scenario>, Vec<Diagnostic>) {
    let doc::Document { root, problems, broken } = doc::parse(text);
    let mut cx = Context::new(problems, broken);
    let head_of_file = text.find('\n').unwrap_or(text.len());
    let span = Span::new(0, head_of_file).clip(text);
    let scenario = scenario(cx.open_table(&keys::ROOT, &root, span));
    check_names(&mut cx, &root);
    (scenario, cx.problems)
}

fn scenario(mut t: TableReader<'_, '_>) -> Option<Scenario> {
    let schema = t.version("schema", SCHEMA);
    let title = t.free_text("title");
    let units = t.word("units", &Units::ALL).unwrap_or_default();
    // The clock first: moments are read against its start.
    let clock = t.inner("clock").and_then(site::clock);
    let head = t.inner("head").and_then(site::head);
    let motor = t.inner("motor").and_then(site::motor);
    let supply = t.inner("supply").and_then(site::supply);
    let supply = supply.or((!t.has("supply")).then_some(Supply::Mains));
    let place = t.inner("site").map(site::site).unwrap_or_default();
    let container = t.inner("container").and_then(site::container);
    let tube = t.inner("tube").and_then(product::tube);
    let product = t.inner("product").map(product::product);
    let separator = t.inner("separator").and_then(separator::separator);
    let memory = t.inner("memory").map(site::memory).unwrap_or_default();
    let limits = t.inner("limits").map(site::limits).unwrap_or_default();
    let (closed, closed_spans) = closed(&mut t);
    let entries = list(&mut t, "entry", entry::entry);
    let faults = list(&mut t, "fault", faults::fault);
    let operator = list(&mut t, "operator", acts::act);
    let expect = t
        .items("expect")
        .into_iter()
        .flat_map(|node| expect::expect(t.cx, node))
        .collect::<Vec<_>>();
    check_held(t.cx, &expect);
    if let Some(clock) = &clock {
        check_zone(t.cx, clock);
    }
    check_memory(t.cx, &memory, &faults);
    if let Some(supply) = &supply {
        check_packs(t.cx, supply, &operator);
    }
    check_refills(t.cx, container.as_ref(), &operator);
    edits::check(t.cx, &entries, &operator);
    check_parts(t.cx, container.as_ref(), tube.as_ref(), &faults, &operator);
    if let Some(tube) = &tube {
        check_tube(t.cx, tube, clock.as_ref());
    }
    if let Some(separator) = &separator {
        separator::check(t.cx, separator, clock.as_ref());
    }
    let spans = t.finish();
    Some(Scenario {
        schema: schema?,
        title,
        units,
        clock: clock?,
        head: head?,
        motor,
        supply: supply?,
        site: place,
        container,
        tube,
        product,
        separator,
        memory,
        limits,
        closed,
        closed_spans,
        entries,
        faults,
        operator,
        expect,
        spans,
    })
}

/// The tables of a list, each read by a function; those that are wrong are
/// left out, their problems are reported.
fn list<T>(
    t: &mut TableReader,
    key: &'static str,
    read: fn(&mut Context, &Node) -> Option<T>,
) -> Vec<T> {
    let mut out = Vec::new();
    for node in t.items(key) {
        let item = read(t.cx, node);
        // What is left out without a word would be a run of another scenario.
        debug_assert!(item.is_some() || t.cx.has_errors(), "a table of {key} is lost");
        out.extend(item);
    }
    out
}

fn closed(t: &mut TableReader) -> (Vec<ClosedDates>, Vec<Spans>) {
    let read = |cx: &mut Context, node: &Node| {
        let mut t = cx.open(&keys::CLOSED, node)?;
        let first = t.date("first");
        let last = t.date("last").or(first.filter(|_| !t.has("last")));
        check_order(&mut t, first, last);
        let spans = t.finish();
        Some((ClosedDates { first: first?, last: last? }, spans))
    };
    t.items("closed").into_iter().filter_map(|node| read(t.cx, node)).unzip()
}

/// A last date before the first.
fn check_order(t: &mut TableReader, first: Option<Date>, last: Option<Date>) {
    if let (Some(first), Some(last)) = (first, last)
        && last < first
    {
        let place = t.place("last");
        let found = Diagnostic::new(codes::CONTRADICTION, place, "`last` lies before `first`")
            .label(format!("`first` is {}", show::date(first)))
            .note_at(t.place("first"), "`first` is here")
            .help("both dates are included: the last may be the first, not earlier");
        t.cx.report(found);
    }
}

/// Two values of which the second must not be below the first.
fn check_least<T: PartialOrd + Copy>(
    t: &mut TableReader,
    (least_key, least): (&'static str, Option<T>),
    (most_key, most): (&'static str, Option<T>),
    shown: impl Fn(T) -> String,
) {
    if let (Some(least), Some(most)) = (least, most)
        && most < least
    {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.place(most_key),
            format!("`{most_key}` is below `{least_key}`"),
        )
        .label(format!("`{least_key}` is {}", shown(least)))
        .note_at(t.place(least_key), format!("`{least_key}` is here"))
        .help("nothing could satisfy both");
        t.cx.report(found);
    }
}

/// A run that is to hold and to fail.
fn check_held(cx: &mut Context, claims: &[Expectation]) {
    let mut held = claims.iter().filter_map(|claim| match claim.claim {
        Claim::Held(held) => Some((held, claim.spans.at("held"))),
        _ => None,
    });
    let Some((first, first_at)) = held.next() else { return };
    if let Some((other, at)) = held.find(|(other, _)| *other != first) {
        let found =
            Diagnostic::new(codes::CONTRADICTION, at, format!("`held` is {first} and {other}"))
                .label("a run either holds or fails")
                .note_at(first_at, format!("`held = {first}` is here"))
                .help("say held = false where it is meant to fail; else leave `held` out");
        cx.report(found);
    }
}

/// Faults of the memory that the memory has no place for.
fn check_memory(cx: &mut Context, memory: &Memory, faults: &[Fault]) {
    let bytes = memory.sector_bytes.saturating_mul(memory.sectors);
    for fault in faults {
        let label = match fault.kind {
            FaultKind::BitFlip { address, .. } if address >= bytes => {
                format!("the memory has {bytes} B")
            }
            FaultKind::PageWorn { sector } if sector >= memory.sectors => {
                format!("the memory has {} sectors, from 0", memory.sectors)
            }
            _ => continue,
        };
        let place = fault.spans.at(fault.kind.word());
        let message = format!("`{}` is outside the memory", fault.kind.word());
        cx.report(Diagnostic::new(codes::CONTRADICTION, place, message).label(label));
    }
}

/// Another pack where there is none.
fn check_packs(cx: &mut Context, supply: &Supply, acts: &[OperatorAct]) {
    for act in acts {
        if matches!((&act.act, supply), (Act::ChangePack { .. }, Supply::Mains)) {
            let found = Diagnostic::new(
                codes::CONTRADICTION,
                act.spans.at("change_pack"),
                "`change_pack` on mains",
            )
            .label("there is no pack to change")
            .help("give [supply] a battery, or leave this out");
            cx.report(found);
        }
    }
}

/// A container filled over its brim.
fn check_refills(cx: &mut Context, container: Option<&Container>, acts: &[OperatorAct]) {
    for act in acts {
        if let (Act::Refill { level: Some(level) }, Some(container)) = (&act.act, container)
            && *level > container.capacity
        {
            let found = Diagnostic::new(
                codes::CONTRADICTION,
                act.spans.at("refill"),
                "`level` is above the capacity",
            )
            .label(format!("the container holds {}", show::volume(container.capacity)))
            .note_at(container.spans.at("capacity"), "`capacity` is here");
            cx.report(found);
        }
    }
}

/// Faults and acts of a container or tube that the file does not have.
fn check_parts(
    cx: &mut Context,
    container: Option<&Container>,
    tube: Option<&Tube>,
    faults: &[Fault],
    acts: &[OperatorAct],
) {
    let mut report = |place, word: &str, wants: &str, help: &str| {
        let message = format!("`{word}` says nothing without {wants}");
        cx.report(Diagnostic::new(codes::CONTRADICTION, place, message).help(help));
    };
    let contact = container.is_some_and(|container| container.low_contact.is_some());
    for fault in faults {
        let word = fault.kind.word();
        let place = fault.spans.at(word);
        match fault.kind {
            FaultKind::ContainerLow { .. } | FaultKind::LevelBounce { .. } if !contact => {
                report(place, word, "a contact", "give `low_contact` in [container]");
            }
            FaultKind::SqueezeLost { .. } if container.is_none() => {
                report(place, word, "a container", "give [container], which runs out");
            }
            FaultKind::SqueezeLost { flow: None, .. }
                if tube.and_then(|tube| tube.siphon(None)).is_none() =>
            {
                let help = "give `flow`, or a [tube] with `outlet_below` and the length of a line";
                report(place, word, "its flow", help);
            }
            FaultKind::FootValveLeak { .. } if tube.is_none_or(|t| t.lifted().as_nl() == 0) => {
                let help = "give a [tube] with `suction` and `lift`: that is what drains back";
                report(place, word, "a suction line that is lifted", help);
            }
            _ => {}
        }
    }
    for act in acts {
        if matches!(act.act, Act::Refill { .. }) && container.is_none() {
            report(act.spans.at("refill"), "refill", "a container", "give [container]");
        }
    }
}

/// A suction line that does not reach down to the product, and a tube set from the future.
fn check_tube(cx: &mut Context, tube: &Tube, clock: Option<&ClockPlan>) {
    let suction_um = i64::from(tube.suction_um);
    if suction_um > 0 && i64::from(tube.lift_um) > suction_um {
        let metres = |um: i64| format!("{} m", um as f64 / 1e6);
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            tube.spans.at("suction"),
            "`suction` is shorter than the lift",
        )
        .label(format!("the pump is {} above the product", metres(tube.lift_um.into())))
        .note_at(tube.spans.at("lift"), "`lift` is here")
        .help(format!(
            "the line reaches from the product to the pump: {} at least",
            metres(tube.lift_um.into())
        ));
        cx.report(found);
    }
    let start = clock.map(|clock| clock.start.date());
    if let (Some(fitted), Some(start)) = (tube.fitted, start)
        && fitted > start
    {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            tube.spans.at("fitted"),
            "`fitted` lies after the start",
        )
        .label(format!("the run starts on {}", show::date(start)))
        .help("a tube set that is changed in the run is an act: change_tube");
        cx.report(found);
    }
}

/// A named zone has to be one rule over the run.
fn check_zone(cx: &mut Context, clock: &ClockPlan) {
    let utc = |local: Local| clock.zone.zone.to_utc(local, GapRule::Shift);
    let start = utc(clock.start);
    let end = Utc::from_ms(start.as_ms().saturating_add_unsigned(clock.run_for.as_ms()));
    let zones = [("zone", Some(&clock.zone)), ("device_zone", clock.device_zone.as_ref())];
    for (key, zone) in zones.into_iter().filter_map(|(key, zone)| zone.map(|zone| (key, zone))) {
        if let Some((at, real, rule)) = zones::irregular(zone, start, end) {
            let local = Local::from_ms(at.as_ms() + i64::from(real) * 1000);
            let found = Diagnostic::new(
                codes::IRREGULAR_ZONE,
                clock.spans.at(key),
                format!(
                    "{} has changes during the run that its yearly rule does not have",
                    zone.written
                ),
            )
            .label(format!(
                "at {} it is {}, by the rule {} it would be {}",
                show::local(local),
                zones::show_offset(real),
                zone.posix,
                zones::show_offset(rule),
            ))
            .help(format!("for the rule of the years after, write \"{}\"", zone.posix));
            cx.report(found);
        }
    }
}

/// The name of an entry's table with its place, whatever else is wrong in it.
fn name_of(node: &Node) -> Option<(&str, Span)> {
    let Value::Table(table) = &node.value else { return None };
    let name = &table.get("name")?.node;
    match &name.value {
        Value::Text { text, .. } => Some((text, name.span)),
        _ => None,
    }
}

fn items<'a>(table: &'a DocTable, key: &str) -> &'a [Node] {
    match table.get(key).map(|pair| &pair.node.value) {
        Some(Value::List { items, .. }) => items,
        _ => &[],
    }
}

fn inner<'a>(node: &'a Node, key: &str) -> Option<&'a Node> {
    match &node.value {
        Value::Table(table) => table.get(key).map(|pair| &pair.node),
        _ => None,
    }
}

/// Names are unique in a timetable, and every name that is referred to exists.
fn check_names(cx: &mut Context, root: &DocTable) {
    let mut known: BTreeMap<&str, Span> = BTreeMap::new();
    let unique = |cx: &mut Context, nodes: &[&Node]| {
        let mut first: BTreeMap<String, Span> = BTreeMap::new();
        for (name, span) in nodes.iter().filter_map(|node| name_of(node)) {
            if let Some(before) = first.get(name) {
                cx.report(again(name, span, *before));
            } else {
                first.insert(name.to_owned(), span);
            }
        }
    };
    let entries: Vec<&Node> = items(root, "entry").iter().collect();
    unique(cx, &entries);
    known.extend(entries.iter().filter_map(|node| name_of(node)));
    let acts = items(root, "operator");
    let mut leaves = false;
    for act in acts {
        if let Some(Value::Table(timetable)) = inner(act, "timetable").map(|node| &node.value) {
            let entries: Vec<&Node> = items(timetable, "entries").iter().collect();
            unique(cx, &entries);
            for (name, span) in entries.iter().filter_map(|node| name_of(node)) {
                known.entry(name).or_insert(span);
            }
            leaves = true;
        }
        leaves |= inner(act, "remove").is_some();
    }
    // A name may be given again only where some act takes entries away.
    for added in acts.iter().filter_map(|act| inner(act, "add")) {
        if let Some((name, span)) = name_of(added) {
            match known.get(name) {
                Some(before) if !leaves => cx.report(again(name, span, *before)),
                Some(_) => {}
                None => _ = known.insert(name, span),
            }
        }
    }
    for reference in std::mem::take(&mut cx.references) {
        if known.contains_key(reference.name.as_str()) {
            continue;
        }
        let message = format!("there is no entry \"{}\"", reference.name);
        let found = Diagnostic::new(codes::UNKNOWN_ENTRY, reference.span, message)
            .label("no entry of this name");
        let names: Vec<&str> = known.keys().copied().collect();
        cx.report(match nearest(&reference.name, names.iter().copied()) {
            Some(near) => found.help(format!("did you mean \"{near}\"?")),
            None if names.is_empty() => found.help("the file has no entries"),
            None => found.help(format!("entries: {}", names.join(", "))),
        });
    }
}

fn again(name: &str, span: Span, first: Span) -> Diagnostic {
    Diagnostic::new(codes::DUPLICATE, span, format!("a second entry is named \"{name}\""))
        .label("the name is taken")
        .note_at(first, "first used")
        .help("give each entry a name of its own")
}

/// What moments are read against.
fn bounds(
    start: Option<Local>,
    run_for: Option<dosewright_core::time::Duration>,
    zone: Option<Zone>,
) -> Option<RunBounds> {
    start.map(|start| RunBounds { start, run_for, zone })
}

#[cfg(test)]
mod tests {
    use super::super::keys::{Kind, Need, ROOT, Table};
    use super::*;

    const EVERYTHING: &str = include_str!("../everything.toml");

    /// Calls `visit` for each key of a table and of the tables in it, in order,
    /// until it says to take the key out; whether one was taken out.
    fn take_out(
        table: &mut DocTable,
        spec: &'static Table,
        visit: &mut impl FnMut(&'static Table, &str) -> bool,
    ) -> bool {
        let keys: Vec<String> = table.pairs.iter().map(|pair| pair.key.clone()).collect();
        for key in keys {
            if visit(spec, &key) {
                table.remove(&key);
                return true;
            }
            let node =
                table.pairs.iter_mut().find(|pair| pair.key == key).map(|pair| &mut pair.node);
            let kind = spec.key(&key).map(|key| key.kind);
            let taken = match (kind, node.map(|node| &mut node.value)) {
                (Some(Kind::Table(spec)), Some(Value::Table(inner))) => {
                    take_out(inner, spec, visit)
                }
                (Some(Kind::Tables(spec)), Some(Value::List { items, .. })) => {
                    items.iter_mut().any(|item| match &mut item.value {
                        Value::Table(inner) => take_out(inner, spec, visit),
                        _ => false,
                    })
                }
                _ => false,
            };
            if taken {
                return true;
            }
        }
        false
    }

    #[test]
    fn without_any_one_key_a_file_is_refused_for_it_or_read_whole() {
        let mut nth = 0;
        loop {
            let doc::Document { mut root, .. } = doc::parse(EVERYTHING);
            let (mut count, mut taken) = (0, None);
            let found = take_out(&mut root, &ROOT, &mut |spec, key| {
                count += 1;
                taken = Some((spec, key.to_owned()));
                count > nth
            });
            if !found {
                break;
            }
            nth += 1;
            let (spec, key) = taken.unwrap();
            let mut cx = Context::new(Vec::new(), Vec::new());
            let span = Span::new(0, 1);
            let scenario = scenario(cx.open_table(&ROOT, &root, span));
            let found: Vec<(&str, &str)> =
                cx.problems.iter().map(|p| (p.code, p.message.as_str())).collect();
            let place = format!("{} without {key}: {found:?}", spec.name);
            let need = spec.key(&key).unwrap().need;
            match need {
                Need::Required => {
                    let named = format!("has no `{key}`");
                    assert!(
                        found
                            .iter()
                            .any(|(code, m)| *code == codes::MISSING_KEY && m.ends_with(&named)),
                        "{place}"
                    );
                }
                Need::OneOf => {
                    assert!(found.iter().any(|(code, _)| *code == codes::WRONG_VARIANT), "{place}");
                }
                Need::AnyOf | Need::Optional => {
                    // Keys that say nothing without another are refused for it;
                    // a name that is gone is looked for elsewhere.
                    let allowed = [codes::CONTRADICTION, codes::WRONG_VARIANT];
                    assert!(found.iter().all(|(code, _)| allowed.contains(code)), "{place}");
                    assert!(scenario.is_some(), "{place}");
                }
            }
        }
        assert!(nth > 200, "{nth}");
    }
}
