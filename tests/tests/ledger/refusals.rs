//! M4: what is no ledger, or another's, is refused by name.

use dosewright_core::ledger::{
    Class, Geometry, GeometryError, Ledger, MAGIC, OpenError, SLOT, Slot, VERSION,
};
use dosewright_sim::world::flash::{NorError, NorMock};
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

use crate::model::{PAGE, Part, State, after, fold, geometry, refusal, reopen, step};

/// The same part with another version in every header and seal.
pub(crate) fn with_version<const W: usize>(part: &Part<W>, version: u16) -> Part<W> {
    let mut bytes = part.bytes().to_vec();
    for chunk in bytes.chunks_exact_mut(SLOT) {
        let slot: &mut [u8; SLOT] = chunk.try_into().unwrap();
        if let Slot::Good { seq, class: class @ (Class::Header | Class::Seal), mut payload } =
            Slot::decode(slot)
        {
            assert_eq!(payload[..4], MAGIC);
            payload[4..6].copy_from_slice(&version.to_le_bytes());
            *slot = Slot::encode(class, seq, &payload);
        }
    }
    Part::from_bytes(bytes)
}

#[test]
fn m4_another_version_is_refused_by_its_name() {
    let (ledger, _) = after::<4>(3, 14);
    let part = ledger.into_flash();
    let later = VERSION + 1;
    let other = with_version(&part, later);
    assert_eq!(refusal(other.clone(), geometry(3)), OpenError::Version(later));
    // and whichever single slot of it is damaged
    for at in (0..other.bytes().len()).step_by(SLOT) {
        let mut other = other.clone();
        other.flip_bit(at as u32 + 9, 1);
        assert_eq!(refusal(other, geometry(3)), OpenError::Version(later));
    }
}

#[test]
fn what_is_no_ledger_is_told_apart() {
    let blank = Part::<4>::new(3);
    assert_eq!(refusal(blank.clone(), geometry(3)), OpenError::Blank);
    let mut touched = blank.clone();
    touched.flip_bit(700, 3);
    assert_eq!(refusal(touched, geometry(3)), OpenError::Unformatted);
    let (ledger, _) = after::<4>(3, 14);
    let part = ledger.into_flash();
    let other = OpenError::OtherGeometry { sector_bytes: PAGE as u32, sectors: 3 };
    assert_eq!(refusal(part.clone(), geometry(2)), other);
    // records alone prove nothing: they may be left over from another store
    let mut bytes = part.bytes().to_vec();
    for sector in bytes.chunks_exact_mut(PAGE) {
        sector[..PAGE / 2 + SLOT].fill(0xff);
    }
    assert_eq!(refusal(Part::<4>::from_bytes(bytes), geometry(3)), OpenError::Unformatted);
    let mut cut = blank;
    cut.cut_after_steps(Some(4 * 6 + 3 * 65));
    let error = Ledger::format(cut, geometry(3), State::default().snapshot()).unwrap_err();
    let mut cut = error.0;
    cut.power_on();
    assert_eq!(refusal(cut, geometry(3)), OpenError::Unfinished);
}

#[test]
fn m4_what_is_more_than_a_torn_first_header_is_not_formatted_over() {
    let whole = Ledger::format(Part::<1>::new(3), geometry(3), State::default().snapshot());
    let header = whole.unwrap().into_flash().bytes()[..SLOT].to_vec();
    let torn = |bytes: usize| {
        let mut torn = vec![0xff; 3 * PAGE];
        torn[..bytes].copy_from_slice(&header[..bytes]);
        torn
    };
    let refused = |bytes: Vec<u8>| refusal(Part::<1>::from_bytes(bytes), geometry(3));
    for length in 1..SLOT {
        assert_eq!(refused(torn(length)), OpenError::Unfinished, "{length} bytes");
    }
    // a bit that the header wants to be one; how long the snapshot is to be is not known
    let known = (0..480).filter(|bit| !(128..144).contains(bit));
    for bit in known.filter(|bit| header[bit / 8] >> (bit % 8) & 1 == 1) {
        let mut bytes = torn(SLOT);
        bytes[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(refused(bytes), OpenError::Unformatted, "bit {bit}");
    }
    // anything at all in another slot
    for at in SLOT..3 * PAGE {
        let mut bytes = torn(40);
        bytes[at] = 0xfe;
        assert_eq!(refused(bytes), OpenError::Unformatted, "byte {at}");
    }
    // the first header of a ring of another size
    let error = refusal(Part::<1>::from_bytes(torn(40)), geometry(2));
    assert_eq!(error, OpenError::Unfinished, "a bit that is to be zero may be blank");
    let mut of_two = torn(40);
    of_two[12] = 2;
    assert_eq!(refused(of_two), OpenError::Unformatted);
}

/// A flash of 8 GiB, of which only the size matters.
struct Huge;

impl ErrorType for Huge {
    type Error = NorError;
}

impl ReadNorFlash for Huge {
    const READ_SIZE: usize = 1;

    fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), NorError> {
        Err(NorError::Unreadable)
    }

    fn capacity(&self) -> usize {
        1 << 33
    }
}

