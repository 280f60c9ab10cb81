//! The file's own keys and those of what is installed.

use dosewright_core::entry::Entry;

use super::super::model::CellType;
use super::super::quantity::{BYTES, CURRENT, CURVE, DRIFT, PERCENT, TEMPERATURE, VOLTAGE};
use super::{
    A_FLOW, A_LENGTH, ANY_KEPT_VOLUME, ANY_LENGTH, EITHER_WAY, EXPECT, FAULT, KEPT_VOLUME, Key,
    Kind, MOST_KEPT, MS_PER_DAY, OPERATOR, PRODUCT, SEPARATOR, TUBE, Table, UP_TO_A_DAY, one_of,
    optional, range, required,
};
use crate::units::Units;
use crate::world::LEAST_SECTOR_BYTES;

pub(in crate::scenario) static ROOT: Table = Table {
    name: "the file",
    group: "",
    keys: &[
        required("schema", Kind::Version, "Version of the format: 1."),
        optional("title", Kind::Text(200), "What the scenario is about."),
        optional(
            "units",
            Kind::Word(unit_words),
            "In what volumes are shown, here and at the panel: metric (unless said), US or imperial fluid ounces.",
        ),
        required("clock", Kind::Table(&CLOCK), "The time, true and the device's."),
        required("head", Kind::Table(&HEAD), "Pump head and tube set with their limits."),
        optional("motor", Kind::Table(&MOTOR), "The motor, for the battery model."),
        optional("supply", Kind::Table(&SUPPLY), "Mains, or a battery pack; mains unless said."),
        optional("site", Kind::Table(&PLACE), "What the papers left on site say of it."),
        optional("container", Kind::Table(&CONTAINER), "What the product is drawn from."),
        optional("tube", Kind::Table(&TUBE), "The tube set and the lines, for the arithmetic."),
        optional("product", Kind::Table(&PRODUCT), "What is dosed, for the arithmetic."),
        optional("separator", Kind::Table(&SEPARATOR), "What was found in the grease separator."),
        optional("memory", Kind::Table(&MEMORY), "The flash the ledger is kept in."),
        optional("limits", Kind::Table(&LIMITS), "Limits of the device."),
        optional(
            "closed",
            Kind::Tables(&CLOSED),
            "Stretches of closed dates, or nights for entries by night.",
        ),
        optional("entry", Kind::Tables(&ENTRY), "The timetable at the start."),
        optional("fault", Kind::Tables(&FAULT), "What goes wrong, and when."),
        optional(
            "operator",
            Kind::Tables(&OPERATOR),
            "What somebody does at the device, and when.",
        ),
        optional("expect", Kind::Tables(&EXPECT), "What must hold of the run."),
    ],
};

/// What a line of the sheet has room for.
const A_LINE: Kind = Kind::Text(60);

pub(in crate::scenario) static PLACE: Table = Table {
    name: "[site]",
    group: "",
    keys: &[
        optional("dosing_point", A_LINE, "Where the product goes in."),
        optional("product_class", A_LINE, "Class of product: \"bacteria, no surfactants\"."),
        optional("permit", A_LINE, "Reference of the discharge permit."),
    ],
};

pub(in crate::scenario) static CLOCK: Table = Table {
    name: "[clock]",
    group: "",
    keys: &[
        required("start", Kind::LocalTime, "True local time at which the run starts."),
        required("zone", Kind::Zone, "Zone of the place: a POSIX TZ string or an IANA name."),
        optional(
            "device_zone",
            Kind::Zone,
            "Zone the device is set to at the start; the place's unless said.",
        ),
        required("run_for", A_LENGTH, "How long the run is, in true time."),
        optional(
            "drift",
            Kind::Quantity(&DRIFT, range(-10_000_000, 10_000_000)),
            "Constant drift of the device's clock; positive gains.",
        ),
        optional(
            "temperature",
            Kind::Quantity(&TEMPERATURE, range(-40_000, 85_000)),
            "Temperature at the clock.",
        ),
        optional(
            "temperature_coefficient",
            Kind::Quantity(&CURVE, range(-1_000, 0)),
            "The crystal's change of rate with the square of the distance from its turnover temperature.",
        ),
        optional(
            "turnover",
            Kind::Quantity(&TEMPERATURE, range(-40_000, 85_000)),
            "The crystal's turnover temperature; 25 C unless said.",
        ),
        optional(
            "off_by",
            EITHER_WAY,
            "What the device's clock shows at the start less the true time; nothing unless said.",
        ),
        optional(
            "unset",
            Kind::Switch,
            "The device's clock is not set at the start; false unless said.",
        ),
    ],
};

