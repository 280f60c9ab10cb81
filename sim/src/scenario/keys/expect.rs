//! The keys of `[[expect]]`.

use dosewright_core::cause::Cause;
use dosewright_core::record::Alarm;

use super::super::model::Outcome;
use super::super::quantity::PERCENT;
use super::{A_VOLUME, ANY_LENGTH, ANY_VOLUME, Kind, Table, any_of, optional, range, required};

pub(in crate::scenario) static EXPECT: Table = Table {
    name: "[[expect]]",
    group: "what is expected",
    keys: &[
        any_of("outcomes", Kind::Table(&OUTCOMES), "So many scheduled doses with each outcome."),
        any_of("volume", Kind::Table(&VOLUME), "What was delivered over the run."),
        any_of("due", Kind::Table(&DUE), "One scheduled dose."),
        any_of("pump_on", Kind::Table(&PUMP_ON), "How long the pump was on in all."),
        any_of(
            "outflow",
            Kind::Table(&OUTFLOW),
            "What really came out at the outlet by the pump, which no device here senses.",
        ),
        any_of("alarms", Kind::Table(&ALARMS), "So many alarms."),
        any_of("calm", Kind::Table(&CALM), "Nothing of what went wrong before is felt any more."),
        any_of(
            "held",
            Kind::Switch,
            "Whether all expectations and promises hold; true unless said.",
        ),
    ],
};

const COUNT: Kind = Kind::Count(range(0, 1_000_000_000));

fn cause_words() -> Vec<&'static str> {
    Cause::ALL.map(Cause::words).to_vec()
}

fn outcome_words() -> Vec<&'static str> {
    Outcome::ALL.map(Outcome::word).to_vec()
}

fn alarm_words() -> Vec<&'static str> {
    Alarm::ALL.map(Alarm::words).to_vec()
}

pub(in crate::scenario) static OUTCOMES: Table = Table {
    name: "outcomes",
    group: "how many of each",
    keys: &[
        optional("entry", Kind::EntryRef, "Of this entry; of all unless said."),
        any_of("dosed", COUNT, "So many dosed."),
        any_of("part", COUNT, "So many part doses."),
        any_of("skipped", COUNT, "So many skipped."),
        any_of("open", COUNT, "So many without an outcome at the end."),
        any_of("cause", Kind::Word(cause_words), "Every part and skipped one has this cause."),
    ],
};

pub(in crate::scenario) static VOLUME: Table = Table {
    name: "volume",
    group: "",
    keys: &[
        optional("entry", Kind::EntryRef, "By this entry; by all unless said."),
        optional(
            "of",
            A_VOLUME,
            "Against this volume; against what the scheduled doses ask unless said.",
        ),
        required("within", Kind::Quantity(&PERCENT, range(0, 1_000_000)), "How far off it may be."),
    ],
};

pub(in crate::scenario) static DUE: Table = Table {
    name: "due",
    group: "what is expected of it",
    keys: &[
        required("entry", Kind::EntryRef, "Of this entry."),
        required("at", Kind::ClaimTime, "Nominal device local time, after a move in spring."),
        any_of("outcome", Kind::Word(outcome_words), "Its outcome."),
        any_of("cause", Kind::Word(cause_words), "The cause of its outcome."),
        any_of("started_from", Kind::ClaimTime, "It starts then or later, in true local time."),
        any_of("started_by", Kind::ClaimTime, "It starts then or earlier, in true local time."),
        any_of("ended_from", Kind::ClaimTime, "It ends then or later, in true local time."),
        any_of("ended_by", Kind::ClaimTime, "It ends then or earlier, in true local time."),
        any_of("volume_from", ANY_VOLUME, "At least so much is delivered."),
        any_of("volume_to", ANY_VOLUME, "At most so much is delivered."),
    ],
};

pub(in crate::scenario) static PUMP_ON: Table = Table {
    name: "pump_on",
    group: "how long",
    keys: &[any_of("least", ANY_LENGTH, "At least."), any_of("most", ANY_LENGTH, "At most.")],
};

pub(in crate::scenario) static OUTFLOW: Table = Table {
    name: "outflow",
    group: "how much",
    keys: &[any_of("least", ANY_VOLUME, "At least."), any_of("most", ANY_VOLUME, "At most.")],
};

pub(in crate::scenario) static ALARMS: Table = Table {
    name: "alarms",
    group: "how many",
    keys: &[
        optional("kind", Kind::Word(alarm_words), "Of this kind; of all unless said."),
        any_of("count", COUNT, "Exactly so many."),
        any_of("least", COUNT, "At least so many."),
        any_of("most", COUNT, "At most so many."),
    ],
};

pub(in crate::scenario) static CALM: Table = Table {
    name: "calm",
    group: "",
    keys: &[required(
        "from",
        Kind::Moment,
        "From this moment on: no scheduled dose is left open past its deadline, and none suffers \
         from a fault or an act.",
    )],
};
