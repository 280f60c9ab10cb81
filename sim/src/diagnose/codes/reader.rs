//! Codes of the reader of scenario files.

super::codes! { READER, Reader:

SYNTAX = "S001", "the file is not valid TOML",
"A scenario is a TOML file. Where a line cannot be read as TOML, the reader says what it \
expected there, passes over the smallest part it can, and reads on, so that the other problems \
are found in the same pass. The commonest cause is a value that is not in quotes: quantities, \
names and words are strings.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "UTC0"
run_for = 8 days
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "UTC0"
run_for = "8 days"
"#;

UNKNOWN_KEY = "S002", "the key is not known here",
"A key that no rule reads would be silently without effect, so it is refused. The nearest known \
key is named where there is a near one, and the whole list where there is not. A key that is \
known elsewhere may stand in the wrong table.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volum = "120 ml"
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

MISSING_KEY = "S003", "a key is missing",
"The table cannot be understood without this key, and there is no default that would be right \
for every site.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "UTC0"
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "UTC0"
run_for = "8 days"
"#;

WRONG_TYPE = "S004", "the value is of another type than the key wants",
"Each key wants one type of value: a string, a whole number, true or false, a list, or a table. \
Counts are bare whole numbers; quantities are strings with their unit.",
wrong r#"
[head]
flow = "26.5 ml/min"
rollers = "three"
"#,
right r#"
[head]
flow = "26.5 ml/min"
rollers = 3
"#;

NO_UNIT = "S005", "a quantity is given without its unit",
"Quantities are strings that carry their unit, so that nobody has to guess whether 45 is minutes \
or seconds. A bare number is refused even where one unit would be likelier than the others.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = 120
window = "45"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

UNKNOWN_UNIT = "S006", "the unit is not known for this quantity",
"Only the listed units are read, each with its exact size. A bare fluid ounce is refused because \
there are two: the US one is 29.5735295625 ml, the imperial one 28.4130625 ml, a difference of \
4 % in every dose.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "4 fl oz"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "4 US fl oz"
window = "45 min"
"#;

BAD_NUMBER = "S007", "the number of a quantity cannot be read",
"A number is digits, with a point before its decimals. A comma is refused because it is a decimal \
mark in one country and groups thousands in another: \"1,500 ml\" could be either.",
wrong r#"
[container]
capacity = "1,5 l"
"#,
right r#"
[container]
capacity = "1.5 l"
"#;

OUT_OF_RANGE = "S008", "the value is outside what makes sense",
"The value can be read, but it is negative or zero where only something makes sense, finer than \
the device can count, or larger than any installation or the integers it is kept in. The limits \
are in the message.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "0 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

BAD_DATE = "S009", "the date or time cannot be read or does not exist",
"Dates are written year, month, day, as in 2026-10-25, times hour and minute, as in 02:30, with \
seconds where they matter. Dates that the calendar does not have are refused. All times are \
local times of the zone in [clock]; only a moment (`at`) and the times of an expected `due` may have \
their offset, to mean one of two in the hour that autumn repeats.",
wrong "
[[closed]]
first = 2026-02-28
last = 2026-02-30
",
right "
[[closed]]
first = 2026-02-28
last = 2026-03-02
";

BAD_ZONE = "S010", "the zone cannot be read",
"A zone is either a POSIX TZ string, which holds the rule itself, or an IANA name, whose rule is \
looked up when the file is read. In a POSIX string the offset counts west of Greenwich as \
positive, so that central European time is CET-1; the changes are given as Mm.w.d, with week 5 \
for the last one. The place in the string where reading stopped is marked. A zone that no place \
has is refused as well, where runs by it could not be judged: 24 h or more from UTC, changes that \
fall outside of their year or within a day of one another, or that change their order.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M13.5.0,M10.5.0/3"
run_for = "8 days"
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "8 days"
"#;

UNKNOWN_ZONE = "S011", "no zone of this name",
"The name is not among the names of the IANA Time Zone Database that this program carries. Names \
are of the form Area/Place. A POSIX TZ string can be given in its place.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "Europe/Berlinn"
run_for = "8 days"
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "Europe/Berlin"
run_for = "8 days"
"#;

IRREGULAR_ZONE = "S012", "the zone's changes cannot be written as one rule",
"The device holds its zone as one rule that repeats every year. Some zones have changes during the \
run that no such rule describes: changes that follow the moon, or a rule that was in force only \
until some year. The run would show other times than the place has, so it is refused. Start \
after the last irregular change, make the run shorter, or give the rule you want as a POSIX TZ \
string.",
wrong r#"
[clock]
start = 2026-01-10T00:00:00
zone = "America/Vancouver"
run_for = "90 days"
"#,
right r#"
[clock]
start = 2026-01-10T00:00:00
zone = "PST8PDT,M3.2.0,M11.1.0"
run_for = "90 days"
"#;

BAD_MOMENT = "S013", "the moment cannot be read",
"A moment is a weekday and a local time (\"fri 00:50:20\": the first such time at or after the \
start), a local date and time (\"2026-10-25 02:30\"; with its offset, \"2026-10-25 02:30 +01:00\", \
to mean the second of two), a length of time after the start \
(\"+3 d 4 h\"), or a pulse of a dose (\"dose 3 pulse 2\": the second pulse of the third dose \
begun in the run).",
wrong r#"
[[fault]]
at = "friday night"
supply_loss = { lasts = "45 min" }
"#,
right r#"
[[fault]]
at = "fri 00:50:20"
supply_loss = { lasts = "45 min" }
"#;

DUPLICATE = "S015", "the same name or key is given twice",
"Entries are told apart by their names, and a key can have only one value in its table. The first \
use is named below the message.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "night"
weekly = { nights = ["thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

UNKNOWN_ENTRY = "S016", "no entry of this name",
"What an operator does to an entry, and what is expected of one, names an entry of the timetable or \
one that the operator adds. The nearest name is shown where there is a near one.",
wrong r#"
[[expect]]
outcomes = { entry = "nihgt", dosed = 2 }
"#,
right r#"
[[expect]]
outcomes = { entry = "night", dosed = 2 }
"#;

WRONG_VARIANT = "S017", "not exactly one of the keys that exclude each other",
"Some tables are of one kind out of several, and the kind is a key: an entry recurs `weekly` or \
`every` so often, a fault is a `supply_loss` or a `leak`, and so on. One of the keys must be \
there, and no second one.",
wrong r#"
[[fault]]
at = "fri 00:50:20"
"#,
right r#"
[[fault]]
at = "fri 00:50:20"
supply_loss = { lasts = "45 min" }
"#;

UNKNOWN_WORD = "S018", "the word is not one of the list",
"The key takes a word of a closed list: a weekday, a cause, an outcome, a type of cell. The list, or \
the nearest word of it, is shown.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thr"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

FILE_TOO_LARGE = "S019", "the file is larger than the limit",
"Scenario files are written by people and are short. A file over 1 MiB is most likely something \
else, and is refused before it is read.",
wrong "",
right "
# at most 1 MiB
";

UNKNOWN_SCHEMA = "S020", "the schema version is not known",
"The first line of a scenario says which version of the format it is written in, so that an older \
program refuses a newer file rather than misreading it. This program reads version 1.",
wrong "
schema = 2
",
right "
schema = 1
";

UNREADABLE = "S044", "the file cannot be read",
"A file that is given to `check` is not there, may not be read, is a directory, or is no text in \
UTF-8. It counts as an error, so that nobody takes the report for one of all the files.",
wrong "",
right "
# a file of UTF-8 text that is there
";

TOO_MANY_PROBLEMS = "S021", "there are more problems than are shown",
"A file with hundreds of problems is most likely not a scenario, or one mistake early in it spoils \
all that follows. The first problems are shown; mend them and check again.",
wrong "",
right "
# mend the first problems, then check again
";

CONTRADICTION = "S022", "two values contradict each other",
"Each value is well formed, but the two cannot both hold: a last date before the first, a \
level above the capacity, a key that only a weekly entry has on an interval entry.",
wrong r#"
[container]
capacity = "5 l"
level = "7.5 l"
"#,
right r#"
[container]
capacity = "10 l"
level = "7.5 l"
"#;

BEFORE_START = "S023", "the moment lies before the start of the run",
"The run begins at the start in [clock]. What should happen earlier could never happen.",
wrong r#"
[[operator]]
at = "2026-10-18 09:00"
set_clock = { by = "-1 h" }
"#,
right r#"
[[operator]]
at = "2026-10-20 09:00"
set_clock = { by = "-1 h" }
"#;

BAD_NAME = "S024", "the name cannot be used",
"Names go into reports, file names and test results. They are 1 to 64 characters long, without \
control characters and without blanks at either end.",
wrong r#"
[[entry]]
name = ""
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

AFTER_END = "W005", "the moment lies after the end of the run",
"What should happen after the end never happens, and a run in which a fault never took effect \
proves nothing about it. Make the run longer or the moment earlier.",
wrong r#"
[[fault]]
at = "+30 d"
supply_loss = { lasts = "45 min" }
"#,
right r#"
[[fault]]
at = "+3 d"
supply_loss = { lasts = "45 min" }
"#;

BACKWARD_ZONE = "W016", "a zone that counts the other way than it reads",
"A TZ string gives how far local time is behind UTC, so that UTC+1 is an hour west of Greenwich, not one \
east. Most who write UTC or GMT with a sign mean the other side, and all dues are then twice that far off; \
so it is with a name such as EST or CET on the side where no place has it. A name in angle brackets says \
what is shown, with its offset after it as ever: <+01>-1 is an hour east. Neither has summer time; a \
place's name has.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "UTC+1"
run_for = "3 days"
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "<+01>-1"
run_for = "3 days"
"#;
}
