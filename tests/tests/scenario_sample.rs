//! The sample scenario of the documentation, read into the structure it stands for.

use dosewright_core::civil::{Date, Days, Local, Weekday};
use dosewright_core::config::Head;
use dosewright_core::entry::{EntryId, GapRule, Recurrence};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::diagnose::{Source, Spans};
use dosewright_sim::scenario::{
    self, Act, CellType, Claim, ClockPlan, ClockSetting, Container, EntryName, EntryPlan,
    Expectation, Fault, FaultKind, HeadPlan, IntervalStart, Limits, Memory, Moment, Motion,
    NamedZone, OperatorAct, Pack, RecurrencePlan, Scenario, SignedMs, Site, Supply,
};

const SAMPLE: &str = r#"schema = 1
title = "A harbour canteen across the autumn clock change"

[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"   # or an IANA name, resolved on the host
run_for = "8 days"
drift = "20 ppm"

[head]
flow = "26.5 ml/min"
rollers = 3
volume_per_roller_pass = "0.29 ml"
shortest_on = "400 ms"
shortest_off = "600 ms"

[supply]
battery = { type = "LR20" }            # number of cells from the motor, unless said

[container]
capacity = "10 l"
level = "7.5 l"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }   # nights: Tuesday and Friday 00:45
volume = "120 ml"
window = "45 min"

[[entry]]
name = "trickle"
every = { interval = "6 h", from = "2026-10-19 06:00" }
volume = "15 ml"
window = "10 min"

[[fault]]
at = "fri 00:50:20"
supply_loss = { lasts = "45 min" }

[[operator]]
at = "fri 09:00"
set_clock = { by = "-1 h" }

[[expect]]
outcomes = { entry = "night", dosed = 2, part = 0 }
volume = { entry = "night", within = "2 %" }
"#;

fn local(year: i32, month: u8, day: u8, hour: u64, min: u64, sec: u64) -> Local {
    let date = Date::from_ymd(year, month, day).unwrap();
    Local::new(date, Duration::from_s((hour * 60 + min) * 60 + sec))
}

fn name(name: &str) -> EntryName {
    EntryName { name: name.to_owned(), span: dosewright_sim::diagnose::Span::default() }
}

/// An entry with the defaults of the format.
fn entry(name: &str, recurrence: RecurrencePlan, volume_ml: u64, window_min: u32) -> EntryPlan {
    EntryPlan {
        name: name.to_owned(),
        enabled: true,
        recurrence,
        volume: Volume::from_ml(volume_ml),
        window_ms: window_min * 60_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: true,
        gap_rule: GapRule::Shift,
        pulses: None,
        spans: Spans::default(),
        recurrence_spans: Spans::default(),
    }
}

