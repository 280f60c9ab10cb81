//! Alarms, and the records of those whose state has changed.

use super::Controller;
use crate::record::{Alarm, Record};

impl<const N: usize, const H: usize> Controller<N, H> {
    /// An alarm whose state the ledger does not have yet.
    pub(super) fn alarm_record(&mut self) -> bool {
        for &alarm in &Alarm::ALL {
            let on = self.is_wanted(alarm);
            if self.book.alarm_is_on(alarm) != on {
                let detail = match alarm {
                    Alarm::EntryDamaged => self.book.damaged,
                    Alarm::DoesNotFit => self.misfits,
                    Alarm::LowLevel | Alarm::LevelDisagrees | Alarm::ContainerEmpty => {
                        self.book.account().as_nl()
                    }
                    Alarm::PackLow => self.book.gauge.left_uc(self.now),
                    Alarm::PackExhausted => u64::from(self.book.gauge.load_mv),
                    _ => 0,
                };
                return self.want(&Record::Alarm { at: self.now, alarm, on, detail });
            }
        }
        let alarm = Alarm::MemoryDamaged;
        let on = self.unreadable > 0;
        let off = self.acknowledged && self.book.alarm_is_on(alarm);
        let detail = u64::from(self.unreadable);
        (on || off) && self.want(&Record::Alarm { at: self.now, alarm, on, detail })
    }

    /// Whether an alarm is to be on.
    fn is_wanted(&mut self, alarm: Alarm) -> bool {
        match alarm {
            Alarm::ClockUnset => self.book.clock.is_none(),
            Alarm::EntryDamaged => self.book.damaged != 0 || self.book.closed_damaged,
            Alarm::DoesNotFit => self.misfits != 0,
            Alarm::MotorFault => self.book.motor.is_latched(),
            Alarm::Leak => self.leak,
            Alarm::LowLevel => self.is_low(),
            Alarm::LevelDisagrees => self.disagrees(),
            Alarm::ContainerEmpty => self.is_empty(),
            Alarm::PackLow => self.pack_is_low(),
            Alarm::PackExhausted => self.pack_is_exhausted(),
            // these two are told of where they are found
            Alarm::LedgerFault | Alarm::MemoryDamaged => self.book.alarm_is_on(alarm),
        }
    }
}
