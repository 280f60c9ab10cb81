//! The battery pack, by the readings that the device was given (P3): its means, what
//! they say of a dose, and the alarms.
//!
//! The dose that is refused is judged by the same readings, reckoned here a second
//! time. Where there are none the device goes by its account, which is believed.

use dosewright_core::power::Pack as Figures;
use dosewright_core::record::{Alarm, NewPack};

use crate::observe::DeviceAct;

use super::Auditor;
use super::dose::TICK_MS;

/// Readings further apart than this are no longer of one mean, in ms (GIP 5.1.1 to
/// 5.1.6).
const APART_MS: i64 = 180_000;
/// Readings that make a mean (GIP 5.1.1 to 5.1.6).
const READINGS: usize = 10;

/// Readings in a row, at rest or under load.
///
/// Two that come as far apart as may be, on a clock that is known to a tick, are of one
/// mean or not: there may be several rows.
#[derive(Debug, Clone)]
struct Rows {
    /// What the row may be, in mV.
    may: Vec<Vec<u16>>,
    last: i64,
    /// What the last mean that is not in the ledger yet may be; none where there is none.
    means: Vec<Option<u16>>,
}

impl Default for Rows {
    fn default() -> Self {
        Self { may: vec![Vec::new()], last: 0, means: vec![None] }
    }
}

impl Rows {
    fn take(&mut self, at: i64, mv: u16) {
        let apart = at - std::mem::replace(&mut self.last, at);
        let may_go_on = apart <= APART_MS + TICK_MS;
        let may_end = apart >= APART_MS;
        let mut before = if may_go_on { std::mem::take(&mut self.may) } else { Vec::new() };
        if may_end {
            before.push(Vec::new());
        }
        let is_sure = before.len() == 1;
        let mut may: Vec<Vec<u16>> = Vec::with_capacity(before.len());
        for mut row in before {
            row.push(mv);
            if row.len() == READINGS {
                // the lowest and the highest are in no mean
                row.sort_unstable();
                let inner = &row[1..READINGS - 1];
                let sum: u32 = inner.iter().copied().map(u32::from).sum();
                let mean = Some((sum / inner.len() as u32) as u16);
                row.clear();
                if is_sure {
                    self.means.clear();
                }
                if !self.means.contains(&mean) {
                    self.means.push(mean);
                }
            }
            // a row that began at the same reading is the same row
            if !may.contains(&row) {
                may.push(row);
            }
        }
        self.may = may;
    }

    /// The ledger has the last mean.
    fn noted(&mut self) {
        self.means = vec![None];
    }
}

/// The pack as the readings and the ledger have it.
#[derive(Debug, Clone, Default)]
pub(super) struct Pack {
    figures: Option<Figures>,
    rest: Rows,
    load: Rows,
    /// The last means in the ledger.
    rest_mv: u16,
    load_mv: u16,
}

impl Pack {
    pub(super) fn read(&mut self, at: i64, mv: u16, loaded: bool) {
        if self.figures.is_some() {
            if loaded { &mut self.load } else { &mut self.rest }.take(at, mv);
        }
    }

    /// Whether the device has no mean under load to go by, or may have lost it with
    /// what the memory has lost.
    pub(super) fn is_unread(&self, lost: bool) -> bool {
        self.figures.is_some() && (self.load_mv == 0 || lost)
    }

    /// The last mean under load that the ledger has, in mV.
    pub(super) fn load_mv(&self) -> u16 {
        self.load_mv
    }

    fn is_under(&self, threshold_mv: u16, hysteresis_mv: u16, was: bool) -> bool {
        let over = if was { u32::from(hysteresis_mv) } else { 0 };
        self.load_mv != 0 && u32::from(self.load_mv) <= u32::from(threshold_mv) + over
    }

    /// The device started again: what it had read by then is forgotten.
    pub(super) fn forget(&mut self) {
        (self.rest, self.load) = (Rows::default(), Rows::default());
    }
}

