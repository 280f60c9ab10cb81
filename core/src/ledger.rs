//! The append-only record in non-volatile memory from which a restart resumes.
//!
//! A ring of sectors, each a header, a snapshot of the caller's whole state, a
//! seal, and then records, in slots of 64 bytes. The state is the fold of the
//! slots that [`Ledger::scan`] gives; payloads are opaque here.
//!
//! - A *roll* erases another sector, writes header and snapshot, and last the
//!   seal that puts it in force. Until then the old sector is in force, so that
//!   a cut anywhere leaves the state before or after (M1).
//! - A slot is written only where the flash is blank, and acknowledged only
//!   when it reads back as written; every slot has its checksum (M2). What one
//!   reading gets wrong is read again.
//! - A record whose loss nothing later would show can be put into two slots.
//! - A header repeats in the seal, and it names the sector before it, which
//!   stands in while it lasts where the snapshot is damaged.
//! - A store with a sector of another format version is refused by name (M4).

mod error;
mod geometry;
mod header;
mod scan;
mod slot;
mod store;

use embedded_storage::nor_flash::NorFlash;

pub use error::{AppendError, FormatError, OpenError, RollError};
pub use geometry::{Geometry, GeometryError};
pub use header::{MAGIC, VERSION};
pub use scan::{Content, Entry, Position, Scan};
pub use slot::{Class, PAYLOAD, Payload, SEQ_MAX, SLOT, Slot};
pub use store::{READS, TRIES};

use header::{Header, Link};
use store::{Holds, Sector, Store, WriteError};

/// What a scan starts from.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Base {
    /// The snapshot in force; it is whole.
    Current,
    /// The snapshot in force has a damaged slot; the sector before it is as it
    /// was when it was left, and the scan starts there and loses nothing.
    Older,
    /// The snapshot in force has a damaged slot and nothing stands in for it:
    /// what the damaged slot held is lost.
    Broken,
}

/// What opening found beside the ledger itself, for an alarm.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Findings {
    /// A sector with a newer snapshot that never got its seal, or whose seal is
    /// damaged before any record followed; nothing is lost by it.
    pub abandoned: Option<u16>,
    /// Sectors that are not blank and in which nothing can be read.
    pub unidentified: u16,
}

/// Counts since the ledger was opened; they are not stored.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counters {
    /// Records acknowledged.
    pub appended: u32,
    /// Rolls completed.
    pub rolls: u32,
    /// Slots passed over because they were not blank or did not take.
    pub passed_over: u32,
}

/// The ledger on a NOR flash. All its calls block until the flash is done.
#[derive(Clone, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ledger<F> {
    store: Store<F>,
    current: Sector,
    /// Where a scan starts, if not in the current sector.
    older: Option<Sector>,
    base: Base,
    next_seq: u32,
    /// The sector of the next roll.
    target: u16,
    /// The last append found no slot that took it, or the second of two, or the sector is in an older
    /// version of the format: what is written next goes into a new one.
    worn: bool,
    /// How many sectors did not take a snapshot since the last one that did, in the row of
    /// rolls that failed: one that is blank has been erased, and is not to be worn by it again.
    in_vain: u8,
    findings: Findings,
    appended: u32,
    rolls: u32,
}

impl<F: NorFlash> Ledger<F> {
    /// Opens the ledger that the flash holds; it only reads.
    ///
    /// The flash comes back with the error. [`OpenError::Blank`],
    /// [`OpenError::Unfinished`] and, where the part may hold anything,
    /// [`OpenError::Unformatted`] are mended by [`Ledger::format`].
    pub fn open(flash: F, geometry: Geometry) -> Result<Self, (F, OpenError<F::Error>)> {
        if let Err(error) = geometry.check(&flash) {
            return Err((flash, OpenError::Geometry(error)));
        }
        let mut store = Store { flash, geometry, passed_over: 0 };
        match Self::find(&mut store) {
            Ok((current, next_seq, previous, (whole, older_version), findings)) => {
                let older = if whole { None } else { stand_in(&mut store, current.age, previous) };
                let base = match (whole, older) {
                    (true, _) => Base::Current,
                    (false, Some(_)) => Base::Older,
                    (false, None) => Base::Broken,
                };
                let ledger = Self::new(store, current, older, base, next_seq, findings);
                Ok(Self { worn: older_version, ..ledger })
            }
            Err(error) => Err((store.flash, error)),
        }
    }

