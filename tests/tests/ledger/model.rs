//! What the tests of the ledger keep in it, and the fold that reads it back.
//!
//! The durable state is a count and the last few values; records are numbered
//! from 1, and each fills its payload with a pattern of its number, so that no
//! payload can be taken for another.

use dosewright_core::ledger::{
    AppendError, Class, Geometry, Ledger, OpenError, PAYLOAD, Payload, Position, RollError,
};
use dosewright_sim::world::flash::{NorError, NorMock};

/// A snapshot of nothing.
pub(crate) const NOTHING: [Payload; 0] = [];
/// Values that the state remembers.
pub(crate) const KEPT: usize = 2;
/// Bytes in a page of the flash, and in a sector: eight slots, of which header,
/// three of snapshot, and seal leave three for records.
pub(crate) const PAGE: usize = 512;

pub(crate) type Part<const W: usize> = NorMock<W, PAGE>;

/// The state that the ledger's caller folds out of it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct State {
    pub(crate) count: u32,
    pub(crate) recent: [u32; KEPT],
}

impl State {
    pub(crate) fn push(&mut self) {
        self.count += 1;
        self.recent.rotate_left(1);
        self.recent[KEPT - 1] = value_of(self.count);
    }

    pub(crate) fn pushed(mut self) -> Self {
        self.push();
        self
    }

    pub(crate) fn snapshot(self) -> [Payload; KEPT + 1] {
        let mut slots = [pattern(b'c', 0, self.count); KEPT + 1];
        for (index, value) in self.recent.iter().enumerate() {
            slots[index + 1] = pattern(b'v', index as u8, *value);
        }
        slots
    }

    pub(crate) fn next_record(self) -> Payload {
        record(self.count + 1)
    }
}

pub(crate) fn value_of(number: u32) -> u32 {
    number.wrapping_mul(0x9e37_79b9) ^ 0x5151
}

/// A payload that its kind, index and number determine to the last byte.
pub(crate) fn pattern(kind: u8, index: u8, number: u32) -> Payload {
    let mut payload = [0; PAYLOAD];
    payload[0] = kind;
    payload[1] = index;
    payload[2..6].copy_from_slice(&number.to_le_bytes());
    let mut x = number ^ u32::from(kind) << 8 ^ u32::from(index);
    for byte in &mut payload[6..] {
        x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *byte = (x >> 24) as u8;
    }
    payload
}

pub(crate) fn record(number: u32) -> Payload {
    pattern(b'r', 0, number)
}

/// What a fold of the ledger gives.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Folded {
    pub(crate) state: State,
    pub(crate) records: Vec<u32>,
    pub(crate) damaged: Vec<(Class, u16, u16)>,
}

/// Folds what a scan gives; every payload must be one that was written, to the
/// last byte, and positions and numbers must rise.
pub(crate) fn fold<const W: usize>(ledger: &mut Ledger<Part<W>>) -> Folded {
    let mut folded = Folded { state: State::default(), records: Vec::new(), damaged: Vec::new() };
    let mut scan = ledger.scan();
    let mut last: Option<(Position, u32)> = None;
    while let Some(entry) = ledger.next(&mut scan) {
        let seq = entry.content.map_or(0, |content| content.seq);
        if let Some((position, last_seq)) = last {
            assert!(entry.position > position);
            assert!(seq == 0 || seq > last_seq, "{seq} after {last_seq}");
        }
        last = Some((entry.position, seq.max(last.map_or(0, |(_, seq)| seq))));
        let Some(content) = entry.content else {
            let position = entry.position;
            folded.damaged.push((entry.class, position.sector(), position.index()));
            continue;
        };
        let payload = content.payload;
        let number = u32::from_le_bytes(payload[2..6].try_into().unwrap());
        assert_eq!(payload, pattern(payload[0], payload[1], number), "a payload nobody wrote");
        match (entry.class, payload[0]) {
            (Class::Snapshot, b'c') => folded.state.count = number,
            (Class::Snapshot, b'v') => folded.state.recent[usize::from(payload[1])] = number,
            (Class::Record, b'r') => {
                folded.state.count = number - 1;
                folded.state.push();
                folded.records.push(number);
            }
            other => panic!("a slot of {other:?}"),
        }
    }
    folded
}

pub(crate) fn geometry(sectors: u16) -> Geometry {
    Geometry { start: 0, sector_bytes: PAGE as u32, sectors }
}

pub(crate) fn strict<const W: usize>(sectors: u16) -> Part<W> {
    let mut flash = Part::<W>::new(usize::from(sectors));
    flash.set_strict(true);
    flash
}

pub(crate) fn fresh<const W: usize>(sectors: u16) -> Ledger<Part<W>> {
    Ledger::format(strict(sectors), geometry(sectors), State::default().snapshot()).unwrap()
}

/// One append, or a roll where one is asked for.
pub(crate) fn step<const W: usize>(
    ledger: &mut Ledger<Part<W>>,
    state: &mut State,
) -> Result<(), NorError> {
    if ledger.needs_roll() {
        return ledger.roll(state.snapshot()).map_err(|error| match error {
            RollError::Flash(error) => error,
            other => panic!("{other}"),
        });
    }
    match ledger.append(&state.next_record()) {
        Ok(_) => {
            state.push();
            Ok(())
        }
        Err(AppendError::Flash(error)) => Err(error),
        // the next step rolls
        Err(AppendError::Full | AppendError::Worn) => Ok(()),
        Err(AppendError::Exhausted) => panic!("numbers spent"),
    }
}

pub(crate) fn reopen<const W: usize>(ledger: Ledger<Part<W>>) -> Ledger<Part<W>> {
    let geometry = ledger.geometry();
    let mut flash = ledger.into_flash();
    flash.power_on();
    Ledger::open(flash, geometry).unwrap()
}

/// After `steps` steps from a fresh ledger.
pub(crate) fn after<const W: usize>(sectors: u16, steps: usize) -> (Ledger<Part<W>>, State) {
    let (mut ledger, mut state) = (fresh::<W>(sectors), State::default());
    for _ in 0..steps {
        step(&mut ledger, &mut state).unwrap();
    }
    (ledger, state)
}

/// Goes on for so many steps from what the ledger holds.
pub(crate) fn folded_state_after<const W: usize>(
    ledger: &mut Ledger<Part<W>>,
    steps: usize,
) -> State {
    let mut state = fold(ledger).state;
    for _ in 0..steps {
        step(ledger, &mut state).unwrap();
    }
    state
}

pub(crate) fn refusal<const W: usize>(part: Part<W>, geometry: Geometry) -> OpenError<NorError> {
    match Ledger::open(part, geometry) {
        Ok(_) => panic!("opened"),
        Err((_, error)) => error,
    }
}

/// The sector in force.
pub(crate) fn current_sector<const W: usize>(mut ledger: Ledger<Part<W>>) -> u16 {
    let mut scan = ledger.scan();
    ledger.next(&mut scan).unwrap().position.sector()
}
