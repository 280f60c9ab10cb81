//! The trace, written to the host in pieces: each call stops the processor, so
//! that a line a call would take most of the time.

use core::fmt::Write;

use cortex_m_semihosting::hio;

const PIECE: usize = 2048;

/// Collects text and writes it to the host's standard output.
pub struct Out {
    bytes: [u8; PIECE],
    used: usize,
    host: Option<hio::HostStream>,
}

impl Out {
    pub fn new() -> Self {
        Self { bytes: [0; PIECE], used: 0, host: hio::hstdout().ok() }
    }

    pub fn flush(&mut self) {
        if let (Some(host), Some(piece)) = (&mut self.host, self.bytes.get(..self.used)) {
            // what is missing shows in the comparison
            let _ = host.write_all(piece);
        }
        self.used = 0;
    }
}

impl Write for Out {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        for &byte in text.as_bytes() {
            if self.used == PIECE {
                self.flush();
            }
            if let Some(place) = self.bytes.get_mut(self.used) {
                *place = byte;
                self.used += 1;
            }
        }
        Ok(())
    }
}
