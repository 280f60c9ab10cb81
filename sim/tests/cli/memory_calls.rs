//! Calls of the memory that fail, as faults of a file.

use crate::support::{Place, Said, lines, nights, of};

/// The example of the page of faults.
fn example() -> String {
    let page = include_str!("../../../docs/src/faults.md");
    let (_, block) = page.split_once("```toml\n").expect("an example");
    block.split("```").next().unwrap().to_owned()
}

#[test]
fn the_example_of_the_page_holds_and_each_of_its_faults_takes_effect() {
    let place = Place::new("calls-example");
    place.write("calls.toml", &example());
    assert_eq!(place.call(&["check", "calls.toml"]).code, 0);
    let said = place.call(&["run", "calls.toml", "-v"]);
    assert_eq!(said.code, 0, "{said:?}");
    for part in ["36 dosed", "alarm: memory fault", "alarm over: memory fault"] {
        assert!(said.out.contains(part), "{part:?} is not in\n{}", said.out);
    }
    let run = place.call(&["run", "calls.toml", "--json"]);
    place.write("calls.jsonl", &run.out);
    place.call(&["report", "calls.jsonl", "-o", "calls.html"]);
    let page = place.read("calls.html");
    assert!(
        page.contains("misread (line 21), write_failure (line 30), write_failure (line 35)"),
        "{page}"
    );
}

/// A week's nights with a restart, in which these faults come first: what the run says, and
/// what its memory then holds.
fn restarted(place: &Place, faults: &str) -> (Said, Vec<u8>) {
    let restart = "[[fault]]\nat = \"dose 1 pulse 3\"\nwatchdog_reset = {}\n";
    place.write("week.toml", &nights(&format!("{faults}{restart}")));
    let said = place.call(&["run", "week.toml", "--image", "week.bin"]);
    (said, std::fs::read(place.dir.join("week.bin")).unwrap())
}

#[test]
fn m2_a_slot_misread_once_at_a_start_changes_nothing_at_all() {
    let place = Place::new("misread-once");
    let (said, image) = restarted(&place, "");
    assert_eq!(said.code, 0, "{said:?}");
    for how in ["bit", "error", "blank"] {
        for after in (0..40).map(|step| step * 31) {
            let misread = format!(
                "[[fault]]\nat = \"dose 1 pulse 3\"\nmisread = {{ how = \"{how}\", after = {after} }}\n"
            );
            let (now, image_now) = restarted(&place, &misread);
            assert_eq!(now.code, 0, "{how} {after} {now:?}");
            assert!(image_now == image, "{how}, after {after} readings");
        }
    }
}

#[test]
fn what_takes_no_effect_says_what_did_not_come() {
    let place = Place::new("calls-in-vain");
    for (fault, part) in [
        ("misread = { after = 1_000_000 }", "the memory was not read so often"),
        ("write_failure = { after = 1_000_000 }", "the memory was not written so often"),
        ("erase_failure = {}", "no sector was erased so often"),
        ("misread = { within = \"1 ms\" }", "or more `within`"),
    ] {
        place.write("week.toml", &nights(&format!("[[fault]]\nat = \"+2 h 1 s\"\n{fault}\n")));
        let said = place.call(&["run", "week.toml"]);
        assert!(said.code == 5 && said.out.contains("R003"), "{said:?}");
        let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "{part:?} is not in\n{}", said.out);
    }
}

#[test]
fn a_sweep_and_a_soak_know_them() {
    let place = Place::new("calls-sweep");
    place.write("week.toml", &nights(""));
    let kinds = "misread,write_failure";
    let said = place.call(&["sweep", "week.toml", "--faults", kinds]);
    assert_eq!(said.code, 0, "{said:?}");
    for kind in ["misread ", "write_failure "] {
        let row = said.out.lines().find(|line| line.starts_with(kind)).expect(kind);
        assert!(row.contains("held") && !row.contains("FAILED"), "{row}");
    }
    let soak = ["soak", "--seeds", "1..=6", "--days", "20", "--faults", kinds];
    let said = place.call(&soak);
    assert!(said.code == 0 && said.out.contains("write_failure"), "{said:?}");
}

