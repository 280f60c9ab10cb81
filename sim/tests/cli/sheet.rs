//! The sheet and the calendar of a site.

use std::fmt::Write as _;

use crate::support::{Place, nights, shipped};

#[test]
fn a_blank_on_the_sheet_is_a_warning() {
    let place = Place::new("sheet");
    place.write("site.toml", &shipped("harbour-kitchen.toml"));
    let said = place.call(&["sheet", "site.toml", "-o", "sheet.html"]);
    assert_eq!(said.code, 0, "{said:?}");
    for name in ["dosing point", "product class", "permit"] {
        assert!(said.err.contains(&format!("warning: no {name} in [site]")), "{}", said.err);
    }
    crate::support::wide(&said.err);
    let page = place.read("sheet.html");
    assert!(
        page.contains("Warning: </strong>dosing point, product class, permit reference not given")
    );
    let forecast: serde_json::Value =
        serde_json::from_str(&place.call(&["forecast", "site.toml", "--json"]).out).unwrap();
    for value in [
        &forecast["next_visit"]["date"],
        &forecast["next_visit"]["reason"],
        &forecast["container"]["order_by"],
        &forecast["battery"]["until"]["least"],
        &forecast["tube_set"]["date"],
    ] {
        assert!(page.contains(value.as_str().unwrap()), "{value}");
    }
    for text in [
        "nights of Mon Tue Wed Thu Fri Sat, 00:45",
        "144 ml",
        "26.5 ml/min",
        "pump ran, flow not sensed",
        "pump serial number",
        "signature",
        "licensed electrician",
        "size:210mm 297mm",
    ] {
        assert!(page.contains(text), "{text}");
    }
    let given = [
        "sheet",
        "site.toml",
        "-o",
        "full.html",
        "--paper",
        "letter",
        "--dosing-point",
        "upstream of the <U-bend>",
        "--product-class",
        "bacteria",
        "--permit",
        "HK 12/2026",
        "--uncertainty",
        "0.43 ml/min",
    ];
    let said = place.call(&given);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{said:?}");
    let page = place.read("full.html");
    assert!(page.contains("size:8.5in 11in") && !page.contains("not given"));
    assert!(page.contains("upstream of the &lt;U-bend&gt;") && page.contains("HK 12/2026"));
    let said = place.call(&["sheet", "site.toml", "-o", "x.html", "--permit", " "]);
    assert!(said.code == 2 && said.err.contains("leave it out for a blank"), "{said:?}");
}

