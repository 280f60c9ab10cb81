//! The container by account, by the rules: what was told to be in it, less the
//! most that was drawn; the contact's level where that is less; nothing where the
//! contact shows the account to be far off.

use dosewright_core::config::{Container, Head};

use super::dose::{Open, TICK_MS};
use super::limits::pulse_limits;
use super::readings::Reading;
use super::rules::on_time;

/// The account.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Stock {
    pub(crate) container: Option<Container>,
    /// What is in it, neither the open dose nor the prime or calibrate that runs taken off.
    level_nl: u64,
    /// The most that this can draw.
    service_nl: u64,
    /// What was taken off since the container or the flow was last spoken of, less what of it
    /// the dose that was open then had drawn before: below zero until that is over.
    drawn_nl: i64,
    /// A record that may have changed it is lost: it cannot be judged before
    /// somebody speaks of the container again.
    pub(crate) unsure: bool,
    pub(crate) reading: Option<Reading>,
}

impl Stock {
    pub(crate) fn read_as(reading: Option<Reading>) -> Self {
        Self { reading, ..Self::default() }
    }

    /// Somebody says what is in it; the open dose has drawn so much.
    pub(crate) fn set(&mut self, container: Container, level_nl: u64, drawn_nl: u64) {
        let level_nl = level_nl + drawn_nl;
        let container = Some(container);
        *self = Self { container, level_nl, unsure: false, ..*self };
        self.settle(drawn_nl);
    }

    pub(crate) fn draw(&mut self, nl: u64) {
        self.drawn_nl += self.level_nl.min(nl) as i64;
        self.level_nl = self.level_nl.saturating_sub(nl);
    }

    /// The head delivers another flow than the account was kept by: what was taken
    /// off is restated as if it had drifted from the one to the other. The open dose has drawn
    /// so much.
    pub(crate) fn restate(&mut self, old: u32, new: u32, open_nl: u64) {
        let drawn = i128::from(self.drawn_since_nl(open_nl) / 1000);
        let off = drawn * (i128::from(old) - i128::from(new)) / (2 * i128::from(old)) * 1000;
        let capacity = self.container.map_or(0, |container| container.capacity.as_nl());
        let most = capacity.max(self.level_nl);
        let level = (i128::from(self.level_nl) + off).clamp(0, i128::from(most));
        self.level_nl = u64::try_from(level).unwrap_or(0);
        self.settle(open_nl);
    }

    /// What was drawn since the container or the flow was last spoken of, if the open dose
    /// has drawn so much.
    pub(crate) fn drawn_since_nl(&self, open_nl: u64) -> u64 {
        u64::try_from(self.drawn_nl + self.level_nl.min(open_nl) as i64).unwrap_or(0)
    }

    /// What was drawn so far, by the open dose so much, says nothing of what the flow is found
    /// to be later.
    pub(crate) fn settle(&mut self, open_nl: u64) {
        self.drawn_nl = -(self.level_nl.min(open_nl) as i64);
    }

    /// O1: prime and calibrate are taken off, all that they can draw while they last.
    pub(crate) fn service_begins(&mut self, most_nl: u64) {
        if self.reading != Some(Reading::PrimeNotTakenOff) {
            self.service_nl = self.level_nl.min(most_nl);
        }
    }

    pub(crate) fn service_ends(&mut self, drawn_nl: u64) {
        if std::mem::take(&mut self.service_nl) > 0 {
            self.draw(drawn_nl);
        }
    }

    /// The device started again, or goes by another flow, and does not know what a prime
    /// drew: all that it can have.
    pub(crate) fn service_lost(&mut self) {
        self.service_ends(self.service_nl);
    }

    /// Somebody says what the head delivers: what was drawn by another flow, by a prime that
    /// runs as well, is not restated by it.
    pub(crate) fn flow_is_another(&mut self, open_nl: u64) {
        self.service_lost();
        self.settle(open_nl);
    }

    /// What it holds by account, of the open dose so much taken off.
    pub(crate) fn account_nl(&self, drawn_nl: u64) -> u64 {
        self.level_nl.saturating_sub(self.service_nl).saturating_sub(drawn_nl)
    }

    /// The account as a snapshot has it, what is drawn now not taken off, and what was drawn
    /// since it was spoken of.
    pub(crate) fn account_and_drawn_nl(&self) -> (u64, i64) {
        (self.level_nl, self.drawn_nl)
    }

    /// Whether there is nothing at all.
    pub(crate) fn is_nothing(&self) -> bool {
        self.level_nl == 0
    }

    /// What can be dosed: all but the heel. `None` without a container, or where a
    /// damaged memory leaves it open.
    pub(crate) fn can_dose_nl(&self, drawn_nl: u64) -> Option<u64> {
        if self.unsure {
            return None;
        }
        let heel = match self.reading {
            Some(Reading::HeelDosed) => 0,
            _ => self.container?.heel.as_nl(),
        };
        self.container.map(|_| self.level_nl.saturating_sub(drawn_nl).saturating_sub(heel))
    }

    /// Whether there is less than the shortest pulse takes.
    pub(crate) fn is_short(&self, head: &Head) -> bool {
        self.can_dose_nl(0)
            .is_some_and(|nl| on_time(nl, 0, head.flow.as_nl_per_min()).0 < pulse_limits(head).0)
    }

