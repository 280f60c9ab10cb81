//! What a technician learns from a memory's image: whether each dose came, who changed what,
//! how long things last.

use serde_json::Value;

use crate::support::{Place, flat, lines, nights, of, wide};

/// A site on a pack that is visited: doses of two entries, and one that is taken out.
const VISITS: &str = r#"
[container]
capacity = "20 l"
level = "9 l"
low_contact = "1 l"
[supply]
battery = { type = "LR14" }
[[entry]]
name = "bar"
weekly = { days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], at = "05:00" }
volume = "40 ml"
window = "20 min"
[[entry]]
name = "rinse"
every = { interval = "6 h", from = "2026-10-05 12:00" }
volume = "10 ml"
window = "5 min"
[[fault]]
at = "2026-10-07 04:00"
remote_stop = { lasts = "2 d" }
[[operator]]
at = "2026-10-10 10:55"
edit = { entry = "bar", volume = "55 ml", window = "25 min" }
[[operator]]
at = "2026-10-10 11:25"
remove = { entry = "rinse" }
[[operator]]
at = "2026-10-10 12:00"
prime = { lasts = "2 min" }
[[operator]]
at = "2026-10-11 14:00"
set_clock = { by = "-1 h" }
[[operator]]
at = "2026-10-12 14:00"
set_zone = { zone = "EET-2EEST,M3.5.0/3,M10.5.0/4" }
[[operator]]
at = "2026-10-13 12:00"
run_again = { entry = "bar" }
"#;

fn site(days: u32) -> String {
    nights(VISITS).replace("\"4 days\"", &format!("\"{days} days\""))
}

/// The image of a scenario.
fn image(place: &Place, text: &str) {
    place.write("site.toml", text);
    let said = place.call(&["run", "site.toml", "--image", "site.bin"]);
    assert_eq!(said.code, 0, "{said:?}");
}

/// Doses by entry and outcome, least and most, and why: as the run itself says them.
#[test]
fn a_replay_sums_the_doses_as_the_run_does() {
    let place = Place::new("replayed-sums");
    image(&place, &site(12));
    let run = lines(&place, &["run", "site.toml", "--json"]);
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let outcomes: Vec<&Value> = of(&run, "outcome");
    for (number, name) in [(1, "night"), (2, "bar"), (3, "rinse")] {
        let doses = of(&told, "doses").into_iter().find(|line| line["entry"] == number).unwrap();
        let mine = |asked: bool| {
            outcomes.iter().filter(move |line| {
                line["entry"] == name && line["asked"].as_bool().unwrap_or(false) == asked
            })
        };
        let count = |line: &&&Value| line["count"].as_u64().unwrap_or(1);
        for word in ["dosed", "part", "skipped"] {
            let sum: u64 =
                mine(false).filter(|line| line["outcome"] == word).map(|l| count(&l)).sum();
            assert_eq!(doses[word], sum, "{name} {word}: {doses}");
        }
        assert_eq!(doses["asked"], mine(true).count(), "{doses}");
        let stopped: u64 =
            mine(false).filter(|line| line["cause"] == "remote stop").map(|l| count(&l)).sum();
        assert!(stopped > 0 || name == "night", "the stop is seen");
        assert_eq!(doses["causes"]["remote stop"].as_u64().unwrap_or(0), stopped, "{doses}");
        for field in ["volume_ul", "volume_most_ul"] {
            let ul: u64 = mine(false).chain(mine(true)).map(|l| l[field].as_u64().unwrap()).sum();
            assert!(doses[field].as_u64().unwrap().abs_diff(ul) <= 60, "{field}: {doses}, {ul}");
        }
    }
    let prime = of(&told, "service")[0];
    assert_eq!((&prime["what"], &prime["pump_on_ms"]), (&"prime".into(), &120_000.into()));
    assert_eq!(prime["volume_ul"], 53_000, "2 min of 26.5 ml/min");
    let text = place.call(&["replay", "site.bin"]).out;
    wide(&text);
    let row = |name: &str| {
        let row = text.lines().find(|line| line.starts_with(&format!("  {name} ")));
        row.unwrap_or_else(|| panic!("{name}: {text}")).split_whitespace().collect::<Vec<_>>()
    };
    let bar = of(&told, "doses")[1];
    let cells = ["dosed", "part", "skipped", "asked"].map(|name| bar[name].to_string());
    assert_eq!(row("2")[1..5], cells.each_ref().map(String::as_str), "{text}");
    assert_eq!(row("all").len(), 9, "{text}");
    assert!(text.contains("entry 2 part or skipped: 2 remote stop"), "{text}");
    assert!(text.contains("prime: 1 run, 2 min: 53 ml by the flow in force"), "{text}");
}

