//! The device's front panel, and the hand on it.

use std::fmt::Write as _;

use dosewright_core::controller::Controller;
use dosewright_core::event::Event;
use dosewright_core::panel::{self, Desk, Input, Panel, Preferences, Recent, Screen, View};
use dosewright_core::record::Alarm;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;

use super::{ACCOUNT, Power, Stage};
use crate::observe::{DeviceAct, LINES};
use crate::operate::{Bench, Condition, Hand, Sight};
use crate::scenario::{Scenario, Tube};

/// Panel and hand.
pub(super) struct Front<'a> {
    /// `None` while it acts.
    hand: Option<&'a mut dyn Hand>,
    panel: Panel,
    recent: Recent,
    /// Why the request that is being made is not taken; and whether one is.
    refusal: Option<Refusal>,
    asks: bool,
}

impl Front<'_> {
    pub(super) fn is_done(&self) -> bool {
        self.hand.as_ref().is_some_and(|hand| hand.is_done())
    }

    /// Takes in a refusal of what the panel asks for; whether it was that.
    pub(super) const fn refused(&mut self, refusal: Refusal) -> bool {
        if self.asks {
            self.refusal = Some(refusal);
        }
        self.asks
    }

    /// The device starts again: what somebody likes is kept, the rest is forgotten.
    pub(super) const fn restart(&mut self) {
        self.panel = Panel::new(self.panel.preferences());
    }
}

impl<'a, const W: usize> Stage<'a, W> {
    /// With a hand on its panel.
    pub(in crate::world) fn under(mut self, hand: &'a mut dyn Hand, condition: Condition) -> Self {
        self.is_bare = condition == Condition::Factory;
        let tube = self.scenario.tube.as_ref().filter(|_| !self.is_bare);
        let likes = tube.map_or(Preferences::NEW, told_of);
        let unit = self.scenario.units.at_panel();
        self.front = Some(Front {
            hand: Some(hand),
            panel: Panel::new(Preferences { unit, ..likes }),
            recent: Recent::NONE,
            refusal: None,
            asks: false,
        });
        self
    }

    /// When the hand wants to act, where that is before anything else happens.
    pub(super) fn hand_at(&mut self, world: Option<u64>) -> Option<u64> {
        let hand = self.front.as_mut()?.hand.as_mut()?;
        hand.next_at(self.now, world)
    }

    pub(super) fn hand_acts(&mut self) {
        let Some(hand) = self.front.as_mut().and_then(|front| front.hand.take()) else { return };
        let doing = self.doing.take();
        hand.act(self.now, self);
        self.doing = doing;
        if let Some(front) = &mut self.front {
            front.hand = Some(hand);
        }
    }

    fn controller(&self) -> Option<&Controller<LINES, ACCOUNT>> {
        match &self.power {
            Some(Power::On(device)) => Some(device.controller()),
            _ => None,
        }
    }

    /// What the hand says is new is new: it did that before it said so, taken or not. No
    /// container holds more than it can. Place, head and container of a set-up only describe
    /// what stands there; its tube set is a new one.
    fn hand_renews(&mut self, act: &DeviceAct) {
        match act {
            DeviceAct::Refill(level) => {
                if let Some(container) = &self.scenario.container {
                    self.fill((*level).min(container.capacity));
                }
            }
            DeviceAct::PackChanged => {
                if let Some(battery) = &mut self.battery {
                    battery.change(None, self.now);
                }
            }
            DeviceAct::TubeChanged => self.head_cleared(),
            _ => {}
        }
    }

    fn reread(&mut self) {
        if let (Some(Power::On(device)), Some(front)) = (&mut self.power, &mut self.front) {
            front.recent = Recent::read(device.ledger_mut());
        }
    }
}

/// The device's side of its panel.
struct Beside<'s, 'a, const W: usize> {
    stage: &'s mut Stage<'a, W>,
    recent: Recent,
    controller: Controller<LINES, ACCOUNT>,
}

impl<const W: usize> Desk<LINES, ACCOUNT> for Beside<'_, '_, W> {
    fn now(&mut self) -> Instant {
        self.stage.count()
    }

    fn controller(&self) -> &Controller<LINES, ACCOUNT> {
        // the supply can go in the middle of a request: the panel then looks at what
        // there was, and is forgotten with it
        self.stage.controller().unwrap_or(&self.controller)
    }

    fn recent(&self) -> &Recent {
        &self.recent
    }

    fn hand_in(&mut self, event: Event<'_, LINES>) -> Option<Refusal> {
        if self.stage.controller().is_none() {
            return Some(Refusal::Busy);
        }
        let act = act_of(event)?;
        self.stage.hand_renews(&act);
        if let Some(front) = &mut self.stage.front {
            (front.asks, front.refusal) = (true, None);
        }
        self.stage.act(&act);
        let front = self.stage.front.as_mut()?;
        front.asks = false;
        front.refusal
    }
}

