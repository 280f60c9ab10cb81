//! A device with a panel beside it, and a hand on its knob.

use dosewright_core::book::Book;
use dosewright_core::config::Head;
use dosewright_core::controller::Controller;
use dosewright_core::device::Device;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::panel::{self, Card, Desk, Input, Panel, Preferences, Recent, Screen, View};
use dosewright_core::record::Reset;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::wires::Wires;

use crate::forged;

pub(crate) const N: usize = 4;
pub(crate) const H: usize = 8;
type Pump = Device<NorMock<4, 1024>, N, H>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 16_384, sectors: 2 };

/// The device's side of the panel.
#[derive(Clone)]
pub(crate) struct Side {
    pub(crate) device: Pump,
    pub(crate) wires: Wires,
    pub(crate) now: i64,
    recent: Recent,
    /// Every event that the panel handed in, keys left out.
    pub(crate) asked: u32,
    /// How many of them stop a dose.
    pub(crate) stops: u32,
}

impl Desk<N, H> for Side {
    fn now(&mut self) -> Instant {
        Instant::from_ms(self.now)
    }

    fn controller(&self) -> &Controller<N, H> {
        self.device.controller()
    }

    fn recent(&self) -> &Recent {
        &self.recent
    }

    fn hand_in(&mut self, event: Event<'_, N>) -> Option<Refusal> {
        self.asked += u32::from(!matches!(event, Event::Key { .. } | Event::Wake));
        self.stops += u32::from(matches!(event, Event::StopDose(_)));
        self.wires.refused = None;
        self.device.handle(Instant::from_ms(self.now), event, &mut self.wires);
        self.recent = Recent::read(self.device.ledger_mut());
        self.wires.refused
    }
}

#[derive(Clone)]
pub(crate) struct Rig {
    pub(crate) side: Side,
    pub(crate) panel: Panel,
}

impl Rig {
    /// A device as it comes from the factory.
    pub(crate) fn new() -> Self {
        let zero = Some(Instant::ZERO);
        let Ok(device) = Device::start(NorMock::new(32), GEOMETRY, zero, Reset::PowerOn) else {
            panic!("the ledger does not start")
        };
        let (wires, recent) = (Wires::default(), Recent::NONE);
        let side = Side { device, wires, now: 0, recent, asked: 0, stops: 0 };
        let mut rig = Self { side, panel: Panel::new(Preferences::default()) };
        assert_eq!(rig.act(Event::Wake), None);
        rig
    }

    /// One that is set up with a container and two entries, lit, its keys open.
    pub(crate) fn set_up(preferences: Preferences) -> Self {
        let mut rig = Self::new();
        rig.panel = Panel::new(preferences);
        let book = forged::book();
        let head = Head::with_flow(forged::flow(26_500));
        assert_eq!(rig.act(Event::SetHead(&head)), None);
        assert_eq!(rig.act(Event::SetZone(&book.zone)), None);
        let local = book.clock.unwrap().local(forged::NOW);
        assert_eq!(rig.act(Event::SetClock(local)), None);
        assert_eq!(rig.act(Event::Container(&book.stock.container, book.stock.level)), None);
        assert_eq!(rig.act(Event::SetPack(&book.gauge.pack)), None);
        let mut timetable = Timetable::EMPTY;
        timetable.put(forged::ENTRY).unwrap();
        timetable.put(book.timetable.get(EntryId(2)).unwrap()).unwrap();
        assert_eq!(rig.act(Event::Timetable(&timetable)), None);
        rig.lit()
    }

    pub(crate) fn book(&self) -> &Book<N, H> {
        self.side.device.controller().book()
    }

    /// Home, and from there to a card.
    pub(crate) fn go_to_card(&mut self, card: Card) {
        self.touch(Input::Hold);
        while self.panel.card() != card {
            self.touch(Input::Right);
        }
    }

    pub(crate) fn act(&mut self, event: Event<'_, N>) -> Option<Refusal> {
        self.side.hand_in(event)
    }

    /// A touch, half a second after the one before.
    pub(crate) fn touch(&mut self, input: Input) {
        self.until(self.side.now + 500);
        panel::operate(&mut self.panel, &mut self.side, input);
    }

    pub(crate) fn touches(&mut self, inputs: &[(Input, u32)]) {
        for &(input, times) in inputs {
            for _ in 0..times {
                self.touch(input);
            }
        }
    }

    /// Lets time pass, calling as asked.
    pub(crate) fn until(&mut self, ms: i64) {
        while let Some((at, _)) = self.side.device.next_wake().filter(|(at, _)| at.as_ms() <= ms) {
            self.side.now = self.side.now.max(at.as_ms());
            assert_eq!(self.act(Event::Wake), None);
        }
        self.side.now = ms;
    }

    pub(crate) fn view(&self) -> View<'_, N, H> {
        View {
            controller: self.side.device.controller(),
            recent: &self.side.recent,
            now: Instant::from_ms(self.side.now),
        }
    }

    pub(crate) fn screen(&self) -> Screen {
        self.panel.screen(&self.view())
    }

    /// The lines of the screen, spaces at their ends left out.
    pub(crate) fn lines(&self) -> Vec<String> {
        self.screen().to_string().lines().map(str::to_owned).collect()
    }

    /// Lit, with its keys open.
    pub(crate) fn lit(mut self) -> Self {
        self.touch(Input::Right);
        self.touch(Input::Hold);
        self
    }
}
