//! Where log lines go: into the register, byte by byte.

#[cfg(feature = "defmt")]
#[defmt::global_logger]
struct Logger;

#[cfg(feature = "defmt")]
// SAFETY: nothing is shared that two writers could break
unsafe impl defmt::Logger for Logger {
    fn acquire() {}
    unsafe fn flush() {}
    unsafe fn release() {}
    unsafe fn write(bytes: &[u8]) {
        bytes.iter().for_each(|byte| crate::board::put(u32::from(*byte)));
    }
}

#[cfg(feature = "log")]
pub use text::install;

#[cfg(feature = "log")]
mod text {
    use core::fmt::Write;

    struct Register;

    impl Write for Register {
        fn write_str(&mut self, text: &str) -> core::fmt::Result {
            text.bytes().for_each(|byte| crate::board::put(u32::from(byte)));
            Ok(())
        }
    }

    impl log::Log for Register {
        fn enabled(&self, _: &log::Metadata<'_>) -> bool {
            true
        }
        fn log(&self, record: &log::Record<'_>) {
            let _ = Register.write_fmt(*record.args());
        }
        fn flush(&self) {}
    }

    /// Before anything logs.
    pub fn install() {
        // SAFETY: called once, at the start, before interrupts can log
        unsafe {
            let _ = log::set_logger_racy(&Register);
            log::set_max_level_racy(log::LevelFilter::Info);
        }
    }
}