/// No small pump has a roller that takes 100 ml in one pass: own choice, no source.
const MOST_A_PASS: i64 = 100_000_000;

pub(in crate::scenario) static HEAD: Table = Table {
    name: "[head]",
    group: "",
    keys: &[
        required("flow", A_FLOW, "Flow as calibrated."),
        optional(
            "true_flow",
            A_FLOW,
            "What the head really delivers; the calibrated flow unless said.",
        ),
        optional("rollers", Kind::Count(range(1, 16)), "Rollers on the rotor; 3 unless said."),
        optional(
            "volume_per_roller_pass",
            Kind::Volume(range(1, MOST_A_PASS)),
            "Volume of one roller pass, at most 100 ml; not known unless said.",
        ),
        optional("shortest_on", UP_TO_A_DAY, "Shortest pulse; 400 ms unless said."),
        optional("shortest_off", UP_TO_A_DAY, "Shortest gap between pulses; 600 ms unless said."),
        optional("longest_run", UP_TO_A_DAY, "Longest pulse; 10 min unless said."),
        optional(
            "least_rest",
            Kind::Length(range(0, MS_PER_DAY)),
            "Rest that the longest pulse needs; 600 ms unless said.",
        ),
        optional(
            "starts_per_hour",
            Kind::Count(range(1, 60)),
            "Most starts in any hour; 60 unless said.",
        ),
        optional(
            "least_pulse",
            ANY_KEPT_VOLUME,
            "Volume a pulse should have at least where the dose allows it; 4 ml unless said.",
        ),
        optional("longest_prime", UP_TO_A_DAY, "Longest prime run; 10 min unless said."),
        optional(
            "longest_calibration",
            UP_TO_A_DAY,
            "Longest calibration run; 10 min unless said.",
        ),
        optional(
            "lead",
            Kind::Length(range(0, 10_000)),
            "How much longer than its volume takes each pulse runs, for what its start loses; a two-point calibration finds it; nothing unless said.",
        ),
        optional(
            "drive",
            Kind::Table(&DRIVE),
            "What turns the rotor. With it the pump of a run turns by the model, in jerks as its rollers pass; without it a run has the mean flow from the first millisecond to the last.",
        ),
        optional(
            "spin_up",
            Kind::Length(range(0, 10_000)),
            "Time in which the rotor comes up to full speed, for the model of its flow; unless said 100 ms, with a stepper 20 ms.",
        ),
        optional(
            "coast",
            Kind::Length(range(0, 10_000)),
            "Time in which the rotor comes to rest from full speed, for the model of its flow; unless said 50 ms, with a stepper none.",
        ),
        optional(
            "pulsation",
            Kind::Quantity(&PERCENT, range(0, 3_000_000)),
            "How far the flow swings about its mean at each roller pass, for the model of its flow; 100 % unless said.",
        ),
    ],
};

pub(in crate::scenario) static DRIVE: Table = Table {
    name: "drive",
    group: "what the drive is",
    keys: &[
        one_of("on_off", Kind::Table(&ON_OFF), "A motor that is switched on and off."),
        one_of("duty", Kind::Table(&DUTY), "A motor whose speed is set by its duty."),
        one_of("stepper", Kind::Table(&STEPPER), "A stepper motor: whole steps, no coast."),
    ],
};

pub(in crate::scenario) static ON_OFF: Table = Table { name: "on_off", group: "", keys: &[] };

pub(in crate::scenario) static DUTY: Table = Table {
    name: "duty",
    group: "",
    keys: &[required(
        "speed",
        Kind::Quantity(&PERCENT, range(10_000, 1_000_000)),
        "Share of full speed that it runs at; `flow` is what the head delivers at that speed.",
    )],
};

pub(in crate::scenario) static STEPPER: Table = Table {
    name: "stepper",
    group: "",
    keys: &[required(
        "steps_per_turn",
        Kind::Count(range(1, 100_000)),
        "Steps in one turn of the rotor, gear included.",
    )],
};

