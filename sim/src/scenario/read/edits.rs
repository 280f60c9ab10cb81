//! What edits leave an entry with: an interval is blind to the calendar, and the device
//! takes no dates for it.

use std::collections::BTreeMap;

use super::super::model::{Act, Change, Edit, EntryPlan, Moment, OperatorAct};
use super::super::reader::Context;
use crate::diagnose::{Diagnostic, Spans, codes};

/// Goes through the acts as they come and tells of each edit that gives an interval dates,
/// or makes an interval of an entry that has some.
pub(super) fn check(cx: &mut Context, entries: &[EntryPlan], acts: &[OperatorAct]) {
    let mut known: BTreeMap<&str, EntryPlan> =
        entries.iter().map(|plan| (plan.name.as_str(), plan.clone())).collect();
    let Some(bounds) = cx.bounds else { return };
    // an act at a pulse comes who knows when
    let at_ms = |act: &OperatorAct| match act.at {
        Moment::Local(local) => Some(bounds.ms_after_start(local)),
        Moment::After(after) => i64::try_from(after.as_ms()).ok(),
        Moment::Pulse { .. } => None,
    };
    for act in acts.iter().filter(|act| at_ms(act).is_none()) {
        match &act.act {
            Act::Edit { entry, .. } | Act::Remove(entry) => {
                known.remove(entry.name.as_str());
            }
            Act::Timetable(_) => return,
            _ => {}
        }
    }
    let mut acts: Vec<(i64, &OperatorAct)> =
        acts.iter().filter_map(|act| Some((at_ms(act)?, act))).collect();
    acts.sort_by_key(|(at_ms, _)| *at_ms);
    for (_, act) in acts {
        match &act.act {
            Act::Edit { entry, edit, spans } => {
                let Some(plan) = known.get_mut(entry.name.as_str()) else { continue };
                match dated_interval(plan, edit, spans) {
                    Some(found) => cx.report(found),
                    // what is refused changes nothing
                    None => *plan = edit.apply(plan),
                }
            }
            Act::Remove(entry) => _ = known.remove(entry.name.as_str()),
            Act::Add(plan) => _ = known.insert(plan.name.as_str(), (**plan).clone()),
            Act::Timetable(plans) => {
                known = plans.iter().map(|plan| (plan.name.as_str(), plan.clone())).collect();
            }
            _ => {}
        }
    }
}

/// An edit after which an interval has dates.
fn dated_interval(plan: &EntryPlan, edit: &Edit, spans: &Spans) -> Option<Diagnostic> {
    let after = edit.apply(plan);
    if after.is_weekly() {
        return None;
    }
    let given = [("first", edit.first), ("last", edit.last)];
    let given = given.iter().find(|(_, change)| change.and_then(Change::value).is_some());
    if let Some((key, _)) = given {
        let message = format!("`{key}` is for weekly entries only");
        let found = Diagnostic::new(codes::CONTRADICTION, spans.at(key), message);
        return Some(
            found
                .label(format!("\"{}\" counts an interval, blind to the calendar", plan.name))
                .help("leave it out, or make the entry `weekly` in the same edit"),
        );
    }
    let kept: Vec<&str> = [("first", after.first), ("last", after.last)]
        .into_iter()
        .filter_map(|(key, date)| date.map(|_| key))
        .collect();
    if kept.is_empty() {
        return None;
    }
    let message = format!("an interval has no dates, and \"{}\" has some", plan.name);
    let place = spans.at(if edit.recurrence.is_some() { "every" } else { "entry" });
    let cleared: Vec<String> = kept.iter().map(|key| format!("{key} = \"none\"")).collect();
    Some(
        Diagnostic::new(codes::CONTRADICTION, place, message)
            .label(format!("the entry has `{}`", kept.join("` and `")))
            .help(format!("take it away in the same edit: {}", cleared.join(", "))),
    )
}

#[cfg(test)]
mod tests {
    use crate::scenario;

    /// The problems of a site of two entries with acts, as what is underlined and the message.
    fn told(acts: &str) -> Vec<(String, String, Option<String>)> {
        let text = format!(
            "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
             run_for = \"20 days\"\n[head]\nflow = \"26.5 ml/min\"\n\
             [[entry]]\nname = \"night\"\nweekly = {{ nights = [\"mon\"], at = \"03:00\" }}\n\
             volume = \"30 ml\"\nwindow = \"30 min\"\nfirst = 2026-10-06\n\
             [[entry]]\nname = \"often\"\nevery = {{ interval = \"6 h\" }}\n\
             volume = \"30 ml\"\nwindow = \"30 min\"\n{acts}"
        );
        let (_, problems) = scenario::read_what_there_is("a.toml", &text);
        let of = |p: &crate::diagnose::Diagnostic| {
            (p.span.of(&text).to_owned(), p.message.clone(), p.help.clone())
        };
        problems.iter().map(of).collect()
    }

    fn edit(at: &str, what: &str) -> String {
        format!("[[operator]]\nat = \"{at}\"\nedit = {{ {what} }}\n")
    }

    const DATED: &str = "entry = \"often\", first = 2026-10-10";
    const EVERY: &str = "entry = \"night\", every = { interval = \"2 d\" }";

    #[test]
    fn an_edit_that_leaves_an_interval_with_dates_is_an_error() {
        let found = told(&edit("+2 d", DATED));
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, "2026-10-10");
        assert_eq!(found[0].1, "`first` is for weekly entries only");
        let found = told(&edit("+2 d", EVERY));
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].1, "an interval has no dates, and \"night\" has some");
        let help = "take it away in the same edit: first = \"none\"";
        assert_eq!(found[0].2.as_deref(), Some(help));
    }

    #[test]
    fn edits_are_taken_in_the_order_of_their_times() {
        let weekly = "entry = \"often\", weekly = { days = [\"mon\"], at = \"09:00\" }";
        let clear = "entry = \"night\", first = \"none\"";
        for good in [
            edit("+2 d", DATED) + &edit("+1 d", weekly),
            edit("+2 d", EVERY) + &edit("+1 d", clear),
            edit("+2 d", &format!("{EVERY}, first = \"none\"")),
            // made anew by the same name
            edit("+3 d", DATED)
                + "[[operator]]\nat = \"+1 d\"\nremove = { entry = \"often\" }\n[[operator]]\n\
                   at = \"+2 d\"\nadd = { name = \"often\", volume = \"9 ml\", window = \"1 h\", \
                   weekly = { days = [\"tue\"], at = \"10:00\" } }\n",
        ] {
            assert_eq!(told(&good), [], "{good}");
        }
        for bad in [
            edit("+1 d", DATED) + &edit("+2 d", weekly),
            edit("2026-10-06 01:00", EVERY) + &edit("+2 d", clear),
        ] {
            assert_eq!(told(&bad).len(), 1, "{bad}");
        }
    }
}
