//! `forecast`.

use crate::support::{Place, flat, nights, wide};

const MORE: &str = r#"
[supply]
battery = { type = "LR20" }
[container]
capacity = "10 l"
level = "2 l"
[tube]
bore = "3.2 mm"
suction = "1 m"
discharge = "2 m"
outlet_below = "1.2 m"
[product]
density = "1.02 kg/l"
active = "8 %"
cod = "150 g/l"
water_a_day = "4200 l"
"#;

#[test]
fn dates_reasons_and_what_would_help() {
    let place = Place::new("forecast");
    place.write("site.toml", &nights(MORE));
    let said = place.call(&["forecast", "site.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    // 1.6 l above the heel at 360 ml a week: 31 days
    assert!(said.out.starts_with("site.toml fits. Next visit by 2026-11-"), "{}", said.out);
    for wanted in [
        "(model)",
        "Order by",
        "tube set",
        "(M3)",
        "siphon",
        "a container of twice",
        "Not certified",
    ] {
        assert!(said.out.contains(wanted), "{wanted}\n{}", said.out);
    }
    wide(&said.out);
    let json = place.call(&["forecast", "site.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!((&json["fits"], &json["battery"]["model"]), (&true.into(), &true.into()));
    assert!(json["memory"]["years"].as_f64().unwrap() > 20.0, "M3: {json}");
    assert_eq!(json["next_visit"]["reason"], "the container may be down to its heel");
}

#[test]
fn on_mains_without_anything_known_there_is_still_an_answer() {
    let place = Place::new("forecast-bare");
    place.write("site.toml", &nights(""));
    let said = place.call(&["forecast", "site.toml"]);
    assert!(
        said.code == 0 && said.out.contains("mains") && said.out.contains("not described"),
        "{said:?}"
    );
    assert!(said.out.contains("the calibration is six months old"), "{}", said.out);
    wide(&said.out);
}

#[test]
fn weighing_the_container_checks_the_account() {
    let place = Place::new("forecast-drawdown");
    place.write("site.toml", &nights(MORE));
    // common practice, no source: 3.456 kg +-20 g: U 0.67 %
    let said = place.call(&["forecast", "site.toml", "--drawn", "3.456 kg", "--logged", "3.4 l"]);
    assert!(said.code == 0 && said.out.contains("U 0.67 %"), "{said:?}");
    assert!(!said.out.contains("look for"), "{said:?}");
    let said = place.call(&["forecast", "site.toml", "--drawn", "3.8 kg", "--logged", "3.4 l"]);
    assert!(said.out.contains("More went out than the pump logged"), "{said:?}");
    let said = place.call(&["forecast", "site.toml", "--drawn", "3.1 kg", "--logged", "3.4 l"]);
    assert!(said.out.contains("Less went out than the pump logged"), "{said:?}");
    // a container that lost next to nothing, or nothing: the doubt is one of the account
    for (drawn, less) in [("20 g", "99.42 %"), ("1 g", "99.97 %"), ("0 g", "100.00 %")] {
        let args = ["forecast", "site.toml", "--drawn", drawn, "--logged", "3.4 l"];
        let said = place.call(&args);
        let told = flat(&said.out);
        assert!(said.code == 0 && told.contains("Less went out"), "{drawn}: {said:?}");
        assert!(told.contains(less) && told.contains("(U 0.67 %, k = 2)"), "{drawn}: {told}");
    }
    let said = place.call(&["forecast", "site.toml", "--drawn", "-1 g", "--logged", "3.4 l"]);
    assert!(said.code == 2 && said.err.contains("a mass is not negative"), "{said:?}");
    let said = place.call(&["forecast", "site.toml", "--drawn", "3.456 kg"]);
    assert!(said.code == 2 && said.err.contains("--logged"), "{said:?}");
}

#[test]
fn what_does_not_fit_is_not_forecast() {
    let place = Place::new("forecast-bad");
    place.write("site.toml", &nights(MORE).replace("45 min", "3 min"));
    let said = place.call(&["forecast", "site.toml"]);
    assert!(said.code == 2 && said.out == "site.toml does not fit.\n", "{said:?}");
    assert!(said.err.contains("site.toml:"), "{}", said.err);
    place.write(
        "site.toml",
        &nights(&MORE.replace("\"1.02 kg/l\"", "1.02").replace("active", "activ")),
    );
    let said = place.call(&["forecast", "site.toml", "--json"]);
    assert!(
        said.code == 2 && said.err.contains("bare number") && said.err.contains("`active`"),
        "{said:?}"
    );
    let said = place.call(&["forecast", "site.toml"]);
    assert!(said.code == 2 && said.out == "site.toml cannot be read.\n", "{said:?}");
}

#[test]
fn what_operators_change_later_is_said_to_be_left_out() {
    let place = Place::new("forecast-later");
    let act = |act: &str| format!("[[operator]]\nat = \"+2 d\"\n{act}\n");
    let said = forecast_of(&place, &act("disable = { entry = \"night\" }"));
    assert!(said.contains("1 later change of clock or timetable is left out"), "{said}");
    let said = forecast_of(&place, &act("prime = { volume = \"10 ml\" }"));
    assert!(!said.contains("later change"), "{said}");
    // it is in no figure of the product, and does not pass without a word
    assert!(said.contains("visits: 1 prime later in the run is left out:"), "{said}");
    let said = forecast_of(&place, &act("acknowledge = {}"));
    assert!(!said.contains("left out"), "{said}");
    // what is renewed in the run, too: the dates do not know of it
    let site = "[supply]\nbattery = { type = \"LR20\" }\n[container]\ncapacity = \"10 l\"\n";
    let flat = |more: &str| forecast_of(&place, &format!("{site}{more}"));
    let said = flat(&act("refill = {}"));
    let one =
        "visits: 1 filling later in the run is left out: the dates are of what is in place at";
    assert!(said.contains(one), "{said}");
    let acts = ["refill = {}", "change_tube = {}", "refill = {}", "change_pack = {}"];
    let said = flat(&acts.map(act).concat());
    let all = "visits: 2 fillings, 1 new pack and 1 new tube set later in the run are left out:";
    assert!(said.contains(all), "{said}");
}

#[test]
fn a_pack_of_too_few_cells_is_told_of_and_ends_sooner() {
    let place = Place::new("forecast-cells");
    let of = |cells: u32| {
        let pack = format!(
            "[motor]\nvoltage = \"12 V\"\n\n[supply]\nbattery = {{ type = \"LR20\", cells = {cells} }}\n"
        );
        place.write("site.toml", &nights(&pack));
        let check = place.call(&["check", "site.toml"]);
        assert_eq!((check.code, check.out.contains("W011")), (0, cells < 12), "{check:?}");
        let said = place.call(&["forecast", "site.toml", "--json"]);
        assert_eq!(said.out.contains("pack: motor and driver"), cells < 12, "{said:?}");
        let line: serde_json::Value =
            serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
        line["battery"]["until"]["days"].as_f64().unwrap()
    };
    // 12.3 V of each of so many cells: a fresh one has 1.5 V under load
    let days: Vec<f64> = [8, 9, 10, 11, 14, 20].map(of).to_vec();
    assert!(days[0] < 1e-9, "{days:?}");
    assert!(days.windows(2).take(4).all(|pair| pair[0] < pair[1]), "{days:?}");
    // cells beyond what it takes add volts, not charge
    assert!((days[4] - days[5]).abs() < 1e-9, "{days:?}");
    let said = place.call(&["forecast", "site.toml"]).out;
    assert!(said.starts_with("site.toml fits."), "{said}");
    of(8);
    let said = place.call(&["forecast", "site.toml"]).out;
    assert!(said.replace('\n', " ").contains("no dose will run"), "{said}");
}

#[test]
fn a_pack_in_the_frost_is_warned_about() {
    let place = Place::new("forecast-frost");
    let of = |celsius: &str| {
        let pack =
            format!("[supply]\nbattery = {{ type = \"LR20\", temperature = \"{celsius} C\" }}\n");
        forecast_of(&place, &pack)
    };
    assert!(of("-10").contains("pack: kept at -10 C; that its cells sag"), "{}", of("-10"));
    assert!(of("0").contains("may end long before these dates"));
    assert!(!of("5").contains("long before"));
}

/// The range is of the whole pack, for the device takes what is in for full, and what is left
/// lies where cells sag. And where a full one is too small for the days ahead that its alarm is
/// to come, that is said.
#[test]
fn a_pack_that_is_not_full_ends_within_its_range() {
    let place = Place::new("forecast-part-full");
    let mut seen = 0;
    for (pack, volts, amps, ml, recurs) in [
        ("\"LR14\", temperature = \"4 C\", charge = \"40 %\"", "6", "500", 120, "wed"),
        ("\"LR14\", temperature = \"2 C\", charge = \"40 %\"", "6", "700", 120, "wed"),
        ("\"LR6\", temperature = \"4 C\", charge = \"40 %\"", "4.5", "700", 20, ""),
        ("\"LR14\", temperature = \"25 C\", charge = \"30 %\"", "6", "350", 144, ""),
    ] {
        let weekly = format!("weekly = {{ nights = [\"{recurs}\"], at = \"00:45\" }}");
        let every = "every = { interval = \"100 h\", from = \"2026-11-02 06:00\" }";
        let when = if recurs.is_empty() { every } else { &weekly };
        let site = format!(
            "schema = 1\n[clock]\nstart = 2026-11-02T00:00:00\nzone = \"UTC0\"\nrun_for = \"260 d\"\n[head]\nflow = \"26.5 ml/min\"\n[motor]\nvoltage = \"{volts} V\"\ncurrent = \"{amps} mA\"\n[supply]\nbattery = {{ type = {pack}, sleep = \"20 uA\" }}\n[[entry]]\nname = \"n\"\n{when}\nvolume = \"{ml} ml\"\nwindow = \"45 min\"\n"
        );
        let until = lines_of(&place, &site)["battery"]["until"].clone();
        let run = place.call(&["run", "site.toml", "--json"]).out;
        let is_skip = |line: &&str| line.contains("\"outcome\"") && line.contains("\"battery\"");
        let Some(first) = run.lines().find(is_skip) else { continue };
        let first: serde_json::Value = serde_json::from_str(first).unwrap();
        let day = &first["due"].as_str().unwrap()[..10];
        let [least, most] = ["least", "most"].map(|end| until[end].as_str().unwrap());
        assert!(least <= day && day <= most, "{pack}: {day} of {until}");
        seen += 1;
    }
    assert_eq!(seen, 4);
    let of = |pack: &str| {
        let every = "every = { interval = \"6 h\", from = \"2026-10-05 06:00\" }";
        let weekly = "weekly = { nights = [\"mon\", \"tue\", \"wed\"], at = \"00:45\" }";
        let site = nights(&format!("[supply]\nbattery = {{ type = {pack} }}\n"));
        let site = site.replace(weekly, every).replace("120 ml", "144 ml");
        place.write("site.toml", &site.replace("pulses = 30\n", ""));
        let low = place.call(&["run", "site.toml", "--json"]).out;
        let said = place.call(&["forecast", "site.toml"]);
        (
            low.contains("\"alarm\":\"battery low\""),
            flat(&said.out).contains("*battery low* is on from"),
        )
    };
    assert_eq!(of("\"LR14\", warn_days = 30"), (true, true));
    assert_eq!(of("\"LR20\", warn_days = 14"), (false, false));
}

#[test]
fn what_is_in_the_pack_and_what_the_motor_draws_count() {
    let place = Place::new("forecast-pack");
    let battery = |pack: &str, motor: &str| -> serde_json::Value {
        let site = format!(
            "[motor]\nvoltage = \"6 V\"\n{motor}\n[supply]\nbattery = {{ type = {pack} }}\n"
        );
        place.write("site.toml", &nights(&site));
        let said = place.call(&["forecast", "site.toml", "--json"]);
        let line: serde_json::Value =
            serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
        line["battery"].clone()
    };
    let days = |pack: &str, motor: &str| battery(pack, motor)["until"]["days"].as_f64().unwrap();
    let full = days("\"LR20\"", "");
    let half = days("\"LR20\", charge = \"45 %\"", "");
    // as they come
    assert!((days("\"LR20\", charge = \"90 %\"", "") - full).abs() < 1e-9);
    assert!((half - full / 2.0).abs() < 4.0, "{half} of {full}");
    assert!(days("\"LR20\", charge = \"0 %\"", "") < 1e-9);
    // 1.5 A drop 0.17 V more in a fresh cell than a usual motor does, so that it is down to
    // 0.9 V with a good quarter left of what Peukert's law gives it at that current
    let strong = battery("\"LR20\", usable = \"100 %\"", "current = \"1.5 A\"");
    let share = strong["usable_ah"].as_f64().unwrap() / (20.0 * (0.025_f64 / 1.5).powf(0.231_38));
    assert!((0.70..0.75).contains(&share), "{share}");
    assert!(days("\"LR20\"", "current = \"10 A\"") < 1e-9);
    // a nickel cell loses 15 % a year on the shelf, an alkaline one 3 %
    let kept = days("\"HR20\", self_discharge = \"3 %\"", "");
    assert!(days("\"HR20\"", "") < 0.95 * kept, "{kept}");
    // 85 and 50 % of it are left at 0 and -20 C (from memory) where an alkaline one has 70
    // and 20 %, and age leaves 80 % of that
    let left = |pack: &str| {
        let full = battery(&format!("{pack}, usable = \"80 %\""), "");
        let cold = |c: &str| battery(&format!("{pack}, temperature = \"{c} C\""), "");
        let of = |line: serde_json::Value| line["usable_ah"].as_f64().unwrap();
        let full = of(full);
        [of(cold("0")) / full, of(cold("-20")) / full, of(battery(pack, "")) / full]
    };
    for (pack, wanted) in [("\"HR20\"", [0.85, 0.5, 0.85]), ("\"LR20\"", [0.7, 0.2, 0.7])] {
        for (share, wanted) in left(pack).into_iter().zip(wanted) {
            assert!((share - wanted).abs() < 0.01, "{pack}: {share} for {wanted}");
        }
    }
}

#[test]
fn a_separator_is_told_of_with_what_to_do_and_takes_part_in_the_next_visit() {
    let place = Place::new("forecast-separator");
    let site = |dips: &str| format!("[separator]\ndepth = \"1200 mm\"\ndips = [{dips}]\n");
    let dip = |date: &str, mm: u32| {
        format!("{{ date = {date}, grease = \"{mm} mm\", solids = \"100 mm\" }}, ")
    };
    let two = |first: (&str, u32), last: (&str, u32)| {
        site(&format!("{}{}", dip(first.0, first.1), dip(last.0, last.1)))
    };
    // 120 mm in 50 days: at 300 mm ten days on
    let book = two(("2026-08-16", 56), ("2026-10-05", 176));
    has(
        &forecast_of(&place, &book),
        &[
            "Next visit by 2026-10-15: the separator is at its limit of 25 %.",
            "separator 23 % of its depth on 2026-10-05, limit 25 % (the local rule governs); book the emptying: at its limit on 2026-10-15 by the last two dips. After it is emptied no dose for 24 h, then the start-up dose (common practice; the label governs)",
        ],
    );
    let line = lines_of(&place, &nights(&book));
    assert_eq!(line["next_visit"]["date"], "2026-10-15", "{line}");
    assert_eq!(
        line["separator"].to_string(),
        r#"{"advice":"book","dipped":"2026-10-05","emptied":null,"fill_percent":23.0,"limit_date":"2026-10-15","limit_percent":25.0}"#
    );
    // at its limit ten days before the start
    let past = forecast_of(&place, &two(("2026-07-27", 56), ("2026-09-15", 176)));
    has(
        &past,
        &[
            "Next visit by 2026-10-05: the separator is due to be emptied, at 25 % of its depth.",
            "due to be emptied, at its limit since 2026-09-25 by the last two dips. After",
        ],
    );
    let over = forecast_of(&place, &site(&dip("2026-10-05", 250)));
    has(
        &over,
        &["separator 29.1 % of its depth on 2026-10-05", "governs); due to be emptied. After"],
    );
    // below its limit by however little it is not shown as if it were at it
    let near = forecast_of(&place, &site(&dip("2026-10-05", 199)));
    has(&near, &["24.9 %", "book the emptying: a second dip tells when it is at its limit. After"]);
    let slow = forecast_of(&place, &two(("2026-08-16", 10), ("2026-10-05", 20)));
    // 10 mm in 50 days: 180 mm in 900
    has(
        &slow,
        &["10 % of its depth", "governs); at its limit on 2029-03-23 by the last two dips me"],
    );
    assert!(!slow.contains("After it is emptied"), "{slow}");
    let emptied = forecast_of(&place, &two(("2026-08-16", 176), ("2026-10-05", 20)));
    has(&emptied, &["governs); it did not fill between the last two dips me"]);
    // a date that is beyond what is reckoned is none
    let never = forecast_of(&place, &two(("2026-08-16", 10), ("2026-10-05", 11)));
    has(&never, &["governs); not at its limit within 10 years by the last two dips me"]);
    // what was over its limit at the last dip already is so since nobody knows when
    let line = lines_of(&place, &nights(&two(("2026-08-16", 250), ("2026-10-05", 251))));
    assert_eq!(line["separator"]["limit_date"], serde_json::Value::Null, "{line}");
    // a rule of its own
    let own = book.replace("dips", "limit = \"30 %\"\ndips");
    has(&forecast_of(&place, &own), &["limit 30 %", "at its limit on 2026-11-09 by the last"]);
    assert!(!forecast_of(&place, "").contains("separator 2"));
    assert_eq!(lines_of(&place, &nights(""))["separator"], serde_json::Value::Null);
    // on the sheet as well
    place.write("site.toml", &nights(&book));
    let said = place.call(&["sheet", "site.toml", "-o", "sheet.html", "-q"]);
    assert_eq!(said.code, 0, "{said:?}");
    let page = place.read("sheet.html");
    assert!(page.contains("<dt>separator</dt>") && page.contains("book the emptying"), "{page}");
}

#[test]
fn a_separator_that_was_emptied_fills_from_that_day_on() {
    let place = Place::new("forecast-emptied");
    let site = |emptied: &str, dips: &[(&str, u32)]| {
        let dip = |(date, mm): &(&str, u32)| {
            format!("{{ date = {date}, grease = \"{mm} mm\", solids = \"0 mm\" }}")
        };
        let dips: Vec<String> = dips.iter().map(dip).collect();
        format!("[separator]\ndepth = \"1200 mm\"\n{emptied}dips = [{}]\n", dips.join(", "))
    };
    // 10 %, emptied, 12 %: 144 mm in 240 days, so the 156 mm to 300 mm take 260 days, to the
    // 20th of June; by the two dips alone it would be the 14th of July, four years on
    let dips = [("2026-01-15", 120), ("2026-10-03", 144)];
    let found = forecast_of(&place, &site("emptied = 2026-02-05\n", &dips));
    has(
        &found,
        &[
            "12 % of its depth on 2026-10-03, limit 25 % (the local rule governs); at its limit on 2027-06-20 by the dip since it was emptied on 2026-02-05 m",
        ],
    );
    let blind = forecast_of(&place, &site("", &dips));
    has(&blind, &["at its limit on 2031-", "by the last two dips"]);
    let line = lines_of(&place, &nights(&site("emptied = 2026-02-05\n", &dips)));
    assert_eq!(line["separator"]["emptied"], "2026-02-05");
    assert_eq!(line["separator"]["limit_date"], "2027-06-20");
    // two dips since: these are the last two; a dip of the day itself is one before it
    let three = [("2026-02-05", 290), ("2026-08-16", 56), ("2026-10-05", 176)];
    let found = forecast_of(&place, &site("emptied = 2026-02-05\n", &three));
    has(&found, &["at its limit on 2026-11-25 by the last two dips"]);
    // none since
    let found = forecast_of(&place, &site("emptied = 2026-10-04\n", &[("2026-10-01", 310)]));
    has(
        &found,
        &[
            "separator emptied on 2026-10-04, not dipped since, limit 25 % (the local rule governs); a dip tells when it is at its limit me",
        ],
    );
    // it did not fill from nothing
    let found = forecast_of(&place, &site("emptied = 2026-02-05\n", &[("2026-10-01", 0)]));
    has(&found, &["it has not filled since it was emptied"]);
    // it lies after the start
    place.write("site.toml", &nights(&site("emptied = 2026-10-06\n", &dips)));
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("emptied after the start"), "{said:?}");
}

#[test]
fn a_separator_of_one_dip_takes_part_in_the_next_visit() {
    let place = Place::new("forecast-one-dip");
    let one = |date: &str, mm: u32| {
        forecast_of(
            &place,
            &format!(
                "[separator]\ndepth = \"1200 mm\"\ndips = [{{ date = {date}, grease = \"{mm} mm\", solids = \"0 mm\" }}]\n"
            ),
        )
    };
    // near its limit years ago: at once, and it is said how old the dip is
    let old = one("2021-10-05", 280);
    has(
        &old,
        &[
            "Next visit by 2026-10-05: the separator is near its limit of 25 %, and no trend tells how near.",
            "23.3 % of its depth on 2021-10-05, 1826 days before the start, limit 25 %",
        ],
    );
    // else three months after it, at the start at the earliest
    let visit = "the separator is to be dipped: no trend tells when it is at its limit.";
    has(&one("2026-10-01", 120), &[&format!("Next visit by 2026-12-31: {visit}")]);
    has(&one("2026-03-01", 120), &[&format!("Next visit by 2026-10-05: {visit}")]);
}

/// A forecast as lines for machines.
fn lines_of(place: &Place, text: &str) -> serde_json::Value {
    place.write("site.toml", text);
    let said = place.call(&["forecast", "site.toml", "--json"]);
    serde_json::from_str(&said.out).unwrap_or_else(|error| panic!("{error}: {said:?}"))
}

#[test]
fn days_gained_are_those_between_the_dates_that_are_told() {
    let place = Place::new("forecast-gained");
    let site = |ml: u32, level: &str| {
        nights(&format!("[container]\ncapacity = \"10 l\"\nlevel = \"{level}\"\n"))
            .replace("120 ml", &format!("{ml} ml"))
    };
    let days = |line: &serde_json::Value| {
        let date = line["container"]["until"]["date"].as_str().unwrap();
        date.parse::<jiff::civil::Date>().unwrap()
    };
    let mut seen = 0;
    for ml in 60..=120 {
        let before = lines_of(&place, &site(ml, "2 l"));
        let changes = before["changes"].as_array().unwrap();
        let full = changes.iter().find(|change| change["what"] == "the container filled up");
        let after = lines_of(&place, &site(ml, "10 l"));
        let moved = days(&before).until(days(&after)).unwrap().get_days();
        assert_eq!(full.unwrap()["container_days"], f64::from(moved), "{ml} ml: {before}");
        seen += 1;
    }
    assert_eq!(seen, 61);
}

fn forecast_of(place: &Place, more: &str) -> String {
    place.write("site.toml", &nights(more));
    let said = place.call(&["forecast", "site.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    wide(&said.out);
    said.out.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn has(text: &str, wanted: &[&str]) {
    for wanted in wanted {
        assert!(text.contains(wanted), "{wanted}\n{text}");
    }
}

#[test]
fn an_order_that_comes_too_late_is_to_be_made_now() {
    let place = Place::new("forecast-order");
    // 360 ml a week: 1 l above the heel are 19 days, 500 ml are 9
    let of = |level: &str| format!("[container]\ncapacity = \"10 l\"\nlevel = \"{level}\"\n");
    let plenty = forecast_of(&place, &of("3 l"));
    has(&plenty, &["Order by 2026-", "10 d to the delivery and 7 d of slack before 2026-"]);
    // the days are those before the date that is told
    let words: Vec<&str> = plenty.split_whitespace().collect();
    let date = |after: &[&str]| {
        let at = words.windows(after.len()).position(|found| found == after).unwrap();
        let date = words[at + after.len()].trim_end_matches([':', '.']);
        date.parse::<jiff::civil::Date>().unwrap_or_else(|error| panic!("{date}: {error}"))
    };
    let days = date(&["Order", "by"]).until(date(&["slack", "before"])).unwrap().get_days();
    assert_eq!(days, 17, "{plenty}");
    // what goes out of date is not empty, and is drawn no further down to the contact
    let site = "[container]\ncapacity = \"10 l\"\nlevel = \"3 l\"\nlow_contact = \"1 l\"\n\
                [product]\nuse_by = 2026-10-12\n";
    let aged = forecast_of(&place, site);
    has(&aged, &["Order now: 10 d to the delivery, the product goes out of date before"]);
    assert!(!aged.contains("low-level contact 20"), "{aged}");
    let short = forecast_of(&place, &of("1.2 l"));
    has(&short, &["Order now: after 10 d to the delivery", "of slack are left, not 7"]);
    let late = forecast_of(&place, &of("900 ml"));
    has(&late, &["Order now: 10 d to the delivery, it may be empty before"]);
    let json = place.call(&["forecast", "site.toml", "--json"]).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["container"]["order_late"], true);
    let papers = ["sheet", "site.toml", "-o", "sheet.html", "-q"];
    assert_eq!(place.call(&papers).code, 0);
    assert!(place.read("sheet.html").contains("order now"));
    let page = ["report", "site.toml", "-o", "page.html"];
    assert_eq!(place.call(&page).code, 0);
    assert!(place.read("page.html").contains("Order now."));
    has(&forecast_of(&place, &of("410 ml")), &["1 day;"]);
}

#[test]
fn where_nothing_can_come_the_first_line_says_so() {
    let place = Place::new("forecast-nothing");
    let heel = forecast_of(&place, "[container]\ncapacity = \"10 l\"\nlevel = \"300 ml\"\n");
    assert!(
        heel.starts_with("site.toml: the timetable fits the head, but the container"),
        "{heel}"
    );
    let lift = "[tube]\nbore = \"3.2 mm\"\nsuction = \"12 m\"\nlift = \"11 m\"\n";
    let lift = forecast_of(&place, lift);
    assert!(lift.starts_with("site.toml: the timetable fits the head, but lift and"), "{lift}");
}

#[test]
fn dates_of_product_and_tube_set_are_told_as_they_are() {
    let place = Place::new("forecast-dates");
    let of = |date: &str| format!("[container]\ncapacity = \"10 l\"\n[product]\nuse_by = {date}\n");
    let soon = forecast_of(&place, &of("2026-11-20"));
    has(
        &soon,
        &["Next visit by 2026-11-20: the product goes out of date.", "by the product's date"],
    );
    assert!(!soon.contains("heel"), "{soon}");
    let past = forecast_of(&place, &of("2026-10-01"));
    has(&past, &["Next visit by 2026-10-05: the product is out of date since 2026-10-01."]);
    let old = "[tube]\nbore = \"3.2 mm\"\nfitted = 2025-08-01\n";
    let old = forecast_of(&place, old);
    has(
        &old,
        &["the tube set is overdue, by the calendar", "overdue since 2026-08-01, by the calendar"],
    );
    let idle = "[container]\ncapacity = \"1000 l\"\n";
    has(&forecast_of(&place, idle), &["container lasts over 10 years"]);
}

#[test]
fn a_year_is_one_from_the_hour_of_the_start() {
    let place = Place::new("forecast-year");
    // each Tuesday at 00:45: 52 in 52 weeks, and one more where the 365th day ends at noon
    let doses = |start: &str, entry: &str| {
        let text = nights("").replace("2026-10-05T00:00:00", start).replace("4 days", "365 days");
        let weekly = "weekly = { nights = [\"mon\", \"tue\", \"wed\"], at = \"00:45\" }";
        assert!(text.contains(weekly));
        place.write("site.toml", &text.replace(weekly, entry).replace("pulses = 30\n", ""));
        let json = |args: &[&str]| {
            let out = place.call(args).out;
            let line = out.lines().last().unwrap().to_owned();
            serde_json::from_str::<serde_json::Value>(&line).unwrap()
        };
        let run = json(&["run", "site.toml", "--json"])["dues"].as_u64();
        let year = json(&["forecast", "site.toml", "--json"]);
        // and so are the hours of pumping of the tube set: 120 ml at 26.5 ml/min each
        let doses = year["doses_a_year"].as_u64();
        let hours = doses.unwrap() as f64 * 120.0 / 26.5 / 60.0;
        let told = year["tube_set"]["hours_a_year"].as_f64().unwrap();
        assert!((told - hours).abs() < 1e-3, "{told} h for {hours}");
        (doses, run)
    };
    let weekly = "weekly = { nights = [\"mon\"], at = \"00:45\" }";
    assert_eq!(doses("2026-10-05T12:00:00", weekly), (Some(53), Some(53)));
    assert_eq!(doses("2026-10-05T00:00:00", weekly), (Some(52), Some(52)));
    let every = "every = { interval = \"8 h\", from = \"2026-10-01 01:00\" }";
    assert_eq!(doses("2026-10-05T18:00:00", every), (Some(1095), Some(1095)));
}

#[test]
fn a_tube_set_past_its_hours_is_overdue() {
    let place = Place::new("forecast-tube-hours");
    let of = |pumped: &str| {
        forecast_of(
            &place,
            &format!(
                "[tube]\nbore = \"4 mm\"\nsuction = \"2 m\"\nlift = \"1 m\"\nlife_pumping = \"100 h\"\npumped = \"{pumped}\"\n"
            ),
        )
    };
    has(
        &of("120 h"),
        &["the tube set is overdue, by hours", "overdue by 20 h, by hours of pumping"],
    );
    has(&of("120 h"), &["Next visit by 2026-10-05"]);
    has(&of("100 h"), &["the tube set is due, by hours", "due 2026-10-05, by hours of pumping"]);
    assert!(!of("99 h").contains("overdue") && !of("99 h").contains("due 2026-10-05"));
    let lines = place.call(&["forecast", "site.toml", "--json"]).out;
    assert!(lines.contains("\"overdue_hours\":0.0"), "{lines}");
}

#[test]
fn a_dose_that_is_too_large_for_the_pack_is_warned_about_and_not_begun() {
    let place = Place::new("forecast-over");
    let of = |cells: &str, celsius: &str, more: &str| {
        let pack = format!(
            "[motor]\nvoltage = \"6 V\"\n\n[supply]\nbattery = {{ type = \"{cells}\"{celsius} }}\n{more}"
        );
        let site = nights(&pack).replace("26.5 ml/min", "1 ml/min").replace("45 min", "5 h");
        place.write("site.toml", &site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        let run = place.call(&["run", "site.toml", "--json"]).out;
        assert_eq!(said.out.contains("W021"), !run.contains("\"outcome\":\"dosed\""), "{said:?}");
        flat(&said.out)
    };
    // 2 h of pumping are 0.7 Ah: 1.4 Ah of an LR6 at 20 C, a fifth of that at -20 C
    let said = of("LR6", ", temperature = \"-20 C\"", "");
    assert!(said.contains("W021]: a dose of \"night\" is too large for this pack"), "{said}");
    assert!(said.contains("2 h of pumping, and a quarter more, is more than"), "{said}");
    assert!(!said.contains("say the `temperature`"), "{said}");
    assert!(!of("LR6", ", temperature = \"20 C\"", "").contains("W021"));
    assert!(!of("LR14", ", temperature = \"0 C\"", "").contains("W021"));
    // an interval may come right after it: both have to be in the pack
    let twice = "[[entry]]\nname = \"flush\"\nevery = { interval = \"24 h\", from = \"2026-10-06 12:00\" }\nvolume = \"30 ml\"\nwindow = \"2 h\"\n";
    let said = of("LR6", "", twice);
    let both = "doses of \"flush\" and \"night\", one after the other, are too large";
    assert!(said.contains(both) && said.contains("say the `temperature`, too"), "{said}");
    // nothing is forecast of it
    let said = flat(&place.call(&["forecast", "site.toml"]).out);
    assert!(said.contains(&format!("pack: {both} for it: 2 h 30 min of pumping")), "{said}");
    assert!(said.contains("no dose will run"), "{said}");
}
