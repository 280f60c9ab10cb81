#![no_std]
#![no_main]
use core::panic::PanicInfo;
use core::ptr::{read_volatile, write_volatile};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use embedded_storage::nor_flash::*;

unsafe extern "C" { fn a_panic_is_reachable() -> !; }
#[panic_handler]
fn panic(_: &PanicInfo) -> ! { unsafe { a_panic_is_reachable() } }

const PORT: *mut u32 = 0x4000_0000 as *mut u32;
fn get() -> u32 { unsafe { read_volatile(PORT) } }
fn put(v: u32) { unsafe { write_volatile(PORT, v) } }

#[derive(Debug)]
struct E;
impl NorFlashError for E { fn kind(&self) -> NorFlashErrorKind { NorFlashErrorKind::Other } }
struct Flash;
impl ErrorType for Flash { type Error = E; }
impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), E> {
        put(offset);
        for b in bytes { *b = get() as u8; }
        if get() == 0 { Ok(()) } else { Err(E) }
    }
    fn capacity(&self) -> usize { 32768 }
}
impl NorFlash for Flash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 1024;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), E> { put(from); put(to); if get() == 0 { Ok(()) } else { Err(E) } }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), E> { put(offset); for b in bytes { put(*b as u32); } if get() == 0 { Ok(()) } else { Err(E) } }
}
struct Out;
impl Outputs for Out {
    fn pump_on(&mut self, length: Duration) { put(length.as_ms() as u32) }
    fn pump_off(&mut self) { put(0) }
    fn refused(&mut self, refusal: &Refusal) { put(matches!(refusal, Refusal::Busy) as u32) }
    fn alarm(&mut self, alarm: Alarm, on: bool) { put(alarm as u32 * 2 + on as u32) }
}
static mut TT: Timetable<32> = Timetable::EMPTY;
#[cortex_m_rt::entry]
fn main() -> ! {
    let g = Geometry { start: 0, sector_bytes: 16384, sectors: 2 };
    let Ok(mut d) = Device::<_, 32, 64>::start(Flash, g, Some(Instant::from_ms(get() as i64)), Reset::PowerOn) else { loop { put(1) } };
    loop {
        let now = Instant::from_ms(i64::from(get()) << 16 | i64::from(get()));
        let tt = unsafe { &*core::hint::black_box(&raw const TT) };
        let e = match get() {
            0 => Event::Wake,
            1 => Event::Timetable(tt),
            2 => Event::RemoteStop(true),
            3 => Event::SetClock(dosewright_core::civil::Local::from_ms(now.as_ms())),
            4 => Event::Prime(dosewright_core::units::Volume::from_nl(get() as u64)),
            5 => Event::RunAgain(dosewright_core::entry::EntryId(get() as u16)),
            6 => Event::Release,
            _ => Event::Acknowledge,
        };
        d.handle(now, e, &mut Out);
        if let Some((at, r)) = d.next_wake() { put(at.as_ms() as u32); put(r as u32) }
    }
}