    /// The newest sealed sector, the next number, the sector before it, whether
    /// its snapshot is whole and whether its format is older, and what else was seen.
    #[allow(clippy::type_complexity)]
    fn find(
        store: &mut Store<F>,
    ) -> Result<(Sector, u32, Option<Link>, (bool, bool), Findings), OpenError<F::Error>> {
        let sectors = store.geometry.sectors;
        let mut findings = Findings::default();
        let (mut failure, mut refusal) = (None, None);
        let (mut owned, mut dirty) = (false, false);
        let (mut bound, mut next_seq) = (u32::MAX, 1);
        // each pass judges the newest sector that is older than the last one
        for pass in 0..sectors {
            let mut newest: Option<(u32, u16)> = None;
            for sector in 0..sectors {
                let age = match store.probe(sector, &mut failure) {
                    Holds::Sector(age) => {
                        owned = true;
                        age
                    }
                    Holds::Slots(age) => age,
                    holds => {
                        if pass == 0 {
                            dirty |= !matches!(holds, Holds::Blank);
                            note(&holds, &mut findings, &mut refusal);
                        }
                        continue;
                    }
                };
                dirty = true;
                if age < bound && newest.is_none_or(|(best, _)| age > best) {
                    newest = Some((age, sector));
                }
            }
            // what a later build has written since this one did, this one cannot follow
            if let Some(OpenError::Version(version)) = refusal {
                return Err(OpenError::Version(version));
            }
            // slots without any header may be left over from another store
            let Some((age, sector)) = newest.filter(|_| owned) else {
                break;
            };
            let survey = store.survey(sector, None);
            next_seq = next_seq.max(survey.next_seq);
            if survey.sealed {
                let kind = (survey.whole, survey.older);
                return Ok((survey.sector, next_seq, survey.previous, kind, findings));
            }
            findings.abandoned.get_or_insert(sector);
            bound = age;
        }
        Err(match (refusal, failure) {
            (Some(refusal), _) if !owned => refusal,
            (_, Some(error)) => OpenError::Flash(error),
            _ if owned || dirty && store.holds_a_torn_header() => OpenError::Unfinished,
            _ if dirty => OpenError::Unformatted,
            _ => OpenError::Blank,
        })
    }

    /// Makes a ledger with this state as its first snapshot.
    ///
    /// Where a ledger already opens, this is a roll, so that a cut leaves the
    /// old or the new one. Else the whole ring is erased: after a cut it does
    /// not open, and is formatted again.
    pub fn format<I>(
        flash: F,
        geometry: Geometry,
        snapshot: I,
    ) -> Result<Self, (F, FormatError<F::Error>)>
    where
        I: IntoIterator<Item: Into<Payload>> + Clone,
    {
        let flash = match Self::open(flash, geometry) {
            Ok(mut ledger) => {
                return match ledger.roll(snapshot) {
                    Ok(()) => Ok(ledger),
                    Err(error) => Err((ledger.store.flash, error.into())),
                };
            }
            Err((flash, OpenError::Geometry(error))) => return Err((flash, error.into())),
            Err((flash, OpenError::Flash(error))) => {
                return Err((flash, RollError::Flash(error).into()));
            }
            Err((flash, _)) => flash,
        };
        let mut store = Store { flash, geometry, passed_over: 0 };
        match Self::format_store(&mut store, snapshot) {
            Ok((current, next_seq)) => {
                let findings = Findings::default();
                Ok(Self::new(store, current, None, Base::Current, next_seq, findings))
            }
            Err(error) => Err((store.flash, error.into())),
        }
    }

    #[allow(clippy::needless_pass_by_value)] // as it came
    fn format_store<I>(
        store: &mut Store<F>,
        snapshot: I,
    ) -> Result<(Sector, u32), RollError<F::Error>>
    where
        I: IntoIterator<Item: Into<Payload>> + Clone,
    {
        let header = Header {
            older: false,
            snapshot: snapshot_slots(store, snapshot.clone())?,
            previous: None,
        };
        for sector in 0..store.geometry.sectors {
            // what it keeps must not be taken for the ledger
            if let Err(error) = store.erase(sector)
                && !matches!(store.probe(sector, &mut None), Holds::Blank | Holds::Garbage)
            {
                return Err(error.into());
            }
        }
        let (mut next_seq, mut failure) = (1, RollError::Worn);
        for sector in 0..store.geometry.sectors {
            match store.fill(sector, false, header, snapshot.clone().into_iter(), &mut next_seq) {
                Ok(current) => return Ok((current, next_seq)),
                Err(error) => failure = error.passed_over()?,
            }
        }
        Err(failure)
    }

