//! What a draft begins with: what is in force, or the trade's customary figures. What
//! was measured is never filled in beforehand (O2).

use super::{At, Draft, Kind, MOST_STEPS, Step, Values};
use crate::civil::{DAY_MIN, Date};
use crate::entry::{Entry, EntryId, GapRule, Recurrence};
use crate::panel::Panel;
use crate::panel::field::{BLANK, NO_PIN, days_value};
use crate::panel::preferences::Unit;
use crate::panel::show::{MINUTE_MS, Style, minute_of, value_of, volume_of};
use crate::panel::view::View;
use crate::panel::zones;
use crate::spread::Misfit;
use crate::timetable;
use crate::units::{Flow, Volume};

/// The flow of a head until it is told, in nl/min: a parameter (common practice, no
/// source).
const FLOW: Volume = Volume::from_ml(30);
/// A dose for a drain line: a parameter (common practice, no source).
const DOSE: Volume = Volume::from_ml(120);
/// First water in the morning: a parameter.
const FIRST_WATER_MIN: u32 = 390;
/// From the end of a dose to the first water, in minutes: a parameter (common
/// practice, no source).
const CONTACT_MIN: u32 = 300;
/// A window, in minutes: a parameter (common practice, no source).
const WINDOW_MIN: u32 = 45;
/// Windows are proposed in steps of so many minutes.
const WINDOW_STEP_MIN: u32 = 5;
/// The date that a clock is set from on a device that has none.
const FIRST_DATE: i32 = 20_454;
const HOUR_MS: u64 = 3_600_000;
/// What a new container is taken for: ten litres, a parameter.
const CAPACITY: Volume = Volume::from_ml(10_000);
/// Volume of a metre of tube by its bore, in nl: 1.6, 3.2, 4.8 and 6.4 mm (geometry).
const NL_A_METRE: [u64; 4] = [2_010_619, 8_042_477, 18_095_574, 32_169_909];

/// What fills a tube of so many decimetres.
pub(in crate::panel) fn prime_for(decimetres: u32, bore: u32) -> Volume {
    let a_metre = NL_A_METRE.get(bore as usize).copied().unwrap_or(0);
    Volume::from_nl(a_metre.saturating_mul(u64::from(decimetres)) / 10)
}

