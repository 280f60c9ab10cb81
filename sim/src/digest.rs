//! A short name for the bytes of a file.

/// FNV-1a, 64 bits, as 16 hexadecimal digits after the name of the method. It
/// tells files apart; it is no protection against anybody.
pub fn digest(bytes: &[u8]) -> String {
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("fnv1a64:{hash:016x}")
}

#[cfg(test)]
mod tests {
    use super::digest;

    #[test]
    fn the_values_are_the_published_ones() {
        // test vectors of draft-eastlake-fnv, appendix C
        assert_eq!(digest(b""), "fnv1a64:cbf29ce484222325");
        assert_eq!(digest(b"a"), "fnv1a64:af63dc4c8601ec8c");
        assert_eq!(digest(b"foobar"), "fnv1a64:85944171f73967e8");
    }
}
