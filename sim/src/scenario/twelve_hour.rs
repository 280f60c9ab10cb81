//! Times of day of a clock of twice twelve hours, and what they are by one of 24. Who
//! writes an afternoon must not be led to the small hours.

/// How to write a time that has am or pm behind it; `None` where it has not. Noon is
/// 12:00 pm, midnight 12:00 am (common usage, no source).
pub(super) fn told(text: &str) -> Option<String> {
    let text = text.trim();
    let digits = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let (hour, mut rest) = text.split_at(digits);
    let mut minute = "00";
    if let Some(more) = rest.strip_prefix([':', '.']) {
        let digits = more.find(|c: char| !c.is_ascii_digit()).unwrap_or(more.len());
        (minute, rest) = more.split_at(digits);
    }
    // seconds stay out of the help
    if let Some(more) = rest.strip_prefix(':') {
        rest = more.trim_start_matches(|c: char| c.is_ascii_digit());
    }
    let half: String =
        rest.trim_start().to_ascii_lowercase().chars().filter(|c| *c != '.').collect();
    let afternoon = match half.trim_end() {
        "am" | "a" => false,
        "pm" | "p" => true,
        _ => return None,
    };
    let (hour, minute) = (hour.parse::<u32>().ok()?, minute.parse::<u32>().ok()?);
    if minute > 59 || hour > 23 {
        return None;
    }
    // one that is of 24 hours already, whatever stands behind it
    let of_24 =
        if (1..=12).contains(&hour) { hour % 12 + if afternoon { 12 } else { 0 } } else { hour };
    Some(format!("write {text} as {of_24:02}:{minute:02}: without am and pm, noon is 12:00"))
}

#[cfg(test)]
mod tests {
    use super::told;

    #[test]
    fn a_time_of_twelve_hours_is_told_as_one_of_24() {
        for (written, of_24) in [
            ("2:30pm", "14:30"),
            ("2:30 pm", "14:30"),
            ("02:30 PM", "14:30"),
            ("2.30 p.m.", "14:30"),
            ("1pm", "13:00"),
            ("1 am", "01:00"),
            ("12:00 am", "00:00"),
            ("12:15am", "00:15"),
            ("12 pm", "12:00"),
            ("11:59:30 pm", "23:59"),
            ("14:30 pm", "14:30"),
            ("0:30 am", "00:30"),
        ] {
            let help = format!("write {written} as {of_24}: without am and pm, noon is 12:00");
            assert_eq!(told(written), Some(help), "{written}");
        }
        for other in ["", "02:30", "2:30", "pm", "2:75 pm", "25 pm", "2:30 pmx", "02:30 -05:00"] {
            assert_eq!(told(other), None, "{other}");
        }
    }
}
