//! The keys of `[[fault]]`: one table for each kind.

use super::super::model::{Done, MemoryWork, Misread};
use super::{A_FLOW, A_LENGTH, Kind, Table, UP_TO_A_DAY, one_of, optional, range, required};

pub(in crate::scenario) static FAULT: Table = Table {
    name: "[[fault]]",
    group: "what goes wrong",
    keys: &[
        required("at", Kind::Moment, "When."),
        one_of(
            "supply_loss",
            Kind::Table(&SUPPLY_LOSS),
            "The supply is off; the clock chip stays fed.",
        ),
        one_of(
            "memory_tear",
            Kind::Table(&MEMORY_TEAR),
            "The supply is cut in the middle of the next write or erase.",
        ),
        one_of("bit_flip", Kind::Table(&BIT_FLIP), "A bit of the memory turns over."),
        one_of("page_worn", Kind::Table(&PAGE_WORN), "A sector takes no more writes."),
        one_of(
            "clock_lost",
            Kind::Table(&CLOCK_LOST),
            "The clock chip loses its feed: the clock is unset and the time counts zero.",
        ),
        one_of("late_wake", Kind::Table(&LATE_WAKE), "The logic is called late."),
        one_of(
            "spurious_wake",
            Kind::Table(&SPURIOUS_WAKE),
            "The logic is called though nothing asks for it.",
        ),
        one_of(
            "watchdog_reset",
            Kind::Table(&WATCHDOG_RESET),
            "The watchdog resets the processor.",
        ),
        one_of("container_low", Kind::Table(&CONTAINER_LOW), "The low-level contact says low."),
        one_of("level_bounce", Kind::Table(&LEVEL_BOUNCE), "The low-level contact bounces."),
        one_of("motor_stall", Kind::Table(&MOTOR_STALL), "The motor does not turn."),
        one_of("over_current", Kind::Table(&OVER_CURRENT), "The motor draws too much."),
        one_of("remote_stop", Kind::Table(&REMOTE_STOP), "The remote stop is on."),
        one_of("leak", Kind::Table(&LEAK), "The leak or tube-burst detector is on."),
        one_of(
            "squeeze_lost",
            Kind::Table(&SQUEEZE_LOST),
            "The rollers lose their squeeze and the container siphons out.",
        ),
        one_of(
            "foot_valve_leak",
            Kind::Table(&FOOT_VALVE_LEAK),
            "The suction tube drains back between doses.",
        ),
        one_of(
            "queue_flood",
            Kind::Table(&QUEUE_FLOOD),
            "More events at once than the queue holds.",
        ),
        one_of(
            "misread",
            Kind::Table(&MISREAD),
            "A reading of the memory goes wrong; what is in it is right.",
        ),
        one_of(
            "write_failure",
            Kind::Table(&WRITE_FAILURE),
            "A write to the memory fails; its driver says so, or does not.",
        ),
        one_of(
            "erase_failure",
            Kind::Table(&ERASE_FAILURE),
            "An erase of a sector fails; its driver says so, or does not.",
        ),
    ],
};

const TIMES: Kind = Kind::Count(range(1, 1_000_000));

/// Defines the tables of the kinds that have nothing but an optional length.
macro_rules! lasting {
    ($($table:ident = $name:literal, $lasts:expr;)*) => { $(
        pub(in crate::scenario) static $table: Table = Table {
            name: $name,
            group: "",
            keys: &[optional("lasts", A_LENGTH, $lasts)],
        };
    )* };
}

const TO_THE_END: &str = "For so long; to the end of the run unless said.";
const OF_THE_MOTOR: &str =
    "For so long; to the end of the run, or until a new tube set is put in, unless said.";

lasting! {
    CONTAINER_LOW = "container_low", TO_THE_END;
    MOTOR_STALL = "motor_stall", OF_THE_MOTOR;
    OVER_CURRENT = "over_current", OF_THE_MOTOR;
    REMOTE_STOP = "remote_stop", TO_THE_END;
    LEAK = "leak", TO_THE_END;
}

pub(in crate::scenario) static SUPPLY_LOSS: Table =
    Table { name: "supply_loss", group: "", keys: &[required("lasts", A_LENGTH, "For so long.")] };

pub(in crate::scenario) static MEMORY_TEAR: Table = Table {
    name: "memory_tear",
    group: "",
    keys: &[
        optional(
            "during",
            Kind::Word(work_words),
            "Which of the two is cut; \"write\" unless said.",
        ),
        required(
            "after",
            Kind::Count(range(0, 1_048_576)),
            "After so many bytes of a write, or steps of an erase, six a KiB; at its end where it has fewer.",
        ),
        optional("lasts", A_LENGTH, "The supply is off for so long; 1 s unless said."),
        optional(
            "within",
            A_LENGTH,
            "It waits for such work no longer than this; to the end of the run unless said.",
        ),
    ],
};

