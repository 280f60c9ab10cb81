//! Codes of what is found when the timetable is checked as the device would
//! accept it.

super::codes! { ACCEPTANCE, Acceptance:

DOSE_DOES_NOT_FIT = "S014", "the dose does not fit its window",
"At the flow of the head, with its shortest gaps and longest run, pumping the dose takes longer than \
its window. The rest after the last pulse counts too, so that the next dose finds the pump rested, and no \
pulse takes less of the window than its share of an hour's starts, a minute at the least (S034). A \
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

STARTS_PER_HOUR = "S034", "the head allows too few starts an hour for this window",
"Each pulse is a start of the motor, and the head has a limit of starts in any hour. So that no row of \
windows breaks it, each pulse takes its share of an hour out of its own window: a minute with 60 starts an \
hour, 10 min with 6, however seldom the dose comes. Fewer pulses for the dose, or a longer window, keep it.",
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
"The device has room for 64 entries. One weekly entry can name several days, so that \
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
"The device keeps the doses of the last 23 hours to hold the ceiling. A timetable with more \
than 96 of them in any 24 hours is refused. A longer interval with a larger dose in a longer window delivers the \
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
"The device has room for 12 stretches of closed dates. Stretches that follow on each \
other can be joined, and those that are over can be left out.",
wrong "",
right "
[[closed]]
first = 2026-12-24
last = 2027-01-03
";
}
