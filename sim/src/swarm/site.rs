//! A site from a seed: clock, head and a timetable that the device accepts.

use std::fmt::Write as _;

use dosewright_core::civil::{Date, Days, Local, Weekday};
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

use super::Shape;
use super::chance::Chance;
use super::ground::{Ground, Known, Tank};
use crate::scenario::Memory;

/// Zones with every kind of change, and a date a few days before one.
const PLACES: [(&str, (i32, u8, u8)); 8] = [
    ("CET-1CEST,M3.5.0,M10.5.0/3", (2026, 10, 21)),
    ("CET-1CEST,M3.5.0,M10.5.0/3", (2026, 3, 25)),
    ("EST5EDT,M3.2.0,M11.1.0", (2026, 3, 4)),
    ("AEST-10AEDT,M10.1.0,M4.1.0/3", (2026, 4, 1)),
    ("<+1030>-10:30<+11>-11,M10.1.0,M4.1.0", (2026, 10, 1)),
    ("IST-1GMT0,M10.5.0,M3.5.0/1", (2026, 3, 26)),
    ("<+0545>-5:45", (2026, 6, 1)),
    ("UTC0", (2028, 2, 26)),
];

/// An entry with its name and the lines that write it.
struct MadeEntry {
    name: String,
    entry: Entry,
    volume_ml: u64,
    /// All but the volume.
    lines: String,
}

/// A made site.
pub(super) struct Site {
    zone: &'static str,
    start: Local,
    days: u32,
    drift_ppm: i64,
    flow_tenths: u64,
    longest_run_s: u64,
    least_rest_ms: u64,
    starts_per_hour: u64,
    word: u64,
    sectors: u64,
    entries: Vec<MadeEntry>,
    closed: Option<(Date, Date)>,
    container: Option<MadeContainer>,
    /// Lift of the suction line in decimetres; none for no tube.
    lift_dm: u64,
    drive: Option<MadeDrive>,
    lead_ms: u64,
    pack: Option<MadePack>,
}

/// A made battery pack.
#[derive(Clone, Copy)]
struct MadePack {
    cells: &'static str,
    celsius: u64,
    charge_percent: u64,
}

/// A made drive.
#[derive(Clone, Copy)]
struct MadeDrive {
    words: &'static str,
    spin_up_ms: u64,
}

/// A made container, in ml and ms.
#[derive(Clone, Copy)]
struct MadeContainer {
    capacity: u64,
    level: u64,
    heel: u64,
    low: Option<u64>,
    debounce_ms: u64,
}

pub(super) fn make(chance: &mut Chance, days: u32, shape: &Shape) -> Site {
    let (zone, (y, m, d)) = chance.pick(&PLACES);
    let date = Date::from_ymd(y, m, d).expect("the table has real dates");
    let start = Local::new(date, Duration::from_min(chance.number(0, 1439)));
    let mut site = Site {
        zone,
        start,
        days,
        drift_ppm: chance.pick(&[0, 0, 20, -20, 150]),
        flow_tenths: chance.number(100, 1000),
        longest_run_s: chance.pick(&[30, 120, 600]),
        least_rest_ms: chance.pick(&[600, 600, 20_000]),
        starts_per_hour: chance.pick(&[60, 60, 40]),
        word: chance.pick(&[1, 4, 8]),
        sectors: chance.pick(&[2, 3, 4, 4]),
        entries: Vec::new(),
        closed: None,
        container: None,
        lift_dm: 0,
        pack: None,
        drive: None,
        lead_ms: 0,
    };
    if shape.drives && chance.percent(50) {
        let spin_up_ms = chance.pick(&[0, 100, 300, 600]);
        site.drive = Some(MadeDrive {
            words: chance.pick(&[
                "on_off = {}",
                "duty = { speed = \"60 %\" }",
                "stepper = { steps_per_turn = 3200 }",
            ]),
            spin_up_ms,
        });
        site.lead_ms = chance.pick(&[0, 0, spin_up_ms / 2, 250]);
    }
    if chance.percent(15) {
        let first = date.plus_days(chance.number(1, 4) as i32);
        site.closed = Some((first, first.plus_days(chance.number(0, 2) as i32)));
    }
    let clock = clock_at(&site);
    let wanted = chance.number(1, 5);
    let mut accepted = Timetable::<64>::EMPTY;
    // entries that the device would refuse beside the others are left out
    for attempt in 0..40 {
        if site.entries.len() as u64 >= wanted {
            break;
        }
        let made = entry(chance, &site, attempt);
        let mut with = accepted;
        if with.put(made.entry).is_ok()
            && with.first_refusal(&site.head(), Some(&clock), Instant::ZERO).is_none()
        {
            accepted = with;
            let id = EntryId(site.entries.len() as u16 + 1);
            site.entries.push(MadeEntry { entry: Entry { id, ..made.entry }, ..made });
        }
    }
    if chance.percent(60) {
        let capacity = chance.number(300, 12_000);
        let heel = capacity * chance.number(0, 8) / 100;
        let low = chance.number(heel + 1, capacity / 2 + heel);
        site.container = Some(MadeContainer {
            capacity,
            level: chance.number(capacity / 4, capacity),
            heel,
            low: chance.percent(75).then_some(low),
            debounce_ms: chance.pick(&[0, 200, 5_000, 60_000]),
        });
    }
    if chance.percent(50) {
        site.lift_dm = chance.number(1, 22);
    }
    if shape.packs && chance.percent(30) {
        let charge_percent = chance.number(5, 100);
        site.pack = Some(MadePack {
            cells: chance.pick(&["LR20", "LR20", "LR14", "LR6", "HR20"]),
            celsius: chance.number(0, 35),
            charge_percent,
        });
    }
    site
}