impl Draft {
    pub(in crate::panel) fn open<const N: usize, const H: usize>(
        kind: Kind,
        panel: &Panel,
        view: &View<'_, N, H>,
    ) -> Self {
        let at = At::Wheel { step: 0, wheel: 0, again: false };
        let mut draft = Self { kind, at, values: Values([0; MOST_STEPS]), choices: 0 };
        let book = view.controller.book();
        let unit = panel.preferences.unit;
        match kind {
            Kind::Place => {
                let place = zones::index_of(&book.zone);
                draft.choices = u8::from(place.is_none());
                draft.set(Step::Language, panel.preferences.language.index());
                draft.set(Step::Zone, place.unwrap_or(zones::PLACES.len() as u32));
                draft.set(Step::Unit, unit as u32);
                draft.set(Step::ClockForm, u32::from(panel.preferences.twelve_hours));
            }
            Kind::Clock => {
                let local = view.local();
                let date = local.map_or(Date::from_days(FIRST_DATE), crate::civil::Local::date);
                let date = date.max(Date::MIN).min(Date::MAX);
                draft.set(Step::Date, date.days().unsigned_abs());
                draft.set(Step::Time, local.map_or(0, minute_of));
            }
            Kind::Head => {
                let head = book.head;
                let flow =
                    head.map_or(FLOW, |head| of_flow(book.tube.nominal.unwrap_or(head.flow)));
                draft.set(Step::Flow, value_of(flow, flow_decimals(unit), unit, false).min(9999));
                draft.set(Step::Rollers, head.map_or(3, |head| u32::from(head.rollers)));
                let pass = head.map_or(Volume::ZERO, |head| head.roller_pass);
                draft.set(Step::Pass, value_of(pass, 2, Unit::Metric, false).min(9999));
            }
            Kind::Tube => {
                draft.set(Step::Length, 50);
                draft.set(Step::Bore, 2);
            }
            Kind::Product => {
                let container = book.stock.container().copied();
                let capacity = container.map_or(CAPACITY, |container| container.capacity);
                let level = if container.is_some() { book.account() } else { capacity };
                let low = container.map_or(Volume::ZERO, |container| container.low);
                draft.set(Step::Capacity, of_much(capacity, unit));
                draft.set(Step::Level, of_much(level, unit));
                draft.set(Step::Contact, of_much(low, unit));
            }
            Kind::Refill => {
                draft.set(Step::Level, of_much(book.stock.container.capacity, unit));
                draft.at = At::Put;
            }
            Kind::Prime => {
                let decimals = u32::from(!matches!(unit, Unit::Metric));
                draft.set(Step::MostPrime, value_of(panel.prime, decimals, unit, false).min(999));
                draft.at = At::Put;
            }
            Kind::Calibrate => draft.set(Step::Vessel, u32::from(panel.vessel)),
            Kind::Reading => {
                draft.set(Step::Amount, BLANK);
                draft.set(Step::Mass, BLANK);
                draft.set(Step::Temperature, 200);
            }
            Kind::NewEntry => {
                let decimals = u32::from(!matches!(unit, Unit::Metric));
                draft.set(Step::Dose, value_of(DOSE, decimals, unit, false));
                draft.set(Step::FirstWater, FIRST_WATER_MIN);
                draft.set(Step::Days, 0x7f);
                draft.set(Step::Window, WINDOW_MIN);
                draft.set(Step::Every, 24);
                draft.propose_start();
            }
            Kind::Entry(id) => {
                draft.at = At::Put;
                if let Some(entry) = book.timetable.get(id) {
                    draft.fill(&entry, unit);
                }
            }
            Kind::WhichEntry => {
                let count = book.timetable.ids().count().saturating_add(1);
                draft.choices = count.min(255) as u8;
            }
            Kind::NewPin => {
                draft.set(Step::Pin, NO_PIN);
                draft.set(Step::PinAgain, NO_PIN);
            }
            Kind::Fresh | Kind::SetUp => {}
            Kind::NewPack | Kind::Lock | Kind::RunAgain(_) | Kind::Acknowledge => {
                draft.at = At::Put;
            }
        }
        draft
    }

    pub(super) fn fill(&mut self, entry: &Entry, unit: Unit) {
        self.set(Step::Dose, dose_value(entry, unit));
        self.set(Step::Window, window_value(entry));
        self.set(Step::State, u32::from(!entry.enabled));
        match entry.recurrence {
            Recurrence::Weekly { days, at_min, by_night } => {
                self.set(Step::Repeat, u32::from(!by_night));
                self.set(Step::Days, days_value(days));
                self.set(Step::Start, u32::from(at_min));
            }
            Recurrence::Interval { .. } => {
                self.set(Step::Repeat, 2);
                self.set(Step::Every, every_value(entry));
            }
        }
    }

    /// What follows from an answer: a window that the dose fits, and a start that
    /// leaves it to work until the first water.
    pub(in crate::panel) fn propose<const N: usize, const H: usize>(
        &mut self,
        step: Step,
        panel: &Panel,
        view: &View<'_, N, H>,
    ) {
        let book = view.controller.book();
        match step {
            // a new container comes full
            Step::Capacity if book.stock.container().is_none() => {
                self.set(Step::Level, self.get(Step::Capacity));
            }
            Step::Dose if matches!(self.kind, Kind::NewEntry) => {
                let style = Style::of(panel.preferences);
                self.set(Step::Window, WINDOW_MIN);
                let Some(head) = &book.head else { return };
                let entry = self.entry(EntryId(0), None, style.unit, view.now);
                if let Err(Misfit::Window { least_ms, .. }) = timetable::fit(&entry, head) {
                    self.set(Step::Window, window_from(least_ms));
                }
            }
            Step::FirstWater => self.propose_start(),
            _ => {}
        }
    }

