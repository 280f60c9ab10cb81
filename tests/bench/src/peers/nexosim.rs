//! The crate nexosim on one thread: a model that schedules its own next event.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use nexosim::model::{Context, Model, schedulable};
use nexosim::simulation::{Mailbox, SimInit};
use nexosim::time::MonotonicTime;
use serde::{Deserialize, Serialize};

use crate::work::{DAY_S, Tally, Work, weekday};

/// The pump and what drives it. It counts by itself: a second model for the pump
/// would cost a message an edge.
#[derive(Serialize, Deserialize)]
pub struct Pump {
    entries: Vec<(u8, u64)>,
    pulses: u32,
    spacing_s: u64,
    on_s: u64,
    left: u32,
    #[serde(skip)]
    tally: Tally,
    #[serde(skip)]
    told: Arc<Mutex<Tally>>,
}

#[Model]
impl Pump {
    fn due_from(&self, from: u64) -> Option<u64> {
        let next = |&(days, at): &(u8, u64)| {
            let day = from.saturating_sub(at).div_ceil(DAY_S);
            let bits = u16::from(days) << 7 | u16::from(days);
            let ahead = (bits >> weekday(day)).trailing_zeros();
            (ahead < 7).then(|| (day + u64::from(ahead)) * DAY_S + at)
        };
        self.entries.iter().filter_map(next).min()
    }

    #[nexosim(init)]
    async fn init(&mut self, cx: &Context<Self>) {
        self.wait_for_due(0, cx);
    }

    fn now(cx: &Context<Self>) -> u64 {
        // the simulation begins at a second, so that its first event lies ahead
        cx.time().as_secs() as u64 - 1
    }

    fn wait_for_due(&mut self, from: u64, cx: &Context<Self>) {
        if let Some(due) = self.due_from(from) {
            let at = MonotonicTime::new(due as i64 + 1, 0).expect("a time");
            cx.schedule_event(at, schedulable!(Self::begin), ()).expect("it lies ahead");
        }
    }

    #[nexosim(schedulable)]
    fn begin(&mut self, (): (), cx: &Context<Self>) {
        self.left = self.pulses;
        self.on((), cx);
    }

    #[nexosim(schedulable)]
    fn on(&mut self, (): (), cx: &Context<Self>) {
        self.tally.edge(true, Self::now(cx));
        self.left -= 1;
        let length = Duration::from_secs(self.on_s);
        cx.schedule_event(length, schedulable!(Self::off), ()).expect("it lies ahead");
    }

    #[nexosim(schedulable)]
    fn off(&mut self, (): (), cx: &Context<Self>) {
        let now = Self::now(cx);
        self.tally.edge(false, now);
        if self.left > 0 {
            let rest = Duration::from_secs(self.spacing_s - self.on_s);
            cx.schedule_event(rest, schedulable!(Self::on), ()).expect("it lies ahead");
        } else {
            *self.told.lock().expect("one thread") = self.tally;
            self.wait_for_due(now, cx);
        }
    }
}

pub fn run(work: &Work) -> Tally {
    let told = Arc::new(Mutex::new(Tally::default()));
    let pump = Pump {
        entries: work.entries.iter().map(|e| (e.days, u64::from(e.at_min) * 60)).collect(),
        pulses: work.pulses,
        spacing_s: work.spacing_s,
        on_s: work.on_s,
        left: 0,
        tally: Tally::default(),
        told: told.clone(),
    };
    let mut simulation = SimInit::with_num_threads(1)
        .add_model(pump, Mailbox::new(), "pump")
        .init(MonotonicTime::EPOCH)
        .expect("a sound bench");
    let end = MonotonicTime::new(work.end_s() as i64, 0).expect("a time");
    simulation.step_until(end).expect("a sound run");
    *told.lock().expect("one thread")
}