/// The act of an operator that an event is.
fn act_of(event: Event<'_, LINES>) -> Option<DeviceAct> {
    Some(match event {
        Event::SetClock(local) => DeviceAct::SetClock(local),
        Event::SetZone(zone) => DeviceAct::SetZone(*zone),
        Event::Timetable(timetable) => DeviceAct::SetTimetable(Box::new(*timetable)),
        Event::SetHead(head) => DeviceAct::SetHead(*head),
        Event::SetFlow(flow) => DeviceAct::SetFlow(flow),
        Event::Container(container, level) => DeviceAct::SetContainer(*container, level),
        Event::Refill(level) => DeviceAct::Refill(level),
        Event::RunAgain(id) => DeviceAct::RunAgain(id),
        Event::StopDose(id) => DeviceAct::StopDose(id),
        Event::Prime(volume) => DeviceAct::Prime(volume),
        Event::Calibrate { run_ms } => DeviceAct::Calibrate(run_ms),
        Event::CalibrateInto(vessel) => DeviceAct::CalibrateInto(*vessel),
        Event::CalibrateTrain(vessel) => DeviceAct::CalibrateTrain(*vessel),
        Event::Measured(measured) => DeviceAct::Measured(*measured),
        Event::TubeChanged => DeviceAct::TubeChanged,
        Event::Release => DeviceAct::Release,
        Event::Unlock(pin) => DeviceAct::Unlock(pin),
        Event::Lock => DeviceAct::Lock,
        Event::SetPin(pin) => DeviceAct::SetPin(pin),
        Event::Acknowledge => DeviceAct::Acknowledge,
        Event::SetPack(pack) => DeviceAct::SetPack(*pack),
        Event::PackChanged => DeviceAct::PackChanged,
        Event::Key { held } => DeviceAct::Key { held },
        Event::Wake
        | Event::Appended
        | Event::AppendFailed
        | Event::Adopted(_)
        | Event::RemoteStop(_)
        | Event::Leak(_)
        | Event::LevelLow(_)
        | Event::MotorFault
        | Event::PackRead { .. } => return None,
    })
}

/// Bores that the panel knows, in micrometres, in its order.
const BORES_UM: [u32; 4] = [1600, 3200, 4800, 6400];

/// What a panel is told of a tube set when it is fitted. One of a bore that it does not know
/// is entered by the next to it, with a length that holds as much.
fn told_of(tube: &Tube) -> Preferences {
    let um = u128::from(tube.suction_um) + u128::from(tube.discharge_um);
    let nearest = BORES_UM.iter().enumerate().min_by_key(|(_, um)| um.abs_diff(tube.bore_um));
    let (bore, &bore_um) = nearest.unwrap_or((0, &BORES_UM[0]));
    let area = |um: u32| u128::from(um).pow(2);
    let dm = (um * area(tube.bore_um)).div_ceil(area(bore_um) * 100_000).min(999);
    Preferences { tube_dm: dm as u16, bore: bore as u8, ..Preferences::NEW }
}

/// What stands on the head and its tubes: what a set-up asks for.
fn label(scenario: &Scenario) -> String {
    let head = &scenario.head.head;
    let tenths = u64::from(head.flow.as_nl_per_min()) / 100_000;
    // a head for a place that uses ounces has them on it
    let flow = scenario.units.ounces_per_min(head.flow);
    let flow = flow.unwrap_or_else(|| format!("{}.{} ml/min", tenths / 10, tenths % 10));
    let mut label = format!("{flow}, {} rollers", head.rollers);
    if let Some(tube) = &scenario.tube {
        let length_dm = (tube.suction_um + tube.discharge_um) / 100_000;
        let bore = tube.bore_um / 100;
        _ = write!(
            label,
            ", tube {}.{} m of {}.{} mm",
            length_dm / 10,
            length_dm % 10,
            bore / 10,
            bore % 10
        );
    }
    label
}

impl<const W: usize> Bench for Stage<'_, W> {
    fn touch(&mut self, input: Input) {
        self.reread();
        let Some(controller) = self.controller().cloned() else { return };
        let Some(front) = &self.front else { return };
        let (mut panel, recent) = (front.panel, front.recent);
        panel::operate(&mut panel, &mut Beside { stage: self, recent, controller }, input);
        let is_on = self.controller().is_some();
        if let Some(front) = &mut self.front {
            front.panel = panel;
            if !is_on {
                front.restart();
            }
        }
    }

    fn screen(&mut self) -> Screen {
        self.reread();
        let now = self.count();
        match (self.controller(), &self.front) {
            (Some(controller), Some(front)) => {
                front.panel.screen(&View { controller, recent: &front.recent, now })
            }
            _ => Screen::BLANK,
        }
    }

    fn sight(&mut self) -> Sight {
        self.plant.advance(self.now);
        let pack_left = self.battery.as_mut().map(|battery| {
            battery.advance(self.now);
            battery.left()
        });
        let book = self.controller().map(Controller::book);
        let on = |alarm: &Alarm| book.is_some_and(|book| book.alarm_is_on(*alarm));
        let next = self.controller().and_then(Controller::next_dose);
        let next_due_ms =
            next.map(|next| self.chip.when(next.due_at.as_ms()).saturating_sub(self.now));
        Sight {
            label: label(self.scenario),
            local: self.frame.local(self.now),
            is_on: book.is_some(),
            pump_is_on: self.one_shot.is_some(),
            delivered_nl: self.plant.delivered_nl(),
            level_nl: self.plant.level_nl(),
            pack_left,
            alarms: Alarm::ALL.into_iter().filter(on).collect(),
            next_due_ms,
        }
    }
}
