//! Volumes are shown in the units that were chosen, on everything that a person reads.

use crate::support::{Place, flat, nights, wide};

/// What happens beside the doses, so that there is a word of each kind of volume.
const MORE: &str = r#"
[container]
capacity = "10 l"
level = "7.5 l"
[tube]
suction = "1.5 m"
discharge = "3 m"
bore = "4.8 mm"
lift = "0.8 m"
[[operator]]
at = "wed 09:00"
calibrate = { vessel = "250 ml", measured = "132 ml" }
[[operator]]
at = "wed 10:00"
refill = { level = "300 US fl oz" }
[[operator]]
at = "wed 11:00"
prime = { lasts = "1 min" }
[[fault]]
at = "thu 00:50:20"
supply_loss = { lasts = "12 min" }
"#;

/// Numbers with a metric unit behind them.
fn metric(text: &str) -> Vec<String> {
    // of a page what is between its tags
    let mut shown = String::new();
    let mut is_tag = false;
    for c in text.chars() {
        match c {
            '<' => is_tag = true,
            '>' => (is_tag, shown) = (false, shown + " "),
            c if !is_tag => shown.push(c),
            _ => {}
        }
    }
    let words: Vec<&str> = shown.split_whitespace().collect();
    let is_metric = |word: &str| {
        let word = word.trim_end_matches(['.', ',', ';', ':', ')']);
        ["ml", "l", "ml/min"].contains(&word)
    };
    let found = words.windows(2).filter(|pair| is_metric(pair[1]));
    found.map(|pair| pair.join(" ")).collect()
}

#[test]
fn every_page_is_in_the_units_of_the_scenario() {
    let place = Place::new("units-pages");
    let metric_site = nights(MORE);
    assert!(metric_site.starts_with("schema = 1\n"), "{metric_site}");
    let us = metric_site.replacen("schema = 1\n", "schema = 1\nunits = \"us\"\n", 1);
    place.write("us.toml", &us);
    place.write("metric.toml", &metric_site);
    let pages = |file: &str, more: &[&str]| {
        let call = |args: &[&str]| {
            let said = place.call(&[args, more].concat());
            assert_eq!(said.code, 0, "{args:?}: {said:?}");
            said.out + &said.err
        };
        let run = call(&["run", file, "-v", "--image", "image.bin"]);
        let mut out = vec![("run", run)];
        out.push(("check", call(&["check", file])));
        out.push(("forecast", call(&["forecast", file])));
        out.push(("pulses", call(&["pulses", file])));
        out.push(("calendar", call(&["calendar", file])));
        call(&["report", file, "-o", "report.html", "-q"]);
        out.push(("report", place.read("report.html")));
        call(&["sheet", file, "-o", "sheet.html", "-q"]);
        out.push(("sheet", place.read("sheet.html")));
        place.write("script.txt", "screen\nwait 1 min\n");
        out.push(("operate", call(&["operate", file, "--script", "script.txt"])));
        out
    };
    for (name, page) in pages("us.toml", &[]) {
        assert_eq!(metric(&page), Vec::<String>::new(), "{name}: {page}");
        if !page.starts_with('<') && name != "calendar" {
            wide(&page);
        }
        if name != "check" {
            assert!(page.contains("US fl oz"), "{name}: {page}");
        }
    }
    // 120 ml are 4.0577 US fl oz, 10 l 338.14 (29.5735295625 ml, NIST Handbook 44, appendix C)
    let run = place.call(&["run", "us.toml", "-v"]).out;
    for line in ["4.06 US fl oz", "4.463 US fl oz measured", "filled to 300 US fl oz"] {
        assert!(run.contains(line), "{line}: {run}");
    }
    // an option goes before what the file says
    for (name, page) in pages("metric.toml", &["--units", "imperial"]) {
        assert_eq!(metric(&page), Vec::<String>::new(), "{name}: {page}");
    }
    // 120 ml are 4.2234 imperial ones (28.4130625 ml)
    let run = place.call(&["run", "us.toml", "-v", "--units", "imperial"]).out;
    assert!(run.contains("4.22 imp fl oz") && !run.contains("US fl oz"), "{run}");
    let run = place.call(&["run", "us.toml", "-v", "--units", "metric"]).out;
    assert!(run.contains("120 ml") && !run.contains("fl oz"), "{run}");
}

#[test]
fn an_image_and_a_calibration_have_no_file_that_says_and_take_the_option() {
    let place = Place::new("units-option");
    place.write("site.toml", &nights(MORE));
    assert_eq!(place.call(&["run", "site.toml", "-q", "--image", "image.bin"]).code, 0);
    let replay = place.call(&["replay", "image.bin", "-v", "--units", "us"]).out;
    assert_eq!(metric(&replay), Vec::<String>::new(), "{replay}");
    assert!(replay.contains("338.14 US fl oz"), "{replay}");
    let args = [
        "calibrate",
        "--last",
        "26.5 ml/min",
        "--vessel",
        "100 ml",
        "--tolerance",
        "1 ml",
        "--timing",
        "100 ms",
        "--run",
        "129 s",
        "--measured",
        "57 ml",
        "--units",
        "us",
    ];
    let calibrate = place.call(&args).out;
    // 57 ml in 129 s are 26.512 ml/min, 0.89647 US fl oz/min
    assert!(calibrate.contains("0.896 US fl oz/min"), "{calibrate}");
    assert_eq!(metric(&calibrate), Vec::<String>::new(), "{calibrate}");
}

