//! The board of a replay: a clock that jumps to the next thing that happens, a
//! pump pin with its one-shot, contacts, and a trace of all that is done.

use core::cell::RefCell;
use core::fmt::Write;

use dosewright_core::device::Outputs;
use dosewright_core::record::Alarm;
use dosewright_core::shell::{Board, Levels, Signal};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

use crate::list::{Event, Reader, What};

/// What brings a signal to the inbox: on a chip a real interrupt.
pub trait Interrupt {
    /// Brings it, at once or as soon as interrupts are let through.
    fn raise(&mut self, signal: Signal);
}

/// Where the trace goes; shared by the board and the memory.
pub type Sink<'a> = &'a RefCell<dyn Write + 'a>;

pub(crate) fn line(sink: Sink<'_>, what: core::fmt::Arguments<'_>) {
    if let Ok(mut sink) = sink.try_borrow_mut() {
        // a trace that cannot be written shows as one that differs
        let _ = sink.write_fmt(what);
        let _ = sink.write_char('\n');
    }
}

/// The last line of a trace: a checksum of the memory as it lies there, past any
/// adapter.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct MemoryLine(u32);

/// The last line of a trace over the bytes of the memory.
pub fn memory_line(bytes: &[u8]) -> MemoryLine {
    // FNV-1a, 32 bits: parameters from RFC 9923, section 5
    let hash = |hash: u32, &byte: &u8| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    MemoryLine(bytes.iter().fold(0x811c_9dc5, hash))
}

impl core::fmt::Display for MemoryLine {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        writeln!(f, "memory {:08x}", self.0)
    }
}

/// The board.
pub struct Stage<'a, I> {
    sink: Sink<'a>,
    interrupt: I,
    list: Reader<'a>,
    /// The next event of the list.
    next: Option<Event>,
    now: Instant,
    /// When the one-shot turns the pump off; `None` while it is off.
    one_shot: Option<Instant>,
    levels: Levels,
}

impl<'a, I: Interrupt> Stage<'a, I> {
    /// A board at an instant, with the rest of a list to come.
    pub fn new(
        sink: Sink<'a>,
        interrupt: I,
        list: Reader<'a>,
        now: Instant,
        levels: Levels,
    ) -> Self {
        let mut stage = Self { sink, interrupt, list, next: None, now, one_shot: None, levels };
        stage.next = stage.list.next_event();
        stage
    }

    /// The next event, if its time has come.
    pub(crate) fn due(&self) -> Option<Event> {
        self.next.filter(|event| event.at <= self.now)
    }

    /// The event is done.
    pub(crate) fn advance(&mut self) {
        self.next = self.list.next_event();
    }

    /// The list is at its end, or cannot be read on.
    pub(crate) const fn is_over(&self) -> bool {
        self.next.is_none()
    }

    /// Bytes of the list after the next event.
    pub(crate) const fn left(&self) -> usize {
        self.list.left()
    }

    pub(crate) const fn now(&self) -> Instant {
        self.now
    }

    pub(crate) const fn contacts(&self) -> Levels {
        self.levels
    }

    pub(crate) fn set_now(&mut self, now: Instant) {
        self.now = now;
    }

    pub(crate) fn say(&self, what: core::fmt::Arguments<'_>) {
        line(self.sink, format_args!("{} {what}", self.now.as_ms()));
    }

    /// The one-shot has done its work, if its time is over by an instant.
    fn end_run_by(&mut self, at: Instant) {
        if let Some(end) = self.one_shot.filter(|&end| end <= at) {
            self.one_shot = None;
            line(self.sink, format_args!("{} pin off, one-shot", end.as_ms()));
        }
    }

    fn raise(&mut self, signal: Signal) {
        self.interrupt.raise(signal);
    }
}

impl<I: Interrupt> Outputs for Stage<'_, I> {
    fn pump_on(&mut self, length: Duration) {
        self.one_shot = Some(self.now.plus(length));
        self.say(format_args!("pin on for {}", length.as_ms()));
    }

    fn pump_off(&mut self) {
        if self.one_shot.take().is_some() {
            self.say(format_args!("pin off"));
        }
    }

    fn refused(&mut self, refusal: &Refusal) {
        self.say(format_args!("refused {refusal:?}"));
    }

    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.say(format_args!("alarm {} {}", alarm.words(), if on { "on" } else { "off" }));
    }
}

impl<I: Interrupt> Board for Stage<'_, I> {
    fn clock(&mut self) -> Instant {
        self.now
    }

    /// Jumps to the next thing that happens. Of things at one instant the one-shot
    /// comes first, then the logic's own timers, then the list.
    fn sleep(&mut self, until: Option<Instant>) {
        let wake = until.unwrap_or(Instant::MAX);
        let listed = self.next.map_or(Instant::MAX, |event| event.at);
        if let Some(Event { at, what: What::Late(later) }) = self.next
            && at <= wake
        {
            // the call that was to come now comes late
            self.end_run_by(later);
            self.now = self.now.max(later);
            self.advance();
            return self.raise(Signal::Timer);
        }
        let target = wake.min(listed).min(self.one_shot.unwrap_or(Instant::MAX));
        if target == Instant::MAX {
            return;
        }
        self.end_run_by(target);
        self.now = self.now.max(target);
        if wake <= self.now || listed > self.now {
            return self.raise(Signal::Timer);
        }
        if let Some(Event { what: What::Signal(signal), .. }) = self.next {
            self.advance();
            match signal {
                Signal::RemoteStop(on) => self.levels.remote_stop = on,
                Signal::Leak(on) => self.levels.leak = on,
                Signal::LevelLow(on) => self.levels.level_low = on,
                _ => {}
            }
            self.raise(signal);
        }
        // anything else is for the loop to do, which is awake now
    }

    fn levels(&mut self) -> Levels {
        self.levels
    }

    fn drive_failed(&mut self) -> bool {
        false
    }

    fn lost(&mut self, count: u32) {
        self.say(format_args!("lost {count}"));
    }
}

/// A memory whose writes and erases are traced, as it reads after them.
#[derive(Clone)]
pub struct Traced<'a, F> {
    /// The memory.
    pub flash: F,
    /// Where the trace goes.
    pub sink: Sink<'a>,
}

impl<F: ErrorType> ErrorType for Traced<'_, F> {
    type Error = F::Error;
}

impl<F: ReadNorFlash> ReadNorFlash for Traced<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), F::Error> {
        self.flash.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

/// Bytes of a write as hexadecimal digits.
struct Hex<'a>(&'a [u8]);

impl core::fmt::Display for Hex<'_> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl<F: NorFlash> NorFlash for Traced<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), F::Error> {
        self.flash.erase(from, to)?;
        line(self.sink, format_args!("erase {from} to {to}"));
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), F::Error> {
        self.flash.write(offset, bytes)?;
        let mut found = [0; 64];
        if let Some(found) = found.get_mut(..bytes.len()) {
            self.flash.read(offset, found)?;
            line(self.sink, format_args!("write {offset} {}", Hex(found)));
        }
        Ok(())
    }
}
