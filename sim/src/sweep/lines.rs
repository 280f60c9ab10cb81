//! The fault that a sweep puts at a moment, kind by kind.

use dosewright_core::ledger::SLOT;

use super::Moment;

/// Its line in the scenario.
pub(super) fn fault(kind: &str, moment: &Moment) -> String {
    match kind {
        "supply_loss" | "clock_lost" | "remote_stop" | "leak" | "motor_stall" | "over_current"
        | "container_low" => format!("{kind} = {{ lasts = \"10 min\" }}"),
        "memory_tear" if moment.erases => {
            "memory_tear = { during = \"erase\", after = 3, lasts = \"10 min\" }".to_owned()
        }
        "memory_tear" => "memory_tear = { after = 20, lasts = \"10 min\" }".to_owned(),
        // in the record that was written last
        "bit_flip" => format!("bit_flip = {{ address = {}, bit = 3 }}", moment.slot + 20),
        "page_worn" => {
            format!(
                "page_worn = {{ sector = {} }}",
                moment.slot / moment.sector_bytes.max(SLOT as u32)
            )
        }
        "late_wake" => "late_wake = { by = \"5 min\" }".to_owned(),
        "spurious_wake" => "spurious_wake = { times = 20, over = \"1 min\" }".to_owned(),
        "level_bounce" => "level_bounce = { times = 20, over = \"1 min\" }".to_owned(),
        "squeeze_lost" | "foot_valve_leak" => {
            format!("{kind} = {{ flow = \"1 ml/min\", lasts = \"10 min\" }}")
        }
        "queue_flood" => "queue_flood = { events = 100 }".to_owned(),
        _ => format!("{kind} = {{}}"),
    }
}