#[test]
fn each_of_several_scenarios_has_its_own_units() {
    let place = Place::new("units-several");
    let with = |units: &str| {
        nights("").replacen("schema = 1\n", &format!("schema = 1\nunits = \"{units}\"\n"), 1)
    };
    place.write("a.toml", &with("us"));
    place.write("b.toml", &nights(""));
    let said = place.call(&["run", "a.toml", "b.toml", "-v"]).out;
    let (a, b) = said.split_once("b.toml held").unwrap();
    assert!(a.contains("4.06 US fl oz") && !a.contains("120 ml"), "{a}");
    assert!(b.contains("120 ml") && !b.contains("fl oz"), "{b}");
    // what is for machines does not change
    let lines =
        |file: &str, units: &str| place.call(&["run", file, "--json", "--units", units]).out;
    assert_eq!(lines("b.toml", "us"), lines("b.toml", "metric"));
    assert_eq!(metric("4 ml, <b>7</b> l"), ["4 ml,", "7 l"]);
    // a word that is none is told with those that there are
    place.write("c.toml", &with("cups"));
    let said = place.call(&["check", "c.toml"]);
    assert!(said.code == 2 && said.out.contains("one of: metric, us, imperial"), "{said:?}");
}

#[test]
fn the_panel_of_a_scenario_is_in_its_units() {
    let place = Place::new("units-panel");
    let us = nights("").replacen("schema = 1\n", "schema = 1\nunits = \"us\"\n", 1);
    place.write("us.toml", &us);
    place.write("script.txt", "press\nhold\nright\nscreen\ncame out 0 US fl oz .. 1 US fl oz\n");
    let said = place.call(&["operate", "us.toml", "--script", "script.txt"]);
    assert!(said.code == 0 && said.out.contains("4.1 fl oz"), "{said:?}");
}

#[test]
fn a_plan_hands_its_units_on() {
    let place = Place::new("units-plan");
    let brief = dosewright_sim::plan::example();
    let us = brief.replacen("schema = 1\n", "schema = 1\nunits = \"us\"\n", 1);
    assert_ne!(us, brief);
    place.write("brief.toml", &us);
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 0 && said.out.contains("\nunits = \"us\"\n"), "{said:?}");
    let comments: String = said.out.lines().filter(|line| line.starts_with('#')).collect();
    assert!(comments.contains(" US fl oz") && metric(&comments).is_empty(), "{comments}");
    // what is written to be read again is exact
    let volume = said.out.lines().find(|line| line.starts_with("volume = ")).unwrap();
    assert!(volume.ends_with(" ml\""), "{volume}");
}

#[test]
fn warnings_are_in_the_units_of_the_file() {
    let place = Place::new("units-warnings");
    let lines = "[container]\ncapacity = \"10 l\"\n[tube]\nsuction = \"2 m\"\ndischarge = \"3 m\"\nbore = \"4.8 mm\"\nlift = \"1.8 m\"\noutlet_below = \"1.2 m\"\n";
    let site = nights(lines).replace("120 ml", "30 ml").replace("pulses = 30\n", "");
    place.write("metric.toml", &site);
    let said = flat(&place.call(&["check", "metric.toml"]).out);
    assert!(said.contains("the line holds about 33 ml there"), "{said}");
    assert!(said.contains(" ml/min run"), "{said}");
    // 32.6 ml are 1.10 US fl oz
    let said = flat(&place.call(&["check", "metric.toml", "--units", "us"]).out);
    assert!(said.contains("the line holds about 1.1 US fl oz there"), "{said}");
    assert!(said.contains("about 27.3 US fl") && !said.contains("ml/min"), "{said}");
}

/// The texts of the pictures that are wider than the room left of where they end, at the
/// size that a small screen gives them.
fn cut_off(page: &str) -> Vec<String> {
    let texts = page.split("<text ").skip(1).filter(|text| text.contains("text-anchor=\"end\""));
    let cut = texts.filter(|text| {
        let x: f64 = text.split("x=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        let shown = text.split('>').nth(1).unwrap().split('<').next().unwrap();
        // figures of an axis are wider than letters, and there alone there is little room
        x < 60.0 && shown.chars().count() as f64 * 7.0 > x
    });
    cut.map(str::to_owned).collect()
}

#[test]
fn the_figures_of_a_picture_have_room_in_every_unit() {
    let place = Place::new("units-axes");
    let site = nights(MORE).replace("\"7.5 l\"", "\"9.5 l\"");
    place.write("site.toml", &site);
    for (units, word) in [("metric", "l"), ("us", "US fl oz"), ("imperial", "imp fl oz")] {
        let said = place.call(&["report", "site.toml", "-o", "r.html", "-q", "--units", units]);
        assert_eq!(said.code, 0, "{said:?}");
        let page = place.read("r.html");
        assert_eq!(cut_off(&page), Vec::<String>::new(), "{units}");
        // once above the figures of each container, and of the days
        let told = format!("y=\"11\" text-anchor=\"start\">{word}</text>");
        assert!(page.matches(&told).count() >= 2, "{units}: {page}");
    }
}
