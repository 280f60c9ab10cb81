//! How a device stands: what a peer has to know before it sends settings.

use crate::civil::Local;
use crate::codec::Put;
use crate::controller::Controller;
use crate::entry::EntryId;
use crate::time::Instant;
use crate::zone::Zone;

/// Stands for a clock that is unset.
const NO_TIME: i64 = Instant::LAST.as_ms();
/// Stands for a timetable that was not begun.
const NOT_BEGUN: u8 = u8::MAX;

/// How a device stands. None of it is behind the lock.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Standing {
    /// The device's own time: what the start of an interval entry is an instant of.
    pub now: Instant,
    /// What the clock says; `None` while it is unset.
    pub local: Option<Local>,
    /// The zone in force; UTC where none was ever set.
    pub zone: Zone,
    /// The number of a new entry: above all that ever were.
    pub next_id: EntryId,
    /// Entries in force.
    pub entries: u8,
    /// Entries that there is room for.
    pub room: u8,
    /// Whether there is a head, without which no timetable is put in force.
    pub has_head: bool,
    /// Whether there is a PIN.
    pub has_pin: bool,
    /// Whether the settings are locked now.
    pub is_locked: bool,
    /// Until the next try of the PIN is judged, in ms.
    pub wait_ms: u32,
    /// How many entries were announced; `None` where no timetable was begun, since the start
    /// too.
    pub announced: Option<u8>,
    /// How many of them are there.
    pub gathered: u8,
}

impl Standing {
    /// How a device stands at an instant, but for what its line has gathered.
    pub(super) fn of<const N: usize, const H: usize>(
        controller: &Controller<N, H>,
        now: Instant,
    ) -> Self {
        let book = controller.book();
        let wait_ms = book.lock.next_try().since(now).as_ms();
        Self {
            now,
            local: book.clock.as_ref().map(|clock| clock.local(now)),
            zone: book.zone,
            // 0 is no number: in an answer it stands for no entry
            next_id: EntryId(book.next_id.max(1)),
            entries: book.timetable.ids().count() as u8,
            room: N as u8,
            has_head: book.head.is_some(),
            has_pin: book.lock.is_set(),
            is_locked: controller.is_locked_at(now),
            wait_ms: u32::try_from(wait_ms).unwrap_or(u32::MAX),
            announced: None,
            gathered: 0,
        }
    }

    pub(super) fn put(&self, p: &mut Put) {
        p.i48(self.now.as_ms());
        p.i48(self.local.map_or(NO_TIME, |local| local.as_ms().min(NO_TIME - 1)));
        p.bytes(&self.zone.encode());
        p.u16(self.next_id.0);
        p.u8(self.entries);
        p.u8(self.room);
        let bits = [(self.has_head, 1), (self.has_pin, 2), (self.is_locked, 4)];
        p.u8(bits.into_iter().filter(|(is, _)| *is).fold(0, |all, (_, bit)| all | bit));
        p.u32(self.wait_ms);
        p.u8(self.announced.unwrap_or(NOT_BEGUN));
        p.u8(self.gathered);
    }
}
