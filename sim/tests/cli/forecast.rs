//! `forecast`.

use crate::support::{Place, nights, wide};

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
}
