//! A loop that looks at everything once a second, as a first draft of firmware does.

use crate::work::{DAY_S, Tally, Work, weekday};

pub fn run(work: &Work) -> Tally {
    let mut tally = Tally::default();
    let (mut left, mut next_on, mut off_at) = (0, 0, None);
    for now in 0..work.end_s() {
        let (day, of_day) = (now / DAY_S, now % DAY_S);
        for entry in &work.entries {
            let is_day = entry.days >> weekday(day) & 1 == 1;
            if is_day && of_day == u64::from(entry.at_min) * 60 {
                (left, next_on) = (work.pulses, now);
            }
        }
        if off_at == Some(now) {
            tally.edge(false, now);
            off_at = None;
        }
        if left > 0 && now == next_on {
            tally.edge(true, now);
            left -= 1;
            next_on = now + work.spacing_s;
            off_at = Some(now + work.on_s);
        }
    }
    tally
}
