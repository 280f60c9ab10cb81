//! `calibrate`.

use crate::support::{Place, flat, good, wide};

/// Runs it in a place with a head of three rollers of 0.29 ml.
fn place(test: &str) -> Place {
    let place = Place::new(test);
    place.write(
        "head.toml",
        "schema = 1\n[head]\nflow = \"26.5 ml/min\"\nrollers = 3\nvolume_per_roller_pass = \"0.29 ml\"\n",
    );
    place.write("site.toml", &good());
    place
}

#[test]
fn the_run_is_worked_out_in_whole_turns() {
    let place = place("calibrate-plan");
    let said = place.call(&["calibrate", "head.toml", "--vessel", "100 ml"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.out.starts_with("Run 81 whole rotor turns, 2 min 39.6 s, about 70.5 ml"),
        "{}",
        said.out
    );
    assert!(said.out.contains("safety data sheet"), "{}", said.out);
    wide(&said.out);
    // a scenario does as well as a head file
    let said = place.call(&["calibrate", "site.toml", "--vessel", "100 ml", "--class", "a"]);
    assert!(said.code == 0 && said.out.contains("not known"), "{said:?}");
    let said = place.call(&["calibrate", "head.toml", "--vessel", "100 ml", "--target", "0.5 %"]);
    assert!(
        said.code == 1 && said.out.starts_with("No run does: this vessel is too small"),
        "{said:?}"
    );
}

#[test]
fn each_verdict_has_its_sentence_and_exit_code() {
    let place = place("calibrate-verdicts");
    for (run, ml, more, begins, code) in [
        ("3 min", "79 ml", &[][..], "Accept 26.33 ml/min", 0),
        ("1 min", "26.4 ml", &[], "Run longer: 26.40 ml/min", 1),
        ("3 min", "71.7 ml", &[], "Confirm by a second run: 23.90 ml/min", 1),
        ("3 min", "71.7 ml", &["--first", "24 ml/min"], "Accept 23.90 ml/min", 0),
        // 5 % of the first is what agrees, as on the device; beyond its doubt it is told
        (
            "3 min",
            "71.7 ml",
            &["--first", "23.4 ml/min"],
            "Accept 23.90 ml/min +-0.41 ml/min (k = 2).\n",
            0,
        ),
        (
            "3 min",
            "71.7 ml",
            &["--first", "25.1 ml/min"],
            "Accept 23.90 ml/min +-0.41 ml/min (k = 2). It is 4.8 %",
            0,
        ),
        ("3 min", "71.7 ml", &["--first", "25.2 ml/min"], "Not accepted: 23.90 ml/min", 1),
        ("3 min", "71.7 ml", &["--first", "22.8 ml/min"], "Accept 23.90 ml/min", 0),
        ("3 min", "71.7 ml", &["--first", "22.7 ml/min"], "Not accepted: 23.90 ml/min", 1),
        ("3 min", "30 ml", &[], "Refused: 10.00 ml/min", 1),
    ] {
        let mut args =
            vec!["calibrate", "head.toml", "--vessel", "100 ml", "--run", run, "--measured", ml];
        args.extend(more);
        let said = place.call(&args);
        assert_eq!(said.code, code, "{said:?}");
        assert!(said.out.starts_with(begins), "{}", said.out);
        assert_eq!(said.out.contains("The old flow stays in force."), code == 1, "{}", said.out);
        wide(&said.out);
        args.push("--json");
        let json: serde_json::Value = serde_json::from_str(&place.call(&args).out).unwrap();
        assert_eq!(json["event"], "calibration");
        assert_eq!(json["verdict"] == "accept", code == 0);
    }
}

#[test]
fn by_mass_and_by_two_points() {
    let place = place("calibrate-mass");
    // common practice, no source: 120.0 g at 1.03 are 116.5 ml
    let product = [
        "calibrate",
        "head.toml",
        "--balance",
        "0.1 g",
        "--density",
        "1.03 kg/l",
        "--run",
        "4 min 24 s",
        "--mass",
        "120.0 g",
    ];
    let said = place.call(&product);
    assert!(said.code == 0 && said.out.contains("116.50 ml"), "{said:?}");
    // ISO 8655-6, Z at 20 C is 1.0029: 120.35 ml
    let said = place.call(&[
        "calibrate",
        "head.toml",
        "--balance",
        "0.1 g",
        "--water",
        "20 C",
        "--run",
        "4 min 32 s",
        "--mass",
        "120.0 g",
    ]);
    assert!(
        said.code == 0 && said.out.contains("120.3") && said.out.contains("Z 1.0029"),
        "{said:?}"
    );
    let said = place.call(&[
        "calibrate",
        "head.toml",
        "--balance",
        "0.02 g",
        "--water",
        "20 C",
        "--timing",
        "1 ms",
        "--run",
        "3 min",
        "--mass",
        "79.2 g",
        "--pulses",
        "60",
        "--pulse",
        "2 s",
        "--train",
        "51.9 g",
        "--logged",
        "18.7 l",
    ]);
    assert!(said.out.contains("loss per start") && said.out.contains("account since"), "{said:?}");
    wide(&said.out);
}

/// A long run of 26.5 ml/min, and a train of so many pulses of 2 s.
fn train(pulses: &'static str, amount: &'static str) -> [&'static str; 13] {
    let long = ["head.toml", "--vessel", "100 ml", "--run", "2 min", "--measured", "53 ml"];
    let [a, b, c, d, e, f, g] = long;
    [a, b, c, d, e, f, g, "--pulses", pulses, "--pulse", "2 s", "--train", amount]
}

#[test]
fn what_is_missing_or_wrong_is_said() {
    let place = place("calibrate-wrong");
    for (args, wanted) in [
        (&["--vessel", "100 ml"][..], "--last"),
        (&["head.toml"], "--vessel"),
        (&["head.toml", "--vessel", "123 ml"], "such as --tolerance \"0.5 ml\""),
        (&["head.toml", "--vessel", "100 ml", "--reading", "100 ml"], "--reading is not less"),
        (&["head.toml", "--vessel", "100"], "has no unit"),
        (&["head.toml", "--vessel", "0,1 l"], "0.1 l"),
        (&["head.toml", "--vessel", "100 ml", "--run", "1 min"], "--measured"),
        (
            &["head.toml", "--vessel", "100 ml", "--run", "1 min", "--measured", "126.5 ml"],
            "more than the vessel holds",
        ),
        (&["head.toml", "--balance", "1 g", "--run", "1 min", "--mass", "26 g"], "--density"),
        (&["head.toml", "--balance", "1 g", "--water", "60 C"], "from 0.5 to 40 C"),
        (&["head.toml", "--vessel", "100 ml", "--run", "1 min", "--mass", "26 g"], "--balance"),
        (&["nowhere.toml", "--vessel", "100 ml"], "cannot read"),
        (&["head.toml", "--vessel", "100 ml", "--run", "1 min", "--measured", "-26 ml"], "-26 ml"),
        (&train("60", "184 ml"), "--train: 184 ml is more than the vessel holds"),
        (&train("60", "84 ml"), "the train gave 1.400 ml a pulse"),
        (&train("60", "25 ml"), "check the count"),
    ] {
        let mut all = vec!["calibrate"];
        all.extend(args);
        let said = place.call(&all);
        assert!(said.code == 2 && said.out.is_empty(), "{args:?} {said:?}");
        assert!(said.err.contains(wanted), "{wanted}: {}", said.err);
    }
    place.write("bad.toml", "schema = 1\n[head]\nflow = 26.5\nrolers = 3\n");
    let said = place.call(&["calibrate", "bad.toml", "--vessel", "100 ml"]);
    assert!(
        said.code == 2 && said.err.contains("bad.toml:3:8") && said.err.contains("rollers"),
        "{said:?}"
    );
}

#[test]
fn a_train_that_gives_more_than_the_pump_can_is_not_accepted() {
    let place = place("calibrate-gain");
    let all = |amount: &'static str| {
        let long = ["calibrate", "head.toml", "--vessel", "100 ml", "--run", "2 min 40 s"];
        let short = ["--measured", "71 ml", "--pulses", "60", "--pulse", "2 s", "--train", amount];
        let said = place.call(&[&long[..], &short[..]].concat());
        (said.code, said.out.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    let (code, said) = all("60 ml");
    assert_eq!(code, 1, "{said}");
    assert!(said.starts_with("Not accepted: the train gave 12.7 % more than the flow"), "{said}");
    assert!(said.contains("The old flow stays in force."), "{said}");
    let (code, said) = all("52 ml");
    assert_eq!(code, 0, "{said}");
}

#[test]
fn several_readings_of_one_length_show_their_mean_error_and_scatter() {
    let place = place("calibrate-repeats");
    let with = |option: &str, given: &[&str], readings: &[&str]| {
        let mut args = vec!["calibrate", "head.toml", "--run", "3 min"];
        args.extend(given);
        args.extend(readings.iter().flat_map(|reading| [option, *reading]));
        place.call(&args)
    };
    let of = |given: &[&str], readings: &[&str]| {
        with("--measured", &[&["--vessel", "100 ml"], given].concat(), readings)
    };
    let three = ["79.3 ml", "79.7 ml", "79.8 ml"];
    let said = of(&[], &three);
    // by hand: mean 79.6 of 79.5 ml; s = sqrt(0.14/2) = 0.2646 ml, of the mean 0.1528 ml;
    // 1 ml/sqrt(3) of the vessel and 0.5 s of 180 s: 2.002 x 0.80 %
    assert!(
        said.code == 0 && said.out.starts_with("Accept 26.53 ml/min +-0.43 ml/min"),
        "{said:?}"
    );
    wide(&said.out);
    let told = flat(&said.out);
    for wanted in [
        "run 3 min 0.0 s, 79.60 ml,",
        "repeats 3 readings, mean 79.60 ml: systematic error +0.13 % of the 79.50 ml that the flow in force would give, CV 0.33 % (ISO 8655-6)",
        "uncertainty of the mean (JCGM 100)",
        "vessel 0.73 % timing 0.28 %",
        "scatter 0.19 %",
        "combined 0.80 %",
    ] {
        assert!(told.contains(wanted), "{wanted}\n{}", said.out);
    }
    let line: serde_json::Value = serde_json::from_str(&of(&["--json"], &three).out).unwrap();
    let repeats = &line["repeats"];
    assert_eq!(repeats["readings"], 3, "{line}");
    for (key, wanted) in
        [("systematic_percent", 0.126), ("deviation_ml", 0.2646), ("cv_percent", 0.332)]
    {
        let found = repeats[key].as_f64().unwrap();
        assert!((found - wanted).abs() < 0.0006, "{key}: {found}");
    }
    // one is no several
    let one = of(&[], &["79.6 ml"]).out;
    assert!(!one.contains("repeats") && !one.contains("scatter"), "{one}");
    let line: serde_json::Value = serde_json::from_str(&of(&["--json"], &three[..1]).out).unwrap();
    assert_eq!(line["repeats"], serde_json::Value::Null);

    // far from the last flow they confirm one another, where one would have to be confirmed
    let far = ["71.6 ml", "71.8 ml", "71.7 ml"];
    let said = of(&[], &far);
    assert!(said.code == 0 && said.out.starts_with("Accept 23.90 ml/min"), "{said:?}");
    assert!(flat(&said.out).contains("systematic error -9.81 %"), "{}", said.out);
    assert!(of(&[], &far[..1]).out.starts_with("Confirm by a second run"));
    // with a first run they are one second run
    let said = of(&["--first", "26.4 ml/min"], &far);
    assert!(
        said.code == 1 && flat(&said.out).contains("does not agree with the first"),
        "{said:?}"
    );
    // and where they do not agree, nothing is taken
    let said = of(&["--target", "10 %"], &["70 ml", "74 ml", "70 ml", "74 ml"]);
    assert!(
        said.code == 1 && flat(&said.out).contains("do not agree with one another"),
        "{said:?}"
    );
    let said = of(&[], &["77 ml", "79.5 ml", "82 ml"]);
    let told = flat(&said.out);
    assert!(said.code == 1 && told.contains("it is the readings that scatter"), "{said:?}");
    let said = of(&["--json"], &["77 ml", "79.5 ml", "82 ml"]);
    assert!(said.out.contains("\"verdict\":\"scatter\""), "{said:?}");
    // a run that is too short for its vessel wants a longer one, not fewer doubts
    let short = ["--vessel", "100 ml", "--run", "1 min"];
    let said = place.call(
        &[
            &["calibrate", "head.toml"][..],
            &short,
            &["--measured", "26.4 ml", "--measured", "26.5 ml"],
        ]
        .concat(),
    );
    assert!(said.code == 1 && said.out.starts_with("Run longer"), "{said:?}");

    // by weight: grams of product at 1.03 kg/l
    let weighed = ["--balance", "0.1 g", "--density", "1.03 kg/l"];
    let said = with("--mass", &weighed, &["81.679 g", "82.091 g", "82.194 g"]);
    let told = flat(&said.out);
    assert!(said.code == 0 && told.contains("3 readings, mean 79.60 ml"), "{said:?}");
    assert!(told.contains("CV 0.33 %"), "{told}");
    // what cannot be
    let said = of(&[], &["79.3 ml", "100.5 ml"]);
    assert!(said.code == 2 && said.err.contains("100.5 ml is more than the vessel"), "{said:?}");
    let said = of(&["--pulses", "60", "--pulse", "2 s", "--train", "51 ml"], &three);
    assert!(said.code == 2 && said.err.contains("one run and one train"), "{said:?}");
    let said = with("--mass", &["--vessel", "100 ml"], &["79 g", "80 g"]);
    assert!(said.code == 2 && said.err.contains("--mass needs --balance"), "{said:?}");
}

/// The page and the line of readings of a run of 171.4 s.
fn several(
    place: &Place,
    given: &[&str],
    option: &str,
    readings: &[&str],
) -> (i32, String, String) {
    let mut args = vec!["calibrate", "head.toml", "--run", "2 min 51.4 s"];
    args.extend(given);
    args.extend(readings.iter().flat_map(|reading| [option, *reading]));
    let said = place.call(&args);
    wide(&said.out);
    args.push("--json");
    (said.code, flat(&said.out), place.call(&args).out)
}

#[test]
fn few_readings_that_scatter_are_in_more_doubt_than_twice_their_deviation() {
    let place = place("calibrate-few");
    let water = ["--balance", "0.1 g", "--water", "20 C"];
    // by hand: s of the mean 0.727 %, one degree of freedom; balance and timing 0.299 %: with
    // 0.786 % 1.37 effective degrees, where Student's t for 95.45 % is 7.4
    let (code, page, line) = several(&place, &water, "--mass", &["76.2 g", "75.1 g"]);
    assert!(code == 1 && page.contains("it is the readings that scatter"), "{page}");
    assert!(page.contains("expanded, k = 8.83") && page.contains("combined 0.79 %"), "{page}");
    let line: serde_json::Value = serde_json::from_str(&line).unwrap();
    let (k, degrees) = (&line["coverage"], &line["degrees_of_freedom"]);
    assert!((degrees.as_f64().unwrap() - 1.37).abs() < 0.02, "{line}");
    assert!(k.as_f64().unwrap() > 7.4, "{line}");
    // so many as it asks for do, where their deviation is the same, 0.778 g
    assert!(page.contains("measure again: 4 readings that scatter alike would do."), "{page}");
    let four = ["76.324 g", "74.976 g", "76.324 g", "74.976 g"];
    assert_eq!(several(&place, &water, "--mass", &four).0, 0);
    let three = ["76.428 g", "74.872 g", "75.65 g"];
    assert_eq!(several(&place, &water, "--mass", &three).0, 1);
    let (code, page, _) = several(&place, &water, "--mass", &["75.7 g", "75.6 g"]);
    assert!(code == 0 && page.contains("(k = 2"), "{page}");
    // one reading shows no scatter
    let (_, page, line) = several(&place, &water, "--mass", &["76.2 g"]);
    assert!(page.contains("expanded, k = 2 ") && line.contains("\"coverage\":2.0"), "{page}");
    assert!(line.contains("\"degrees_of_freedom\":null"), "{line}");
}

#[test]
fn an_outlier_among_several_readings_is_not_averaged_in() {
    let place = place("calibrate-outlier");
    let vessel = ["--vessel", "100 ml", "--class", "a"];
    let readings =
        ["75.5 ml", "71.5 ml", "75.6 ml", "75.4 ml", "75.5 ml", "75.6 ml", "75.5 ml", "75.6 ml"];
    let (code, page, line) = several(&place, &vessel, "--measured", &readings);
    assert!(code == 1 && page.contains("Reading 2, 71.50 ml, is -5.3 %"), "{page}");
    assert!(page.contains("an outlier (Grubbs' test at 1 %, ISO 5725-2)"), "{page}");
    assert!(page.contains("The old flow stays in force."), "{page}");
    let line: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(line["verdict"], "outlier", "{line}");
    assert_eq!(line["repeats"]["apart"]["reading"], 2, "{line}");
    assert_eq!(line["repeats"]["apart"]["outlier"], true, "{line}");
    // a step of the cylinder off, which is less than what a reading is in doubt, is none
    let step = ["75.5 ml", "75.5 ml", "75.5 ml", "75.5 ml", "75.4 ml"];
    let (code, page, line) = several(&place, &vessel, "--measured", &step);
    assert!(code == 0 && !page.contains("apart"), "{page}");
    assert!(line.contains("\"apart\":null"), "{line}");
    // a straggler is told and averaged in: G = 1.74 of five, between 1.715 and 1.764
    let straggler = ["75.34 ml", "75.34 ml", "75.66 ml", "75.66 ml", "74 ml"];
    let (code, page, _) = several(&place, &vessel, "--measured", &straggler);
    assert!(page.contains("a straggler (Grubbs' test at 5 %, ISO 5725-2)"), "{page}");
    assert!(!page.contains("outlier"), "{code} {page}");
}

#[test]
fn the_next_run_is_planned_with_the_scatter_that_was_seen() {
    let place = place("calibrate-next");
    let vessel = ["--vessel", "250 ml"];
    // no run makes up for a scatter of 1.5 % of the mean: it is said at once
    let far = ["110.5 ml", "112 ml", "104.6 ml", "108.2 ml"];
    let (code, page, _) = several(&place, &vessel, "--measured", &far);
    assert!(code == 1 && page.contains("it is the readings that scatter"), "{page}");
    // where one does, its doubt has the scatter in it: 0.2 % of the mean of four
    let near = ["75.5 ml", "75.8 ml", "75.2 ml", "75.5 ml"];
    let (code, page, line) = several(&place, &vessel, "--measured", &near);
    assert!(code == 1 && page.contains("of 4 readings that scatter as these do"), "{page}");
    let line: serde_json::Value = serde_json::from_str(&line).unwrap();
    let run = &line["run_longer"];
    let (run_s, ml) = (run["run_s"].as_f64().unwrap(), run["volume_ml"].as_f64().unwrap());
    let again: Vec<String> =
        [1.0, 1.004, 0.996, 1.0].iter().map(|share| format!("{:.2} ml", ml * share)).collect();
    let again: Vec<&str> = again.iter().map(String::as_str).collect();
    let run_s = format!("{run_s:.2} s");
    let mut args = vec!["calibrate", "head.toml", "--run", &run_s, "--json", "--vessel", "250 ml"];
    args.extend(again.iter().flat_map(|reading| ["--measured", *reading]));
    let said: serde_json::Value = serde_json::from_str(&place.call(&args).out).unwrap();
    assert_eq!(said["verdict"], "accept", "{said}");
    let found = said["expanded_ml_min"].as_f64().unwrap() / said["flow_ml_min"].as_f64().unwrap();
    let planned = run["expanded"].as_f64().unwrap();
    assert!((found / planned - 1.0).abs() < 0.01, "{found} {planned}");
}