fn clock_at(site: &Site) -> WallClock {
    let zone = Zone::parse(site.zone).expect("the table has legal zones");
    WallClock { offset_ms: zone.to_utc(site.start, GapRule::Shift).as_ms(), zone }
}

fn iso(date: Date) -> String {
    let (y, m, d) = date.ymd();
    format!("{y:04}-{m:02}-{d:02}")
}

/// The dates between which a seasonal entry is in force: most end while the run lasts, and
/// some while nothing runs.
fn season(chance: &mut Chance, start: Date, lines: &mut String) -> (Option<Date>, Option<Date>) {
    if !chance.percent(20) {
        return (None, None);
    }
    let lasts = chance.number(2, 60);
    let first = chance.percent(40).then(|| start.plus_days(chance.number(0, lasts) as i32));
    let last = start.plus_days(lasts as i32);
    if let Some(first) = first {
        let _ = writeln!(lines, "first = {}", iso(first));
    }
    let _ = writeln!(lines, "last = {}", iso(last));
    (first, Some(last))
}

fn entry(chance: &mut Chance, site: &Site, attempt: u16) -> MadeEntry {
    let name = format!("e{}", site.entries.len() + 1);
    let volume_ml = chance.number(5, 150);
    let window_min = chance.number(5, 90);
    let grace_min = chance.pick(&[0, 0, 0, 10, 45]);
    let mut lines = format!("name = \"{name}\"\n");
    let (recurrence, gap_rule) = if chance.percent(30) {
        let every_min = chance.pick(&[120, 180, 360, 480, 720, 300, 1440]);
        let from_min = chance.number(0, every_min - 1);
        let _ = writeln!(
            lines,
            "every = {{ interval = \"{every_min} min\", from = \"+{from_min} min\" }}"
        );
        let from = Instant::ZERO.plus(Duration::from_min(from_min));
        let every_ms = every_min * 60_000;
        (Recurrence::Interval { every_ms, from }, GapRule::Shift)
    } else {
        weekly(chance, &mut lines)
    };
    let _ = writeln!(lines, "window = \"{window_min} min\"");
    if grace_min > 0 {
        let _ = writeln!(lines, "grace = \"{grace_min} min\"");
    }
    let (first, last) = match recurrence {
        Recurrence::Weekly { .. } => season(chance, site.start.date(), &mut lines),
        Recurrence::Interval { .. } => (None, None),
    };
    let entry = Entry {
        id: EntryId(1000 + attempt),
        enabled: true,
        recurrence,
        volume: Volume::from_ml(volume_ml),
        window_ms: window_min as u32 * 60_000,
        grace_ms: grace_min as u32 * 60_000,
        first,
        last,
        observes_closed: true,
        gap_rule,
        pulses: None,
    };
    MadeEntry { name, entry, volume_ml, lines }
}

fn weekly(chance: &mut Chance, lines: &mut String) -> (Recurrence, GapRule) {
    // most dues near the hours that clock changes touch
    let at_min = if chance.percent(50) { chance.number(0, 240) } else { chance.number(0, 1439) };
    let bits = if chance.percent(50) { 0x7f } else { chance.number(1, 127) as u8 };
    let (days, by_night) = (Days::from_bits(bits), chance.percent(50));
    let names: Vec<&str> = Weekday::ALL
        .into_iter()
        .zip(["\"mon\"", "\"tue\"", "\"wed\"", "\"thu\"", "\"fri\"", "\"sat\"", "\"sun\""])
        .filter(|(day, _)| days.contains(*day))
        .map(|(_, name)| name)
        .collect();
    let key = if by_night { "nights" } else { "days" };
    let _ = writeln!(
        lines,
        "weekly = {{ {key} = [{}], at = \"{:02}:{:02}\" }}",
        names.join(", "),
        at_min / 60,
        at_min % 60
    );
    let gap_rule = if chance.percent(20) { GapRule::FirstValid } else { GapRule::Shift };
    if gap_rule == GapRule::FirstValid {
        lines.push_str("gap = \"first valid\"\n");
    }
    (Recurrence::Weekly { days, at_min: at_min as u16, by_night }, gap_rule)
}

