//! Codes of what a timetable is accepted with, and what is worth knowing.

super::codes! { WARNINGS, Acceptance:

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
A slip in the year of a date is the usual reason. Weekly entries do not run either while the clock is \
unset.",
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

CUT_AT_CHANGE = "W015", "the ceiling cuts a dose when the clock has changed",
"The daily ceiling is kept in any 23 hours, an hour less than a day. Where the clocks of a zone change by \
more than an hour, doses that come a day apart on the clock can be nearer than that, and what is over the \
ceiling is not delivered.",
wrong r#"
[clock]
start = 2026-03-27T12:00:00
zone = "<+00>0<+02>-2,M3.5.0/1,M10.5.0/3"
run_for = "4 d"

[[entry]]
name = "first"
weekly = { nights = ["fri", "sat"], at = "04:00" }
volume = "60 ml"
window = "20 min"

[[entry]]
name = "second"
weekly = { nights = ["fri", "sat"], at = "05:00" }
volume = "60 ml"
window = "30 min"
"#,
right r#"
[clock]
start = 2026-03-27T12:00:00
zone = "<+00>0<+02>-2,M3.5.0/1,M10.5.0/3"
run_for = "4 d"

[limits]
daily_ceiling = "240 ml"

[[entry]]
name = "first"
weekly = { nights = ["fri", "sat"], at = "04:00" }
volume = "60 ml"
window = "20 min"

[[entry]]
name = "second"
weekly = { nights = ["fri", "sat"], at = "05:00" }
volume = "60 ml"
window = "30 min"
"#;

OUT_OF_DATE = "W017", "the product is out of date at the first dose",
"A product loses what is active in it, and its label says until when it may be used. The device does not \
know of that date: it doses as ever, and what it doses does not do what it is dosed for.",
wrong r#"
[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "3 days"

[product]
density = "1.02 kg/l"
use_by = 2026-10-01

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#,
right r#"
[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "3 days"

[product]
density = "1.02 kg/l"
use_by = 2027-10-01

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

HIGH_LIFT = "W018", "a head may not bring the product up this suction line",
"The rollers of a head draw by the tube's own spring. From about 2 m of lift and friction on heads lose \
flow or prime badly (common practice, no source), more so with a tube that has worn. The device senses no \
flow: it tells such doses as dosed.",
wrong r#"
[tube]
bore = "4.8 mm"
suction = "3 m"
lift = "2.5 m"
"#,
right r#"
[tube]
bore = "4.8 mm"
suction = "3 m"
lift = "1.5 m"
"#;

OVERFLOWS = "W019", "a calibration run gives more than its vessel holds",
"Who says how long a calibration run lasts has to give it a vessel that holds what comes out. Where more \
comes the vessel overflows: nothing is read off it, and the flow stays as it was. A run whose length is left \
to the device goes into the vessel.",
wrong r#"
[[operator]]
at = "+1 d"
calibrate = { vessel = "100 ml", run = "5 min", as_delivered = true }
"#,
right r#"
[[operator]]
at = "+1 d"
calibrate = { vessel = "100 ml", as_delivered = true }
"#;

OTHER_CELLS = "W020", "cells of another type are put in",
"The device reckons what is left in its pack by the charge, and judges it by the voltages, of the pack that it \
was set up for. Whoever puts in cells of another type and does not set it up anew gets the alarm *battery low* \
too late or too early.",
wrong r#"
[supply]
battery = { type = "LR20" }

[[operator]]
at = "+1 d"
change_pack = { type = "LR6" }
"#,
right r#"
[supply]
battery = { type = "LR20" }

[[operator]]
at = "+1 d"
change_pack = { type = "LR20" }
"#;

OVER_PACK = "W021", "a dose is too large for this pack",
"A dose is begun only where the pack can finish it. What it reads under the motor's load has to lie so far \
above the least voltage of the device that the dose, and a quarter more, is in it (an estimate of the \
remaining battery is held to 25 %: PCA R7.3.0(3)). Doses of entries that may have to wait for one another \
count together. Where not even a fresh pack reads that much, every dose is *skipped, battery*. Cold takes \
much of a pack; where no temperature is given it is reckoned at 20 C and in a cellar at 0 C.",
wrong r#"
[supply]
battery = { type = "LR6" }

[head]
flow = "10 ml/min"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "1500 ml"
window = "4 h"
"#,
right r#"
[supply]
battery = { type = "LR20" }

[head]
flow = "10 ml/min"

[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "1500 ml"
window = "4 h"
"#;

NOT_DUE = "W022", "an entry never comes due",
"Other entries are dosed, and this one is not: no dose of it comes due in a year, or in the run where that \
is longer, or each falls on closed dates, and no operator changes that. A slip in the year of a date is the \
usual reason. An entry that is not to run is disabled, and not warned of.",
wrong r#"
[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "summer"
weekly = { nights = ["tue"], at = "00:45" }
volume = "60 ml"
window = "45 min"
first = 2072-02-01
"#,
right r#"
[[entry]]
name = "night"
weekly = { nights = ["mon"], at = "00:45" }
volume = "120 ml"
window = "45 min"

[[entry]]
name = "summer"
weekly = { nights = ["tue"], at = "00:45" }
volume = "60 ml"
window = "45 min"
first = 2027-02-01
"#;

LEAD_FOR_NOTHING = "W023", "a lead without a drive",
"`lead` makes each pulse longer by what a start of the head loses. The pump of a run loses something at a \
start only where `drive` says what turns its rotor; without one it has the mean flow from the first \
millisecond on, and every pulse delivers too much. The device tells the doses as set, and the container is \
empty before its time.",
wrong r#"
[head]
flow = "26.5 ml/min"
lead = "250 ms"
"#,
right r#"
[head]
flow = "26.5 ml/min"
lead = "250 ms"
drive = { on_off = {} }
spin_up = "500 ms"
"#;
}
