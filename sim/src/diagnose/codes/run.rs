//! Codes of what a run shows to be wrong.

super::codes! { RUN, Run:

NOT_AS_EXPECTED = "R001", "an expectation did not hold",
"The run came to something else than the scenario expects. Either the expectation is wrong or the \
device is; the timeline shows what happened, and the line below the message says what was expected \
and what was found. The run can be repeated exactly with the line that `run` prints for it.",
wrong r#"
[[expect]]
outcomes = { entry = "night", dosed = 3 }
"#,
right r#"
[[expect]]
outcomes = { entry = "night", dosed = 2 }
"#;

PROMISE_BROKEN = "R002", "a promise was not kept",
"The auditor, which judges each run from outside, found the device breaking one of its promises: \
that no dose runs twice, that none is over its volume, that each scheduled dose has one outcome, \
and so on. The message names the promise, the moment and the dose. That is a fault of the \
device's logic or of the auditor, not of the scenario.",
wrong "",
right "
# nothing in a scenario mends this
";

NO_EFFECT = "R003", "a fault never took effect",
"The scenario asks for a fault, its moment came or was never reached, and nothing was there to be \
hit: a stall of a motor that was not running, a torn write where nothing was written any more. Such a \
run proves nothing about the fault, so it is invalid. Move the fault to a moment at which it hits \
something, or make the run longer.",
wrong r#"
[[fault]]
at = "dose 3000 pulse 2"
supply_loss = { lasts = "45 min" }
"#,
right r#"
[[fault]]
at = "dose 1 pulse 2"
supply_loss = { lasts = "45 min" }
"#;

NO_SUCH_PART = "R004", "the simulated world has no part for it",
"The scenario asks for something that this version of the simulator cannot do, because the part of \
the world that it needs is not simulated. Rather than pass it over, which would make the run say \
more than it shows, the run counts as invalid.",
wrong "",
right "
# leave the fault or the act out
";
}