/// Four nights, and a memory that takes nothing from the second dose on.
fn refusing(days: u32, more: &str) -> String {
    let faults = format!(
        "[[fault]]\nat = \"dose 2 pulse 4\"\nwrite_failure = {{ times = 1_000_000, within = \"99 d\" }}\n\n{more}"
    );
    let days = format!("{days} days");
    let all = "\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"";
    nights(&faults).replace("4 days", &days).replace("\"mon\", \"tue\", \"wed\"", all)
}

/// What of a run is open at its end: the first due, how many, and why.
fn open_at_end(lines: &[serde_json::Value]) -> Vec<(String, u64, Option<String>)> {
    let of = |line: &serde_json::Value| {
        let due = line["due"].as_str().unwrap()[..10].to_owned();
        let cause = line["cause"].as_str().map(str::to_owned);
        (due, line["count"].as_u64().unwrap_or(1), cause)
    };
    lines.iter().filter(|line| line["event"] == "open").map(of).collect()
}

/// A due that no record tells of is open once, whatever else happens to the device: a start
/// leaves no record that the judge could see, and a sleep is told of by the judge as well.
#[test]
fn d1_a_due_that_no_record_tells_of_is_open_once() {
    let place = Place::new("calls-once");
    let run = |days: u32, more: &str| {
        place.write("site.toml", &refusing(days, more));
        lines(&place, &["run", "site.toml", "--json"])
    };
    let plain = run(6, "");
    let since = plain.last().unwrap()["memory_fault_ms"].as_u64().unwrap();
    let alarm = of(&plain, "alarm").into_iter().find(|line| line["alarm"] == "memory fault");
    assert_eq!(alarm.unwrap()["at_ms"], since);
    let all = open_at_end(&plain);
    let [(cut, 1, None), (first, count, Some(cause))] = &all[..] else { panic!("{all:?}") };
    assert!(cut < first && *count > 1 && cause == "memory fault", "{all:?}");
    let dues = plain.last().unwrap()["dues"].clone();

    let fault = |at: &str, kind: &str| format!("[[fault]]\nat = \"+3 d {at}\"\n{kind}\n");
    let reset = fault("5 h", "watchdog_reset = {}");
    let cut = fault("6 h", "supply_loss = { lasts = \"1 h\" }");
    let late = fault("9 h", "late_wake = { by = \"30 d\" }");
    for more in [&reset, &cut, &late, &format!("{reset}\n{cut}\n{late}")] {
        let told = run(6, more);
        assert_eq!(open_at_end(&told), all, "{more}");
        let last = told.last().unwrap();
        assert_eq!((&last["dues"], &last["memory_fault_ms"]), (&dues, &since.into()), "{more}");
    }
    // off to the end: what passed before is the memory's, what comes later is slept through
    let off = run(6, &fault("5 h", "supply_loss = { lasts = \"30 d\" }"));
    let told = open_at_end(&off);
    let [a, b, c] = &told[..] else { panic!("{told:?}") };
    assert_eq!((a, &b.0, b.2.as_deref()), (&all[0], first, Some("memory fault")));
    assert!(b.1 + c.1 == *count && c.2.is_none() && c.0 == "2026-10-09", "{told:?}");
    let last = off.last().unwrap();
    assert_eq!((&last["dues"], &last["memory_fault_ms"]), (&dues, &serde_json::Value::Null));
    // and so where it came on again in between
    let off = fault("30 h", "supply_loss = { lasts = \"30 d\" }");
    let twice = format!("{reset}\n{off}");
    let told = open_at_end(&run(6, &twice));
    assert_eq!(told.iter().map(|(_, count, _)| count).sum::<u64>(), 1 + count, "{told:?}");
}

/// A memory that takes again for a while takes nothing since it failed anew.
#[test]
fn a_memory_takes_nothing_since_it_took_last() {
    let place = Place::new("calls-anew");
    let fault = |at: &str, within: &str| {
        format!(
            "[[fault]]\nat = \"{at}\"\nwrite_failure = {{ times = 1_000_000, within = \"{within}\" }}\n\n"
        )
    };
    let reset = "[[fault]]\nat = \"+3 d 5 h\"\nwatchdog_reset = {}\n";
    let faults = format!("{}{}{reset}", fault("+1 d 5 h", "5 h"), fault("+2 d 5 h", "99 d"));
    place.write("site.toml", &nights(&faults).replace("4 days", "5 days"));
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let since = told.last().unwrap()["memory_fault_ms"].as_u64().unwrap();
    let hours = since / 3_600_000;
    assert!((53..=54).contains(&hours), "{since}");
}
