//! Lines of a name and a number on the host's standard output.

use cortex_m_semihosting::hio;

/// Writes a line. What cannot be written is missed by whoever reads it.
pub fn line(name: &str, value: u32) {
    let mut digits = [b' '; 11];
    let (mut rest, mut at) = (value, digits.len());
    loop {
        at = at.wrapping_sub(1);
        if let Some(place) = digits.get_mut(at) {
            *place = b'0' + (rest % 10) as u8;
        }
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    if let Ok(mut out) = hio::hstdout() {
        let _ = out.write_all(name.as_bytes());
        let _ = out.write_all(&digits);
        let _ = out.write_all(b"\n");
    }
}
