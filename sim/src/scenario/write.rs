//! Tables of a site written as a scenario file has them.

use std::fmt::Write as _;

use dosewright_core::config::Head;

use super::keys::{self, Table};
use super::model::{Container, Drive, HeadPlan, Limits, Motor, Product, Supply, Tube};
use super::show;

/// A string in quotes, with what TOML wants escaped.
pub fn text(value: &str) -> String {
    let mut out = String::from("\"");
    for c in value.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => _ = write!(out, "\\u{:04X}", c as u32),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// Writes lines of one table, each value by its key's own unit.
struct Lines {
    table: &'static Table,
    out: String,
}

impl Lines {
    fn new(table: &'static Table) -> Self {
        Self { table, out: format!("{}\n", table.name) }
    }

    fn shown(&self, key: &str, value: i128) -> String {
        debug_assert!(self.table.key(key).is_some(), "{} has no {key}", self.table.name);
        self.table.key(key).map_or_else(String::new, |key| key.kind.show(value))
    }

    fn put(&mut self, key: &str, value: impl Into<i128>) {
        let value = self.shown(key, value.into());
        // counts are bare, quantities are quoted
        let bare = value.bytes().all(|b| b.is_ascii_digit());
        let quote = if bare { "" } else { "\"" };
        _ = writeln!(self.out, "{key} = {quote}{value}{quote}");
    }

    fn maybe(&mut self, key: &str, value: Option<impl Into<i128>>) {
        if let Some(value) = value {
            self.put(key, value);
        }
    }

    fn end(mut self) -> String {
        self.out.push('\n');
        self.out
    }
}

/// `[head]`; what is as it is unless said is left out.
pub fn head(plan: &HeadPlan) -> String {
    let (head, usual) = (&plan.head, Head::with_flow(plan.head.flow));
    let mut t = Lines::new(&keys::HEAD);
    t.put("flow", head.flow.as_nl_per_min());
    t.maybe("true_flow", plan.true_flow.map(dosewright_core::units::Flow::as_nl_per_min));
    t.put("rollers", head.rollers);
    if head.roller_pass != usual.roller_pass {
        t.put("volume_per_roller_pass", head.roller_pass.as_nl());
    }
    for (key, value, usual) in [
        ("shortest_on", head.shortest_on_ms, usual.shortest_on_ms),
        ("shortest_off", head.shortest_off_ms, usual.shortest_off_ms),
        ("longest_run", head.longest_run_ms, usual.longest_run_ms),
        ("least_rest", head.least_rest_ms, usual.least_rest_ms),
        ("starts_per_hour", u32::from(head.starts_per_hour), u32::from(usual.starts_per_hour)),
        ("longest_prime", head.longest_prime_ms, usual.longest_prime_ms),
        ("longest_calibration", head.longest_calibration_ms, usual.longest_calibration_ms),
    ] {
        if value != usual {
            t.put(key, value);
        }
    }
    if head.least_pulse != usual.least_pulse {
        t.put("least_pulse", head.least_pulse.as_nl());
    }
    if head.lead_ms != usual.lead_ms {
        t.put("lead", head.lead_ms);
    }
    if let Some(drive) = plan.motion.drive {
        _ = writeln!(t.out, "drive = {{ {} }}", drive_words(drive));
    }
    t.maybe("spin_up", plan.motion.spin_up_ms);
    t.maybe("coast", plan.motion.coast_ms);
    t.maybe("pulsation", plan.motion.pulsation_ppm);
    t.end()
}

fn drive_words(drive: Drive) -> String {
    match drive {
        Drive::OnOff => "on_off = {}".to_owned(),
        Drive::Duty { speed_ppm } => {
            format!("duty = {{ speed = \"{}\" }}", show::percent(speed_ppm))
        }
        Drive::Stepper { steps_per_turn } => {
            format!("stepper = {{ steps_per_turn = {steps_per_turn} }}")
        }
    }
}

/// `[motor]`.
pub fn motor(motor: &Motor) -> String {
    let mut t = Lines::new(&keys::MOTOR);
    t.put("voltage", motor.voltage_mv);
    t.put("current", motor.current_ua);
    t.put("start_current", motor.start_current_ua);
    t.put("start_for", motor.start_ms);
    t.end()
}

/// `[supply]`.
pub fn supply(supply: &Supply) -> String {
    let Supply::Battery { cells_of, cells, pack, .. } = supply else {
        return "[supply]\nmains = {}\n\n".to_owned();
    };
    let t = Lines::new(&keys::BATTERY);
    let mut parts = vec![format!("type = \"{}\"", cells_of.word())];
    parts.extend(cells.map(|cells| format!("cells = {cells}")));
    for (key, value) in [
        ("sleep", pack.sleep_ua),
        ("display", pack.display_ua),
        ("lit_a_week", pack.lit_a_week_ms),
        ("usable", pack.usable_ppm),
        ("self_discharge", pack.self_discharge_ppm),
    ] {
        parts.extend(value.map(|value| format!("{key} = \"{}\"", t.shown(key, value.into()))));
    }
    for (key, value) in [
        ("temperature", pack.temperature_mc.map(i64::from)),
        ("charge", pack.charge_ppm.map(i64::from)),
    ] {
        parts.extend(value.map(|value| format!("{key} = \"{}\"", t.shown(key, value.into()))));
    }
    parts.extend(pack.warn_days.map(|days| format!("warn_days = {days}")));
    format!("[supply]\nbattery = {{ {} }}\n\n", parts.join(", "))
}

/// `[container]`.
pub fn container(container: &Container) -> String {
    let mut t = Lines::new(&keys::CONTAINER);
    t.put("capacity", container.capacity.as_nl());
    t.put("level", container.level.as_nl());
    t.put("heel", container.heel.as_nl());
    t.maybe("low_contact", container.low_contact.map(dosewright_core::units::Volume::as_nl));
    t.maybe("debounce", container.low_contact.map(|_| container.debounce_ms));
    t.maybe("lead", container.lead.map(dosewright_core::time::Duration::as_ms));
    t.maybe("slack", container.slack.map(dosewright_core::time::Duration::as_ms));
    t.end()
}

/// `[tube]`.
pub fn tube(tube: &Tube) -> String {
    let mut t = Lines::new(&keys::TUBE);
    t.put("bore", tube.bore_um);
    t.put("suction", tube.suction_um);
    t.put("discharge", tube.discharge_um);
    t.put("lift", tube.lift_um);
    t.put("outlet_below", tube.outlet_below_um);
    if let Some(date) = tube.fitted {
        _ = writeln!(t.out, "fitted = {}", show::date(date));
    }
    t.put("pumped", tube.pumped.as_ms());
    t.maybe("life", tube.life.map(dosewright_core::time::Duration::as_ms));
    t.maybe("life_pumping", tube.life_pumping.map(dosewright_core::time::Duration::as_ms));
    t.maybe("life_drift", tube.life_drift_ppm);
    t.maybe("drift_a_year", tube.drift_a_year_ppm);
    t.end()
}

/// `[product]`.
pub fn product(product: &Product) -> String {
    let mut t = Lines::new(&keys::PRODUCT);
    t.put("density", product.density_mg_l);
    t.put("viscosity", product.viscosity_upa_s);
    t.maybe("active", product.active_ppm);
    t.maybe("cod", product.cod_mg_l);
    t.maybe("water_a_day", product.water_a_day.map(dosewright_core::units::Volume::as_nl));
    if let Some(date) = product.use_by {
        _ = writeln!(t.out, "use_by = {}", show::date(date));
    }
    t.end()
}

/// `[limits]`; nothing where none is given.
pub fn limits(limits: &Limits) -> String {
    let Some(ceiling) = limits.daily_ceiling else { return String::new() };
    let mut t = Lines::new(&keys::LIMITS);
    t.put("daily_ceiling", ceiling.as_nl());
    t.end()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::read;

    #[test]
    fn every_drive_is_read_again_as_it_was() {
        for drive in [
            Drive::OnOff,
            Drive::Duty { speed_ppm: 625_000 },
            Drive::Stepper { steps_per_turn: 3200 },
        ] {
            let file = include_str!("everything.toml");
            let mut plan = read("everything.toml", file).unwrap().0.head;
            plan.motion.drive = Some(drive);
            let again = format!("schema = 1\n{}", head(&plan));
            let found = crate::scenario::read_head("again.toml", &again);
            let found = found.unwrap_or_else(|e| panic!("{again}\n{e:?}")).head;
            assert_eq!((found.motion, found.head), (plan.motion, plan.head), "{again}");
        }
    }

    #[test]
    fn what_is_written_is_read_again_as_it_was() {
        let file = include_str!("everything.toml");
        let (scenario, _) = read("everything.toml", file).unwrap();
        let mut again = String::from(
            "schema = 1\n[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\nrun_for = \"1 day\"\n\n",
        );
        again.push_str(&head(&scenario.head));
        again.push_str(&motor(scenario.motor.as_ref().unwrap()));
        again.push_str(&supply(&scenario.supply));
        again.push_str(&container(scenario.container.as_ref().unwrap()));
        again.push_str(&tube(scenario.tube.as_ref().unwrap()));
        again.push_str(&product(scenario.product.as_ref().unwrap()));
        again.push_str(&limits(&scenario.limits));
        let (found, _) = read("again.toml", &again).unwrap_or_else(|e| panic!("{again}\n{e:?}"));
        assert_eq!(found.head, scenario.head, "{again}");
        assert_eq!((found.motor, found.supply), (scenario.motor, scenario.supply));
        assert_eq!((found.container, found.tube), (scenario.container, scenario.tube));
        assert_eq!((found.product, found.limits), (scenario.product, scenario.limits));
        assert_eq!(text("a \"b\" \\ \u{7}"), "\"a \\\"b\\\" \\\\ \\u0007\"");
    }
}