    fn new(
        store: Store<F>,
        current: Sector,
        older: Option<Sector>,
        base: Base,
        next_seq: u32,
        findings: Findings,
    ) -> Self {
        let target = current.number;
        let mut ledger = Self {
            store,
            current,
            older,
            base,
            next_seq,
            target,
            worn: false,
            in_vain: 0,
            findings,
            appended: 0,
            rolls: 0,
        };
        ledger.target = ledger.sector_after(target);
        ledger
    }

    /// The next sector of the ring that a roll may erase: not the current one,
    /// and not the one that stands in for its snapshot, if there is a third. If
    /// there is none, a roll does not go by it while the second stands in.
    fn sector_after(&self, sector: u16) -> u16 {
        let kept = self.older;
        let mut next = sector;
        for _ in 0..3 {
            next = next.saturating_add(1);
            if next >= self.store.geometry.sectors {
                next = 0;
            }
            if next != self.current.number && kept.is_none_or(|kept| kept.number != next) {
                break;
            }
        }
        next
    }

    /// Appends a record and gives its sequence number, once it is safely stored.
    ///
    /// An error asks for a roll first, but for [`AppendError::Exhausted`]. After
    /// any error the record may still be found at the next boot, whole, once.
    pub fn append(&mut self, payload: &Payload) -> Result<u32, AppendError<F::Error>> {
        self.append_in(payload, false)
    }

    /// The same in two slots of one sector and with one number, of which either is enough:
    /// a scan gives the record once. It is stored with the first; where no second slot
    /// takes it, there is one.
    pub fn append_twice(&mut self, payload: &Payload) -> Result<u32, AppendError<F::Error>> {
        self.append_in(payload, true)
    }

    pub(crate) fn append_in(
        &mut self,
        payload: &Payload,
        twice: bool,
    ) -> Result<u32, AppendError<F::Error>> {
        if self.needs_roll() || self.free() <= u16::from(twice) {
            return Err(AppendError::Full);
        }
        let seq = self.next_seq;
        if seq > SEQ_MAX {
            return Err(AppendError::Exhausted);
        }
        // spent whatever comes of it: a slot that seemed not to take may yet
        // be read, and must not share its number with another record
        self.next_seq = seq.saturating_add(1);
        match self.store.write(&mut self.current, Class::Record, seq, payload) {
            Ok(()) => {
                if twice {
                    let again = self.store.write(&mut self.current, Class::Record, seq, payload);
                    self.worn |= again.is_err();
                }
                self.appended = self.appended.saturating_add(1);
                Ok(seq)
            }
            Err(error) => {
                self.worn = true;
                Err(match error {
                    WriteError::Flash(error) => AppendError::Flash(error),
                    WriteError::End => AppendError::Full,
                    WriteError::Worn | WriteError::Uneven => AppendError::Worn,
                })
            }
        }
    }

    /// How many slots are left for records before the next roll, at most.
    pub fn free(&self) -> u16 {
        self.store.geometry.slots().saturating_sub(self.current.used)
    }

    /// Whether an append would be refused until the next roll.
    pub fn needs_roll(&self) -> bool {
        self.worn || self.free() == 0
    }

    /// Puts a new sector in force that begins with this snapshot.
    ///
    /// The snapshot is the caller's whole durable state: what it leaves out is
    /// gone when the ring comes round. It is gone through twice or more, and
    /// must be the same each time. Sectors that do not take it are passed over, each
    /// of them once, and then the first of them again. After an error the current sector
    /// is still in force, and another call tries them again; a memory that takes nothing
    /// at all is not worn by that.
    #[allow(clippy::needless_pass_by_value)] // arrays and ranges are given as they are
    pub fn roll<I>(&mut self, snapshot: I) -> Result<(), RollError<F::Error>>
    where
        I: IntoIterator<Item: Into<Payload>> + Clone,
    {
        let slots = snapshot_slots(&self.store, snapshot.clone())?;
        let Sector { number: sector, age, used, unreadable, .. } = self.current;
        let previous = Some(Link { sector, age, used, unreadable });
        let header = Header { older: false, snapshot: slots, previous };
        let sectors = self.store.geometry.sectors;
        let (mut target, mut refusals, mut failure) = (self.target, 0, RollError::Worn);
        for attempt in 0..sectors {
            let last_seq = self.next_seq.saturating_add(u32::from(slots)).saturating_add(1);
            if last_seq > SEQ_MAX {
                return Err(RollError::Exhausted);
            }
            if attempt.saturating_add(1) >= sectors
                && let Some(older) = self.older
            {
                // what stands in for the snapshot goes only where no other
                // sector takes the new one
                target = older.number;
            }
            debug_assert_ne!(target, self.current.number);
            // one that does not answer as it was written is not worn by what nothing can prove
            if self.in_vain > 0 && !self.answers() {
                break;
            }
            let is_erased = self.in_vain > 0 && self.store.is_blank(target, 0);
            let contents = snapshot.clone().into_iter();
            match self.store.fill(target, is_erased, header, contents, &mut self.next_seq) {
                Ok(filled) => {
                    self.current = filled;
                    self.older = None;
                    self.base = Base::Current;
                    (self.worn, self.in_vain) = (false, 0);
                    self.target = self.sector_after(target);
                    self.rolls = self.rolls.saturating_add(1);
                    return Ok(());
                }
                Err(error) => failure = error.passed_over()?,
            }
            self.in_vain = self.in_vain.saturating_add(1);
            // a memory that takes nothing at all for now is not to lose what else it holds; but
            // with a try a minute, after two hours, two neighbours count as worn
            refusals += u8::from(self.store.is_blank(target, 0));
            if refusals >= 2 && self.in_vain < u8::MAX {
                break;
            }
            target = self.sector_after(target);
        }
        Err(failure)
    }

