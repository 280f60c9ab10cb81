//! `plan`: when the water rests.

use std::fmt::Write as _;

use crate::support::{Place, flat};

#[test]
fn trading_past_the_next_noon_is_water_in_the_next_night() {
    let place = Place::new("plan-noon");
    let brief = place.call(&["plan", "--example"]).out;
    let trading = |days: &str, opens: &str, closes: &str| {
        brief
            .replace("days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]", days)
            .replace("opens = \"06:30\"", &format!("opens = \"{opens}\""))
            .replace("closes = \"00:15\"", &format!("closes = \"{closes}\""))
    };
    // Sunday's trading ends on Monday at 15:00; nothing else runs that week
    place.write("brief.toml", &trading("days = [\"sun\"]", "17:00", "15:00"));
    let text = place.call(&["plan", "brief.toml"]).out;
    let entries = text.split("[[entry]]").skip(1);
    let monday = entries.filter(|entry| entry.contains("\"mon\"")).collect::<String>();
    assert!(monday.contains("at = \"15:30\""), "half an hour to settle:\n{text}");
    assert!(!monday.contains("at = \"12:"), "{text}");
    // every day so: the water has a rest of two hours, not of five and more
    let all = "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    place.write("brief.toml", &trading(all, "17:00", "15:00"));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.out.is_empty(), "{said:?}");
    assert!(flat(&said.err).contains("no water for 2 h (15:00 to 17:00)"), "{said:?}");
    // and never a rest
    place.write("brief.toml", &trading(all, "17:00", "17:00"));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.err.contains("the water runs all night"), "{said:?}");
}

#[test]
fn a_rest_of_the_water_goes_on_past_noon() {
    let place = Place::new("plan-past-noon");
    let example = place.call(&["plan", "--example"]).out;
    let plan = |changes: &[(&str, &str)]| {
        let brief = changes.iter().fold(example.clone(), |brief, (from, to)| {
            assert!(brief.contains(from), "{from}");
            brief.replace(from, to)
        });
        place.write("brief.toml", &brief);
        let said = place.call(&["plan", "brief.toml"]);
        (said.code, flat(&format!("{}{}", said.out, said.err)).replace("# ", ""))
    };
    let hours = |opens: &'static str, closes: &'static str| {
        [("opens = \"06:30\"", opens), ("closes = \"00:15\"", closes)]
    };
    // seven hours without water in the daytime: half of one to settle, 45 min, five of contact
    let (code, said) = plan(&hours("opens = \"17:00\"", "closes = \"10:00\""));
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("everything asked for fits"), "{said}");
    assert!(said.contains("at = \"10:30\"") && said.contains("before the first (17:00)"), "{said}");
    // eleven hours, of which the window has what it wants
    let (code, said) = plan(&hours("opens = \"17:00\"", "closes = \"06:00\""));
    assert!(code == 0 && said.contains("everything asked for fits"), "{said}");
    assert!(said.contains("over by 07:15, 9 h 45 min before the first (17:00)"), "{said}");
    // a day without trading: the rest goes on to the next opening, from the last closing
    let week = "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    let nights = "nights = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\"]";
    let six = "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\"]";
    let (code, said) = plan(&[(week, six), (nights, "nights = [\"sat\"]")]);
    assert!(code == 0 && said.contains("1 night a week"), "{said}");
    // from Sunday 01:30 to Monday 06:30
    assert!(said.contains("over by 01:30, 29 h 00 min before the first (06:30)"), "{said}");
    let (code, said) = plan(&[(week, six), (nights, "nights = [\"sun\"]")]);
    assert!(
        code == 0 && said.contains("12:00: 11 h 45 min after the last water (00:15)"),
        "{said}"
    );
    // so that an hour that spring takes leaves enough of it
    assert!(!said.contains("but for the contact time"), "{said}");
    // nor does it from the night of Saturday, the one with the change, among all of them
    let all = "nights = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    let (code, said) = plan(&[(week, six), (nights, all)]);
    assert!(code == 0 && said.contains("everything asked for fits."), "{said}");
}

#[test]
fn a_flow_log_is_read_past_noon_and_a_dead_one_is_refused() {
    let place = Place::new("plan-log-noon");
    let brief = place.call(&["plan", "--example"]).out;
    let from = brief.find("[[trading]]").unwrap();
    let to = brief.find("[[cleaning]]").unwrap();
    place.write("brief.toml", &format!("{}{}", &brief[..from], &brief[to..]));
    let log = |flow: fn(u32) -> u32| {
        let mut text = "time,flow l/min\n".to_owned();
        for (day, hour) in (5..19).flat_map(|day| (0..24).map(move |hour| (day, hour))) {
            _ = writeln!(text, "2026-10-{day:02} {hour:02}:00,{}", flow(hour));
        }
        place.write("log.csv", &text);
        place.call(&["plan", "brief.toml", "--flow-log", "log.csv"])
    };
    // nothing flows from 10:00 to 17:00
    let said = log(|hour| if (10..17).contains(&hour) { 0 } else { 9 });
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("at = \"10:30\""), "{said:?}");
    assert!(flat(&said.out).contains("30 min after the last water (10:00)"), "{said:?}");
    let said = log(|_| 0);
    assert!(said.code == 2 && said.err.contains("all 336 readings are 0"), "{said:?}");
}