/// What was not as it should be is shown, however many whole doses came since.
#[test]
fn a_replay_shows_what_was_skipped_before_readings_of_the_pack() {
    let place = Place::new("replayed-rows");
    image(&place, &site(25));
    let text = place.call(&["replay", "site.bin"]).out;
    wide(&text);
    let words = flat(&text);
    for part in [
        "entry 2 skipped, remote stop; due 2026-10-08 05:00",
        "clock set from 2026-10-11 14:00 to 2026-10-11 13:00",
        "readings of the pack",
        "older doses that were dosed whole",
    ] {
        assert!(words.contains(part), "{part}: {text}");
    }
    assert!(!text.contains("battery pack: "), "no row of volts: {text}");
    // a dose that waited is told once
    assert!(!text.contains("waits: remote stop"), "{text}");
    let all = place.call(&["replay", "site.bin", "-v"]).out;
    assert!(all.contains("waits: remote stop") && all.contains("at rest, "), "{all}");
    assert!(!all.contains("not shown"), "{all}");
}

/// Who changed what, and when.
#[test]
fn o6_a_replay_tells_what_a_change_of_timetable_or_clock_made_of_it() {
    let place = Place::new("replayed-changes");
    image(&place, &site(12));
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let row = |event: &str, what: &str| {
        let found =
            of(&told, event).into_iter().find(|line| line["what"].as_str().unwrap().contains(what));
        found.unwrap_or_else(|| panic!("{event} {what}: {told:?}"))["when"].clone()
    };
    let edit = "entered, revision 2: dose 40 ml to 55 ml, window 20 min to 25 min";
    assert_eq!(row("entry", edit), "2026-10-10 10:55", "when it was put in force");
    assert_eq!(row("timetable", "in force: entry 3 taken out"), "2026-10-10 11:25");
    assert_eq!(
        row("clock", "clock set from 2026-10-11 14:00 to 2026-10-11 13:00"),
        "2026-10-11 13:00"
    );
    row("clock", "the clock goes from 2026-10-12 13:00 (+02:00) to 2026-10-12 14:00 (+03:00)");
    row("act", "prime ends after 2 min: 53 ml by the flow in force");
    // closed dates and a ceiling, here of the start
    image(
        &place,
        &nights(
            "[limits]\ndaily_ceiling = \"400 ml\"\n[[closed]]\nfirst = 2026-10-20\nlast = 2026-10-22\n",
        ),
    );
    let text = flat(&place.call(&["replay", "site.bin"]).out);
    let wanted = "a timetable is in force: ceiling that of the timetable to 400 ml; closed dates 2026-10-20 to 2026-10-22, before none";
    assert!(text.contains(wanted), "{text}");
}

/// The fields of an outcome are those that the run's own lines have.
#[test]
fn a_replay_has_the_fields_of_an_outcome_and_no_unit_changes_them() {
    let place = Place::new("replayed-fields");
    image(&place, &site(12));
    let run = lines(&place, &["run", "site.toml", "--json"]);
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let (mine, theirs) = (of(&told, "outcome"), of(&run, "outcome"));
    assert_eq!(mine.len(), theirs.len());
    let mut theirs: Vec<&Value> = theirs;
    let key = |line: &&Value| (line["due_elapsed_ms"].as_i64(), line["asked"].as_bool());
    for line in mine {
        let at = theirs.iter().position(|other| {
            key(&line).0 == key(other).0
                && line["asked"].as_bool() == Some(key(other).1.unwrap_or(false))
                && ["night", "bar", "rinse"][line["entry"].as_u64().unwrap() as usize - 1]
                    == other["entry"]
        });
        let other = theirs.remove(at.unwrap_or_else(|| panic!("{line}")));
        for field in ["outcome", "cause", "volume_ul", "volume_most_ul", "due", "restarts"] {
            let is_null = line.get(field).is_none_or(Value::is_null);
            assert!(
                line[field] == other[field] || is_null && other[field].is_null(),
                "{field}: {line} {other}"
            );
        }
        assert_eq!(line["count"], other["count"].as_u64().unwrap_or(1));
        let began = other["started"].is_string();
        assert_eq!(line["began_elapsed_ms"].is_i64(), began, "{line}");
    }
    let bytes = |units: &str| place.call(&["replay", "site.bin", "--json", "--units", units]).out;
    assert!(bytes("us") == bytes("metric"));
    assert!(place.call(&["replay", "site.bin", "--units", "us"]).out.contains("fl oz"));
}