    /// Whether anything in the sector in force can be read.
    fn answers(&mut self) -> bool {
        let Sector { number, used, .. } = self.current;
        (0..used).any(|index| matches!(self.store.read(number, index, false), Slot::Good { .. }))
    }

    /// Whether the sector in force was written by a build that puts some records into two
    /// slots.
    pub(crate) const fn ends_in_pairs(&self) -> bool {
        !self.worn
    }

    /// Whether each slot that a scan gives was.
    pub(crate) const fn writes_twice(&self) -> bool {
        self.ends_in_pairs() && self.older.is_none()
    }

    /// What a scan starts from, as found at opening; [`Base::Current`] again
    /// after a roll.
    pub fn base(&self) -> Base {
        self.base
    }

    /// What opening found beside the ledger itself.
    pub fn findings(&self) -> Findings {
        self.findings
    }

    /// Counts since the ledger was opened.
    pub fn counters(&self) -> Counters {
        let passed_over = self.store.passed_over;
        Counters { appended: self.appended, rolls: self.rolls, passed_over }
    }

    /// Where the ledger lies.
    pub fn geometry(&self) -> Geometry {
        self.store.geometry
    }

    /// The flash.
    pub fn flash(&self) -> &F {
        &self.store.flash
    }

    /// The flash, to arm a fault or to power it; what the ledger wrote must
    /// stay as it is.
    pub fn flash_mut(&mut self) -> &mut F {
        &mut self.store.flash
    }

    /// The flash back.
    pub fn into_flash(self) -> F {
        self.store.flash
    }
}

/// How many slots the snapshot needs, if a sector holds so many.
fn snapshot_slots<F: NorFlash>(
    store: &Store<F>,
    snapshot: impl IntoIterator,
) -> Result<u16, RollError<F::Error>> {
    // header, seal and one record must fit beside it
    let most = store.geometry.slots().saturating_sub(3);
    let slots = snapshot.into_iter().count();
    match u16::try_from(slots) {
        Ok(fitting) if fitting <= most => Ok(fitting),
        _ => Err(RollError::TooLarge { slots, most }),
    }
}

/// The sector before the current one, if it is just as it was left.
fn stand_in<F: NorFlash>(store: &mut Store<F>, age: u32, link: Option<Link>) -> Option<Sector> {
    let link = link.filter(|link| link.sector < store.geometry.sectors && link.age < age)?;
    let survey = store.survey(link.sector, Some(link.used));
    let found = survey.sector;
    let same = found.age == link.age && found.unreadable == link.unreadable;
    (survey.sealed && survey.whole && same).then_some(found)
}

/// Keeps what a sector that is none of ours says about the store.
fn note<E>(holds: &Holds, findings: &mut Findings, refusal: &mut Option<OpenError<E>>) {
    match *holds {
        Holds::Version(version) => *refusal = Some(OpenError::Version(version)),
        Holds::OtherGeometry { sector_bytes, sectors } => {
            refusal.get_or_insert(OpenError::OtherGeometry { sector_bytes, sectors });
        }
        Holds::Garbage => findings.unidentified = findings.unidentified.saturating_add(1),
        Holds::Blank | Holds::Sector(_) | Holds::Slots(_) => {}
    }
}