    fn propose_start(&mut self) {
        let before = CONTACT_MIN.saturating_add(self.get(Step::Window)) % DAY_MIN;
        let start = self.get(Step::FirstWater).saturating_add(DAY_MIN).saturating_sub(before);
        self.set(Step::Start, start % DAY_MIN);
    }

    /// The entry that the draft stands for. What is not asked, and what was left as it
    /// is shown, stays as it was to the last digit.
    pub(super) fn entry(
        &self,
        id: EntryId,
        before: Option<Entry>,
        unit: Unit,
        now: crate::time::Instant,
    ) -> Entry {
        let decimals = u32::from(!matches!(unit, Unit::Metric));
        let (days, at_min) = (self.get(Step::Days) & 0x7f, self.get(Step::Start) % DAY_MIN);
        let recurrence = match before.map(|entry| entry.recurrence) {
            Some(Recurrence::Interval { every_ms, from }) => {
                let same = before.is_some_and(|entry| every_value(&entry) == self.get(Step::Every));
                let every_ms = if same { every_ms } else { self.every_ms() };
                Recurrence::Interval { every_ms, from }
            }
            None if self.get(Step::Repeat) >= 2 => {
                Recurrence::Interval { every_ms: self.every_ms(), from: now }
            }
            _ => Recurrence::Weekly {
                days: crate::civil::Days::from_bits(days as u8),
                at_min: at_min as u16,
                by_night: self.by_night(),
            },
        };
        let volume = volume_of(self.get(Step::Dose), decimals, unit, false);
        let window_ms = self.get(Step::Window).saturating_mul(MINUTE_MS as u32);
        match before {
            Some(entry) => {
                let same_volume = dose_value(&entry, unit) == self.get(Step::Dose);
                let same_window = window_value(&entry) == self.get(Step::Window);
                Entry {
                    enabled: self.get(Step::State) == 0,
                    recurrence,
                    volume: if same_volume { entry.volume } else { volume },
                    window_ms: if same_window { entry.window_ms } else { window_ms },
                    ..entry
                }
            }
            None => Entry {
                id,
                enabled: true,
                recurrence,
                volume,
                window_ms,
                grace_ms: 0,
                first: None,
                last: None,
                observes_closed: true,
                gap_rule: GapRule::Shift,
                pulses: None,
            },
        }
    }

    fn every_ms(&self) -> u64 {
        u64::from(self.get(Step::Every)).saturating_mul(HOUR_MS)
    }
}

/// What a container holds, as it is entered.
pub(super) fn of_much(volume: Volume, unit: Unit) -> u32 {
    let (decimals, most) = much_digits(unit);
    value_of(volume, decimals, unit, true).min(most)
}

/// Decimals and the largest number of what a container holds.
pub(super) const fn much_digits(unit: Unit) -> (u32, u32) {
    match unit {
        Unit::Metric => (1, 9_999),
        _ => (0, 99_999),
    }
}

pub(super) const fn flow_decimals(unit: Unit) -> u32 {
    match unit {
        Unit::Metric => 1,
        _ => 2,
    }
}

/// What a flow delivers in a minute.
pub(super) const fn of_flow(flow: Flow) -> Volume {
    Volume::from_nl(flow.as_nl_per_min() as u64)
}

fn dose_value(entry: &Entry, unit: Unit) -> u32 {
    value_of(entry.volume, u32::from(!matches!(unit, Unit::Metric)), unit, false).min(9999)
}

fn window_value(entry: &Entry) -> u32 {
    (u64::from(entry.window_ms).div_ceil(MINUTE_MS) as u32).min(999)
}

fn every_value(entry: &Entry) -> u32 {
    match entry.recurrence {
        Recurrence::Interval { every_ms, .. } => every_ms.div_ceil(HOUR_MS).min(999) as u32,
        Recurrence::Weekly { .. } => 24,
    }
}

/// The least window in minutes, rounded up to a step.
pub(in crate::panel) const fn window_from(least_ms: u64) -> u32 {
    let steps = least_ms.div_ceil(MINUTE_MS * WINDOW_STEP_MIN as u64);
    let min = steps.saturating_mul(WINDOW_STEP_MIN as u64);
    if min > 999 { 999 } else { min as u32 }
}
