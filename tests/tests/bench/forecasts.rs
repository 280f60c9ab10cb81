//! Forecasts against worked figures and against the simulated memory.

use std::fmt::Write as _;

use dosewright_core::civil::{Date, Local};
use dosewright_core::time::Duration;
use dosewright_core::zone::Zone;
use dosewright_sim::forecast::{changes, days, figures, forecast, warnings};
use dosewright_sim::image;
use dosewright_sim::run::{self, Options};
use dosewright_sim::scenario::{self, Scenario, show};
use dosewright_sim::trade::tube_set::Governs;

fn site(more: &str) -> Scenario {
    let text = format!(
        r#"schema = 1
[clock]
start = 2026-11-02T12:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "28 days"
[head]
flow = "26.5 ml/min"
rollers = 3
volume_per_roller_pass = "0.29 ml"
[[entry]]
name = "drain line"
weekly = {{ nights = ["mon", "tue", "wed", "thu", "fri", "sat"], at = "00:45" }}
volume = "144 ml"
window = "45 min"
pulses = 30
{more}"#
    );
    scenario::read("site.toml", &text).unwrap_or_else(|e| panic!("{text}{e:?}")).0
}

const PACK: &str = "[supply]\nbattery = { type = \"LR20\", self_discharge = \"0 %\" }\n";
const STOCK: &str = "[container]\ncapacity = \"10 l\"\nlevel = \"8.1 l\"\nheel = \"0.4 l\"\n";

#[test]
fn the_range_of_a_pack_and_the_next_visit_as_worked_by_hand() {
    let found = forecast(&site(&format!("{PACK}{STOCK}")));
    let pack = found.pack.as_ref().unwrap();
    // the range begins a quarter before its 30 weeks
    assert!((pack.until.least / pack.until.days - 0.75).abs() < 0.01, "{pack:?}");
    // and ends where fresh cells do: 1 % more than 10.86 Ah x 0.7, of which a week's sleep
    // takes 10.1 mAh x 10.86 / 20 and its starts 1.8 mAh x 10.86 / 8.17: 7.68 Ah / 198 mAh
    assert!((pack.until.most - 271.5).abs() < 3.0, "{pack:?}");
    let stock = found.stock.as_ref().unwrap();
    assert_eq!(found.date(62.0).map(show::date).as_deref(), Some("2027-01-03"));
    let next = found.next().unwrap();
    assert!(next.reason.contains("container") && next.days <= stock.until.days, "{next:?}");
}

#[test]
fn what_each_start_takes_is_pumping_too() {
    let scenario = site(PACK);
    let plain = days(&scenario, 7);
    let mut slow = scenario;
    slow.head.head.lead_ms = 1_000;
    let longer = days(&slow, 7);
    let hours =
        |days: &[dosewright_sim::forecast::Day]| days.iter().map(|d| d.pumping_h).sum::<f64>();
    // six nights of 30 pulses, a second each
    let starts = longer.iter().map(|day| day.starts).sum::<f64>();
    assert!((hours(&longer) - hours(&plain) - starts / 3600.0).abs() < 1e-9);
    assert!(starts >= 150.0, "{starts}");
}

#[test]
fn a_tube_set_that_is_old_worn_or_drifting_is_due_earlier() {
    let tube = |more: &str| forecast(&site(&format!("[tube]\nbore = \"4.8 mm\"\n{more}"))).tube;
    let old = tube("fitted = 2026-05-01\n");
    assert_eq!((old.days, old.governs), (365.0 - 185.0, Governs::Calendar));
    let worn = tube("pumped = \"495 h\"\n");
    assert!(worn.governs == Governs::Hours && worn.days > 55.0 && worn.days < 75.0, "{worn:?}");
    let drifting = tube("drift_a_year = \"20 %\"\n");
    assert_eq!((drifting.days, drifting.governs), (182.5, Governs::Drift));
}

#[test]
fn closed_dates_phases_and_intervals_are_in_the_days() {
    let plain = days(&site(""), 365);
    let doses = |days: &[dosewright_sim::forecast::Day]| days.iter().map(|d| d.doses).sum::<u32>();
    // 2026-11-02, a Monday, at noon: nights of mon to sat run on tue to sun
    assert_eq!((plain[0].doses, plain[1].doses, plain[7].doses), (0, 1, 0));
    let closed = days(&site("[[closed]]\nfirst = 2026-12-24\nlast = 2027-01-03\n"), 365);
    // 24 December to 3 January: eleven nights, of which one is a Sunday's twice
    assert_eq!(doses(&plain) - doses(&closed), 9);
    let every = "[[entry]]\nname = \"trickle\"\nevery = { interval = \"6 h\" }\nvolume = \"15 ml\"\nwindow = \"5 min\"\n";
    let with = days(&site(every), 365);
    // from noon on: two on the first day, four on each day after
    assert_eq!((with[0].doses, with[10].doses - plain[10].doses), (2, 4));
}