fn expected() -> Scenario {
    let zone = "CET-1CEST,M3.5.0,M10.5.0/3";
    let spans = Spans::default;
    Scenario {
        schema: 1,
        title: Some("A harbour canteen across the autumn clock change".to_owned()),
        units: dosewright_sim::units::Units::Metric,
        clock: ClockPlan {
            start: local(2026, 10, 19, 0, 0, 0),
            zone: NamedZone {
                zone: Zone::parse(zone).unwrap(),
                written: zone.to_owned(),
                posix: zone.to_owned(),
            },
            device_zone: None,
            run_for: Duration::from_h(8 * 24),
            drift_ppb: 20_000,
            crystal: None,
            temperature_mc: None,
            off_by: SignedMs(0),
            unset: false,
            spans: spans(),
        },
        head: HeadPlan {
            head: Head {
                rollers: 3,
                roller_pass: Volume::from_nl(290_000),
                shortest_on_ms: 400,
                shortest_off_ms: 600,
                ..Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap())
            },
            true_flow: None,
            motion: Motion::default(),
            spans: spans(),
        },
        motor: None,
        supply: Supply::Battery {
            cells_of: CellType::Lr20,
            cells: None,
            pack: Pack::default(),
            spans: spans(),
        },
        container: Some(Container {
            capacity: Volume::from_ml(10_000),
            level: Volume::from_ml(7_500),
            // 4 % of the capacity: common practice, no source
            heel: Volume::from_ml(400),
            low_contact: None,
            debounce_ms: 5_000,
            lead: None,
            slack: None,
            spans: spans(),
        }),
        tube: None,
        product: None,
        separator: None,
        memory: Memory { word_bytes: 4, sector_bytes: 32_768, sectors: 4, spans: spans() },
        limits: Limits { daily_ceiling: None, spans: spans() },
        closed: Vec::new(),
        site: Site::default(),
        closed_spans: Vec::new(),
        entries: vec![
            entry(
                "night",
                RecurrencePlan::Weekly {
                    days: Days::NONE.with(Weekday::Mon).with(Weekday::Thu),
                    at_min: 45,
                    by_night: true,
                },
                120,
                45,
            ),
            entry(
                "trickle",
                RecurrencePlan::Every {
                    interval_ms: 6 * 3_600_000,
                    from: IntervalStart::Local(local(2026, 10, 19, 6, 0, 0)),
                },
                15,
                10,
            ),
        ],
        faults: vec![Fault {
            // The start is a Monday: the first Friday after it is the 23rd.
            at: Moment::Local(local(2026, 10, 23, 0, 50, 20)),
            kind: FaultKind::SupplyLoss { lasts: Duration::from_min(45) },
            spans: spans(),
        }],
        operator: vec![OperatorAct {
            at: Moment::Local(local(2026, 10, 23, 9, 0, 0)),
            act: Act::SetClock(ClockSetting::By(SignedMs(-3_600_000))),
            spans: spans(),
        }],
        expect: vec![
            Expectation {
                claim: Claim::Outcomes {
                    entry: Some(name("night")),
                    dosed: Some(2),
                    part: Some(0),
                    skipped: None,
                    open: None,
                    cause: None,
                },
                spans: spans(),
            },
            Expectation {
                claim: Claim::Volume { entry: Some(name("night")), of: None, within_ppm: 20_000 },
                spans: spans(),
            },
        ],
        spans: spans(),
    }
}

#[test]
fn the_sample_says_what_it_says() {
    let (scenario, warnings) = scenario::read("sample.toml", SAMPLE).unwrap();
    assert_eq!(warnings, []);
    assert_eq!(scenario, expected());
}

#[test]
fn every_value_knows_its_place() {
    let (scenario, _) = scenario::read("sample.toml", SAMPLE).unwrap();
    let source = Source::new("sample.toml", SAMPLE);
    let at =
        |span: dosewright_sim::diagnose::Span| (span.of(SAMPLE), source.position(span.start).line);
    let night = &scenario.entries[0];
    assert_eq!(at(night.spans.at("window")), ("\"45 min\"", 28));
    assert_eq!(
        at(night.spans.at("grace")),
        ("[[entry]]", 24),
        "a key that is not given stands for its table"
    );
    assert_eq!(at(night.spans.table()), ("[[entry]]", 24));
    assert_eq!(at(night.recurrence_spans.at("at")), ("\"00:45\"", 26));
    assert_eq!(at(scenario.head.spans.at("flow")), ("\"26.5 ml/min\"", 11));
    assert_eq!(at(scenario.faults[0].spans.at("supply_loss")), ("{ lasts = \"45 min\" }", 38));
    assert_eq!(at(scenario.expect[0].spans.at("dosed")), ("2", 45));
    let Claim::Outcomes { entry: Some(entry), .. } = &scenario.expect[0].claim else { panic!() };
    assert_eq!(at(entry.span), ("\"night\"", 45));
}