impl Site {
    /// As the maker of faults sees it.
    pub(super) fn ground(&self) -> Ground {
        let entries = self.entries.iter().map(|made| Known {
            name: made.name.clone(),
            entry: made.entry,
            inline: made.lines.trim_end().replace('\n', ", "),
        });
        Ground {
            start: self.start,
            entries: entries.collect(),
            flow: self.head().flow,
            sectors: self.sectors,
            sector_bytes: u64::from(Memory::default().sector_bytes),
            container: self.container.map(|made| Tank {
                capacity_nl: made.capacity * 1_000_000,
                heel_nl: made.heel * 1_000_000,
                low_nl: made.low.map(|ml| ml * 1_000_000),
            }),
            lifts: self.lift_dm > 0,
            has_pack: self.pack.is_some(),
            has_drive: self.drive.is_some(),
        }
    }

    fn head(&self) -> Head {
        let flow = Flow::from_nl_per_min(self.flow_tenths as u32 * 100_000);
        Head {
            longest_run_ms: self.longest_run_s as u32 * 1000,
            least_rest_ms: self.least_rest_ms as u32,
            starts_per_hour: self.starts_per_hour as u16,
            lead_ms: self.lead_ms as u16,
            ..Head::with_flow(flow.expect("no flow is zero"))
        }
    }

    /// The scenario's text without faults and acts.
    pub(super) fn text(&self, seed: u64) -> String {
        let (y, m, d) = self.start.date().ymd();
        let min = self.start.time_of_day().as_ms() / 60_000;
        let mut text = format!(
            "schema = 1\ntitle = \"Made from seed {seed}\"\n\n[clock]\n\
             start = {y:04}-{m:02}-{d:02}T{:02}:{:02}:00\nzone = \"{}\"\nrun_for = \"{} days\"\n",
            min / 60,
            min % 60,
            self.zone,
            self.days
        );
        if self.drift_ppm != 0 {
            let _ = writeln!(text, "drift = \"{} ppm\"", self.drift_ppm);
        }
        let _ = write!(
            text,
            "\n[head]\nflow = \"{}.{} ml/min\"\nlongest_run = \"{} s\"\nleast_rest = \"{} ms\"\n\
             starts_per_hour = {}\n",
            self.flow_tenths / 10,
            self.flow_tenths % 10,
            self.longest_run_s,
            self.least_rest_ms,
            self.starts_per_hour
        );
        if let Some(MadeDrive { words, spin_up_ms }) = self.drive {
            let lead_ms = self.lead_ms;
            let _ = write!(
                text,
                "drive = {{ {words} }}\nspin_up = \"{spin_up_ms} ms\"\nlead = \"{lead_ms} ms\"\n"
            );
        }
        let _ = write!(text, "\n[memory]\nword = {}\nsectors = {}\n", self.word, self.sectors);
        if let Some(made) = self.container {
            let _ = write!(
                text,
                "\n[container]\ncapacity = \"{} ml\"\nlevel = \"{} ml\"\nheel = \"{} ml\"\n",
                made.capacity, made.level, made.heel
            );
            if let Some(low) = made.low {
                let debounce = made.debounce_ms;
                let _ = write!(text, "low_contact = \"{low} ml\"\ndebounce = \"{debounce} ms\"\n");
            }
        }
        if self.lift_dm > 0 {
            let lift = self.lift_dm * 10;
            let _ = write!(
                text,
                "\n[tube]\nbore = \"4.8 mm\"\nsuction = \"2.5 m\"\nlift = \"{lift} cm\"\n"
            );
        }
        if let Some(pack) = self.pack {
            let MadePack { cells, celsius, charge_percent } = pack;
            let _ = write!(
                text,
                "\n[supply]\nbattery = {{ type = \"{cells}\", temperature = \"{celsius} C\", \
                 charge = \"{charge_percent} %\" }}\n"
            );
        }
        if let Some((first, last)) = self.closed {
            let (first, last) = (iso(first), iso(last));
            let _ = write!(text, "\n[[closed]]\nfirst = {first}\nlast = {last}\n");
        }
        for made in &self.entries {
            let _ = write!(text, "\n[[entry]]\n{}volume = \"{} ml\"\n", made.lines, made.volume_ml);
        }
        text
    }
}