#[test]
fn a_contact_closes_with_the_dose_that_brings_the_level_down_to_it() {
    let low = |level: &str, contact: &str| {
        let stock = format!(
            "[container]\ncapacity = \"10 l\"\nlevel = \"{level}\"\nlow_contact = \"{contact}\"\n"
        );
        let found = forecast(&site(&stock));
        found.date(found.stock.as_ref().unwrap().low_days.unwrap()).map(show::date)
    };
    // six doses of 144 ml take 864 ml: the sixth runs in the night of Saturday
    assert_eq!(low("5 l", "4.136 l").as_deref(), Some("2026-11-08"));
    // a microlitre lower it is the seventh, in Monday's
    assert_eq!(low("5 l", "4135.999 ml").as_deref(), Some("2026-11-10"));
    // it is closed from the start on
    assert_eq!(low("3 l", "3 l").as_deref(), Some("2026-11-02"));
    assert_eq!(low("3 l", "4 l").as_deref(), Some("2026-11-02"));
}

#[test]
fn parts_of_a_millilitre_add_up_exactly() {
    // ten doses of 33.3 ml, the last of which the container holds in full
    let odd = "[[entry]]\nname = \"odd\"\nweekly = { days = [\"mon\"], at = \"13:00\" }\nvolume = \"33.3 ml\"\nwindow = \"20 min\"\n";
    let stock = "[container]\ncapacity = \"10 l\"\nlevel = \"433 ml\"\nheel = \"100 ml\"\n";
    let mut scenario = site(&format!("{odd}{stock}"));
    scenario.entries.remove(0);
    let found = forecast(&scenario);
    // Monday 2 November and 10 weeks: the dose that the container lacks
    let until = found.date(found.stock.as_ref().unwrap().until.days).map(show::date);
    assert_eq!(until.as_deref(), Some("2027-01-11"));
}

#[test]
fn doses_lie_on_the_days_that_the_clock_on_the_wall_shows() {
    let doses = |zone: &str, entry: &str| {
        let mut scenario = site(&format!(
            "[[entry]]\nname = \"odd\"\n{entry}\nvolume = \"15 ml\"\nwindow = \"5 min\"\n"
        ));
        scenario.entries.remove(0);
        scenario.clock.start = Local::new(Date::from_ymd(2027, 3, 27).unwrap(), Duration::ZERO);
        scenario.clock.zone.zone = Zone::parse(zone).unwrap();
        days(&scenario, 4).iter().map(|day| day.doses).collect::<Vec<_>>()
    };
    // spring is on 28 March: 24 h after 23:30 of the 27th it is 00:30 of the 29th
    let every = "every = { interval = \"24 h\", from = \"2027-03-27 23:30\" }";
    assert_eq!(doses("CET-1CEST,M3.5.0,M10.5.0/3", every), [1, 0, 1, 1]);
    assert_eq!(doses("CET-1", every), [1, 1, 1, 1]);
    // and a dose in an hour that is skipped before midnight runs on the day after
    let weekly = "weekly = { days = [\"sun\"], at = \"23:30\" }";
    assert_eq!(doses("CET-1CEST,M3.5.0/23,M10.5.0/3", weekly), [0, 0, 1, 0]);
    assert_eq!(doses("CET-1", weekly), [0, 1, 0, 0]);
}

#[test]
fn what_would_help_is_tried_and_ranked() {
    let scenario = site(&format!("{PACK}{STOCK}"));
    let before = forecast(&scenario);
    let found = changes(&scenario, &before);
    let place = |what: &str| found.iter().position(|c| c.what.contains(what)).unwrap();
    assert_eq!(place("twice the size"), 0, "{found:?}");
    let mains = &found[place("mains")];
    assert_eq!((mains.pack_days, mains.visit_days), (Some(f64::INFINITY), 0.0));
    let warm = &found[place("room temperature")];
    // 80 % for 56 %: as much longer
    let gain = warm.pack_days.unwrap() / before.pack.as_ref().unwrap().until.days;
    assert!((gain - (0.8 / 0.56 - 1.0)).abs() < 0.01, "{warm:?}");
    assert!(found.windows(2).all(|pair| pair[0].visit_days >= pair[1].visit_days));
    // with starts that cost, half as many pulses are worth naming: 90 to 45
    let hard = site(&format!(
        "{PACK}[motor]\nvoltage = \"6 V\"\nstart_current = \"1.5 A\"\nstart_for = \"500 ms\"\n"
    ));
    let found = changes(&hard, &forecast(&hard));
    assert!(found.iter().any(|c| c.what.starts_with("half as many pulses")), "{found:?}");
}

