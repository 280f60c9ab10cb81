//! Why a night has no dose.

use dosewright_core::civil::Weekday;

use super::water::NIGHT;
use super::{Dry, Maker, Place, minutes, name, shown, water, write};

impl Maker<'_> {
    /// Why the wanted nights without a place have none: a sentence for each of those
    /// that are alike.
    pub(super) fn why_not(&self, places: &[Option<Place>; 7], least: u32) -> Vec<String> {
        let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
        let wanted = |night: usize| self.brief.site.nights.contains(Weekday::ALL[night]);
        for night in (0..7).filter(|night| wanted(*night) && places[*night].is_none()) {
            let why = self.why_not_in(night, least);
            match reasons.iter_mut().find(|(known, _)| *known == why) {
                Some((_, nights)) => nights.push(name(night)),
                None => reasons.push((why, vec![name(night)])),
            }
        }
        let sentence = |(why, nights): &(String, Vec<&str>)| {
            let plural = if nights.len() == 1 { "" } else { "s" };
            format!("night{plural} of {}: {why}", nights.join(", "))
        };
        reasons.iter().map(sentence).collect()
    }

    /// Why there is no place for the least window in a night.
    fn why_not_in(&self, night: usize, least: u32) -> String {
        let site = &self.brief.site;
        let Some(dry) = self.longest(night) else {
            return match self.log {
                Some(log) if log.known(night) < 24 => format!(
                    "the flow log has readings of {} of its 24 hours, and no rest in these",
                    log.known(night)
                ),
                Some(log) => match log.quietest(night).filter(|quiet| !quiet.is_rest()) {
                    Some(quiet) => format!(
                        "the flow log has no rest; even its quietest hours, {} to {}, have {:.1} {}, more than half the median of {:.1}",
                        write::clock(quiet.from),
                        write::clock(quiet.to),
                        quiet.mean,
                        log.unit,
                        quiet.median
                    ),
                    None => "no quiet hours are known".to_owned(),
                },
                None if self.brief.trading.is_empty() && self.brief.quiet.is_empty() => {
                    "nothing says when the water rests".to_owned()
                }
                None => "by the hours given the water runs all night".to_owned(),
            };
        };
        let (settle, contact) = (minutes(site.settle), minutes(site.contact));
        let room = u32::try_from(dry.first.saturating_sub(dry.last)).unwrap_or(0);
        if room < settle + contact + least {
            let way_out = match room.saturating_sub(settle + least) {
                0 => String::new(),
                fits => format!("; {} of contact would fit", shown(fits)),
            };
            return format!(
                "no water for {} ({} to {}); {} after the last water, {} at least for the dose and {} of contact are {}{way_out}",
                shown(room),
                write::clock(dry.last),
                write::clock(dry.first),
                shown(settle),
                shown(least),
                shown(contact),
                shown(settle + least + contact)
            );
        }
        // the others are too short whatever is done in them
        let slots = self.dry[night].iter().map(|dry| water::slot(self.brief, dry));
        let mut slots: Vec<(i32, i32)> = slots.filter(|(from, to)| from < to).collect();
        slots.sort_unstable();
        let slots: Vec<String> = slots
            .into_iter()
            .map(|(from, to)| match (from, to) {
                (0, NIGHT) => "from noon to noon".to_owned(),
                _ => format!("between {} and {}", write::clock(from), write::clock(to)),
            })
            .collect();
        if slots.is_empty() {
            return format!(
                "the water rests from {} to {}, but with {settle} min before the dose and {contact} min of contact after it that is no time of this night, which is from noon to noon",
                write::clock(dry.last),
                write::clock(dry.first)
            );
        }
        let what = match (self.log, self.brief.cleaning.is_empty()) {
            (None, true) => "the night itself leaves",
            (None, false) => "cleaning with its clear time leaves",
            (Some(_), true) => "hours with more flow than the day's median leave",
            (Some(_), false) => {
                "cleaning with its clear time, or hours with more flow than the day's median, leave"
            }
        };
        format!("{what} no {least} min {}", slots.join(", nor "))
    }

    /// The dry stretch of a night that lasts the longest.
    fn longest(&self, night: usize) -> Option<&Dry> {
        self.dry[night].iter().max_by_key(|dry| dry.first.saturating_sub(dry.last))
    }
}
