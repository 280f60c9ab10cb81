//! Where the ledger lies in the bytes, and in which state its slots are.

use dosewright_core::ledger::{Class, Geometry, MAGIC, SLOT, Slot, VERSION};

use super::{Hints, Unreadable};

/// What a sector is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SectorState {
    /// Nothing in it.
    Blank,
    /// It has a snapshot that is in force, or was before the next one.
    Sealed,
    /// It has something, and no whole snapshot.
    Unsealed,
}

/// One sector.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SectorFound {
    /// What it is.
    pub state: SectorState,
    /// The sequence number of its seal, where it has one.
    pub seal: Option<u32>,
    /// Slots that can be read.
    pub good: u32,
    /// Slots in which nothing was written.
    pub blank: u32,
    /// Slots that cannot be read.
    pub damaged: u32,
}

/// What lies where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Where the ledger begins in the image.
    pub offset: usize,
    /// Its layout; it begins at 0 of what [`Found::memory`] gives.
    pub geometry: Geometry,
    /// The layout is what a header says, and no guess.
    pub is_said: bool,
    /// Format version of the headers, where one can be read.
    pub version: Option<u16>,
    /// Sector by sector.
    pub sectors: Vec<SectorFound>,
}

/// What a header says of itself. Magic and version stand where they do in any format
/// version; the rest counts for those that are read here alone.
pub(super) struct Said {
    version: u16,
    sector_bytes: u32,
    sectors: u16,
    sector: u16,
    /// Slots of its snapshot.
    pub(super) snapshot: u16,
    /// The number of the header of the sector in force before it, if there was one.
    pub(super) previous: Option<u32>,
}

fn header(slot: &[u8; SLOT]) -> Option<Said> {
    match Slot::decode(slot) {
        Slot::Good { class: Class::Header, payload, .. } => said(&payload),
        _ => None,
    }
}

/// What a header says, and its seal again.
pub(super) fn said(payload: &[u8]) -> Option<Said> {
    let two = |at: usize| payload.get(at..)?.first_chunk().map(|b| u16::from_le_bytes(*b));
    let four = |at: usize| payload.get(at..)?.first_chunk().map(|b| u32::from_le_bytes(*b));
    payload.starts_with(&MAGIC).then_some(())?;
    let was_one = two(18)? != u16::MAX;
    Some(Said {
        version: two(4)?,
        sector_bytes: four(8)?,
        sectors: two(12)?,
        sector: two(14)?,
        snapshot: two(16)?,
        previous: four(20).filter(|_| was_one),
    })
}

fn slots(bytes: &[u8]) -> impl Iterator<Item = &[u8; SLOT]> {
    bytes.as_chunks::<SLOT>().0.iter()
}

/// Where a ledger lies by its first header.
enum Place {
    /// From this byte of the image on, in sectors of so many bytes, so many of them.
    At(usize, u32, u16),
    /// So many bytes before the image begins.
    Before(u64),
    /// It is of a version that says it in a way not known here.
    Later(u16),
    /// There is no header.
    Unsaid,
}

/// What a header at a byte of the image says of the ledger's place. The layout of a header
/// is the same in every version up to this one.
fn place(at: usize, said: &Said) -> Place {
    if !(1..=VERSION).contains(&said.version) {
        return Place::Later(said.version);
    }
    let before = u64::from(said.sector) * u64::from(said.sector_bytes);
    match (at as u64).checked_sub(before) {
        Some(offset) => Place::At(offset as usize, said.sector_bytes, said.sectors),
        None => Place::Before(before - at as u64),
    }
}

