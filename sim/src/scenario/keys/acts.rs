//! The keys of `[[operator]]`: one table for each act.

use super::super::model::Key as PanelKey;
use super::site::{GRACE, WINDOW, cell_words, gap_words};
use super::{
    A_FLOW, A_VOLUME, ANY_KEPT_VOLUME, EITHER_WAY, ENTRY, EVERY, EVERY_DOC, KEPT_VOLUME, Kind,
    Table, UP_TO_A_DAY, WEEKLY, WEEKLY_DOC, any_of, one_of, optional, range, required,
};

pub(in crate::scenario) static OPERATOR: Table = Table {
    name: "[[operator]]",
    group: "what is done",
    keys: &[
        required("at", Kind::Moment, "When."),
        one_of("set_clock", Kind::Table(&SET_CLOCK), "Sets the device's clock."),
        one_of("set_zone", Kind::Table(&SET_ZONE), "Sets the device's zone."),
        one_of("edit", Kind::Table(&EDIT), "Changes values of an entry."),
        one_of("disable", Kind::Table(&DISABLE), "Disables an entry."),
        one_of("enable", Kind::Table(&ENABLE), "Enables an entry."),
        one_of("remove", Kind::Table(&REMOVE), "Takes an entry out of the timetable."),
        one_of("add", Kind::Table(&ENTRY), "Adds an entry."),
        one_of("timetable", Kind::Table(&TIMETABLE), "Replaces the whole timetable."),
        one_of("prime", Kind::Table(&PRIME), "Primes."),
        one_of("calibrate", Kind::Table(&CALIBRATE), "Calibrates."),
        one_of("run_again", Kind::Table(&RUN_AGAIN), "Runs an entry's dose again."),
        one_of("stop_dose", Kind::Table(&STOP_DOSE), "Ends an entry's dose while it is under way."),
        one_of("acknowledge", Kind::Table(&ACKNOWLEDGE), "Acknowledges the alarms."),
        one_of("set_pin", Kind::Table(&SET_PIN), "Sets the PIN that the settings are behind."),
        one_of("unlock", Kind::Table(&UNLOCK), "Enters the PIN."),
        one_of("lock", Kind::Table(&LOCK), "Locks the settings again."),
        one_of(
            "press",
            Kind::Table(&PRESS),
            "Touches of the knob, which light the display and do nothing else.",
        ),
        one_of("refill", Kind::Table(&REFILL), "Fills the container."),
        one_of("change_tube", Kind::Table(&CHANGE_TUBE), "Puts in a new tube set."),
        one_of("change_pack", Kind::Table(&CHANGE_PACK), "Puts in a new battery pack."),
    ],
};

pub(in crate::scenario) static SET_CLOCK: Table = Table {
    name: "set_clock",
    group: "how the clock is set",
    keys: &[
        one_of("to", Kind::LocalTime, "To this local time of the device's zone."),
        one_of("by", EITHER_WAY, "By so much against what it shows."),
    ],
};

pub(in crate::scenario) static SET_ZONE: Table =
    Table { name: "set_zone", group: "", keys: &[required("zone", Kind::Zone, "The new zone.")] };

pub(in crate::scenario) static EDIT: Table = Table {
    name: "edit",
    group: "what is changed",
    keys: &[
        required("entry", Kind::EntryRef, "Which entry."),
        any_of("weekly", Kind::Table(&WEEKLY), WEEKLY_DOC),
        any_of("every", Kind::Table(&EVERY), EVERY_DOC),
        any_of("volume", KEPT_VOLUME, "The dose."),
        any_of("window", WINDOW, "Time over which the dose is spread."),
        any_of("grace", GRACE, "Time after the window in which a disturbed dose may still finish."),
        any_of("first", Kind::DateOrNone, "First date, or night, with a dose."),
        any_of("last", Kind::DateOrNone, "Last date, or night, with a dose."),
        any_of(
            "pulses",
            Kind::CountOrNone(range(1, 65_535)),
            "Pulses of a dose; \"none\" leaves it to the planner.",
        ),
        any_of("observes_closed", Kind::Switch, "Closed dates keep it from running."),
        any_of("gap", Kind::Word(gap_words), "What happens in the hour that spring skips."),
    ],
};

