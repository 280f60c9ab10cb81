//! Log lines for alarms and outcomes: by `defmt` on a device, by `log` on a host,
//! and without either feature not at all.

/// Logs a line. It costs nothing where no feature asks for it.
macro_rules! notice {
    ($level:ident, $text:literal $(, $value:expr)* $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::$level!($text $(, $value)*);
        #[cfg(all(feature = "log", not(feature = "defmt")))]
        log::$level!($text $(, $value)*);
        #[cfg(not(any(feature = "defmt", feature = "log")))]
        { $( let _ = &$value; )* }
    }};
}

pub(crate) use notice;
