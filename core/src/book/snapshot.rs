//! The whole state as records: what a new sector of the ledger begins with.

use super::Book;
use crate::config::Head;
use crate::entry::EntryId;
use crate::lock::Lock;
use crate::record::{DELIVERIES_A_RECORD, Record, STARTS_A_RECORD, Staged};
use crate::time::Duration;
use crate::tube::Tube;

/// Records before those of the lines: clock, globals, head, closed dates.
const BEFORE_LINES: usize = 4;

impl<const N: usize, const H: usize> Book<N, H> {
    const DELIVERIES: usize = H.div_ceil(DELIVERIES_A_RECORD);
    const STARTS: usize = (Head::MOST_STARTS as usize).div_ceil(STARTS_A_RECORD);
    /// The most records a snapshot can have.
    pub const SNAPSHOT_MOST: usize = BEFORE_LINES + 2 * N + Self::DELIVERIES + Self::STARTS + 5;

    /// The records of a snapshot, from which [`Self::apply`] makes the same state
    /// again. What no rule can ask for any more is left out.
    ///
    /// It is counted through place by place: a snapshot is gone through more than
    /// once, and a place is all that there is to keep of it.
    pub fn snapshot(&self) -> impl Iterator<Item = Record> + Clone + '_ {
        (0..Self::SNAPSHOT_MOST).filter_map(|place| self.snapshot_record(place))
    }

    #[inline(never)]
    fn snapshot_record(&self, place: usize) -> Option<Record> {
        match place {
            0 => return Some(self.snapshot_clock()),
            1 => return Some(self.snapshot_globals()),
            2 => return self.head.map(Record::SnapHead),
            3 => return Some(Record::SnapClosed(self.timetable.closed)),
            _ => {}
        }
        let place = place.saturating_sub(BEFORE_LINES);
        if place < 2 * N {
            return self.snapshot_line(place / 2, place.is_multiple_of(2));
        }
        let place = place.saturating_sub(2 * N);
        if place < Self::DELIVERIES {
            return self.snapshot_deliveries(place);
        }
        let place = place.saturating_sub(Self::DELIVERIES);
        if place < Self::STARTS {
            return self.snapshot_starts(place);
        }
        match place.saturating_sub(Self::STARTS) {
            1 => return self.stock.container().map(|_| Record::SnapStock(self.stock)),
            2 => return (self.tube != Tube::UNKNOWN).then_some(Record::SnapTube(self.tube)),
            3 => return (self.lock != Lock::OPEN).then_some(Record::SnapLock(self.lock)),
            4 => return self.gauge.pack().map(|_| Record::SnapGauge(self.gauge)),
            _ => {}
        }
        self.open.map(|open| Record::SnapOpen {
            pulse: open.pulse,
            lost: open.lost,
            in_doubt: open.in_doubt,
        })
    }

    fn snapshot_clock(&self) -> Record {
        Record::SnapClock {
            at: self.at,
            epoch: self.epoch,
            utc: self.utc(self.at),
            losses: self.losses,
            not_before: self.not_before,
            zone: self.zone,
        }
    }

    fn snapshot_globals(&self) -> Record {
        Record::SnapGlobals {
            ceiling: self.timetable.ceiling,
            next_id: self.next_id,
            asks: self.asks,
            damaged: self.damaged,
            closed_damaged: self.closed_damaged,
            alarms: self.alarms,
            rest_until: self.rest_until,
            occupied: self.occupied(),
            motor: Some(self.motor),
            kept_ceiling: self.kept_ceiling,
            kept_until: self.kept_until,
        }
    }

    /// A line's entry, or its state.
    fn snapshot_line(&self, line: usize, wants_entry: bool) -> Option<Record> {
        if wants_entry {
            let (entry, state) = (self.timetable.line(line)?, self.state(line));
            return Some(Record::SnapEntry(Staged {
                line: line as u8,
                entry,
                revision: state.revision,
                mark: state.mark,
                edited: state.edited,
            }));
        }
        let id = self.timetable.id_on(line);
        let used = id.is_some() || self.waits(line);
        used.then(|| Record::SnapLine {
            line: line as u8,
            id: id.unwrap_or(EntryId::NONE),
            state: self.state(line),
        })
    }

    fn snapshot_deliveries(&self, part: usize) -> Option<Record> {
        let mut items = [None; DELIVERIES_A_RECORD];
        let from = self.history.iter_from(part.saturating_mul(DELIVERIES_A_RECORD));
        for (place, item) in items.iter_mut().zip(from) {
            *place = Some(item);
        }
        items.first().copied().flatten().map(|_| Record::SnapDeliveries(items))
    }

    fn snapshot_starts(&self, part: usize) -> Option<Record> {
        let hour_ago = self.at.minus(Duration::from_h(1));
        let mut items = [None; STARTS_A_RECORD];
        let recent = self.starts.iter().filter(|&start| start > hour_ago);
        for (place, item) in items.iter_mut().zip(recent.skip(part * STARTS_A_RECORD)) {
            *place = Some(item);
        }
        items.first().copied().flatten().map(|_| Record::SnapStarts(items))
    }
}
