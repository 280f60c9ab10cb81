//! `calibrate`.

use crate::support::{Place, good, wide};

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