#[test]
fn a_quiet_period_past_the_next_noon_lasts_to_the_nights_end() {
    let place = Place::new("plan-quiet");
    let brief = place.call(&["plan", "--example"]).out;
    let quiet = "[[quiet]]\nnights = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\"]\nfrom = \"22:00\"\nto = \"13:00\"\n";
    let from = brief.find("[[trading]]").unwrap();
    let to = brief.find("[[cleaning]]").unwrap();
    let text = format!("{}{quiet}\n{}", &brief[..from], &brief[to..]);
    place.write("brief.toml", &text);
    let said = place.call(&["plan", "brief.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("30 min after the last water (22:00)"), "{}", said.out);
}

/// A bar that rests twice a day, cleaned at noon with 2 h to keep clear.
fn two_rests(place: &Place, more: &str) -> String {
    let days = "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    let text = format!(
        "schema = 1\n[site]\nfirst = 2026-11-02\nzone = \"UTC0\"\n[label]\ndose = \"144 ml\"\n\
         [[trading]]\n{days}\nopens = \"08:00\"\ncloses = \"11:00\"\n\
         [[trading]]\n{days}\nopens = \"18:00\"\ncloses = \"02:00\"\n\
         [[cleaning]]\n{days}\nwhat = \"bleach\"\nat = \"12:00\"\nlasts = \"30 min\"\n\
         {more}\n[head]\nflow = \"26.5 ml/min\"\nrollers = 3\n"
    );
    place.write("brief.toml", &text);
    let said = place.call(&["plan", "brief.toml"]);
    format!("{}: {}", said.code, flat(&format!("{}{}", said.out, said.err)).replace("# ", ""))
}

#[test]
fn a_dose_that_the_longer_rest_has_no_room_for_lies_in_the_other() {
    let place = Place::new("plan-two-rests");
    let said = two_rests(&place, "");
    assert!(said.starts_with("0: "), "{said}");
    // half an hour to settle, the wanted window cut to what 5 h of contact leave
    assert!(said.contains("02:30: 30 min after the last water (02:00); over by 03:00"), "{said}");
    assert!(
        said.contains("Not between 11:00 and 18:00: cleaning or busy hours leave no 30 min"),
        "{said}"
    );
    // the nights alone that the cleaning takes the rest from are moved
    let monday =
        "[[cleaning]]\ndays = [\"tue\"]\nat = \"02:00\"\nlasts = \"1 h\"\nclear = \"0 min\"";
    let said = two_rests(&place, monday);
    assert!(said.starts_with("1: "), "{said}");
    let why = "night of Monday: cleaning with its clear time leaves no 6 min between 12:00 and 13:00, nor between 02:30 and 03:00, nor between 11:30 and 12:00";
    assert!(said.contains(why), "{said}");
}

#[test]
fn the_rest_over_noon_is_looked_at_from_both_of_its_nights() {
    let place = Place::new("plan-one-rest");
    let week = "[\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    let plan = |cleaning: &str| {
        let text = format!(
            "schema = 1\n[site]\nfirst = 2026-11-02\nzone = \"UTC0\"\nnights = [\"wed\"]\n\
             contact = \"3 h\"\n[label]\ndose = \"144 ml\"\n\
             [[trading]]\ndays = {week}\nopens = \"17:00\"\ncloses = \"05:51\"\n\
             [[cleaning]]\n{cleaning}\n[head]\nflow = \"26.5 ml/min\"\nrollers = 3\n"
        );
        place.write("brief.toml", &text);
        let said = place.call(&["plan", "brief.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    // of the night's morning, the longer stretch of it; and of its afternoon
    let morning = plan("days = [\"wed\"]\nat = \"12:00\"\nlasts = \"4 h\"\nclear = \"0 min\"");
    assert!(morning.contains("at = \"06:25\""), "{morning}");
    let noon = plan("days = [\"thu\"]\nat = \"06:00\"\nlasts = \"6 h\"\nclear = \"0 min\"");
    assert!(noon.contains("at = \"12:00\""), "{noon}");
    assert!(noon.contains("45 min: the window wanted"), "{noon}");
}
