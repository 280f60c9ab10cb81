//! Numbers as a page shows them.

/// A number with its thousands apart.
pub(super) fn thousands(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(' ');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::thousands;

    #[test]
    fn thousands_stand_apart() {
        let found = [0, 999, 1000, 12_345, 1_234_567].map(thousands);
        assert_eq!(found, ["0", "999", "1 000", "12 345", "1 234 567"]);
    }
}
