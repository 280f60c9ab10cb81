use super::*;
use crate::check;

const NIGHT: &str = r#"
schema = 1

[clock]
start = 2026-10-05T00:00:00
zone = "UTC0"
run_for = "2 days"

[head]
flow = "26.5 ml/min"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 30

[[expect]]
outcomes = { dosed = 1 }
"#;

fn plan(kinds: &[&'static str], moments: &Moments) -> Plan {
    let (scenario, _) = check::read("night.toml", NIGHT);
    Plan::new(NIGHT, &scenario.unwrap(), kinds.to_vec(), moments, 1).unwrap()
}

fn verdicts(plan: &Plan) -> Vec<Verdict> {
    (0..plan.len()).map(|at| plan.cell(at).unwrap().verdict).collect()
}

#[test]
fn the_phases_of_a_dose_are_where_they_are() {
    let plan = plan(&["supply_loss"], &Moments::DosePhases);
    let at: Vec<(&str, &str)> =
        plan.moments.iter().map(|m| (m.name.as_str(), m.at.as_str())).collect();
    // 120 ml at 26.5 ml/min are 271 698 ms: 30 pulses of 9 056 ms, one each 90 s
    assert_eq!(at[0], ("before due", "+1 d 44 min"));
    assert_eq!(at[1], ("at due", "+1 d 45 min"));
    assert_eq!(at[2], ("in pulse 1", "+1 d 45 min 4 s 528 ms"));
    assert_eq!(at[3], ("in gap 1", "+1 d 45 min 49 s 528 ms"));
    assert_eq!(at[6].0, "at outcome");
    assert_eq!(verdicts(&plan), vec![Verdict::Held; plan.moments.len()]);
}

#[test]
fn a_fault_without_its_part_of_the_world_never_takes_effect() {
    let plan = plan(&["container_low", "watchdog_reset"], &Moments::Spread(3));
    use Verdict::{Held, Invalid};
    assert_eq!(verdicts(&plan), [Invalid, Invalid, Invalid, Held, Held, Held]);
    let cell = plan.cell(0).unwrap();
    assert!(cell.findings[0].contains("says nothing without a contact"), "{:?}", cell.findings);
}

#[test]
fn every_kind_of_fault_is_swept_and_a_full_queue_holds() {
    let words = FaultKind::WORDS.map(str::to_owned);
    assert_eq!(kinds(&words).unwrap(), FaultKind::WORDS);
    let plan = plan(&["queue_flood"], &Moments::DosePhases);
    assert_eq!(verdicts(&plan), vec![Verdict::Held; plan.moments.len()]);
}

#[test]
fn each_dose_is_a_moment_and_a_moment_can_be_said() {
    assert_eq!(plan(&["leak"], &Moments::EveryDue).moments.len(), 1);
    let said = plan(&["leak"], &Moments::At("dose 1 pulse 2".to_owned()));
    let cell = said.cell(0).unwrap();
    assert!(cell.verdict == Verdict::Held && cell.text.contains("at = \"dose 1 pulse 2\""));
    let never = plan(&["leak"], &Moments::At("dose 9 pulse 1".to_owned()));
    assert_eq!(verdicts(&never), [Verdict::Invalid]);
    let bad = plan(&["leak"], &Moments::At("sometime".to_owned()));
    assert_eq!(verdicts(&bad), [Verdict::Invalid]);
    assert!(kinds(&["leak".to_owned(), "rain".to_owned()]).unwrap_err().contains("rain"));
}

#[test]
fn a_file_with_its_faults_on_a_line_is_swept_as_any_other() {
    let line = "fault = [{ at = \"+1 d\", leak = { lasts = \"1 min\" } }]";
    let text = format!("{line}{NIGHT}");
    let (scenario, problems) = check::read("night.toml", &text);
    let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
    let moments = Moments::At("+1 d 45 min".to_owned());
    assert_eq!(bad_moment(&text, "+1 d 45 min"), None);
    let plan = Plan::new(&text, &scenario, vec!["leak", "supply_loss"], &moments, 1).unwrap();
    assert_eq!(verdicts(&plan), [Verdict::Held, Verdict::Held]);
    assert_eq!(plan.cell(0).unwrap().text.matches("[[fault]]").count(), 2);
}

/// The memory changes its sector in the third week.
fn weeks() -> String {
    NIGHT
        .replace("2 days", "40 days")
        .replace("[\"mon\"]", "[\"mon\", \"thu\", \"sat\"]")
        .replace("[[entry]]", "[memory]\nsectors = 3\nsector = \"32 KiB\"\n\n[[entry]]")
}

#[test]
fn a_moment_that_is_asked_for_by_its_time_is_given_the_same_fault() {
    let text = weeks();
    let (scenario, problems) = check::read("weeks.toml", &text);
    let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
    let kinds = ["memory_tear", "bit_flip", "page_worn"];
    let plan = |moments: &Moments| Plan::new(&text, &scenario, kinds.to_vec(), moments, 1).unwrap();
    let all = plan(&Moments::DosePhases);
    assert!(all.moments.iter().any(|moment| moment.name == "sector change"), "{:?}", all.moments);
    for (at, moment) in all.moments.iter().enumerate() {
        let one = plan(&Moments::At(moment.at.clone()));
        for kind in 0..kinds.len() {
            let cell = all.cell(kind * all.moments.len() + at).unwrap();
            let again = one.cell(kind).unwrap();
            assert_eq!((&again.put, &again.text), (&cell.put, &cell.text), "{moment:?}");
            let erases = kind == 0 && moment.name == "sector change";
            assert_eq!(cell.put.contains("erase"), erases, "{cell:?}");
        }
    }
}

#[test]
fn memory_is_damaged_where_it_was_written_last_however_the_moment_is_said() {
    let kinds = ["bit_flip"];
    let put = |at: &str| plan(&kinds, &Moments::At(at.to_owned())).cell(0).unwrap().put;
    // the second of 30 pulses of 45 min
    let told = put("+1 d 46 min 30 s");
    assert_ne!(told, put("+0 s"), "the record of a pulse, not of the start");
    assert_eq!(put("dose 1 pulse 2"), told);
    assert_eq!(put("tue 00:46:30"), told);
    assert_eq!(put("2026-10-06 00:46:30"), told);
    // of one that never comes: where the memory was written last of all
    assert_eq!(put("dose 9 pulse 1"), put("+2 d"));
}
