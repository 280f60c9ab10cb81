//! `[separator]`.

use super::super::doc::{Node, Value};
use super::super::keys;
use super::super::model::{ClockPlan, Dip, Separator};
use super::super::quantity::show;
use super::super::reader::{Context, TableReader};
use super::list;
use crate::diagnose::{Diagnostic, codes};

pub(super) fn separator(mut t: TableReader) -> Option<Separator> {
    let depth_um = t.quantity_u32("depth");
    let limit_ppm = t.quantity_u32("limit");
    let emptied = t.date("emptied");
    let is_empty = matches!(
        t.node("dips").map(|(node, _)| &node.value),
        Some(Value::List { items, .. }) if items.is_empty()
    );
    if is_empty {
        let found = Diagnostic::new(codes::CONTRADICTION, t.place("dips"), "`dips` is empty")
            .label("nothing was found in it yet")
            .help("give what the last dip found, or leave [separator] out");
        t.cx.report(found);
    }
    let dips = list(&mut t, "dips", dip);
    let spans = t.finish();
    Some(Separator { depth_um: depth_um?, limit_ppm, emptied, dips, spans })
        .filter(|s| !s.dips.is_empty())
}

fn dip(cx: &mut Context, node: &Node) -> Option<Dip> {
    let mut t = cx.open(&keys::DIP, node)?;
    let date = t.date("date");
    let grease_um = t.quantity_u32("grease");
    let solids_um = t.quantity_u32("solids");
    let spans = t.finish();
    Some(Dip { date: date?, grease_um: grease_um?, solids_um: solids_um?, spans })
}

/// What cannot be: a dip of more than the depth, one before the other, one from the future, an
/// emptying from there.
pub(super) fn check(cx: &mut Context, separator: &Separator, clock: Option<&ClockPlan>) {
    let mm = |um: u32| format!("{} mm", f64::from(um) / 1e3);
    let start = clock.map(|clock| clock.start.date());
    if let (Some(_), Some(start)) =
        (separator.emptied.filter(|at| start.is_some_and(|s| *at > s)), start)
    {
        let at = separator.spans.at("emptied");
        let message = "the separator is emptied after the start";
        let found = Diagnostic::new(codes::CONTRADICTION, at, message)
            .label(format!("the run starts on {}", show::date(start)))
            .help("what is reckoned from the start on knows of no later emptying: leave it out, or let `start` be that day");
        cx.report(found);
    }
    let mut before: Option<&Dip> = None;
    for dip in &separator.dips {
        if dip.thick_um() > separator.depth_um {
            let message = "grease and solids are more than the depth";
            let found = Diagnostic::new(codes::CONTRADICTION, dip.spans.at("grease"), message)
                .label(format!("{} with the solids", mm(dip.thick_um())))
                .note_at(separator.spans.at("depth"), "`depth` is here")
                .help("the depth is from the surface down to the floor: measure all three at one place");
            cx.report(found);
        }
        let at = dip.spans.at("date");
        if let Some(before) = before.filter(|before| dip.date <= before.date) {
            let message = "the dips are not in the order of their dates";
            let found = Diagnostic::new(codes::CONTRADICTION, at, message)
                .label(format!("the one before is of {}", show::date(before.date)))
                .note_at(before.spans.at("date"), "it is here")
                .help("put the earliest first; of two on one day keep the one to go by");
            cx.report(found);
        }
        before = Some(dip);
        if let Some(start) = start.filter(|start| dip.date > *start) {
            let found = Diagnostic::new(codes::CONTRADICTION, at, "the dip lies after the start")
                .label(format!("the run starts on {}", show::date(start)))
                .help("what is reckoned from the start on knows no later dip: leave it out, or let `start` be that day");
            cx.report(found);
        }
    }
}