fn work_words() -> Vec<&'static str> {
    MemoryWork::ALL.map(MemoryWork::word).to_vec()
}

pub(in crate::scenario) static BIT_FLIP: Table = Table {
    name: "bit_flip",
    group: "",
    keys: &[
        required(
            "address",
            Kind::Count(range(0, 1_073_741_823)),
            "Byte address in the ledger's memory.",
        ),
        required("bit", Kind::Count(range(0, 7)), "Bit of the byte, 0 to 7."),
    ],
};

pub(in crate::scenario) static PAGE_WORN: Table = Table {
    name: "page_worn",
    group: "",
    keys: &[required("sector", Kind::Count(range(0, 1_023)), "Which sector, from 0.")],
};

pub(in crate::scenario) static CLOCK_LOST: Table = Table {
    name: "clock_lost",
    group: "",
    keys: &[required("lasts", A_LENGTH, "The chip is without feed for so long.")],
};

pub(in crate::scenario) static LATE_WAKE: Table = Table {
    name: "late_wake",
    group: "",
    keys: &[
        required("by", A_LENGTH, "So much too late."),
        optional("times", TIMES, "So many wakes in a row; 1 unless said."),
    ],
};

pub(in crate::scenario) static SPURIOUS_WAKE: Table = Table {
    name: "spurious_wake",
    group: "",
    keys: &[
        optional("times", TIMES, "So many wakes; 1 unless said."),
        optional("over", UP_TO_A_DAY, "Spread over so long; 1 s unless said."),
    ],
};

pub(in crate::scenario) static WATCHDOG_RESET: Table =
    Table { name: "watchdog_reset", group: "", keys: &[] };

pub(in crate::scenario) static LEVEL_BOUNCE: Table = Table {
    name: "level_bounce",
    group: "",
    keys: &[
        required("times", TIMES, "So many times."),
        required("over", UP_TO_A_DAY, "Spread over so long."),
    ],
};

pub(in crate::scenario) static SQUEEZE_LOST: Table = Table {
    name: "squeeze_lost",
    group: "",
    keys: &[
        optional(
            "flow",
            A_FLOW,
            "Flow of the siphon; what [tube] and [product] let run unless said.",
        ),
        optional("lasts", A_LENGTH, "For so long; to the end of the run unless said."),
    ],
};

pub(in crate::scenario) static FOOT_VALVE_LEAK: Table = Table {
    name: "foot_valve_leak",
    group: "",
    keys: &[
        required("flow", A_FLOW, "Flow back into the container."),
        optional("lasts", A_LENGTH, "For so long; to the end of the run unless said."),
    ],
};

pub(in crate::scenario) static QUEUE_FLOOD: Table = Table {
    name: "queue_flood",
    group: "",
    keys: &[required("events", Kind::Count(range(1, 1_000_000)), "So many events at once.")],
};

/// Readings, writes or erases that go by before.
const CALLS: Kind = Kind::Count(range(0, 1_000_000));
const WITHIN: &str = "It waits for them no longer than this; to the end of the run unless said.";

pub(in crate::scenario) static MISREAD: Table = Table {
    name: "misread",
    group: "",
    keys: &[
        optional("times", TIMES, "So many readings in a row; 1 unless said."),
        optional(
            "how",
            Kind::Word(misread_words),
            "With one wrong bit, as an error of the driver, or all ones; \"bit\" unless said.",
        ),
        optional("after", CALLS, "After so many readings of a slot; at once unless said."),
        optional("within", A_LENGTH, WITHIN),
    ],
};

fn misread_words() -> Vec<&'static str> {
    Misread::ALL.map(Misread::word).to_vec()
}

/// Defines the tables of calls that fail.
macro_rules! failures {
    ($($table:ident = $name:literal, $times:literal, $after:literal;)*) => { $(
        pub(in crate::scenario) static $table: Table = Table {
            name: $name,
            group: "",
            keys: &[
                optional("times", TIMES, $times),
                optional(
                    "done",
                    Kind::Word(done_words),
                    "How much of it is done; \"nothing\" unless said.",
                ),
                optional("reported", Kind::Switch, "Its driver reports an error; true unless said."),
                optional("after", CALLS, $after),
                optional("within", A_LENGTH, WITHIN),
            ],
        };
    )* };
}

failures! {
    WRITE_FAILURE = "write_failure",
        "So many writes in a row; 1 unless said.",
        "After so many writes of a slot; at once unless said.";
    ERASE_FAILURE = "erase_failure",
        "So many erases in a row; 1 unless said.",
        "After so many erases of a sector; at once unless said.";
}

fn done_words() -> Vec<&'static str> {
    Done::ALL.map(Done::word).to_vec()
}
