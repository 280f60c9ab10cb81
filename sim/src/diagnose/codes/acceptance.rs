//! Codes of what is found when the timetable is checked as the device would
//! accept it.

super::codes! { ACCEPTANCE, Acceptance:

DOSE_DOES_NOT_FIT = "S014", "the dose does not fit its window",
"At the flow of the head, with its shortest gaps and longest run, pumping the dose takes longer than \
its window. The rest after the last pulse counts too, so that the next dose finds the pump rested. A \
longer window, a smaller dose or a faster head would do; the least window is shown.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "3 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

WINDOWS_OVERLAP = "S030", "two windows overlap",
"Two doses never own the pump at once. Windows may not overlap, and this is \
checked round the end of the week too: a window late on Sunday can run into one on Monday. The \
nearest start that fits is shown.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "late"
weekly = { nights = ["mon"], at = "01:15" }
volume = "60 ml"
window = "30 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "late"
weekly = { nights = ["mon"], at = "01:30" }
volume = "60 ml"
window = "30 min"
"#;

WINDOW_OVER_GAP = "S031", "window and grace are not less than the entry's own gap",
"The next scheduled dose of the same entry would begin before the window and grace of the last are \
over. Window and grace together have to be less than the shortest gap between two doses of the \
entry.",
wrong r#"
[[entry]]
name = "trickle"
every = { interval = "1 h", from = "2026-10-19 06:00" }
volume = "15 ml"
window = "45 min"
grace = "15 min"
"#,
right r#"
[[entry]]
name = "trickle"
every = { interval = "1 h", from = "2026-10-19 06:00" }
volume = "15 ml"
window = "45 min"
grace = "10 min"
"#;

CEILING = "S033", "the timetable asks for more than the daily ceiling",
"The ceiling bounds what can be dosed in any 23 hours, whatever goes wrong. A timetable that needs more \
than its ceiling would have doses cut every day. Without a ceiling of its own a scenario has 1.25 \
times the most that its timetable asks in any 24 hours.",
wrong r#"
[limits]
daily_ceiling = "100 ml"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[limits]
daily_ceiling = "150 ml"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

STARTS_PER_HOUR = "S034", "the doses need more starts an hour than the head allows",
"Each pulse is a start of the motor, and the head has a limit of starts in any hour. Fewer pulses \
for the dose, or a longer window, keep it.",
wrong r#"
[head]
flow = "26.5 ml/min"
starts_per_hour = 20

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 30
"#,
right r#"
[head]
flow = "26.5 ml/min"
starts_per_hour = 20

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 15
"#;

BELOW_SHORTEST_PULSE = "S035", "the dose is below what the shortest pulse delivers",
"The head has a shortest time it can run for. At its flow that is the smallest volume it can \
deliver, and the dose is below it.",
wrong r#"
[[entry]]
name = "drop"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "0.1 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "drop"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "2 ml"
window = "45 min"
"#;

PULSES_DO_NOT_FIT = "S036", "the number of pulses asked for does not fit",
"With so many pulses each would be shorter than the shortest on time, or the gaps between them \
shorter than the shortest off time; with so few each would be longer than the longest run. The \
pulses that fit are shown.",
wrong r#"
[head]
flow = "26.5 ml/min"
shortest_on = "8 s"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 40
"#,
right r#"
[head]
flow = "26.5 ml/min"
shortest_on = "8 s"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 30
"#;

TOO_MANY_ENTRIES = "S037", "the timetable has more entries than the device holds",
"The device has room for a fixed number of entries. One weekly entry can name several days, so that \
doses of one size at one time need one entry only.",
wrong r#"
[[entry]]
name = "monday"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "tuesday"
weekly = { nights = ["tue"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon", "tue"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

BAD_HEAD = "S038", "the head's limits contradict each other",
"A head whose shortest pulse is longer than its longest, or that may never start, can deliver \
nothing. The limit that cannot be kept is marked.",
wrong r#"
[head]
flow = "26.5 ml/min"
shortest_on = "2 min"
longest_run = "1 min"
"#,
right r#"
[head]
flow = "26.5 ml/min"
shortest_on = "400 ms"
longest_run = "1 min"
"#;

TOO_MANY_DOSES = "S039", "more scheduled doses in a day than the device keeps account of",
"The device keeps the doses of the last 23 hours to hold the ceiling. A timetable with more of them \
than it has room for is refused. A longer interval with a larger dose in a longer window delivers the \
same volume a day.",
wrong r#"
[[entry]]
name = "trickle"
every = { interval = "1 min", from = "2026-10-19 06:00" }
volume = "1 ml"
window = "10 s"
"#,
right r#"
[[entry]]
name = "trickle"
every = { interval = "1 h", from = "2026-10-19 06:00" }
volume = "60 ml"
window = "30 min"
"#;

NEVER_DUE = "S041", "the entry never comes due",
"Between its first and last date the entry has none of its days. The dates are those of the \
entry's own days, or of its nights where it is by night.",
wrong r#"
[[entry]]
name = "start-up"
weekly = { days = ["mon"], at = "03:00" }
volume = "120 ml"
window = "45 min"
first = 2026-10-20
last = 2026-10-25
"#,
right r#"
[[entry]]
name = "start-up"
weekly = { days = ["mon"], at = "03:00" }
volume = "120 ml"
window = "45 min"
first = 2026-10-20
last = 2026-10-26
"#;

TOO_MANY_CLOSED = "S042", "more stretches of closed dates than the device holds",
"The device has room for a fixed number of stretches of closed dates. Stretches that follow on each \
other can be joined, and those that are over can be left out.",
wrong "",
right "
[[closed]]
first = 2026-12-24
last = 2027-01-03
";

SMALL_SECTOR = "S043", "the memory's sector is too small for the device's state",
"The device writes its records one after the other; where a sector is full it begins the next with \
all of its state: the settings, the whole timetable, what has been delivered lately. That, a new \
timetable and some records have to fit one sector. Of a memory with smaller erases several make a \
sector.",
wrong r#"
[memory]
sector = "4 KiB"
sectors = 32
"#,
right r#"
[memory]
sector = "32 KiB"
sectors = 4
"#;

PLAIN_NIGHT = "W001", "a time after midnight is given with calendar days",
"Friday 00:45 is in the night that people call Thursday's. Who means the night after Friday's \
trading writes the night: it runs from noon to noon, so that 00:45 of the night of Friday is \
Saturday 00:45. This is the commonest programming error.",
wrong r#"
[[entry]]
name = "night"
weekly = { days = ["fri"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["fri"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

IN_SKIPPED_HOUR = "W002", "a scheduled dose falls in the hour that spring skips",
"On that day the local time does not exist. The dose is moved by the length of the gap, 02:30 to \
03:30, or to the first valid instant where the entry says so. The time left before the first use \
of water is shorter that day.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["sat"], at = "02:30" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["sat"], at = "01:00" }
volume = "120 ml"
window = "45 min"
"#;

MEETS_INTERVAL = "W003", "an interval entry will at times meet another entry",
"An interval counts elapsed time. One that neither divides the day nor is whole days wanders through \
the week, and its doses may come to the windows of other entries. Where two meet, one waits for the \
other; the wait is in the outcome.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["sun"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "trickle"
every = { interval = "5 h", from = "2026-10-19 06:00" }
volume = "15 ml"
window = "10 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["sun"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "trickle"
every = { interval = "6 h", from = "2026-10-19 04:00" }
volume = "15 ml"
window = "10 min"
"#;

IN_REPEATED_HOUR = "W004", "a scheduled dose falls in the hour that autumn repeats",
"On that day the local time happens twice. The dose is delivered once, in the first pass.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["sat"], at = "02:30" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["sat"], at = "01:00" }
volume = "120 ml"
window = "45 min"
"#;

DRAINS_BACK = "W006", "a dose is less than what the suction line holds above the product",
"Where the foot valve leaks, the suction line drains back between doses, and the pump has to fill it \
before anything comes out. A dose smaller than that is all air: the pump runs in full, the record says \
dosed, and nothing comes out. Flow is not sensed, so the device cannot know.",
wrong r#"
[tube]
bore = "4.8 mm"
suction = "2.5 m"
lift = "2.2 m"
[[entry]]
name = "trap"
weekly = { nights = ["mon"], at = "00:45" }
volume = "30 ml"
window = "45 min"
"#,
right r#"
[tube]
bore = "4.8 mm"
suction = "1.5 m"
lift = "1.2 m"
[[entry]]
name = "trap"
weekly = { nights = ["mon"], at = "00:45" }
volume = "30 ml"
window = "45 min"
"#;

SIPHONS = "W007", "the outlet lies below the product",
"What keeps the product in its container is the squeeze of the rollers alone. When a tube set is worn, \
or the head stands open, the container siphons out into the drain. An anti-siphon valve or an air gap \
prevents it; it also keeps product from being drawn back into drinking water, for which local rules \
come first.",
wrong r#"
[tube]
bore = "3.2 mm"
discharge = "3 m"
outlet_below = "1.2 m"
"#,
right r#"
[tube]
bore = "3.2 mm"
discharge = "3 m"
outlet_below = "-20 cm"
"#;

MEETS_AT_CHANGE = "W008", "two doses meet when the clock has changed",
"The windows of a timetable do not overlap on the clock of any week. Where the clock goes forward they \
may: a dose in the hour that is skipped comes later, a window that reaches over that hour ends later on \
the clock, and an interval, which counts elapsed time, comes an hour later from then on. Where two meet, \
one waits for the other; the wait is in the outcome.",
wrong r#"
[[entry]]
name = "first"
weekly = { nights = ["sat"], at = "01:15" }
volume = "120 ml"
window = "75 min"

[[entry]]
name = "second"
weekly = { nights = ["sat"], at = "03:00" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[[entry]]
name = "first"
weekly = { nights = ["sat"], at = "00:15" }
volume = "120 ml"
window = "75 min"

[[entry]]
name = "second"
weekly = { nights = ["sat"], at = "03:00" }
volume = "120 ml"
window = "45 min"
"#;

AT_HEEL = "W009", "the container is at its heel from the start",
"The suction tube ends at the heel: what is below it cannot be drawn. With a level at the heel or below \
every dose is skipped, or waits, until somebody fills the container.",
wrong r#"
[container]
capacity = "10 l"
level = "300 ml"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[container]
capacity = "10 l"
level = "8 l"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

INTERVAL_ON_CLOSED = "W010", "closed dates do not hold an interval entry",
"An interval counts elapsed time, blind to the calendar: it goes on while the clock is unset, and on \
closed dates too. Whoever wants no dose on them makes the entry weekly, or disables it for that time.",
wrong r#"
[[closed]]
first = 2026-12-24
last = 2027-01-03

[[entry]]
name = "trickle"
every = { interval = "24 h", from = "2026-10-19 01:00" }
volume = "15 ml"
window = "10 min"
"#,
right r#"
[[closed]]
first = 2026-12-24
last = 2027-01-03

[[entry]]
name = "trickle"
weekly = { days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], at = "03:00" }
volume = "15 ml"
window = "10 min"
"#;

WEAK_PACK = "W011", "the pack is too weak for its motor",
"Cells in series add their volts. An alkaline cell falls from 1.5 V under load to 0.9 V, where it is \
empty (common practice, no source), and a strong current takes more off it. A pack that has less than \
motor and driver take before that is exhausted with charge left in it, or does not run the pump at all.",
wrong r#"
[motor]
voltage = "12 V"

[supply]
battery = { type = "LR20", cells = 8 }
"#,
right r#"
[motor]
voltage = "12 V"

[supply]
battery = { type = "LR20", cells = 14 }
"#;

NOTHING_DUE = "W012", "nothing is dosed by this timetable",
"No entry is enabled, or none comes due in the time that was looked at, and no operator changes that. \
A slip in the year of a date is the usual reason.",
wrong r#"
[[entry]]
name = "trickle"
every = { interval = "6 h", from = "2126-10-19 06:00" }
volume = "15 ml"
window = "10 min"
"#,
right r#"
[[entry]]
name = "trickle"
every = { interval = "6 h", from = "2026-10-19 06:00" }
volume = "15 ml"
window = "10 min"
"#;

OUT_OF_LIFT = "W013", "nothing comes up this suction line",
"The air pushes a product up a suction line, no higher than its pressure less that of the product's \
vapour is worth. Height and friction of the line together are more, so that the product boils in the \
line and the pump runs dry. Heads lose flow long before.",
wrong r#"
[tube]
bore = "4.8 mm"
suction = "12 m"
lift = "11 m"
"#,
right r#"
[tube]
bore = "4.8 mm"
suction = "3 m"
lift = "2 m"
"#;

OVER_CONTAINER = "W014", "a dose is more than the container gives",
"The suction tube ends at the heel: a full container gives its capacity less that. A dose that is more \
is never whole, however often the container is filled.",
wrong r#"
[container]
capacity = "0.1 l"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[container]
capacity = "10 l"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;
}