impl Auditor {
    /// A pack was set up, put in, or recognised.
    pub(super) fn on_pack(&mut self, at: i64, figures: Figures, how: NewPack) {
        let asked = match self.pending.setting.take() {
            Some(DeviceAct::SetPack(pack)) => Some((NewPack::Set, pack)),
            Some(DeviceAct::PackChanged) => {
                self.pack.figures.map(|figures| (NewPack::Changed, figures))
            }
            other => {
                self.pending.setting = other;
                None
            }
        };
        let right = if how == NewPack::Recognised {
            let rest = self.pack.rest.means.iter().flatten().copied().max().unwrap_or(0);
            self.pack.figures.is_some_and(|pack| {
                let from = u32::from(self.pack.rest_mv) + u32::from(pack.jump_mv);
                pack == figures
                    && pack.jump_mv > 0
                    && self.pack.rest_mv > 0
                    && u32::from(rest) >= from
            })
        } else {
            asked == Some((how, figures))
        };
        if !right && !self.taint.ever {
            let what = match how {
                NewPack::Set => "a pack is set up as nobody did",
                NewPack::Changed => "the ledger says another pack was put in, and nobody did",
                NewPack::Recognised => {
                    "another pack is recognised, and its voltage does not say so"
                }
            };
            self.fail(if how == NewPack::Recognised { "P3" } else { "O6" }, None, what.to_owned());
        }
        let first = self.pack.figures.is_none();
        self.pack.figures = (figures.capacity_mah > 0).then_some(figures);
        if how != NewPack::Set || first {
            (self.pack.rest_mv, self.pack.load_mv) = (0, 0);
        }
        if how != NewPack::Recognised {
            self.pack.forget();
        }
        self.weigh_pack(at);
    }

    /// Means are in the ledger.
    pub(super) fn on_pack_means(&mut self, rest_mv: u16, load_mv: u16) {
        let before = self.pack.rest_mv;
        let rest = &self.pack.rest.means;
        let load = &self.pack.load.means;
        let right = rest.iter().any(|rest| rest.unwrap_or(before) == rest_mv)
            && load.contains(&Some(load_mv));
        if !right && !self.taint.ever {
            let last = |means: &[Option<u16>]| means.last().copied().flatten();
            let (rest, load) = (last(rest).unwrap_or(before), last(load).unwrap_or(0));
            let what = format!(
                "the ledger has {rest_mv} and {load_mv} mV as the pack's means; the last ten \
                 readings make {rest} and {load} mV"
            );
            self.fail("P3", None, what);
        }
        let is_another = self.pack.figures.is_some_and(|pack| {
            let from = u32::from(before) + u32::from(pack.jump_mv);
            pack.jump_mv > 0 && before > 0 && u32::from(rest_mv) >= from
        });
        if is_another && !self.taint.ever {
            let what = format!(
                "a mean at rest of {rest_mv} mV comes after one of {before} mV, and no other pack \
                 is recognised"
            );
            self.fail("P3", None, what);
        }
        self.pack.rest.noted();
        self.pack.load.noted();
        (self.pack.rest_mv, self.pack.load_mv) = (rest_mv, load_mv);
        self.weigh_pack(self.now);
    }

    /// Whether the pack keeps every dose from beginning from now on.
    fn weigh_pack(&mut self, at: i64) {
        let was = self.alarm_is_on(Alarm::PackExhausted);
        self.hinder.pack = !self.taint.ever
            && self
                .pack
                .figures
                .is_some_and(|pack| self.pack.is_under(pack.exhausted_mv, pack.hysteresis_mv, was));
        self.refresh(at);
        self.rearm();
    }

    /// An alarm of the pack comes or goes.
    pub(super) fn on_pack_alarm(&mut self, at: i64, alarm: Alarm, on: bool) {
        if !matches!(alarm, Alarm::PackLow | Alarm::PackExhausted) {
            return;
        }
        let was = self.alarm_is_on(alarm);
        let Some(pack) = self.pack.figures else {
            if on && !self.taint.ever {
                let what = format!("\"{}\" on a device without a pack", alarm.words());
                self.fail("P3", None, what);
            }
            return;
        };
        let threshold = if alarm == Alarm::PackLow { pack.low_mv } else { pack.exhausted_mv };
        let under = self.pack.is_under(threshold, pack.hysteresis_mv, was);
        // the account may say that it is low, and stands in where nothing was read
        let by_account = alarm == Alarm::PackLow || self.pack.load_mv == 0;
        let wrong = if on { !under && !by_account } else { under };
        if (wrong || was == on) && !self.taint.ever {
            let what = format!(
                "\"{}\" {} at {} mV under load",
                alarm.words(),
                if on { "comes" } else { "goes" },
                self.pack.load_mv
            );
            self.fail("P3", None, what);
        }
        self.weigh_pack(at);
    }
}