#[test]
fn the_site_in_the_file_is_on_the_sheet_and_the_command_line_goes_before_it() {
    let place = Place::new("sheet-site");
    let file = |site: &str| format!("{}\n[site]\n{site}", shipped("harbour-kitchen.toml"));
    place.write(
        "site.toml",
        &file(
            "dosing_point = \"drain 2\"\nproduct_class = \" bacteria \"\npermit = \"HK 12/2026\"\n",
        ),
    );
    let said = place.call(&["sheet", "site.toml", "-o", "sheet.html"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{said:?}");
    let known = |text: &str| format!("<span class=\"known\">{text}</span>");
    let page = place.read("sheet.html");
    for text in ["drain 2", "bacteria", "HK 12/2026"] {
        assert!(page.contains(&known(text)), "{text}");
    }
    place.call(&["sheet", "site.toml", "-o", "sheet.html", "--permit", "HK 13/2027"]);
    let page = place.read("sheet.html");
    assert!(page.contains(&known("HK 13/2027")) && !page.contains("HK 12/2026"));
    assert!(page.contains(&known("drain 2")));
    // blanks are no dosing point
    place.write("blank.toml", &file("dosing_point = \"  \"\nproduct_class = \"bacteria\"\n"));
    let said = place.call(&["sheet", "blank.toml", "-o", "sheet.html"]);
    assert!(said.err.contains("no dosing point") && said.err.contains("no permit"), "{said:?}");
    assert!(!said.err.contains("no product class"), "{said:?}");
    assert!(place.read("sheet.html").contains("dosing point, permit reference not given"));
    // longer than its line
    place.write("long.toml", &file(&format!("permit = \"{}\"\n", "x".repeat(61))));
    let said = place.call(&["check", "long.toml"]);
    assert!(said.code == 2 && said.out.contains("longer than 60 characters"), "{said:?}");
}

#[test]
fn a_calendar_says_what_it_leaves_out() {
    let place = Place::new("calendar");
    place.write("week.toml", &nights(""));
    let said = place.call(&["calendar", "week.toml"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    assert!(said.out.starts_with("BEGIN:VCALENDAR\r\n") && said.out.ends_with("END:VCALENDAR\r\n"));
    // nights of Monday to Wednesday are mornings of Tuesday to Thursday
    assert!(
        said.out.contains("RRULE:FREQ=WEEKLY;BYDAY=TU,WE,TH;UNTIL=20261007T224500Z\r\n"),
        "{}",
        said.out
    );
    place.write("visit.toml", &shipped("09-service-visit.toml"));
    let said = place.call(&["calendar", "visit.toml", "-o", "visit.ics"]);
    assert!(said.code == 0 && said.err.contains("it shows the timetable at the start"), "{said:?}");
    assert!(place.read("visit.ics").contains("BEGIN:VTIMEZONE"));
    // a clock that is off puts the doses elsewhere than is shown
    let off = |by: &str, more: &str| {
        let site = nights(more).replace("[head]", &format!("off_by = \"{by}\"\n[head]"));
        place.write("off.toml", &site);
        let said = place.call(&["calendar", "off.toml"]).err;
        said.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let slow = off("-3 h", "");
    assert!(
        slow.contains("clock is 3 h slow at the start: what is weekly comes that much later"),
        "{slow}"
    );
    let fast = off("20 min", "");
    assert!(
        fast.contains("clock is 20 min fast at the start: what is weekly comes that much earlier"),
        "{fast}"
    );
    assert_eq!(off("0 s", ""), "");
    place.write("none.toml", &nights("").replace("run_for = \"4 days\"", "run_for = \"10 h\""));
    let said = place.call(&["calendar", "none.toml"]);
    assert!(said.code == 4 && said.err.contains("the calendar is empty"), "{said:?}");
}

#[test]
fn a_date_of_calibration_that_does_not_exist_is_refused() {
    let place = Place::new("sheet-date");
    place.write("site.toml", &nights(""));
    let sheet = |date: &str| {
        place.call(&["sheet", "site.toml", "-o", "s.html", "-q", "--calibrated", date])
    };
    for bad in ["2026-13-01", "2026-02-29", "yesterday"] {
        let said = sheet(bad);
        assert!(said.code == 2 && said.err.contains("write it like 2026-10-05"), "{bad}: {said:?}");
    }
    assert_eq!(sheet("2026-10-02").code, 0);
    assert!(place.read("s.html").contains("2026-10-02"));
    // half a year from that date, not from the start of the scenario
    assert!(place.read("s.html").contains("2027-04-02"));
    assert_eq!(sheet("2026-06-01").code, 0);
    let old = place.read("s.html");
    assert!(old.contains("2026-11-30") && !old.contains("2027-04"), "{old}");
    // one that is over is due at once
    assert_eq!(sheet("2025-01-01").code, 0);
    assert!(place.read("s.html").contains("the calibration is over six months old"));
    let said = sheet("2026-10-06");
    assert!(said.code == 2 && said.err.contains("after the start"), "{said:?}");
}

#[test]
fn a_dose_in_ounces_is_told_without_digits_that_nobody_measures() {
    let place = Place::new("sheet-ounces");
    place.write("site.toml", &nights("").replace("\"120 ml\"", "\"4 US fl oz\""));
    assert_eq!(place.call(&["sheet", "site.toml", "-o", "s.html", "-q"]).code, 0);
    // four times 29.5735295625 ml (NIST Handbook 44, appendix C)
    let calendar = place.call(&["calendar", "site.toml"]).out;
    let pulses = place.call(&["pulses", "site.toml"]).out;
    for text in [place.read("s.html"), calendar, pulses] {
        assert!(text.contains("118.29 ml") && !text.contains("118.2941"), "{text}");
    }
}

#[test]
fn the_sheet_says_which_entries_closed_dates_do_not_hold() {
    let place = Place::new("sheet-closed");
    let more = "[[entry]]\nname = \"sink\"\nweekly = { days = [\"sun\"], at = \"14:00\" }\nvolume = \"20 ml\"\nwindow = \"1 h\"\nobserves_closed = false\n[[entry]]\nname = \"trap\"\nevery = { interval = \"50 h\", from = \"2026-10-06 06:00\" }\nvolume = \"20 ml\"\nwindow = \"20 min\"\n";
    let closed = "[[closed]]\nfirst = 2026-10-24\nlast = 2026-10-25\n";
    let sheet = |more: &str| {
        place.write("site.toml", &nights(more));
        let said = place.call(&["sheet", "site.toml", "-o", "sheet.html"]);
        assert_eq!(said.code, 0, "{said:?}");
        place.read("sheet.html")
    };
    let page = sheet(&format!("{more}{closed}"));
    assert!(page.contains("These run on closed dates too: <strong>sink, trap</strong>."), "{page}");
    // only those that have a dose on them: a Sunday, and 6 October 06:00 + 9 x 50 h
    let on = |first: &str, last: &str| {
        let page = sheet(&format!("{more}[[closed]]\nfirst = {first}\nlast = {last}\n"));
        let told = page.split("These run on closed dates too: <strong>").nth(1);
        told.map_or(String::new(), |rest| rest.split('<').next().unwrap().to_owned())
    };
    assert_eq!(on("2026-10-26", "2026-10-26"), "");
    assert_eq!(on("2026-10-25", "2026-10-26"), "sink, trap");
    assert_eq!(on("2026-10-24", "2026-10-24"), "");
    assert_eq!(on("2026-11-01", "2026-11-01"), "sink");
    assert_eq!(on("2030-05-01", "2030-05-03"), "trap");
    assert_eq!(on("2026-09-01", "2026-10-04"), "");
    assert!(!sheet(closed).contains("run on closed dates"));
    assert!(!sheet(more).contains("run on closed dates"));
}

#[test]
fn the_sheet_says_by_when_a_disturbed_dose_has_ended() {
    let place = Place::new("sheet-grace");
    place.write("site.toml", &nights("").replace("pulses = 30", "grace = \"10 min\""));
    place.call(&["sheet", "site.toml", "-o", "sheet.html"]);
    let page = place.read("sheet.html");
    assert!(page.contains("01:30, if disturbed 01:40"), "{page}");
    assert!(page.contains("Disturbed: cut, stopped, made to wait or woken late."), "{page}");
    place.write("site.toml", &nights(""));
    place.call(&["sheet", "site.toml", "-o", "sheet.html"]);
    let page = place.read("sheet.html");
    assert!(page.contains("01:30") && !page.contains("isturbed"), "{page}");
}

/// What does not go onto one page in the usual size is printed smaller; what does not go at
/// all is counted.
#[test]
fn a_long_timetable_is_printed_smaller() {
    let place = Place::new("sheet-long");
    let sheet = |count: u32, name: &str, paper: &str, more: &str| {
        let mut site = "schema = 1\n[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\n\
            run_for = \"30 d\"\n[head]\nflow = \"26.5 ml/min\"\n\
            [[closed]]\nfirst = 2026-12-24\nlast = 2027-01-03\n"
            .to_owned();
        for i in 0..count {
            let (hour, minute) = (i / 3, 20 * (i % 3));
            _ = write!(
                site,
                "[[entry]]\nname = \"{i} {name}\"\nvolume = \"5 ml\"\nwindow = \"10 min\"\n\
                 weekly = {{ days = [\"mon\", \"thu\"], at = \"{hour:02}:{minute:02}\" }}\n{more}"
            );
        }
        place.write("site.toml", &site);
        let said = place.call(&["sheet", "site.toml", "-q", "-o", "-", "--paper", paper]);
        assert_eq!(said.code, 0, "{said:?}");
        let class = said.out.split("<main class=\"").nth(1).unwrap().split('"').next().unwrap();
        (class.to_owned(), said.out.clone())
    };
    let long = "with a name that takes much of the line";
    assert_eq!(sheet(12, "short", "a4", "").0, "a4");
    assert_eq!(sheet(13, "short", "letter", "").0, "letter small");
    assert_eq!(sheet(6, long, "a4", "grace = \"5 min\"\n").0, "a4");
    assert_eq!(sheet(10, long, "a4", "grace = \"5 min\"\n").0, "a4 small");
    let (class, page) = sheet(32, "short", "a4", "");
    assert!(class == "a4 smaller" && !page.contains("more entries"));
    let (class, page) = sheet(40, "short", "a4", "");
    assert!(class == "a4 smaller" && page.contains("8 more entries have no room here"));
    assert_eq!(page.matches("<th scope=\"row\">").count(), 32);
    // names of entries that run on closed dates take room too, unless it is all of them
    let go_on = "observes_closed = false\n";
    let (_, page) = sheet(3, long, "a4", go_on);
    assert!(page.contains("These run on closed dates too: <strong>all of them</strong>"));
}

/// Of closed dates all are told while there is room; the page grows smaller first.
#[test]
fn closed_dates_are_told_in_full_while_there_is_room() {
    let place = Place::new("sheet-many-closed");
    let sheet = |entries: u32| {
        let mut site = "schema = 1\n[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\n\
            run_for = \"30 d\"\n[head]\nflow = \"26.5 ml/min\"\n"
            .to_owned();
        for i in 0..12 {
            _ = write!(site, "[[closed]]\nfirst = 20{}-12-24\nlast = 20{}-01-03\n", 26 + i, 27 + i);
        }
        for i in 0..entries {
            let (hour, minute) = (i / 3, 20 * (i % 3));
            _ = write!(
                site,
                "[[entry]]\nname = \"line {i}\"\nvolume = \"5 ml\"\nwindow = \"10 min\"\n\
                 weekly = {{ days = [\"mon\", \"thu\"], at = \"{hour:02}:{minute:02}\" }}\n"
            );
        }
        place.write("site.toml", &site);
        let said = place.call(&["sheet", "site.toml", "-q", "-o", "-"]);
        assert_eq!(said.code, 0, "{said:?}");
        let class = said.out.split("<main class=\"").nth(1).unwrap().split('"').next().unwrap();
        let text = said.out.split("Closed: ").nth(1).unwrap().split("</p>").next().unwrap();
        let told = (26..38).filter(|year| text.contains(&format!("20{year}-12-24"))).count();
        let rows = said.out.matches("<th scope=\"row\">").count();
        (class.to_owned(), told, rows, text.contains("more have no room here"))
    };
    // eight more than the usual four take three lines of twelve, and two of 32
    assert_eq!(sheet(9), ("a4".to_owned(), 12, 9, false));
    assert_eq!(sheet(10), ("a4 small".to_owned(), 12, 10, false));
    assert_eq!(sheet(30), ("a4 smaller".to_owned(), 12, 30, false));
    assert_eq!(sheet(31), ("a4 smaller".to_owned(), 8, 31, true));
    assert_eq!(sheet(40), ("a4 smaller".to_owned(), 4, 32, true));
}
