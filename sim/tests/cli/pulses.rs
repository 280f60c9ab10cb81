//! `pulses`.

use crate::support::{Place, good, shipped, wide};

const SLOW: &str =
    "schema = 1\ntitle = \"slow\"\n[head]\nflow = \"10 ml/min\"\nspin_up = \"400 ms\"\n";
const TOO_SLOW: &str = "schema = 1\n[head]\nflow = \"2 ml/min\"\n";

#[test]
fn the_train_of_a_dose() {
    let place = Place::new("pulses");
    place.write("q.toml", &shipped("01-quayside-canteen.toml"));
    let said = place.call(&[
        "pulses",
        "q.toml",
        "--entry",
        "drain line",
        "--vcd",
        "q.vcd",
        "--csv",
        "q.csv",
    ]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.out.starts_with(
            "120 ml of \"drain line\" goes in 30 pulses of 9056 ms to 9057 ms over 45 min:\nwithin"
        ),
        "{}",
        said.out
    );
    assert!(said.out.contains("same pulses to the\nmillisecond"), "{}", said.out);
    wide(&said.out);
    // one row a pulse; what was commanded is the dose
    let csv = place.read("q.csv");
    assert_eq!(csv.lines().count(), 31);
    let last: Vec<&str> = csv.lines().last().unwrap().split(',').collect();
    assert!((last[6].parse::<f64>().unwrap() - 120.0).abs() < 0.001, "{last:?}");
    let vcd = place.read("q.vcd");
    assert_eq!(vcd.lines().filter(|line| *line == "1!").count(), 30);
    assert!(vcd.contains("outflow_ml_min") && !vcd.contains("$date"));
    let stamps: Vec<u64> =
        vcd.lines().filter_map(|line| line.strip_prefix('#')?.parse().ok()).collect();
    assert!(stamps.is_sorted() && stamps.last() == Some(&2_700_000), "{:?}", stamps.last());
    let json = place.call(&["pulses", "q.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!((&json["pulses"], &json["device"]), (&30.into(), &"same".into()));
    // 120 ml in 30 pulses are 13.79 passes of 0.29 ml, in 26 they are 15.92 and in 32 12.93;
    // 0.05 of a pass is the most that counts as whole: 23 make 17.99
    assert_eq!((&json["whole_passes"], &json["whole_with_pulses"]), (&false.into(), &23.into()));
    assert!((json["roller_passes"].as_f64().unwrap() - 13.793).abs() < 1e-3);
    assert!(
        said.out.contains("13.8 roller passes") && said.out.contains("18 whole"),
        "{}",
        said.out
    );
    // 30 starts of 0.011 ml
    let lost = json["commanded_ml"].as_f64().unwrap() - json["outflow_ml"].as_f64().unwrap();
    assert!((lost - 30.0 * 0.011_042).abs() < 0.1, "{lost}");
}

#[test]
fn heads_side_by_side() {
    let place = Place::new("pulses-heads");
    place.write("week.toml", &good().replace("pulses = 30\n", ""));
    place.write("slow.toml", SLOW);
    place.write("too-slow.toml", TOO_SLOW);
    let said = place.call(&["pulses", "week.toml", "--head", "week.toml", "--head", "slow.toml"]);
    assert!(said.code == 0 && said.out.starts_with("2 of 2 heads can"), "{said:?}");
    wide(&said.out);
    let said =
        place.call(&["pulses", "week.toml", "--head", "slow.toml", "--head", "too-slow.toml"]);
    assert!(said.code == 1 && said.out.starts_with("1 of 2 heads can"), "{said:?}");
    assert!(said.out.replace('\n', " ").contains("least window is"), "{}", said.out);
    let json = place.call(&[
        "pulses",
        "week.toml",
        "--head",
        "slow.toml",
        "--head",
        "too-slow.toml",
        "--json",
    ]);
    assert_eq!(json.out.lines().count(), 2);
    let one = place.call(&["pulses", "week.toml", "--head", "slow.toml", "--wear", "10 %"]);
    assert!(one.code == 0 && one.out.contains("outflow (model)"), "{one:?}");
    let said = place.call(&["pulses", "week.toml", "--head", "too-slow.toml"]);
    assert!(
        said.code == 1 && said.err.contains("too-slow.toml: the dose of \"night\""),
        "{said:?}"
    );
    // and for machines it is the same line as among several
    let said = place.call(&["pulses", "week.toml", "--head", "too-slow.toml", "--json"]);
    assert!(
        said.code == 1 && said.out.contains("\"error\":\"the dose of \\\"night\\\""),
        "{said:?}"
    );
}

#[test]
fn wear_is_seen_in_the_outflow_alone() {
    let place = Place::new("pulses-wear");
    place.write("week.toml", &good());
    let json = |more: &[&str]| -> serde_json::Value {
        let mut args = vec!["pulses", "week.toml", "--json"];
        args.extend(more);
        serde_json::from_str(&place.call(&args).out).unwrap()
    };
    let (new, worn) = (json(&[]), json(&["--wear", "10 %"]));
    assert_eq!(new["commanded_ml"], worn["commanded_ml"]);
    let share = worn["outflow_ml"].as_f64().unwrap() / new["outflow_ml"].as_f64().unwrap();
    assert!((share - 0.9).abs() < 1e-6, "{share}");
    assert_eq!(json(&["--wear", "0 %"]), new);
    // so high nothing comes, and there is nothing to judge
    let none = json(&["--lift", "20 m"]);
    assert_eq!(
        (&none["outflow_ml"], &none["turndown"]["accuracy_percent"]),
        (&0.0.into(), &().into())
    );
    let said = place.call(&["pulses", "week.toml", "--lift", "20 m"]).out;
    assert!(said.contains("nothing comes out: nothing to judge"), "{said}");
}

#[test]
fn what_is_wrong_is_said() {
    let place = Place::new("pulses-wrong");
    place.write("week.toml", &good());
    place.write("two.toml", &format!("{}{}", good(), "[[entry]]\nname = \"b\"\nevery = { interval = \"1 day\", from = \"+6 h\" }\nvolume = \"15 ml\"\nwindow = \"10 min\"\n"));
    place.write("short.toml", &good().replace("45 min", "3 min"));
    place.write("slow.toml", SLOW);
    for (args, wanted) in [
        (&["week.toml", "--entry", "nihgt"][..], "entries: night"),
        (&["two.toml"], "--entry"),
        (&["short.toml"], "S0"),
        (&["week.toml", "--head", "nowhere.toml"], "cannot read"),
        (&["week.toml", "--wear", "100 %"], "none is left"),
        (&["week.toml", "--wear", "-5 %"], "--wear"),
        (&["week.toml", "--head", "slow.toml", "--head", "week.toml", "--vcd", "x"], "one --head"),
    ] {
        let mut all = vec!["pulses"];
        all.extend(args);
        let said = place.call(&all);
        assert!(
            said.code == 2 && said.out.is_empty() && said.err.contains(wanted),
            "{args:?} {said:?}"
        );
    }
}

#[test]
fn what_a_start_loses_is_no_part_of_what_is_commanded() {
    let place = Place::new("pulses-lead");
    place.write(
        "week.toml",
        &good().replace("flow = \"26.5 ml/min\"", "flow = \"26.5 ml/min\"\nlead = \"250 ms\""),
    );
    let said = place.call(&["pulses", "week.toml", "--csv", "q.csv", "--vcd", "q.vcd"]);
    assert!(said.code == 0 && said.out.contains(" 120.000 ml"), "{said:?}");
    // 30 pulses of 4 ml, each run 250 ms longer, which is 0.11 ml
    let csv = place.read("q.csv");
    let last: Vec<&str> = csv.lines().last().unwrap().split(',').collect();
    assert!((last[4].parse::<f64>().unwrap() - 4.0).abs() < 0.001, "{last:?}");
    assert!((last[6].parse::<f64>().unwrap() - 120.0).abs() < 0.001, "{last:?}");
    let vcd = place.read("q.vcd");
    let commanded = vcd
        .lines()
        .filter_map(|line| line.strip_prefix('r')?.strip_suffix(" \"")?.parse::<f64>().ok());
    let most = commanded.fold(0.0, f64::max);
    assert!((most - 120.0).abs() < 0.001, "{most}");
}
