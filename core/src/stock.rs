//! The container by account: what was told to be in it, less what was drawn.

use crate::config::Container;
use crate::units::{Flow, Volume, over};

/// The account of the container. It is reckoned by the most that can have been
/// drawn, so that what it says can be counted on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stock {
    /// The container.
    pub container: Container,
    /// What is in it; neither the dose that is open is taken off yet, nor the prime or
    /// calibration run that has begun.
    pub level: Volume,
    /// What this run can draw of it at the most; nothing where none has begun.
    pub service: Volume,
    /// What was in it when somebody or something last said how much that is, or how much the
    /// head delivers: what a dose that was open then had drawn is taken off.
    pub spoken: Volume,
}

impl Stock {
    /// No container: nothing is kept account of, and nothing runs out.
    pub const NONE: Self = Self {
        container: Container::NONE,
        level: Volume::ZERO,
        service: Volume::ZERO,
        spoken: Volume::ZERO,
    };

    /// The container, if the device was told of one.
    pub const fn container(&self) -> Option<&Container> {
        if self.container.is_none() { None } else { Some(&self.container) }
    }

    /// Takes off what a dose drew at most.
    pub const fn draw(&mut self, volume: Volume) {
        self.level = self.level.minus(volume);
    }

    /// What was drawn so far is accounted for, the open dose's so much of it.
    pub fn speak(&mut self, open: Volume) {
        self.spoken = self.level.minus(open);
    }

    /// What was drawn since, the open dose's so much of it.
    pub(crate) fn drawn(&self, open: Volume) -> Volume {
        self.spoken.minus(self.level.minus(open))
    }

    /// It can hold no more than so much, whatever the account was; the open dose has drawn so
    /// much by then.
    pub fn put_down(&mut self, most: Volume, open: Volume) {
        self.level = self.level.min(most.plus(open));
        self.service = self.service.min(self.level);
        self.speak(open);
    }

    /// A prime or calibration run has ended: what it drew is taken off.
    pub fn service_ends(&mut self, drawn: Volume) {
        if core::mem::take(&mut self.service) > Volume::ZERO {
            self.draw(drawn);
        }
    }

    /// How much it has drawn will not be known, after a start or with another flow: all that
    /// it can draw is taken off.
    pub fn service_lost(&mut self) {
        self.service_ends(self.service);
    }

    /// The head was found to deliver another flow than the one in force. What was
    /// taken off since is restated as if the flow had drifted in a straight line:
    /// half the difference was not drawn, or was drawn beside the account (common
    /// practice, no source). The open dose has drawn so much.
    pub fn restate(&mut self, in_force: Flow, found: Flow, open: Volume) {
        let (old, new) = (u64::from(in_force.as_nl_per_min()), u64::from(found.as_nl_per_min()));
        // in microlitres, so that 1000 l and any flow go into 64 bits together
        let drawn_ul = over(self.drawn(open).as_nl(), 1000).min(Container::LARGEST.as_ul());
        let off = Volume::from_ul(over(drawn_ul * old.abs_diff(new), 2 * old));
        if new > old {
            self.level = self.level.minus(off);
        } else if self.level < self.container.capacity {
            self.level = self.level.plus(off).min(self.container.capacity);
        }
        self.speak(open);
    }

    /// What can be dosed: all but the heel, and what the open dose has drawn.
    pub const fn can_dose(&self, drawn: Volume) -> Volume {
        self.level.minus(drawn).minus(self.container.heel)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn o1_a_prime_takes_off_what_it_drew_or_all_that_it_can_have_drawn() {
        let ml = Volume::from_ml;
        let begun = Stock { level: ml(300), spoken: ml(300), service: ml(127), ..Stock::NONE };
        let mut stock = begun;
        stock.service_ends(ml(50));
        let told = |stock: &Stock| (stock.level, stock.service, stock.drawn(ml(0)));
        assert_eq!(told(&stock), (ml(250), ml(0), ml(50)));
        // that is told once
        stock.service_ends(ml(50));
        assert_eq!(stock.level, ml(250));
        stock = begun;
        stock.service_lost();
        assert_eq!(told(&stock), (ml(173), ml(0), ml(127)));
        // put down to less than it can draw: to nothing
        stock = Stock { spoken: ml(307), ..begun };
        stock.put_down(ml(400), ml(0));
        assert_eq!(told(&stock), (ml(300), ml(127), ml(0)));
        stock.put_down(ml(100), ml(0));
        assert_eq!((stock.level, stock.service), (ml(100), ml(100)));
        stock.put_down(ml(0), ml(0));
        stock.service_ends(ml(50));
        assert_eq!(told(&stock), (ml(0), ml(0), ml(0)));
    }

    #[test]
    fn o2_the_account_is_restated_by_half_of_what_the_flow_has_drifted() {
        let flow = |ul: u32| Flow::from_nl_per_min(ul * 1000).unwrap();
        let container = Container { capacity: Volume::from_ml(25_000), ..Container::NONE };
        let level = Volume::from_ml(20_000);
        let mut stock = Stock { container, level, spoken: level, ..Stock::NONE };
        stock.draw(Volume::from_ml(18_700));
        // 26.5 -> 23.9 ml/min, 18.7 l logged: 17.8 l (common practice, no source)
        let mut found_less = stock;
        found_less.restate(flow(26_500), flow(23_900), Volume::ZERO);
        let drawn = level.minus(found_less.level);
        assert_eq!(drawn.as_ul() / 1000, 17_782);
        assert_eq!(found_less.drawn(Volume::ZERO), Volume::ZERO);
        // what was restated once is not restated again
        let once = found_less;
        found_less.restate(flow(26_500), flow(23_900), Volume::ZERO);
        assert_eq!(found_less, once);
        // a head that delivers more has drawn more
        stock.restate(flow(26_500), flow(29_100), Volume::ZERO);
        assert_eq!(level.minus(stock.level).as_ul() / 1000, 19_617);
        // it never says more than goes into the container
        let (level, spoken) = (Volume::from_ml(24_900), Volume::from_ml(44_900));
        let mut full = Stock { level, spoken, ..stock };
        full.restate(flow(26_500), flow(23_900), Volume::ZERO);
        assert_eq!(full.level, container.capacity);
    }

    #[test]
    fn o2_what_the_open_dose_drew_before_the_level_was_spoken_of_is_not_restated() {
        let flow = |ml: u32| Flow::from_nl_per_min(ml * 1_000_000).unwrap();
        let ml = Volume::from_ml;
        let container = Container { capacity: ml(10_000), ..Container::NONE };
        // nine litres are told when nine of the ten decilitres of a dose are drawn
        let mut told = Stock { container, level: ml(9_900), ..Stock::NONE };
        told.speak(ml(900));
        assert_eq!([told.drawn(ml(900)), told.drawn(ml(950))], [ml(0), ml(50)]);
        // a calibration in the middle of the dose restates what it drew since
        let mut open = told;
        open.restate(flow(60), flow(48), ml(950));
        assert_eq!((open.level, open.drawn(ml(950))), (ml(9_905), ml(0)));
        assert_eq!([open.drawn(ml(1_000)), open.drawn(ml(900))], [ml(50), ml(0)]);
        // one after it the rest of it, and a prime
        told.draw(ml(1_000));
        assert_eq!((told.level, told.drawn(ml(0))), (ml(8_900), ml(100)));
        told.draw(ml(100));
        told.restate(flow(60), flow(48), ml(0));
        assert_eq!((told.level, told.drawn(ml(0))), (ml(8_820), ml(0)));
    }
}
