//! `[[fault]]`.

use dosewright_core::time::Duration;

use super::super::doc::Node;
use super::super::keys;
use super::super::model::{Calls, Done, Fault, FaultKind, MemoryWork, Misread};
use super::super::reader::{Context, TableReader};
use crate::diagnose::{Diagnostic, codes};

pub(super) fn fault(cx: &mut Context, node: &Node) -> Option<Fault> {
    let mut t = cx.open(&keys::FAULT, node)?;
    let at = t.moment("at");
    // Every kind is read, so that a second one is checked as well.
    let kinds = [
        t.inner("supply_loss").and_then(|t| lasting(t, |lasts| FaultKind::SupplyLoss { lasts })),
        t.inner("memory_tear").and_then(memory_tear),
        t.inner("bit_flip").and_then(bit_flip),
        t.inner("page_worn").and_then(page_worn),
        t.inner("clock_lost").and_then(|t| lasting(t, |lasts| FaultKind::ClockLost { lasts })),
        t.inner("late_wake").and_then(late_wake),
        t.inner("spurious_wake").map(spurious_wake),
        t.inner("watchdog_reset").map(|t| {
            t.finish();
            FaultKind::WatchdogReset
        }),
        t.inner("container_low")
            .and_then(|t| open_ended(t, |lasts| FaultKind::ContainerLow { lasts })),
        t.inner("level_bounce").and_then(level_bounce),
        t.inner("motor_stall").and_then(|t| open_ended(t, |lasts| FaultKind::MotorStall { lasts })),
        t.inner("over_current")
            .and_then(|t| open_ended(t, |lasts| FaultKind::OverCurrent { lasts })),
        t.inner("remote_stop").and_then(|t| open_ended(t, |lasts| FaultKind::RemoteStop { lasts })),
        t.inner("leak").and_then(|t| open_ended(t, |lasts| FaultKind::Leak { lasts })),
        t.inner("squeeze_lost").and_then(squeeze_lost),
        t.inner("foot_valve_leak").and_then(foot_valve_leak),
        t.inner("queue_flood").and_then(queue_flood),
        t.inner("misread").map(misread),
        t.inner("write_failure")
            .map(failure)
            .map(|(calls, done, reported)| FaultKind::WriteFailure { calls, done, reported }),
        t.inner("erase_failure")
            .map(failure)
            .map(|(calls, done, reported)| FaultKind::EraseFailure { calls, done, reported }),
    ];
    let spans = t.finish();
    let kind = kinds.into_iter().flatten().next()?;
    Some(Fault { at: at?, kind, spans })
}

fn lasting(mut t: TableReader, kind: fn(Duration) -> FaultKind) -> Option<FaultKind> {
    let lasts = t.length("lasts");
    t.finish();
    lasts.map(kind)
}

fn open_ended(mut t: TableReader, kind: fn(Option<Duration>) -> FaultKind) -> Option<FaultKind> {
    let given = t.has("lasts");
    let lasts = t.length("lasts");
    t.finish();
    (lasts.is_some() || !given).then(|| kind(lasts))
}

fn memory_tear(mut t: TableReader) -> Option<FaultKind> {
    let during = t.word("during", &MemoryWork::ALL);
    let after = t.count("after");
    let lasts = t.length("lasts");
    let within = t.length("within");
    t.finish();
    Some(FaultKind::MemoryTear {
        during: during.unwrap_or(MemoryWork::Write),
        after_bytes: after?,
        lasts: lasts.unwrap_or(Duration::from_s(1)),
        within,
    })
}

fn bit_flip(mut t: TableReader) -> Option<FaultKind> {
    let address = t.count("address");
    let bit = t.count("bit");
    t.finish();
    Some(FaultKind::BitFlip { address: address?, bit: bit? as u8 })
}

fn page_worn(mut t: TableReader) -> Option<FaultKind> {
    let sector = t.count("sector");
    t.finish();
    sector.map(|sector| FaultKind::PageWorn { sector })
}

fn late_wake(mut t: TableReader) -> Option<FaultKind> {
    let by = t.length("by");
    let times = t.count("times");
    t.finish();
    Some(FaultKind::LateWake { by: by?, times: times.unwrap_or(1) })
}

fn spurious_wake(mut t: TableReader) -> FaultKind {
    let times = t.count("times");
    let over = t.length("over");
    t.finish();
    FaultKind::SpuriousWake { times: times.unwrap_or(1), over: over.unwrap_or(Duration::from_s(1)) }
}

fn level_bounce(mut t: TableReader) -> Option<FaultKind> {
    let times = t.count("times");
    let over = t.length("over");
    t.finish();
    Some(FaultKind::LevelBounce { times: times?, over: over? })
}

fn squeeze_lost(mut t: TableReader) -> Option<FaultKind> {
    let given = t.has("flow");
    let flow = t.flow("flow");
    let lasts = t.length("lasts");
    t.finish();
    (flow.is_some() || !given).then_some(FaultKind::SqueezeLost { flow, lasts })
}

fn foot_valve_leak(mut t: TableReader) -> Option<FaultKind> {
    let flow = t.flow("flow");
    let lasts = t.length("lasts");
    t.finish();
    Some(FaultKind::FootValveLeak { flow: flow?, lasts })
}

fn queue_flood(mut t: TableReader) -> Option<FaultKind> {
    let events = t.count("events");
    t.finish();
    events.map(|events| FaultKind::QueueFlood { events })
}

fn calls(t: &mut TableReader) -> Calls {
    let (times, after, within) = (t.count("times"), t.count("after"), t.length("within"));
    Calls { after: after.unwrap_or(0), times: times.unwrap_or(1), within }
}

fn misread(mut t: TableReader) -> FaultKind {
    let calls = calls(&mut t);
    let how = t.word("how", &Misread::ALL);
    t.finish();
    FaultKind::Misread { calls, how: how.unwrap_or(Misread::Bit) }
}

/// Which calls fail, what they have done, and whether their driver says so.
fn failure(mut t: TableReader) -> (Calls, Done, bool) {
    let calls = calls(&mut t);
    let done = t.word("done", &Done::ALL).unwrap_or(Done::Nothing);
    let reported = t.switch("reported").unwrap_or(true);
    if done == Done::All && !reported {
        let message = "`reported = false` leaves nothing that fails";
        let found = Diagnostic::new(codes::CONTRADICTION, t.key_place("reported"), message)
            .label("all is done, and no error says otherwise")
            .help("leave `reported` out, or say done = \"nothing\" or \"half\"");
        t.cx.report(found);
    }
    t.finish();
    (calls, done, reported)
}