    /// How much pumping a dose can have in all, in ms.
    pub(crate) fn cap_ms(&self, flow: u32) -> i64 {
        self.can_dose_nl(0).map_or(i64::MAX, |nl| on_time(nl, 0, flow).0)
    }

    /// The contact's level; `None` without a contact.
    pub(crate) fn low_nl(&self) -> Option<u64> {
        self.container.map(|c| c.low.as_nl()).filter(|&low| low > 0)
    }

    /// From here on the account is far above the contact: a tenth of the capacity.
    pub(crate) fn far_nl(&self) -> Option<u64> {
        Some(self.low_nl()? + self.container?.capacity.as_nl() / 10)
    }

    /// How long the contact is closed before it counts.
    pub(crate) fn debounce_ms(&self) -> i64 {
        match self.reading {
            Some(Reading::BouncesCount) => 0,
            _ => self.container.map_or(0, |c| i64::from(c.debounce_ms)),
        }
    }

    /// The contact is closed: it holds no more than its level. The open dose has drawn so
    /// much by then.
    pub(crate) fn put_down(&mut self, drawn_nl: u64) {
        if self.reading != Some(Reading::ContactNotBelieved)
            && let Some(low) = self.low_nl()
        {
            self.level_nl = self.level_nl.min(low + drawn_nl);
            self.service_nl = self.service_nl.min(self.level_nl);
            self.settle(drawn_nl);
        }
    }

    /// The contact shows the account to be far off.
    pub(crate) fn nothing_left(&mut self) {
        (self.level_nl, self.service_nl, self.drawn_nl) = (0, 0, 0);
    }
}

/// The low-level contact, as it stands and as it counts.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Level {
    pub(crate) closed: bool,
    /// When it will have been closed for as long as it may bounce, in device ms.
    pub(crate) due: Option<i64>,
    /// It was, since the container was last spoken of.
    pub(crate) counts: bool,
    /// When it opened, where the device may have taken it to count or not.
    pub(crate) doubtful: Option<i64>,
    /// Since when it counts.
    pub(crate) since: i64,
    /// That no alarm says so has been told.
    pub(crate) reported: bool,
}

impl Level {
    /// It changed, or is looked at afresh. `told`: the alarm is on already, and it is not
    /// for a word on the container that it is looked at.
    pub(crate) fn look(&mut self, closed: bool, at: i64, stock: &Stock, told: bool) {
        self.closed = closed;
        self.counts |= closed && told;
        let waits = closed && !self.counts && stock.low_nl().is_some();
        self.due = waits.then_some(at + stock.debounce_ms());
    }

    /// The device stops: it reads the contact when it starts again.
    pub(crate) fn forget(&mut self) {
        (self.closed, self.due, self.counts) = (false, None, false);
    }

    /// It opens or closes. In a late call it may have counted before; where that is as near as
    /// the device's clock is read, either is right.
    pub(crate) fn changes(&mut self, at: i64, slack_ms: i64) {
        let is_near = |due: i64| slack_ms > 0 && (due - at).abs() <= slack_ms;
        self.doubtful = self.due.is_some_and(is_near).then_some(at);
        if self.doubtful.is_none() {
            self.pass(at);
        }
    }

    /// An alarm goes by it, or is over.
    pub(crate) fn is_said_to_count(&mut self, on: bool, at: i64) {
        if self.doubtful.take_if(|doubtful| on && (at - *doubtful).abs() <= TICK_MS).is_some() {
            (self.counts, self.since) = (true, at);
        }
    }

    /// From here on it can be told that it counts, and was not before.
    pub(crate) fn can_be_told(&mut self, at: i64) {
        self.pass(at);
        self.since = self.since.max(at);
    }

    /// Device time has come so far.
    pub(crate) fn pass(&mut self, at: i64) {
        if let Some(due) = self.due.take_if(|due| *due <= at) {
            (self.counts, self.since) = (true, due);
        }
    }
}

/// A motor that stalls or draws too much: tried again after 1, 2 and 4 minutes,
/// then latched until acknowledged.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Motor {
    pub(crate) faults: u8,
    pub(crate) at: i64,
    /// A fault that the ledger does not hold yet.
    pub(crate) pending: bool,
    /// A record that may have told of a fault, a retry or an acknowledgement is lost,
    /// and the device has started since: whether it goes by a fault is not known before
    /// the pump runs again, or the ledger says so.
    pub(crate) unsure: bool,
    /// Nor how many faults in a row it knows of, before the ledger says so.
    pub(crate) row_unsure: bool,
}

impl Motor {
    pub(crate) fn next(&self, reading: Option<Reading>) -> u8 {
        match reading {
            Some(Reading::FaultLatchesAtOnce) => 4,
            _ => (self.faults + 1).min(4),
        }
    }

    /// The ledger has a word on a dose after its last pulse.
    pub(crate) fn saw(&mut self, open: &Open) {
        if open.turned(self.at) {
            self.ran_through();
        }
    }

    /// A run went on to its end, and the ledger has a word after it: that ends the row.
    pub(crate) fn ran_through(&mut self) {
        if self.faults < 4 {
            self.faults = 0;
        }
    }

    /// Until when it keeps the pump off, in device ms.
    pub(crate) fn until(&self) -> i64 {
        match self.faults {
            _ if self.pending => i64::MAX,
            4.. => i64::MAX,
            n @ 1..=3 => self.at + (60_000 << (n - 1)),
            _ => i64::MIN,
        }
    }
}