/// Until when pack, container and tube set last: what the panel shows of the same bytes.
#[test]
fn a_replay_tells_until_when_pack_and_container_last() {
    let place = Place::new("replayed-lasts");
    image(&place, &site(12));
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let started = of(&told, "started")[0];
    let number = |name: &str| started[name].as_i64().unwrap_or_else(|| panic!("{name}: {started}"));
    let summary = lines(&place, &["run", "site.toml", "--json"]).pop().unwrap();
    assert_eq!(number("account_ul"), summary["account_ul"].as_i64().unwrap());
    // 55 ml a day and three nights of 120 ml, down to a heel of 4 %
    let days = (number("product_until_ms") - number("at_ms")) as f64 / 86.4e6;
    let wanted = (number("account_ul") as f64 - 800_000.0) / (55_000.0 + 3.0 / 7.0 * 120_000.0);
    assert!((days - wanted).abs() < 1.0, "{days} {wanted}");
    assert!(number("pack_until_ms") > number("at_ms"), "{started}");
    assert_eq!(number("pack_since_ms"), 0);
    assert!((1..2380).contains(&number("pack_drawn_mah")), "{started}");
    let text = flat(&place.call(&["replay", "site.bin"]).out);
    for part in [
        ", by account and timetable, down to the heel",
        "put in 2026-10-05 00:00, ",
        "drawn by account; ",
        "three quarters of it counted on",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

/// A tube set was put in when the clock of then said so, whatever the clock says now.
#[test]
fn a_replay_tells_a_moment_by_the_clock_of_then() {
    let place = Place::new("replayed-then");
    let acts = "[[operator]]\nat = \"2026-10-05 10:00\"\nchange_tube = {}\n[[operator]]\n\
                at = \"2026-10-06 12:00\"\nset_clock = { by = \"-3 h\" }\n";
    image(&place, &nights(acts));
    let text = place.call(&["replay", "site.bin"]).out;
    assert!(text.contains("  tube     put in 2026-10-05 10:00"), "{text}");
    assert!(text.contains("  2026-10-05 10:00  new tube set\n"), "{text}");
}

/// Contacts are no part of a memory: what they kept from running is told all the same.
#[test]
fn a_replay_says_what_waits_and_that_contacts_are_taken_as_open() {
    let place = Place::new("replayed-leak");
    let leak = "[[fault]]\nat = \"2026-10-07 00:30\"\nleak = { lasts = \"5 h\" }\n";
    place.write("site.toml", &nights(leak));
    let until = ["run", "site.toml", "--until", "2 d 1 h", "--image", "site.bin"];
    assert_eq!(place.call(&until).code, 3, "stopped before its end");
    let text = flat(&place.call(&["replay", "site.bin"]).out);
    for part in [
        "no contact closed (what contacts say is in no memory)",
        "waits entry 1, due 2026-10-07 00:45: leak",
        "alarms none on before leak",
        "entry 1 waits: leak; due 2026-10-07 00:45",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let started = of(&told, "started")[0];
    assert_eq!(started["alarms_before"], serde_json::json!(["leak"]));
    assert_eq!(started["waits"][0]["cause"], "leak");
    assert_eq!(started["waits"][0]["due"], "2026-10-07T00:45:00+02:00");
}

/// A record that a later damage took is claimed where it was.
#[test]
fn a_replay_says_where_a_record_is_missing() {
    let place = Place::new("replayed-missing");
    image(&place, &nights(""));
    let before = lines(&place, &["replay", "site.bin", "--json"]);
    let second = of(&before, "outcome")[1];
    let seq = second["seq"].as_u64().unwrap() as u32;
    let mut bytes = std::fs::read(place.dir.join("site.bin")).unwrap();
    let slot = bytes
        .chunks(64)
        .position(|slot| {
            let word = u32::from_le_bytes([slot[56], slot[57], slot[58], slot[59]]);
            word & 0x3fff_ffff == seq && slot[0] == 9
        })
        .unwrap();
    bytes[slot * 64 + 9] ^= 4;
    std::fs::write(place.dir.join("site.bin"), bytes).unwrap();
    let after = lines(&place, &["replay", "site.bin", "--json"]);
    assert_eq!(of(&after, "outcome").len(), of(&before, "outcome").len() - 1);
    let missing = of(&after, "unreadable");
    assert!(missing.len() == 1 && missing[0]["seq"] == seq, "{missing:?}");
    let text = place.call(&["replay", "site.bin"]).out;
    assert!(text.contains("a record is missing here: it cannot be read"), "{text}");
    assert!(text.contains("a dose may have come that is not told"), "{text}");
    // of a write that a cut ended nothing is missing
    let torn = "[[fault]]\nat = \"2026-10-07 01:00\"\nmemory_tear = { during = \"write\", after = 20, lasts = \"5 min\" }\n";
    image(&place, &nights(torn));
    let told = lines(&place, &["replay", "site.bin", "--json"]);
    let damaged: u64 = of(&told, "sector").iter().map(|s| s["damaged"].as_u64().unwrap()).sum();
    assert!(damaged == 1 && of(&told, "unreadable").is_empty(), "{told:?}");
}

/// What it tells from the last visit on.
#[test]
fn a_replay_from_a_moment_on_tells_and_sums_what_came_since() {
    let place = Place::new("replayed-since");
    image(&place, &site(12));
    let told = lines(&place, &["replay", "site.bin", "--json", "--since", "2026-10-14 12:00"]);
    let outcomes = of(&told, "outcome");
    let sum: u64 = of(&told, "doses").iter().map(|line| line["dosed"].as_u64().unwrap()).sum();
    assert!(!outcomes.is_empty() && sum == outcomes.len() as u64, "{outcomes:?}");
    assert!(outcomes.iter().all(|line| line["when"].as_str().unwrap() >= "2026-10-14 12:00"));
    let text = place.call(&["replay", "site.bin", "--since", "2026-10-15"]).out;
    assert!(text.contains("2026-10-15") && !text.contains("due 2026-10-14"), "{text}");
    let late = place.call(&["replay", "site.bin", "--since", "2027-10-15"]).out;
    assert!(late.contains("  nothing\n"), "{late}");
    let bad = place.call(&["replay", "site.bin", "--since", "yesterday"]);
    assert!(bad.code == 2 && bad.err.contains("write it like"), "{bad:?}");
    let text = place.call(&["replay", "site.toml", "--since", "2026-10-15"]);
    assert!(text.code == 2 && text.err.contains("--since is for a memory's image"), "{text:?}");
}

/// A sector that takes no erase any more keeps records that are older than others which were
/// overwritten: what was dosed in between is in no sum, and that is told.
#[test]
fn what_was_overwritten_behind_a_worn_sector_is_told() {
    let place = Place::new("replayed-worn");
    let all = "\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"";
    let image = |days: u32, fault: &str| {
        let site = nights(fault)
            .replace("4 days", &format!("{days} days"))
            .replace("\"mon\", \"tue\", \"wed\"", all);
        place.write("site.toml", &site);
        place.call(&["run", "site.toml", "--image", "site.bin"]);
        lines(&place, &["replay", "site.bin", "--json"])
    };
    let gaps = |told: &[Value]| {
        let gaps = of(told, "overwritten");
        gaps.iter().map(|line| line["at_ms"].as_i64().unwrap()).collect::<Vec<_>>()
    };
    let worn = "[[fault]]\nat = \"+15 d\"\npage_worn = { sector = 0 }\n";
    // while nothing that was written later is gone there is no gap, whatever is worn
    for (days, fault, rolled) in [(30, worn, false), (30, "", false), (90, "", true)] {
        let told = image(days, fault);
        assert!(gaps(&told).is_empty(), "{days} {fault}");
        assert_eq!(told[0]["older_overwritten"], rolled, "{days} {fault}");
    }
    let told = image(45, worn);
    let days = of(&told, "outcome");
    let days: Vec<i64> =
        days.iter().map(|line| line["at_ms"].as_i64().unwrap() / 86_400_000).collect();
    let hole = days.windows(2).find(|pair| pair[1] > pair[0] + 1).expect("a hole");
    let [at_ms] = gaps(&told)[..] else { panic!("{:?}", gaps(&told)) };
    assert!(hole[0] < at_ms / 86_400_000 && at_ms / 86_400_000 <= hole[1], "{hole:?} {at_ms}");
    assert_eq!(
        (&told[0]["records_from_ms"], &told[0]["older_overwritten"]),
        (&at_ms.into(), &true.into())
    );
    let text = place.call(&["replay", "site.bin"]).out;
    wide(&text);
    let since = told[0]["records_from"].as_str().unwrap();
    for part in [
        &format!("  from {since} on: older records were overwritten\n"),
        "  some in between were overwritten: more than this may have been drawn\n",
        "  where a record is missing, a dose may have come that is not told\n",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    let row = "the records before this were overwritten; older ones still stand";
    assert!(flat(&text).contains(row), "{text}");
    // nothing of it stands in what came after
    let later = place.call(&["replay", "site.bin", "--since", "2026-11-14"]).out;
    assert!(
        later.contains("doses, by the records") && !later.contains("more than this"),
        "{later}"
    );
}
