//! When the water runs, night by night.

use dosewright_core::civil::Weekday;

use super::flow_log::FlowLog;
use crate::scenario::Brief;

/// Minutes from noon to noon.
pub(super) const NIGHT_MIN: u32 = 1440;
const NOON_MIN: u32 = 720;

/// The waterless stretch of one night, in minutes from its noon.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dry {
    /// Last water.
    pub last: u32,
    /// First water.
    pub first: u32,
    /// Where it is known from, in words.
    pub from: String,
}

/// Trading of a night: the day's last water and the next day's first, both as
/// minutes from noon.
fn trading(brief: &Brief, night: usize) -> (u32, u32) {
    let day = Weekday::ALL[night];
    let next = Weekday::ALL[(night + 1) % 7];
    let before = Weekday::ALL[(night + 6) % 7];
    let (mut last, mut first) = (0, NIGHT_MIN);
    for trading in &brief.trading {
        let (opens, closes) = (u32::from(trading.opens_min), u32::from(trading.closes_min));
        if trading.days.contains(day) {
            // a close at or before the opening is in the night after the day
            let at =
                if closes <= opens { closes + NOON_MIN } else { closes.saturating_sub(NOON_MIN) };
            last = last.max(at.min(NIGHT_MIN));
        }
        // what closes after the next noon still runs when the next night begins
        if trading.days.contains(before) && closes <= opens {
            last = last.max(closes.saturating_sub(NOON_MIN));
        }
        if trading.days.contains(next) && opens < NOON_MIN {
            first = first.min(opens + NOON_MIN);
        }
    }
    (last, first)
}

/// The dry stretch of each night; `None` where nothing is known of it, or it has
/// none. What several sources say holds all together.
pub(super) fn dry(brief: &Brief, log: Option<&FlowLog>) -> [Option<Dry>; 7] {
    std::array::from_fn(|night| {
        let (mut last, mut first) = (0, NIGHT_MIN);
        let mut from: Vec<String> = Vec::new();
        let mut meet = |(a, b): (u32, u32), why: &str| {
            last = last.max(a);
            first = first.min(b);
            from.push(why.to_owned());
        };
        if !brief.trading.is_empty() {
            meet(trading(brief, night), "trading hours");
        }
        for quiet in brief.quiet.iter().filter(|q| q.nights.contains(Weekday::ALL[night])) {
            let at = |min: u16| (u32::from(min) + NIGHT_MIN - NOON_MIN) % NIGHT_MIN;
            let (from, to) = (at(quiet.from_min), at(quiet.to_min));
            // what is quiet past the next noon is so to this night's end
            let past_noon = to < from || to == 0;
            meet((from, if past_noon { NIGHT_MIN } else { to }), "the quiet period given");
        }
        if let Some(log) = log {
            let quiet = log.quiet(night)?;
            let still = match quiet.mean {
                mean if mean > 0.0 => format!(", with {mean:.1} {} still running", log.unit),
                _ => String::new(),
            };
            meet((quiet.from, quiet.to), &format!("the flow log{still}"));
        }
        (!from.is_empty() && last < first).then(|| Dry { last, first, from: from.join(" and ") })
    })
}