#[test]
fn heights_and_thin_doses_are_warned_about() {
    let lines = |tube: &str| {
        let scenario = site(&format!("{STOCK}[tube]\n{tube}"));
        let found = figures(&scenario, 144.0);
        warnings(&scenario, &found).join("\n")
    };
    let quiet = "bore = \"4.8 mm\"\nsuction = \"2 m\"\nlift = \"1 m\"\n";
    assert_eq!(lines(quiet), "");
    let high = lines("bore = \"4.8 mm\"\nsuction = \"3 m\"\nlift = \"2.2 m\"\n");
    assert!(high.starts_with("suction: 2.2") && !high.contains("drain-back"), "{high}");
    let over = lines("bore = \"4.8 mm\"\nsuction = \"12 m\"\nlift = \"11 m\"\n");
    assert!(over.contains("nothing will come") && over.contains("drain-back"), "{over}");
    // common practice, no source: 3.2 mm, 3 m, 1.2 m: about 350 ml/min, 7 l in 20 min
    let siphon = lines(
        "bore = \"3.2 mm\"\nsuction = \"1 m\"\ndischarge = \"2 m\"\noutlet_below = \"1.2 m\"\n",
    );
    assert!(siphon.contains("transitional") && siphon.contains("in about 2"), "{siphon}");
}

/// M3: what the forecast says of the memory is what the simulated part counts.
#[test]
fn m3_the_erases_that_are_forecast_are_those_that_are_counted() {
    let mut more = String::new();
    for (days, run) in [
        ("", 1095_u32),
        (
            "[[entry]]\nname = \"trickle\"\nevery = { interval = \"3 h\", from = \"2026-11-02 14:15\" }\nvolume = \"15 ml\"\nwindow = \"5 min\"\n",
            730,
        ),
        // a pulse a dose, each in two slots, and nothing that is in their way
        (
            "[[entry]]\nname = \"tick\"\nevery = { interval = \"15 min\" }\nvolume = \"5 ml\"\nwindow = \"1 min\"\npulses = 1\n",
            180,
        ),
    ] {
        more.clear();
        _ = write!(more, "{days}");
        let mut scenario = site(&more);
        if days.contains("tick\"") {
            scenario.entries.remove(0);
        }
        scenario.clock.run_for = dosewright_core::time::Duration::from_h(u64::from(run) * 24);
        let wear = forecast(&scenario).wear;
        let end = run::run(&scenario, &Options::default(), &mut Blind).unwrap();
        let each = f64::from(*end.erases.iter().max().unwrap());
        let said = wear.erases_a_year * f64::from(run) / 365.25;
        // a sector more or less has come round at the end
        assert!((each - said).abs() < 1.0 + 0.03 * said, "counted {each}, forecast {said}");
        assert!(each > 20.0, "{each} erases show nothing");
        assert!(wear.years > 20.0, "{wear:?}");
        // the oldest record is as old as is said, or up to a sector older
        let kept = kept_days(&end.image, run) / wear.kept_days;
        let most = 1.15 * f64::from(wear.sectors) / f64::from(wear.sectors - 1);
        assert!((1.0..most).contains(&kept), "{kept} of {wear:?}");
    }
}

/// How old the oldest record of a memory is whose older ones were overwritten, in days.
fn kept_days(image: &[u8], run_days: u32) -> f64 {
    let since = image::read(image, image::Hints::default()).unwrap().since.unwrap();
    assert!(since.overwritten);
    f64::from(run_days) - since.at_ms as f64 / 86.4e6
}

/// It is "at least": also where the doses of a year come in one season, on a pack, and with
/// doses that lie on the hour, so that no stamp falls out.
#[test]
fn m3_a_record_is_kept_for_as_long_as_is_forecast_in_the_busiest_stretch() {
    let mut lines = String::new();
    for line in 0..5 {
        _ = write!(
            lines,
            "[[entry]]\nname = \"line {line}\"\nweekly = {{ days = [\"mon\", \"tue\", \"wed\", \
             \"thu\", \"fri\", \"sat\", \"sun\"], at = \"{:02}:00\" }}\nfirst = 2027-01-01\n\
             last = 2027-03-31\nvolume = \"120 ml\"\nwindow = \"45 min\"\n",
            3 + 3 * line
        );
    }
    let mut scenario = site(&format!("{PACK}{lines}"));
    scenario.clock.run_for = Duration::from_h(24 * 200);
    let said = forecast(&scenario).wear.kept_days;
    let mut least = f64::INFINITY;
    // from full season on to its end, and after it, when the sectors last longer again
    for run in (75..150).step_by(3) {
        scenario.clock.run_for = Duration::from_h(24 * u64::from(run));
        let end = run::run(&scenario, &Options::default(), &mut Blind).unwrap();
        least = least.min(kept_days(&end.image, run));
    }
    assert!(least >= said && least < 1.2 * said, "{least} of {said}");
    // the year has a third as much
    let year = f64::from(scenario.memory.sectors - 1) * forecast(&scenario).wear.slots;
    let mean = year / forecast(&scenario).wear.records_a_day;
    assert!(mean > 1.5 * said, "{mean} {said}");
}

struct Blind;

impl dosewright_sim::observe::Observer for Blind {
    fn see(&mut self, _: u64, _: &dosewright_sim::observe::Observation<'_>) {}
}