pub(in crate::scenario) static MOTOR: Table = Table {
    name: "[motor]",
    group: "",
    keys: &[
        required("voltage", Kind::Quantity(&VOLTAGE, range(100, 400_000)), "Nominal voltage."),
        optional(
            "current",
            Kind::Quantity(&CURRENT, range(1, 100_000_000)),
            "Current while it runs; 350 mA unless said.",
        ),
        optional(
            "start_current",
            Kind::Quantity(&CURRENT, range(1, 100_000_000)),
            "Current while it starts; 1.2 A unless said.",
        ),
        optional(
            "start_for",
            Kind::Length(range(0, 10_000)),
            "How long a start lasts; 30 ms unless said.",
        ),
    ],
};

pub(in crate::scenario) static SUPPLY: Table = Table {
    name: "[supply]",
    group: "what the supply is",
    keys: &[
        one_of("mains", Kind::Table(&MAINS), "Mains."),
        one_of("battery", Kind::Table(&BATTERY), "A battery pack."),
    ],
};

pub(in crate::scenario) static MAINS: Table = Table { name: "mains", group: "", keys: &[] };

pub(in crate::scenario) static BATTERY: Table = Table {
    name: "battery",
    group: "",
    keys: &[
        required(
            "type",
            Kind::Word(cell_words),
            "Type of the cells, by IEC 60086 or IEC 61951 designation.",
        ),
        optional(
            "cells",
            Kind::Count(range(1, 48)),
            "Cells in series; from the motor's voltage unless said.",
        ),
        optional(
            "sleep",
            Kind::Quantity(&CURRENT, range(0, 100_000_000)),
            "Current that never stops; 60 uA unless said.",
        ),
        optional(
            "display",
            Kind::Quantity(&CURRENT, range(0, 100_000_000)),
            "Current of the lit display; 12 mA unless said.",
        ),
        optional(
            "lit_a_week",
            Kind::Length(range(0, 7 * MS_PER_DAY)),
            "How long the display is lit in a week; 3 min unless said.",
        ),
        optional(
            "usable",
            Kind::Quantity(&PERCENT, range(10_000, 1_000_000)),
            "Share of the cells' capacity that can be used; 56 %, a cool cellar, unless said.",
        ),
        optional(
            "self_discharge",
            Kind::Quantity(&PERCENT, range(0, 500_000)),
            "Share that is lost in a year on the shelf; 3 % unless said, 15 % of HR20.",
        ),
        optional(
            "temperature",
            Kind::Quantity(&TEMPERATURE, range(-40_000, 60_000)),
            "Temperature of the pack; 20 C in the world, a cool cellar in the forecast, unless said.",
        ),
        optional(
            "charge",
            Kind::Quantity(&PERCENT, range(0, 1_000_000)),
            "Share of its charge that is there at the start; the device takes it for full.",
        ),
        optional(
            "warn_days",
            Kind::Count(range(0, 120)),
            "Days of this timetable that the low alarm has to come ahead; 14 unless said.",
        ),
    ],
};

pub(super) fn unit_words() -> Vec<&'static str> {
    Units::ALL.map(Units::word).to_vec()
}

pub(super) fn cell_words() -> Vec<&'static str> {
    CellType::ALL.map(CellType::word).to_vec()
}

pub(in crate::scenario) static CONTAINER: Table = Table {
    name: "[container]",
    group: "",
    keys: &[
        required("capacity", KEPT_VOLUME, "What it holds when full."),
        optional("level", ANY_KEPT_VOLUME, "What is in it at the start; full unless said."),
        optional(
            "heel",
            Kind::VolumeOrShare(range(0, MOST_KEPT)),
            "What the suction tube cannot reach; 4 % of the capacity unless said.",
        ),
        optional(
            "low_contact",
            KEPT_VOLUME,
            "Level at which the low-level contact closes; no contact unless said.",
        ),
        optional(
            "debounce",
            Kind::Length(range(0, 600_000)),
            "How long the contact must be closed before it counts; 5 s unless said.",
        ),
        optional("lead", ANY_LENGTH, "From an order to its delivery; 10 days unless said."),
        optional("slack", ANY_LENGTH, "What to order earlier by; 7 days unless said."),
    ],
};

