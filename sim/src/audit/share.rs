//! Shares of a whole, without a loss in between.

/// `whole * part / of`, rounded towards zero; `of` is not 0, and the share fits.
///
/// The product of what a dose asks for fits into 64 bits, whose division is a small part
/// of that of 128; what a memory with damage says need not.
pub(super) fn share(whole: i64, part: i64, of: i64) -> i64 {
    match whole.checked_mul(part) {
        Some(product) => product / of,
        None => (i128::from(whole) * i128::from(part) / i128::from(of)) as i64,
    }
}

/// The same of what is not negative, rounded up.
pub(super) fn share_up(whole: i64, part: i64, of: i64) -> i64 {
    match whole.checked_mul(part).and_then(|product| product.checked_add(of - 1)) {
        Some(product) => product / of,
        None => {
            let product = i128::from(whole) * i128::from(part);
            ((product + i128::from(of) - 1) / i128::from(of)) as i64
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_the_same_however_large_the_product() {
        assert_eq!([share(90_000, 7, 30), share(-7, 1, 2), share(7, -1, 2)], [21_000, -3, -3]);
        let large = 1 << 40;
        assert_eq!(share(large, large, large), large);
        assert_eq!(share(-large, large - 1, large), 1 - large);
        assert_eq!(share(i64::MAX, 3, 4), 6_917_529_027_641_081_855);
        assert_eq!([share_up(9, 1, 3), share_up(7, 1, 3), share_up(0, 5, 3)], [3, 3, 0]);
        assert_eq!(share_up(i64::MAX, 3, 4), 6_917_529_027_641_081_856);
    }
}