#[test]
fn an_entry_goes_to_the_logic_whole() {
    let (scenario, _) = scenario::read("sample.toml", SAMPLE).unwrap();
    let core = scenario.entries[1].to_core(EntryId(7), Instant::from_ms(21_600_000));
    assert_eq!(core.id, EntryId(7));
    assert_eq!(
        core.recurrence,
        Recurrence::Interval { every_ms: 21_600_000, from: Instant::from_ms(21_600_000) }
    );
    assert_eq!((core.volume, core.window_ms, core.enabled), (Volume::from_ml(15), 600_000, true));
}

#[test]
fn faults_say_their_word_and_whether_they_are_meant_to_hold() {
    let (scenario, _) = scenario::read("sample.toml", SAMPLE).unwrap();
    assert_eq!(scenario.faults[0].kind.word(), "supply_loss");
    assert!(scenario.meant_to_hold());
    let failing = format!("{SAMPLE}held = false\n");
    assert!(!scenario::read("f.toml", &failing).unwrap().0.meant_to_hold());
}

#[test]
fn line_ends_order_and_spelling_do_not_change_what_is_said() {
    let crlf = SAMPLE.replace('\n', "\r\n");
    assert_eq!(scenario::read("c.toml", &crlf).unwrap().0, expected());
    let others = SAMPLE
        .replace("\"120 ml\"", "'0.12 L'")
        .replace("\"45 min\"\n", "\"2700 s\"\n")
        .replace("start = 2026-10-19T00:00:00", "start = \"2026-10-19 00:00\"")
        .replace("battery = { type = \"LR20\" }", "battery.type = \"LR20\"")
        .replace("\"26.5 ml/min\"", "\"1.59 l/h\"");
    assert_ne!(others, SAMPLE);
    assert_eq!(scenario::read("o.toml", &others).unwrap().0, expected());
    let bom = format!("\u{feff}{SAMPLE}");
    assert_eq!(scenario::read("b.toml", &bom).unwrap().0, expected());
}

#[test]
fn the_template_is_a_scenario_without_a_warning() {
    let (scenario, warnings) = scenario::read("new.toml", scenario::template()).unwrap();
    assert_eq!(warnings, []);
    assert_eq!(scenario.entries.len(), 2);
    // Each commented key is one the reader knows: taking the comment marks
    // away leaves a file with no unknown key in it.
    let lines = scenario::template().lines().map(|line| {
        let body = line.strip_prefix("# ").unwrap_or(line);
        let word = |key: &str| key.chars().all(|c| c.is_ascii_lowercase() || c == '_');
        let is_key = body.split_once(" = ").is_some_and(|(key, _)| word(key));
        if is_key || body.starts_with('[') { body } else { line }
    });
    let opened = lines.collect::<Vec<_>>().join("\n");
    assert_ne!(opened, scenario::template());
    let (scenario, _) =
        scenario::read("new.toml", &opened).unwrap_or_else(|problems| panic!("{problems:#?}"));
    assert_eq!(scenario.closed.len(), 1);
    assert!(scenario.clock.unset && scenario.limits.daily_ceiling.is_some());
}

#[test]
fn the_rate_of_the_clock_is_its_drift_and_its_crystals_curve() {
    // -0.034 ppm/C2 at 5 C is -13.6 ppm (computed: 0.034 x 20^2); a drift adds to it.
    let text = SAMPLE.replace(
        "drift = \"20 ppm\"",
        "drift = \"20 ppm\"\ntemperature = \"5 C\"\ntemperature_coefficient = \"-0.034 ppm/C2\"",
    );
    let clock = scenario::read("s.toml", &text).unwrap().0.clock;
    assert_eq!(clock.rate_ppb(), 20_000 - 13_600);
    let exact = text
        .replace("\"20 ppm\"", "\"0 ppm\"")
        .replace("\"5 C\"", "\"45 C\"")
        .replace("0.034", "0.030");
    // 45 C with -0.030 is -12.0 ppm (a crystal data sheet's worked value)
    assert_eq!(scenario::read("s.toml", &exact).unwrap().0.clock.rate_ppb(), -12_000);
}
