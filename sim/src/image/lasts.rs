//! Until when container, pack and tube set last, by what the memory tells of them.

use dosewright_core::time::{Duration, Instant};

use super::Started;
use super::dues::Dues;
use crate::scenario::show;

/// Microcoulombs, which are mA times ms, in a mAh.
const UC_A_MAH: u64 = 3_600_000;

/// What is left, as the device reckons it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lasts {
    /// When the container is at its heel by account, at what the timetable asks for; `None`
    /// without a container, and where that is a hundred years ahead.
    pub product_until: Option<Instant>,
    /// When the pack is down to what is not counted on, likewise.
    pub pack_until: Option<Instant>,
    /// What was drawn from the pack by account, in mAh.
    pub pack_drawn_mah: u64,
    /// When the tube set's flow is a tenth down by the line of its calibrations.
    pub tube_due: Option<Instant>,
}

/// So many seconds on.
pub(super) fn after(at: Instant, seconds: u32) -> Instant {
    at.plus(Duration::from_s(u64::from(seconds)))
}

/// In whole mAh, rounded to the nearest.
pub(super) const fn mah(uc: u64) -> u64 {
    uc.saturating_add(UC_A_MAH / 2) / UC_A_MAH
}

impl Lasts {
    fn on(started: &Started, at: Instant) -> String {
        match &started.state.clock {
            Some(clock) => show::date(clock.local(at).date()),
            None => super::words::elapsed(at.as_ms()),
        }
    }

    fn until(started: &Started, until: Option<Instant>) -> String {
        match until {
            Some(at) if at <= started.at => "is at its end".to_owned(),
            Some(at) => format!("lasts until {}", Self::on(started, at)),
            None => "lasts: nothing that is in force draws on it".to_owned(),
        }
    }

    /// Of the container; `None` where there is none.
    pub(super) fn product_words(&self, started: &Started) -> Option<String> {
        started.state.stock.container()?;
        let until = Self::until(started, self.product_until);
        Some(format!("{until}, by account and timetable, down to the heel"))
    }

    /// Of the pack; `None` on mains.
    pub(super) fn pack_words(&self, started: &Started, dues: &Dues) -> Option<String> {
        let gauge = &started.state.gauge;
        let pack = gauge.pack()?;
        let percent = (self.pack_drawn_mah * 200 + u64::from(pack.capacity_mah))
            / (u64::from(pack.capacity_mah).max(1) * 2);
        let read = match (gauge.rest_mv, gauge.load_mv) {
            (0, 0) => String::new(),
            (rest, load) => format!("; {}", super::words::volts(rest, load)),
        };
        Some(format!(
            "put in {}, {:.2} Ah ({percent} %) drawn by account{read}; {}, three quarters of it \
             counted on",
            dues.moment(gauge.since),
            self.pack_drawn_mah as f64 / 1e3,
            Self::until(started, self.pack_until)
        ))
    }

    /// Of the tube set; `None` where its calibrations tell nothing.
    pub(super) fn tube_words(&self, started: &Started) -> Option<String> {
        let due = self.tube_due?;
        Some(format!(
            "a tenth of its flow is gone on {}, by its calibrations",
            Self::on(started, due)
        ))
    }
}
