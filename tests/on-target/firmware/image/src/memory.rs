//! RAM that outlasts a system reset: the ledger's memory, and what the world
//! remembers over a restart.

use core::mem::MaybeUninit;
use core::sync::atomic::{AtomicBool, Ordering};

use dosewright_core::record::Reset;
use dosewright_core::shell::Levels;
use dosewright_core::time::Instant;
use dosewright_replay::MEMORY;
use dosewright_replay::play::Kept;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Bytes of a page.
const PAGE: usize = 1024;

/// Not touched by the start-up code: cortex-m-rt leaves `.uninit` as it is.
#[unsafe(link_section = ".uninit.LEDGER")]
static mut LEDGER: MaybeUninit<[u8; MEMORY]> = MaybeUninit::uninit();
#[unsafe(link_section = ".uninit.WORLD")]
static mut WORLD: MaybeUninit<World> = MaybeUninit::uninit();

static TAKEN: AtomicBool = AtomicBool::new(false);

/// What is remembered, in plain numbers: any bytes at all are a value of it.
#[derive(Clone, Copy)]
#[repr(C)]
struct World {
    marks: [u32; 2],
    left: u32,
    flags: u32,
    count_ms: i64,
}

/// Two words that RAM at power-on does not hold.
const MARKS: [u32; 2] = [0x646f_7365, 0x7772_6974];
const WATCHDOG: u32 = 1;
const COUNTED: u32 = 2;
const REMOTE_STOP: u32 = 4;
const LEAK: u32 = 8;
const LEVEL_LOW: u32 = 16;

fn world() -> *mut World {
    (&raw mut WORLD).cast()
}

/// Whether this start follows a cut of the scenario.
pub fn is_kept() -> bool {
    // SAFETY: only `main` comes here, and any bytes are a `World`
    unsafe { world().read_volatile() }.marks == MARKS
}

/// What was kept over the cut.
pub fn kept() -> Kept {
    // SAFETY: as above
    let world = unsafe { world().read_volatile() };
    let has = |flag| world.flags & flag != 0;
    Kept {
        left: world.left as usize,
        count: has(COUNTED).then(|| Instant::from_ms(world.count_ms)),
        reset: if has(WATCHDOG) { Reset::Watchdog } else { Reset::PowerOn },
        levels: Levels {
            remote_stop: has(REMOTE_STOP),
            leak: has(LEAK),
            level_low: has(LEVEL_LOW),
            motor_fault: false,
        },
    }
}

/// Keeps it for the next start.
pub fn keep(kept: Kept) {
    let flags = [
        (kept.reset == Reset::Watchdog, WATCHDOG),
        (kept.count.is_some(), COUNTED),
        (kept.levels.remote_stop, REMOTE_STOP),
        (kept.levels.leak, LEAK),
        (kept.levels.level_low, LEVEL_LOW),
    ];
    let world_now = World {
        marks: MARKS,
        left: kept.left as u32,
        flags: flags.iter().filter(|(on, _)| *on).map(|(_, flag)| flag).sum(),
        count_ms: kept.count.map_or(0, Instant::as_ms),
    };
    // SAFETY: only `main` comes here
    unsafe { world().write_volatile(world_now) };
}

/// The next start is a first one.
pub fn forget() {
    // SAFETY: only `main` comes here
    unsafe { world().write_volatile(World { marks: [0; 2], left: 0, flags: 0, count_ms: 0 }) };
}

/// NOR flash in RAM: an erase sets bits, a write clears them.
pub struct RamFlash(&'static mut [u8; MEMORY]);

impl RamFlash {
    /// The memory, once; erased before the first start of a scenario.
    pub fn take(erase: bool) -> Option<Self> {
        // a load and a store: a Cortex-M0 has no swap, and only `main` comes here
        if TAKEN.load(Ordering::Relaxed) {
            return None;
        }
        TAKEN.store(true, Ordering::Relaxed);
        // SAFETY: nobody else has it, as `TAKEN` says, and any bytes are bytes
        let bytes = unsafe { &mut *(&raw mut LEDGER).cast::<[u8; MEMORY]>() };
        if erase {
            bytes.fill(0xff);
        }
        Some(Self(bytes))
    }

    /// The bytes as they lie there.
    pub fn bytes(&self) -> &[u8] {
        self.0
    }
}

impl ErrorType for RamFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        check_read(self, offset, bytes.len())?;
        bytes.copy_from_slice(&self.0[offset as usize..][..bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        MEMORY
    }
}

impl NorFlash for RamFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        check_erase(self, from, to)?;
        // the planted mistake: the last byte stays as it is
        let to = if cfg!(feature = "plant-off-by-one") { to - 1 } else { to };
        self.0[from as usize..to as usize].fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(self, offset, bytes.len())?;
        for (place, byte) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *place &= byte;
        }
        Ok(())
    }
}
