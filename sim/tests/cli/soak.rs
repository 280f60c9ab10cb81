//! Soaks: the same whatever the number of threads, whole in shares, and honest
//! about what failed.

use crate::support::{Place, good};

const SMALL: [&str; 5] = ["soak", "--seeds", "1..13", "--days", "9"];

fn with(more: &[&'static str]) -> Vec<&'static str> {
    SMALL.iter().chain(more).copied().collect()
}

/// Lines of runs, the summary left out.
fn runs(out: &str) -> Vec<&str> {
    out.lines().filter(|line| line.contains("\"event\":\"run\"")).collect()
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let place = Place::new("soak-threads");
    let one = place.call(&with(&["--threads", "1", "--json", "--junit", "one.xml"]));
    let four = place.call(&with(&["--threads", "4", "--json", "--junit", "four.xml"]));
    assert_eq!((one.code, &one.out), (four.code, &four.out));
    assert_eq!(one.code, 0, "{one:?}");
    assert_eq!(runs(&one.out).len(), 12);
    assert_eq!(place.read("one.xml"), place.read("four.xml"));
    assert!(place.read("one.xml").contains("tests=\"12\" failures=\"0\""));
    let page = place.call(&with(&["--threads", "3"]));
    assert_eq!(page.out, place.call(&with(&["--threads", "1"])).out);
    assert!(page.out.starts_with("soak held. 0.3 controller-years in 12 of 12 runs:\n"));
    assert!(page.out.lines().all(|line| line.chars().count() <= 80), "{}", page.out);
}

#[test]
fn shares_come_to_the_whole() {
    let place = Place::new("soak-shards");
    let whole = place.call(&with(&["--json"]));
    let mut shares: Vec<String> = Vec::new();
    for shard in ["1/3", "2/3", "3/3"] {
        let said = place.call(&with(&["--json", "--shard", shard]));
        assert_eq!((said.code, runs(&said.out).len()), (0, 4), "{said:?}");
        shares.extend(runs(&said.out).into_iter().map(str::to_owned));
    }
    let number = |line: &String| {
        let at = line.find("\"run\":").unwrap() + 6;
        line[at..].split(',').next().unwrap().parse::<u32>().unwrap()
    };
    shares.sort_by_key(number);
    assert_eq!(shares, runs(&whole.out));
    let said = place.call(&["soak", "--seeds", "1..3", "--days", "3", "--shard", "3/3"]);
    assert_eq!((said.code, said.out.as_str()), (4, ""), "{said:?}");
}

#[test]
fn years_end_a_soak() {
    let place = Place::new("soak-years");
    // a year of runs of 100 days each is four of them
    let said = place.call(&["soak", "--years", "1", "--days", "100", "--json"]);
    assert_eq!((said.code, runs(&said.out).len()), (0, 4), "{said:?}");
    // a run of 365 days is a year, to the nearest run
    let said = place.call(&["soak", "--years", "2", "--json"]);
    assert_eq!((said.code, runs(&said.out).len()), (0, 2), "{said:?}");
}

#[test]
fn kinds_are_forced_and_left_out() {
    let place = Place::new("soak-kinds");
    let said = place.call(&with(&["--faults", "supply_loss,remote_stop,prime", "--json"]));
    assert_eq!(said.code, 0, "{said:?}");
    let summary = said.out.lines().last().unwrap();
    let faults = &summary[summary.find("\"faults\":").unwrap()..];
    assert!(faults.contains("\"remote_stop\"") && faults.contains("\"supply_loss\""), "{faults}");
    assert!(!faults.contains("\"leak\"") && !faults.contains("\"bit_flip\""), "{faults}");
    let said = place.call(&with(&["--without", "supply_loss,leak", "--json"]));
    let summary = said.out.lines().last().unwrap();
    assert!(!summary.contains("\"leak\"") && !summary.contains("\"supply_loss\""), "{summary}");
    for (bad, why) in [
        (&["--faults", "nonsense"][..], "there is no kind of fault or act named \"nonsense\""),
        (&["--faults", "leak", "--without", "leak"], "no kind of fault is left"),
        (&["--seeds", "3..3"], "seeds are A..B"),
        (&["missing.toml"], "cannot read missing.toml"),
    ] {
        let said = place.call(&[&["soak"], bad].concat());
        assert_eq!(said.code, 2, "{said:?}");
        assert!(said.err.contains(why), "{}", said.err);
    }
}

#[test]
fn a_site_from_a_file_is_soaked() {
    let place = Place::new("soak-file");
    place.write("week.toml", &good());
    let args = ["soak", "week.toml", "--seeds", "1..7", "--days", "20", "--json"];
    let said = place.call(&args);
    assert_eq!(said.code, 0, "{said:?}");
    let lines = runs(&said.out);
    assert_eq!(lines.len(), 6);
    assert!(lines.iter().all(|line| line.contains("\"name\":\"week.toml, seed ")), "{lines:?}");
    // the file's own expectation, three doses, is not the soak's
    assert!(!lines.iter().all(|line| line.contains("\"dues\":3,")), "{lines:?}");
}

/// Nothing in the device fails here on purpose, so the fault is that of the
/// expectation of calm: a stop that is on to the end keeps doses from running.
#[test]
fn what_is_not_calm_in_the_end_fails() {
    let place = Place::new("calm");
    let stop = "[[fault]]\nat = \"+1 d\"\nremote_stop = {}\n\n\
                [[expect]]\ncalm = { from = \"+2 d\" }\n";
    place.write("stop.toml", &crate::support::nights(stop));
    let said = place.call(&["run", "stop.toml"]);
    assert_eq!(said.code, 1, "{said:?}");
    let flat: String = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("expected everything in order; found \"night\""), "{flat}");
    assert!(flat.contains("\"remote stop\""), "{flat}");
    // one that ends in time does not
    place.write(
        "over.toml",
        &crate::support::nights(&stop.replace("{}\n", "{ lasts = \"2 h\" }\n")),
    );
    assert_eq!(place.call(&["run", "over.toml"]).code, 0);
}

#[test]
fn a_report_that_cannot_be_written_is_told_before_the_work() {
    let place = Place::new("soak-report");
    place.write("week.toml", &crate::support::failing());
    let soak = ["soak", "week.toml", "--seeds", "1..=2", "--days", "5"];
    let sweep = ["sweep", "week.toml", "--faults", "supply_loss"];
    let run = ["run", "week.toml"];
    for command in [&soak[..], &sweep, &run] {
        // a file is no folder, and what was read is not written over
        for path in ["week.toml/report.xml", "week.toml"] {
            let said = place.call(&[command, &["--junit", path]].concat());
            assert!(said.code == 2 && said.out.is_empty(), "{path}: {said:?}");
            assert!(said.err.contains("error: "), "{said:?}");
        }
    }
    let said = place.call(&["shrink", "week.toml", "-o", "week.toml/small.toml"]);
    assert!(said.code == 2 && said.err.starts_with("error: cannot write"), "{said:?}");
    // trying leaves what is there alone, and nothing where nothing was
    place.write("old.xml", "old");
    let long = [&soak[..], &["--junit", "new/r.xml", "--faults", "none"]].concat();
    assert_eq!(place.call(&long).code, 2);
    assert!(!place.dir.join("new/r.xml").exists());
    let bad = [&soak[..], &["--junit", "old.xml", "--faults", "none"]].concat();
    assert_eq!((place.call(&bad).code, place.read("old.xml")), (2, "old".to_owned()));
}

#[test]
fn a_place_for_failures_that_cannot_be_written_is_told_before_the_work() {
    let place = Place::new("soak-out");
    place.write("week.toml", &good());
    for command in [
        &["soak", "week.toml", "--seeds", "1..=2", "--days", "5"][..],
        &["sweep", "week.toml", "--faults", "supply_loss"],
        &["explore", "cuts", "--depth", "1", "--word", "8"],
        &["explore", "states", "--depth", "2"],
    ] {
        // a file is no folder
        let said = place.call(&[command, &["--out", "week.toml/failures"]].concat());
        assert!(said.code == 2 && said.out.is_empty(), "{command:?}: {said:?}");
        assert!(said.err.contains("error: cannot write in week.toml/failures"), "{said:?}");
        // and trying makes none
        let said = place.call(&[command, &["--out", "new"]].concat());
        assert!(said.code == 0 && !place.dir.join("new").exists(), "{command:?}: {said:?}");
    }
    assert_eq!(std::fs::read_dir(&place.dir).unwrap().count(), 1);
}