pub(in crate::scenario) static MEMORY: Table = Table {
    name: "[memory]",
    group: "",
    keys: &[
        optional(
            "word",
            Kind::Count(range(1, 8)),
            "Bytes of the smallest write: 1, 4 or 8; 4 unless said.",
        ),
        optional(
            "sector",
            Kind::Quantity(&BYTES, range(LEAST_SECTOR_BYTES as i64, 1_048_576)),
            "Sector, a power of two: one or more of the chip's smallest erases, with room for the whole state and a new timetable; 32 KiB unless said.",
        ),
        optional("sectors", Kind::Count(range(2, 1_024)), "Sectors of the ledger; 4 unless said."),
    ],
};

pub(in crate::scenario) static LIMITS: Table = Table {
    name: "[limits]",
    group: "",
    keys: &[optional(
        "daily_ceiling",
        KEPT_VOLUME,
        "Most volume in any 23 hours; 1.25 times the most the timetable asks in any 24 hours unless said.",
    )],
};

pub(in crate::scenario) static CLOSED: Table = Table {
    name: "[[closed]]",
    group: "",
    keys: &[
        required("first", Kind::Date, "First closed date."),
        optional("last", Kind::Date, "Last closed date; the first unless said."),
    ],
};

pub(in crate::scenario) const WEEKLY_DOC: &str = "On weekdays, or trading nights, at a local time.";
pub(in crate::scenario) const EVERY_DOC: &str = "Every so often in elapsed time.";
/// What the device takes.
pub(super) const MOST_WINDOW: i64 = Entry::LONGEST_WINDOW_MS as i64;
pub(super) const WINDOW: Kind = Kind::Length(range(1, MOST_WINDOW));
pub(super) const GRACE: Kind = Kind::Length(range(0, MOST_WINDOW));
pub(super) const PULSES: Key = optional(
    "pulses",
    Kind::Count(range(1, 65_535)),
    "Pulses of a dose; the planner's choice unless said.",
);

pub(super) fn gap_words() -> Vec<&'static str> {
    vec!["shift", "first valid"]
}

pub(in crate::scenario) static ENTRY: Table = Table {
    name: "[[entry]]",
    group: "when its doses are due",
    keys: &[
        required("name", Kind::Name, "Its name, unique in the timetable."),
        one_of("weekly", Kind::Table(&WEEKLY), WEEKLY_DOC),
        one_of("every", Kind::Table(&EVERY), EVERY_DOC),
        required("volume", KEPT_VOLUME, "The dose."),
        required("window", WINDOW, "Time over which the dose is spread."),
        optional(
            "grace",
            GRACE,
            "Time after the window in which a disturbed dose may still finish; none unless said.",
        ),
        optional("first", Kind::Date, "First date, or night, with a dose. Weekly entries only."),
        optional("last", Kind::Date, "Last date, or night, with a dose. Weekly entries only."),
        PULSES,
        optional(
            "observes_closed",
            Kind::Switch,
            "Closed dates keep it from running; true unless said. Weekly entries only.",
        ),
        optional(
            "gap",
            Kind::Word(gap_words),
            "In the hour that spring skips: \"shift\" by the length of the gap, or at the \"first valid\" instant; shift unless said.",
        ),
        optional("enabled", Kind::Switch, "True unless said."),
    ],
};

pub(in crate::scenario) static WEEKLY: Table = Table {
    name: "weekly",
    group: "its days or its nights",
    keys: &[
        one_of("days", Kind::Days, "Calendar days."),
        one_of(
            "nights",
            Kind::Days,
            "Trading nights, from noon to noon: 00:45 of the night of mon is on Tuesday.",
        ),
        required("at", Kind::TimeOfDay, "Local time at which the window begins, in whole minutes."),
    ],
};

pub(in crate::scenario) static EVERY: Table = Table {
    name: "every",
    group: "",
    keys: &[
        required(
            "interval",
            Kind::Length(range(60_000, 366 * MS_PER_DAY)),
            "From one dose to the next: a minute to 366 days.",
        ),
        optional(
            "from",
            Kind::IntervalStart,
            "The first dose: a local time, a length after the start of the run, or \"now\", when the entry is accepted; now unless said.",
        ),
    ],
};