/// Defines the tables of the acts that name an entry and nothing else.
macro_rules! on_entry {
    ($($table:ident = $name:literal;)*) => { $(
        pub(in crate::scenario) static $table: Table =
            Table { name: $name, group: "", keys: &[required("entry", Kind::EntryRef, "Which entry.")] };
    )* };
}

on_entry! {
    DISABLE = "disable";
    ENABLE = "enable";
    REMOVE = "remove";
    RUN_AGAIN = "run_again";
    STOP_DOSE = "stop_dose";
}

pub(in crate::scenario) static TIMETABLE: Table = Table {
    name: "timetable",
    group: "",
    keys: &[required("entries", Kind::Tables(&ENTRY), "The new timetable, all of it.")],
};

pub(in crate::scenario) static PRIME: Table = Table {
    name: "prime",
    group: "when it stops",
    keys: &[
        any_of("volume", KEPT_VOLUME, "Stops at this volume."),
        any_of("lasts", UP_TO_A_DAY, "Stops after this time."),
    ],
};

pub(in crate::scenario) static CALIBRATE: Table = Table {
    name: "calibrate",
    group: "the result",
    keys: &[
        optional(
            "run",
            UP_TO_A_DAY,
            "The pump runs for so long; unless said, as long as the device reckons for the vessel.",
        ),
        optional("vessel", A_VOLUME, "What the measuring vessel holds up to its topmost mark."),
        optional(
            "reading_error",
            A_VOLUME,
            "How far a reading of it may be off, either way; unless said, the tolerance of a \
             class B cylinder (ASTM E1272) where it has such a size, else 1 %.",
        ),
        one_of("measured", KEPT_VOLUME, "The volume that was measured after the run."),
        one_of(
            "as_delivered",
            Kind::Switch,
            "true: what truly came out is read off the vessel, within its reading error.",
        ),
        one_of("flow", A_FLOW, "The new flow, worked out elsewhere."),
        optional(
            "as_found",
            Kind::Switch,
            "It says how the head was found: taken down, not put in force; false unless said.",
        ),
        optional(
            "train",
            Kind::Switch,
            "true: a train of short pulses in the place of one run, after a calibration of one \
             run; it finds what each start loses (two-point).",
        ),
        optional(
            "confirm",
            Kind::Switch,
            "The operator makes a second or a longer run where the device asks for one; false unless said.",
        ),
    ],
};

pub(in crate::scenario) static ACKNOWLEDGE: Table =
    Table { name: "acknowledge", group: "", keys: &[] };

pub(in crate::scenario) static LOCK: Table = Table { name: "lock", group: "", keys: &[] };

pub(in crate::scenario) static SET_PIN: Table = Table {
    name: "set_pin",
    group: "",
    keys: &[optional("pin", Kind::Text(20), "4 to 8 digits; without it the PIN is taken away.")],
};

pub(in crate::scenario) static UNLOCK: Table = Table {
    name: "unlock",
    group: "",
    keys: &[required("pin", Kind::Text(20), "The digits that are entered, right or wrong.")],
};

pub(in crate::scenario) static PRESS: Table = Table {
    name: "press",
    group: "",
    keys: &[
        required("key", Kind::Word(key_words), "Which; any does the same."),
        optional("times", Kind::Count(range(1, 1_000_000)), "How often; 1 unless said."),
    ],
};

fn key_words() -> Vec<&'static str> {
    PanelKey::ALL.map(PanelKey::word).to_vec()
}

pub(in crate::scenario) static REFILL: Table = Table {
    name: "refill",
    group: "",
    keys: &[optional("level", ANY_KEPT_VOLUME, "To this level; to the capacity unless said.")],
};

pub(in crate::scenario) static CHANGE_TUBE: Table = Table {
    name: "change_tube",
    group: "",
    keys: &[optional(
        "true_flow",
        A_FLOW,
        "What the head really delivers from then on; as before unless said.",
    )],
};

pub(in crate::scenario) static CHANGE_PACK: Table = Table {
    name: "change_pack",
    group: "",
    keys: &[
        optional("type", Kind::Word(cell_words), "Type of the cells; as before unless said."),
        optional("told", Kind::Switch, "The device is told of it; true unless said."),
    ],
};
