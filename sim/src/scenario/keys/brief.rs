//! The keys of a brief: what `plan` makes a timetable from; and of a head file.

use super::super::quantity::RATE;
use super::site::unit_words;
use super::{
    A_VOLUME, ANY_LENGTH, CLOSED, CONTAINER, HEAD, KEPT_VOLUME, Kind, LIMITS, MOTOR, PRODUCT,
    SUPPLY, TUBE, Table, UP_TO_A_DAY, WINDOW, one_of, optional, range, required,
};

pub(in crate::scenario) static HEAD_FILE: Table = Table {
    name: "the head file",
    group: "",
    keys: &[
        required("schema", Kind::Version, "Version of the format: 1."),
        optional("title", Kind::Text(200), "What head it is."),
        required("head", Kind::Table(&HEAD), "Pump head and tube set with their limits."),
    ],
};

pub(in crate::scenario) static BRIEF: Table = Table {
    name: "the brief",
    group: "",
    keys: &[
        required("schema", Kind::Version, "Version of the format: 1."),
        optional("title", Kind::Text(200), "What site it is."),
        optional("units", Kind::Word(unit_words), "In what volumes are shown; metric unless said."),
        required("site", Kind::Table(&SITE), "When the water runs, and what to keep of it."),
        required("label", Kind::Table(&LABEL), "What the product's label asks for."),
        required("head", Kind::Table(&HEAD), "Pump head and tube set with their limits."),
        optional("motor", Kind::Table(&MOTOR), "The motor."),
        optional("supply", Kind::Table(&SUPPLY), "Mains, or a battery pack."),
        optional("container", Kind::Table(&CONTAINER), "What the product is drawn from."),
        optional("tube", Kind::Table(&TUBE), "The tube set and the lines."),
        optional("product", Kind::Table(&PRODUCT), "What is dosed."),
        optional("limits", Kind::Table(&LIMITS), "Limits of the device."),
        optional("closed", Kind::Tables(&CLOSED), "Nights without a dose."),
        optional("trading", Kind::Tables(&TRADING), "When the site uses water."),
        optional("cleaning", Kind::Tables(&CLEANING), "What no dose may come near to."),
        optional("quiet", Kind::Tables(&QUIET), "Quiet periods, where they are known."),
    ],
};

pub(in crate::scenario) static SITE: Table = Table {
    name: "[site]",
    group: "",
    keys: &[
        required("first", Kind::Date, "First night with a dose."),
        required("zone", Kind::Zone, "Zone of the place: a POSIX TZ string or an IANA name."),
        optional("nights", Kind::Days, "Nights that may have a dose; all unless said."),
        optional(
            "doses_a_week",
            Kind::Count(range(1, 7)),
            "Doses a week; every night unless said.",
        ),
        optional("contact", ANY_LENGTH, "From a dose's end to the next water; 5 h unless said."),
        optional("settle", ANY_LENGTH, "From the last water to a dose; 30 min unless said."),
        optional("window", WINDOW, "Window wanted; 45 min unless said."),
    ],
};

pub(in crate::scenario) static LABEL: Table = Table {
    name: "[label]",
    group: "the dose of a night",
    keys: &[
        one_of("dose", KEPT_VOLUME, "Maintenance dose of a night."),
        one_of(
            "rate",
            Kind::Quantity(&RATE, range(1, 1_000_000_000)),
            "Maintenance rate of a night, by volume of drain or separator.",
        ),
        optional("of", A_VOLUME, "Volume of the drain or separator, with a rate."),
        optional("start_up_dose", A_VOLUME, "Dose of a start-up night."),
        optional(
            "start_up_rate",
            Kind::Quantity(&RATE, range(1, 1_000_000_000)),
            "Rate of a start-up night.",
        ),
        optional("start_up_nights", Kind::Count(range(1, 365)), "Nights of start-up."),
    ],
};

pub(in crate::scenario) static TRADING: Table = Table {
    name: "[[trading]]",
    group: "",
    keys: &[
        required("days", Kind::Days, "Trading days: a day's close after midnight belongs to it."),
        required("opens", Kind::TimeOfDay, "First water of the day."),
        required("closes", Kind::TimeOfDay, "Last water of the day, or of the night after it."),
    ],
};

pub(in crate::scenario) static CLEANING: Table = Table {
    name: "[[cleaning]]",
    group: "",
    keys: &[
        optional("what", Kind::Text(60), "Bleach, quats, boil-out."),
        required("days", Kind::Days, "Calendar days."),
        required("at", Kind::TimeOfDay, "When it begins."),
        optional("lasts", UP_TO_A_DAY, "How long it takes; a moment unless said."),
        optional("clear", ANY_LENGTH, "To keep clear before and after; 2 h unless said."),
    ],
};

pub(in crate::scenario) static QUIET: Table = Table {
    name: "[[quiet]]",
    group: "",
    keys: &[
        required("nights", Kind::Days, "Nights, from noon to noon."),
        required("from", Kind::TimeOfDay, "Last water."),
        required("to", Kind::TimeOfDay, "First water."),
    ],
};
