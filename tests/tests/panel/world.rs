//! Hands on the panel of a device in its world: the auditor holds, and no pulse is
//! late for a touch.

use std::ops::Range;
use std::thread;

use dosewright_core::panel::{Input, zones};
use dosewright_core::time::Utc;
use dosewright_sim::observe::PumpEdges;
use dosewright_sim::operate::{self, Bench, Condition, Hand};
use dosewright_sim::run::{self, Options};
use dosewright_sim::scenario::{self, Scenario};
use dosewright_sim::swarm::{self, Shape};
use dosewright_tests::dice::Dice;

/// Touches at random moments: bursts, and hours of nothing.
struct Restless {
    dice: Dice,
    next: u64,
    touches: u32,
    /// Only these.
    of: &'static [Input],
    cut: Option<String>,
}

const ALL: [Input; 9] = [
    Input::Press,
    Input::Press,
    Input::Press,
    Input::Press,
    Input::Right,
    Input::Right,
    Input::Left,
    Input::Left,
    Input::Hold,
];

impl Restless {
    fn new(seed: u64, of: &'static [Input]) -> Self {
        Self { dice: Dice::new(seed), next: 1000, touches: 0, of, cut: None }
    }
}

impl Hand for Restless {
    fn next_at(&mut self, now: u64, world: Option<u64>) -> Option<u64> {
        let next = self.next.max(now);
        world.is_none_or(|world| next < world).then_some(next)
    }

    fn act(&mut self, now: u64, bench: &mut dyn Bench) {
        let input = self.of[self.dice.below(self.of.len())];
        bench.touch(input);
        self.touches += 1;
        let screen = bench.screen();
        if screen.is_cut() {
            self.cut = Some(screen.to_string());
        }
        // a visit is of some forty touches
        let pause = if self.dice.below(40) == 0 { self.dice.below(9_000_000) } else { 100 };
        self.next = now + (pause + self.dice.below(900)) as u64;
    }

    fn is_done(&self) -> bool {
        false
    }
}

fn made(seed: u64) -> Scenario {
    let text = swarm::scenario(seed, Shape { days: 4, ..Shape::default() });
    let (mut scenario, _) = scenario::read("made.toml", &text).unwrap();
    scenario.expect.clear();
    scenario
}

#[test]
fn d1_to_d11_hold_whatever_is_pressed_at_the_panel() {
    // the longest of these tests by far: on two cores
    let touches: u32 = thread::scope(|scope| {
        let halves = [0..40, 40..80].map(|seeds| scope.spawn(|| touches_that_hold(seeds)));
        halves.into_iter().map(|half| half.join().unwrap()).sum()
    });
    assert!(touches > 50_000, "only {touches} touches");
}

/// How many touches there are with these seeds: the auditor finds nothing in any run.
fn touches_that_hold(seeds: Range<u64>) -> u32 {
    let mut touches = 0;
    for seed in seeds {
        let scenario = made(seed);
        let condition = if seed % 4 == 0 { Condition::Factory } else { Condition::Installed };
        let mut hand = Restless::new(seed, &ALL);
        let options = Options { seed, ..Options::default() };
        let judged = operate::operate(&scenario, &options, condition, &mut hand).unwrap();
        let found: Vec<String> =
            judged.audit.violations.iter().map(|v| format!("{}: {}", v.promise, v.what)).collect();
        assert!(judged.audit.held(), "seed {seed}: {}", found.join("\n"));
        assert_eq!(hand.cut, None, "seed {seed}");
        touches += hand.touches;
    }
    touches
}

#[test]
fn p2_a_storm_of_touches_moves_no_pulse_by_a_millisecond() {
    // turns and holds ask for nothing: every pulse comes as if nobody were there
    const HARMLESS: [Input; 3] = [Input::Left, Input::Right, Input::Hold];
    let text = include_str!("../../../docs/scripts/canteen.toml");
    let (scenario, _) = scenario::read("canteen.toml", text).unwrap();
    let mut alone = PumpEdges::default();
    run::run(&scenario, &Options::default(), &mut alone).unwrap();
    assert!(alone.0.len() > 100);
    for seed in 0..20 {
        let mut hand = Restless::new(seed, &HARMLESS);
        let mut edges = PumpEdges::default();
        let options = Options::default();
        let installed = Condition::Installed;
        operate::watched(&scenario, &options, installed, &mut hand, &mut edges).unwrap();
        assert!(hand.touches > 500);
        assert_eq!(edges.0, alone.0, "seed {seed}");
    }
}

/// The zone of each place in the IANA database.
const IANA: [&str; zones::COUNT] = [
    "Pacific/Honolulu",
    "America/Anchorage",
    "America/Los_Angeles",
    "America/Phoenix",
    "America/Denver",
    "America/Mexico_City",
    "America/Chicago",
    "America/Bogota",
    "America/New_York",
    "America/Halifax",
    "America/Sao_Paulo",
    "Etc/UTC",
    "Europe/London",
    "Europe/Berlin",
    "Africa/Lagos",
    "Europe/Athens",
    "Africa/Johannesburg",
    "Europe/Istanbul",
    "Asia/Dubai",
    "Asia/Karachi",
    "Asia/Kolkata",
    "Asia/Dhaka",
    "Asia/Bangkok",
    "Asia/Singapore",
    "Asia/Tokyo",
    "Australia/Darwin",
    "Australia/Adelaide",
    "Australia/Brisbane",
    "Australia/Sydney",
    "Pacific/Noumea",
    "Pacific/Auckland",
];

#[test]
fn the_places_have_the_rules_of_the_time_zone_database() {
    let (mut east_of, mut changes) = (i32::MIN, 0);
    for (place, name) in IANA.into_iter().enumerate() {
        let (zone, ours) = (jiff::tz::TimeZone::get(name).unwrap(), zones::zone_of(place).unwrap());
        // every six hours of three years to come
        for step in 0..3 * 366 * 4 {
            let s = 1_780_000_000 + step * 21_600;
            let at = jiff::Timestamp::from_second(s).unwrap();
            let expected = zone.to_offset(at).seconds();
            let found = ours.offset_at(Utc::from_ms(s * 1000));
            assert_eq!(found, expected, "{} {at}", zones::NAMES[place]);
        }
        // and to the second where the clocks change
        let from = jiff::Timestamp::from_second(1_780_000_000).unwrap();
        for change in
            zone.following(from).take_while(|it| it.timestamp().as_second() < 1_875_000_000)
        {
            let s = change.timestamp().as_second();
            for (s, at) in [(s - 1, "before"), (s, "from")] {
                let expected = zone.to_offset(jiff::Timestamp::from_second(s).unwrap()).seconds();
                let found = ours.offset_at(Utc::from_ms(s * 1000));
                assert_eq!(found, expected, "{}: {at} {}", zones::NAMES[place], change.timestamp());
                changes += 1;
            }
        }
        // from west to east
        assert!(east_of <= ours.offset_s, "{name}");
        east_of = ours.offset_s;
    }
    assert!(changes > 100, "only {changes} changes");
    assert_eq!(zones::zone_of(zones::COUNT), None);
}
