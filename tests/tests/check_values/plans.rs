//! Worked figures of the trade as the plan of a brief gives them: common practice, no
//! source.

use dosewright_sim::plan::{Place, Plan, plan};
use dosewright_sim::{check, forecast, scenario};

use crate::same;

/// A place whose water is on from `opens` to `closes`; settling, contact and clear time as
/// they are unless said, which is common practice: 30 min, 5 h, 2 h.
fn made(site: &str, label: &str, (opens, closes): (&str, &str), more: &str) -> Plan {
    let text = format!(
        r#"schema = 1
[site]
first = 2026-11-02
zone = "UTC0"
{site}
[label]
{label}
[head]
flow = "26.5 ml/min"
[[trading]]
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
opens = "{opens}"
closes = "{closes}"
{more}"#
    );
    let (brief, _) = scenario::read_brief("brief.toml", &text).unwrap_or_else(|e| panic!("{e:?}"));
    plan(&brief, None)
}

const DOSE: &str = "dose = \"144 ml\"";

/// Where the dose of every night lies.
#[track_caller]
fn place(made: &Plan) -> Place {
    let [phase] = &made.phases[..] else { panic!("{made:?}") };
    let places: Vec<Place> = phase.nights.iter().copied().flatten().collect();
    assert!(places.windows(2).all(|pair| pair[0] == pair[1]), "{places:?}");
    places[0]
}

/// Minutes from noon of a time of day.
const fn at(h: u32, min: u32) -> u32 {
    (h + 12) % 24 * 60 + min
}

/// Water off 00:15, on 06:30, contact 5 h: 00:45 to 01:30.
#[test]
fn the_night_planner() {
    // a window that is wanted longer than there is room for takes all of it
    let long = "window = \"3 h\"";
    let found = made(long, DOSE, ("06:30", "00:15"), "");
    assert_eq!(place(&found), Place { start: at(0, 45), window: 45 });
    // an hour's contact more leaves nothing
    let found = made(&format!("{long}\ncontact = \"6 h\""), DOSE, ("06:30", "00:15"), "");
    assert!(found.phases.is_empty(), "{found:?}");
    assert!(found.misfits[0].contains("no water for 6 h 15 min"), "{:?}", found.misfits);
    // closed at 22:00: the slot may lie before midnight, 22:30 to 01:00
    let found = made(long, DOSE, ("06:00", "22:00"), "");
    assert_eq!(place(&found), Place { start: at(22, 30), window: 150 });
}

/// Bleach Sunday 23:00: none before 01:00.
#[test]
fn keep_clear_of_bleach() {
    const BLEACH: &str = "[[cleaning]]\ndays = [\"sun\"]\nat = \"23:00\"\n";
    let start = |water: (&str, &str), more: &str| {
        place(&made("nights = [\"sun\"]", DOSE, water, &format!("{BLEACH}{more}"))).start
    };
    assert_eq!(start(("09:00", "22:30"), ""), at(1, 0));
    assert_eq!(start(("09:00", "00:15"), ""), at(1, 0));
    // before it too: a dose of 45 min has to be over two hours before
    assert_eq!(start(("09:00", "19:45"), ""), at(20, 15));
    assert_eq!(start(("09:00", "19:50"), ""), at(1, 0));
    // out of one cleaning's reach into the next one's
    let next = "[[cleaning]]\ndays = [\"mon\"]\nat = \"03:00\"\nlasts = \"30 min\"\n";
    assert_eq!(start(("11:30", "22:30"), next), at(5, 30));
}

/// 1.8 m3, 250 ml/m3 for 14 nights, then 80: 450, then 144 ml; 30 days 8.604 l.
#[test]
fn the_labels_rate_and_phases() {
    let label =
        "rate = \"80 ml/m3\"\nof = \"1800 l\"\nstart_up_rate = \"250 ml/m3\"\nstart_up_nights = 14";
    let found = made("", label, ("06:30", "00:15"), "");
    let doses: Vec<u64> = found.phases.iter().map(|phase| phase.dose.as_nl() / 1_000_000).collect();
    assert_eq!(doses, [450, 144]);
    // the scenario that is planned: from noon on, so that the first night is the day after
    let (scenario, _) = check::read("plan.toml", &found.text);
    let days = forecast::days(&scenario.unwrap(), 31);
    let nights = |count: usize| days[..=count].iter().map(|day| day.volume_ml).sum::<f64>();
    same(nights(30), 8604.0, 6);
    same(nights(10), 4500.0, 6);
}