impl NorFlash for Huge {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, _: u32, _: u32) -> Result<(), NorError> {
        Err(NorError::Unreadable)
    }

    fn write(&mut self, _: u32, _: &[u8]) -> Result<(), NorError> {
        Err(NorError::Unreadable)
    }
}

#[test]
fn a_geometry_that_cannot_be_is_refused() {
    let check = |start, sector_bytes, sectors| match refusal(
        Part::<8>::new(4),
        Geometry { start, sector_bytes, sectors },
    ) {
        OpenError::Geometry(error) => error,
        other => panic!("{other}"),
    };
    assert_eq!(check(0, 512, 1), GeometryError::Sectors(1));
    assert_eq!(check(0, 512, u16::MAX), GeometryError::Sectors(u16::MAX));
    for sector_bytes in [0, 256, 700, u32::MAX] {
        let wanted = GeometryError::SectorBytes { sector_bytes, erase_size: PAGE };
        assert_eq!(check(0, sector_bytes, 2), wanted);
    }
    assert_eq!(check(64, 512, 2), GeometryError::Start { start: 64, erase_size: PAGE });
    assert_eq!(check(1024, 512, 3), GeometryError::Capacity { end: 2560, capacity: 2048 });
    // the fewest slots in a sector, and the most: the flash is too small for these
    for (slots, fits) in [(3, false), (4, true), (65_534, true), (65_535, false)] {
        let sector_bytes = slots * SLOT as u32;
        let found =
            Geometry { start: 0, sector_bytes, sectors: 2 }.check(&NorMock::<4, 64>::new(8));
        let beyond = GeometryError::Capacity { end: u64::from(2 * sector_bytes), capacity: 512 };
        let expected = match slots {
            4 => Ok(()),
            _ if fits => Err(beyond),
            _ => Err(GeometryError::SectorBytes { sector_bytes, erase_size: 64 }),
        };
        assert_eq!(found, expected, "{slots} slots");
    }
    // what no address of 32 bits reaches, however large the flash
    let far = Geometry { start: 0, sector_bytes: 1 << 21, sectors: 2048 };
    let beyond = GeometryError::Capacity { end: 1 << 32, capacity: Huge.capacity() };
    assert_eq!(far.check(&Huge), Err(beyond));
    assert_eq!(Geometry { sectors: 2047, ..far }.check(&Huge), Ok(()));
    let error = Ledger::open(NorMock::<48, 384>::new(4), geometry(2)).unwrap_err().1;
    assert_eq!(error, OpenError::Geometry(GeometryError::WordSize(48)));
    // and one that can be, not at the beginning, of two pages a sector
    let inside = Geometry { start: 512, sector_bytes: 1024, sectors: 2 };
    let part = Part::<8>::new(5);
    let mut ledger = Ledger::format(part, inside, State::default().snapshot()).unwrap();
    let mut state = State::default();
    for _ in 0..40 {
        step(&mut ledger, &mut state).unwrap();
    }
    assert_eq!(fold(&mut reopen(ledger.clone())).state, state);
    assert!(ledger.flash().bytes()[..512].iter().all(|byte| *byte == 0xff));
}