/// Finds the ledger: by its first header, or by what is given.
pub fn find(bytes: &[u8], hints: Hints) -> Result<Found, Unreadable> {
    if bytes.is_empty() {
        return Err(Unreadable("it is empty".to_owned()));
    }
    if !matches!(hints.word_bytes, None | Some(1 | 4 | 8)) {
        return Err(Unreadable("a word has 1, 4 or 8 bytes".to_owned()));
    }
    let said = slots(bytes).enumerate().find_map(|(at, slot)| Some((at * SLOT, header(slot)?)));
    let version = said.as_ref().map(|(_, said)| said.version);
    let place = said.as_ref().map_or(Place::Unsaid, |(at, said)| place(*at, said));
    let (offset, sector_bytes, sectors, is_said) = match (place, hints.sector_bytes) {
        (Place::At(offset, sector_bytes, sectors), given)
            if given.is_none_or(|given| given == sector_bytes) =>
        {
            (offset, sector_bytes, sectors, true)
        }
        (_, Some(sector_bytes)) => {
            let sectors = bytes.len().div_ceil(sector_bytes.max(1) as usize);
            (0, sector_bytes, u16::try_from(sectors).unwrap_or(u16::MAX), false)
        }
        (Place::Before(missing), None) => {
            return Err(Unreadable(format!(
                "the first {missing} bytes of its ledger are not in it: read the memory again, \
                 from where the ledger begins (--sector-bytes shows what can be shown all the same)"
            )));
        }
        (Place::Later(version), None) => {
            return Err(Unreadable(format!(
                "its ledger has format version {version}; this build reads 1 to {VERSION} \
                 (--sector-bytes shows what can be shown all the same)"
            )));
        }
        (Place::Unsaid | Place::At(..), None) => {
            return Err(Unreadable(
                "no header of a ledger can be read in it; if it is one, say its \
                 layout: --sector-bytes 32768"
                    .to_owned(),
            ));
        }
    };
    let geometry = Geometry { start: 0, sector_bytes, sectors };
    let whole = u64::from(sector_bytes) * u64::from(sectors);
    if whole > super::MOST_BYTES as u64 || sector_bytes < 4 * SLOT as u32 {
        return Err(Unreadable(format!(
            "{sectors} sectors of {sector_bytes} bytes are no layout of a ledger"
        )));
    }
    let mut found = Found { offset, geometry, is_said, version, sectors: Vec::new() };
    let memory = found.memory(bytes);
    found.sectors = memory.chunks(sector_bytes as usize).map(sector).collect();
    Ok(found)
}

fn sector(bytes: &[u8]) -> SectorFound {
    let mut out =
        SectorFound { state: SectorState::Blank, seal: None, good: 0, blank: 0, damaged: 0 };
    for slot in slots(bytes) {
        match Slot::decode(slot) {
            Slot::Blank => out.blank += 1,
            Slot::Damaged => out.damaged += 1,
            Slot::Good { seq, class, .. } => {
                out.good += 1;
                if class == Class::Seal {
                    out.seal = Some(seq);
                }
            }
        }
    }
    out.state = match (out.seal, out.good + out.damaged) {
        (Some(_), _) => SectorState::Sealed,
        (None, 0) => SectorState::Blank,
        (None, _) => SectorState::Unsealed,
    };
    out
}

impl Found {
    /// The ledger's bytes; what the image lacks of them is blank.
    pub fn memory(&self, bytes: &[u8]) -> Vec<u8> {
        let size = self.geometry.sector_bytes as usize * usize::from(self.geometry.sectors);
        let mut memory: Vec<u8> = bytes.iter().skip(self.offset).take(size).copied().collect();
        memory.resize(size, 0xff);
        memory
    }

    /// Bytes that the image lacks of the ledger.
    pub fn missing(&self, bytes: usize) -> usize {
        let size = self.geometry.sector_bytes as usize * usize::from(self.geometry.sectors);
        (self.offset + size).saturating_sub(bytes)
    }

    /// The sector whose snapshot is in force: the one sealed last.
    pub fn in_force(&self) -> Option<usize> {
        let sealed = self.sectors.iter().enumerate();
        sealed.filter_map(|(at, sector)| Some((sector.seal?, at))).max().map(|(_, at)| at)
    }
}
